//! Everything that may be chosen: varied things, their choices, what moves together, and a build
//! with given choices.

use super::gaps::{self, Refusal};
use super::shape::{core, resized, sizes, written};
use crate::design::{Build, Choices, Gaps, Goal, Model, PartPlace, Substance, VarySpec};
use crate::document::Located;
use crate::material::Medium;
use crate::problem::{Place, Problem, suggest};
use crate::quantity::{Draw, Kind, Spread, figures, show};
use crate::section::stock::Stock;
use crate::section::{Geometry, Part, SectionFault, Shape};
use std::sync::Arc;

/// Combinations of one section up to which a choice that never fits is told before the search.
const MOST_CHECKED: usize = 20_000;

/// One varied thing.
#[derive(Debug, Clone)]
pub struct Variable {
    /// Its name in the design.
    pub name: String,
    /// Where it is stated.
    pub place: Place,
    /// Its choices.
    pub choices: Vec<Choice>,
    /// The number of the axis along which it goes.
    pub axis: usize,
    /// What it changes, and where.
    pub(super) target: Target,
}

/// One choice of a varied thing.
#[derive(Debug, Clone)]
pub struct Choice {
    /// In words of the shop: `60 x 40 x 3 mm, aluminium 6061-T6`.
    pub label: String,
    pub(super) value: Value,
}

/// What a varied thing changes.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Target {
    /// Shape and perhaps material of a part of some profiles, and of the part that fills it.
    Part {
        profiles: Vec<usize>,
        part: usize,
        core: Option<usize>,
    },
    /// Where a part lies.
    At {
        profiles: Vec<usize>,
        part: usize,
    },
    Bond {
        profiles: Vec<usize>,
    },
    /// Index of the mix among the substances.
    Share {
        substance: usize,
    },
    Foot {
        foot: String,
    },
}

/// What it becomes.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// A shape; with a medium where that changes too.
    Shape(Shape, Option<usize>),
    At([f64; 2]),
    Bond(f64),
    Share(f64),
    Foot([f64; 3]),
}

/// All that may be chosen in one build.
#[derive(Debug, Clone)]
pub struct Space {
    /// As drawn.
    pub build: Build,
    /// The varied things, in the order of the design.
    pub variables: Vec<Variable>,
    /// How many choices each axis has. What moves together shares an axis.
    pub axes: Vec<usize>,
    gaps: Gaps,
    /// By profile and part, the fill part that it is cast in.
    moulds: Vec<Vec<Option<usize>>>,
    /// By profile, the axes that change its shapes, and all that change it.
    shaping: Vec<Vec<usize>>,
    touching: Vec<Vec<usize>>,
}

impl Space {
    /// What `[vary]` lets vary in `build`, with sizes of `stock`.
    ///
    /// # Errors
    /// Everything that keeps it from being searched, at its place.
    pub fn new(build: &Build, goal: &Goal, stock: &Stock) -> Result<Space, Vec<Problem>> {
        let mut said = Vec::new();
        let mut variables = Vec::new();
        let stated: Vec<(&str, &VarySpec)> = build.drawing.vary.iter().collect();
        if stated.is_empty() {
            let message = format!("nothing may vary in build \"{}\"", build.name);
            let help = "add [vary.NAME] with section, part and stock = \"square tube, structural steel\"";
            return Err(vec![Problem::error(build.place.clone(), message).with_help(help)]);
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
            return Err(said);
        }
        let axes = axes(&mut variables, &stated)?;
        let parts = |profile: &crate::design::Profile| profile.geometry.parts().to_vec();
        let moulds = build.profiles.iter().map(|p| gaps::moulds(&parts(p), &build.substances)).collect();
        let mut space = Space {
            build: build.clone(),
            variables,
            axes,
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

    /// How many choices there are in all.
    pub fn count(&self) -> u128 {
        self.axes.iter().map(|n| *n as u128).product()
    }

    /// True when `variable` changes profile `profile`: its shapes, or with `all` anything of it.
    fn touches(&self, variable: &Variable, profile: usize, all: bool) -> bool {
        match &variable.target {
            Target::Part { profiles, .. } | Target::At { profiles, .. } => profiles.contains(&profile),
            Target::Bond { profiles } => all && profiles.contains(&profile),
            Target::Share { substance } => {
                let parts = self.build.profiles[profile].geometry.parts();
                all && parts.iter().any(|part| part.medium == *substance)
            }
            Target::Foot { .. } => false,
        }
    }

    /// The part of `choice` that decides the shapes of a profile; with `all`, that decides it.
    pub(super) fn key(&self, profile: usize, choice: &[usize], all: bool) -> Vec<usize> {
        let axes = if all { &self.touching[profile] } else { &self.shaping[profile] };
        axes.iter().map(|axis| choice[*axis]).collect()
    }

    /// The part of `choice` that decides the feet.
    pub(super) fn feet_key(&self, choice: &[usize]) -> Vec<usize> {
        let feet = self.variables.iter().filter(|v| matches!(v.target, Target::Foot { .. }));
        feet.map(|v| choice[v.axis]).collect()
    }

    /// The part of `choice` that decides the mixes.
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
                    if let (Some(filled), Some(inside)) = (filled, core(shape)) {
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

    /// Why the profile cannot be so at `choice`.
    pub(super) fn refusal(&self, profile: usize, choice: &[usize]) -> Option<Refusal> {
        let (parts, _) = self.profile(profile, choice);
        gaps::refusal(&parts, &self.moulds[profile], &self.build.substances, &self.gaps)
    }

    /// What the substances are at `choice`.
    pub(super) fn substances(&self, choice: &[usize]) -> Vec<Substance> {
        let mut substances = self.build.substances.clone();
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Share { substance }, Value::Share(share)) = (&variable.target, value)
                && let Substance::Mix(recipe) = &mut substances[*substance]
            {
                let rest: f64 = recipe.aggregates.iter().map(|a| a.ingredient.share.value).sum();
                recipe.binder.share = Spread::exact(rest * share / (1.0 - share));
            }
        }
        substances
    }

    /// The feet of `model` at `choice`; their loss stays as it is stated.
    pub(super) fn set_feet(&self, model: &mut Model, choice: &[usize]) {
        for variable in &self.variables {
            let value = &variable.choices[choice[variable.axis]].value;
            if let (Target::Foot { foot }, Value::Foot(stiffness)) = (&variable.target, value)
                && let Some(known) = model.frame.feet.iter_mut().find(|f| f.name == *foot)
            {
                let loss = self.build.drawing.feet.get(foot).map_or(0.0, |spec| spec.loss.value);
                known.stiffness = stiffness.map(|k| num_complex::Complex64::new(k, k * loss));
            }
        }
    }

    /// The build at `choice`.
    ///
    /// # Errors
    /// What is wrong with one of its sections, at its place.
    pub fn build_at(&self, choice: &[usize]) -> Result<Build, Problem> {
        let mut build = self.build.clone();
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

    /// What each varied thing is at `choice`, in the order of the design.
    pub fn labels(&self, choice: &[usize]) -> Vec<(String, String)> {
        let label = |v: &Variable| (v.name.clone(), v.choices[choice[v.axis]].label.clone());
        self.variables.iter().map(label).collect()
    }

    /// Media at `choice`.
    pub(super) fn media(&self, choice: &[usize]) -> Option<Vec<Medium>> {
        let draw = Draw::default();
        self.substances(choice).iter().map(|substance| substance.medium(&draw).ok()).collect()
    }

    /// Positions and stocks of which no choice fits, at their place.
    fn check_positions(&self) -> Result<(), Vec<Problem>> {
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
        if said.is_empty() { Ok(()) } else { Err(said) }
    }

    /// The refusal of the first combination, when `choice` on `axis` is refused in a profile with
    /// every choice on its other axes.
    fn refused_everywhere(&self, profile: usize, axis: usize, choice: usize) -> Option<Refusal> {
        let others: Vec<usize> = self.shaping[profile].iter().copied().filter(|a| *a != axis).collect();
        let all: usize = others.iter().map(|a| self.axes[*a]).product();
        // So many are not gone through before the search has begun: it tells them apart itself.
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

/// Puts variables on axes: what goes `with` another shares its axis. Returns their lengths.
fn axes(variables: &mut [Variable], stated: &[(&str, &VarySpec)]) -> Result<Vec<usize>, Vec<Problem>> {
    let mut said = Vec::new();
    let mut axes = Vec::new();
    let names: Vec<String> = variables.iter().map(|v| v.name.clone()).collect();
    let leader = |i: usize| -> Result<usize, Problem> {
        let mut at = i;
        for _ in 0..=names.len() {
            let Some(with) = &stated[at].1.with else { return Ok(at) };
            match names.iter().position(|name| *name == with.value) {
                Some(next) if next != at => at = next,
                Some(_) => {
                    let message = format!("\"{}\" goes with itself", with.value);
                    return Err(Problem::error(with.place.clone(), message).with_help("name another one"));
                }
                None => {
                    let message = format!("nothing called \"{}\" varies here", with.value);
                    let help = suggest(&with.value, names.iter().map(String::as_str));
                    return Err(Problem::error(with.place.clone(), message).with_help(help));
                }
            }
        }
        let place = stated[i].1.place.clone();
        Err(Problem::error(place, "it goes with another that goes with it in turn")
            .with_help("let one of them lead"))
    };
    let mut number = vec![usize::MAX; names.len()];
    for i in 0..names.len() {
        match leader(i) {
            Ok(first) => {
                if number[first] == usize::MAX {
                    number[first] = axes.len();
                    axes.push(variables[first].choices.len());
                }
                variables[i].axis = number[first];
                let (own, asked) = (variables[i].choices.len(), variables[first].choices.len());
                if own != asked {
                    let message =
                        format!("{own} choices, but \"{}\", with which it goes, has {asked}", names[first]);
                    let help = "give both the same number of choices";
                    said.push(Problem::error(variables[i].place.clone(), message).with_help(help));
                }
            }
            Err(problem) if said.contains(&problem) => {}
            Err(problem) => said.push(problem),
        }
    }
    if said.is_empty() { Ok(axes) } else { Err(said) }
}

type Read = (Target, Vec<Choice>);

fn variable(build: &Build, stock: &Stock, name: &str, spec: &VarySpec) -> Result<Read, Vec<Problem>> {
    let one = |problem: Problem| vec![problem];
    match &spec.choices {
        Choices::Stock { part, racks, upright, core } => {
            let (profiles, number) = found(build, part)?;
            let drawn = &build.profiles[profiles[0]].geometry.parts()[number].shape;
            let across = drawn_extent(drawn);
            let upright = upright.unwrap_or(across[1] > across[0] * (1.0 + 1e-9));
            let mut choices = Vec::new();
            let mut said = Vec::new();
            for rack in racks {
                let medium = build.substances.iter().position(|s| s.name() == rack.of.value);
                match stock.find(&rack.form, &rack.of.value) {
                    Ok(sizes) => choices.extend(sizes.iter().map(|size| Choice {
                        label: format!("{}, {}", size.size, rack.of.value),
                        value: Value::Shape(size.shape(upright, across[usize::from(upright)]), medium),
                    })),
                    Err((message, help)) => {
                        said.push(Problem::error(rack.of.place.clone(), message).with_help(help));
                    }
                }
            }
            let core = match core {
                Some(core) => Some(filled(build, &profiles, number, core).map_err(one)?),
                None => None,
            };
            if said.is_empty() {
                Ok((Target::Part { profiles, part: number, core }, choices))
            } else {
                Err(said)
            }
        }
        Choices::Size { part, sizes: series } => {
            let (profiles, number) = found(build, part)?;
            let drawn = &build.profiles[profiles[0]].geometry.parts()[number].shape;
            let choice = |numbers: &Vec<f64>| {
                resized(drawn, numbers)
                    .map(|shape| Choice { label: written(numbers, " x "), value: Value::Shape(shape, None) })
            };
            let choices: Option<Vec<Choice>> = series.iter().map(choice).collect();
            let choices = choices.ok_or_else(|| {
                let names: Vec<&str> = sizes(drawn).iter().map(|(name, _)| *name).collect();
                let message = format!("{} sizes do not fit the part", series[0].len());
                let help = match names.is_empty() {
                    true => "a polygon has no sizes: let another part vary".to_string(),
                    false => format!("it has {}", names.join(", ")),
                };
                one(Problem::error(spec.place.clone(), message).with_help(help))
            })?;
            Ok((Target::Part { profiles, part: number, core: None }, choices))
        }
        Choices::At { part, at } => {
            let (profiles, part) = found(build, part)?;
            let choice = |at: &[f64; 2]| Choice { label: written(at, ", "), value: Value::At(*at) };
            Ok((Target::At { profiles, part }, at.iter().map(choice).collect()))
        }
        Choices::Bond { sections, bonds } => {
            let profiles = named(build, sections)?;
            let choice = |b: &f64| Choice { label: figures(*b, 3), value: Value::Bond(*b) };
            Ok((Target::Bond { profiles }, bonds.iter().map(choice).collect()))
        }
        Choices::Share { mix, shares } => {
            let is_mix = |s: &Substance| matches!(s, Substance::Mix(_)) && s.name() == mix.value;
            let substance = build.substances.iter().position(is_mix).ok_or_else(|| {
                let known = build.substances.iter().filter(|s| matches!(s, Substance::Mix(_)));
                let message = format!("build \"{}\" holds no mix \"{}\"", build.name, mix.value);
                let help = suggest(&mix.value, known.map(Substance::name));
                one(Problem::error(mix.place.clone(), message).with_help(help))
            })?;
            let choice = |s: &f64| {
                let label = format!("{} % binder", figures(100.0 * s, 3));
                Choice { label, value: Value::Share(*s) }
            };
            Ok((Target::Share { substance }, shares.iter().map(choice).collect()))
        }
        Choices::Foot { foot, stiffness } => {
            if build.drawing.feet.get(&foot.value).is_none() {
                let message = format!(
                    "build \"{}\" has no feet \"{}\", which vary.{name} names",
                    build.name, foot.value
                );
                let help = suggest(&foot.value, build.drawing.feet.iter().map(|(name, _)| name));
                return Err(one(Problem::error(foot.place.clone(), message).with_help(help)));
            }
            let choice = |k: &[f64; 3]| {
                let label = k.map(|k| show(k, Kind::Stiffness)).join(", ");
                Choice { label, value: Value::Foot(*k) }
            };
            Ok((Target::Foot { foot: foot.value.clone() }, stiffness.iter().map(choice).collect()))
        }
    }
}

/// Width and height of a drawn shape, m.
fn drawn_extent(shape: &Shape) -> [f64; 2] {
    let ring = Part::new(shape.clone(), 0).rings().swap_remove(0);
    [0, 1].map(|axis| {
        let low = ring.iter().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
        ring.iter().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max) - low
    })
}

fn named(build: &Build, sections: &[Located<String>]) -> Result<Vec<usize>, Vec<Problem>> {
    let find = |name: &Located<String>| {
        build.profiles.iter().position(|p| p.name == name.value).ok_or_else(|| {
            let message = format!("build \"{}\" has no section \"{}\"", build.name, name.value);
            let help = suggest(&name.value, build.profiles.iter().map(|p| p.name.as_str()));
            vec![Problem::error(name.place.clone(), message).with_help(help)]
        })
    };
    sections.iter().map(find).collect()
}

fn found(build: &Build, place: &PartPlace) -> Result<(Vec<usize>, usize), Vec<Problem>> {
    let profiles = named(build, &place.sections)?;
    let number = place.part.value - 1;
    for profile in &profiles {
        let profile = &build.profiles[*profile];
        let count = profile.geometry.parts().len();
        if number >= count {
            let parts = if count == 1 { "part" } else { "parts" };
            let message =
                format!("part {} of section \"{}\", which has {count} {parts}", number + 1, profile.name);
            let help = "parts count from 1, in the order of the section";
            return Err(vec![Problem::error(place.part.place.clone(), message).with_help(help)]);
        }
    }
    if profiles.is_empty() {
        let problem = Problem::error(place.part.place.clone(), "no section is named");
        return Err(vec![problem.with_help("name a section of the build")]);
    }
    Ok((profiles, number))
}

/// The number of the part that fills part `number`.
fn filled(build: &Build, profiles: &[usize], number: usize, core: &Located<usize>) -> Result<usize, Problem> {
    let least = profiles.iter().map(|p| build.profiles[*p].geometry.parts().len()).min().unwrap_or(0);
    let inside = core.value - 1;
    if inside >= least || inside >= number {
        let message = format!("core {}: the part that fills the tube stands before it", core.value);
        return Err(Problem::error(core.place.clone(), message)
            .with_help("parts count from 1; later ones displace earlier ones"));
    }
    Ok(inside)
}
