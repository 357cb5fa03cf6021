//! The repair of a problem, where its help names the one name that was meant.

use stillbed_input::problem::Problem;

/// What stands between the first two quotes of `text` after `before`.
fn quoted<'t>(text: &'t str, before: &str) -> Option<&'t str> {
    text.split_once(before)?.1.split_once('"').map(|(name, _)| name)
}

/// `text` with the name that `problem` refuses replaced by the one that its help proposes, at the place of the
/// problem; `None` where it proposes none.
pub fn repaired(text: &str, problem: &Problem) -> Option<String> {
    let meant = quoted(problem.help.as_deref()?, "did you mean \"")?;
    let found = quoted(&problem.message, "\"")?;
    let line = problem.place.line?;
    let start: usize = text.split_inclusive('\n').take(line.checked_sub(1)?).map(str::len).sum();
    let own = text[start..].split_inclusive('\n').next()?;
    let column = problem.place.column.map_or(0, |column| column.saturating_sub(1));
    let at = own.char_indices().nth(column).map_or(0, |(at, _)| at);
    let found_at = own[at..].find(found).map(|place| at + place).or_else(|| own.find(found))?;
    let (before, after) = (&text[..start + found_at], &text[start + found_at + found.len()..]);
    Some(format!("{before}{meant}{after}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_design::{Design, SMALLEST};
    use stillbed_material::Table;

    #[test]
    fn a_slip_of_a_name_is_mended_at_its_place() {
        let table = Table::built_in();
        for (good, slip) in
            [("of = \"structural steel\"", "of = \"structural stel\""), ("to = \"tip\"", "to = \"tipp\"")]
        {
            assert!(SMALLEST.contains(good));
            let wrong = SMALLEST.replace(good, slip);
            let reading = Design::read("a.toml", &wrong, &table);
            let mended = reading.problems.iter().find_map(|problem| repaired(&wrong, problem));
            let mended = mended.unwrap_or_else(|| panic!("{:?}", reading.problems));
            assert_eq!(mended, SMALLEST);
        }
    }

    #[test]
    fn what_proposes_no_name_has_no_repair() {
        let wrong = SMALLEST.replace("40 x 10 mm", "40 x 10");
        let reading = Design::read("a.toml", &wrong, &Table::built_in());
        assert!(!reading.problems.is_empty());
        assert!(reading.problems.iter().all(|problem| repaired(&wrong, problem).is_none()));
    }
}
