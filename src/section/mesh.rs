//! A mesh of ten-node triangles over all solid parts; no triangle crosses a border.
//!
//! It starts from a constrained Delaunay triangulation of the outlines, without what is not solid, which
//! is refined until no triangle is flat and where the solution asks for it. Sides on circles are then
//! curved. Points closer to each other than a millionth of the section are merged, and so are points and
//! sides. For a section with mirrors only the piece of larger coordinates is meshed; the triangulation
//! ends at the mirror lines, which are no borders.

use super::element::{NODES, folded, inside};
use super::fault::SectionFault;
use super::mirror::{Lines, Mirrors};
use super::outline::{Drawing, Polygon, sides};
use super::point::{Point, cross, distance, distance_to_segment};
use super::triangulation::{Face, Side, Triangulation};
use spade::handles::FixedVertexHandle;
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation as _};
use std::collections::BTreeMap;

/// Rounds of refining folded triangles before the rest are straightened.
const MOST_UNFOLDINGS: usize = 8;

/// One ten-node triangle.
#[derive(Debug, Clone)]
pub(super) struct Triangle {
    pub nodes: [usize; NODES],
    /// The part it belongs to.
    pub part: usize,
}

/// Nodes and triangles of all solid parts.
#[derive(Debug, Clone)]
pub(super) struct Mesh {
    pub points: Vec<Point>,
    pub triangles: Vec<Triangle>,
}

impl Mesh {
    /// Coordinates of a triangle's nodes.
    pub fn corners(&self, triangle: &Triangle) -> [Point; NODES] {
        triangle.nodes.map(|node| self.points[node])
    }

    /// The triangles of each connected body.
    pub fn bodies(&self) -> Vec<Vec<usize>> {
        let mut groups = Groups::new(self.points.len());
        // Nodes on sides count, since a body is connected along sides, not at single points.
        for t in &self.triangles {
            (4..9).for_each(|i| groups.join(t.nodes[3], t.nodes[i]));
        }
        let mut bodies: Vec<(usize, Vec<usize>)> = Vec::new();
        for (i, t) in self.triangles.iter().enumerate() {
            let root = groups.root(t.nodes[3]);
            match bodies.iter_mut().find(|(r, _)| *r == root) {
                Some((_, list)) => list.push(i),
                None => bodies.push((root, vec![i])),
            }
        }
        bodies.into_iter().map(|(_, list)| list).collect()
    }

    /// True when each of these bodies has sides along every mirror line, so that it is connected to its
    /// images.
    pub fn reaches(&self, bodies: &[Vec<usize>], mirrors: &Mirrors) -> bool {
        bodies.iter().all(|body| {
            let along = |triangle: &usize| {
                let on = [0, 1, 2].map(|i| mirrors.through(self.points[self.triangles[*triangle].nodes[i]]));
                (0..3).fold(Lines::NONE, |lines, i| lines.or(on[i].and(on[(i + 1) % 3])))
            };
            body.iter().map(along).fold(Lines::NONE, Lines::or) == mirrors.all()
        })
    }
}

/// Union-find: which items belong together.
struct Groups(Vec<usize>);

impl Groups {
    fn new(n: usize) -> Groups {
        Groups((0..n).collect())
    }

    fn root(&mut self, mut i: usize) -> usize {
        while self.0[i] != i {
            self.0[i] = self.0[self.0[i]];
            i = self.0[i];
        }
        i
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a] = b;
    }
}

/// A triangulation of all solid parts that can be refined where asked.
pub(super) struct Mesher<'a> {
    drawing: &'a Drawing,
    triangulation: Triangulation<'a>,
}

impl<'a> Mesher<'a> {
    /// Triangulates the remaining area of the parts, or the piece of it between mirrors; `solid` is
    /// false for cavities.
    ///
    /// # Errors
    /// When the outlines cannot be triangulated.
    pub fn new(
        drawing: &'a Drawing,
        remaining: &[Vec<Vec<Polygon>>],
        solid: &[bool],
        mirrors: &Mirrors,
    ) -> Result<Mesher<'a>, SectionFault> {
        let rings = remaining.iter().zip(solid).filter(|(_, solid)| **solid).flat_map(|(p, _)| p).flatten();
        let kept = rings.flat_map(sides).filter_map(|(a, b)| mirrors.kept([a, b])).collect();
        let (points, segments) = snapped(kept, mirrors.crossing(), drawing);
        let vertices: Vec<Point2<f64>> = points.iter().map(|p| Point2::new(p[0], p[1])).collect();
        let refused = |e| SectionFault::new(format!("the outlines cannot be meshed: {e:?}"));
        let mut crossing = Vec::new();
        let mut cdt = Cdt::try_bulk_load_cdt(vertices, segments.keys().copied().collect(), |pair| {
            crossing.push(pair);
        })
        .map_err(refused)?;
        for pair in crossing {
            let [from, to] = pair.map(FixedVertexHandle::from_index);
            cdt.add_constraint_and_split(from, to, |p| p);
        }
        let owners = owners(&cdt, drawing, solid);
        let mut place = vec![None; owners.len()];
        let mut faces = Vec::new();
        for face in cdt.inner_faces() {
            let Some(part) = owners[face.index()] else { continue };
            let edges = face.adjacent_edges();
            let side = |edge: &DirectedEdge| match (
                edge.is_constraint_edge(),
                edge.from().index(),
                edge.to().index(),
            ) {
                (false, ..) => Side::Inside,
                (true, i, j) => segments.get(&[i.min(j), i.max(j)]).copied().unwrap_or(Side::Straight),
            };
            place[face.index()] = Some(faces.len());
            let corners = edges.map(|edge| edge.from().index());
            faces.push(Face::new(corners, [side(&edges[0]), side(&edges[1]), side(&edges[2])], part));
        }
        for face in cdt.inner_faces() {
            if let Some(own) = place[face.index()] {
                let beyond = face.adjacent_edges().map(|edge| edge.rev().face().as_inner());
                faces[own].beyond = beyond.map(|next| next.and_then(|next| place[next.index()]));
            }
        }
        let points = cdt.vertices().map(|v| [v.position().x, v.position().y]).collect();
        let triangulation = Triangulation::new(points, faces, drawing, mirrors);
        Ok(Mesher { drawing, triangulation })
    }

    /// Refines each triangle into about `parts` pieces. False when the mesh cannot be refined further.
    pub fn split(&mut self, parts: &[f64]) -> bool {
        self.triangulation.refine(parts)
    }

    /// The present mesh. Triangles folded by the curving of their sides are refined; any left are
    /// straightened.
    pub fn mesh(&mut self) -> Mesh {
        for _ in 0..MOST_UNFOLDINGS {
            let mesh = self.drawn();
            let folded = mesh.folded();
            if folded.is_empty() {
                return mesh;
            }
            let mut parts = vec![1.0; mesh.triangles.len()];
            folded.iter().for_each(|i| parts[*i] = 4.0);
            if !self.split(&parts) {
                break;
            }
        }
        let mut mesh = self.drawn();
        mesh.straighten();
        mesh
    }

    fn drawn(&self) -> Mesh {
        let Triangulation { points, faces, .. } = &self.triangulation;
        let mut mesh = Mesh { points: points.clone(), triangles: Vec::with_capacity(faces.len()) };
        for (own, face) in faces.iter().enumerate() {
            let mut nodes = [0; NODES];
            nodes[..3].copy_from_slice(&face.corners);
            for side in 0..3 {
                let pair = 3 + 2 * side..5 + 2 * side;
                let earlier = face.beyond[side].filter(|beyond| *beyond < own);
                if let Some(beyond) = earlier
                    && let Some(back) = faces[beyond].side_to(own)
                {
                    let theirs = &mesh.triangles[beyond].nodes[3 + 2 * back..5 + 2 * back];
                    nodes[pair].copy_from_slice(&[theirs[1], theirs[0]]);
                    continue;
                }
                let ends = [points[face.corners[side]], points[face.corners[(side + 1) % 3]]];
                for (node, share) in pair.zip([1.0 / 3.0, 2.0 / 3.0]) {
                    nodes[node] = mesh.points.len();
                    mesh.points.push(self.along(ends, share, face.sides[side]));
                }
            }
            nodes[9] = mesh.points.len();
            mesh.points.push(inside(&nodes[..9].iter().map(|node| mesh.points[*node]).collect::<Vec<_>>()));
            mesh.triangles.push(Triangle { nodes, part: face.part });
        }
        mesh
    }

    /// A node between two corners; on the circle if the side stands for an arc.
    fn along(&self, ends: [Point; 2], share: f64, side: Side) -> Point {
        match side {
            Side::Arc(circle) => self.drawing.circles[circle].between(ends[0], ends[1], share),
            _ => between(ends[0], ends[1], share),
        }
    }
}

fn between(a: Point, b: Point, share: f64) -> Point {
    [0, 1].map(|axis| a[axis] + share * (b[axis] - a[axis]))
}

impl Mesh {
    /// Triangles folded by the curving of their sides.
    fn folded(&self) -> Vec<usize> {
        (0..self.triangles.len()).filter(|i| folded(&self.corners(&self.triangles[*i]))).collect()
    }

    /// Straightens the sides of folded triangles, also for their neighbours.
    fn straighten(&mut self) {
        for i in self.folded() {
            let nodes = self.triangles[i].nodes;
            for side in 0..3 {
                let (a, b) = (self.points[nodes[side]], self.points[nodes[(side + 1) % 3]]);
                self.points[nodes[3 + 2 * side]] = between(a, b, 1.0 / 3.0);
                self.points[nodes[4 + 2 * side]] = between(a, b, 2.0 / 3.0);
            }
        }
        for i in 0..self.triangles.len() {
            let corners = self.corners(&self.triangles[i]);
            self.points[self.triangles[i].nodes[9]] = inside(&corners[..9]);
        }
    }
}

type Cdt = ConstrainedDelaunayTriangulation<Point2<f64>>;
type DirectedEdge<'a> = spade::handles::DirectedEdgeHandle<'a, Point2<f64>, (), spade::CdtEdge<()>, ()>;

/// The solid part that each triangle belongs to, by face index. A region between borders belongs to one
/// part; the centre of its largest triangle, which rounding cannot put elsewhere, tells which. A region
/// thinner than the merging distance belongs to none: where rounding put a point inside a side that it
/// divided, such a sliver lies between the halves of the side and the convex hull.
fn owners(cdt: &Cdt, drawing: &Drawing, solid: &[bool]) -> Vec<Option<usize>> {
    let mut owners = vec![None; cdt.num_all_faces()];
    let mut seen = vec![false; cdt.num_all_faces()];
    for face in cdt.inner_faces() {
        if seen[face.index()] {
            continue;
        }
        seen[face.index()] = true;
        let mut region = vec![face];
        let mut next = 0;
        while next < region.len() {
            for edge in region[next].adjacent_edges() {
                let Some(beyond) = edge.rev().face().as_inner() else { continue };
                if !edge.is_constraint_edge() && !seen[beyond.index()] {
                    seen[beyond.index()] = true;
                    region.push(beyond);
                }
            }
            next += 1;
        }
        let corners = |face: usize| region[face].positions().map(|p| [p.x, p.y]);
        let area = |face: usize| {
            let [a, b, c] = corners(face);
            cross(a, b, c)
        };
        let largest = (0..region.len()).max_by(|a, b| area(*a).total_cmp(&area(*b))).unwrap_or(0);
        let [a, b, c] = corners(largest);
        let longest = distance(a, b).max(distance(b, c)).max(distance(c, a));
        if (0..region.len()).map(&area).sum::<f64>() < drawing.near() * longest {
            continue;
        }
        let owner = drawing.owner([(a[0] + b[0] + c[0]) / 3.0, (a[1] + b[1] + c[1]) / 3.0]);
        for face in region {
            owners[face.index()] = owner.filter(|part| solid[*part]);
        }
    }
    owners
}

/// The ends of the sides and the other point, merged; and the sides, divided where a point lies on them.
fn snapped(
    sides: Vec<[Point; 2]>,
    other: Option<Point>,
    drawing: &Drawing,
) -> (Vec<Point>, BTreeMap<[usize; 2], Side>) {
    let near = drawing.near();
    let mut points: Vec<Point> = sides.iter().flatten().copied().chain(other).collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut unique: Vec<Point> = Vec::new();
    for point in points {
        let close = unique.iter().rev().take_while(|u| point[0] - u[0] <= near);
        if !close.into_iter().any(|u| distance(*u, point) <= near) {
            unique.push(point.map(|x| if x.abs() < 1e-12 * drawing.size { 0.0 } else { x }));
        }
    }
    let window = |low: f64, high: f64| {
        let from = unique.partition_point(|u| u[0] < low - 2.0 * near);
        let to = unique.partition_point(|u| u[0] <= high + 2.0 * near);
        from..to
    };
    let mut segments = BTreeMap::new();
    for [a, b] in sides {
        let (dy, dz) = (b[0] - a[0], b[1] - a[1]);
        let mut on: Vec<(f64, usize)> = window(a[0].min(b[0]), a[0].max(b[0]))
            .filter(|i| distance_to_segment(unique[*i], a, b) <= 1.5 * near)
            .map(|i| ((unique[i][0] - a[0]) * dy + (unique[i][1] - a[1]) * dz, i))
            .collect();
        on.sort_by(|x, y| x.0.total_cmp(&y.0));
        let side = drawing.arc(a, b).map_or(Side::Straight, Side::Arc);
        for pair in on.windows(2) {
            let (i, j) = (pair[0].1, pair[1].1);
            segments.insert([i.min(j), i.max(j)], side);
        }
    }
    (unique, segments)
}

#[cfg(test)]
mod tests {
    use super::super::element::Shaped;
    use super::super::outline::Figure;
    use super::super::outline::draw;
    use super::super::shape::Shape;
    use super::*;

    fn meshed(shapes: &[(Shape, Point)], solid: &[bool]) -> Mesh {
        let figures: Vec<(Figure, Point)> = shapes.iter().map(|(s, at)| (s.figure(), *at)).collect();
        let drawing = draw(figures.iter().map(|(figure, at)| (figure, *at, 0.0)));
        Mesher::new(&drawing, &drawing.remaining(), solid, &Mirrors::default()).unwrap().mesh()
    }

    fn area(mesh: &Mesh, part: usize) -> f64 {
        let of = |t: &Triangle| Shaped::new(mesh.corners(t)).unwrap().area;
        mesh.triangles.iter().filter(|t| t.part == part).map(of).sum()
    }

    #[test]
    fn a_pipe_keeps_its_curvature() {
        let mesh = meshed(&[(Shape::Pipe { diameter: 0.1, wall: 0.005 }, [0.0, 0.0])], &[true]);
        let exact = std::f64::consts::PI * (0.05f64.powi(2) - 0.045f64.powi(2));
        approx::assert_relative_eq!(area(&mesh, 0), exact, max_relative = 1e-5);
    }

    #[test]
    fn triangles_respect_the_border_of_parts() {
        let fill = Shape::Rectangle { width: 0.1, height: 0.1 };
        let round = Shape::Round { diameter: 0.04 };
        let mesh = meshed(&[(fill, [0.0, 0.0]), (round, [0.01, 0.0])], &[true, true]);
        let hole = std::f64::consts::PI * 0.02f64.powi(2);
        approx::assert_relative_eq!(area(&mesh, 1), hole, max_relative = 1e-4);
        approx::assert_relative_eq!(area(&mesh, 0), 0.01 - hole, max_relative = 1e-4);
        assert_eq!(mesh.bodies().len(), 1);
    }

    #[test]
    fn a_point_on_a_turned_side_leaves_no_sliver() {
        // The round sticks out of the plate's left side and divides it at two points.
        let plate = Shape::Rectangle { width: 0.1, height: 0.08 }.figure();
        let round = Shape::Round { diameter: 0.04586763345074845 }.figure();
        for turn in (0..400).map(|i| 0.0075 * f64::from(i)) {
            let (sine, cosine) = turn.sin_cos();
            let at = [cosine, sine].map(|x| -0.027477428776563874 * x);
            let drawing = draw([(&plate, [0.0; 2], turn), (&round, at, turn)].into_iter());
            let mesh = Mesher::new(&drawing, &drawing.remaining(), &[true, true], &Mirrors::default())
                .unwrap()
                .mesh();
            let least = mesh.triangles.iter().map(|t| Shaped::new(mesh.corners(t)).unwrap().area);
            // Rounding leaves 1e-24 m2.
            assert!(least.fold(f64::INFINITY, f64::min) > 1e-12, "{turn}");
        }
    }

    #[test]
    fn parts_that_touch_at_a_corner_alone_are_two_bodies() {
        let square = Shape::Rectangle { width: 0.1, height: 0.1 };
        let mesh = meshed(&[(square.clone(), [0.0, 0.0]), (square, [0.1, 0.1])], &[true, true]);
        assert_eq!(mesh.bodies().len(), 2);
    }

    #[test]
    fn a_ring_of_points_lies_around_a_re_entrant_corner() {
        let points = vec![[0.0, 0.0], [0.1, 0.0], [0.1, 0.02], [0.02, 0.02], [0.02, 0.1], [0.0, 0.1]];
        let figure = Shape::Polygon { points }.figure();
        let drawing = draw([(&figure, [0.0; 2], 0.0)].into_iter());
        let mesher = Mesher::new(&drawing, &drawing.remaining(), &[true], &Mirrors::default()).unwrap();
        let Triangulation { points, faces, .. } = &mesher.triangulation;
        let away = |point: usize| distance(points[point], [0.02, 0.02]);
        let around: Vec<f64> = faces
            .iter()
            .map(|face| face.corners.map(away))
            .filter(|away| away.contains(&0.0))
            .flatten()
            .filter(|away| *away > 0.0)
            .collect();
        // Of the sides that end at the corner, the shortest leads to the outer corner or across a leg.
        assert!(around.len() > 4 && (0.0035..0.0052).contains(&around[0]), "{around:?}");
        around.iter().for_each(|away| approx::assert_relative_eq!(*away, around[0], max_relative = 1e-9));
    }
}
