//! Finds the one size (wall, depth or diameter) at which a base has a given frequency, stiffness or settle
//! time.
//!
//! The size is sought from a fifth to five times the drawn one: first on a grid in equal ratios, then between
//! the two neighbours that enclose the value, by regula falsi with bisection steps. Of several such sizes the
//! one nearest to the drawn size is taken; where there is none, the answer gives the values that the whole
//! range reaches.
//!
//! # Source
//! - `dowell1971`: the Illinois modification of regula falsi

use super::lengths::written;
use crate::solved::measure;
use serde::Serialize;
use std::sync::Arc;
use stillbed_design::{Build, Design, Measure};
use stillbed_input::problem::{Place, Problem, Problems, suggest};
use stillbed_input::quantity::{Draw, show};
use stillbed_modes::Asked;
use stillbed_section::Geometry;

/// Limits of the size, as multiples of the drawn one.
const RANGE: (f64, f64) = (0.2, 5.0);

/// Number of grid steps.
const GRID: usize = 32;

/// Relative width at which a root counts as found.
const EXACT: f64 = 1e-7;

/// The size to find, and the value that it is to give.
#[derive(Debug, Clone, PartialEq)]
pub struct InverseRequest {
    /// Name of the size, `SECTION.PART.SIZE`, such as `rail.1.wall`.
    pub size: String,
    /// The measure that is to reach the value.
    pub measure: Measure,
    /// The value, SI.
    pub value: f64,
}

/// The answer: the size found.
#[derive(Debug, Clone, Serialize)]
pub struct Inverse {
    /// The answer in a sentence.
    pub answer: String,
    /// Key of the build.
    pub build: String,
    /// Name of the size, `SECTION.PART.SIZE`.
    pub size: String,
    /// The drawn size.
    pub drawn_m: f64,
    /// The size found; `None` when no size in the range gives the value.
    pub found_m: Option<f64>,
    /// Key of the measure.
    pub measure: &'static str,
    /// The value asked for, SI.
    pub asked: f64,
    /// The value at the drawn size, SI.
    pub drawn_value: Option<f64>,
    /// Least and largest size that was tried and can be drawn.
    pub range_m: [f64; 2],
    /// Least and largest value in that range, SI.
    pub reached: Option<[f64; 2]>,
    /// Warnings.
    pub notes: Vec<Problem>,
}

impl Inverse {
    /// Finds the size in `build`.
    ///
    /// # Errors
    /// A name that is not there, or what keeps the drawn build from being solved.
    pub fn compute(
        design: &Design,
        build: &Build,
        asking: &InverseRequest,
        count: usize,
    ) -> Result<Inverse, Problems> {
        let (profile, part, number) = place(build, &asking.size).map_err(Problems::from)?;
        let asked = Asked { count, ..Asked::default() };
        let drawn = build.profiles[profile].geometry.parts()[part].shape.sizes()[number].1;
        let value_at = |size: f64| -> Option<f64> {
            let build = resized_build(build, profile, part, number, size)?;
            measure(&build, &design.goal, &Draw::default(), 1.0, &asked).ok()?.get(asking.measure)
        };
        let figures = measure(build, &design.goal, &Draw::default(), 1.0, &asked)?;
        let drawn_value = figures.get(asking.measure);
        let ratio = |i: usize| RANGE.0 * (RANGE.1 / RANGE.0).powf(i as f64 / GRID as f64);
        let tried: Vec<(f64, Option<f64>)> =
            (0..=GRID).map(|i| drawn * ratio(i)).map(|size| (size, value_at(size))).collect();
        let known: Vec<(f64, f64)> =
            tried.iter().filter_map(|(size, value)| Some((*size, (*value)?))).collect();
        let enclosing = tried.windows(2).filter_map(|pair| {
            let ((a, va), (b, vb)) = ((pair[0].0, pair[0].1?), (pair[1].0, pair[1].1?));
            ((va - asking.value) * (vb - asking.value) <= 0.0).then_some((a, va, b, vb))
        });
        let distance = |a: f64, b: f64| ((a * b).sqrt() / drawn).ln().abs();
        let nearest = enclosing.min_by(|x, y| distance(x.0, x.2).total_cmp(&distance(y.0, y.2)));
        let found = nearest.and_then(|(a, va, b, vb)| root(&value_at, asking.value, (a, va), (b, vb)));
        let reached = known.iter().map(|(_, v)| *v).fold(None, |range: Option<[f64; 2]>, v| {
            Some(range.map_or([v, v], |[low, high]| [low.min(v), high.max(v)]))
        });
        let range = [known.first().map_or(drawn, |(s, _)| *s), known.last().map_or(drawn, |(s, _)| *s)];
        let mut inverse = Inverse {
            answer: String::new(),
            build: build.name.clone(),
            size: asking.size.clone(),
            drawn_m: drawn,
            found_m: found,
            measure: asking.measure.key(),
            asked: asking.value,
            drawn_value,
            range_m: range,
            reached,
            notes: design.notes.clone(),
        };
        inverse.answer = told(&inverse, asking.measure);
        Ok(inverse)
    }
}

fn told(inverse: &Inverse, measure: Measure) -> String {
    let value = |v: f64| show(v, measure.kind());
    let size = |s: f64| written(&[(s * 1e6).round() / 1e6], "");
    let drawn = inverse.drawn_value.map_or("none".to_string(), value);
    match (inverse.found_m, inverse.reached) {
        (Some(found), _) => format!(
            "{} {} gives a {} of {}; drawn are {}, which give {drawn}.",
            inverse.size,
            size(found),
            measure.title(),
            value(inverse.asked),
            size(inverse.drawn_m)
        ),
        (None, Some([low, high])) => format!(
            "No size reaches a {} of {}: from {} to {}, {} gives {} to {}.",
            measure.title(),
            value(inverse.asked),
            size(inverse.range_m[0]),
            size(inverse.range_m[1]),
            inverse.size,
            value(low),
            value(high)
        ),
        (None, None) => format!("No size of {} has a {} at all.", inverse.size, measure.title()),
    }
}

/// Indices of profile, part and size for the name `SECTION.PART.SIZE`.
fn place(build: &Build, name: &str) -> Result<(usize, usize, usize), Problem> {
    let at = || Place { key: "--find".to_string(), ..Place::default() };
    let words: Vec<&str> = name.split('.').collect();
    let [section, part, size] = words[..] else {
        return Err(Problem::error(at(), format!("\"{name}\" is no size of a part"))
            .with_help("write SECTION.PART.SIZE, as in rail.1.wall"));
    };
    let profile = build.profiles.iter().position(|p| p.name == section).ok_or_else(|| {
        let help = suggest(section, build.profiles.iter().map(|p| p.name.as_str()));
        Problem::error(at(), format!("build \"{}\" has no section \"{section}\"", build.name)).with_help(help)
    })?;
    let parts = build.profiles[profile].geometry.parts();
    let number = part.parse::<usize>().ok().filter(|n| (1..=parts.len()).contains(n)).ok_or_else(|| {
        Problem::error(at(), format!("section \"{section}\" has no part {part}"))
            .with_help(format!("parts count from 1 to {}", parts.len()))
    })?;
    let known = parts[number - 1].shape.sizes();
    let which = known.iter().position(|(known, _)| *known == size).ok_or_else(|| {
        let help = suggest(size, known.iter().map(|(name, _)| *name));
        Problem::error(at(), format!("part {number} of \"{section}\" has no {size}")).with_help(help)
    })?;
    Ok((profile, number - 1, which))
}

fn resized_build(build: &Build, profile: usize, part: usize, number: usize, size: f64) -> Option<Build> {
    let mut parts = build.profiles[profile].geometry.parts().to_vec();
    let mut numbers: Vec<f64> = parts[part].shape.sizes().iter().map(|(_, s)| *s).collect();
    numbers[number] = size;
    parts[part].shape = parts[part].shape.resized(&numbers)?;
    parts[part].shape.check().ok()?;
    let mut build = build.clone();
    build.profiles[profile].geometry = Arc::new(Geometry::new(parts).ok()?);
    Some(build)
}

/// `build` with the size called `SECTION.PART.SIZE` set to `value`.
#[cfg(test)]
pub(super) fn resized_by_name(build: &Build, name: &str, value: f64) -> Option<Build> {
    let (profile, part, number) = place(build, name).ok()?;
    resized_build(build, profile, part, number, value)
}

/// The size between two that enclose `value`; `None` when a build between them cannot be solved.
fn root(at: &impl Fn(f64) -> Option<f64>, value: f64, a: (f64, f64), b: (f64, f64)) -> Option<f64> {
    let ((mut a, mut fa), (mut b, mut fb)) = ((a.0, a.1 - value), (b.0, b.1 - value));
    for step in 0..60 {
        if fa == 0.0 || (b - a).abs() <= EXACT * a.abs() {
            return Some(a);
        }
        if fb == 0.0 {
            return Some(b);
        }
        // Every third step bisects, so that the interval shrinks whatever the curve.
        let straight = (a * fb - b * fa) / (fb - fa);
        let c = if step % 3 == 2 || !straight.is_finite() { 0.5 * (a + b) } else { straight };
        let fc = at(c)? - value;
        if fc.abs() <= EXACT * value.abs() {
            return Some(c);
        }
        if fc * fb < 0.0 {
            (a, fa) = (b, fb);
        } else {
            fa *= 0.5;
        }
        (b, fb) = (c, fc);
    }
    Some(b)
}
