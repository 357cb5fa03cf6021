//! Energy shares: one row per motion, divided and hatched by kind from left to right.

use super::palette::{QUIET, hatched};
use super::{Entry, fitted, legend, r};
use crate::block::{Motion, Wire};
use maud::{Markup, html};
use stillbed_input::quantity::figures;

const ROW: f64 = 40.0;

/// True if the wire drawing has energy shares.
pub(super) fn known(wire: &Wire) -> bool {
    wire.motions.iter().any(|motion| !motion.shares.is_empty())
}

/// The rows between `left` and `right` from `top` down, and their lower end.
pub(super) fn draw(wire: &Wire, (left, right): (f64, f64), top: f64, id: &str) -> (Markup, f64) {
    if !known(wire) {
        return (html! {}, 0.0);
    }
    let kinds = wire.kinds();
    let entries = kinds.iter().enumerate().map(|(n, kind)| Entry {
        sign: hatched(&format!("{id}-kind-{n}"), n, "M0 0h26v12h-26z", [0.0, 0.0, 26.0, 12.0]),
        name: kind.replace('_', " "),
    });
    let bottom = top + ROW * wire.motions.len() as f64;
    let (legend, end) = legend(entries.collect(), left, right, bottom + 10.0);
    let drawn = html! {
        text class="quiet" fill=(QUIET) x=(r(left)) y=(r(top - 12.0)) { "where the energy sits" }
        @for (i, motion) in wire.motions.iter().enumerate() {
            @let y = top + ROW * i as f64;
            g class="row" data-row=(i) {
                text x=(r(left)) y=(r(y + 13.0)) { (fitted(&motion.name, right - left)) }
                @for (n, (from, to)) in spans(motion, &kinds).into_iter().enumerate() {
                    @if to > from {
                        @let (x, end) = (r(left + from * (right - left)), r(left + to * (right - left)));
                        @let path = format!("M{x} {}H{end}v14H{x}z", r(y + 18.0));
                        g {
                            title { (kinds[n].replace('_', " ")) " " (figures(100.0 * (to - from), 3)) " %" }
                            (hatched(&format!("{id}-share-{i}-{n}"), n, &path, [x, r(y + 18.0), end, r(y + 32.0)]))
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
fn spans(motion: &Motion, kinds: &[&str]) -> Vec<(f64, f64)> {
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
        let wire = demo::frame();
        let kinds = wire.kinds();
        assert_eq!(kinds, ["skeleton", "joints"]);
        assert_eq!(spans(&wire.motions[0], &kinds), [(0.0, 0.6), (0.6, 1.0)]);
    }
}
