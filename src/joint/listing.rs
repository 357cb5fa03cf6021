//! The answer of the command `joints`: constants with their source, each class with its equation and one worked row.

use super::constants::{ANY, Constant, constants};
use super::derived::{Derived, Step, Stuff};
use super::spec::SeatSpec;
use serde::Serialize;
use stillbed_input::document::{Fields, Located, Reader};
use stillbed_input::quantity::Spread;
use stillbed_material::{Property, Sources, Table};

/// The table of joints and feet, ready for output.
#[derive(Debug, Clone, Serialize)]
pub struct JointListing {
    /// The ways to state a joint or a foot.
    pub classes: Vec<JointClass>,
    /// Every constant.
    pub constants: Vec<ListedConstant>,
}

/// One way to state a joint or a foot.
#[derive(Debug, Clone, Serialize)]
pub struct JointClass {
    /// Its key in the design: bolted, glued, rubber.
    pub name: &'static str,
    /// What it is.
    pub words: &'static str,
    /// Whether joints, feet or both are stated so.
    pub place: &'static str,
    /// The classes of the table whose constants it takes.
    pub takes: &'static [&'static str],
    /// The equation in words.
    pub equation: &'static str,
    /// One example.
    pub worked: Worked,
}

/// An example of a class.
#[derive(Debug, Clone, Serialize)]
pub struct Worked {
    /// As the design states it.
    pub stated: &'static str,
    /// What presses it beside its bolts, N.
    pub load_n: f64,
    /// The numbers on the way.
    pub steps: Vec<Step>,
    /// Across its faces, N/m.
    pub push_n_per_m: f64,
    /// Along its faces, N/m.
    pub slide_n_per_m: f64,
    /// Tilt about its first side, N m/rad.
    pub tilt_n_m_per_rad: f64,
    /// Loss factor.
    pub loss: Spread,
    /// 5 % and 95 % limits of the push over its value.
    pub limits: [f64; 2],
}

/// One constant, ready for output.
#[derive(Debug, Clone, Serialize)]
pub struct ListedConstant {
    /// As the table has it.
    #[serde(flatten)]
    pub constant: Constant,
    /// The sources in full.
    pub citation: String,
}

/// Key, words, where it may stand, whose constants it takes, an example and its load, N.
type Row = (&'static str, &'static str, &'static str, &'static [&'static str], &'static str, f64);

const CLASSES: [Row; 8] = [
    (
        "bolted",
        "plate that bolts press on a flat face",
        "joints and feet",
        &["flat joint", "bolt"],
        "bolted = \"4 x M8\", torque = \"20 N m\", plate = \"120 x 150 mm\", finish = \"milled\"",
        0.0,
    ),
    (
        "glued",
        "bonded film between plates",
        "joints and feet",
        &["film"],
        "glued = \"120 x 150 mm\", film = \"0.2 mm\", of = \"epoxy\"",
        0.0,
    ),
    (
        "grouted",
        "grout under a plate",
        "joints and feet",
        &["film"],
        "grouted = \"120 x 150 mm\", film = \"15 mm\", of = \"concrete C60\"",
        0.0,
    ),
    (
        "slide",
        "faces that slide, at rest",
        "joints",
        &["flat joint", "slide"],
        "slide = \"60 x 200 mm\", finish = \"scraped\", load = \"500 N\"",
        0.0,
    ),
    (
        "rubber",
        "rubber pad",
        "joints and feet",
        &["rubber"],
        "rubber = \"60 x 60 x 20 mm\", hardness = \"60 Shore A\"",
        300.0,
    ),
    (
        "levelling",
        "levelling foot on a floor or table",
        "feet",
        &["levelling foot", "bolt"],
        "levelling = \"round 40 mm\", on = \"concrete C30\"",
        300.0,
    ),
    (
        "air",
        "air spring",
        "feet",
        &["air spring"],
        "air = \"60 cm2\", volume = \"0.3 l\", across = \"20 N/mm\"",
        300.0,
    ),
    (
        "ball",
        "ball in a groove of 90°, of a mount of three",
        "feet",
        &["ball in groove"],
        "ball = \"20 mm\", of = \"structural steel\"",
        300.0,
    ),
];

/// A material of `table` as laws need it, at its stated values.
#[must_use]
pub fn stuff(table: &Table, name: &Located<String>) -> Option<Stuff> {
    let material = table.get(&name.value)?;
    let figure = |property| material.figure(property).map(|figure| figure.spread);
    Some(Stuff {
        name: name.value.clone(),
        youngs_modulus: figure(Property::YoungsModulus)?,
        poissons_ratio: figure(Property::PoissonsRatio)?.value,
        loss: figure(Property::LossFactor)?,
    })
}

fn worked((name, .., text, load): &Row, table: &Table) -> Option<(Derived, SeatSpec)> {
    let toml = format!("seat = {{ {text} }}\n");
    let reader = Reader::new("example", &toml);
    let fields: Fields = reader.root().fields("seat")?;
    // The faces of a joint are square to x, those of a foot to z.
    let seat = SeatSpec::read_joint(&fields, name)?;
    let stuffs: Vec<Stuff> =
        seat.kind.materials().into_iter().map(|of| stuff(table, of)).collect::<Option<_>>()?;
    Some((seat.derive(&stuffs, *load)?, seat))
}

impl JointListing {
    /// The table with its worked rows, materials from `table`, sources in full from `sources`.
    #[must_use]
    pub fn of(table: &Table, sources: &Sources) -> JointListing {
        let class = |row: &Row| {
            let (derived, seat) = worked(row, table)?;
            Some(JointClass {
                name: row.0,
                words: row.1,
                place: row.2,
                takes: row.3,
                equation: seat.kind.equation(),
                worked: Worked {
                    stated: row.4,
                    load_n: row.5,
                    push_n_per_m: derived.springs[0],
                    slide_n_per_m: derived.springs[1],
                    tilt_n_m_per_rad: derived.springs[4],
                    loss: derived.loss,
                    limits: [derived.across.low, derived.across.high],
                    steps: derived.steps,
                },
            })
        };
        let listed = |constant: &Constant| ListedConstant {
            constant: constant.clone(),
            citation: sources.cite(&constant.source),
        };
        JointListing {
            classes: CLASSES.iter().filter_map(class).collect(),
            constants: constants().iter().map(listed).collect(),
        }
    }

    /// The names that [`JointListing::retain`] finds: of ways to state a joint or foot, of classes and of kinds.
    #[must_use]
    pub fn names(&self) -> Vec<&'static str> {
        let mut names: Vec<&str> = self.classes.iter().map(|class| class.name).collect();
        for constant in constants() {
            for name in [constant.class.as_str(), constant.name.as_str()] {
                if !names.contains(&name) && name != ANY {
                    names.push(name);
                }
            }
        }
        names
    }

    /// Keeps what has `wanted` in its name, with the constants that it takes; false where nothing has, and then nothing
    /// is changed.
    pub fn retain(&mut self, wanted: &str) -> bool {
        let wanted = wanted.to_lowercase();
        let named = |name: &str| name.to_lowercase().contains(&wanted);
        let ways = self.classes.iter().filter(|class| named(class.name) || named(class.words));
        let takes: Vec<&str> = ways.flat_map(|class| class.takes).copied().collect();
        let own = |constant: &Constant| named(&constant.class) || named(&constant.name);
        let kept = |listed: &ListedConstant| {
            takes.contains(&listed.constant.class.as_str()) || own(&listed.constant)
        };
        if !self.constants.iter().any(kept) {
            return false;
        }
        self.classes.retain(|class| named(class.name) || named(class.words));
        self.constants.retain(kept);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn listing() -> JointListing {
        JointListing::of(&Table::built_in(), &Sources::built_in())
    }

    #[test]
    fn every_class_has_a_worked_row() {
        let found: Vec<&str> = listing().classes.iter().map(|class| class.name).collect();
        assert_eq!(found, CLASSES.map(|row| row.0));
    }

    #[test]
    fn a_name_keeps_its_class_with_its_constants_or_its_kind() {
        let mut listing = listing();
        assert!(!listing.retain("nothing of the kind") && listing.classes.len() == CLASSES.len());
        assert!(listing.retain("Bolted"));
        assert_eq!(listing.classes.iter().map(|c| c.name).collect::<Vec<_>>(), ["bolted"]);
        assert!(
            listing.constants.iter().all(|c| ["flat joint", "bolt"].contains(&c.constant.class.as_str()))
        );
        assert!(listing.retain("milled") && listing.classes.is_empty() && listing.constants.len() == 2);
        assert!(JointListing::of(&Table::built_in(), &Sources::built_in()).names().contains(&"scraped"));
    }

    #[test]
    fn worked_rows_by_hand() {
        let listing = listing();
        let of = |name: &str| &listing.classes.iter().find(|class| class.name == name).unwrap().worked;
        // 4 x 12.5 kN on discs of radius 6 + 0.5774 x 12 mm, cut by two edges 12 mm from their middles; C = 1.4 µm at
        // 98066.5 Pa.
        let (radius, edge): (f64, f64) = (6e-3 + 0.5774 * 12e-3, 12e-3);
        let segment = radius.powi(2) * (edge / radius).acos() - edge * (radius.powi(2) - edge.powi(2)).sqrt();
        let disc = std::f64::consts::PI * radius.powi(2) - 2.0 * segment;
        let pressure: f64 = 12.5e3 / disc;
        let per_area = pressure.sqrt() / (1.4e-6 / 98066.5f64.sqrt() * 0.5);
        let bolts = 4.0 * 207e9 * std::f64::consts::PI * 16e-6 / 16e-3;
        let bolted = of("bolted");
        assert_relative_eq!(bolted.push_n_per_m, 4.0 * disc * per_area + bolts, max_relative = 2e-3);
        assert_relative_eq!(bolted.slide_n_per_m, 0.3 * 4.0 * disc * per_area, max_relative = 2e-3);
        // A thin film of ν = 0.36 cannot bulge: M = 1.68 E.
        let held = 3e9 * 0.64 / (1.36 * 0.28);
        assert_relative_eq!(of("glued").push_n_per_m, held * 0.018 / 0.2e-3, max_relative = 0.01);
        assert_relative_eq!(of("glued").slide_n_per_m, 3e9 / 2.72 * 0.018 / 0.2e-3, max_relative = 1e-9);
        // 1.3 x 3.605 MPa (1 + 2 x 0.75²) on 36 cm² and 20 mm, the bulk modulus taking a per cent.
        let pad = 1.3 * 3.605e6 * (1.0 + 2.0 * 0.75 * 0.75) * 36e-4 / 20e-3;
        assert_relative_eq!(of("rubber").push_n_per_m, pad, max_relative = 0.02);
        assert_relative_eq!(
            of("levelling").push_n_per_m,
            0.6 * 2.0 * 33e9 * 0.02 / 0.96,
            max_relative = 1e-9
        );
        // 50 kPa above the air around.
        let air = 1.4 * (300.0 / 60e-4 + 101325.0) * 36e-6 / 0.3e-3;
        assert_relative_eq!(of("air").push_n_per_m, air, max_relative = 1e-9);
    }
}
