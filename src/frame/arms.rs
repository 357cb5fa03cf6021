//! Rigid arms: which points move as one piece, and how each follows the one that leads.
//!
//! ```text
//! d = arm(r) d_lead        r from the point that leads to the one that follows
//! ```
//!
//! A point that follows has no freedoms of its own: it is eliminated, so that an arm is exactly rigid and no stiffness
//! stands for it. Of the points that arms join, the one that an anchor holds leads, else one that holds a body, else the
//! first.
//!
//! # Source
//! - `przemieniecki1968`: ch. 6, dependent displacements

use super::model::Frame;
use nalgebra::Vector3;

/// A point that follows another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hung {
    /// Index of the point that leads.
    pub(super) lead: usize,
    /// From that point to this one, m.
    pub(super) arm: Vector3<f64>,
}

impl Frame {
    /// By point: the index of the first of the points that arms join to it.
    fn joined(&self) -> Vec<usize> {
        let mut first: Vec<usize> = (0..self.points.len()).collect();
        for arm in &self.arms {
            let (Some(a), Some(b)) = (first.get(arm.from).copied(), first.get(arm.to).copied()) else {
                continue;
            };
            let (kept, other) = (a.min(b), a.max(b));
            first.iter_mut().filter(|own| **own == other).for_each(|own| *own = kept);
        }
        first
    }

    /// True where an anchor or a body holds a point, so that it leads.
    fn must_lead(&self, point: usize) -> bool {
        let anchored = self.anchors.iter().any(|anchor| anchor.at.contains(&point));
        anchored || self.bodies.iter().any(|body| body.points.contains(&point))
    }

    /// By point: which other it follows; `None` where it moves by itself.
    pub(super) fn hung(&self) -> Vec<Option<Hung>> {
        if self.arms.is_empty() {
            return vec![None; self.points.len()];
        }
        let joined = self.joined();
        let follows = |point: usize| {
            let group = || (0..joined.len()).filter(|other| joined[*other] == joined[point]);
            let lead = group().find(|other| self.must_lead(*other)).unwrap_or(joined[point]);
            let arm = self.points[point].position - self.points[lead].position;
            (lead != point).then_some(Hung { lead, arm })
        };
        (0..self.points.len()).map(follows).collect()
    }

    /// Pairs of points that arms join although both must lead.
    pub(super) fn held_twice(&self) -> Vec<[usize; 2]> {
        let joined = self.joined();
        let leads: Vec<usize> = (0..joined.len()).filter(|point| self.must_lead(*point)).collect();
        let mut pairs = Vec::new();
        for (i, a) in leads.iter().enumerate() {
            pairs.extend(leads[i + 1..].iter().filter(|b| joined[*a] == joined[**b]).map(|b| [*a, *b]));
        }
        pairs
    }
}
