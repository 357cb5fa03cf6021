//! Natural frequencies and loss factors of each build: the answer of the command `modes`.
//!
//! # Modes followed across draws
//!
//! Two modes may change places from one draw to another. Modes of a draw are therefore paired one to one with
//! the nominal modes so that the sum of likeness is largest:
//!
//! ```text
//! likeness = (φᵀ M ψ)² / (φᵀ M φ  ψᵀ M ψ)        M and φ nominal, ψ of the draw
//! ```
//!
//! All draws share the nominal subdivision, so that shapes are compared degree of freedom by degree of
//! freedom. A mode whose likeness is below 0.3 counts as not found in that draw.
//!
//! # Source
//! - `allemang1982`: likeness of two shapes
//! - `kuhn1955`: pairing at the largest sum

use super::compare::Directions;
use super::guesses::{Guess, find_guesses};
use super::in_bodies::{BodyEnergy, energy_in_bodies};
use super::judged::judge_targets;
use super::misses::Misses;
use super::partial::answer_solvable;
use super::seats::{SeatFact, seat_facts};
use super::solved::nothing_gives;
use super::spread::{AnswerSpread, Draws, run};
use faer::{Col, Mat};
use serde::Serialize;
use stillbed_design::{Build, Design};
use stillbed_eigen::{Precision, Sparse};
use stillbed_input::document::Uncertain;
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::Draw;
use stillbed_modes::{Asked, BuildModes, ModeDecay, ModesFault, Pole, Series, Spectrum, Stiffness};
use stillbed_tap::assign_at_least_cost;

/// Likeness below which a mode of a draw is not paired with a nominal one.
const ALIKE: f64 = 0.3;

/// Number of modes computed in a draw beyond those asked for, since one of those may have moved up.
const BEYOND: usize = 2;

/// Relative error of a frequency allowed for the subdivision in a draw: any, since the nominal subdivision is
/// kept.
const ANY_ERROR: f64 = 1e9;

/// The answer of `modes`: the modes of every build.
///
/// ```
/// use stillbed_design::{Design, SMALLEST};
/// use stillbed_material::Table;
/// use stillbed_study::modes::Modes;
/// use stillbed_study::spread::Draws;
///
/// let design = Design::read("bar.toml", SMALLEST, &Table::built_in()).design.unwrap();
/// let modes = Modes::compute(&design, 2, &Draws::NONE, |_, _| ()).unwrap();
/// // The first mode of a cantilever: 1.8751^2 / (2 pi) sqrt(E I / (rho A L^4)), less a thousandth for
/// // shear.
/// let first = modes.builds[0].modes.modes[0].frequency_hz;
/// assert!((first / 92.17 - 1.0).abs() < 1.5e-3);
/// ```
#[derive(Debug, Clone, Serialize)]
pub struct Modes {
    /// Amplitude of motion at which losses are taken, m; left out where no loss is stated over amplitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_m: Option<f64>,
    /// Number of draws behind the spreads.
    pub draws: usize,
    /// In the order of the design.
    pub builds: Vec<ModesWithSpread>,
    /// Warnings.
    pub notes: Vec<Problem>,
    /// Missed targets of mass and first frequency.
    pub misses: Misses,
    /// Values stated without a spread, which took the usual spread of their class.
    pub guesses: Vec<Guess>,
    /// Joints and feet that follow from their laws.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub joints: Vec<SeatFact>,
}

/// The modes of one build.
#[derive(Debug, Clone, Serialize)]
pub struct ModesWithSpread {
    /// At the nominal values.
    #[serde(flatten)]
    pub modes: BuildModes,
    /// Static stiffness between tip and work; `None` without a tool.
    pub stiffness_n_per_m: Option<Directions>,
    /// Relative error that the cells of bodies may have left in its weakest direction; `None` without bodies.
    pub stiffness_error: Option<f64>,
    /// Where in its bodies the energy of its modes sits, and of what gives between tip and work.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub energy_in_bodies: Vec<BodyEnergy>,
    /// The spreads of its modes; `None` without draws.
    pub spread: Option<ModesSpread>,
}

/// The spreads of the modes of one build.
#[derive(Debug, Clone, Serialize)]
pub struct ModesSpread {
    /// Total mass.
    pub mass_kg: Option<AnswerSpread>,
    /// Static stiffness between tip and work in the weakest direction of each draw.
    pub stiffness_n_per_m: Option<AnswerSpread>,
    /// By nominal mode.
    pub modes: Vec<ModeSpread>,
    /// The one measurement that would narrow the spread of the first mode's loss factor most.
    pub advice: Option<String>,
}

/// The spreads of one mode.
#[derive(Debug, Clone, Serialize)]
pub struct ModeSpread {
    /// Share of the draws in which a mode of its shape was found.
    pub followed: f64,
    /// Frequency of the damped mode.
    pub frequency_hz: Option<AnswerSpread>,
    /// Loss factor from the complex eigenproblem.
    pub loss_factor_exact: Option<AnswerSpread>,
    /// Time until a tenth of the amplitude is left.
    pub time_to_10pct_s: Option<AnswerSpread>,
}

/// One build at one draw.
struct Drawn {
    mass: f64,
    stiffness: Option<Stiffness>,
    /// By nominal mode; `None` where it was not found.
    modes: Vec<Option<Pole>>,
}

/// A build at the nominal values, to which the modes of draws are compared.
struct Stated {
    series: Series,
    /// M φ / sqrt(φᵀ M φ), one mode per column.
    weighed: Mat<f64>,
    mass: Sparse,
}

impl Modes {
    /// The lowest `count` elastic modes of every build of `design`; `progress` receives the number of draws
    /// done and the total.
    ///
    /// # Errors
    /// What keeps a build from having modes, at its place.
    pub fn compute(
        design: &Design,
        count: usize,
        draws: &Draws,
        progress: impl Fn(usize, usize) + Sync,
    ) -> Result<Modes, Problems> {
        let answer = |design: &Design| Modes::of_all(design, count, draws, &progress);
        answer_solvable(design, answer, |design| Modes::of_all(design, count, &Draws::NONE, |_, _| ()))
    }

    fn of_all(
        design: &Design,
        count: usize,
        draws: &Draws,
        progress: impl Fn(usize, usize) + Sync,
    ) -> Result<Modes, Problems> {
        let asked = Asked { count, ..Asked::default() };
        let (mut builds, mut stated) = (Vec::new(), Vec::new());
        let mut notes = design.notes.clone();
        for build in &design.builds {
            let (own, known) = at_stated_values(design, build, &asked)?;
            notes.extend(own.modes.notes.iter().cloned());
            notes.extend(nothing_gives(design, build, own.stiffness_n_per_m.is_some()));
            builds.push(own);
            stated.push(known);
        }
        let drawn = draws.sample(&design.uncertain);
        let total = drawn.len();
        let one = |draw: &Draw| -> Vec<Option<Drawn>> {
            let builds = design.builds.iter().zip(&stated);
            builds.map(|(build, stated)| at_draw(design, build, stated, draw, count)).collect()
        };
        let answers = run(&drawn, one, |done| progress(done, total));
        for (number, build) in builds.iter_mut().enumerate().filter(|_| total > 0) {
            let own: Vec<Option<&Drawn>> = answers.iter().map(|row| row[number].as_ref()).collect();
            build.spread = Some(ModesSpread::of(build, &own, &design.uncertain, &drawn));
        }
        Ok(Modes {
            amplitude_m: design.goal.amplitude,
            draws: total,
            builds,
            notes,
            misses: judge_targets(design)?,
            guesses: find_guesses(design),
            joints: seat_facts(design),
        })
    }
}

fn at_stated_values(
    design: &Design,
    build: &Build,
    asked: &Asked,
) -> Result<(ModesWithSpread, Stated), Problems> {
    let at_fault = |fault: ModesFault| build.problems(&fault);
    let model = build.model(&design.goal, &Draw::default())?;
    let spectrum = build.spectrum(&model, asked).map_err(at_fault)?;
    let mut modes = BuildModes::compute(&build.name, &model.frame, &spectrum).map_err(at_fault)?;
    modes.judge(&model.frame, &spectrum, &build.proportions(&model));
    let shapes = spectrum.elastic.iter().enumerate();
    let shapes: Vec<_> = shapes.map(|(number, mode)| (Some(number + 1), mode.shape.as_slice())).collect();
    let mut in_bodies = energy_in_bodies(build, &model, &spectrum.layout, &shapes)?;
    let mut stiffness = None;
    if let Some(tip) = model.tip {
        let unsolved = |fault| at_fault(ModesFault::Eigen(fault));
        let statics = build.statics(&model).map_err(at_fault)?;
        let found = statics.stiffness(tip, model.work).map_err(unsolved)?;
        if !build.bodies.is_empty() && found.weakest.is_finite() {
            let motion = statics.pushed(tip, model.work, found.direction).map_err(unsolved)?;
            in_bodies.extend(energy_in_bodies(build, &model, &statics.layout, &[(None, motion.column(0))])?);
        }
        stiffness = Some(found);
    }
    let stiffness_error = stiffness.and_then(|k| model.stiffness_error(k.weakest));
    let directions = stiffness.and_then(|k| Directions::exact(k.along, k.weakest));
    let more = Asked { count: spectrum.elastic.len() + BEYOND, tolerance: ANY_ERROR, ..Asked::default() };
    let series = Series::about(&spectrum, &more).map_err(|e| at_fault(ModesFault::Eigen(e)))?;
    let known = Stated::of(&spectrum, series);
    let stated = ModesWithSpread {
        modes,
        stiffness_n_per_m: directions,
        stiffness_error,
        energy_in_bodies: in_bodies,
        spread: None,
    };
    Ok((stated, known))
}

fn at_draw(design: &Design, build: &Build, stated: &Stated, draw: &Draw, count: usize) -> Option<Drawn> {
    let model = build.model(&design.goal, draw).ok()?;
    let more = stated.series.solve_frame(&model.frame, f64::INFINITY).ok().flatten();
    let spectrum = match more {
        Some(spectrum) => spectrum,
        // A small frame may not have so many modes in this subdivision; ask for fewer.
        None => {
            let pieces = stated.series.layout.pieces.clone();
            let same = |spectrum: &Spectrum| spectrum.layout.pieces == stated.series.layout.pieces;
            let asked = Asked { count, tolerance: ANY_ERROR, pieces, ..Asked::default() };
            build.spectrum(&model, &asked).ok().filter(same)?
        }
    };
    let poles = spectrum.poles(Precision::DRAW).ok()?;
    let own = |place: Option<usize>| Some(poles[place?]);
    let modes = stated.places(&spectrum).into_iter().map(own).collect();
    let stiffness = match model.tip {
        Some(tip) => Some(build.statics(&model).ok()?.stiffness(tip, model.work).ok()?),
        None => None,
    };
    Some(Drawn { mass: model.mass(), stiffness, modes })
}

impl Stated {
    fn of(spectrum: &Spectrum, series: Series) -> Stated {
        let mass = spectrum.matrices.mass.clone();
        let mut weighed = Mat::zeros(mass.size(), spectrum.elastic.len());
        for (j, mode) in spectrum.elastic.iter().enumerate() {
            let (product, size) = weigh(&mass, &mode.shape);
            weighed.col_mut(j).copy_from(product * faer::Scale(1.0 / size));
        }
        Stated { series, weighed, mass }
    }

    /// By nominal mode: the index of its partner among the elastic modes of `spectrum`.
    fn places(&self, spectrum: &Spectrum) -> Vec<Option<usize>> {
        let count = spectrum.elastic.len();
        let mut likeness = Mat::<f64>::zeros(count, self.weighed.ncols());
        for (j, mode) in spectrum.elastic.iter().enumerate() {
            let size = weigh(&self.mass, &mode.shape).1;
            let shape = Col::from_fn(mode.shape.len(), |i| mode.shape[i] / size);
            for i in 0..self.weighed.ncols() {
                likeness[(j, i)] = (shape.transpose() * self.weighed.col(i)).powi(2);
            }
        }
        assign_at_least_cost(self.weighed.ncols(), count, |i, j| 1.0 - likeness[(j, i)], 1.0 - ALIKE)
    }
}

/// M φ and sqrt(φᵀ M φ).
fn weigh(mass: &Sparse, shape: &[f64]) -> (Col<f64>, f64) {
    let shape = Col::from_fn(shape.len(), |i| shape[i]);
    let product = mass.as_faer() * &shape;
    let size = (shape.transpose() * &product).max(f64::MIN_POSITIVE).sqrt();
    (product, size)
}

impl ModesSpread {
    fn of(
        build: &ModesWithSpread,
        drawn: &[Option<&Drawn>],
        uncertain: &[Uncertain],
        draws: &[Draw],
    ) -> ModesSpread {
        let answered = |value: Option<f64>, read: &dyn Fn(&Drawn) -> Option<f64>| {
            let answers: Vec<Option<f64>> = drawn.iter().map(|one| read((*one)?)).collect();
            AnswerSpread::new(value?, &answers, uncertain, draws)
        };
        let mode = |(i, mode): (usize, &stillbed_modes::ModeAnswer)| {
            let found = drawn.iter().filter(|one| one.is_some_and(|one| one.modes[i].is_some())).count();
            ModeSpread {
                followed: found as f64 / drawn.len().max(1) as f64,
                frequency_hz: answered(Some(mode.frequency_hz), &|one| Some(one.modes[i]?.frequency_hz)),
                loss_factor_exact: answered(Some(mode.loss_factor_exact), &|one| {
                    Some(one.modes[i]?.loss_factor)
                }),
                time_to_10pct_s: answered(mode.time_to_10pct_s, &|one| {
                    let pole = one.modes[i]?;
                    Some(ModeDecay::of(pole.frequency_hz, pole.loss_factor)?.time_to_10pct_s)
                }),
            }
        };
        let modes: Vec<ModeSpread> = build.modes.modes.iter().enumerate().map(mode).collect();
        let weakest = build.stiffness_n_per_m.as_ref().map(|k| k.weakest.value);
        let first_loss = modes.first().and_then(|mode| mode.loss_factor_exact.as_ref());
        ModesSpread {
            mass_kg: answered(Some(build.modes.mass_kg), &|one| Some(one.mass)),
            stiffness_n_per_m: answered(weakest, &|one| one.stiffness.map(|k| k.weakest)),
            advice: first_loss.and_then(|loss| loss.advice("the loss factor of mode 1")),
            modes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use crate::sample::cantilever;
    use stillbed_frame::Frame;

    use stillbed_modes::solve;

    /// A shift at the low modes loses the high modes of finely subdivided members to rounding.
    #[test]
    fn two_hundred_modes_of_a_bar_are_found() {
        let design = design(stillbed_design::SMALLEST);
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let spectrum = build.spectrum(&model, &Asked { count: 200, ..Asked::default() }).unwrap();
        assert_eq!(spectrum.elastic.len(), 200);
        assert!(spectrum.pairs.counted_below >= 200);
        // Modes along the bar, 300 mm long and clamped at one end: odd multiples of c / 4 L.
        let section = &model.frame.sections[0];
        let speed = (section.stiffness[(0, 0)].re / section.mass[(0, 0)]).sqrt();
        let along = |k: usize| (2 * k + 1) as f64 * speed / (4.0 * 0.3);
        for k in 0..10 {
            let nearest = spectrum.elastic.iter().map(|mode| (mode.frequency() / along(k) - 1.0).abs());
            assert!(nearest.fold(f64::INFINITY, f64::min) < 2e-3, "{k}");
        }
        let lowest = spectrum.elastic[0].frequency();
        let few = build.spectrum(&model, &Asked { count: 3, tolerance: 1e-5, ..Asked::default() }).unwrap();
        assert!((lowest / few.elastic[0].frequency() - 1.0).abs() < 1e-5, "{lowest}");
    }

    /// Four legs that run into each other at the top, so many modes lie close together.
    const TOWER: &str = r#"
[points]
top = "0, 0, 661 mm"
east = "114, 0, 0 mm"
north = "0, 114, 0 mm"
west = "-114, 0, 0 mm"
south = "0, -114, 0 mm"
[members]
e = { from = "east", to = "top", section = "leg" }
n = { from = "north", to = "top", section = "leg" }
w = { from = "west", to = "top", section = "leg" }
s = { from = "south", to = "top", section = "leg" }
[anchors.bench]
at = ["east", "north", "west", "south"]
hold = "all"
[builds.only]
sections.leg.parts = [{ tube = "25 x 22 x 1.1 mm", of = "brass" }]
"#;

    #[test]
    fn the_number_of_modes_moves_no_frequency_of_members_that_run_into_each_other() {
        let design = design(TOWER);
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        assert!(!model.frame.members.iter().all(|member| member.displaced.is_empty()));
        let of = |count| build.spectrum(&model, &Asked { count, ..Asked::default() }).unwrap();
        let few = of(6);
        for many in (20..=200).step_by(20).map(of) {
            for (a, b) in few.elastic.iter().zip(&many.elastic) {
                let off = (a.frequency() / b.frequency() - 1.0).abs();
                assert!(off < a.frequency_error + b.frequency_error + 1e-6, "{off:e}");
            }
        }
    }

    /// An arm whose bending stiffnesses about y and z are multiplied by `y` and `z`.
    fn arm(y: f64, z: f64) -> Frame {
        let mut frame = cantilever();
        frame.sections[0].stiffness[(4, 4)] *= y;
        frame.sections[0].stiffness[(5, 5)] *= z;
        frame
    }

    fn spectrum(frame: &Frame, count: usize) -> Spectrum {
        solve(frame, &Asked { count, tolerance: ANY_ERROR, pieces: vec![8], ..Asked::default() }).unwrap()
    }

    fn known(stated: &Spectrum) -> Stated {
        Stated::of(stated, Series::about(stated, &Asked::default()).unwrap())
    }

    #[test]
    fn modes_that_change_places_are_followed_by_their_shape() {
        let stated = spectrum(&arm(1.0, 1.2), 4);
        let known = known(&stated);
        let same = spectrum(&arm(1.0, 1.2), 6);
        assert_eq!(known.places(&same), [Some(0), Some(1), Some(2), Some(3)]);
        let crossed = spectrum(&arm(1.2, 1.0), 6);
        assert_eq!(known.places(&crossed), [Some(1), Some(0), Some(3), Some(2)]);
        assert_eq!(crossed.layout.pieces, stated.layout.pieces);
    }

    #[test]
    fn a_mode_that_is_not_there_is_not_found() {
        let stated = spectrum(&arm(1.0, 1.2), 4);
        let known = known(&stated);
        // Two modes do not reach the plane of the first and third nominal modes.
        let other = spectrum(&arm(400.0, 1.2), 2);
        assert_eq!(known.places(&other), [None, Some(0), None, Some(1)]);
    }

    #[test]
    fn the_starter_has_spreads_around_what_is_stated() {
        let design = design(stillbed_design::STARTER);
        let answer = Modes::compute(&design, 3, &Draws { count: 12, seed: 2 }, |_, _| ()).unwrap();
        for build in &answer.builds {
            let spread = build.spread.as_ref().unwrap();
            assert_eq!(spread.modes.len(), 3);
            for (mode, stated) in spread.modes.iter().zip(&build.modes.modes) {
                let found = mode.frequency_hz.as_ref().unwrap();
                assert!(found.spread.low < found.spread.high && mode.followed > 0.5);
                assert_eq!(found.spread.value, stated.frequency_hz);
            }
        }
        assert!(Modes::compute(&design, 3, &Draws::NONE, |_, _| ()).unwrap().builds[0].spread.is_none());
    }
}
