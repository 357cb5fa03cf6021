//! The temperature in a cup of binder over time, as logged in a trial.

use stillbed_input::problem::{Place, Problem, Problems};

/// Fewest rows from which a curve is read.
const FEWEST: usize = 8;
/// Smallest rise above the first reading that counts as a cure, K.
const LEAST_RISE: f64 = 3.0;
/// Temperatures that a thermometer in a cup shows, K.
const PLAUSIBLE: std::ops::Range<f64> = 250.0..700.0;
/// Where 0 degC is, K.
const ZERO: f64 = 273.15;

/// The temperature in the middle of a cup, from mixing on.
#[derive(Debug, Clone, PartialEq)]
pub struct CupCurve {
    /// Rising, s from mixing.
    pub times: Vec<f64>,
    /// K.
    pub temperatures: Vec<f64>,
}

/// A column and its unit: the value in SI is `factor` times the number plus `shift`.
struct UnitColumn {
    number: usize,
    factor: f64,
    shift: f64,
}

impl CupCurve {
    /// Reads a table with a column of time in s, min or h and one of temperature in degC or K; the unit
    /// stands in the title, as in `time_min, temperature_degC` or `time (min)`.
    ///
    /// # Errors
    /// Every fault of the table, at its line.
    pub fn read(file: &str, text: &str) -> Result<CupCurve, Problems> {
        let mut reader =
            csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
        let at = |line: Option<u64>| Place { line: line.map(|l| l as usize), ..Place::file(file) };
        let titles = match reader.headers() {
            Ok(titles) => titles.clone(),
            Err(fault) => return Err(Problem::error(at(None), format!("not a table: {fault}")).into()),
        };
        let column = |name: &str, units: &[(&str, f64, f64)]| {
            let found = titles
                .iter()
                .enumerate()
                .find_map(|(number, title)| unit_of(title, name, units).map(|u| (number, u)));
            found.map(|(number, (factor, shift))| UnitColumn { number, factor, shift }).ok_or_else(|| {
                let found = titles.iter().collect::<Vec<_>>().join(", ");
                let message = format!("no column of {name} with its unit among: {found}");
                Problem::error(at(Some(1)), message)
                    .with_help("name the columns time_min and temperature_degC")
            })
        };
        let time = column("time", &[("s", 1.0, 0.0), ("min", 60.0, 0.0), ("h", 3600.0, 0.0)])?;
        let temperature = column(
            "temperature",
            &[("degc", 1.0, ZERO), ("°c", 1.0, ZERO), ("c", 1.0, ZERO), ("k", 1.0, 0.0)],
        )?;
        let (mut curve, mut problems) =
            (CupCurve { times: Vec::new(), temperatures: Vec::new() }, Vec::new());
        for record in reader.records() {
            let record = match record {
                Ok(record) => record,
                Err(fault) => {
                    problems.push(Problem::error(at(None), format!("not a table: {fault}")));
                    continue;
                }
            };
            let line = record.position().map(csv::Position::line);
            let mut number = |column: &UnitColumn| {
                let text = record.get(column.number).unwrap_or("");
                let found = text.parse::<f64>().ok().filter(|x| x.is_finite());
                if found.is_none() && problems.len() < 20 {
                    problems.push(Problem::error(at(line), format!("\"{text}\" is no number")));
                }
                Some(found? * column.factor + column.shift)
            };
            let (Some(time), Some(temperature)) = (number(&time), number(&temperature)) else { continue };
            let wrong = match curve.times.last() {
                Some(before) if time <= *before => Some("times must rise".to_string()),
                None if time < 0.0 => Some("times are from mixing on, so none is below 0".to_string()),
                _ if !PLAUSIBLE.contains(&temperature) => {
                    Some(format!("{:.0} °C is no temperature of a cup of binder", temperature - ZERO))
                }
                _ => None,
            };
            match wrong {
                Some(wrong) if problems.len() < 20 => problems.push(Problem::error(at(line), wrong)),
                Some(_) => (),
                None => {
                    curve.times.push(time);
                    curve.temperatures.push(temperature);
                }
            }
        }
        if problems.is_empty() {
            problems.extend(curve.lacks().map(|lack| {
                Problem::error(Place::file(file), lack).with_help("log from mixing until well after the peak")
            }));
        }
        match problems.is_empty() {
            true => Ok(curve),
            false => Err(problems.into()),
        }
    }

    /// What the curve lacks to be read.
    fn lacks(&self) -> Option<String> {
        if self.times.len() < FEWEST {
            return Some(format!("{} rows; a curve needs at least {FEWEST}", self.times.len()));
        }
        let (number, peak) = self.peak();
        if peak - self.start() < LEAST_RISE {
            return Some(format!("the cup warms by {:.1} K, which shows no cure", peak - self.start()));
        }
        (number + 1 == self.times.len()).then(|| "the highest temperature is the last: no peak".to_string())
    }

    /// The first temperature, K.
    pub fn start(&self) -> f64 {
        self.temperatures[0]
    }

    /// The number of the highest temperature, and it, K.
    pub fn peak(&self) -> (usize, f64) {
        let warmer =
            |most: (usize, f64), (number, t): (usize, &f64)| if *t > most.1 { (number, *t) } else { most };
        self.temperatures.iter().enumerate().fold((0, f64::NEG_INFINITY), warmer)
    }

    /// The time at which the cup has first warmed half way to its highest temperature, s.
    pub fn front(&self) -> f64 {
        let half = 0.5 * (self.start() + self.peak().1);
        let number = self.temperatures.iter().position(|t| *t >= half).unwrap_or(0).max(1);
        let ([t0, t1], [a, b]) = (
            [self.times[number - 1], self.times[number]],
            [self.temperatures[number - 1], self.temperatures[number]],
        );
        if b > a { t0 + (t1 - t0) * ((half - a) / (b - a)).clamp(0.0, 1.0) } else { t1 }
    }

    /// The temperature at `time`, between the readings on a straight line, K.
    pub fn at(&self, time: f64) -> f64 {
        let after = self.times.partition_point(|t| *t < time).clamp(1, self.times.len() - 1);
        let ([t0, t1], [a, b]) = (
            [self.times[after - 1], self.times[after]],
            [self.temperatures[after - 1], self.temperatures[after]],
        );
        a + (b - a) * ((time - t0) / (t1 - t0)).clamp(0.0, 1.0)
    }
}

/// Factor and shift of the unit in `title` if it is one of the column `name`.
fn unit_of(title: &str, name: &str, units: &[(&str, f64, f64)]) -> Option<(f64, f64)> {
    let title = title.trim_start_matches('\u{feff}').to_lowercase();
    let rest = title.strip_prefix(name)?;
    let unit = rest.trim_matches(|c: char| c.is_whitespace() || "_([/,)]".contains(c));
    units.iter().find(|(own, ..)| *own == unit).map(|(_, factor, shift)| (*factor, *shift))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(titles: &str, rows: impl Iterator<Item = (f64, f64)>) -> String {
        rows.fold(format!("{titles}\n"), |text, (time, t)| format!("{text}{time}, {t}\n"))
    }

    fn hill(minutes: i32) -> impl Iterator<Item = (f64, f64)> {
        (0..=minutes).map(|m| (f64::from(m), 22.0 + 60.0 * (-(f64::from(m) - 30.0).powi(2) / 90.0).exp()))
    }

    #[test]
    fn titles_state_the_units() {
        let minutes = CupCurve::read("c.csv", &table("time_min, temperature_degC", hill(60))).unwrap();
        assert_eq!(minutes.times[30], 1800.0);
        assert!((minutes.peak().1 - 355.15).abs() < 1e-9 && minutes.peak().0 == 30);
        assert!(
            (minutes.at(1830.0) - 0.5 * (minutes.temperatures[30] + minutes.temperatures[31])).abs() < 1e-9
        );
        let same = CupCurve::read("c.csv", &table("Time (min), Temperature [°C]", hill(60))).unwrap();
        assert_eq!(same, minutes);
    }

    #[test]
    fn what_is_wrong_is_said_at_its_line() {
        let said = |text: &str| CupCurve::read("c.csv", text).unwrap_err().to_string();
        assert!(said("time, temperature_degC\n0, 20\n").contains("no column of time with its unit"));
        let gap = table("time_min, temperature_degC", hill(60)).replace("\n7, ", "\n7, x");
        assert!(said(&gap).contains("c.csv:9") && said(&gap).contains("is no number"), "{}", said(&gap));
        assert!(said(&table("time_min, temperature_degC", hill(25))).contains("no peak"));
        assert!(said(&table("time_min, temperature_degC", hill(5))).contains("rows"));
        assert!(
            said(&table("time_min, temperature_degC", hill(60).map(|(t, _)| (t, 20.0)))).contains("no cure")
        );
        assert!(said(&table("time_min, temperature_K", hill(60))).contains("is no temperature"));
        let back = hill(60).map(|(t, temperature)| (60.0 - t, temperature));
        assert!(said(&table("time_min, temperature_degC", back)).contains("times must rise"));
    }
}
