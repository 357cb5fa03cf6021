//! A slab on three feet with a hole in it, for tests.

pub(super) const SLAB: &str = r#"
[points]
seat = "0, 0, 60 mm"
foot_a = "-150, -80, -60 mm"
foot_b = "150, -80, -60 mm"
foot_c = "0, 80, -60 mm"
[patches]
seat = "round 40 mm"
foot_a = "round 40 mm"
foot_b = "round 40 mm"
foot_c = "round 40 mm"
[feet.pads]
at = ["foot_a", "foot_b", "foot_c"]
stiffness = "20, 20, 80 N/um"
[masses.head]
at = "seat"
mass = "4 kg"
[builds.stone.bodies.slab]
parts = [{ box = "400 x 250 x 120 mm", of = "granite" }, { cylinder = "40 x 120 mm", at = "120, 60, 0 mm", of = "air" }]
"#;
