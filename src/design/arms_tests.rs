//! Rigid arms in whole designs.

use crate::Design;
use approx::assert_relative_eq;
use stillbed_input::quantity::Draw;
use stillbed_material::Table;
use stillbed_modes::Asked;

/// A steel cantilever of 300 mm with what `drawn` adds at its tip.
fn bar(drawn: &str) -> (Option<Design>, Vec<String>) {
    let text = format!(
        "[points]\nwall = \"0, 0, 0 mm\"\ntip = \"300, 0, 0 mm\"\nend = \"300, 80, -50 mm\"\n\
         [members.bar]\nfrom = \"wall\"\nto = \"tip\"\nsection = \"bar\"\n{drawn}\n\
         [anchors.wall]\nat = \"wall\"\nhold = \"all\"\n\
         [tool]\ntip = \"end\"\nwork = \"ground\"\n\
         [builds.steel]\nsections.bar.parts = [{{ rectangle = \"40 x 10 mm\", of = \"structural steel\" }}]\n"
    );
    let reading = Design::read("d.toml", &text, &Table::built_in());
    (reading.design, reading.problems.iter().map(ToString::to_string).collect())
}

const ARM: &str = "[members.arm]\nfrom = \"tip\"\nto = \"end\"\nrigid = true\n";

#[test]
fn a_tool_on_a_rigid_arm_moves_as_by_hand() {
    let (design, said) = bar(&format!("{ARM}[masses.m]\nat = \"end\"\nmass = \"1 kg\""));
    assert_eq!(said, Vec::<String>::new());
    let design = design.unwrap();
    let build = &design.builds[0];
    let model = build.model(&design.goal, &Draw::default()).unwrap();
    let stiffness = build.statics(&model).unwrap().stiffness(model.tip.unwrap(), None).unwrap();
    // A force along z at the end bends the bar and twists it on the arm of 80 mm: L³/(3 E I) + a² L/(G J).
    let (e, g) = (207e9, 207e9 / 2.6);
    let (i, j) = (0.04 * 0.01f64.powi(3) / 12.0, 0.04 * 0.01f64.powi(3) * 0.281);
    let give = 0.3f64.powi(3) / (3.0 * e * i) + 0.08f64.powi(2) * 0.3 / (g * j);
    assert_relative_eq!(1.0 / stiffness.along[2], give, max_relative = 3e-3);
    // The mass is that of one with an offset.
    let lower = |design: &Design| {
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let asked = Asked { count: 4, ..Asked::default() };
        build.spectrum(&model, &asked).unwrap().elastic.iter().map(|m| m.frequency()).collect::<Vec<f64>>()
    };
    let text = "[members.arm]\nfrom = \"end\"\nto = \"tip\"\nrigid = true\n\
                [masses.m]\nat = \"tip\"\nmass = \"1 kg\"\noffset = \"0, 80, -50 mm\"";
    let (offset, _) = bar(text);
    for (one, other) in lower(&design).iter().zip(lower(&offset.unwrap())) {
        assert_relative_eq!(*one, other, max_relative = 1e-9);
    }
    assert_eq!(model.frame.members.len(), 1);
}

#[test]
fn what_is_wrong_with_an_arm_is_said_at_its_place() {
    let said = |drawn: &str, part: &str| {
        let (_, said) = bar(drawn);
        assert!(said.iter().any(|s| s.contains(part)), "{part}: {said:?}");
    };
    said(&format!("{ARM}section = \"bar\"\n"), "members.arm.rigid: a rigid arm has no section");
    said(&ARM.replace("true", "false"), "a member that is not rigid has a section");
    said(&ARM.replace("\"end\"", "\"ende\""), "no point \"ende\"; did you mean \"end\"?");
    said("[members.arm]\nfrom = \"tip\"\nto = \"end\"\n", "\"section\" is missing");
    said(
        &format!("{ARM}[anchors.other]\nat = [\"wall\", \"end\", \"tip\"]\nhold = \"z\""),
        "members.arm: rigid arms join \"tip\" and \"end\", and an anchor or a body holds both",
    );
}

#[test]
fn a_build_may_put_an_arm_in_place_of_a_member() {
    let (design, said) =
        bar("[members.arm]\nfrom = \"tip\"\nto = \"end\"\nsection = \"bar\"\n[builds.stiff]\n\
         members.arm = { from = \"tip\", to = \"end\", rigid = true }\n\
         sections.bar.parts = [{ rectangle = \"40 x 10 mm\", of = \"structural steel\" }]");
    let design = design.unwrap_or_else(|| panic!("{said:?}"));
    let count = |name: &str| {
        let drawing = &design.build(name).unwrap().drawing;
        (drawing.members.len(), drawing.arms.len())
    };
    assert_eq!((count("steel"), count("stiff")), ((2, 0), (1, 1)));
}
