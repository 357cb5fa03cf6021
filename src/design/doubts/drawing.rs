//! Points, lengths and masses that are most likely slips.

use super::doubt;
use crate::design::drawing::Drawing;
use crate::problem::Problem;
use crate::quantity::{Kind, figures, show};

/// A coordinate beyond which the unit is doubted, m.
const FAR: f64 = 20.0;
/// The same of the length of a member, m.
const LONG: f64 = 10.0;
/// Members shorter than this are refused, m: their stiffness drowns that of all others in rounding.
const SHORTEST: f64 = 1e-4;
/// Points nearer than this lie at one place, m.
const ONE_PLACE: f64 = 1e-6;
/// A mass farther from its point than this many sizes of the drawing is doubted.
const FAR_OUT: f64 = 2.0;

/// What is doubtful about places, lengths and masses.
pub(super) fn doubts(drawing: &Drawing) -> Vec<Problem> {
    let mut said = places(drawing);
    said.extend(halves(drawing));
    said.extend(lengths(drawing));
    said.extend(masses(drawing));
    said
}

fn apart(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
}

/// The diagonal of the box around all points, m.
fn size(drawing: &Drawing) -> f64 {
    let mut corners = [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]];
    for (_, point) in drawing.points.iter() {
        for i in 0..3 {
            corners[0][i] = corners[0][i].min(point.position[i]);
            corners[1][i] = corners[1][i].max(point.position[i]);
        }
    }
    if drawing.points.is_empty() { 0.0 } else { apart(&corners[0], &corners[1]) }
}

fn places(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    let points: Vec<_> = drawing.points.iter().collect();
    for (i, (name, point)) in points.iter().enumerate() {
        if let Some(far) = point.position.iter().find(|x| x.abs() > FAR) {
            let message = format!("{} is far for a small machine", show(*far, Kind::Length));
            said.push(doubt(&point.place, message, "is the unit right?"));
        }
        // Where a member joins the two, it has no length, which is said of the frame.
        let joined = |other: &str| {
            drawing.members.iter().any(|(_, member)| {
                let ends = [member.from.value.as_str(), member.to.value.as_str()];
                ends.contains(name) && ends.contains(&other)
            })
        };
        let twin = points[..i]
            .iter()
            .find(|(known, other)| apart(&other.position, &point.position) < ONE_PLACE && !joined(known));
        if let Some((other, _)) = twin {
            let message = format!(
                "\"{name}\" lies where \"{other}\" lies, and what meets at one does not meet the other"
            );
            said.push(doubt(&point.place, message, "name one point in all members that meet there"));
        }
    }
    said
}

/// Parts of the drawing that no member joins.
fn halves(drawing: &Drawing) -> Vec<Problem> {
    let points: Vec<_> = drawing.points.iter().collect();
    let index = |name: &str| drawing.points.position(name);
    let mut part: Vec<usize> = (0..points.len()).collect();
    let mut met = vec![false; points.len()];
    for (_, member) in drawing.members.iter() {
        let (Some(a), Some(b)) = (index(&member.from.value), index(&member.to.value)) else {
            return Vec::new();
        };
        (met[a], met[b]) = (true, true);
        let (old, new) = (part[a], part[b]);
        part.iter_mut().filter(|p| **p == old).for_each(|p| *p = new);
    }
    let mut firsts: Vec<usize> = Vec::new();
    for i in (0..points.len()).filter(|i| met[*i]) {
        if firsts.iter().all(|first| part[*first] != part[i]) {
            firsts.push(i);
        }
    }
    let Some(main) = firsts.first() else { return Vec::new() };
    let of = |first: usize| {
        let (name, point) = points[first];
        let count = (0..points.len()).filter(|i| met[*i] && part[*i] == part[first]).count();
        let message = format!(
            "no member joins the part at \"{name}\" ({count} points) to the part at \"{}\": the base is in {} \
             parts",
            points[*main].0,
            firsts.len()
        );
        doubt(&point.place, message, "draw a member between them, or name one point in both")
    };
    firsts.iter().skip(1).map(|first| of(*first)).collect()
}

fn lengths(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    for (_, member) in drawing.members.iter() {
        let ends = (drawing.points.get(&member.from.value), drawing.points.get(&member.to.value));
        let (Some(a), Some(b)) = ends else { continue };
        let length = apart(&a.position, &b.position);
        if length > LONG {
            said.push(doubt(
                &member.place,
                format!("{} long", show(length, Kind::Length)),
                "is the unit right?",
            ));
        }
        // At no length at all the points lie at one place, which is said of the frame.
        if (1e-9..SHORTEST).contains(&length) {
            let message = format!(
                "{} long; a member shorter than {} cannot be computed beside others",
                show(length, Kind::Length),
                show(SHORTEST, Kind::Length)
            );
            said.push(
                Problem::error(member.place.clone(), message)
                    .with_help("leave it out and let its neighbours meet at one point, or mend the points"),
            );
        }
    }
    said
}

fn masses(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    let size = size(drawing);
    for (_, mass) in drawing.masses.iter() {
        if mass.mass.value > 5000.0 {
            let message = format!("a mass of {}", show(mass.mass.value, Kind::Mass));
            said.push(doubt(&mass.place, message, "is the unit right?"));
        }
        let arm = apart(&mass.offset, &[0.0; 3]);
        if size > 0.0 && arm > FAR_OUT * size {
            let message = format!(
                "it lies {} from its point, {} times the size of the whole drawing",
                show(arm, Kind::Length),
                figures(arm / size, 2)
            );
            said.push(doubt(
                &mass.place,
                message,
                "offset leads from the point to the mass; is the unit right?",
            ));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::super::tests::said_of;

    #[test]
    fn two_points_at_one_place_and_the_halves_that_they_leave() {
        let said = said_of(
            "tip = \"400, 0, 0 mm\"\n[members.root]\nfrom = \"wall\"\nto = \"middle\"",
            "tip = \"400, 0, 0 mm\"\nseam = \"200, 0, 0 mm\"\n[members.root]\nfrom = \"wall\"\nto = \"seam\"",
        );
        let all = said.join("\n");
        assert!(all.contains("\"seam\" lies where \"middle\" lies"), "{all}");
        assert!(
            all.contains("no member joins the part at \"middle\" (2 points) to the part at \"wall\""),
            "{all}"
        );
        assert!(all.contains("the base is in 2 parts"), "{all}");
    }

    #[test]
    fn a_member_of_a_micrometre_is_refused() {
        let said = said_of("middle = \"200, 0, 0 mm\"", "middle = \"0.001, 0, 0 mm\"");
        assert!(
            said.iter().any(|s| s.contains("members.root: 1 µm long; a member shorter than")),
            "{said:?}"
        );
    }

    #[test]
    fn a_mass_far_out_is_doubted() {
        let said = said_of("0, 0, 50 mm", "0, 0, 4 m");
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("it lies 4000 mm from its point, 10 times the size"), "{said:?}");
        assert!(said_of("0, 0, 50 mm", "0, 0, 790 mm").is_empty());
    }
}
