//! Shear between a part and the others that it is bonded to: highest at the ends of a member, where the force
//! from their different free strains is transferred.
//!
//! ```text
//! dF/dx = k (u₂ - u₁),   1/k = (A₁/(c G₁) + A₂/(c G₂))/b²    both sides shear: A/b is their depth
//! β² = k (1/E₁A₁ + 1/E₂A₂)
//! F(x) = F (1 - cosh(β (L/2 - x))/cosh(β L/2))               F: the force far from the ends
//! τ = F(l)/(b l)                                             mean over the length l at an end
//! ```
//!
//! l is the overlap of a lap test, by which bond strengths are stated, or half the member where that is less:
//! stress and strength are then means over the same length. At the very end an elastic shear stress is
//! unbounded. With c = 1.2, fitted to plane finite elements, the mean over l is within 10 % of theirs for
//! cores of 20 to 100 mm between plates of 3 to 10 mm. A core held on four sides is treated by its A/b too,
//! which is not checked. The ends carry no force.
//!
//! # Source
//! - `volkersen1938`: shear along a lap joint (memory)
//! - `cox1952`: the same for a core in a matrix (memory)
//! - `iso4587`: overlap of 12.5 mm (memory)

/// Overlap of a lap test, m.
const OVERLAP: f64 = 0.0125;
/// Shear stiffness of a side that is sheared over its depth, over that of one that is sheared evenly.
const SHEARED: f64 = 1.2;

/// One side of a bond line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Pa.
    pub(super) shear_modulus: f64,
    /// m2.
    pub(super) area: f64,
    /// Axial stiffness, N.
    pub(super) ea: f64,
}

/// A part bonded to the rest of its section.
#[derive(Debug, Clone, Copy)]
pub(super) struct BondLine {
    /// The part and the others.
    pub(super) sides: [Side; 2],
    /// Length of its border with the others in the section, m.
    pub(super) contact: f64,
    /// Length of the member, m.
    pub(super) length: f64,
}

/// Shear at the ends of a bond line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct EndShear {
    /// Mean over the overlap of a lap test from an end, Pa.
    pub(super) shear: f64,
    /// Length from an end over which 95 % of the force is transferred, m.
    pub(super) reach: f64,
}

impl BondLine {
    /// The shear at the ends when the axial `force`, N, is transferred.
    pub(super) fn end_shear(&self, force: f64) -> Option<EndShear> {
        let known = self.sides.iter().flat_map(|side| [side.shear_modulus, side.area, side.ea]);
        known.chain([self.contact, self.length]).all(|x| x > 0.0).then_some(())?;
        let depth: f64 = self.sides.iter().map(|side| side.area / (SHEARED * side.shear_modulus)).sum();
        let softness: f64 = self.sides.iter().map(|side| 1.0 / side.ea).sum();
        let beta = self.contact * (softness / depth).sqrt();
        let (half, over) = (0.5 * self.length, OVERLAP.min(0.5 * self.length));
        // 1 - cosh(β (h - l))/cosh(β h), written without large numbers.
        let (down, whole) = ((-beta * over).exp(), (-2.0 * beta * half).exp());
        let passed = 1.0 - (down + whole / down) / (1.0 + whole);
        let shear = force.abs() * passed / (self.contact * over);
        Some(EndShear { shear, reach: (3.0 / beta).min(half) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const LINE: BondLine = BondLine {
        sides: [
            Side { shear_modulus: 7e9, area: 4e-3, ea: 8e7 },
            Side { shear_modulus: 27e9, area: 1e-3, ea: 2e8 },
        ],
        contact: 0.1,
        length: 1.0,
    };

    #[test]
    fn shear_over_the_overlap_is_that_of_the_force_along_the_line() {
        // dF/dx = τ b with F(x) from the solution of the differential equation.
        let depth = 4e-3 / (1.2 * 7e9) + 1e-3 / (1.2 * 27e9);
        let beta = (0.01 / depth * (1.0 / 8e7 + 1.0 / 2e8f64)).sqrt();
        let force = |x: f64| 1000.0 * (1.0 - (beta * (0.5 - x)).cosh() / (beta * 0.5).cosh());
        let found = LINE.end_shear(-1000.0).unwrap();
        assert_relative_eq!(found.shear, force(0.0125) / (0.1 * 0.0125), max_relative = 1e-9);
        assert_relative_eq!(force(found.reach) / force(0.5), 0.95, max_relative = 2e-3);
        let short = BondLine { length: 0.01, ..LINE }.end_shear(1000.0).unwrap();
        let middle = 1000.0 * (1.0 - 1.0 / (beta * 0.005).cosh());
        assert_relative_eq!(short.shear, middle / (0.1 * 0.005), max_relative = 1e-9);
    }

    #[test]
    fn both_sides_have_one_shear() {
        let [a, b] = LINE.sides;
        let other = BondLine { sides: [b, a], ..LINE };
        assert_eq!(LINE.end_shear(500.0), other.end_shear(500.0));
    }

    #[test]
    fn a_part_without_bond_line_has_no_shear() {
        assert_eq!(BondLine { contact: 0.0, ..LINE }.end_shear(1.0), None);
    }
}
