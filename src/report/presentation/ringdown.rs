//! The decay after a tap as blocks.

use super::super::block::{Axis, Block, Curve, Series, Tone};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use super::missed::missed;
use super::spread::{drawn, holds_at};
use serde::Serialize;
use stillbed_input::quantity::{Kind, show};
use stillbed_study::ringdown::{BuildRingDown, RingDownSpread, RingDowns};
use stillbed_study::spread::AnswerSpread;

const HZ: Unit = Unit::new("Hz", 1.0);
const UM: Unit = Unit::new("µm", 1e-6);

/// One instant of one build, for CSV.
#[derive(Serialize)]
struct Instant<'a> {
    build: &'a str,
    time_s: f64,
    motion_m: f64,
    envelope_m: f64,
    envelope_low_m: Option<f64>,
    envelope_median_m: Option<f64>,
    envelope_high_m: Option<f64>,
}

fn instant_columns<'a>() -> Vec<Column<Instant<'a>>> {
    let none = Unit::NONE;
    vec![
        Column::text("build", "build", |row: &Instant| row.build.to_string()),
        Column::number("time", none, "time_s", |row: &Instant| Some(row.time_s)),
        Column::number("motion", none, "motion_m", |row: &Instant| Some(row.motion_m)),
        Column::number("envelope", none, "envelope_m", |row: &Instant| Some(row.envelope_m)),
        Column::number("5 %", none, "envelope_low_m", |row: &Instant| row.envelope_low_m),
        Column::number("50 %", none, "envelope_median_m", |row: &Instant| row.envelope_median_m),
        Column::number("95 %", none, "envelope_high_m", |row: &Instant| row.envelope_high_m),
    ]
}

fn instants(answer: &RingDowns) -> Vec<Instant<'_>> {
    let mut rows = Vec::new();
    for build in &answer.builds {
        for (i, time_s) in build.motion.time_s.iter().enumerate() {
            let band = build.spread.as_ref().and_then(|spread| spread.band.at(i));
            rows.push(Instant {
                build: &build.name,
                time_s: *time_s,
                motion_m: build.motion.motion_m[i],
                envelope_m: build.motion.envelope_m[i],
                envelope_low_m: band.map(|b| b[0]),
                envelope_median_m: band.map(|b| b[1]),
                envelope_high_m: band.map(|b| b[2]),
            });
        }
    }
    rows
}

/// Every instant of every build, in SI; some also have the limits of the draws.
pub fn table(answer: &RingDowns) -> Table {
    Table::new("ringdown", &instant_columns(), &instants(answer))
}

/// The envelopes of all builds in one drawing, and their decay times.
pub fn blocks(answer: &RingDowns) -> Vec<Block> {
    heard(answer, Vec::new())
}

/// The same with the modes heard in each build's tap, in the order of the builds.
pub(super) fn heard(answer: &RingDowns, taps: Vec<Vec<Tone>>) -> Vec<Block> {
    let tap = match answer.tap_duration_s {
        0.0 => "an ideal impulse".to_string(),
        lasting => format!("a half-sine of {}, time counts from its start", show(lasting, Kind::Time)),
    };
    let mut blocks = vec![Block::Note(format!(
        "{}: {}, {tap}; quiet is below {}.",
        answer.path,
        show(answer.impulse_n_s, Kind::Impulse),
        show(answer.settle_to_m, Kind::Length)
    ))];
    blocks.extend(holds_at(answer.amplitude_m));
    let mut curve = envelopes(answer);
    curve.series.iter_mut().zip(taps).for_each(|(series, tap)| series.tap = tap);
    blocks.push(Block::Curve(curve));
    blocks.push(Block::Table(Table::new("After the tap", &columns(), &answer.builds)));
    blocks.extend(at_start(answer));
    blocks.extend(missed(&answer.misses));
    if answer.draws > 0 {
        let title = format!("After the tap, 50 % (5 %–95 %) of {} draws", answer.draws);
        blocks.push(Block::Table(Table::new(&title, &drawn_columns(), &answer.builds).side_by_side()));
        let advice = answer.builds.iter().filter_map(|b| b.spread.as_ref()?.advice.clone());
        blocks.extend(advice.map(Block::Note));
    }
    if let Some(first) = answer.builds.first().filter(|_| answer.builds.len() == 1) {
        blocks.push(Block::Curve(motion(first)));
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The settle times if losses are taken at each build's largest motion, as the other bound.
fn at_start(answer: &RingDowns) -> Option<Block> {
    answer.amplitude_m?;
    let time = |build: &BuildRingDown| {
        let time = build.settle_time_at_start_s.map_or("never".to_string(), |time| show(time, Kind::Time));
        format!("{} {time}", build.label)
    };
    let times: Vec<String> = answer.builds.iter().map(time).collect();
    Some(Block::Note(format!(
        "One amplitude holds for the whole decay. With the losses of each build's largest motion it would be quiet after: {}. The true time lies between the two.",
        times.join(", ")
    )))
}

/// Most points of an envelope that are drawn.
const DRAWN: usize = 1500;

/// The envelopes of all builds on common axes.
pub fn envelopes(answer: &RingDowns) -> Curve {
    let floor = 0.3 * answer.settle_to_m;
    let series = |build: &BuildRingDown| {
        // Enough for any drawing; the CSV has every instant.
        let step = build.motion.time_s.len().div_ceil(DRAWN);
        let points = build.motion.time_s.iter().zip(&build.motion.envelope_m).step_by(step.max(1));
        Series::line(&build.label, points.filter(|(_, e)| **e > floor).map(|(t, e)| [*t, *e]).collect())
    };
    let label = format!("quiet, {}", show(answer.settle_to_m, Kind::Length));
    Curve {
        title: "Envelope of the motion after the tap".to_string(),
        x: Axis::linear("time", Unit::new("s", 1.0), "time_s"),
        y: Axis::log("motion", UM, "envelope_m"),
        series: answer.builds.iter().map(series).chain(limits(answer, floor)).collect(),
        marks: vec![super::super::block::Mark::Y { at: answer.settle_to_m, label }],
    }
}

/// The 5 % and 95 % limits of the draws, if there is only one build.
fn limits(answer: &RingDowns, floor: f64) -> Vec<Series> {
    let [build] = &answer.builds[..] else { return Vec::new() };
    let Some(spread) = &build.spread else { return Vec::new() };
    let line = |name: &str, place: usize| {
        let times = build.motion.time_s.iter().enumerate();
        let points = times.filter_map(|(i, t)| Some([*t, spread.band.at(i)?[place]]));
        Series::line(name, points.filter(|[_, e]| *e > floor).collect())
    };
    vec![line("5 % of the draws", 0), line("95 % of the draws", 2)]
}

fn motion(build: &BuildRingDown) -> Curve {
    let points = build.motion.time_s.iter().zip(&build.motion.motion_m).map(|(t, x)| [*t, *x]).collect();
    Curve {
        title: format!("Motion of {}", build.label),
        x: Axis::linear("time", Unit::new("s", 1.0), "time_s"),
        y: Axis::linear("motion", UM, "motion_m"),
        series: vec![Series::line(&build.label, points)],
        marks: Vec::new(),
    }
}

fn columns() -> Vec<Column<BuildRingDown>> {
    let s = Unit::new("s", 1.0);
    vec![
        Column::text("build", "label", |b: &BuildRingDown| b.label.clone()),
        Column::number("largest", UM, "largest_m", |b: &BuildRingDown| Some(b.motion.largest_m)),
        Column::number("to 10 %", s, "time_to_10pct_s", |b: &BuildRingDown| b.motion.time_to_10pct_s),
        Column::number("to 1 %", s, "time_to_1pct_s", |b: &BuildRingDown| b.motion.time_to_1pct_s),
        Column::number("quiet", s, "settle_time_s", |b: &BuildRingDown| b.motion.settle_time_s),
        Column::number("last rings", HZ, "deciding_frequency_hz", |b: &BuildRingDown| {
            b.motion.deciding_frequency_hz
        }),
        Column::number("loss", Unit::NONE, "deciding_loss_factor", |b: &BuildRingDown| {
            b.motion.deciding_loss_factor
        }),
    ]
}

fn drawn_columns() -> Vec<Column<BuildRingDown>> {
    let s = Unit::new("s", 1.0);
    type Read = fn(&RingDownSpread) -> &Option<AnswerSpread>;
    let drawn = |title: &str, unit, key: &str, read: Read| {
        Column::spread(title, unit, key, move |b: &BuildRingDown| drawn(read(b.spread.as_ref()?).as_ref()?))
    };
    vec![
        Column::text("build", "label", |b: &BuildRingDown| b.label.clone()),
        drawn("largest", UM, "largest_m", |spread| &spread.largest_m),
        drawn("to 10 %", s, "time_to_10pct_s", |spread| &spread.time_to_10pct_s),
        drawn("to 1 %", s, "time_to_1pct_s", |spread| &spread.time_to_1pct_s),
        drawn("quiet", s, "settle_time_s", |spread| &spread.settle_time_s),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::{Design, STARTER};
    use stillbed_study::ringdown::{RingDownOptions, RingDowns};
    use stillbed_study::spread::Draws;

    #[test]
    fn columns_agree_with_json() {
        let table = stillbed_material::Table::built_in();
        let design = Design::read("starter.toml", STARTER, &table).design.unwrap();
        let draws = Draws { count: 8, seed: 1 };
        let options = RingDownOptions { duration: None, draws };
        let answer = RingDowns::compute(&design, &options, |_, _| ()).unwrap();
        assert_eq!(disagreements(&columns(), &answer.builds), Vec::<String>::new());
        let rows = instants(&answer);
        assert_eq!(disagreements(&instant_columns(), &rows), Vec::<String>::new());
        assert!(rows.iter().filter(|row| row.envelope_low_m.is_some()).count() > 100);
    }
}
