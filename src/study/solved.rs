//! A build solved at one draw, and the measures that follow from it.

use super::measures::{Figures, TheoryErrors};
use std::f64::consts::TAU;
use std::sync::OnceLock;
use stillbed_design::{Build, Design, Goal, Model};
use stillbed_eigen::{Damped, EigenFault, Precision, Vectors};
use stillbed_frame::{Energies, Energy, Frame};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Draw, GRAVITY};
use stillbed_modes::{
    Asked, Elastic, EnergyShares, Footing, ModesFault, Pole, Spectrum, Statics, Theory, bodies,
};
use stillbed_response::modal::ModalModel;
use stillbed_response::peak::{Peak, weakest_peak};
use stillbed_response::settle::{FreeDecay, SettleWithErrors};
use stillbed_response::stations::{Station, modal_model, modes_at};

/// True where `point` is on one body with any of `others`, or `others` is empty.
pub(super) fn meets(frame: &Frame, point: usize, others: impl Iterator<Item = usize>) -> bool {
    let mut others = others.peekable();
    let bodies = bodies(frame);
    others.peek().is_none() || others.any(|other| bodies.iter().any(|body| body[point] && body[other]))
}

/// Peak and settle time of a solved build, with their errors.
#[derive(Debug, Clone, PartialEq)]
pub struct PeakAndSettle {
    /// The highest peak of compliance between tip and work, or along the path.
    pub peak: Option<Peak>,
    /// When the motion after the tap has settled.
    pub settle: Option<SettleWithErrors>,
}

impl PeakAndSettle {
    /// Largest relative error of the figures from modes above the computed ones.
    pub(super) fn relative_error(&self) -> f64 {
        let quiet = self.settle.map_or(0.0, |settled| match settled.settle.time {
            _ if settled.left_out == 0.0 => 0.0,
            Some(time) if time > 0.0 => settled.left_out / time,
            _ => f64::INFINITY,
        });
        self.peak.map_or(quiet, |peak| peak.stiffness_error.max(quiet))
    }
}

/// A build solved at one draw.
pub struct Solved<'m> {
    /// The model solved.
    pub model: &'m Model,
    /// Its undamped modes.
    pub spectrum: Spectrum,
    /// The answer of [`Solved::on_feet`], once it is known.
    standing: OnceLock<Vec<bool>>,
    /// The lowest of its damped modes; `None` where nothing has loss.
    pub damped: Option<Damped>,
    /// Its static equations, factorised.
    pub statics: Statics<'m>,
    /// Its modes and residual flexibility as the stations see them.
    pub modal: ModalModel,
    /// Stations: tip relative to work along x, y, z where there is a tool, then the tap where there is one,
    /// then those asked for.
    pub stations: Vec<Station>,
    /// Number of stations that tip and work take.
    pub tool_stations: usize,
    /// Number of the first station asked for.
    pub asked_stations: usize,
    /// Peak and settle time with their errors, where as many modes were computed as these need.
    pub reached: Option<PeakAndSettle>,
}

impl<'m> Solved<'m> {
    /// Solves `model` of `build` for `asked` modes, seen at the stations of `goal` and at `more`. This serves
    /// lists of modes and comparisons of many candidates; for a converged answer use [`Solved::converge`].
    ///
    /// # Errors
    /// A mechanism, or what stopped the solution.
    pub fn solve(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        asked: &Asked,
        more: &[Station],
    ) -> Result<Solved<'m>, ModesFault> {
        Solved::solve_seen(build, goal, model, asked, Some(more))
    }

    /// The same with the residual flexibility for `more` stations, or without it.
    pub(super) fn solve_seen(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        asked: &Asked,
        more: Option<&[Station]>,
    ) -> Result<Solved<'m>, ModesFault> {
        let spectrum = build.spectrum(model, asked)?;
        let statics = build.statics(model)?;
        let damped = spectrum.damped(Precision::FULL)?;
        Solved::from_modes(build, goal, model, (spectrum, damped), statics, more)
    }

    /// The same from modes, damped modes and statics that are already computed. Without `more`, the residual
    /// flexibility is left out; the highest peak needs it, a decay does not.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn from_modes(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        (spectrum, damped): (Spectrum, Option<Damped>),
        statics: Statics<'m>,
        more: Option<&[Station]>,
    ) -> Result<Solved<'m>, ModesFault> {
        let mut stations: Vec<Station> =
            model.tip.map(|tip| Station::axes(tip, model.work)).into_iter().flatten().collect();
        let tool_stations = stations.len();
        if let Some(tap) = &goal.tap
            && let Some(point) = build.drawing.points.position(&tap.at.value)
        {
            // Its effect on a body that it does not touch would be rounding alone: there it pushes nothing.
            let watched = [model.tip, model.work].into_iter().flatten();
            let along = if meets(&model.frame, point, watched) { tap.along } else { [0.0; 3] };
            stations.push(Station::at(point, along));
        }
        let asked_stations = stations.len();
        stations.extend(more.into_iter().flatten());
        let rest = more.map(|_| &statics);
        let modal = modal_model(&model.frame, &spectrum, damped.as_ref(), rest, &stations);
        let modal = modal.map_err(ModesFault::Eigen)?;
        let (standing, reached) = (OnceLock::new(), None);
        Ok(Solved {
            model,
            spectrum,
            standing,
            damped,
            statics,
            modal,
            stations,
            tool_stations,
            asked_stations,
            reached,
        })
    }

    /// By elastic mode: true when the base moves as a rigid body on its feet.
    pub fn on_feet(&self) -> &[bool] {
        self.standing.get_or_init(|| self.spectrum.on_feet(&self.model.frame))
    }

    /// Updates what the stations see after the modes have changed; the static compliance stays.
    ///
    /// # Errors
    /// Modes that do not fit.
    pub(super) fn refresh_stations(&mut self) -> Result<(), ModesFault> {
        let modes = modes_at(&self.model.frame, &self.spectrum, self.damped.as_ref(), &self.stations);
        let unfit = |reason| ModesFault::Eigen(EigenFault::Unfit { reason });
        self.modal = self.modal.rest_on(modes).map_err(unfit)?;
        self.standing = OnceLock::new();
        Ok(())
    }

    /// The measures.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn figures(&self, build: &Build, goal: &Goal) -> Result<Figures, ModesFault> {
        self.figures_with(build, goal, true)
    }

    /// Relative error of the first frequency of the structure that the subdivision may have left.
    pub fn frequency_error(&self) -> Option<f64> {
        let first = self.on_feet().iter().position(|on_feet| !on_feet)?;
        let mode = self.modal.modes().get(self.rigid_modes() + first)?;
        let pole = Pole { frequency_hz: mode.omega / TAU, loss_factor: mode.loss_factor };
        self.spectrum.frequency_error(&self.model.frame, first, &pole)
    }

    /// Relative error of the static stiffness between tip and work in its weakest direction that the cells of bodies
    /// may have left: how far a coarser grid differs. `None` without bodies, and where nothing gives.
    pub fn stiffness_error(&self) -> Option<f64> {
        let own = self.statics.stiffness(self.model.tip?, self.model.work).ok()?;
        self.model.stiffness_error(own.weakest)
    }

    /// The measures, with or without those of the highest peak, which take longest.
    ///
    /// # Errors
    /// Those of [`Solved::figures`].
    pub fn figures_with(&self, build: &Build, goal: &Goal, peak: bool) -> Result<Figures, ModesFault> {
        let modes = self.modal.modes();
        let rigid = self.rigid_modes();
        let first = self.on_feet().iter().position(|on_feet| !on_feet).map(|first| rigid + first);
        let on_feet = modes[rigid..].iter().zip(self.on_feet()).filter(|(_, on_feet)| **on_feet);
        let limits = |found: Option<[f64; 2]>, f: f64| {
            Some(found.map_or([f, f], |[low, high]| [low.min(f), high.max(f)]))
        };
        let mut figures = Figures {
            mass: self.model.mass(),
            cost: self.model.cost(build),
            first_frequency: first.and_then(|first| Some(modes.get(first)?.omega / TAU)),
            on_feet: on_feet.map(|(mode, _)| mode.omega / TAU).fold(None, limits),
            mode: first,
            ..Figures::default()
        };
        if let Some(tip) = self.model.tip {
            let stiffness = self.statics.stiffness(tip, self.model.work).map_err(ModesFault::Eigen)?;
            figures.stiffness = Some(stiffness.along);
            figures.weakest = Some(stiffness.weakest);
            figures.weakest_direction = Some(stiffness.direction);
            // What cannot move statically does not move at any frequency.
            figures.dynamic_stiffness = stiffness.weakest.is_infinite().then_some(f64::INFINITY);
            let found = match &self.reached {
                Some(reached) => reached.peak,
                None => peak.then(|| weakest_peak(&self.modal, [0, 1, 2])).flatten(),
            };
            if let Some(peak) = found {
                figures.dynamic_stiffness = peak.dynamic_stiffness_n_per_m.or(figures.dynamic_stiffness);
                let error = |k: f64| k * peak.stiffness_error;
                figures.dynamic_stiffness_error =
                    self.reached.as_ref().and(peak.dynamic_stiffness_n_per_m).map(error);
                figures.peak_frequency = Some(peak.frequency_hz);
                figures.mode = self.nearest_mode(peak.frequency_hz).or(figures.mode);
            }
            let settled = match &self.reached {
                Some(reached) => reached.settle.map(|settled| (settled.settle, Some(settled.error()))),
                None => {
                    let settle = self.decay(goal).zip(goal.tap.as_ref());
                    settle.map(|(decay, tap)| (decay.settle(tap.settle_to), None))
                }
            };
            if let Some((settle, error)) = settled {
                figures.settle_time = settle.time;
                figures.settle_time_error = settle.time.and(error);
                figures.mode = settle.mode.or(figures.mode);
            }
        }
        figures.loss_factor = figures.mode.and_then(|mode| Some(modes.get(mode)?.loss_factor));
        Ok(figures)
    }

    /// Number of rigid-body modes; they come first among those that the stations see.
    pub(super) fn rigid_modes(&self) -> usize {
        self.modal.modes().iter().filter(|mode| mode.is_rigid()).count()
    }

    /// Takes the kinds of modes, on the feet or not, from the nominal values, by mode number. Frequencies in
    /// ascending order change continuously from draw to draw, so that no mode changes its kind abruptly;
    /// where two modes exchange their places, their frequencies are equal.
    pub fn take_kinds(&mut self, stated: &[bool]) {
        let own = |i: usize| stated.get(i).copied().unwrap_or(false);
        self.standing = OnceLock::from((0..self.spectrum.elastic.len()).map(own).collect::<Vec<bool>>());
    }

    /// Stiffness between tip and work of the structure alone, N/m, in its weakest direction. `None` unless
    /// the work is on the ground; only then does the stiffness contain the feet.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn structure_stiffness(&self) -> Result<Option<f64>, ModesFault> {
        let (Some(tip), None) = (self.model.tip, self.model.work) else { return Ok(None) };
        let own = self.statics.stiffness_of_structure(tip, None).map_err(ModesFault::Eigen)?;
        Ok(own.map(|own| own.weakest))
    }

    /// The elastic mode nearest to `frequency`, Hz.
    pub(super) fn nearest_mode(&self, frequency: f64) -> Option<usize> {
        let distance = |omega: f64| (omega / TAU - frequency).abs();
        let elastic = self.modal.modes().iter().enumerate().filter(|(_, mode)| !mode.is_rigid());
        elastic.min_by(|(_, a), (_, b)| distance(a.omega).total_cmp(&distance(b.omega))).map(|(i, _)| i)
    }

    /// The observed stations: tip relative to work, or the struck point where there is no tool.
    pub fn watched(&self) -> Vec<usize> {
        if self.tool_stations > 0 { (0..self.tool_stations).collect() } else { vec![0] }
    }

    /// The motion of the observed stations after the tap of `goal`; `None` without a tap.
    pub fn decay(&self, goal: &Goal) -> Option<FreeDecay> {
        let tap = goal.tap.as_ref().filter(|_| self.asked_stations > self.tool_stations)?;
        let blow = tap.blow(self.model.impulse);
        Some(FreeDecay::after_blow(&self.modal, self.tool_stations, &self.watched(), blow))
    }

    /// The modes as `stations` see them.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn modal_at(&self, stations: &[Station]) -> Result<ModalModel, ModesFault> {
        let damped = self.damped.as_ref();
        let seen = modal_model(&self.model.frame, &self.spectrum, damped, Some(&self.statics), stations);
        seen.map_err(ModesFault::Eigen)
    }

    /// The deciding modes, as numbers among those that the stations see: the last to ring after the tap, and
    /// that of the highest peak.
    pub fn deciding(&self) -> Vec<usize> {
        let reached = self.reached.as_ref();
        let last = reached.and_then(|reached| reached.settle?.settle.mode);
        let highest =
            reached.and_then(|reached| reached.peak).and_then(|peak| self.nearest_mode(peak.frequency_hz));
        last.into_iter().chain(highest).collect()
    }

    /// The deciding mode of `figures`, where it is elastic.
    pub fn elastic(&self, figures: &Figures) -> Option<&Elastic> {
        self.spectrum.elastic.get(figures.mode?.checked_sub(self.rigid_modes())?)
    }

    /// Shares of the compliance between tip and work along `direction`: of skeleton, fill, joints and feet,
    /// then of every member, joint and foot.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn gives_way(&self, direction: [f64; 3]) -> Result<Option<EnergyShares>, ModesFault> {
        Ok(self.give(direction)?.map(|energy| EnergyShares::of(&self.model.frame, &energy)))
    }

    /// The strain energy under a unit force between tip and work along `direction`; `None` without a tool or
    /// where nothing moves.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn give(&self, direction: [f64; 3]) -> Result<Option<Energy>, ModesFault> {
        let Some(tip) = self.model.tip else {
            return Ok(None);
        };
        let layout = &self.statics.layout;
        let motion = self.statics.pushed(tip, self.model.work, direction).map_err(ModesFault::Eigen)?;
        let energies = Energies::new(&self.model.frame, layout).ok_or(ModesFault::Frame(Vec::new()))?;
        Ok(energies.strain(&[motion.column(0)]).pop().filter(|energy| energy.total() > 0.0))
    }

    /// Relative errors from beam theory in the first frequency of the structure, and in the stiffness between
    /// tip and work in `direction`, if one is given.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn theory(&self, build: &Build, direction: Option<[f64; 3]>) -> Result<TheoryErrors, ModesFault> {
        let frame = &self.model.frame;
        if frame.members.is_empty() {
            return Ok(TheoryErrors::default());
        }
        let proportions = build.proportions(self.model);
        let none = || ModesFault::Frame(Vec::new());
        let energies = Energies::new(frame, &self.spectrum.layout).ok_or_else(none)?;
        let first = self.spectrum.elastic.iter().zip(self.on_feet()).find(|(_, on_feet)| !**on_feet);
        let first = first.map(|(mode, _)| mode);
        let frequency = first.map(|mode| Theory::new(frame, energies, &proportions).of_mode(mode));
        let mut stiffness = None;
        if let (Some([x, y, z]), Some(tip)) = (direction, self.model.tip) {
            let layout = &self.statics.layout;
            let along = nalgebra::Vector6::new(x, y, z, 0.0, 0.0, 0.0);
            let load = layout.between(tip, self.model.work, &along);
            let load = Vectors::single(&load);
            let motion = self.statics.solve(&load).map_err(ModesFault::Eigen)?;
            let energies = Energies::new(frame, layout).ok_or_else(none)?;
            stiffness = Some(Theory::new(frame, energies, &proportions).of_load(motion.column(0)));
        }
        Ok(TheoryErrors { frequency, stiffness })
    }

    /// Displacements under the base's own weight; `None` for a floating base.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn sag(&self) -> Result<Option<SelfWeight>, ModesFault> {
        if self.statics.free_motions().next().is_some() {
            return Ok(None);
        }
        let (frame, layout) = (&self.model.frame, &self.statics.layout);
        let down = nalgebra::Vector6::z() * -GRAVITY;
        let load = layout.inertia_load(frame, &down, &nalgebra::Vector3::zeros());
        let load = load.ok_or(ModesFault::Range)?;
        let load = Vectors::single(&load);
        let moved = self.statics.solve(&load).map_err(ModesFault::Eigen)?;
        let moved = moved.column(0);
        let footing = Footing::new(frame, layout);
        let own = footing.as_ref().map_or(moved.to_vec(), |footing| footing.own(moved));
        let at = |point: usize| self.statics.point(point, &own).fixed_rows::<3>(0).into_owned();
        let against = || self.model.work.map_or(nalgebra::Vector3::zeros(), at);
        Ok(Some(SelfWeight {
            sag: self.model.tip.map(|tip| (at(tip) - against()).norm()),
            on_feet: footing.zip(frame.rigid_body()).map(|(own, body)| -own.motion(moved, &body.centre).z),
        }))
    }
}

/// Displacements of a base under its own weight, m.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SelfWeight {
    /// Sag of the tip relative to the work, in axes that follow the base on its feet; `None` without a tool.
    pub sag: Option<f64>,
    /// How far the base sinks as a rigid body on its feet, at its centre of gravity; `None` where it stands
    /// on no compliant feet.
    pub on_feet: Option<f64>,
}

/// The measures of `build` at `draw`, with its sections scaled by `scale`.
///
/// # Errors
/// What is wrong with it, at its place.
pub fn measure(
    build: &Build,
    goal: &Goal,
    draw: &Draw,
    scale: f64,
    asked: &Asked,
) -> Result<Figures, Problems> {
    let model = build.scaled_model(goal, draw, scale)?;
    let solved = Solved::solve(build, goal, &model, asked, &[]);
    solved.and_then(|solved| solved.figures(build, goal)).map_err(|fault| build.problems(&fault))
}

/// Warns that tip and work cannot move apart, where there is a tool but no `stiffness` was found.
pub fn nothing_gives(design: &Design, build: &Build, stiffness: bool) -> Option<Problem> {
    let tool = design.goal.tool.as_ref().filter(|_| !stiffness)?;
    let message = format!(
        "nothing gives way between {} and {}: anchors or feet take up all at both, and no stiffness is stated",
        tool.tip.value, tool.work.value
    );
    let help = "name a tip that can move, or hold it less";
    Some(
        Problem::warning(build.place.clone(), format!("build \"{}\": {message}", build.name)).with_help(help),
    )
}
