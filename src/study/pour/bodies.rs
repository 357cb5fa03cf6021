//! The batch sheets of every build of a design, one per mix, from its sections and members.
//!
//! The volume of a mix is the sum over members of its area in the section times the length between the
//! points, less what lies inside other members ([`stillbed_frame::overlaps`]), and over bodies that of its cells.

use super::super::partial::answer_solvable;
use super::cast_body::{cast_body, thinnest_gap};
use super::members::castings;
use super::{Body, CastShape, CupCurve, CupTrial, Mould, Pour, PourSheet, TrialFault, read_trial};
use serde::Serialize;
use stillbed_design::{Build, Design, Model, PourSpec, Profile, Substance};
use stillbed_frame::Line;
use stillbed_input::problem::{Place, Problem, Problems, suggest};
use stillbed_input::quantity::Draw;
use stillbed_material::{Material, MixAnswer, Property, Table};
use stillbed_section::clearance::distance;

/// Options that add to or replace the `pour` of a design.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PourOptions {
    /// Part of the mix lost on tools and in joints.
    pub waste: Option<f64>,
    /// Volume of mix that the bucket takes, m3.
    pub bucket: Option<f64>,
    /// Temperature of mix, mould and air, K.
    pub temperature: Option<f64>,
    /// Time of day at which the first lift begins, s.
    pub start: Option<f64>,
    /// Height of a lift, m.
    pub lift: Option<f64>,
    /// Time from the beginning of one lift to that of the next, s.
    pub wait: Option<f64>,
    /// Distance between the ribs of the mould, m; 200 mm if not given.
    pub ribs: Option<f64>,
    /// Deflection of a board allowed between ribs, m; 0.5 mm if not given.
    pub deflection: Option<f64>,
    /// The cast body as a closed surface, whose volume replaces that from the sections.
    pub body: Option<Body>,
}

/// The answer of `pour`: the sheets of every build that has something to pour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pours {
    /// In the order of the design; builds without a mix are left out.
    pub builds: Vec<BuildPour>,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// The sheets of one build.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BuildPour {
    /// Key of the build.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// Volume of the mixes inside other members, which is counted once, m3.
    pub corner_overlap_m3: f64,
    /// Number of such places.
    pub corner_overlaps: usize,
    /// Mass of the whole base with all it carries, kg: the sum of the three that follow.
    pub base_mass_kg: f64,
    /// Mass of the cast mixes, kg.
    pub cast_kg: f64,
    /// Mass of all other parts of members and bodies: skeletons and bare members, kg.
    pub skeleton_kg: f64,
    /// Carried masses, kg.
    pub carried_kg: f64,
    /// Price of the mixes at the prices of the build.
    pub cost: Option<f64>,
    /// One sheet per mix.
    pub sheets: Vec<PourSheet>,
}

impl Pours {
    /// Computes the sheets for every build of `design`.
    ///
    /// # Errors
    /// What is wrong with the design at its place; a build without a mix when it is the only one.
    pub fn compute(design: &Design, options: &PourOptions) -> Result<Pours, Problems> {
        let of_all = |design: &Design| pours_of_all(design, options);
        answer_solvable(design, of_all, of_all)
    }
}

fn pours_of_all(design: &Design, options: &PourOptions) -> Result<Pours, Problems> {
    let mut builds = Vec::new();
    for build in &design.builds {
        builds.extend(BuildPour::compute(design, build, options)?);
    }
    if builds.is_empty() {
        let place = design.builds.first().map(|build| build.place.clone()).unwrap_or_default();
        let problem = Problem::error(place, "no part is made of a mix, so there is nothing to pour");
        return Err(Problems::from(
            problem.with_help("add [mixes.…] and name it in a section, or ask another --build"),
        ));
    }
    Ok(Pours { builds, notes: design.notes.clone() })
}

impl BuildPour {
    /// Computes the sheets of one build; `None` where it uses no mix.
    ///
    /// # Errors
    /// What is wrong with it at its place.
    pub fn compute(
        design: &Design,
        build: &Build,
        options: &PourOptions,
    ) -> Result<Option<BuildPour>, Problems> {
        let model = build.weights(&design.goal, &Draw::default())?;
        let mut sheets = Vec::new();
        let (mut overlap, mut overlaps, mut cost) = (0.0, 0, Some(0.0));
        let mut poured: Vec<f64> = Vec::new();
        for (medium, substance) in build.substances.iter().enumerate() {
            let Substance::Mix(recipe) = substance else { continue };
            let cast = Cast::of(build, &model, medium)?;
            if cast.volume <= 0.0 {
                continue;
            }
            poured.push(cast.volume * model.media[medium].density);
            overlap += cast.overlap;
            overlaps += cast.overlaps;
            let pour = cast.pour(&design.goal.pour, options);
            let mut sheet = PourSheet::compute(recipe, &pour)
                .map_err(|missing| Problems::from(missing.at(build.place.clone())))?;
            sheet.price_per_kg = build.drawing.prices.get(&recipe.name);
            cost = cost.zip(sheet.price_per_kg).map(|(sum, price)| sum + price * sheet.mixed_mass_kg);
            sheets.push(sheet);
        }
        let members: f64 = model.mass_of.iter().sum();
        let base_mass_kg = model.mass();
        let from_sections: f64 = poured.iter().sum();
        Ok((!sheets.is_empty()).then(|| BuildPour {
            name: build.name.clone(),
            label: build.label.clone(),
            corner_overlap_m3: overlap,
            corner_overlaps: overlaps,
            base_mass_kg,
            cast_kg: from_sections,
            skeleton_kg: members - from_sections,
            carried_kg: base_mass_kg - members,
            cost,
            sheets,
        }))
    }
}

/// What one mix fills in one build.
struct Cast {
    /// Volume with overlaps counted once, m3.
    volume: f64,
    overlap: f64,
    overlaps: usize,
    /// The castings, equal ones together.
    shapes: Vec<CastShape>,
    /// Thinnest gap that the mix has to pass, m.
    thinnest: f64,
    /// Mass of the other parts of the members around or inside the mix, kg.
    skeleton: f64,
}

impl Cast {
    fn of(build: &Build, model: &Model, medium: usize) -> Result<Cast, Problems> {
        let frame = &model.frame;
        let mut volumes = vec![0.0; frame.members.len()];
        let mut skeleton = 0.0;
        let mut thinnest = f64::INFINITY;
        for (i, member) in frame.members.iter().enumerate() {
            let Some(line) = Line::drawn(frame, member) else { continue };
            let profile = &build.profiles[member.section];
            let area = area_of(profile, model, i, medium);
            if area <= 0.0 {
                continue;
            }
            volumes[i] = area * line.length;
            for (k, part) in profile.geometry.parts().iter().enumerate() {
                if part.medium == medium {
                    thinnest = thinnest.min(thinnest_wall(&profile.geometry.outlines()[k]));
                } else {
                    skeleton += model.sections[member.section].parts[k].mass_kg_per_m * line.length;
                }
            }
        }
        let (mut overlap, mut overlaps) = (0.0, 0);
        for stretch in model.inside.iter() {
            let profile = &build.profiles[frame.members[stretch.member].section];
            let cast = volumes[stretch.member] > 0.0;
            let parts = profile.geometry.parts().iter().map(|part| part.medium).zip(&stretch.parts);
            let mut own = 0.0;
            for (of, volume) in parts.filter(|_| cast) {
                if of == medium {
                    own += volume[0];
                } else {
                    skeleton -= volume[0] * model.media[of].density;
                }
            }
            volumes[stretch.member] -= own;
            overlap += own;
            overlaps += usize::from(own > 0.0);
        }
        let mut shapes = castings(build, model, medium, &volumes);
        let mut volume = volumes.iter().sum();
        for body in build.bodies.iter().filter(|body| body.substances.contains(&medium)) {
            let shape = cast_body(model, body, medium)?;
            volume += shape.volume;
            thinnest = thinnest.min(thinnest_gap(&shape));
            let others = body.volumes()?.into_iter().filter(|(at, _)| *at != medium);
            skeleton += others.map(|(at, volume)| volume * model.media[at].density).sum::<f64>();
            shapes.push(shape);
        }
        Ok(Cast { volume, overlap, overlaps, shapes, thinnest, skeleton })
    }

    fn pour(&self, stated: &PourSpec, options: &PourOptions) -> Pour {
        let mut shapes = self.shapes.clone();
        if let Some(body) = &options.body {
            shapes.iter_mut().for_each(|shape| shape.volume *= body.volume_m3 / self.volume);
        }
        let mut pour = Pour::new(shapes);
        pour.thinnest = self.thinnest.is_finite().then_some(self.thinnest);
        pour.skeleton = self.skeleton;
        pour.waste = options.waste.or(stated.waste).unwrap_or(pour.waste);
        pour.bucket = options.bucket.or(stated.bucket).unwrap_or(pour.bucket);
        pour.temperature = options.temperature.or(stated.temperature).unwrap_or(pour.temperature);
        pour.swing = stated.swing.unwrap_or(pour.swing);
        pour.start = options.start.or(stated.start);
        pour.lift = options.lift.or(stated.lift);
        pour.wait = options.wait.or(stated.wait);
        pour.mixing_time = stated.mixing_time.unwrap_or(pour.mixing_time);
        pour.placing_rate = stated.placing_time.map_or(pour.placing_rate, |time| 10.0 / time);
        pour.film = stated.film.unwrap_or(pour.film);
        let ribs = options.ribs.or(stated.ribs).unwrap_or(RIBS);
        pour.mould = mould(ribs, options.deflection.or(stated.deflection).unwrap_or(DEFLECTION));
        pour
    }
}

/// Usual distance between the ribs of a mould and usual deflection of a board between them, m: common
/// practice.
const RIBS: f64 = 0.2;
const DEFLECTION: f64 = 0.5e-3;

/// A plywood mould with ribs `span` apart, whose boards may deflect by `deflection` between them.
fn mould(span: f64, deflection: f64) -> Option<Mould> {
    let table = Table::built_in();
    let plywood = table.get("plywood")?;
    let value = |property| plywood.value(property, &Draw::default());
    Some(Mould {
        youngs_modulus: value(Property::YoungsModulus)?,
        strength: value(Property::Strength)?,
        conductivity: value(Property::Conductivity)?,
        span,
        deflection,
    })
}

/// Area of the mix in the section of `member`, m2.
fn area_of(profile: &Profile, model: &Model, member: usize, medium: usize) -> f64 {
    let solution = &model.sections[model.frame.members[member].section];
    let parts = profile.geometry.parts().iter().zip(&solution.parts);
    parts.filter(|(part, _)| part.medium == medium).map(|(_, result)| result.area_m2).sum()
}

/// The thinnest wall of regions, each an outer ring and its holes: the least distance between rings or the
/// smaller side of the box around a region.
fn thinnest_wall(pieces: &[Vec<Vec<[f64; 2]>>]) -> f64 {
    let mut thin = f64::INFINITY;
    for piece in pieces {
        let Some((outer, holes)) = piece.split_first() else { continue };
        let span = |axis: usize| {
            let values = outer.iter().map(|p| p[axis]);
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b): (f64, f64), x| (a.min(x), b.max(x)));
            high - low
        };
        thin = thin.min(span(0).min(span(1)));
        for (i, hole) in holes.iter().enumerate() {
            for other in std::iter::once(outer).chain(&holes[..i]) {
                thin = thin.min(distance(hole, other));
            }
        }
    }
    thin
}

/// Reads `curve` of a cup with `mass` (kg) of the binder of `design`, which `named` tells where it has several.
///
/// # Errors
/// A design without a mix or without that binder, a binder not known well enough, a curve that no cure
/// follows.
pub fn compute_trial(
    design: &Design,
    named: Option<&str>,
    mass: f64,
    curve: &CupCurve,
) -> Result<CupTrial, Problems> {
    let mut binders: Vec<&Material> = Vec::new();
    for substance in design.builds.iter().flat_map(|build| &build.substances) {
        let Substance::Mix(recipe) = substance else { continue };
        if binders.iter().all(|known| known.name != recipe.binder.material.name) {
            binders.push(&recipe.binder.material);
        }
    }
    let names = || binders.iter().map(|binder| binder.name.as_str());
    let at = || Place { key: "--binder".to_string(), ..Place::file(&design.file) };
    let binder = match named {
        Some(named) => binders.iter().find(|binder| binder.name == named).ok_or_else(|| {
            let problem = Problem::error(at(), format!("no mix is bound by \"{named}\""));
            problem.with_help(suggest(named, names()))
        })?,
        None => match binders.as_slice() {
            [only] => only,
            [] => return Err(Problem::error(at(), "no mix is cast, so there is no binder to try").into()),
            _ => {
                let list: Vec<&str> = names().collect();
                let problem = Problem::error(at(), format!("the mixes have {} binders", binders.len()));
                return Err(problem.with_help(format!("name one with --binder: {}", list.join("; "))).into());
            }
        },
    };
    read_trial(binder, mass, curve).map_err(|fault| {
        let place = Place { key: "--trials".to_string(), ..Place::file(&design.file) };
        let name = &binder.name;
        Problems::from(match fault {
            TrialFault::Unknown => {
                Problem::error(place, format!("{name} lacks a value that the cure of a cup needs")).with_help(
                    "state its density, conductivity, heat_capacity, rate_constant, heat_of_reaction and \
                     activation_temperature",
                )
            }
            TrialFault::Unlike(misfit) => {
                let message = format!("no cure of {name} follows the curve: it misses by {misfit:.0} K");
                Problem::error(place, message).with_help(
                    "log one cup, from mixing on, its thermometer in the middle; one that stays cool for hours and \
                     then runs hot at once says more when it is wrapped",
                )
            }
        })
    })
}

/// Computes the mixes of `design`, each once, judged for the thinnest gap into which they are cast.
///
/// # Errors
/// What is wrong with the design at its place; a design without a mix.
pub fn compute_mixes(design: &Design) -> Result<Vec<MixAnswer>, Problems> {
    answer_solvable(design, mixes_of_all, mixes_of_all)
}

fn mixes_of_all(design: &Design) -> Result<Vec<MixAnswer>, Problems> {
    let mut answers: Vec<MixAnswer> = Vec::new();
    for build in &design.builds {
        let model = build.weights(&design.goal, &Draw::default())?;
        for (medium, substance) in build.substances.iter().enumerate() {
            let Substance::Mix(recipe) = substance else { continue };
            if answers.iter().any(|answer| answer.name == recipe.name) {
                continue;
            }
            let thinnest = Cast::of(build, &model, medium)?.thinnest;
            let answer = MixAnswer::compute(recipe, thinnest.is_finite().then_some(thinnest));
            answers.push(answer.map_err(|missing| Problems::from(missing.at(build.place.clone())))?);
        }
    }
    if answers.is_empty() {
        let place = design.builds.first().map(|build| build.place.clone()).unwrap_or_default();
        let problem = Problem::error(place, "no part is made of a mix");
        return Err(Problems::from(problem.with_help("add [mixes.…] and name it in a section")));
    }
    Ok(answers)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use stillbed_design::STARTER;

    fn starter() -> Design {
        design(STARTER)
    }

    #[test]
    fn the_starter_is_poured_into_its_tubes() {
        let options = PourOptions { waste: Some(0.0), ..PourOptions::default() };
        let pours = Pours::compute(&starter(), &options).unwrap();
        assert_eq!(pours.builds.len(), 1);
        let sheet = &pours.builds[0].sheets[0];
        // Two bars of 100, spine 180, column 360, arm from head to drill 210.95 mm. The spine, higher than the bars, begins
        // at their face, half of their 60 mm from its point.
        let tubes = 0.052 * 0.052 * 0.2 + 0.072 * 0.072 * (0.18 - 0.03) + 0.07 * 0.07 * 0.36;
        let arm = 0.052 * 0.052 * (0.18_f64.powi(2) + 0.11_f64.powi(2)).sqrt();
        approx::assert_relative_eq!(sheet.volume_m3, tubes + arm, max_relative = 1e-6);
        assert_eq!(pours.builds[0].corner_overlaps, 1);
        assert!((sheet.cast_mass_kg - sheet.mixed_mass_kg).abs() < 0.01, "weighed to the gram");
    }

    /// Three strips across three others, each 600 x 100 x 120 mm and 100 mm beyond the outer crossings.
    fn grid(more: &str) -> String {
        let mut text = format!("{more}\n[points]\n");
        let mut members = "[members]\n".to_string();
        let places = [-100, 0, 200, 400, 500];
        for (i, x) in places.iter().enumerate() {
            for (j, y) in places.iter().enumerate() {
                let inner = |k: usize| (1..4).contains(&k);
                if inner(i) || inner(j) {
                    text += &format!("p{i}{j} = \"{x}, {y}, 0 mm\"\n");
                }
            }
        }
        for line in 1..4 {
            for k in 0..4 {
                let next = k + 1;
                members += &format!(
                    "x{line}{k} = {{ from = \"p{k}{line}\", to = \"p{next}{line}\", section = \"strip\" }}\n\
                     y{line}{k} = {{ from = \"p{line}{k}\", to = \"p{line}{next}\", section = \"strip\" }}\n"
                );
            }
        }
        text + &members
            + r#"
[feet.pads]
at = ["p11", "p13", "p31"]
stiffness = "20, 20, 80 N/um"
[tool]
tip = "p33"
work = "p22"
[mixes.stone]
binder = { of = "epoxy", share = 20 }
aggregates = [{ of = "quartz sand", share = 80, grain = "0.3 to 0.8 mm" }]
air = "3 %"
[builds.cast]
prices = { stone = "2 per kg" }
sections.strip.parts = [{ rectangle = "100 x 120 mm", of = "stone" }]
"#
    }

    #[test]
    fn a_grid_weighs_what_is_cast_whoever_asks() {
        use crate::compare::{Comparison, Options};
        use crate::modes::Modes;
        use crate::spread::Draws;
        let design = design(&grid(""));
        let options = PourOptions { waste: Some(0.0), ..PourOptions::default() };
        let poured = &Pours::compute(&design, &options).unwrap().builds[0];
        // Six strips less the nine crossings that two strips share.
        let volume = 6.0 * 0.6 * 0.1 * 0.12 - 9.0 * 0.1 * 0.1 * 0.12;
        approx::assert_relative_eq!(poured.sheets[0].volume_m3, volume, max_relative = 1e-9);
        approx::assert_relative_eq!(poured.corner_overlap_m3, 9.0 * 0.1 * 0.1 * 0.12, max_relative = 1e-9);
        let mass = volume * poured.sheets[0].density_kg_per_m3;
        let modes = Modes::compute(&design, 4, &Draws::NONE, |_, _| ()).unwrap();
        let compared =
            Comparison::compute(&design, &Options { draws: 0, ..Options::default() }, |_, _| ()).unwrap();
        let compared = &compared.builds[0];
        // To the gram: the sum of cast, skeleton and carried masses.
        let parts = poured.cast_kg + poured.skeleton_kg + poured.carried_kg;
        assert!((poured.base_mass_kg - parts).abs() < 1e-9 && poured.skeleton_kg.abs() < 1e-6);
        assert!((poured.cast_kg - poured.sheets[0].cast_mass_kg).abs() < 1e-3);
        let found = [poured.base_mass_kg, modes.builds[0].modes.mass_kg, compared.mass_kg];
        for found in found {
            assert!((found - mass).abs() < 1e-3, "{found} {mass}");
        }
        approx::assert_relative_eq!(compared.cost.unwrap(), 2.0 * mass, max_relative = 1e-9);
        // The grid is symmetric about its middle strips, and stays so without the overlaps.
        let centre = compared.centre_of_gravity_m.unwrap();
        approx::assert_relative_eq!(centre[0], 0.2, max_relative = 1e-9);
        approx::assert_relative_eq!(centre[1], 0.2, max_relative = 1e-9);
        // On request, members are counted from point to point.
        let keep = crate::design_sample::design(&grid("overlaps = \"keep\""));
        let model = keep.builds[0].model(&keep.goal, &Draw::default()).unwrap();
        approx::assert_relative_eq!(model.mass(), mass * 0.0432 / 0.0324, max_relative = 1e-9);
        assert!(model.frame.members.iter().all(|member| member.displaced.is_empty()));
    }

    #[test]
    fn walls_between_rings() {
        let square = |a: f64| vec![[-a, -a], [a, -a], [a, a], [-a, a]];
        approx::assert_relative_eq!(thinnest_wall(&[vec![square(0.05), square(0.03)]]), 0.02);
    }
}
