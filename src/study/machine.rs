//! The machine as it is drawn: members with their sections, bodies, masses, feet and patches as flat faces, and how
//! each of their places moves.
//!
//! A mass is drawn as a cube of steel of its weight about its centre, on a rod from its point, and a foot as a pad
//! under its point; their sizes say nothing else.

use nalgebra::{Matrix3, Vector3};
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::TAU;
use stillbed_design::{Build, Model};
use stillbed_frame::{Frame, Layout, Line, Mass};
use stillbed_material::Role;
use stillbed_solid::{BackToFront, Corner, Divide, Edge, Face, Part, Ring, Shown, surface, upright};

/// What a face belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// A substance of the build, by number.
    Substance(usize),
    /// A mass.
    Mass,
    /// A foot or an anchor.
    Foot,
    /// The area by which a point holds a body.
    Patch,
}

/// A flat face of the machine.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineFace {
    /// Its curves: the number of the place of each corner, and what the edge to the next borders on.
    pub rings: Vec<Vec<(usize, Edge)>>,
    /// Its outward unit normal.
    pub normal: Vector3<f64>,
    /// What it belongs to.
    pub of: Of,
    /// True where what stands within is seen through it.
    pub seen_through: bool,
}

/// What moves a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Owner {
    Member(usize),
    Body(usize),
    Point(usize),
}

/// The faces of a machine in an order for every view, and their places.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// Where the places are, m.
    pub places: Vec<Vector3<f64>>,
    /// Its faces.
    pub faces: Vec<MachineFace>,
    /// The planes that order them; the first is the root.
    pub divides: Vec<Divide>,
    /// The edges of each body, by name, as places.
    pub edges: Vec<(String, Vec<[usize; 2]>)>,
    /// By mass: the place of its centre.
    pub centres: Vec<usize>,
    /// By point: its place.
    pub points: Vec<usize>,
    owners: Vec<Owner>,
}

/// Density of the cubes that stand for masses, kg/m³: structural steel, as in the table of materials.
const STEEL: f64 = 7850.0;
/// Diameter and height of the pad of a foot, as a part of the size of the machine.
const PAD: [f64; 2] = [0.05, 0.022];
/// Thickness of the rod from a point to its mass, as a part of the size of the machine.
const ROD: f64 = 0.008;
/// Sides of the pad of a foot.
const PAD_SIDES: usize = 12;
/// Longest stretch of an edge that stays straight while it moves, as a part of the size of the machine.
const STRAIGHT: f64 = 0.12;
/// Distance within which places are one, as a part of the size of the machine.
const SAME: f64 = 1e-5;

/// The machine while it is put together.
struct Drawing<'a> {
    build: &'a Build,
    frame: &'a Frame,
    size: f64,
    owners: Vec<Owner>,
    shown: Vec<Shown>,
    of: Vec<Of>,
}

impl Machine {
    /// The machine of `model`, a model of `build`.
    pub fn new(build: &Build, model: &Model) -> Machine {
        let frame = &model.frame;
        let mut drawing =
            Drawing { build, frame, size: 0.0, owners: Vec::new(), shown: Vec::new(), of: Vec::new() };
        drawing.members();
        drawing.bodies();
        drawing.size = drawing.extent();
        drawing.masses();
        drawing.arms();
        drawing.feet();
        drawing.finish()
    }

    /// The displacement of each place in a `motion` of the degrees of freedom, m, global axes.
    pub fn movement(
        &self,
        build: &Build,
        frame: &Frame,
        layout: &Layout,
        motion: &[f64],
    ) -> Vec<Vector3<f64>> {
        let lines: Vec<Vec<_>> =
            (0..frame.members.len()).map(|m| layout.along(frame, m, motion, 2).unwrap_or_default()).collect();
        let bodies: Vec<Vec<f64>> =
            (0..frame.bodies.len()).map(|b| layout.body_motion(frame, b, motion)).collect();
        let moved = |(at, owner): (&Vector3<f64>, &Owner)| match *owner {
            Owner::Body(number) => {
                let own = build.bodies.get(number).zip(bodies.get(number));
                own.and_then(|(body, motion)| body.motion(at, motion)).unwrap_or_default()
            }
            Owner::Point(point) => {
                let own = layout.moved(point, motion);
                let [shift, turn] = [0, 3].map(|k| Vector3::new(own[k], own[k + 1], own[k + 2]));
                shift + turn.cross(&(at - frame.points[point].position))
            }
            Owner::Member(number) => {
                let Some(line) = Line::of(frame, &frame.members[number]) else { return Vector3::zeros() };
                let along = &lines[number];
                let x = line.axes.row(0).transpose().dot(&(at - line.start)) / line.length;
                let step = x.clamp(0.0, 1.0) * along.len().saturating_sub(1) as f64;
                let low = (step as usize).min(along.len().saturating_sub(2));
                let (Some(from), Some(to)) = (along.get(low), along.get(low + 1)) else {
                    return Vector3::zeros();
                };
                let own = from.1.lerp(&to.1, step - low as f64);
                let turn: Vector3<f64> = own.fixed_rows::<3>(3).into();
                own.fixed_rows::<3>(0) + turn.cross(&(at - line.at(x.clamp(0.0, 1.0) * line.length)))
            }
        };
        self.places.iter().zip(&self.owners).map(moved).collect()
    }
}

impl Drawing<'_> {
    fn add(&mut self, part: Part, of: Of, owner: usize, seen_through: bool) {
        self.shown.push(Shown { part, owner, seen_through });
        self.of.push(of);
    }

    fn owner(&mut self, owner: Owner) -> usize {
        self.owners.push(owner);
        self.owners.len() - 1
    }

    fn substance(&self, number: usize) -> (Of, bool) {
        let role = self.build.substances.get(number).map(|substance| substance.role());
        (Of::Substance(number), role == Some(Role::Fill))
    }

    fn members(&mut self) {
        for (number, member) in self.frame.members.iter().enumerate() {
            let profile = self.build.profiles.get(member.section);
            let Some((line, profile)) = Line::drawn(self.frame, member).zip(profile) else { continue };
            let owner = self.owner(Owner::Member(number));
            let axes = line.axes.transpose();
            let middle = line.at(0.5 * line.length);
            for (part, pieces) in profile.geometry.parts().iter().zip(profile.geometry.outlines()) {
                if part.cavity || pieces.is_empty() {
                    continue;
                }
                let rings = pieces.iter().flatten().cloned().map(Ring::Polygon).collect();
                let (of, seen_through) = self.substance(part.medium);
                let part = Part {
                    rings,
                    length: line.length,
                    middle,
                    axes,
                    material: Some(part.medium),
                    bounds: None,
                };
                self.add(part, of, owner, seen_through);
            }
        }
    }

    fn bodies(&mut self) {
        for (number, body) in self.build.bodies.iter().enumerate() {
            let owner = self.owner(Owner::Body(number));
            for part in body.parts() {
                let substance = part.material.and_then(|at| body.substances.get(at));
                let (of, seen_through) = substance.map_or((Of::Mass, false), |at| self.substance(*at));
                self.add(part.clone(), of, owner, seen_through);
            }
        }
    }

    fn extent(&self) -> f64 {
        let corners = self.shown.iter().flat_map(|own| own.part.extent()).map(Vector3::from);
        let all = || corners.clone().chain(self.frame.points.iter().map(|point| point.position));
        let low = all().fold(Vector3::repeat(f64::INFINITY), |a, b| a.inf(&b));
        let high = all().fold(Vector3::repeat(f64::NEG_INFINITY), |a, b| a.sup(&b));
        (high - low).norm()
    }

    fn masses(&mut self) {
        for mass in &self.frame.masses {
            let owner = self.owner(Owner::Point(mass.at));
            let side = (mass.mass / STEEL).cbrt();
            let point = self.frame.points[mass.at].position;
            let centre = point + mass.offset;
            // A rod shows what carries it.
            self.rod(point, mass.offset, owner);
            if side > 0.0 {
                self.add(Part::cuboid([side; 3], centre.into(), Some(0)), Of::Mass, owner, false);
            }
        }
    }

    /// Rigid arms, as rods.
    fn arms(&mut self) {
        for arm in &self.frame.arms {
            let owner = self.owner(Owner::Point(arm.from));
            let [from, to] = [arm.from, arm.to].map(|point| self.frame.points[point].position);
            self.rod(from, to - from, owner);
        }
    }

    /// A thin rod over `reach`, m, where that is seen at all.
    fn rod(&mut self, from: Vector3<f64>, reach: Vector3<f64>, owner: usize) {
        let length = reach.norm();
        if length > SAME * self.size {
            let axes = upright(reach);
            let rings = vec![Ring::rectangle(ROD * self.size, ROD * self.size)];
            let middle = from.lerp(&(from + reach), 0.5);
            self.add(
                Part { rings, length, middle, axes, material: Some(0), bounds: None },
                Of::Mass,
                owner,
                false,
            );
        }
    }

    fn feet(&mut self) {
        let feet = self.frame.feet.iter().flat_map(|foot| &foot.at);
        let mut held: Vec<usize> =
            feet.chain(self.frame.anchors.iter().flat_map(|anchor| &anchor.at)).copied().collect();
        held.sort_unstable();
        held.dedup();
        let [wide, tall] = PAD.map(|part| part * self.size);
        for point in held {
            let at = self.frame.points[point].position;
            let low = self.lowest(point).min(at.z);
            let owner = self.owner(Owner::Point(point));
            let angles = (0..PAD_SIDES).map(|i| TAU * i as f64 / PAD_SIDES as f64);
            let ring = Ring::Polygon(angles.map(|a| [0.5 * wide * a.cos(), 0.5 * wide * a.sin()]).collect());
            let middle = Vector3::new(at.x, at.y, low - 0.5 * tall);
            let pad = Part {
                rings: vec![ring],
                length: tall,
                middle,
                axes: upright(Vector3::z()),
                material: Some(0),
                bounds: None,
            };
            self.add(pad, Of::Foot, owner, false);
        }
    }

    /// The lowest corner of the members that end at `point`, m.
    fn lowest(&self, point: usize) -> f64 {
        let mut low = f64::INFINITY;
        for own in &self.shown {
            let Owner::Member(number) = self.owners[own.owner] else { continue };
            let member = &self.frame.members[number];
            for (end, sign) in [(member.from, -0.5), (member.to, 0.5)] {
                if end != point {
                    continue;
                }
                let foot = own.part.middle + own.part.axes.column(0) * (sign * own.part.length);
                for ring in &own.part.rings {
                    let Ring::Polygon(corners) = ring else { continue };
                    for [y, z] in corners {
                        let axes: &Matrix3<f64> = &own.part.axes;
                        low = low.min(foot.z + y * axes[(2, 1)] + z * axes[(2, 2)]);
                    }
                }
            }
        }
        low
    }

    fn finish(mut self) -> Machine {
        let mut faces = surface(&self.shown);
        let seen_into: Vec<usize> =
            faces.iter().filter(|face| face.within).map(|face| self.shown[face.part].owner).collect();
        let mut places = Places { size: self.size, ..Places::default() };
        let mut edges: Vec<(String, BTreeSet<[usize; 2]>)> =
            self.build.bodies.iter().map(|body| (body.name.clone(), BTreeSet::new())).collect();
        for face in faces.iter().filter(|face| !face.within) {
            let owner = self.owners[self.shown[face.part].owner];
            let Owner::Body(body) = owner else { continue };
            for ring in &face.rings {
                for i in (0..ring.len()).filter(|i| ring[*i].edge == Edge::Sharp) {
                    let ends = [ring[i].at, ring[(i + 1) % ring.len()].at];
                    let [a, b] = ends.map(|at| places.number(&at, owner));
                    edges[body].1.insert([a.min(b), a.max(b)]);
                }
            }
        }
        self.patches(&mut faces);
        let ordered = BackToFront::new(faces);
        let mut drawn = |face: &Face| {
            let owner = self.shown[face.part].owner;
            let rings = face.rings.iter().map(|ring| places.ring(ring, self.owners[owner])).collect();
            let seen_through = self.shown[face.part].seen_through && seen_into.contains(&owner);
            MachineFace { rings, normal: face.normal, of: self.of[face.part], seen_through }
        };
        let faces = ordered.faces.iter().map(&mut drawn).collect();
        let frame = self.frame;
        let points = frame.points.iter().enumerate();
        let points = points.map(|(i, point)| places.number(&point.position, Owner::Point(i))).collect();
        let centre = |mass: &Mass| {
            places.number(&(frame.points[mass.at].position + mass.offset), Owner::Point(mass.at))
        };
        let centres = frame.masses.iter().map(centre).collect();
        let edges = edges.into_iter().map(|(name, own)| (name, own.into_iter().collect())).collect();
        let Places { all, owners, .. } = places;
        Machine { places: all, faces, divides: ordered.divides, edges, centres, points, owners }
    }

    /// Lays the patches over the faces of the bodies.
    fn patches(&mut self, faces: &mut Vec<Face>) {
        for body in &self.build.bodies {
            for (patch, (point, _)) in body.points.iter().enumerate() {
                let Some((outline, normal)) = body.outline(patch) else { continue };
                let ring = outline.iter().map(|at| Corner { at: *at, edge: Edge::Sharp }).collect();
                let owner = self.owner(Owner::Point(*point));
                self.add(Part::cuboid([0.0; 3], [0.0; 3], None), Of::Patch, owner, false);
                faces.push(Face { rings: vec![ring], normal, part: self.shown.len() - 1, within: false });
            }
        }
    }
}

/// The places met so far, each once.
#[derive(Default)]
struct Places {
    size: f64,
    all: Vec<Vector3<f64>>,
    owners: Vec<Owner>,
    known: BTreeMap<(Owner, [i64; 3]), usize>,
}

impl Places {
    fn number(&mut self, at: &Vector3<f64>, owner: Owner) -> usize {
        let step = SAME * self.size;
        let key = (owner, [0, 1, 2].map(|i| (at[i] / step).round() as i64));
        *self.known.entry(key).or_insert_with(|| {
            self.all.push(*at);
            self.owners.push(owner);
            self.all.len() - 1
        })
    }

    /// A curve with places close enough to follow its owner.
    fn ring(&mut self, ring: &[Corner], owner: Owner) -> Vec<(usize, Edge)> {
        let mut through = Vec::new();
        for (i, corner) in ring.iter().enumerate() {
            let next = ring[(i + 1) % ring.len()].at;
            let count = match owner {
                _ if corner.edge == Edge::Cut => 1,
                Owner::Point(_) => 1,
                _ => ((next - corner.at).norm() / (STRAIGHT * self.size)).ceil().max(1.0) as usize,
            };
            for step in 0..count {
                let at = corner.at.lerp(&next, step as f64 / count as f64);
                through.push((self.number(&at, owner), corner.edge));
            }
        }
        through
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_design::Design;
    use stillbed_input::quantity::Draw;
    use stillbed_material::Table;

    const SLAB: &str = r#"
        points = { f = "0, 0, -50 mm", p = "100, 0, 50 mm", q = "100, 0, 350 mm" }
        patches.f = "round 40 mm"
        members.post = { from = "p", to = "q", section = "post" }
        masses.head = { at = "q", mass = "8 kg", offset = "0, 0, 100 mm" }
        anchors.floor = { at = "f", hold = "all" }
        sections.post.parts = [{ tube = "40 x 40 x 3 mm", of = "structural steel" }]
        builds.stone.bodies.slab.parts = [{ box = "600 x 400 x 100 mm", of = "granite" }]
    "#;

    #[test]
    fn a_slab_with_a_post_and_a_head_is_drawn_whole_and_moves_together() {
        let design = Design::read("d.toml", SLAB, &Table::built_in()).design.unwrap();
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let machine = Machine::new(build, &model);
        let of = |of: Of| machine.faces.iter().filter(|face| face.of == of).count();
        assert!(of(Of::Mass) >= 6 && of(Of::Foot) > 8 && of(Of::Patch) >= 2);
        let (mut low, mut high) = (Vector3::repeat(1.0), Vector3::repeat(-1.0));
        for face in &machine.faces {
            for (place, _) in face.rings.iter().flatten() {
                low = low.inf(&machine.places[*place]);
                high = high.sup(&machine.places[*place]);
            }
        }
        assert_relative_eq!(high.x, 0.3, epsilon = 1e-9);
        assert_relative_eq!(high.z, 0.45 + 0.5 * (8.0 / STEEL).cbrt(), epsilon = 1e-9);
        assert_relative_eq!(low.y, -0.2, epsilon = 1e-9);
        let shapes =
            build.spectrum(&model, &stillbed_modes::Asked { count: 2, ..Default::default() }).unwrap();
        let motion = &shapes.elastic[0].shape;
        let moved = machine.movement(build, &model.frame, &shapes.layout, motion);
        // Where slab and post meet, they move alike, whichever moves the place.
        let near = |owner: Owner| {
            let own = (0..moved.len()).filter(|i| machine.owners[*i] == owner);
            let to = |i: &usize| (machine.places[*i] - Vector3::new(0.1, 0.0, 0.05)).norm();
            own.min_by(|a, b| to(a).total_cmp(&to(b))).map(|i| moved[i]).unwrap()
        };
        let (slab, post, point) = (near(Owner::Body(0)), near(Owner::Member(0)), near(Owner::Point(1)));
        let most = moved.iter().map(|d| d.norm()).fold(0.0, f64::max);
        assert!(
            (slab - point).norm() < 0.03 * most && (post - point).norm() < 0.03 * most,
            "{slab} {post} {point}"
        );
    }
}
