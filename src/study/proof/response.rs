//! Published cases of response: resonance, decay, chatter, floor, unbalance.
//!
//! At the single frequency `r` times the resonance, a viscous damper of damping ratio `zeta` equals a
//! hysteretic spring of loss factor `2 zeta r`; cases at single frequencies use that.

use super::{Evaluator, Inputs};
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_input::quantity::GRAVITY;
use stillbed_response::blow::Blow;
use stillbed_response::cut::{lobe_point, stable_depth, stable_depth_of};
use stillbed_response::floor::{FloorSpectrum, transmissibility};
use stillbed_response::modal::{ModalMode, ModalModel};
use stillbed_response::peak::{resolving_squares, worst_peak};
use stillbed_response::ringdown::{RingDown, Tapped};
use stillbed_response::settle::FreeDecay;
use stillbed_response::speeds::unbalance_at;

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("criterion", criterion),
    ("criterion_acceleration", criterion_acceleration),
    ("cycles_to", cycles_to),
    ("decay", decay),
    ("decay_rate", decay_rate),
    ("decrement", decrement),
    ("energy_lost", energy_lost),
    ("half_power", half_power),
    ("lobe", lobe),
    ("receptance", receptance),
    ("reverberation", reverberation),
    ("sagging_mass", sagging_mass),
    ("stable_depth", stable_depth_hysteretic),
    ("stable_depth_viscous", stable_depth_viscous),
    ("transmissibility", transmissibility_viscous),
    ("transmissibility_hysteretic", transmissibility_hysteretic),
    ("unbalance", unbalance),
];

/// A mass, kg, on a spring, N/m. Station 0 is the mass, station 1 the floor beneath the spring, station 2 a
/// direction in which nothing moves.
fn single(stiffness: f64, mass: f64, loss_factor: f64) -> Result<ModalModel, String> {
    let root = mass.sqrt();
    let mode = ModalMode::real((stiffness / mass).sqrt(), loss_factor, &[1.0 / root, root, 0.0]);
    ModalModel::complete(vec![mode], 3)
}

fn receptance(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let model = single(inputs.number("k")?, inputs.number("mass")?, inputs.number("eta")?)?;
    let h = model.compliance(0, 0, TAU * inputs.number("f")?);
    Ok(vec![h.norm(), h.arg().to_degrees()])
}

fn stable_depth_hysteretic(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let model = single(inputs.number("k")?, 10.0, inputs.number("eta")?)?;
    let found = stable_depth(&model.pair(0, 0), inputs.number("ks")?).ok_or("no depth chatters")?;
    Ok(vec![found.real_part_m_per_n, 1e3 * found.depth_m])
}

/// The search for the stability limit on a compliance that is not a modal sum.
fn stable_depth_viscous(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (k, zeta) = (inputs.number("k")?, inputs.number("zeta")?);
    // Circular frequencies are in units of the resonance.
    let compliance = |square: f64| 1.0 / (k * Complex64::new(1.0 - square, 2.0 * zeta * square.sqrt()));
    let squares = resolving_squares(&[Complex64::new(1.0, 2.0 * zeta)], 0.5);
    let found = stable_depth_of(&squares, compliance, inputs.number("ks")?).ok_or("no depth chatters")?;
    Ok(vec![found.real_part_m_per_n, TAU * found.frequency_hz, 1e3 * found.depth_m])
}

fn lobe(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (k, resonance, r) = (inputs.number("k")?, TAU * inputs.number("fn")?, inputs.number("r")?);
    let model = single(k, k / (resonance * resonance), 2.0 * inputs.number("zeta")? * r)?;
    let omega = r * resonance;
    let h = model.compliance(0, 0, omega);
    let stiffness = inputs.number("ks")?;
    let at = |waves| lobe_point(h, omega, waves, stiffness).ok_or("no depth chatters there");
    let first = at(1)?;
    let phase = TAU * (first.frequency_hz / first.passes_hz - 1.0);
    let mut values = vec![1e3 * first.depth_m, phase];
    for waves in 1..=3 {
        values.push(60.0 * at(waves)?.passes_hz);
    }
    Ok(values)
}

fn carried(loss_factor: f64, r: f64) -> Result<f64, String> {
    let model = single(500.0, 500.0, loss_factor)?;
    Ok(transmissibility(model.compliance(0, 1, r), 1.0, r).norm())
}

fn transmissibility_viscous(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let zeta = inputs.number("zeta")?;
    inputs.numbers("r")?.iter().map(|r| carried(2.0 * zeta * r, *r)).collect()
}

fn transmissibility_hysteretic(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let loss_factor = inputs.number("eta")?;
    inputs.numbers("r")?.iter().map(|r| carried(loss_factor, *r)).collect()
}

fn sagging_mass(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let frequency = |sag: &f64| {
        let mass = 7.0;
        let model = single(mass * GRAVITY / sag, mass, 1e-4)?;
        Ok(worst_peak(&model, 0, 0).ok_or("no peak")?.frequency_hz)
    };
    inputs.numbers("sag")?.iter().map(frequency).collect()
}

fn unbalance(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (mass, r) = (inputs.number("mass")?, inputs.number("r")?);
    let resonance: f64 = 60.0;
    let model = single(mass * resonance * resonance, mass, 2.0 * inputs.number("zeta")? * r)?;
    // The force rotates in a plane; only one of its directions moves the mass.
    let motion = unbalance_at(&model, 0, [0, 2, 2], inputs.number("unbalance")?, r * resonance / TAU);
    Ok(vec![motion])
}

/// Free decay at `f` Hz of a mode with this loss factor, with an initial velocity of 1 m/s.
fn ringing(f: f64, loss_factor: f64) -> Result<FreeDecay, String> {
    let omega = TAU * f;
    Ok(FreeDecay::after_impulse(&single(omega * omega, 1.0, loss_factor)?, 0, &[0], 1.0))
}

/// Time, s, until the envelope has fallen to the share `share` of its start.
fn time_to(decay: &FreeDecay, share: f64) -> Result<f64, String> {
    decay.settle(share * decay.envelope(0.0)).time.ok_or_else(|| "it never settles".to_string())
}

/// Period, s, of the damped oscillation.
fn period(decay: &FreeDecay) -> f64 {
    TAU / decay.fastest(0.0)
}

fn decay(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let decay = ringing(1.0, 2.0 * inputs.number("zeta")?)?;
    let period = period(&decay);
    let decrement = (decay.envelope(0.0) / decay.envelope(period)).ln();
    let (half, tenth) = (time_to(&decay, 0.5)? / period, time_to(&decay, 0.1)? / period);
    Ok(vec![decrement, half, tenth, time_to(&decay, 1e-3)?])
}

fn decrement(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let decay = ringing(1.0, 2.0 * inputs.number("zeta")?)?;
    // Ratio of successive peaks of the motion: a quarter of a period after the tap and one period later.
    let period = period(&decay);
    let ratio = decay.motion(0, 0.25 * period) / decay.motion(0, 1.25 * period);
    Ok(vec![ratio.ln(), ratio])
}

fn cycles_to(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let decay = ringing(1.0, 2.0 * inputs.number("zeta")?)?;
    Ok(vec![time_to(&decay, inputs.number("share")?)? / period(&decay)])
}

fn reverberation(inputs: &Inputs) -> Result<Vec<f64>, String> {
    Ok(vec![time_to(&ringing(inputs.number("f")?, inputs.number("eta")?)?, 1e-3)?])
}

fn decay_rate(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let decay = ringing(inputs.number("f")?, inputs.number("eta")?)?;
    Ok(vec![20.0 * (decay.envelope(0.0) / decay.envelope(1.0)).log10()])
}

fn energy_lost(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let loss_factor = inputs.number("eta")?;
    let (model, period) = (single(TAU * TAU, 1.0, loss_factor)?, period(&ringing(1.0, loss_factor)?));
    let (observed, blow, duration) = (vec![0], Blow::ideal(1.0), Some(2.0));
    let tapped = Tapped { struck: 0, observed, blow, settle_to: 1e-3, duration };
    let answer = RingDown::compute(&model, &tapped);
    let place = answer.time_s.iter().position(|t| (t / period - 1.0).abs() < 1e-9);
    Ok(vec![1.0 - answer.energy_share[place.ok_or("no sample after one period")?]])
}

/// Width between the half-power points of a modal sum, found by bisection.
fn half_power(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let model = single(1.0, 1.0, inputs.number("eta")?)?;
    let pair = model.pair(0, 0);
    let peak = worst_peak(&model, 0, 0).ok_or("no peak")?;
    let level = peak.compliance_m_per_n / 2f64.sqrt();
    let crossing = |outside: f64| {
        let (mut low, mut high) = (outside, 1.0);
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if pair.at_square(middle).norm() < level { low = middle } else { high = middle }
        }
        low
    };
    let (first, second) = (crossing(0.0), crossing(2.0));
    Ok(vec![second.sqrt() - first.sqrt(), 0.5 * (second - first), peak.compliance_m_per_n])
}

fn criterion(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let name = inputs.text("curve")?.replace('_', " ");
    let curve = FloorSpectrum::criterion(&name).ok_or_else(|| format!("no curve {name}"))?;
    let band = curve.bands.iter().find(|band| (band.frequency_hz / 16.0 - 1.0).abs() < 0.02);
    Ok(vec![1e6 * band.ok_or("no band of 16 Hz")?.velocity_m_per_s])
}

/// Acceleration limit of a curve in a band below 8 Hz, in millionths of gravity.
fn criterion_acceleration(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let name = inputs.text("curve")?;
    let curve = FloorSpectrum::criterion(name).ok_or_else(|| format!("no curve {name}"))?;
    let wanted = inputs.number("band")?;
    let band = curve.bands.iter().find(|band| (band.frequency_hz / wanted - 1.0).abs() < 0.02);
    let band = band.ok_or("no such band")?;
    Ok(vec![1e6 * TAU * band.frequency_hz * band.velocity_m_per_s / GRAVITY])
}

#[cfg(test)]
mod tests {
    use super::super::prove;

    #[test]
    fn every_case_holds() {
        let cases = prove().unwrap().cases;
        let own: Vec<_> = cases.iter().filter(|case| case.id.starts_with("response/")).collect();
        assert!(own.len() > 90, "{} values", own.len());
        let wrong: Vec<_> = own.iter().filter(|case| !case.holds).collect();
        assert!(wrong.is_empty(), "{wrong:#?}");
    }
}
