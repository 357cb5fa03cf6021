//! Parts that lie within each other all round: chains of rings from within outwards, for the stress that
//! comes from holding each other's widths.
//!
//! A piece of a part is hosted by the piece in whose hole it lies, touched all round. Each piece that hosts
//! none begins a chain, which runs through its host, the host of that, and so on. Of a host with several
//! guests each chain has a share by their areas, as each lies in a cell of its own.

use super::border::{ALL_ROUND, Pieces, enclosed, inside, perimeter, point_within, solid, touched};
use super::rings::roundness;

/// Parts around one another.
#[derive(Debug, Clone, PartialEq)]
pub struct Nest {
    /// Empty area within the innermost, m2.
    pub void: f64,
    /// From within outwards: the number of the part and its area in this nest, m2.
    pub rings: Vec<(usize, f64)>,
    /// Roundness of the innermost border between two: 1 for a circle, π/4 for a square.
    pub round: f64,
}

/// One connected region of a part.
struct Piece<'a> {
    part: usize,
    outline: &'a [Vec<[f64; 2]>],
    /// The number of its host among all pieces.
    host: Option<usize>,
}

/// The nests of `parts`; what lies beyond a border is looked up at the distance `step` (m).
pub(super) fn nests(parts: &[&Pieces], step: f64) -> Vec<Nest> {
    let mut pieces: Vec<Piece> = Vec::new();
    for (part, outlines) in parts.iter().enumerate() {
        let drawn = outlines.iter().filter(|outline| !outline.is_empty());
        pieces.extend(drawn.map(|outline| Piece { part, outline, host: None }));
    }
    let hosts = |guest: &Piece, host: &Piece| {
        let outer = &guest.outline[0];
        let Some(within) = point_within(guest.outline, step) else { return false };
        let lies = |hole: &Vec<[f64; 2]>| inside(&[vec![hole.clone()]], within);
        guest.part != host.part
            && host.outline.iter().skip(1).any(lies)
            && touched(outer, &[&[host.outline.to_vec()]], step) > ALL_ROUND * perimeter(outer)
    };
    let found: Vec<Option<usize>> =
        pieces.iter().map(|guest| pieces.iter().position(|host| hosts(guest, host))).collect();
    pieces.iter_mut().zip(found).for_each(|(piece, host)| piece.host = host);
    let whole = |piece: &Piece| enclosed(&piece.outline[0]);
    let chain = |first: usize| {
        let innermost = &pieces[first];
        let area = solid(innermost.outline);
        let mut nest = Nest {
            void: (whole(innermost) - area).max(0.0),
            rings: vec![(innermost.part, area)],
            round: roundness(whole(innermost), perimeter(&innermost.outline[0])),
        };
        let (mut at, mut share) = (first, 1.0);
        while let Some(host) = pieces[at].host {
            let guests = pieces.iter().filter(|piece| piece.host == Some(host));
            share *= whole(&pieces[at]) / guests.map(whole).sum::<f64>();
            nest.rings.push((pieces[host].part, share * solid(pieces[host].outline)));
            at = host;
        }
        nest
    };
    let first = |number: &usize| pieces.iter().all(|piece| piece.host != Some(*number));
    (0..pieces.len()).filter(first).map(chain).filter(|nest| nest.rings.len() > 1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;
    use stillbed_section::{Geometry, Part, Shape};

    fn of(parts: Vec<Part>) -> Vec<Nest> {
        let geometry = Geometry::new(parts).unwrap();
        let outlines: Vec<&Pieces> = geometry.outlines().iter().map(Vec::as_slice).collect();
        nests(&outlines, 1e-7)
    }

    fn block(width: f64, height: f64, medium: usize) -> Part {
        Part::new(Shape::Rectangle { width, height }, medium)
    }

    fn tube(medium: usize) -> Part {
        Part::new(Shape::Tube { width: 0.06, height: 0.04, wall: 0.004, radius: None }, medium)
    }

    #[test]
    fn a_filled_tube_within_a_cast_is_three_rings() {
        let found = of(vec![block(0.1, 0.09, 0), tube(1)]);
        assert_eq!(found.len(), 1);
        let parts: Vec<usize> = found[0].rings.iter().map(|ring| ring.0).collect();
        assert_eq!(parts, [0, 1, 0]);
        let within = 52e-3 * 32e-3;
        for (ring, area) in found[0].rings.iter().zip([within, 2.4e-3 - within, 9e-3 - 2.4e-3]) {
            assert_relative_eq!(ring.1, area, max_relative = 1e-6);
        }
        assert_relative_eq!(found[0].round, 4.0 * PI * within / 0.168f64.powi(2), max_relative = 1e-6);
        assert!(found[0].void < 1e-12);
    }

    #[test]
    fn a_tube_off_the_middle_is_found_wherever_it_lies() {
        for (y, z) in [(0.0, 0.012), (0.013, 0.0071), (-0.004, 0.0), (0.0151, -0.0123), (-0.0149, 0.0199)] {
            let found = of(vec![block(0.1, 0.09, 0), tube(1).at(y, z)]);
            let rings: Vec<usize> = found.iter().map(|nest| nest.rings.len()).collect();
            assert_eq!(rings, [3], "{y} {z}");
        }
    }

    #[test]
    fn bars_within_one_cast_share_it_by_their_areas() {
        let bar = |width, y| block(width, 0.01, 1).at(y, 0.0);
        let found = of(vec![block(0.1, 0.05, 0), bar(0.01, -0.02), bar(0.03, 0.02)]);
        assert_eq!(found.len(), 2);
        for (nest, area) in found.iter().zip([1e-4, 3e-4]) {
            assert_relative_eq!(nest.rings[0].1, area, max_relative = 1e-6);
            assert_relative_eq!(nest.rings[1].1, 4.6e-3 * area / 4e-4, max_relative = 1e-6);
        }
    }

    #[test]
    fn what_is_not_touched_all_round_has_no_nest() {
        assert_eq!(of(vec![block(0.1, 0.02, 0), block(0.1, 0.01, 1).at(0.0, 0.015)]), []);
        // A tube half full, and a bar at the skin of a cast.
        assert_eq!(of(vec![tube(0), block(0.052, 0.016, 1).at(0.0, -0.008)]), []);
        assert_eq!(of(vec![block(0.1, 0.05, 0), block(0.02, 0.01, 1).at(0.0, 0.02)]), []);
    }
}
