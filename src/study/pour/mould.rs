//! Pressure of the mix on the mould, and the thickness of its boards.
//!
//! ```text
//! p = rho g h             head of the mix that has not gelled
//! t = (60 p s^4/(384 E d))^(1/3)       board over ribs at the distance s, bending by d
//! sigma = 6 p s^2/(8 t^2)
//! ```
//!
//! The board is a strip simply supported on two ribs, on the safe side of a board over many ribs; vibration
//! counts as the full head of a liquid.
//!
//! # Source
//! - `gere2001`: table of deflections, simple beam under uniform load

use serde::Serialize;
use stillbed_input::quantity::GRAVITY;
/// Thicknesses in which boards are sold, m: common practice.
const BOARDS: [f64; 8] = [6e-3, 9e-3, 12e-3, 15e-3, 18e-3, 21e-3, 24e-3, 30e-3];

/// A mould of boards on ribs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mould {
    /// Young's modulus of the board across the ribs, Pa.
    pub youngs_modulus: f64,
    /// Strength of the board in bending, Pa.
    pub strength: f64,
    /// Conductivity of the board, W/(m K).
    pub conductivity: f64,
    /// Distance between the ribs, m.
    pub span: f64,
    /// Deflection of the board allowed between them, m.
    pub deflection: f64,
}

/// The pressure on the mould, and the board for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MouldAnswer {
    /// Head of mix that has not gelled, m.
    pub head_m: f64,
    /// Pressure at the bottom, Pa.
    pub pressure_pa: f64,
    /// Least thickness that keeps the deflection, m.
    pub least_board_m: f64,
    /// The next thickness sold; `None` where the ribs must be closer.
    pub board_m: Option<f64>,
    /// Bending stress, Pa, in the board that is sold, or else in one of the least thickness.
    pub stress_pa: f64,
    /// Stress over strength.
    pub use_of_strength: f64,
    /// Distance between the ribs, m.
    pub span_m: f64,
    /// Deflection allowed, m.
    pub deflection_m: f64,
}

impl Mould {
    /// Thermal resistance of the board for `head` (m) of a mix of `density` (kg/m3), m2 K/W.
    #[must_use]
    pub fn resistance(&self, density: f64, head: f64) -> f64 {
        let held = self.hold(density, head);
        held.board_m.unwrap_or(held.least_board_m) / self.conductivity
    }

    /// The board for `head` (m) of a mix of `density` (kg/m3) that has not gelled.
    #[must_use]
    pub fn hold(&self, density: f64, head: f64) -> MouldAnswer {
        let pressure = density * GRAVITY * head;
        let load = 60.0 * pressure * self.span.powi(4);
        let least = (load / (384.0 * self.youngs_modulus * self.deflection)).cbrt();
        let board = BOARDS.into_iter().find(|t| *t >= least);
        let stress = 0.75 * pressure * (self.span / board.unwrap_or(least)).powi(2);
        MouldAnswer {
            head_m: head,
            pressure_pa: pressure,
            least_board_m: least,
            board_m: board,
            stress_pa: stress,
            use_of_strength: stress / self.strength,
            span_m: self.span,
            deflection_m: self.deflection,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn half_a_metre_of_mix_on_ribs_at_a_quarter_metre() {
        let mould =
            Mould { youngs_modulus: 8e9, strength: 40e6, conductivity: 0.17, span: 0.25, deflection: 0.5e-3 };
        let held = mould.hold(2100.0, 0.5);
        assert_relative_eq!(held.pressure_pa, 10_296.98, max_relative = 1e-6);
        // A strip of that thickness deflects by the allowed amount.
        let inertia = held.least_board_m.powi(3) / 12.0;
        let bent = 5.0 * held.pressure_pa * 0.25f64.powi(4) / (384.0 * 8e9 * inertia);
        assert_relative_eq!(bent, 0.5e-3, max_relative = 1e-12);
        assert_eq!(held.board_m, Some(12e-3));
        // Stress is moment over section modulus: p s^2/8 over t^2/6, both per metre of width.
        let moment = held.pressure_pa * 0.25f64.powi(2) / 8.0;
        assert_relative_eq!(held.stress_pa, moment / (0.012f64.powi(2) / 6.0), max_relative = 1e-12);
        assert_relative_eq!(held.use_of_strength, held.stress_pa / 40e6, max_relative = 1e-12);
        assert!(held.use_of_strength < 0.1);
        assert_relative_eq!(mould.resistance(2100.0, 0.5), 0.012 / 0.17, max_relative = 1e-12);
    }

    #[test]
    fn ribs_too_far_apart_leave_no_board() {
        let mould =
            Mould { youngs_modulus: 8e9, strength: 40e6, conductivity: 0.17, span: 1.0, deflection: 0.2e-3 };
        assert_eq!(mould.hold(2100.0, 1.0).board_m, None);
    }
}
