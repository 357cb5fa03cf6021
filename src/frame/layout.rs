//! The degrees of freedom of a divided frame, and which of them each element couples.
//!
//! Members are divided into equal elements. The points come first, each with six degrees of freedom in global
//! axes less those that an anchor holds. Then, member after member, come the relative motions of its sprung
//! joints in member axes and the inner nodes between its elements; then, body after body, those of its joints and
//! its inner coordinates.
//!
//! The layout depends only on how the drawing is connected, not on its sizes: one layout serves every draw of
//! the uncertain values and every choice of sections.

use super::FrameFault;
use super::arms::Hung;
use super::model::{BodyJoint, Frame, Member, Substructure};
use faer::sparse::SymbolicSparseColMat;
use std::ops::Range;

/// The degrees of freedom of a divided frame.
#[derive(Debug, Clone)]
pub struct Layout {
    /// By member: how many elements it is divided into.
    pub pieces: Vec<usize>,
    /// By degree of freedom: the point, joint or inner node it belongs to; the elimination
    /// order keeps these together.
    pub group: Vec<usize>,
    /// By point and axis: the degree of freedom; `None` is held by an anchor.
    pub(super) points: Vec<[Option<usize>; 6]>,
    /// By point: which other it follows on a rigid arm; then its degrees of freedom are those of the other.
    pub(super) hung: Vec<Option<Hung>>,
    /// By member: the first degree of freedom of its first inner node; the others follow in order.
    pub(super) inner: Vec<usize>,
    /// By member, end and axis: the relative motion of a sprung joint.
    pub(super) joints: Vec<[[Option<usize>; 6]; 2]>,
    /// By member: index of the coupling of its first element; the last entry is that of the first mass.
    firsts: Vec<usize>,
    /// By member: its points.
    ends: Vec<[usize; 2]>,
    /// By mass: its point.
    carriers: Vec<usize>,
    pub(super) bodies: Vec<BodyDofs>,
    /// By element, member after member, then by mass, then by body: the degrees of freedom it couples and its slots.
    pub(super) couplings: Vec<Coupling>,
    /// By degree of freedom: the slot of its diagonal.
    pub(super) diagonal: Vec<usize>,
    pub(super) pattern: SymbolicSparseColMat<usize>,
}

/// Which degrees of freedom of a point no anchor holds.
fn free(frame: &Frame, point: usize) -> [bool; 6] {
    let mut free = [true; 6];
    for anchor in frame.anchors.iter().filter(|anchor| anchor.at.contains(&point)) {
        for j in 0..6 {
            free[j] &= !anchor.hold[j];
        }
    }
    free
}

/// Which degrees of freedom a joint lets move; `None` is rigid.
fn sprung(frame: &Frame, joint: Option<usize>) -> [bool; 6] {
    let joint = joint.and_then(|joint| frame.joints.get(joint));
    joint.map_or([false; 6], |joint| joint.stiffness.map(|spring| spring.is_some()))
}

/// The degrees of freedom of a body beside those of its points.
#[derive(Debug, Clone)]
pub(super) struct BodyDofs {
    /// Its points.
    points: Vec<usize>,
    /// By joint: the place of its point among those of the body, and by axis the relative motion.
    pub(super) joints: Vec<(usize, [Option<usize>; 6])>,
    /// The first of its inner coordinates.
    pub(super) first: usize,
    /// Number of its inner coordinates.
    inner: usize,
}

impl BodyDofs {
    /// The relative motions of its joints.
    fn at_joints(&self) -> impl Iterator<Item = usize> + '_ {
        self.joints.iter().flat_map(|(_, dofs)| dofs.iter().copied().flatten())
    }

    /// True when `body` has the same points, inner coordinates and joints sprung in the same directions.
    fn fits(&self, frame: &Frame, body: &Substructure) -> bool {
        let alike = |((point, dofs), own): (&(usize, [Option<usize>; 6]), &BodyJoint)| {
            *point == own.point && dofs.map(|dof| dof.is_some()) == sprung(frame, Some(own.joint))
        };
        body.points == self.points
            && body.inner == self.inner
            && body.joints.len() == self.joints.len()
            && self.joints.iter().zip(&body.joints).all(alike)
    }
}

/// What a degree of freedom belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Owner {
    /// The point of this index.
    Point(usize),
    /// An inner node or a joint of the member of this index.
    Member(usize),
    /// An inner coordinate or a joint of the body of this index.
    Body(usize),
}

/// The degrees of freedom that one element or mass couples, and the slots (places among the stored
/// entries) of its matrix.
#[derive(Debug, Clone)]
pub(super) struct Coupling {
    pub(super) dofs: Vec<usize>,
    /// Column after column, (n, n).
    pub(super) slots: Vec<u32>,
}

impl Layout {
    /// Numbers the degrees of freedom of `frame` with each member divided into the given number of elements;
    /// a member without a count, or with 0, stays one element.
    ///
    /// # Errors
    /// Every fault that makes `frame` invalid.
    pub fn divide(frame: &Frame, pieces: &[usize]) -> Result<Layout, Vec<FrameFault>> {
        frame.check()?;
        let pieces: Vec<usize> =
            (0..frame.members.len()).map(|m| pieces.get(m).copied().unwrap_or(1).max(1)).collect();
        let mut group = Vec::new();
        let mut places = 0;
        let mut place = |free: [bool; 6]| {
            places += 1;
            free.map(|free| {
                free.then(|| {
                    group.push(places - 1);
                    group.len() - 1
                })
            })
        };
        let hung = frame.hung();
        let mut points: Vec<[Option<usize>; 6]> = hung
            .iter()
            .enumerate()
            .map(|(p, hung)| if hung.is_none() { place(free(frame, p)) } else { [None; 6] })
            .collect();
        for (point, hung) in hung.iter().enumerate() {
            if let Some(Hung { lead, .. }) = hung {
                points[point] = points[*lead];
            }
        }
        let mut inner = Vec::new();
        let mut joints = Vec::new();
        for (member, count) in frame.members.iter().zip(&pieces) {
            let ends = [0, 1].map(|end| place(sprung(frame, member.joint(end))));
            let mut first = None;
            for _ in 1..*count {
                let dofs = place([true; 6]);
                first = first.or(dofs[0]);
            }
            inner.push(first.unwrap_or(0));
            joints.push(ends);
        }
        let of_joint = |own: &BodyJoint| (own.point, place(sprung(frame, Some(own.joint))));
        let mut jointed = frame.bodies.iter().flat_map(|body| &body.joints).map(of_joint).collect::<Vec<_>>();
        let mut bodies = Vec::new();
        for body in &frame.bodies {
            let joints = jointed.drain(..body.joints.len()).collect();
            bodies.push(BodyDofs {
                points: body.points.clone(),
                joints,
                first: group.len(),
                inner: body.inner,
            });
            group.extend(std::iter::repeat_n(places, body.inner));
            places += 1;
        }
        let mut firsts = vec![0];
        firsts.extend(pieces.iter().scan(0, |sum, count| {
            *sum += count;
            Some(*sum)
        }));
        let mut layout = Layout {
            pieces,
            firsts,
            ends: frame.members.iter().map(|member| [member.from, member.to]).collect(),
            carriers: frame.masses.iter().map(|mass| mass.at).collect(),
            bodies,
            diagonal: vec![0; group.len()],
            group,
            points,
            hung,
            inner,
            joints,
            couplings: Vec::new(),
            pattern: SymbolicSparseColMat::new_checked(0, 0, vec![0], None, Vec::new()),
        };
        layout.connect(frame);
        Ok(layout)
    }

    /// True when `frame` is connected like the one that this was made for: the same points held, members
    /// between the same points, joints sprung in the same directions, masses and bodies at the same points.
    pub fn fits(&self, frame: &Frame) -> bool {
        let held = |(p, own): (usize, &[Option<usize>; 6])| {
            self.hung[p].is_some() || own.map(|f| f.is_some()) == free(frame, p)
        };
        let members = || frame.members.iter().zip(self.ends.iter().zip(&self.joints));
        frame.points.len() == self.points.len()
            && frame.members.len() == self.ends.len()
            && self.hung == frame.hung()
            && self.points.iter().enumerate().all(held)
            && members().all(|(member, (ends, joints))| {
                [member.from, member.to] == *ends
                    && (0..2).all(|end| joints[end].map(|f| f.is_some()) == sprung(frame, member.joint(end)))
            })
            && frame.masses.iter().map(|mass| mass.at).eq(self.carriers.iter().copied())
            && frame.bodies.len() == self.bodies.len()
            && frame.bodies.iter().zip(&self.bodies).all(|(body, own)| own.fits(frame, body))
    }

    /// How many degrees of freedom there are.
    pub fn dofs(&self) -> usize {
        self.group.len()
    }

    /// The degree of freedom `axis` (0 to 5) of a point; `None` when an anchor holds it. That of a point on a rigid arm
    /// is that of the point it follows: see [`Layout::moved`] for its motion.
    pub fn dof(&self, point: usize, axis: usize) -> Option<usize> {
        self.points.get(point).and_then(|dofs| dofs.get(axis).copied().flatten())
    }

    /// The degree of freedom of the relative motion `axis` (0 to 5) of a joint at an end (0 or 1) of a member; `None`
    /// where it is rigid.
    pub fn joint_dof(&self, member: usize, end: usize, axis: usize) -> Option<usize> {
        self.joints.get(member).and_then(|ends| ends[end][axis])
    }

    /// The degree of freedom of the relative motion `axis` (0 to 5) of a body's joint, by its place among them; `None`
    /// where it is rigid.
    pub fn body_joint_dof(&self, body: usize, joint: usize, axis: usize) -> Option<usize> {
        self.bodies.get(body).and_then(|own| own.joints.get(joint)?.1[axis])
    }

    /// The point, member or body that a degree of freedom belongs to.
    pub fn owner(&self, dof: usize) -> Owner {
        let held = |dofs: &[Option<usize>; 6]| dofs.contains(&Some(dof));
        if let Some(point) = self.points.iter().position(held) {
            return Owner::Point(self.hung[point].map_or(point, |hung| hung.lead));
        }
        let of_body = |own: &BodyDofs| {
            (own.first..own.first + own.inner).contains(&dof) || own.at_joints().any(|own| own == dof)
        };
        if let Some(body) = self.bodies.iter().position(of_body) {
            return Owner::Body(body);
        }
        // Degrees of freedom are numbered member after member, joints first.
        let past = |m: &usize| {
            let joints = self.joints[*m].iter().flatten().copied().flatten();
            joints.chain((self.pieces[*m] > 1).then_some(self.inner[*m])).any(|first| first <= dof)
        };
        Owner::Member((0..self.pieces.len()).rev().find(past).unwrap_or(0))
    }

    /// The `motion` that another layout states, which is divided alike and differs in the joints alone: joints that
    /// only this one has stay at rest.
    pub fn taken_over(&self, other: &Layout, motion: &[f64]) -> Vec<f64> {
        let mut own = vec![0.0; self.dofs()];
        let places = |layout: &Layout| {
            let of_bodies = layout.bodies.iter().flat_map(|own| own.joints.iter().map(|(_, dofs)| dofs));
            let ends = layout.points.iter().chain(layout.joints.iter().flatten()).chain(of_bodies);
            ends.flatten().copied().collect::<Vec<Option<usize>>>()
        };
        for (to, from) in places(self).into_iter().zip(places(other)) {
            if let (Some(to), Some(from)) = (to, from) {
                own[to] = motion[from];
            }
        }
        let inner = |layout: &Layout| {
            let members =
                layout.inner.iter().zip(&layout.pieces).map(|(first, count)| (*first, 6 * (count - 1)));
            let bodies = layout.bodies.iter().map(|own| (own.first, own.inner));
            members.chain(bodies).collect::<Vec<(usize, usize)>>()
        };
        for ((to, count), (from, _)) in inner(self).into_iter().zip(inner(other)) {
            own[to..to + count].copy_from_slice(&motion[from..from + count]);
        }
        own
    }

    /// The index of the coupling of a member's first element.
    pub(super) fn first_piece(&self, member: usize) -> usize {
        self.firsts[member]
    }

    /// The couplings of the masses.
    pub(super) fn mass_couplings(&self) -> &[Coupling] {
        &self.couplings[self.first_piece(self.pieces.len())..]
    }

    /// The couplings of the bodies.
    pub(super) fn body_couplings(&self) -> &[Coupling] {
        &self.couplings[self.first_piece(self.pieces.len()) + self.carriers.len()..]
    }

    /// The couplings of feet at points that follow others, foot after foot and point after point.
    pub(super) fn hung_foot_couplings(&self) -> &[Coupling] {
        &self.body_couplings()[self.bodies.len()..]
    }

    /// The six degrees of freedom at the end (0 or 1) of an element; `None` when that is the member's end.
    pub(super) fn inner_place(&self, member: usize, piece: usize, end: usize) -> Option<Range<usize>> {
        let number = (piece + end).checked_sub(1).filter(|n| n + 1 < self.pieces[member])?;
        let first = self.inner[member] + 6 * number;
        Some(first..first + 6)
    }

    /// The degrees of freedom that move an end of an element: the six of an inner node, or those of the point
    /// that are not held followed by the relative motions of the joint.
    pub(super) fn end_dofs(&self, member: &Member, number: usize, piece: usize, end: usize) -> Vec<usize> {
        match self.inner_place(number, piece, end) {
            Some(range) => range.collect(),
            None => {
                let point = self.points[member.point(end)].iter();
                point.chain(&self.joints[number][end]).copied().flatten().collect()
            }
        }
    }

    /// True when the end (0 or 1) of an element is an inner node.
    pub(super) fn is_inner(&self, member: usize, piece: usize, end: usize) -> bool {
        self.inner_place(member, piece, end).is_some()
    }

    /// Lists what each element couples, and derives the sparsity pattern.
    fn connect(&mut self, frame: &Frame) {
        let mut lists: Vec<Vec<usize>> = Vec::new();
        for (number, member) in frame.members.iter().enumerate() {
            for piece in 0..self.pieces[number] {
                let mut dofs = self.end_dofs(member, number, piece, 0);
                dofs.extend(self.end_dofs(member, number, piece, 1));
                lists.push(dofs);
            }
        }
        for mass in &frame.masses {
            lists.push(self.points[mass.at].iter().copied().flatten().collect());
        }
        for own in &self.bodies {
            let at_points = own.points.iter().flat_map(|point| self.points[*point].iter().copied().flatten());
            lists.push(at_points.chain(own.at_joints()).chain(own.first..own.first + own.inner).collect());
        }
        for point in frame.feet.iter().flat_map(|foot| &foot.at).filter(|point| self.hung[**point].is_some())
        {
            lists.push(self.points[*point].iter().copied().flatten().collect());
        }
        let n = self.dofs();
        // Which elements touch each degree of freedom, and at which place of their own lists.
        let mut touching: Vec<Vec<(usize, usize)>> = vec![Vec::new(); n];
        for (element, list) in lists.iter().enumerate() {
            for (local, &dof) in list.iter().enumerate() {
                touching[dof].push((element, local));
            }
        }
        let mut slots: Vec<Vec<u32>> = lists.iter().map(|list| vec![0; list.len() * list.len()]).collect();
        let mut starts = vec![0];
        let mut rows: Vec<usize> = Vec::new();
        let mut slot_of_row = vec![usize::MAX; n];
        for column in 0..n {
            let start = rows.len();
            rows.push(column);
            slot_of_row[column] = start;
            for &(element, _) in &touching[column] {
                for &row in &lists[element] {
                    if slot_of_row[row] == usize::MAX {
                        slot_of_row[row] = start;
                        rows.push(row);
                    }
                }
            }
            rows[start..].sort_unstable();
            for (k, &row) in rows[start..].iter().enumerate() {
                slot_of_row[row] = start + k;
            }
            self.diagonal[column] = slot_of_row[column];
            for &(element, local) in &touching[column] {
                let size = lists[element].len();
                for (i, &row) in lists[element].iter().enumerate() {
                    slots[element][local * size + i] = slot_of_row[row] as u32;
                }
            }
            for &row in &rows[start..] {
                slot_of_row[row] = usize::MAX;
            }
            starts.push(rows.len());
        }
        self.pattern = SymbolicSparseColMat::new_checked(n, n, starts, None, rows);
        self.couplings = lists.into_iter().zip(slots).map(|(dofs, slots)| Coupling { dofs, slots }).collect();
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{cantilever, crooked};
    use super::*;

    #[test]
    fn dofs_are_those_of_places_and_sprung_joints() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        assert_eq!(layout.dofs(), 4 * 6 + 3 * 6 + 3 * 3);
        assert_eq!(layout.couplings.len(), 6 + 1);
        assert_eq!(layout.owner(23), Owner::Point(3));
        assert_eq!(layout.owner(layout.joints[0][1][2].unwrap()), Owner::Member(0));
        assert_eq!(layout.owner(layout.inner[0] + 5), Owner::Member(0));
        assert_eq!(layout.owner(layout.inner[2] + 7), Owner::Member(2));
        assert_eq!(layout.mass_couplings()[0].dofs.len(), 6);
    }

    #[test]
    fn another_connection_does_not_fit() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        assert!(layout.fits(&frame));
        let mut other = frame.clone();
        other.members[1].joint_to = Some(0);
        assert!(!layout.fits(&other) && layout.matrices(&other).is_none());
        other = frame.clone();
        other.masses[0].at = 1;
        assert!(!layout.fits(&other));
        other = frame.clone();
        other.points[2].position.x += 0.1;
        assert!(layout.fits(&other));
    }

    #[test]
    fn a_motion_is_taken_over_but_for_joints_that_are_new() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let mut other = frame.clone();
        other.members[1].joint_to = Some(0);
        let jointed = Layout::divide(&other, &[2, 1, 3]).unwrap();
        let motion: Vec<f64> = (0..layout.dofs()).map(|dof| 1.0 + dof as f64).collect();
        let over = jointed.taken_over(&layout, &motion);
        let new: Vec<usize> = jointed.joints[1][1].iter().copied().flatten().collect();
        assert!(!new.is_empty());
        assert!((0..over.len()).all(|dof| (over[dof] == 0.0) == new.contains(&dof)));
        assert_eq!(over[jointed.inner[2] + 7], motion[layout.inner[2] + 7]);
        assert_eq!(layout.taken_over(&jointed, &over), motion);
    }

    #[test]
    fn a_hold_takes_dofs_away() {
        let mut frame = cantilever();
        frame.anchors[0].hold = [true, true, true, true, false, true];
        let layout = Layout::divide(&frame, &[]).unwrap();
        assert_eq!(layout.dofs(), 7);
        assert_eq!(layout.dof(0, 4), Some(0));
        assert_eq!(layout.dof(0, 5), None);
    }
}
