//! Whether plane sections are a fair assumption for a bonded section with soft layers in it.
//!
//! With plane sections every shear force passes through every layer, so a soft layer adds its whole
//! shear to the deflection. In truth the stiff parts bend on their own as soon as that is easier, and a
//! bonded section cannot be softer than its parts sliding on each other. With a soft enough layer plane
//! sections predict just that. The measure is a cantilever ten section depths long with a load at its
//! end:
//!
//! ```text
//! k(EI, GA) = 1 / (l^3/(3 EI) + l/GA)
//! plane       k(EI_b, GA_b)
//! by layers   k(EI_s, GA_s) + k(EI_b - EI_s, GA_b)      b bonded, s sliding
//! shortfall   1 - plane / by layers
//! ```
//!
//! In the model by layers the bending of the parts themselves acts beside the bending that the soft
//! layer couples, as in a sandwich with thick faces. Where the layers are stiff the two models differ by
//! a fraction of the shear deflection of such a bar, a few per cent at most.
//!
//! # Source
//! - `allen1969`: chapter 2, sandwich beams with thick faces; from memory

use super::stiffness::Stiffness;

/// Length of the reference cantilever over the depth of the section.
const SLENDER: f64 = 10.0;
/// The largest shortfall at which plane sections are accepted.
const HOLDS: f64 = 0.1;

/// True when plane sections are accepted at this shortfall.
pub(super) fn holds(shortfall: f64) -> bool {
    shortfall <= HOLDS
}

/// Stiffness that plane sections lose against the model by layers, as a share of the latter, for the
/// reference cantilever in the worse direction; `size` is that of the section across and up, m.
pub(super) fn shortfall(bonded: &Stiffness, sliding: &Stiffness, size: [f64; 2]) -> f64 {
    let about_y = Bent {
        bonded: [bonded.ei_y_n_m2.re, bonded.ga_z_n.re],
        sliding: [sliding.ei_y_n_m2.re, sliding.ga_z_n.re],
        depth: size[1],
    };
    let about_z = Bent {
        bonded: [bonded.ei_z_n_m2.re, bonded.ga_y_n.re],
        sliding: [sliding.ei_z_n_m2.re, sliding.ga_y_n.re],
        depth: size[0],
    };
    about_y.shortfall().max(about_z.shortfall())
}

/// [EI, GA] for bending in one direction.
struct Bent {
    bonded: [f64; 2],
    sliding: [f64; 2],
    depth: f64,
}

impl Bent {
    fn shortfall(&self) -> f64 {
        let length = SLENDER * self.depth;
        let bar = |ei: f64, ga: f64| match ei > 0.0 && ga > 0.0 {
            true => 1.0 / (length.powi(3) / (3.0 * ei) + length / ga),
            false => 0.0,
        };
        let ([ei, ga], [own_ei, own_ga]) = (self.bonded, self.sliding);
        let layers = bar(own_ei, own_ga) + bar(ei - own_ei, ga);
        if layers > 0.0 { (1.0 - bar(ei, ga) / layers).max(0.0) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Geometry, Part, Shape, Solution};
    use stillbed_material::{Medium, Role};

    fn medium(name: &str, g: f64, poissons_ratio: f64) -> Medium {
        Medium::isotropic(name, Role::Skeleton, 2.0 * g * (1.0 + poissons_ratio), poissons_ratio, 2000.0, 0.0)
    }

    /// A sandwich: 6 mm of steel, 0.5 mm of shear modulus `g`, 1 mm of steel.
    fn plates(g: f64, bond: f64) -> Solution {
        let plate = |up: f64, at: f64, medium: usize| {
            Part::new(Shape::Rectangle { width: 0.04, height: up }, medium).at(0.0, at)
        };
        let parts = vec![plate(6e-3, 0.0, 0), plate(0.5e-3, 3.25e-3, 1), plate(1e-3, 4e-3, 0)];
        let media = [medium("steel", 80e9, 0.3), medium("layer", g, 0.45)];
        Geometry::fitted(parts, &media).unwrap().solve(&media, bond).unwrap()
    }

    #[test]
    fn a_soft_layer_makes_plane_sections_softer_than_sliding_parts() {
        let soft = plates(1e6, 1.0);
        let (bonded, sliding) = (soft.bonded.stiffness.ga_z_n.re, soft.sliding.stiffness.ga_z_n.re);
        assert!(bonded < 1e-3 * sliding, "{bonded:e} {sliding:e}");
        assert!(!soft.holds_plane(), "{}", soft.plane_shortfall);
        // By hand: sliding plates have the stiffness 3 EI/l^3 at ten depths of 7.5 mm; plane sections
        // predict less than a tenth of it.
        let own = 3.0 * sliding_ei() / 0.075f64.powi(3);
        let plane = 1.0 / (0.075f64.powi(3) / (3.0 * soft.bonded.stiffness.ei_y_n_m2.re) + 0.075 / bonded);
        approx::assert_relative_eq!(soft.sliding.stiffness.ei_y_n_m2.re, sliding_ei(), max_relative = 1e-3);
        assert!(plane < 0.1 * own, "{plane:e} {own:e}");
        assert!(soft.plane_shortfall > 0.9 && soft.plane_shortfall < 1.0);
    }

    /// Steel plates 40 mm wide, 6 and 1 mm thick, each bending about its own middle.
    fn sliding_ei() -> f64 {
        208e9 * 0.04 * (6e-3f64.powi(3) + 1e-3f64.powi(3)) / 12.0
    }

    #[test]
    fn a_stiff_layer_a_single_part_and_sliding_parts_stay_plane() {
        assert!(plates(1e9, 1.0).holds_plane(), "{}", plates(1e9, 1.0).plane_shortfall);
        assert!(plates(1e6, 0.0).holds_plane());
        let steel = [medium("steel", 80e9, 0.3)];
        let bar = Geometry::new(vec![Part::new(Shape::Rectangle { width: 0.04, height: 0.006 }, 0)]).unwrap();
        assert!(bar.solve(&steel, 1.0).unwrap().plane_shortfall < 1e-9);
    }

    #[test]
    fn the_softer_the_layer_the_larger_the_shortfall() {
        let falls: Vec<f64> = [1e9, 1e8, 1e7, 1e6].iter().map(|g| plates(*g, 1.0).plane_shortfall).collect();
        assert!(falls.windows(2).all(|pair| pair[0] < pair[1]), "{falls:?}");
    }
}
