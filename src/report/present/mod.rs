//! One function per answer that turns it into blocks, and its list of columns.

pub mod compare;
pub mod materials;
pub mod modes;
pub mod section;
pub mod size;
