//! Sections: shapes of materials to a 6x6 complex stiffness and a 6x6 mass per length.

mod area;

pub use area::Moments;
