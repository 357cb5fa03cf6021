//! Mode shapes of a build, for a drawing that can be turned: along the lines of its members and over its surface.

use super::machine::Machine;
use super::solved::Solved;
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_design::{Build, Design, Model};
use stillbed_frame::{Frame, Layout};
use stillbed_input::problem::Problems;
use stillbed_input::quantity::{Draw, Kind, show};
use stillbed_modes::{Asked, ModesFault};

/// A named place of a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    /// Index of the place.
    pub place: usize,
    /// Its name.
    pub name: String,
    /// More about it: a weight, a point.
    pub detail: String,
    /// True for tool, work and masses.
    pub matters: bool,
}

/// A build as lines and faces in space, with its mode shapes.
#[derive(Debug, Clone, PartialEq)]
pub struct Shapes {
    /// Key of the build.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// Places along the members and on the surface, m, global axes.
    pub places: Vec<[f64; 3]>,
    /// By member its name and the indices of the places along its line, and the edges of bodies.
    pub lines: Vec<(String, Vec<usize>)>,
    /// What has a name: tool and work, masses, bodies, feet, members, in this order.
    pub names: Vec<Named>,
    /// Places on feet or anchors.
    pub held: Vec<usize>,
    /// Index of the place of the tool.
    pub tool: Option<usize>,
    /// Index of the place of the work.
    pub work: Option<usize>,
    /// The faces; the indices of their places count from `first`.
    pub machine: Machine,
    /// Index of the first place of the faces.
    pub first: usize,
    /// Names of the substances that the faces refer to.
    pub substances: Vec<String>,
    /// The modes, lowest first.
    pub modes: Vec<Shape>,
}

/// One mode.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Loss factor.
    pub loss_factor: f64,
    /// Displacement of each place at unit modal mass, m/sqrt(kg).
    pub movement: Vec<[f64; 3]>,
    /// Initial amplitude of the mode between tip and work after the tap of the design, m; 0 without tool or
    /// tap.
    pub heard: f64,
}

/// Number of places inside each element of a member, besides its ends.
const BETWEEN: usize = 2;

/// Most names of a drawing that has those of its members.
const MOST_NAMES: usize = 20;

impl Shapes {
    /// Computes the nominal shapes of the lowest `count` modes of `build`.
    ///
    /// # Errors
    /// What keeps the build from being solved, at its place.
    pub fn compute(design: &Design, build: &Build, count: usize) -> Result<Shapes, Problems> {
        let model = build.model(&design.goal, &Draw::default())?;
        let asked = Asked { count, ..Asked::default() };
        let solved = Solved::solve(build, &design.goal, &model, &asked, &[])
            .map_err(|fault| build.problems(&fault))?;
        let (frame, layout) = (&model.frame, &solved.spectrum.layout);
        let mut shapes = Shapes::laid(build, &model, layout);
        let movement = |motion: &[f64]| -> Vec<[f64; 3]> {
            let along =
                (0..frame.members.len()).map(|m| layout.along(frame, m, motion, BETWEEN).unwrap_or_default());
            let along = along.flatten().map(|(_, moved)| [moved.x, moved.y, moved.z]);
            let surface = shapes.machine.movement(build, frame, layout, motion);
            along.chain(surface.into_iter().map(|moved| [moved.x, moved.y, moved.z])).collect()
        };
        let heard = |mode: usize| -> f64 {
            let Some(tap) = &design.goal.tap else { return 0.0 };
            let elastic = solved.modal.modes().iter().filter(|mode| !mode.is_rigid()).nth(mode);
            elastic.filter(|_| solved.tool_stations > 0).map_or(0.0, |mode| {
                let seen: f64 = mode.shape[..solved.tool_stations].iter().map(|s| s.norm_sqr()).sum();
                let pole = Complex64::new(-0.5 * mode.loss_factor * mode.omega, mode.omega);
                let start = tap.impulse.value * tap.blow(tap.impulse.value).factor(pole).norm() / mode.omega;
                seen.sqrt() * mode.shape[solved.tool_stations].norm() * start
            })
        };
        shapes.modes = solved
            .spectrum
            .elastic
            .iter()
            .enumerate()
            .map(|(i, mode)| {
                let damped = solved.modal.modes().iter().filter(|m| !m.is_rigid()).nth(i);
                Shape {
                    frequency_hz: damped.map_or(mode.frequency(), |m| m.omega / TAU),
                    loss_factor: damped.map_or(0.0, |m| m.loss_factor),
                    movement: movement(&mode.shape),
                    heard: heard(i),
                }
            })
            .collect();
        Ok(shapes)
    }

    /// The build without its modes, which takes no solution.
    ///
    /// # Errors
    /// What keeps the build from being put together, at its place.
    pub fn at_rest(design: &Design, build: &Build) -> Result<Shapes, Problems> {
        let model = build.model(&design.goal, &Draw::default())?;
        let layout =
            Layout::divide(&model.frame, &[]).map_err(|faults| build.problems(&ModesFault::Frame(faults)))?;
        Ok(Shapes::laid(build, &model, &layout))
    }

    fn laid(build: &Build, model: &Model, layout: &Layout) -> Shapes {
        let frame = &model.frame;
        let (mut places, mut lines) = (Vec::new(), Vec::new());
        let rest = vec![0.0; layout.dofs()];
        for (number, member) in frame.members.iter().enumerate() {
            let along = layout.along(frame, number, &rest, BETWEEN).unwrap_or_default();
            let first = places.len();
            places.extend(along.iter().map(|(place, _)| [place.x, place.y, place.z]));
            lines.push((member.name.clone(), (first..places.len()).collect()));
        }
        let machine = Machine::new(build, model);
        let first = places.len();
        places.extend(machine.places.iter().map(|place| [place.x, place.y, place.z]));
        for (name, edges) in &machine.edges {
            lines.extend(edges.iter().map(|edge| (name.clone(), edge.map(|place| first + place).to_vec())));
        }
        let at = |point: usize| first + machine.points[point];
        for arm in &frame.arms {
            lines.push((arm.name.clone(), vec![at(arm.from), at(arm.to)]));
        }
        let feet = frame.feet.iter().flat_map(|foot| &foot.at);
        let anchors = frame.anchors.iter().flat_map(|anchor| &anchor.at);
        Shapes {
            name: build.name.clone(),
            label: build.label.clone(),
            names: names(frame, &machine, [model.tip, model.work], first, &lines),
            held: feet.chain(anchors).map(|point| at(*point)).collect(),
            tool: model.tip.map(at),
            work: model.work.map(at),
            substances: build.substances.iter().map(|substance| substance.name().to_string()).collect(),
            places,
            lines,
            modes: Vec::new(),
            machine,
            first,
        }
    }
}

/// Tool and work, masses, bodies, feet and members with their places.
fn names(
    frame: &Frame,
    machine: &Machine,
    [tool, work]: [Option<usize>; 2],
    first: usize,
    lines: &[(String, Vec<usize>)],
) -> Vec<Named> {
    let named = |place: usize, name: &str, detail: &str| Named {
        place,
        name: name.replace('_', " "),
        detail: detail.replace('_', " "),
        matters: false,
    };
    let point = |at: usize| first + machine.points[at];
    let ends = [(tool, "tool"), (work, "work")].into_iter();
    let ends = ends.filter_map(|(at, what)| {
        let name = &frame.points[at?].name;
        Some(Named { matters: true, ..named(point(at?), what, if name == what { "" } else { name }) })
    });
    let masses = frame.masses.iter().zip(&machine.centres);
    let masses = masses.map(|(mass, at)| Named {
        matters: true,
        ..named(first + at, &mass.name, &show(mass.mass, Kind::Mass))
    });
    // The nearest corner of a body stands for it.
    let bodies = machine.edges.iter().filter_map(|(name, edges)| {
        let place = edges.iter().flatten().max_by(|a, b| {
            let out = |i: usize| machine.places[i].x - machine.places[i].y;
            out(**a).total_cmp(&out(**b))
        })?;
        Some(named(first + place, name, ""))
    });
    let feet = frame.feet.iter().filter_map(|foot| Some(named(point(*foot.at.first()?), &foot.name, "")));
    let anchors = frame.anchors.iter().filter_map(|own| Some(named(point(*own.at.first()?), &own.name, "")));
    let members = lines.iter().take(frame.members.len());
    let members =
        members.filter_map(|(name, through)| Some(named(*through.get(through.len() / 2)?, name, "")));
    let mut all: Vec<Named> = ends.chain(masses).chain(bodies).chain(feet).chain(anchors).collect();
    // Some members named and others not would say nothing.
    if all.len() + frame.members.len() <= MOST_NAMES {
        all.extend(members);
    }
    all
}
