//! From the columns of a table to a record: which is the time, in which unit, and which are channels?

use super::record::{Channel, Record, RecordOptions, too_short};
use super::resample::{Even, Refused, even};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::{Kind, figures, show};

/// One column of numbers.
pub(super) struct Column {
    pub(super) title: String,
    /// False when the table has no titles.
    pub(super) titled: bool,
    pub(super) values: Vec<f64>,
    /// Largest number of digits after the decimal sign.
    pub(super) decimals: i32,
}

impl Column {
    /// Title without its unit, and the unit: `Time (ms)`, `time [ms]`, `time_ms`, `time / ms`.
    fn parts(&self) -> (&str, &str) {
        let title = self.title.trim();
        for (open, close) in [('(', ')'), ('[', ']')] {
            if let Some((name, rest)) = title.rsplit_once(open)
                && let Some((unit, _)) = rest.split_once(close)
            {
                return (name.trim(), unit.trim());
            }
        }
        match title.rsplit_once(['_', '/', ' ']) {
            Some((name, unit)) if time_unit(unit).is_some() => (name.trim(), unit.trim()),
            _ => (title, ""),
        }
    }

    fn is_named(&self, names: &[&str]) -> bool {
        let name = self.parts().0.to_lowercase();
        let mut words = name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
        self.titled && words.any(|word| names.contains(&word))
    }

    fn is_time(&self) -> bool {
        let names =
            ["time", "t", "timestamp", "zeit", "temps", "tiempo", "tempo", "seconds", "elapsed", "clock"];
        self.is_named(&names)
    }

    /// True when each value is one more than the value before: a count of the samples.
    fn counts_up(&self) -> bool {
        self.values.len() > 2 && self.values.windows(2).all(|pair| pair[1] - pair[0] == 1.0)
    }

    /// Share of the steps that rise.
    fn rising(&self) -> f64 {
        let rising = self.values.windows(2).filter(|pair| pair[1] > pair[0]).count();
        rising as f64 / self.values.len().saturating_sub(1).max(1) as f64
    }
}

/// A time unit in seconds.
pub(super) fn time_unit(text: &str) -> Option<f64> {
    Some(match text.trim().trim_end_matches('.').to_lowercase().as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" | "sekunden" => 1.0,
        "ms" | "msec" | "millis" | "milliseconds" => 1e-3,
        "us" | "µs" | "μs" | "usec" | "micros" | "microseconds" => 1e-6,
        "ns" | "nsec" | "nanos" | "nanoseconds" => 1e-9,
        "min" | "minutes" => 60.0,
        _ => return None,
    })
}

/// Makes a record of `columns`, whose rows stand on `lines` of `file`.
///
/// `remarks` are the lines above the data, in which a sample rate may be stated.
pub(super) fn sampled<'a>(
    file: &str,
    mut columns: Vec<Column>,
    lines: &[usize],
    remarks: impl Iterator<Item = &'a str>,
    stated: &RecordOptions,
) -> Result<Record, Problems> {
    let place = |key: &str| Place { file: Some(file.into()), key: key.into(), ..Place::default() };
    if let Some(problem) = too_short(file, lines.len()) {
        return Err(Problems::from(problem));
    }
    let rate = stated.sample_rate_hz.or_else(|| remarks.filter_map(rate_in).last());
    // The time is found by its title; else it is the first column if nearly all its steps rise.
    let by_title = (0..columns.len()).find(|i| columns[*i].is_time() && columns[*i].rising() > 0.0);
    let counts =
        |column: &Column| column.is_named(&["index", "sample", "samples", "no", "nr", "number", "count"]);
    let by_rise = || {
        let rises = |i: &usize| !counts(&columns[*i]) && columns[*i].rising() > 0.95;
        let first = Some(0).filter(rises);
        // Where the first column counts the samples, the time is the second one if that rises.
        let second = || Some(1).filter(|i| columns.len() > 2 && rises(i) && !columns[*i].counts_up());
        let found = if first.is_none() || columns[0].counts_up() { second().or(first) } else { first }?;
        (columns.len() > 1 && (rate.is_none() || !columns[found].titled)).then_some(found)
    };
    let time = by_title.or_else(by_rise).map(|i| columns.remove(i));
    let mut notes = Vec::new();
    if time.is_some() || rate.is_some() {
        for column in columns.iter().filter(|column| column.counts_up() && !counts(column)) {
            let message = "the column counts the samples; it was left out";
            notes.push(Problem::warning(place(&column.title), message));
        }
        columns.retain(|column| !column.counts_up());
    }
    columns.retain(|column| !(counts(column) || column.is_time() && column.rising() > 0.0));
    if columns.len() > 1 {
        let derived = |column: &Column| {
            column.is_named(&["absolute", "magnitude", "total", "norm", "resultant", "abs"])
        };
        for column in columns.iter().filter(|column| derived(column)) {
            let message = "a magnitude doubles frequencies; it was left out beside its components";
            notes.push(Problem::warning(place(&column.title), message));
        }
        columns.retain(|column| !derived(column));
    }
    if columns.is_empty() {
        return Err(Problems::from(
            Problem::error(place(""), "the table has a time but no signal")
                .with_help("export at least one channel beside the time"),
        ));
    }
    let heads: Vec<(String, String)> = columns
        .iter()
        .map(|column| {
            let (name, unit) = column.parts();
            (name.to_string(), unit.to_string())
        })
        .collect();
    let values: Vec<Vec<f64>> = columns.into_iter().map(|column| column.values).collect();
    let even = match (time, rate) {
        (Some(time), None) => timed(&time, values, lines, &place, &mut notes)?,
        (_, Some(rate_hz)) => Even {
            rate_hz,
            rate_error: 0.0,
            columns: values,
            trusted_to_hz: 0.5 * rate_hz,
            gaps: Vec::new(),
            notes: Vec::new(),
        },
        (None, None) => {
            return Err(Problems::from(
                Problem::error(place(""), "the table has no time column and states no sample rate")
                    .with_help("export the time beside the signal, or state the sample rate in hertz"),
            ));
        }
    };
    notes.extend(even.notes.iter().map(|note| Problem::warning(place(""), note.clone())));
    let channels = heads.into_iter().zip(even.columns);
    Ok(Record {
        file: file.into(),
        sample_rate_hz: even.rate_hz,
        rate_error: even.rate_error,
        channels: channels.map(|((name, unit), samples)| Channel { name, unit, samples }).collect(),
        trusted_to_hz: even.trusted_to_hz,
        is_sound: false,
        is_lossy: false,
        gaps: even.gaps,
        notes,
    })
}

/// Columns sampled at the times of `time`, brought to even steps.
fn timed(
    time: &Column,
    columns: Vec<Vec<f64>>,
    lines: &[usize],
    place: &impl Fn(&str) -> Place,
    notes: &mut Vec<Problem>,
) -> Result<Even, Problems> {
    let start = time.values.first().copied().unwrap_or(0.0);
    let mut steps: Vec<f64> = time.values.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let middle = steps.len() / 2;
    let step = if steps.is_empty() { 0.0 } else { *steps.select_nth_unstable_by(middle, f64::total_cmp).1 };
    let unit = match time_unit(time.parts().1) {
        Some(unit) => unit,
        None => {
            let (unit, name) = guess(start, step);
            if unit != 1.0 {
                let message = format!(
                    "the time has no unit; its steps of {} were read as {name}: {} Hz",
                    figures(step, 4),
                    figures(1.0 / (step * unit), 5)
                );
                notes.push(
                    Problem::warning(place(&time.title), message)
                        .with_help("write the unit into the title: (s), (ms)"),
                );
            }
            unit
        }
    };
    let times: Vec<f64> = time.values.iter().map(|t| (t - start) * unit).collect();
    // A large count of nanoseconds is itself rounded to the precision of a double.
    let written = 10f64.powi(-time.decimals.clamp(-12, 12)) * unit;
    let rounding = written.max(start.abs() * unit * 2f64.powi(-52));
    let even = even(&times, rounding, columns).map_err(|refused| match refused {
        Refused::Backwards(row) => vec![
            Problem::error(
                Place { line: lines.get(row).copied(), ..place(&time.title) },
                format!("the time goes back from {} to {}", time.values[row - 1], time.values[row]),
            )
            .with_help("sort the rows by time, or export each recording on its own"),
        ],
        Refused::Uneven(message) => vec![
            Problem::error(place(&time.title), message)
                .with_help("record with a fixed sample rate, or a shorter stretch"),
        ],
    })?;
    if even.rate_hz < 10.0 {
        return Err(Problems::from(
            Problem::error(
                place(&time.title),
                format!(
                    "the time steps are {}: {} Hz",
                    show(1.0 / even.rate_hz, Kind::Time),
                    figures(even.rate_hz, 3)
                ),
            )
            .with_help("a ring needs hundreds of samples a second; is the unit in the title right?"),
        ));
    }
    Ok(even)
}

/// For a time without unit: the unit that makes its steps a plausible sample rate, and its name.
fn guess(start: f64, step: f64) -> (f64, &'static str) {
    // Times since 1970 give away their unit by their size.
    for (unit, name) in
        [(1e-9, "nanoseconds"), (1e-6, "microseconds"), (1e-3, "milliseconds"), (1.0, "seconds")]
    {
        if (1e9..2.5e9).contains(&(start * unit)) {
            return (unit, name);
        }
    }
    match step {
        s if s < 0.2 => (1.0, "seconds"),
        s if s <= 100.0 => (1e-3, "milliseconds"),
        s if s <= 1e5 => (1e-6, "microseconds"),
        _ => (1e-9, "nanoseconds"),
    }
}

/// A sample rate stated in a remark, such as `Sample rate: 4000 Hz`, Hz.
fn rate_in(remark: &str) -> Option<f64> {
    let lower = remark.to_lowercase();
    let known = [
        "sample rate",
        "sampling rate",
        "samplerate",
        "sample_rate",
        "sampling frequency",
        "sample frequency",
    ];
    let after = known.iter().find_map(|name| lower.split_once(name).map(|(_, rest)| rest.to_string()));
    let after = after.or_else(|| {
        let rest = lower.trim_start_matches(['#', '%', ' ']).strip_prefix("fs")?;
        rest.trim_start().starts_with(['=', ':', ',', ';']).then(|| rest.to_string())
    })?;
    let digits: String = after
        .chars()
        .skip_while(|c| !c.is_ascii_digit())
        .take_while(|c| c.is_ascii_digit() || matches!(c, '.' | 'e'))
        .collect();
    let value: f64 = digits.parse().ok()?;
    let rate = if after.contains("khz") { value * 1e3 } else { value };
    (rate > 0.0 && rate.is_finite()).then_some(rate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(title: &str, values: impl Iterator<Item = f64>) -> Column {
        Column { title: title.into(), titled: !title.is_empty(), values: values.collect(), decimals: 6 }
    }

    fn made(columns: Vec<Column>, stated: Option<f64>) -> Result<Record, Problems> {
        let lines: Vec<usize> = (2..200).collect();
        sampled("a.csv", columns, &lines, std::iter::empty(), &RecordOptions { sample_rate_hz: stated })
    }

    fn signal() -> Column {
        column("x (m/s^2)", (0..100).map(|i| f64::from(i % 7)))
    }

    fn rate(title: &str, start: f64, step: f64) -> f64 {
        let time = column(title, (0..100).map(|i| start + step * f64::from(i)));
        made(vec![time, signal()], None).unwrap().sample_rate_hz
    }

    #[test]
    fn units_of_time() {
        for (title, start, step) in [
            ("time (s)", 0.0, 0.005),
            ("Time [ms]", 3.0, 5.0),
            ("time_us", 0.0, 5000.0),
            ("t / ns", 0.0, 5e6),
            ("timestamp", 1.7e12, 5.0),
            ("time", 1.7e18, 5e6),
            ("time", 0.0, 5.0),
            ("seconds_elapsed", 0.0, 0.005),
        ] {
            approx::assert_relative_eq!(rate(title, start, step), 200.0, max_relative = 1e-6);
        }
    }

    #[test]
    fn a_stated_rate_serves_without_a_time() {
        let record = made(vec![signal(), signal()], Some(500.0)).unwrap();
        assert_eq!((record.channels.len(), record.sample_rate_hz), (2, 500.0));
        let problems = made(vec![signal(), signal()], None).unwrap_err();
        assert!(problems[0].to_string().contains("no time column"));
    }

    #[test]
    fn numbers_of_samples_are_no_channel() {
        let numbers = |title: &str| column(title, (1..101).map(f64::from));
        let time = |title: &str| column(title, (0..100).map(|i| f64::from(i) * 0.005));
        for columns in [
            vec![numbers("x"), time("Time (s)"), signal()],
            vec![numbers(""), time(""), signal()],
            vec![time("t [s]"), numbers("Point"), signal()],
        ] {
            let record = made(columns, None).unwrap();
            approx::assert_relative_eq!(record.sample_rate_hz, 200.0, max_relative = 1e-9);
            assert_eq!(record.channels.len(), 1);
            assert_eq!(record.channels[0].samples[8], 1.0);
        }
        let record = made(vec![numbers("n"), signal()], Some(200.0)).unwrap();
        assert_eq!(record.channels.len(), 1);
        // A column titled N is a force in newtons, not a count.
        let force = column("N", (0..100).map(|i| f64::from(i % 5)));
        assert_eq!(made(vec![time("t (s)"), force], None).unwrap().channels[0].name, "N");
    }

    #[test]
    fn time_that_goes_back_is_named_by_its_line() {
        let time = column("time (s)", (0..100).map(|i| if i == 50 { 0.1 } else { f64::from(i) * 0.01 }));
        let problem = &made(vec![time, signal()], None).unwrap_err()[0];
        assert_eq!(problem.place.line, Some(52));
        assert!(problem.message.contains("goes back from 0.49 to 0.1"));
    }

    #[test]
    fn too_slow_a_record_asks_for_the_unit() {
        let time = column("time (s)", (0..100).map(f64::from));
        assert!(made(vec![time, signal()], None).unwrap_err()[0].to_string().contains("unit in the title"));
    }

    #[test]
    fn rates_in_remarks() {
        assert_eq!(rate_in("# Sample rate: 4000 Hz"), Some(4000.0));
        assert_eq!(rate_in("Sampling frequency;2.5 kHz"), Some(2500.0));
        assert_eq!(rate_in("fs=800"), Some(800.0));
        assert_eq!(rate_in("a frosty morning, 8"), None);
    }
}
