//! One value with its spread against the line of its target, as a strip; the strips of a row have one scale.

use super::palette::{QUIET, TEXT};
use crate::block::ScoreRow;
use crate::number::tenths;
use maud::{Markup, html};

const WIDE: f64 = 96.0;
const TALL: f64 = 20.0;
/// Ratio of the largest to the least value from which a scale is logarithmic.
const MANY: f64 = 12.0;

/// The strip of build `number`; `None` where it has no value. It says nothing that the text beside it does not.
pub(crate) fn strip(row: &ScoreRow, number: usize) -> Option<Markup> {
    let spread = row.values.get(number).copied().flatten().filter(|spread| spread.value.is_finite())?;
    let at = scale(row);
    let [low, value, high] = [spread.low, spread.value, spread.high].map(|v| tenths(at(v)));
    let middle = 0.5 * TALL;
    Some(html! {
        svg class="strip" viewBox=(format!("0 0 {WIDE} {TALL}")) width=(WIDE) height=(TALL) aria-hidden="true" {
            line class="axis" x1="2" x2=(WIDE - 2.0) y1=(middle) y2=(middle) stroke=(QUIET) stroke-width="0.6" {}
            @for (limit, sign) in [(row.at_least, 1.0), (row.at_most, -1.0)] {
                @if let Some(x) = limit.map(&at) {
                    // The bar of the line points to the side that is asked for.
                    path class="mark" fill="none" stroke=(TEXT) stroke-width="1.5"
                        d=(format!("M{} 1H{}V{}H{}", tenths(x + 4.0 * sign), tenths(x), TALL - 1.0, tenths(x + 4.0 * sign))) {}
                }
            }
            @if !spread.is_exact() {
                path class="s0" fill="none" stroke="#0072b2" stroke-width="3" stroke-opacity="0.45"
                    d=(format!("M{low} {middle}H{high}")) {}
            }
            circle class="f0" cx=(value) cy=(middle) r="4" fill="#0072b2" {}
        }
    })
}

/// From a value of the row to its place along the strip.
fn scale(row: &ScoreRow) -> impl Fn(f64) -> f64 + use<> {
    let values = row.values.iter().flatten().flat_map(|s| [s.low, s.value, s.high]);
    let all = || values.clone().chain(row.at_least).chain(row.at_most).filter(|v| v.is_finite());
    let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let log = low > 0.0 && high / low > MANY;
    let shown = move |v: f64| if log { v.ln() } else { v };
    let (from, to) = (shown(low), shown(high));
    move |v| {
        let part = (shown(v) - from) / (to - from);
        let part = if part.is_finite() { part.clamp(0.0, 1.0) } else { 0.5 };
        8.0 + part * (WIDE - 16.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::block::Score;
    use crate::demo;

    #[test]
    fn values_and_targets_have_one_scale() {
        let scores = demo::scores();
        let at = scale(&scores.rows[0]);
        assert_eq!((at(9.7e6), at(24.9e6)), (8.0, 88.0));
        assert!((at(17.3e6) - 48.0).abs() < 1e-9);
        assert!(strip(&scores.rows[1], 1).is_none(), "what never settles has no place");
        // From 62 ms to 1210 ms the scale is logarithmic.
        let at = scale(&scores.rows[1]);
        assert!((at((0.062_f64 * 1.21).sqrt()) - 48.0).abs() < 1e-9);
        assert_eq!(scores.rows[1].score(2), Some(Score::Met));
        assert_eq!(scores.rows[1].score(1), Some(Score::Missed));
    }
}
