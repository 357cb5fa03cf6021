//! A loss factor as the file states it: one value, or values at one or two amplitudes.
//!
//! ```text
//! loss  = 0.1
//! loss  = { value = 0.1, low = 0.05, high = 0.2 }
//! loss  = ["0.05 at 0.1 um", "0.2 at 10 um"]
//! loss  = [{ loss = { value = 0.05, low = 0.03, high = 0.08 }, at = "0.1 um" }, "0.2 at 10 um"]
//! ```

use super::{Allowed, Class, Fields, Form};
use crate::problem::Problem;
use crate::quantity::{self, AmplitudeLoss, Kind, Loss, LossAt, show};
use toml::Spanned;
use toml::de::DeValue;

/// Loss factors that make sense.
const SENSE: Allowed = Allowed::Between(0.0, 10.0);

/// How to write a loss factor at an amplitude.
const EXAMPLE: &str = "write it like \"0.05 at 0.1 um\"";

impl<'r, 't> Fields<'r, 't> {
    /// The loss factor at `key`; without a stated spread it gets the usual one of `class`.
    pub fn loss(&self, key: &str, class: Class) -> Option<Loss> {
        let value = self.asked(key, Form::Losses(SENSE))?;
        let items: Vec<&'r Spanned<DeValue<'t>>> = match value.get_ref() {
            DeValue::Array(items) => items.iter().collect(),
            DeValue::String(text) if text.contains(" at ") => vec![value],
            _ => return self.quantity_of(key, Kind::Ratio, SENSE, class).map(Loss::Same),
        };
        if !(1..=2).contains(&items.len()) {
            let message = format!("{} losses at amplitudes; one or two are read", items.len());
            self.refuse(key, message, "state it at a small and at a large amplitude");
            return None;
        }
        let numbered = items.iter().enumerate();
        let points: Vec<Option<LossAt>> = numbered
            .map(|(i, item)| self.loss_at(&format!("{}[{}]", self.key(key), i + 1), item, class))
            .collect();
        let points: Vec<LossAt> = points.into_iter().collect::<Option<_>>()?;
        let (first, second) = (*points.first()?, *points.last()?);
        let loss = AmplitudeLoss::new(first, second);
        if loss.is_none() {
            let [a, b] = [first, second].map(|point| show(point.amplitude, Kind::Length));
            let (message, help) = match first.amplitude == second.amplitude {
                true => (format!("two losses at the amplitude {a}"), "state them at different amplitudes"),
                false => (format!("the amplitudes {a} and {b} fall"), "write the smaller amplitude first"),
            };
            self.refuse(key, message, help);
        }
        loss.map(Loss::Over)
    }

    fn loss_at(&self, path: &str, item: &'r Spanned<DeValue<'t>>, class: Class) -> Option<LossAt> {
        let place = self.reader.place(&item.span(), path);
        let refuse = |message: String, help: &str| {
            self.say(Problem::error(place.clone(), message).with_help(help));
        };
        match item.get_ref() {
            DeValue::Table(table) => {
                let fields = Fields::new(self.reader, path.to_string(), item.span(), table, None);
                fields.need("loss", "0.05");
                fields.need("at", "\"0.1 um\"");
                let loss = fields.quantity_of("loss", Kind::Ratio, SENSE, class);
                let amplitude = fields.list("at", Kind::Length, 1, Allowed::Positive);
                fields.finish();
                Some(LossAt { amplitude: amplitude?[0], loss: loss? })
            }
            DeValue::String(text) => {
                let Some((loss, at)) = text.split_once(" at ") else {
                    refuse(format!("\"{text}\" names no amplitude"), EXAMPLE);
                    return None;
                };
                let read = |part: &str, kind, allowed: Allowed| match quantity::single(part.trim(), kind) {
                    Ok(value) => match allowed.refuse(value, kind) {
                        Some(rule) => {
                            refuse(format!("{} in \"{text}\" {rule}", show(value, kind)), EXAMPLE);
                            None
                        }
                        None => Some(value),
                    },
                    Err(fault) => {
                        refuse(fault.message, &fault.help);
                        None
                    }
                };
                let loss = read(loss, Kind::Ratio, SENSE);
                let amplitude = read(at, Kind::Length, Allowed::Positive);
                let loss = self.reader.usual(path, loss?, Kind::Ratio, Some(class));
                Some(LossAt { amplitude: amplitude?, loss })
            }
            _ => {
                let found = self.reader.source.text.get(item.span()).unwrap_or("this");
                refuse(format!("{found} names no amplitude"), EXAMPLE);
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Law, Reader, Usual};
    use super::*;
    use crate::quantity::Draw;

    fn read(text: &str) -> (Option<Loss>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let loss = root.loss("loss", Class::JointLoss);
        root.finish();
        (loss, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn one_value_or_two_amplitudes() {
        let at = |text: &str, amplitude| {
            let (loss, said) = read(text);
            assert!(said.is_empty(), "{said:?}");
            loss.unwrap().at(amplitude, &Draw::default())
        };
        assert_eq!(at("loss = 0.1\n", None), 0.1);
        assert_eq!(at("loss = { value = 0.1, low = 0.05, high = 0.2 }\n", Some(1.0)), 0.1);
        let two = "loss = [\"5 % at 0.1 um\", \"0.2 at 10 um\"]\n";
        approx::assert_relative_eq!(at(two, Some(1e-6)), 0.125, max_relative = 1e-12);
        assert_eq!((at(two, None), at(two, Some(1.0))), (0.05, 0.2));
        assert_eq!(at("loss = \"0.05 at 1 um\"\n", Some(1.0)), 0.05);
        let tables = "loss = [{ loss = { value = 0.05, low = 0.03, high = 0.08 }, at = \"0.1 um\" }, \
             { loss = 0.2, at = \"10 um\" }]\n";
        approx::assert_relative_eq!(at(tables, Some(1e-6)), 0.125, max_relative = 1e-12);
    }

    #[test]
    fn spreads_of_both_are_registered() {
        let text = "loss = [{ loss = { value = 0.05, low = 0.03, high = 0.08 }, at = \"0.1 um\" }, \
             { loss = { value = 0.2, low = 0.1, high = 0.3 }, at = \"10 um\" }]\n";
        let reader = Reader::new("d.toml", text);
        reader.root().loss("loss", Class::JointLoss).unwrap();
        let keys: Vec<String> = reader.finish().1.into_iter().map(|u| u.key).collect();
        assert_eq!(keys, ["loss[1].loss", "loss[2].loss"]);
    }

    #[test]
    fn a_loss_without_spread_has_the_usual_one_unless_it_is_exact() {
        let usual = Usual::of(Class::JointLoss);
        let uncertain = |text: &str| {
            let reader = Reader::new("d.toml", text);
            reader.root().loss("loss", Class::JointLoss).unwrap();
            let (said, uncertain) = reader.finish();
            assert!(said.is_empty(), "{said:?}");
            uncertain
        };
        for (text, keys) in [
            ("loss = 0.1\n", vec!["loss"]),
            ("loss = [\"0.1 at 1 um\", \"0.1 at 9 um\"]\n", vec!["loss[1]", "loss[2]"]),
            ("loss = [{ loss = 0.1, at = \"1 um\" }]\n", vec!["loss[1].loss"]),
        ] {
            let found = uncertain(text);
            assert_eq!(found.iter().map(|u| u.key.as_str()).collect::<Vec<_>>(), keys);
            for quantity in found {
                assert_eq!((quantity.law, quantity.spread.guess), (Law::LogNormal, true));
                let limits = (quantity.spread.low, quantity.spread.high);
                assert_eq!(limits, (0.1 * usual.low, 0.1 * usual.high));
            }
        }
        assert!(uncertain("loss = { value = 0.1, exact = true }\n").is_empty());
        assert!(uncertain("loss = [{ loss = { value = 0.1, exact = true }, at = \"1 um\" }]\n").is_empty());
        assert!(uncertain("loss = 0\n").is_empty());
    }

    #[test]
    fn what_is_wrong_is_said_at_its_place() {
        let said = |text: &str| {
            let (loss, said) = read(text);
            assert!(loss.is_none() && said.len() == 1, "{said:?}");
            said[0].clone()
        };
        let equal = said("loss = [\"0.05 at 1 um\", \"0.2 at 1 um\"]\n");
        assert!(equal.starts_with("d.toml:1:8  loss: two losses at the amplitude 1 µm"), "{equal}");
        assert!(said("loss = [\"0.05 at 10 um\", \"0.2 at 1 um\"]\n").contains("10 µm and 1 µm fall"));
        let unit = said("loss = [\"0.05 at 1 um\", \"0.2 at 10\"]\n");
        assert!(unit.starts_with("d.toml:1:25  loss[2]: \"10\" has no unit; a length"), "{unit}");
        let three = said("loss = [\"0.1 at 1 um\", \"0.2 at 2 um\", \"0.3 at 3 um\"]\n");
        assert!(three.contains("3 losses at amplitudes; one or two"), "{three}");
        assert!(said("loss = [0.1, \"0.2 at 10 um\"]\n").contains("0.1 names no amplitude"));
        assert!(said("loss = [\"0.1\", \"0.2 at 10 um\"]\n").contains("\"0.1\" names no amplitude"));
        assert!(said("loss = [\"12 at 1 um\", \"0.2 at 10 um\"]\n").contains("must be from 0 to 10"));
        assert!(said("loss = [\"0.1 at -1 um\", \"0.2 at 10 um\"]\n").contains("must be more than zero"));
        assert!(said("loss = []\n").contains("0 losses"));
    }
}
