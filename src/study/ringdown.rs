//! Decay of the motion of each build after a tap: the answer of the command `ringdown`.
//!
//! Losses stated over amplitude are taken at one amplitude for the whole decay: that of the design, or else
//! the smallest stated, at which the end of a decay takes place. The settle time with the losses at the
//! largest motion is given too; the true one lies between the two.

use super::misses::Misses;
use super::nominal::Nominal;
use super::partial::answer_solvable;
use super::solved::Solved;
use super::spread::rank::percentiles;
use super::spread::{AnswerSpread, Draws, run};
use serde::Serialize;
use stillbed_design::{Build, Design, Goal, Tap};
use stillbed_input::document::Uncertain;
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::Draw;
use stillbed_modes::ModesFault;
use stillbed_response::ringdown::{RingDown, Tapped, Times};
use stillbed_response::settle::FreeDecay;
use stillbed_response::sound::{Sound, sound};

/// Approximate number of instants at which the envelopes of all draws are compared.
const INSTANTS: usize = 200;

/// Options of a ring-down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingDownOptions {
    /// Length of the curves, s; `None` lasts until the motion has settled.
    pub duration: Option<f64>,
    /// Draws of the uncertain values.
    pub draws: Draws,
}

/// The answer of `ringdown`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RingDowns {
    /// The struck point and the observed motion in words.
    pub path: String,
    /// Impulse of the tap, N s.
    pub impulse_n_s: f64,
    /// Duration of the tap, s, from time 0; 0 is an ideal impulse.
    pub tap_duration_s: f64,
    /// Amplitude below which the motion counts as settled, m.
    pub settle_to_m: f64,
    /// Amplitude of motion at which losses are taken, m; left out where no loss is stated over amplitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_m: Option<f64>,
    /// Number of draws behind the spreads.
    pub draws: usize,
    /// In the order of the design.
    pub builds: Vec<BuildRingDown>,
    /// Missed targets of the settle time.
    pub misses: Misses,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// The decay of one build after the tap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BuildRingDown {
    /// Key of the build.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// Motion, envelope, energy and times.
    #[serde(flatten)]
    pub motion: RingDown,
    /// Settle time with the losses at the largest motion, s; left out where no loss depends on amplitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settle_time_at_start_s: Option<f64>,
    /// The spread of the decay; `None` without draws.
    pub spread: Option<RingDownSpread>,
}

/// The spread of the decay of one build.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RingDownSpread {
    /// Largest value of the envelope.
    pub largest_m: Option<AnswerSpread>,
    /// Time until the envelope stays below a tenth of the largest value.
    pub time_to_10pct_s: Option<AnswerSpread>,
    /// Time until it stays below a hundredth.
    pub time_to_1pct_s: Option<AnswerSpread>,
    /// Time until it stays below the stated amplitude.
    pub settle_time_s: Option<AnswerSpread>,
    /// The spread of the envelope over time.
    pub band: Band,
    /// The one measurement that would narrow the spread of the settle time most.
    pub advice: Option<String>,
}

/// The 5, 50 and 95 % points of an envelope, instant by instant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Band {
    /// The band has every `every`-th instant of the curve.
    pub every: usize,
    /// Envelope with 5 % of the draws below, m.
    pub envelope_low_m: Vec<f64>,
    /// Envelope with half of the draws below, m.
    pub envelope_median_m: Vec<f64>,
    /// Envelope with 5 % of the draws above, m.
    pub envelope_high_m: Vec<f64>,
}

/// One build at one draw.
struct Drawn {
    times: Times,
    envelope: Vec<f64>,
}

impl RingDowns {
    /// Computes the decay of every build of `design` after its tap; `progress` receives the number of draws
    /// done and the total.
    ///
    /// # Errors
    /// What is wrong with the design, at its place.
    pub fn compute(
        design: &Design,
        options: &RingDownOptions,
        progress: impl Fn(usize, usize) + Sync,
    ) -> Result<RingDowns, Problems> {
        let trial = RingDownOptions { draws: Draws::NONE, ..*options };
        let answer = |design: &Design| of_all(design, options, &progress);
        answer_solvable(design, answer, |design| of_all(design, &trial, |_, _| ()))
    }
}

fn of_all(
    design: &Design,
    options: &RingDownOptions,
    progress: impl Fn(usize, usize) + Sync,
) -> Result<RingDowns, Problems> {
    let tap = tap_of(design)?;
    let (mut builds, mut known, mut doubts) = (Vec::new(), Vec::new(), Vec::new());
    let mut misses = Misses::new(&design.goal.targets);
    tapped(design, |build, solved| {
        let asked = Tapped {
            struck: solved.tool_stations,
            observed: solved.watched(),
            blow: tap.blow(solved.model.impulse),
            settle_to: tap.settle_to,
            duration: options.duration,
        };
        let figures = solved.figures(build, &design.goal).map_err(|fault| build.problems(&fault))?;
        misses.judge(&build.name, |measure| Some(figures.get(measure)));
        known.push(Nominal::of(solved));
        doubts.extend(solved.doubts(build, &design.goal));
        builds.push(BuildRingDown {
            name: build.name.clone(),
            label: build.label.clone(),
            motion: RingDown::compute(&solved.modal, &asked),
            settle_time_at_start_s: None,
            spread: None,
        });
        Ok(())
    })?;
    let at_fault =
        |(build, known): (&Build, Result<Nominal, ModesFault>)| known.map_err(|f| build.problems(&f));
    let known: Vec<Nominal> = design.builds.iter().zip(known).map(at_fault).collect::<Result<_, _>>()?;
    if design.goal.amplitude.is_some() {
        for ((build, own), known) in design.builds.iter().zip(&mut builds).zip(&known) {
            let goal = Goal { amplitude: Some(own.motion.largest_m), ..design.goal.clone() };
            let decay = decay(build, &goal, &Draw::default(), known);
            own.settle_time_at_start_s = decay.and_then(|decay| decay.settle(tap.settle_to).time);
        }
    }
    let drawn = options.draws.sample(&design.uncertain);
    let total = drawn.len();
    let one = |draw: &Draw| -> Vec<Option<Drawn>> {
        let of = |((build, own), known): ((&Build, &BuildRingDown), &Nominal)| {
            let decay = decay(build, &design.goal, draw, known)?;
            let times = own.motion.time_s.iter().step_by(every(&own.motion));
            let envelope = times.map(|time| decay.envelope(*time)).collect();
            Some(Drawn { times: Times::measure(&decay, decay.settle(tap.settle_to)), envelope })
        };
        design.builds.iter().zip(&builds).zip(&known).map(of).collect()
    };
    let answers = run(&drawn, one, |done| progress(done, total));
    for (number, build) in builds.iter_mut().enumerate().filter(|_| total > 0) {
        let own: Vec<Option<&Drawn>> = answers.iter().map(|row| row[number].as_ref()).collect();
        build.spread = Some(RingDownSpread::of(build, &own, &design.uncertain, &drawn));
    }
    let watched = match &design.goal.tool {
        Some(tool) => format!("{} against {}", tool.tip.value, tool.work.value),
        None => tap.at.value.clone(),
    };
    let path = format!("{} struck, {watched} watched", tap.at.value);
    let (settle_to_m, amplitude_m) = (tap.settle_to, design.goal.amplitude);
    let notes = design.notes.iter().cloned().chain(doubts).collect();
    Ok(RingDowns {
        path,
        impulse_n_s: tap.impulse.value,
        tap_duration_s: tap.duration,
        settle_to_m,
        amplitude_m,
        draws: total,
        builds,
        misses,
        notes,
    })
}

/// The step, in instants of the curve, at which the band of `motion` is computed.
fn every(motion: &RingDown) -> usize {
    motion.time_s.len().div_ceil(INSTANTS).max(1)
}

/// The decay of `build` at `draw`; `None` when it cannot be solved.
fn decay(build: &Build, goal: &Goal, draw: &Draw, known: &Nominal) -> Option<FreeDecay> {
    let model = build.model(goal, draw).ok()?;
    // While a tap lasts, the residual flexibility shows in the motion.
    let lasting = goal.tap.as_ref().is_some_and(|tap| tap.duration > 0.0);
    let solved = known.solved(build, goal, &model, lasting.then_some(&[])).ok()?;
    solved.decay(goal)
}

impl RingDownSpread {
    fn of(
        build: &BuildRingDown,
        drawn: &[Option<&Drawn>],
        uncertain: &[Uncertain],
        draws: &[Draw],
    ) -> RingDownSpread {
        let motion = &build.motion;
        let answered = |value: Option<f64>, read: &dyn Fn(&Times) -> f64| {
            let answers: Vec<Option<f64>> = drawn.iter().map(|one| Some(read(&(*one)?.times))).collect();
            AnswerSpread::new(value?, &answers, uncertain, draws)
        };
        // A motion that never settles counts as settling last.
        let time = |time: Option<f64>| time.unwrap_or(f64::INFINITY);
        let settle_time_s = answered(motion.settle_time_s, &|t| time(t.settle.time));
        let advice = settle_time_s
            .as_ref()
            .and_then(|settle| settle.advice(&format!("the settle time of {}", build.label)));
        RingDownSpread {
            largest_m: answered(Some(motion.largest_m), &|t| t.largest),
            time_to_10pct_s: answered(motion.time_to_10pct_s, &|t| time(t.to_tenth)),
            time_to_1pct_s: answered(motion.time_to_1pct_s, &|t| time(t.to_hundredth)),
            settle_time_s,
            band: Band::of(every(motion), motion.time_s.len(), drawn),
            advice,
        }
    }
}

impl Band {
    fn of(every: usize, instants: usize, drawn: &[Option<&Drawn>]) -> Band {
        let at = |i: usize| {
            let values: Vec<Option<f64>> = drawn.iter().map(|one| (*one)?.envelope.get(i).copied()).collect();
            percentiles(&values)
        };
        let points: Vec<_> = (0..instants.div_ceil(every)).map(at).collect();
        let line = |read: fn(&super::spread::rank::Percentiles) -> Option<f64>| {
            points.iter().filter_map(read).collect()
        };
        Band {
            every,
            envelope_low_m: line(|p| p.low),
            envelope_median_m: line(|p| p.median),
            envelope_high_m: line(|p| p.high),
        }
    }

    /// The 5, 50 and 95 % points at instant `i` of the curve, if the band has that instant.
    #[must_use]
    pub fn at(&self, i: usize) -> Option<[f64; 3]> {
        let place = i.is_multiple_of(self.every).then_some(i / self.every)?;
        let read = |line: &Vec<f64>| line.get(place).copied();
        Some([read(&self.envelope_low_m)?, read(&self.envelope_median_m)?, read(&self.envelope_high_m)?])
    }
}

/// Computes the sound of the builds of `design` tapped one after the other.
///
/// # Errors
/// What is wrong with the design, at its place, or that nothing moves.
pub fn compute_sound(design: &Design) -> Result<Sound, Problems> {
    let tap = tap_of(design)?;
    let mut taps = Vec::new();
    tapped(design, |_, solved| {
        let Some(decay) = solved.decay(&design.goal) else { return Ok(()) };
        let station = decay.largest_station(decay.free_from());
        taps.push((decay, station));
        Ok(())
    })?;
    sound(&taps).map_err(|message| Problems::from(Problem::error(tap.place.clone(), message)))
}

fn tap_of(design: &Design) -> Result<&Tap, Problems> {
    design.goal.tap.as_ref().ok_or_else(|| {
        let problem = Problem::error(Place::file(&design.file), "the design has no tap");
        problem.with_help("add [tap] with at, along and impulse").into()
    })
}

/// Solves every build at nominal values and hands it to `visit`.
fn tapped(
    design: &Design,
    mut visit: impl FnMut(&Build, &Solved) -> Result<(), Problems>,
) -> Result<(), Problems> {
    for build in &design.builds {
        let model = build.model(&design.goal, &Draw::default())?;
        let solved =
            Solved::converge(build, &design.goal, &model, None).map_err(|fault| build.problems(&fault))?;
        visit(build, &solved)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;

    fn options(draws: Draws) -> RingDownOptions {
        RingDownOptions { duration: Some(0.3), draws }
    }

    #[test]
    fn keys_of_the_ring_down_are_as_promised() {
        let answer =
            RingDowns::compute(&design(stillbed_design::STARTER), &options(Draws::NONE), |_, _| ()).unwrap();
        let json = serde_json::to_value(answer).unwrap();
        let found = &json["builds"][0];
        let lengths = ["time_s", "motion_m"].map(|key| found[key].as_array().unwrap().len());
        assert!(lengths[0] == lengths[1] && lengths[0] > 50);
        assert!(found["settle_time_s"].is_number() && found["spread"].is_null());
        assert!(json.get("amplitude_m").is_none() && found.get("settle_time_at_start_s").is_none());
    }

    #[test]
    fn the_band_of_the_draws_holds_the_stated_envelope() {
        let draws = Draws { count: 24, seed: 1 };
        let answer =
            RingDowns::compute(&design(stillbed_design::STARTER), &options(draws), |_, _| ()).unwrap();
        let build = &answer.builds[0];
        let spread = build.spread.as_ref().unwrap();
        let settle = spread.settle_time_s.as_ref().unwrap().spread;
        assert!(settle.low < settle.value && settle.value < settle.high);
        let instants = build.motion.time_s.len();
        let bands: Vec<[f64; 3]> = (0..instants).filter_map(|i| spread.band.at(i)).collect();
        assert_eq!(bands.len(), instants.div_ceil(spread.band.every));
        assert!(bands.iter().all(|[low, median, high]| low <= median && median <= high));
        assert_eq!(spread.band.at(instants + 10 * spread.band.every), None);
    }

    #[test]
    fn a_loss_that_grows_with_amplitude_settles_sooner_at_the_start() {
        let text = stillbed_design::STARTER.replace(
            "loss = { value = 0.15, low = 0.1, high = 0.25 }",
            "loss = [\"0.05 at 0.1 um\", \"0.3 at 100 um\"]",
        );
        let mut design = design(&text);
        assert_eq!(design.goal.amplitude, Some(1e-7));
        let solve = |design: &Design| RingDowns::compute(design, &options(Draws::NONE), |_, _| ()).unwrap();
        let small = solve(&design);
        let (quiet, start) =
            (small.builds[0].motion.settle_time_s.unwrap(), small.builds[0].settle_time_at_start_s.unwrap());
        assert!(start < 0.9 * quiet, "{start} {quiet}");
        design.take_losses_at(1e-4, Place::default());
        let large = solve(&design).builds[0].motion.settle_time_s.unwrap();
        assert!(large < quiet, "{large} {quiet}");
        assert!(design.notes.iter().all(|note| !note.message.contains("amplitude")), "{:?}", design.notes);
    }
}
