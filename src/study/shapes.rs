//! Mode shapes of a build along the lines of its members, for a drawing that can be turned.

use super::solved::Solved;
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_design::{Build, Design};
use stillbed_input::problem::Problems;
use stillbed_input::quantity::Draw;
use stillbed_modes::Asked;

/// A build as lines in space, with its mode shapes.
#[derive(Debug, Clone, PartialEq)]
pub struct Shapes {
    /// Key of the build.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// Places along the members, m, global axes.
    pub places: Vec<[f64; 3]>,
    /// By member: its name and the indices of the places along its line.
    pub lines: Vec<(String, Vec<usize>)>,
    /// Names of the points, each with the index of its place, as `(place, name)`.
    pub names: Vec<(usize, String)>,
    /// Places on feet or anchors.
    pub held: Vec<usize>,
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
        let frame = &model.frame;
        let layout = &solved.spectrum.layout;
        let (mut places, mut lines, mut ends) = (Vec::new(), Vec::new(), vec![None; frame.points.len()]);
        let rest = vec![0.0; layout.dofs()];
        for (number, member) in frame.members.iter().enumerate() {
            let along = layout.along(frame, number, &rest, BETWEEN).unwrap_or_default();
            let first = places.len();
            places.extend(along.iter().map(|(place, _)| [place.x, place.y, place.z]));
            if places.len() > first {
                ends[member.from].get_or_insert(first);
                ends[member.to].get_or_insert(places.len() - 1);
            }
            lines.push((member.name.clone(), (first..places.len()).collect()));
        }
        let movement = |motion: &[f64]| -> Vec<[f64; 3]> {
            let along =
                (0..frame.members.len()).map(|m| layout.along(frame, m, motion, BETWEEN).unwrap_or_default());
            along.flatten().map(|(_, moved)| [moved.x, moved.y, moved.z]).collect()
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
        let modes = solved
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
        let at = |point: usize| ends[point];
        let named = frame.points.iter().enumerate().filter_map(|(i, p)| Some((at(i)?, p.name.clone())));
        let feet = frame.feet.iter().flat_map(|foot| &foot.at);
        let anchors = frame.anchors.iter().flat_map(|anchor| &anchor.at);
        Ok(Shapes {
            name: build.name.clone(),
            label: build.label.clone(),
            names: named.collect(),
            held: feet.chain(anchors).filter_map(|point| at(*point)).collect(),
            places,
            lines,
            modes,
        })
    }
}
