//! What a part is made of: a material of the table or the design, or a mix; and the places of
//! their uncertain values in a draw.

use super::drawing::Drawing;
use crate::document::{Located, Uncertain};
use crate::material::{Material, Property, Table};
use crate::problem::{Problem, suggest};
use std::collections::BTreeMap;

/// Gives every uncertain value of the table its place in a draw, once for all builds.
pub(super) struct Register {
    /// Those that the file states, then those of the table that are used.
    pub uncertain: Vec<Uncertain>,
    places: BTreeMap<(String, Property), usize>,
}

impl Register {
    /// A register that starts with what the file states.
    pub fn new(uncertain: Vec<Uncertain>) -> Register {
        Register { uncertain, places: BTreeMap::new() }
    }

    /// `material` with its spreads registered.
    pub fn enter(&mut self, mut material: Material) -> Material {
        let name = material.name.clone();
        for (property, spread) in material.spreads_mut() {
            if spread.is_exact() || spread.index.is_some() {
                continue;
            }
            let next = self.uncertain.len();
            let index = *self.places.entry((name.clone(), property)).or_insert(next);
            spread.index = Some(index);
            if index == next {
                let key = format!("materials.\"{name}\".{}", property.name());
                self.uncertain.push(Uncertain::new(&key, *spread, property.kind()));
            }
        }
        material
    }
}

/// The material called `name` as `drawing` and `table` have it together.
///
/// # Errors
/// The problem at the place of the name, with the nearest known one.
pub(super) fn material(
    name: &Located<String>,
    drawing: &Drawing,
    table: &Table,
) -> Result<Option<Material>, Problem> {
    let known = table.get(&name.value);
    match drawing.materials.get(&name.value) {
        Some(spec) => Ok(Some(spec.over(known, &name.value))),
        None if known.is_some() => Ok(known.cloned()),
        None if drawing.materials.missing(&name.value).is_none() => Ok(None),
        None => {
            let own = drawing.materials.iter().map(|(name, _)| name);
            let mixes = drawing.mixes.iter().map(|(name, _)| name);
            let help = suggest(&name.value, own.chain(mixes).chain(table.names()));
            let message = format!("no material or mix \"{}\"", name.value);
            Err(Problem::error(name.place.clone(), message)
                .with_help(format!("{help}; stillbed materials lists them")))
        }
    }
}
