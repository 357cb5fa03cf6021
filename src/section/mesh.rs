//! Six-node triangles over all solid parts, none of them across a border.
//!
//! A constrained Delaunay triangulation of the outlines is refined to a least angle; triangles
//! that the solution asks for are split; then sides on circles are bent to their curvature.
//! Points nearer to each other than a millionth of the section, and points that near to a side,
//! are made one. The number of points is bounded, so that no drawing can keep it busy for long.

use super::element::gauss_points;
use super::fault::SectionFault;
use super::outline::{Drawing, Polygon, sides};
use super::shape::{Point, distance, distance_to_segment};
use spade::handles::FixedVertexHandle;
use spade::{AngleLimit, ConstrainedDelaunayTriangulation, Point2, RefinementParameters, Triangulation};
use std::collections::BTreeSet;

/// Points of a triangulation at most, besides those of the outlines.
const MOST_POINTS: usize = 6000;

/// Least angle of a triangle where the outlines allow it, degrees.
const LEAST_ANGLE: f64 = 25.0;

/// One six-node triangle: corners anticlockwise, then the nodes between 0 and 1, 1 and 2, 2 and 0.
#[derive(Debug, Clone)]
pub(super) struct Triangle {
    pub nodes: [usize; 6],
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
    /// The places of a triangle's nodes.
    pub fn corners(&self, triangle: &Triangle) -> [Point; 6] {
        triangle.nodes.map(|node| self.points[node])
    }

    /// The triangles sorted into connected bodies. With `apart`, parts do not hold each other.
    pub fn bodies(&self, apart: bool) -> Vec<Vec<usize>> {
        let parts = self.triangles.iter().map(|t| t.part + 1).max().unwrap_or(1);
        let key = |t: &Triangle, node: usize| if apart { node * parts + t.part } else { node };
        let mut groups = Groups::new(self.points.len() * if apart { parts } else { 1 });
        // Nodes amid sides: a body holds together along sides, not at single points.
        for t in &self.triangles {
            groups.join(key(t, t.nodes[3]), key(t, t.nodes[4]));
            groups.join(key(t, t.nodes[3]), key(t, t.nodes[5]));
        }
        let mut bodies: Vec<(usize, Vec<usize>)> = Vec::new();
        for (i, t) in self.triangles.iter().enumerate() {
            let root = groups.root(key(t, t.nodes[3]));
            match bodies.iter_mut().find(|(r, _)| *r == root) {
                Some((_, list)) => list.push(i),
                None => bodies.push((root, vec![i])),
            }
        }
        bodies.into_iter().map(|(_, list)| list).collect()
    }
}

/// Which things belong together.
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

/// A triangulation that can be refined where asked.
pub(super) struct Mesher<'a> {
    drawing: &'a Drawing,
    solid: &'a [bool],
    cdt: ConstrainedDelaunayTriangulation<Point2<f64>>,
    /// Points of the outlines; those after them were put in by refinement.
    given: usize,
}

impl<'a> Mesher<'a> {
    /// Triangulates what remains of the parts; `solid` is false for cavities.
    ///
    /// # Errors
    /// When the outlines cannot be triangulated.
    pub fn new(
        drawing: &'a Drawing,
        remaining: &[Vec<Vec<Polygon>>],
        solid: &'a [bool],
    ) -> Result<Mesher<'a>, SectionFault> {
        let rings = remaining.iter().zip(solid).filter(|(_, solid)| **solid).flat_map(|(p, _)| p).flatten();
        let (points, segments) = snapped(rings, drawing.size);
        let vertices: Vec<Point2<f64>> = points.iter().map(|p| Point2::new(p[0], p[1])).collect();
        let refused = |e| SectionFault::new(format!("the outlines cannot be meshed: {e:?}"));
        let mut crossing = Vec::new();
        let mut cdt = ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(
            vertices,
            segments.into_iter().collect(),
            |pair| crossing.push(pair),
        )
        .map_err(refused)?;
        for pair in crossing {
            let [from, to] = pair.map(FixedVertexHandle::from_index);
            cdt.add_constraint_and_split(from, to, |p| p);
        }
        let given = cdt.num_vertices();
        let mut mesher = Mesher { drawing, solid, cdt, given };
        mesher.refine();
        Ok(mesher)
    }

    fn refine(&mut self) {
        let spent = self.cdt.num_vertices() - self.given;
        let tiny = 1e-6 * self.drawing.size;
        let parameters = RefinementParameters::new()
            .with_angle_limit(AngleLimit::from_deg(LEAST_ANGLE))
            .with_min_required_area(tiny * tiny)
            .with_max_additional_vertices(MOST_POINTS.saturating_sub(spent));
        self.cdt.refine(parameters);
    }

    /// Puts points in, then restores the least angle. False when the mesh may not grow further.
    ///
    /// # Errors
    /// When a point has no place.
    pub fn split(&mut self, points: &[Point]) -> Result<bool, SectionFault> {
        if self.cdt.num_vertices() - self.given + points.len() > MOST_POINTS / 2 {
            return Ok(false);
        }
        for point in points {
            self.cdt
                .insert(Point2::new(point[0], point[1]))
                .map_err(|e| SectionFault::new(format!("the section cannot be meshed: {e:?}")))?;
        }
        self.refine();
        Ok(true)
    }

    /// The mesh as it stands.
    pub fn mesh(&self) -> Mesh {
        let owners = self.owners();
        let bent = self.bent();
        let mut points: Vec<Point> = self
            .cdt
            .vertices()
            .zip(&bent)
            .map(|(v, b)| b.unwrap_or([v.position().x, v.position().y]))
            .collect();
        let mut middles = vec![usize::MAX; self.cdt.num_undirected_edges()];
        let mut triangles = Vec::new();
        for face in self.cdt.inner_faces() {
            let Some(part) = owners[face.index()] else { continue };
            let mut nodes = [0; 6];
            for (i, edge) in face.adjacent_edges().into_iter().enumerate() {
                nodes[i] = edge.from().index();
                let middle = &mut middles[edge.as_undirected().index()];
                if *middle == usize::MAX {
                    let ends = [edge.from(), edge.to()].map(|v| points[v.index()]);
                    *middle = points.len();
                    points.push(self.middle(ends, edge.is_constraint_edge()));
                }
                nodes[3 + i] = *middle;
            }
            triangles.push(Triangle { nodes, part });
        }
        let mut mesh = Mesh { points, triangles };
        self.unfold(&mut mesh, &bent);
        mesh
    }

    /// The part that each face belongs to, by face index.
    fn owners(&self) -> Vec<Option<usize>> {
        let mut owners = vec![None; self.cdt.num_all_faces()];
        let mut seen = vec![false; self.cdt.num_all_faces()];
        for face in self.cdt.inner_faces() {
            if seen[face.index()] {
                continue;
            }
            let centre = face.center();
            let owner = self.drawing.owner([centre.x, centre.y]).filter(|part| self.solid[*part]);
            seen[face.index()] = true;
            let mut front = vec![face];
            while let Some(face) = front.pop() {
                owners[face.index()] = owner;
                for edge in face.adjacent_edges() {
                    let Some(next) = edge.rev().face().as_inner() else { continue };
                    if !edge.is_constraint_edge() && !seen[next.index()] {
                        seen[next.index()] = true;
                        front.push(next);
                    }
                }
            }
        }
        owners
    }

    /// Where points that refinement put on a chord belong: on its circle.
    fn bent(&self) -> Vec<Option<Point>> {
        let mut bent = vec![None; self.cdt.num_vertices()];
        let near = 1e-6 * self.drawing.size;
        for vertex in self.cdt.vertices().skip(self.given) {
            if self.drawing.chords.is_empty() || !vertex.out_edges().any(|edge| edge.is_constraint_edge()) {
                continue;
            }
            let at = [vertex.position().x, vertex.position().y];
            let on = |c: &&super::outline::Chord| distance_to_segment(at, c.ends[0], c.ends[1]) < near;
            if let Some(chord) = self.drawing.chords.iter().find(on) {
                let circle = &self.drawing.circles[chord.circle];
                bent[vertex.index()] = Some(pushed(at, circle.centre, circle.radius));
            }
        }
        bent
    }

    /// The node between two corners: on the circle that both lie on, if the side stands for an arc.
    fn middle(&self, ends: [Point; 2], border: bool) -> Point {
        let middle = [0.5 * (ends[0][0] + ends[1][0]), 0.5 * (ends[0][1] + ends[1][1])];
        if !border {
            return middle;
        }
        let near = 2e-6 * self.drawing.size;
        for circle in &self.drawing.circles {
            let on = |p: Point| (distance(p, circle.centre) - circle.radius).abs() < near;
            let short = distance(ends[0], ends[1]) < 0.6 * circle.radius;
            if short && on(ends[0]) && on(ends[1]) {
                return pushed(middle, circle.centre, circle.radius);
            }
        }
        middle
    }

    /// Straightens the sides of triangles that bending has folded.
    fn unfold(&self, mesh: &mut Mesh, bent: &[Option<Point>]) {
        for round in 0..3 {
            let folded: Vec<[usize; 6]> = mesh
                .triangles
                .iter()
                .filter(|t| gauss_points(&mesh.corners(t)).is_none())
                .map(|t| t.nodes)
                .collect();
            for nodes in folded {
                for i in 0..3 {
                    if round > 0 && bent[nodes[i]].is_some() {
                        let place = self.cdt.vertex(FixedVertexHandle::from_index(nodes[i])).position();
                        mesh.points[nodes[i]] = [place.x, place.y];
                    }
                    let (a, b) = (mesh.points[nodes[i]], mesh.points[nodes[(i + 1) % 3]]);
                    mesh.points[nodes[3 + i]] = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
                }
            }
        }
        let kept: Vec<bool> =
            mesh.triangles.iter().map(|t| gauss_points(&mesh.corners(t)).is_some()).collect();
        let mut kept = kept.into_iter();
        mesh.triangles.retain(|_| kept.next().unwrap_or(false));
    }
}

fn pushed(point: Point, centre: Point, radius: f64) -> Point {
    let scale = radius / distance(point, centre).max(f64::MIN_POSITIVE);
    [centre[0] + scale * (point[0] - centre[0]), centre[1] + scale * (point[1] - centre[1])]
}

/// The corners of rings without doubles, and their sides, broken where a corner lies on them.
fn snapped<'a>(rings: impl Iterator<Item = &'a Polygon>, size: f64) -> (Vec<Point>, BTreeSet<[usize; 2]>) {
    let near = 1e-6 * size;
    let rings: Vec<&Polygon> = rings.collect();
    let mut points: Vec<Point> = rings.iter().copied().flatten().copied().collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut unique: Vec<Point> = Vec::new();
    for point in points {
        let close = unique.iter().rev().take_while(|u| point[0] - u[0] <= near);
        if !close.into_iter().any(|u| distance(*u, point) <= near) {
            unique.push(point.map(|x| if x.abs() < 1e-12 * size { 0.0 } else { x }));
        }
    }
    let window = |low: f64, high: f64| {
        let from = unique.partition_point(|u| u[0] < low - 2.0 * near);
        let to = unique.partition_point(|u| u[0] <= high + 2.0 * near);
        from..to
    };
    let mut segments = BTreeSet::new();
    for (a, b) in rings.iter().flat_map(|ring| sides(ring)) {
        let (dy, dz) = (b[0] - a[0], b[1] - a[1]);
        let mut on: Vec<(f64, usize)> = window(a[0].min(b[0]), a[0].max(b[0]))
            .filter(|i| distance_to_segment(unique[*i], a, b) <= 1.5 * near)
            .map(|i| ((unique[i][0] - a[0]) * dy + (unique[i][1] - a[1]) * dz, i))
            .collect();
        on.sort_by(|x, y| x.0.total_cmp(&y.0));
        for pair in on.windows(2) {
            let (i, j) = (pair[0].1, pair[1].1);
            segments.insert([i.min(j), i.max(j)]);
        }
    }
    (unique, segments)
}

#[cfg(test)]
mod tests {
    use super::super::outline::draw;
    use super::super::shape::{Figure, Shape};
    use super::*;

    fn meshed(shapes: &[(Shape, Point)], solid: &[bool]) -> Mesh {
        let figures: Vec<(Figure, Point)> = shapes.iter().map(|(s, at)| (s.figure(), *at)).collect();
        let drawing = draw(figures.iter().map(|(figure, at)| (figure, *at, 0.0)));
        Mesher::new(&drawing, &drawing.remaining(), solid).unwrap().mesh()
    }

    fn area(mesh: &Mesh, part: usize) -> f64 {
        let of = |t: &Triangle| gauss_points(&mesh.corners(t)).unwrap().iter().map(|p| p.area).sum::<f64>();
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
        assert_eq!((mesh.bodies(false).len(), mesh.bodies(true).len()), (1, 2));
    }

    #[test]
    fn parts_that_touch_at_a_corner_alone_are_two_bodies() {
        let square = Shape::Rectangle { width: 0.1, height: 0.1 };
        let mesh = meshed(&[(square.clone(), [0.0, 0.0]), (square, [0.1, 0.1])], &[true, true]);
        assert_eq!(mesh.bodies(false).len(), 2);
    }
}
