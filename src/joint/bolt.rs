//! How hard does a bolt press its parts together, how stiff is it, and when do they part?
//!
//! ```text
//! F = T / (K d)                                        preload from torque
//! k_b = E π d²/4 / l                                   the bolt, with its shank
//! k_m = 0.5774 π E d / (2 ln(5 (0.5774 l + 0.5 d)/(0.5774 l + 2.5 d)))      two cones of 30°
//! c = k_b / (k_b + k_m)                                share of an outer load that the bolt takes
//! P = F / (1 - c)                                      outer load at which the parts part
//! ```
//!
//! The cones begin at a washer face of 1.5 d; the nut factor K holds friction of thread and head together and is known
//! to a third at best. Threads, heads and washers give too and are left out, so that k_b is an upper limit.
//!
//! # Source
//! - `shigley2011`: sections 8-4 to 8-9
//! - `wileman1991`: the fit of finite elements
//! - `iso898`: stress area and proof stress

use std::f64::consts::PI;

/// Diameter of a washer face over that of the bolt.
pub const FACE: f64 = 1.5;

/// Tangent of 30°, as handbooks print it.
const TAN_30: f64 = 0.5774;

/// Coarse threads, diameter and pitch in mm.
const COARSE: [(f64, f64); 13] = [
    (3.0, 0.5),
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (24.0, 3.0),
    (30.0, 3.5),
];

/// A metric bolt with coarse thread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bolt {
    /// Nominal diameter d, m.
    pub diameter: f64,
    /// Pitch of its thread, m.
    pub pitch: f64,
}

impl Bolt {
    /// The bolt of `diameter` in mm, as in M8; `None` where no coarse thread of that size is known.
    #[must_use]
    pub fn metric(diameter: f64) -> Option<Bolt> {
        let (d, pitch) = COARSE.iter().find(|(d, _)| (d - diameter).abs() < 1e-9)?;
        Some(Bolt { diameter: d * 1e-3, pitch: pitch * 1e-3 })
    }

    /// The sizes that are known, as in M8.
    #[must_use]
    pub fn sizes() -> Vec<String> {
        COARSE.iter().map(|(d, _)| format!("M{d}")).collect()
    }

    /// Stress area of the thread, m².
    ///
    /// By hand: 36.6 mm² of M8.
    #[must_use]
    pub fn stress_area(&self) -> f64 {
        0.25 * PI * (self.diameter - 0.9382 * self.pitch).powi(2)
    }

    /// Preload from `torque`, N m, by the `nut_factor` K: N.
    ///
    /// By hand: 20 N m on M8 with K = 0.2 is 12.5 kN.
    #[must_use]
    pub fn preload(&self, torque: f64, nut_factor: f64) -> f64 {
        torque / (nut_factor * self.diameter)
    }

    /// Torque that brings it to three quarters of the proof `stress`, Pa, by the `nut_factor` K: N m.
    #[must_use]
    pub fn usual_torque(&self, stress: f64, nut_factor: f64) -> f64 {
        0.75 * stress * self.stress_area() * nut_factor * self.diameter
    }

    /// Stiffness of its shank over `grip`, m, for its Young's `modulus`, Pa: N/m.
    #[must_use]
    pub fn stiffness(&self, modulus: f64, grip: f64) -> f64 {
        modulus * 0.25 * PI * self.diameter.powi(2) / grip
    }

    /// Stiffness of the parts that it clamps over `grip`, m, by cones of 30°, for their `modulus`, Pa: N/m.
    #[must_use]
    pub fn clamped(&self, modulus: f64, grip: f64) -> f64 {
        let (d, half) = (self.diameter, TAN_30 * grip);
        TAN_30 * PI * modulus * d / (2.0 * (5.0 * (half + 0.5 * d) / (half + 2.5 * d)).ln())
    }

    /// The same by the fit for steel.
    #[must_use]
    pub fn clamped_by_fit(&self, modulus: f64, grip: f64) -> f64 {
        let (a, b) = (0.78715, 0.62873);
        modulus * self.diameter * a * (b * self.diameter / grip).exp()
    }

    /// Radius of its cone in a part of thickness `thick`, m, at the other face of the part: m.
    #[must_use]
    pub fn cone(&self, thick: f64) -> f64 {
        0.5 * FACE * self.diameter + TAN_30 * thick
    }
}

/// Share of an outer load that bolts of stiffness `bolt` take beside parts of stiffness `clamped`.
#[must_use]
pub fn bolt_share(bolt: f64, clamped: f64) -> f64 {
    bolt / (bolt + clamped)
}

/// Outer load, N, at which parts pressed together with `preload`, N, part, where bolts take the share `share` of it.
#[must_use]
pub fn separation(preload: f64, share: f64) -> f64 {
    preload / (1.0 - share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn clamped_parts_and_bolts_of_three_sizes() {
        // Worked from the formulas of shigley2011 and wileman1991 with E = 207 GPa, N/µm.
        for (d, grip, printed) in [
            (6.0, 0.020, [1117.59604, 1180.57963, 292.639356]),
            (8.0, 0.024, [1548.88074, 1607.44389, 433.539786]),
            (12.0, 0.030, [2498.09674, 2514.37864, 780.371615]),
        ] {
            let bolt = Bolt::metric(d).unwrap();
            let found =
                [bolt.clamped(207e9, grip), bolt.clamped_by_fit(207e9, grip), bolt.stiffness(207e9, grip)];
            for (found, printed) in found.iter().zip(printed) {
                assert_relative_eq!(found / 1e6, printed, max_relative = 1e-8);
            }
            let share = bolt_share(found[2], found[0]);
            assert!((0.19..0.24).contains(&share), "{share}");
        }
    }

    #[test]
    fn preload_stress_area_and_parting_by_hand() {
        let bolt = Bolt::metric(8.0).unwrap();
        assert_relative_eq!(bolt.preload(20.0, 0.2), 12500.0, max_relative = 1e-12);
        assert_relative_eq!(bolt.stress_area() * 1e6, 36.6, max_relative = 1e-3);
        // 0.75 of 600 MPa on 36.6 mm² is 16.5 kN.
        assert_relative_eq!(bolt.usual_torque(600e6, 0.2), 16.47e3 * 0.2 * 0.008, max_relative = 1e-3);
        assert_relative_eq!(separation(1000.0, bolt_share(1.0, 3.0)), 4000.0 / 3.0, max_relative = 1e-12);
        assert!(Bolt::metric(7.0).is_none() && Bolt::sizes().contains(&"M8".to_string()));
    }

    proptest! {
        #[test]
        fn longer_is_softer_and_wider_is_stiffer(grip in 0.005f64..0.1, i in 0usize..12) {
            let (bolt, wider) = (Bolt::metric(COARSE[i].0).unwrap(), Bolt::metric(COARSE[i + 1].0).unwrap());
            prop_assert!(bolt.stiffness(1.0, 2.0 * grip) < bolt.stiffness(1.0, grip));
            prop_assert!(bolt.clamped(1.0, 2.0 * grip) < bolt.clamped(1.0, grip));
            prop_assert!(bolt.clamped(1.0, grip) < wider.clamped(1.0, grip));
            prop_assert!(bolt.cone(2.0 * grip) > bolt.cone(grip));
        }
    }
}
