//! Designs to start from: five sketches, stretched to an envelope, with the load that they carry.

use crate::change::placed;
use serde::{Deserialize, Serialize};
use stillbed_design::edit::editable;
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_input::quantity::{Kind, figures, list};
use toml_edit::{DocumentMut, Item, Value};

/// A design to start from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sketch {
    /// Its key.
    pub name: &'static str,
    /// What it is.
    pub title: &'static str,
    /// Its text, a whole design.
    #[serde(skip)]
    pub text: &'static str,
    /// Across, deep and high, as drawn, mm.
    pub envelope: [f64; 3],
    /// What it carries as drawn, kg.
    pub load: f64,
}

/// The sketches.
pub const SKETCHES: [Sketch; 5] = [
    Sketch {
        name: "bench-drill",
        title: "Bench drill stand",
        text: include_str!("sketches/bench-drill.toml"),
        envelope: [220.0, 200.0, 380.0],
        load: 4.0,
    },
    Sketch {
        name: "column",
        title: "Column stand",
        text: include_str!("sketches/column.toml"),
        envelope: [300.0, 300.0, 450.0],
        load: 3.0,
    },
    Sketch {
        name: "portal",
        title: "Portal",
        text: include_str!("sketches/portal.toml"),
        envelope: [500.0, 400.0, 350.0],
        load: 6.0,
    },
    Sketch {
        name: "slab",
        title: "Slab on feet",
        text: include_str!("sketches/slab.toml"),
        envelope: [560.0, 360.0, 100.0],
        load: 14.0,
    },
    Sketch {
        name: "lathe-bed",
        title: "Lathe bed",
        text: include_str!("sketches/lathe-bed.toml"),
        envelope: [700.0, 120.0, 160.0],
        load: 12.0,
    },
];

/// A sketch as it is to be begun.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Start {
    /// Key of the sketch.
    pub sketch: String,
    /// Name of the file to make.
    pub file: String,
    /// Across, deep and high, mm.
    pub envelope: [f64; 3],
    /// What it carries, kg.
    pub load: f64,
}

/// Least and largest side of an envelope, mm, and the heaviest load, kg: a base that one person or a crane sets up.
const SIDE: [f64; 2] = [50.0, 5000.0];
const HEAVIEST: f64 = 5000.0;

impl Start {
    /// The text of the design to be begun.
    ///
    /// # Errors
    /// A name that is no file of the folder, no such sketch, sizes out of range.
    pub fn text(&self) -> Result<String, Problem> {
        let place = |key: &str| Place { key: key.to_string(), ..Place::default() };
        if !is_plain(&self.file) {
            let message = format!("\"{}\" is no name of a design file", self.file);
            return Err(Problem::error(place("file"), message)
                .with_help("letters, digits, _ and -, ending in .toml, without a folder"));
        }
        let Some(sketch) = SKETCHES.iter().find(|sketch| sketch.name == self.sketch) else {
            let known = SKETCHES.iter().map(|sketch| sketch.name);
            return Err(Problem::error(place("sketch"), format!("no sketch \"{}\"", self.sketch))
                .with_help(suggest(&self.sketch, known)));
        };
        if let Some(side) = self.envelope.iter().find(|side| !(SIDE[0]..=SIDE[1]).contains(*side)) {
            let message = format!("a side of {side} mm is not from {} mm to {} mm", SIDE[0], SIDE[1]);
            return Err(Problem::error(place("envelope"), message));
        }
        if !(self.load > 0.0 && self.load <= HEAVIEST) {
            let message = format!("a load of {} kg is not above 0 and up to {HEAVIEST} kg", self.load);
            return Err(Problem::error(place("load"), message));
        }
        stretched(sketch, &self.envelope, self.load)
    }
}

/// True for the name of a design file without a folder, that every system takes for one.
fn is_plain(file: &str) -> bool {
    let reserved = ["con", "prn", "aux", "nul"];
    file.strip_suffix(".toml").is_some_and(|stem| {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        let lower = stem.to_ascii_lowercase();
        let device = reserved.contains(&lower.as_str())
            || lower.len() == 4 && (lower.starts_with("com") || lower.starts_with("lpt"));
        (1..=60).contains(&stem.len()) && stem.chars().all(plain) && !stem.starts_with('-') && !device
    })
}

/// The text of `sketch` with every coordinate, and every box, stretched to the envelope, mm, and its load, kg.
fn stretched(sketch: &Sketch, envelope: &[f64; 3], load: f64) -> Result<String, Problem> {
    let mut document = editable(sketch.name, sketch.text)?;
    let by = [0, 1, 2].map(|i| envelope[i] / sketch.envelope[i]);
    if let Some(points) = document.get_mut("points").and_then(Item::as_table_like_mut) {
        for (_, point) in points.iter_mut() {
            stretch(point, ',', &by);
        }
    }
    if let Some(builds) = document.get_mut("builds").and_then(Item::as_table_like_mut) {
        for (_, build) in builds.iter_mut() {
            let Some(bodies) = build.get_mut("bodies").and_then(Item::as_table_like_mut) else { continue };
            for (_, body) in bodies.iter_mut() {
                let parts = body.get_mut("parts").and_then(Item::as_array_mut);
                for part in parts.into_iter().flat_map(|parts| parts.iter_mut()) {
                    if let Some(size) = part.as_inline_table_mut().and_then(|part| part.get_mut("box")) {
                        stretch_value(size, 'x', &by);
                    }
                }
            }
        }
    }
    carry(&mut document, load);
    Ok(document.to_string())
}

fn stretch(item: &mut Item, between: char, by: &[f64; 3]) {
    if let Some(value) = item.as_value_mut() {
        stretch_value(value, between, by);
    }
}

/// Lengths in millimetres with `between` between them, each `by` as much.
fn stretch_value(value: &mut Value, between: char, by: &[f64; 3]) {
    let lengths = value.as_str().and_then(|text| list(&text.replace(between, ","), Kind::Length, 3).ok());
    let Some(lengths) = lengths else { return };
    // To a tenth of a millimetre.
    let to = [0, 1, 2].map(|i| (lengths[i] * by[i] * 1e4).round() / 10.0);
    let text = placed(&to, "mm");
    let text = if between == ',' { text } else { text.replace(", ", &format!(" {between} ")) };
    let decor = value.decor().clone();
    *value = text.into();
    *value.decor_mut() = decor;
}

/// The only mass of a sketch is its load.
fn carry(document: &mut DocumentMut, load: f64) {
    let masses = document.get_mut("masses").and_then(Item::as_table_like_mut);
    for (_, mass) in masses.into_iter().flat_map(|masses| masses.iter_mut()) {
        if let Some(table) = mass.as_table_like_mut() {
            stillbed_design::edit::set(table, "mass", format!("{} kg", figures(load, 6)).into());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_design::Design;
    use stillbed_material::Table;

    fn start(sketch: &Sketch, envelope: [f64; 3], load: f64) -> Start {
        Start { sketch: sketch.name.to_string(), file: "stand.toml".to_string(), envelope, load }
    }

    #[test]
    fn every_sketch_is_sound_as_drawn_and_stretched() {
        for sketch in &SKETCHES {
            assert_eq!(
                start(sketch, sketch.envelope, sketch.load).text().unwrap(),
                sketch.text,
                "{}",
                sketch.name
            );
            let envelope = sketch.envelope.map(|side| 1.25 * side);
            // A body takes long to reduce: as drawn alone.
            let stretched = start(sketch, envelope, 2.0 * sketch.load).text().unwrap();
            let texts = if sketch.name == "slab" { vec![sketch.text] } else { vec![sketch.text, &stretched] };
            for text in texts {
                let reading = Design::read("stand.toml", text, &Table::built_in());
                assert!(reading.problems.is_empty(), "{}: {:?}", sketch.name, reading.problems);
                assert!(reading.design.is_some());
            }
        }
    }

    #[test]
    fn a_sketch_fills_its_envelope_and_carries_its_load() {
        let portal = SKETCHES.iter().find(|sketch| sketch.name == "portal").unwrap();
        let text = start(portal, [800.0, 400.0, 700.0], 11.0).text().unwrap();
        let design = Design::read("a.toml", &text, &Table::built_in()).design.unwrap();
        let points = &design.builds[0].drawing.points;
        let extent = |axis: usize| {
            let at = |(_, point): (&str, &stillbed_frame::spec::PointSpec)| point.position[axis];
            let all: Vec<f64> = points.iter().map(at).collect();
            all.iter().copied().fold(f64::MIN, f64::max) - all.iter().copied().fold(f64::MAX, f64::min)
        };
        for (axis, side) in [0.8, 0.4, 0.7].into_iter().enumerate() {
            assert!((extent(axis) - side).abs() < 1e-9, "{axis}: {}", extent(axis));
        }
        let mass: f64 = design.builds[0].drawing.masses.iter().map(|(_, mass)| mass.mass.value).sum();
        assert!((mass - 11.0).abs() < 1e-12);
        let slab = SKETCHES.iter().find(|sketch| sketch.name == "slab").unwrap();
        assert!(
            start(slab, [700.0, 360.0, 120.0], 1.0).text().unwrap().contains("box = \"700 x 360 x 120 mm\"")
        );
    }

    #[test]
    fn what_cannot_be_begun_is_told() {
        let sketch = &SKETCHES[0];
        let good = start(sketch, sketch.envelope, 4.0);
        assert!(Start { sketch: "tower".to_string(), ..good.clone() }.text().is_err());
        assert!(Start { envelope: [0.0, 100.0, 100.0], ..good.clone() }.text().is_err());
        assert!(Start { envelope: [f64::NAN, 100.0, 100.0], ..good.clone() }.text().is_err());
        assert!(Start { load: -1.0, ..good.clone() }.text().is_err());
        assert!(Start { file: "stand".to_string(), ..good }.text().is_err());
    }
}
