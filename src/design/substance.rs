//! What is a part made of? A material of the table or the design, or a mix; and the indices of their
//! uncertain values in a draw.

use super::drawing::Drawing;
use std::collections::BTreeMap;
use std::sync::Arc;
use stillbed_eigen::Patterns;
use stillbed_input::document::{Law, Located, Uncertain};
use stillbed_input::problem::{Problem, Problems, suggest};
use stillbed_input::quantity::{Draw, Kind, Spread, figures};
use stillbed_joint::Stuff;
use stillbed_material::demand::demand;
use stillbed_material::spec::AirSpec;
use stillbed_material::{Material, Medium, MissingProperty, Property, Recipe, Role, Table, predict};
use stillbed_section::{Geometry, Part, SectionFault};

/// Key of the flexibility of walls among the uncertain values.
const WALLS: &str = "walls";

/// Limits of the modulus and of the loss of a mix in a joint, over their values; common practice.
const MIX_MODULUS: [f64; 2] = [0.75, 1.3];
const MIX_LOSS: [f64; 2] = [0.5, 2.0];

/// What the builds of a design share: the index of every uncertain value in a draw, and sections that are
/// drawn alike, meshed once.
pub(super) struct Register {
    /// Those that the file states, then those of the materials used from the table.
    pub uncertain: Vec<Uncertain>,
    places: BTreeMap<(String, Property), usize>,
    geometries: Vec<Arc<Geometry>>,
    pub patterns: Patterns,
}

impl Register {
    /// A register that starts with what the file states.
    pub fn new(uncertain: Vec<Uncertain>) -> Register {
        Register { uncertain, places: BTreeMap::new(), geometries: Vec::new(), patterns: Patterns::default() }
    }

    /// How much softer or stiffer walls may be than they are computed, as a factor of their flexibility; drawn
    /// alike in all builds.
    pub fn enter_walls(&mut self) -> Spread {
        self.enter_factor(WALLS, Spread::between(1.0, 0.75, 1.3))
    }

    /// The positive ratio `spread` registered as `key`; drawn alike in all builds.
    pub fn enter_factor(&mut self, key: &str, spread: Spread) -> Spread {
        if spread.is_exact() {
            return spread;
        }
        let known = self.uncertain.iter().position(|quantity| quantity.key == key);
        let index = known.unwrap_or(self.uncertain.len());
        let spread = Spread { index: Some(index), ..spread };
        if known.is_none() {
            let (key, law) = (key.to_string(), Law::LogNormal);
            self.uncertain.push(Uncertain { key, spread, kind: Kind::Ratio, law });
        }
        spread
    }

    /// `recipe` with the spreads of its predicted values registered; those of mixes with the same name are
    /// drawn alike in all builds.
    pub fn enter_mix(&mut self, recipe: &mut Recipe) {
        let name = recipe.name.clone();
        let (air, moduli) = (recipe.predicts_air(), recipe.predicts_moduli());
        let predicted = [(air, &mut recipe.air_left, "air_left"), (moduli, &mut recipe.model, "model")];
        for (is_predicted, spread, what) in predicted {
            if !is_predicted {
                continue;
            }
            let key = format!("mixes.\"{name}\".{what}");
            let known = self.uncertain.iter().position(|quantity| quantity.key == key);
            spread.index = Some(known.unwrap_or(self.uncertain.len()));
            if known.is_none() {
                let law = Law::LogNormal;
                self.uncertain.push(Uncertain { key, spread: *spread, kind: Kind::Ratio, law });
            }
        }
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
    Material(Box<Material>),
    /// A fill given as a recipe.
    Mix(Box<Recipe>),
}

impl Substance {
    /// Its name in the table or the design.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Substance::Material(material) => &material.name,
            Substance::Mix(recipe) => &recipe.name,
        }
    }

    /// Its role in a section.
    #[must_use]
    pub fn role(&self) -> Role {
        match self {
            Substance::Material(material) => material.role,
            Substance::Mix(_) => Role::Fill,
        }
    }

    /// The substance as a medium for mechanics, in `draw`.
    ///
    /// # Errors
    /// A missing property.
    pub fn medium(&self, draw: &Draw) -> Result<Medium, MissingProperty> {
        match self {
            Substance::Material(material) => material.medium(draw),
            Substance::Mix(recipe) => Ok(predict(recipe, draw)?.medium()),
        }
    }
}

/// Where the substances of one build are looked up.
pub(super) struct Stores<'a> {
    drawing: &'a Drawing,
    /// The table with the design's own materials in it.
    table: Table,
    register: &'a mut Register,
}

impl<'a> Stores<'a> {
    /// The geometry of parts made of `substances` at their nominal values.
    ///
    /// # Errors
    /// What is wrong with the parts.
    pub fn geometry(
        &mut self,
        parts: Vec<Part>,
        substances: &[Substance],
    ) -> Result<Arc<Geometry>, SectionFault> {
        let stated = Draw::default();
        let media: Result<Vec<Medium>, _> = substances.iter().map(|s| s.medium(&stated)).collect();
        // A missing property is reported of the build.
        let Ok(media) = media else { return Geometry::new(parts).map(Arc::new) };
        let shared = self.register.geometries.iter().find_map(|known| known.shared(&parts, &media));
        if let Some(geometry) = shared {
            return Ok(Arc::new(geometry));
        }
        let geometry = Arc::new(Geometry::fitted(parts, &media)?);
        self.register.geometries.push(Arc::clone(&geometry));
        Ok(geometry)
    }

    /// The materials of `drawing` and of `table` together.
    pub fn new(drawing: &'a Drawing, table: &Table, register: &'a mut Register) -> Stores<'a> {
        let mut table = table.clone();
        for (name, spec) in drawing.materials.iter() {
            let material = spec.over(table.get(name), name);
            table.insert(material);
        }
        Stores { drawing, table, register }
    }

    /// The substance called `name`; `None` where it could not be read, which has been reported.
    ///
    /// # Errors
    /// What is wrong with it, at the places of the names.
    pub fn find(&mut self, name: &Located<String>) -> Result<Option<Substance>, Problems> {
        if let Some(spec) = self.drawing.mixes.get(&name.value) {
            for ingredient in spec.ingredients() {
                self.enter(&ingredient.of.value);
            }
            let mut recipe = Recipe::from_spec(&name.value, spec, &self.table)?;
            self.register.enter_mix(&mut recipe);
            let demand = demand(&recipe, &Draw::default())
                .map_err(|missing| Problems::from(missing.at(spec.place.clone())))?;
            if let AirSpec::Stated(air) = &recipe.air
                && air.value > demand.voids_poured
            {
                let percent = |x: f64| format!("{} %", figures(100.0 * x, 3));
                let message = format!(
                    "{} of air is more than the voids of its poured grains, {}: they would not touch",
                    percent(air.value),
                    percent(demand.voids_poured)
                );
                let problem = Problem::error(spec.air_place.clone(), message);
                return Err(Problems::from(problem.with_help("state less air, or write air = \"predict\"")));
            }
            return Ok(Some(Substance::Mix(Box::new(recipe))));
        }
        self.enter(&name.value);
        let Some(material) = self.table.get(&name.value) else {
            return self.absent(name).map_or(Ok(None), |problem| Err(Problems::from(problem)));
        };
        let lack =
            |property| MissingProperty { material: material.name.clone(), property }.at(name.place.clone());
        let lacks: Vec<Problem> = material.lacks().into_iter().map(lack).collect();
        if lacks.is_empty() {
            Ok(Some(Substance::Material(Box::new(material.clone()))))
        } else {
            Err(lacks.into())
        }
    }

    /// The number among `substances` of the one called `name`, which is added where it is not there yet; `None`
    /// where it cannot be used, which has been `said`.
    pub fn number(
        &mut self,
        name: &Located<String>,
        substances: &mut Vec<Substance>,
        said: &mut Vec<Problem>,
    ) -> Option<usize> {
        if let Some(known) = substances.iter().position(|substance| substance.name() == name.value) {
            return Some(known);
        }
        match self.find(name) {
            Ok(found) => {
                substances.push(found?);
                Some(substances.len() - 1)
            }
            Err(problems) => {
                said.extend(problems);
                None
            }
        }
    }

    /// As [`Register::enter_factor`].
    pub fn enter_factor(&mut self, key: &str, spread: Spread) -> Spread {
        self.register.enter_factor(key, spread)
    }

    /// A material or mix as the laws of joints need it; a material may be named by its first words. Its spreads count
    /// with those of the joint.
    ///
    /// # Errors
    /// What is wrong with it, at the place of its name.
    pub fn stuff(&mut self, name: &Located<String>) -> Result<Stuff, Problems> {
        let known: Vec<&str> = self.table.names().collect();
        let Some(material) = in_full(&name.value, &known).and_then(|name| self.table.get(name)) else {
            return match self.find(name)? {
                Some(substance) => {
                    let medium = substance.medium(&Draw::default());
                    let medium = medium.map_err(|missing| Problems::from(missing.at(name.place.clone())))?;
                    let e = medium.youngs_modulus;
                    let within =
                        |value: f64, [low, high]: [f64; 2]| Spread::between(value, low * value, high * value);
                    Ok(Stuff {
                        name: medium.name,
                        youngs_modulus: within(e.re, MIX_MODULUS),
                        poissons_ratio: medium.poissons_ratio,
                        loss: within(e.im / e.re, MIX_LOSS),
                    })
                }
                None => Err(Vec::<Problem>::new().into()),
            };
        };
        let figure = |property| {
            let found = material.figure(property).map(|figure| figure.spread);
            let lack =
                || MissingProperty { material: material.name.clone(), property }.at(name.place.clone());
            found.ok_or_else(|| Problems::from(lack()))
        };
        Ok(Stuff {
            name: material.name.clone(),
            youngs_modulus: figure(Property::YoungsModulus)?,
            poissons_ratio: figure(Property::PoissonsRatio)?.value,
            loss: figure(Property::LossFactor)?,
        })
    }

    /// Registers the spreads of a material that is used.
    fn enter(&mut self, name: &str) {
        if let Some(material) = self.table.get(name) {
            let entered = self.register.enter(material.clone());
            self.table.insert(entered);
        }
    }

    /// The problem of a name that does not exist; `None` where it was stated but could not be read.
    fn absent(&self, name: &Located<String>) -> Option<Problem> {
        self.drawing.materials.missing(&name.value)?;
        self.drawing.mixes.missing(&name.value)?;
        let mixes = self.drawing.mixes.iter().map(|(name, _)| name);
        let near = suggest(&name.value, mixes.chain(self.table.names()));
        let help = if near.starts_with("did you mean") {
            near
        } else {
            "stillbed materials lists what there is".to_string()
        };
        let message = format!("no material or mix \"{}\"", name.value);
        Some(Problem::error(name.place.clone(), message).with_help(help))
    }
}

/// The one of `known` that is called `name`, or else the first that begins with its words.
fn in_full<'k>(name: &str, known: &[&'k str]) -> Option<&'k str> {
    let begins = || known.iter().find(|known| known.starts_with(&format!("{name} ")));
    known.iter().find(|known| **known == name).or_else(begins).copied()
}
