//! Stock sections: forms and sizes of bars and tubes that dealers keep.
//!
//! One row of the table is one size of one form: `form,of,size,radius,mass_kg_per_m,source,note`. `of`
//! lists the materials that it is sold in, separated by semicolons, or is `any`. `radius` is the outer
//! corner radius of a tube or the root radius of an angle, as a length or as a multiple of the wall such
//! as `2 t`. `mass_kg_per_m` is the mass printed in the source, used only as a check; everything else is
//! computed from the sizes.
//!
//! # Source
//! - `en10219-2`: corner radii of cold formed hollow sections, 2 t up to 6 mm, 2.5 t up to 10 mm, 3 t beyond

use super::Shape;
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_input::quantity::{self, Kind};

const BUILT_IN: &str = include_str!("../../data/stock.csv");

const COLUMNS: [&str; 7] = ["form", "of", "size", "radius", "mass_kg_per_m", "source", "note"];

/// Value of `of` for sizes sold in every material.
const ANY: &str = "any";

/// The forms, each with its kind of shape.
const FORMS: [(&str, Kindred); 11] = [
    ("square tube", Kindred::Tube),
    ("rectangular tube", Kindred::Tube),
    ("round tube", Kindred::Pipe),
    ("inch square tube", Kindred::Tube),
    ("inch rectangular tube", Kindred::Tube),
    ("inch round tube", Kindred::Pipe),
    ("flat", Kindred::Bar),
    ("square", Kindred::Bar),
    ("plate", Kindred::Plate),
    ("round", Kindred::Round),
    ("angle", Kindred::Angle),
];

/// The kind of shape of a form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kindred {
    Tube,
    Pipe,
    Bar,
    Plate,
    Round,
    Angle,
}

/// One size of one form.
#[derive(Debug, Clone, PartialEq)]
pub struct StockSize {
    /// Its form, such as `square tube`.
    pub form: String,
    /// The materials that it is sold in; `any` stands for every one.
    pub of: Vec<String>,
    /// Its size as text, as it is ordered.
    pub size: String,
    /// Mass per length printed in its standard, kg/m.
    pub printed_mass: Option<f64>,
    /// Its shape with the larger size across. The width of a plate is open: 0 here.
    shape: Shape,
}

/// A list of stock sizes.
#[derive(Debug, Clone, Default)]
pub struct Stock {
    sizes: Vec<StockSize>,
}

impl StockSize {
    /// Its shape, with the larger size up if `upright`, else across; a plate is cut to `width`, m.
    pub fn shape(&self, upright: bool, width: f64) -> Shape {
        let turned = |w: f64, h: f64| if upright { (h, w) } else { (w, h) };
        match &self.shape {
            Shape::Tube { width, height, wall, radius } => {
                let (width, height) = turned(*width, *height);
                Shape::Tube { width, height, wall: *wall, radius: *radius }
            }
            Shape::Rectangle { width: own, height } => {
                let (width, height) = turned(if *own > 0.0 { *own } else { width }, *height);
                Shape::Rectangle { width, height }
            }
            Shape::Angle { width, height, wall, root_radius, toe_radius } => {
                let (width, height) = turned(*width, *height);
                let (root_radius, toe_radius) = (*root_radius, *toe_radius);
                Shape::Angle { width, height, wall: *wall, root_radius, toe_radius }
            }
            other => other.clone(),
        }
    }

    /// True when it is sold in `material`.
    pub fn comes_in(&self, material: &str) -> bool {
        self.of.iter().any(|of| of == material || of == ANY)
    }
}

impl Stock {
    /// The sizes that come with the program.
    pub fn built_in() -> Stock {
        let mut stock = Stock::default();
        stock.overlay("data/stock.csv", BUILT_IN);
        stock
    }

    /// Reads a table of the user's own. Its sizes replace all earlier ones of the same form whose
    /// materials it lists. Returns what is wrong with the table, cell by cell.
    pub fn overlay(&mut self, file: &str, text: &str) -> Vec<Problem> {
        let (sizes, problems) = read(file, text);
        let replaced = |old: &StockSize| {
            sizes.iter().any(|new| new.form == old.form && old.of.iter().all(|of| new.of.contains(of)))
        };
        self.sizes.retain(|old| !replaced(old));
        self.sizes.extend(sizes);
        problems
    }

    /// All sizes, in the order of the table.
    pub fn sizes(&self) -> &[StockSize] {
        &self.sizes
    }

    /// The sizes of `form` that come in `material`.
    ///
    /// # Errors
    /// What is wrong, and its repair: an unknown form, or none of it in the material.
    pub fn find(&self, form: &str, material: &str) -> Result<Vec<&StockSize>, (String, String)> {
        let of_form: Vec<&StockSize> = self.sizes.iter().filter(|size| size.form == form).collect();
        if of_form.is_empty() {
            let message = format!("the stock has no \"{form}\"");
            return Err((message, suggest(form, FORMS.map(|(name, _)| name))));
        }
        let found: Vec<&StockSize> = of_form.iter().copied().filter(|s| s.comes_in(material)).collect();
        if found.is_empty() {
            let mut known: Vec<&str> = of_form.iter().flat_map(|s| &s.of).map(String::as_str).collect();
            known.sort_unstable();
            known.dedup();
            let message = format!("the stock has no {form} of \"{material}\"");
            return Err((message, format!("it comes in {}; add sizes with --stock FILE", known.join(", "))));
        }
        Ok(found)
    }
}

/// Reads the usable sizes of `text`, the contents of `file`, and what is wrong with the others.
fn read(file: &str, text: &str) -> (Vec<StockSize>, Vec<Problem>) {
    let text = text.trim_start_matches('\u{feff}');
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let mut problems = Vec::new();
    let place =
        |line: usize, key: &str| Place { line: Some(line), key: key.to_string(), ..Place::file(file) };
    let titles = match reader.headers() {
        Ok(titles) => titles.clone(),
        Err(error) => return (Vec::new(), vec![Problem::error(Place::file(file), error.to_string())]),
    };
    for title in titles.iter().filter(|title| !COLUMNS.contains(title)) {
        let message = format!("no column \"{title}\" is known");
        problems.push(Problem::error(place(1, title), message).with_help(suggest(title, COLUMNS)));
    }
    for missing in ["form", "of", "size"].into_iter().filter(|title| !titles.iter().any(|t| t == *title)) {
        let message = format!("the header has no column \"{missing}\"");
        let help = format!("begin with {}", COLUMNS.join(","));
        problems.push(Problem::error(place(1, missing), message).with_help(help));
    }
    let mut sizes = Vec::new();
    if !problems.is_empty() {
        return (sizes, problems);
    }
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                problems.push(Problem::error(Place::file(file), error.to_string()));
                continue;
            }
        };
        let line = record.position().map_or(0, |position| position.line() as usize);
        let cell = |title: &str| {
            let column = titles.iter().position(|t| t == title);
            column.and_then(|i| record.get(i)).unwrap_or("")
        };
        match size(&cell) {
            Ok(size) => sizes.push(size),
            Err((column, message, help)) => {
                problems.push(Problem::error(place(line, column), message).with_help(help));
            }
        }
    }
    if sizes.is_empty() && problems.is_empty() {
        problems.push(
            Problem::error(Place::file(file), "the stock is empty: it has no size")
                .with_help("add rows such as square tube,structural steel,60 x 60 x 4 mm"),
        );
    }
    (sizes, problems)
}

/// The column that is wrong, what is wrong with it, and the repair.
type Wrong = (&'static str, String, String);

fn size<'a>(cell: &impl Fn(&str) -> &'a str) -> Result<StockSize, Wrong> {
    let form = cell("form");
    let Some((_, kindred)) = FORMS.iter().find(|(name, _)| *name == form) else {
        let help = suggest(form, FORMS.map(|(name, _)| name));
        return Err(("form", format!("no form \"{form}\" is known"), help));
    };
    let of: Vec<String> =
        cell("of").split(';').map(|of| of.trim().to_string()).filter(|of| !of.is_empty()).collect();
    if of.is_empty() {
        let help = "name materials with semicolons between, or any".to_string();
        return Err(("of", "the size comes in no material".to_string(), help));
    }
    let text = cell("size");
    let count = match kindred {
        Kindred::Tube | Kindred::Angle => 3,
        Kindred::Pipe | Kindred::Bar => 2,
        Kindred::Round | Kindred::Plate => 1,
    };
    let sizes =
        quantity::size(text, Kind::Length, count).map_err(|fault| ("size", fault.message, fault.help))?;
    let thickness = sizes[count - 1];
    let radius = radius(cell("radius"), thickness)?;
    let shape = match *kindred {
        Kindred::Tube => Shape::Tube {
            width: sizes[0].max(sizes[1]),
            height: sizes[0].min(sizes[1]),
            wall: sizes[2],
            radius,
        },
        Kindred::Pipe => Shape::Pipe { diameter: sizes[0], wall: sizes[1] },
        Kindred::Bar => Shape::Rectangle { width: sizes[0].max(sizes[1]), height: sizes[0].min(sizes[1]) },
        Kindred::Plate => Shape::Rectangle { width: 0.0, height: sizes[0] },
        Kindred::Round => Shape::Round { diameter: sizes[0] },
        Kindred::Angle => Shape::Angle {
            width: sizes[0],
            height: sizes[1],
            wall: sizes[2],
            root_radius: radius.unwrap_or(0.0),
            toe_radius: 0.0,
        },
    };
    let checked = match *kindred {
        Kindred::Plate => Shape::Rectangle { width: 1.0, height: sizes[0] }.check(),
        _ => shape.check(),
    };
    checked.map_err(|fault| {
        let help = fault.help.unwrap_or("write outer sizes, then the wall".to_string());
        ("size", fault.message, help)
    })?;
    let printed = cell("mass_kg_per_m");
    let printed_mass = match printed.parse::<f64>() {
        _ if printed.is_empty() => None,
        Ok(mass) if mass > 0.0 && mass.is_finite() => Some(mass),
        _ => {
            let help = "write kilograms per metre, or leave it empty".to_string();
            return Err(("mass_kg_per_m", format!("\"{printed}\" is no mass per length"), help));
        }
    };
    Ok(StockSize { form: form.to_string(), of, size: text.to_string(), printed_mass, shape })
}

/// A length, or a multiple of the thickness such as `2 t`; `None` where nothing is stated.
fn radius(text: &str, thickness: f64) -> Result<Option<f64>, Wrong> {
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(multiple) = text.strip_suffix('t').map(str::trim)
        && let Ok(multiple) = multiple.parse::<f64>()
        && (0.0..100.0).contains(&multiple)
    {
        return Ok(Some(multiple * thickness));
    }
    quantity::single(text, Kind::Length).map(Some).map_err(|fault| {
        ("radius", fault.message, "write a length, or a multiple of the wall: 2 t".to_string())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Geometry, Part};
    use stillbed_material::{Medium, Role};

    #[test]
    fn the_built_in_stock_is_sound() {
        let mut stock = Stock::default();
        assert_eq!(stock.overlay("stock.csv", BUILT_IN), Vec::new());
        assert!(stock.sizes().len() > 500);
        for (form, _) in FORMS {
            assert!(!stock.find(form, "structural steel").unwrap().is_empty(), "{form}");
            assert!(!stock.find(form, "aluminium 6061-T6").unwrap().is_empty(), "{form}");
        }
    }

    #[test]
    fn radii_follow_the_standard() {
        for size in Stock::built_in().find("square tube", "structural steel").unwrap() {
            let Shape::Tube { wall, radius: Some(radius), .. } = size.shape(false, 0.0) else { panic!() };
            let rule = if wall < 0.00601 {
                2.0
            } else if wall < 0.01001 {
                2.5
            } else {
                3.0
            };
            assert!((radius - rule * wall).abs() < 1e-9, "{}", size.size);
        }
    }

    #[test]
    fn computed_masses_are_the_printed_ones() {
        let steel = [Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.0)];
        let stock = Stock::built_in();
        let printed = stock.sizes().iter().filter_map(|size| Some((size, size.printed_mass?)));
        let mut count = 0;
        for (size, mass) in printed {
            let geometry = Geometry::new(vec![Part::new(size.shape(false, 0.0), 0)]).unwrap();
            let computed = geometry.solve(&steel, 1.0).unwrap().mass_per_length;
            // Half of the last of three printed digits.
            let half = 0.5 * 10f64.powf(mass.log10().floor() - 2.0);
            assert!((computed - mass).abs() <= half * 1.0001, "{}: {computed} {mass}", size.size);
            count += 1;
        }
        assert!(count >= 19, "{count}");
    }

    #[test]
    fn a_bad_cell_is_named_by_line_and_column() {
        let mut stock = Stock::built_in();
        let text = "form,of,size\nsquare tub,steel,60 x 60 x 4 mm\nround,steel,60\nsquare tube,steel,60 x 60 x 40 mm\n";
        let said: Vec<String> = stock.overlay("own.csv", text).iter().map(Problem::to_string).collect();
        assert!(
            said[0].starts_with(
                "own.csv:2  form: no form \"square tub\" is known; did you mean \"square tube\"?"
            )
        );
        assert!(said[1].starts_with("own.csv:3  size: "), "{said:?}");
        assert!(said[2].contains("wall 40 mm"), "{said:?}");
        assert!(stock.overlay("own.csv", "form,of,size\n")[0].message.contains("the stock is empty"));
    }

    #[test]
    fn own_sizes_replace_those_of_their_form_and_material() {
        let mut stock = Stock::built_in();
        let said = stock.overlay("own.csv", "form,of,size\nsquare tube,structural steel,55 x 55 x 3 mm\n");
        assert_eq!(said, Vec::new());
        assert_eq!(stock.find("square tube", "structural steel").unwrap().len(), 1);
        assert!(stock.find("square tube", "aluminium 6061-T6").unwrap().len() > 20);
        let (message, help) = stock.find("square tube", "oak").unwrap_err();
        assert!(message.contains("no square tube of \"oak\"") && help.contains("structural steel"));
    }
}
