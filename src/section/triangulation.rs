//! A triangulation of all solid parts that can be refined where asked; no triangle crosses a border.
//!
//! A triangle is refined by the longest-edge propagation path: from neighbour to neighbour over ever
//! longer sides, the last triangle is divided at the middle of its longest side. Then sides within a
//! part are flipped until the triangulation is Delaunay again. The new point on a side that stands for
//! an arc is moved onto the circle, so that borders approach the drawn shape. Sides that end in a
//! re-entrant corner, where strains are singular, are divided close to it. The number of points is
//! limited.
//!
//! # Source
//! - `rivara1997`: longest-edge propagation path, Delaunay triangulations

use super::mirror::Mirrors;
use super::outline::{Circle, Drawing};
use super::point::{Point, cross, distance};

/// Largest number of points besides those of the outlines.
const MOST_POINTS: usize = 4000;

/// Cosine of the largest angle allowed: slender triangles do no harm, flat ones do.
const LARGEST_ANGLE: f64 = -0.8;

/// Angle of a part at a border point above which the corner is re-entrant, degrees; above any angle
/// between the chords of a drawn arc.
const REENTRANT: f64 = 205.0;

/// Where a side that ends in a re-entrant corner is divided, as a share of its length from the corner.
const NEAR: f64 = 0.2;

/// Radius of the ring of points first placed around a re-entrant corner, over the shortest side that
/// ends there.
const RING: f64 = 0.18;

/// A side is not divided for a ring that would lie beyond this share of it.
const FARTHEST: f64 = 2.0 / 3.0;

/// Kind of a side of a triangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Side {
    /// Within a part; may be flipped.
    Inside,
    /// On a straight border.
    Straight,
    /// On a border, standing for an arc of this circle.
    Arc(usize),
}

/// A triangle, its corners anticlockwise; side i goes from corner i to the next.
#[derive(Debug, Clone)]
pub(super) struct Face {
    pub corners: [usize; 3],
    pub sides: [Side; 3],
    /// The triangle across each side.
    pub beyond: [Option<usize>; 3],
    pub part: usize,
    /// Largest area asked of it, m2.
    goal: f64,
}

impl Face {
    /// A triangle without neighbours yet.
    pub fn new(corners: [usize; 3], sides: [Side; 3], part: usize) -> Face {
        Face { corners, sides, beyond: [None; 3], part, goal: f64::INFINITY }
    }

    /// The side across which `face` lies.
    pub fn side_to(&self, face: usize) -> Option<usize> {
        self.beyond.iter().position(|beyond| *beyond == Some(face))
    }
}

/// The ring of points around a re-entrant corner.
struct Ring {
    /// m.
    radius: f64,
    points: Vec<Point>,
}

impl Default for Ring {
    fn default() -> Ring {
        Ring { radius: f64::INFINITY, points: Vec::new() }
    }
}

/// Points and triangles.
pub(super) struct Triangulation<'a> {
    pub points: Vec<Point>,
    pub faces: Vec<Face>,
    circles: &'a [Circle],
    most: usize,
    /// For each point of the outlines: whether it is a re-entrant corner.
    sharp: Vec<bool>,
    /// Sides shorter than this are not divided to improve angles, m.
    least: f64,
}

impl<'a> Triangulation<'a> {
    /// Takes triangles with their neighbours set, refines flat ones and those at re-entrant corners.
    pub fn new(points: Vec<Point>, faces: Vec<Face>, drawing: &'a Drawing, mirrors: &Mirrors) -> Self {
        let most = points.len() + MOST_POINTS;
        let sharp = vec![false; points.len()];
        let (circles, least) = (&drawing.circles, 1e-3 * drawing.size);
        let mut all = Triangulation { points, faces, circles, most, sharp, least };
        all.find_reentrant(mirrors);
        all.divide(|all, face| all.is_flat(face));
        all.grade();
        all
    }

    /// Places a ring of points around each re-entrant corner, on the sides that end there.
    fn grade(&mut self) {
        let mut rings: Vec<Ring> = self.sharp.iter().map(|_| Ring::default()).collect();
        for (face, side) in (0..self.faces.len()).flat_map(|face| (0..3).map(move |side| (face, side))) {
            let length = self.square(face, side).sqrt();
            for end in [side, (side + 1) % 3].map(|i| self.faces[face].corners[i]) {
                if self.is_sharp(end) {
                    rings[end].radius = rings[end].radius.min(RING * length);
                }
            }
        }
        let mut again = true;
        while std::mem::take(&mut again) {
            let mut face = 0;
            while face < self.faces.len() && self.points.len() < self.most {
                match (0..6).find_map(|i| self.on_ring(&rings, face, i / 2, i % 2)) {
                    Some((side, share, corner)) => {
                        self.split_at(face, side, share);
                        rings[corner].points.extend(self.points.last());
                        again = true;
                    }
                    None => face += 1,
                }
            }
        }
    }

    /// Where a side should be divided by the ring around one of its ends: the side, the share of it, the
    /// corner.
    fn on_ring(&self, rings: &[Ring], face: usize, side: usize, end: usize) -> Option<(usize, f64, usize)> {
        let ends = [side, (side + 1) % 3].map(|i| self.faces[face].corners[i]);
        let corner = ends[end];
        let ring = rings.get(corner).filter(|_| self.is_sharp(corner))?;
        let share = ring.radius / self.square(face, side).sqrt();
        let [from, to] = [ends[end], ends[1 - end]].map(|i| self.points[i]);
        let place = [0, 1].map(|axis| from[axis] + share * (to[axis] - from[axis]));
        let is_taken = |point: &Point| distance(*point, place) < 0.5 * ring.radius;
        let free = self.faces[face].sides[side] != Side::Inside || !ring.points.iter().any(is_taken);
        let along = if end == 0 { share } else { 1.0 - share };
        (share < FARTHEST && free).then_some((side, along, corner))
    }

    fn find_reentrant(&mut self, mirrors: &Mirrors) {
        let parts = self.faces.iter().map(|face| face.part + 1).max().unwrap_or(1);
        let mut angles = vec![0.0; self.points.len() * parts];
        let mut border = vec![false; self.points.len()];
        for (i, face) in self.faces.iter().enumerate() {
            let p = self.corners(i);
            for k in 0..3 {
                let [a, b, c] = [p[k], p[(k + 1) % 3], p[(k + 2) % 3]];
                let inner = (b[0] - a[0]) * (c[0] - a[0]) + (b[1] - a[1]) * (c[1] - a[1]);
                angles[face.corners[k] * parts + face.part] += cross(a, b, c).atan2(inner);
                if face.sides[k] != Side::Inside {
                    border[face.corners[k]] = true;
                    border[face.corners[(k + 1) % 3]] = true;
                }
            }
        }
        for (point, angles) in angles.chunks(parts).enumerate() {
            let pieces = mirrors.through(self.points[point]).pieces();
            let wide = |angle: &f64| pieces * angle.to_degrees() > REENTRANT;
            self.sharp[point] = border[point] && angles.iter().any(wide);
        }
    }

    fn is_sharp(&self, point: usize) -> bool {
        self.sharp.get(point).copied().unwrap_or(false)
    }

    /// Refines until each triangle has at most its present area over its entry of `parts`; false when
    /// the limit of points is reached or nothing was refined.
    pub fn refine(&mut self, parts: &[f64]) -> bool {
        for (i, parts) in parts.iter().enumerate() {
            self.faces[i].goal = self.area(i) / parts;
        }
        let before = self.points.len();
        self.divide(|all, face| all.area(face) > 1.2 * all.faces[face].goal || all.is_flat(face));
        self.points.len() > before && self.points.len() < self.most
    }

    /// The corners of a triangle.
    pub fn corners(&self, face: usize) -> [Point; 3] {
        self.faces[face].corners.map(|i| self.points[i])
    }

    fn area(&self, face: usize) -> f64 {
        let [a, b, c] = self.corners(face);
        0.5 * cross(a, b, c)
    }

    /// The square of the length of a side.
    fn square(&self, face: usize, side: usize) -> f64 {
        let corners = self.corners(face);
        let (a, b) = (corners[side], corners[(side + 1) % 3]);
        (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2)
    }

    fn longest(&self, face: usize) -> usize {
        let squares = [0, 1, 2].map(|side| self.square(face, side));
        (1..3).fold(0, |best, i| if squares[i] > squares[best] * (1.0 + 2e-9) { i } else { best })
    }

    /// True when the largest angle is too large and the side is long enough to divide.
    fn is_flat(&self, face: usize) -> bool {
        let longest = self.longest(face);
        let [a, b, c] = [0, 1, 2].map(|i| self.square(face, (longest + i) % 3));
        a > self.least * self.least && b + c - a < 2.0 * (b * c).sqrt() * LARGEST_ANGLE
    }

    /// Refines triangles while `asked` is true for one and points are left.
    fn divide(&mut self, asked: impl Fn(&Self, usize) -> bool) {
        let mut again = true;
        while again {
            again = false;
            let mut face = 0;
            while face < self.faces.len() {
                while asked(self, face) {
                    if self.points.len() >= self.most {
                        return;
                    }
                    let (last, side) = self.last_in_row(face);
                    self.split(last, side);
                    again = true;
                }
                face += 1;
            }
        }
    }

    /// Follows the longest-edge path to a border side or to a side that is the longest of both its
    /// triangles.
    fn last_in_row(&self, mut face: usize) -> (usize, usize) {
        let mut square = 0.0;
        loop {
            let side = self.longest(face);
            let Some(next) = self.faces[face].beyond[side] else { return (face, side) };
            let longer = self.square(face, side);
            if longer <= square * (1.0 + 2e-9) {
                return (face, side);
            }
            square = longer;
            face = next;
        }
    }

    /// Divides a side: close to its end at a re-entrant corner, or else in the middle.
    fn split(&mut self, face: usize, side: usize) {
        let [i, j] = [self.faces[face].corners[side], self.faces[face].corners[(side + 1) % 3]];
        let share = match (self.is_sharp(i), self.is_sharp(j)) {
            (true, false) => NEAR,
            (false, true) => 1.0 - NEAR,
            _ => 0.5,
        };
        self.split_at(face, side, share);
    }

    /// Divides a side at this share of its length.
    fn split_at(&mut self, face: usize, side: usize, share: f64) {
        let [i, j] = [self.faces[face].corners[side], self.faces[face].corners[(side + 1) % 3]];
        let (a, b) = (self.points[i], self.points[j]);
        let middle = [0, 1].map(|axis| a[axis] + share * (b[axis] - a[axis]));
        let mut kind = self.faces[face].sides[side];
        let mut at = middle;
        if let Side::Arc(circle) = kind {
            at = self.circles[circle].between(a, b, share);
            let near = [Some(face), self.faces[face].beyond[side]];
            let folds = near.into_iter().flatten().any(|f| {
                let Some(c) = self.corner_off(f, i, j) else { return true };
                let left = cross(a, b, c).signum();
                let least = 0.1 * cross(a, b, c).abs();
                left * cross(a, at, c) <= least || left * cross(at, b, c) <= least
            });
            if folds {
                (kind, at) = (Side::Straight, middle);
            }
        }
        let point = self.points.len();
        self.points.push(at);
        let beyond = self.faces[face].beyond[side];
        let back = beyond.and_then(|h| self.faces[h].side_to(face));
        let one = self.halve(face, side, point, kind);
        let mut done = vec![if share < 0.5 { one } else { face }];
        let mut doubtful = vec![(face, (side + 2) % 3), (one, 1)];
        if let (Some(h), Some(back)) = (beyond, back) {
            let two = self.halve(h, back, point, kind);
            self.faces[face].beyond[side] = Some(two);
            self.faces[one].beyond[0] = Some(h);
            self.faces[h].beyond[back] = Some(one);
            self.faces[two].beyond[0] = Some(face);
            doubtful.extend([(h, (back + 2) % 3), (two, 1)]);
            done.push(if share < 0.5 { h } else { two });
        }
        // Away from a re-entrant corner the strains are smooth.
        if share != 0.5 {
            done.into_iter().for_each(|face| self.faces[face].goal = f64::INFINITY);
        }
        self.turn(doubtful);
    }

    fn corner_off(&self, face: usize, i: usize, j: usize) -> Option<Point> {
        self.faces[face].corners.iter().find(|c| **c != i && **c != j).map(|c| self.points[*c])
    }

    /// Cuts a triangle from a point on one of its sides to the opposite corner. The triangle keeps the
    /// half at the side's start; the new one is the other half, and its side 0 is the other part of the
    /// side.
    fn halve(&mut self, face: usize, side: usize, point: usize, kind: Side) -> usize {
        let new = self.faces.len();
        let old = &mut self.faces[face];
        let (next, last) = ((side + 1) % 3, (side + 2) % 3);
        let half = Face {
            corners: [point, old.corners[next], old.corners[last]],
            sides: [kind, old.sides[next], Side::Inside],
            beyond: [None, old.beyond[next], Some(face)],
            part: old.part,
            goal: old.goal,
        };
        old.corners[next] = point;
        old.sides[side] = kind;
        old.sides[next] = Side::Inside;
        old.beyond[next] = Some(new);
        if let Some(other) = half.beyond[1]
            && let Some(back) = self.faces[other].side_to(face)
        {
            self.faces[other].beyond[back] = Some(new);
        }
        self.faces.push(half);
        new
    }

    /// Flips sides within parts until the triangulation is Delaunay.
    fn turn(&mut self, mut doubtful: Vec<(usize, usize)>) {
        let mut left = 200;
        while let Some((f, i)) = doubtful.pop() {
            let face = &self.faces[f];
            let Some(h) = face.beyond[i].filter(|_| face.sides[i] == Side::Inside) else { continue };
            let Some(j) = self.faces[h].side_to(f) else { continue };
            let c = self.points[face.corners[(i + 2) % 3]];
            let d = self.points[self.faces[h].corners[(j + 2) % 3]];
            let (a, b) = (self.points[face.corners[i]], self.points[face.corners[(i + 1) % 3]]);
            if !opposite_angles_exceed(a, b, c, d) || left == 0 {
                continue;
            }
            left -= 1;
            self.flip(f, i, h, j);
            doubtful.extend([(f, i), (f, (i + 2) % 3), (h, j), (h, (j + 2) % 3)]);
        }
    }

    /// Flips the side between `f` = (a, b, c), its side `i`, and `h` = (b, a, d), its side `j`: they
    /// become (a, d, c) and (b, c, d).
    fn flip(&mut self, f: usize, i: usize, h: usize, j: usize) {
        let (one, two) = (self.faces[f].clone(), self.faces[h].clone());
        let (ia, ib, ic) = (i, (i + 1) % 3, (i + 2) % 3);
        let (jb, ja, jd) = (j, (j + 1) % 3, (j + 2) % 3);
        // Keeps the number of pieces asked of both together.
        let (first, second) = (self.area(f), self.area(h));
        let goal = (first + second) / (first / one.goal + second / two.goal);
        let face = &mut self.faces[f];
        face.goal = goal;
        face.corners[ib] = two.corners[jd];
        (face.sides[ia], face.beyond[ia]) = (two.sides[ja], two.beyond[ja]);
        (face.sides[ib], face.beyond[ib]) = (Side::Inside, Some(h));
        let face = &mut self.faces[h];
        face.goal = goal;
        face.corners[ja] = one.corners[ic];
        (face.sides[jb], face.beyond[jb]) = (one.sides[ib], one.beyond[ib]);
        (face.sides[ja], face.beyond[ja]) = (Side::Inside, Some(f));
        for (other, from, to) in [(two.beyond[ja], h, f), (one.beyond[ib], f, h)] {
            if let Some(other) = other
                && let Some(back) = self.faces[other].side_to(from)
            {
                self.faces[other].beyond[back] = Some(to);
            }
        }
    }
}

/// True when the angles at `c` and `d` opposite the side from `a` to `b` add up to more than half a
/// turn.
fn opposite_angles_exceed(a: Point, b: Point, c: Point, d: Point) -> bool {
    let angle = |p: Point| {
        let (u, v) = ([a[0] - p[0], a[1] - p[1]], [b[0] - p[0], b[1] - p[1]]);
        ((u[0] * v[1] - u[1] * v[0]).abs(), u[0] * v[0] + u[1] * v[1])
    };
    let ((s1, c1), (s2, c2)) = (angle(c), angle(d));
    let scale = ((s1 * s1 + c1 * c1) * (s2 * s2 + c2 * c2)).sqrt();
    // Flipping needs a convex quadrilateral.
    let convex = cross(c, d, a) * cross(c, d, b) < 0.0;
    convex && s1 * c2 + c1 * s2 < -1e-9 * scale
}
