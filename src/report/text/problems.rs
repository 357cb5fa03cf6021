//! Problems for the terminal: place, message, the line of text with a caret, the repair.

use super::fold::{clean, fold, width};
use super::palette::Palette;
use super::style::Style;
use stillbed_input::problem::{Problem, Severity, Source};
use unicode_width::UnicodeWidthChar;

/// All of `list`, each with its line from `sources` if that is known, and their count at the end; empty
/// for an empty list.
pub fn problems(list: &[Problem], sources: &[Source], style: &Style) -> String {
    let lines = lines(list, sources, style);
    if lines.is_empty() { String::new() } else { lines.join("\n") + "\n" }
}

pub(super) fn lines(list: &[Problem], sources: &[Source], style: &Style) -> Vec<String> {
    let mut lines = Vec::new();
    for problem in list {
        lines.extend(one(problem, sources, style));
        lines.push(String::new());
    }
    if !list.is_empty() {
        lines.push(count(list));
    }
    lines
}

/// The count as `3 errors, 1 warning`.
fn count(list: &[Problem]) -> String {
    let errors = list.iter().filter(|problem| problem.is_error()).count();
    let said = |n: usize, what: &str| match n {
        0 => None,
        1 => Some(format!("1 {what}")),
        n => Some(format!("{n} {what}s")),
    };
    let parts = [said(errors, "error"), said(list.len() - errors, "warning")];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn one(problem: &Problem, sources: &[Source], style: &Style) -> Vec<String> {
    let (word, colour) = match problem.severity {
        Severity::Error => ("error", Palette::Error),
        Severity::Warning => ("warning", Palette::Warning),
    };
    let indent = "  ";
    let room = style.columns() - indent.len();
    let place = problem.place.to_string();
    let mut head = fold(&place, style.columns() - word.len() - 2).into_iter();
    let first = format!(
        "{}  {}",
        style.paint(word, colour),
        style.paint(&head.next().unwrap_or_default(), Palette::Strong)
    );
    let mut lines = vec![first.trim_end().to_string()];
    lines.extend(
        head.map(|part| format!("{}{}", " ".repeat(word.len() + 2), style.paint(&part, Palette::Strong))),
    );
    lines.extend(fold(&problem.message, room).into_iter().map(|line| format!("{indent}{line}")));
    lines.extend(excerpt(problem, sources, colour, style).unwrap_or_default());
    if let Some(help) = &problem.help {
        lines.extend(
            fold(help, room).into_iter().map(|line| format!("{indent}{}", style.paint(&line, Palette::Help))),
        );
    }
    lines
}

/// The line where the problem is, with a caret under the faulty text.
fn excerpt(problem: &Problem, sources: &[Source], colour: Palette, style: &Style) -> Option<Vec<String>> {
    let place = &problem.place;
    let source = sources.iter().find(|source| Some(source.file) == place.file.as_deref())?;
    let (number, column) = (place.line?, place.column?);
    let line: Vec<char> = clean(source.text.lines().nth(number.checked_sub(1)?)?).chars().collect();
    let start = column.checked_sub(1)?.min(line.len());
    let length = word_length(&line[start..]);

    let gutter = format!("{number:>5} │ ");
    let room = style.columns() - width(&gutter);
    let (from, to) = window(&line, start, room);
    let text: String = line[from..to].iter().collect();
    let cut = if from > 0 { "…" } else { "" };
    let more = if to < line.len() { "…" } else { "" };
    let before = width(cut) + width(&line[from..start].iter().collect::<String>());
    let marked: String = line[start..(start + length).min(to)].iter().collect();
    let carets = "^".repeat(width(&marked).max(1).min(room.saturating_sub(before).max(1)));
    let bar = format!("{} │ ", " ".repeat(width(&gutter) - 3));
    Some(vec![
        format!("{}{cut}{text}{more}", style.paint(&gutter, Palette::Quiet)),
        format!(
            "{}{}{}",
            style.paint(&bar, Palette::Quiet),
            " ".repeat(before),
            style.paint(&carets, colour)
        ),
    ])
}

/// Length in characters of the word, quoted text or bracket at the start of `rest`.
fn word_length(rest: &[char]) -> usize {
    let until = |end: &dyn Fn(char) -> bool| rest.iter().skip(1).position(|c| end(*c)).map(|i| i + 1);
    let length = match rest.first() {
        Some('"') => until(&|c| c == '"').map(|i| i + 1),
        Some('\'') => until(&|c| c == '\'').map(|i| i + 1),
        Some('[') => until(&|c| c == ']').map(|i| i + 1),
        Some('{') => until(&|c| c == '}').map(|i| i + 1),
        Some(_) => until(&|c| c.is_whitespace() || ",]}=#".contains(c)),
        None => None,
    };
    length.unwrap_or(rest.len())
}

/// The part of a long line to show, so that it and an ellipsis at each end fit in `room`.
fn window(line: &[char], start: usize, room: usize) -> (usize, usize) {
    let wide = |c: &char| c.width().unwrap_or(0);
    if line.iter().map(wide).sum::<usize>() <= room {
        return (0, line.len());
    }
    let room = room - 2;
    let mut from = start;
    let mut used = 0;
    while from > 0 && used + wide(&line[from - 1]) <= room / 2 {
        from -= 1;
        used += wide(&line[from]);
    }
    let mut to = start;
    while to < line.len() && used + wide(&line[to]) <= room {
        used += wide(&line[to]);
        to += 1;
    }
    (from, to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::problem::Place;

    const TEXT: &str = "[members.rail]\nsection = \"rial\"\n";

    fn list() -> Vec<Problem> {
        let at = TEXT.find("\"rial").unwrap();
        vec![
            Problem::error(
                Source::new("stand.toml", TEXT).place(&(at..at + 6), "members.rail.section"),
                "no section \"rial\"",
            )
            .with_help("did you mean \"rail\"?"),
            Problem::warning(Place::key("mixes.sand"), "binder 12 %, the voids of the sand need 17 %"),
        ]
    }

    #[test]
    fn the_offending_text_is_underlined() {
        let text = problems(&list(), &[Source::new("stand.toml", TEXT)], &Style::default());
        let expected = [
            "error  stand.toml:2:11 members.rail.section",
            "  no section \"rial\"",
            "    2 │ section = \"rial\"",
            "      │           ^^^^^^",
            "  did you mean \"rail\"?",
            "",
            "warning  mixes.sand",
            "  binder 12 %, the voids of the sand need 17 %",
            "",
            "1 error, 1 warning",
            "",
        ];
        assert_eq!(text, expected.join("\n"));
        assert_eq!(problems(&[], &[], &Style::default()), "");
    }

    #[test]
    fn a_caret_stays_under_its_text_in_long_lines_and_wide_names() {
        let long = format!("{}\"鋳物\" = 1 # {}", "a.".repeat(60), "x".repeat(90));
        let place =
            Place { file: Some("f".to_string()), line: Some(1), column: Some(121), key: String::new() };
        let text = problems(&[Problem::error(place, "no")], &[Source::new("f", &long)], &Style::default());
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.iter().all(|line| width(line) <= 80), "{text}");
        let before = |line: &str, c: char| width(&line[..line.find(c).unwrap()]);
        assert_eq!(before(lines[2], '"'), before(lines[3], '^'));
        assert_eq!(lines[3].matches('^').count(), 6);
    }

    #[test]
    fn a_place_beyond_the_file_has_no_excerpt() {
        let place = Place { file: Some("f".to_string()), line: Some(9), column: Some(1), key: String::new() };
        let text = problems(&[Problem::error(place, "no")], &[Source::new("f", "a")], &Style::default());
        assert_eq!(text, "error  f:9:1\n  no\n\n1 error\n");
    }
}
