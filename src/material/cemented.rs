//! Packed grains that touch, cemented by too little binder to fill the voids between them.
//!
//! Stirring spreads the binder over all grains; it gathers as a neck at each contact:
//!
//! ```text
//! a²  = 2/3 (binder/grains by volume)                      neck radius, grain radius 1
//! k_n = series of  π M_b ln(1 + a²/h)  and  2 G a/(1 - ν)   binder layer; two grains under a round spot
//! k_t = series of  π G_b ln(1 + a²/h)  and  4 G a/(2 - ν)
//! K   ~ k_n,    shear modulus ~ k_n + 3/2 k_t               isotropic packing, all grains strained alike
//! ```
//!
//! M_b = K_b + 4/3 G_b; the binder layer between two grains is h + r² thick at r from the contact. h is
//! not measured and follows from no law: it is one constant, a hundredth of the radius (`FILM`), fitted to
//! a single source (`thole2010`) and taken for every grain and binder. The number of contacts follows from the filled state: with full voids
//! the packing is as stiff as the mixture with the binder continuous (`filled`). Between dry (0) and
//! full (f)
//!
//! ```text
//! K(s) = K_0 + (1 - s) Re(K_f - K_0) x(s) + s (K_f - K_0) Re x(s),     x(s) = k(s)/Re k(1)
//! ```
//!
//! with s the saturation, the part of the voids filled by binder. The real part follows the contacts;
//! the loss goes from that of a neck to that of the filled mixture as if both acted in parallel. All
//! moduli are complex, so the loss lies between that of the grains and that of the binder. Dry grains
//! are held by the weight of half a metre of mix above them. Expansion goes from that of the grains to
//! that of the filled mixture, weighted by the shares of both; conductivity is linear in s.
//!
//! Left out: contacts without binder, necks torn by shrinkage.
//!
//! # Source
//! - `dvorkin1996`: cement spread over the grains, its neck, the moduli from k_n and k_t; from memory
//! - `johnson1985`: sec. 3.7 and 7.2, a round spot pressed and sheared on a half space; from memory
//! - `mindlin1949`: two spheres pressed and sheared; from memory
//! - `mavko2009`: sec. 5.4, dry grains by their contacts; from memory
//! - `thole2010`: round sand with 1.25 % of binder by weight; 3.6 GPa from memory, by which h is chosen
//! - `levin1967`: expansion

use super::differential::Host;
use super::homogenise::{self, Moduli};
use num_complex::Complex64;
use std::f64::consts::PI;

/// Thickness h of binder between two grains where they are nearest, over the grain radius; fitted to
/// `thole2010`.
const FILM: f64 = 0.01;
/// Pressure that holds dry grains together, Pa.
const HOLDING: f64 = 1e4;
/// Contacts per grain in a dense packing.
const CONTACTS: f64 = 9.0;
/// Conductivity of air, W/(m K).
pub(super) const AIR_CONDUCTIVITY: f64 = 0.025;

/// Packed grains with some binder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Packed {
    /// Volume fraction of the grains.
    pub solid: f64,
    /// Saturation: the part of the voids filled by binder, 0 to 1.
    pub saturation: f64,
}

/// Complex stiffness of one contact over the grain radius: `[normal, tangential]`, Pa.
fn contact(neck: f64, grains: &Moduli, binder: &Moduli) -> [Complex64; 2] {
    let layer = PI * (1.0 + neck * neck / FILM).ln();
    let (k, g) = (grains.bulk, grains.shear);
    // 1 - ν and 2 - ν in terms of the moduli.
    let stretched = (3.0 * k + 4.0 * g) / (2.0 * (3.0 * k + g));
    let sheared = (9.0 * k + 6.0 * g) / (2.0 * (3.0 * k + g));
    let series = |a: Complex64, b: Complex64| {
        if a == Complex64::ZERO || b == Complex64::ZERO { Complex64::ZERO } else { a * b / (a + b) }
    };
    let normal = series(layer * (binder.bulk + 4.0 / 3.0 * binder.shear), 2.0 * neck * g / stretched);
    let tangential = series(layer * binder.shear, 4.0 * neck * g / sheared);
    [normal, tangential]
}

/// Moduli of dry grains under the pressure [`HOLDING`], Pa.
fn dry(solid: f64, grains: &Moduli) -> Moduli {
    let (g, nu) = (grains.shear.re, grains.poissons_ratio());
    let load = (CONTACTS * solid * g / (PI * (1.0 - nu))).powi(2) * HOLDING;
    let lossy = grains.shear / g;
    Moduli {
        bulk: (load / 18.0).cbrt() * lossy,
        shear: (5.0 - 4.0 * nu) / (5.0 * (2.0 - nu)) * (1.5 * load).cbrt() * lossy,
    }
}

/// Packed `grains` with necks of `binder`; `filled` is the mixture with all voids full of binder, the
/// result at a saturation of 1.
pub fn cemented(packed: &Packed, grains: &Host, binder: &Moduli, filled: &Host) -> Host {
    let s = packed.saturation.clamp(0.0, 1.0);
    if s >= 1.0 {
        return *filled;
    }
    let bare = dry(packed.solid, &grains.moduli);
    let neck = |saturation: f64| (2.0 / 3.0 * saturation * (1.0 - packed.solid) / packed.solid).sqrt();
    let [now, full] = [s, 1.0].map(|s| contact(neck(s), &grains.moduli, binder));
    let join = |bare: Complex64, filled: Complex64, now: Complex64, full: Complex64| {
        // A binder softer than the dry packing does not stiffen it, so the dry packing is taken no
        // stiffer than the filled mixture.
        let bare = if bare.re < filled.re { bare } else { bare * (filled.re / bare.re) };
        let x = now / full.re;
        let gain = filled - bare;
        bare + (1.0 - s) * gain.re * x + s * gain * x.re
    };
    let moduli = Moduli {
        bulk: join(bare.bulk, filled.moduli.bulk, now[0], full[0]),
        shear: join(bare.shear, filled.moduli.shear, now[0] + 1.5 * now[1], full[0] + 1.5 * full[1]),
    };
    let parts = [(s, filled.moduli.bulk.re, filled.expansion), (1.0 - s, moduli.bulk.re, grains.expansion)];
    let air = AIR_CONDUCTIVITY;
    let through = packed.solid / (grains.conductivity + 2.0 * air) + (1.0 - packed.solid) / (3.0 * air);
    let bare_conductivity = 1.0 / through - 2.0 * air;
    Host {
        moduli,
        expansion: homogenise::expansion(&parts, moduli.shear.re),
        conductivity: bare_conductivity + s * (filled.conductivity - bare_conductivity),
    }
}

#[cfg(test)]
mod tests {
    use super::super::differential::stir;
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn host(youngs_modulus: f64, poissons_ratio: f64, loss: f64, expansion: f64, conductivity: f64) -> Host {
        let youngs_modulus = Complex64::new(youngs_modulus, youngs_modulus * loss);
        Host { moduli: Moduli::from_youngs(youngs_modulus, poissons_ratio), expansion, conductivity }
    }

    fn quartz() -> Host {
        host(94.5e9, 0.08, 0.001, 12e-6, 7.7)
    }

    fn epoxy() -> Host {
        host(3e9, 0.36, 0.03, 65e-6, 0.2)
    }

    fn at(solid: f64, saturation: f64, grains: &Host, binder: &Host) -> Host {
        let filled = stir(binder, &[(1.0, *grains)], solid);
        cemented(&Packed { solid, saturation }, grains, &binder.moduli, &filled)
    }

    #[test]
    fn a_contact_by_hand() {
        // a = 0.5: π ln 26 = 10.2357; the layer 10.2357 M_b, the grains 2·0.5·G/(1 - ν).
        let [normal, tangential] = contact(0.5, &quartz().moduli, &epoxy().moduli);
        let (m, g) = (3e9 / 0.84 + 4.0 / 3.0 * 3e9 / 2.72, 3e9 / 2.72);
        let grain = 94.5e9 / 2.16;
        let series = |a: f64, b: f64| a * b / (a + b);
        assert_relative_eq!(normal.re, series(10.23567 * m, grain / 0.92), max_relative = 1e-3);
        assert_relative_eq!(tangential.re, series(10.23567 * g, 2.0 * grain / 1.92), max_relative = 1e-3);
    }

    #[test]
    fn dry_grains_are_soft_and_full_voids_are_the_filled_mixture() {
        let (grains, binder) = (quartz(), epoxy());
        let filled = stir(&binder, &[(1.0, grains)], 0.63);
        assert_eq!(at(0.63, 1.0, &grains, &binder), filled);
        let near = at(0.63, 1.0 - 1e-9, &grains, &binder);
        assert_relative_eq!(near.moduli.bulk.re, filled.moduli.bulk.re, max_relative = 1e-6);
        assert_relative_eq!(near.moduli.loss_factor(), filled.moduli.loss_factor(), max_relative = 1e-6);
        assert_relative_eq!(near.expansion, filled.expansion, max_relative = 1e-6);
        // Hertz and Mindlin with 9 contacts at 10 kPa: K = (81·0.63²·G²·P/(18·π²·(1 - ν)²))^(1/3).
        let bare = at(0.63, 0.0, &grains, &binder);
        let cube = 81.0 * 0.3969 * 43.75e9f64.powi(2) * 1e4 / (18.0 * 9.8696 * 0.8464);
        assert_relative_eq!(bare.moduli.bulk.re, cube.cbrt(), max_relative = 1e-4);
        assert!(bare.moduli.youngs_modulus().re < 0.03 * filled.moduli.youngs_modulus().re);
        assert_relative_eq!(bare.expansion, 12e-6, max_relative = 1e-9);
        // The lower bound for 63 % of 7.7 W/(m K) in air of 0.025: 0.025 + 0.63/(1/7.675 + 0.37/0.075).
        assert_relative_eq!(bare.conductivity, 0.149_417, max_relative = 1e-3);
    }

    #[test]
    fn the_packing_gains_stiffness_as_its_contacts_do() {
        let (grains, binder) = (quartz(), epoxy());
        let [bare, part, full] = [0.0, 0.4, 1.0].map(|s| at(0.6, s, &grains, &binder).moduli.bulk.re);
        // Necks at saturations 0.4 and 1: squares 2/3·0.4/0.6 = 0.4444, and 0.4 of that.
        let [narrow, wide] = [0.177_777_8f64, 0.444_444_4]
            .map(|square| contact(square.sqrt(), &grains.moduli, &binder.moduli)[0].re);
        assert_relative_eq!((part - bare) / (full - bare), narrow / wide, max_relative = 2e-3);
    }

    #[test]
    fn moulding_sand_with_little_binder_is_a_few_gigapascals() {
        // 1.25 % by weight of binder on round silica sand packed to 0.59 fills 4 % of the voids.
        let e = at(0.59, 0.04, &quartz(), &epoxy()).moduli.youngs_modulus().re;
        assert!((2.5e9..5e9).contains(&e), "{e:e}");
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn stiffness_rises_with_binder_and_loss_stays_between(
            solid in 0.4..0.9f64, soft in -3.0..1.0f64, nu in 0.2..0.45f64, loss in 0.002..0.3f64,
            hard in 20e9..400e9f64, saturation in 0.0..0.99f64,
        ) {
            let grains = host(hard, 0.2, 0.001, 6e-6, 2.0);
            let binder = host(3e9 * 10f64.powf(soft), nu, loss, 60e-6, 0.2);
            let [less, more] = [saturation, saturation + 0.01].map(|s| at(solid, s, &grains, &binder));
            for of in [|m: &Moduli| m.bulk.re, |m: &Moduli| m.shear.re, |m: &Moduli| m.youngs_modulus().re] {
                let (less, more) = (of(&less.moduli), of(&more.moduli));
                prop_assert!(less.is_finite() && less > 0.0 && less <= more * (1.0 + 1e-9), "{less} {more}");
            }
            let eta = less.moduli.loss_factor();
            prop_assert!((0.0..=loss.max(0.001) * (1.0 + 1e-9)).contains(&eta), "{eta} {loss}");
            prop_assert!((6e-6 - 1e-12..=60e-6 + 1e-12).contains(&less.expansion));
            prop_assert!(less.conductivity > 0.0 && less.conductivity <= 2.0 + 1e-9);
        }
    }
}
