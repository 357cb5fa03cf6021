//! Reports: blocks of notes, tables, curves and pictures to text, CSV, JSON and a page.
