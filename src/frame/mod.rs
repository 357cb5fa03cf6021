//! Frames: points, members, masses, feet and joints to matrices.

pub mod spec;
