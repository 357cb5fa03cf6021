//! A tree of boxes over triangles, by which those near a place are found without a look at all of them.

use nalgebra::Vector3;

/// The corners of a triangle, m.
pub(crate) type Corners = [Vector3<f64>; 3];

/// The least and greatest coordinates of something, m.
pub(crate) type Extent = [Vector3<f64>; 2];

/// Most triangles of a box that is not divided.
const FEW: usize = 4;

/// A tree of boxes over triangles.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Tree {
    /// Depth first; the first half of a divided box follows it.
    boxes: Vec<Bounds>,
    /// Numbers of triangles, those of a box that is not divided in a row.
    order: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq)]
struct Bounds {
    extent: Extent,
    /// Where its triangles begin in the order, and their number; none where it is divided.
    own: [usize; 2],
    /// The box after all that lies within it.
    next: usize,
}

/// The least and greatest coordinates of `points`.
pub(crate) fn extent_of<'p>(points: impl IntoIterator<Item = &'p Vector3<f64>>) -> Extent {
    let nothing = [Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY)];
    points.into_iter().fold(nothing, |[low, high], point| [low.inf(point), high.sup(point)])
}

impl Tree {
    /// The tree over `triangles`.
    pub fn new(triangles: &[Corners]) -> Tree {
        let mut tree = Tree { boxes: Vec::new(), order: (0..triangles.len()).collect() };
        tree.divide(triangles, 0, triangles.len());
        tree
    }

    fn divide(&mut self, triangles: &[Corners], from: usize, to: usize) {
        let own = &mut self.order[from..to];
        let extent = extent_of(own.iter().flat_map(|i| &triangles[*i]));
        let number = self.boxes.len();
        let few = own.len() <= FEW;
        self.boxes.push(Bounds { extent, own: if few { [from, to - from] } else { [0; 2] }, next: 0 });
        if !few {
            let twice_middle = |i: usize| extent_of(&triangles[i]).into_iter().sum::<Vector3<f64>>();
            let middles: Vec<Vector3<f64>> = own.iter().map(|i| twice_middle(*i)).collect();
            let [low, high] = extent_of(&middles);
            let axis = (high - low).imax();
            let half = own.len() / 2;
            own.select_nth_unstable_by(half, |a, b| {
                twice_middle(*a)[axis].total_cmp(&twice_middle(*b)[axis])
            });
            self.divide(triangles, from, from + half);
            self.divide(triangles, from + half, to);
        }
        self.boxes[number].next = self.boxes.len();
    }

    /// Calls `each` with the triangles of all boxes that `meets`, until it returns false.
    pub fn find(&self, meets: impl Fn(&Extent) -> bool, mut each: impl FnMut(usize) -> bool) {
        let mut at = 0;
        while let Some(bounds) = self.boxes.get(at) {
            if !meets(&bounds.extent) {
                at = bounds.next;
                continue;
            }
            let [from, count] = bounds.own;
            if !self.order[from..from + count].iter().all(|i| each(*i)) {
                return;
            }
            at += 1;
        }
    }
}

/// True when two extents overlap or touch.
pub(crate) fn overlap(a: &Extent, b: &Extent) -> bool {
    (0..3).all(|axis| a[0][axis] <= b[1][axis] && b[0][axis] <= a[1][axis])
}

/// True when a triangle meets the box about `middle` that reaches `half` to each side: no direction separates them.
pub(crate) fn meets_box(corners: &Corners, middle: &Vector3<f64>, half: &Vector3<f64>) -> bool {
    let own = corners.map(|corner| corner - middle);
    let apart = |along: &Vector3<f64>| {
        let places = own.map(|corner| corner.dot(along));
        let reach = along.abs().dot(half);
        places.iter().all(|place| *place > reach) || places.iter().all(|place| *place < -reach)
    };
    let axes = [Vector3::x(), Vector3::y(), Vector3::z()];
    let edges = [own[1] - own[0], own[2] - own[1], own[0] - own[2]];
    !axes.iter().any(apart)
        && !apart(&edges[0].cross(&edges[1]))
        && !axes.iter().any(|axis| edges.iter().any(|edge| apart(&axis.cross(edge))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_free::numbers;

    /// Numbers from 0 to 1 that repeat.
    mod rand_free {
        pub fn numbers() -> impl FnMut() -> f64 {
            let mut state = 1_u64;
            move || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 11) as f64 / (1_u64 << 53) as f64
            }
        }
    }

    #[test]
    fn a_box_finds_those_triangles_that_points_within_it_find() {
        let mut number = numbers();
        let mut point = |by: f64| Vector3::new(by * number(), by * number(), by * number());
        let triangles: Vec<Corners> = (0..300)
            .map(|_| {
                let at = point(1.0);
                [at, at + point(0.2), at + point(0.2)]
            })
            .collect();
        let tree = Tree::new(&triangles);
        let (middle, half) = (Vector3::new(0.5, 0.6, 0.4), Vector3::new(0.1, 0.15, 0.05));
        let mut found = Vec::new();
        tree.find(
            |extent| overlap(extent, &[middle - half, middle + half]),
            |i| {
                if meets_box(&triangles[i], &middle, &half) {
                    found.push(i);
                }
                true
            },
        );
        found.sort_unstable();
        // The same by many points of each triangle: none may lie in the box unfound.
        let touched = |corners: &Corners| {
            (0..=60).any(|i| {
                (0..=60 - i).any(|j| {
                    let (u, v) = (f64::from(i) / 60.0, f64::from(j) / 60.0);
                    let at = corners[0] * (1.0 - u - v) + corners[1] * u + corners[2] * v - middle;
                    (0..3).all(|axis| at[axis].abs() <= half[axis])
                })
            })
        };
        let by_points: Vec<usize> = (0..triangles.len()).filter(|i| touched(&triangles[*i])).collect();
        assert!(by_points.len() > 3 && by_points.iter().all(|i| found.contains(i)));
        // Those that points miss only graze it.
        assert!(found.len() <= by_points.len() + 3, "{found:?} {by_points:?}");
    }
}
