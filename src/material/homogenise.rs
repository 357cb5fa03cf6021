//! Bounds and closed-form estimates of the moduli of a mixture of isotropic phases.
//!
//! ```text
//! K = [sum f_i / (K_i + 4 G_r/3)]^-1 - 4 G_r/3
//! G = [sum f_i / (G_i + z_r)]^-1 - z_r,    z_r = G_r (9 K_r + 8 G_r) / (6 (K_r + 2 G_r))
//! ```
//!
//! The reference r is the softest phase for the lower Hashin-Shtrikman bound, the stiffest for the upper
//! one, and the binder for the Mori-Tanaka estimate, which equals the lower bound where the binder is
//! the softest phase. By the correspondence principle the same equations hold for complex moduli, so the
//! loss of the mixture needs no rule of its own. Assumed: perfect bond, and spheres where a shape
//! matters.
//!
//! # Source
//! - `hashin1963`: bounds of K and G
//! - `hashin1970`: complex moduli in place of elastic ones
//! - `weng1984`: the estimate of Mori and Tanaka as the same form with the binder as reference
//! - `christensen1979`: three-phase model of coated spheres
//! - `kerner1956`: thermal expansion consistent with the bound of K
//! - `hirsch1962`: series and parallel models of concrete mixed
//! - `counto1964`: a prism in a prism

use super::medium::Medium;
use num_complex::Complex64;
use serde::Serialize;

/// The two complex moduli of an isotropic phase, Pa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moduli {
    /// Bulk modulus K*.
    pub bulk: Complex64,
    /// Shear modulus G*.
    pub shear: Complex64,
}

impl Moduli {
    /// An empty pore.
    pub const NOTHING: Moduli = Moduli { bulk: Complex64::ZERO, shear: Complex64::ZERO };

    /// The moduli of a material with complex E* and real Poisson's ratio.
    pub fn from_youngs(youngs_modulus: Complex64, poissons_ratio: f64) -> Moduli {
        Moduli {
            bulk: youngs_modulus / (3.0 * (1.0 - 2.0 * poissons_ratio)),
            shear: youngs_modulus / (2.0 * (1.0 + poissons_ratio)),
        }
    }

    /// The moduli of a medium from its E* and Poisson's ratio. Its G* is used too where its real part is
    /// that of an isotropic solid and only its loss is stated separately: K* = E* G*/(3 (3 G* - E*)).
    pub fn of(medium: &Medium) -> Moduli {
        let (e, g) = (medium.youngs_modulus, medium.shear_modulus);
        let isotropic = (2.0 * (1.0 + medium.poissons_ratio) * g.re / e.re - 1.0).abs() < 1e-6;
        match isotropic {
            true => Moduli { bulk: e * g / (3.0 * (3.0 * g - e)), shear: g },
            false => Moduli::from_youngs(e, medium.poissons_ratio),
        }
    }

    /// Young's modulus E* = 9 K G/(3 K + G), Pa; zero for a pore.
    pub fn youngs_modulus(&self) -> Complex64 {
        let sum = 3.0 * self.bulk + self.shear;
        if sum == Complex64::ZERO { Complex64::ZERO } else { 9.0 * self.bulk * self.shear / sum }
    }

    /// Real part of Poisson's ratio (3 K - 2 G)/(2 (3 K + G)).
    pub fn poissons_ratio(&self) -> f64 {
        let sum = 2.0 * (3.0 * self.bulk + self.shear);
        if sum == Complex64::ZERO { 0.0 } else { ((3.0 * self.bulk - 2.0 * self.shear) / sum).re }
    }

    /// Loss factor in tension, Im E*/Re E*.
    pub fn loss_factor(&self) -> f64 {
        let youngs_modulus = self.youngs_modulus();
        if youngs_modulus.re > 0.0 { youngs_modulus.im / youngs_modulus.re } else { 0.0 }
    }

    /// The shear stiffness z with which a medium restrains a sphere inside it, Pa.
    pub(super) fn shear_hold(&self) -> Complex64 {
        let sum = self.bulk + 2.0 * self.shear;
        if sum == Complex64::ZERO {
            return Complex64::ZERO;
        }
        self.shear * (9.0 * self.bulk + 8.0 * self.shear) / (6.0 * sum)
    }
}

/// A phase and its volume fraction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// Volume fraction.
    pub share: f64,
    /// Its moduli.
    pub moduli: Moduli,
}

/// Voigt average, all phases at the same strain: no mixture is stiffer.
pub fn voigt(phases: &[Phase]) -> Moduli {
    Moduli {
        bulk: phases.iter().map(|p| p.share * p.moduli.bulk).sum(),
        shear: phases.iter().map(|p| p.share * p.moduli.shear).sum(),
    }
}

/// Reuss average, all phases at the same stress: no mixture is softer.
pub fn reuss(phases: &[Phase]) -> Moduli {
    series(phases, Complex64::ZERO, Complex64::ZERO)
}

/// The Hashin-Shtrikman formula with the reference medium `reference`.
pub fn hashin_shtrikman(phases: &[Phase], reference: &Moduli) -> Moduli {
    series(phases, 4.0 / 3.0 * reference.shear, reference.shear_hold())
}

/// Lower and upper Hashin-Shtrikman bounds of any isotropic mixture of `phases`.
///
/// With a pore among them the lower bound is zero.
pub fn bounds(phases: &[Phase]) -> (Moduli, Moduli) {
    let (softest, stiffest) = extremes(phases);
    (hashin_shtrikman(phases, &softest), hashin_shtrikman(phases, &stiffest))
}

/// The smallest and the largest moduli of the phases, for bulk and shear separately.
pub fn extremes(phases: &[Phase]) -> (Moduli, Moduli) {
    (extreme(phases, f64::min), extreme(phases, f64::max))
}

fn extreme(phases: &[Phase], choose: fn(f64, f64) -> f64) -> Moduli {
    let pick = |of: fn(&Moduli) -> Complex64| {
        let found = phases.iter().map(|p| of(&p.moduli).re).reduce(choose).unwrap_or(0.0);
        phases.iter().map(|p| of(&p.moduli)).find(|x| x.re == found).unwrap_or_default()
    };
    Moduli { bulk: pick(|m| m.bulk), shear: pick(|m| m.shear) }
}

/// Phases in series after adding `bulk` and `shear` to each; the same is subtracted from the result.
fn series(phases: &[Phase], bulk: Complex64, shear: Complex64) -> Moduli {
    let whole = |of: fn(&Moduli) -> Complex64, hold: Complex64| {
        let terms: Vec<(f64, Complex64)> =
            phases.iter().filter(|p| p.share > 0.0).map(|p| (p.share, of(&p.moduli) + hold)).collect();
        if terms.iter().any(|(_, modulus)| *modulus == Complex64::ZERO) {
            return Complex64::ZERO;
        }
        let compliance: Complex64 = terms.iter().map(|(share, modulus)| *share / *modulus).sum();
        1.0 / compliance - hold
    };
    Moduli { bulk: whole(|m| m.bulk, bulk), shear: whole(|m| m.shear, shear) }
}

/// The average of Voigt and Reuss.
pub fn hill(phases: &[Phase]) -> Moduli {
    let (high, low) = (voigt(phases), reuss(phases));
    Moduli { bulk: (high.bulk + low.bulk) / 2.0, shear: (high.shear + low.shear) / 2.0 }
}

/// The three-phase (generalised self-consistent) model: a sphere of `inclusion` in a shell of `matrix`,
/// embedded in the mixture itself; `share` is the volume fraction of the inclusions.
///
/// # Source
/// - `christensen1979`: quadratic for G, coefficients A, B, C
pub fn three_phase(matrix: &Moduli, inclusion: &Moduli, share: f64) -> Moduli {
    let phases = [Phase { share: 1.0 - share, moduli: *matrix }, Phase { share, moduli: *inclusion }];
    let bulk = hashin_shtrikman(&phases, matrix).bulk;
    if share <= 0.0 {
        return *matrix;
    }
    let poisson = |m: &Moduli| (3.0 * m.bulk - 2.0 * m.shear) / (2.0 * (3.0 * m.bulk + m.shear));
    let (nm, g) = (poisson(matrix), inclusion.shear / matrix.shear);
    let ni = if *inclusion == Moduli::NOTHING { Complex64::ZERO } else { poisson(inclusion) };
    let d = g - 1.0;
    let e1 = (49.0 - 50.0 * ni * nm) * d + 35.0 * g * (ni - 2.0 * nm) + 35.0 * (2.0 * ni - nm);
    let e2 = 5.0 * ni * (g - 8.0) + 7.0 * (g + 4.0);
    let e3 = g * (8.0 - 10.0 * nm) + (7.0 - 5.0 * nm);
    let power = |n: f64| share.powf(n / 3.0);
    let middle = (63.0 * d * e2 + 2.0 * e1 * e3) * (2.0 * power(7.0));
    let shell = 252.0 * d * e2 * power(5.0);
    let a = 8.0 * d * (4.0 - 5.0 * nm) * e1 * power(10.0) - middle + shell
        - 50.0 * d * (7.0 - 12.0 * nm + 8.0 * nm * nm) * e2 * share
        + 4.0 * (7.0 - 10.0 * nm) * e2 * e3;
    let b = -2.0 * d * (1.0 - 5.0 * nm) * e1 * power(10.0) + middle - shell
        + 75.0 * d * (3.0 - nm) * nm * e2 * share
        + 1.5 * (15.0 * nm - 7.0) * e2 * e3;
    let c = 4.0 * d * (5.0 * nm - 7.0) * e1 * power(10.0) - middle
        + shell
        + 25.0 * d * (nm * nm - 7.0) * e2 * share
        - (7.0 + 5.0 * nm) * e2 * e3;
    let root = (b * b - a * c).sqrt();
    let (plus, minus) = ((-b + root) / a, (-b - root) / a);
    let ratio = if plus.re >= minus.re { plus } else { minus };
    Moduli { bulk, shear: matrix.shear * ratio }
}

/// Young's modulus by Counto's model, a prism of `inclusion` in a prism of `matrix`, both complex, Pa.
///
/// # Source
/// - `counto1964`: the equation, from memory
pub fn counto(matrix: Complex64, inclusion: Complex64, share: f64) -> Complex64 {
    let root = share.sqrt();
    if root == 0.0 {
        return matrix;
    }
    1.0 / ((1.0 - root) / matrix + 1.0 / ((1.0 - root) / root * matrix + inclusion))
}

/// Young's modulus by Hirsch's model, Pa: the share `parallel` of the compliance comes from phases in
/// parallel, the rest from phases in series.
///
/// # Source
/// - `hirsch1962`: the equation, from memory; 0.32 fits concrete, 0.5 is Dougill's model
pub fn hirsch(matrix: Complex64, inclusion: Complex64, share: f64, parallel: f64) -> Complex64 {
    let beside = (1.0 - share) * matrix + share * inclusion;
    let behind = (1.0 - share) / matrix + share / inclusion;
    1.0 / (parallel / beside + (1.0 - parallel) * behind)
}

/// Linear thermal expansion of a mixture, 1/K; `phases` are (volume fraction, real bulk modulus in Pa,
/// expansion in 1/K), and `hold` is the reference shear modulus G_r that gives the mixture's bulk
/// modulus.
///
/// ```text
/// alpha = sum f_i alpha_i c_i / sum f_i c_i,    c_i = K_i / (3 K_i + 4 G_r)
/// ```
///
/// For two phases this is Levin's exact relation with that bulk modulus. G_r = 0 gives the average by
/// volume, infinite G_r the average by stiffness.
///
/// # Source
/// - `levin1967`: two phases, exact for a given K
/// - `rosen1970`: several phases
pub fn expansion(phases: &[(f64, f64, f64)], hold: f64) -> f64 {
    let weight = |bulk: f64| if hold.is_infinite() { bulk } else { bulk / (3.0 * bulk + 4.0 * hold) };
    let solid = |p: &&(f64, f64, f64)| p.1 > 0.0;
    let above: f64 = phases.iter().filter(solid).map(|(f, k, alpha)| f * alpha * weight(*k)).sum();
    let below: f64 = phases.iter().filter(solid).map(|(f, k, _)| f * weight(*k)).sum();
    above / below
}

/// Young's moduli of a mixture by every closed form, Pa, for comparison with the prediction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Schemes {
    /// Reuss average.
    pub reuss_pa: f64,
    /// Lower Hashin-Shtrikman estimate, with the binder continuous.
    pub hashin_shtrikman_low_pa: f64,
    /// Three-phase model.
    pub three_phase_pa: f64,
    /// Counto's model, used for concrete.
    pub counto_pa: f64,
    /// Hirsch's model, used for concrete.
    pub hirsch_pa: f64,
    /// Upper Hashin-Shtrikman bound.
    pub hashin_shtrikman_high_pa: f64,
    /// Voigt average.
    pub voigt_pa: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn real(youngs_modulus: f64, poissons_ratio: f64) -> Moduli {
        Moduli::from_youngs(youngs_modulus.into(), poissons_ratio)
    }

    fn two(matrix: Moduli, inclusion: Moduli, share: f64) -> [Phase; 2] {
        [Phase { share: 1.0 - share, moduli: matrix }, Phase { share, moduli: inclusion }]
    }

    #[test]
    fn moduli_and_back() {
        let moduli = Moduli::from_youngs(Complex64::new(3e9, 6e7), 0.35);
        assert_relative_eq!(moduli.youngs_modulus().re, 3e9, max_relative = 1e-14);
        assert_relative_eq!(moduli.loss_factor(), 0.02, max_relative = 1e-13);
        assert_relative_eq!(moduli.poissons_ratio(), 0.35, max_relative = 1e-14);
        assert_eq!(Moduli::NOTHING.youngs_modulus(), Complex64::ZERO);
    }

    #[test]
    fn a_loss_in_shear_alone_leaves_the_bulk_modulus_elastic() {
        let (k, g) = (3.555_555_56e9, Complex64::new(1.185_185_19e9, 0.03 * 1.185_185_19e9));
        let e = 9.0 * k * g / (3.0 * k + g);
        let mut medium = Medium::isotropic("resin", super::super::Role::Fill, e.re, 0.0, 1100.0, e.im / e.re);
        medium.poissons_ratio = e.re / (2.0 * g.re) - 1.0;
        medium.shear_modulus = g;
        let moduli = Moduli::of(&medium);
        assert_relative_eq!(moduli.bulk.re, k, max_relative = 1e-12);
        assert!(moduli.bulk.im.abs() < 1e-9 * k);
        medium.shear_modulus = g / 3.0;
        assert_relative_eq!(Moduli::of(&medium).youngs_modulus().re, e.re, max_relative = 1e-12);
    }

    #[test]
    fn estimates_for_concrete_meet_their_ends() {
        let (m, i) = (Complex64::new(3e9, 1e8), Complex64::new(60e9, 1e7));
        for share in [0.0, 1.0] {
            let end = if share == 0.0 { m } else { i };
            assert_relative_eq!(counto(m, i, share).re, end.re, max_relative = 1e-12);
            assert_relative_eq!(hirsch(m, i, share, 0.32).im, end.im, max_relative = 1e-12);
        }
    }

    #[test]
    fn a_pore_leaves_no_lower_bound() {
        let (low, high) = bounds(&two(real(3e9, 0.35), Moduli::NOTHING, 0.1));
        assert_eq!(low, Moduli { bulk: 0.0.into(), shear: 0.0.into() });
        assert!(high.bulk.re > 0.0);
    }

    #[test]
    fn a_pore_and_a_rigid_sphere_act_alike_whatever_their_poissons_ratio() {
        let matrix = real(3e9, 0.35);
        for modulus in [3e-3, 3e21] {
            let [one, other] = [0.0, 0.4].map(|poisson| three_phase(&matrix, &real(modulus, poisson), 0.4));
            assert_relative_eq!(one.shear.re, other.shear.re, max_relative = 1e-6);
        }
        // Whoever is as stiff in shear as the matrix does not change its shear modulus.
        let alike = three_phase(&matrix, &real(2.0 * 1.1 * matrix.shear.re, 0.1), 0.4);
        assert_relative_eq!(alike.shear.re, matrix.shear.re, max_relative = 1e-9);
    }

    #[test]
    fn expansion_is_that_of_the_exact_relation_of_two_phases() {
        // alpha_1 + (alpha_2 - alpha_1) (1/K - 1/K_1) / (1/K_2 - 1/K_1), with the K of a reference shear modulus G:
        // 1 / (K + 4 G / 3) = sum f_i / (K_i + 4 G / 3).
        let (one, two, alpha, other) = (3.5e9, 38e9, 60e-6, 12e-6);
        for (share, g) in [(0.2, 1e8), (0.6, 1.2e9), (0.7, 3e10)] {
            let hold = 4.0 / 3.0 * g;
            let bulk = 1.0 / ((1.0 - share) / (one + hold) + share / (two + hold)) - hold;
            let exact = alpha + (other - alpha) * (1.0 / bulk - 1.0 / one) / (1.0 / two - 1.0 / one);
            let found = expansion(&[(1.0 - share, one, alpha), (share, two, other)], g);
            assert_relative_eq!(found, exact, max_relative = 1e-12);
        }
        // Pores take no part, also where nothing holds the grains.
        assert_relative_eq!(
            expansion(&[(0.9, one, alpha), (0.1, 0.0, 0.0)], 0.0),
            alpha,
            max_relative = 1e-12
        );
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn bounds_bound(e in 0.5..5.0, r in 2.0..60.0, nm in 0.1..0.45, ni in 0.0..0.4, f in 0.01..0.99) {
            let (matrix, inclusion) = (real(e, nm), real(e * r, ni));
            prop_assume!(inclusion.bulk.re > matrix.bulk.re && inclusion.shear.re > matrix.shear.re);
            let phases = two(matrix, inclusion, f);
            let (low, high) = bounds(&phases);
            let middle = three_phase(&matrix, &inclusion, f);
            let chain = [reuss(&phases), low, middle, high, voigt(&phases)];
            for pair in chain.windows(2) {
                prop_assert!(pair[0].bulk.re <= pair[1].bulk.re * (1.0 + 1e-9));
                prop_assert!(pair[0].shear.re <= pair[1].shear.re * (1.0 + 1e-9));
            }
        }

        #[test]
        fn expansion_lies_between_that_of_its_phases(f in 0.0..1.0f64, hold in 0.0..1e10f64) {
            let alpha = expansion(&[(1.0 - f, 3.5e9, 60e-6), (f, 38e9, 12e-6)], hold);
            prop_assert!((12e-6 - 1e-18..=60e-6 + 1e-18).contains(&alpha));
        }
    }
}
