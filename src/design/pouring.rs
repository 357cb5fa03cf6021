//! How is the base poured? The table `[pour]` of the design file.
//!
//! ```toml
//! [pour]
//! temperature = "18 degC"
//! swing = "3 K"
//! start = "08:00"
//! ```

use stillbed_input::document::{Allowed, Fields};
use stillbed_input::quantity::{Kind, Spread};

/// How the base is poured; what is not stated is chosen by the study.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PourSpec {
    /// Fraction of the mix lost on tools and in joints.
    pub waste: Option<f64>,
    /// Volume of mix that the bucket holds, m3.
    pub bucket: Option<f64>,
    /// Temperature of mix and mould, and of the room over the day, K.
    pub temperature: Option<f64>,
    /// How far the room temperature rises above and falls below that, K.
    pub swing: Option<f64>,
    /// Time of day at which the first lift begins, s.
    pub start: Option<f64>,
    /// Height of a lift, m.
    pub lift: Option<f64>,
    /// Time from the start of one lift to the start of the next, s.
    pub wait: Option<f64>,
    /// Time to mix a batch, s.
    pub mixing_time: Option<f64>,
    /// Time to place and vibrate 10 kg, s.
    pub placing_time: Option<f64>,
    /// Film coefficient from a surface to air, W/(m2 K).
    pub film: Option<Spread>,
    /// Distance between the ribs of the mould, m.
    pub ribs: Option<f64>,
    /// Allowed deflection of a board between them, m.
    pub deflection: Option<f64>,
}

impl PourSpec {
    /// Reads the table.
    pub fn read(fields: &Fields) -> PourSpec {
        let number = |key: &str, kind: Kind, allowed: Allowed| {
            fields.list(key, kind, 1, allowed).and_then(|list| list.first().copied())
        };
        let positive = |key: &str, kind: Kind| number(key, kind, Allowed::Positive);
        let start = fields.text("start").and_then(|text| {
            let read = time_of_day(&text.value);
            if read.is_none() {
                fields.refuse("start", format!("\"{}\" is no time of day", text.value), TIME_HELP);
            }
            read
        });
        PourSpec {
            waste: number("waste", Kind::Ratio, Allowed::Between(0.0, 1.0)),
            bucket: positive("bucket", Kind::Volume),
            temperature: number("temperature", Kind::Temperature, Allowed::Between(263.15, 353.15)),
            swing: number("swing", Kind::TemperatureChange, Allowed::Between(0.0, 30.0)),
            start,
            lift: number("lift", Kind::Length, Allowed::Between(5e-3, 10.0)),
            wait: number("wait", Kind::Time, Allowed::Between(60.0, 60.0 * 86400.0)),
            mixing_time: positive("mixing_time", Kind::Time),
            placing_time: positive("placing_time", Kind::Time),
            film: fields.quantity("film", Kind::Film, Allowed::Positive),
            ribs: positive("ribs", Kind::Length),
            deflection: positive("deflection", Kind::Length),
        }
    }
}

/// How a time of day is written.
pub const TIME_HELP: &str = "write hours and minutes like \"08:00\"";

/// The time of day `text`, such as "08:00", in seconds; `None` where it is not one.
#[must_use]
pub fn time_of_day(text: &str) -> Option<f64> {
    let (hours, minutes) = text.trim().split_once(':')?;
    let number = |text: &str| text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse::<u32>().ok())?;
    let (hours, minutes) = (number(hours)?, number(minutes)?);
    (hours < 24 && minutes < 60).then(|| f64::from(hours * 3600 + minutes * 60))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (PourSpec, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let fields = root.fields("pour").unwrap();
        let spec = PourSpec::read(&fields);
        fields.finish();
        root.finish();
        (spec, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn times_of_day() {
        assert_eq!(time_of_day("08:30"), Some(30_600.0));
        for wrong in ["24:00", "8", "8:60", "-1:00", "+8:00", "noon"] {
            assert_eq!(time_of_day(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_pour_as_it_is_stated() {
        let (spec, said) = read("[pour]\nstart = \"08:00\"\nwait = \"24 h\"\nswing = \"3 K\"\n");
        assert!(said.is_empty(), "{said:?}");
        assert_eq!((spec.start, spec.wait, spec.swing), (Some(28_800.0), Some(86_400.0), Some(3.0)));
        let said = read("[pour]\nstart = \"8 h\"\nwait = \"0 h\"\n").1;
        assert!(said[0].contains("\"8 h\" is no time of day") && said.len() == 2, "{said:?}");
    }
}
