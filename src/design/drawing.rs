//! Everything that a base is made of, by name: what is common to all builds, and what a build states instead.

use super::named::Named;
use super::price::Prices;
use super::vary::VarySpec;
use stillbed_frame::spec::{
    AnchorSpec, ArmSpec, DrawnSpec, FootSpec, JointSpec, MassSpec, MemberSpec, PointSpec,
};
use stillbed_input::document::{Allowed, Fields};
use stillbed_input::quantity::{Kind, Loss, Spread};
use stillbed_material::spec::{MaterialSpec, MixSpec};
use stillbed_section::spec::SectionSpec;
use stillbed_solid::CornerEnd;
use stillbed_solid::spec::{BodySpec, PatchSpec};

/// Everything that a base is made of, by name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawing {
    /// The places of the wire drawing.
    pub points: Named<PointSpec>,
    /// Bars between points.
    pub members: Named<MemberSpec>,
    /// Rigid arms between points.
    pub arms: Named<ArmSpec>,
    /// Masses that points carry.
    pub masses: Named<MassSpec>,
    /// Springs to ground.
    pub feet: Named<FootSpec>,
    /// Rigid holds to ground.
    pub anchors: Named<AnchorSpec>,
    /// Springs between members and points, and between bodies.
    pub joints: Named<JointSpec>,
    /// Cross-sections.
    pub sections: Named<SectionSpec>,
    /// Bodies of one or several materials.
    pub bodies: Named<BodySpec>,
    /// By point: the area by which it holds a body.
    pub patches: Named<PatchSpec>,
    /// Materials stated here.
    pub materials: Named<MaterialSpec>,
    /// Fills given as recipes.
    pub mixes: Named<MixSpec>,
    /// What these things cost.
    pub prices: Prices,
    /// What may vary when the base is sized.
    pub vary: Named<VarySpec>,
    /// Whether material inside another member counts with both; `None` where it is not stated, and then it
    /// counts once.
    pub keeps_overlaps: Option<bool>,
    /// Throat of the fillets where hollow members meet, m; `None` where it is not stated.
    pub weld: Option<Spread>,
    /// How corners of hollow members are made; `None` where it is not stated.
    pub corners: Option<CornerEnd>,
    /// Whether its members are one body; `None` where it is not stated, and then they are beams.
    pub as_bodies: Option<bool>,
}

/// What a design may state about material inside another member: it counts once, or with each member from
/// point to point.
const OVERLAPS: [&str; 2] = ["once", "keep"];

fn read_overlaps(fields: &Fields) -> Option<bool> {
    let word = fields.word("overlaps", &OVERLAPS)?;
    if !OVERLAPS.contains(&word.value.as_str()) {
        let message = format!("\"{}\" is neither once nor keep", word.value);
        fields.refuse("overlaps", message, "once: what lies inside another member counts with one of them; keep: members are lines, as drawn");
    }
    Some(word.value == OVERLAPS[1])
}

/// What a design may state about the corners of its tubes.
const CORNERS: [(&str, CornerEnd); 3] =
    [("open", CornerEnd::Open), ("capped", CornerEnd::Capped), ("mitred", CornerEnd::Mitred)];

fn read_corners(fields: &Fields) -> Option<CornerEnd> {
    let word = fields.word("corners", &CORNERS.map(|(name, _)| name))?;
    let found = CORNERS.iter().find(|(name, _)| *name == word.value);
    if found.is_none() {
        let message = format!("\"{}\" is neither open, capped nor mitred", word.value);
        fields.refuse("corners", message, "open: one tube is welded on the face of the other, whose end stays open; capped: its end is closed by a plate; mitred: both are cut on the slant");
    }
    found.map(|(_, end)| *end)
}

impl Drawing {
    /// Reads the tables of a drawing from `fields`: the whole file, or one build.
    pub fn read(fields: &Fields) -> Drawing {
        let drawn = Named::read_tables(fields, "members", DrawnSpec::read);
        let member = |drawn: &DrawnSpec| match drawn {
            DrawnSpec::Member(member) => Some((**member).clone()),
            DrawnSpec::Arm(_) => None,
        };
        let arm = |drawn: &DrawnSpec| match drawn {
            DrawnSpec::Arm(arm) => Some((**arm).clone()),
            DrawnSpec::Member(_) => None,
        };
        Drawing {
            points: Named::read(fields, "points", PointSpec::read),
            members: drawn.of_kind(member),
            arms: drawn.of_kind(arm),
            masses: Named::read_tables(fields, "masses", MassSpec::read),
            feet: Named::read_tables(fields, "feet", FootSpec::read),
            anchors: Named::read_tables(fields, "anchors", AnchorSpec::read),
            joints: Named::read_tables(fields, "joints", JointSpec::read),
            sections: Named::read_tables(fields, "sections", SectionSpec::read),
            bodies: Named::read_tables(fields, "bodies", BodySpec::read),
            patches: Named::read(fields, "patches", PatchSpec::read),
            materials: Named::read_tables(fields, "materials", MaterialSpec::read),
            mixes: Named::read_tables(fields, "mixes", MixSpec::read),
            prices: Prices::read(fields),
            vary: Named::read_tables(fields, "vary", VarySpec::read),
            keeps_overlaps: read_overlaps(fields),
            weld: fields.quantity("weld", Kind::Length, Allowed::NotNegative),
            corners: read_corners(fields),
            as_bodies: fields.flag("as_bodies"),
        }
    }

    /// This drawing, with what `build` states replacing what has the same name.
    #[must_use]
    pub fn replaced_by(&self, build: &Drawing) -> Drawing {
        Drawing {
            points: self.points.replaced_by(&build.points),
            members: self.members.replaced_by(&build.members),
            arms: self.arms.replaced_by(&build.arms),
            masses: self.masses.replaced_by(&build.masses),
            feet: self.feet.replaced_by(&build.feet),
            anchors: self.anchors.replaced_by(&build.anchors),
            joints: self.joints.replaced_by(&build.joints),
            sections: self.sections.replaced_by(&build.sections),
            bodies: self.bodies.replaced_by(&build.bodies),
            patches: self.patches.replaced_by(&build.patches),
            materials: self.materials.replaced_by(&build.materials),
            mixes: self.mixes.replaced_by(&build.mixes),
            prices: self.prices.replaced_by(&build.prices),
            vary: self.vary.replaced_by(&build.vary),
            keeps_overlaps: build.keeps_overlaps.or(self.keeps_overlaps),
            weld: build.weld.or(self.weld),
            corners: build.corners.or(self.corners),
            as_bodies: build.as_bodies.or(self.as_bodies),
        }
    }

    /// Names of the joints that hold something: ends of members, or bodies at their points.
    #[must_use]
    pub fn joints_in_use(&self) -> Vec<&str> {
        let ends = self.members.iter().flat_map(|(_, member)| [&member.joint_from, &member.joint_to]);
        let of_members = ends.flatten().map(|name| name.value.as_str());
        let at_bodies = |joint: &JointSpec| !joint.at.is_empty() && !self.bodies.is_empty();
        let of_bodies = self.joints.iter().filter(|(_, joint)| at_bodies(joint)).map(|(name, _)| name);
        of_members.chain(of_bodies).collect()
    }

    /// Amplitudes at which losses of joints and feet are stated, m.
    pub fn loss_amplitudes(&self) -> Vec<f64> {
        let joints = self.joints.iter().map(|(_, joint)| &joint.loss);
        let feet = self.feet.iter().map(|(_, foot)| &foot.loss);
        joints.chain(feet).flat_map(Loss::amplitudes).collect()
    }

    /// True when neither feet nor anchors hold the base, as far as they could be read.
    #[must_use]
    pub fn is_unheld(&self) -> bool {
        let (feet, anchors) = (&self.feet, &self.anchors);
        feet.is_empty() && anchors.is_empty() && !feet.is_broken() && !anchors.is_broken()
    }
}
