//! The model parameters of a build that may be wrong when its modes differ from the measured ones.
//!
//! Each parameter multiplies one thing as a whole: all springs of a foot or a joint, its loss, the bond of
//! all bonded sections, the modulus or the loss of a fill or of a material not known exactly, a mass. Its
//! limits are those stated in the design; springs, losses and bonds stated without limits take those of a
//! guess ([`stillbed_input::document::Usual`]). A fill stated without limits takes the usual ones (common
//! practice), factors that hold either way: 4/3 for a predicted modulus, 2 for a loss. A bond of 1 takes those of
//! a good bond, since it may well be less. What the design states with `exact = true`, and any other value
//! without limits, is not a parameter.

use stillbed_design::{Build, Profile, Substance};
use stillbed_input::quantity::{Draw, Loss, Spread};
use stillbed_joint::Seat;
use stillbed_material::{Figure, Property, Role};
use stillbed_tap::UncertainParameter;

/// One parameter of a build.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelParameter {
    /// Its name and its value with limits.
    pub uncertain: UncertainParameter,
    /// What it multiplies.
    pub of: ParameterTarget,
}

/// What a parameter multiplies.
#[derive(Debug, Clone, PartialEq)]
pub enum ParameterTarget {
    /// The three stiffnesses and the rotational stiffnesses of the foot of this name.
    FootStiffness(String),
    /// The loss factor of the foot of this name.
    FootLoss(String),
    /// All springs of the joint of this name.
    JointStiffness(String),
    /// The loss factor of the joint of this name.
    JointLoss(String),
    /// The bond of the profiles with these indices.
    Bond(Vec<usize>),
    /// The moduli of the substance with this index.
    Modulus(usize),
    /// The loss factors of the substance with this index.
    Loss(usize),
    /// The mass of this name.
    Mass(String),
}

/// Usual limits, as factors, of a fill's loss stated without limits.
const TWICE: (f64, f64) = (0.5, 2.0);
/// Usual limits, as factors, of a fill's predicted modulus: 4/3 either way.
const FOUR_THIRDS: (f64, f64) = (3.0 / 4.0, 4.0 / 3.0);
/// Least usual bond between clean, roughened parts (common practice).
const LEAST_BOND: f64 = 0.6;

/// `value` with its own limits, or else with limits at the factors `usual`.
fn within(value: Spread, usual: (f64, f64)) -> Spread {
    match value.is_exact() {
        true => {
            let (low, high) = (usual.0 * value.value, usual.1 * value.value);
            Spread { guess: true, ..Spread::between(value.value, low, high) }
        }
        false => value,
    }
}

impl ModelParameter {
    /// Every parameter of `build`.
    pub fn all(build: &Build) -> Vec<ModelParameter> {
        let mut parameters = Vec::new();
        let mut add = |name: String, value: Spread, of: ParameterTarget| {
            if value.value > 0.0 && !value.is_exact() {
                parameters.push(ModelParameter { uncertain: UncertainParameter { name, value }, of });
            }
        };
        for (name, foot) in build.drawing.feet.iter() {
            if let Some(value) = by_law(&foot.seat) {
                let of = ParameterTarget::FootStiffness(name.to_string());
                add(format!("feet.{name}.stiffness"), value, of);
            }
            let all = || foot.stiffness.iter().chain(foot.turning.iter().flatten());
            if let Some(first) = all().copied().find(|k| !k.is_exact()) {
                add(
                    format!("feet.{name}.stiffness"),
                    first,
                    ParameterTarget::FootStiffness(name.to_string()),
                );
            }
            // One tap cannot identify a loss stated over amplitude.
            if let Loss::Same(loss) = foot.loss {
                add(format!("feet.{name}.loss"), loss, ParameterTarget::FootLoss(name.to_string()));
            }
        }
        for (name, joint) in build.drawing.joints.iter() {
            if let Some(value) = by_law(&joint.seat) {
                let of = ParameterTarget::JointStiffness(name.to_string());
                add(format!("joints.{name}.stiffness"), value, of);
            }
            if let Some(first) = joint.stiffness.iter().flatten().copied().find(|k| !k.is_exact()) {
                add(
                    format!("joints.{name}.stiffness"),
                    first,
                    ParameterTarget::JointStiffness(name.to_string()),
                );
            }
            if let Loss::Same(loss) = joint.loss {
                add(format!("joints.{name}.loss"), loss, ParameterTarget::JointLoss(name.to_string()));
            }
        }
        if let Some((bond, profiles)) = bonds(build) {
            add("bond".to_string(), bond, ParameterTarget::Bond(profiles));
        }
        for (i, substance) in build.substances.iter().enumerate() {
            for (key, value, of) in of_substance(substance, i) {
                let kind = if matches!(substance, Substance::Mix(_)) { "mixes" } else { "materials" };
                add(format!("{kind}.\"{}\".{key}", substance.name()), value, of);
            }
        }
        for (name, mass) in build.drawing.masses.iter().filter(|(_, mass)| !mass.mass.is_exact()) {
            add(format!("masses.{name}.mass"), mass.mass, ParameterTarget::Mass(name.to_string()));
        }
        parameters
    }

    /// What a `factor` of it says of a joint or a foot that follows from its law, in the terms of that law.
    pub fn means(&self, build: &Build, factor: &Spread) -> Option<String> {
        let seat = match &self.of {
            ParameterTarget::JointStiffness(name) => &build.drawing.joints.get(name)?.seat,
            ParameterTarget::FootStiffness(name) => &build.drawing.feet.get(name)?.seat,
            _ => return None,
        };
        seat.as_ref()?.means(factor)
    }

    /// `build` with this parameter multiplied by `factor`; springs stated as exact keep their values.
    pub fn moved(&self, build: &Build, factor: f64) -> Build {
        let mut build = build.clone();
        let times = |spread: Spread| match spread.stated_exact {
            true => spread,
            false => Spread::exact(spread.value * factor),
        };
        let drawing = &mut build.drawing;
        match &self.of {
            ParameterTarget::FootStiffness(name) | ParameterTarget::FootLoss(name) => {
                let Some(mut foot) = drawing.feet.get(name).cloned() else { return build };
                if let (ParameterTarget::FootLoss(_), Loss::Same(loss)) = (&self.of, &mut foot.loss) {
                    *loss = times(*loss);
                } else {
                    foot.stiffness = foot.stiffness.map(times);
                    foot.turning = foot.turning.map(|springs| springs.map(times));
                }
                drawing.feet.insert(name, foot);
            }
            ParameterTarget::JointStiffness(name) | ParameterTarget::JointLoss(name) => {
                let Some(mut joint) = drawing.joints.get(name).cloned() else { return build };
                if let (ParameterTarget::JointLoss(_), Loss::Same(loss)) = (&self.of, &mut joint.loss) {
                    *loss = times(*loss);
                } else {
                    joint.stiffness = joint.stiffness.map(|spring| spring.map(times));
                }
                drawing.joints.insert(name, joint);
            }
            ParameterTarget::Bond(profiles) => {
                for profile in profiles {
                    let bond = &mut build.profiles[*profile].bond;
                    *bond = Spread::exact((bond.value * factor).min(1.0));
                }
            }
            ParameterTarget::Modulus(place) => scale(&mut build.substances[*place], factor, &MODULI),
            ParameterTarget::Loss(place) => scale(&mut build.substances[*place], factor, &LOSSES),
            ParameterTarget::Mass(name) => {
                let Some(mut mass) = drawing.masses.get(name).cloned() else { return build };
                mass.mass = times(mass.mass);
                drawing.masses.insert(name, mass);
            }
        }
        build
    }
}

/// The push of a joint or a foot that follows from its law, with the limits of the law.
fn by_law(seat: &Option<Box<Seat>>) -> Option<Spread> {
    let seat = seat.as_ref()?;
    let derived = seat.derived.as_ref()?;
    let (push, across) = (derived.springs[seat.spec.normal], derived.across);
    Some(Spread::between(push, push * across.low, push * across.high))
}

/// Properties multiplied by a parameter on the modulus of a material.
pub(super) const MODULI: [Property; 2] = [Property::YoungsModulus, Property::ShearModulus];
/// Properties multiplied by a parameter on the loss of a material.
pub(super) const LOSSES: [Property; 2] = [Property::LossFactor, Property::ShearLossFactor];

/// The bond of the first bonded profile, and the indices of all bonded profiles, without those whose bond is
/// exact.
fn bonds(build: &Build) -> Option<(Spread, Vec<usize>)> {
    let may_change = |profile: &Profile| {
        let bond = profile.bond;
        profile.is_bonded() && !bond.stated_exact && (bond.value == 1.0 || !bond.is_exact())
    };
    let profiles: Vec<usize> =
        (0..build.profiles.len()).filter(|i| may_change(&build.profiles[*i])).collect();
    let bond = build.profiles[*profiles.first()?].bond;
    // A bond of 1, which is also the default, may well be less in reality: it takes usual limits.
    let usual = Spread { guess: true, ..Spread::between(bond.value, LEAST_BOND.min(bond.value), 1.0) };
    Some((if bond.value == 1.0 { usual } else { bond }, profiles))
}

/// Modulus and loss of a fill, or of another material where they are not known exactly.
fn of_substance(substance: &Substance, place: usize) -> Vec<(&'static str, Spread, ParameterTarget)> {
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
        Some(stated) if stated.stated_exact => None,
        Some(stated) if !stated.is_exact() => Some(stated),
        _ if predicted || substance.role() == Role::Fill => Some(within(Spread::exact(value), usual)),
        _ => None,
    };
    found.extend(
        open(stated_modulus, modulus, FOUR_THIRDS)
            .map(|v| ("youngs_modulus", v, ParameterTarget::Modulus(place))),
    );
    found.extend(open(stated_loss, loss, TWICE).map(|v| ("loss_factor", v, ParameterTarget::Loss(place))));
    found
}

/// Multiplies `properties` of a substance; for a mix, the values that a test bar would give.
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
    use crate::design_sample::{design, stand};

    #[test]
    fn a_lever_moves_one_thing_and_nothing_else() {
        let design = stand();
        let build = design.build("cast").unwrap();
        let parameters = ModelParameter::all(build);
        let names: Vec<&str> = parameters.iter().map(|parameter| parameter.uncertain.name.as_str()).collect();
        assert!(names.contains(&"feet.levelling.stiffness"), "{names:?}");
        assert!(names.contains(&"joints.arm_clamp.loss"), "{names:?}");
        assert!(names.contains(&"mixes.\"feldspar and sand\".youngs_modulus"), "{names:?}");
        assert!(names.contains(&"bond"), "{names:?}");
        let medium = |build: &Build| build.media(&Draw::default()).unwrap();
        for parameter in &parameters {
            let moved = parameter.moved(build, 0.9);
            let changed = [
                moved.drawing.feet != build.drawing.feet,
                moved.drawing.joints != build.drawing.joints,
                medium(&moved) != medium(build),
                moved.profiles.iter().zip(&build.profiles).any(|(a, b)| a.bond != b.bond),
            ];
            assert_eq!(changed.iter().filter(|c| **c).count(), 1, "{}", parameter.uncertain.name);
        }
        let fill =
            parameters.iter().find(|l| l.uncertain.name.contains("feldspar and sand\".youngs")).unwrap();
        let of = |build: &Build| {
            medium(build).iter().find(|m| m.name == "feldspar and sand").unwrap().youngs_modulus
        };
        let ratio = of(&fill.moved(build, 0.8)) / of(build);
        assert!((ratio - 0.8).norm() < 1e-9, "{ratio}");
    }

    #[test]
    fn a_spring_stated_as_exact_stays_when_the_others_of_its_joint_move() {
        let design = stand();
        let mut build = design.build("cast").unwrap().clone();
        let mut joint = build.drawing.joints.get("arm_clamp").unwrap().clone();
        let held = Spread { stated_exact: true, ..Spread::exact(3e5) };
        joint.stiffness[3] = Some(held);
        joint.stiffness[4] = Some(Spread::between(2e5, 1e5, 4e5));
        build.drawing.joints.insert("arm_clamp", joint);
        let all = ModelParameter::all(&build);
        let springs = all.iter().find(|p| p.uncertain.name == "joints.arm_clamp.stiffness").unwrap();
        let moved = springs.moved(&build, 0.5).drawing.joints.get("arm_clamp").unwrap().clone();
        assert_eq!(moved.stiffness[3], Some(held));
        assert_eq!(moved.stiffness[4], Some(Spread::exact(1e5)));
    }

    /// Names of the parameters of two filled tubes with `first` and `second` in their sections and `fill` among
    /// what is measured of the fill.
    fn names(first: &str, second: &str, fill: &str) -> (Vec<String>, Option<Vec<usize>>) {
        let section = |name: &str, bond: &str| {
            format!(
                "[builds.one.sections.{name}]\n{bond}\nparts = [{{ rectangle = \"44 x 44 mm\", of = \"sand\" }}, \
                 {{ tube = \"50 x 50 x 3 mm\", of = \"structural steel\" }}]\n"
            )
        };
        let text = format!(
            "[points]\na = \"0, 0, 0 mm\"\nb = \"300, 0, 0 mm\"\nc = \"600, 0, 0 mm\"\n\
             [members]\none = {{ from = \"a\", to = \"b\", section = \"one\" }}\n\
             two = {{ from = \"b\", to = \"c\", section = \"two\" }}\n\
             [mixes.sand]\nbinder = {{ of = \"epoxy, slow casting\", share = 20 }}\n\
             aggregates = [{{ of = \"quartz sand\", share = 80, grain = \"0.3 to 0.8 mm\" }}]\nair = \"0 %\"\n\
             measured = {{ {fill} }}\n{}{}",
            section("one", first),
            section("two", second)
        );
        let all = ModelParameter::all(&design(&text).builds[0]);
        let bonded = all
            .iter()
            .find_map(|p| if let ParameterTarget::Bond(of) = &p.of { Some(of.clone()) } else { None });
        (all.into_iter().map(|p| p.uncertain.name).collect(), bonded)
    }

    #[test]
    fn what_is_stated_as_exact_is_no_parameter() {
        let has = |names: &[String], word: &str| names.iter().any(|name| name.ends_with(word));
        let exact = |value: &str| format!("bond = {{ value = {value}, exact = true }}");
        let fill = "youngs_modulus = \"24 GPa\", loss_factor = 0.02";
        let (open, bonded) = names("", "bond = 0.9", fill);
        assert!(has(&open, "sand\".youngs_modulus") && has(&open, "sand\".loss_factor"), "{open:?}");
        assert_eq!(bonded, Some(vec![0, 1]));
        for value in ["1.0", "0.9"] {
            assert_eq!(names(&exact(value), "bond = 0.9", fill).1, Some(vec![1]));
            assert_eq!(names("bond = 1.0", &exact(value), fill).1, Some(vec![0]));
            assert_eq!(names(&exact("1.0"), &exact(value), fill).1, None);
        }
        let fill = "youngs_modulus = { value = \"24 GPa\", exact = true }, loss_factor = 0.02";
        let (held, _) = names("", "", fill);
        assert!(!has(&held, "sand\".youngs_modulus") && has(&held, "sand\".loss_factor"), "{held:?}");
        let fill = "youngs_modulus = \"24 GPa\", loss_factor = { value = 0.02, exact = true }";
        let (held, _) = names("", "", fill);
        assert!(has(&held, "sand\".youngs_modulus") && !has(&held, "sand\".loss_factor"), "{held:?}");
    }

    /// A seat that follows from its law moves as one, is told as a share of its area, and is written as a factor.
    #[test]
    fn a_joint_by_its_law_moves_as_one_and_is_told_in_its_terms() {
        let text = "[points]\na = \"0, 0, 0 mm\"\nb = \"0, 0, 400 mm\"\n\
                    [members.post]\nfrom = \"a\"\nto = \"b\"\nsection = \"s\"\njoint_from = \"seat\"\n\
                    [anchors.floor]\nat = \"a\"\nhold = \"all\"\n\
                    [joints.seat]\nslide = \"60 x 60 mm\"\nfinish = \"scraped\"\nload = \"400 N\"\n\
                    [builds.one]\nsections.s.parts = [{ rectangle = \"40 x 40 mm\", of = \"structural steel\" }]\n";
        let design = design(text);
        let build = &design.builds[0];
        let all = ModelParameter::all(build);
        let seat = all.iter().find(|p| p.uncertain.name == "joints.seat.stiffness").unwrap();
        let limits =
            [seat.uncertain.value.low, seat.uncertain.value.high].map(|k| k / seat.uncertain.value.value);
        approx::assert_relative_eq!(limits[0], 0.9 / 2.25, max_relative = 1e-9);
        approx::assert_relative_eq!(limits[1], 0.9 / 0.4, max_relative = 1e-9);
        let springs =
            |build: &Build| build.model(&design.goal, &Draw::default()).unwrap().frame.joints[0].stiffness;
        for (moved, was) in springs(&seat.moved(build, 0.5)).iter().zip(springs(build)) {
            approx::assert_relative_eq!(moved.unwrap().re, 0.5 * was.unwrap().re, max_relative = 1e-12);
        }
        let factor = Spread::between(0.5, 0.4, 0.6);
        let told = seat.means(build, &factor).unwrap();
        assert_eq!(told, "as if the slide carried on 25 % (16 to 36 %) of its area");
        let written = super::super::write("d.toml", text, build, seat, &factor, None).unwrap();
        let again = crate::design_sample::design(&written);
        for (found, was) in springs(&again.builds[0]).iter().zip(springs(build)) {
            approx::assert_relative_eq!(found.unwrap().re, 0.5 * was.unwrap().re, max_relative = 1e-3);
        }
    }
}
