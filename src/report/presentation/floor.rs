//! Motion between tip and work caused by floor vibration, as blocks.

use super::super::block::{Axis, Block, Curve, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_response::answer::BuildResponse;
use stillbed_response::floor::FloorPath;
use stillbed_study::response::Response;

const HZ: Unit = Unit::new("Hz", 1.0);

/// One floor direction of one build.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    #[serde(flatten)]
    path: &'a FloorPath,
}

fn rows(answer: &Response) -> Vec<Row<'_>> {
    let of = |build: &'_ BuildResponse| build.floor_paths.len();
    let mut rows = Vec::with_capacity(answer.builds.iter().map(of).sum());
    for build in &answer.builds {
        rows.extend(build.floor_paths.iter().map(|path| Row { build: &build.label, path }));
    }
    rows
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("build", "build", |row: &Row| row.build.to_string()),
        Column::text("floor moves along", "along", |row: &Row| row.path.along.to_string()),
        Column::number("worst ratio", Unit::NONE, "worst_ratio", |row: &Row| Some(row.path.worst_ratio)),
        Column::number("at", HZ, "worst_at_hz", |row: &Row| row.path.worst_at_hz).digits(3),
    ]
}

/// A table of the largest ratio by direction and, if a floor spectrum is given, the ratio over frequency for
/// each build's worst direction.
pub(super) fn blocks(answer: &Response) -> Vec<Block> {
    let rows = rows(answer);
    if rows.is_empty() {
        return Vec::new();
    }
    let title = "Motion of the path, counted from the floor, over that of the floor";
    let worst = |build: &BuildResponse| {
        let path = build.floor_paths.iter().max_by(|a, b| a.worst_ratio.total_cmp(&b.worst_ratio))?;
        let points = path.frequency_hz.iter().zip(&path.ratio).map(|(f, ratio)| [*f, *ratio]).collect();
        Some(Series::line(&format!("{}, floor along {}", build.label, path.along), points))
    };
    let curve = Curve {
        title: "What the floor's motion leaves of itself at the path".to_string(),
        x: Axis::log("frequency", HZ, "frequency_hz"),
        y: Axis::log("ratio", Unit::NONE, "ratio"),
        series: answer.builds.iter().filter_map(worst).collect(),
        marks: Vec::new(),
    };
    let mut blocks = vec![Block::Table(Table::new(title, &columns(), &rows))];
    if answer.builds.iter().any(|build| build.floor.is_some()) {
        blocks.push(Block::Curve(curve));
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::{Design, STARTER};
    use stillbed_study::response::{Response, ResponseOptions};

    #[test]
    fn columns_agree_with_json() {
        let design =
            Design::read("starter.toml", STARTER, &stillbed_material::Table::built_in()).design.unwrap();
        let options = ResponseOptions { range: None, path: None, floor: None };
        let answer = Response::compute(&design, &options).unwrap();
        assert_eq!(rows(&answer).len(), 3 * answer.builds.len());
        assert_eq!(disagreements(&columns(), &rows(&answer)), Vec::<String>::new());
    }
}
