//! Whether the parts of a section can be built in their places.
//!
//! A skeleton part stays in its mould and under its cover, the largest grains of the fill pass wherever fill
//! has to flow, and walls are thick enough to be welded. A skeleton part counts as cast in when it lies
//! within a fill part in the drawn section; a filled tube, whose fill lies inside, has no mould. Distances
//! are between outlines.

use stillbed_design::{Gaps, Substance};
use stillbed_material::Role;
use stillbed_section::Part;
use stillbed_section::clearance::{TOUCHING, distance, within};

/// Why a choice is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Refusal {
    /// The sizes of a shape contradict each other.
    Shape,
    /// A skeleton part extends beyond the fill in which it is cast.
    LeavesMould,
    /// The fill over a skeleton part is thinner than the stated cover.
    Cover,
    /// A gap is too narrow for the largest grains.
    Stones,
    /// A wall is too thin to be welded.
    Wall,
    /// The binder does not fill the voids between the grains.
    Voids,
}

impl Refusal {
    /// The reason as text.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Refusal::Shape => "sizes that do not fit each other",
            Refusal::LeavesMould => "the part leaves its mould",
            Refusal::Cover => "less cover than asked",
            Refusal::Stones => "a gap too narrow for the stones",
            Refusal::Wall => "a wall too thin to weld",
            Refusal::Voids => "binder too little to fill the voids of its grains",
        }
    }
}

/// For each skeleton part of the drawn section, the index of the fill part in which it is cast.
pub(super) fn moulds(parts: &[Part], substances: &[Substance]) -> Vec<Option<usize>> {
    let role = |part: &Part| substances.get(part.medium).map(Substance::role);
    let outer = |part: &Part| part.rings().swap_remove(0);
    let holds = |i: usize| {
        let own = outer(&parts[i]);
        let fills = (0..i).rev().filter(|j| role(&parts[*j]) == Some(Role::Fill));
        fills.into_iter().find(|j| within(&own, &outer(&parts[*j])))
    };
    (0..parts.len()).map(|i| if role(&parts[i]) == Some(Role::Skeleton) { holds(i) } else { None }).collect()
}

/// Why `parts` cannot be built; `moulds` are those of the drawn section.
pub(super) fn refusal(
    parts: &[Part],
    moulds: &[Option<usize>],
    substances: &[Substance],
    gaps: &Gaps,
) -> Option<Refusal> {
    if parts.iter().any(|part| part.shape.check().is_err()) {
        return Some(Refusal::Shape);
    }
    let role = |i: usize| substances.get(parts[i].medium).map(Substance::role);
    let thin = |i: usize| {
        role(i) == Some(Role::Skeleton)
            && parts[i].shape.wall().is_some_and(|wall| wall < gaps.wall * (1.0 - 1e-9))
    };
    if (0..parts.len()).any(thin) {
        return Some(Refusal::Wall);
    }
    let rings: Vec<Vec<[f64; 2]>> = parts.iter().map(|part| part.rings().swap_remove(0)).collect();
    let clogged = |i: usize| {
        let clear =
            parts[i].shape.hollow().map(|hollow| hollow.clear).filter(|_| role(i) == Some(Role::Skeleton));
        let filling = clear.and_then(|_| filling(parts, &rings, i)).filter(|j| role(*j) == Some(Role::Fill));
        clear.zip(filling).is_some_and(|(clear, filling)| {
            clear < gaps.stones * largest_grain(&substances[parts[filling].medium]) - 1e-9
        })
    };
    if (0..parts.len()).any(clogged) {
        return Some(Refusal::Stones);
    }
    for (i, mould) in moulds.iter().enumerate() {
        let Some(mould) = *mould else { continue };
        if !within(&rings[i], &rings[mould]) {
            return Some(Refusal::LeavesMould);
        }
        let cover = distance(&rings[i], &rings[mould]);
        if cover < gaps.cover - 1e-9 {
            return Some(Refusal::Cover);
        }
        let passage = gaps.stones * largest_grain(&substances[parts[mould].medium]);
        let others = (0..parts.len()).filter(|j| *j != i && *j != mould && role(*j) != Some(Role::Fill));
        let beside =
            others.filter(|j| !within(&rings[*j], &rings[i])).map(|j| distance(&rings[i], &rings[j]));
        let narrow = |gap: f64| gap > TOUCHING && gap < passage - 1e-9;
        if narrow(cover) || beside.into_iter().any(narrow) {
            return Some(Refusal::Stones);
        }
    }
    None
}

/// The index of the part that fills hollow part `i`: the last of the later parts that lies within it, or else
/// the last of the earlier parts that encloses its inside.
fn filling(parts: &[Part], rings: &[Vec<[f64; 2]>], i: usize) -> Option<usize> {
    let inner = parts[i].rings().into_iter().nth(1)?;
    let later = (i + 1..parts.len()).rev().find(|j| within(&inner, &rings[*j]));
    later.or_else(|| (0..i).rev().find(|j| within(&inner, &rings[*j])))
}

/// Largest grain of a mix, m; 0 for a fill that is a material.
fn largest_grain(substance: &Substance) -> f64 {
    match substance {
        Substance::Mix(recipe) => {
            recipe.aggregates.iter().filter_map(|a| a.grain).map(|(_, largest)| largest).fold(0.0, f64::max)
        }
        Substance::Material(_) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use stillbed_section::Shape;

    /// A tube of 40 mm at height `z` in a bed of 100 mm with grains up to 5 mm.
    fn refused(z: f64, wall: f64, gaps: &Gaps) -> Option<Refusal> {
        let design = design(stillbed_design::STARTER);
        let build =
            design.builds.iter().find(|b| b.substances.iter().any(|s| s.role() == Role::Fill)).unwrap();
        let medium = |role| build.substances.iter().position(|s| s.role() == role).unwrap();
        let tube = Shape::Tube { width: 0.04, height: 0.04, wall, radius: None };
        let bed = Part::new(Shape::Rectangle { width: 0.1, height: 0.1 }, medium(Role::Fill));
        let drawn = [bed, Part::new(tube, medium(Role::Skeleton))];
        let moulds = moulds(&drawn, &build.substances);
        assert_eq!(moulds, [None, Some(0)]);
        let moved = [drawn[0].clone(), drawn[1].clone().at(0.0, z)];
        refusal(&moved, &moulds, &build.substances, gaps)
    }

    #[test]
    fn a_part_stays_in_its_mould_under_its_cover() {
        let gaps = Gaps { cover: 0.01, stones: 0.0, wall: 0.0 };
        assert_eq!(refused(0.0, 0.003, &gaps), None);
        assert_eq!(refused(0.02, 0.003, &gaps), None);
        assert_eq!(refused(0.021, 0.003, &gaps), Some(Refusal::Cover));
        assert_eq!(refused(0.04, 0.003, &gaps), Some(Refusal::LeavesMould));
    }

    #[test]
    fn stones_pass_or_the_part_touches() {
        let gaps = Gaps { cover: 0.0, stones: 3.0, wall: 0.0 };
        assert_eq!(refused(0.0295, 0.003, &gaps), Some(Refusal::Stones));
        assert_eq!(refused(0.03, 0.003, &gaps), None);
    }

    #[test]
    fn stones_pass_inside_a_tube_that_is_cast_in() {
        // Grains up to 5 mm: a tube of 40 mm has 34 mm clear with a wall of 3 mm, 16 mm with one of 12 mm.
        let gaps = Gaps { cover: 0.0, stones: 5.0, wall: 0.0 };
        assert_eq!(refused(0.0, 0.003, &gaps), None);
        assert_eq!(refused(0.0, 0.012, &gaps), Some(Refusal::Stones));
    }

    #[test]
    fn thin_walls_are_not_welded() {
        let gaps = Gaps { wall: 0.003, ..Gaps::default() };
        assert_eq!(refused(0.0, 0.002, &gaps), Some(Refusal::Wall));
        assert_eq!(refused(0.0, 0.003, &gaps), None);
        assert_eq!(refused(0.0, 0.02, &gaps), Some(Refusal::Shape));
    }
}
