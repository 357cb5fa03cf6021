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

use super::{SectionFault, Shape, ShapeKind};
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_input::quantity::{self, Kind};

const BUILT_IN: &str = include_str!("../../data/stock.csv");

const COLUMNS: [&str; 7] = ["form", "of", "size", "radius", "mass_kg_per_m", "source", "note"];

/// Value of `of` for sizes sold in every material.
const ANY: &str = "any";

/// The forms, each with the key of its shape.
const FORMS: [(&str, &str); 11] = [
    ("square tube", "tube"),
    ("rectangular tube", "tube"),
    ("round tube", "pipe"),
    ("inch square tube", "tube"),
    ("inch rectangular tube", "tube"),
    ("inch round tube", "pipe"),
    ("flat", "rectangle"),
    ("square", "rectangle"),
    (PLATE, "rectangle"),
    ("round", "round"),
    ("angle", "angle"),
];

/// The form that is cut to any width: its size is its thickness alone.
const PLATE: &str = "plate";

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
    /// Its shape with the larger size across. The width of a plate is open.
    shape: Shape,
}

/// A list of stock sizes.
///
/// ```
/// use stillbed_section::{Shape, stock::Stock};
///
/// let mut stock = Stock::built_in();
/// let said = stock.overlay("own.csv", "form,of,size\nsquare tube,structural steel,55 x 55 x 3 mm\n");
/// assert!(said.is_empty());
/// let tubes = stock.find("square tube", "structural steel").unwrap();
/// assert_eq!(tubes.len(), 1);
/// let tube = Shape::Tube { width: 0.055, height: 0.055, wall: 0.003, radius: None };
/// assert_eq!(tubes[0].shape(false, 0.0), tube);
/// ```
#[derive(Debug, Clone, Default)]
pub struct Stock {
    sizes: Vec<StockSize>,
}

impl StockSize {
    /// Its shape, with the larger size up if `upright`, else across; a plate is cut to `width`, m.
    pub fn shape(&self, upright: bool, width: f64) -> Shape {
        let lying = match &self.shape {
            Shape::Rectangle { height, .. } if self.form == PLATE => {
                Shape::Rectangle { width, height: *height }
            }
            other => other.clone(),
        };
        if upright { lying.turned() } else { lying }
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

    /// Reads a table of the user's own. Its sizes replace all earlier ones of the same form in the
    /// materials that it lists; those for `any` are replaced by others for `any` alone. Returns what is
    /// wrong with the table, cell by cell.
    pub fn overlay(&mut self, file: &str, text: &str) -> Vec<Problem> {
        let (sizes, problems) = read(file, text);
        for old in &mut self.sizes {
            let anew = |of: &String| sizes.iter().any(|new| new.form == old.form && new.of.contains(of));
            old.of.retain(|of| !anew(of));
        }
        self.sizes.retain(|old| !old.of.is_empty());
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
    let kind = FORMS.iter().find(|(name, _)| *name == form).and_then(|(_, key)| ShapeKind::named(key));
    let Some(kind) = kind else {
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
    let counts = if form == PLATE { vec![1] } else { kind.counts() };
    let fits = |count: &usize| quantity::size(text, Kind::Length, *count).is_ok();
    let count = counts.iter().copied().find(fits).unwrap_or(counts[0]);
    let mut sizes =
        quantity::size(text, Kind::Length, count).map_err(|fault| ("size", fault.message, fault.help))?;
    let radius = radius(cell("radius"), sizes[count - 1])?;
    if form == PLATE {
        sizes.insert(0, 1.0);
    }
    let checked = match kind.shape(&sizes, &[radius]) {
        Some(shape) => shape.check().map(|()| shape),
        None => Err(SectionFault::new(format!("\"{text}\" is no size of a {form}"))),
    };
    let shape = checked.map_err(|fault| {
        let help = fault.help.unwrap_or("write outer sizes, then the wall".to_string());
        ("size", fault.message, help)
    })?;
    let shape = match shape.sizes()[..] {
        [(_, across), ("height", up), ..] if up > across && form != PLATE => shape.turned(),
        _ => shape,
    };
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

    #[test]
    fn own_rows_of_single_materials_replace_a_row_of_several() {
        let mut stock = Stock::default();
        stock.overlay("a.csv", "form,of,size\nround,steel;brass;bronze,10 mm\n");
        stock.overlay("b.csv", "form,of,size\nround,steel,12 mm\nround,brass,14 mm\n");
        let found = |of: &str| -> Vec<String> {
            stock.find("round", of).unwrap().iter().map(|size| size.size.clone()).collect()
        };
        assert_eq!(["steel", "brass", "bronze"].map(found), [["12 mm"], ["14 mm"], ["10 mm"]]);
    }

    #[test]
    fn the_larger_size_lies_across_and_a_plate_is_cut() {
        let mut stock = Stock::default();
        let rows = "flat,any,10 x 60 mm\nangle,any,30 x 50 x 4 mm\nplate,any,2 m\n";
        assert_eq!(stock.overlay("a.csv", &format!("form,of,size\n{rows}")), Vec::new());
        let sizes = |i: usize, upright: bool| {
            stock.sizes()[i].shape(upright, 0.5).sizes().iter().map(|s| s.1).collect::<Vec<_>>()
        };
        assert_eq!((sizes(0, false), sizes(0, true)), (vec![0.06, 0.01], vec![0.01, 0.06]));
        assert_eq!((sizes(1, false), sizes(1, true)), (vec![0.05, 0.03, 0.004], vec![0.03, 0.05, 0.004]));
        assert_eq!((sizes(2, false), sizes(2, true)), (vec![0.5, 2.0], vec![2.0, 0.5]));
    }
}
