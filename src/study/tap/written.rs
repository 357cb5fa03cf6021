//! Writes the change that explains a record into the text of the design, which otherwise stays as it was.

use super::amplitude::Ends;
use super::parameter::{LOSSES, MODULI, ModelParameter, ParameterTarget};
use stillbed_design::edit::{editable, new, own, set};
use stillbed_design::{Build, Substance};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Draw, Spread, figures};
use stillbed_material::Property;
use toml_edit::{InlineTable, Item, TableLike, Value};

/// `text`, the design read from `file`, with `parameter` of `build` multiplied by `factor`; the limits of the
/// factor become those of the value. A loss with `ends` is written at both amplitudes.
///
/// # Errors
/// A place in the text that is not where the design says.
pub fn write(
    file: &str,
    text: &str,
    build: &Build,
    parameter: &ModelParameter,
    factor: &Spread,
    ends: Option<&Ends>,
) -> Result<String, Problem> {
    let lost = || {
        let message = format!("{} cannot be found in the text of the design", parameter.uncertain.name);
        Problem::error(Place::file(file), message).with_help("write the change by hand")
    };
    let mut document = editable(file, text)?;
    let name = &build.name;
    let drawing = &build.drawing;
    match &parameter.of {
        ParameterTarget::FootStiffness(foot) | ParameterTarget::FootLoss(foot) => {
            let spec = drawing.feet.get(foot).ok_or_else(lost)?;
            let table = own(&mut document, name, "feet", foot).ok_or_else(lost)?;
            if matches!(parameter.of, ParameterTarget::FootLoss(_)) {
                set(table, "loss", loss(spec.loss.largest(), factor, ends));
            } else if let Some(seat) = &spec.seat {
                set(
                    table,
                    "factor",
                    plain(seat.spec.factor.map_or(1.0, |known| known.value), factor, 1000.0),
                );
            } else {
                let may_change = |springs: &[Spread]| springs.iter().any(|spring| !spring.stated_exact);
                if may_change(&spec.stiffness) {
                    set(table, "stiffness", list(&spec.stiffness, factor, "N/um", 1e6));
                }
                if let Some(turning) = spec.turning.as_ref().filter(|springs| may_change(*springs)) {
                    set(table, "turning", list(turning, factor, "N m/rad", 1.0));
                }
            }
        }
        ParameterTarget::JointStiffness(joint) | ParameterTarget::JointLoss(joint) => {
            let spec = drawing.joints.get(joint).ok_or_else(lost)?;
            let table = own(&mut document, name, "joints", joint).ok_or_else(lost)?;
            if matches!(parameter.of, ParameterTarget::JointLoss(_)) {
                set(table, "loss", loss(spec.loss.largest(), factor, ends));
            } else if let Some(seat) = &spec.seat {
                set(
                    table,
                    "factor",
                    plain(seat.spec.factor.map_or(1.0, |known| known.value), factor, 1000.0),
                );
            } else {
                let springs =
                    table.get_mut("stiffness").and_then(Item::as_table_like_mut).ok_or_else(lost)?;
                for (i, spring) in spec.stiffness.iter().enumerate() {
                    let Some(spring) = spring.as_ref().filter(|spring| !spring.stated_exact) else {
                        continue;
                    };
                    let (unit, per) = if i < 3 { ("N/um", 1e6) } else { ("kN m/rad", 1e3) };
                    let value = list(std::slice::from_ref(spring), factor, unit, per);
                    set(springs, stillbed_frame::spec::DOF_NAMES[i], value);
                }
            }
        }
        ParameterTarget::Bond(profiles) => {
            for profile in profiles {
                let profile = &build.profiles[*profile];
                let table = own(&mut document, name, "sections", &profile.name).ok_or_else(lost)?;
                set(table, "bond", plain(profile.bond.value, factor, 1.0));
            }
        }
        ParameterTarget::Modulus(place) | ParameterTarget::Loss(place) => {
            let substance = &build.substances[*place];
            let modulus = matches!(parameter.of, ParameterTarget::Modulus(_));
            match substance {
                Substance::Mix(recipe) => {
                    let medium = substance
                        .medium(&Draw::default())
                        .map_err(|missing| missing.at(Place::file(file)))?;
                    let table = own(&mut document, name, "mixes", &recipe.name).ok_or_else(lost)?;
                    if table.get("measured").is_none() {
                        table.insert("measured", Item::Value(InlineTable::new().into()));
                    }
                    let measured =
                        table.get_mut("measured").and_then(Item::as_table_like_mut).ok_or_else(lost)?;
                    let e = medium.youngs_modulus;
                    match modulus {
                        true => set(measured, "youngs_modulus", list(&[e.re.into()], factor, "GPa", 1e9)),
                        false => set(measured, "loss_factor", plain(e.im / e.re, factor, f64::INFINITY)),
                    }
                }
                Substance::Material(material) => {
                    let known = own(&mut document, name, "materials", &material.name).is_some();
                    let table = match known {
                        true => own(&mut document, name, "materials", &material.name),
                        false => new(&mut document, name, "materials", &material.name),
                    };
                    let table = table.ok_or_else(lost)?;
                    for property in if modulus { MODULI } else { LOSSES } {
                        if let Some(figure) = material.figure(property) {
                            state(table, property, figure.spread.value, factor);
                        }
                    }
                }
            }
        }
        ParameterTarget::Mass(mass) => {
            let spec = drawing.masses.get(mass).ok_or_else(lost)?;
            let table = own(&mut document, name, "masses", mass).ok_or_else(lost)?;
            set(table, "mass", list(&[spec.mass], factor, "kg", 1.0));
        }
    }
    Ok(document.to_string())
}

/// The loss factor of a joint or a foot, at two amplitudes where these are known.
fn loss(value: f64, factor: &Spread, ends: Option<&Ends>) -> Value {
    let Some(ends) = ends else { return plain(value, factor, f64::INFINITY) };
    let at = |(amplitude, factor): &(f64, f64)| {
        format!("{} at {} um", figures(value * factor, 3), figures(amplitude * 1e6, 3))
    };
    ends.iter().map(at).collect::<toml_edit::Array>().into()
}

fn state(table: &mut dyn TableLike, property: Property, value: f64, factor: &Spread) {
    let value = match MODULI.contains(&property) {
        true => list(&[value.into()], factor, "GPa", 1e9),
        false => plain(value, factor, f64::INFINITY),
    };
    set(table, property.name(), value);
}

/// `{ value, low, high }` with `text` applied to the value and both limits of `factor`.
fn spread(factor: &Spread, text: impl Fn(f64) -> Value) -> Value {
    let mut table = InlineTable::new();
    for (key, factor) in [("value", factor.value), ("low", factor.low), ("high", factor.high)] {
        table.insert(key, text(factor));
    }
    Value::InlineTable(table)
}

/// A ratio, at most `most`.
fn plain(value: f64, factor: &Spread, most: f64) -> Value {
    spread(factor, |factor| {
        let text = figures((value * factor).min(most), 4);
        text.parse::<f64>().unwrap_or(value * factor).into()
    })
}

/// Quantities in `unit`, one of which is `per` in SI.
fn list(values: &[Spread], factor: &Spread, unit: &str, per: f64) -> Value {
    spread(factor, |factor| {
        let numbers: Vec<String> = values.iter().map(|v| figures(v.value * factor / per, 5)).collect();
        format!("{} {unit}", numbers.join(", ")).into()
    })
}
