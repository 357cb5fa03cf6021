//! The command line: one file a command; each reads, asks the library, and shows.

mod files;
