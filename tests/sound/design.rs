//! Designs that a person could mean, from a seed: as the text of a design file.

use super::dice::Dice;
use super::made::{Made, mix, own_materials, rubbing_loss, spread};
use super::shape::Wire;
use stillbed::frame::spec::DOF_NAMES;

/// The text of design number `seed`.
pub fn text(seed: u64) -> String {
    let mut dice = Dice::new(seed);
    let dice = &mut dice;
    let wire = Wire::throw(dice);
    let sections = 1 + dice.below(3.min(wire.members.len()));
    let joined = dice.chance(0.3);
    let over_amplitude = dice.chance(0.15);
    let mut text = format!("title = \"Sound design {seed}\"\n");
    if over_amplitude {
        text += &format!("amplitude = \"{:.3} um\"\n", dice.ratio(0.01, 50.0));
    }
    text += "[points]\n";
    for (i, [x, y, z]) in wire.points.iter().enumerate() {
        text += &format!("p{i} = \"{x:.3}, {y:.3}, {z:.3} mm\"\n");
    }
    for (i, [from, to]) in wire.members.iter().enumerate() {
        let section = if i < sections { i } else { dice.below(sections) };
        text += &format!("[members.m{i}]\nfrom = \"p{from}\"\nto = \"p{to}\"\nsection = \"s{section}\"\n");
        if dice.chance(0.1) {
            text += &format!("offset = \"0, 0, {:.2} mm\"\n", dice.between(-20.0, 20.0));
        }
        if joined && dice.chance(0.5) {
            text += if dice.chance(0.5) { "joint_from = \"seat\"\n" } else { "joint_to = \"seat\"\n" };
        }
    }
    let held = supports(dice, &wire, over_amplitude, &mut text);
    let points = wire.points.len();
    for i in 0..dice.below(3) {
        text += &format!("[masses.w{i}]\nat = \"p{}\"\nmass = ", dice.below(points));
        let mass = dice.ratio(0.05, 60.0);
        text += &format!("{}\n", spread(dice, mass, "kg", 1e9));
        if dice.chance(0.5) {
            let [x, y, z] = dice.arrow().map(|x| 80.0 * x);
            text += &format!("offset = \"{x:.2}, {y:.2}, {z:.2} mm\"\n");
        }
        if dice.chance(0.3) {
            text += "inertia = \"0.01, 0.02, 0.015 kg m2\"\n";
        }
    }
    goals(dice, &wire, held, &mut text);
    text += &own_materials(dice);
    text += &mix(dice);
    let builds = 1 + dice.below(3);
    let priced = dice.chance(0.5);
    for build in 0..builds {
        let has = Has { joints: joined, over_amplitude, prices: priced };
        self::build(dice, &wire, &mut text, [build, sections], has);
    }
    // Last, so that designs of known seeds stay as they were in all else.
    if dice.chance(0.3) { by_law(dice, &text) } else { text }
}

/// `text` with joints and feet stated by what their springs follow from.
fn by_law(dice: &mut Dice, text: &str) -> String {
    const SEATS: [&str; 4] = [
        "bolted = \"4 x M6\", torque = \"9 N m\", plate = \"60 x 80 mm\", finish = \"milled\"",
        "bolted = \"2 x M8\", torque = \"20 N m\", plate = \"round 90 mm\", finish = \"ground\", normal = \"z\"",
        "glued = \"50 x 40 mm\", film = \"0.3 mm\", of = \"epoxy\"",
        "slide = \"60 x 120 mm\", finish = \"scraped\", load = \"300 N\", dovetail = \"55 deg\", carries = 0.6",
    ];
    const FEET: [&str; 3] = [
        "levelling = \"round 40 mm\"\non = \"concrete\"\nscrew = \"M12 x 30 mm\"",
        "rubber = \"60 x 60 x 20 mm\"\nhardness = \"60 Shore A\"",
        "bolted = \"4 x M8\"\ntorque = \"20 N m\"\nplate = \"80 x 80 mm\"\nfinish = \"scraped\"\nfactor = 0.8",
    ];
    let (mut found, mut in_feet) = (String::new(), false);
    for line in text.lines() {
        in_feet = if line.starts_with('[') { line == "[feet.pads]" } else { in_feet };
        let line = match line.strip_prefix("joints.seat = ") {
            Some(_) => format!("joints.seat = {{ {} }}", dice.pick(&SEATS)),
            None if in_feet && line.starts_with("stiffness") => (*dice.pick(&FEET)).to_string(),
            None if in_feet && line.starts_with("turning") => continue,
            None => line.to_string(),
        };
        found += &format!("{line}\n");
    }
    found
}

/// Anchors and feet, or none; true where it is held to the ground at all.
fn supports(dice: &mut Dice, wire: &Wire, over_amplitude: bool, text: &mut String) -> bool {
    let names = |points: &[usize]| -> String {
        points.iter().map(|p| format!("\"p{p}\"")).collect::<Vec<_>>().join(", ")
    };
    let all: Vec<usize> = (0..wire.points.len()).collect();
    let some = |dice: &mut Dice, most: usize| {
        let held: Vec<&str> = DOF_NAMES[..most].iter().filter(|_| dice.chance(0.6)).copied().collect();
        if held.is_empty() { DOF_NAMES[2].to_string() } else { held.join(" ") }
    };
    let mut anchor = |points: &[usize], hold: &str| {
        *text += &format!("[anchors.bench]\nat = [{}]\nhold = \"{hold}\"\n", names(points));
    };
    let kind = dice.below(12);
    match kind {
        0 | 1 => anchor(&wire.low[..1], &DOF_NAMES.join(" ")),
        2 => anchor(&wire.low, &DOF_NAMES.join(" ")),
        3 => anchor(&all, &DOF_NAMES.join(" ")),
        4 => anchor(&wire.low, &some(dice, 6)),
        5 => anchor(&wire.low, &DOF_NAMES[..3].join(" ")),
        6 => anchor(&all, &some(dice, 3)),
        7 => return false,
        _ => {}
    }
    if kind >= 8 || dice.chance(0.15) {
        let soft = dice.chance(0.4);
        let [x, y, z] = [0; 3].map(|_| if soft { dice.ratio(0.016, 0.1) } else { dice.ratio(0.5, 900.0) });
        *text += &format!(
            "[feet.pads]\nat = [{}]\nstiffness = \"{x:.4}, {y:.4}, {z:.4} N/um\"\nloss = {}\n",
            names(&wire.low),
            rubbing_loss(dice, over_amplitude)
        );
        if dice.chance(0.3) {
            *text += "turning = \"300, 400, 500 N m/rad\"\n";
        }
    }
    true
}

/// Tool, tap, cut, speeds, targets and temperature.
fn goals(dice: &mut Dice, wire: &Wire, held: bool, text: &mut String) {
    let points = wire.points.len();
    let tip = dice.below(points);
    let tool = dice.chance(0.75);
    if tool {
        let other = (tip + 1 + dice.below(points - 1)) % points;
        let work = if held && dice.chance(0.4) { "ground".to_string() } else { format!("p{other}") };
        *text += &format!("[tool]\ntip = \"p{tip}\"\nwork = \"{work}\"\n");
        if dice.chance(0.2) {
            *text += "[cut]\nnormal = \"0, 1, 0\"\ncutting_stiffness = \"1500 N/mm2\"\n";
        }
    }
    let tap = dice.chance(0.65);
    if tap {
        *text += &format!(
            "[tap]\nat = \"p{}\"\nalong = \"{}\"\nimpulse = \"{:.4} N s\"\nsettle_to = \"{:.3} um\"\n",
            dice.below(points),
            dice.direction(),
            dice.ratio(0.005, 1.0),
            dice.ratio(0.05, 20.0)
        );
        if dice.chance(0.5) {
            *text += &format!("duration = \"{:.3} ms\"\n", dice.ratio(0.1, 8.0));
        }
    }
    if dice.chance(0.2) {
        *text += "[speeds.spindle]\nrange = \"600, 9000 rpm\"\norders = [1, 2, 4]\n";
        if dice.chance(0.5) {
            *text += &format!("unbalance = \"40 g mm\"\nat = \"p{tip}\"\n");
        }
    }
    let mut targets = vec![("mass", "at_most = \"60 kg\""), ("first_frequency", "at_least = \"90 Hz\"")];
    if tool {
        targets.extend([
            ("stiffness", "at_least = \"8 N/um\""),
            ("dynamic_stiffness", "at_least = \"0.2 N/um\""),
        ]);
        targets.push(("loss_factor", "at_least = 0.01"));
    }
    if tool && tap {
        targets.push(("settle_time", "at_most = \"200 ms\""));
    }
    targets.retain(|_| dice.chance(0.3));
    if !targets.is_empty() {
        *text += "[targets]\n";
        targets.iter().for_each(|(name, limit)| *text += &format!("{name} = {{ {limit} }}\n"));
    }
    if dice.chance(0.4) {
        *text += &format!("[thermal]\nchange = \"{:.2} K\"\n", dice.between(-30.0, 30.0));
        if dice.chance(0.5) {
            let straight: Vec<String> = wire.line.iter().map(|m| format!("\"m{m}\"")).collect();
            *text += &format!("straight = [{}]\n", straight.join(", "));
        }
        if dice.chance(0.5) {
            *text += "members.m0 = { across_y = \"3 K/m\", across_z = \"-2 K/m\", along = \"1 K/m\" }\n";
        }
        if dice.chance(0.3) {
            *text += &format!("points.p{tip} = \"2 K\"\n");
        }
        if !wire.line.is_empty() && dice.chance(0.3) {
            let along: Vec<String> = wire.line.iter().map(|m| format!("\"m{m}\"")).collect();
            *text += &format!(
                "carriage = {{ along = [{}], mass = \"{:.2} kg\", steps = {} }}\n",
                along.join(", "),
                dice.ratio(0.2, 20.0),
                2 + dice.below(9)
            );
        }
    }
}

/// What the builds of a design have.
#[derive(Clone, Copy)]
struct Has {
    joints: bool,
    /// Losses that differ with the amplitude.
    over_amplitude: bool,
    prices: bool,
}

/// One build, with its joints, prices and what may vary.
fn build(dice: &mut Dice, wire: &Wire, text: &mut String, [number, sections]: [usize; 2], has: Has) {
    *text += &format!("[builds.b{number}]\n");
    let mut made = Made::default();
    let varies = dice.chance(0.1);
    // Members are longer than they are deep, most of them by far.
    let most = wire.shortest() * dice.ratio(0.1, 0.9);
    for i in 0..sections {
        if varies && i == 0 {
            made.lines += "sections.s0.parts = [{ rectangle = \"30 x 20 mm\", of = \"structural steel\" }]\n";
            made.of.insert("structural steel");
        } else {
            made.section(dice, &format!("s{i}"), most);
        }
    }
    *text += &made.lines;
    if has.joints && (number == 0 || dice.chance(0.5)) {
        let springs = [
            format!("{} = \"{:.3} kN m/rad\"", DOF_NAMES[3], dice.ratio(0.5, 900.0)),
            format!("{} = \"{:.3} kN m/rad\"", DOF_NAMES[4], dice.ratio(0.5, 900.0)),
            format!("{} = \"{:.3} N/um\"", DOF_NAMES[0], dice.ratio(1.0, 900.0)),
        ];
        let springs = &springs[..1 + dice.below(3)];
        let loss = rubbing_loss(dice, has.over_amplitude);
        *text += &format!("joints.seat = {{ stiffness = {{ {} }}, loss = {loss} }}\n", springs.join(", "));
    }
    if has.prices && dice.chance(0.9) {
        let prices: Vec<String> =
            made.of.iter().map(|of| format!("\"{of}\" = \"{:.2} per kg\"", dice.ratio(0.2, 30.0))).collect();
        *text += &format!("prices = {{ {}, fixed = {} }}\n", prices.join(", "), dice.below(300));
    }
    if varies {
        *text +=
            "vary.size = { section = \"s0\", size = [\"30 x 20 mm\", \"40 x 25 mm\", \"50 x 30 mm\"] }\n";
    }
}
