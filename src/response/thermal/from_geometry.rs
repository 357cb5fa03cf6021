//! A drawn section prepared for changes of temperature: corners, borders, nests, widths.

use super::border::{Pieces, borders};
use super::nest::nests;
use super::section_parts::{CompositePart, CompositeSection};
use stillbed_frame::MemberSection;
use stillbed_material::Medium;
use stillbed_section::Geometry;
use stillbed_section::clearance::hull;

type Point = [f64; 2];

impl CompositeSection {
    /// The section drawn as `geometry`, of `media` and their `compressive_strength` (Pa, in the
    /// order of the media), with `bond` from 0 to 1; `sliding` is the same section for the frame
    /// with bond 0. Cavities and hidden parts are left out.
    ///
    /// `None` when a part names a medium that is not given.
    pub fn from_geometry(
        geometry: &Geometry,
        media: &[Medium],
        compressive_strength: &[Option<f64>],
        bond: f64,
        sliding: MemberSection,
    ) -> Option<CompositeSection> {
        let outlines = geometry.outlines();
        let solid: Vec<usize> = (0..geometry.parts().len())
            .filter(|i| !geometry.parts()[*i].cavity && !outlines[*i].is_empty())
            .collect();
        let size = hull(outlines.iter().flatten().flatten().flatten().copied())
            .iter()
            .flatten()
            .fold(0.0f64, |most, x| most.max(x.abs()));
        let part = |i: &usize| {
            let number = geometry.parts()[*i].medium;
            let others = || solid.iter().filter(|j| *j != i);
            let pieces: Vec<&Pieces> = others().map(|j| outlines[*j].as_slice()).collect();
            let area = others().map(|j| geometry.moments()[*j].area).sum();
            Some(CompositePart {
                medium: media.get(number)?.clone(),
                compressive_strength: compressive_strength.get(number).copied().flatten(),
                moments: geometry.moments()[*i],
                corners: hull(outlines[*i].iter().flatten().flatten().copied()),
                borders: borders(&outlines[*i], &pieces, area, 1e-6 * size),
            })
        };
        let drawn: Vec<&Pieces> = solid.iter().map(|i| outlines[*i].as_slice()).collect();
        let nests = nests(&drawn, 1e-6 * size);
        Some(CompositeSection { parts: solid.iter().map(part).collect::<Option<_>>()?, nests, bond, sliding })
    }

    /// The section drawn as `geometry` for displacements alone: without corners, borders and nests, which only
    /// stresses need.
    ///
    /// `None` when a part names a medium that is not given.
    pub fn without_outlines(
        geometry: &Geometry,
        media: &[Medium],
        bond: f64,
        sliding: MemberSection,
    ) -> Option<CompositeSection> {
        let parts = geometry.parts().iter().zip(geometry.moments());
        let solid = parts.filter(|(part, moments)| !part.cavity && moments.area > 0.0);
        let part = |(part, moments): (&stillbed_section::Part, &stillbed_section::Moments)| {
            Some(CompositePart {
                medium: media.get(part.medium)?.clone(),
                compressive_strength: None,
                moments: *moments,
                corners: Vec::new(),
                borders: Vec::new(),
            })
        };
        let parts = solid.map(part).collect::<Option<_>>()?;
        Some(CompositeSection { parts, nests: Vec::new(), bond, sliding })
    }
}

/// Twice the signed area of a triangle, positive anticlockwise.
fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}
/// Length around a convex outline and its least width, m.
pub(super) fn around_and_across(hull: &[Point]) -> (f64, f64) {
    let (mut around, mut across) = (0.0, f64::INFINITY);
    for (i, a) in hull.iter().enumerate() {
        let b = hull[(i + 1) % hull.len()];
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        around += length;
        let width = hull.iter().map(|p| turn(*a, b, *p) / length).fold(0.0, f64::max);
        across = across.min(width);
    }
    (around, if across.is_finite() { across } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::super::sample::member_section;
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::Role;
    use stillbed_section::{Part, Shape};

    #[test]
    fn a_filled_tube_touches_its_fill_all_round() {
        let steel = Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.001);
        let cast = Medium::isotropic("cast", Role::Fill, 30e9, 0.25, 2300.0, 0.02);
        let fill = Shape::Rectangle { width: 0.09, height: 0.05 };
        let tube = Shape::Tube { width: 0.1, height: 0.06, wall: 0.005, radius: None };
        let geometry = Geometry::new(vec![Part::new(fill, 1), Part::new(tube, 0)]).unwrap();
        let sliding = member_section(&[super::super::sample::layer("x", 1.0, 0.0, 0.1, 0.0, 0.1)], false);
        let warm =
            CompositeSection::from_geometry(&geometry, &[steel, cast], &[None, Some(90e6)], 1.0, sliding)
                .unwrap();
        for part in &warm.parts {
            let contact: f64 = part.borders.iter().map(|border| border.length).sum();
            assert_relative_eq!(contact, 0.28, max_relative = 1e-6);
        }
        assert_eq!((warm.parts[0].compressive_strength, warm.parts[1].corners.len()), (Some(90e6), 4));
        assert_eq!(warm.parts[0].medium.name, "cast");
        assert_relative_eq!(warm.parts[1].moments.area, 0.0015, max_relative = 1e-6);
    }

    #[test]
    fn a_square_on_its_corner_has_its_own_width() {
        let points = [[0.0, 1.0], [1.0, 0.0], [0.0, -1.0], [-1.0, 0.0], [0.1, 0.1]];
        let hull = hull(points);
        assert_eq!(hull.len(), 4);
        let (around, across) = around_and_across(&hull);
        assert_relative_eq!(around, 4.0 * 2f64.sqrt(), max_relative = 1e-12);
        assert_relative_eq!(across, 2f64.sqrt(), max_relative = 1e-12);
    }
}
