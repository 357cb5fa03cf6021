use super::super::diffusion::solve_settling;
use super::super::sample::{bar, layer, member, member_section, section};
use super::super::section_parts::CompositePart;
use super::super::temperature_change::TemperatureGradient;
use super::*;
use approx::assert_relative_eq;
use num_complex::Complex64;
use stillbed_frame::{Anchor, Foot, Frame, Line, Point};
use stillbed_material::Medium;

fn base(frame: &Frame) -> Base<'_> {
    Base { name: "build", frame, tip: Some(1), work: Some(0), bodies: &[] }
}

fn ask(frame: &Frame) -> ThermalRequest {
    ThermalRequest { rails: Rail::join(frame, &[0]), ..ThermalRequest::default() }
}

fn fill(part: CompositePart) -> CompositePart {
    let mut part = part;
    part.medium.role = Role::Fill;
    part
}

/// A closed triangle with an inclined strut from one corner; nothing holds it.
fn lattice(section: &CompositeSection) -> Frame {
    let at = |name: &str, x: f64, y: f64, z: f64| Point {
        name: name.to_string(),
        position: Vector3::new(x, y, z),
    };
    let strut = member("strut", 2, 3);
    Frame {
        points: vec![
            at("a", 0.0, 0.0, 0.0),
            at("b", 0.8, 0.1, 0.0),
            at("c", 0.2, 0.7, 0.1),
            at("d", 0.3, 0.2, 0.9),
        ],
        sections: vec![member_section(&section.parts, true)],
        members: vec![member("ab", 0, 1), member("bc", 1, 2), member("ca", 2, 0), strut, member("bd", 1, 3)],
        ..Frame::default()
    }
}

#[test]
fn a_free_body_of_one_expansion_grows_without_stress() {
    let section = section(vec![layer("steel", 210e9, 12e-6, 0.05, -0.03, 0.02)], 1.0);
    let frame = lattice(&section);
    let sections = [section];
    let found = solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(10.0), &ask(&frame)).unwrap();
    for member in &found.state.members {
        assert!(member.parts[0].stress_pa.abs() < 100.0, "{member:?}");
        assert!(member.bow_m < 1e-11, "{member:?}");
    }
    let apart = Vector3::new(0.8, 0.1, 0.0) * 12e-6;
    let drift = found.drift_m_per_k.unwrap();
    assert_relative_eq!(Vector3::new(drift.x, drift.y, drift.z), apart, epsilon = 1e-11);
    assert!(found.turn_rad_per_k.unwrap().y.abs() < 1e-11);
}

#[test]
fn a_determinate_frame_has_no_stress_but_that_of_its_sections() {
    // A strip of two metals held at one end: it curves without section forces.
    let section = section(
        vec![
            layer("steel", 210e9, 12e-6, 0.02, -0.005, -0.001),
            layer("al", 70e9, 23.6e-6, 0.02, -0.001, 0.005),
        ],
        1.0,
    );
    let mut frame = bar(0.1, &section);
    frame.anchors.push(Anchor { name: "wall".into(), at: vec![0], hold: [true; 6] });
    let sections = [section];
    let found = solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(50.0), &ask(&frame)).unwrap();
    // Fixed at the wall, the tip goes down by κ L²/2 for a positive curvature about y.
    assert_relative_eq!(found.state.drift_m.unwrap().z, -0.08656716418 * 0.005, max_relative = 1e-8);
    assert_relative_eq!(found.state.turn_rad.unwrap().y, 0.08656716418 * 0.1, max_relative = 1e-8);
    for part in &found.state.members[0].parts {
        assert!(part.axial_pa.abs() + part.bending_pa.abs() < 1e-6 * part.mismatch_pa.abs());
        assert_relative_eq!(part.stress_pa, part.mismatch_pa, max_relative = 1e-6);
    }
    let straight = &found.state.straightness[0];
    assert_relative_eq!(straight.up.before_m, 0.08656716418 * 0.005, max_relative = 1e-8);
    assert_relative_eq!(straight.up.after_m, 0.08656716418 * 0.01 / 8.0, max_relative = 1e-8);
}

#[test]
fn a_bar_between_walls_is_pressed() {
    let section = section(vec![layer("steel", 210e9, 12e-6, 0.02, -0.01, 0.01)], 1.0);
    let mut frame = bar(1.0, &section);
    frame.anchors.push(Anchor { name: "walls".into(), at: vec![0, 1], hold: [true; 6] });
    let sections = [section];
    let case = ThermalCase {
        members: vec![TemperatureGradient { across_z: 100.0, ..TemperatureGradient::default() }],
        ..ThermalCase::uniform(10.0)
    };
    let part =
        &solve_thermal(&base(&frame), &sections, &case, &ask(&frame)).unwrap().state.members[0].parts[0];
    assert_relative_eq!(part.axial_pa, -210e9 * 12e-5, max_relative = 1e-9);
    // The member is held straight against the gradient: E α g z, compression on the warm side.
    assert_relative_eq!(part.bending_pa, -210e9 * 12e-6, max_relative = 1e-9);
    assert_relative_eq!(part.stress_pa, -210e9 * 13.2e-5, max_relative = 1e-9);
}

#[test]
fn feet_resist_growth_by_their_stiffness() {
    let section = section(vec![layer("steel", 210e9, 12e-6, 0.02, -0.01, 0.01)], 1.0);
    let mut frame = bar(1.0, &section);
    let c = |x: f64| Complex64::new(x, 0.0);
    frame.feet.push(Foot {
        name: "feet".into(),
        at: vec![0, 1],
        stiffness: [c(2e7), c(2e7), c(2e7)],
        turning: [c(1e3), c(0.0), c(0.0)],
    });
    let sections = [section];
    let found = solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(10.0), &ask(&frame)).unwrap();
    // Two springs in series against the bar: F = αΔT L / (1/k + 1/k + L/EA).
    let force = 12e-5 / (2.0 / 2e7 + 1.0 / (210e9 * 4e-4));
    assert_relative_eq!(found.state.members[0].parts[0].axial_pa, -force / 4e-4, max_relative = 1e-8);
}

#[test]
fn heat_at_one_point_spreads_linearly() {
    let section = section(vec![layer("steel", 210e9, 12e-6, 0.02, -0.01, 0.01)], 1.0);
    let frame = bar(0.8, &section);
    let sections = [section];
    let case = ThermalCase { points: vec![0.0, 3.0], ..ThermalCase::default() };
    let found = solve_thermal(&base(&frame), &sections, &case, &ask(&frame)).unwrap();
    assert_relative_eq!(found.state.members[0].growth_m, 0.8 * 12e-6 * 1.5, max_relative = 1e-9);
    let along = ThermalCase {
        members: vec![TemperatureGradient { along: 2.0, ..TemperatureGradient::default() }],
        ..ThermalCase::default()
    };
    let found = solve_thermal(&base(&frame), &sections, &along, &ask(&frame)).unwrap();
    assert_relative_eq!(found.state.members[0].growth_m, 12e-6 * 2.0 * 0.32, max_relative = 1e-9);
}

#[test]
fn a_fill_that_shrinks_too_much_cracks_and_is_shown_sliding() {
    let mut core = fill(layer("cast", 30e9, 15e-6, 0.2, -0.05, 0.04));
    core.medium.strength = Some(10e6);
    let plate = layer("steel", 210e9, 12e-6, 0.2, 0.04, 0.05);
    let section = section(vec![core, plate], 1.0);
    let frame = bar(1.0, &section);
    let sections = [section];
    let case = ThermalCase { shrinkage: vec![("cast".to_string(), 2e-3)], ..ThermalCase::default() };
    let asked = ThermalRequest { bond_strength: Some(5e6), ..ask(&frame) };
    let found = solve_thermal(&base(&frame), &sections, &case, &asked).unwrap();
    let kinds: Vec<FailureKind> = found.failures.iter().map(|f| f.how).collect();
    assert_eq!(kinds, [FailureKind::Cracks, FailureKind::LetsGo]);
    let cast = &found.state.members[0].parts[0];
    assert!(cast.stress_pa > 10e6 && cast.mismatch_pa == 0.0 && cast.shrinkage_pa > 10e6, "{cast:?}");
    let sliding = found.sliding.unwrap();
    assert!(sliding.members[0].parts.iter().all(|part| part.stress_pa.abs() < 1.0));
    // The joints hold the steel, which does not shrink.
    assert!(sliding.members[0].growth_m.abs() < 1e-12 && sliding.members[0].bow_m < 1e-12);
    assert!(found.state.members[0].growth_m < -1e-4);
}

#[test]
fn an_unknown_expansion_is_refused_only_where_it_is_needed() {
    let mut part = layer("odd", 30e9, 15e-6, 0.2, -0.05, 0.05);
    part.medium.expansion = None;
    let section = section(vec![part], 1.0);
    let frame = bar(1.0, &section);
    let sections = [section];
    let refused =
        solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(1.0), &ask(&frame)).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "materials.odd.expansion: its expansion is not known, and a change of temperature needs it; \
         add expansion = \"12 um/m K\""
    );
    let cure = ThermalCase { shrinkage: vec![("odd".to_string(), 1e-3)], ..ThermalCase::default() };
    let found = solve_thermal(&base(&frame), &sections, &cure, &ask(&frame)).unwrap();
    assert_relative_eq!(found.state.members[0].growth_m, -1e-3, max_relative = 1e-9);
    assert_eq!(found.drift_m_per_k, None);
}

#[test]
fn turning_the_base_in_space_turns_its_drift() {
    let section = section(
        vec![
            layer("steel", 210e9, 12e-6, 0.02, -0.005, -0.001),
            layer("al", 70e9, 23.6e-6, 0.02, -0.001, 0.005),
        ],
        0.7,
    );
    let mut frame = lattice(&section);
    frame.sections[0] = bar(1.0, &section).sections[0].clone();
    let sections = [section];
    let case = ThermalCase { points: vec![0.0, 2.0, 0.0, 5.0], ..ThermalCase::uniform(3.0) };
    let turn = nalgebra::Rotation3::from_euler_angles(0.4, -0.7, 1.1);
    let mut turned = frame.clone();
    for (member, own) in turned.members.iter_mut().zip(&frame.members) {
        let line = Line::of(&frame, own).unwrap();
        member.up = Some(turn * line.axes.row(2).transpose());
        member.offset = turn * own.offset;
    }
    for point in &mut turned.points {
        point.position = turn * point.position;
    }
    let drift = |frame: &Frame| {
        let found = solve_thermal(&base(frame), &sections, &case, &ask(frame)).unwrap();
        let d = found.state.drift_m.unwrap();
        (Vector3::new(d.x, d.y, d.z), found.state.members[1].parts[0].stress_pa)
    };
    let (first, second) = (drift(&frame), drift(&turned));
    assert_relative_eq!(turn * first.0, second.0, epsilon = 1e-7 * first.0.norm());
    assert_relative_eq!(first.1, second.1, max_relative = 1e-6);
}

#[test]
fn keys_are_those_that_others_rely_on() {
    let section = section(vec![layer("steel", 210e9, 12e-6, 0.02, -0.01, 0.01)], 1.0);
    let frame = bar(1.0, &section);
    let sections = [section];
    let found = solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(10.0), &ask(&frame)).unwrap();
    let json = serde_json::to_value(&found).unwrap();
    assert_eq!(json["name"], "build");
    assert_relative_eq!(json["drift_m_per_k"]["x"].as_f64().unwrap(), 12e-6, max_relative = 1e-9);
    let member = &json["members"][0];
    assert_eq!(member["name"], "bar");
    assert!(member["bow_m"].is_number());
    let part = &member["parts"][0];
    assert_eq!(part["of"], "steel");
    assert!(part["stress_pa"].is_number() && part["margin"].is_null());
}

proptest::proptest! {
    #![proptest_config(crate::seeds::cases(24))]

    #[test]
    fn a_free_bar_of_any_layers_is_not_forced(
        moduli in proptest::array::uniform3(1e9..300e9f64),
        alphas in proptest::array::uniform3(1e-6..60e-6f64),
        heights in proptest::array::uniform3(0.002..0.08f64),
        bond in 0.0..1.0f64,
        change in -40.0..40.0f64,
    ) {
        let mut low = -0.05;
        let mut parts = Vec::new();
        for i in 0..3 {
            parts.push(layer("layer", moduli[i], alphas[i], 0.05, low, low + heights[i]));
            low += heights[i];
        }
        let section = section(parts, bond);
        let frame = bar(0.7, &section);
        let sections = [section];
        let found = solve_thermal(&base(&frame), &sections, &ThermalCase::uniform(change), &ask(&frame)).unwrap();
        for (part, own) in found.state.members[0].parts.iter().zip(&sections[0].parts) {
            // Compared with the stress of the same layer between walls.
            let held = own.medium.youngs_modulus.re * 60e-6 * change.abs();
            proptest::prop_assert!(part.axial_pa.abs() + part.bending_pa.abs() <= 1e-6 * held);
        }
    }
}

/// A strip of steel and cast, 800 x 50 x (20 + 60) mm, as a body that a small patch holds under its middle.
fn strip_as_body() -> (stillbed_solid::Reduced, Vec<Medium>) {
    use stillbed_solid::{Body, Elastic, Grip, Part, Patch, PatchSize};
    let parts = vec![
        Part::cuboid([0.8, 0.05, 0.02], [0.0, 0.0, -0.01], Some(0)),
        Part::cuboid([0.8, 0.05, 0.06], [0.0, 0.0, 0.03], Some(1)),
    ];
    let patches =
        vec![Patch { at: Vector3::new(0.0, 0.0, -0.02), size: PatchSize::Round(0.01), grip: Grip::OnePiece }];
    let medium = |name: &str, role, e: f64, alpha: f64| {
        let mut medium = Medium::isotropic(name, role, e, 0.2, 2500.0, 0.0);
        medium.expansion = Some(alpha);
        medium
    };
    let media = vec![medium("steel", Role::Skeleton, 210e9, 12e-6), medium("cast", Role::Fill, 30e9, 15e-6)];
    let elastic: Vec<Elastic> =
        media.iter().map(|medium| Elastic::isotropic(medium.youngs_modulus.re, 0.2, 2500.0)).collect();
    let reduced = Body { parts, patches }.reduced(&[elastic], 12, 1).unwrap();
    (reduced, media)
}

/// The frame of that body alone.
fn frame_of(reduced: &stillbed_solid::Reduced, media: &[Medium]) -> Frame {
    let n = reduced.coordinates();
    let (mut mass, mut about_origin) = (nalgebra::DMatrix::zeros(n, n), nalgebra::Matrix6::zeros());
    let mut parts = Vec::new();
    for (own, medium) in reduced.materials.iter().zip(media) {
        let mu = medium.shear_modulus;
        let lambda = mu * (medium.youngs_modulus - 2.0 * mu) / (3.0 * mu - medium.youngs_modulus);
        mass += &own.mass * medium.density;
        about_origin += own.rigid * medium.density;
        let stiffness =
            nalgebra::DMatrix::from_fn(n, n, |i, j| lambda * own.lambda[(i, j)] + mu * own.mu[(i, j)]);
        parts.push(stillbed_frame::SubstructurePart {
            of: medium.name.clone(),
            role: medium.role,
            stiffness,
        });
    }
    let body = stillbed_frame::Substructure {
        name: "strip".into(),
        points: vec![0],
        joints: Vec::new(),
        inner: reduced.inner,
        parts,
        mass,
        about_origin,
    };
    let point = Point { name: "middle".into(), position: Vector3::new(0.0, 0.0, -0.02) };
    let anchor = Anchor { name: "floor".into(), at: vec![0], hold: [true; 6] };
    Frame { points: vec![point], anchors: vec![anchor], bodies: vec![body], ..Frame::default() }
}

/// # Source
/// - `boley1960`: a strip of two metals bends as the moment of its free strains over its stiffness
#[test]
fn a_body_of_two_layers_bows_as_the_strip_that_it_is() {
    let (reduced, media) = strip_as_body();
    let frame = frame_of(&reduced, &media);
    let body =
        CompositeBody { name: "strip", reduced: &reduced, media, compressive_strengths: vec![None; 2] };
    let bodies = [body];
    let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &bodies };
    let case = ThermalCase::uniform(10.0);
    let found = solve_thermal(&base, &[], &case, &ThermalRequest::default()).unwrap();
    let strip = &found.state.bodies[0];
    // By layers about the middle of the whole: E A, E S, E I, and the moments of the free strains.
    let layers = [(210e9, 12e-6, -0.04, -0.02), (30e9, 15e-6, -0.02, 0.04)];
    let sum = |of: &dyn Fn(f64, f64, f64, f64) -> f64| {
        layers.iter().map(|(e, a, b, t)| of(*e, *a, *b, *t)).sum::<f64>()
    };
    let (ea, es) = (sum(&|e, _, b, t| e * (t - b)), sum(&|e, _, b, t| e * (t * t - b * b) / 2.0));
    let ei = sum(&|e, _, b, t| e * (t.powi(3) - b.powi(3)) / 3.0);
    let (n, m) =
        (sum(&|e, a, b, t| e * a * 10.0 * (t - b)), sum(&|e, a, b, t| e * a * 10.0 * (t * t - b * b) / 2.0));
    let curvature = (m - es / ea * n) / (ei - es * es / ea);
    let strain = (n - es * curvature) / ea;
    // Of a parabola less the line that fits it best, from end to middle.
    assert_relative_eq!(strip.bow_m, curvature * 0.8 * 0.8 / 8.0, max_relative = 0.02);
    // At the middle of the height.
    assert_relative_eq!(strip.growth_m[0], strain * 0.8, max_relative = 0.02);
    // Steel at the bond and at its face; the cast is pulled where it is bonded.
    let steel = |z: f64| 210e9 * (strain + curvature * z - 12e-5);
    let worst = if steel(-0.02).abs() > steel(-0.04).abs() { steel(-0.02) } else { steel(-0.04) };
    // Of either sign, which are nearly as large.
    assert_relative_eq!(strip.parts[0].stress_pa.abs(), worst.abs(), max_relative = 0.15);
    assert_eq!(strip.parts[0].of, "steel");
}

#[test]
fn a_body_of_one_material_has_no_stress_and_a_gradient_bends_it() {
    let (reduced, mut media) = strip_as_body();
    media[1] = Medium { name: "cast".into(), ..media[0].clone() };
    let frame = frame_of(&reduced, &media);
    let body =
        CompositeBody { name: "strip", reduced: &reduced, media, compressive_strengths: vec![None; 2] };
    let bodies = [body];
    let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &bodies };
    let mut case = ThermalCase::uniform(0.0);
    case.bodies = vec![Vector3::new(0.0, 0.0, 20.0)];
    let found = solve_thermal(&base, &[], &case, &ThermalRequest::default()).unwrap();
    let strip = &found.state.bodies[0];
    assert_relative_eq!(strip.bow_m, 12e-6 * 20.0 * 0.8 * 0.8 / 8.0, max_relative = 0.01);
    // Without stress, also where it is held.
    let scale = 210e9 * 12e-6 * 20.0 * 0.08;
    assert!(strip.parts.iter().all(|part| part.stress_pa.abs() < 1e-6 * scale), "{:?}", strip.parts);
}

#[test]
fn a_body_expands_beyond_the_others_by_the_difference() {
    let (reduced, media) = strip_as_body();
    let body =
        CompositeBody { name: "strip", reduced: &reduced, media, compressive_strengths: vec![None; 2] };
    assert_relative_eq!(body.expansion_beyond_others(0).unwrap(), 12e-6 - 15e-6, max_relative = 1e-12);
    assert_relative_eq!(body.expansion_beyond_others(1).unwrap(), 15e-6 - 12e-6, max_relative = 1e-12);
}

#[test]
fn a_body_takes_the_time_of_a_slab_of_its_layers() {
    let (reduced, mut media) = strip_as_body();
    for (medium, conductivity) in media.iter_mut().zip([50.0, 2.0]) {
        (medium.conductivity, medium.heat_capacity) = (Some(conductivity), Some(800.0));
    }
    let frame = frame_of(&reduced, &media);
    let body =
        CompositeBody { name: "strip", reduced: &reduced, media, compressive_strengths: vec![None; 2] };
    let bodies = [body];
    let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &bodies };
    let found = solve_settling(&base, &[], 5.0, 10.0, 1e-6, &[]).unwrap();
    let times = &found.sections[0];
    // 0.8 x 0.05 x 0.08 m, a quarter of it steel: 3.2e-3 m3, 2500 kg/m3, 800 J/(kg K), faces of 0.216 m2.
    assert_relative_eq!(times.thickness_m, 0.05, max_relative = 1e-12);
    let series = 1.0 / (0.25 / 50.0 + 0.75 / 2.0);
    assert_relative_eq!(times.diffusivity_m2_per_s.unwrap(), series / 2e6, max_relative = 1e-9);
    assert_relative_eq!(times.air_time_s.unwrap(), 3.2e-3 * 2e6 / (10.0 * 0.216), max_relative = 1e-9);
}
