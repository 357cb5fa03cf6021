//! Makes builds equal in mass, stiffness or cost by scaling their sections.
//!
//! Every section of a build is made `s` times as large in both directions, walls included; points, masses,
//! joints and feet stay. Mass, cost and stiffness grow with s; where members overlap, mass and cost grow a
//! little more slowly than s². The scale is found by bisection.

use super::measures::Figures;
use super::solved::measure;
use stillbed_design::{Build, Design, Goal, LeftOut, Model};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Draw, Kind, figures, show};
use stillbed_modes::Asked;

/// The quantity in which builds are made equal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Equal {
    /// Total mass, kg.
    Mass,
    /// Static stiffness between tip and work in the weakest direction.
    Stiffness,
    /// Total price.
    Cost,
}

impl Equal {
    /// Its name in the answer.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Equal::Mass => "mass",
            Equal::Stiffness => "stiffness",
            Equal::Cost => "cost",
        }
    }

    /// A value of it as text.
    fn show(self, value: f64) -> String {
        match self {
            Equal::Mass => show(value, Kind::Mass),
            Equal::Stiffness => show(value, Kind::Stiffness),
            Equal::Cost => figures(value, 3),
        }
    }

    /// Its value in `figures`.
    #[must_use]
    pub fn value(self, figures: &Figures) -> Option<f64> {
        match self {
            Equal::Mass => Some(figures.mass),
            Equal::Stiffness => figures.weakest.filter(|k| k.is_finite()),
            Equal::Cost => figures.cost,
        }
    }
}

/// The builds of `design` that can be made equal in `equal` to the first, and their scales; a note says of
/// each other build why it cannot.
///
/// # Errors
/// What keeps the first from being solved, or that it has no such value.
pub fn compute_scales(design: &Design, equal: Equal) -> Result<(Design, Vec<f64>), Problems> {
    let Some((first, others)) = design.builds.split_first() else {
        return Ok((design.clone(), Vec::new()));
    };
    let asked = Asked { count: 1, ..Asked::default() };
    let figures = measure(first, &design.goal, &Draw::default(), 1.0, &asked)?;
    let wanted = equal.value(&figures).ok_or_else(|| {
        let message = format!("build \"{}\" has no {} to be equal to", first.name, equal.word());
        let help = "stiffness needs a [tool] whose tip gives way, cost needs prices";
        vec![Problem::error(first.place.clone(), message).with_help(help)]
    })?;
    let (mut scales, mut left_out) = (vec![1.0], Vec::new());
    for build in others {
        if !build.bodies.is_empty() {
            let message = "it has bodies, which are not scaled".to_string();
            let problem = Problem::error(build.place.clone(), message);
            let problem = problem.with_help("compare builds with bodies as they are drawn");
            left_out.push(LeftOut { name: build.name.clone(), problems: vec![problem] });
            continue;
        }
        match scale(build, &design.goal, equal, wanted) {
            Ok(scale) => scales.push(scale),
            Err(problems) => left_out.push(LeftOut { name: build.name.clone(), problems: problems.into() }),
        }
    }
    Ok((design.clone().without(left_out), scales))
}

/// Limits of the scale.
const SCALES: (f64, f64) = (0.1, 10.0);

/// The scale of the sections at which `build` has the value `wanted` of `equal`, at nominal values.
///
/// # Errors
/// A problem at the build when no scale between a tenth and ten times gives it.
fn scale(build: &Build, goal: &Goal, equal: Equal, wanted: f64) -> Result<f64, Problems> {
    let value = |scale: f64| {
        let model = build.scaled_model(goal, &Draw::default(), scale)?;
        match equal {
            Equal::Mass => Ok(model.mass()),
            Equal::Cost => model.cost(build).ok_or_else(|| unpriced(build).into()),
            Equal::Stiffness => stiffness(build, &model),
        }
    };
    let found = by_halving(wanted, value)?;
    if found > SCALES.0 && found < SCALES.1 {
        return Ok(found);
    }
    let message = format!(
        "build \"{}\": with its sections {} times their size it still has a {} of {}, not of {}",
        build.name,
        figures(found, 3),
        equal.word(),
        equal.show(value(found)?),
        equal.show(wanted)
    );
    Err(Problems::from(
        Problem::error(build.place.clone(), message)
            .with_help("joints, feet or fixed parts limit it; compare as drawn, or change them"),
    ))
}

fn unpriced(build: &Build) -> Problem {
    let message = format!("build \"{}\": it has no cost: a material of it has no price", build.name);
    Problem::error(build.place.clone(), message).with_help("add prices = { \"MATERIAL\" = \"2.4 per kg\" }")
}

fn stiffness(build: &Build, model: &Model) -> Result<f64, Problems> {
    let tip = model.tip.ok_or_else(|| {
        let problem = Problem::error(build.place.clone(), "there is no stiffness without a tool");
        vec![problem.with_help("add [tool] with tip and work")]
    })?;
    build
        .statics(model)
        .and_then(|statics| statics.stiffness(tip, model.work).map_err(stillbed_modes::ModesFault::Eigen))
        .map(|stiffness| stiffness.weakest)
        .map_err(|fault| build.problems(&fault))
}

/// The scale at which the increasing function `value` equals `wanted`; an end of [`SCALES`] if that lies
/// outside.
fn by_halving(wanted: f64, value: impl Fn(f64) -> Result<f64, Problems>) -> Result<f64, Problems> {
    let (mut low, mut high) = SCALES;
    if value(low)? > wanted {
        return Ok(low);
    }
    if value(high)? < wanted {
        return Ok(high);
    }
    while high / low > 1.0 + 1e-9 {
        let middle = (low * high).sqrt();
        if value(middle)? < wanted { low = middle } else { high = middle }
    }
    Ok((low * high).sqrt())
}

/// A scale as text: `1.27 times`.
#[must_use]
pub fn told(scale: f64) -> String {
    format!("{} times", figures(scale, 3))
}
