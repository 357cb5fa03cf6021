//! How fine the grids of the bodies of a build become.

/// To what the figures of a build with bodies are to hold, and at what cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridLimits {
    /// Relative error of its frequencies and its stiffness.
    pub within: f64,
    /// Most nodes of the grid of a body that is not the first.
    pub nodes: usize,
}

impl GridLimits {
    /// Some seconds at most.
    pub const USUAL: GridLimits = GridLimits { within: 0.01, nodes: 8_000 };
    /// Half a minute at most: where bodies are asked for in place of beams.
    pub const PATIENT: GridLimits = GridLimits { nodes: 25_000, ..GridLimits::USUAL };
    /// Some minutes at most.
    pub const FINE: GridLimits = GridLimits { within: 1e-3, nodes: 60_000 };
    /// No grid is solved but the first two.
    pub const FIRST: GridLimits = GridLimits { within: f64::INFINITY, nodes: 0 };
}
