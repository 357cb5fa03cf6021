//! The table of materials: the built-in one, overridden by tables of the user.

use super::entry::Material;
use super::medium::Role;
use super::property::Property;
use super::reader::{self, Statement};
use serde::Serialize;
use std::collections::BTreeMap;
use stillbed_input::problem::{Place, Problem, nearest, suggest};
use stillbed_input::quantity::Spread;

const FILE: &str = "data/materials.csv";
const BUILT_IN: &str = include_str!("../../data/materials.csv");

/// One value that a user's table changed or added.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Override {
    /// Which material.
    pub material: String,
    /// The property.
    pub property: Property,
    /// The earlier value, in SI; `None` if there was none.
    pub before: Option<Spread>,
    /// The new value, in SI.
    pub after: Spread,
    /// The file that states it.
    pub file: String,
    /// The line in that file.
    pub line: usize,
}

/// Materials in the order of their file.
///
/// ```
/// use stillbed_input::quantity::Draw;
/// use stillbed_material::{Property, Table};
///
/// let mut table = Table::built_in();
/// let said = table.overlay(
///     "own.csv",
///     "material,property,value,unit,source\nstructural steel,density,7800,kg/m3,memory\n",
/// );
/// assert!(said.is_empty(), "{said:?}");
/// let steel = table.get("structural steel").unwrap();
/// assert_eq!(steel.value(Property::Density, &Draw::default()), Some(7800.0));
/// assert_eq!(table.overrides().len(), 1);
/// ```
#[derive(Debug, Clone, Default)]
pub struct Table {
    materials: Vec<Material>,
    places: BTreeMap<String, usize>,
    overrides: Vec<Override>,
}

impl Table {
    /// The built-in table.
    pub fn built_in() -> Table {
        let mut table = Table::default();
        let (rows, _) = reader::read(FILE, BUILT_IN);
        for row in rows {
            table.entry(&row.material).state(row.statement);
        }
        table
    }

    /// Adds the rows of a user's table, overriding known values row by row.
    ///
    /// `text` is CSV with the columns of `data/materials.csv`; `file` is its name in messages. A new
    /// material has the role skeleton unless a row `role` says otherwise. Returns everything wrong or
    /// doubtful in the text; a row with an error changes nothing.
    pub fn overlay(&mut self, file: &str, text: &str) -> Vec<Problem> {
        let (rows, mut problems) = reader::read(file, text);
        let known: Vec<String> = self.names().map(str::to_string).collect();
        let mut added: Vec<(String, usize)> = Vec::new();
        for row in rows {
            if !self.places.contains_key(&row.material) {
                added.push((row.material.clone(), row.line));
            }
            let material = self.entry(&row.material);
            let before = match &row.statement {
                Statement::Figure(property, figure) => {
                    let before = material.figure(*property).map(|known| known.spread);
                    Some((*property, before, figure.spread))
                }
                _ => None,
            };
            material.state(row.statement);
            if let Some((property, before, after)) = before {
                let (material, file, line) = (row.material, file.to_string(), row.line);
                self.overrides.push(Override { material, property, before, after, file, line });
            }
        }
        for (name, line) in added {
            problems.extend(self.unfinished(file, &name, line, &known));
        }
        problems
    }

    /// A warning when a new material lacks properties for computing: often a misspelt name.
    fn unfinished(&self, file: &str, name: &str, line: usize, known: &[String]) -> Option<Problem> {
        let lacks = self.get(name)?.lacks();
        if lacks.is_empty() {
            return None;
        }
        let lacks: Vec<&str> = lacks.into_iter().map(Property::name).collect();
        let place = Place { line: Some(line), key: format!("{name}, material"), ..Place::file(file) };
        let message = format!("\"{name}\" is new to the table and lacks {}", lacks.join(", "));
        let help = match nearest(name, known.iter().map(String::as_str)) {
            Some(likely) => format!("did you mean \"{likely}\"? otherwise state them"),
            None => "a member cannot be made of it until they are stated".to_string(),
        };
        Some(Problem::warning(place, message).with_help(help))
    }

    /// Adds `material`, replacing one of the same name.
    pub fn insert(&mut self, material: Material) {
        match self.places.get(&material.name) {
            Some(place) => self.materials[*place] = material,
            None => {
                self.places.insert(material.name.clone(), self.materials.len());
                self.materials.push(material);
            }
        }
    }

    /// The material of that name.
    pub fn get(&self, name: &str) -> Option<&Material> {
        self.places.get(name).map(|place| &self.materials[*place])
    }

    /// The material of that name, mutable.
    pub fn get_mut(&mut self, name: &str) -> Option<&mut Material> {
        self.places.get(name).map(|place| &mut self.materials[*place])
    }

    /// The problem for a name that is not in the table, at `place`, with the nearest known name.
    pub fn absent(&self, name: &str, place: Place) -> Problem {
        Problem::error(place, format!("no material \"{name}\"")).with_help(suggest(name, self.names()))
    }

    /// Every name, in the order of the file.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.materials.iter().map(|material| material.name.as_str())
    }

    /// Every material, in the order of the file.
    pub fn materials(&self) -> &[Material] {
        &self.materials
    }

    /// All materials, mutable; their names must not be changed.
    pub fn materials_mut(&mut self) -> &mut [Material] {
        &mut self.materials
    }

    /// What users' tables changed or added, in the order of reading.
    pub fn overrides(&self) -> &[Override] {
        &self.overrides
    }

    fn entry(&mut self, name: &str) -> &mut Material {
        let place = *self.places.entry(name.to_string()).or_insert_with(|| {
            self.materials.push(Material::new(name, Role::Skeleton));
            self.materials.len() - 1
        });
        &mut self.materials[place]
    }
}

impl Material {
    fn state(&mut self, statement: Statement) {
        match statement {
            Statement::Role(role) => self.role = role,
            Statement::GrainShape(shape) => self.grain_shape = Some(shape),
            Statement::Figure(property, figure) => self.set(property, figure),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sources::{Sources, WITHOUT_SOURCE, keys_of};
    use super::*;
    use stillbed_input::quantity::Draw;

    const HEADER: &str = "material,property,value,unit,low,high,source,note\n";

    #[test]
    fn the_built_in_table_is_without_fault_or_doubt() {
        let (rows, problems) = reader::read(FILE, BUILT_IN);
        assert!(problems.is_empty(), "{problems:#?}");
        assert_eq!(rows.len(), BUILT_IN.lines().count() - 1);
        let table = Table::built_in();
        for material in table.materials() {
            assert!(material.lacks().is_empty(), "{}: {:?}", material.name, material.lacks());
            assert!(material.medium(&Draw::default()).is_ok());
        }
        for name in [
            "structural steel",
            "aluminium 6061-T6",
            "quartz sand",
            "epoxy, slow casting",
            "iron oxide",
            "air",
        ] {
            assert!(table.get(name).is_some(), "{name}");
        }
        assert_eq!(table.get("air").unwrap().role, Role::Void);
        assert_eq!(table.names().next(), Some("structural steel"));
    }

    #[test]
    fn every_value_of_the_table_has_its_source_in_the_bibliography() {
        let sources = Sources::built_in();
        for material in Table::built_in().materials() {
            for (property, figure) in &material.values {
                assert!(!figure.source.is_empty());
                for key in keys_of(&figure.source) {
                    let known = WITHOUT_SOURCE.contains(&key) || sources.citation(key).is_some();
                    assert!(known, "{} {}: {key}", material.name, property.name());
                }
            }
        }
    }

    #[test]
    fn a_users_table_overrides_row_by_row() {
        let mut table = Table::built_in();
        let count = table.materials().len();
        let text = format!(
            "{HEADER}structural steel,loss_factor,0.004,,0.002,0.008,own tap,\n\
             my mix,youngs_modulus,15,GPa,,,,\nmy mix,poissons_ratio,0.25,,,,,\n\
             my mix,density,2080,kg/m3,,,,\nmy mix,loss_factor,2,%,,,,\nmy mix,role,fill,,,,,\n"
        );
        assert_eq!(table.overlay("mine.csv", &text), []);
        let steel = table.get("structural steel").unwrap();
        assert_eq!(steel.value(Property::LossFactor, &Draw::default()), Some(0.004));
        assert_eq!(steel.value(Property::Density, &Draw::default()), Some(7850.0));
        assert_eq!(table.materials().len(), count + 1);
        assert_eq!(table.get("my mix").unwrap().role, Role::Fill);
        assert_eq!(table.overrides().len(), 5);
        assert_eq!(table.overrides()[0].before.unwrap().value, 0.0002);
        assert_eq!(table.overrides()[1].before, None);
        assert_eq!(table.overrides()[1].line, 3);
    }

    #[test]
    fn a_misspelt_material_is_doubted() {
        let mut table = Table::built_in();
        let said = table.overlay("mine.csv", &format!("{HEADER}structral steel,loss_factor,0.004,,,,,\n"));
        assert_eq!(
            said[0].to_string(),
            "mine.csv:2  structral steel, material: \"structral steel\" is new to the table and lacks \
             youngs_modulus, poissons_ratio, density; did you mean \"structural steel\"? otherwise state them"
        );
        assert!(!said[0].is_error());
    }

    #[test]
    fn an_unknown_name_proposes_the_nearest() {
        let table = Table::built_in();
        let problem = table.absent("granit", Place::key("builds.a"));
        assert_eq!(problem.to_string(), "builds.a: no material \"granit\"; did you mean \"granite\"?");
    }
}
