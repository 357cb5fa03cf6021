//! Studies: what a base should be made of, how large, and whether the program can be trusted.

pub mod pour;
pub mod proof;
