//! One function per answer that turns it into blocks, and its list of columns.

pub mod materials;
pub mod section;
