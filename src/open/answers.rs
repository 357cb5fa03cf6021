//! The answers beside the drawing, one step after another: what is wrong, the drawing, the stated values, and the
//! spreads of the draws. Between two steps, and between two draws, the work ends where a later question was asked.

use crate::change::alone;
use crate::listing::{listed, place};
use crate::repair::repaired;
use serde_json::{Value, json};
use stillbed_design::{Build, Design, Measure, Stated};
use stillbed_input::problem::Problem;
use stillbed_input::quantity::show;
use stillbed_material::Table;
use stillbed_report::presentation::{compare, full_report};
use stillbed_report::{Block, page};
use stillbed_study::compare::{Comparison, Options};
use stillbed_study::shapes::Shapes;
use stillbed_study::size::Watch;

/// Modes that the drawing shows.
const SHAPES: usize = 6;

/// Draws of the uncertain values, as the commands make them.
const DRAWS: usize = 200;

/// Ids of figures on the page begin after these numbers.
const MACHINE: usize = 0;
const SCORES: usize = 10;
const SAID: usize = 20;

/// A design to be answered for.
#[derive(Debug, Clone)]
pub struct Question {
    /// The name of its file.
    pub file: String,
    /// Its text.
    pub text: String,
    /// The build that is drawn; `None` leaves it to the verdict.
    pub build: Option<String>,
    /// True while a gesture lasts: then one build's stated values alone.
    pub passing: bool,
    /// What the drawing consists of as it was last shown, to place what is wrong in it.
    pub listing: Value,
}

/// Fields of the page with what they show.
pub type Fields = Vec<(&'static str, Value)>;

/// Who is told of each step, and who may stop the work.
pub struct Work<'a> {
    /// Shows fields on the page.
    pub show: &'a (dyn Fn(Fields) + Sync),
    /// True once the question no longer matters.
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

/// Answers `question`; the key of the build that is drawn, where one is.
pub fn answer(question: &Question, table: &Table, work: &Work) -> Option<String> {
    // While a gesture lasts, the other builds are not even read.
    let build = question.build.as_ref().filter(|_| question.passing);
    let own = build.and_then(|build| alone(&question.file, &question.text, build).ok());
    let text = own.as_ref().unwrap_or(&question.text);
    let stated = Stated::read(&question.file, text);
    let stated = if question.passing { stated.on_first_grids() } else { stated };
    let reading = stated.resolve(table);
    if (work.stop)() {
        return None;
    }
    let Some(design) = reading.design else {
        let problems = problems(&reading.problems, &question.text, &question.listing);
        (work.show)(vec![("problems", problems), ("stage", json!({ "name": "wrong" }))]);
        return None;
    };
    let wanted = question.build.as_ref().and_then(|name| design.build(name).ok());
    if question.passing {
        pass(&design, wanted.or(design.builds.first())?, work);
        return None;
    }
    let drawn_first = wanted.is_some();
    if let Some(build) = wanted {
        (work.show)(drawn(&design, build, &reading.problems, &question.text));
    }
    let stated = compared(&design, 0, work)?;
    let verdict = &stated.verdict;
    let ahead = verdict.ahead.as_ref().or(verdict.least_miss.as_ref());
    let build = wanted.or_else(|| design.build(ahead?).ok()).or(design.builds.first())?;
    let mut fields = scored(&design, &stated);
    if !drawn_first {
        fields.extend(drawn(&design, build, &reading.problems, &question.text));
    }
    let more = !design.uncertain.is_empty();
    fields.push(("stage", json!({ "name": if more { "stated" } else { "done" }, "draws": DRAWS })));
    (work.show)(fields);
    if more && !(work.stop)() {
        let drawn = compared(&design, DRAWS, work)?;
        let mut fields = scored(&design, &drawn);
        fields.push(("stage", json!({ "name": "done", "draws": DRAWS })));
        (work.show)(fields);
    }
    Some(build.name.clone())
}

/// The stated values of one build, and where its places are, while a gesture lasts.
fn pass(design: &Design, build: &Build, work: &Work) {
    let Ok(shapes) = Shapes::at_rest(design, build) else { return };
    let machine = page::wireframe_data(&full_report::at_rest(&shapes));
    if (work.stop)() {
        return;
    }
    // Drawn at once; its values follow.
    let listing = listed(design, build, &shapes);
    let (tool, work_at, held) = (shapes.tool, shapes.work, &shapes.held);
    let passing =
        json!({ "machine": machine, "listing": listing, "tool": tool, "work": work_at, "held": held });
    (work.show)(vec![("passing", passing)]);
    let Ok(alone) = design.clone().only(&build.name) else { return };
    let Some(stated) = compared(&alone, 0, work) else { return };
    (work.show)(vec![("live", live(&alone, &stated))]);
}

/// The comparison of the builds; what keeps it from being made is shown in its place.
fn compared(design: &Design, draws: usize, work: &Work) -> Option<Comparison> {
    let options = Options { draws, ..Options::default() };
    let watch = Watch { progress: &|_, _| (), stop: work.stop };
    let found = Comparison::watched(design, &options, &watch);
    if (work.stop)() {
        return None;
    }
    match found {
        Ok(comparison) => Some(comparison),
        Err(found) => {
            let found = problems(&found, "", &Value::Null);
            (work.show)(vec![("problems", found), ("stage", json!({ "name": "wrong" }))]);
            None
        }
    }
}

/// The drawing of `build`, what it consists of, and the problems with their places in it.
fn drawn(design: &Design, build: &Build, said: &[Problem], text: &str) -> Fields {
    let shapes = Shapes::compute(design, build, SHAPES).or_else(|_| Shapes::at_rest(design, build));
    let shapes = match shapes {
        Ok(shapes) => shapes,
        Err(more) => {
            let said: Vec<Problem> = said.iter().chain(more.iter()).cloned().collect();
            return vec![("problems", problems(&said, text, &Value::Null))];
        }
    };
    let listing = listed(design, build, &shapes);
    let figure = page::fragment(&[Block::Wireframe(full_report::at_rest(&shapes))], MACHINE);
    vec![
        ("title", json!(if design.title.is_empty() { &design.file } else { &design.title })),
        ("problems", problems(said, text, &listing)),
        ("listing", listing),
        ("figure", json!(figure)),
    ]
}

/// The verdict and the builds against the targets.
fn scored(design: &Design, comparison: &Comparison) -> Fields {
    let (sentence, rest) = full_report::verdict(comparison);
    let scores = Block::Scores(compare::scores(comparison, &design.goal.targets));
    let rest: Vec<Block> = rest.into_iter().map(Block::Note).collect();
    vec![
        ("verdict", json!(sentence)),
        ("scores", json!(page::fragment(&[scores], SCORES))),
        ("said", json!(page::fragment(&rest, SAID))),
        ("live", Value::Null),
    ]
}

/// The stated values of the only build of `design`, as they are read: each with its target, and whether it is met.
fn live(design: &Design, comparison: &Comparison) -> Value {
    let Some(build) = comparison.builds.first() else { return Value::Null };
    let rows = Measure::ALL.into_iter().filter_map(|measure| {
        let value = build.get(measure)?.value;
        let target = design.goal.targets.iter().find(|target| target.measure == measure);
        let met = target.map(|target| {
            target.at_least.is_none_or(|least| value >= least)
                && target.at_most.is_none_or(|most| value <= most)
        });
        Some(json!({ "title": measure.title(), "value": show(value, measure.kind()), "met": met }))
    });
    rows.collect()
}

/// Problems as the page shows them: with their line, their place in the drawing, and whether they can be mended.
fn problems(said: &[Problem], text: &str, listing: &Value) -> Value {
    let shown = said.iter().map(|problem| {
        json!({
            "severity": problem.severity,
            "line": problem.place.line,
            "column": problem.place.column,
            "key": problem.place.key,
            "message": problem.message,
            "help": problem.help,
            "place": place(problem, listing),
            "mends": repaired(text, problem).is_some(),
        })
    });
    shown.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use stillbed_design::{SMALLEST, STARTER};

    fn question(text: &str) -> Question {
        let (file, text) = ("a.toml".to_string(), text.to_string());
        Question { file, text, build: None, passing: false, listing: Value::Null }
    }

    /// The steps of the answer to `question`, stopped after `steps` of them.
    fn steps(question: &Question, most: usize) -> (Vec<Fields>, Option<String>) {
        let shown = Mutex::new(Vec::new());
        let count = AtomicUsize::new(0);
        let show = |fields| {
            count.fetch_add(1, Ordering::SeqCst);
            shown.lock().unwrap().push(fields);
        };
        let work = Work { show: &show, stop: &|| count.load(Ordering::SeqCst) >= most };
        let build = answer(question, &Table::built_in(), &work);
        (shown.into_inner().unwrap(), build)
    }

    fn field<'f>(fields: &'f Fields, name: &str) -> &'f Value {
        &fields.iter().find(|(own, _)| *own == name).unwrap().1
    }

    #[test]
    fn stated_values_come_first_and_spreads_after() {
        let (steps, build) = steps(&question(STARTER), usize::MAX);
        assert_eq!(steps.len(), 2);
        assert_eq!(field(&steps[0], "stage")["name"], "stated");
        assert_eq!(field(&steps[1], "stage")["name"], "done");
        let spread = |fields: &Fields| field(fields, "scores").as_str().unwrap().contains("class=\"spread\"");
        assert!(!spread(&steps[0]) && spread(&steps[1]));
        assert!(field(&steps[0], "figure").as_str().unwrap().contains("<svg"));
        assert!(build.is_some() && !field(&steps[1], "verdict").as_str().unwrap().is_empty());
    }

    #[test]
    fn a_later_question_ends_the_work_between_two_steps() {
        let (steps, _) = steps(&question(STARTER), 1);
        assert_eq!(steps.len(), 1, "no draw is made");
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line_and_repair() {
        let wrong = SMALLEST.replace("structural steel", "structural stel");
        let (steps, _) = steps(&question(&wrong), usize::MAX);
        assert_eq!(field(&steps[0], "stage")["name"], "wrong");
        let problem = &field(&steps[0], "problems")[0];
        assert_eq!(problem["mends"], true);
        let line = problem["line"].as_u64().unwrap() as usize;
        assert!(wrong.lines().nth(line - 1).unwrap().contains("structural stel"));
    }

    #[test]
    fn what_is_wrong_has_its_place_in_the_drawing_that_stood_before() {
        let (before, _) = steps(&question(STARTER), 1);
        let listing = field(&before[0], "listing").clone();
        let wrong = STARTER.replace("section = \"spine\"", "section = \"spline\"");
        let (steps, _) = steps(&Question { listing: listing.clone(), ..question(&wrong) }, usize::MAX);
        let problems = field(&steps[0], "problems").as_array().unwrap();
        let own = problems.iter().find(|own| own["key"] == "members.spine.section").unwrap();
        assert!(own["place"].is_u64() && own["place"] == listing["members"][2]["place"], "{own}");
    }

    #[test]
    fn while_a_gesture_lasts_one_build_is_answered_for() {
        let passing = Question { build: Some("cast".to_string()), passing: true, ..question(STARTER) };
        let (steps, _) = steps(&passing, usize::MAX);
        assert!(field(&steps[0], "passing")["machine"]["points"].as_array().unwrap().len() > 10);
        let live = field(&steps[1], "live").as_array().unwrap();
        let stiffness = live.iter().find(|row| row["title"].as_str().unwrap().contains("stiffness")).unwrap();
        assert!(
            stiffness["met"].is_boolean() && stiffness["value"].as_str().unwrap().ends_with("N/µm"),
            "{stiffness}"
        );
    }
}
