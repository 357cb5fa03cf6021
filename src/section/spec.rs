//! The section as the design file states it: its parts, and how far they act together.

use super::{SectionFault, Shape, ShapeKind};
use stillbed_input::document::{Allowed, Class, Fields, Located};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Kind, Spread};

/// A section as the design file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionSpec {
    /// Its parts; a later one cuts those under it.
    pub parts: Vec<PartSpec>,
    /// Bond from 0 (sliding) to 1 (one body); `None` when not stated, which means 1.
    pub bond: Option<Spread>,
    /// Its place in the file.
    pub place: Place,
}

/// One part: a shape of one material.
#[derive(Debug, Clone, PartialEq)]
pub struct PartSpec {
    /// Its shape.
    pub shape: Shape,
    /// Name of its material or mix.
    pub of: Located<String>,
    /// Position of the shape's own origin: y, z, m.
    pub at: [f64; 2],
    /// Rotation about that origin, anticlockwise with y to the right and z up, rad.
    pub turn: f64,
    /// True when it is meant to stick out of the fill that it is cast into.
    pub proud: bool,
    /// Its place in the file.
    pub place: Place,
}

impl SectionSpec {
    /// Reads one section.
    pub fn read(fields: &Fields) -> Option<SectionSpec> {
        fields.need("parts", "[{ tube = \"60 x 40 x 3 mm\", of = \"structural steel\" }]");
        let bond = fields.quantity_of("bond", Kind::Ratio, Allowed::Between(0.0, 1.0), Class::Bond);
        let tables = fields.array("parts")?;
        if tables.is_empty() {
            fields.refuse(
                "parts",
                "the section has no part",
                "add { tube = \"60 x 40 x 3 mm\", of = \"…\" }",
            );
            return None;
        }
        let read = |part: Fields| {
            let found = PartSpec::read(&part);
            part.finish();
            found
        };
        let parts: Vec<Option<PartSpec>> = tables.into_iter().map(read).collect();
        Some(SectionSpec { parts: parts.into_iter().collect::<Option<_>>()?, bond, place: fields.place() })
    }

    /// `fault` of this section as a problem with its place.
    pub fn problem(&self, fault: &SectionFault) -> Problem {
        let place = fault.part.and_then(|i| self.parts.get(i)).map_or(&self.place, |part| &part.place);
        let problem = Problem::error(place.clone(), fault.message.clone());
        match &fault.help {
            Some(help) => problem.with_help(help.clone()),
            None => problem,
        }
    }
}

impl PartSpec {
    fn read(fields: &Fields) -> Option<PartSpec> {
        fields.need("of", "\"MATERIAL\"");
        let of = fields.text("of");
        let at = fields.list("at", Kind::Length, 2, Allowed::Any).map_or([0.0; 2], |at| [at[0], at[1]]);
        let turn = fields.list("turn", Kind::Angle, 1, Allowed::Any).map_or(0.0, |turn| turn[0]);
        let proud = fields.flag("proud").unwrap_or(false);
        let shape = read_shape(fields)?;
        Some(PartSpec { shape, of: of?, at, turn, proud, place: fields.place() })
    }
}

/// The keys of the shapes.
pub fn shape_keys() -> Vec<&'static str> {
    ShapeKind::ALL.iter().map(|kind| kind.key).collect()
}

/// Reads and checks the one shape that a part states; `None` where there is none, which has been reported.
fn read_shape(fields: &Fields) -> Option<Shape> {
    let keys = shape_keys();
    let named = fields.stated(&keys);
    let [name] = named[..] else {
        let found = if named.is_empty() { "no shape".to_string() } else { named.join(" and ") };
        let place = named.first().map_or(fields.place(), |name| fields.place_of(name));
        fields.say(
            Problem::error(place, format!("the part has {found}, not one shape"))
                .with_help(format!("name one of {}", keys.join(", "))),
        );
        return None;
    };
    read_shape_named(fields, name)
}

/// Reads and checks the shape that a part states under the key `name`.
pub fn read_shape_named(fields: &Fields, name: &str) -> Option<Shape> {
    let kind = ShapeKind::named(name)?;
    let shape = match kind.sizes {
        [] => Shape::Polygon { points: read_outline(fields, name)? },
        _ => sized(fields, kind)?,
    };
    if let Err(fault) = shape.check() {
        let help = fault.help.unwrap_or(format!("write it like \"{}\"", kind.example));
        fields.refuse(name, fault.message, help);
        return None;
    }
    Some(shape)
}

fn sized(fields: &Fields, kind: &ShapeKind) -> Option<Shape> {
    let sizes = fields.size(kind.key, &kind.counts(), kind.form);
    let radii: Vec<Option<f64>> = kind.radii.iter().map(|key| length(fields, key)).collect();
    kind.shape(&sizes?, &radii)
}

fn length(fields: &Fields, key: &str) -> Option<f64> {
    fields.list(key, Kind::Length, 1, Allowed::NotNegative).map(|v| v[0])
}

/// Reads the corners of a polygon, each a text such as `"0, 40 mm"`.
fn read_outline(fields: &Fields, key: &str) -> Option<Vec<[f64; 2]>> {
    let mut points = Vec::new();
    for corner in fields.names(key)? {
        match quantity::list(&corner.value, Kind::Length, 2) {
            Ok(point) => points.push([point[0], point[1]]),
            Err(fault) => {
                fields.refuse(key, fault.message, "write each corner like \"0, 40 mm\"");
                return None;
            }
        }
    }
    Some(points)
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Option<SectionSpec>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let section = SectionSpec::read(&root);
        root.finish();
        (section, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn parts_are_shapes_placed_and_turned() {
        let (section, said) = read(concat!(
            "bond = 0.9\nparts = [\n",
            "{ rectangle = \"110 x 80 mm\", of = \"basalt and sand\" },\n",
            "{ tube = \"2 x 1 x 1/8 in\", of = \"structural steel\", at = \"0, 10 mm\", turn = \"90 deg\" },\n",
            "{ i_shape = \"55 x 100 x 4.1 x 5.7 mm\", radius = \"7 mm\", of = \"structural steel\" },\n",
            "{ polygon = [\"0, 0 mm\", \"40, 0 mm\", \"0, 40 mm\"], of = \"air\" },\n",
            "]\n"
        ));
        let section = section.unwrap();
        assert!(said.is_empty(), "{said:?}");
        assert_eq!(section.bond.unwrap().value, 0.9);
        assert_eq!(section.parts[0].shape, Shape::Rectangle { width: 0.11, height: 0.08 });
        assert!((section.parts[1].turn - std::f64::consts::FRAC_PI_2).abs() < 1e-12);
        assert!(matches!(section.parts[2].shape, Shape::IShape { root_radius: 0.007, .. }));
        assert!(matches!(&section.parts[3].shape, Shape::Polygon { points } if points.len() == 3));
    }

    #[test]
    fn a_wrong_shape_is_placed() {
        let said = read("parts = [{ tube = \"60 x 40 x 20 mm\", of = \"x\" }]\n").1;
        assert!(said[0].starts_with("d.toml:1:19  parts[1].tube: wall 20 mm"), "{said:?}");
        let said = read("parts = [{ tubes = \"60 x 40 x 3 mm\", of = \"x\" }]\n").1;
        assert!(said.iter().any(|p| p.contains("did you mean \"tube\"")), "{said:?}");
        let said = read("parts = [{ round = \"9 mm\", pipe = \"9 x 1 mm\", of = \"x\" }]\n").1;
        assert!(said[0].contains("round and pipe, not one shape"), "{said:?}");
        let said = read("parts = []\n").1;
        assert!(said[0].contains("no part"), "{said:?}");
        let said = read("parts = [{ rectangle = \"60 x 0 mm\", of = \"x\" }]\n").1;
        assert!(said[0].contains("must be more than zero"), "{said:?}");
    }
}
