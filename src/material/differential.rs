//! The differential scheme: spheres added to a host little by little.
//!
//! ```text
//! dX/dt = sum w_i F_i(X),    t = -ln(1 - f),    sum w_i = 1
//! K:      (K_i - K) (K + 4G/3) / (K_i + 4G/3)
//! G:      (G_i - G) (G + z) / (G_i + z),        z as for the Hashin-Shtrikman bounds
//! alpha:  (alpha_i - alpha) K_i (3K + 4G) / (K (3 K_i + 4G))
//! k:      3 k (k_i - k) / (k_i + 2k)
//! ```
//!
//! Each step takes the mixture so far as its host, which suits stones among sand in binder. K and G are
//! complex, so the loss follows from the same equations. Expansion keeps Levin's exact relation with the
//! K reached. Assumed: spheres, perfect bond, each step's grains larger than those before. Left out:
//! grains that touch.
//!
//! # Source
//! - `mclaughlin1977`: differential equations of K and G for spheres
//! - `norris1985`: several kinds of inclusions along one path
//! - `bruggeman1935`: conductivity
//! - `levin1967`: expansion

use super::homogenise::Moduli;
use num_complex::Complex64;

/// Relative tolerance of the integration.
const TOLERANCE: f64 = 1e-8;

/// A homogeneous mixture: the properties that the scheme integrates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Host {
    /// Complex moduli, Pa.
    pub moduli: Moduli,
    /// Linear expansion, 1/K.
    pub expansion: f64,
    /// Conductivity, W/(m K).
    pub conductivity: f64,
}

/// One kind of spheres, with its share of the volume added.
pub type Stirred = (f64, Host);

/// K, G, alpha and k, scaled by those of the first host.
type State = [Complex64; 4];

/// `host` after spheres have been added until their volume fraction is `share`.
///
/// `stirred` lists the kinds with their shares of the added volume, which sum to one.
pub fn stir(host: &Host, stirred: &[Stirred], share: f64) -> Host {
    if share <= 0.0 || stirred.is_empty() {
        return *host;
    }
    let scale = [host.moduli.bulk.re, host.moduli.bulk.re, unit(host.expansion), unit(host.conductivity)];
    let state = |h: &Host| -> State {
        [
            h.moduli.bulk / scale[0],
            h.moduli.shear / scale[1],
            (h.expansion / scale[2]).into(),
            (h.conductivity / scale[3]).into(),
        ]
    };
    let kinds: Vec<(f64, State)> = stirred.iter().map(|(part, kind)| (*part, state(kind))).collect();
    let end = integrate(state(host), -(-share).ln_1p(), &kinds);
    Host {
        moduli: Moduli { bulk: end[0] * scale[0], shear: end[1] * scale[1] },
        expansion: end[2].re * scale[2],
        conductivity: end[3].re * scale[3],
    }
}

fn unit(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { x.abs() }
}

fn slope(x: &State, kinds: &[(f64, State)]) -> State {
    let [k, g, alpha, conductivity] = *x;
    let hold = 4.0 / 3.0 * g;
    let z = Moduli { bulk: k, shear: g }.shear_hold();
    let mut sum = [Complex64::ZERO; 4];
    for (part, [ki, gi, alpha_i, conductivity_i]) in kinds {
        let lift = (k + hold) / (ki + hold);
        sum[0] += *part * (ki - k) * lift;
        sum[1] += *part * (gi - g) * (g + z) / (gi + z);
        sum[2] += *part * (alpha_i.re - alpha.re) * (ki * lift / k).re;
        let below = conductivity_i.re + 2.0 * conductivity.re;
        if below > 0.0 {
            sum[3] += *part * 3.0 * conductivity.re * (conductivity_i.re - conductivity.re) / below;
        }
    }
    sum
}

/// Runge-Kutta method of orders 5 and 4, with the step controlled to [`TOLERANCE`].
///
/// # Source
/// - `dormand1980`: coefficients
fn integrate(start: State, end: f64, kinds: &[(f64, State)]) -> State {
    const A: [&[f64]; 6] = [
        &[1.0 / 5.0],
        &[3.0 / 40.0, 9.0 / 40.0],
        &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
        &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
        &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
        &[35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
    ];
    const ERROR: [f64; 7] =
        [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339200.0, 22.0 / 525.0, -1.0 / 40.0];
    let (mut x, mut t) = (start, 0.0);
    let mut step = end.min(0.2);
    let mut slopes = [[Complex64::ZERO; 4]; 7];
    slopes[0] = slope(&x, kinds);
    while t < end {
        step = step.min(end - t);
        let mut next = x;
        for stage in 0..6 {
            next = x;
            for (weight, s) in A[stage].iter().zip(&slopes) {
                for i in 0..4 {
                    next[i] += step * weight * s[i];
                }
            }
            slopes[stage + 1] = slope(&next, kinds);
        }
        let error = (0..4)
            .map(|i| {
                let off: Complex64 = ERROR.iter().zip(&slopes).map(|(e, s)| *e * s[i]).sum();
                step * off.norm() / (TOLERANCE * next[i].norm().max(1e-3))
            })
            .fold(0.0, f64::max);
        if error <= 1.0 || step < 1e-9 * end {
            // What is left after the last step is rounding error.
            t = if step >= end - t { end } else { t + step };
            x = next;
            slopes[0] = slopes[6];
        }
        step *= (0.9 * error.max(1e-6).powf(-0.2)).clamp(0.2, 4.0);
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn host(youngs_modulus: f64, poissons_ratio: f64, loss: f64) -> Host {
        let youngs_modulus = Complex64::new(youngs_modulus, youngs_modulus * loss);
        Host {
            moduli: Moduli::from_youngs(youngs_modulus, poissons_ratio),
            expansion: 60e-6,
            conductivity: 0.2,
        }
    }

    const PORE: Host = Host { moduli: Moduli::NOTHING, expansion: 0.0, conductivity: 0.0 };

    #[test]
    fn pores_in_a_host_of_poissons_ratio_one_fifth_act_as_a_square() {
        let end = stir(&host(30e9, 0.2, 0.01), &[(1.0, PORE)], 0.3);
        assert_relative_eq!(end.moduli.youngs_modulus().re, 30e9 * 0.49, max_relative = 1e-7);
        assert_relative_eq!(end.moduli.poissons_ratio(), 0.2, max_relative = 1e-7);
        assert_relative_eq!(end.moduli.loss_factor(), 0.01, max_relative = 1e-7);
        assert_relative_eq!(end.conductivity, 0.2 * 0.7f64.powf(1.5), max_relative = 1e-7);
        assert_relative_eq!(end.expansion, 60e-6);
    }

    #[test]
    fn rigid_spheres_in_an_incompressible_host_act_as_the_power_five_halves() {
        let soft = host(1e6, 0.499_999_99, 0.0);
        let hard = host(1e18, 0.3, 0.0);
        let end = stir(&soft, &[(1.0, hard)], 0.5);
        let ratio = end.moduli.shear.re / soft.moduli.shear.re;
        assert_relative_eq!(ratio, 0.5f64.powf(-2.5), max_relative = 1e-5);
    }

    #[test]
    fn one_path_in_two_halves_is_the_same_path() {
        let (epoxy, quartz) = (host(3e9, 0.36, 0.03), host(94e9, 0.08, 0.001));
        let whole = stir(&epoxy, &[(1.0, quartz)], 0.75);
        let half = stir(&stir(&epoxy, &[(1.0, quartz)], 0.5), &[(1.0, quartz)], 0.5);
        assert_relative_eq!(whole.moduli.shear.re, half.moduli.shear.re, max_relative = 1e-6);
        assert_relative_eq!(whole.moduli.bulk.im, half.moduli.bulk.im, max_relative = 1e-6);
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn the_scheme_keeps_within_the_bounds_and_levin(f in 0.01..0.95f64, ni in 0.05..0.3f64) {
            use crate::homogenise::{Phase, bounds};
            let mut quartz = host(90e9, ni, 0.001);
            quartz.expansion = 12e-6;
            let epoxy = host(3e9, 0.35, 0.03);
            let end = stir(&epoxy, &[(1.0, quartz)], f);
            let phases = [
                Phase { share: 1.0 - f, moduli: epoxy.moduli },
                Phase { share: f, moduli: quartz.moduli },
            ];
            let (low, high) = bounds(&phases);
            for of in [|m: &Moduli| m.bulk.re, |m: &Moduli| m.shear.re] {
                let (low, x, high) = (of(&low), of(&end.moduli), of(&high));
                prop_assert!(low * (1.0 - 1e-7) <= x && x <= high * (1.0 + 1e-7));
            }
            let loss = end.moduli.loss_factor();
            prop_assert!((0.001..=0.03).contains(&loss));
            let soft = |m: &Moduli| 1.0 / m.bulk.re;
            let levin = epoxy.expansion
                + (quartz.expansion - epoxy.expansion) * (soft(&end.moduli) - soft(&epoxy.moduli))
                    / (soft(&quartz.moduli) - soft(&epoxy.moduli));
            prop_assert!((end.expansion / levin - 1.0).abs() < 1e-3);
        }
    }
}
