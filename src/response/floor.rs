//! How much of the floor's vibration reaches the cut?
//!
//! The floor moves by `u` and carries the feet with it. With `r` the rigid-body displacement of the whole
//! structure for a unit floor displacement, the displacement is `r u + q`, and only its relative part `q`
//! deforms feet and members:
//!
//! ```text
//! (K* - w^2 M) q = w^2 M r u      so that      b^T (r u + q) = (b^T r + w^2 H_bf) u
//! ```
//!
//! The floor is thus one more station `f` of the modal model, with the load pattern `M r`. This holds for
//! lossy feet too, since their loss is hysteretic and acts between structure and floor. Between tip and work
//! `b^T r` is 0, so `|w^2 H_bf|` is the ratio of the motion there to that of the floor. The isolation by soft
//! feet is contained in it, since only what passes the feet excites the structure's own modes. All points of
//! the floor are assumed to move alike.
//!
//! A floor spectrum is a list of root-mean-square velocities in one-third-octave bands. The mean square
//! velocity is spread evenly over the frequencies of its band, and bands add as squares:
//!
//! ```text
//! x_rms^2 = sum_bands v_b^2 / (f_2 - f_1) * integral_f1^f2 |w H_bf|^2 df,   f_1,2 = f_b 10^(-+1/20)
//! ```
//!
//! # Source
//! - `rao2011`: ch. 3, harmonic motion of the base
//! - `iec61260`: exact one-third-octave mid-band and band-edge frequencies, base ten
//! - `gordon1991`: vibration criterion curves (values from memory)

use super::modal::{ModalModel, Pair};
use super::peak::{SEARCH_STEP, largest, resolving_squares};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::TAU;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::GRAVITY;

/// Ratio of the mid-band frequencies of neighbouring one-third-octave bands, base ten.
const THIRD: f64 = 1.258_925_411_794_167_3;

/// Motion of a station per unit of floor motion at `omega`, rad/s. `compliance` is that between the station
/// and the floor station; `own` is the motion of the station when the whole structure moves rigidly with the
/// floor (0 between tip and work, 1 for a point along the floor's direction).
pub fn transmissibility(compliance: Complex64, own: f64, omega: f64) -> Complex64 {
    own + omega * omega * compliance
}

/// One band of a floor spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Mid-band frequency, Hz.
    pub frequency_hz: f64,
    /// Root-mean-square velocity in the band, m/s.
    pub velocity_m_per_s: f64,
}

impl Band {
    /// Lower and upper edge, Hz.
    pub fn edges(&self) -> (f64, f64) {
        let half = THIRD.sqrt();
        (self.frequency_hz / half, self.frequency_hz * half)
    }
}

/// A floor's vibration in one-third-octave bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FloorSpectrum {
    /// Rising in frequency.
    pub bands: Vec<Band>,
}

/// Names of the generic criterion curves and their velocity from 8 Hz upwards, m/s.
const CRITERIA: [(&str, f64); 11] = [
    ("workshop", 800e-6),
    ("office", 400e-6),
    ("residential", 200e-6),
    ("operating theatre", 100e-6),
    ("VC-A", 50e-6),
    ("VC-B", 25e-6),
    ("VC-C", 12.5e-6),
    ("VC-D", 6.25e-6),
    ("VC-E", 3.125e-6),
    ("VC-F", 1.5625e-6),
    ("VC-G", 0.78125e-6),
];

impl FloorSpectrum {
    /// The same `velocity`, m/s, in every band whose mid-band frequency is from `low` to `high`, Hz.
    pub fn flat(velocity: f64, low: f64, high: f64) -> FloorSpectrum {
        let number = |f: f64| 10.0 * f.log10();
        // Nominal mid-band frequencies differ from the exact ones by up to 2 %, a tenth of a band.
        let first = (number(low) - 0.1).ceil() as i32;
        let last = (number(high) + 0.1).floor() as i32;
        let band =
            |n: i32| Band { frequency_hz: 10f64.powf(f64::from(n) / 10.0), velocity_m_per_s: velocity };
        FloorSpectrum { bands: (first..=last).map(band).collect() }
    }

    /// The generic criterion curve `name`: constant velocity from 8 to 80 Hz. VC-C to VC-G start at 1 Hz;
    /// VC-A and VC-B have constant acceleration, 260 and 130 millionths of gravity, from 4 to 8 Hz.
    ///
    /// `None` for another name; [`FloorSpectrum::criteria`] lists them.
    pub fn criterion(name: &str) -> Option<FloorSpectrum> {
        let place = CRITERIA.iter().position(|(known, _)| known.eq_ignore_ascii_case(name))?;
        let velocity = CRITERIA[place].1;
        let low = match place {
            0..=3 => 8.0,
            4 | 5 => 4.0,
            _ => 1.0,
        };
        let mut spectrum = FloorSpectrum::flat(velocity, low, 80.0);
        let acceleration = if place == 4 { 260e-6 } else { 130e-6 } * GRAVITY;
        for band in spectrum.bands.iter_mut().filter(|band| place < 6 && band.frequency_hz < 7.9) {
            band.velocity_m_per_s = acceleration / (TAU * band.frequency_hz);
        }
        Some(spectrum)
    }

    /// Names of the criterion curves.
    pub fn criteria() -> impl Iterator<Item = &'static str> {
        CRITERIA.iter().map(|(name, _)| *name)
    }

    /// Reads a table with the columns `frequency_hz` and `velocity_m_per_s` (or `_mm_per_s`, `_um_per_s`),
    /// one row for each one-third-octave band, and reports every fault in it.
    ///
    /// `None` when there is any fault. A missing band is one, since nothing is guessed.
    pub fn read(file: &str, text: &str) -> (Option<FloorSpectrum>, Vec<Problem>) {
        let mut reader =
            csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
        let columns = match columns(file, reader.headers()) {
            Ok(columns) => columns,
            Err(problem) => return (None, vec![*problem]),
        };
        let (mut bands, mut problems) = (Vec::<Band>::new(), Vec::new());
        for record in reader.records() {
            let record = match record {
                Ok(record) => record,
                Err(e) => {
                    problems.push(Problem::error(Place::file(file), format!("not a table: {e}")));
                    continue;
                }
            };
            let line = record.position().map(|p| p.line() as usize);
            let place = |key: &str| Place { line, key: key.to_string(), ..Place::file(file) };
            let mut number = |column: usize, key: &str| match record.get(column).map(str::parse::<f64>) {
                Some(Ok(x)) if x.is_finite() && x >= 0.0 => Some(x),
                found => {
                    let text = record.get(column).unwrap_or("");
                    let wrong =
                        if matches!(found, Some(Ok(_))) { "must be zero or more" } else { "is no number" };
                    problems.push(Problem::error(place(key), format!("\"{text}\" {wrong}")));
                    None
                }
            };
            let frequency = number(columns.frequency, "frequency_hz");
            let velocity = number(columns.velocity, "velocity");
            let (Some(frequency_hz), Some(velocity)) = (frequency, velocity) else { continue };
            if let Some(problem) = step_problem(bands.last(), frequency_hz, place("frequency_hz")) {
                problems.push(problem);
                // Rows beyond a gap are still read, so that their own faults are reported too.
                if frequency_hz <= 1.2 * bands.last().map_or(0.0, |band: &Band| band.frequency_hz) {
                    continue;
                }
            }
            bands.push(Band { frequency_hz, velocity_m_per_s: velocity * columns.unit });
        }
        if bands.is_empty() && problems.is_empty() {
            problems.push(
                Problem::error(Place::file(file), "the table has no band")
                    .with_help("add rows such as 10, 6.2 under frequency_hz, velocity_um_per_s"),
            );
        }
        let readable = problems.iter().all(|p| !p.is_error());
        (readable.then_some(FloorSpectrum { bands }), problems)
    }
}

/// The positions of a table's columns, and its unit of velocity in m/s.
struct Columns {
    frequency: usize,
    velocity: usize,
    unit: f64,
}

fn columns(file: &str, headers: Result<&csv::StringRecord, csv::Error>) -> Result<Columns, Box<Problem>> {
    const UNITS: [(&str, f64); 3] =
        [("velocity_m_per_s", 1.0), ("velocity_mm_per_s", 1e-3), ("velocity_um_per_s", 1e-6)];
    let refuse = |message: String| {
        let place = Place { line: Some(1), ..Place::file(file) };
        Box::new(
            Problem::error(place, message).with_help("name the columns frequency_hz and velocity_um_per_s"),
        )
    };
    let headers = headers.map_err(|e| refuse(format!("not a table: {e}")))?;
    let place = |name: &str| headers.iter().position(|h| h.trim_start_matches('\u{feff}') == name);
    let found = headers.iter().collect::<Vec<_>>().join(", ");
    let frequency =
        place("frequency_hz").ok_or_else(|| refuse(format!("no column frequency_hz among: {found}")))?;
    let velocity = UNITS.iter().find_map(|(name, unit)| place(name).map(|column| (column, *unit)));
    let (velocity, unit) =
        velocity.ok_or_else(|| refuse(format!("no column velocity_um_per_s among: {found}")))?;
    Ok(Columns { frequency, velocity, unit })
}

/// What is wrong with a band at `frequency`, Hz, that follows the band `before`.
fn step_problem(before: Option<&Band>, frequency: f64, place: Place) -> Option<Problem> {
    if frequency <= 0.0 {
        return Some(Problem::error(place, "a band at 0 Hz; a frequency must be more than zero"));
    }
    let before = before?.frequency_hz;
    let ratio = frequency / before;
    if ratio <= 1.0 {
        return Some(
            Problem::error(place, format!("{frequency} Hz after {before} Hz; frequencies must rise"))
                .with_help("sort the rows by frequency, one row a band"),
        );
    }
    if ratio < 1.2 {
        return Some(
            Problem::error(
                place,
                format!("{frequency} Hz is closer to {before} Hz than a third of an octave"),
            )
            .with_help("combine the rows to bands of a third of an octave"),
        );
    }
    (ratio > 1.32).then(|| {
        Problem::error(place, format!("no band between {before} Hz and {frequency} Hz"))
            .with_help("give every band of a third of an octave, with 0 where the floor is still")
    })
}

/// How much of the floor's motion along one axis reaches a station, relative to the floor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FloorPath {
    /// The axis along which the floor moves.
    pub along: &'static str,
    /// The largest ratio of the station's motion to that of the floor.
    pub worst_ratio: f64,
    /// Frequency of the largest ratio, Hz; `None` where nothing moves.
    pub worst_at_hz: Option<f64>,
    /// Hz, up to a little beyond the last mode.
    pub frequency_hz: Vec<f64>,
    /// Ratio at each frequency.
    pub ratio: Vec<f64>,
}

/// The curve ends at this multiple of the last mode's `w^2`: further up, modes that were not computed matter.
const BEYOND_LAST: f64 = 1.2;

/// A smaller ratio of motions counts as zero.
const NOTHING: f64 = 1e-9;

/// The response of the station `observed` to motion of the `floor` stations along x, y and z; none for a
/// floating base, which no floor moves.
pub fn floor_paths(model: &ModalModel, observed: usize, floor: [usize; 3]) -> Vec<FloorPath> {
    if model.is_free() {
        return Vec::new();
    }
    let end = BEYOND_LAST * model.poles().iter().map(|pole| pole.re).fold(0.0, f64::max);
    let squares: Vec<f64> =
        resolving_squares(model.poles(), SEARCH_STEP).into_iter().filter(|x| *x > 0.0 && *x < end).collect();
    let path = |(along, station): (&'static str, usize)| {
        let pair = model.pair(observed, station);
        // On a symmetric base, motions that vanish come out at the level of rounding.
        let heard = |ratio: f64| if ratio < NOTHING { 0.0 } else { ratio };
        let ratio = |square: f64| heard(square * pair.at_square(square).norm());
        let (square, worst_ratio) = largest(&squares, ratio)?;
        Some(FloorPath {
            along,
            worst_ratio,
            worst_at_hz: (worst_ratio > 0.0).then_some(square.sqrt() / TAU),
            frequency_hz: squares.iter().map(|square| square.sqrt() / TAU).collect(),
            ratio: squares.iter().map(|square| ratio(*square)).collect(),
        })
    };
    ["x", "y", "z"].into_iter().zip(floor).filter_map(path).collect()
}

/// Motion of one station caused by a floor spectrum.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FloorMotion {
    /// Mid-band frequencies, Hz.
    pub frequency_hz: Vec<f64>,
    /// Root-mean-square motion from each band, m.
    pub band_motion_m: Vec<f64>,
    /// Root-mean-square motion from all bands, m.
    pub motion_m: f64,
}

/// The motion relative to the floor of the station `observed` when the floor moves by `spectrum` at each of
/// the `floor` stations at once, uncorrelated.
pub fn floor_motion(
    model: &ModalModel,
    observed: usize,
    floor: &[usize],
    spectrum: &FloorSpectrum,
) -> FloorMotion {
    let pairs: Vec<Pair> = floor.iter().map(|f| model.pair(observed, *f)).collect();
    let steps: Vec<f64> =
        resolving_squares(model.poles(), SEARCH_STEP).iter().map(|x| x.sqrt() / TAU).collect();
    let squares: Vec<f64> = spectrum.bands.iter().map(|band| band_square(&pairs, &steps, band)).collect();
    FloorMotion {
        frequency_hz: spectrum.bands.iter().map(|band| band.frequency_hz).collect(),
        motion_m: squares.iter().sum::<f64>().sqrt(),
        band_motion_m: squares.iter().map(|s| s.sqrt()).collect(),
    }
}

/// Mean square motion, m2, from one band: Gauss quadrature over intervals that resolve every resonance.
fn band_square(pairs: &[Pair], steps: &[f64], band: &Band) -> f64 {
    // Abscissas and weights on -1..1 of the rule with four points.
    const GAUSS: [(f64, f64); 4] = [
        (-0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
        (-0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
        (0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
        (0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
    ];
    let (low, high) = band.edges();
    let mut places = vec![low];
    places.extend(steps.iter().copied().filter(|f| *f > low && *f < high));
    places.push(high);
    let mut integral = 0.0;
    for ends in places.windows(2) {
        let (half, middle) = (0.5 * (ends[1] - ends[0]), 0.5 * (ends[0] + ends[1]));
        for (place, weight) in GAUSS {
            let omega = TAU * (middle + half * place);
            let sum: f64 = pairs.iter().map(|pair| pair.at(omega).norm_sqr()).sum();
            integral += half * weight * omega * omega * sum;
        }
    }
    band.velocity_m_per_s.powi(2) / (high - low) * integral
}

#[cfg(test)]
mod tests {
    use super::super::modal::ModalMode;
    use super::*;

    /// A mass on a lossy spring: station 0 is the mass, station 1 the floor (load pattern m).
    fn on_a_floor(frequency: f64, loss_factor: f64, mass: f64) -> ModalModel {
        let mode = ModalMode::real(TAU * frequency, loss_factor, &[1.0 / mass.sqrt(), mass.sqrt()]);
        ModalModel::complete(vec![mode], 2).unwrap()
    }

    #[test]
    fn a_slow_floor_carries_the_base_with_it_and_a_fast_one_does_not() {
        let model = on_a_floor(10.0, 0.1, 500.0);
        let at = |f: f64| transmissibility(model.compliance(0, 1, TAU * f), 1.0, TAU * f).norm();
        approx::assert_relative_eq!(at(0.01), 1.0, max_relative = 1e-5);
        approx::assert_relative_eq!(at(10.0), (1f64 + 0.01).sqrt() / 0.1, max_relative = 1e-12);
        assert!(at(100.0) < 0.0102);
    }

    #[test]
    fn the_worst_ratio_is_that_of_the_resonance() {
        let model = on_a_floor(10.0, 0.1, 500.0);
        let paths = floor_paths(&model, 0, [1, 1, 1]);
        assert_eq!(paths.iter().map(|path| path.along).collect::<Vec<_>>(), ["x", "y", "z"]);
        // w² / |w0² (1 + i eta) - w²| is largest at w² = w0² (1 + eta²): sqrt(1 + eta²) / eta.
        approx::assert_relative_eq!(paths[0].worst_ratio, 1.01f64.sqrt() / 0.1, max_relative = 1e-5);
        approx::assert_relative_eq!(
            paths[0].worst_at_hz.unwrap(),
            10.0 * 1.01f64.sqrt(),
            max_relative = 1e-3
        );
        for (f, ratio) in paths[0].frequency_hz.iter().zip(&paths[0].ratio) {
            let (square, own) = ((TAU * f).powi(2), (TAU * 10.0).powi(2));
            let exact = square / Complex64::new(own - square, 0.1 * own).norm();
            approx::assert_relative_eq!(*ratio, exact, max_relative = 1e-9);
        }
    }

    #[test]
    fn soft_feet_keep_the_floor_from_the_structure() {
        // A tool on a 60 Hz spring on a bed, the bed on feet: two masses in series, by their modes.
        let worst = |feet: f64| {
            let (bed, tool) = (200.0, 20.0);
            let spring = tool * (TAU * 60.0).powi(2);
            let lower = bed * (TAU * feet).powi(2);
            // The roots of (k + s - w² M)(s - w² m) = s².
            let (a, b) = (bed * tool, (lower + spring) * tool + spring * bed);
            let root = (b * b - 4.0 * a * lower * spring).sqrt();
            let modes: Vec<ModalMode> = [b - root, b + root]
                .map(|top| {
                    let square = top / (2.0 * a);
                    let up = spring / (spring - square * tool);
                    let size = (bed + tool * up * up).sqrt();
                    // Tool relative to bed, and the floor's inertia load on both.
                    ModalMode::real(square.sqrt(), 0.05, &[(up - 1.0) / size, (bed + tool * up) / size])
                })
                .into();
            floor_paths(&ModalModel::complete(modes, 2).unwrap(), 0, [1, 1, 1]).remove(2)
        };
        let (stiff, soft) = (worst(300.0), worst(3.0));
        // At the frequency of the tool or of the bed; both loss factors are a twentieth.
        assert!(stiff.worst_ratio > 15.0 && stiff.worst_ratio < 25.0, "{}", stiff.worst_ratio);
        let at_tool = |path: &FloorPath| {
            let near = path.frequency_hz.iter().zip(&path.ratio).filter(|(f, _)| (50.0..70.0).contains(*f));
            near.map(|(_, ratio)| *ratio).fold(0.0, f64::max)
        };
        assert!(at_tool(&stiff) > 10.0 && at_tool(&soft) < 0.1 * at_tool(&stiff), "{}", at_tool(&soft));
        // On soft feet the worst is at the feet's own frequency, where the tool moves by (f / 60)² Q.
        assert!(soft.worst_at_hz.unwrap() < 4.0 && soft.worst_ratio < 0.1, "{soft:?}");
    }

    #[test]
    fn white_floor_makes_the_motion_of_its_integral() {
        // Flat velocity density S about a sharp resonance: integral of |w H|^2 df = 1/(4 eta w0)
        // times (b M r)^2, here 1, with hysteretic loss; the tails outside the band are small.
        let model = on_a_floor(20.0, 0.01, 500.0);
        let spectrum = FloorSpectrum::flat(1e-6, 20.0, 20.0);
        let (low, high) = spectrum.bands[0].edges();
        let density = 1e-12 / (high - low);
        let found = floor_motion(&model, 0, &[1], &spectrum).motion_m;
        let expected = (density / (4.0 * 0.01 * TAU * 20.0)).sqrt();
        approx::assert_relative_eq!(found, expected, max_relative = 0.03);
        // And that of the sum of a million slices, tails included.
        let slices = 1_000_000;
        let width = (high - low) / f64::from(slices);
        let mut sum = 0.0;
        for i in 0..slices {
            let omega = TAU * (low + (f64::from(i) + 0.5) * width);
            sum += (omega * model.compliance(0, 1, omega)).norm_sqr() * width;
        }
        approx::assert_relative_eq!(found, (density * sum).sqrt(), max_relative = 1e-6);
    }

    #[test]
    fn directions_without_relation_add_as_squares() {
        let model = on_a_floor(10.0, 0.1, 500.0);
        let spectrum = FloorSpectrum::flat(1e-6, 8.0, 80.0);
        let one = floor_motion(&model, 0, &[1], &spectrum);
        let two = floor_motion(&model, 0, &[1, 1], &spectrum);
        approx::assert_relative_eq!(two.motion_m, 2f64.sqrt() * one.motion_m, max_relative = 1e-12);
        assert_eq!(one.frequency_hz.len(), 11);
    }

    #[test]
    fn criterion_curves_halve_and_rise_below_8_hz() {
        let a = FloorSpectrum::criterion("vc-a").unwrap();
        assert_eq!(a.bands.len(), 14);
        approx::assert_relative_eq!(a.bands[0].velocity_m_per_s, 101.9e-6, max_relative = 0.01);
        approx::assert_relative_eq!(a.bands[13].velocity_m_per_s, 50e-6);
        assert_eq!(FloorSpectrum::criterion("VC-C").unwrap().bands.len(), 20);
        assert_eq!(FloorSpectrum::criterion("VC-H"), None);
        assert_eq!(FloorSpectrum::criteria().count(), 11);
    }

    #[test]
    fn a_table_is_read_with_its_unit() {
        let text = "frequency_hz, velocity_um_per_s\n8, 6.2\n10, 5.0\n12.5, 4.1\n16, 4\n";
        let (spectrum, said) = FloorSpectrum::read("floor.csv", text);
        assert!(said.is_empty(), "{said:?}");
        approx::assert_relative_eq!(spectrum.unwrap().bands[0].velocity_m_per_s, 6.2e-6);
    }

    #[test]
    fn faults_of_a_table_are_placed_in_one_pass() {
        let text = "frequency_hz,velocity_m_per_s\n8,1e-6\n16,1e-6\n12.5,1e-6\n20,x\n25,-1\n";
        let (spectrum, said) = FloorSpectrum::read("floor.csv", text);
        assert_eq!(spectrum, None);
        let said: Vec<String> = said.iter().map(Problem::to_string).collect();
        assert_eq!(said.len(), 4, "{said:#?}");
        assert!(said[0].contains("no band between 8 Hz and 16 Hz"));
        assert!(said[1].starts_with("floor.csv:4  frequency_hz: 12.5 Hz after 16 Hz"));
        assert!(said[2].contains("\"x\" is no number"));
        assert!(said[3].contains("\"-1\" must be zero or more"));
        let (gap_only, said) = FloorSpectrum::read("f", "frequency_hz,velocity_m_per_s\n8,1e-6\n16,1e-6\n");
        assert!(gap_only.is_none() && said.len() == 1);
        assert!(FloorSpectrum::read("f", "a,b\n1,2\n").1[0].to_string().contains("among: a, b"));
        assert!(FloorSpectrum::read("f", "").1[0].is_error());
        assert!(FloorSpectrum::read("f", "frequency_hz,velocity_m_per_s\n").1[0].is_error());
    }
}
