//! The design variables of a build: what each changes, its choices, and which change together.

use super::lengths::written;
use stillbed_design::{BodyPartChange, BodyPartPlace, Build, Choices, PartPlace, Substance, VarySpec};
use stillbed_input::document::Located;
use stillbed_input::problem::{Place, Problem, Problems, suggest};
use stillbed_input::quantity::{Draw, Kind, Spread, figures, show};
use stillbed_material::Recipe;
use stillbed_material::demand::{Demand, Filling, demand};
use stillbed_section::stock::Stock;
use stillbed_section::{Part, Shape};
use stillbed_solid::spec::{BodyPartSpec, PartForm};

/// One design variable.
#[derive(Debug, Clone)]
pub struct Variable {
    /// Its name in the design.
    pub name: String,
    /// Its place in the design.
    pub place: Place,
    /// Its choices.
    pub choices: Vec<Choice>,
    /// Index of its axis.
    pub axis: usize,
    /// What it changes.
    pub(super) target: Target,
}

/// One choice of a design variable.
#[derive(Debug, Clone)]
pub struct Choice {
    /// Name for the workshop: `60 x 40 x 3 mm, aluminium 6061-T6`.
    pub label: String,
    pub(super) value: Value,
}

/// What a design variable changes.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Target {
    /// Shape, and perhaps material, of a part of some profiles, and the shape of the part that fills it.
    Part {
        profiles: Vec<usize>,
        part: usize,
        core: Option<usize>,
    },
    /// Position of a part.
    At {
        profiles: Vec<usize>,
        part: usize,
    },
    /// Sizes, or the place, of a part of a body.
    Body {
        body: String,
        part: usize,
    },
    Bond {
        profiles: Vec<usize>,
    },
    /// Share of the binder in the mix with this index; by choice, whether it is too little to fill the voids.
    Share {
        substance: usize,
        short: Vec<bool>,
    },
    Foot {
        foot: String,
    },
}

/// The value of a choice.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// A shape, with a medium where that changes too.
    Shape(Shape, Option<usize>),
    At([f64; 2]),
    Body(BodyPartChange),
    Bond(f64),
    Share(f64),
    Foot([f64; 3]),
}

/// Sets the share of the binder in binder and aggregates of `recipe` to `share`, 0 to 1; the sum of both and
/// the proportions of the aggregates stay.
pub(super) fn set_share(recipe: &mut Recipe, share: f64) {
    let before = recipe.binder_share();
    recipe.binder.share = Spread::exact(recipe.binder.share.value * share / before);
    for aggregate in &mut recipe.aggregates {
        let own = &mut aggregate.ingredient.share;
        *own = Spread::exact(own.value * (1.0 - share) / (1.0 - before));
    }
}

/// True when the share `share` of binder leaves air between the grains that the recipe does not allow for.
fn leaves_voids(substance: &Substance, share: f64) -> bool {
    let Substance::Mix(recipe) = substance else { return false };
    let mut recipe = recipe.clone();
    set_share(&mut recipe, share);
    let short = |demand: Demand| demand.filling == Filling::Short;
    recipe.predicts_air() && demand(&recipe, &Draw::default()).is_ok_and(short)
}

/// Assigns axes to variables: one that goes `with` another shares its axis. Returns the length of each axis.
pub(super) fn axes(variables: &mut [Variable], stated: &[(&str, &VarySpec)]) -> Result<Vec<usize>, Problems> {
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
    if said.is_empty() { Ok(axes) } else { Err(said.into()) }
}

/// What a design variable changes, and its choices.
type Read = (Target, Vec<Choice>);

/// Reads `[vary.NAME]` for `build`.
pub(super) fn variable(build: &Build, stock: &Stock, name: &str, spec: &VarySpec) -> Result<Read, Problems> {
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
            let core = filled(build, &profiles, number, core).map_err(one)?;
            if said.is_empty() {
                Ok((Target::Part { profiles, part: number, core }, choices))
            } else {
                Err(said.into())
            }
        }
        Choices::Size { part, sizes: series, core } => {
            let (profiles, number) = found(build, part)?;
            let drawn = &build.profiles[profiles[0]].geometry.parts()[number].shape;
            let choice = |numbers: &Vec<f64>| {
                drawn
                    .resized(numbers)
                    .map(|shape| Choice { label: written(numbers, " x "), value: Value::Shape(shape, None) })
            };
            let choices: Option<Vec<Choice>> = series.iter().map(choice).collect();
            let choices = choices.ok_or_else(|| {
                let names: Vec<&str> = drawn.sizes().iter().map(|(name, _)| *name).collect();
                let message = format!("{} sizes do not fit the part", series[0].len());
                let help = match names.is_empty() {
                    true => "a polygon has no sizes: let another part vary".to_string(),
                    false => format!("it has {}", names.join(", ")),
                };
                one(Problem::error(spec.place.clone(), message).with_help(help))
            })?;
            if let (Some(place), None) = (core, drawn.hollow()) {
                let message = "core fills the inside of a tube or a pipe; this part has none";
                let problem = Problem::error(place.place.clone(), message);
                return Err(one(problem.with_help("leave core out")).into());
            }
            let core = filled(build, &profiles, number, core).map_err(one)?;
            Ok((Target::Part { profiles, part: number, core }, choices))
        }
        Choices::At { part, at } => {
            let (profiles, part) = found(build, part)?;
            let choice = |at: &[f64; 2]| Choice { label: written(at, ", "), value: Value::At(*at) };
            Ok((Target::At { profiles, part }, at.iter().map(choice).collect()))
        }
        Choices::BodySize { part, sizes: series } => {
            let (body, number, drawn) = body_part(build, part)?;
            let named = drawn.form.size_names();
            let choice = |numbers: &Vec<f64>| {
                (numbers.len() == named.len()).then(|| Choice {
                    label: written(numbers, " x "),
                    value: Value::Body(BodyPartChange::Sizes(numbers.clone())),
                })
            };
            let choices: Option<Vec<Choice>> = series.iter().map(choice).collect();
            let choices = choices.filter(|_| !named.is_empty()).ok_or_else(|| {
                let message = format!("{} sizes do not fit the part", series[0].len());
                let help = match named.is_empty() {
                    true => "an outline and a file have no sizes: let another part vary".to_string(),
                    false => format!("it has {}", named.join(", ")),
                };
                one(Problem::error(spec.place.clone(), message).with_help(help))
            })?;
            Ok((Target::Body { body, part: number }, choices))
        }
        Choices::BodyAt { part, at } => {
            let (body, number, drawn) = body_part(build, part)?;
            if matches!(drawn.form, PartForm::Bar(_)) {
                let problem =
                    Problem::error(spec.place.clone(), "a bar lies between its ends, not at a place");
                return Err(one(problem.with_help("let a box or a cylinder move")).into());
            }
            let choice = |at: &[f64; 3]| Choice {
                label: written(at, ", "),
                value: Value::Body(BodyPartChange::At(*at)),
            };
            Ok((Target::Body { body, part: number }, at.iter().map(choice).collect()))
        }
        Choices::Bond { sections, bonds } => {
            let profiles = named(build, sections)?;
            let choice = |b: &f64| Choice { label: figures(*b, 3), value: Value::Bond(*b) };
            Ok((Target::Bond { profiles }, bonds.iter().map(choice).collect()))
        }
        Choices::Share { mix, shares, unfilled } => {
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
            let short = |s: &f64| !unfilled && leaves_voids(&build.substances[substance], *s);
            let short = shares.iter().map(short).collect();
            Ok((Target::Share { substance, short }, shares.iter().map(choice).collect()))
        }
        Choices::Foot { foot, stiffness } => {
            if build.drawing.feet.get(&foot.value).is_some_and(|known| known.seat.is_some()) {
                let message =
                    format!("the stiffness of feet \"{}\" follows from what is stated of them", foot.value);
                let help = "state their stiffness to let it vary";
                return Err(one(Problem::error(foot.place.clone(), message).with_help(help)).into());
            }
            if build.drawing.feet.get(&foot.value).is_none() {
                let message = format!(
                    "build \"{}\" has no feet \"{}\", which vary.{name} names",
                    build.name, foot.value
                );
                let help = suggest(&foot.value, build.drawing.feet.iter().map(|(name, _)| name));
                return Err(one(Problem::error(foot.place.clone(), message).with_help(help)).into());
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

fn named(build: &Build, sections: &[Located<String>]) -> Result<Vec<usize>, Problems> {
    let find = |name: &Located<String>| {
        build.profiles.iter().position(|p| p.name == name.value).ok_or_else(|| {
            let message = format!("build \"{}\" has no section \"{}\"", build.name, name.value);
            let help = suggest(&name.value, build.profiles.iter().map(|p| p.name.as_str()));
            Problems::from(Problem::error(name.place.clone(), message).with_help(help))
        })
    };
    sections.iter().map(find).collect()
}

fn found(build: &Build, place: &PartPlace) -> Result<(Vec<usize>, usize), Problems> {
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
            return Err(Problems::from(Problem::error(place.part.place.clone(), message).with_help(help)));
        }
    }
    if profiles.is_empty() {
        let problem = Problem::error(place.part.place.clone(), "no section is named");
        return Err(Problems::from(problem.with_help("name a section of the build")));
    }
    Ok((profiles, number))
}

/// The body of a part, its number from 0, and the part as drawn.
fn body_part<'b>(
    build: &'b Build,
    place: &BodyPartPlace,
) -> Result<(String, usize, &'b BodyPartSpec), Problems> {
    let bodies = &build.drawing.bodies;
    let name = &place.body.value;
    let body = bodies.get(name).ok_or_else(|| {
        let message = format!("build \"{}\" has no body \"{name}\"", build.name);
        let help = suggest(name, bodies.iter().map(|(name, _)| name));
        Problems::from(Problem::error(place.body.place.clone(), message).with_help(help))
    })?;
    let number = place.part.value - 1;
    let part = body.parts.get(number).ok_or_else(|| {
        let count = body.parts.len();
        let parts = if count == 1 { "part" } else { "parts" };
        let message = format!("part {} of body \"{name}\", which has {count} {parts}", number + 1);
        let help = "parts count from 1, in the order of the body";
        Problems::from(Problem::error(place.part.place.clone(), message).with_help(help))
    })?;
    Ok((name.clone(), number, part))
}

/// The index of the part that fills part `number`, where one is stated.
fn filled(
    build: &Build,
    profiles: &[usize],
    number: usize,
    core: &Option<Located<usize>>,
) -> Result<Option<usize>, Problem> {
    let Some(core) = core else { return Ok(None) };
    let least = profiles.iter().map(|p| build.profiles[*p].geometry.parts().len()).min().unwrap_or(0);
    let inside = core.value - 1;
    if inside >= least || inside >= number {
        let message = format!("core {}: the part that fills the tube stands before it", core.value);
        return Err(Problem::error(core.place.clone(), message)
            .with_help("parts count from 1; later ones displace earlier ones"));
    }
    Ok(Some(inside))
}
