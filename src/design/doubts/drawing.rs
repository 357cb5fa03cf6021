//! Points, lengths and masses that are most likely mistakes.

use super::doubt;
use crate::drawing::Drawing;
use std::collections::HashMap;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, figures, show};

/// A coordinate beyond this makes the unit doubtful, m.
const FAR: f64 = 20.0;
/// A member longer than this makes the unit doubtful, m.
const LONG: f64 = 10.0;
/// Members shorter than this are refused, m: rounding of their stiffness would drown that of all others.
const SHORTEST: f64 = 1e-4;
/// Points closer than this coincide, m.
const ONE_PLACE: f64 = 1e-6;
/// A unit vector unlike the directions in which people draw.
const ASKEW: [f64; 3] = [0.48, 0.6, 0.64];
/// A mass further from its point than this many sizes of the drawing is doubtful.
const FAR_OUT: f64 = 2.0;

/// What is doubtful about places, lengths and masses.
pub(super) fn doubts(drawing: &Drawing) -> Vec<Problem> {
    let mut said = places(drawing);
    // Where bodies join what stands on them is known once they are prepared.
    if drawing.bodies.is_empty() {
        said.extend(halves(drawing, &[]));
    }
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
    let twins = twins(drawing);
    for (i, (name, point)) in points.iter().enumerate() {
        if let Some(far) = point.position.iter().find(|x| x.abs() > FAR) {
            let message = format!("{} is far for a small machine", show(*far, Kind::Length));
            said.push(doubt(&point.place, message, "is the unit right?"));
        }
        let twin = twins.get(i).copied().flatten();
        if let Some(other) = twin.map(|other| points[other].0) {
            let message = format!(
                "\"{name}\" lies where \"{other}\" lies, and what meets at one does not meet the other"
            );
            said.push(doubt(&point.place, message, "name one point in all members that meet there"));
        }
    }
    said
}

/// For each point: the first earlier point at the same place, unless a member joins the two. That this member
/// has no length is reported of the frame.
fn twins(drawing: &Drawing) -> Vec<Option<usize>> {
    let points: Vec<_> = drawing.points.iter().collect();
    let joins = |a: &str, b: &str| {
        let members = drawing.members.iter().map(|(_, member)| [&member.from, &member.to]);
        let arms = drawing.arms.iter().map(|(_, arm)| [&arm.from, &arm.to]);
        members.chain(arms).any(|ends| {
            let ends = ends.map(|end| end.value.as_str());
            ends.contains(&a) && ends.contains(&b)
        })
    };
    // Along a direction unlike those that people draw in, so that few points share a place on it.
    let along = |i: &usize| points[*i].1.position.iter().zip(ASKEW).map(|(x, e)| x * e).sum::<f64>();
    let mut across: Vec<usize> = (0..points.len()).collect();
    across.sort_by(|a, b| along(a).total_cmp(&along(b)));
    let mut twins = vec![None; points.len()];
    for (rank, i) in across.iter().enumerate() {
        for j in across[rank + 1..].iter().take_while(|j| along(j) - along(i) < ONE_PLACE) {
            let (first, later) = (*i.min(j), *i.max(j));
            if twins[later].is_none_or(|known| first < known)
                && apart(&points[first].1.position, &points[later].1.position) < ONE_PLACE
                && !joins(points[first].0, points[later].0)
            {
                twins[later] = Some(first);
            }
        }
    }
    twins
}

/// Parts of the drawing that no member connects, nor a body; `bodies` are the points of each.
pub(super) fn halves(drawing: &Drawing, bodies: &[Vec<usize>]) -> Vec<Problem> {
    let points: Vec<_> = drawing.points.iter().collect();
    let numbers: HashMap<&str, usize> = points.iter().enumerate().map(|(i, (name, _))| (*name, i)).collect();
    let mut neighbours = vec![Vec::new(); points.len()];
    let members = drawing.members.iter().map(|(_, member)| [&member.from, &member.to]);
    let arms = drawing.arms.iter().map(|(_, arm)| [&arm.from, &arm.to]);
    for ends in members.chain(arms) {
        let [a, b] = ends.map(|end| numbers.get(end.value.as_str()).copied());
        let (Some(a), Some(b)) = (a, b) else { return Vec::new() };
        neighbours[a].push(b);
        neighbours[b].push(a);
    }
    for body in bodies {
        for (a, b) in body.iter().zip(body.iter().cycle().skip(1)) {
            neighbours[*a].push(*b);
            neighbours[*b].push(*a);
        }
    }
    let met = |i: usize| !neighbours[i].is_empty();
    let mut part: Vec<Option<usize>> = vec![None; points.len()];
    let mut firsts: Vec<usize> = Vec::new();
    for i in (0..points.len()).filter(|i| met(*i)) {
        if part[i].is_some() {
            continue;
        }
        firsts.push(i);
        let mut open = vec![i];
        while let Some(point) = open.pop() {
            if part[point].replace(i).is_none() {
                open.extend(&neighbours[point]);
            }
        }
    }
    let Some(main) = firsts.first() else { return Vec::new() };
    let of = |first: usize| {
        let (name, point) = points[first];
        let count = part.iter().filter(|own| **own == Some(first)).count();
        let message = format!(
            "nothing joins the part at \"{name}\" ({count} points) to the part at \"{}\": the base is in {} \
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
        // At zero length the points coincide, which is reported of the frame.
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
            all.contains("nothing joins the part at \"middle\" (2 points) to the part at \"wall\""),
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
