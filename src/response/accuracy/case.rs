//! A change of temperature and a cure, as the frame takes them.
//!
//! ```text
//! T(x, y, z) = uniform + (points at the ends, linear between) + along x + across_y y + across_z z
//! ```
//!
//! x from the member's start, y and z from the member line. A point that is not named stays at
//! the uniform change.

use super::parts::{Field, WarmSection};
use crate::frame::{Frame, Line};

/// The gradients of one member, K/m.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Gradient {
    /// Along the section's y.
    pub across_y: f64,
    /// Along the section's z.
    pub across_z: f64,
    /// Along the member, from its start.
    pub along: f64,
}

/// A change of temperature and the shrinkage of a cure.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ThermalCase {
    /// Everywhere, K.
    pub uniform: f64,
    /// By member; missing ones have none.
    pub members: Vec<Gradient>,
    /// By point, K beside the uniform change; missing ones have none.
    pub points: Vec<f64>,
    /// Linear shrinkage by material, a strain; the part becomes shorter by it.
    pub shrinkage: Vec<(String, f64)>,
}

impl ThermalCase {
    /// The same change everywhere, K.
    pub fn uniform(change: f64) -> ThermalCase {
        ThermalCase { uniform: change, ..ThermalCase::default() }
    }

    /// True when temperature changes anywhere.
    pub fn warms(&self) -> bool {
        let gradient = |g: &Gradient| [g.across_y, g.across_z, g.along];
        self.uniform != 0.0
            || self.points.iter().any(|t| *t != 0.0)
            || self.members.iter().flat_map(gradient).any(|g| g != 0.0)
    }

    /// The field over the section of a member where its x starts and where it ends.
    pub(super) fn fields(&self, frame: &Frame, number: usize) -> Option<[Field; 2]> {
        let member = frame.members.get(number)?;
        let gradient = self.members.get(number).copied().unwrap_or_default();
        let length = Line::of(frame, member)?.length;
        let at = |point: usize, x: f64| Field {
            change: self.uniform + self.points.get(point).copied().unwrap_or(0.0) + gradient.along * x,
            across: [gradient.across_y, gradient.across_z],
        };
        Some([at(member.from, 0.0), at(member.to, length)])
    }

    /// The own strain of each part of `section`.
    pub(super) fn own_strains(&self, section: &WarmSection) -> Vec<f64> {
        let of = |name: &str| self.shrinkage.iter().find(|(m, _)| m == name).map_or(0.0, |(_, s)| -s);
        section.parts.iter().map(|part| of(&part.medium.name)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, layer, section};
    use super::*;

    #[test]
    fn temperatures_add_up_along_a_member() {
        let section = section(vec![layer("steel", 210e9, 12e-6, 0.05, -0.02, 0.02)], 1.0);
        let case = ThermalCase {
            uniform: 10.0,
            members: vec![Gradient { across_z: 5.0, along: 2.0, ..Gradient::default() }],
            points: vec![0.0, 3.0],
            shrinkage: vec![("steel".to_string(), 5e-4)],
        };
        let [start, end] = case.fields(&bar(0.5, &section), 0).unwrap();
        assert_eq!((start.change, end.change, end.across), (10.0, 14.0, [0.0, 5.0]));
        assert_eq!(case.own_strains(&section), [-5e-4]);
        assert!(case.warms() && !ThermalCase { uniform: 0.0, ..ThermalCase::default() }.warms());
    }
}
