//! The answer of the command `materials`: each property with its spread, source and note.

use super::entry::{GrainShape, Material};
use super::medium::Role;
use super::property::Property;
use super::sources::Sources;
use super::table::{Override, Table};
use serde::{Serialize, Serializer};

/// The table of materials, ready for output.
#[derive(Debug, Clone, Serialize)]
pub struct Listing {
    /// In the order of the table.
    pub materials: Vec<ListedMaterial>,
    /// What users' tables changed or added.
    pub overrides: Vec<Override>,
}

/// One material, ready for output.
#[derive(Debug, Clone, Serialize)]
pub struct ListedMaterial {
    /// Its name.
    pub name: String,
    /// Its role.
    pub role: Role,
    /// Shape of its grains, where it is sold as grains.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grain_shape: Option<GrainShape>,
    /// Its figures in the order of [`Property::ALL`]; in JSON a map by [`Property::key`].
    #[serde(serialize_with = "by_key")]
    pub figures: Vec<ListedFigure>,
}

/// One figure, ready for output.
#[derive(Debug, Clone, Serialize)]
pub struct ListedFigure {
    /// The property.
    pub property: Property,
    /// In SI, in the unit of the key.
    pub value: f64,
    /// 5 % limit.
    pub low: f64,
    /// 95 % limit.
    pub high: f64,
    /// The value in an everyday unit.
    pub shown: String,
    /// The limits in everyday units; empty where the value has no spread.
    pub shown_spread: String,
    /// Keys of the bibliography, or a word that replaces them.
    pub source: String,
    /// The sources in full.
    pub citation: String,
    /// What the number alone does not say; empty where nothing is needed.
    pub note: String,
    /// True when a user's table states it.
    pub overridden: bool,
}

impl Listing {
    /// The materials of `table`, with sources in full from `sources`.
    pub fn of(table: &Table, sources: &Sources) -> Listing {
        let materials = table.materials().iter().map(|m| listed(m, table.overrides(), sources)).collect();
        Listing { materials, overrides: table.overrides().to_vec() }
    }
}

fn listed(material: &Material, overrides: &[Override], sources: &Sources) -> ListedMaterial {
    let figure = |(property, figure): (&Property, &super::entry::Figure)| {
        let spread = figure.spread;
        let shown_spread = match spread.is_exact() {
            true => String::new(),
            false => format!("{} to {}", property.show(spread.low), property.show(spread.high)),
        };
        ListedFigure {
            property: *property,
            value: spread.value,
            low: spread.low,
            high: spread.high,
            shown: property.show(spread.value),
            shown_spread,
            source: figure.source.clone(),
            citation: sources.cite(&figure.source),
            note: figure.note.clone(),
            overridden: overrides.iter().any(|o| o.material == material.name && o.property == *property),
        }
    };
    ListedMaterial {
        name: material.name.clone(),
        role: material.role,
        grain_shape: material.grain_shape,
        figures: material.values.iter().map(figure).collect(),
    }
}

fn by_key<S: Serializer>(figures: &[ListedFigure], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_map(figures.iter().map(|figure| (figure.property.key(), figure)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_carries_units_in_keys_and_the_shop_unit_beside() {
        let mut table = Table::built_in();
        let text = "material,property,value,unit\nepoxy,max_temperature,70,degC\n";
        table.overlay("mine.csv", text);
        let listing = Listing::of(&table, &Sources::built_in());
        let json = serde_json::to_value(&listing).unwrap();
        let steel = &json["materials"][0]["figures"]["youngs_modulus_pa"];
        assert_eq!(steel["value"], 207e9);
        assert_eq!(steel["shown"], "207 GPa");
        assert_eq!(steel["shown_spread"], "200 GPa to 210 GPa");
        assert!(steel["citation"].as_str().unwrap().contains("EN 1993"));
        let epoxy = listing.materials.iter().find(|m| m.name == "epoxy").unwrap();
        let limit = epoxy.figures.iter().find(|f| f.property == Property::MaxTemperature).unwrap();
        assert!(limit.overridden);
        assert_eq!(limit.shown, "70 °C");
        assert_eq!(json["overrides"][0]["property"], "max_temperature");
    }
}
