//! The table of joints and feet, `data/joints.csv`: constants with their spread, source and status.
//!
//! ```text
//! class,name,quantity,value,unit,low,high,status,source,note
//! ```
//!
//! `low` and `high` are the 5 % and 95 % limits in the unit of the value; a row without them is taken as exact. The
//! name `any` stands for all of a class. A coefficient C is printed in µm at a unit of pressure, as `um at kgf/cm2`.

use super::contact::FlatContact;
use serde::Serialize;
use std::sync::LazyLock;
use stillbed_input::problem::suggest;
use stillbed_input::quantity::{Kind, Spread, single};

const BUILT_IN: &str = include_str!("../../data/joints.csv");

/// What is known of a class as a whole has this name.
pub(super) const ANY: &str = "any";

/// One constant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Constant {
    /// What it belongs to: flat joint, bolt, film, rubber.
    pub class: String,
    /// The finish, lubrication, kind; `any` for all of the class.
    pub name: String,
    /// What it is.
    pub quantity: String,
    /// As printed, in `unit`, with its 5 % and 95 % limits.
    pub value: Spread,
    /// Unit of the value; empty for a ratio.
    pub unit: String,
    /// How it was found: read, computed, memory, common practice.
    pub status: String,
    /// Keys of the sources.
    pub source: String,
    /// What it holds for.
    pub note: String,
}

/// Every row of the table, in its order.
#[must_use]
pub fn constants() -> &'static [Constant] {
    static ALL: LazyLock<Vec<Constant>> = LazyLock::new(read);
    &ALL
}

fn read() -> Vec<Constant> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(BUILT_IN.as_bytes());
    let row = |row: csv::StringRecord| {
        let cell = |i: usize| row.get(i).unwrap_or_default().to_string();
        let value: f64 = cell(3).parse().ok()?;
        let limit = |i: usize| if cell(i).is_empty() { Some(value) } else { cell(i).parse().ok() };
        Some(Constant {
            class: cell(0),
            name: cell(1),
            quantity: cell(2),
            value: Spread::between(value, limit(5)?, limit(6)?),
            unit: cell(4),
            status: cell(7),
            source: cell(8),
            note: cell(9),
        })
    };
    reader.records().filter_map(Result::ok).filter_map(row).collect()
}

/// The constant `quantity` of `name` in `class`, or else of the class as a whole.
pub(super) fn constant(class: &str, name: &str, quantity: &str) -> Option<&'static Constant> {
    let of = |name: &str| {
        constants().iter().find(|c| c.class == class && c.name == name && c.quantity == quantity)
    };
    of(name).or_else(|| of(ANY))
}

/// The constant `quantity` of a class as a whole; 1 where the table has none, which a test excludes.
pub(super) fn of_class(class: &str, quantity: &str) -> Spread {
    constant(class, ANY, quantity).map_or(Spread::exact(1.0), |constant| constant.value)
}

/// The names that the table has in `class`.
pub fn names(class: &str) -> Vec<&'static str> {
    let mut names = Vec::new();
    for constant in constants().iter().filter(|c| c.class == class && c.name != ANY) {
        if !names.contains(&constant.name.as_str()) {
            names.push(constant.name.as_str());
        }
    }
    names
}

/// A sentence that proposes the nearest name of `class`.
pub(super) fn nearest(class: &str, name: &str) -> String {
    suggest(name, names(class))
}

/// A flat joint of one finish: its law, and the limits of C over its value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finish {
    /// The law with the value of C.
    pub law: FlatContact,
    /// Limits of C over its value, low and high.
    pub limits: [f64; 2],
}

impl Finish {
    /// The flat joint of the finish called `name`; `None` where the table has none.
    ///
    /// ```
    /// use stillbed_joint::Finish;
    ///
    /// // 0.9 µm at 1 kgf/cm², m = 0.5, under 10 kgf/cm².
    /// let scraped = Finish::named("scraped").unwrap();
    /// assert!((scraped.law.stiffness(980665.0) / 6.89141e11 - 1.0).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn named(name: &str) -> Option<Finish> {
        let own = |quantity| constant("flat joint", name, quantity).filter(|constant| constant.name == name);
        let (c, m) = (own("C")?, own("m")?);
        let (length, pressure) = c.unit.split_once(" at ")?;
        let length = single(&format!("1 {length}"), Kind::Length).ok()?;
        let pressure = pressure_unit(pressure)?;
        Some(Finish {
            law: FlatContact::printed(c.value.value * length, pressure, m.value.value),
            limits: [c.value.low / c.value.value, c.value.high / c.value.value],
        })
    }
}

/// A unit of pressure of the table, Pa.
fn pressure_unit(unit: &str) -> Option<f64> {
    match unit {
        "kgf/cm2" => Some(98_066.5),
        "MPa" => Some(1e6),
        _ => None,
    }
}

impl Constant {
    /// Its value in SI; a C stays as printed.
    #[must_use]
    pub fn si(&self) -> f64 {
        match self.unit.as_str() {
            "MPa" => self.value.value * 1e6,
            "GPa" => self.value.value * 1e9,
            _ => self.value.value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_material::{Sources, WITHOUT_SOURCE, keys_of};

    #[test]
    fn every_row_is_read_with_a_status_and_a_known_source() {
        assert_eq!(constants().len(), BUILT_IN.lines().count() - 1);
        let sources = Sources::built_in();
        for constant in constants() {
            let Constant { class, name, quantity, value, status, source, .. } = constant;
            assert!(
                ["read", "computed", "memory", "common practice"].contains(&status.as_str()),
                "{name} {status}"
            );
            assert!(
                value.low <= value.value && value.value <= value.high && value.low > 0.0,
                "{class} {name}"
            );
            for key in keys_of(source) {
                let known = WITHOUT_SOURCE.contains(&key) || sources.citation(key).is_some();
                assert!(known, "{class} {name} {quantity}: {key}");
            }
        }
    }

    #[test]
    fn every_finish_has_a_law() {
        assert!(names("flat joint").len() >= 9);
        for name in names("flat joint") {
            let finish = Finish::named(name).unwrap();
            assert!(finish.limits[0] < 1.0 && finish.limits[1] > 1.0, "{name}");
            assert!(finish.law.exponent > 0.3 && finish.law.exponent < 0.6, "{name}");
        }
        assert_eq!(Finish::named("any"), None);
        assert_eq!(Finish::named("polished"), None);
    }

    #[test]
    fn what_the_laws_ask_for_is_there() {
        for (class, quantity) in [
            ("flat joint", "along"),
            ("flat joint", "friction"),
            ("flat joint", "loss"),
            ("slide", "loss"),
            ("bolt", "Young's modulus"),
            ("rubber", "modulus"),
            ("rubber", "dynamic"),
            ("levelling foot", "stiffness"),
            ("levelling foot", "loss"),
            ("air spring", "exponent"),
            ("air spring", "loss"),
            ("ball in groove", "stiffness"),
            ("ball in groove", "loss"),
        ] {
            assert!(constant(class, ANY, quantity).is_some(), "{class} {quantity}");
        }
        assert_eq!(constant("bolt", "black", "nut factor").unwrap().value.value, 0.3);
        assert_eq!(constant("bolt", "8.8", "proof stress").unwrap().si(), 600e6);
        assert!(nearest("flat joint", "scrapd").contains("did you mean \"scraped\""));
    }
}
