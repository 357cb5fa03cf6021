//! The matrices of a divided frame as a sum of portions: one for the members of each section, and one for
//! joints, masses and feet.
//!
//! A search over many sections in one drawing computes each portion once and sums them.

use super::assembly::{Matrices, bar, turned};
use super::layout::Layout;
use super::model::Frame;
use stillbed_eigen::Sparse;

/// One portion: the stored entries of stiffness, loss, mass and bulge matrix that are not zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Portion {
    slots: Vec<u32>,
    /// For each of `slots`: real and imaginary stiffness, mass, bulge.
    values: [Vec<f64>; 4],
}

impl Portion {
    fn of(full: [Vec<f64>; 4]) -> Portion {
        let filled = |slot: &usize| full.iter().any(|values| values[*slot] != 0.0);
        let slots: Vec<usize> = (0..full[0].len()).filter(filled).collect();
        let values = full.map(|values| slots.iter().map(|slot| values[*slot]).collect());
        Portion { slots: slots.iter().map(|slot| *slot as u32).collect(), values }
    }
}

impl Layout {
    fn nothing(&self) -> [Vec<f64>; 4] {
        [(); 4].map(|()| vec![0.0; self.pattern.row_idx().len()])
    }

    /// What the members of section `section` of `frame` add; `None` when `frame` is not connected like the
    /// one that the layout was made for, or the section is not stiff.
    pub fn portion_of_section(&self, frame: &Frame, section: usize) -> Option<Portion> {
        if frame.members.len() != self.pieces.len() || frame.points.len() != self.points.len() {
            return None;
        }
        let mut values = self.nothing();
        let own = frame.members.iter().enumerate().filter(|(_, member)| member.section == section);
        for (number, member) in own {
            let bar = bar(frame, member, self.pieces[number])?;
            let [re, im, inertia] = bar.parts()?;
            let bulge = turned(bar.piece.bulge()?, &bar.line);
            self.add_pieces(&mut values, &[re, im, inertia, bulge], frame, number, &bar.line);
            let count = self.pieces[number];
            for (slot, lacking) in [(2, bar.taken_off(member, count)?), (3, bar.bulge_lost(member, count)?)] {
                self.take_off(&mut values[slot], frame, number, &bar.line, &lacking);
            }
        }
        Some(Portion::of(values))
    }

    /// What joints, masses and feet of `frame` add; `None` when `frame` is not connected like the one that
    /// the layout was made for.
    pub fn portion_carried(&self, frame: &Frame) -> Option<Portion> {
        if frame.members.len() != self.pieces.len() || frame.points.len() != self.points.len() {
            return None;
        }
        let mut values = self.nothing();
        self.add_carried(&mut values, frame)?;
        Some(Portion::of(values))
    }

    /// The sum of portions: the matrices, and the bulge matrix as [`Layout::bulge`].
    pub fn summed<'a>(&self, portions: impl Iterator<Item = &'a Portion>) -> (Matrices, Sparse) {
        let mut values = self.nothing();
        for portion in portions {
            for (sum, own) in values.iter_mut().zip(&portion.values) {
                for (slot, value) in portion.slots.iter().zip(own) {
                    sum[*slot as usize] += value;
                }
            }
        }
        let [stiffness, loss, mass, bulge] = values.map(|values| self.in_pattern(values));
        (Matrices { stiffness, loss, mass }, bulge)
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::crooked;
    use super::*;

    #[test]
    fn portions_sum_to_the_whole() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let mut portions: Vec<Portion> =
            (0..frame.sections.len()).map(|i| layout.portion_of_section(&frame, i).unwrap()).collect();
        portions.push(layout.portion_carried(&frame).unwrap());
        let (sum, bulge) = layout.summed(portions.iter());
        let whole = layout.matrices(&frame).unwrap();
        let near = |a: &Sparse, b: &Sparse| {
            let scale = b.values().iter().fold(0.0f64, |m, x| m.max(x.abs()));
            assert!(a.values().iter().zip(b.values()).all(|(a, b)| (a - b).abs() <= 1e-12 * scale));
        };
        near(&sum.stiffness, &whole.stiffness);
        near(&sum.loss, &whole.loss);
        near(&sum.mass, &whole.mass);
        near(&bulge, &layout.bulge(&frame).unwrap());
    }

    #[test]
    fn a_frame_with_another_number_of_members_or_points_has_no_portion() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let mut fewer = frame.clone();
        fewer.members.pop();
        let mut more = frame;
        more.points.push(super::super::sample::point("e", 1.0, 1.0, 1.0));
        for other in [fewer, more] {
            assert!(layout.portion_carried(&other).is_none());
            assert!(layout.portion_of_section(&other, 0).is_none());
        }
    }
}
