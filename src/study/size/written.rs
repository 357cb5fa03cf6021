//! Writes the chosen sizes into the text of the design, which otherwise stays as it was.
//!
//! A section, mix or foot that the build states itself is changed there. One that is common to all builds is
//! first copied into the build, so that the other builds stay as they are.

use super::lengths::written;
use super::space::Space;
use super::variable::{Target, Value};
use stillbed_design::BodyPartChange;
use stillbed_design::edit::{editable, on_item, own, set, things};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::figures;
use stillbed_section::{Shape, ShapeKind};
use toml_edit::{InlineTable, Item, TableLike, Value as Text};

/// `text`, the design read from `file`, with the choices of the build of `space` in it.
///
/// # Errors
/// A place in the text that is not where the design says.
pub fn write(file: &str, text: &str, space: &Space, choice: &[usize]) -> Result<String, Problem> {
    let lost = |what: &str| {
        Problem::error(Place::file(file), format!("{what} cannot be found in the text of the design"))
            .with_help("write the chosen sizes by hand")
    };
    let mut document = editable(file, text)?;
    let build = &space.build.name;
    for variable in &space.variables {
        let value = &variable.choices[choice[variable.axis]].value;
        match (&variable.target, value) {
            (Target::Part { profiles, part, core: filled }, Value::Shape(shape, medium)) => {
                for profile in profiles {
                    let section = &space.build.profiles[*profile].name;
                    let own = own(&mut document, build, "sections", section).ok_or_else(|| lost(section))?;
                    let of = medium.map(|medium| space.build.substances[medium].name().to_string());
                    on_part(own, *part, |table| reshape(table, shape, of.as_deref()))
                        .ok_or_else(|| lost(section))?;
                    if let (Some(filled), Some(inside)) = (filled, shape.hollow().map(|hollow| hollow.core)) {
                        on_part(own, *filled, |table| reshape(table, &inside, None))
                            .ok_or_else(|| lost(section))?;
                    }
                }
            }
            (Target::At { profiles, part }, Value::At(at)) => {
                for profile in profiles {
                    let section = &space.build.profiles[*profile].name;
                    let own = own(&mut document, build, "sections", section).ok_or_else(|| lost(section))?;
                    on_part(own, *part, |table| set(table, "at", written(at, ", ").into()))
                        .ok_or_else(|| lost(section))?;
                }
            }
            (Target::Body { body, part }, Value::Body(change)) => {
                let spec = space.build.drawing.bodies.get(body).and_then(|spec| spec.parts.get(*part));
                let (key, _) = spec.and_then(|spec| spec.form.sizes()).ok_or_else(|| lost(body))?;
                let own = own(&mut document, build, "bodies", body).ok_or_else(|| lost(body))?;
                on_part(own, *part, |table| match change {
                    BodyPartChange::Sizes(sizes) => set(table, key, written(sizes, " x ").into()),
                    BodyPartChange::At(at) => set(table, "at", written(at, ", ").into()),
                })
                .ok_or_else(|| lost(body))?;
            }
            (Target::Bond { profiles }, Value::Bond(bond)) => {
                for profile in profiles {
                    let section = &space.build.profiles[*profile].name;
                    let own = own(&mut document, build, "sections", section).ok_or_else(|| lost(section))?;
                    set(own, "bond", (*bond).into());
                }
            }
            (Target::Share { substance, .. }, Value::Share(_)) => {
                let substances = space.substances(choice);
                let stillbed_design::Substance::Mix(recipe) = &substances[*substance] else { continue };
                let own =
                    own(&mut document, build, "mixes", &recipe.name).ok_or_else(|| lost(&recipe.name))?;
                // Rounded to a millionth of the recipe's parts.
                let share = |value: f64| -> Text { ((value * 1e6).round() / 1e6).into() };
                let binder =
                    own.get_mut("binder").and_then(Item::as_table_like_mut).ok_or_else(|| lost("binder"))?;
                set(binder, "share", share(recipe.binder.share.value));
                for (i, aggregate) in recipe.aggregates.iter().enumerate() {
                    let value = share(aggregate.ingredient.share.value);
                    on_item(own, "aggregates", i, |table| set(table, "share", value))
                        .ok_or_else(|| lost("aggregates"))?;
                }
            }
            (Target::Foot { foot }, Value::Foot(stiffness)) => {
                let own = own(&mut document, build, "feet", foot).ok_or_else(|| lost(foot))?;
                let numbers = stiffness.map(|k| figures(k / 1e6, 9)).join(", ");
                set(own, "stiffness", format!("{numbers} N/um").into());
            }
            _ => {}
        }
    }
    let chosen = space
        .build_at(choice)
        .map_err(|problems| problems.first().cloned().unwrap_or_else(|| lost("the chosen build")))?;
    for ((name, before), (_, after)) in space.build.drawing.points.iter().zip(chosen.drawing.points.iter()) {
        if before.position != after.position {
            let places = things(&mut document, build, "points").ok_or_else(|| lost(name))?;
            set(places, name, written(&after.position, ", ").into());
        }
    }
    Ok(document.to_string())
}

/// Calls `act` on part `number` of a section.
fn on_part(section: &mut dyn TableLike, number: usize, act: impl FnOnce(&mut dyn TableLike)) -> Option<()> {
    on_item(section, "parts", number, act)
}

/// Replaces the shape of a part of a section, as the design states it, at the place of the old one, and its material
/// by `of` where one is given.
pub fn reshape(part: &mut dyn TableLike, shape: &Shape, of: Option<&str>) {
    let numbers: Vec<f64> = shape.sizes().iter().map(|(_, size)| *size).collect();
    if numbers.is_empty() {
        return;
    }
    let name = shape.key();
    let old = ShapeKind::ALL.iter().map(|kind| kind.key).find(|known| part.contains_key(known));
    if old == Some(name) {
        set(part, name, written(&numbers, " x ").into());
    } else {
        // The other entries follow the shape in their old order.
        let mut rest = InlineTable::new();
        let keys: Vec<String> = part.iter().map(|(key, _)| key.to_string()).collect();
        for key in keys.iter().filter(|key| ShapeKind::named(key).is_none()) {
            if let Some(Item::Value(value)) = part.remove(key) {
                rest.insert(key, value);
            }
        }
        if let Some(old) = old {
            part.remove(old);
        }
        part.insert(name, Item::Value(written(&numbers, " x ").into()));
        for (key, value) in rest {
            part.insert(&key, Item::Value(value));
        }
    }
    let radii = shape.radii();
    for key in ShapeKind::ALL.iter().flat_map(|kind| kind.radii) {
        match radii.iter().find_map(|(own, radius)| radius.filter(|_| own == key)) {
            Some(radius) => set(part, key, written(&[radius], "").into()),
            None => {
                part.remove(key);
            }
        }
    }
    if let Some(of) = of {
        set(part, "of", of.into());
    }
}
