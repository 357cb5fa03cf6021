//! All design variables of a build, and the build with given choices.

use super::gaps::{self, Refusal};
use super::variable::{Target, Value, Variable, axes, set_share, variable};
use std::sync::Arc;
use stillbed_design::{Build, Gaps, Goal, Model, Substance, VarySpec};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Draw, Spread};
use stillbed_material::Medium;
use stillbed_section::stock::Stock;
use stillbed_section::{Geometry, Part, SectionFault};

/// Largest number of combinations of one section for which choices that never fit are reported before the
/// search.
const MOST_CHECKED: usize = 20_000;

/// The design variables of one build.
#[derive(Debug, Clone)]
pub struct Space {
    /// The build as drawn.
    pub build: Build,
    /// The design variables, in the order of the design.
    pub variables: Vec<Variable>,
    /// Number of choices on each axis. Design variables that change together share an axis.
    pub axes: Vec<usize>,
    /// The choice whose bodies `build` has; `None` where they are as the design draws them.
    bodies_of: Option<Vec<usize>>,
    gaps: Gaps,
    /// By profile and part: the fill part in which it is cast.
    moulds: Vec<Vec<Option<usize>>>,
    /// By profile: the axes that change its shapes, then all axes that change it.
    shaping: Vec<Vec<usize>>,
    touching: Vec<Vec<usize>>,
}

impl Space {
    /// The design variables that `[vary]` gives `build`, with sizes of `stock`.
    ///
    /// # Errors
    /// Everything that keeps it from being searched, at its place.
    pub fn new(build: &Build, goal: &Goal, stock: &Stock) -> Result<Space, Problems> {
        let mut said = Vec::new();
        let mut variables = Vec::new();
        let stated: Vec<(&str, &VarySpec)> = build.drawing.vary.iter().collect();
        if stated.is_empty() {
            let message = format!("nothing may vary in build \"{}\"", build.name);
            let help = "add [vary.NAME] with section, part and stock = \"square tube, structural steel\"";
            return Err(Problems::from(Problem::error(build.place.clone(), message).with_help(help)));
        }
        for (name, spec) in &stated {
            match variable(build, stock, name, spec) {
                Ok((target, choices)) => variables.push(Variable {
                    name: name.to_string(),
                    place: spec.place.clone(),
                    choices,
                    axis: 0,
                    target,
                }),
                Err(problems) => said.extend(problems),
            }
        }
        if !said.is_empty() {
            return Err(said.into());
        }
        let axes = axes(&mut variables, &stated)?;
        let parts = |profile: &stillbed_design::Profile| profile.geometry.parts().to_vec();
        let moulds = build.profiles.iter().map(|p| gaps::moulds(&parts(p), &build.substances)).collect();
        let mut space = Space {
            build: build.clone(),
            variables,
            axes,
            bodies_of: None,
            gaps: goal.gaps,
            moulds,
            shaping: Vec::new(),
            touching: Vec::new(),
        };
        let of_profile = |p: usize, all: bool| {
            let mut axes: Vec<usize> =
                space.variables.iter().filter(|v| space.touches(v, p, all)).map(|v| v.axis).collect();
            axes.sort_unstable();
            axes.dedup();
            axes
        };
        let profiles = 0..space.build.profiles.len();
        let shaping = profiles.clone().map(|p| of_profile(p, false)).collect();
        let touching = profiles.map(|p| of_profile(p, true)).collect();
        (space.shaping, space.touching) = (shaping, touching);
        space.check_positions()?;
        Ok(space)
    }

    /// Number of all combinations.
    pub fn count(&self) -> u128 {
        self.axes.iter().map(|n| *n as u128).product()
    }

    /// True when `variable` changes the shapes of profile `profile` or, with `all`, anything of it.
    fn touches(&self, variable: &Variable, profile: usize, all: bool) -> bool {
        match &variable.target {
            Target::Part { profiles, .. } | Target::At { profiles, .. } => profiles.contains(&profile),
            Target::Bond { profiles } => all && profiles.contains(&profile),
            Target::Share { substance, .. } => {
                let parts = self.build.profiles[profile].geometry.parts();
                all && parts.iter().any(|part| part.medium == *substance)
            }
            Target::Foot { .. } | Target::Body { .. } => false,
        }
    }

    /// The part of `choice` on which the shapes of a profile depend; with `all`, on which the profile
    /// depends.
    pub(super) fn key(&self, profile: usize, choice: &[usize], all: bool) -> Vec<usize> {
        let axes = if all { &self.touching[profile] } else { &self.shaping[profile] };
        axes.iter().map(|axis| choice[*axis]).collect()
    }

    /// The part of `choice` on which the bodies depend; `None` where no body varies.
    pub(super) fn body_key(&self, choice: &[usize]) -> Option<Vec<usize>> {
        let bodies = self.variables.iter().filter(|v| matches!(v.target, Target::Body { .. }));
        let key: Vec<usize> = bodies.map(|v| choice[v.axis]).collect();
        (!key.is_empty()).then_some(key)
    }

    /// True when the build of the space has the bodies of `choice`.
    pub(super) fn has_bodies_of(&self, choice: &[usize]) -> bool {
        let own = self.bodies_of.as_ref().and_then(|bodies| self.body_key(bodies));
        self.body_key(choice).is_none_or(|key| own == Some(key))
    }

    /// `choice` with the bodies that the build has, where these are those of a choice.
    pub(super) fn with_own_bodies(&self, mut choice: Vec<usize>) -> Vec<usize> {
        let Some(bodies) = &self.bodies_of else { return choice };
        for variable in self.variables.iter().filter(|v| matches!(v.target, Target::Body { .. })) {
            choice[variable.axis] = bodies[variable.axis];
        }
        choice
    }

    /// The space with the bodies of `choice` as the drawn ones.
    ///
    /// # Errors
    /// What is wrong with the bodies so drawn.
    pub(super) fn at_bodies(&self, choice: &[usize]) -> Result<Space, Problems> {
        let mut changes = Vec::new();
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Body { body, part }, Value::Body(change)) = (&variable.target, value) {
                changes.push((body.as_str(), *part, change.clone()));
            }
        }
        let build = self.build.with_body_parts(&changes)?;
        Ok(Space { build, bodies_of: Some(choice.to_vec()), ..self.clone() })
    }

    /// The part of `choice` on which the feet and the materials of bodies depend.
    pub(super) fn carried_key(&self, choice: &[usize]) -> Vec<usize> {
        let feet = self.variables.iter().filter(|v| matches!(v.target, Target::Foot { .. }));
        feet.map(|v| choice[v.axis]).chain(self.mix_key(choice)).collect()
    }

    /// The part of `choice` on which the mixes depend.
    pub(super) fn mix_key(&self, choice: &[usize]) -> Vec<usize> {
        let mixes = self.variables.iter().filter(|v| matches!(v.target, Target::Share { .. }));
        mixes.map(|v| choice[v.axis]).collect()
    }

    /// Parts and bond of a profile at `choice`.
    pub(super) fn profile(&self, profile: usize, choice: &[usize]) -> (Vec<Part>, Spread) {
        let own = &self.build.profiles[profile];
        let (mut parts, mut bond) = (own.geometry.parts().to_vec(), own.bond);
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            match (&variable.target, value) {
                (Target::Part { profiles, part, core: filled }, Value::Shape(shape, medium))
                    if profiles.contains(&profile) =>
                {
                    parts[*part].shape = shape.clone();
                    parts[*part].medium = medium.unwrap_or(parts[*part].medium);
                    if let (Some(filled), Some(inside)) = (filled, shape.hollow().map(|hollow| hollow.core)) {
                        parts[*filled].shape = inside;
                    }
                }
                (Target::At { profiles, part }, Value::At(at)) if profiles.contains(&profile) => {
                    parts[*part].at = *at;
                }
                (Target::Bond { profiles }, Value::Bond(value)) if profiles.contains(&profile) => {
                    bond = Spread::exact(*value);
                }
                _ => {}
            }
        }
        (parts, bond)
    }

    /// Why the profile cannot be built at `choice`.
    pub(super) fn refusal(&self, profile: usize, choice: &[usize]) -> Option<Refusal> {
        let (parts, _) = self.profile(profile, choice);
        gaps::refusal(&parts, &self.moulds[profile], &self.build.substances, &self.gaps)
    }

    /// True when a mix at `choice` has too little binder to fill its voids.
    pub(super) fn is_short(&self, choice: &[usize]) -> bool {
        self.variables.iter().any(|variable| match &variable.target {
            Target::Share { short, .. } => short[choice[variable.axis]],
            _ => false,
        })
    }

    /// The substances at `choice`.
    pub(super) fn substances(&self, choice: &[usize]) -> Vec<Substance> {
        let mut substances = self.build.substances.clone();
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Share { substance, .. }, Value::Share(share)) = (&variable.target, value)
                && let Substance::Mix(recipe) = &mut substances[*substance]
            {
                set_share(recipe, *share);
            }
        }
        substances
    }

    /// Sets the feet of `model` to those at `choice`; their loss stays as stated for `goal`.
    pub(super) fn set_feet(&self, goal: &Goal, model: &mut Model, choice: &[usize]) {
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Foot { foot }, Value::Foot(stiffness)) = (&variable.target, value)
                && let Some(known) = model.frame.feet.iter_mut().find(|f| f.name == *foot)
            {
                let spec = self.build.drawing.feet.get(foot);
                let loss = spec.map_or(0.0, |spec| spec.loss.at(goal.amplitude, &Draw::default()));
                known.stiffness = stiffness.map(|k| num_complex::Complex64::new(k, k * loss));
            }
        }
    }

    /// The build at `choice`.
    ///
    /// # Errors
    /// What is wrong with one of its sections, at its place.
    pub fn build_at(&self, choice: &[usize]) -> Result<Build, Problems> {
        let mut build = match self.has_bodies_of(choice) {
            true => self.build.clone(),
            false => self.at_bodies(choice)?.build,
        };
        build.substances = self.substances(choice);
        for p in 0..build.profiles.len() {
            let (parts, bond) = self.profile(p, choice);
            let profile = &mut build.profiles[p];
            if parts != profile.geometry.parts() {
                let geometry =
                    Geometry::new(parts).map_err(|fault: SectionFault| profile.spec.problem(&fault))?;
                profile.geometry = Arc::new(geometry);
            }
            profile.bond = bond;
        }
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Foot { foot }, Value::Foot(stiffness)) = (&variable.target, value)
                && let Some(spec) = build.drawing.feet.get(foot)
            {
                let mut spec = spec.clone();
                spec.stiffness = stiffness.map(Spread::exact);
                build.drawing.feet.insert(foot, spec);
            }
        }
        Ok(build)
    }

    /// Name and choice of each design variable at `choice`, in the order of the design.
    pub fn labels(&self, choice: &[usize]) -> Vec<(String, String)> {
        let label = |v: &Variable| (v.name.clone(), v.choices[choice[v.axis]].label.clone());
        self.variables.iter().map(label).collect()
    }

    /// The media at `choice`; `None` where one lacks a property.
    pub(super) fn media(&self, choice: &[usize]) -> Option<Vec<Medium>> {
        let draw = Draw::default();
        self.substances(choice).iter().map(|substance| substance.medium(&draw).ok()).collect()
    }

    /// Errors for positions that never fit, and for stock of which no size fits, at their place.
    fn check_positions(&self) -> Result<(), Problems> {
        let mut said = Vec::new();
        for variable in &self.variables {
            let (Target::Part { profiles, .. } | Target::At { profiles, .. }) = &variable.target else {
                continue;
            };
            for profile in profiles {
                let mut refused = Vec::new();
                for (i, choice) in variable.choices.iter().enumerate() {
                    match self.refused_everywhere(*profile, variable.axis, i) {
                        Some(refusal) => refused.push((choice, refusal)),
                        None if matches!(variable.target, Target::Part { .. }) => break,
                        None => {}
                    }
                }
                let all = refused.len() == variable.choices.len();
                let stated = matches!(variable.target, Target::At { .. });
                if let Some((choice, refusal)) = refused.first().filter(|_| all || stated) {
                    let section = &self.build.profiles[*profile].name;
                    let message = format!(
                        "{} in section \"{section}\": {}, whatever else is chosen",
                        choice.label,
                        refusal.words()
                    );
                    let help = "let it vary within the mould, or change [gaps]";
                    said.push(Problem::error(variable.place.clone(), message).with_help(help));
                }
            }
        }
        if said.is_empty() { Ok(()) } else { Err(said.into()) }
    }

    /// The reason why the first combination cannot be built, if `choice` on `axis` cannot be built in a
    /// profile with any choice on its other axes.
    fn refused_everywhere(&self, profile: usize, axis: usize, choice: usize) -> Option<Refusal> {
        let others: Vec<usize> = self.shaping[profile].iter().copied().filter(|a| *a != axis).collect();
        let all: usize = others.iter().map(|a| self.axes[*a]).product();
        // With so many combinations the check is left to the search itself.
        if all > MOST_CHECKED {
            return None;
        }
        let mut first = None;
        for mut number in 0..all {
            let mut at = vec![0; self.axes.len()];
            at[axis] = choice;
            for other in &others {
                at[*other] = number % self.axes[*other];
                number /= self.axes[*other];
            }
            let refusal = self.refusal(profile, &at)?;
            first = first.or(Some(refusal));
        }
        first
    }
}
