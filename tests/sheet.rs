//! Workbooks read back: every formula gives the value stored in its cell, values equal those of the JSON,
//! and after a cell is changed the formulas give what the program computes for the same change.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod formulas;

use assert_cmd::Command;
use formulas::{Book, Value as Cell, rows};
use serde_json::Value;
use std::path::Path;

const STAND: &str = "examples/roundness-stand.toml";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn stillbed(arguments: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = Command::cargo_bin("stillbed").unwrap();
    command.args(arguments).current_dir(root()).env("NO_COLOR", "1").assert()
}

fn json(arguments: &[&str]) -> Value {
    let all = [arguments, &["--format", "json"]].concat();
    let output = stillbed(&all).get_output().clone();
    let value: Value = serde_json::from_slice(&output.stdout).unwrap();
    value["result"].clone()
}

fn book(folder: &Path, arguments: &[&str]) -> Book {
    let path = folder.join("book.xlsx").display().to_string();
    let all = [arguments, &["--format", "xlsx", "--output", &path]].concat();
    let code = stillbed(&all).get_output().status.code().unwrap();
    assert!(code < 2, "{arguments:?}");
    Book::open(Path::new(&path))
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// Checks that every formula, evaluated anew, gives the value stored in its cell; returns their number.
fn holds(book: &Book) -> usize {
    let formulas = book.formulas();
    for (leaf, cell, formula) in &formulas {
        let (stands, found) = (book.value(leaf, cell), book.computed(leaf, cell));
        let equal = match (&stands, &found) {
            (Cell::Number(a), Cell::Number(b)) => same(*a, *b),
            (a, b) => a == b,
        };
        assert!(equal, "{leaf}!{cell} {formula}: stands {stands:?}, computed {found:?}");
    }
    formulas.len()
}

fn number(cell: &Cell) -> f64 {
    match cell {
        Cell::Number(value) => *value,
        other => panic!("{other:?} is no number"),
    }
}

#[test]
fn a_comparison_is_a_book_whose_values_are_those_of_the_json() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["compare", STAND, "--draws", "8"];
    let book = book(folder.path(), &arguments);
    assert_eq!(book.leaves(), ["Builds", "Costs", "Spreads", "Chances", "Notes"]);
    // Six parts, four totals, four costs on the sheet of builds.
    assert_eq!(holds(&book), 14);
    let answer = json(&arguments);
    let heads = book.row("Builds", 1);
    let column = |head: &str| heads.iter().position(|cell| *cell == Cell::Text(head.to_string())).unwrap();
    for (i, build) in answer["builds"].as_array().unwrap().iter().enumerate() {
        let row = book.row("Builds", i as u32 + 2);
        assert_eq!(row[0], Cell::Text(build["label"].as_str().unwrap().to_string()));
        for (head, path, size) in [
            ("mass, kg", "/mass_kg", 1.0),
            ("cost", "/cost", 1.0),
            ("weakest, N/µm", "/stiffness_n_per_m/value", 1e6),
            ("first frequency, Hz", "/first_frequency_hz/value", 1.0),
            ("loss factor", "/loss_factor/value", 1.0),
            ("settle time, s", "/settle_time_s/value", 1.0),
        ] {
            let (found, expected) = (number(&row[column(head)]), build.pointer(path).unwrap());
            assert!(same(found * size, expected.as_f64().unwrap()), "{head}: {found} {expected}");
        }
    }
    let heads = book.row("Spreads", 1);
    let builds = answer["builds"].as_array().unwrap();
    for (head, key) in [("stated", "value"), ("5 %", "low"), ("50 %", "median"), ("95 %", "high")] {
        let column = heads.iter().position(|cell| *cell == Cell::Text(head.to_string())).unwrap();
        let first = book.find("Spreads", 1, "loss factor");
        for (row, build) in (first..).zip(builds) {
            let row = book.row("Spreads", row);
            assert_eq!(row[0], Cell::Text(build["label"].as_str().unwrap().to_string()));
            let expected = build["loss_factor"][key].as_f64().unwrap();
            assert!(same(number(&row[column]), expected), "{head}: {row:?}");
        }
    }
    let chances = book.column("Chances", 3);
    assert_eq!(chances.len() - 1, answer["beats"].as_array().unwrap().len());
}

#[test]
fn a_changed_price_gives_the_cost_that_the_program_computes_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = book(folder.path(), &["compare", STAND, "--draws", "0"]);
    let row = book.find("Costs", 1, "black granite");
    book.set("Costs", &format!("D{row}"), 30.0);
    let text = std::fs::read_to_string(root().join(STAND)).unwrap();
    let dearer = folder.path().join("dearer.toml");
    std::fs::write(&dearer, text.replace("\"22 per kg\"", "\"30 per kg\"")).unwrap();
    let answer = json(&["compare", &dearer.display().to_string(), "--draws", "0"]);
    let builds = book.row("Builds", 1);
    let cost = builds.iter().position(|cell| *cell == Cell::Text("cost".to_string())).unwrap();
    for (i, build) in answer["builds"].as_array().unwrap().iter().enumerate() {
        let cell = format!("{}{}", char::from(b'A' + cost as u8), i + 2);
        let found = number(&book.computed("Builds", &cell));
        assert!(same(found, build["cost"].as_f64().unwrap()), "{build:#}");
    }
}

#[test]
fn a_price_that_is_not_stated_leaves_the_total_open_until_it_is_filled_in() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(root().join(STAND)).unwrap();
    let design = folder.path().join("open.toml").display().to_string();
    std::fs::write(&design, text.replace("\"aluminium 6061-T6\" = \"14 per kg\", \"feld", "\"feld")).unwrap();
    let mut book = book(folder.path(), &["compare", &design, "--draws", "0", "--build", "cast"]);
    let (row, total) = (book.find("Costs", 1, "aluminium 6061-T6"), book.find("Costs", 1, "total"));
    let total = format!("E{total}");
    assert_eq!(book.value("Costs", &total), Cell::Text("price missing".to_string()));
    assert!(holds(&book) > 0);
    book.set("Costs", &format!("D{row}"), 14.0);
    let whole = json(&["compare", STAND, "--draws", "0", "--build", "cast"]);
    assert!(same(number(&book.computed("Costs", &total)), whole["builds"][0]["cost"].as_f64().unwrap()));
}

#[test]
fn a_pour_is_a_book_that_follows_what_is_changed() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["pour", STAND, "--build", "cast"];
    let mut book = book(folder.path(), &arguments);
    let leaf = book.leaves()[0].clone();
    assert_eq!(book.leaves()[1..], ["Checklist", "Cautions", "Notes"]);
    assert!(holds(&book) > 25);
    let build = &json(&arguments)["builds"][0];
    check_amounts(&book, &leaf, &build["sheets"][0]);
    let cost = book.find(&leaf, 0, "cost of the mix at its price");
    let cost = number(&book.computed(&leaf, &format!("B{cost}")));
    assert!(same(cost, build["cost"].as_f64().unwrap()), "{cost}");

    // Another waste and another bucket: the workbook follows as the program does.
    for (what, value) in [("lost on tools and in joints", 0.12), ("the bucket takes", 4.0)] {
        let row = book.find(&leaf, 0, what);
        book.set(&leaf, &format!("B{row}"), value);
    }
    let changed = json(&[&arguments[..], &["--waste", "12 %", "--bucket", "4 l"]].concat());
    let sheet = &changed["builds"][0]["sheets"][0];
    assert!(sheet["pours"][0]["batches"]["count"].as_u64().unwrap() > 2);
    check_amounts(&book, &leaf, sheet);

    // With several lifts, each has its own batches.
    let lifted = [&arguments[..], &["--lift", "200 mm", "--wait", "1 d"]].concat();
    let sheet = &json(&lifted)["builds"][0]["sheets"][0];
    assert_eq!(sheet["pours"].as_array().unwrap().len(), 2);
    let by_lift = self::book(folder.path(), &lifted);
    assert!(holds(&by_lift) > 25);
    check_amounts(&by_lift, &by_lift.leaves()[0].clone(), sheet);

    // Another recipe.
    for (what, column, value) in [
        ("hardener to 100 of resin", "B", 25.0),
        ("epoxy, slow casting (resin)", "B", 3.0),
        ("quartz sand", "B", 4.0),
    ] {
        let row = book.find(&leaf, 0, what);
        book.set(&leaf, &format!("{column}{row}"), value);
    }
    let text = std::fs::read_to_string(root().join(STAND)).unwrap();
    let design = folder.path().join("richer.toml").display().to_string();
    let richer = text.replace("share = 2 }", "share = 3 }").replace("share = 5, grain", "share = 4, grain");
    assert!(richer.contains("share = 3 }") && richer.contains("share = 4, grain"));
    std::fs::write(&design, richer.replace("100 : 30", "100 : 25")).unwrap();
    // The workbook does not change lifts: the program would pour so rich a mix in several.
    let one_lift = ["--lift", "400 mm", "--waste", "12 %", "--bucket", "4 l"];
    let richer = json(&[&["pour", &design, "--build", "cast"][..], &one_lift].concat());
    let sheet = &richer["builds"][0]["sheets"][0];
    let density = book.find(&leaf, 0, "density of the cast mix");
    book.set(&leaf, &format!("B{density}"), sheet["density_kg_per_m3"].as_f64().unwrap());
    let working = book.find(&leaf, 0, "the binder can be worked for");
    book.set(&leaf, &format!("B{working}"), sheet["working_time_s"].as_f64().unwrap() / 60.0);
    check_amounts(&book, &leaf, sheet);

    // Packs at a price.
    let first = book.find(&leaf, 0, "buy") + 1;
    let packs = sheet["shopping"].as_array().unwrap();
    for i in 0..packs.len() as u32 {
        book.set(&leaf, &format!("F{}", first + i), 10.0);
    }
    let count: u64 = packs.iter().map(|pack| pack["packs"].as_u64().unwrap()).sum();
    let total = number(&book.computed(&leaf, &format!("G{}", first + packs.len() as u32)));
    assert!(same(total, 10.0 * count as f64));
}

/// Compares weights, batches and packs of a sheet with the program's own answer.
fn check_amounts(book: &Book, leaf: &str, sheet: &Value) {
    let at = |what: &str, column: char| {
        let row = book.find(leaf, 0, what);
        number(&book.computed(leaf, &format!("{column}{row}")))
    };
    let mass = |of: &Value, key: &str| of[key].as_f64().unwrap();
    let cast = mass(sheet, "cast_mass_kg");
    let asked = cast * (1.0 + mass(&sheet["basis"], "waste"));
    for (what, column, expected) in
        [("cast", 'B', cast), ("to mix", 'B', asked), ("together", 'C', mass(sheet, "mixed_mass_kg"))]
    {
        assert!(same(at(what, column), expected), "{what}: {} {expected}", at(what, column));
    }
    let lifts = book.find(leaf, 0, "lift") + 1;
    for (i, lift) in sheet["pours"].as_array().unwrap().iter().enumerate() {
        let found = |column: char| number(&book.computed(leaf, &format!("{column}{}", lifts + i as u32)));
        let batches = &lift["batches"];
        assert!(same(found('D'), mass(batches, "count")), "{batches}");
        // Each of five weights of a batch is rounded to the gram.
        assert!((found('E') - mass(batches, "mass_kg")).abs() < 2.5e-3, "{batches}");
        assert!((60.0 * found('F') - mass(batches, "time_s")).abs() < 0.1, "{batches}");
    }
    let (weigh, buy) = (book.find(leaf, 0, "weigh") + 1, book.find(leaf, 0, "buy") + 1);
    for (i, weight) in sheet["weights"].as_array().unwrap().iter().enumerate() {
        let row = weigh + i as u32;
        assert_eq!(
            book.value(leaf, &format!("A{row}")),
            Cell::Text(weight["of"].as_str().unwrap().to_string())
        );
        let found = number(&book.computed(leaf, &format!("C{row}")));
        assert!(same(found, weight["mass_kg"].as_f64().unwrap()), "{weight}: {found}");
        for (column, lift) in ('D'..).zip(sheet["pours"].as_array().unwrap()) {
            let batch = mass(&lift["batches"]["weights"][i], "mass_kg");
            assert!(same(number(&book.computed(leaf, &format!("{column}{row}"))), batch), "{weight}");
        }
    }
    for (i, pack) in sheet["shopping"].as_array().unwrap().iter().enumerate() {
        for (column, key) in [('B', "needed_kg"), ('D', "packs"), ('E', "bought_kg")] {
            let found = number(&book.computed(leaf, &format!("{column}{}", buy + i as u32)));
            assert!(same(found, pack[key].as_f64().unwrap()), "{pack} {key}: {found}");
        }
    }
}

#[test]
fn no_row_is_too_low_for_its_text() {
    let folder = tempfile::tempdir().unwrap();
    for arguments in [&["compare", STAND, "--draws", "8"][..], &["pour", STAND]] {
        book(folder.path(), arguments);
        let (found, folded) = rows::too_low(&folder.path().join("book.xlsx"));
        assert_eq!(found, Vec::<String>::new(), "{arguments:?}");
        assert!(folded > 10, "{arguments:?}: {folded} texts of more than a line");
    }
}

#[test]
fn titles_that_begin_like_formulas_stay_text() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(root().join("examples/smallest.toml")).unwrap();
    let design = folder.path().join("odd.toml").display().to_string();
    let title = text.lines().find(|line| line.starts_with("title")).unwrap();
    let label = text.lines().find(|line| line.starts_with("label")).unwrap();
    let odd = text.replace(title, "title = \"=HYPERLINK(1)\"").replace(label, "label = \"+1+1\"");
    std::fs::write(&design, odd).unwrap();
    let book = book(folder.path(), &["compare", &design, "--draws", "0"]);
    assert_eq!(book.value("Notes", "A1"), Cell::Text("=HYPERLINK(1)".to_string()));
    assert!(book.formulas().iter().all(|(_, _, formula)| !formula.contains("HYPERLINK")));
    assert_eq!(book.value("Builds", "A2"), Cell::Text("+1+1".to_string()));
}

#[test]
fn a_command_without_a_workbook_says_so() {
    let said = stillbed(&["modes", STAND, "--format", "xlsx"]).code(2).get_output().stderr.clone();
    let said = String::from_utf8(said).unwrap();
    assert!(said.contains("modes has no workbook") && said.contains("--format csv"), "{said}");
}
