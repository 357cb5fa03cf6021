//! Solves a build with as many modes as its measures need.
//!
//! Modes are added until the modes above could change the settle time ([`SettleWithErrors::error`]) and the
//! dynamic stiffness ([`Peak::stiffness_error`](stillbed_response::peak::Peak)) by no more than the relative
//! error `ENOUGH`. The modes above are represented by a few lumped modes as seen by tip, work and tap. The
//! deciding mode is then a computed one, and so is its loss. At `MOST` modes, or earlier where the trend of
//! the error says that `MOST` would not do, the answer stands and states its error: without loss no number of
//! modes is enough, and an ideal impulse excites modes that no hammer reaches.
//!
//! The subdivision of the members is chosen for the frequencies; the motion of points in a mode is only as
//! accurate as the square root of the frequency error. Where a deciding mode is too much in error, the
//! members are subdivided once more.
//!
//! The largest motion after an ideal impulse is not required to converge: the envelope of a bar struck along
//! its axis grows with the logarithm of the number of modes. A ring-down states its error.
//!
//! Only the lowest modes get complex shapes (`Precision::ANSWER`); those above take their loss from strain
//! energy.

use super::measures::Figures;
use super::solved::{PeakAndSettle, Solved};
use std::f64::consts::TAU;
use stillbed_design::{Build, Goal, Model};
use stillbed_eigen::{Damped, Precision};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Draw, Kind, figures, show};
use stillbed_modes::{Asked, ModesFault, Spectrum};
use stillbed_response::peak::{weakest_peak, worst_peak};
use stillbed_response::settle::{Settle, SettleWithErrors};
use stillbed_response::stations::{Station, left_out};

/// Relative error at which a figure counts as converged.
pub const ENOUGH: f64 = 0.01;

/// Number of modes computed first.
const FEWEST: usize = 14;

/// Largest number of modes.
const MOST: usize = 120;

/// Number of modes from which the trend of the error is trusted to say whether `MOST` modes are enough.
const TREND: usize = 25;

/// Factor by which the number of modes grows at each step.
const GROWTH: f64 = 1.4;

/// Relative error of a frequency allowed for the subdivision of the members.
const USUAL: f64 = 1e-3;

/// Excess of ω² of a deciding mode (its relative error before correction) above which the members are
/// subdivided further. By trial on random portals: figures were off by up to 1.5 % at 5e-3, and by less than
/// 1 % from 2e-3 down.
const COARSE: f64 = 1e-3;

/// A curve needs the modes up to this multiple of its highest frequency.
const BEYOND: f64 = 1.2;

/// True when the error is extrapolated to more than `2 ENOUGH` at `MOST` modes, as without loss or after an
/// ideal impulse. `before` and `now` are numbers of modes with their errors; the error follows a power of the
/// number.
fn is_out_of_reach(before: (usize, f64), now: (usize, f64)) -> bool {
    let ratio = |from: usize, to: usize| to as f64 / from as f64;
    let power = (now.1 / before.1).ln() / ratio(before.0, now.0).ln();
    let at_most = now.1 * ratio(now.0, MOST).powf(power);
    now.1 > ENOUGH && (at_most.is_nan() || at_most > 2.0 * ENOUGH)
}

impl<'m> Solved<'m> {
    /// Solves `model` of `build` with as many modes as settle time and dynamic stiffness need. Without a
    /// tool, the highest peak is that of the motion at the second station of `path` under a force at the
    /// first.
    ///
    /// # Errors
    /// A mechanism, or what stopped the solution.
    pub fn converge(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        path: Option<&[Station; 2]>,
    ) -> Result<Solved<'m>, ModesFault> {
        Solved::converge_from(build, goal, model, path, FEWEST)
    }

    /// The same, beginning with `fewest` modes.
    ///
    /// # Errors
    /// As [`Solved::converge`].
    pub(super) fn converge_from(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        path: Option<&[Station; 2]>,
        fewest: usize,
    ) -> Result<Solved<'m>, ModesFault> {
        let path = path.filter(|_| model.tip.is_none()).map_or(&[][..], |path| path);
        let asked = Asked { count: fewest, tolerance: USUAL, ..Asked::default() };
        let spectrum = build.spectrum(model, &asked)?;
        let mut solved =
            Solved::from_modes(build, goal, model, (spectrum, None), build.statics(model)?, Some(path))?;
        solved.reach(goal)?;
        // Losses from strain energy tell cheaply how many modes are needed; complex modes then confirm it.
        let mut hopeful = solved.grow(build, goal, None)?;
        solved.damped = solved.spectrum.damped(Precision::ANSWER)?;
        if solved.damped.is_some() {
            solved.refresh(goal)?;
            hopeful = hopeful && solved.grow(build, goal, Some(Precision::ANSWER))?;
        }
        let count = solved.spectrum.elastic.len();
        if hopeful
            && solved.off() <= ENOUGH
            && solved.is_coarse()
            && let tolerance = Asked::tolerance_of(COARSE)
            && let Ok(found) =
                beyond(build, model, (count, tolerance), &solved.spectrum, Some(Precision::ANSWER))
        {
            (solved.spectrum, solved.damped) = found;
            solved.refresh(goal)?;
        }
        Ok(solved)
    }

    /// Adds modes until the figures converge; false where no number of modes is enough. The modes are damped
    /// to a `precision`, or take the loss of their strain energy.
    fn grow(&mut self, build: &Build, goal: &Goal, precision: Option<Precision>) -> Result<bool, ModesFault> {
        let mut count = self.spectrum.elastic.len();
        while count < MOST && self.off() > ENOUGH {
            let before = (count, self.off());
            count = more(count);
            let Ok(found) = beyond(build, self.model, (count, USUAL), &self.spectrum, precision) else {
                return Ok(false);
            };
            (self.spectrum, self.damped) = found;
            self.refresh(goal)?;
            if count >= TREND && is_out_of_reach(before, (count, self.off())) {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Updates what the stations see after the modes have changed, and the figures that follow from it.
    fn refresh(&mut self, goal: &Goal) -> Result<(), ModesFault> {
        self.refresh_stations()?;
        self.reach(goal)
    }

    /// Largest relative error of the figures; 0 before any is known.
    fn off(&self) -> f64 {
        self.reached.as_ref().map_or(0.0, PeakAndSettle::relative_error)
    }

    /// True where the subdivision is too coarse for a deciding mode.
    fn is_coarse(&self) -> bool {
        let excess = |mode: usize| self.spectrum.excess(mode.checked_sub(self.rigid_modes())?);
        self.deciding().into_iter().filter_map(excess).any(|excess| excess > COARSE)
    }

    /// Finds what the computed modes leave out, then the peak and the settle time.
    fn reach(&mut self, goal: &Goal) -> Result<(), ModesFault> {
        let lumps = left_out(&self.model.frame, &self.spectrum, &self.stations).map_err(ModesFault::Eigen)?;
        self.modal = self.modal.clone().with_left_out(lumps);
        let settle = self
            .decay(goal)
            .zip(goal.tap.as_ref())
            .map(|(decay, tap)| decay.settle_with_errors(tap.settle_to));
        let path = self.asked_stations;
        let peak = match self.tool_stations {
            0 if self.stations.len() > path + 1 => worst_peak(&self.modal, path + 1, path),
            0 => None,
            _ => weakest_peak(&self.modal, [0, 1, 2]),
        };
        self.reached = Some(PeakAndSettle { peak, settle });
        Ok(())
    }

    /// Modes up to at least `BEYOND` times `frequency`, Hz, and at most `MOST` of them; `None` where the
    /// computed modes reach so far already.
    ///
    /// # Errors
    /// What stopped the solution.
    pub fn up_to(
        &self,
        build: &Build,
        frequency: f64,
    ) -> Result<Option<(Spectrum, Option<Damped>)>, ModesFault> {
        let short =
            |modes: &Spectrum| modes.elastic.last().is_some_and(|m| m.frequency() < BEYOND * frequency);
        let mut count = self.spectrum.elastic.len();
        let mut found: Option<Spectrum> = None;
        while count < MOST && short(found.as_ref().unwrap_or(&self.spectrum)) {
            count = more(count);
            let known = found.as_ref().unwrap_or(&self.spectrum);
            match beyond(build, self.model, (count, USUAL), known, None) {
                Ok((next, _)) => found = Some(next),
                Err(_) => break,
            }
        }
        let damped = |spectrum: Spectrum| {
            let damped = spectrum.damped(Precision::ANSWER)?;
            Ok((spectrum, damped))
        };
        found.map(damped).transpose()
    }

    /// Warnings about figures that are not converged to `ENOUGH`, with their errors.
    pub fn doubts(&self, build: &Build, goal: &Goal) -> Vec<Problem> {
        let Some(reached) = &self.reached else { return Vec::new() };
        let last = self.modal.modes().iter().map(|mode| mode.omega / TAU).fold(0.0, f64::max);
        let rests = format!(
            "it rests on {} modes, up to {}, and those above may count",
            self.spectrum.elastic.len(),
            show(last, Kind::Frequency)
        );
        let mut doubts = Vec::new();
        let mut doubt = |message: String, help: &str| {
            doubts.push(Problem::warning(build.place.clone(), message).with_help(help));
        };
        if let Some(settled @ SettleWithErrors { settle: Settle { time: Some(time), .. }, left_out, .. }) =
            reached.settle
            && settled.error() > ENOUGH * time
        {
            let off = match settled.error().is_finite() {
                true => format!("be off by {}", show(settled.error(), Kind::Time)),
                false => "never come, without loss".to_string(),
            };
            let ideal = goal.tap.as_ref().is_none_or(|tap| tap.duration <= 0.0);
            let (why, help) = match (left_out > ENOUGH * time, ideal) {
                (false, _) => (
                    "a thousandth more or less of motion moves it so far, where modes beat",
                    "ask for another settle_to in [tap] beside it",
                ),
                (true, true) => (
                    rests.as_str(),
                    "an ideal impulse rings what no hammer reaches: add duration = \"1 ms\" to [tap]",
                ),
                (true, false) => (rests.as_str(), "a longer tap, or losses of all that is sharp, would tell"),
            };
            doubt(format!("the settle time of \"{}\" may {off}: {why}", build.name), help);
        }
        if let Some(peak) = reached.peak.filter(|peak| peak.stiffness_error > ENOUGH) {
            let off = figures(100.0 * peak.stiffness_error, 2);
            let message =
                format!("the dynamic stiffness of \"{}\" may be off by {off} %: {rests}", build.name);
            doubt(message, "losses of all that is sharp would tell");
        }
        doubts
    }
}

/// The measures of `build` at nominal values, with as many modes as they need.
///
/// # Errors
/// What is wrong with it, at its place.
pub fn measure_converged(build: &Build, goal: &Goal) -> Result<Figures, Problems> {
    let model = build.model(goal, &Draw::default())?;
    let solved = Solved::converge(build, goal, &model, None);
    solved.and_then(|solved| solved.figures(build, goal)).map_err(|fault| build.problems(&fault))
}

/// The next number of modes.
fn more(count: usize) -> usize {
    ((count as f64 * GROWTH).ceil() as usize).min(MOST)
}

/// The lowest `count` modes of `model`, with frequencies to `tolerance`, starting from the fewer that are
/// `known`; with a `precision`, damped modes too.
fn beyond(
    build: &Build,
    model: &Model,
    (count, tolerance): (usize, f64),
    known: &Spectrum,
    precision: Option<Precision>,
) -> Result<(Spectrum, Option<Damped>), ModesFault> {
    let asked = Asked { count, tolerance, ..Asked::default() };
    let spectrum = build.spectrum_beyond(model, &asked, known)?;
    let damped = precision.map(|precision| spectrum.damped(precision)).transpose()?.flatten();
    Ok((spectrum, damped))
}

#[cfg(test)]
mod tests {
    use super::super::compare::{Comparison, Options};
    use super::super::response::{Response, ResponseOptions};
    use super::super::ringdown::{RingDownOptions, RingDowns};
    use super::super::spread::Draws;
    use super::*;
    use proptest::prelude::*;
    use stillbed_design::Design;
    use stillbed_input::quantity::Draw;

    const MILL: &str = include_str!("../../examples/gantry-mill.toml");
    const STAND: &str = include_str!("../../examples/roundness-stand.toml");

    /// A design with some of its builds, and with a tap of the duration `lasting`, s.
    fn design(text: &str, builds: &[&str], lasting: f64) -> Design {
        let mut design = crate::design_sample::design(text);
        design.builds.retain(|build| builds.contains(&build.name.as_str()));
        design.goal.tap.as_mut().unwrap().duration = lasting;
        design
    }

    /// The figures of each build of `design`, beginning with `fewest` modes.
    fn figures_from(design: &Design, fewest: usize) -> Vec<Figures> {
        let goal = &design.goal;
        let of = |build: &Build| {
            let model = build.model(goal, &Draw::default()).unwrap();
            let solved = Solved::converge_from(build, goal, &model, None, fewest).unwrap();
            solved.figures(build, goal).unwrap()
        };
        design.builds.iter().map(of).collect()
    }

    /// Fails where two answers about one build differ by more than 1 % plus the errors that they state.
    fn alike(a: &Figures, b: &Figures) -> Result<(), String> {
        let pairs = [
            ("settle time", a.settle_time, b.settle_time, a.settle_time_error, b.settle_time_error),
            (
                "dynamic stiffness",
                a.dynamic_stiffness,
                b.dynamic_stiffness,
                a.dynamic_stiffness_error,
                b.dynamic_stiffness_error,
            ),
        ];
        for (what, one, other, error, further) in pairs {
            let (Some(one), Some(other)) = (one, other) else {
                return Err(format!("no {what}: {a:?} {b:?}"));
            };
            let allowed = ENOUGH * one.max(other) + error.unwrap_or(0.0) + further.unwrap_or(0.0);
            if (one - other).abs() > allowed {
                return Err(format!("{what}: {one} and {other}, stated {error:?} and {further:?}"));
            }
        }
        Ok(())
    }

    #[test]
    fn a_trend_says_what_no_number_of_modes_reaches() {
        // The error halves when the number of modes doubles: from 0.04 at 30 to 0.01 at 120; from 0.16 to
        // 0.04.
        assert!(!is_out_of_reach((15, 0.08), (30, 0.04)));
        assert!(is_out_of_reach((15, 0.32), (30, 0.16)));
        assert!(is_out_of_reach((15, 0.3), (30, 0.4)));
        assert!(is_out_of_reach((15, f64::INFINITY), (30, f64::INFINITY)));
        assert!(!is_out_of_reach((15, 1.0), (30, 0.01)));
    }

    #[test]
    fn the_starter_has_one_answer() {
        for lasting in [0.0, 1e-3] {
            let design = design(stillbed_design::STARTER, &["welded", "cast"], lasting);
            let [few, many] = [6, 60].map(|fewest| figures_from(&design, fewest));
            few.iter().zip(&many).for_each(|(a, b)| alike(a, b).unwrap());
            if lasting > 0.0 {
                let wide = few.iter().find(|f| f.settle_time_error > f.settle_time.map(|t| ENOUGH * t));
                assert!(wide.is_none(), "{wide:?}");
            }
        }
    }

    #[test]
    fn the_mill_has_one_answer() {
        let design = design(MILL, &["welded", "cast"], 1e-3);
        let [few, many] = [6, 40].map(|fewest| figures_from(&design, fewest));
        few.iter().zip(&many).for_each(|(a, b)| alike(a, b).unwrap());
    }

    #[test]
    fn every_section_says_the_same_of_the_granite_stand() {
        let design = design(STAND, &["granite"], 1e-3);
        let options = Options { draws: 0, ..Options::default() };
        let compared = &Comparison::compute(&design, &options, |_, _| ()).unwrap().builds[0];
        let asked = ResponseOptions { range: None, path: None, floor: None };
        let response = &Response::compute(&design, &asked).unwrap().builds[0];
        let asked = RingDownOptions { duration: Some(0.1), draws: Draws::NONE };
        let rung = &RingDowns::compute(&design, &asked, |_, _| ()).unwrap().builds[0].motion;
        let dynamic = compared.dynamic_stiffness_n_per_m.map(|k| k.value);
        assert_eq!(dynamic, response.dynamic_stiffness_n_per_m);
        assert_eq!(compared.dynamic_stiffness_error_n_per_m, response.dynamic_stiffness_error_n_per_m);
        assert_eq!(compared.settle_time_s.map(|t| t.value), rung.settle_time_s);
        assert_eq!(compared.settle_time_error_s, rung.settle_time_error_s);
        assert_eq!(compared.loss_factor.map(|l| l.value), rung.deciding_loss_factor);
        // A curve up to a higher frequency does not change the figures that follow from the modes.
        let asked = ResponseOptions { range: Some((10.0, 4000.0)), path: None, floor: None };
        let far = &Response::compute(&design, &asked).unwrap().builds[0];
        assert_eq!(far.dynamic_stiffness_n_per_m, dynamic);
        let [near_end, far_end] = [response, far].map(|r| *r.curve.frequency_hz.last().unwrap());
        assert!(far.curve.peaks.len() > response.curve.peaks.len() || far_end <= near_end);
        alike(&figures_from(&design, 6)[0], &figures_from(&design, 40)[0]).unwrap();
    }

    #[test]
    fn without_loss_the_answer_says_what_it_does_not_know() {
        let text = stillbed_design::STARTER
            .replace("loss = { value = 0.15, low = 0.1, high = 0.25 }", "loss = 0.0000001")
            .replace("[targets]", "[materials.\"structural steel\"]\nloss_factor = 0.0000001\n\n[targets]");
        let design = design(&text, &["welded"], 0.0);
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let solved = Solved::converge(build, &design.goal, &model, None).unwrap();
        assert!(solved.spectrum.elastic.len() <= MOST);
        let holds = solved.reached.as_ref().unwrap().relative_error() <= ENOUGH;
        assert_eq!(holds, solved.doubts(build, &design.goal).is_empty());
        alike(&figures_from(&design, 6)[0], &figures_from(&design, 40)[0]).unwrap();
    }

    /// A portal on feet, with a tool hanging from its beam.
    fn portal(sizes: &[f64], feet: f64, losses: [f64; 2], lasting: f64) -> String {
        let [width, height, hang, tube, wall, carried] = [0, 1, 2, 3, 4, 5].map(|i| sizes[i]);
        format!(
            "[points]\na = \"0, 0, 0 mm\"\nb = \"{width}, 0, 0 mm\"\nc = \"0, 0, {height} mm\"\n\
             d = \"{width}, 40, {height} mm\"\nm = \"{}, 10, {height} mm\"\nt = \"{}, 10, {} mm\"\n\
             [members.left]\nfrom = \"a\"\nto = \"c\"\nsection = \"post\"\n\
             [members.right]\nfrom = \"b\"\nto = \"d\"\nsection = \"post\"\n\
             [members.one]\nfrom = \"c\"\nto = \"m\"\nsection = \"post\"\n\
             [members.two]\nfrom = \"m\"\nto = \"d\"\nsection = \"post\"\n\
             [members.sill]\nfrom = \"a\"\nto = \"b\"\nsection = \"post\"\n\
             [members.tool]\nfrom = \"m\"\nto = \"t\"\nsection = \"quill\"\n\
             [masses.head]\nat = \"m\"\nmass = \"{carried} kg\"\n\
             [feet.all]\nat = [\"a\", \"b\"]\nstiffness = \"{feet}, {feet}, {feet} N/um\"\n\
             turning = \"9, 9, 9 kN m/rad\"\nloss = {}\n\
             [tool]\ntip = \"t\"\nwork = \"a\"\n\
             [tap]\nat = \"t\"\nalong = \"1, 0.3, 0\"\nimpulse = \"0.1 N s\"\nduration = \"{lasting} ms\"\n\
             settle_to = \"0.3 um\"\n\
             [materials.bar]\nyoungs_modulus = \"120 GPa\"\npoissons_ratio = 0.27\n\
             density = \"7200 kg/m3\"\nloss_factor = {}\n\
             [builds.one]\nsections.post.parts = [{{ tube = \"{tube} x {tube} x {wall} mm\", of = \"bar\" }}]\n\
             sections.quill.parts = [{{ round = \"30 mm\", of = \"bar\" }}]\n",
            0.4 * width,
            0.4 * width,
            height - hang,
            losses[0],
            losses[1],
        )
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(12))]

        #[test]
        fn any_number_of_modes_to_begin_with_gives_one_answer(
            sizes in (
                300.0..900.0f64, 250.0..700.0f64, 60.0..200.0f64, 40.0..100.0f64, 3.0..6.0f64, 1.0..12.0f64,
            ),
            feet in 0.5..60.0f64,
            losses in (-2.0..-0.5f64, -3.0..-1.3f64),
            lasting in prop::sample::select(vec![0.0, 0.3, 1.0, 3.0]),
        ) {
            let (width, height, hang, tube, wall, carried) = sizes;
            let losses = [10f64.powf(losses.0), 10f64.powf(losses.1)];
            let text = portal(&[width, height, hang, tube, wall, carried], feet, losses, lasting);
            let design = design(&text, &["one"], 1e-3 * lasting);
            let all: Vec<Figures> = [6, 11, 23, 60].iter().map(|n| figures_from(&design, *n).remove(0)).collect();
            for other in &all[1..] {
                let fault = alike(&all[0], other);
                prop_assert!(fault.is_ok(), "{}", fault.unwrap_err());
            }
        }
    }
}
