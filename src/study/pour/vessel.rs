//! A cup of binder or a bucket of mix left to stand: working time, temperature, and the rate and heat of the
//! cure that a maker's cup reveals.
//!
//! A vessel is a cylinder as high as wide. It is solved as a cube of that side, which has the same ratio of
//! surface to volume, on the grid of a casting ([`super::heat`]); its whole surface loses heat equally.
//!
//! ```text
//! d = (4 V/pi)^(1/3),    surface/volume = 6/d
//! ```
//!
//! The pot life that a maker states for a cup is taken as the time at which the middle of the cup gels; a
//! measured exotherm as the highest temperature of the middle and its time.

use super::heat::{Casting, Cell, Cured, End, Face, Fill, Laying, Room};
use super::kinetics::{Kinetics, REFERENCE};
use serde::Serialize;
use stillbed_input::quantity::{Draw, Spread};
use stillbed_material::{Figure, GEL, Material, Property};

/// Mass in the cup for which makers state times, if none is stated, kg: common practice.
const USUAL_CUP: f64 = 0.1;
/// Film coefficient from a cup on a bench, or from a bucket, to the room, W/(m2 K): memory.
pub(super) const LOSS: f64 = 10.0;
/// Cells from the middle of a vessel to its side.
const CELLS: usize = 4;
/// Allowed error of a step in a vessel, K.
const TOLERANCE: f64 = 0.3;
/// Relative error of the time at which a fit is done.
const FITTED: f64 = 2e-3;
/// Largest number of trials of a fit.
const MOST_TRIALS: usize = 30;

/// A vessel and its contents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Vessel {
    /// Volume, m3.
    pub volume: f64,
    /// Film coefficient of the surface, W/(m2 K).
    pub loss: f64,
    /// Initial temperature of the contents, and temperature of the room, K.
    pub start: f64,
}

impl Vessel {
    fn casting(&self) -> Casting {
        let side = (4.0 * self.volume / std::f64::consts::PI).cbrt();
        let widths = vec![0.5 * side / CELLS as f64; CELLS];
        let face = Face { air: self.loss, board: 0.0 };
        Casting {
            widths: [widths.clone(), widths.clone(), widths],
            cells: vec![Cell::Fill; CELLS * CELLS * CELLS],
            solids: Vec::new(),
            faces: [[Face::SHUT, face]; 3],
            lifts: vec![Laying { at: 0.0, layers: CELLS }],
            start: self.start,
            room: Room { mean: self.start, swing: 0.0, start: 0.0 },
        }
    }

    /// Follows `fill` left to itself until `end`.
    pub fn stand(&self, fill: &Fill, end: End) -> Cured {
        self.casting().cure(fill, end, TOLERANCE)
    }
}

/// The state of a batch in its bucket.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bucket {
    /// Mass of the batch, kg.
    pub mass_kg: f64,
    /// Time after adding the hardener within which it must be placed, s: when the pot life is used up at the
    /// temperatures of the middle, or when the middle gels.
    pub working_time_s: f64,
    /// Temperature rise of the middle until then, K.
    pub warms_k: f64,
    /// Time at which the middle gels, s.
    pub gel_time_s: Option<f64>,
    /// Highest temperature of mix left in the bucket, K.
    pub left_peak_k: f64,
}

/// The state of `mass` (kg) of `fill` of `density` (kg/m3) in a bucket, mixed at `start` (K), with a binder
/// of pot life `pot_life` (s) at 25 degC.
pub(super) fn bucket(fill: &Fill, density: f64, mass: f64, start: f64, pot_life: f64) -> Bucket {
    let vessel = Vessel { volume: mass / density, loss: LOSS, start };
    let cured = vessel.stand(fill, End::Cured);
    let lift = cured.lifts[0];
    let hot = |i: usize| cured.history[i].hottest[0].unwrap_or(start);
    let (mut used, mut working, mut warm) = (0.0, None, 0.0);
    for i in 1..cured.history.len() {
        let [from, to] = [cured.history[i - 1].time, cured.history[i].time];
        let haste = 0.5 * (fill.kinetics.haste(hot(i - 1)) + fill.kinetics.haste(hot(i)));
        let part = (to - from) * haste / pot_life;
        if used + part >= 1.0 {
            let share = (1.0 - used) / part;
            working = Some(from + (to - from) * share);
            warm = hot(i - 1) + (hot(i) - hot(i - 1)) * share - start;
            break;
        }
        used += part;
    }
    let alone = pot_life / fill.kinetics.haste(start);
    Bucket {
        mass_kg: mass,
        working_time_s: working.unwrap_or(alone).min(lift.gel_begins.unwrap_or(f64::INFINITY)),
        warms_k: warm,
        gel_time_s: lift.gel_begins,
        left_peak_k: lift.peak,
    }
}

/// The reading of the maker's cup.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CupReading {
    /// Mass in the cup, kg.
    pub mass_kg: f64,
    /// Film coefficient of its surface, W/(m2 K).
    pub loss_w_per_m2_k: f64,
    /// The stated time, s.
    pub time_s: f64,
    /// True where the time is that of the highest temperature, false where it is the pot life.
    pub at_peak: bool,
    /// The stated highest temperature, K.
    pub peak_k: Option<f64>,
    /// The rate constant that gives the stated time, 1/s.
    pub rate_constant_per_s: f64,
    /// The heat of reaction that gives the stated temperature, or else the known one, J/kg.
    pub heat_of_reaction_j_per_kg: f64,
}

/// A cup to be fitted.
struct Cup {
    vessel: Vessel,
    conductivity: f64,
    heat_capacity: f64,
    density: f64,
    theta: f64,
    time: f64,
    at_peak: bool,
}

impl Cup {
    /// The cup of `binder` in `draw`; `None` where a value is not known.
    fn of(binder: &Material, draw: &Draw) -> Option<Cup> {
        let value = |property| binder.value(property, draw);
        let density = value(Property::Density)?;
        let timed = timed(binder);
        Some(Cup {
            vessel: Vessel {
                volume: value(Property::CupMass).unwrap_or(USUAL_CUP) / density,
                loss: value(Property::CupLoss).unwrap_or(LOSS),
                start: REFERENCE,
            },
            conductivity: value(Property::Conductivity)?,
            heat_capacity: density * value(Property::HeatCapacity)?,
            density,
            theta: value(Property::ActivationTemperature)?,
            time: value(timed)?,
            at_peak: timed == Property::ExothermTime,
        })
    }

    fn fill(&self, rate_constant: f64, heat: f64) -> Fill {
        Fill {
            conductivity: self.conductivity,
            heat_capacity: self.heat_capacity,
            heat: self.density * heat,
            kinetics: Kinetics::usual(rate_constant, self.theta),
        }
    }

    /// The time to gel, or to the peak, with the given rate and heat, s.
    fn time(&self, rate: f64, heat: f64) -> Option<f64> {
        let fill = self.fill(rate, heat);
        if self.at_peak {
            let lift = self.vessel.stand(&fill, End::Cured).lifts[0];
            return (lift.peak > self.vessel.start).then_some(lift.peak_time);
        }
        self.vessel.stand(&fill, End::Gel).lifts[0].gel_begins
    }

    /// The rate constant with which the cup gels, or peaks, at its stated time.
    fn rate(&self, heat: f64) -> Option<f64> {
        // The isothermal cure is the start; the time is nearly inverse to the rate.
        let mut rate = Kinetics::usual(1.0, self.theta).times(self.vessel.start, 0.0, &[GEL])[0] / self.time;
        let (mut slope, mut before) = (1.0, None);
        for _ in 0..MOST_TRIALS {
            let late = (self.time(rate, heat)? / self.time).ln();
            if late.abs() < FITTED {
                return Some(rate);
            }
            if let Some((at, was)) = before {
                let change: f64 = (was - late) / (rate.ln() - at);
                if change.is_finite() {
                    slope = change.clamp(0.3, 3.0);
                }
            }
            before = Some((rate.ln(), late));
            rate *= (late / slope).clamp(-3.0, 3.0).exp();
        }
        None
    }
}

/// The time by which the rate of `binder` is known: of the peak in a cup where it is, else its pot life.
pub(super) fn timed(binder: &Material) -> Property {
    let peak = binder.values.contains_key(&Property::ExothermTime);
    if peak { Property::ExothermTime } else { Property::PotLife }
}

/// True where the time in the cup is known at least as closely as the rate constant of `binder`, and the rate
/// is not stated itself: then heat and rate are not independent, since a binder with more heat must be slower
/// to gel in the same time.
pub(super) fn timed_by_cup(binder: &Material) -> bool {
    let figure = |property: Property| binder.values.get(&property);
    let width = |figure: &Figure| figure.spread.high / figure.spread.low;
    let known = figure(timed(binder)).zip(figure(Property::RateConstant));
    known.is_some_and(|(time, rate)| rate.source != "design" && width(time) <= width(rate) * (1.0 + 1e-9))
}

/// The rate constant in `draw` with which the cup of `binder` keeps its time; `None` where nothing fits it.
pub(super) fn rate_by_cup(binder: &Material, draw: &Draw) -> Option<f64> {
    Cup::of(binder, draw)?.rate(binder.value(Property::HeatOfReaction, draw)?)
}

/// Fits the rate of the cure of `binder`, and its heat where a peak is stated, to the maker's cup, and
/// replaces the known values; `None` where no cup is stated or nothing fits it.
///
/// A cup counts where the design states its pot life or the time of its peak but no rate constant. The rate
/// follows from the time in the cup and the heat from the rise above the room; both take over the relative
/// spreads of these.
pub(super) fn read_cup(binder: &mut Material) -> Option<CupReading> {
    let draw = Draw::default();
    let figure = |property: Property| binder.values.get(&property);
    let stated = |property: Property| figure(property).is_some_and(|figure| figure.source == "design");
    let timed = timed(binder);
    let at_peak = timed == Property::ExothermTime;
    if stated(Property::RateConstant) || !at_peak && !stated(Property::PotLife) {
        return None;
    }
    let time = figure(timed)?.spread;
    let peak = figure(Property::ExothermPeak).map(|figure| figure.spread);
    let value = |property| binder.value(property, &draw);
    let cup = Cup::of(binder, &draw)?;
    let (mass_kg, loss) = (cup.vessel.volume * cup.density, cup.vessel.loss);
    let mut heat = value(Property::HeatOfReaction)?;
    let mut rate = cup.rate(heat)?;
    if let Some(peak) = peak {
        let hottest = |rate: f64, heat: f64| cup.vessel.stand(&cup.fill(rate, heat), End::Cured).peak();
        let (mut low, mut high) = (0.02 * heat, 4.0 * heat);
        let over = |heat: f64| cup.rate(heat).map(|rate| hottest(rate, heat) > peak.value);
        if over(low) != Some(false) || over(high) != Some(true) {
            return None;
        }
        while high / low > 1.0 + 2.0 * FITTED {
            let middle = (low * high).sqrt();
            if over(middle)? { high = middle } else { low = middle }
        }
        heat = (low * high).sqrt();
        rate = cup.rate(heat)?;
        let of = |peak_k: f64| heat * (peak_k - REFERENCE) / (peak.value - REFERENCE);
        set(binder, Property::HeatOfReaction, Spread::between(heat, of(peak.low), of(peak.high)));
    }
    let of = |seconds: f64| rate * time.value / seconds;
    set(binder, Property::RateConstant, Spread::between(rate, of(time.high), of(time.low)));
    Some(CupReading {
        mass_kg,
        loss_w_per_m2_k: loss,
        time_s: time.value,
        at_peak,
        peak_k: peak.map(|peak| peak.value),
        rate_constant_per_s: rate,
        heat_of_reaction_j_per_kg: heat,
    })
}

fn set(binder: &mut Material, property: Property, spread: Spread) {
    binder.set(property, Figure::stated(spread, "the maker's cup"));
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::Table;

    fn binder(name: &str) -> Material {
        Table::built_in().get(name).unwrap().clone()
    }

    fn need(binder: &Material, property: Property) -> f64 {
        binder.need(property, &Draw::default()).unwrap()
    }

    fn stated(binder: &mut Material, property: Property, value: f64) {
        binder.set(property, Figure::stated(Spread::exact(value), "design"));
    }

    #[test]
    fn the_binders_of_the_table_gel_in_the_usual_cup_at_the_end_of_their_pot_life() {
        for name in ["epoxy", "epoxy, slow casting", "polyester"] {
            let mut binder = binder(name);
            let (known, life) = (need(&binder, Property::RateConstant), need(&binder, Property::PotLife));
            stated(&mut binder, Property::PotLife, life);
            let read = read_cup(&mut binder).unwrap();
            assert!((read.rate_constant_per_s / known - 1.0).abs() < 0.05, "{name}: {read:?} {known}");
        }
    }

    #[test]
    fn a_cup_that_the_program_makes_is_read_back() {
        let mut binder = binder("epoxy, slow casting");
        let (rate, heat) = (6.1e5, 2.3e5);
        let density = need(&binder, Property::Density);
        let fill = Fill {
            conductivity: need(&binder, Property::Conductivity),
            heat_capacity: density * need(&binder, Property::HeatCapacity),
            heat: density * heat,
            kinetics: Kinetics::usual(rate, need(&binder, Property::ActivationTemperature)),
        };
        let vessel = Vessel { volume: 0.2 / density, loss: 7.0, start: REFERENCE };
        let lift = vessel.stand(&fill, End::Cured).lifts[0];
        assert!(lift.peak > 320.0, "{lift:?}");
        stated(&mut binder, Property::CupMass, 0.2);
        stated(&mut binder, Property::CupLoss, 7.0);
        stated(&mut binder, Property::ExothermTime, lift.peak_time);
        stated(&mut binder, Property::ExothermPeak, lift.peak);
        let read = read_cup(&mut binder).unwrap();
        assert_relative_eq!(read.rate_constant_per_s, rate, max_relative = 0.02);
        assert_relative_eq!(read.heat_of_reaction_j_per_kg, heat, max_relative = 0.02);
        assert_relative_eq!(need(&binder, Property::RateConstant), rate, max_relative = 0.02);
        // A cup that nothing fits changes nothing.
        stated(&mut binder, Property::ExothermPeak, 2000.0);
        binder.values.remove(&Property::RateConstant);
        assert_eq!(read_cup(&mut binder), None);
    }

    #[test]
    fn a_stated_rate_is_kept_and_a_longer_pot_life_is_a_slower_rate() {
        let mut slow = binder("epoxy, slow casting");
        assert_eq!(read_cup(&mut slow.clone()), None);
        slow.set(Property::PotLife, Figure::stated(Spread::between(10_800.0, 9000.0, 12_000.0), "design"));
        let mut kept = slow.clone();
        stated(&mut kept, Property::RateConstant, 5e5);
        assert_eq!(read_cup(&mut kept), None);
        let known = need(&slow, Property::RateConstant);
        let read = read_cup(&mut slow).unwrap();
        assert!(read.rate_constant_per_s < 0.85 * known, "{read:?}");
        let spread = slow.values[&Property::RateConstant].spread;
        assert_relative_eq!(spread.high / spread.value, 1.2, max_relative = 1e-9);
    }

    #[test]
    fn a_large_batch_warms_and_can_be_worked_for_less_long() {
        let kinetics = Kinetics::usual(9e5, 7000.0);
        let fill = Fill { conductivity: 1.2, heat_capacity: 1.9e6, heat: 1.6e8, kinetics };
        let of = |mass: f64| bucket(&fill, 2200.0, mass, 293.15, 7200.0);
        let (small, large) = (of(0.2), of(30.0));
        assert!(large.working_time_s < small.working_time_s, "{large:?} {small:?}");
        assert!(large.warms_k > small.warms_k && large.left_peak_k > small.left_peak_k + 5.0);
        // A very small batch stays at room temperature.
        let cool = 7200.0 / kinetics.haste(293.15);
        assert_relative_eq!(of(1e-4).working_time_s, cool, max_relative = 0.02);
    }
}
