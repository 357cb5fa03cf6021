//! One function per answer that turns it into blocks, and its list of columns.

mod basis;
pub mod compare;
mod floor;
mod guesses;
pub mod materials;
mod missed;
pub mod mix;
pub mod modes;
pub mod pour;
pub mod proof;
pub mod response;
pub mod ringdown;
pub mod section;
pub mod size;
mod spread;
pub mod tap;
pub mod thermal;
pub mod whole;
