//! The scale of an axis, shared by text and page: the range it covers and where its ticks are.

use super::block::Axis;
use super::number::{linear_ticks, log_ticks, round_step, tick_label};
use super::unit::Unit;

/// Range and ticks of one axis, in SI.
#[derive(Debug, Clone)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) log: bool,
    pub(super) ticks: Vec<Tick>,
}

/// A labelled tick.
#[derive(Debug, Clone)]
pub(super) struct Tick {
    /// Its value in SI.
    pub(super) at: f64,
    /// Its value in the unit of the axis.
    pub(super) label: String,
}

impl Scale {
    /// The scale whose ends are the least and the largest value, with about `count` ticks.
    pub(super) fn tight(axis: &Axis, values: impl Iterator<Item = f64>, count: usize) -> Scale {
        let (low, high) = limits(values, axis.log);
        Scale::between(low, high, axis.log, axis.unit, count)
    }

    /// The scale whose ends are round numbers that enclose the values.
    pub(super) fn rounded(axis: &Axis, values: impl Iterator<Item = f64>, count: usize) -> Scale {
        let (low, high) = limits(values, axis.log);
        let (low, high) = (low / axis.unit.size, high / axis.unit.size);
        let (low, high) = if axis.log {
            (round_ratio(low, f64::floor), round_ratio(high, f64::ceil))
        } else {
            let step = round_step(high - low, count);
            ((low / step + 1e-9).floor() * step, (high / step - 1e-9).ceil() * step)
        };
        let size = axis.unit.size;
        Scale::between(low * size, high * size, axis.log, axis.unit, count)
    }

    /// The scale from `low` to `high`, with about `count` ticks that are round in `unit`.
    pub(super) fn between(low: f64, high: f64, log: bool, unit: Unit, count: usize) -> Scale {
        let ticks = if log { log_ticks } else { linear_ticks };
        let ticks = ticks(low / unit.size, high / unit.size, count);
        let ticks = ticks.into_iter().map(|v| Tick { at: v * unit.size, label: tick_label(v) });
        Scale { low, high, log, ticks: ticks.collect() }
    }

    /// Position of `value` along the axis: 0 at the low end, 1 at the high end. `None` if it has no position,
    /// such as zero on a logarithmic axis.
    pub(super) fn fraction(&self, value: f64) -> Option<f64> {
        let part = if self.log {
            (value / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        };
        (part.is_finite() && value.abs() < MOST).then_some(part)
    }
}

/// Larger values are not drawn: their differences, or their values in other units, could overflow.
const MOST: f64 = 1e290;

/// Least and largest of the values that can be drawn; the two always differ.
fn limits(values: impl Iterator<Item = f64>, log: bool) -> (f64, f64) {
    let is_shown = |v: &f64| v.abs() < MOST && (!log || *v > 1.0 / MOST);
    let shown = values.filter(is_shown);
    let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    match (low < high, low.is_finite(), log) {
        (true, _, _) => (low, high),
        (false, true, true) => (low / 2.0, high * 2.0),
        (false, true, false) if low == 0.0 => (0.0, 1.0),
        (false, true, false) => (low - 0.5 * low.abs(), low + 0.5 * low.abs()),
        (false, false, true) => (1.0, 10.0),
        (false, false, false) => (0.0, 1.0),
    }
}

/// The nearest number of 1, 2 or 5 times a power of ten, rounded by `end`: up or down.
fn round_ratio(value: f64, end: fn(f64) -> f64) -> f64 {
    let power = 10f64.powf((value.log10() + 1e-9).floor());
    let mantissa = value / power;
    let slack = 1e-6;
    if end(0.5) == 0.0 {
        let factor = [5.0, 2.0, 1.0].into_iter().find(|f| mantissa >= f * (1.0 - slack));
        factor.unwrap_or(1.0) * power
    } else {
        let factor = [1.0, 2.0, 5.0, 10.0].into_iter().find(|f| mantissa <= f * (1.0 + slack));
        factor.unwrap_or(10.0) * power
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MILLI: Unit = Unit::new("mm", 1e-3);

    #[test]
    fn a_rounded_scale_ends_at_ticks() {
        let scale = Scale::rounded(&Axis::linear("", MILLI, ""), [0.0013, 0.0871].into_iter(), 5);
        assert_eq!((scale.low, scale.high), (0.0, 0.1));
        assert_eq!(scale.ticks.len(), 6);
        assert_eq!(scale.ticks[5].label, "100");
        let scale = Scale::rounded(&Axis::log("", Unit::NONE, ""), [0.03, 870.0].into_iter(), 5);
        assert!((scale.low - 0.02).abs() < 1e-12 && (scale.high - 1000.0).abs() < 1e-9);
    }

    #[test]
    fn what_cannot_be_shown_has_no_place() {
        let scale = Scale::tight(&Axis::log("", Unit::NONE, ""), [0.0, -1.0, 10.0, 1000.0].into_iter(), 5);
        assert_eq!((scale.low, scale.high), (10.0, 1000.0));
        assert_eq!(scale.fraction(100.0).map(|f| (f * 1e9).round()), Some(0.5e9));
        assert_eq!(scale.fraction(0.0), None);
        assert_eq!(scale.fraction(-5.0), None);
    }

    #[test]
    fn an_axis_without_values_still_has_two_ends() {
        for axis in [Axis::log("", Unit::NONE, ""), Axis::linear("", Unit::NONE, "")] {
            for values in [vec![], vec![3.0], vec![0.0], vec![f64::NAN]] {
                let scale = Scale::rounded(&axis, values.into_iter(), 4);
                assert!(scale.low < scale.high && !scale.ticks.is_empty(), "{scale:?}");
            }
        }
    }
}
