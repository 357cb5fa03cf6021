//! Measures, folds and cuts text by the number of terminal columns it takes.

use unicode_width::UnicodeWidthStr;

/// How many columns `text` takes.
pub(crate) fn width(text: &str) -> usize {
    text.width()
}

/// `text` without characters that a terminal would act on: white space becomes a space; other control
/// characters, and those that change the direction of writing, become a question mark.
pub(super) fn clean(text: &str) -> String {
    let shown = |c: char| match c {
        '\n' | '\r' | '\t' => ' ',
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => '\u{fffd}',
        c if c.is_control() => '\u{fffd}',
        c => c,
    };
    // Variation selectors are dropped: some terminals draw emoji with them one column wider.
    text.chars().filter(|c| !('\u{fe00}'..='\u{fe0f}').contains(c)).map(shown).collect()
}

/// `text` in lines of at most `columns`, broken at spaces, or inside a word longer than a line. Line breaks
/// in the text are kept.
pub(crate) fn fold(text: &str, columns: usize) -> Vec<String> {
    text.lines().flat_map(|line| fold_line(&clean(line), columns.max(2))).collect()
}

fn fold_line(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let gap = usize::from(used > 0);
        if used > 0 && used + gap + width(word) > columns {
            lines.push(String::new());
            used = 0;
        } else if used > 0 {
            push(&mut lines, " ");
            used += 1;
        }
        for part in pieces(word, columns) {
            if used > 0 && used + width(&part) > columns {
                lines.push(String::new());
                used = 0;
            }
            push(&mut lines, &part);
            used += width(&part);
        }
    }
    lines
}

fn push(lines: &mut [String], text: &str) {
    if let Some(line) = lines.last_mut() {
        line.push_str(text);
    }
}

/// A word in pieces of at most `columns`.
fn pieces(word: &str, columns: usize) -> Vec<String> {
    if width(word) <= columns {
        return vec![word.to_string()];
    }
    let mut pieces = vec![String::new()];
    for c in word.chars() {
        // The whole piece is measured, since a combining character has no width of its own.
        let with = pieces.last().map_or(String::new(), |piece| format!("{piece}{c}"));
        if width(&with) > columns {
            pieces.push(String::new());
        }
        push(&mut pieces, c.encode_utf8(&mut [0; 4]));
    }
    pieces
}

/// `text` cut to one line of at most `columns`, with `…` if something is cut off.
pub(super) fn cut(text: &str, columns: usize) -> String {
    let text = clean(text);
    if width(&text) <= columns {
        return text;
    }
    let first = pieces(&text, columns.saturating_sub(1).max(1)).swap_remove(0);
    format!("{first}…")
}

/// `text` padded on the right to `columns`.
pub(super) fn left(text: &str, columns: usize) -> String {
    format!("{text}{}", " ".repeat(columns.saturating_sub(width(text))))
}

/// `text` padded on the left to `columns`.
pub(super) fn right(text: &str, columns: usize) -> String {
    format!("{}{text}", " ".repeat(columns.saturating_sub(width(text))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn folds_at_spaces_and_keeps_breaks() {
        assert_eq!(fold("the lift is too  thick", 12), ["the lift is", "too thick"]);
        assert_eq!(fold("a\n\nb", 12), ["a", "", "b"]);
        assert_eq!(fold("abcdefgh ij", 4), ["abcd", "efgh", "ij"]);
    }

    #[test]
    fn columns_are_those_of_the_terminal() {
        // Each of these characters takes two columns.
        assert_eq!(fold("鋳物鋳物", 5), ["鋳物", "鋳物"]);
        assert_eq!(left("鋳", 4), "鋳  ");
        assert_eq!(cut("鋳物鋳物", 6), "鋳物…");
        assert_eq!(right("µ", 3), "  µ");
    }

    #[test]
    fn a_name_cannot_steer_the_terminal() {
        assert_eq!(clean("a\u{1b}[31mb\u{202e}"), "a\u{fffd}[31mb\u{fffd}");
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn no_line_is_longer_and_nothing_is_lost(text in "\\PC{0,200}", columns in 2usize..90) {
            let lines = fold(&text, columns);
            for line in &lines {
                prop_assert!(width(line) <= columns, "{line:?}");
            }
            let kept = |s: &str| s.chars().filter(|c| !c.is_whitespace()).collect::<String>();
            prop_assert_eq!(kept(&lines.concat()), kept(&clean(&text)));
        }
    }
}
