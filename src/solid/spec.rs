//! Bodies and patches as the design file states them.

use crate::closed_surface::{ClosedSurface, SurfaceFault};
use crate::part::{Part, Ring, upright};
use crate::patch::PatchSize;
use crate::stl::read_stl;
use nalgebra::{Matrix3, Rotation3, Vector3};
use std::sync::Arc;
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Fault, Kind, figures, show};
use stillbed_section::Shape;
use stillbed_section::spec::{read_shape_named, shape_keys};

/// A body as the design file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct BodySpec {
    /// Its parts; a later one displaces what it overlaps.
    pub parts: Vec<BodyPartSpec>,
    /// Its place in the file.
    pub place: Place,
}

/// One part: a form of one material.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyPartSpec {
    /// Its curves, in its own axes y and z.
    pub rings: Vec<Ring>,
    /// Its extent along its own x axis, m.
    pub length: f64,
    /// Where its middle is, global axes, m.
    pub middle: [f64; 3],
    /// Its own axes, one per column.
    pub axes: Matrix3<f64>,
    /// Name of its material or mix; `None` cuts what lies under it.
    pub of: Option<Located<String>>,
    /// Its place in the file.
    pub place: Place,
    /// The file of the surface that bounds it instead of curves; the origin of the file is at the middle.
    pub stl: Option<StlSpec>,
    /// Its form with the sizes that the design states.
    pub form: PartForm,
}

/// The form of a part, as far as it has sizes that may vary.
#[derive(Debug, Clone, PartialEq)]
pub enum PartForm {
    /// Length, width and height, m.
    Box([f64; 3]),
    /// Diameter and length, m.
    Cylinder([f64; 2]),
    /// A bar of this section.
    Bar(Shape),
    /// An outline or a file, which have none.
    Drawn,
}

impl PartForm {
    /// The key of the design file that states its sizes, and these, m; `None` where it has none.
    pub fn sizes(&self) -> Option<(&'static str, Vec<f64>)> {
        match self {
            PartForm::Box(sizes) => Some(("box", sizes.to_vec())),
            PartForm::Cylinder(sizes) => Some(("cylinder", sizes.to_vec())),
            PartForm::Bar(shape) => {
                let sizes: Vec<f64> = shape.sizes().iter().map(|(_, size)| *size).collect();
                (!sizes.is_empty()).then(|| (shape.key(), sizes))
            }
            PartForm::Drawn => None,
        }
    }

    /// Names of its sizes, in their order.
    pub fn size_names(&self) -> Vec<&'static str> {
        match self {
            PartForm::Box(_) => vec!["length", "width", "height"],
            PartForm::Cylinder(_) => vec!["diameter", "length"],
            PartForm::Bar(shape) => shape.sizes().iter().map(|(name, _)| *name).collect(),
            PartForm::Drawn => Vec::new(),
        }
    }
}

/// Distance within which a point lies on a face, m.
const ON_FACE: f64 = 1e-6;

impl BodyPartSpec {
    /// The part with other sizes, m, in the order of its form; `None` where they do not fit it.
    pub fn resized(&self, sizes: &[f64]) -> Option<BodyPartSpec> {
        let (form, rings, length) = match (&self.form, sizes) {
            (PartForm::Box(_), &[length, width, height]) => {
                (PartForm::Box([length, width, height]), vec![Ring::rectangle(width, height)], length)
            }
            (PartForm::Cylinder(_), &[diameter, length]) => {
                let ring = Ring::Circle { centre: [0.0; 2], radius: diameter / 2.0 };
                (PartForm::Cylinder([diameter, length]), vec![ring], length)
            }
            (PartForm::Bar(shape), sizes) => {
                let shape = shape.resized(sizes)?;
                let rings = outline(&shape);
                (PartForm::Bar(shape), rings, self.length)
            }
            _ => return None,
        };
        Some(BodyPartSpec { rings, length, form, ..self.clone() })
    }

    /// Where `place` (m) goes when this part becomes `other`, in which it lies on the same faces; as it is where it
    /// does not lie on this part.
    pub fn carried(&self, other: &BodyPartSpec, place: [f64; 3]) -> [f64; 3] {
        let own = self.axes.transpose() * (Vector3::from(place) - Vector3::from(self.middle));
        let (before, after) = (self.extents(), other.extents());
        let mut moved = own;
        for axis in 0..3 {
            if own[axis] < before[axis][0] - ON_FACE || own[axis] > before[axis][1] + ON_FACE {
                return place;
            }
            if let Some(side) = (0..2).find(|side| (own[axis] - before[axis][*side]).abs() < ON_FACE) {
                moved[axis] = after[axis][side];
            }
        }
        (other.axes * moved + Vector3::from(other.middle)).into()
    }

    /// Its extents along its own axes, low and high, m.
    fn extents(&self) -> [[f64; 2]; 3] {
        let none = [f64::INFINITY, f64::NEG_INFINITY];
        let mut found = [[-0.5 * self.length, 0.5 * self.length], none, none];
        for ring in &self.rings {
            let corners: Vec<[f64; 2]> = match ring {
                Ring::Circle { centre: [y, z], radius } => {
                    vec![[y - radius, z - radius], [y + radius, z + radius]]
                }
                Ring::Polygon(points) => points.clone(),
            };
            for corner in corners {
                for (axis, x) in corner.into_iter().enumerate() {
                    let [low, high] = &mut found[axis + 1];
                    (*low, *high) = (low.min(x), high.max(x));
                }
            }
        }
        found
    }

    /// The part made of the material of this number; `None` cuts what lies under it. No part where its file was not
    /// read.
    pub fn part(&self, material: Option<usize>) -> Option<Part> {
        if let Some(stl) = &self.stl {
            let surface = stl.content.surface()?.clone();
            return Some(Part::bounded(surface, self.middle, &self.axes, material));
        }
        Some(Part {
            rings: self.rings.clone(),
            length: self.length,
            middle: self.middle.into(),
            axes: self.axes,
            material,
            bounds: None,
        })
    }
}

/// A surface that a drawing program wrote, before and after its file is read.
#[derive(Debug, Clone, PartialEq)]
pub struct StlSpec {
    /// The file as the design names it.
    pub file: Located<String>,
    /// The name of the unit of its coordinates.
    pub unit: String,
    /// That unit in m.
    pub metres: f64,
    /// What the file holds.
    pub content: StlContent,
}

/// What the file of a surface holds.
#[derive(Debug, Clone, PartialEq)]
pub enum StlContent {
    /// Nobody has read it.
    Unread,
    /// It is no such surface, which has been reported.
    Refused,
    /// A surface.
    Surface(Arc<ClosedSurface>),
}

impl StlContent {
    /// The surface, where the file was read and is one.
    pub fn surface(&self) -> Option<&Arc<ClosedSurface>> {
        match self {
            StlContent::Surface(surface) => Some(surface),
            _ => None,
        }
    }
}

impl StlSpec {
    fn read(fields: &Fields) -> Option<StlSpec> {
        stated(fields, "unit", "\"mm\"")?;
        let (file, unit) = (fields.text("stl"), fields.text("unit")?);
        match quantity::single(&format!("1 {}", unit.value), Kind::Length) {
            Ok(metres) if unit.value.starts_with(|c: char| c.is_alphabetic()) => {
                Some(StlSpec { file: file?, unit: unit.value, metres, content: StlContent::Unread })
            }
            _ => {
                let message = format!("\"{}\" is no unit of length", unit.value);
                fields.refuse("unit", message, "name what one unit of the file is: mm, m, in");
                None
            }
        }
    }

    /// The surface that the `bytes` of its file are.
    ///
    /// # Errors
    /// What is wrong with them, and what to do.
    pub fn surface(&self, bytes: &[u8]) -> Result<ClosedSurface, Fault> {
        let triangles = read_stl(bytes, self.metres);
        let surface = triangles
            .and_then(|triangles| ClosedSurface::new(&triangles).map_err(|fault| self.words(&fault)));
        let named = |fault: Fault| format!("\"{}\": {}", self.file.value, fault.message);
        surface.map_err(|fault| Fault { help: fault.help.clone(), message: named(fault) })
    }

    /// What is wrong with a surface, and what to do.
    fn words(&self, fault: &SurfaceFault) -> Fault {
        let at = |place: &Vector3<f64>| {
            let numbers = place.map(|x| x / self.metres);
            let number = |x: f64| figures(if x.abs() < 1e-6 * numbers.amax() { 0.0 } else { x }, 6);
            format!("{}, {}, {} {}", number(numbers.x), number(numbers.y), number(numbers.z), self.unit)
        };
        let close = "mend it where it was drawn, and export it as one closed body";
        let unite = "unite what touches or overlaps where it was drawn, or make each a part of its own";
        let turn = "turn its faces outwards where it was drawn, and export it again";
        let (message, help) = match fault {
            SurfaceFault::Size(size) => (
                format!("the surface is {} across", show(*size, Kind::Length)),
                "is the unit right? it is what one unit of the file is",
            ),
            SurfaceFault::Open(place) => (format!("the surface is open at {}", at(place)), close),
            SurfaceFault::Turned(place) => {
                (format!("two triangles that meet at {} look to different sides", at(place)), turn)
            }
            SurfaceFault::Twice(place) => (format!("the triangle at {} is there twice", at(place)), unite),
            SurfaceFault::Crossing(place) => (format!("the surface crosses itself at {}", at(place)), unite),
            SurfaceFault::InsideOut(place) => (format!("the surface is inside out at {}", at(place)), turn),
            SurfaceFault::Within(place) => {
                (format!("both sides of the face at {} are inside", at(place)), unite)
            }
            SurfaceFault::Flat => ("the surface encloses nothing".to_string(), close),
        };
        Fault { message, help: help.to_string() }
    }
}

/// The forms of a part that no section has.
const FORMS: [&str; 4] = ["box", "cylinder", "prism", "stl"];

impl BodySpec {
    /// Reads one body.
    pub fn read(fields: &Fields) -> Option<BodySpec> {
        fields.need("parts", "[{ box = \"500 x 350 x 120 mm\", of = \"basalt and sand\" }]");
        let tables = fields.array("parts")?;
        if tables.is_empty() {
            fields.refuse(
                "parts",
                "the body has no part",
                "add { box = \"500 x 350 x 120 mm\", of = \"…\" }",
            );
            return None;
        }
        let read = |part: Fields| {
            let found = BodyPartSpec::read(&part);
            part.finish();
            found
        };
        let parts: Vec<Option<BodyPartSpec>> = tables.into_iter().map(read).collect();
        Some(BodySpec { parts: parts.into_iter().collect::<Option<_>>()?, place: fields.place() })
    }
}

impl BodyPartSpec {
    fn read(fields: &Fields) -> Option<BodyPartSpec> {
        fields.need("of", "\"MATERIAL\"");
        let of = fields.text("of");
        let known: Vec<&'static str> = FORMS.into_iter().chain(shape_keys()).collect();
        let named = fields.stated(&known);
        let mut stl = None;
        let found = match named[..] {
            ["stl"] => {
                stl = StlSpec::read(fields);
                let (at, turn) = (at(fields), turn(fields));
                stl.is_some().then_some((Vec::new(), 0.0, at, turn, PartForm::Drawn))
            }
            ["box"] => cuboid(fields),
            ["cylinder"] => cylinder(fields),
            ["prism"] => prism(fields),
            [shape] => bar(fields, shape),
            _ => {
                let what = if named.is_empty() { "no form".to_string() } else { named.join(" and ") };
                let place = named.first().map_or(fields.place(), |name| fields.place_of(name));
                fields.say(
                    Problem::error(place, format!("the part has {what}, not one form"))
                        .with_help(format!("name one of {}", known.join(", "))),
                );
                None
            }
        };
        let (rings, length, middle, axes, form) = found?;
        Some(BodyPartSpec { rings, length, middle, axes, of: Some(of?), place: fields.place(), stl, form })
    }
}

/// Curves, length, middle, axes and form of a part.
type Form = (Vec<Ring>, f64, [f64; 3], Matrix3<f64>, PartForm);

fn at(fields: &Fields) -> [f64; 3] {
    fields.list("at", Kind::Length, 3, Allowed::Any).map_or([0.0; 3], |at| [at[0], at[1], at[2]])
}

/// The turn of a part about its middle: around global x, then y, then z.
fn turn(fields: &Fields) -> Matrix3<f64> {
    let angles = fields.list("turn", Kind::Angle, 3, Allowed::Any).unwrap_or_else(|| vec![0.0; 3]);
    *Rotation3::from_euler_angles(angles[0], angles[1], angles[2]).matrix()
}

fn direction(fields: &Fields) -> Option<Vector3<f64>> {
    let along = fields.list("along", Kind::Ratio, 3, Allowed::Any);
    let along = along.map_or(Vector3::z(), |along| Vector3::new(along[0], along[1], along[2]));
    if along.norm() < 1e-9 {
        fields.refuse("along", "a direction of no length", "write it like \"0, 0, 1\"");
        return None;
    }
    Some(along)
}

/// Reports that `key`, which this form needs, is missing.
fn stated(fields: &Fields, key: &str, example: &str) -> Option<()> {
    if !fields.has(key) {
        let problem = Problem::error(fields.place(), format!("{key} is missing"));
        fields.say(problem.with_help(format!("add {key} = {example}")));
        return None;
    }
    Some(())
}

fn cuboid(fields: &Fields) -> Option<Form> {
    let sizes = fields.size("box", &[3], "LENGTH x WIDTH x HEIGHT")?;
    let form = PartForm::Box([sizes[0], sizes[1], sizes[2]]);
    Some((vec![Ring::rectangle(sizes[1], sizes[2])], sizes[0], at(fields), turn(fields), form))
}

fn cylinder(fields: &Fields) -> Option<Form> {
    let sizes = fields.size("cylinder", &[2], "DIAMETER x LENGTH")?;
    let rings = vec![Ring::Circle { centre: [0.0; 2], radius: sizes[0] / 2.0 }];
    let form = PartForm::Cylinder([sizes[0], sizes[1]]);
    Some((rings, sizes[1], at(fields), upright(direction(fields)?), form))
}

fn prism(fields: &Fields) -> Option<Form> {
    stated(fields, "height", "\"40 mm\"")?;
    let height = fields.list("height", Kind::Length, 1, Allowed::Positive);
    let along = direction(fields)?;
    let corners = fields.names("prism")?;
    let mut points = Vec::new();
    for corner in &corners {
        match quantity::list(&corner.value, Kind::Length, 2) {
            Ok(point) => points.push([point[0], point[1]]),
            Err(fault) => {
                fields.refuse("prism", fault.message, "write each corner like \"0, 40 mm\"");
                return None;
            }
        }
    }
    if let Err(fault) = (Shape::Polygon { points: points.clone() }).check() {
        let help = fault.help.unwrap_or_else(|| "list the corners in order around the outline".to_string());
        fields.refuse("prism", fault.message, help);
        return None;
    }
    // Drawn as seen from the end that `along` points to: for an upright prism first x, then y.
    let axes = match along.normalize() {
        up if (up - Vector3::z()).norm() < 1e-9 => {
            Matrix3::from_columns(&[Vector3::z(), Vector3::x(), Vector3::y()])
        }
        other => upright(other),
    };
    let height = height?[0];
    // The outline keeps its own coordinates; along its height `at` is the middle.
    Some((vec![Ring::Polygon(points)], height, at(fields), axes, PartForm::Drawn))
}

fn bar(fields: &Fields, shape: &str) -> Option<Form> {
    for key in ["from", "to"] {
        stated(fields, key, "\"-240, 0, 0 mm\"")?;
    }
    let end = |key| {
        let place = fields.list(key, Kind::Length, 3, Allowed::Any)?;
        Some(Vector3::new(place[0], place[1], place[2]))
    };
    let (from, to) = (end("from"), end("to"));
    let shape = read_shape_named(fields, shape);
    let (from, to, shape) = (from?, to?, shape?);
    let length = (to - from).norm();
    if length < 1e-9 {
        fields.refuse("to", "the bar ends where it begins", "state two places apart");
        return None;
    }
    let rings = outline(&shape);
    let turn = fields.list("turn", Kind::Angle, 1, Allowed::Any).map_or(0.0, |turn| turn[0]);
    let about_x = *Rotation3::from_axis_angle(&Vector3::x_axis(), turn).matrix();
    let axes = upright(to - from) * about_x;
    Some((rings, length, ((from + to) / 2.0).into(), axes, PartForm::Bar(shape)))
}

/// The curves of a shape about its own origin, in the axes of the section.
pub fn outline(shape: &Shape) -> Vec<Ring> {
    let circle = |radius: f64| Ring::Circle { centre: [0.0; 2], radius };
    match shape {
        Shape::Round { diameter } => vec![circle(diameter / 2.0)],
        Shape::Pipe { diameter, wall } => vec![circle(diameter / 2.0), circle(diameter / 2.0 - wall)],
        shape => {
            let part = stillbed_section::Part::new(shape.clone(), 0);
            part.rings().into_iter().map(Ring::Polygon).collect()
        }
    }
}

/// A patch as the design file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchSpec {
    /// Its size.
    pub size: PatchSize,
    /// Where it is a cross-section of a bar: the direction that it is square to and that of its first side, global axes.
    pub section: Option<[[f64; 3]; 2]>,
    /// Its place in the file.
    pub place: Place,
}

impl PatchSpec {
    /// Reads the patch of the point named `name` from the table of patches.
    pub fn read(patches: &Fields, name: &str) -> Option<PatchSpec> {
        let text = patches.text(name)?;
        let place = patches.place_of(name);
        let help = "write its sides, \"120 x 150 mm\", or its diameter, \"round 40 mm\"";
        let size = match text.value.trim().strip_prefix("round ") {
            Some(diameter) => quantity::list(diameter, Kind::Length, 1).map(|d| PatchSize::Round(d[0])),
            None => quantity::size(&text.value, Kind::Length, 2)
                .map(|sides| PatchSize::Rectangle(sides[0], sides[1])),
        };
        match size {
            Ok(size) if size.sides().iter().all(|side| *side > 0.0) => {
                Some(PatchSpec { size, section: None, place })
            }
            Ok(_) => {
                patches.refuse(name, "a patch of no size", help);
                None
            }
            Err(fault) => {
                patches.refuse(name, fault.message, help);
                None
            }
        }
    }
}
