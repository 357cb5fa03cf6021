//! Places the names of points in a wire drawing: beside their point and not over each other.

use crate::block::Wireframe;

/// Offset of a name from its point, and the SVG text anchor.
pub(super) type Spot = (i32, i32, &'static str);

/// Places around a point, tried in this order after the preferred one.
const AROUND: [Spot; 6] = [
    (10, 4, "start"),
    (-10, 4, "end"),
    (10, -8, "start"),
    (-10, -8, "end"),
    (10, 18, "start"),
    (-10, 18, "end"),
];

/// The boxes taken so far: left, right, top, bottom.
pub(super) struct Names {
    taken: Vec<[f64; 4]>,
    edges: (f64, f64),
}

impl Names {
    /// A drawing of `width` by `height` without names.
    pub fn new(width: f64, height: f64) -> Names {
        Names { taken: Vec::new(), edges: (width, height) }
    }

    /// Keeps names out of a box of left, right, top and bottom.
    pub fn keep_free(&mut self, room: [f64; 4]) {
        self.taken.push(room);
    }

    /// The place of a name of width `long` at `point`: as `preferred` if free, else another around the point;
    /// `None` if all would cover another name.
    pub fn find(&mut self, point: (f64, f64), long: f64, preferred: Spot) -> Option<Spot> {
        let spots = std::iter::once(preferred).chain(AROUND);
        let (spot, room) = spots.map(|spot| (spot, covered(point, long, spot))).find(|(_, room)| {
            let inside = room[0] >= 0.0 && room[1] <= self.edges.0 && room[3] <= self.edges.1;
            let apart = |b: &[f64; 4]| room[1] < b[0] || b[1] < room[0] || room[3] < b[2] || b[3] < room[2];
            inside && self.taken.iter().all(apart)
        })?;
        self.taken.push(room);
        Some(spot)
    }
}

fn covered((x, y): (f64, f64), long: f64, (dx, dy, anchor): Spot) -> [f64; 4] {
    let (x, y) = (x + f64::from(dx), y + f64::from(dy));
    let left = match anchor {
        "end" => x - long,
        "middle" => x - long / 2.0,
        _ => x,
    };
    [left, left + long, y - 11.0, y + 3.0]
}

/// The best place of a point's name: away from the lines that meet there.
pub(super) fn beside(point: usize, wireframe: &Wireframe, at: &dyn Fn(usize) -> Option<(f64, f64)>) -> Spot {
    let pairs =
        wireframe.lines.iter().flat_map(|line| line.through.windows(2)).filter_map(|pair| match pair {
            [a, b] if *a == point => Some(*b),
            [a, b] if *b == point => Some(*a),
            _ => None,
        });
    let (mut u, mut v) = (0.0, 0.0);
    if let Some((x, y)) = at(point) {
        for (nx, ny) in pairs.filter_map(at) {
            let length = (nx - x).hypot(ny - y).max(1e-9);
            u += (nx - x) / length;
            v += (ny - y) / length;
        }
    }
    let held = wireframe.feet.contains(&point);
    let dy = match (v < -0.3, held) {
        (true, true) => 26,
        (true, false) => 18,
        (false, _) => -6,
    };
    match u {
        u if u > 0.35 => (-10, dy.min(18), "end"),
        u if u < -0.35 => (10, dy.min(18), "start"),
        _ => (0, dy, "middle"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_do_not_lie_on_each_other() {
        let mut names = Names::new(300.0, 200.0);
        let first = names.find((100.0, 100.0), 60.0, (10, 4, "start"));
        assert_eq!(first, Some((10, 4, "start")));
        let second = names.find((102.0, 101.0), 60.0, (10, 4, "start"));
        assert_eq!(second, Some((-10, 4, "end")));
        assert_eq!(names.find((100.0, 100.0), 400.0, (10, 4, "start")), None);
    }
}
