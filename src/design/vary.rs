//! What may vary in a build, and between which choices? The tables `[vary.NAME]` and `[gaps]`.
//!
//! ```toml
//! [vary.rail_tube]
//! section = ["rail", "bridge"]       # the same choice in both
//! part = 2                           # counted from 1
//! stock = "rectangular tube, aluminium 6061-T6"
//!
//! [vary.rail_height]
//! section = "rail"
//! part = 2
//! at = { from = "0, -20 mm", to = "0, 20 mm", steps = 5 }
//! ```

use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::Place;
use stillbed_input::quantity::Kind;

/// One thing that may vary.
#[derive(Debug, Clone, PartialEq)]
pub struct VarySpec {
    /// What it is, and its choices.
    pub choices: Choices,
    /// Another varied thing with as many choices; both change together, step by step.
    pub with: Option<Located<String>>,
    /// Where it is stated.
    pub place: Place,
}

/// A part of one or several sections.
#[derive(Debug, Clone, PartialEq)]
pub struct PartPlace {
    /// The sections in which the same choice is made.
    pub sections: Vec<Located<String>>,
    /// Its number, from 1.
    pub part: Located<usize>,
}

/// A part of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyPartPlace {
    /// The body.
    pub body: Located<String>,
    /// Its number, from 1.
    pub part: Located<usize>,
}

/// What may vary, and its choices.
#[derive(Debug, Clone, PartialEq)]
pub enum Choices {
    /// A part becomes a size of the stock.
    Stock {
        /// Which part.
        part: PartPlace,
        /// Forms and materials to choose from.
        racks: Vec<Rack>,
        /// Whether the larger side stands upright; `None` keeps it as the drawn part lies.
        upright: Option<bool>,
        /// Number of the part, from 1, that fills its inside and follows its size.
        core: Option<Located<usize>>,
    },
    /// A part takes other sizes of its own shape, m.
    Size {
        /// Which part.
        part: PartPlace,
        /// In the order in which its shape states them.
        sizes: Vec<Vec<f64>>,
        /// Number of the part, from 1, that fills its inside and follows its size.
        core: Option<Located<usize>>,
    },
    /// A part moves in its section.
    At {
        /// Which part.
        part: PartPlace,
        /// y and z, m.
        at: Vec<[f64; 2]>,
    },
    /// A part of a body takes other sizes of its own form, m; points on it move with its faces.
    BodySize {
        /// Which part.
        part: BodyPartPlace,
        /// In the order in which its form states them.
        sizes: Vec<Vec<f64>>,
    },
    /// A part of a body moves, and points on it with it.
    BodyAt {
        /// Which part.
        part: BodyPartPlace,
        /// Its middle, global axes, m.
        at: Vec<[f64; 3]>,
    },
    /// How far the parts of sections act together.
    Bond {
        /// The sections.
        sections: Vec<Located<String>>,
        /// 0 to 1.
        bonds: Vec<f64>,
    },
    /// The binder's share of a mix by weight; the other ingredients keep their proportions.
    Share {
        /// The mix.
        mix: Located<String>,
        /// Of binder and aggregates together, 0 to 1.
        shares: Vec<f64>,
        /// Whether shares that leave voids between the grains unfilled may be chosen.
        unfilled: bool,
    },
    /// The stiffness of feet.
    Foot {
        /// The feet.
        foot: Located<String>,
        /// Along global x, y, z, N/m.
        stiffness: Vec<[f64; 3]>,
    },
}

/// A form of the stock in one material, such as `square tube, aluminium 6061-T6`.
#[derive(Debug, Clone, PartialEq)]
pub struct Rack {
    /// Its form.
    pub form: String,
    /// Its material.
    pub of: Located<String>,
}

/// What must stay free between parts, and what can be welded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gaps {
    /// Least thickness of fill over a skeleton that is cast in, m.
    pub cover: f64,
    /// Least width of a gap that fill has to pass, in diameters of the largest grain.
    pub stones: f64,
    /// Thinnest wall that can be welded, m.
    pub wall: f64,
}

/// Default of that width, in diameters of the largest grain: common practice.
const STONES: f64 = 3.0;

impl Default for Gaps {
    fn default() -> Gaps {
        Gaps { cover: 0.0, stones: STONES, wall: 0.0 }
    }
}

impl Gaps {
    /// Reads the table `gaps` of the file.
    pub fn read(root: &Fields) -> Gaps {
        let mut gaps = Gaps::default();
        let Some(fields) = root.fields("gaps") else { return gaps };
        let number = |key, kind, default: f64| {
            fields.list(key, kind, 1, Allowed::NotNegative).map_or(default, |value| value[0])
        };
        gaps.cover = number("cover", Kind::Length, gaps.cover);
        gaps.stones = number("stones", Kind::Ratio, gaps.stones);
        gaps.wall = number("wall", Kind::Length, gaps.wall);
        fields.finish();
        gaps
    }
}

/// The keys that say what varies, each with an example.
const WHAT: [(&str, &str); 6] = [
    ("stock", "\"square tube, structural steel\""),
    ("size", "[\"90 x 100 mm\", \"90 x 120 mm\"]"),
    ("at", "{ from = \"0, 10 mm\", to = \"0, 30 mm\", steps = 5 }"),
    ("bond", "[0.6, 0.9]"),
    ("share", "[18, 20, 22]"),
    ("stiffness", "[\"20, 20, 80 N/um\", \"40, 40, 160 N/um\"]"),
];

impl VarySpec {
    /// Reads one thing that may vary.
    pub fn read(fields: &Fields) -> Option<VarySpec> {
        let stated = fields.stated(&WHAT.map(|(key, _)| key));
        let with = fields.text("with");
        let [what] = stated[..] else {
            let found = match stated.is_empty() {
                true => "nothing varies here".to_string(),
                false => format!("{} vary here", stated.join(" and ")),
            };
            let known = WHAT.map(|(key, _)| key).join(", ");
            let example = format!("name one of {known}, as in {} = {}", WHAT[0].0, WHAT[0].1);
            let key = stated.first().copied().unwrap_or("stock");
            fields.refuse(key, format!("{found}, not one thing"), example);
            // The other keys here are not at fault, so they count as read.
            fields.keys();
            return None;
        };
        let choices = match what {
            "stock" => stock(fields),
            "size" if fields.has("body") => {
                let part = body_part(fields);
                let sizes = fields.size_series("size", &[3, 1, 2, 4]);
                Some(Choices::BodySize { part: part?, sizes: sizes? })
            }
            "at" if fields.has("body") => {
                let part = body_part(fields);
                let at = fields.series("at", Kind::Length, 3, Allowed::Any)?;
                Some(Choices::BodyAt { part: part?, at: at.iter().map(|at| [at[0], at[1], at[2]]).collect() })
            }
            "size" => {
                let part = part(fields);
                let core = if fields.has("core") { Some(counted(fields, "core")?) } else { None };
                let sizes = fields.size_series("size", &[2, 1, 3, 4]);
                Some(Choices::Size { part: part?, sizes: sizes?, core })
            }
            "at" => {
                let part = part(fields);
                let at = fields.series("at", Kind::Length, 2, Allowed::Any);
                Some(Choices::At { part: part?, at: at?.iter().map(|at| [at[0], at[1]]).collect() })
            }
            "bond" => {
                let sections = sections(fields);
                let bonds = fields.series("bond", Kind::Ratio, 1, Allowed::Between(0.0, 1.0));
                Some(Choices::Bond { sections: sections?, bonds: bonds?.iter().map(|b| b[0]).collect() })
            }
            "share" => {
                fields.need("mix", "\"MIX\"");
                let mix = fields.text("mix");
                let shares = fields.series("share", Kind::Ratio, 1, Allowed::Between(0.1, 99.0));
                let unfilled = if fields.has("unfilled") { fields.flag("unfilled")? } else { false };
                let shares = shares?.iter().map(|s| s[0] / 100.0).collect();
                Some(Choices::Share { mix: mix?, shares, unfilled })
            }
            _ => {
                fields.need("foot", "\"FOOT\"");
                let foot = fields.text("foot");
                let list = fields.series("stiffness", Kind::Stiffness, 3, Allowed::Positive);
                let stiffness = list?.iter().map(|k| [k[0], k[1], k[2]]).collect();
                Some(Choices::Foot { foot: foot?, stiffness })
            }
        };
        Some(VarySpec { choices: choices?, with, place: fields.place() })
    }

    /// The materials that its choices introduce.
    pub fn materials(&self) -> impl Iterator<Item = &Located<String>> {
        let racks = match &self.choices {
            Choices::Stock { racks, .. } => racks.as_slice(),
            _ => &[],
        };
        racks.iter().map(|rack| &rack.of)
    }
}

fn sections(fields: &Fields) -> Option<Vec<Located<String>>> {
    fields.need("section", "\"SECTION\"");
    fields.names("section")
}

fn counted(fields: &Fields, key: &str) -> Option<Located<usize>> {
    let value = *fields.counts(key)?.first()?;
    Some(Located { value, place: fields.place_of(key) })
}

fn numbered(fields: &Fields) -> Option<Located<usize>> {
    match fields.has("part") {
        true => counted(fields, "part"),
        false => Some(Located { value: 1, place: fields.place() }),
    }
}

fn part(fields: &Fields) -> Option<PartPlace> {
    let (sections, part) = (sections(fields), numbered(fields));
    Some(PartPlace { sections: sections?, part: part? })
}

fn body_part(fields: &Fields) -> Option<BodyPartPlace> {
    let (body, part) = (fields.text("body"), numbered(fields));
    Some(BodyPartPlace { body: body?, part: part? })
}

fn stock(fields: &Fields) -> Option<Choices> {
    let part = part(fields);
    let core = if fields.has("core") { Some(counted(fields, "core")?) } else { None };
    let upright = fields.word("lies", &["flat", "upright"]).map(|lies| match lies.value.as_str() {
        "upright" => Some(true),
        "flat" => Some(false),
        other => {
            fields.refuse("lies", format!("\"{other}\" is no way to lie"), "write flat or upright");
            None
        }
    });
    let mut racks = Vec::new();
    let names = fields.names("stock")?;
    if names.is_empty() {
        fields.refuse(
            "stock",
            "the stock is empty",
            "name a form and a material, as in \"square tube, structural steel\"",
        );
    }
    for Located { value, place } in &names {
        match value.split_once(',') {
            Some((form, of)) if !form.trim().is_empty() && !of.trim().is_empty() => racks.push(Rack {
                form: form.trim().to_string(),
                of: Located { value: of.trim().to_string(), place: place.clone() },
            }),
            _ => fields.say(
                stillbed_input::problem::Problem::error(place.clone(), format!("\"{value}\" is no stock"))
                    .with_help("write the form, then the material: \"square tube, structural steel\""),
            ),
        }
    }
    let whole = racks.len() == names.len() && !racks.is_empty();
    whole.then_some(Choices::Stock { part: part?, racks, upright: upright.flatten(), core })
}

#[cfg(test)]
mod tests {
    use super::super::named::Named;
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Named<VarySpec>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let vary = Named::read_tables(&root, "vary", VarySpec::read);
        root.finish();
        (vary, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn each_kind_of_choice_is_read() {
        let (vary, said) = read(concat!(
            "[vary.tube]\nsection = [\"rail\", \"post\"]\npart = 2\nstock = \"square tube, aluminium 6061-T6\"\n",
            "[vary.mould]\nsection = \"rail\"\nsize = { from = \"90 x 80 mm\", to = \"90 x 120 mm\", steps = 3 }\n",
            "[vary.height]\nsection = \"rail\"\npart = 2\nat = [\"0, 10 mm\"]\nwith = \"mould\"\n",
            "[vary.grip]\nsection = \"rail\"\nbond = [0.5, 1]\n",
            "[vary.resin]\nmix = \"sand\"\nshare = [18, 20]\n",
            "[vary.feet]\nfoot = \"levelling\"\nstiffness = [\"20, 20, 80 N/um\"]\n",
            "[vary.thick]\nbody = \"bed\"\nsize = [\"500 x 350 x 120 mm\"]\n",
            "[vary.place]\nbody = \"bed\"\npart = 2\nat = [\"0, 10, 20 mm\"]\n",
        ));
        assert!(said.is_empty(), "{said:?}");
        assert_eq!(vary.len(), 8);
        let Choices::BodySize { part, sizes } = &vary.get("thick").unwrap().choices else { panic!() };
        assert_eq!((part.body.value.as_str(), part.part.value, sizes[0][2]), ("bed", 1, 0.12));
        let Choices::BodyAt { at, .. } = &vary.get("place").unwrap().choices else { panic!() };
        assert_eq!(at, &[[0.0, 0.01, 0.02]]);
        let Choices::Stock { part, racks, .. } = &vary.get("tube").unwrap().choices else { panic!() };
        assert_eq!((part.sections.len(), part.part.value), (2, 2));
        assert_eq!(
            (racks[0].form.as_str(), racks[0].of.value.as_str()),
            ("square tube", "aluminium 6061-T6")
        );
        let Choices::Size { sizes, .. } = &vary.get("mould").unwrap().choices else { panic!() };
        assert!((sizes[1][1] - 0.1).abs() < 1e-12);
        let Choices::Share { shares, .. } = &vary.get("resin").unwrap().choices else { panic!() };
        assert_eq!(shares, &[0.18, 0.2]);
    }

    #[test]
    fn what_does_not_vary_one_thing_is_refused() {
        let said = read("[vary.a]\nsection = \"rail\"\n").1;
        assert!(said[0].contains("nothing varies here") && said.len() == 1, "{said:?}");
        let said = read("[vary.a]\nsection = \"rail\"\nstock = \"tube\"\n").1;
        assert!(said[0].contains("\"tube\" is no stock"), "{said:?}");
        let said = read("[vary.a]\nsection = \"rail\"\nstock = []\n").1;
        assert!(said[0].contains("the stock is empty"), "{said:?}");
        let said = read("[vary.a]\nsection = \"rail\"\nbond = [0.5]\nat = [\"0, 0 mm\"]\n").1;
        assert!(said[0].contains("at and bond vary here"), "{said:?}");
    }
}
