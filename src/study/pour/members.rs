//! Castings from the members of a frame: each member with the mix in its section is one, in its own position.
//!
//! An upright member is poured along its length, a horizontal one across its section. A long member loses its
//! heat sideways: its ends count only where it is shorter than three times its section and no other member
//! with the mix adjoins them.

use super::heat::{Cell, Solid};
use super::shape::{CastShape, Side, merge};
use stillbed_design::{Build, Model, Profile};
use stillbed_frame::Line;
use stillbed_material::Role;

/// Length of a member over the width of its section from which its ends pass no heat.
const LONG: f64 = 3.0;
/// A ring of more corners counts as round and is replaced by the box around it.
const CORNERS: usize = 12;
/// Lengths that differ by less are equal, m.
const SAME: f64 = 1e-4;
/// Number of names listed for equal castings.
const NAMED: usize = 3;

/// The castings of `medium` in a build; `volumes` (m3) is the volume in each member, in their order.
pub(super) fn castings(build: &Build, model: &Model, medium: usize, volumes: &[f64]) -> Vec<CastShape> {
    let frame = &model.frame;
    let with: Vec<bool> = volumes.iter().map(|volume| *volume > 0.0).collect();
    let mut kinds: Vec<(Key, CastShape, Vec<&str>)> = Vec::new();
    for (i, member) in frame.members.iter().enumerate().filter(|(i, _)| with[*i]) {
        let Some(line) = Line::drawn(frame, member) else { continue };
        let joined = [member.from, member.to].map(|point| {
            let meets = |(j, other): (usize, &stillbed_frame::Member)| {
                j != i && with[j] && (other.from == point || other.to == point)
            };
            frame.members.iter().enumerate().any(meets)
        });
        let steep = [0, 1, 2].map(|row| line.axes[(row, 2)]);
        let up = (1..3).fold(0, |most, row| if steep[row].abs() > steep[most].abs() { row } else { most });
        let key = Key { section: member.section, length: line.length, up, down: steep[up] < 0.0, joined };
        let names = &member.name;
        match kinds.iter_mut().find(|(known, _, _)| known.is(&key)) {
            Some((_, shape, named)) => {
                shape.count += 1;
                shape.volume += volumes[i];
                named.push(names);
            }
            None => {
                let shape = shape(&build.profiles[member.section], build, model, medium, &key);
                kinds.push((key, CastShape { volume: volumes[i], ..shape }, vec![names]));
            }
        }
    }
    kinds.into_iter().map(|(_, shape, names)| CastShape { name: listed(&names), ..shape }).collect()
}

/// What equal castings have in common.
struct Key {
    section: usize,
    length: f64,
    /// Axis of the member that points most nearly up or down; 0 is along the member.
    up: usize,
    down: bool,
    joined: [bool; 2],
}

impl Key {
    fn is(&self, other: &Key) -> bool {
        let alike = (self.section, self.up, self.down) == (other.section, other.up, other.down);
        let turned = [other.joined[1], other.joined[0]];
        let ends = self.joined == other.joined || self.up != 0 && self.joined == turned;
        alike && ends && (self.length - other.length).abs() < SAME
    }
}

fn listed(names: &[&str]) -> String {
    let mut names: Vec<String> = names.iter().map(|name| name.replace('_', " ")).collect();
    if names.len() > NAMED {
        let more = names.len() - NAMED;
        names.truncate(NAMED);
        return format!("{} and {more} more", names.join(", "));
    }
    names.join(", ")
}

fn shape(profile: &Profile, build: &Build, model: &Model, medium: usize, key: &Key) -> CastShape {
    let section = Section::of(profile, build, model, medium);
    let [across, upright] = section.lines.clone();
    let along = vec![0.0, key.length];
    let size = |lines: &[f64]| lines[lines.len() - 1] - lines[0];
    let long = key.length >= LONG * size(&across).max(size(&upright));
    let end = |joined: bool| if joined { Side::Joined } else { Side::Mould };
    let ends = key.joined.map(|joined| end(joined || long));
    let walls = [Side::Mould; 2];
    let counts = [across.len() - 1, upright.len() - 1];
    let of = |y: usize, z: usize| section.blocks[z * counts[0] + y];
    let mut shape = CastShape {
        name: String::new(),
        count: 1,
        volume: 0.0,
        lines: [across.clone(), upright.clone(), along.clone()],
        blocks: section.blocks.clone(),
        solids: section.solids.clone(),
        sides: [walls, walls, [end(key.joined[usize::from(key.down)]), Side::Open]],
    };
    if key.up > 0 {
        let (level, rising) = if key.up == 2 { (across, upright) } else { (upright, across) };
        let (wide, high) = (level.len() - 1, rising.len() - 1);
        let block = |(l, u): (usize, usize)| {
            let u = if key.down { high - 1 - u } else { u };
            if key.up == 2 { of(l, u) } else { of(u, l) }
        };
        shape.blocks = (0..high).flat_map(|u| (0..wide).map(move |l| (l, u))).map(block).collect();
        let rising = match key.down {
            true => rising.iter().rev().map(|line| -line).collect(),
            false => rising,
        };
        shape.lines = [level, along, rising];
        shape.sides = [walls, ends, [Side::Mould, Side::Open]];
    }
    shape
}

/// A section as blocks between straight lines.
struct Section {
    lines: [Vec<f64>; 2],
    /// Content of the blocks, with the axis across the member running fastest.
    blocks: Vec<Cell>,
    solids: Vec<Solid>,
}

impl Section {
    fn of(profile: &Profile, build: &Build, model: &Model, medium: usize) -> Section {
        let geometry = &profile.geometry;
        let rings: Vec<Vec<&Vec<[f64; 2]>>> =
            geometry.outlines().iter().map(|pieces| pieces.iter().flatten().collect()).collect();
        let lines = [0, 1].map(|axis| {
            let mut lines = Vec::new();
            for ring in rings.iter().flatten() {
                let places = ring.iter().map(|corner| corner[axis]);
                if ring.len() <= CORNERS {
                    lines.extend(places);
                } else {
                    let low = places.clone().fold(f64::INFINITY, f64::min);
                    lines.extend([low, places.fold(f64::NEG_INFINITY, f64::max)]);
                }
            }
            merge(&mut lines);
            lines
        });
        let mut section = Section { lines, blocks: Vec::new(), solids: Vec::new() };
        let mut cells = Vec::new();
        for part in geometry.parts() {
            let of = &model.media[part.medium];
            let cell = match (of.conductivity, of.heat_capacity) {
                _ if part.medium == medium => Cell::Fill,
                (Some(conductivity), Some(heat)) if build.substances[part.medium].role() != Role::Void => {
                    section.solids.push(Solid { conductivity, heat_capacity: heat * of.density });
                    Cell::Solid(section.solids.len() - 1)
                }
                _ => Cell::Nothing,
            };
            cells.push(cell);
        }
        for z in section.lines[1].windows(2) {
            for y in section.lines[0].windows(2) {
                let middle = [0.5 * (y[0] + y[1]), 0.5 * (z[0] + z[1])];
                let part = rings.iter().position(|rings| is_inside(rings, middle));
                section.blocks.push(part.map_or(Cell::Nothing, |part| cells[part]));
            }
        }
        section
    }
}

/// True where a point lies inside an odd number of rings.
fn is_inside(rings: &[&Vec<[f64; 2]>], [x, y]: [f64; 2]) -> bool {
    let mut inside = false;
    for ring in rings {
        for (i, [x1, y1]) in ring.iter().enumerate() {
            let [x2, y2] = ring[(i + 1) % ring.len()];
            if (*y1 > y) != (y2 > y) && x < x1 + (y - y1) / (y2 - y1) * (x2 - x1) {
                inside = !inside;
            }
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    use stillbed_input::quantity::Draw;

    fn stand() -> Vec<CastShape> {
        let design = crate::design_sample::stand();
        let build = design.builds.iter().find(|build| build.name == "cast").unwrap();
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let medium = build.substances.iter().position(|s| s.role() == Role::Fill).unwrap();
        castings(build, &model, medium, &vec![0.001; model.frame.members.len()])
    }

    #[test]
    fn members_of_the_stand_are_castings_as_they_stand() {
        let shapes = stand();
        let column = shapes.iter().find(|shape| shape.name == "column").unwrap();
        assert_eq!(column.count, 1);
        // The tube of 120 x 120 x 6 mm around its fill, poured along its length.
        for (found, expected) in column.size().iter().zip([0.12, 0.12, 0.38]) {
            approx::assert_relative_eq!(*found, expected, max_relative = 1e-9);
        }
        assert_eq!(column.blocks.iter().filter(|cell| **cell == Cell::Fill).count(), 1);
        assert!(!column.has_boards() || column.sides[2][0] == Side::Mould);
        // A rail is horizontal, with its skeleton above its conduit.
        let rail = shapes.iter().find(|shape| shape.name.contains("rail")).unwrap();
        let size = rail.size();
        approx::assert_relative_eq!(size[0], 0.09, max_relative = 1e-9);
        approx::assert_relative_eq!(size[2], 0.1, max_relative = 1e-9);
        assert!(rail.has_boards() && rail.blocks.contains(&Cell::Nothing));
        let wide = rail.lines[0].len() - 1;
        let first = |of: &dyn Fn(&Cell) -> bool| rail.blocks.iter().position(of).map(|i| i / wide);
        let (metal, air) = (first(&|c| matches!(c, Cell::Solid(_))), first(&|c| *c == Cell::Nothing));
        assert!(air < metal, "{air:?} {metal:?}");
        let count: usize = shapes.iter().map(|shape| shape.count).sum();
        assert!(count >= 7 && shapes.len() < count, "{count}");
    }

    #[test]
    fn names_are_listed_and_then_counted() {
        assert_eq!(listed(&["front_left", "rear"]), "front left, rear");
        assert_eq!(listed(&["a", "b", "c", "d", "e"]), "a, b, c and 2 more");
    }
}
