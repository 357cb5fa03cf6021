//! Several values of one quantity: a list, or equal steps between two limits.
//!
//! ```text
//! at = ["0, 10 mm", "0, 20 mm"]
//! at = { from = "0, 10 mm", to = "0, 30 mm", steps = 5 }
//! ```

use super::{Allowed, Fields, Form};
use crate::quantity::{self, Kind};
use toml::Spanned;
use toml::de::DeValue;

/// Number of values between limits where `steps` is not stated.
const STEPS: usize = 5;

/// Largest number of values in a series.
const MOST: usize = 1000;

impl Fields<'_, '_> {
    /// The values at `key`, each with `count` numbers.
    pub fn series(&self, key: &str, kind: Kind, count: usize, allowed: Allowed) -> Option<Vec<Vec<f64>>> {
        let form = Form::Quantity { kind, count, allowed, spread: false };
        self.several(key, form, |path, value| self.numbers(path, value, kind, count, allowed))
    }

    /// The sizes at `key`, such as `"60 x 40 x 3 mm"`, each more than zero; `counts` are the allowed
    /// numbers of lengths in a size, the usual one first.
    pub fn size_series(&self, key: &str, counts: &[usize]) -> Option<Vec<Vec<f64>>> {
        self.several(key, Form::Size(counts.to_vec()), |path, value| {
            let text = value.get_ref().as_str();
            let found = text.map_or(0, |t| t.to_lowercase().replace('×', "x").split('x').count());
            let count = if counts.contains(&found) { found } else { counts[0] };
            let Some(text) = text else {
                return self.numbers(path, value, Kind::Length, 1, Allowed::Positive);
            };
            match quantity::size(text, Kind::Length, count) {
                Ok(sizes) if sizes.iter().all(|size| *size > 0.0) => Some(sizes),
                Ok(_) => {
                    self.refuse(
                        key,
                        format!("a size in \"{text}\" is not more than zero"),
                        "sizes are above 0",
                    );
                    None
                }
                Err(fault) => {
                    self.refuse(key, fault.message, fault.help);
                    None
                }
            }
        })
    }

    fn several(
        &self,
        key: &str,
        form: Form,
        read: impl Fn(&str, &Spanned<DeValue>) -> Option<Vec<f64>>,
    ) -> Option<Vec<Vec<f64>>> {
        let value = self.asked(key, Form::Series(Box::new(form)))?;
        let values: Vec<Vec<f64>> = match value.get_ref() {
            DeValue::Array(items) => {
                items.iter().map(|item| read(&self.key(key), item)).collect::<Option<_>>()?
            }
            DeValue::Table(_) => {
                let limits = self.as_fields(key, value, None)?;
                limits.need("from", "the first value");
                limits.need("to", "the last value");
                let end = |which: &str| limits.value(which).and_then(|v| read(&limits.key(which), v));
                let (from, to) = (end("from"), end("to"));
                let steps = if limits.has("steps") { limits.counts("steps")?[0] } else { STEPS };
                if !(2..=MOST).contains(&steps) {
                    let help = format!("write from 2 to {MOST} steps");
                    limits.refuse("steps", format!("{steps} steps between two limits"), help);
                    return None;
                }
                limits.finish();
                let (from, to) = (from?, to?);
                let step = |i: usize| i as f64 / (steps - 1) as f64;
                let between = |i: usize| from.iter().zip(&to).map(|(a, b)| a + (b - a) * step(i)).collect();
                (0..steps).map(between).collect()
            }
            _ => vec![read(&self.key(key), value)?],
        };
        if values.is_empty() {
            self.refuse(key, "the list is empty", "name at least one value");
            return None;
        }
        Some(values)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Reader;
    use super::*;

    fn read(text: &str) -> (Option<Vec<Vec<f64>>>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let series = root.series("at", Kind::Length, 2, Allowed::Any);
        root.finish();
        (series, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn a_list_or_steps_between_limits() {
        let (list, said) = read("at = [\"0, 10 mm\", \"0, 30 mm\"]\n");
        assert_eq!((list.unwrap()[1][1], said.len()), (0.03, 0));
        let (steps, said) = read("at = { from = \"0, 10 mm\", to = \"0, 30 mm\", steps = 3 }\n");
        assert!((steps.unwrap()[1][1] - 0.02).abs() < 1e-15 && said.is_empty());
        assert_eq!(read("at = { from = \"0, 10 mm\", to = \"0, 30 mm\" }\n").0.unwrap().len(), STEPS);
    }

    #[test]
    fn what_is_wrong_is_said_at_its_place() {
        assert!(read("at = []\n").1[0].contains("the list is empty"));
        assert!(read("at = { from = \"0, 10 mm\" }\n").1[0].contains("\"to\" is missing"));
        assert!(read("at = { from = \"0, 1 mm\", to = \"0, 2 mm\", steps = 1 }\n").1[0].contains("1 steps"));
        assert!(read("at = [\"0, 10 furlong\"]\n").1[0].starts_with("d.toml:1:7"));
    }
}
