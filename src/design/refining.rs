//! How fine are the grids of a build's bodies? One order more each time, until its figures hold or a grid is as large
//! as it may be.
//!
//! What a figure holds to is how far it differs between the last two grids. The figures are the lowest frequencies of
//! the build and its static stiffness between tip and work in the weakest direction. A body is refined where its own
//! grid makes much of the difference.

use super::build::Build;
use super::grid_limits::GridLimits;
use stillbed_frame::Frame;
use stillbed_input::problem::{Problem, Problems};
use stillbed_material::Medium;
use stillbed_modes::{Asked, Statics, solve};
use stillbed_solid::apart;

impl Build {
    /// Refines the bodies of `frame`, once in the life of the build, and puts them on their finest grids; gives the
    /// same frame on the grids before those. `tip` and `work` are those of the tool.
    ///
    /// # Errors
    /// What keeps a body from being solved, at its place.
    pub(super) fn refine(
        &self,
        frame: &mut Frame,
        media: &[Medium],
        between: (Option<usize>, Option<usize>),
    ) -> Result<Frame, Problems> {
        if self.grid_limits.nodes > 0 {
            self.refined.get_or_init(|| {
                // A body that cannot be solved is told below.
                while let Ok(true) = self.refine_further(frame, media, between) {}
            });
        }
        frame.bodies = self.substructures(media)?;
        Ok(self.with_coarse(frame, media, &|_| true)?)
    }

    /// Refines those bodies whose grids make much of an error that is too large; false where it is not, or none of
    /// them can be refined.
    fn refine_further(
        &self,
        frame: &Frame,
        media: &[Medium],
        between: (Option<usize>, Option<usize>),
    ) -> Result<bool, Problem> {
        let GridLimits { within, nodes } = self.grid_limits;
        let fine = self.with_coarse(frame, media, &|_| false)?;
        let alone: Vec<Frame> = (0..self.bodies.len())
            .map(|number| self.with_coarse(frame, media, &|other| other == number))
            .collect::<Result<_, _>>()?;
        let off: Vec<f64> = apart(false, || {
            let known = figures(&fine, between);
            alone.iter().map(|frame| difference(&known, &figures(frame, between))).collect()
        });
        if off.iter().sum::<f64>() <= within {
            return Ok(false);
        }
        let most = off.iter().copied().fold(0.0, f64::max);
        let much = off.iter().zip(&self.bodies).filter(|(off, _)| **off >= most.min(0.5 * within));
        Ok(much.fold(false, |refined, (_, body)| body.refine(media, nodes) || refined))
    }

    /// `frame` with its bodies on their finest grids, or on those before where `coarse` says so by number.
    fn with_coarse(
        &self,
        frame: &Frame,
        media: &[Medium],
        coarse: &dyn Fn(usize) -> bool,
    ) -> Result<Frame, Problem> {
        let bodies = self.bodies.iter().enumerate();
        let bodies = bodies.map(|(number, body)| body.substructure(media, coarse(number)));
        Ok(Frame { bodies: bodies.collect::<Result<_, _>>()?, ..frame.clone() })
    }
}

/// The lowest frequencies of `frame`, Hz, and its stiffness between tip and work, N/m.
fn figures(frame: &Frame, (tip, work): (Option<usize>, Option<usize>)) -> (Vec<f64>, Option<f64>) {
    let modes = solve(frame, &Asked::default()).map(|found| found.elastic).unwrap_or_default();
    let stiffness = tip.and_then(|tip| Statics::factor(frame).ok()?.stiffness(tip, work).ok());
    let weakest = stiffness.map(|stiffness| stiffness.weakest).filter(|weakest| weakest.is_finite());
    (modes.iter().map(|mode| mode.frequency()).collect(), weakest)
}

/// The largest relative difference between figures.
fn difference(known: &(Vec<f64>, Option<f64>), other: &(Vec<f64>, Option<f64>)) -> f64 {
    let pairs = known.0.iter().zip(&other.0).chain(known.1.iter().zip(&other.1));
    pairs.map(|(known, other)| (other / known - 1.0).abs()).filter(|off| off.is_finite()).fold(0.0, f64::max)
}

/// The design that `text` states, whose bodies stay on their first grids: for tests of what shows there.
#[cfg(test)]
pub(crate) fn on_first_grids(file: &str, text: &str) -> crate::Reading {
    crate::Stated::read(file, text).on_first_grids().resolve(&stillbed_material::Table::built_in())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Design, Model, Stated};
    use stillbed_input::quantity::Draw;
    use stillbed_material::Table;

    /// A bar that stands on a bar, as one body.
    const POST: &str = r#"
        as_bodies = true
        points = { left = "-150, 0, 0 mm", foot = "0, 0, 0 mm", right = "150, 0, 0 mm", top = "0, 0, 120 mm" }
        members.a = { from = "left", to = "foot", section = "rail" }
        members.b = { from = "foot", to = "right", section = "rail" }
        members.c = { from = "foot", to = "top", section = "post" }
        masses.head = { at = "top", mass = "2 kg" }
        anchors.wall = { at = ["left", "right"], hold = "all" }
        tool = { tip = "top", work = "left" }
        [builds.welded]
        sections.rail.parts = [{ rectangle = "60 x 60 mm", of = "structural steel" }]
        sections.post.parts = [{ rectangle = "30 x 30 mm", of = "structural steel" }]
    "#;

    fn solved(limits: GridLimits) -> (Design, Model) {
        let mut stated = Stated::read("t.toml", POST);
        stated.grid_limits = limits;
        let design: Design = stated.resolve(&Table::built_in()).design.unwrap();
        let model = design.builds[0].model(&design.goal, &Draw::default()).unwrap();
        (design, model)
    }

    /// The figures of the post on grids as fine as `limits` has them, and what they are said to hold to.
    fn on_grids(limits: GridLimits) -> (Vec<f64>, f64) {
        let (design, model) = solved(limits);
        let between = (model.tip, model.work);
        let [fine, coarse] = [&model.frame, model.coarse.as_deref().unwrap()].map(|f| figures(f, between));
        let off = difference(&fine, &coarse);
        // A grid that would have more nodes than it may is not solved.
        assert!(!design.builds[0].bodies[0].refine(&model.media, 10));
        (fine.0.into_iter().chain(fine.1).collect(), off)
    }

    #[test]
    fn a_body_is_refined_until_its_figures_hold() {
        let (first, off) = on_grids(GridLimits::FIRST);
        let within = 0.7 * off;
        let (finer, left) = on_grids(GridLimits { within, nodes: 25_000 });
        assert!(off > 1e-4 && left <= within, "{off} {left}");
        // Displacements that are tried in more ways give more: everything becomes softer, by no more than was said.
        for (before, after) in first.iter().zip(&finer) {
            assert!(after < before && before / after - 1.0 < off, "{before} {after} {off}");
        }
    }
}
