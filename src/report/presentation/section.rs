//! Sections as blocks: drawings, and stiffnesses bonded, as stated and sliding side by side.

use super::super::block::{Area, Block, Filling, Label, Picture};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_input::quantity::{Kind, show};
use stillbed_study::sections::{Acting, BuildSections, PartAnswer, SectionAnswer, Sections};

const KN: Unit = Unit::new("kN", 1e3);
const KN_M2: Unit = Unit::new("kN m²", 1e3);

/// One section of one build, for CSV.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    #[serde(flatten)]
    section: &'a SectionAnswer,
}

/// One stiffness with the layers bonded, as stated, and sliding.
#[derive(Serialize)]
struct Ways {
    what: &'static str,
    unit: &'static str,
    bonded: String,
    as_stated: String,
    sliding: String,
    loss: String,
}

/// One row per section: centres, and stiffnesses as stated, in SI.
pub fn table(answer: &Sections) -> Table {
    Table::new("sections", &columns(), &rows(answer))
}

fn rows(answer: &Sections) -> Vec<Row<'_>> {
    let of = |build: &'_ BuildSections| build.sections.len();
    let mut rows = Vec::with_capacity(answer.builds.iter().map(of).sum());
    for build in &answer.builds {
        rows.extend(build.sections.iter().map(|section| Row { build: &build.name, section }));
    }
    rows
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    let mut columns = vec![
        Column::text("build", "build", |row: &Row| row.build.to_string()),
        Column::text("section", "name", |row: &Row| row.section.name.clone()),
        Column::number("mass", Unit::NONE, "mass_kg_per_m", |row: &Row| Some(row.section.mass_kg_per_m)),
        Column::number("elastic y", Unit::NONE, "elastic_centre_m.0", |row: &Row| {
            Some(row.section.elastic_centre_m[0])
        }),
        Column::number("elastic z", Unit::NONE, "elastic_centre_m.1", |row: &Row| {
            Some(row.section.elastic_centre_m[1])
        }),
        Column::number("shear y", Unit::NONE, "shear_centre_m.0", |row: &Row| {
            Some(row.section.shear_centre_m[0])
        }),
        Column::number("shear z", Unit::NONE, "shear_centre_m.1", |row: &Row| {
            Some(row.section.shear_centre_m[1])
        }),
    ];
    for stiffness in &STIFFNESSES {
        let (read, loss) = (stiffness.value, stiffness.loss);
        let key = format!("as_stated.{}", stiffness.key);
        columns.push(Column::number(stiffness.title, Unit::NONE, &key, move |row: &Row| {
            Some(read(&row.section.as_stated))
        }));
        let key = format!("as_stated.loss.{}", stiffness.loss_key);
        columns.push(Column::number("loss", Unit::NONE, &key, move |row: &Row| loss(&row.section.as_stated)));
    }
    columns
}

/// How one of the stiffnesses is titled, shown and read.
struct Named {
    title: &'static str,
    key: &'static str,
    loss_key: &'static str,
    unit: Unit,
    value: fn(&Acting) -> f64,
    loss: fn(&Acting) -> Option<f64>,
}

const STIFFNESSES: [Named; 7] = [
    Named {
        title: "axial EA",
        key: "ea_n",
        loss_key: "ea",
        unit: KN,
        value: |a| a.stiffness.ea_n.re,
        loss: |a| a.loss.ea,
    },
    Named {
        title: "bending about y",
        key: "ei_y_n_m2",
        loss_key: "ei_y",
        unit: KN_M2,
        value: |a| a.stiffness.ei_y_n_m2.re,
        loss: |a| a.loss.ei_y,
    },
    Named {
        title: "bending about z",
        key: "ei_z_n_m2",
        loss_key: "ei_z",
        unit: KN_M2,
        value: |a| a.stiffness.ei_z_n_m2.re,
        loss: |a| a.loss.ei_z,
    },
    Named {
        title: "bending product",
        key: "ei_yz_n_m2",
        loss_key: "ei_yz",
        unit: KN_M2,
        value: |a| a.stiffness.ei_yz_n_m2.re,
        loss: |a| a.loss.ei_yz,
    },
    Named {
        title: "torsion GJ",
        key: "gj_n_m2",
        loss_key: "gj",
        unit: KN_M2,
        value: |a| a.stiffness.gj_n_m2.re,
        loss: |a| a.loss.gj,
    },
    Named {
        title: "shear along y",
        key: "ga_y_n",
        loss_key: "ga_y",
        unit: KN,
        value: |a| a.stiffness.ga_y_n.re,
        loss: |a| a.loss.ga_y,
    },
    Named {
        title: "shear along z",
        key: "ga_z_n",
        loss_key: "ga_z",
        unit: KN,
        value: |a| a.stiffness.ga_z_n.re,
        loss: |a| a.loss.ga_z,
    },
];

/// Each section: its drawing, its stiffnesses, and the share of each part.
pub fn blocks(answer: &Sections) -> Vec<Block> {
    let mut blocks = Vec::new();
    for build in &answer.builds {
        blocks.push(Block::Heading(build.label.clone()));
        for section in &build.sections {
            blocks.extend(of_section(section));
        }
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The stiffnesses of all sections in one table per build, for designs with many sections; `file` is the
/// design, and `first` the name of its first build.
pub fn summary(answer: &Sections, file: &str, first: &str) -> Vec<Block> {
    let mut blocks: Vec<Block> =
        overview(answer).into_iter().filter(|block| !matches!(block, Block::Picture(_))).collect();
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    let next = format!("Each section drawn, bonded and sliding: stillbed section {file} --build {first}");
    blocks.push(Block::Note(next));
    blocks
}

/// [`blocks`] without the drawings.
pub fn in_figures(answer: &Sections) -> Vec<Block> {
    let drawn = |block: &Block| matches!(block, Block::Picture(_));
    blocks(answer).into_iter().filter(|block| !drawn(block)).collect()
}

/// The drawings of each build's sections side by side, and their stiffnesses as stated.
pub fn overview(answer: &Sections) -> Vec<Block> {
    let mut columns = vec![
        Column::text("section", "name", |s: &SectionAnswer| s.name.clone()),
        Column::number("mass", Unit::new("kg/m", 1.0), "mass_kg_per_m", |s: &SectionAnswer| {
            Some(s.mass_kg_per_m)
        }),
    ];
    for stiffness in
        STIFFNESSES.iter().filter(|s| ["ea_n", "ei_y_n_m2", "ei_z_n_m2", "gj_n_m2"].contains(&s.key))
    {
        let (read, key) = (stiffness.value, format!("as_stated.{}", stiffness.key));
        columns.push(Column::number(stiffness.title, stiffness.unit, &key, move |s: &SectionAnswer| {
            Some(read(&s.as_stated))
        }));
    }
    columns.push(Column::number("loss, bending", Unit::NONE, "as_stated.loss.ei_y", |s: &SectionAnswer| {
        s.as_stated.loss.ei_y
    }));
    let mut blocks = Vec::new();
    for build in &answer.builds {
        blocks.push(Block::Heading(build.label.clone()));
        blocks.extend(build.sections.iter().map(|section| Block::Picture(picture(section))));
        blocks.push(Block::Table(Table::new("Its sections", &columns, &build.sections)));
    }
    blocks
}

fn of_section(section: &SectionAnswer) -> Vec<Block> {
    let mut blocks = vec![Block::Picture(picture(section))];
    // Coordinates of centres are rounded to 1 µm.
    let whole = |x: f64| show((x * 1e6).round() * 1e-6 + 0.0, Kind::Length);
    let mm = |[y, z]: [f64; 2]| format!("{}, {}", whole(y), whole(z));
    let mut facts = format!(
        "{} per metre. Elastic centre at {}, shear centre at {}",
        show(section.mass_kg_per_m, Kind::Mass),
        mm(section.elastic_centre_m),
        mm(section.shear_centre_m)
    );
    if let Some(centre) = section.mass_centre_m {
        facts.push_str(&format!(", mass centre at {}", mm(centre)));
    }
    facts.push_str(&format!(
        " (y, z). Torsion and shear hold to {}.",
        stillbed_input::quantity::figures(100.0 * section.error, 1) + " %"
    ));
    if !section.plane_sections_hold {
        facts.push_str(
            " Plane sections do not hold: a soft layer lets the parts bend for themselves, so bonded \
             bending and shear are too soft here and their loss is not given.",
        );
    }
    blocks.push(Block::Note(facts));
    blocks.push(Block::Table(ways(section)));
    let solid: Vec<PartAnswer> = section.parts.iter().filter(|p| p.mass_kg_per_m > 0.0).cloned().collect();
    if solid.len() > 1 {
        let title = format!("{}: who carries what, as stated", section.name);
        blocks.push(Block::Table(Table::new(&title, &part_columns(), &solid)));
    }
    blocks
}

/// Centres closer than this are drawn as one, m.
const ONE_POINT: f64 = 0.1e-3;

/// The section to scale, with its centres.
pub fn picture(section: &SectionAnswer) -> Picture {
    let mut materials: Vec<Filling> = Vec::new();
    let mut areas = Vec::new();
    for part in &section.parts {
        let void = part.mass_kg_per_m == 0.0;
        for piece in part.outlines.iter().filter(|_| !void) {
            let Some((outline, holes)) = piece.split_first() else {
                continue;
            };
            let material = materials.iter().position(|m| m.name == part.of).unwrap_or_else(|| {
                materials.push(Filling::solid(&part.of, materials.len()));
                materials.len() - 1
            });
            areas.push(Area { outline: outline.clone(), holes: holes.to_vec(), material });
        }
    }
    let label = |at: [f64; 2], text: &str| Label { at, text: text.to_string() };
    let (elastic, shear) = (section.elastic_centre_m, section.shear_centre_m);
    let labels = match (elastic[0] - shear[0]).hypot(elastic[1] - shear[1]) < ONE_POINT {
        true => vec![label(elastic, "elastic and shear centre")],
        false => vec![label(elastic, "elastic centre"), label(shear, "shear centre")],
    };
    Picture { title: section.name.clone(), materials, areas, lines: Vec::new(), labels }
}

fn ways(section: &SectionAnswer) -> Table {
    let several = section.parts.iter().filter(|part| part.mass_kg_per_m > 0.0).count() > 1;
    let figure = |value: f64, unit: Unit| stillbed_input::quantity::figures(value / unit.size, 4);
    let largest = section.as_stated.stiffness.ei_y_n_m2.re.max(section.as_stated.stiffness.ei_z_n_m2.re);
    let rows: Vec<Ways> = STIFFNESSES
        .iter()
        .filter(|s| s.key != "ei_yz_n_m2" || (s.value)(&section.as_stated).abs() > 1e-6 * largest)
        .map(|s| Ways {
            what: s.title,
            unit: s.unit.name,
            bonded: figure((s.value)(&section.bonded), s.unit),
            as_stated: figure((s.value)(&section.as_stated), s.unit),
            sliding: figure((s.value)(&section.sliding), s.unit),
            loss: (s.loss)(&section.as_stated)
                .map_or("-".to_string(), |loss| stillbed_input::quantity::figures(loss, 3)),
        })
        .collect();
    let mut columns = vec![
        Column::text("stiffness", "what", |w: &Ways| w.what.to_string()),
        Column::text("", "unit", |w: &Ways| w.unit.to_string()),
    ];
    if several {
        columns.push(Column::text("bonded", "bonded", |w: &Ways| w.bonded.clone()));
    }
    columns.push(Column::text("as stated", "as_stated", |w: &Ways| w.as_stated.clone()));
    if several {
        columns.push(Column::text("sliding", "sliding", |w: &Ways| w.sliding.clone()));
    }
    columns.push(Column::text("loss factor", "loss", |w: &Ways| w.loss.clone()));
    let title = if several {
        format!("{}: stiffness, bond {}", section.name, stillbed_input::quantity::figures(section.bond, 3))
    } else {
        format!("{}: stiffness", section.name)
    };
    Table::new(&title, &columns, &rows)
}

fn part_columns() -> Vec<Column<PartAnswer>> {
    let share = |title: &str, key: &str, read: fn(&PartAnswer) -> f64| {
        Column::number(title, Unit::PERCENT, key, move |part: &PartAnswer| Some(read(part)))
    };
    vec![
        Column::text("part", "of", |part: &PartAnswer| part.of.clone()),
        Column::number("mass", Unit::new("kg/m", 1.0), "mass_kg_per_m", |part: &PartAnswer| {
            Some(part.mass_kg_per_m)
        }),
        share("axial", "axial", |part| part.shares.axial),
        share("bend y", "bending_y", |part| part.shares.bending_y),
        share("bend z", "bending_z", |part| part.shares.bending_z),
        share("torsion", "torsion", |part| part.shares.torsion),
        share("shear z", "shear_z", |part| part.shares.shear_z),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::Design;

    #[test]
    fn columns_agree_with_json() {
        let text = include_str!("../../../examples/smallest.toml");
        let design =
            Design::read("smallest.toml", text, &stillbed_material::Table::built_in()).design.unwrap();
        let answer = Sections::compute(&design).unwrap();
        assert_eq!(disagreements(&columns(), &rows(&answer)), Vec::<String>::new());
        assert_eq!(disagreements(&part_columns(), &answer.builds[0].sections[0].parts), Vec::<String>::new());
    }
}
