//! Inputs stated without a spread, and the usual spread assumed for them.

use super::super::table::{Column, Table};
use stillbed_input::quantity::figures;
use stillbed_study::guesses::Guess;

/// Guesses shown in one row, such as all springs of a joint or all stiffnesses of a foot.
struct Taken {
    key: String,
    builds: Vec<String>,
    as_what: String,
}

/// The guesses as a table, one row per joint or foot; `None` if there are none.
pub(super) fn taken(guesses: &[Guess]) -> Option<Table> {
    let mut rows: Vec<Taken> = Vec::new();
    for guess in guesses {
        let ((build, key), as_what) = (together(&guess.key), as_what(guess));
        let known = rows.iter().position(|row| row.key == key && row.as_what == as_what);
        let place = known.unwrap_or(rows.len());
        if known.is_none() {
            rows.push(Taken { key, builds: Vec::new(), as_what });
        }
        if !rows[place].builds.contains(&build) {
            rows[place].builds.push(build);
        }
    }
    let columns = [
        Column::text("stated without a spread", "key", |row: &Taken| row.key.clone()),
        Column::text("build", "build", |row: &Taken| row.builds.join(", ")),
        Column::text("taken as", "taken", |row: &Taken| row.as_what.clone()),
    ];
    (!rows.is_empty()).then(|| Table::new("Guesses, with the usual spread of their class", &columns, &rows))
}

/// The build that states the key, or "all", and the key without the part that distinguishes the springs of
/// one joint or foot.
fn together(key: &str) -> (String, String) {
    let (build, key) = match key.strip_prefix("builds.").and_then(|key| key.split_once('.')) {
        Some((build, key)) => (build, key),
        None => ("all", key),
    };
    let end = [".stiffness", ".turning"].iter().find_map(|name| Some(key.find(name)? + name.len()));
    let key = &key[..end.unwrap_or(key.len())];
    let key = key.split_once('[').map_or(key, |(key, _)| key);
    (build.to_string(), key.to_string())
}

fn as_what(guess: &Guess) -> String {
    if !guess.stated {
        return "0: none is stated".to_string();
    }
    let times = |limit: f64| figures(limit / guess.value, 2);
    format!("{} to {} times", times(guess.low), times(guess.high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guess(key: &str, value: f64) -> Guess {
        Guess {
            key: key.to_string(),
            class: "foot stiffness",
            stated: value > 0.0,
            value,
            low: 0.5 * value,
            high: 2.0 * value,
            source: String::new(),
        }
    }

    #[test]
    fn springs_of_one_foot_are_one_row() {
        let list = [
            guess("feet.a.stiffness[1]", 2.0),
            guess("feet.a.stiffness[3]", 8.0),
            guess("joints.b.stiffness.turn", 3.0),
            guess("feet.a.loss[2]", 0.1),
            guess("feet.c.loss", 0.0),
        ];
        assert_eq!(taken(&list).unwrap().len(), 4);
        let of = |key: &str| {
            let (build, key) = together(key);
            format!("{build} {key}")
        };
        assert_eq!(of("feet.a.stiffness[3]"), "all feet.a.stiffness");
        assert_eq!(of("builds.x.joints.b.stiffness.turn"), "x joints.b.stiffness");
        assert_eq!(of("feet.a.loss[2].loss"), "all feet.a.loss");
        assert_eq!(
            (as_what(&list[0]), as_what(&list[4])),
            ("0.5 to 2 times".into(), "0: none is stated".into())
        );
        assert!(taken(&[]).is_none());
    }
}
