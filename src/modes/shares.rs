//! The strain energy of a mode as shares: of members, bodies, joints, walls and feet; of skeleton and fill;
//! of materials. Each partition sums to 1.

use serde::Serialize;
use std::collections::BTreeMap;
use stillbed_frame::{Energy, Frame};
use stillbed_material::Role;

/// The share of one item in a whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// The item.
    pub of: String,
    /// 0 to 1.
    pub share: f64,
}

/// The strain energy divided in three ways.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyShares {
    /// By member, body, joint and foot, largest first.
    pub elements: Vec<Share>,
    /// Skeleton, fill, joints, feet, and walls where there are any.
    pub kinds: Vec<Share>,
    /// By material, joints, walls and feet, largest first.
    pub materials: Vec<Share>,
}

impl EnergyShares {
    /// The shares of `energy` in `frame`.
    pub fn of(frame: &Frame, energy: &Energy) -> EnergyShares {
        let total = energy.total();
        let share = |of: &str, part: f64| {
            let share = if total > 0.0 { part / total } else { 0.0 };
            Share { of: of.to_string(), share }
        };
        let members = frame.members.iter().zip(&energy.members);
        let joints = frame.joints.iter().zip(&energy.joints).map(|(joint, part)| share(&joint.name, *part));
        let feet = frame.feet.iter().zip(&energy.feet).map(|(foot, part)| share(&foot.name, *part));
        let mut elements: Vec<Share> =
            members.clone().map(|(member, parts)| share(&member.name, parts.iter().sum())).collect();
        let bodies = frame.bodies.iter().zip(&energy.bodies);
        elements.extend(bodies.clone().map(|(body, parts)| share(&body.name, parts.iter().sum())));
        elements.extend(joints.chain(feet));
        let mut by_material: BTreeMap<&str, f64> = BTreeMap::new();
        let (mut skeleton, mut fill) = (0.0, 0.0);
        let of_members = members.flat_map(|(member, parts)| {
            let named = frame.sections[member.section].parts.iter().map(|part| (part.of.as_str(), part.role));
            named.zip(parts)
        });
        let of_bodies = bodies
            .flat_map(|(body, parts)| body.parts.iter().map(|part| (part.of.as_str(), part.role)).zip(parts));
        for ((of, role), own) in of_members.chain(of_bodies) {
            {
                *by_material.entry(of).or_default() += own;
                match role {
                    Role::Fill => fill += own,
                    Role::Skeleton | Role::Void => skeleton += own,
                }
            }
        }
        let springs = |walls: bool| {
            let own = frame.joints.iter().zip(&energy.joints);
            own.filter(|(joint, _)| joint.wall.is_some() == walls).map(|(_, part)| part).sum::<f64>()
        };
        let (joints, walls, feet) = (springs(false), springs(true), energy.feet.iter().sum());
        let mut materials: Vec<Share> = by_material.iter().map(|(of, part)| share(of, *part)).collect();
        for (name, part) in [("joints", joints), ("walls", walls), ("feet", feet)] {
            if part > 0.0 {
                materials.push(share(name, part));
            }
        }
        let largest_first = |a: &Share, b: &Share| b.share.total_cmp(&a.share);
        elements.sort_by(largest_first);
        materials.sort_by(largest_first);
        let kinds = [("skeleton", skeleton), ("fill", fill), ("joints", joints), ("feet", feet)];
        let mut kinds: Vec<Share> = kinds.iter().map(|(of, part)| share(of, *part)).collect();
        if frame.joints.iter().any(|joint| joint.wall.is_some()) {
            kinds.push(share("walls", walls));
        }
        EnergyShares { elements, materials, kinds }
    }
}
