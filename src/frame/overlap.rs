//! Material that two members share, counted once.
//!
//! Members are drawn from point to point, so their solids overlap where they meet or cross. The member that
//! comes first keeps the common material; it is taken off the others:
//!
//! ```text
//! at a shared point   two members in one line come before two that form a corner there,
//!                     and these before all others that end there
//! else, or if equal   the larger box around the section comes first, then the earlier in the drawing
//! ```
//!
//! Where no two members at a point run on in one line, its two largest form a corner if one box is no more
//! than twice as large as the other. Each ends at the plane that bisects the angle; what it gains beyond its
//! point on one side it lacks on the other, so neither loses anything. A hollow holds no material: a tube
//! that ends in a tube shares only the walls with it.
//!
//! The common material is found with rays along the member that loses it, at Gauss points of a grid with
//! breaks at the corners of both sections: exact for members square to each other with straight sides,
//! otherwise to about 0.1 % of the common part.
//!
//! Where a member is rigid up to the face of one that runs on, it ends there, also on a hollow one. Otherwise the
//! stiffness stays that of members from point to point; what that misses is part of the error of beam theory.

use super::axes::Line;
use super::model::Frame;
use super::piece::GAUSS_2;
use super::solid::{End, Interval, Prism, Sight, Solid, joined, sides};
use nalgebra::{Matrix6, Vector3};
use std::cmp::Ordering;

/// A stretch of a member along which other members keep some of its material.
#[derive(Debug, Clone, PartialEq)]
pub struct Inside {
    /// Index of the member that loses it.
    pub member: usize,
    /// Where the stretch begins along its line, m.
    pub from: f64,
    /// Where it ends, m.
    pub to: f64,
    /// By part of its section: `∫ 1, y, z, y², z², yz` over the lost volume, m3, m4, m5.
    pub parts: Vec<[f64; 6]>,
    /// Indices of the members that keep it.
    pub kept_by: Vec<usize>,
}

impl Inside {
    /// Mass that the member loses, kg, by the density of each part in kg/m3.
    pub fn mass(&self, density: impl Fn(usize) -> f64) -> f64 {
        self.parts.iter().enumerate().map(|(part, volume)| volume[0] * density(part)).sum()
    }

    /// The lost mass per length of the stretch, as a section's mass about the member line: kg/m, kg, kg m.
    pub fn line_mass(&self, density: impl Fn(usize) -> f64) -> Matrix6<f64> {
        let mut sum = [0.0; 6];
        for (part, moments) in self.parts.iter().enumerate() {
            let density = density(part) / (self.to - self.from);
            for (sum, moment) in sum.iter_mut().zip(moments) {
                *sum += moment * density;
            }
        }
        let [m, y, z, yy, zz, yz] = sum;
        Matrix6::from_row_slice(&[
            m,
            0.0,
            0.0,
            0.0,
            z,
            -y, //
            0.0,
            m,
            0.0,
            -z,
            0.0,
            0.0, //
            0.0,
            0.0,
            m,
            y,
            0.0,
            0.0, //
            0.0,
            -z,
            y,
            yy + zz,
            0.0,
            0.0, //
            z,
            0.0,
            0.0,
            0.0,
            zz,
            -yz, //
            -y,
            0.0,
            0.0,
            0.0,
            -yz,
            yy,
        ])
    }
}

/// Two members run on in one line beyond this cosine of the angle between them.
const STRAIGHT: f64 = 0.999;

/// Largest ratio of the boxes around two sections that form a corner.
const ALIKE: f64 = 2.0;

/// Sides shorter than this fraction of a section's size belong to a curve.
const SHORT: f64 = 0.05;

/// Strips that a section is divided into where sides are curved or members not square to each other.
const STRIPS: usize = 12;

/// What the members of `frame` that `loses` selects lose to others; `solids` by section.
///
/// `None` when the frame has faults.
pub fn overlaps(frame: &Frame, solids: &[Solid], loses: impl Fn(usize) -> bool) -> Option<Vec<Inside>> {
    let solids = Solids::new(frame, &solids.iter().collect::<Vec<&Solid>>())?;
    let guests = (0..frame.members.len()).filter(|guest| loses(*guest));
    Some(guests.flat_map(|guest| solids.lost(guest, &solids.keepers(guest))).collect())
}

/// The members of a frame as solids.
pub struct Solids<'a> {
    frame: &'a Frame,
    prisms: Vec<Prism<'a>>,
    boxes: Vec<[Vector3<f64>; 2]>,
    ranks: Ranks,
}

impl<'a> Solids<'a> {
    /// The members of `frame`; `solids` by section. `None` when the frame has faults.
    pub fn new(frame: &'a Frame, solids: &[&'a Solid]) -> Option<Solids<'a>> {
        let mut prisms = Vec::with_capacity(frame.members.len());
        for member in &frame.members {
            let line = Line::drawn(frame, member)?;
            prisms.push(Prism { line, solid: solids.get(member.section)?, ends: [End::Square; 2] });
        }
        let ranks = Ranks::new(frame, &mut prisms);
        let boxes = prisms.iter().map(Prism::bounds).collect();
        Some(Solids { frame, prisms, boxes, ranks })
    }

    /// The members that keep material which `guest` has in common with them.
    pub fn keepers(&self, guest: usize) -> Vec<usize> {
        let near = |a: &[Vector3<f64>; 2], b: &[Vector3<f64>; 2]| {
            (0..3).all(|i| a[0][i] < b[1][i] - 1e-9 && b[0][i] < a[1][i] - 1e-9)
        };
        (0..self.prisms.len())
            .filter(|other| *other != guest && near(&self.boxes[guest], &self.boxes[*other]))
            .filter(|other| self.ranks.order(self.frame, *other, guest) == Ordering::Less)
            .collect()
    }

    /// By end: the member with which `member` forms a corner there.
    pub fn corners(&self, member: usize) -> [Option<usize>; 2] {
        let own = &self.frame.members[member];
        [own.from, own.to].map(|point| {
            let corner = || self.ranks.classes[point].iter().filter(|(_, class)| *class == CORNER);
            let among = corner().any(|(other, _)| *other == member);
            corner().map(|(other, _)| *other).find(|other| among && *other != member)
        })
    }

    /// What `guest` loses to `keepers`, stretch by stretch: it depends on their sections, and on the corners that
    /// it and they form.
    pub fn lost(&self, guest: usize, keepers: &[usize]) -> Vec<Inside> {
        if keepers.is_empty() { Vec::new() } else { self.cut(guest, inside(&self.prisms, guest, keepers)) }
    }

    /// `found`, where the rigid ends of `guest` stand on members that run on: they keep all of it there, also where
    /// they are hollow, since it ends at their faces.
    fn cut(&self, guest: usize, mut found: Vec<Inside>) -> Vec<Inside> {
        let (member, prism, ranks) = (&self.frame.members[guest], &self.prisms[guest], &self.ranks);
        for end in [0, 1] {
            let runs = &ranks.together[member.point(end)];
            let kept_by: Vec<usize> =
                match ranks.classes[member.point(end)].iter().any(|(_, class)| *class == 0) {
                    true => runs.iter().flatten().copied().filter(|m| *m != guest).collect(),
                    false => Vec::new(),
                };
            if member.rigid[end] == 0.0 || kept_by.is_empty() || runs.iter().any(|run| run.contains(&guest)) {
                continue;
            }
            let length = prism.line.length;
            let (from, to) = match end {
                0 => (0.0, member.rigid[0]),
                _ => (length - member.rigid[1], length),
            };
            found.retain(|own| own.to <= from || to <= own.from);
            let volume = |moments: &[f64; 6]| moments.map(|moment| moment * (to - from));
            found.push(Inside {
                member: guest,
                from,
                to,
                parts: prism.solid.moments.iter().map(volume).collect(),
                kept_by,
            });
        }
        found
    }
}

/// The class of members that form a corner.
const CORNER: usize = 1;

/// Which member keeps the common material at each point.
struct Ranks {
    /// By point: its members with their class, of which the smaller keeps: 0 in one line, 1 in
    /// a corner, 2 any other.
    classes: Vec<Vec<(usize, usize)>>,
    /// By point: sets of members that lose nothing to each other there.
    together: Vec<Vec<Vec<usize>>>,
    areas: Vec<f64>,
}

impl Ranks {
    /// Finds members in one line and corners, and mitres the prisms at corners.
    fn new(frame: &Frame, prisms: &mut [Prism]) -> Ranks {
        let areas: Vec<f64> = prisms.iter().map(|prism| prism.solid.box_area()).collect();
        let (mut classes, mut together) = (Vec::new(), Vec::new());
        for point in 0..frame.points.len() {
            let meeting: Vec<usize> = (0..frame.members.len())
                .filter(|m| frame.members[*m].from == point || frame.members[*m].to == point)
                .collect();
            let away = |m: usize| {
                let x: Vector3<f64> = prisms[m].line.axes.row(0).transpose();
                if frame.members[m].from == point { x } else { -x }
            };
            let mut runs: Vec<Vec<usize>> = Vec::new();
            for (i, a) in meeting.iter().enumerate() {
                for b in &meeting[i + 1..] {
                    let free = |m: usize| runs.iter().all(|run| !run.contains(&m));
                    if away(*a).dot(&away(*b)) < -STRAIGHT && free(*a) && free(*b) {
                        runs.push(vec![*a, *b]);
                    }
                }
            }
            let mut corner = Vec::new();
            if runs.is_empty() && meeting.len() > 1 {
                let mut largest = meeting.clone();
                largest.sort_by(|a, b| areas[*b].total_cmp(&areas[*a]).then(a.cmp(b)));
                let (a, b) = (largest[0], largest[1]);
                let inward = away(a) - away(b);
                if areas[a] <= ALIKE * areas[b] && inward.norm() > 0.1 {
                    let end = |m: usize| usize::from(frame.members[m].from != point);
                    let at = |m: usize| {
                        let line = &prisms[m].line;
                        if end(m) == 0 { line.start } else { line.at(line.length) }
                    };
                    let (place, inward) = (0.5 * (at(a) + at(b)), inward.normalize());
                    let (end_a, end_b) = (end(a), end(b));
                    prisms[a].ends[end_a] = End::Mitre { place, inward };
                    prisms[b].ends[end_b] = End::Mitre { place, inward: -inward };
                    corner = vec![a, b];
                }
            }
            let class = |m: usize| match m {
                m if runs.iter().any(|run| run.contains(&m)) => 0,
                m if corner.contains(&m) => CORNER,
                _ => 2,
            };
            classes.push(meeting.iter().map(|m| (*m, class(*m))).collect());
            if !corner.is_empty() {
                runs.push(corner);
            }
            together.push(runs);
        }
        Ranks { classes, together, areas }
    }

    /// `Less` when member `a` keeps what it has in common with `b`, `Equal` when nothing is taken off.
    fn order(&self, frame: &Frame, a: usize, b: usize) -> Ordering {
        let meets = |point: usize| {
            let class = |m: usize| self.classes[point].iter().find(|(other, _)| *other == m).map(|(_, c)| *c);
            class(a).zip(class(b))
        };
        let shared = [frame.members[a].from, frame.members[a].to].into_iter().find(|p| meets(*p).is_some());
        let Some(point) = shared else { return self.by_size(&[a], &[b]) };
        let set = |m: usize| self.together[point].iter().find(|set| set.contains(&m));
        let (own, other) = (set(a), set(b));
        if own.is_some() && own == other {
            return Ordering::Equal;
        }
        let (class_a, class_b) = meets(point).unwrap_or_default();
        let one = |m: usize, set: Option<&Vec<usize>>| set.cloned().unwrap_or_else(|| vec![m]);
        class_a.cmp(&class_b).then_with(|| self.by_size(&one(a, own), &one(b, other)))
    }

    /// The larger first, then the earlier in the drawing.
    fn by_size(&self, a: &[usize], b: &[usize]) -> Ordering {
        let largest = |set: &[usize]| set.iter().map(|m| self.areas[*m]).fold(0.0, f64::max);
        let (own, other) = (largest(a), largest(b));
        // Sizes that differ only by rounding are equal.
        if (own - other).abs() > 1e-9 * own.max(other) {
            return other.total_cmp(&own);
        }
        a.iter().min().cmp(&b.iter().min())
    }
}

/// One ray along the member that loses material, the guest.
struct Ray {
    part: usize,
    at: [f64; 2],
    /// The area that it stands for, m2.
    weight: f64,
    /// The stretches that lie in the material of a keeper, with the keeper's index.
    hits: Vec<(usize, Interval)>,
}

/// What `guest` loses to `keepers`, stretch by stretch.
fn inside(prisms: &[Prism], guest: usize, keepers: &[usize]) -> Vec<Inside> {
    let Prism { line, solid, .. } = &prisms[guest];
    let sights: Vec<Sight> = keepers.iter().map(|keeper| prisms[*keeper].along_rays(line)).collect();
    let mut crossed: Vec<Interval> = Vec::new();
    let breaks = [0, 1].map(|axis| breaks(prisms, guest, keepers, axis));
    let mut rays: Vec<Ray> = Vec::new();
    for (part, rings) in solid.parts.iter().enumerate().filter(|(_, rings)| !rings.is_empty()) {
        let first = rays.len();
        let mut whole = 0.0;
        for (z, height) in places(&breaks[1]) {
            for cell in across(rings, z, &breaks[0]) {
                for (y, width) in places(&cell) {
                    let weight = width * height;
                    whole += weight;
                    let mut hits = Vec::new();
                    for (keeper, sight) in sights.iter().enumerate() {
                        sight.cross([y, z], &mut crossed);
                        let within = crossed.drain(..).map(|(a, b)| (a.max(0.0), b.min(line.length)));
                        let long = within.filter(|(a, b)| b - a > 1e-9 * line.length);
                        hits.extend(long.map(|stretch| (keeper, stretch)));
                    }
                    if !hits.is_empty() {
                        rays.push(Ray { part, at: [y, z], weight, hits });
                    }
                }
            }
        }
        // The polygon of a curved outline has slightly less or more area than the part.
        let right = solid.moments.get(part).filter(|_| whole > 0.0).map_or(1.0, |own| own[0] / whole);
        rays[first..].iter_mut().for_each(|ray| ray.weight *= right);
    }
    // Keepers whose stretches overlap along the guest make one stretch.
    let reach = |k: usize| {
        let all = rays.iter().flat_map(|ray| &ray.hits).filter(|(keeper, _)| *keeper == k);
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (_, (from, to))| (a.min(*from), b.max(*to)))
    };
    let reaches: Vec<Interval> = (0..keepers.len()).map(reach).collect();
    let stretches = joined(reaches.iter().copied().filter(|(from, to)| from < to).collect());
    let whole_stretch = |(from, to): Interval| {
        let own = |k: &usize| from <= reaches[*k].0 && reaches[*k].1 <= to;
        let group: Vec<usize> = (0..keepers.len()).filter(own).collect();
        let mut parts = vec![[0.0; 6]; solid.parts.len()];
        for ray in &rays {
            let hits = ray.hits.iter().filter(|(keeper, _)| group.contains(keeper));
            let hits = joined(hits.map(|(_, stretch)| *stretch).collect());
            let volume = ray.weight * hits.iter().map(|(a, b)| b - a).sum::<f64>();
            let [y, z] = ray.at;
            let own = &mut parts[ray.part];
            for (sum, factor) in own.iter_mut().zip([1.0, y, z, y * y, z * z, y * z]) {
                *sum += volume * factor;
            }
        }
        let kept_by = group.iter().map(|k| keepers[*k]).collect();
        Inside { member: guest, from, to, parts, kept_by }
    };
    stretches.into_iter().map(whole_stretch).collect()
}

/// Where the grid over the section of `guest` is broken along `axis` (0 is y, 1 is z), ascending.
fn breaks(prisms: &[Prism], guest: usize, keepers: &[usize], axis: usize) -> Vec<f64> {
    let Prism { line, solid, .. } = &prisms[guest];
    let (low, high) = (solid.bounds[0][axis], solid.bounds[1][axis]);
    let mut breaks = vec![low, high];
    let mut curved = false;
    for (a, b) in solid.parts.iter().flatten().flat_map(|ring| sides(ring)) {
        if (a[0] - b[0]).hypot(a[1] - b[1]) > SHORT * solid.reach() {
            breaks.extend([a[axis], b[axis]]);
        } else {
            curved = true;
        }
    }
    for keeper in keepers {
        let other = &prisms[*keeper];
        let along = line.axes * other.line.axes.row(0).transpose();
        let own = |place: Vector3<f64>| (line.axes * (place - line.start))[axis + 1];
        let sideways = along[axis + 1].abs();
        if sideways > 1e-9 {
            // A keeper that runs along this axis shows its ends there; its corners do not matter.
            curved |= sideways < 1.0 - 1e-9;
            breaks.extend([own(other.line.start), own(other.line.at(other.line.length))]);
            continue;
        }
        for (a, b) in other.solid.parts.iter().flatten().flat_map(|ring| sides(ring)) {
            let corner = |p: [f64; 2]| {
                own(other.line.start + other.line.axes.transpose() * Vector3::new(0.0, p[0], p[1]))
            };
            if (a[0] - b[0]).hypot(a[1] - b[1]) > SHORT * other.solid.reach() {
                breaks.extend([corner(a), corner(b)]);
            } else {
                curved = true;
            }
        }
    }
    if curved {
        breaks.extend((1..STRIPS).map(|i| low + (high - low) * i as f64 / STRIPS as f64));
    }
    breaks.retain(|x| (low..=high).contains(x));
    breaks.sort_by(f64::total_cmp);
    breaks.dedup_by(|a, b| (*a - *b).abs() < 1e-9 * (high - low));
    breaks
}

/// Gauss points between breaks, with their weights.
fn places(breaks: &[f64]) -> impl Iterator<Item = (f64, f64)> + '_ {
    breaks.windows(2).flat_map(|ends| {
        let width = ends[1] - ends[0];
        GAUSS_2.iter().map(move |(place, weight)| (ends[0] + place * width, weight * width))
    })
}

/// The intervals of y inside `rings` at height `z`, each with the breaks within it.
fn across(rings: &[Vec<[f64; 2]>], z: f64, breaks: &[f64]) -> Vec<Vec<f64>> {
    let mut crossed: Vec<f64> = Vec::new();
    for (a, b) in rings.iter().flat_map(|ring| sides(ring)) {
        if (a[1] > z) != (b[1] > z) {
            crossed.push(a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
        }
    }
    crossed.sort_by(f64::total_cmp);
    let cell = |ends: &[f64]| {
        let within = breaks.iter().copied().filter(|y| *y > ends[0] + 1e-12 && *y < ends[1] - 1e-12);
        std::iter::once(ends[0]).chain(within).chain([ends[1]]).collect()
    };
    crossed.chunks_exact(2).map(cell).collect()
}

#[cfg(test)]
#[path = "overlap_tests.rs"]
mod tests;
