//! How each build grows, bows and sags: the answer of the command `thermal`.

use crate::design::{Build, Design, Model, Substance};
use crate::material::Property;
use crate::problem::{Place, Problem, suggest};
use crate::quantity::Draw;
use crate::response::accuracy::spec::ThermalSpec;
use crate::response::accuracy::{
    Aim, Base, Best, RestFault, STILL_AIR, Sag, Settling, Thermal, WarmSection, best_supports, sag, settling,
    thermal,
};
use serde::Serialize;

/// Temperature and weight, build by build.
#[derive(Debug, Clone, Serialize)]
pub struct Warm {
    /// In the order of the design.
    pub builds: Vec<BuildWarm>,
    /// What is doubtful.
    pub notes: Vec<Problem>,
}

/// Temperature and weight of one build.
#[derive(Debug, Clone, Serialize)]
pub struct BuildWarm {
    /// What a reader calls it.
    pub label: String,
    /// Growth, bow, drift and stress.
    #[serde(flatten)]
    pub thermal: Thermal,
    /// Until it is straight again after the change; `None` where heat data lack.
    pub settling: Option<Settling>,
    /// Under its own weight, and under a carriage that moves; `None` for a floating base.
    pub sag: Option<Sag>,
    /// Where to carry it, where that is asked.
    pub carry: Option<Best>,
}

/// Where a base is to be carried.
#[derive(Debug, Clone, PartialEq)]
pub struct Carry {
    /// Names of the members under whose line the supports stand, one after another.
    pub along: Vec<String>,
    /// 2 or 3.
    pub supports: usize,
    /// What for.
    pub aim: Aim,
}

/// How every build of `design` stands the change of its `[thermal]`, or a uniform `change`, K, and
/// where to `carry` it.
///
/// # Errors
/// What is wrong with the design or lacking in a material, at its place.
pub fn warm(design: &Design, change: Option<f64>, carry: Option<&Carry>) -> Result<Warm, Vec<Problem>> {
    let mut spec = match (&design.goal.thermal, change) {
        (Some(spec), _) => spec.clone(),
        (None, Some(change)) => ThermalSpec::uniform(change),
        (None, None) => {
            let problem = Problem::error(Place::file(&design.file), "no change of temperature is stated");
            return Err(vec![
                problem.with_help("ask --change \"10 K\", or add [thermal] with change = \"10 K\""),
            ]);
        }
    };
    if let Some(change) = change {
        spec.change = change.into();
    }
    let builds =
        design.builds.iter().map(|build| of_build(design, build, &spec, carry)).collect::<Result<_, _>>()?;
    Ok(Warm { builds, notes: design.notes.clone() })
}

fn of_build(
    design: &Design,
    build: &Build,
    spec: &ThermalSpec,
    carry: Option<&Carry>,
) -> Result<BuildWarm, Vec<Problem>> {
    let model = build.model(&design.goal, &Draw::default())?;
    let sections = sections(build, &model)?;
    let names: Vec<&str> = build.substances.iter().map(Substance::name).collect();
    let (case, ask, sag_ask) = spec.resolve(&model.frame, &names)?;
    let base = Base {
        name: &build.name,
        frame: &model.frame,
        sections: &sections,
        tip: model.tip,
        work: model.work,
    };
    let at_fault = |fault: RestFault| match fault {
        RestFault::Frame(faults) if !faults.is_empty() => faults.iter().map(|f| build.place(f)).collect(),
        other => vec![Problem::error(build.place.clone(), format!("build \"{}\": {other}", build.name))],
    };
    let mut thermal = thermal(&base, &case, &ask).map_err(at_fault)?;
    for member in &mut thermal.state.members {
        member.bow_m = settled(member.bow_m);
    }
    let settling = settling(&base, spec.change.value, STILL_AIR, spec.settle_to, &ask.straight).ok();
    let sag = match sag(&base, &sag_ask) {
        Ok(found) => Some(found),
        Err(RestFault::NotHeld) => None,
        Err(fault) => return Err(at_fault(fault)),
    };
    let carry = match carry {
        Some(carry) => {
            let along = members(build, &carry.along)?;
            let best = best_supports(&model.frame, &along, carry.supports, carry.aim);
            Some(best.map_err(|fault| match fault {
                RestFault::NotHeld => vec![tips_over(&carry.along)],
                other => at_fault(other),
            })?)
        }
        None => None,
    };
    Ok(BuildWarm { label: build.label.clone(), thermal, settling, sag, carry })
}

/// `value`, m or rad, or 0 where it is only rounding: far below the size of an atom.
pub fn settled(value: f64) -> f64 {
    if value.abs() < 1e-13 { 0.0 } else { value }
}

fn tips_over(along: &[String]) -> Problem {
    let message = format!("the base tips over wherever it is carried under {}", along.join(", "));
    Problem::error(Place::key("--carry"), message)
        .with_help("name level members in a line that passes below the centre of gravity")
}

/// Indices of the members called `names`.
fn members(build: &Build, names: &[String]) -> Result<Vec<usize>, Vec<Problem>> {
    let known = || build.drawing.members.iter().map(|(name, _)| name);
    let find = |name: &String| {
        build.drawing.members.position(name).ok_or_else(|| {
            let problem = Problem::error(Place::key("--carry"), format!("no member \"{name}\""));
            vec![problem.with_help(suggest(name, known()))]
        })
    };
    names.iter().map(find).collect()
}

/// The sections of `build` ready for changes of temperature.
fn sections(build: &Build, model: &Model) -> Result<Vec<WarmSection>, Vec<Problem>> {
    let draw = Draw::default();
    let compressive: Vec<Option<f64>> = build
        .substances
        .iter()
        .map(|substance| match substance {
            Substance::Material(material) => material.value(Property::CompressiveStrength, &draw),
            Substance::Mix(_) => None,
        })
        .collect();
    let mut sections = Vec::new();
    for (number, profile) in build.profiles.iter().enumerate() {
        let sliding = build.sliding_section(model, number);
        let warm =
            WarmSection::drawn(&profile.geometry, &model.media, &compressive, profile.bond.value, sliding);
        sections.push(warm.ok_or_else(|| {
            vec![Problem::error(profile.spec.place.clone(), "a part of the section has no material")]
        })?);
    }
    Ok(sections)
}
