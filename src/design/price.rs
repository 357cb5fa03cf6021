//! What does a build cost? A price per mass of each material, and fixed costs.

use serde::Serialize;
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::quantity::{self, Kind};

/// Prices of one build, in any one currency.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Prices {
    /// Per kilogram, by name of material or mix.
    pub per_mass: Vec<(Located<String>, f64)>,
    /// Fixed costs: work, feet, inserts.
    pub fixed: Option<f64>,
}

impl Prices {
    /// Reads the table `prices` of `parent`.
    pub fn read(parent: &Fields) -> Prices {
        let mut prices = Prices::default();
        let Some(fields) = parent.fields("prices") else {
            return prices;
        };
        let fixed = fields.quantity("fixed", Kind::Ratio, Allowed::NotNegative);
        prices.fixed = fixed.map(|price| price.value);
        for name in fields.keys() {
            if name.value == "fixed" {
                continue;
            }
            if let Some(text) = fields.text(&name.value) {
                match per_mass(&text.value) {
                    Some(price) => prices.per_mass.push((name, price)),
                    None => fields.refuse(
                        &name.value,
                        format!("\"{}\" is no price", text.value),
                        "write a number per mass, as in \"2.4 per kg\"",
                    ),
                }
            }
        }
        fields.finish();
        prices
    }

    /// These prices, with those of `other` replacing the ones of the same name.
    #[must_use]
    pub fn replaced_by(&self, other: &Prices) -> Prices {
        let mut prices = self.clone();
        for (name, price) in &other.per_mass {
            match prices.per_mass.iter_mut().find(|(known, _)| known.value == name.value) {
                Some(known) => *known = (name.clone(), *price),
                None => prices.per_mass.push((name.clone(), *price)),
            }
        }
        prices.fixed = other.fixed.or(prices.fixed);
        prices
    }

    /// True when there is no price at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.per_mass.is_empty() && self.fixed.is_none()
    }

    /// Price per kilogram of the material called `name`.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<f64> {
        self.per_mass.iter().find(|(known, _)| known.value == name).map(|(_, price)| *price)
    }
}

/// What a build costs, part by part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Costs {
    /// By material or mix.
    pub parts: Vec<PartCost>,
    /// Fixed costs; 0 where none are stated.
    pub fixed: f64,
    #[serde(skip)]
    pub(super) stated: bool,
}

/// Mass and price of the parts made of one material or mix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartCost {
    /// Material or mix.
    pub of: String,
    /// Total mass of it.
    pub mass_kg: f64,
    /// Its price; `None` where it is not stated.
    pub price_per_kg: Option<f64>,
}

impl Costs {
    /// The sum; `None` where no price is stated, or one is missing.
    #[must_use]
    pub fn total(&self) -> Option<f64> {
        let costs = self.parts.iter().map(|part| Some(part.mass_kg * part.price_per_kg?));
        let sum = costs.sum::<Option<f64>>()?;
        self.stated.then_some(self.fixed + sum)
    }
}

/// `"2.4 per kg"` to a price per kilogram.
fn per_mass(text: &str) -> Option<f64> {
    let (number, unit) = text.split_once("per").or_else(|| text.split_once('/'))?;
    let number: f64 = number.trim().parse().ok()?;
    let mass = quantity::single(&format!("1 {}", unit.trim()), Kind::Mass).ok()?;
    (number.is_finite() && number >= 0.0).then_some(number / mass)
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    #[test]
    fn a_price_per_mass() {
        assert_eq!(per_mass("2.4 per kg"), Some(2.4));
        assert_eq!(per_mass("2400 per t"), Some(2.4));
        assert!((per_mass("1 per lb").unwrap() - 2.2046226).abs() < 1e-6);
        assert_eq!(per_mass("2.4"), None);
        assert_eq!(per_mass("2.4 per m"), None);
    }

    #[test]
    fn a_build_replaces_a_price() {
        let read = |text| Prices::read(&Reader::new("d.toml", text).root());
        let common = read("prices = { steel = \"2 per kg\", sand = \"1 per kg\", fixed = 10 }\n");
        let own = read("prices = { steel = \"3 per kg\", fixed = 0 }\n");
        let both = common.replaced_by(&own);
        assert_eq!((both.get("steel"), both.get("sand"), both.fixed), (Some(3.0), Some(1.0), Some(0.0)));
    }
}
