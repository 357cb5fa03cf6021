//! How the design file states a joint or a foot by what a builder knows of it.
//!
//! ```text
//! { bolted = "4 x M8", torque = "20 N m", plate = "120 x 150 mm", finish = "milled" }
//! { glued = "120 x 150 mm", film = "0.2 mm", of = "epoxy" }        grouted likewise
//! { slide = "60 x 200 mm", finish = "scraped", load = "500 N" }
//! { rubber = "60 x 60 x 20 mm", hardness = "60 Shore A" }
//! { levelling = "round 40 mm", on = "concrete", screw = "M12 x 40 mm" }
//! { air = "60 cm2", volume = "0.3 l", across = "20 N/mm" }
//! { ball = "20 mm", of = "structural steel" }
//! ```

use super::area::Outline;
use super::bolt::Bolt;
use super::constants::{Finish, constant, names, nearest};
use super::rubber::HARDNESS;
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::Place;
use stillbed_input::quantity::{self, Kind, Spread, figures};

/// Ways to state a joint: by its springs, or by what they follow from.
pub const JOINTS: [&str; 6] = ["stiffness", "bolted", "glued", "grouted", "slide", "rubber"];

/// Ways to state a foot, likewise.
pub const FEET: [&str; 8] = ["stiffness", "bolted", "glued", "grouted", "rubber", "levelling", "air", "ball"];

/// A joint or a foot by what a builder knows of it.
#[derive(Debug, Clone, PartialEq)]
pub struct SeatSpec {
    /// What it is.
    pub kind: SeatKind,
    /// Which axis is square to its faces: 0 to 2.
    pub normal: usize,
    /// Share of its area that carries.
    pub carries: Spread,
    /// What its springs are multiplied by, as a tap found it; its limits replace those of the law.
    pub factor: Option<Spread>,
    /// Where it is stated.
    pub place: Place,
}

/// What a joint or a foot is.
#[derive(Debug, Clone, PartialEq)]
pub enum SeatKind {
    /// A plate that bolts press on a flat face.
    Bolted(BoltedSpec),
    /// A layer that is bonded to both sides.
    Film {
        /// Its outline.
        outline: Outline,
        /// Its thickness, m.
        thick: f64,
        /// What it is of.
        of: Located<String>,
        /// True for grout under a plate.
        grouted: bool,
    },
    /// Faces that slide on each other, at rest.
    Slide {
        /// Their outline.
        outline: Outline,
        /// Their finish.
        finish: String,
        /// What presses them, N; the weight where it is not stated.
        load: Option<f64>,
        /// Angle of dovetail faces to the flat ones, rad.
        dovetail: Option<f64>,
    },
    /// A rubber pad, bonded or held by friction.
    Rubber {
        /// Its outline.
        outline: Outline,
        /// Its thickness, m.
        thick: f64,
        /// Shore A.
        hardness: f64,
        /// What it is of, for its loss.
        of: Located<String>,
    },
    /// A levelling foot on a floor or a table.
    Levelling {
        /// Diameter of its pad, m.
        diameter: f64,
        /// What it stands on.
        on: Located<String>,
        /// Its screw, and the free length of it, m.
        screw: Option<(Bolt, f64)>,
    },
    /// An air spring.
    Air {
        /// Effective area, m².
        area: f64,
        /// Volume of its air, m³.
        volume: f64,
        /// Pressure above the air around, Pa; that which carries the weight where it is not stated.
        pressure: Option<f64>,
        /// Stiffness across, N/m.
        across: f64,
    },
    /// A ball in a groove of 90°, of a mount of three.
    Ball {
        /// Diameter, m.
        diameter: f64,
        /// What it is of.
        of: Located<String>,
        /// What the groove is of.
        on: Located<String>,
        /// What presses it in beside the weight, N.
        preload: f64,
    },
}

impl SeatKind {
    /// The area on which it carries; `None` for what carries on none of its own.
    #[must_use]
    pub fn outline(&self) -> Option<Outline> {
        match self {
            SeatKind::Bolted(BoltedSpec { outline, .. })
            | SeatKind::Film { outline, .. }
            | SeatKind::Slide { outline, .. }
            | SeatKind::Rubber { outline, .. } => Some(*outline),
            SeatKind::Levelling { .. } | SeatKind::Air { .. } | SeatKind::Ball { .. } => None,
        }
    }
}

/// A plate that bolts press on a flat face.
#[derive(Debug, Clone, PartialEq)]
pub struct BoltedSpec {
    /// How many bolts.
    pub count: usize,
    /// Their size.
    pub bolt: Bolt,
    /// Torque of each, N m.
    pub torque: f64,
    /// Outline of the plate.
    pub outline: Outline,
    /// Thickness of the plate, m; one and a half bolts where it is not stated.
    pub thick: f64,
    /// Finish of the faces.
    pub finish: String,
    /// State of the threads.
    pub threads: String,
    /// Class of the bolts.
    pub grade: String,
}

/// Distance of a bolt from the edge of its plate, in diameters; common practice.
pub(super) const EDGE: f64 = 1.5;

impl SeatSpec {
    /// Reads a joint that states `way`, one of [`JOINTS`] but the first; `None` where it cannot be read, which has been reported.
    pub fn read_joint(fields: &Fields, way: &str) -> Option<SeatSpec> {
        let normal = axis(fields);
        SeatSpec::read(fields, way, normal.unwrap_or(0))
    }

    /// Reads a foot that states `way`, one of [`FEET`]; it stands on a level face.
    pub fn read_foot(fields: &Fields, way: &str) -> Option<SeatSpec> {
        SeatSpec::read(fields, way, 2)
    }

    fn read(fields: &Fields, way: &str, normal: usize) -> Option<SeatSpec> {
        let kind = match way {
            "bolted" => bolted(fields).map(SeatKind::Bolted),
            "glued" => film(fields, "glued", false),
            "grouted" => film(fields, "grouted", true),
            "slide" => slide(fields),
            "rubber" => rubber(fields),
            "levelling" => levelling(fields),
            "air" => air(fields),
            _ => ball(fields),
        };
        let carries = fields.quantity("carries", Kind::Ratio, Allowed::Between(0.01, 1.0));
        let factor = fields.quantity("factor", Kind::Ratio, Allowed::Between(0.001, 1000.0));
        Some(SeatSpec {
            kind: kind?,
            normal,
            carries: carries.unwrap_or(Spread::exact(1.0)),
            factor,
            place: fields.place(),
        })
    }
}

const AXES: [&str; 3] = ["x", "y", "z"];

fn axis(fields: &Fields) -> Option<usize> {
    let word = fields.word("normal", &AXES)?;
    let found = AXES.iter().position(|axis| *axis == word.value);
    if found.is_none() {
        fields.refuse("normal", format!("\"{}\" is no axis", word.value), "write \"x\", \"y\" or \"z\"");
    }
    found
}

fn one(fields: &Fields, key: &str, kind: Kind, allowed: Allowed) -> Option<f64> {
    fields.list(key, kind, 1, allowed).map(|list| list[0])
}

/// The finish at `finish`, which must be in the table.
fn finish(fields: &Fields) -> Option<String> {
    fields.need("finish", "\"milled\"");
    let name = fields.text("finish")?.value;
    if Finish::named(&name).is_none() {
        fields.refuse("finish", format!("no finish \"{name}\""), nearest("flat joint", &name));
        return None;
    }
    Some(name)
}

/// The name at `key` of the constant `quantity` of bolts, or else `usual`.
fn of_bolts(fields: &Fields, key: &str, quantity: &str, usual: &str) -> Option<String> {
    let Some(name) = fields.text(key) else { return Some(usual.to_string()) };
    let known = |name: &str| constant("bolt", name, quantity).is_some_and(|constant| constant.name == name);
    if !known(&name.value) {
        let all: Vec<&str> = names("bolt").into_iter().filter(|name| known(name)).collect();
        fields.refuse(
            key,
            format!("no {quantity} of \"{}\"", name.value),
            format!("known: {}", all.join(", ")),
        );
        return None;
    }
    Some(name.value)
}

/// The outline in `text`: two sides or a diameter, each followed by a thickness where `layered`.
fn outline(fields: &Fields, key: &str, layered: bool) -> Option<(Outline, f64)> {
    let text = fields.text(key)?.value;
    let help = match layered {
        true => "write two sides and the thickness, \"60 x 60 x 20 mm\", or \"round 50 x 20 mm\"",
        false => "write its sides, \"120 x 150 mm\", or its diameter, \"round 40 mm\"",
    };
    let more = usize::from(layered);
    let round = text.trim().strip_prefix("round ");
    let read = match round {
        Some(rest) => quantity::size(rest, Kind::Length, 1 + more),
        None => quantity::size(&text, Kind::Length, 2 + more),
    };
    match read {
        Ok(sizes) if sizes.iter().all(|size| *size > 0.0) => {
            let outline = match round {
                Some(_) => Outline::Round(sizes[0]),
                None => Outline::Rectangle([sizes[0], sizes[1]]),
            };
            Some((outline, if layered { sizes[sizes.len() - 1] } else { 0.0 }))
        }
        Ok(_) => {
            fields.refuse(key, format!("\"{text}\" has a size of zero"), help);
            None
        }
        Err(fault) => {
            fields.refuse(key, fault.message, help);
            None
        }
    }
}

/// The bolt in `text`, as in M8.
fn metric(fields: &Fields, key: &str, text: &str) -> Option<Bolt> {
    let size = text.trim().strip_prefix(['M', 'm']).and_then(|size| size.trim().parse::<f64>().ok());
    let bolt = size.and_then(Bolt::metric);
    if bolt.is_none() {
        let help = format!("known: {}", Bolt::sizes().join(", "));
        fields.refuse(key, format!("\"{}\" is no bolt with a coarse thread", text.trim()), help);
    }
    bolt
}

fn bolted(fields: &Fields) -> Option<BoltedSpec> {
    let text = fields.text("bolted")?.value;
    let parts = text.split_once(['x', '×', 'X']).map(|(count, size)| (count.trim().parse::<usize>(), size));
    let bolts = match parts {
        Some((Ok(count @ 1..=64), size)) => metric(fields, "bolted", size).map(|bolt| (count, bolt)),
        _ => {
            let help = "write their number and size, \"4 x M8\"";
            fields.refuse("bolted", format!("\"{text}\" is not a number of bolts and their size"), help);
            None
        }
    };
    fields.need("plate", "\"120 x 150 mm\"");
    let plate = outline(fields, "plate", false);
    let (finish, thick) = (finish(fields), one(fields, "thick", Kind::Length, Allowed::Positive));
    let threads = of_bolts(fields, "threads", "nut factor", "as received");
    let grade = of_bolts(fields, "grade", "proof stress", "8.8");
    let example =
        bolts.as_ref().zip(threads.as_ref()).zip(grade.as_ref()).map(|(((_, bolt), threads), grade)| {
            let of = |name: &str, quantity| constant("bolt", name, quantity).map_or(0.0, |c| c.si());
            let torque = bolt.usual_torque(of(grade, "proof stress"), of(threads, "nut factor"));
            format!("\"{} N m\"", figures(torque, 2))
        });
    fields.need("torque", example.as_deref().unwrap_or("\"20 N m\""));
    let torque = one(fields, "torque", Kind::Torque, Allowed::Positive);
    let ((count, bolt), (outline, _)) = (bolts?, plate?);
    let room = outline.sides().map(|side| side - 2.0 * EDGE * bolt.diameter);
    let rows = if count > 1 { 1.0 } else { 0.0 };
    // Two bolts stand in a row along the longer side.
    let across = if count > 2 { rows } else { 0.0 };
    let needs = [rows, across].map(|rows| rows * 2.0 * bolt.diameter);
    let (long, short) = (room[0].max(room[1]), room[0].min(room[1]));
    if long < needs[0] || short < needs[1] {
        let least = |rows: f64| figures(1e3 * (2.0 * EDGE + 2.0 * rows) * bolt.diameter, 3);
        let message =
            format!("the plate is too small for {count} bolts of {} mm", figures(1e3 * bolt.diameter, 3));
        let help = format!(
            "they need {} x {} mm, {EDGE} diameters to the edge and 2 between; make it larger, or the bolts fewer",
            least(rows),
            least(across)
        );
        fields.refuse("plate", message, help);
        return None;
    }
    let thick = thick.unwrap_or(EDGE * bolt.diameter);
    Some(BoltedSpec {
        count,
        bolt,
        torque: torque?,
        outline,
        thick,
        finish: finish?,
        threads: threads?,
        grade: grade?,
    })
}

fn film(fields: &Fields, key: &str, grouted: bool) -> Option<SeatKind> {
    let outline = outline(fields, key, false);
    fields.need("film", if grouted { "\"15 mm\"" } else { "\"0.2 mm\"" });
    fields.need("of", if grouted { "\"concrete C60\"" } else { "\"epoxy\"" });
    let thick = one(fields, "film", Kind::Length, Allowed::Positive);
    let of = fields.text("of");
    Some(SeatKind::Film { outline: outline?.0, thick: thick?, of: of?, grouted })
}

fn slide(fields: &Fields) -> Option<SeatKind> {
    let (outline, finish) = (outline(fields, "slide", false), finish(fields));
    let load = one(fields, "load", Kind::Force, Allowed::Positive);
    let dovetail = one(fields, "dovetail", Kind::Angle, Allowed::Between(0.5, 1.4));
    Some(SeatKind::Slide { outline: outline?.0, finish: finish?, load, dovetail })
}

fn rubber(fields: &Fields) -> Option<SeatKind> {
    let pad = outline(fields, "rubber", true);
    fields.need("hardness", "\"60 Shore A\"");
    let text = fields.text("hardness");
    let hardness = text.and_then(|text| {
        let number = text.value.trim().strip_suffix("Shore A").map(|number| number.trim().parse::<f64>());
        match number {
            Some(Ok(hardness)) if (HARDNESS[0]..=HARDNESS[1]).contains(&hardness) => Some(hardness),
            _ => {
                let message = format!(
                    "\"{}\" is no hardness from {} to {} Shore A",
                    text.value, HARDNESS[0], HARDNESS[1]
                );
                fields.refuse("hardness", message, "write it like \"60 Shore A\"");
                None
            }
        }
    });
    let of =
        fields.text("of").unwrap_or(Located { value: "natural rubber".to_string(), place: fields.place() });
    let (outline, thick) = pad?;
    Some(SeatKind::Rubber { outline, thick, hardness: hardness?, of })
}

fn levelling(fields: &Fields) -> Option<SeatKind> {
    let pad = outline(fields, "levelling", false);
    let diameter = match pad {
        Some((Outline::Round(diameter), _)) => Some(diameter),
        Some(_) => {
            fields.refuse(
                "levelling",
                "the pad of a levelling foot is round here",
                "write its diameter, \"round 40 mm\"",
            );
            None
        }
        None => None,
    };
    fields.need("on", "\"concrete C30\"");
    let on = fields.text("on");
    let screw = fields.text("screw").map(|text| {
        let parts = text.value.split_once(['x', '×']);
        let length =
            parts.and_then(|(_, length)| quantity::single(length, Kind::Length).ok()).filter(|l| *l > 0.0);
        if length.is_none() {
            let message = format!("\"{}\" is not a screw and its free length", text.value);
            fields.refuse("screw", message, "write them like \"M12 x 40 mm\"");
        }
        let bolt = parts.filter(|_| length.is_some()).and_then(|(size, _)| metric(fields, "screw", size));
        bolt.zip(length)
    });
    let screw = match screw {
        Some(stated) => Some(stated?),
        None => None,
    };
    Some(SeatKind::Levelling { diameter: diameter?, on: on?, screw })
}

fn air(fields: &Fields) -> Option<SeatKind> {
    fields.need("volume", "\"0.3 l\"");
    fields.need("across", "\"20 N/mm\"");
    let area = one(fields, "air", Kind::Area, Allowed::Positive);
    let volume = one(fields, "volume", Kind::Volume, Allowed::Positive);
    let across = one(fields, "across", Kind::Stiffness, Allowed::Positive);
    let pressure = one(fields, "pressure", Kind::Stress, Allowed::Positive);
    Some(SeatKind::Air { area: area?, volume: volume?, pressure, across: across? })
}

fn ball(fields: &Fields) -> Option<SeatKind> {
    fields.need("of", "\"structural steel\"");
    let diameter = one(fields, "ball", Kind::Length, Allowed::Positive);
    let of = fields.text("of");
    let on = fields.text("on").or(of.clone());
    let preload = one(fields, "preload", Kind::Force, Allowed::NotNegative).unwrap_or(0.0);
    Some(SeatKind::Ball { diameter: diameter?, of: of?, on: on?, preload })
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Option<SeatSpec>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let way =
            [JOINTS.as_slice(), FEET.as_slice()].concat().into_iter().find(|way| root.has(way)).unwrap();
        let found = SeatSpec::read_joint(&root, way);
        root.finish();
        (found, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn what_a_builder_knows_is_read() {
        let (seat, said) = read(
            "bolted = \"4 x M8\"\ntorque = \"20 N m\"\nplate = \"120 x 150 mm\"\nfinish = \"milled\"\ncarries = 0.5\n",
        );
        assert_eq!(said, Vec::<String>::new());
        let SeatKind::Bolted(bolted) = seat.unwrap().kind else { panic!("not bolted") };
        assert_eq!((bolted.count, bolted.torque, bolted.threads.as_str()), (4, 20.0, "as received"));
        assert_eq!(bolted.thick, 0.012);
        for text in [
            "glued = \"120 x 150 mm\"\nfilm = \"0.2 mm\"\nof = \"epoxy\"\n",
            "slide = \"60 x 200 mm\"\nfinish = \"scraped\"\nload = \"500 N\"\ndovetail = \"55 deg\"\nnormal = \"z\"\n",
            "rubber = \"round 50 x 20 mm\"\nhardness = \"60 Shore A\"\n",
            "levelling = \"round 40 mm\"\non = \"concrete\"\nscrew = \"M12 x 40 mm\"\n",
            "air = \"60 cm2\"\nvolume = \"0.3 l\"\npressure = \"5 bar\"\nacross = \"20 N/mm\"\n",
            "ball = \"20 mm\"\nof = \"structural steel\"\npreload = \"200 N\"\n",
        ] {
            let (seat, said) = read(text);
            assert!(seat.is_some() && said.is_empty(), "{text}: {said:?}");
        }
    }

    #[test]
    fn what_is_wrong_is_said_with_its_repair() {
        let said = |text: &str, part: &str| {
            let (_, said) = read(text);
            assert!(said.iter().any(|s| s.contains(part)), "{part}: {said:?}");
        };
        let plate = "plate = \"120 x 150 mm\"\nfinish = \"milled\"\n";
        // 0.75 x 600 MPa x 36.6 mm² x 0.2 x 8 mm.
        said(&format!("bolted = \"4 x M8\"\n{plate}"), "\"torque\" is missing; add torque = \"26 N m\"");
        said(
            "bolted = \"4 x M8\"\ntorque = \"20 N m\"\nplate = \"120 x 150 mm\"\nfinish = \"miled\"\n",
            "no finish \"miled\"; did you mean \"milled\"?",
        );
        said(
            &format!("bolted = \"4 x M7\"\ntorque = \"20 N m\"\n{plate}"),
            "\"M7\" is no bolt with a coarse thread",
        );
        said(&format!("bolted = \"M8\"\ntorque = \"20 N m\"\n{plate}"), "not a number of bolts");
        said(
            "bolted = \"4 x M8\"\ntorque = \"20 N m\"\nplate = \"30 x 150 mm\"\nfinish = \"milled\"\n",
            "the plate is too small for 4 bolts of 8 mm; they need 40 x 40 mm",
        );
        said(&format!("bolted = \"4 x M8\"\ntorque = \"20\"\n{plate}"), "a torque");
        said(
            &format!("bolted = \"4 x M8\"\ntorque = \"20 N m\"\n{plate}grade = \"9.9\"\n"),
            "known: 8.8, 10.9, 12.9",
        );
        said("rubber = \"60 x 60 mm\"\nhardness = \"60 Shore A\"\n", "60 x 60 x 20 mm");
        said("rubber = \"60 x 60 x 20 mm\"\nhardness = \"60\"\n", "is no hardness from 20 to 80 Shore A");
        said("levelling = \"40 x 40 mm\"\non = \"concrete\"\n", "is round here");
        said("air = \"60 cm2\"\nvolume = \"0.3 l\"\n", "\"across\" is missing; add across = \"20 N/mm\"");
        said("glued = \"120 x 150 mm\"\nof = \"epoxy\"\n", "\"film\" is missing");
    }
}
