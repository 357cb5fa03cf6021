//! One function per answer that turns it into blocks, and its list of columns.

mod basis;
pub mod compare;
pub mod materials;
pub mod mix;
pub mod modes;
pub mod pour;
pub mod proof;
pub mod response;
pub mod section;
pub mod size;
pub mod tap;
pub mod thermal;
pub mod whole;
