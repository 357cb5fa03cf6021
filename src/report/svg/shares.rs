//! Energy shares: one row per motion, divided and hatched by kind from left to right.

use super::palette::{QUIET, hatched};
use super::sheet::{LegendEntry, fitted, legend};
use crate::block::{ModeShape, Wireframe};
use crate::number::tenths;
use maud::{Markup, html};
use stillbed_input::quantity::figures;

const ROW: f64 = 40.0;

/// True if the wire drawing has energy shares.
pub(super) fn known(wireframe: &Wireframe) -> bool {
    wireframe.motions.iter().any(|motion| !motion.shares.is_empty())
}

/// The rows between `left` and `right` from `top` down, and their lower end.
pub(super) fn draw(wireframe: &Wireframe, (left, right): (f64, f64), top: f64, id: &str) -> (Markup, f64) {
    if !known(wireframe) {
        return (html! {}, 0.0);
    }
    let kinds = wireframe.kinds();
    let entries = kinds.iter().enumerate().map(|(n, kind)| LegendEntry {
        sign: hatched(&format!("{id}-kind-{n}"), n, "M0 0h26v12h-26z", [0.0, 0.0, 26.0, 12.0]),
        name: kind.replace('_', " "),
    });
    let bottom = top + ROW * wireframe.motions.len() as f64;
    let (legend, end) = legend(entries.collect(), left, right, bottom + 10.0);
    let drawn = html! {
        text class="quiet" fill=(QUIET) x=(tenths(left)) y=(tenths(top - 12.0)) { "where the energy sits" }
        @for (i, motion) in wireframe.motions.iter().enumerate() {
            @let y = top + ROW * i as f64;
            g class="row" data-row=(i) {
                text x=(tenths(left)) y=(tenths(y + 13.0)) { (fitted(&motion.name, right - left)) }
                @for (n, (from, to)) in spans(motion, &kinds).into_iter().enumerate() {
                    @if to > from {
                        @let (x, end) = (tenths(left + from * (right - left)), tenths(left + to * (right - left)));
                        @let path = format!("M{x} {}H{end}v14H{x}z", tenths(y + 18.0));
                        g {
                            title { (kinds[n].replace('_', " ")) " " (figures(100.0 * (to - from), 3)) " %" }
                            (hatched(&format!("{id}-share-{i}-{n}"), n, &path, [x, tenths(y + 18.0), end, tenths(y + 32.0)]))
                        }
                    }
                }
            }
        }
        (legend)
    };
    (drawn, end + 4.0)
}

/// Start and end of each kind's share along the row, from 0 to 1.
fn spans(motion: &ModeShape, kinds: &[&str]) -> Vec<(f64, f64)> {
    let mut from = 0.0;
    let span = |kind: &&str| {
        let share = motion.share(kind).filter(|share| share.is_finite()).unwrap_or(0.0);
        let to = (from + share.clamp(0.0, 1.0)).min(1.0);
        let span = (from, to);
        from = to;
        span
    };
    kinds.iter().map(span).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    #[test]
    fn shares_follow_each_other() {
        let wireframe = demo::frame();
        let kinds = wireframe.kinds();
        assert_eq!(kinds, ["skeleton", "joints"]);
        assert_eq!(spans(&wireframe.motions[0], &kinds), [(0.0, 0.6), (0.6, 1.0)]);
    }
}
