//! What of a build may be off, when its modes are not those that were heard.
//!
//! A lever multiplies one thing as a whole: the springs of a foot or a joint together, the bond of
//! all sections that have one, the modulus or the loss of a fill. Its limits are those that the
//! design states, or for springs, losses and bonds those of a guess ([`crate::document::Usual`]);
//! of a fill that it states without, the usual ones (common practice): a third for the modulus of a
//! predicted fill, a factor of two for its loss. What is stated as exact is no lever.

use crate::design::{Build, Substance};
use crate::material::{Figure, Property, Role};
use crate::quantity::{Draw, Loss, Spread};
use crate::response::tap::Parameter;

/// One thing of a build that is changed as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Lever {
    /// Its name and its value with limits.
    pub parameter: Parameter,
    /// What it moves.
    pub of: Of,
}

/// What a lever moves.
#[derive(Debug, Clone, PartialEq)]
pub enum Of {
    /// The three stiffnesses, and those about the axes, of the foot of this name.
    FootStiffness(String),
    /// Its loss factor.
    FootLoss(String),
    /// All springs of the joint of this name.
    JointStiffness(String),
    /// Its loss factor.
    JointLoss(String),
    /// The bond of these profiles, by their places.
    Bond(Vec<usize>),
    /// The moduli of the substance at this place.
    Modulus(usize),
    /// Its loss factors.
    Loss(usize),
    /// The mass of this name.
    Mass(String),
}

/// Usual limits of the loss of a fill that is stated without.
const TWICE: (f64, f64) = (0.5, 2.0);
/// Usual limits of the modulus of a fill that is predicted.
const THIRD: (f64, f64) = (0.75, 4.0 / 3.0);
/// Least bond that is usual between clean, roughened parts (common practice).
const LEAST_BOND: f64 = 0.6;

/// `value` with its own limits, or those that lie the factors `usual` from it.
fn within(value: Spread, usual: (f64, f64)) -> Spread {
    match value.is_exact() {
        true => {
            let (low, high) = (usual.0 * value.value, usual.1 * value.value);
            Spread { guess: true, ..Spread::between(value.value, low, high) }
        }
        false => value,
    }
}

impl Lever {
    /// Every lever of `build`.
    pub fn all(build: &Build) -> Vec<Lever> {
        let mut levers = Vec::new();
        let mut add = |name: String, value: Spread, of: Of| {
            if value.value > 0.0 && !value.is_exact() {
                levers.push(Lever { parameter: Parameter { name, value }, of });
            }
        };
        for (name, foot) in build.drawing.feet.iter() {
            let all = || foot.stiffness.iter().chain(foot.turning.iter().flatten());
            if let Some(first) = all().copied().find(|k| !k.is_exact()) {
                add(format!("feet.{name}.stiffness"), first, Of::FootStiffness(name.to_string()));
            }
            // A loss stated over amplitude cannot be told from one tap.
            if let Loss::Same(loss) = foot.loss {
                add(format!("feet.{name}.loss"), loss, Of::FootLoss(name.to_string()));
            }
        }
        for (name, joint) in build.drawing.joints.iter() {
            if let Some(first) = joint.stiffness.iter().flatten().copied().find(|k| !k.is_exact()) {
                add(format!("joints.{name}.stiffness"), first, Of::JointStiffness(name.to_string()));
            }
            if let Loss::Same(loss) = joint.loss {
                add(format!("joints.{name}.loss"), loss, Of::JointLoss(name.to_string()));
            }
        }
        if let Some((bond, profiles)) = bonds(build) {
            add("bond".to_string(), bond, Of::Bond(profiles));
        }
        for (i, substance) in build.substances.iter().enumerate() {
            for (key, value, of) in of_substance(substance, i) {
                let kind = if matches!(substance, Substance::Mix(_)) { "mixes" } else { "materials" };
                add(format!("{kind}.\"{}\".{key}", substance.name()), value, of);
            }
        }
        for (name, mass) in build.drawing.masses.iter().filter(|(_, mass)| !mass.mass.is_exact()) {
            add(format!("masses.{name}.mass"), mass.mass, Of::Mass(name.to_string()));
        }
        levers
    }

    /// `build` with this lever at `factor` times its value.
    pub fn moved(&self, build: &Build, factor: f64) -> Build {
        let mut build = build.clone();
        let times = |spread: Spread| Spread::exact(spread.value * factor);
        let drawing = &mut build.drawing;
        match &self.of {
            Of::FootStiffness(name) | Of::FootLoss(name) => {
                let Some(mut foot) = drawing.feet.get(name).cloned() else { return build };
                if let (Of::FootLoss(_), Loss::Same(loss)) = (&self.of, &mut foot.loss) {
                    *loss = times(*loss);
                } else {
                    foot.stiffness = foot.stiffness.map(times);
                    foot.turning = foot.turning.map(|springs| springs.map(times));
                }
                drawing.feet.insert(name, foot);
            }
            Of::JointStiffness(name) | Of::JointLoss(name) => {
                let Some(mut joint) = drawing.joints.get(name).cloned() else { return build };
                if let (Of::JointLoss(_), Loss::Same(loss)) = (&self.of, &mut joint.loss) {
                    *loss = times(*loss);
                } else {
                    joint.stiffness = joint.stiffness.map(|spring| spring.map(times));
                }
                drawing.joints.insert(name, joint);
            }
            Of::Bond(profiles) => {
                for profile in profiles {
                    let bond = &mut build.profiles[*profile].bond;
                    *bond = Spread::exact((bond.value * factor).min(1.0));
                }
            }
            Of::Modulus(place) => scale(&mut build.substances[*place], factor, &MODULI),
            Of::Loss(place) => scale(&mut build.substances[*place], factor, &LOSSES),
            Of::Mass(name) => {
                let Some(mut mass) = drawing.masses.get(name).cloned() else { return build };
                mass.mass = times(mass.mass);
                drawing.masses.insert(name, mass);
            }
        }
        build
    }
}

/// What a lever on the modulus of a material moves.
pub(super) const MODULI: [Property; 2] = [Property::YoungsModulus, Property::ShearModulus];
/// What a lever on its loss moves.
pub(super) const LOSSES: [Property; 2] = [Property::LossFactor, Property::ShearLossFactor];

/// The profiles in which a bond acts, and the bond of the first.
fn bonds(build: &Build) -> Option<(Spread, Vec<usize>)> {
    let profiles: Vec<usize> = (0..build.profiles.len()).filter(|i| build.profiles[*i].is_bonded()).collect();
    let bond = build.profiles[*profiles.first()?].bond;
    // One body or nothing stated: a bond that is less than whole is what to look for.
    let usual = Spread { guess: true, ..Spread::between(bond.value, LEAST_BOND.min(bond.value), 1.0) };
    Some((if bond.value == 1.0 { usual } else { bond }, profiles))
}

/// Modulus and loss of a fill, or of a material of which they are not known exactly.
fn of_substance(substance: &Substance, place: usize) -> Vec<(&'static str, Spread, Of)> {
    let mut found = Vec::new();
    if substance.role() == Role::Void {
        return found;
    }
    let now = substance.medium(&Draw::default()).ok();
    let now =
        now.map(|medium| (medium.youngs_modulus.re, medium.youngs_modulus.im / medium.youngs_modulus.re));
    let Some((modulus, loss)) = now else { return found };
    let (stated_modulus, stated_loss) = match substance {
        Substance::Mix(recipe) => (recipe.measured.youngs_modulus, recipe.measured.loss_factor),
        Substance::Material(material) => {
            let spread = |property| material.figure(property).map(|figure| figure.spread);
            (spread(Property::YoungsModulus), spread(Property::LossFactor))
        }
    };
    let predicted = matches!(substance, Substance::Mix(_));
    let open = |stated: Option<Spread>, value: f64, usual: (f64, f64)| match stated {
        Some(stated) if !stated.is_exact() => Some(stated),
        _ if predicted || substance.role() == Role::Fill => Some(within(Spread::exact(value), usual)),
        _ => None,
    };
    found.extend(open(stated_modulus, modulus, THIRD).map(|v| ("youngs_modulus", v, Of::Modulus(place))));
    found.extend(open(stated_loss, loss, TWICE).map(|v| ("loss_factor", v, Of::Loss(place))));
    found
}

/// Multiplies what is stated of `properties`; of a mix, what a test bar would give.
fn scale(substance: &mut Substance, factor: f64, properties: &[Property]) {
    let now = substance.medium(&Draw::default()).ok();
    match substance {
        Substance::Mix(recipe) => {
            let Some(modulus) = now.map(|medium| medium.youngs_modulus) else { return };
            if properties.contains(&Property::YoungsModulus) {
                recipe.measured.youngs_modulus = Some(Spread::exact(factor * modulus.re));
            } else {
                recipe.measured.loss_factor = Some(Spread::exact(factor * modulus.im / modulus.re));
            }
        }
        Substance::Material(material) => {
            for property in properties {
                let scaled = material.figure(*property).map(|figure| figure.spread.value * factor);
                if let Some(value) = scaled {
                    material.set(*property, Figure::stated(Spread::exact(value), "tap"));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::Design;
    use crate::material::Table;

    #[test]
    fn a_lever_moves_one_thing_and_nothing_else() {
        let text = include_str!("../../../examples/roundness-stand.toml");
        let design = Design::read("stand.toml", text, &Table::built_in()).design.unwrap();
        let build = design.build("cast").unwrap();
        let levers = Lever::all(build);
        let names: Vec<&str> = levers.iter().map(|lever| lever.parameter.name.as_str()).collect();
        assert!(names.contains(&"feet.levelling.stiffness"), "{names:?}");
        assert!(names.contains(&"joints.arm_clamp.loss"), "{names:?}");
        assert!(names.contains(&"mixes.\"feldspar and sand\".youngs_modulus"), "{names:?}");
        assert!(names.contains(&"bond"), "{names:?}");
        let medium = |build: &Build| build.media(&Draw::default()).unwrap();
        for lever in &levers {
            let moved = lever.moved(build, 0.9);
            let changed = [
                moved.drawing.feet != build.drawing.feet,
                moved.drawing.joints != build.drawing.joints,
                medium(&moved) != medium(build),
                moved.profiles.iter().zip(&build.profiles).any(|(a, b)| a.bond != b.bond),
            ];
            assert_eq!(changed.iter().filter(|c| **c).count(), 1, "{}", lever.parameter.name);
        }
        let fill = levers.iter().find(|l| l.parameter.name.contains("feldspar and sand\".youngs")).unwrap();
        let of = |build: &Build| {
            medium(build).iter().find(|m| m.name == "feldspar and sand").unwrap().youngs_modulus
        };
        let ratio = of(&fill.moved(build, 0.8)) / of(build);
        assert!((ratio - 0.8).norm() < 1e-9, "{ratio}");
    }
}
