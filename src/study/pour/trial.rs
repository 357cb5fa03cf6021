//! A cup of one's own binder with a thermometer in its middle, read back: rate and heat of its cure, and the
//! heat that its cup loses.
//!
//! The three are varied until the computed middle of the cup ([`super::vessel`]) follows the logged one best,
//! by damped least squares in their logarithms. Curves are compared with their fronts one over the other, where
//! they have warmed half way, and the times of these besides: the front of a runaway is so steep that
//! temperatures at equal times tell little about how near a fit is. The cup and the room begin at the first reading. Their limits
//! (95 %) follow from the curvature at the best fit, with the larger of what is left and of a thermometer's own
//! error. Neighbouring readings err together: all of a curve count as a few independent ones. The shape of the
//! cup adds to all three, and the spread of the binder's heat capacity to its heat, since a curve shows their
//! ratio.

use super::cup_curve::CupCurve;
use super::heat::{End, Fill};
use super::kinetics::Kinetics;
use super::vessel::{LOSS, Vessel};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use serde::Serialize;
use stillbed_input::quantity::{Draw, Spread};
use stillbed_material::{Material, Property};

/// Places on the curve that are compared.
const PLACES: usize = 80;
/// The curve is compared up to this multiple of the time of its peak.
const BEYOND_PEAK: f64 = 4.0;
/// A cup is followed to this multiple of the log's length.
const STRETCH: f64 = 1.5;
/// Weight of the logarithm of the time of the front against temperatures, K.
const IN_TIME: f64 = 500.0;
/// Independent readings that a curve counts as: our choice.
const INDEPENDENT: f64 = 10.0;
/// Error of a cheap thermocouple, K: common practice.
const THERMOMETER: f64 = 1.0;
/// Relative error from taking a round cup for a cube, and its middle for the hottest place: seven cylinders of 50
/// to 300 g solved by finite differences outside this program were read with rates between 10 % low and 1 % high,
/// and heats 2 to 17 % low (22 % where the cup warmed by 23 K only).
const SHAPE: f64 = 0.15;
/// Losses of the cup from which the fit begins, W/(m2 K): a cup near a runaway has several best fits nearby.
const LOSSES: [f64; 3] = [0.6 * LOSS, LOSS, 1.6 * LOSS];
/// Step of a logarithm in a difference quotient.
const STEP: f64 = 0.01;
/// Largest number of steps, and the change of the sum of squares below which the fit is done.
const MOST_STEPS: usize = 40;
const DONE: f64 = 1e-4;
/// Error of a fit above which the curve is not of this kind, as a part of its rise.
const UNLIKE: f64 = 0.08;

/// What a trial says of a binder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CupTrial {
    /// The binder.
    pub of: String,
    /// Mass in the cup, kg.
    pub mass_kg: f64,
    /// First temperature, K.
    pub start_k: f64,
    /// Highest temperature read, K.
    pub peak_k: f64,
    /// Time of that, s from mixing.
    pub peak_time_s: f64,
    /// Rate constant of the cure, 1/s.
    pub rate_constant_per_s: Spread,
    /// Heat of reaction, J/kg.
    pub heat_of_reaction_j_per_kg: Spread,
    /// Film coefficient of the cup's surface, W/(m2 K).
    pub loss_w_per_m2_k: Spread,
    /// Root mean square of read less fitted temperature, K.
    pub misfit_k: f64,
    /// Times of the compared places, s from mixing.
    pub time_s: Vec<f64>,
    /// Read temperature there, K.
    pub read_k: Vec<f64>,
    /// Fitted temperature there, K.
    pub fitted_k: Vec<f64>,
}

/// Why a trial says nothing.
#[derive(Debug, Clone, PartialEq)]
pub enum TrialFault {
    /// The binder lacks density, conductivity, heat capacity or activation temperature.
    Unknown,
    /// No cure follows the curve; the misfit of the best, K.
    Unlike(f64),
}

/// A cup that stands as its parameters say.
struct Standing<'a> {
    curve: &'a CupCurve,
    times: Vec<f64>,
    volume: f64,
    density: f64,
    conductivity: f64,
    heat_capacity: f64,
    theta: f64,
}

impl Standing<'_> {
    /// Temperatures at the compared places with the logarithms of rate constant, heat and loss, K, the time axis
    /// stretched until the fronts meet; then how much it is stretched, in the same measure.
    fn temperatures(&self, at: &Vector3<f64>) -> DVector<f64> {
        let [rate, heat, loss] = [at.x.exp(), at.y.exp(), at.z.exp()];
        let fill = Fill {
            conductivity: self.conductivity,
            heat_capacity: self.heat_capacity,
            heat: self.density * heat,
            kinetics: Kinetics::usual(rate, self.theta),
        };
        let vessel = Vessel { volume: self.volume, loss, start: self.curve.start() };
        let last = self.times.last().copied().unwrap_or(0.0);
        let stood = vessel.stand(&fill, End::After(STRETCH * last));
        let path = CupCurve {
            times: stood.history.iter().map(|moment| moment.time).collect(),
            temperatures: stood.history.iter().map(|m| m.hottest[0].unwrap_or(vessel.start)).collect(),
        };
        let stretched = path.front() / self.curve.front();
        let found = self.times.iter().map(|time| path.at(stretched * time));
        DVector::from_iterator(PLACES + 1, found.chain([IN_TIME * stretched.ln()]))
    }

    /// Difference quotients by the three logarithms.
    fn slopes(&self, at: &Vector3<f64>, here: &DVector<f64>) -> DMatrix<f64> {
        let column = |i: usize| {
            let mut beside = *at;
            beside[i] += STEP;
            (self.temperatures(&beside) - here) / STEP
        };
        DMatrix::from_columns(&[column(0), column(1), column(2)])
    }
}

/// The best fit from some beginning.
struct Fit {
    /// Logarithms of rate constant, heat and loss.
    at: Vector3<f64>,
    /// Temperatures at the compared places, K.
    here: DVector<f64>,
    /// Sum of squares, K2.
    square: f64,
    /// Its curvature by the logarithms, K2.
    normal: Matrix3<f64>,
}

impl Fit {
    /// Damped least squares against the temperatures `read`, from `at`.
    fn least(standing: &Standing, read: &DVector<f64>, mut at: Vector3<f64>) -> Fit {
        let mut here = standing.temperatures(&at);
        let mut square = (read - &here).norm_squared();
        let (mut damping, mut normal) = (1e-2, Matrix3::identity());
        for _ in 0..MOST_STEPS {
            let slopes = standing.slopes(&at, &here);
            let product = slopes.transpose() * &slopes;
            normal = Matrix3::from_fn(|i, j| product[(i, j)]);
            let pull = slopes.transpose() * (read - &here);
            let damped = normal + Matrix3::from_diagonal(&normal.diagonal()) * damping;
            let Some(step) = damped.lu().solve(&Vector3::new(pull[0], pull[1], pull[2])) else { break };
            let next = at + step.map(|x| x.clamp(-1.0, 1.0));
            let there = standing.temperatures(&next);
            let now = (read - &there).norm_squared();
            if now < square {
                let gained = 1.0 - now / square;
                (at, here, square, damping) = (next, there, now, damping * 0.2);
                if gained < DONE {
                    break;
                }
            } else if damping > 1e6 {
                break;
            } else {
                damping *= 5.0;
            }
        }
        Fit { at, here, square, normal }
    }
}

/// Reads `curve` of a cup with `mass` (kg) of `binder`.
///
/// # Errors
/// A binder that is not known well enough, a curve that no cure follows.
pub fn read_trial(binder: &Material, mass: f64, curve: &CupCurve) -> Result<CupTrial, TrialFault> {
    let value = |property| binder.value(property, &Draw::default()).ok_or(TrialFault::Unknown);
    let density = value(Property::Density)?;
    let (number, peak_k) = curve.peak();
    let peak_time = curve.times[number];
    let last = curve.times.last().copied().unwrap_or(0.0).min(BEYOND_PEAK * peak_time);
    let first = curve.times[0];
    let times: Vec<f64> =
        (0..PLACES).map(|i| first + (last - first) * i as f64 / (PLACES - 1) as f64).collect();
    let read = DVector::from_iterator(PLACES + 1, times.iter().map(|time| curve.at(*time)).chain([0.0]));
    let standing = Standing {
        curve,
        times,
        volume: mass / density,
        density,
        conductivity: value(Property::Conductivity)?,
        heat_capacity: density * value(Property::HeatCapacity)?,
        theta: value(Property::ActivationTemperature)?,
    };
    let known = [value(Property::RateConstant)?, value(Property::HeatOfReaction)?].map(f64::ln);
    let from = |loss: &f64| {
        let mut at = Vector3::new(known[0], known[1], loss.ln());
        bring_near(&standing, &mut at);
        Fit::least(&standing, &read, at)
    };
    let fits = LOSSES.iter().map(from);
    let Some(Fit { at, here, square, normal }) = fits.min_by(|a, b| a.square.total_cmp(&b.square)) else {
        return Err(TrialFault::Unknown);
    };
    let misfit = (square / PLACES as f64).sqrt();
    if misfit.is_nan() || misfit > UNLIKE * (peak_k - curve.start()) {
        return Err(TrialFault::Unlike(misfit));
    }
    let error = misfit.max(THERMOMETER);
    let scatter = normal.try_inverse().ok_or(TrialFault::Unlike(misfit))?
        * (error * error * PLACES as f64 / INDEPENDENT);
    let capacity = binder.values.get(&Property::HeatCapacity).map_or(1.0, |f| f.spread.high / f.spread.low);
    let spread = |i: usize, other: f64| {
        let fitted = 2.0 * scatter[(i, i)].max(0.0).sqrt();
        let wide = fitted.hypot(SHAPE).hypot(other).min(3.0);
        Spread::between(at[i].exp(), (at[i] - wide).exp(), (at[i] + wide).exp())
    };
    Ok(CupTrial {
        of: binder.name.clone(),
        mass_kg: mass,
        start_k: curve.start(),
        peak_k,
        peak_time_s: peak_time,
        rate_constant_per_s: spread(0, 0.0),
        heat_of_reaction_j_per_kg: spread(1, 0.5 * capacity.ln()),
        loss_w_per_m2_k: spread(2, 0.0),
        misfit_k: misfit,
        time_s: standing.times.clone(),
        read_k: read.iter().copied().take(PLACES).collect(),
        fitted_k: here.iter().copied().take(PLACES).collect(),
    })
}

/// Moves the rate until the front comes at its time, roughly.
fn bring_near(standing: &Standing, at: &mut Vector3<f64>) {
    for _ in 0..6 {
        at.x += (standing.temperatures(at)[PLACES] / IN_TIME).clamp(-1.0, 1.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_material::Table;

    fn binder() -> Material {
        Table::built_in().get("epoxy").unwrap().clone()
    }

    /// The curve that a cup of `mass` of the binder with this rate, heat and loss would log, one reading a
    /// minute, off by `noise` to and fro.
    fn logged([rate, heat, loss]: [f64; 3], mass: f64, minutes: usize, noise: f64) -> CupCurve {
        let binder = binder();
        let need = |property| binder.need(property, &Draw::default()).unwrap();
        let density = need(Property::Density);
        let fill = Fill {
            conductivity: need(Property::Conductivity),
            heat_capacity: density * need(Property::HeatCapacity),
            heat: density * heat,
            kinetics: Kinetics::usual(rate, need(Property::ActivationTemperature)),
        };
        let vessel = Vessel { volume: mass / density, loss, start: 295.0 };
        let stood = vessel.stand(&fill, End::After(60.0 * minutes as f64));
        let path = CupCurve {
            times: stood.history.iter().map(|m| m.time).collect(),
            temperatures: stood.history.iter().map(|m| m.hottest[0].unwrap()).collect(),
        };
        let times: Vec<f64> = (0..=minutes).map(|m| 60.0 * m as f64).collect();
        let shift = |m: usize| noise * (m as f64 * 2.4).sin();
        let temperatures = times.iter().enumerate().map(|(m, t)| path.at(*t) + shift(m)).collect();
        CupCurve { times, temperatures }
    }

    #[test]
    fn a_logged_cup_gives_back_rate_heat_and_loss() {
        for truth in [[1.2e6, 3.5e5, 8.0], [5e6, 5.2e5, 14.0], [3e6, 2.6e5, 6.0]] {
            for noise in [0.0, 0.8] {
                let found = read_trial(&binder(), 0.15, &logged(truth, 0.15, 240, noise)).unwrap();
                let read =
                    [found.rate_constant_per_s, found.heat_of_reaction_j_per_kg, found.loss_w_per_m2_k];
                for (spread, truth) in read.iter().zip(truth) {
                    assert!((spread.value / truth - 1.0).abs() < 0.05 + 0.1 * noise, "{spread:?} {truth}");
                    assert!(spread.low < truth && truth < spread.high, "{spread:?} {truth}");
                }
                let rise = found.peak_k - found.start_k;
                assert!(found.misfit_k < 0.05 * rise + noise, "{} {rise}", found.misfit_k);
            }
        }
    }

    #[test]
    fn a_curve_of_another_kind_is_refused() {
        let mut curve = logged([2e6, 4e5, 10.0], 0.1, 240, 0.0);
        for (minute, t) in curve.temperatures.iter_mut().enumerate() {
            *t = 295.0 + 40.0 * (minute as f64 * 0.2).sin().abs();
        }
        assert!(matches!(read_trial(&binder(), 0.1, &curve), Err(TrialFault::Unlike(_))));
        let mut unknown = binder();
        unknown.values.remove(&Property::ActivationTemperature);
        assert_eq!(read_trial(&unknown, 0.1, &curve), Err(TrialFault::Unknown));
    }
}
