//! How near a wide lift is to thermal runaway, in which its heat outruns what its faces pass.

use super::heat::Fill;

/// Frank-Kamenetskii parameter of a wide slab of `fill`, over its critical value: above 1 the slab runs away
/// if the binder does not run out first. `None` where the faces pass no heat, so that nothing is steady.
///
/// `thickness` in m from face to face, heat transfer `passed` by each face in W/(m2 K), surroundings in K.
///
/// ```text
/// delta = (theta/T^2) a^2 q/k,      q the highest heat set free at T, a half the thickness
/// ```
///
/// # Source
/// - `frank1955`: the parameter and the steady solution of a slab
#[must_use]
pub fn runaway(fill: &Fill, thickness: f64, passed: f64, surroundings: f64) -> Option<f64> {
    let half = thickness / 2.0;
    let heat = fill.heat * fill.kinetics.highest_rate(surroundings);
    let steepness = fill.kinetics.activation_temperature / surroundings.powi(2);
    let critical = critical_slab(passed * half / fill.conductivity);
    let delta = steepness * half * half * heat / fill.conductivity;
    (critical > 0.0).then_some(delta / critical)
}

/// The critical parameter of a slab whose faces pass heat with the Biot number `biot`.
///
/// The steady slab with the parameter D of its middle has delta = 2 D^2 exp(-2 ln cosh D - 2 D tanh(D)/biot);
/// above the largest of these values no state is steady. 0.8785 for faces held at their temperature.
///
/// # Source
/// - `frank1955`: the solution for held faces; the other follows with the face's own balance
#[must_use]
pub fn critical_slab(biot: f64) -> f64 {
    if biot <= 0.0 {
        return 0.0;
    }
    let delta = |d: f64| 2.0 * d * d * (-2.0 * d.cosh().ln() - 2.0 * d * d.tanh() / biot).exp();
    let (mut low, mut high) = (0.0, 3.0);
    while high - low > 1e-9 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if delta(a) < delta(b) { low = a } else { high = b }
    }
    delta((low + high) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::super::heat::{Casting, End, Face};
    use super::super::kinetics::Kinetics;
    use super::*;

    /// A binder with so much heat that a thousandth of it already warms the mix by hundreds of kelvin.
    fn endless() -> Fill {
        let kinetics = Kinetics {
            rate_constant: 1e-9 * (15_000.0f64 / 295.0).exp(),
            activation_temperature: 15_000.0,
            start_order: 0.0,
            end_order: 0.0,
            seed: 0.01,
        };
        Fill { conductivity: 1.5, heat_capacity: 1.9e6, heat: 1e13, kinetics }
    }

    #[test]
    fn a_lift_runs_away_beyond_the_critical_thickness_when_the_binder_does_not_run_out() {
        let fill = endless();
        let critical = 0.1 / runaway(&fill, 0.1, f64::INFINITY, 295.0).unwrap().sqrt();
        let held = Face { air: f64::INFINITY, board: 0.0 };
        let hot = |part: f64| {
            let slab = Casting::slab(part * critical, 41, [held; 2], 295.0, 295.0);
            slab.cure(&fill, End::After(4e5), 0.02).peak()
        };
        assert!(hot(0.95) < 305.0, "{}", hot(0.95));
        assert!(hot(1.08) > 400.0, "{}", hot(1.08));
    }

    #[test]
    fn a_face_that_passes_no_heat_has_no_steady_state() {
        assert_eq!(critical_slab(0.0), 0.0);
        assert_eq!(runaway(&endless(), 0.1, 0.0, 295.0), None);
        assert!(critical_slab(1.0) < critical_slab(100.0));
    }
}
