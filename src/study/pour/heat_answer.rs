//! The heat of the cure in the form that the sheet shows: how hot each casting gets, with its limits, the
//! chance that it exceeds what the binder allows, and what would narrow the spread.

use super::drawn::{AIR, Drawn};
use super::heat::Moment;
use super::kinetics::REFERENCE;
use super::means::Pour;
use super::plan::{Asked, Case, Plan, Planned};
use super::runaway::runaway;
use super::shape::CastShape;
use crate::spread::rank::{Advice, Influence};
use crate::spread::{Draws, strongest};
use rayon::prelude::*;
use serde::Serialize;
use stillbed_input::quantity::{Draw, Spread};
use stillbed_material::{GEL, Property};

/// Number of points of a history that are kept.
const POINTS: usize = 120;
/// Conversion of the top of a lift below which the next one bonds to it: gelled, but soft. Memory.
const SOFT: f64 = 0.8;

/// The heat of the cure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Heat {
    /// Temperature rise if no heat left, K.
    pub adiabatic_rise_k: f64,
    /// Temperature that the binder allows, K.
    pub limit_k: Option<f64>,
    /// Mean temperature of the room, K.
    pub room_k: f64,
    /// Thermal resistance of the boards around the mix, m2 K/W.
    pub board_m2_k_per_w: f64,
    /// Film coefficient from a surface to air, W/(m2 K), with its limits.
    pub film_w_per_m2_k: Spread,
    /// Each casting of the mix, equal ones together.
    pub castings: Vec<CastingHeat>,
    /// Index of the casting with the highest 95 % limit.
    pub hottest: usize,
    /// Highest temperature of the hottest casting over the whole sequence, K: nominal, with 5 and 95 %
    /// limits.
    pub peak_k: Spread,
    /// Share of the draws in which it exceeds what the binder allows.
    pub chance_above_limit: Option<f64>,
    /// Number of draws.
    pub draws: usize,
    /// The inputs from which the spread of its peak comes, strongest first.
    pub comes_from: Vec<Influence>,
    /// The one measurement that would narrow that spread most.
    pub advice: Option<String>,
    /// Thickness of the thickest wide lift, on a board and open above, of which 95 % of the draws stay below
    /// the limit, m; `None` where one of a metre does, or no limit is known.
    pub largest_lift_m: Option<f64>,
    /// Runaway parameter of the hottest casting, taken as a wide slab of its thickness, over the critical
    /// value. A mix rich in grains runs out of binder before it runs away. `None` where its faces pass no
    /// heat.
    pub runaway: Option<f64>,
}

/// The heat of one casting, or of several equal ones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CastingHeat {
    /// Its name for the reader.
    pub name: String,
    /// Number of equal castings.
    pub count: usize,
    /// Lengths along two horizontal axes and upwards, m.
    pub size_m: [f64; 3],
    /// Number of lifts in which it is poured.
    pub lifts: usize,
    /// Height of one lift, m.
    pub lift_m: f64,
    /// Its highest temperature over the whole sequence, K: nominal, with 5 and 95 % limits.
    pub peak_k: Spread,
    /// Share of the draws in which it exceeds what the binder allows.
    pub chance_above_limit: Option<f64>,
    /// The heat if it were poured at once; for the hottest casting alone, `None` where it is poured at once.
    pub at_once: Option<AtOnce>,
    /// Its lifts from the lowest up, at the nominal values.
    pub of_lifts: Vec<LiftHeat>,
    /// Heat balance: heat released less heat stored and lost, over the largest of the three.
    pub balance: f64,
    /// Its states from first to last, at the nominal values.
    pub history: Vec<HeatMoment>,
}

/// A casting in several lifts, if it were poured at once.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtOnce {
    /// Its highest temperature, K: nominal, with 5 and 95 % limits.
    pub peak_k: Spread,
    /// Share of the draws in which it exceeds what the binder allows.
    pub chance_above_limit: Option<f64>,
}

/// The cure of one lift.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LiftHeat {
    /// Its highest temperature, K.
    pub peak_k: f64,
    /// Time of that peak, s after the lift was poured.
    pub peak_time_s: f64,
    /// Time at which its last place gels, s after the lift was poured; `None` if later than the time
    /// followed.
    pub gel_time_s: Option<f64>,
    /// Conversion of its top when the next lift is poured; `None` for the last.
    pub covered_at: Option<f64>,
}

/// The state of a casting at one time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeatMoment {
    /// Time, s after the first lift is poured.
    pub time_s: f64,
    /// Highest temperature in each lift, K; `None` before it is poured.
    pub lifts_k: Vec<Option<f64>>,
    /// Mean conversion of the mix poured so far.
    pub conversion: f64,
}

/// How a lift joins the one below.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Joint {
    /// The lift below has not gelled: the mould bears the head of both.
    Wet,
    /// The lift below has gelled and is soft: the two bond.
    Soft,
    /// The lift below is hard: it must be roughened first.
    Hard,
}

impl Joint {
    /// The joint on a lift with this conversion of its top.
    #[must_use]
    pub fn on(conversion: f64) -> Joint {
        match conversion {
            c if c < GEL => Joint::Wet,
            c if c < SOFT => Joint::Soft,
            _ => Joint::Hard,
        }
    }
}

impl Heat {
    /// The joint on the hardest lift; `None` where each casting is one lift.
    pub fn joint(&self) -> Option<Joint> {
        let covered = self.castings.iter().flat_map(|casting| &casting.of_lifts).filter_map(|l| l.covered_at);
        covered.fold(None, |most: Option<f64>, c| Some(most.map_or(c, |m| m.max(c)))).map(Joint::on)
    }

    /// The casting that gets hottest.
    #[must_use]
    pub fn hottest(&self) -> &CastingHeat {
        &self.castings[self.hottest]
    }
}

/// The plan of the pour, and its heat where the binder data suffice.
pub(super) struct PlanAndHeat {
    pub plan: Option<Plan>,
    pub heat: Option<Heat>,
    /// The nominal inputs.
    pub case: Option<Case>,
}

/// Plans the lifts of `pour` and computes their heat. `board` gives the thermal resistance, m2 K/W, of the
/// boards of a mould for a head (m) of mix.
pub(super) fn plan_and_heat(drawn: &Drawn, pour: &Pour, board: &impl Fn(f64) -> f64) -> PlanAndHeat {
    let stated = Draw::default();
    let Some((case, rise)) = drawn.case(&stated) else {
        return PlanAndHeat { plan: None, heat: None, case: None };
    };
    let draws = Draws { count: pour.draws, seed: 1 }.sample(&drawn.uncertain);
    let deepest = pour.depth();
    let mut asked = Asked {
        stated: case,
        drawn: draws.par_iter().filter_map(|draw| drawn.case(draw).map(|(case, _)| case)).collect(),
        board: board(deepest),
        start: pour.temperature,
        room: pour.room(),
        by_the_clock: pour.start.is_some(),
        limit: drawn.recipe.binder.material.value(Property::MaxTemperature, &stated),
        lift: pour.lift,
        wait: pour.wait,
    };
    let mut plan = asked.plan(&pour.shapes);
    // Lifts need thinner boards than the whole depth, which insulate less.
    let head = head(&plan, &pour.shapes);
    if head < deepest && board(head) != asked.board {
        asked.board = board(head);
        let counts: Vec<usize> = plan.castings.iter().map(|planned| planned.lifts).collect();
        plan = asked.with(&pour.shapes, &counts, plan.wait);
    }
    let heat = heat(&asked, &plan, pour, drawn, &draws, rise);
    PlanAndHeat { plan: Some(plan), heat: Some(heat), case: Some(case) }
}

/// The head of mix that a mould has to hold: one lift where the lift below has always gelled, else the whole
/// casting.
pub(super) fn head(plan: &Plan, shapes: &[CastShape]) -> f64 {
    let heights = shapes.iter().zip(&plan.castings).map(|(shape, planned)| {
        let wet = planned
            .cured
            .lifts
            .iter()
            .any(|lift| lift.covered_at.is_some_and(|c| Joint::on(c) == Joint::Wet));
        shape.size()[2] / if wet { 1.0 } else { planned.lifts as f64 }
    });
    heights.fold(0.0, f64::max)
}

fn heat(asked: &Asked, plan: &Plan, pour: &Pour, drawn: &Drawn, draws: &[Draw], rise: f64) -> Heat {
    let mut castings: Vec<CastingHeat> = pour
        .shapes
        .iter()
        .zip(&plan.castings)
        .map(|(shape, planned)| casting(asked, shape, planned))
        .collect();
    let order = |a: &usize, b: &usize| castings[*a].peak_k.high.total_cmp(&castings[*b].peak_k.high);
    let hottest = (0..castings.len()).max_by(order).unwrap_or(0);
    let (shape, planned) = (&pour.shapes[hottest], &plan.castings[hottest]);
    let answers: Vec<Option<f64>> = planned.peaks.iter().copied().map(Some).collect();
    let comes_from = strongest(&drawn.uncertain, draws, &answers);
    if planned.lifts > 1 {
        let once = asked.planned(shape, 1, 0.0);
        let chance_above_limit = asked.limit.map(|limit| once.chance(limit));
        castings[hottest].at_once = Some(AtOnce { peak_k: once.spread(), chance_above_limit });
    }
    let behind = 1.0 / (1.0 / asked.stated.air + asked.board);
    Heat {
        adiabatic_rise_k: rise,
        limit_k: asked.limit,
        room_k: asked.room.mean,
        board_m2_k_per_w: asked.board,
        film_w_per_m2_k: pour.film,
        peak_k: castings[hottest].peak_k,
        chance_above_limit: castings[hottest].chance_above_limit,
        draws: draws.len(),
        advice: Advice::from(&comes_from).map(|advice| told(&advice)),
        comes_from,
        largest_lift_m: asked.largest(),
        runaway: runaway(&asked.stated.fill, shape.through(planned.lifts), behind, asked.room.mean),
        castings,
        hottest,
    }
}

/// The advice as a sentence, with a hint how to make the measurement.
fn told(advice: &Advice) -> String {
    let mut told = advice.sentence("the hottest place");
    let key = &advice.key;
    let cure = [Property::RateConstant, Property::HeatOfReaction, Property::PotLife, Property::ExothermTime];
    if cure.iter().any(|p| key.ends_with(p.name())) {
        told.push_str(&format!(
            " A cup of your own binder with a thermometer in its middle gives it: log the cup and ask mix \
             --trials, or begin it at {:.0} °C and state cup_mass, exotherm_time and exotherm_peak of the binder.",
            REFERENCE - 273.15
        ));
    } else if key.ends_with(Property::ActivationTemperature.name()) {
        told.push_str(
            " A few grams of your own binder spread thin at 15 °C and at 30 °C give it: the logarithm of the \
             ratio of their gel times over the difference of 1/T.",
        );
    } else if key == AIR {
        told.push_str(" A box of warm water of the casting's size that cools in the mould's place gives it.");
    }
    told
}

fn casting(asked: &Asked, shape: &CastShape, planned: &Planned) -> CastingHeat {
    let size = shape.size();
    let lift = |lift: &super::heat::Lifted| LiftHeat {
        peak_k: lift.peak,
        peak_time_s: lift.peak_time,
        gel_time_s: lift.gel_time,
        covered_at: lift.covered_at,
    };
    CastingHeat {
        name: shape.name.clone(),
        count: shape.count,
        size_m: size,
        lifts: planned.lifts,
        lift_m: size[2] / planned.lifts as f64,
        peak_k: planned.spread(),
        chance_above_limit: asked.limit.map(|limit| planned.chance(limit)),
        at_once: None,
        of_lifts: planned.cured.lifts.iter().map(lift).collect(),
        balance: planned.cured.balance,
        history: thin(&planned.cured.history),
    }
}

/// The first, the last and evenly spaced states between.
fn thin(history: &[Moment]) -> Vec<HeatMoment> {
    let (count, kept) = (history.len(), history.len().min(POINTS));
    let at = |i: usize| i * (count - 1) / (kept - 1).max(1);
    let moment = |moment: &Moment| HeatMoment {
        time_s: moment.time,
        lifts_k: moment.hottest.clone(),
        conversion: moment.conversion,
    };
    (0..kept).map(|i| moment(&history[at(i)])).collect()
}
