//! Shear where a part is bonded to the others: highest at the ends of a member, where the force
//! that their different wishes call for passes over.
//!
//! ```text
//! dF/dx = k (u₂ - u₁),  k = G b / t      t = A / b: the depth of the part behind its bond line
//! β² = k (1/E₁A₁ + 1/E₂A₂)
//! τ = F β tanh(β L / 2) / b              F: the force far from the ends
//! ```
//!
//! An estimate: the bond line itself is rigid, the part shears over its whole depth, and the
//! ends carry no force. The elastic field at the corner of a real bond line is higher within a
//! fraction of the depth; a stated bond strength from a lap test has the same bias.
//!
//! # Source
//! - `volkersen1938`: shear along a lap joint (memory)
//! - `cox1952`: the same for a core in a matrix (memory)

/// A part bonded to the rest of its section.
#[derive(Debug, Clone, Copy)]
pub(super) struct BondLine {
    /// Shear modulus of the part, Pa.
    pub(super) shear_modulus: f64,
    /// Its area, m2.
    pub(super) area: f64,
    /// Its border with the others, m.
    pub(super) contact: f64,
    /// Axial stiffness of the part and of the others, N.
    pub(super) ea: [f64; 2],
    /// Of the member, m.
    pub(super) length: f64,
}

impl BondLine {
    /// The shear stress at the ends, Pa, for the axial `force` that passes over, N.
    pub(super) fn end_shear(&self, force: f64) -> Option<f64> {
        let usable = [self.shear_modulus, self.area, self.contact, self.ea[0], self.ea[1]];
        usable.iter().all(|x| *x > 0.0).then_some(())?;
        let k = self.shear_modulus * self.contact * self.contact / self.area;
        let beta = (k * (1.0 / self.ea[0] + 1.0 / self.ea[1])).sqrt();
        Some(force.abs() * beta * (0.5 * beta * self.length).tanh() / self.contact)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const LINE: BondLine =
        BondLine { shear_modulus: 7e9, area: 4e-3, contact: 0.1, ea: [8e7, 2e8], length: 1.0 };

    #[test]
    fn shear_over_the_half_length_sums_to_the_force() {
        let peak = LINE.end_shear(1000.0).unwrap();
        // tau(x) = peak cosh-free: F β sinh(β x) / (b cosh(β L/2)), x from the middle.
        let k = 7e9 * 0.01 / 4e-3;
        let beta = (k * (1.0 / 8e7 + 1.0 / 2e8f64)).sqrt();
        let n = 20000;
        let sum: f64 = (0..n)
            .map(|i| {
                let x = 0.5 * (i as f64 + 0.5) / n as f64;
                peak * (beta * x).sinh() / (beta * 0.5).sinh() * 0.1 * 0.5 / n as f64
            })
            .sum();
        // The force in the middle is F (1 - 1/cosh(β L/2)).
        assert_relative_eq!(sum, 1000.0 * (1.0 - 1.0 / (0.5 * beta).cosh()), max_relative = 1e-6);
    }

    #[test]
    fn a_part_without_bond_line_has_no_shear() {
        assert_eq!(BondLine { contact: 0.0, ..LINE }.end_shear(1.0), None);
    }
}
