//! Joints between two bodies, at points on faces that both share.
//!
//! ```text
//! x of the joint   square to the face, from the body that is drawn first into the other
//! y, z             along the sides of the face, as those of its patch
//! ```
//!
//! The point moves with the first body; the area of the second follows it as the springs let it.

use super::drawing::Drawing;
use nalgebra::{Matrix3, Vector3};
use stillbed_frame::spec::JointSpec;
use stillbed_input::document::Located;
use stillbed_input::problem::Problem;
use stillbed_joint::Outline;
use stillbed_solid::{Body, PatchSize, upright};

/// Largest cosine of the angle between the outward normals of two faces that meet.
const OPPOSITE: f64 = -1.0 + 1e-6;

/// A joint at one of its points.
pub(super) struct JointAt<'d> {
    /// Its place among the joints of the drawing.
    pub number: usize,
    /// The joint.
    pub joint: &'d JointSpec,
    /// The point as the joint names it.
    named: &'d Located<String>,
}

impl<'d> JointAt<'d> {
    /// The joint at the point `name`, and what is said where several are.
    pub(super) fn find(drawing: &'d Drawing, name: &str, said: &mut Vec<Problem>) -> Option<JointAt<'d>> {
        let all = drawing.joints.iter().enumerate().flat_map(|(number, (_, joint))| {
            joint.at.iter().map(move |named| JointAt { number, joint, named })
        });
        let mut own = all.filter(|own| own.named.value == name);
        let first = own.next()?;
        said.extend(own.map(|other| {
            let message = format!("\"{name}\" has a joint already");
            Problem::error(other.named.place.clone(), message)
                .with_help("let one joint hold the bodies there")
        }));
        Some(first)
    }

    /// The area on which it carries, where it follows from one.
    pub(super) fn size(&self) -> Option<PatchSize> {
        Some(match self.joint.seat.as_ref()?.spec.kind.outline()? {
            Outline::Rectangle([u, v]) => PatchSize::Rectangle(u, v),
            Outline::Round(diameter) => PatchSize::Round(diameter),
        })
    }

    /// Its axes, one per row, between the bodies that meet at `at`: on a face of theirs, or on a cross-section that is
    /// square to `section`.
    pub(super) fn axes(
        &self,
        bodies: &[&Body],
        at: &Vector3<f64>,
        section: Option<Vector3<f64>>,
        said: &mut Vec<Problem>,
    ) -> Option<Matrix3<f64>> {
        let [first, second] = bodies else {
            said.push(match bodies.len() {
                0 | 1 => self.alone(),
                count => self.problem(
                    format!("{count} bodies meet at \"{}\", and a joint is between two", self.named.value),
                    "move the point to where two of them meet",
                ),
            });
            return None;
        };
        if let Some(normal) = section {
            return Some(upright(normal).transpose());
        }
        let (axes, other) = (first.face_axes(at).ok()?, second.face_axes(at).ok()?);
        if axes.row(0).dot(&other.row(0)) > OPPOSITE {
            said.push(self.problem(
                format!("the bodies do not meet face to face at \"{}\"", self.named.value),
                "put the point on the face between them",
            ));
            return None;
        }
        Some(axes)
    }

    /// What is said of a point that lies on no face between two bodies.
    fn alone(&self) -> Problem {
        self.problem(
            format!("\"{}\" lies on no face that two bodies share, so that it joins nothing", self.named.value),
            "put the point on the face between two bodies; where a build is of one piece, state joints.NAME = false in it",
        )
    }

    fn problem(&self, message: String, help: &str) -> Problem {
        Problem::error(self.named.place.clone(), message).with_help(help)
    }
}

/// What is said of joints at points that are not among those `met` by bodies.
pub(super) fn apart(drawing: &Drawing, met: &[&str]) -> Vec<Problem> {
    let all =
        drawing.joints.iter().enumerate().flat_map(|(number, (_, joint))| {
            joint.at.iter().map(move |named| JointAt { number, joint, named })
        });
    let drawn = all.filter(|own| drawing.points.get(&own.named.value).is_some());
    drawn.filter(|own| !met.contains(&own.named.value.as_str())).map(|own| own.alone()).collect()
}

#[cfg(test)]
mod tests {
    use crate::refining::on_first_grids;
    use crate::{Build, Design};
    use approx::assert_relative_eq;
    use stillbed_input::quantity::{Draw, GRAVITY};
    use stillbed_modes::{Asked, BuildModes};

    /// Two cubes of 200 mm, of 7850 kg/m³, one on the other; `rest` says where points and joints are.
    fn cubes(rest: &str) -> (Option<Design>, Vec<String>) {
        let text = format!(
            r#"
            {rest}
            [materials.metal]
            role = "skeleton"
            density = "7850 kg/m3"
            youngs_modulus = "210 GPa"
            poissons_ratio = 0.3
            loss_factor = 0.001
            [builds.two.bodies]
            lower.parts = [{{ box = "200 x 200 x 200 mm", at = "0, 0, 100 mm", of = "metal" }}]
            upper.parts = [{{ box = "200 x 200 x 200 mm", at = "0, 0, 300 mm", of = "metal" }}]
            "#
        );
        let reading = on_first_grids("d.toml", &text);
        // That nothing holds the cubes is meant.
        let said = reading.problems.iter().map(ToString::to_string);
        (reading.design, said.filter(|said| !said.contains("nothing holds the base")).collect())
    }

    fn modes(design: &Design, count: usize) -> BuildModes {
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let spectrum = build.spectrum(&model, &Asked { count, ..Asked::default() }).unwrap();
        BuildModes::compute(&build.name, &model.frame, &spectrum).unwrap()
    }

    const MASS: f64 = 7850.0 * 0.008;

    /// Free cubes on a spring part with ω² = 2 k / m; on four springs they also tilt, with ω² = 2 Σ k a² / I.
    #[test]
    fn two_blocks_on_springs_move_as_rigid_bodies_on_them() {
        let seat = r#"points.seat = "0, 0, 200 mm"
            patches.seat = "120 x 120 mm"
            [joints.seat]
            at = "seat"
            stiffness.x = { value = "10 N/um", exact = true }
            loss = 0.05"#;
        let (design, said) = cubes(seat);
        assert_eq!(said, Vec::<String>::new());
        let found = modes(&design.unwrap(), 2);
        let first = &found.modes[0];
        let by_hand = (2.0 * 10e6 / MASS).sqrt() / std::f64::consts::TAU;
        assert_eq!(found.rigid_body_modes, 6);
        assert_relative_eq!(first.frequency_hz, by_hand, max_relative = 3e-3);
        assert_eq!(first.energy_share[0].of, "seat");
        assert!(first.energy_share[0].share > 0.99);
        assert_relative_eq!(first.loss_factor, 0.05, max_relative = 0.01);

        let four = r#"
            [points]
            a = "60, 60, 200 mm"
            b = "-60, 60, 200 mm"
            c = "-60, -60, 200 mm"
            d = "60, -60, 200 mm"
            [patches]
            a = "round 30 mm"
            b = "round 30 mm"
            c = "round 30 mm"
            d = "round 30 mm"
            [joints.bolts]
            at = ["a", "b", "c", "d"]
            loss = 0.05
            [joints.bolts.stiffness]
            x = "2.5 N/um"
            turn_x = "0 N m/rad"
            turn_y = "0 N m/rad"
            turn_z = "0 N m/rad""#;
        let (design, said) = cubes(four);
        assert_eq!(said, Vec::<String>::new());
        let found = modes(&design.unwrap(), 4);
        let inertia = MASS * (0.04 + 0.04) / 12.0;
        let tilt = (2.0 * 10e6 * 0.06 * 0.06 / inertia).sqrt() / std::f64::consts::TAU;
        for (mode, by_hand) in found.modes.iter().zip([tilt, tilt, by_hand]) {
            assert_relative_eq!(mode.frequency_hz, by_hand, max_relative = 5e-3);
        }
    }

    /// A joint far stiffer than the blocks bonds them; on the whole face they are one block, which the face that moves as
    /// one piece stiffens a little.
    #[test]
    fn a_stiff_joint_bonds_and_a_whole_face_makes_one_block() {
        let at_seat = |joint: &str| {
            let rest = format!("points.seat = \"0, 0, 200 mm\"\npatches.seat = \"200 x 200 mm\"\n{joint}");
            modes(&cubes(&rest).0.unwrap(), 6).modes.iter().map(|mode| mode.frequency_hz).collect::<Vec<_>>()
        };
        let all = ["x", "y", "z"].map(|axis| format!("stiffness.{axis} = \"1e8 N/um\"")).join("\n");
        let turns =
            ["x", "y", "z"].map(|axis| format!("stiffness.turn_{axis} = \"1e9 kN m/rad\"")).join("\n");
        let stiff = at_seat(&format!("[joints.seat]\nat = \"seat\"\nloss = 0\n{all}\n{turns}"));
        let bonded = at_seat("");
        for (stiff, bonded) in stiff.iter().zip(&bonded) {
            assert!((stiff / bonded - 1.0).abs() < 1e-3, "{stiff} {bonded}");
        }
        let text = r#"
            points.seat = "0, 0, 400 mm"
            patches.seat = "20 x 20 mm"
            masses.speck = { at = "seat", mass = "1 g" }
            materials.metal = { role = "skeleton", density = "7850 kg/m3", youngs_modulus = "210 GPa", poissons_ratio = 0.3, loss_factor = 0.001 }
            builds.one.bodies.block.parts = [{ box = "200 x 200 x 400 mm", at = "0, 0, 200 mm", of = "metal" }]
            "#;
        let whole = modes(&on_first_grids("d.toml", text).design.unwrap(), 6);
        for (bonded, whole) in bonded.iter().zip(&whole.modes) {
            let over = bonded / whole.frequency_hz;
            assert!((0.999..1.05).contains(&over), "{over}");
        }
    }

    #[test]
    fn what_lies_on_bolts_presses_them_and_the_plate_is_the_patch() {
        let bolted = |at: &str| {
            format!(
                r#"
                [points]
                floor = "0, 0, 0 mm"
                seat = "0, 0, {at} mm"
                [patches]
                floor = "200 x 200 mm"
                [anchors.floor]
                at = "floor"
                hold = "all"
                [joints.seat]
                at = "seat"
                bolted = "4 x M10"
                torque = "40 N m"
                plate = "120 x 150 mm"
                finish = "milled"
                "#
            )
        };
        let (design, said) = cubes(&bolted("200"));
        assert_eq!(said, Vec::<String>::new());
        let design = design.unwrap();
        let build: &Build = &design.builds[0];
        let seat = build.drawing.joints.get("seat").unwrap().seat.as_ref().unwrap();
        let [least, most] = seat.pressed.unwrap();
        assert_relative_eq!(least, MASS * GRAVITY, max_relative = 1e-6);
        assert_relative_eq!(most, least);
        let (outline, normal) = build.bodies[1].outline(0).unwrap();
        assert_relative_eq!(normal, -nalgebra::Vector3::z());
        assert_relative_eq!(outline[2].x.abs(), 0.06, max_relative = 1e-9);
        assert_relative_eq!(outline[2].y.abs(), 0.075, max_relative = 1e-9);
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        assert_eq!(model.frame.bodies[1].joints[0].axes.row(0).transpose(), nalgebra::Vector3::z());

        let (_, said) = cubes(&bolted("400"));
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(
            said.iter().any(|said| said.contains("\"seat\" lies on no face that two bodies share")),
            "{said:?}"
        );
    }
}
