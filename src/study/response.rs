//! Steady response of each build to a harmonic force: the answer of the command `response`.

use super::misses::Misses;
use super::partial::answer_solvable;
use super::solved::{Solved, meets, nothing_gives};
use serde::Serialize;
use std::f64::consts::TAU;
use stillbed_design::{Build, Design, Goal};
use stillbed_frame::Frame;
use stillbed_input::problem::{Place, Problem, Problems, suggest};
use stillbed_input::quantity::Draw;
use stillbed_modes::ModesFault;
use stillbed_response::answer::BuildResponse;
use stillbed_response::cut::{lobes, stable_depth};
use stillbed_response::floor::{FloorSpectrum, floor_motion, floor_paths};
use stillbed_response::frequency::FrequencyResponse;
use stillbed_response::modal::ModalModel;
use stillbed_response::speeds::{RunningSpeeds, clashes, order_lines, unbalance_motion};
use stillbed_response::stations::{HarmonicCheck, Station, modal_model};

/// Number of waves between two teeth up to which the limit of stable cutting is computed.
const MOST_WAVES: usize = 12;

/// A path from a force to a motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// Name of the point that the force acts on.
    pub from: String,
    /// Name of the observed point; `None` is the point of the force.
    pub to: Option<String>,
    /// Direction of force and motion, a unit vector in global axes.
    pub along: [f64; 3],
}

/// Options of `response`.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseOptions {
    /// Frequency range, Hz; `None` is from a third of the first mode to beyond the last.
    pub range: Option<(f64, f64)>,
    /// The path; `None` is tip relative to work in the weakest direction.
    pub path: Option<Path>,
    /// Vibration of the floor.
    pub floor: Option<FloorSpectrum>,
}

/// The answer of `response`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Response {
    /// The path in words: the force, the observed motion and the direction.
    pub path: String,
    /// Amplitude of motion at which losses are taken, m; left out where no loss is stated over amplitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_m: Option<f64>,
    /// In the order of the design.
    pub builds: Vec<BuildResponse>,
    /// Missed targets; those of stiffness are judged between tip and work, whatever the path.
    pub misses: Misses,
    /// Warnings.
    pub notes: Vec<Problem>,
}

impl Response {
    /// Computes the steady response of every build of `design`.
    ///
    /// # Errors
    /// What is wrong with the design or the options, at its place.
    pub fn compute(design: &Design, options: &ResponseOptions) -> Result<Response, Problems> {
        answer_solvable(design, |design| of_all(design, options), |design| of_all(design, options))
    }
}

fn of_all(design: &Design, options: &ResponseOptions) -> Result<Response, Problems> {
    let mut notes = design.notes.clone();
    let mut misses = Misses::new(&design.goal.targets);
    let each = |build| respond(design, build, options, (&mut notes, &mut misses));
    let builds = design.builds.iter().map(each).collect::<Result<Vec<_>, _>>()?;
    let amplitude_m = design.goal.amplitude;
    Ok(Response { path: told(design, options)?, amplitude_m, builds, misses, notes })
}

fn told(design: &Design, options: &ResponseOptions) -> Result<String, Problems> {
    Ok(match (&options.path, &design.goal.tool) {
        (Some(path), _) => {
            let [x, y, z] = path.along.map(|part| stillbed_input::quantity::figures(part, 3));
            let to = path.to.as_ref().unwrap_or(&path.from);
            format!("force at {} along {x}, {y}, {z}; motion of {to}", path.from)
        }
        (None, Some(tool)) => {
            format!("{} against {}, each build in its weakest direction", tool.tip.value, tool.work.value)
        }
        (None, None) => return Err(Problems::from(pathless(design))),
    })
}

fn pathless(design: &Design) -> Problem {
    Problem::error(Place::file(&design.file), "the design has no tool, so there is no path to answer for")
        .with_help("add [tool] with tip and work, or ask --from POINT --along \"x, y, z\" --to POINT")
}

/// The stations of the path in `build`: the loaded one, then the observed one.
fn path_stations(
    design: &Design,
    (build, frame): (&Build, &Frame),
    options: &ResponseOptions,
    tool: Option<(usize, Option<usize>)>,
    weakest: Option<[f64; 3]>,
) -> Result<[Station; 2], Vec<Problem>> {
    if let Some(path) = &options.path {
        let point = |name: &str, option: &str| {
            build.drawing.points.position(name).ok_or_else(|| {
                let known = build.drawing.points.iter().map(|(name, _)| name);
                let place = Place { key: option.to_string(), ..Place::file(&design.file) };
                let problem = Problem::error(place, format!("no point \"{name}\""));
                vec![problem.with_help(suggest(name, known))]
            })
        };
        let from = point(&path.from, "--from")?;
        let to = path.to.as_deref().map_or(Ok(from), |name| point(name, "--to"))?;
        // Its effect on a body that it does not touch would be rounding alone: there it pushes nothing.
        let pushed = if meets(frame, from, std::iter::once(to)) { path.along } else { [0.0; 3] };
        return Ok([Station::at(from, pushed), Station::at(to, path.along)]);
    }
    match (tool, weakest) {
        (Some((tip, work)), Some(along)) => Ok([Station::Between { point: tip, against: work, along }; 2]),
        _ => Err(Problems::from(pathless(design)).into()),
    }
}

/// Warns that the force moves nothing along the path.
fn still(
    design: &Design,
    build: &Build,
    options: &ResponseOptions,
    curve: &FrequencyResponse,
) -> Option<Problem> {
    if curve.real_m_per_n.iter().chain(&curve.imaginary_m_per_n).any(|part| *part != 0.0) {
        return None;
    }
    let Some(path) = &options.path else { return nothing_gives(design, build, false) };
    let (from, to) = (&path.from, path.to.as_ref().unwrap_or(&path.from));
    let message = format!(
        "build \"{}\": a force at {from} does not move {to}: no member joins them, or anchors take it all up",
        build.name
    );
    let help = "ask about points of one body that can move";
    Some(Problem::warning(build.place.clone(), message).with_help(help))
}

fn respond(
    design: &Design,
    build: &Build,
    options: &ResponseOptions,
    (notes, misses): (&mut Vec<Problem>, &mut Misses),
) -> Result<BuildResponse, Problems> {
    let goal = &design.goal;
    let at_fault = |fault: ModesFault| build.problems(&fault);
    let model = build.model(goal, &Draw::default())?;
    let tool = model.tip.map(|tip| (tip, model.work));
    let weakest = match tool {
        Some((tip, work)) => {
            let statics = build.statics(&model).map_err(at_fault)?;
            let stiffness = statics.stiffness(tip, work).map_err(|e| at_fault(ModesFault::Eigen(e)))?;
            Some(stiffness.direction)
        }
        None => None,
    };
    let path = path_stations(design, (build, &model.frame), options, tool, weakest)?;
    let solved = Solved::converge(build, goal, &model, Some(&path)).map_err(at_fault)?;
    notes.extend(solved.doubts(build, goal));
    if !goal.targets.is_empty() {
        let figures = solved.figures(build, goal).map_err(at_fault)?;
        misses.judge(&build.name, |measure| Some(figures.get(measure)));
    }
    let mut stations: Vec<Station> =
        tool.map(|(tip, work)| Station::axes(tip, work)).into_iter().flatten().collect();
    let load = stations.len();
    let seen = load + 1;
    let more = &mut stations;
    more.extend(path);
    more.extend((0..3).map(Station::Floor));
    more.extend(goal.cut.iter().zip(tool).map(|(cut, (point, against))| Station::Between {
        point,
        against,
        along: cut.normal,
    }));
    let turning = goal.speeds.iter().filter_map(|(_, speeds)| speeds.at.as_ref());
    for at in turning {
        more.extend(
            build.drawing.points.position(&at.value).map(|p| Station::axes(p, None)).into_iter().flatten(),
        );
    }
    let modal = solved.modal_at(&stations).map_err(at_fault)?;
    let range = options.range.unwrap_or_else(|| usual_range(&solved));
    let wide = solved.up_to(build, options.range.map_or(0.0, |(_, high)| high)).map_err(at_fault)?;
    let spectrum = wide.as_ref().map_or(&solved.spectrum, |(spectrum, _)| spectrum);
    let drawn = match &wide {
        Some((spectrum, damped)) => {
            let drawn = modal_model(&model.frame, spectrum, damped.as_ref(), Some(&solved.statics), &path);
            FrequencyResponse::compute(&drawn.map_err(|e| at_fault(ModesFault::Eigen(e)))?, 1, 0, range)
        }
        None => FrequencyResponse::compute(&modal, seen, load, range),
    };
    let mut curve =
        drawn.map_err(|message| Problems::from(Problem::error(Place::key("--range"), message)))?;
    if let Some(check) = HarmonicCheck::new(&model.frame, spectrum, &path[1], &path[0]) {
        curve.check(|omega| check.compliance(omega).ok());
    }
    notes.extend(still(design, build, options, &curve));
    let worst = solved.reached.as_ref().and_then(|reached| reached.peak);
    let mut answer = BuildResponse::new(&build.name, &build.label, curve, worst);
    let floor = [load + 2, load + 3, load + 4];
    answer.floor_paths = floor_paths(&modal, seen, floor);
    if let Some(spectrum) = &options.floor {
        answer.floor = Some(floor_motion(&modal, seen, &floor, spectrum));
    }
    let mut next = load + 5;
    if let Some(cut) = goal.cut.as_ref().filter(|_| tool.is_some()) {
        let pair = modal.pair(next, next);
        let stiffness = cut.cutting_stiffness.value;
        answer = answer.with_cut(stable_depth(&pair, stiffness), lobes(&pair, stiffness, MOST_WAVES));
        next += 1;
    }
    speeds(goal, build, &modal, seen, next, &mut answer);
    Ok(answer)
}

/// Resonances and unbalance in every range of speeds; the stations of unbalance begin at `next`.
fn speeds(
    goal: &Goal,
    build: &Build,
    modal: &ModalModel,
    seen: usize,
    mut next: usize,
    answer: &mut BuildResponse,
) {
    for (name, speeds) in goal.speeds.iter() {
        let running =
            RunningSpeeds { name: name.to_string(), range: speeds.range, orders: speeds.orders.clone() };
        answer.clashes.extend(clashes(modal, &running));
        answer.order_lines.extend(order_lines(&running));
        let turns_at = speeds.at.as_ref().filter(|at| build.drawing.points.position(&at.value).is_some());
        if turns_at.is_none() {
            continue;
        }
        if let Some(unbalance) = speeds.unbalance {
            let at = [next, next + 1, next + 2];
            let motion = unbalance_motion(modal, seen, at, unbalance.value, speeds.range);
            answer.unbalance.extend(motion);
        }
        next += 3;
    }
}

/// Number of elastic modes that a curve shows unless a range is given.
const DRAWN: usize = 20;

/// From a third of the first elastic frequency to beyond that of mode `DRAWN`, Hz.
fn usual_range(solved: &Solved) -> (f64, f64) {
    let elastic = solved.modal.modes().iter().filter(|mode| !mode.is_rigid());
    let elastic = elastic.take(DRAWN).map(|mode| mode.omega / TAU);
    let (first, last) = elastic.fold((f64::INFINITY, 0.0), |(a, b): (f64, f64), f| (a.min(f), b.max(f)));
    if first.is_finite() { (first / 3.0, 1.2 * last) } else { (1.0, 1000.0) }
}

#[cfg(test)]
mod tests {
    use super::super::compare::{Comparison, Options};
    use super::*;
    use crate::design_sample::design;

    /// A post on a compliant, lossy clamp that carries a stiff arm: its modes differ in loss.
    const POST: &str = r#"
[points]
bench = "0, 0, 0 mm"
head = "0, 0, 400 mm"
tip = "150, 0, 400 mm"
[members.post]
from = "bench"
to = "head"
section = "bar"
joint_from = "clamp"
[members.arm]
from = "head"
to = "tip"
section = "bar"
[anchors.floor]
at = "bench"
hold = "all"
[tool]
tip = "tip"
work = "ground"
[builds.one]
sections.bar.parts = [{ rectangle = "30 x 24 mm", of = "structural steel" }]
joints.clamp = { stiffness = { turn_x = "30 kN m/rad", turn_y = "90 kN m/rad", turn_z = "60 kN m/rad" }, loss = { value = 0.05, exact = true } }
"#;

    /// A block beside the post, not connected to it.
    const BESIDE: &str = r#"
[points]
bench = "0, 0, 0 mm"
head = "0, 0, 400 mm"
other = "300, 200, 0 mm"
block = "300, 200, 250 mm"
[members.post]
from = "bench"
to = "head"
section = "bar"
[members.beside]
from = "other"
to = "block"
section = "bar"
[anchors.floor]
at = ["bench", "other"]
hold = "all"
[builds.one]
sections.bar.parts = [{ rectangle = "30 x 24 mm", of = "structural steel" }]
"#;

    #[test]
    fn a_force_on_one_body_moves_no_other_and_that_is_said() {
        let design = design(BESIDE);
        let moved = |from: &str, to: &str| {
            let path = Path { from: from.into(), to: Some(to.into()), along: [1.0, 0.0, 0.0] };
            let asked = ResponseOptions { range: None, path: Some(path), floor: None };
            let mut answer = Response::compute(&design, &asked).unwrap();
            let said = answer.notes.iter().any(|note| note.message.contains("does not move"));
            let curve = answer.builds.remove(0).curve;
            let still = |parts: &[f64]| parts.iter().all(|part| *part == 0.0);
            (still(&curve.real_m_per_n) && still(&curve.imaginary_m_per_n), said)
        };
        assert_eq!(moved("head", "block"), (true, true));
        assert_eq!(moved("head", "bench"), (true, true));
        assert_eq!(moved("head", "head"), (false, false));
        assert_eq!(moved("block", "block"), (false, false));
    }

    #[test]
    fn the_loss_at_the_worst_peak_is_that_of_its_half_power_points() {
        let design = design(POST);
        let options = Options { draws: 0, ..Options::default() };
        let compared = &Comparison::compute(&design, &options, |_, _| ()).unwrap().builds[0];
        let along = |along: [f64; 3]| {
            let path = Path { from: "tip".into(), to: None, along };
            let asked = ResponseOptions { range: None, path: Some(path), floor: None };
            Response::compute(&design, &asked).unwrap().builds.remove(0).curve
        };
        let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(along);
        let highest = |curve: &FrequencyResponse| curve.worst().map_or(0.0, |peak| peak.compliance_m_per_n);
        let curve = axes.iter().max_by(|a, b| highest(a).total_cmp(&highest(b))).unwrap();
        let points = curve.real_m_per_n.iter().zip(&curve.imaginary_m_per_n);
        let height: Vec<f64> = points.map(|(re, im)| re.hypot(*im)).collect();
        let top = (0..height.len()).max_by(|a, b| height[*a].total_cmp(&height[*b])).unwrap();
        let half = height[top] / 2f64.sqrt();
        // Interpolates between the two samples around half power, by the square of frequency.
        let crossing = |mut i: usize, step: isize| {
            while height[i] > half {
                i = i.checked_add_signed(step).unwrap();
            }
            let inner = i.checked_add_signed(-step).unwrap();
            let share = (height[inner] - half) / (height[inner] - height[i]);
            let [a, b] = [inner, i].map(|i| curve.frequency_hz[i].powi(2));
            a + share * (b - a)
        };
        let width = crossing(top, 1) - crossing(top, -1);
        let loss = width / (2.0 * curve.frequency_hz[top].powi(2));
        let stated = compared.loss_factor.unwrap().value;
        assert!((loss / stated - 1.0).abs() < 0.02, "{loss} {stated}");
        // The modes differ so much in loss that another mode's loss would fail the test.
        let modes =
            super::super::modes::Modes::compute(&design, 6, &super::super::spread::Draws::NONE, |_, _| ());
        let losses: Vec<f64> = modes.unwrap().builds[0].modes.modes.iter().map(|m| m.loss_factor).collect();
        assert!(losses.iter().any(|other| (other / stated - 1.0).abs() > 0.2), "{losses:?}");
    }
}
