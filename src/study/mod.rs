//! Studies: what a base should be made of, how large, and whether the program can be trusted.

pub mod apart;
mod candidates;
pub mod compare;
pub mod converged;
pub mod doubt;
pub mod equal;
pub mod guesses;
pub mod known;
pub mod measures;
pub mod misses;
pub mod modes;
pub mod motion;
pub mod pour;
pub mod proof;
pub mod ringdown;
pub mod sections;
pub mod shapes;
pub mod size;
pub mod spread;
pub mod tapped;
pub mod verdict;
pub mod warm;
