//! Published cases of damping: conversions between its measures, half-power widths, windows, and records read
//! back.

use super::{Evaluator, Inputs};
use num_complex::Complex64;
use stillbed_tap::{
    DampingMeasures, HalfPowerPoints, ReadingOptions, SyntheticMode, SyntheticRecord, SyntheticTap,
    from_pole, half_power_points, loss_over_cycles, read_taps, synthesise, to_pole, without_window,
};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("viscous", |inputs| {
        let loss = 2.0 * inputs.number("zeta")?;
        let decay = decay(1.0, loss)?;
        let cycles = [decay.cycles_to_half, decay.cycles_to_tenth];
        Ok(vec![decay.decrement, loss, decay.quality, cycles[0], cycles[1], decay.t60_s])
    }),
    ("width_viscous", |inputs| {
        let zeta = inputs.number("zeta")?;
        let points = read_off(zeta, |r| Complex64::new(1.0 - r * r, 2.0 * zeta * r))?;
        Ok(vec![points.high_hz - points.low_hz])
    }),
    ("width_hysteretic", |inputs| {
        let loss = inputs.number("loss")?;
        let points = read_off(0.5 * loss, |r| Complex64::new(1.0 - r * r, loss))?;
        Ok(vec![points.high_hz - points.low_hz, points.loss_factor(), 1.0 / points.loss_factor()])
    }),
    ("root", |inputs| {
        let root = Complex64::new(1.0, inputs.number("loss")?).sqrt();
        Ok(vec![from_pole(root.im, root.re).1 / 2.0])
    }),
    ("t60", |inputs| Ok(vec![of(inputs)?.t60_s])),
    ("level", |inputs| Ok(vec![of(inputs)?.decay_db_per_s])),
    ("lost", |inputs| Ok(vec![of(inputs)?.lost_per_cycle])),
    ("window", |inputs| {
        let (rate, ringing) = to_pole(inputs.number("frequency")?, 2.0 * inputs.number("zeta")?);
        let moved = rate + 1.0 / inputs.number("time_constant")?;
        let back = without_window(moved, inputs.number("time_constant")?);
        Ok(vec![back, from_pole(moved, ringing).1 / 2.0])
    }),
    ("window_out", |inputs| {
        let (frequency, tau) = (inputs.number("frequency")?, inputs.number("time_constant")?);
        let mut record = made(frequency, 2.0 * inputs.number("zeta")?, 20.0 * frequency, 1e-3)?;
        let per_sample = 1.0 / (tau * record.sample_rate_hz);
        let x = &mut record.channels[0].samples;
        x.iter_mut().enumerate().for_each(|(n, x)| *x *= (-(n as f64) * per_sample).exp());
        let listen = ReadingOptions { window_s: Some(tau), ..ReadingOptions::default() };
        Ok(vec![read(&record, &listen)?.1])
    }),
    ("cycles", |inputs| {
        let loss = loss_over_cycles(inputs.number("from")?, inputs.number("to")?, inputs.number("cycles")?);
        Ok(vec![loss.ok_or("it does not decay")?])
    }),
    ("successive", |inputs| {
        let decay = decay(inputs.number("frequency")?, 2.0 * inputs.number("zeta")?)?;
        Ok(vec![decay.decrement, decay.decrement.exp()])
    }),
    ("record", |inputs| {
        let (frequency, loss) = (inputs.number("frequency")?, inputs.number("loss")?);
        let record = made(frequency, loss, inputs.number("rate")?, inputs.number("noise")?)?;
        let (frequency, loss) = read(&record, &ReadingOptions::default())?;
        Ok(vec![frequency, loss])
    }),
];

fn decay(frequency: f64, loss: f64) -> Result<DampingMeasures, String> {
    DampingMeasures::new(frequency, loss).ok_or_else(|| "nothing decays".to_string())
}

fn of(inputs: &Inputs) -> Result<DampingMeasures, String> {
    decay(inputs.number("frequency")?, inputs.number("loss")?)
}

/// Half-power points of the response 1 / `stiffness`, a function of the frequency ratio, around a mode of
/// damping ratio `zeta`.
fn read_off(zeta: f64, stiffness: impl Fn(f64) -> Complex64) -> Result<HalfPowerPoints, String> {
    let ratio: Vec<f64> = (0..8001).map(|i| 1.0 + zeta * (i as f64 / 1000.0 - 4.0)).collect();
    let power: Vec<f64> = ratio.iter().map(|r| 1.0 / stiffness(*r).norm_sqr()).collect();
    half_power_points(&ratio, &power).ok_or_else(|| "no peak".to_string())
}

/// A synthetic record of one mode with one tap at its beginning, ten time constants long.
fn made(frequency_hz: f64, loss_factor: f64, rate: f64, noise: f64) -> Result<stillbed_tap::Record, String> {
    let (decay, _) = to_pole(frequency_hz, loss_factor);
    let ring = SyntheticMode { frequency_hz, loss_factor, rise: 0.0, amplitudes: vec![1.0], phase: 0.3 };
    let recipe = SyntheticRecord {
        sample_rate_hz: rate,
        duration_s: 10.0 / decay,
        modes: vec![ring],
        taps: vec![SyntheticTap { time_s: 0.0, strength: 1.0 }],
        noise,
        seed: 1,
        offset: 0.0,
        limit: None,
        step: None,
    };
    synthesise(&recipe).map_err(|problems| format!("{problems:?}"))
}

/// Frequency and loss factor of the only mode read from `record`.
fn read(record: &stillbed_tap::Record, listen: &ReadingOptions) -> Result<(f64, f64), String> {
    let reading = read_taps(record, listen).map_err(|problems| format!("{problems:?}"))?;
    match &reading.modes[..] {
        [mode] => {
            let loss = mode.loss_factor.ok_or("the damping is not resolved")?;
            Ok((mode.frequency_hz.value, loss.value))
        }
        modes => Err(format!("{} modes read", modes.len())),
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        super::super::all_hold("damping");
    }
}
