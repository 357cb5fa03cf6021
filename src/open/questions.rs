//! Size, pour, thermal, response, ring-down and tap on the same page: the same studies that the commands run, shown
//! as on a report.

use crate::answers::Work;
use serde::Deserialize;
use serde_json::{Value, json};
use stillbed_design::{Build, Design};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_material::Table;
use stillbed_report::presentation::tap::TapAnswer;
use stillbed_report::presentation::{pour, response, ringdown, size, tap, thermal};
use stillbed_report::{Block, page};
use stillbed_response::frequency::Motion;
use stillbed_section::stock::Stock;
use stillbed_study::pour::bodies::{PourOptions, Pours};
use stillbed_study::response::{Response, ResponseOptions};
use stillbed_study::ringdown::{RingDownOptions, RingDowns};
use stillbed_study::size::{Effort, Options, Sizing, Watch, write};
use stillbed_study::spread::Draws;
use stillbed_study::tap::{MeasuredTap, compare, ties_by_title};
use stillbed_study::thermal::{ThermalAnswer, ThermalOptions};
use stillbed_tap::{ReadingOptions, RecordOptions, read_record, read_taps};

/// Ids of figures of an answer begin after this number.
const FIGURES: usize = 100;

/// Most choices of sizes that are tried one by one; beyond, the search is guided. Fewer than for a report, since
/// someone waits.
const MOST_SIZES: usize = 300;

/// Restarts of a guided search, as for a report.
const RESTARTS: usize = 2;

/// Draws of a ring-down.
const DRAWS: Draws = Draws { count: 60, seed: 1 };

/// Elastic modes against which a record is set, as the command does.
const MODES: usize = 12;

/// A question about the design beside the comparison of its builds.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// What is asked.
    pub what: Subject,
    /// The build in view.
    pub build: String,
    /// Name and content of a record, for a tap.
    pub record: Option<(String, Vec<u8>)>,
}

/// What a question is about, named as its command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Subject {
    /// Stock sizes that meet the targets.
    Size,
    /// The batch sheet.
    Pour,
    /// Growth, bow and sag.
    Thermal,
    /// The answer to a force.
    Response,
    /// The motion after a tap.
    Ringdown,
    /// A recorded tap against the model.
    Tap,
}

impl Subject {
    /// Its name as the page knows it.
    pub fn name(self) -> &'static str {
        match self {
            Subject::Size => "size",
            Subject::Pour => "pour",
            Subject::Thermal => "thermal",
            Subject::Response => "response",
            Subject::Ringdown => "ringdown",
            Subject::Tap => "tap",
        }
    }
}

/// What was found: blocks to show, and the text of the design with it, where it can be taken over.
struct Found {
    blocks: Vec<Block>,
    text: Option<String>,
}

/// Answers `asked` about the design in `text`; the text of the design with what was found, where it can be taken
/// over.
pub fn answer(file: &str, text: &str, asked: &Asked, table: &Table, work: &Work) -> Option<String> {
    let about = |fields: Value| {
        let mut fields = fields;
        fields["what"] = json!(asked.what.name());
        vec![("question", fields)]
    };
    (work.show)(about(json!({ "waits": true })));
    let found = found(file, text, asked, table, work);
    if (work.stop)() {
        return None;
    }
    let found = found
        .unwrap_or_else(|problems| Found { blocks: vec![Block::Problems(problems.into_vec())], text: None });
    let html = page::fragment(&found.blocks, FIGURES);
    let lines = found.text.as_ref().map(|other| differing(text, other));
    (work.show)(about(json!({ "html": html, "lines": lines })));
    found.text
}

fn found(file: &str, text: &str, asked: &Asked, table: &Table, work: &Work) -> Result<Found, Problems> {
    let reading = Design::read(file, text, table);
    let design = reading.design.ok_or_else(|| Problems::from(reading.problems))?;
    let shown = |blocks: Vec<Block>| Ok(Found { blocks, text: None });
    match asked.what {
        Subject::Size => sized(file, text, &design, design.build(&asked.build)?, work),
        Subject::Pour => shown(pour::blocks(&Pours::compute(&design, &PourOptions::default())?)),
        Subject::Thermal => {
            // A change of 1 K where the design states none.
            let change = design.goal.thermal.is_none().then_some(1.0);
            let options = ThermalOptions { change, ..ThermalOptions::default() };
            shown(thermal::blocks(&ThermalAnswer::compute(&design, &options)?))
        }
        Subject::Response => {
            let options = ResponseOptions { range: None, path: None, floor: None };
            shown(response::blocks(&Response::compute(&design, &options)?, Motion::Compliance))
        }
        Subject::Ringdown => {
            let options = RingDownOptions { duration: None, draws: DRAWS };
            shown(ringdown::blocks(&RingDowns::compute(&design, &options, |_, _| ())?))
        }
        Subject::Tap => tapped(&design, design.build(&asked.build)?, asked.record.as_ref()),
    }
}

fn sized(file: &str, text: &str, design: &Design, build: &Build, work: &Work) -> Result<Found, Problems> {
    let effort = Effort { most: MOST_SIZES, restarts: RESTARTS, ..Effort::default() };
    let options = Options { effort, ..Options::default() };
    let progress = |done: usize, of: usize| {
        let all = json!({ "what": Subject::Size.name(), "waits": true, "done": done, "of": of });
        (work.show)(vec![("question", all)]);
    };
    let watch = Watch { progress: &progress, stop: work.stop };
    let (sizing, space) = Sizing::compute(design, build, &Stock::built_in(), &options, &watch)?;
    let text = sizing.chosen.as_ref().map(|choice| write(file, text, &space, choice)).transpose()?;
    Ok(Found { blocks: size::blocks(&sizing), text })
}

fn tapped(design: &Design, build: &Build, record: Option<&(String, Vec<u8>)>) -> Result<Found, Problems> {
    let Some((name, bytes)) = record else {
        let problem = Problem::error(Place::default(), "no record was sent");
        return Err(problem.with_help("record a tap, or drop a recording here").into());
    };
    let record = read_record(name, bytes, &RecordOptions { sample_rate_hz: None })?;
    let reading = read_taps(&record, &ReadingOptions::default())?;
    let ties = ties_by_title(design, build, reading.channels.iter().map(String::as_str));
    let found = compare(design, build, &MeasuredTap { modes: &reading.modes, ties: &ties, count: MODES })?;
    Ok(Found { blocks: tap::blocks(&TapAnswer { reading, against: Some(found.against) }), text: None })
}

/// The lines that only one of two texts has: those that go, and those that come, in their order.
fn differing(before: &str, after: &str) -> [Vec<String>; 2] {
    let only = |one: &str, other: &str| -> Vec<String> {
        let others: std::collections::BTreeSet<&str> = other.lines().collect();
        one.lines()
            .filter(|line| !others.contains(line) && !line.trim().is_empty())
            .map(str::to_string)
            .collect()
    };
    [only(before, after), only(after, before)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;
    use stillbed_design::STARTER;

    const SIZED: &str = include_str!("../../examples/sized-stand.toml");

    fn asked(what: Subject, build: &str) -> Asked {
        Asked { what, build: build.to_string(), record: None }
    }

    fn answered(text: &str, asked: &Asked) -> (Value, Option<String>) {
        let shown = Mutex::new(Value::Null);
        let show = |mut fields: crate::answers::Fields| *shown.lock().unwrap() = fields.remove(0).1;
        let work = Work { show: &show, stop: &|| false };
        let text = answer("a.toml", text, asked, &Table::built_in(), &work);
        (shown.into_inner().unwrap(), text)
    }

    #[test]
    fn every_question_is_answered_as_on_a_report() {
        let heads = [
            (Subject::Pour, "<table"),
            (Subject::Thermal, "<table"),
            (Subject::Response, "<svg"),
            (Subject::Ringdown, "<svg"),
        ];
        for (what, holds) in heads {
            let (shown, text) = answered(STARTER, &asked(what, "cast"));
            assert_eq!(shown["what"], what.name());
            let html = shown["html"].as_str().unwrap();
            assert!(html.contains(holds) && !html.contains("class=\"error\""), "{what:?} {html:.300}");
            assert_eq!(text, None);
        }
    }

    #[test]
    fn a_choice_of_sizes_can_be_taken_over_and_shows_its_lines() {
        let design = Design::read("a.toml", SIZED, &Table::built_in()).design.unwrap();
        let build = design.builds.iter().find(|build| !build.drawing.vary.is_empty()).unwrap();
        let (shown, text) = answered(SIZED, &asked(Subject::Size, &build.name));
        let text = text.unwrap();
        assert!(Design::read("a.toml", &text, &Table::built_in()).design.is_some());
        let [gone, new] = differing(SIZED, &text);
        assert!(!new.is_empty());
        assert_eq!(shown["lines"], json!([gone, new]));
    }

    #[test]
    fn a_recorded_tap_is_set_against_the_build() {
        let mut table = String::from("time s,tip.x m/s2\n");
        for i in 0..8000 {
            let t = f64::from(i) / 4000.0 - 0.1;
            let ring = |f: f64, loss: f64| {
                (-0.5 * loss * std::f64::consts::TAU * f * t).exp() * (std::f64::consts::TAU * f * t).sin()
            };
            let motion = if t < 0.0 { 0.0 } else { ring(64.0, 0.02) + 0.4 * ring(171.0, 0.03) };
            table += &format!("{:.6},{:.6}\n", f64::from(i) / 4000.0, motion + 1e-4 * f64::from(i % 7));
        }
        let record = Some(("tap.csv".to_string(), table.into_bytes()));
        let (shown, _) = answered(STARTER, &Asked { record, ..asked(Subject::Tap, "welded") });
        let html = shown["html"].as_str().unwrap();
        assert!(html.contains("tap.csv") && html.contains("64."), "{html:.1500}");
    }

    #[test]
    fn what_cannot_be_answered_says_why() {
        let (shown, _) = answered(STARTER, &asked(Subject::Tap, "welded"));
        assert!(shown["html"].as_str().unwrap().contains("no record was sent"));
        let (shown, _) = answered("title = 3", &asked(Subject::Pour, "welded"));
        assert!(shown["html"].as_str().unwrap().contains("class=\"error\""));
    }
}
