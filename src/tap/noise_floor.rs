//! How quiet is a channel between the taps: its noise floor and its quantization step.

/// The `q` quantile of `levels`; 0 when there are none.
pub(super) fn level_quantile(levels: &[f64], q: f64) -> f64 {
    if levels.is_empty() {
        return 0.0;
    }
    let mut sorted = levels.to_vec();
    let at = ((levels.len() - 1) as f64 * q).round() as usize;
    *sorted.select_nth_unstable_by(at, f64::total_cmp).1
}

/// The median; 0 when there are no values.
pub(super) fn median(values: &[f64]) -> f64 {
    level_quantile(values, 0.5)
}

/// Root mean square of the noise: the 20 % quantile over short stretches of `x` (20 ms, at least 16 samples).
///
/// It is at least that of rounding to the quantization step, and at least 1e-9 of the largest value, so
/// that it is zero for a constant zero only.
pub(super) fn noise(x: &[f64], rate_hz: f64) -> f64 {
    let length = ((0.02 * rate_hz) as usize).max(16);
    let variance = |part: &[f64]| {
        let mean = part.iter().sum::<f64>() / part.len() as f64;
        part.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / part.len() as f64
    };
    let stretches: Vec<f64> = x.chunks(length).filter(|part| 2 * part.len() > length).map(variance).collect();
    let largest = x.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
    let rounding = quantum(x) / 12f64.sqrt();
    level_quantile(&stretches, 0.2).sqrt().max(1e-9 * largest).max(rounding)
}

/// The smallest difference between distinct values of `x`, or of every n-th value where `x` is long; 0
/// when all are equal.
pub(super) fn quantum(x: &[f64]) -> f64 {
    let mut values: Vec<f64> = x.iter().step_by((x.len() >> 16).max(1)).copied().collect();
    values.sort_by(f64::total_cmp);
    let step = values.windows(2).map(|p| p[1] - p[0]).filter(|d| *d > 0.0).fold(f64::MAX, f64::min);
    if step < f64::MAX { step } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_and_noise() {
        assert_eq!(level_quantile(&[3.0, 1.0, 2.0], 0.0), 1.0);
        assert_eq!(median(&[3.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(&[]), 0.0);
        let mut x: Vec<f64> = (0..4000).map(|n| if n % 2 == 0 { 0.1 } else { -0.1 }).collect();
        x[..500].iter_mut().for_each(|x| *x *= 100.0);
        approx::assert_relative_eq!(noise(&x, 1000.0), 0.1, max_relative = 0.01);
    }
}
