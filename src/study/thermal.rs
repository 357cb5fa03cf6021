//! Thermal growth, bow and drift of each build, and its sag under weight: the answer of the command
//! `thermal`.

use super::partial::answer_solvable;
use super::pour::PourSheet;
use super::pour::bodies::{BuildPour, PourOptions};
use serde::Serialize;
use stillbed_design::{Build, BuildBody, Design, Model, Profile, Substance};
use stillbed_input::problem::{Place, Problem, Problems, suggest};
use stillbed_input::quantity::{Draw, Spread};
use stillbed_material::Property;
use stillbed_modes::Statics;
use stillbed_response::deformation::{
    Base, BestSupports, CarriagePath, CompositeBody, DeflectionFault, Sag, SupportAim, find_best_supports,
    solve_sag,
};
use stillbed_response::thermal::spec::ThermalSpec;
use stillbed_response::thermal::{
    CompositeSection, Cure, Settling, Thermal, drift_per_kelvin, largest_bow, solve_settling, solve_thermal,
};

/// The answer of `thermal`: effects of temperature and weight, build by build.
#[derive(Debug, Clone, Serialize)]
pub struct ThermalAnswer {
    /// In the order of the design.
    pub builds: Vec<BuildThermal>,
    /// Shear strength by which bonds are judged, Pa.
    pub bond_strength_pa: Spread,
    /// True where no bond strength is stated and the usual one is taken.
    pub bond_strength_usual: bool,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// Effects of temperature and weight on one build.
#[derive(Debug, Clone, Serialize)]
pub struct BuildThermal {
    /// Its name for the reader.
    pub label: String,
    /// Growth, bow, drift and stress.
    #[serde(flatten)]
    pub thermal: Thermal,
    /// Times until it is straight again after the change; `None` where thermal data of a material are
    /// missing.
    pub settling: Option<Settling>,
    /// Times until tip and work have settled at the highest and the lowest film coefficient, s; `None` where
    /// it is stated as exact.
    pub drift_settled_between_s: Option<[f64; 2]>,
    /// Sag under its own weight and under a moving carriage; `None` for a floating base.
    pub sag: Option<Sag>,
    /// Path of the carriage under its weight and the change of temperature together; `None` without a
    /// carriage or for a floating base.
    pub path: Option<CarriagePath>,
    /// Best supports to carry it on, where asked for.
    pub carry: Option<BestSupports>,
}

/// Request for the best supports on which to carry a base.
#[derive(Debug, Clone, PartialEq)]
pub struct Carry {
    /// Names of the members, in sequence, under whose line the supports stand.
    pub along: Vec<String>,
    /// Number of supports, 2 or 3.
    pub supports: usize,
    /// What the supports are to make least.
    pub aim: SupportAim,
}

/// Options of `thermal` that add to or replace the `[thermal]` of a design.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ThermalOptions {
    /// Uniform change of temperature, K, in place of the stated one.
    pub change: Option<f64>,
    /// Film coefficient of heat exchange with the air, W/(m2 K), in place of the stated one.
    pub film: Option<f64>,
    /// Supports to find, if asked for.
    pub carry: Option<Carry>,
}

impl ThermalAnswer {
    /// Computes the effects on every build of `design` of the change in its `[thermal]`, or in `options`.
    ///
    /// # Errors
    /// What is wrong with the design or missing in a material, at its place.
    pub fn compute(design: &Design, options: &ThermalOptions) -> Result<ThermalAnswer, Problems> {
        let change = options.change;
        let mut spec = match (&design.goal.thermal, change) {
            (Some(spec), _) => spec.clone(),
            (None, Some(change)) => ThermalSpec::uniform(change),
            (None, None) => {
                let problem = Problem::error(Place::file(&design.file), "no change of temperature is stated");
                return Err(Problems::from(
                    problem.with_help("ask --change \"10 K\", or add [thermal] with change = \"10 K\""),
                ));
            }
        };
        if let Some(change) = change {
            spec.change = change.into();
        }
        if let Some(film) = options.film {
            spec.film = film.into();
        }
        let of_all = |design: &Design| of_all(design, &spec, options.carry.as_ref());
        answer_solvable(design, of_all, of_all)
    }
}

fn of_all(design: &Design, spec: &ThermalSpec, carry: Option<&Carry>) -> Result<ThermalAnswer, Problems> {
    let builds =
        design.builds.iter().map(|build| of_build(design, build, spec, carry)).collect::<Result<_, _>>()?;
    let (bond_strength_pa, bond_strength_usual) = (spec.bond(), spec.bond_strength.is_none());
    Ok(ThermalAnswer { builds, bond_strength_pa, bond_strength_usual, notes: design.notes.clone() })
}

fn of_build(
    design: &Design,
    build: &Build,
    spec: &ThermalSpec,
    carry: Option<&Carry>,
) -> Result<BuildThermal, Problems> {
    let model = build.model(&design.goal, &Draw::default())?;
    let sections = sections(build, &model)?;
    let (mut case, ask, sag_ask) = spec.resolve(&model.frame, &materials(design))?;
    if spec.cure {
        case.cures = cures(design, build)?;
    }
    let bodies = bodies(build, &model)?;
    let base =
        Base { name: &build.name, frame: &model.frame, tip: model.tip, work: model.work, bodies: &bodies };
    let at_fault = |fault: DeflectionFault| match fault {
        DeflectionFault::Frame(faults) if !faults.is_empty() => {
            faults.iter().map(|f| build.place(f)).collect()
        }
        DeflectionFault::Unsolved(fault) => build.problems(&fault),
        other => Problem::error(build.place.clone(), format!("build \"{}\": {other}", build.name)).into(),
    };
    let mut thermal = solve_thermal(&base, &sections, &case, &ask).map_err(at_fault)?;
    for member in &mut thermal.state.members {
        member.bow_m = without_rounding(member.bow_m);
    }
    let settles =
        |film| solve_settling(&base, &sections, spec.change.value, film, spec.settle_to, &ask.rails).ok();
    let settling = settles(spec.film.value);
    let settled_with = |film| settles(film)?.drift_settled_s;
    let limits = || Some([settled_with(spec.film.high)?, settled_with(spec.film.low)?]);
    let between = if spec.film.is_exact() { None } else { limits() };
    let sag = match solve_sag(&base, &sag_ask) {
        Ok(found) => Some(found),
        Err(DeflectionFault::NotHeld) => None,
        Err(fault) => return Err(at_fault(fault)),
    };
    let carry = match carry {
        Some(carry) => {
            let along = members(build, &carry.along)?;
            let best = find_best_supports(&model.frame, &along, carry.supports, carry.aim);
            Some(best.map_err(|fault| match fault {
                DeflectionFault::NotHeld => tips_over(&carry.along).into(),
                other => at_fault(other),
            })?)
        }
        None => None,
    };
    let weighed = sag.as_ref().and_then(|sag| sag.travel.as_ref()).map(|travel| &travel.path);
    let path = thermal.state.path.as_ref().zip(weighed).map(|(warm, weighed)| warm.and(weighed));
    let label = build.label.clone();
    Ok(BuildThermal { label, thermal, settling, drift_settled_between_s: between, sag, path, carry })
}

/// Shrinkage and cooling that the cure leaves in the mixes of `build`, poured as its sheet says.
fn cures(design: &Design, build: &Build) -> Result<Vec<Cure>, Problems> {
    let poured = BuildPour::compute(design, build, &PourOptions::default())?;
    let sheets = poured.map(|poured| poured.sheets).unwrap_or_default();
    let cure = |sheet: PourSheet| Cure {
        shrinkage: sheet.cure_strain.unwrap_or(0.0),
        cooling_k: sheet.heat.map_or(0.0, |heat| heat.peak_k.value - heat.room_k),
        of: sheet.mix,
    };
    Ok(sheets.into_iter().map(cure).collect())
}

/// `value`, m or rad; 0 where it is only rounding, far below the size of an atom.
#[must_use]
pub fn without_rounding(value: f64) -> f64 {
    if value.abs() < 1e-11 { 0.0 } else { value }
}

fn tips_over(along: &[String]) -> Problem {
    let message = format!("the base tips over wherever it is carried under {}", along.join(", "));
    Problem::error(Place::key("--carry"), message)
        .with_help("name level members in a line that passes below the centre of gravity")
}

/// Indices of the members called `names`.
fn members(build: &Build, names: &[String]) -> Result<Vec<usize>, Problems> {
    let known = || build.drawing.members.iter().map(|(name, _)| name);
    let find = |name: &String| {
        build.drawing.members.position(name).ok_or_else(|| {
            let problem = Problem::error(Place::key("--carry"), format!("no member \"{name}\""));
            Problems::from(problem.with_help(suggest(name, known())))
        })
    };
    names.iter().map(find).collect()
}

/// The materials of all builds of `design`, since one that a build lacks may shrink in another.
fn materials(design: &Design) -> Vec<&str> {
    design.builds.iter().flat_map(|build| &build.substances).map(Substance::name).collect()
}

/// The thermal measures that `compare` shows of a build; `None` where unknown.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DriftAndBow {
    /// Displacement of the tip relative to the work per kelvin of uniform heating, m/K.
    pub drift: Option<f64>,
    /// Largest bow of the members that `[thermal]` names, under its temperatures, m.
    pub bow: Option<f64>,
}

impl DriftAndBow {
    /// Computes the measures of `build` at `draw`, from its factorised `statics`.
    pub fn compute(
        design: &Design,
        build: &Build,
        model: &Model,
        statics: &Statics,
        draw: &Draw,
    ) -> DriftAndBow {
        let section = |(number, profile): (usize, &Profile)| {
            let bond = profile.bond.at(draw).clamp(0.0, 1.0);
            CompositeSection::without_outlines(
                &profile.geometry,
                &model.media,
                bond,
                build.sliding_section(model, number),
            )
        };
        let sections: Option<Vec<CompositeSection>> =
            build.profiles.iter().enumerate().map(section).collect();
        let Some(sections) = sections else { return DriftAndBow::default() };
        let (tip, work) = (model.tip, model.work);
        let Ok(bodies) = bodies(build, model) else { return DriftAndBow::default() };
        let base = Base { name: &build.name, frame: &model.frame, tip, work, bodies: &bodies };
        let drift = drift_per_kelvin(&base, &sections, statics, model.scale).ok().flatten();
        let bow = design.goal.thermal.as_ref().and_then(|spec| {
            let (case, ask, _) = spec.resolve(&model.frame, &materials(design)).ok()?;
            let asked = case.warms().then_some(ask.rails)?;
            largest_bow(&base, &sections, statics, &case, &asked, model.scale).ok()?
        });
        DriftAndBow {
            drift: drift.map(|d| without_rounding((d.x * d.x + d.y * d.y + d.z * d.z).sqrt())),
            bow,
        }
    }
}

/// The compressive strengths of what `build` is made of, Pa.
fn compressive_strengths(build: &Build) -> Vec<Option<f64>> {
    let of = |substance: &Substance| match substance {
        Substance::Material(material) => material.value(Property::CompressiveStrength, &Draw::default()),
        Substance::Mix(_) => None,
    };
    build.substances.iter().map(of).collect()
}

/// The bodies of `build` prepared for changes of temperature.
fn bodies<'a>(build: &'a Build, model: &Model) -> Result<Vec<CompositeBody<'a>>, Problems> {
    let strengths = compressive_strengths(build);
    let of = |body: &'a BuildBody| {
        Ok(CompositeBody {
            name: &body.name,
            reduced: body.shapes(&model.media)?,
            media: body.substances.iter().map(|at| model.media[*at].clone()).collect(),
            compressive_strengths: body.substances.iter().map(|at| strengths[*at]).collect(),
        })
    };
    build.bodies.iter().map(of).collect()
}

/// The sections of `build` prepared for changes of temperature.
fn sections(build: &Build, model: &Model) -> Result<Vec<CompositeSection>, Problems> {
    let compressive = compressive_strengths(build);
    let mut sections = Vec::new();
    for (number, profile) in build.profiles.iter().enumerate() {
        let sliding = build.sliding_section(model, number);
        let warm = CompositeSection::from_geometry(
            &profile.geometry,
            &model.media,
            &compressive,
            profile.bond.value,
            sliding,
        );
        sections.push(warm.ok_or_else(|| {
            Problems::from(Problem::error(
                profile.spec.place.clone(),
                "a part of the section has no material",
            ))
        })?);
    }
    Ok(sections)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use approx::assert_relative_eq;

    #[test]
    fn what_stands_on_a_slab_does_not_clamp_it_when_it_expands() {
        // A slab with two bars low in it, of another expansion, so that it bends; a column on a seat of several sizes.
        let of = |seat: &str| {
            let text = format!(
                r#"
[points]
seat = "60, 0, 40 mm"
head = "60, 0, 300 mm"
work = "-90, 0, 40 mm"
a = "-150, -80, -40 mm"
b = "150, -80, -40 mm"
c = "0, 80, -40 mm"
[patches]
seat = "{seat}"
work = "{seat}"
a = "round 30 mm"
b = "round 30 mm"
c = "round 30 mm"
[members.column]
from = "seat"
to = "head"
section = "column"
[sections.column]
parts = [{{ tube = "60 x 60 x 4 mm", of = "structural steel" }}]
[feet.pads]
at = ["a", "b", "c"]
stiffness = "20, 20, 80 N/um"
loss = 0.1
[tool]
tip = "head"
work = "work"
[builds.stone]
bodies.slab.parts = [
  {{ box = "400 x 250 x 80 mm", of = "granite" }},
  {{ box = "400 x 20 x 20 mm", at = "0, -60, -20 mm", of = "structural steel" }},
  {{ box = "400 x 20 x 20 mm", at = "0, 60, -20 mm", of = "structural steel" }},
]
"#
            );
            let options = ThermalOptions { change: Some(10.0), film: None, carry: None };
            let answer = ThermalAnswer::compute(&design(&text), &options).unwrap();
            answer.builds[0].thermal.state.clone()
        };
        let [small, large] = ["20 x 20 mm", "120 x 120 mm"].map(of);
        let (one, other) = (small.drift_m.unwrap(), large.drift_m.unwrap());
        assert!(one.x.abs() > 1e-6, "{one:?}");
        for (one, other) in [(one.x, other.x), (one.y, other.y), (one.z, other.z)] {
            assert_relative_eq!(one, other, max_relative = 0.02, epsilon = 1e-8);
        }
        let [small, large] = [&small.bodies[0], &large.bodies[0]];
        assert!(small.bow_m > 1e-6);
        assert_relative_eq!(small.bow_m, large.bow_m, max_relative = 0.02);
        for (a, b) in small.growth_m.iter().zip(large.growth_m) {
            assert_relative_eq!(*a, b, max_relative = 0.03);
        }
    }
}
