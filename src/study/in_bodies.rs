//! Where in a body does the strain energy of a motion sit: in which of its parts, and in which region?
//!
//! ```text
//! w = λ (tr e)² / 2 + μ e : e        e the strain, λ and μ of the material there, real parts
//! ```
//!
//! Regions are the 27 that thirds of the body's extent along x, y and z make. The densest tenth of the volume is that of
//! the largest w: energy that is spread evenly puts a tenth into it.

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;
use std::cmp::Reverse;
use stillbed_design::{Build, BuildBody, Model};
use stillbed_frame::{Energies, Layout};
use stillbed_input::problem::Problems;

/// Share of the energy of a motion below which a body is not looked into.
const LITTLE: f64 = 0.01;
/// Regions are told until they hold this part of the body's energy.
const MOST: f64 = 0.5;
/// Most regions that are told.
const REGIONS: usize = 3;
/// Part of the volume that is the densest.
const DENSEST: f64 = 0.1;

/// Names of the thirds along an axis.
const THIRDS: [&str; 3] = ["low", "middle", "high"];

/// Where in a body the energy of a motion sits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BodyEnergy {
    /// Number of the mode, from 1; `None` for what gives between tip and work in the weakest direction.
    pub mode: Option<usize>,
    /// The body.
    pub of: String,
    /// Its part of all energy of the motion.
    pub share: f64,
    /// The regions with most of it, largest first.
    pub regions: Vec<Region>,
    /// What the densest tenth of its volume holds of the body's energy.
    pub in_densest_tenth: f64,
    /// By part of the body, largest first.
    pub parts: Vec<PartEnergy>,
}

/// The energy in a region of a body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Region {
    /// The third of its extent along x: low, middle or high.
    pub x: &'static str,
    /// The same along y.
    pub y: &'static str,
    /// The same along z.
    pub z: &'static str,
    /// Part of the body's energy.
    pub share: f64,
    /// The middle of that energy, global axes, m.
    pub middle_m: [f64; 3],
}

/// The energy in a part of a body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartEnergy {
    /// Its number among the parts of the body, from 1.
    pub part: usize,
    /// What it is made of.
    pub of: String,
    /// Part of the body's energy.
    pub share: f64,
}

/// The energy at one place of a body.
struct PlaceEnergy {
    at: Vector3<f64>,
    volume: f64,
    /// The box that it stands for: the sides from its middle, one per column, m.
    sides: Matrix3<f64>,
    energy: f64,
    part: Option<usize>,
}

/// Divisions of the box of a place along each side, for regions that end within it.
const DIVISIONS: usize = 4;

impl PlaceEnergy {
    /// Its energy spread evenly over its box.
    fn spread_out(&self) -> impl Iterator<Item = (Vector3<f64>, f64)> + '_ {
        let count = DIVISIONS.pow(3);
        let part = |step: usize| (step as f64 + 0.5) / DIVISIONS as f64 - 0.5;
        (0..count).map(move |i| {
            let steps = [i % DIVISIONS, i / DIVISIONS % DIVISIONS, i / DIVISIONS / DIVISIONS];
            (self.at + self.sides * Vector3::from(steps.map(part)), self.energy / count as f64)
        })
    }
}

/// Where in the bodies of `build` the energy of `motions` of its `model` sits, each with the number of its mode.
///
/// # Errors
/// What keeps a body from being solved, at its place.
pub fn energy_in_bodies(
    build: &Build,
    model: &Model,
    layout: &Layout,
    motions: &[(Option<usize>, &[f64])],
) -> Result<Vec<BodyEnergy>, Problems> {
    let mut found = Vec::new();
    let Some(energies) = Energies::new(&model.frame, layout).filter(|_| !build.bodies.is_empty()) else {
        return Ok(found);
    };
    let all: Vec<&[f64]> = motions.iter().map(|(_, motion)| *motion).collect();
    for ((mode, motion), energy) in motions.iter().zip(energies.strain(&all)) {
        let total = energy.total();
        for (number, body) in build.bodies.iter().enumerate() {
            let own: f64 = energy.bodies.get(number).map_or(0.0, |parts| parts.iter().sum());
            if own < LITTLE * total {
                continue;
            }
            let coordinates = layout.body_motion(&model.frame, number, motion);
            let places = places(body, model, &coordinates)?;
            let whole: f64 = places.iter().map(|place| place.energy).sum();
            if whole > 0.0 {
                found.push(BodyEnergy {
                    mode: *mode,
                    of: body.name.clone(),
                    share: own / total,
                    regions: regions(&places, whole),
                    in_densest_tenth: in_densest(&places, whole),
                    parts: parts(build, body, &places, whole),
                });
            }
        }
    }
    Ok(found)
}

fn places(body: &BuildBody, model: &Model, coordinates: &[f64]) -> Result<Vec<PlaceEnergy>, Problems> {
    let reduced = body.shapes(&model.media).map_err(Problems::from)?;
    let parts = body.parts();
    let of = |found: stillbed_solid::BodyStrain| {
        let medium = &model.media[body.substances[found.material]];
        let (e, mu) = (medium.youngs_modulus.re, medium.shear_modulus.re);
        let lambda = mu * (e - 2.0 * mu) / (3.0 * mu - e);
        let strain: &Matrix3<f64> = &found.strain;
        let density = 0.5 * lambda * strain.trace().powi(2) + mu * strain.norm_squared();
        // The place that stands for the cut part of a cell may lie just beside it.
        let holds = |part: &&(usize, &stillbed_solid::Part)| part.1.holds(&found.at);
        let same = |part: &&(usize, &stillbed_solid::Part)| part.1.material == Some(found.material);
        let numbered: Vec<(usize, &stillbed_solid::Part)> = parts.iter().enumerate().collect();
        let part = numbered.iter().rev().find(holds).filter(same);
        let part = part.or_else(|| numbered.iter().rev().find(same)).map(|(number, _)| *number);
        let sides = reduced.axes * Matrix3::from_diagonal(&found.sides);
        PlaceEnergy { at: found.at, volume: found.volume, sides, energy: density * found.volume, part }
    };
    Ok(reduced.strains(coordinates, &[]).into_iter().map(of).collect())
}

fn regions(places: &[PlaceEnergy], whole: f64) -> Vec<Region> {
    let all = || places.iter().flat_map(PlaceEnergy::spread_out);
    let low = all().fold(Vector3::repeat(f64::INFINITY), |low, (at, _)| low.inf(&at));
    let high = all().fold(Vector3::repeat(f64::NEG_INFINITY), |high, (at, _)| high.sup(&at));
    let third = |at: &Vector3<f64>, axis: usize| {
        let size = (high[axis] - low[axis]).max(f64::MIN_POSITIVE);
        ((3.0 * (at[axis] - low[axis]) / size) as usize).min(2)
    };
    let mut sums = [(0.0, Vector3::zeros()); 27];
    for (at, energy) in all() {
        let [x, y, z] = [0, 1, 2].map(|axis| third(&at, axis));
        let sum = &mut sums[9 * x + 3 * y + z];
        sum.0 += energy;
        sum.1 += at * energy;
    }
    let mut order: Vec<usize> = (0..27).collect();
    // Regions that a symmetric body makes alike keep their order: differences below half a percent are rounding.
    order.sort_by_key(|region| Reverse((200.0 * sums[*region].0 / whole).round() as i64));
    let mut told = 0.0;
    let mut regions = Vec::new();
    for region in order.into_iter().take(REGIONS).filter(|region| sums[*region].0 > 0.0) {
        if told >= MOST * whole {
            break;
        }
        let (energy, moment) = sums[region];
        told += energy;
        let [x, y, z] = [region / 9, region / 3 % 3, region % 3].map(|third| THIRDS[third]);
        regions.push(Region { x, y, z, share: energy / whole, middle_m: (moment / energy).into() });
    }
    regions
}

fn in_densest(places: &[PlaceEnergy], whole: f64) -> f64 {
    let mut order: Vec<&PlaceEnergy> = places.iter().collect();
    order.sort_by(|a, b| (b.energy * a.volume).total_cmp(&(a.energy * b.volume)));
    let mut left = DENSEST * places.iter().map(|place| place.volume).sum::<f64>();
    let mut held = 0.0;
    for place in order {
        let part = (left / place.volume).min(1.0);
        held += part * place.energy;
        left -= part * place.volume;
        if left <= 0.0 {
            break;
        }
    }
    held / whole
}

fn parts(build: &Build, body: &BuildBody, places: &[PlaceEnergy], whole: f64) -> Vec<PartEnergy> {
    let mut sums = vec![0.0; body.parts().len()];
    for place in places {
        if let Some(part) = place.part {
            sums[part] += place.energy;
        }
    }
    let name = |part: usize| {
        let material = body.parts()[part].material.and_then(|material| body.substances.get(material));
        material.and_then(|at| build.substances.get(*at)).map_or("", |substance| substance.name())
    };
    let numbered = sums.iter().enumerate().filter(|(_, sum)| **sum > 0.0);
    let mut parts: Vec<PartEnergy> = numbered
        .map(|(part, sum)| PartEnergy { part: part + 1, of: name(part).to_string(), share: sum / whole })
        .collect();
    parts.sort_by(|a, b| b.share.total_cmp(&a.share));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use stillbed_input::quantity::Draw;

    const STEEL: &str = "structural steel";

    /// A bar of 600 x 60 x 60 mm with a hard core, held at its left end and pushed up at its right one: the moment falls
    /// evenly, so that the thirds of its length hold (1 - (2/3)³) = 70.4 %, 25.9 % and 3.7 % of the energy in bending.
    #[test]
    fn a_bar_that_is_held_at_one_end_gives_there() {
        let design = design(
            r#"
            points = { wall = "-300, 0, 0 mm", tip = "300, 0, 0 mm" }
            patches = { wall = "60 x 60 mm", tip = "60 x 60 mm" }
            anchors.wall = { at = "wall", hold = "all" }
            masses.load = { at = "tip", mass = "1 kg" }
            tool = { tip = "tip", work = "ground" }
            [builds.bar]
            bodies.bar.parts = [
              { box = "600 x 60 x 60 mm", of = "aluminium 6061-T6" },
              { box = "600 x 20 x 20 mm", of = "structural steel" },
            ]
            "#,
        );
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let statics = build.statics(&model).unwrap();
        let push = statics.layout.at_point(1, &nalgebra::Vector6::z());
        let motion = statics.solve(&stillbed_eigen::Vectors::single(&push)).unwrap();
        let motion = motion.column(0);
        let energy = Energies::new(&model.frame, &statics.layout).unwrap().strain(&[motion]).pop().unwrap();
        let found = energy_in_bodies(build, &model, &statics.layout, &[(None, motion)]).unwrap();
        let [bar] = &found[..] else { panic!("{found:?}") };
        assert!((bar.share - 1.0).abs() < 1e-9);
        let sides: Vec<(&str, &str)> = bar.regions.iter().map(|region| (region.x, region.y)).collect();
        assert!(sides.iter().all(|(x, _)| *x == "low"), "{bar:?}");
        assert!(
            bar.regions.iter().all(|region| region.z != "middle" && region.middle_m[0] < -0.1),
            "{bar:?}"
        );
        let coordinates = statics.layout.body_motion(&model.frame, 0, motion);
        let places = places(&build.bodies[0], &model, &coordinates).unwrap();
        let whole: f64 = places.iter().map(|place| place.energy).sum();
        // Two places along each axis of a cell carry all energy of its strains but for the last digits.
        assert!((whole / energy.total() - 1.0).abs() < 0.02, "{}", whole / energy.total());
        // A quarter of the length from the wall.
        let middle = places.iter().map(|place| place.at.x * place.energy).sum::<f64>() / whole;
        assert!((middle + 0.15).abs() < 0.006, "{middle}");
        let told: f64 = places
            .iter()
            .flat_map(PlaceEnergy::spread_out)
            .filter(|(at, _)| at.x < -0.1)
            .map(|(_, e)| e)
            .sum();
        assert!((told / whole - 19.0 / 27.0).abs() < 0.03, "{}", told / whole);
        // The core has (20 / 60)⁴ of the second moment.
        let ratio = |name: &str| bar.parts.iter().find(|part| part.of == name).unwrap().share;
        let medium =
            |name: &str| model.media.iter().find(|medium| medium.name == name).unwrap().youngs_modulus.re;
        let core = medium(STEEL) / 81.0;
        let expected = core / (core + medium("aluminium 6061-T6") * 80.0 / 81.0);
        assert!((ratio(STEEL) / expected - 1.0).abs() < 0.15, "{} {expected}", ratio(STEEL));
        assert!(bar.in_densest_tenth > 0.3 && bar.in_densest_tenth < 0.6, "{}", bar.in_densest_tenth);
    }
}
