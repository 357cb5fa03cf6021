//! How outlines lie to each other: one inside another, how far apart, how far one sticks out.
//!
//! Outlines are closed rings of corners [y, z], m, with curves already drawn as chords.

use super::point::cross;

/// Distance below which outlines count as touching, m.
pub const TOUCHING: f64 = 1e-6;

/// Points tested on each side of an outline.
const LOOKS: usize = 16;

/// True when `inner` lies inside `outer`; touching the border is allowed.
pub fn within(inner: &[[f64; 2]], outer: &[[f64; 2]]) -> bool {
    // Middles of sides too: a side can leave a concave outline between its ends.
    let middle = |(a, b): ([f64; 2], [f64; 2])| [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
    inner.iter().all(|p| holds(outer, *p)) && sides(inner).map(middle).all(|p| holds(outer, p))
}

/// True when `p` lies inside `ring` or on its border.
fn holds(ring: &[[f64; 2]], p: [f64; 2]) -> bool {
    let mut odd = false;
    for (a, b) in sides(ring) {
        if to_side(p, a, b) <= TOUCHING {
            return true;
        }
        if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0] {
            odd = !odd;
        }
    }
    odd
}

/// Distance between two outlines that do not cross, m.
pub fn distance(a: &[[f64; 2]], b: &[[f64; 2]]) -> f64 {
    let from = |points: &[[f64; 2]], ring: &[[f64; 2]]| {
        points.iter().map(|p| to_ring(*p, ring)).fold(f64::INFINITY, f64::min)
    };
    from(a, b).min(from(b, a))
}

/// How far `ring` sticks out of the union of `outlines`, m; `None` where it lies wholly inside or wholly
/// outside.
pub fn stands_out(ring: &[[f64; 2]], outlines: &[Vec<[f64; 2]>]) -> Option<f64> {
    let (mut out, mut within) = (0.0_f64, 0.0_f64);
    for (a, b) in sides(ring) {
        for k in 0..LOOKS {
            let t = k as f64 / LOOKS as f64;
            let p = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
            let near = |outline: &Vec<[f64; 2]>| to_ring(p, outline);
            if outlines.iter().any(|outline| holds(outline, p)) {
                let deep = outlines.iter().filter(|outline| holds(outline, p)).map(near);
                within = deep.fold(within, f64::max);
            } else {
                out = out.max(outlines.iter().map(near).fold(f64::INFINITY, f64::min));
            }
        }
    }
    (out > TOUCHING && within > TOUCHING).then_some(out)
}

/// The convex hull of `points`, anticlockwise; fewer than three points are returned as they are.
pub fn hull(points: impl IntoIterator<Item = [f64; 2]>) -> Vec<[f64; 2]> {
    let mut points: Vec<[f64; 2]> = points.into_iter().collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let half = |points: &mut dyn Iterator<Item = &[f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while chain.len() > 1 && cross(chain[chain.len() - 2], chain[chain.len() - 1], *p) <= 0.0 {
                chain.pop();
            }
            chain.push(*p);
        }
        chain.pop();
        chain
    };
    let mut outline = half(&mut points.iter());
    outline.extend(half(&mut points.iter().rev()));
    outline
}

fn sides(ring: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]))
}

fn to_ring(p: [f64; 2], ring: &[[f64; 2]]) -> f64 {
    sides(ring).map(|(a, b)| to_side(p, a, b)).fold(f64::INFINITY, f64::min)
}

fn to_side(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dy, dz) = (b[0] - a[0], b[1] - a[1]);
    let along = ((p[0] - a[0]) * dy + (p[1] - a[1]) * dz) / (dy * dy + dz * dz).max(f64::MIN_POSITIVE);
    let t = along.clamp(0.0, 1.0);
    (p[0] - a[0] - t * dy).hypot(p[1] - a[1] - t * dz)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(half: f64, z: f64) -> Vec<[f64; 2]> {
        vec![[-half, z - half], [half, z - half], [half, z + half], [-half, z + half]]
    }

    #[test]
    fn what_stands_out_and_how_far() {
        let mould = [square(0.05, 0.0)];
        assert_eq!(stands_out(&square(0.02, 0.0), &mould), None);
        // Flush with the mould, or standing on top of it.
        assert_eq!(stands_out(&square(0.02, 0.03), &mould), None);
        assert_eq!(stands_out(&square(0.02, 0.07), &mould), None);
        let out = stands_out(&square(0.02, 0.04), &mould).unwrap();
        approx::assert_relative_eq!(out, 0.01, max_relative = 1e-9);
        // A plate wider than the mould, sunk into it.
        let plate = vec![[-0.08, 0.045], [0.08, 0.045], [0.08, 0.055], [-0.08, 0.055]];
        approx::assert_relative_eq!(
            stands_out(&plate, &mould).unwrap(),
            0.03f64.hypot(0.005),
            max_relative = 1e-9
        );
        // Two fills, one on top of the other, contain it together.
        assert_eq!(stands_out(&square(0.02, 0.05), &[square(0.05, 0.0), square(0.05, 0.1)]), None);
    }

    #[test]
    fn a_channel_has_its_inside_within_its_hull() {
        let channel = [
            [0.0, 0.0],
            [0.05, 0.0],
            [0.05, 0.005],
            [0.005, 0.005],
            [0.005, 0.095],
            [0.05, 0.095],
            [0.05, 0.1],
            [0.0, 0.1],
        ];
        let hull = hull(channel.iter().copied());
        assert_eq!(hull.len(), 4);
        assert!(within(&[[0.005, 0.005], [0.05, 0.005], [0.05, 0.095], [0.005, 0.095]], &hull));
    }
}
