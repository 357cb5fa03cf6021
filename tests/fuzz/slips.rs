//! Faulty texts, as typing errors, programs or malice leave them.

use super::choices::Choices;

/// Texts put in place of the right one.
const TEXTS: [&str; 44] = [
    "",
    " ",
    "0",
    "-1",
    "1e300",
    "1e-300",
    "nan",
    "inf",
    "0 mm",
    "-5 mm",
    "1e300 mm",
    "5e-324 m",
    "1 um",
    "10 km",
    "0, 0, 0 mm",
    "1, 2 mm",
    "1, 2, 3, 4 mm",
    "60 x 60 mm",
    "60 x 60 x 30 mm",
    "60 x 60 x 1e-9 mm",
    "200 GPa",
    "1 Pa",
    "7 kg",
    "1e9 kg",
    "0.5 N/um",
    "1e12 N/um",
    "1000 kN m/rad",
    "100 : 0",
    "5 %",
    "500 %",
    "0.3 to 0.8 mm",
    "8 to 0.1 mm",
    "=1+1",
    "\"",
    "]",
    "\u{feff}",
    "µm",
    "🦀",
    "a.b",
    "x turn_y",
    "all",
    "ground",
    "2000, 12000 rpm",
    "20 degC",
];

/// A replacement for `own`: a text of the list, or `own` with a change in it.
pub fn text(choices: &mut Choices, own: &str) -> String {
    match choices.below(8) {
        0 | 1 => (*choices.pick(&TEXTS)).to_string(),
        2..=5 => scaled(choices, own),
        6 => {
            let letters: Vec<char> = own.chars().collect();
            let at = choices.below(letters.len().max(1));
            letters.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, letter)| letter).collect()
        }
        _ => {
            let at = own.char_indices().map(|(at, _)| at).nth(choices.below(own.len().max(1))).unwrap_or(0);
            let letter = *choices.pick(&['-', ',', '.', 'e', ' ', '0', '"', '\n', '\t', 'x', '/', ';', 'é']);
            format!("{}{letter}{}", &own[..at], &own[at..])
        }
    }
}

/// `own` with one of its numbers made larger or smaller, mostly by so little that it stays plausible.
pub fn scaled(choices: &mut Choices, own: &str) -> String {
    let is_of_number = |c: char| c.is_ascii_digit() || c == '.';
    let mut numbers: Vec<(usize, usize)> = Vec::new();
    let mut start = None;
    for (at, letter) in own.char_indices().chain([(own.len(), ' ')]) {
        match (start, is_of_number(letter)) {
            (None, true) => start = Some(at),
            (Some(from), false) => {
                numbers.push((from, at));
                start = None;
            }
            _ => {}
        }
    }
    if numbers.is_empty() {
        return (*choices.pick(&TEXTS)).to_string();
    }
    let (from, to) = *choices.pick(&numbers);
    let Ok(number) = own[from..to].parse::<f64>() else { return own.to_string() };
    let factor =
        *choices.pick(&[0.9, 1.1, 0.5, 2.0, 0.1, 10.0, 0.0, 1e-3, 1e3, 1e-6, 1e6, 1e-12, 1e12, -1.0]);
    format!("{}{}{}", &own[..from], number * factor, &own[to..])
}
