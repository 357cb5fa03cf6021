//! Where is the cross-section of a hollow chord held near a brace, and what does that take off its walls' give?
//!
//! Out of plane a brace shears the section of its chord into a rhombus, which fades along it as the deflection of a beam
//! on an elastic bed does. The table of walls lets it fade freely. Where something near by keeps the section its shape (a
//! plate, another corner, an anchor), of that part of the give is left
//!
//! ```text
//! φ = (sinh x - sin x) / (cosh x + cos x),   x = 2 c √(t/b) d/b        at most 1; of two sides the harmonic mean
//! ```
//!
//! at a distance d on both sides, with the wall t and the width b of the chord: the deflection of a span of 2 d on that bed,
//! supported at its ends and loaded in the middle, over that of an endless one. The formula is from memory, and becomes
//! that of a span without a bed where x is small, x³/6. By bodies of a rail of 60 x 60 x 3 under
//! posts of 40, 60 and 75 mm, held 3.3, 2 and 1.3 widths away on both sides, 0.75, 0.24 and 0.03 are left, and the part
//! of the whole is (width of the brace/b)^1.5, at most 1. Whether what stands on a rail holds its section is not known.

use std::f64::consts::FRAC_PI_2;
use stillbed_frame::{Frame, Line};

/// c: 0.29 widths at 20 walls a width.
const FADES: f64 = 1.29;

/// Two members are in one line when the cosine between them exceeds this.
const STRAIGHT: f64 = 0.999;

/// Part of the give out of plane that goes where the section of a chord, `width` wide with this `wall`, m, is held `away`
/// on its two sides, m, under a brace that is `across` wide.
pub(super) fn part_gone(away: [f64; 2], width: f64, wall: f64, across: f64) -> f64 {
    let left = |away: f64| {
        let x = 2.0 * FADES * (wall / width).sqrt() * away / width;
        let free = x > 2.0 * FRAC_PI_2;
        if free { 1.0 } else { ((x.sinh() - x.sin()) / (x.cosh() + x.cos())).clamp(f64::MIN_POSITIVE, 1.0) }
    };
    let [one, other] = away.map(left);
    let left = 2.0 / (1.0 / one + 1.0 / other);
    (1.0 - left) * (across / width).powf(1.5).min(1.0)
}

/// How far from `point`, on its two sides along `chord`, something stands on the chord or holds it, m; infinity where
/// nothing does.
pub(super) fn held_away(frame: &Frame, chord: usize, point: usize) -> [f64; 2] {
    let along = |m: usize, from: usize| {
        let x = Line::drawn(frame, &frame.members[m]).map(|line| line.axes.row(0).transpose())?;
        Some(if frame.members[m].from == from { x } else { -x })
    };
    let Some(direction) = along(chord, point) else { return [f64::INFINITY; 2] };
    let ends = |m: usize, at: usize| frame.members[m].from == at || frame.members[m].to == at;
    let walk = |sign: f64| {
        let (mut at, mut walked) = (point, vec![]);
        loop {
            let onward = (0..frame.members.len()).find(|m| {
                let alike = frame.members[*m].section == frame.members[chord].section;
                let straight = || along(*m, at).is_some_and(|own| sign * own.dot(&direction) > STRAIGHT);
                alike && ends(*m, at) && !walked.contains(m) && straight()
            });
            let Some(next) = onward else { return f64::INFINITY };
            walked.push(next);
            at = if frame.members[next].from == at {
                frame.members[next].to
            } else {
                frame.members[next].from
            };
            let on_line = |m: usize| along(m, at).is_some_and(|own| own.dot(&direction).abs() > STRAIGHT);
            let carries = frame.masses.iter().any(|mass| mass.at == at)
                || frame.feet.iter().any(|foot| foot.at.contains(&at))
                || frame.anchors.iter().any(|anchor| anchor.at.contains(&at))
                || frame.arms.iter().any(|arm| arm.from == at || arm.to == at)
                || frame.bodies.iter().any(|body| body.points.contains(&at))
                || (0..frame.members.len()).any(|m| ends(m, at) && !on_line(m));
            if carries {
                return (frame.points[at].position - frame.points[point].position).norm();
            }
        }
    };
    [walk(1.0), walk(-1.0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_section_held_near_gives_as_bodies_say() {
        // From first modes of bodies, 1/f² less that of a rigid corner (107.5 and 88 Hz): posts of 75 and 40 mm.
        let gone = |away: f64, across: f64| part_gone([away; 2], 0.06, 0.003, across);
        for (away, wide, narrow) in [(0.2, 0.26, 0.13), (0.12, 0.77, 0.41), (0.08, 0.97, 0.52)] {
            assert!((gone(away, 0.075) - wide).abs() < 0.05, "{}", gone(away, 0.075));
            assert!((gone(away, 0.04) - narrow).abs() < 0.05, "{}", gone(away, 0.04));
        }
        assert_eq!(gone(f64::INFINITY, 0.04), 0.0);
        // Held on one side it gives more than on both.
        let one_side = part_gone([0.08, f64::INFINITY], 0.06, 0.003, 0.06);
        assert!((0.5..gone(0.08, 0.06)).contains(&one_side));
    }
}
