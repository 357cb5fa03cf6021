//! Published cases of temperature, stress and weight: stacks of layers are meshed, put into a frame and
//! solved.

use super::{Evaluator, Inputs};
use nalgebra::Vector3;
use stillbed_frame::{Anchor, Frame, Member, MemberSection, Point};
use stillbed_material::{Medium, Role};
use stillbed_response::deformation::{
    Base, SagRequest, Support, SupportAim, SupportedFrame, find_best_supports, solve_sag,
};
use stillbed_response::thermal::{
    CompositeSection, TemperatureGradient, Thermal, ThermalCase, ThermalRequest, slab_decay_time,
    solve_thermal,
};
use stillbed_section::{Geometry, Part, Shape, Solution};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("strip", strip),
    ("stretch", stretch),
    ("gradient", gradient),
    ("between-walls", between_walls),
    ("stress", stress),
    ("support-points", support_points),
    ("beam", beam),
    ("even-supports", even_supports),
    ("slab", slab),
    ("bond", bond),
    ("core", core),
];

/// Length of the bars whose curvature is computed, m.
const SPAN: f64 = 1.0;

/// Layers on top of each other, the first with its lower face on the member line.
struct Stack {
    warm: CompositeSection,
    solution: Solution,
    height: f64,
}

impl Stack {
    /// Inputs: `e`, `t` and, where temperature matters, `alpha` by layer; one `width`, 0.02 m if not given;
    /// `middle=1` puts the member line at mid-depth.
    fn new(inputs: &Inputs) -> Result<Stack, String> {
        let (moduli, heights) = (inputs.numbers("e")?, inputs.numbers("t")?);
        let expansions = inputs.numbers("alpha").unwrap_or_else(|_| vec![0.0; moduli.len()]);
        let width = inputs.number("width").unwrap_or(0.02);
        let height: f64 = heights.iter().sum();
        let mut low = if inputs.number("middle") == Ok(1.0) { -0.5 * height } else { 0.0 };
        let (mut parts, mut media) = (Vec::new(), Vec::new());
        for (number, ((e, t), alpha)) in moduli.iter().zip(&heights).zip(&expansions).enumerate() {
            let shape = Shape::Rectangle { width, height: *t };
            parts.push(Part::new(shape, number).at(0.0, low + 0.5 * t));
            let mut medium = Medium::isotropic(&number.to_string(), Role::Skeleton, *e, 0.3, 2000.0, 0.0);
            medium.expansion = Some(*alpha);
            media.push(medium);
            low += t;
        }
        Stack::of(parts, &media, inputs.number("bond").unwrap_or(1.0), height)
    }

    /// A core of the size `core` in the middle of what is `outer` across, both `round` or `square`, each with
    /// its `e` and `alpha`.
    fn core(inputs: &Inputs) -> Result<Stack, String> {
        let shape = |size: f64| match inputs.text("shape")? {
            "round" => Ok(Shape::Round { diameter: size }),
            "square" => Ok(Shape::Rectangle { width: size, height: size }),
            other => Err(format!("no shape {other}")),
        };
        let (moduli, expansions) = (inputs.numbers("e")?, inputs.numbers("alpha")?);
        let medium = |name: &str, (e, alpha): (&f64, &f64)| {
            let mut medium = Medium::isotropic(name, Role::Skeleton, *e, 0.3, 2000.0, 0.0);
            medium.expansion = Some(*alpha);
            medium
        };
        let names = ["core", "around"];
        let given = moduli.iter().zip(&expansions);
        let media: Vec<Medium> = names.iter().zip(given).map(|(name, of)| medium(name, of)).collect();
        let outer = inputs.number("outer")?;
        // The core cuts what it lies in.
        let parts = vec![Part::new(shape(outer)?, 1), Part::new(shape(inputs.number("core")?)?, 0)];
        Stack::of(parts, &media, 1.0, outer)
    }

    fn of(parts: Vec<Part>, media: &[Medium], bond: f64, height: f64) -> Result<Stack, String> {
        let geometry = Geometry::fitted(parts, media).map_err(|fault| fault.to_string())?;
        let solution = geometry.solve(media, bond).map_err(|fault| fault.to_string())?;
        let sliding = member_section(&solution, false);
        let strengths = vec![None; media.len()];
        let warm = CompositeSection::from_geometry(&geometry, media, &strengths, bond, sliding);
        Ok(Stack { warm: warm.ok_or("a layer without material")?, solution, height })
    }

    /// A bar of this stack along x.
    fn bar(&self, length: f64) -> Frame {
        let point =
            |name: &str, x: f64| Point { name: name.to_string(), position: Vector3::new(x, 0.0, 0.0) };
        let member = Member {
            name: "bar".to_string(),
            from: 0,
            to: 1,
            section: 0,
            up: None,
            offset: Vector3::zeros(),
            joint_from: None,
            joint_to: None,
            rigid: [0.0; 2],
            displaced: Vec::new(),
        };
        Frame {
            points: vec![point("left", 0.0), point("right", length)],
            sections: vec![member_section(&self.solution, true)],
            members: vec![member],
            ..Frame::default()
        }
    }

    fn warmed(&self, frame: &Frame, case: &ThermalCase) -> Result<Thermal, String> {
        let sections = [self.warm.clone()];
        let base = Base { name: "bar", frame, tip: Some(1), work: Some(0), bodies: &[] };
        solve_thermal(&base, &sections, case, &ThermalRequest::default()).map_err(|fault| fault.to_string())
    }
}

fn member_section(solution: &Solution, stated: bool) -> MemberSection {
    let action = if stated { &solution.as_stated } else { &solution.sliding };
    let name = "stack".to_string();
    MemberSection { name, stiffness: action.matrix, mass: solution.mass, parts: Vec::new() }
}

fn hold(frame: &mut Frame, point: usize, hold: [bool; 6]) {
    frame.anchors.push(Anchor { name: format!("anchor {point}"), at: vec![point], hold });
}

/// Curvature, radius, bow over a span of 1 m, and deflection of the tip of a cantilever of 0.1 m.
fn strip(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let case = ThermalCase::uniform(inputs.number("change")?);
    let free = stack.warmed(&stack.bar(SPAN), &case)?;
    let curvature = free.state.turn_rad.ok_or("no tip")?.y.abs() / SPAN;
    let mut short = stack.bar(0.1);
    hold(&mut short, 0, [true; 6]);
    let tip = stack.warmed(&short, &case)?.state.drift_m.ok_or("no tip")?.z.abs();
    Ok(vec![curvature, 1.0 / curvature, free.state.members[0].bow_m, tip])
}

/// Strain of the member line, curvature and bow over 1 m of a free bar; with `per-kelvin=1`, the strain per
/// kelvin.
fn stretch(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let change = inputs.number("change")?;
    let free = stack.warmed(&stack.bar(SPAN), &ThermalCase::uniform(change))?;
    let member = &free.state.members[0];
    let strain = if inputs.number("per-kelvin") == Ok(1.0) {
        free.drift_m_per_k.ok_or("no tip")?.x / SPAN
    } else {
        member.growth_m / SPAN
    };
    Ok(vec![strain, free.state.turn_rad.ok_or("no tip")?.y.abs() / SPAN, member.bow_m])
}

/// Curvature and bow of a free bar with a temperature difference of `change` between its faces.
fn gradient(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let length = inputs.number("length")?;
    let across_z = inputs.number("change")? / stack.height;
    let members = vec![TemperatureGradient { across_z, ..TemperatureGradient::default() }];
    let free = stack.warmed(&stack.bar(length), &ThermalCase { members, ..ThermalCase::default() })?;
    let curvature = free.state.turn_rad.ok_or("no tip")?.y.abs() / length;
    Ok(vec![curvature, free.state.members[0].bow_m])
}

/// Shear stress in the bond of the second layer at the ends of a bar, MPa.
fn bond(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let case = ThermalCase::uniform(inputs.number("change")?);
    let found = stack.warmed(&stack.bar(inputs.number("length")?), &case)?;
    let core = found.state.members[0].parts.get(1).ok_or("no second layer")?;
    Ok(vec![core.bond_shear_pa.ok_or("no bond")? / 1e6])
}

/// Shear stress in the bond of a core at the ends of a bar, MPa, seen from the core and from what is around it.
fn core(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::core(inputs)?;
    let case = ThermalCase::uniform(inputs.number("change")?);
    let found = stack.warmed(&stack.bar(inputs.number("length")?), &case)?;
    let shear = |name: &str| {
        let part = found.state.members[0].parts.iter().find(|part| part.of == name).ok_or("no core")?;
        part.bond_shear_pa.map(|shear| shear / 1e6).ok_or("no bond")
    };
    Ok(vec![shear("core")?, shear("around")?])
}

/// Largest stress in each layer of a bar between walls.
fn between_walls(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let mut frame = stack.bar(SPAN);
    hold(&mut frame, 0, [true; 6]);
    hold(&mut frame, 1, [true; 6]);
    let held = stack.warmed(&frame, &ThermalCase::uniform(inputs.number("change")?))?;
    Ok(held.state.members[0].parts.iter().map(|part| part.stress_pa).collect())
}

/// Stress under a moment that compresses the top, at each height above the lowest face, in the layer given
/// with it.
fn stress(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let moment = inputs.number("moment")?;
    let (layers, heights) = (inputs.numbers("layer")?, inputs.numbers("at")?);
    let one = |(layer, z): (&f64, &f64)| {
        let forces = [0.0, -moment, 0.0];
        stack.warm.stress(*layer as usize, [0.0, *z], forces).ok_or(format!("no layer {layer}"))
    };
    layers.iter().zip(&heights).map(one).collect()
}

/// Distance between the two best supports of a bar of `length`, as a share of the length.
fn support_points(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let aim = match inputs.text("for")? {
        "level-ends" => SupportAim::LevelEnds,
        "length" => SupportAim::Length,
        "slope" => SupportAim::Slope,
        "sag" => SupportAim::Sag,
        other => return Err(format!("no aim {other}")),
    };
    let frame = stack.bar(inputs.number("length")?);
    let best = find_best_supports(&frame, &[0], 2, aim).map_err(|fault| fault.to_string())?;
    Ok(vec![best.shares[1] - best.shares[0]])
}

/// E I / (w L⁴) for a bar of `length`.
fn scale(stack: &Stack, length: f64) -> f64 {
    stack.solution.as_stated.stiffness.ei_y_n_m2.re / (weight(stack) * length.powi(4))
}

fn weight(stack: &Stack) -> f64 {
    stack.solution.mass_per_length * 9.80665
}

/// Largest distance from the chord under its own weight, or sag of the tip of a cantilever, in units of w L⁴
/// / E I.
fn beam(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let length = inputs.number("length")?;
    let mut frame = stack.bar(length);
    let pinned = [true, true, true, true, false, true];
    let sliding = [false, true, true, true, false, true];
    let (left, right) = match inputs.text("ends")? {
        "pinned" => (pinned, Some(sliding)),
        "clamped" => ([true; 6], Some([true; 6])),
        "propped" => ([true; 6], Some(sliding)),
        "cantilever" => ([true; 6], None),
        other => return Err(format!("no ends {other}")),
    };
    hold(&mut frame, 0, left);
    if let Some(right) = right {
        hold(&mut frame, 1, right);
    }
    let base = Base { name: "bar", frame: &frame, tip: Some(1), work: None, bodies: &[] };
    let found = solve_sag(&base, &SagRequest::default()).map_err(|fault| fault.to_string())?;
    let sag = if right.is_some() { found.members[0].bow_m } else { -found.drift_m.ok_or("no tip")?.z };
    Ok(vec![sag * scale(&stack, length)])
}

/// Reactions in units of w l, and largest sag in units of w l⁴ / E I, of a bar over equal spans l.
fn even_supports(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let stack = Stack::new(inputs)?;
    let (length, spans) = (inputs.number("length")?, inputs.number("spans")?);
    let frame = stack.bar(length);
    let span = length / spans;
    let bearings: Vec<Support> =
        (0..=spans as usize).map(|i| Support { member: 0, at: span * i as f64 }).collect();
    let carrying = SupportedFrame::new(&frame).map_err(|fault| fault.to_string())?;
    let found = carrying.on(&bearings, &[0]).map_err(|fault| fault.to_string())?;
    let mut values: Vec<f64> = found
        .reactions_n
        .iter()
        .map(|r| r / (weight(&stack) * span))
        .take(bearings.len().div_ceil(2))
        .collect();
    // A middle span may rise a little; tables give the lowest place.
    let straight = &found.straightness[0];
    let highest = straight.line.iter().map(|place| place.up_m).fold(f64::NEG_INFINITY, f64::max);
    values.push((straight.up.before_m - highest) * scale(&stack, span));
    Ok(values)
}

/// Longest decay time of a slab.
fn slab(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let diffusivity = inputs.number("k")? / (inputs.number("rho")? * inputs.number("c")?);
    Ok(vec![slab_decay_time(inputs.number("thickness")?, diffusivity)])
}

#[cfg(test)]
mod tests {
    use super::super::prove;

    #[test]
    fn every_case_of_temperature_and_weight_holds() {
        let proof = prove().unwrap();
        let own = || proof.cases.iter().filter(|case| case.id.starts_with("thermal/"));
        let failing: Vec<_> = own().filter(|case| !case.holds).collect();
        assert!(failing.is_empty(), "{failing:#?}");
        assert!(own().count() > 50);
    }
}
