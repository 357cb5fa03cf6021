//! What a part is made of: a material of the table or the design, or a mix; and the places of
//! their uncertain values in a draw.

use super::drawing::Drawing;
use crate::document::{Located, Uncertain};
use crate::material::{Material, Medium, MissingProperty, Property, Role, Table};
use crate::problem::{Problem, suggest};
use crate::quantity::Draw;
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

/// What a part is made of.
#[derive(Debug, Clone)]
pub enum Substance {
    /// A material of the table or the design.
    Material(Material),
}

impl Substance {
    /// What `name` is in `drawing`; `None` where it could not be read, which has been said.
    ///
    /// # Errors
    /// What is wrong with it, at the places of the names.
    pub(super) fn find(
        name: &Located<String>,
        drawing: &Drawing,
        table: &Table,
        register: &mut Register,
    ) -> Result<Option<Substance>, Vec<Problem>> {
        let Some(found) = material(name, drawing, table).map_err(|problem| vec![problem])? else {
            return Ok(None);
        };
        let lacks: Vec<Problem> = found
            .lacks()
            .into_iter()
            .map(|property| MissingProperty { material: found.name.clone(), property }.at(name.place.clone()))
            .collect();
        if !lacks.is_empty() {
            return Err(lacks);
        }
        Ok(Some(Substance::Material(register.enter(found))))
    }

    /// Its name in the table or the design.
    pub fn name(&self) -> &str {
        match self {
            Substance::Material(material) => &material.name,
        }
    }

    /// What it is there for.
    pub fn role(&self) -> Role {
        match self {
            Substance::Material(material) => material.role,
        }
    }

    /// It as mechanics sees it, in `draw`.
    ///
    /// # Errors
    /// A property that it lacks.
    pub fn medium(&self, draw: &Draw) -> Result<Medium, MissingProperty> {
        match self {
            Substance::Material(material) => material.medium(draw),
        }
    }
}

/// The material called `name` as `drawing` and `table` have it together.
///
/// # Errors
/// The problem at the place of the name, with the nearest known one.
fn material(name: &Located<String>, drawing: &Drawing, table: &Table) -> Result<Option<Material>, Problem> {
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
