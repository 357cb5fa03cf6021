//! Studies: what a base should be made of, how large, and whether the program can be trusted.

pub mod measures;
pub mod proof;
pub mod sections;
