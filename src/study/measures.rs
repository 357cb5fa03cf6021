//! What one build is worth at one draw: the measures by which builds are compared.

use crate::design::{Build, Design, Goal, Measure, Model, Target};
use crate::frame::Energies;
use crate::modes::{Asked, Damped, ModesFault, Precision, Shares, Spectrum, Statics};
use crate::problem::Problem;
use crate::quantity::Draw;
use crate::response::modal::ModalModel;
use crate::response::peak::weakest_peak;
use crate::response::settle::Decay;
use crate::response::stations::{Station, modal_model};
use faer::Mat;
use serde::Serialize;

/// What one build is worth at one draw.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figures {
    /// kg.
    pub mass: f64,
    /// In the currency of the prices.
    pub cost: Option<f64>,
    /// First elastic frequency, Hz.
    pub first_frequency: Option<f64>,
    /// Static stiffness between tip and work along x, y and z, N/m; infinite where nothing gives way.
    pub stiffness: Option<[f64; 3]>,
    /// The same in the weakest direction, N/m; infinite where tip and work are held in all.
    pub weakest: Option<f64>,
    /// That direction.
    pub weakest_direction: Option<[f64; 3]>,
    /// Dynamic stiffness at the worst peak between tip and work, N/m; infinite where both are held.
    pub dynamic_stiffness: Option<f64>,
    /// Hz of that peak.
    pub peak_frequency: Option<f64>,
    /// Loss factor of the mode that decides: the last to settle, else the worst peak's, else the first.
    pub loss_factor: Option<f64>,
    /// Until the motion between tip and work stays below the stated amplitude, s; `None` when it never does.
    pub settle_time: Option<f64>,
    /// How far the tip moves from the work for one kelvin everywhere, m/K; only where it is asked for.
    pub drift: Option<f64>,
}

impl Figures {
    /// The figure of `measure`, SI.
    pub fn get(&self, measure: Measure) -> Option<f64> {
        match measure {
            Measure::FirstFrequency => self.first_frequency,
            Measure::Stiffness => self.weakest,
            Measure::DynamicStiffness => self.dynamic_stiffness,
            Measure::Mass => Some(self.mass),
            Measure::SettleTime => self.settle_time,
            Measure::Cost => self.cost,
            Measure::LossFactor => self.loss_factor,
        }
    }
}

/// A build solved at one draw.
pub struct Solved<'m> {
    /// Its model.
    pub model: &'m Model,
    /// Its modes.
    pub spectrum: Spectrum,
    /// Its frame ready to be loaded.
    pub statics: Statics<'m>,
    /// What its stations see.
    pub modal: ModalModel,
    /// Stations: tip against work along x, y, z where there is a tool, then the tap where there is
    /// one, then those asked for.
    pub stations: Vec<Station>,
    /// How many stations tip and work take.
    pub tool_stations: usize,
    /// Where the stations asked for begin.
    pub asked_stations: usize,
}

impl<'m> Solved<'m> {
    /// Solves `model` of `build` for `asked` modes, seen at the stations of `goal` and at `more`.
    ///
    /// # Errors
    /// A mechanism, or what stopped the solution.
    pub fn new(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        asked: &Asked,
        more: &[Station],
    ) -> Result<Solved<'m>, ModesFault> {
        Solved::seen(build, goal, model, asked, Some(more))
    }

    /// The same with the static rest for `more` stations, or without it.
    pub(super) fn seen(
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        asked: &Asked,
        more: Option<&[Station]>,
    ) -> Result<Solved<'m>, ModesFault> {
        let spectrum = build.spectrum(model, asked)?;
        let statics = build.statics(model)?;
        let damped = spectrum.damped(Precision::FULL)?;
        Solved::of(build, goal, model, (spectrum, damped), statics, more)
    }

    /// The same from modes, damped ones too where there is loss, and statics that are at hand.
    /// Without `more` stations the static rest of the modes is left out, which the worst peak
    /// needs and a decay does not.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn of(
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
            stations.push(Station::at(point, tap.along));
        }
        let asked_stations = stations.len();
        stations.extend(more.into_iter().flatten());
        let rest = more.map(|_| &statics);
        let modal = modal_model(&model.frame, &spectrum, damped.as_ref(), rest, &stations);
        let modal = modal.map_err(ModesFault::Eigen)?;
        Ok(Solved { model, spectrum, statics, modal, stations, tool_stations, asked_stations })
    }

    /// Its measures.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn figures(&self, build: &Build, goal: &Goal) -> Result<Figures, ModesFault> {
        self.figures_with(build, goal, true)
    }

    /// Its measures, with or without those of the worst peak, which take longest.
    ///
    /// # Errors
    /// As [`Solved::figures`].
    pub fn figures_with(&self, build: &Build, goal: &Goal, peak: bool) -> Result<Figures, ModesFault> {
        let first = self.modal.modes().iter().find(|mode| !mode.is_rigid());
        let mut figures = Figures {
            mass: self.model.mass(),
            cost: self.model.cost(build),
            first_frequency: first.map(|mode| mode.omega / std::f64::consts::TAU),
            loss_factor: first.map(|mode| mode.loss_factor),
            ..Figures::default()
        };
        if let Some(tip) = self.model.tip {
            let stiffness = self.statics.stiffness(tip, self.model.work).map_err(ModesFault::Eigen)?;
            figures.stiffness = Some(stiffness.along);
            figures.weakest = Some(stiffness.weakest);
            figures.weakest_direction = Some(stiffness.direction);
            // What is held does not move at any frequency either.
            figures.dynamic_stiffness = stiffness.weakest.is_infinite().then_some(f64::INFINITY);
            if let Some(peak) = peak.then(|| weakest_peak(&self.modal, [0, 1, 2])).flatten() {
                figures.dynamic_stiffness = peak.dynamic_stiffness_n_per_m.or(figures.dynamic_stiffness);
                figures.peak_frequency = Some(peak.frequency_hz);
                figures.loss_factor = self.nearest_mode(peak.frequency_hz).or(figures.loss_factor);
            }
            if let Some(tap) = &goal.tap {
                let decay = Decay::new(&self.modal, self.tool_stations, &[0, 1, 2], self.model.impulse);
                let settle = decay.settle(tap.settle_to);
                figures.settle_time = settle.time;
                let deciding = settle.mode.and_then(|mode| self.modal.modes().get(mode));
                figures.loss_factor = deciding.map(|mode| mode.loss_factor).or(figures.loss_factor);
            }
        }
        Ok(figures)
    }

    /// Loss factor of the mode nearest to `frequency`, Hz.
    fn nearest_mode(&self, frequency: f64) -> Option<f64> {
        let distance = |omega: f64| (omega / std::f64::consts::TAU - frequency).abs();
        let elastic = self.modal.modes().iter().filter(|mode| !mode.is_rigid());
        elastic.min_by(|a, b| distance(a.omega).total_cmp(&distance(b.omega))).map(|mode| mode.loss_factor)
    }

    /// Who gives way between tip and work in the weakest direction: shares of skeleton, fill,
    /// joints and feet, then of every member, joint and foot.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn gives_way(&self, direction: [f64; 3]) -> Result<Option<Shares>, ModesFault> {
        let Some(tip) = self.model.tip else {
            return Ok(None);
        };
        let [x, y, z] = direction;
        let layout = &self.statics.layout;
        let load = layout.between(tip, self.model.work, &nalgebra::Vector6::new(x, y, z, 0.0, 0.0, 0.0));
        let load = Mat::from_fn(load.len(), 1, |i, _| load[i]);
        let motion = self.statics.solve(load.as_ref()).map_err(ModesFault::Eigen)?;
        let frame = &self.model.frame;
        let energies = Energies::new(frame, layout).ok_or(ModesFault::Frame(Vec::new()))?;
        let strain = energies.strain(&[motion.col_as_slice(0)]);
        let given = strain.first().filter(|energy| energy.total() > 0.0);
        Ok(given.map(|energy| Shares::of(frame, energy)))
    }

    /// How far the tip sags against the work under the weight of the whole, m; `None` for a
    /// floating base.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn sag(&self) -> Result<Option<f64>, ModesFault> {
        let Some(tip) = self.model.tip else {
            return Ok(None);
        };
        let points: Vec<usize> = std::iter::once(tip).chain(self.model.work).collect();
        let sag = self.statics.sag(&points).map_err(ModesFault::Eigen)?;
        Ok(sag.map(|moved| (moved[0] - moved.get(1).copied().unwrap_or_default()).norm()))
    }
}

/// The measures of `build` at `draw`, every section `scale` times as large as drawn.
///
/// # Errors
/// What is wrong with it, at its place.
pub fn measure(
    build: &Build,
    goal: &Goal,
    draw: &Draw,
    scale: f64,
    asked: &Asked,
) -> Result<Figures, Vec<Problem>> {
    let model = build.scaled_model(goal, draw, scale)?;
    let solved = Solved::new(build, goal, &model, asked, &[]);
    solved.and_then(|solved| solved.figures(build, goal)).map_err(|fault| build.problems(&fault))
}

/// Says that nothing gives way between tip and work, where there is a tool and no `stiffness` is known.
pub fn nothing_gives(design: &Design, build: &Build, stiffness: bool) -> Option<Problem> {
    let tool = design.goal.tool.as_ref().filter(|_| !stiffness)?;
    let message = format!(
        "nothing gives way between {} and {}: both are held, and no stiffness is stated",
        tool.tip.value, tool.work.value
    );
    let help = "name a tip that can move, or hold it less";
    Some(
        Problem::warning(build.place.clone(), format!("build \"{}\": {message}", build.name)).with_help(help),
    )
}

/// A target that a build does not meet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Miss {
    /// Which build.
    pub build: String,
    /// Which measure.
    pub measure: &'static str,
    /// What it is, SI; `None` where it has none, such as a settle time of what never settles.
    pub value: Option<f64>,
    /// The limit that it does not keep, SI.
    pub limit: f64,
    /// True for a lower limit.
    pub at_least: bool,
}

impl Miss {
    /// The measure that is missed.
    pub fn known(&self) -> Option<Measure> {
        Measure::ALL.into_iter().find(|measure| measure.key() == self.measure)
    }
}

/// Which targets are missed by which builds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Misses {
    /// In the order of the builds.
    pub list: Vec<Miss>,
    #[serde(skip)]
    targets: Vec<Target>,
    #[serde(skip)]
    builds: usize,
}

impl Misses {
    /// None yet.
    pub fn new(targets: &[Target]) -> Misses {
        Misses { list: Vec::new(), targets: targets.to_vec(), builds: 0 }
    }

    /// Judges `build` by `figure`, which gives the value of a measure; `None` leaves it unjudged.
    pub fn judge(&mut self, build: &str, figure: impl Fn(Measure) -> Option<Option<f64>>) {
        self.builds += 1;
        for target in &self.targets {
            let Some(value) = figure(target.measure) else {
                continue;
            };
            for (limit, at_least) in [(target.at_least, true), (target.at_most, false)] {
                let Some(limit) = limit else { continue };
                let kept = value.is_some_and(|v| if at_least { v >= limit } else { v <= limit });
                if !kept {
                    let (build, measure) = (build.to_string(), target.measure.key());
                    let value = value.filter(|v| v.is_finite());
                    self.list.push(Miss { build, measure, value, limit, at_least });
                }
            }
        }
    }

    /// True when the build called `name` meets all that it was judged by.
    pub fn meets(&self, name: &str) -> bool {
        self.list.iter().all(|miss| miss.build != name)
    }

    /// True when every build misses a target.
    pub fn all_miss(&self) -> bool {
        let mut missing: Vec<&str> = self.list.iter().map(|miss| miss.build.as_str()).collect();
        missing.dedup();
        self.builds > 0 && missing.len() == self.builds
    }
}
