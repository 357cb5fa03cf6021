//! Numbers as text: significant figures for values, round steps for axes.

/// `value` to `digits` significant figures, with trailing zeros that are significant: 2.00 for three.
///
/// Whole numbers keep all their digits (`1234`, not `1230`). Below 1e-4 and from 1e7 on the text is in
/// powers of ten. A value that is not finite gives `-`.
///
/// ```
/// assert_eq!(stillbed_report::significant(2.0, 3), "2.00");
/// assert_eq!(stillbed_report::significant(1234.0, 3), "1234");
/// ```
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "-".to_string();
    }
    if value == 0.0 {
        return "0".to_string();
    }
    let digits = digits.max(1);
    // The power is taken from the rounded number: 9.996 gives 10.0, not 10.00.
    let text = format!("{value:.*e}", digits - 1);
    let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
    match power.parse::<i32>() {
        Ok(power @ -4..7) => format!("{value:.*}", (digits as i32 - 1 - power).max(0) as usize),
        _ => format!("{mantissa}e{power}"),
    }
}

/// About `count` round values from `low` to `high`, in steps of 1, 2 or 5 times a power of ten.
pub(super) fn linear_ticks(low: f64, high: f64, count: usize) -> Vec<f64> {
    let step = round_step(high - low, count);
    if step == 0.0 || !step.is_finite() {
        return vec![low];
    }
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last.min(first + 50)).map(|i| i as f64 * step).collect()
}

/// The step of 1, 2 or 5 times a power of ten that divides `span` into about `count` steps.
pub(super) fn round_step(span: f64, count: usize) -> f64 {
    let raw = span.abs() / count.max(1) as f64;
    if raw <= 0.0 || !raw.is_finite() {
        return 0.0;
    }
    let power = 10f64.powf(raw.log10().floor());
    let factor = [1.0, 2.0, 5.0, 10.0].into_iter().find(|f| raw <= f * power * 1.0001);
    factor.unwrap_or(10.0) * power
}

/// Ticks of a logarithmic axis: powers of ten, also their 2- and 5-fold if those are few, or equal steps
/// if the range is less than a factor of four.
pub(super) fn log_ticks(low: f64, high: f64, count: usize) -> Vec<f64> {
    let decades = (high / low).log10();
    if decades < 0.6 {
        return linear_ticks(low, high, count);
    }
    let first = low.log10().floor() as i32;
    let last = high.log10().ceil() as i32;
    let every = (decades / count.max(1) as f64).ceil().max(1.0) as i32;
    let factors: &[f64] = if 3.0 * decades <= count as f64 {
        &[1.0, 2.0, 5.0]
    } else if every == 1 && decades < 2.0 {
        &[1.0, 3.0]
    } else {
        &[1.0]
    };
    (first..=last)
        .filter(|power| power.rem_euclid(every) == 0)
        .flat_map(|power| factors.iter().map(move |f| f * 10f64.powi(power)))
        .filter(|v| *v >= low * (1.0 - 1e-9) && *v <= high * (1.0 + 1e-9))
        .collect()
}

/// A tick's label in as few characters as possible.
pub(super) fn tick_label(value: f64) -> String {
    stillbed_input::quantity::figures(value, 6)
}

/// `value` rounded to a tenth: a coordinate of a drawing.
pub(super) fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_that_say_something_are_kept() {
        assert_eq!(significant(2.0, 3), "2.00");
        assert_eq!(significant(9.996, 3), "10.0");
        assert_eq!(significant(1234.5, 3), "1234");
        assert_eq!(significant(0.000_123_45, 3), "0.000123");
        assert_eq!(significant(-1.5e-6, 3), "-1.50e-6");
        assert_eq!(significant(2.1e11, 3), "2.10e11");
        assert_eq!(significant(f64::INFINITY, 3), "-");
    }

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(linear_ticks(0.0, 97.0, 5), [0.0, 20.0, 40.0, 60.0, 80.0]);
        assert_eq!(linear_ticks(3.0, 3.0, 5), [3.0]);
        assert_eq!(log_ticks(10.0, 1000.0, 6), [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]);
        assert_eq!(log_ticks(1e-9, 1e3, 4), [1e-9, 1e-6, 1e-3, 1.0, 1e3]);
        assert_eq!(log_ticks(100.0, 200.0, 5), [100.0, 120.0, 140.0, 160.0, 180.0, 200.0]);
    }
}
