//! How does the response to a force change with its frequency? The curve between two stations.
//!
//! The samples leave no feature between two of them: logarithmic steps, steps of a fraction of the distance
//! to the nearest resonance, and each peak and antiresonance refined on the modal sum, with samples closing
//! in on it.
//!
//! ```text
//! mobility = i w H      accelerance = -w^2 H      dynamic stiffness = 1 / |H| at the worst peak
//! ```
//!
//! # Source
//! - `ewins2000`: ch. 2, the three forms of a frequency response

use super::modal::{ModalModel, Pair};
use super::peak::{climb, resolving_squares};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::TAU;

/// Samples per decade of frequency away from resonances.
const LADDER: f64 = 40.0;

/// Step near resonances as a fraction of the distance to the nearest.
const STEP: f64 = 0.2;

/// The kind of motion that is divided by the force.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Motion {
    /// Displacement over force, m/N.
    Compliance,
    /// Velocity over force, m/(N s).
    Mobility,
    /// Acceleration over force, 1/kg.
    Accelerance,
}

impl Motion {
    /// This motion from a `compliance`, m/N, at `omega`, rad/s.
    pub fn of(self, compliance: Complex64, omega: f64) -> Complex64 {
        match self {
            Motion::Compliance => compliance,
            Motion::Mobility => Complex64::I * omega * compliance,
            Motion::Accelerance => -omega * omega * compliance,
        }
    }

    /// Its unit, as a result shows it.
    pub fn unit(self) -> &'static str {
        match self {
            Motion::Compliance => "m/N",
            Motion::Mobility => "m/(N s)",
            Motion::Accelerance => "1/kg",
        }
    }
}

/// A peak of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Resonance {
    /// Hz.
    pub frequency_hz: f64,
    /// m/N.
    pub compliance_m_per_n: f64,
    /// Degrees, from -180 to 180.
    pub phase_deg: f64,
    /// Number of the mode whose frequency is nearest, from 1 in the order of the model.
    pub mode: usize,
    /// Difference to the harmonic solution over the larger of the two; `None` where none was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub direct_difference: Option<f64>,
}

/// The curve between two stations.
///
/// ```
/// use stillbed_response::frequency::FrequencyResponse;
/// use stillbed_response::modal::{ModalMode, ModalModel};
///
/// // 1 kg on a spring of 1e6 N/m with a loss factor of 0.02.
/// let modes = vec![ModalMode::real(1000.0, 0.02, &[1.0])];
/// let model = ModalModel::complete(modes, 1)?;
/// let curve = FrequencyResponse::compute(&model, 0, 0, (50.0, 500.0))?;
/// assert!((curve.peaks[0].frequency_hz - 159.155).abs() < 0.01);
/// assert!((curve.peaks[0].compliance_m_per_n / 5e-5 - 1.0).abs() < 1e-6);
/// # Ok::<(), String>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrequencyResponse {
    /// Hz, rising.
    pub frequency_hz: Vec<f64>,
    /// Real part of the compliance, m/N.
    pub real_m_per_n: Vec<f64>,
    /// Imaginary part of the compliance, m/N.
    pub imaginary_m_per_n: Vec<f64>,
    /// Every peak of the magnitude in the range.
    pub peaks: Vec<Resonance>,
    /// Frequencies of least motion between the peaks, Hz.
    pub antiresonances_hz: Vec<f64>,
}

impl FrequencyResponse {
    /// The curve from station `k` to station `j` over `range`, Hz.
    ///
    /// # Errors
    /// A range that does not rise from a frequency above zero.
    pub fn compute(
        model: &ModalModel,
        j: usize,
        k: usize,
        range: (f64, f64),
    ) -> Result<FrequencyResponse, String> {
        let (low, high) = range;
        if !(low > 0.0 && high > low && high.is_finite()) {
            return Err(format!("a range from {low} to {high} Hz; it must rise from more than zero"));
        }
        let pair = model.pair(j, k);
        let mut squares = coarse(model, (TAU * low).powi(2), (TAU * high).powi(2));
        let (tops, bottoms) = extremes(&squares, &pair);
        for (x, reach) in tops.iter().chain(&bottoms) {
            squares.push(*x);
            for part in [0.5, 0.2, 0.08, 0.03, 0.01] {
                squares.extend([x - part * reach, x + part * reach]);
            }
        }
        squares.retain(|x| *x >= (TAU * low).powi(2) && *x <= (TAU * high).powi(2));
        squares.sort_by(f64::total_cmp);
        squares.dedup_by(|b, a| *b - *a <= 1e-12 * *b);
        let values: Vec<Complex64> = squares.iter().map(|x| pair.at_square(*x)).collect();
        Ok(FrequencyResponse {
            frequency_hz: squares.iter().map(|x| x.sqrt() / TAU).collect(),
            real_m_per_n: values.iter().map(|h| h.re).collect(),
            imaginary_m_per_n: values.iter().map(|h| h.im).collect(),
            peaks: tops.iter().map(|(x, _)| resonance(model, *x, pair.at_square(*x))).collect(),
            antiresonances_hz: bottoms.iter().map(|(x, _)| x.sqrt() / TAU).collect(),
        })
    }

    /// The curve as another kind of motion, complex, in its unit.
    pub fn values(&self, motion: Motion) -> Vec<Complex64> {
        let parts = self.real_m_per_n.iter().zip(&self.imaginary_m_per_n);
        let compliance = parts.map(|(re, im)| Complex64::new(*re, *im));
        compliance.zip(&self.frequency_hz).map(|(h, f)| motion.of(h, TAU * f)).collect()
    }

    /// The highest peak in the range.
    pub fn worst(&self) -> Option<&Resonance> {
        self.peaks.iter().max_by(|a, b| a.compliance_m_per_n.total_cmp(&b.compliance_m_per_n))
    }

    /// Compares every peak with `direct`, the compliance, m/N, at a circular frequency, rad/s, by a harmonic
    /// solution without modes, and returns the largest relative difference. Peaks without a `direct` value
    /// are skipped.
    pub fn check(&mut self, mut direct: impl FnMut(f64) -> Option<Complex64>) -> f64 {
        let mut largest = 0.0f64;
        for peak in &mut self.peaks {
            let Some(exact) = direct(TAU * peak.frequency_hz) else { continue };
            let modal = Complex64::from_polar(peak.compliance_m_per_n, peak.phase_deg.to_radians());
            let larger = exact.norm().max(modal.norm()).max(f64::MIN_POSITIVE);
            let difference = (modal - exact).norm() / larger;
            peak.direct_difference = Some(difference);
            largest = largest.max(difference);
        }
        largest
    }
}

/// Steps of equal ratio together with the steps that resolve every resonance.
fn coarse(model: &ModalModel, low: f64, high: f64) -> Vec<f64> {
    let steps = (0.5 * LADDER * (high / low).log10()).ceil().max(1.0);
    let mut squares: Vec<f64> =
        (0..=steps as usize).map(|i| low * (high / low).powf(i as f64 / steps)).collect();
    squares.extend(resolving_squares(model.poles(), STEP).into_iter().filter(|x| *x > low && *x < high));
    squares.sort_by(f64::total_cmp);
    squares
}

/// Places of peaks or of dips of the magnitude, each with the distance between its neighbouring samples.
type Places = Vec<(f64, f64)>;

fn extremes(squares: &[f64], pair: &Pair) -> (Places, Places) {
    let values: Vec<f64> = squares.iter().map(|x| pair.at_square(*x).norm_sqr()).collect();
    let (mut tops, mut bottoms) = (Vec::new(), Vec::new());
    for i in 1..values.len().saturating_sub(1) {
        let (left, middle, right) = (squares[i - 1], squares[i], squares[i + 1]);
        let reach = right - left;
        if values[i] > values[i - 1] && values[i] >= values[i + 1] {
            let mut height = |x: f64| pair.at_square(x).norm_sqr();
            tops.push((climb(left, middle, right, values[i], &mut height).0, reach));
        } else if values[i] < values[i - 1] && values[i] <= values[i + 1] {
            let mut depth = |x: f64| -pair.at_square(x).norm_sqr();
            bottoms.push((climb(left, middle, right, -values[i], &mut depth).0, reach));
        }
    }
    (tops, bottoms)
}

fn resonance(model: &ModalModel, square: f64, compliance: Complex64) -> Resonance {
    let omega = square.sqrt();
    let mut nearest = (f64::INFINITY, 0);
    for (number, mode) in model.modes().iter().enumerate() {
        let distance = (mode.omega - omega).abs();
        if distance < nearest.0 {
            nearest = (distance, number);
        }
    }
    Resonance {
        frequency_hz: omega / TAU,
        compliance_m_per_n: compliance.norm(),
        phase_deg: compliance.arg().to_degrees(),
        mode: nearest.1 + 1,
        direct_difference: None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::modal::ModalMode;
    use super::super::modal::tests::{chain, single};
    use super::super::peak::worst_peak;
    use super::*;

    #[test]
    fn the_curve_holds_its_peak_and_its_half_power_points() {
        let model = single(1e7, 40.0, 0.01);
        let curve = FrequencyResponse::compute(&model, 0, 0, (1.0, 1000.0)).unwrap();
        let magnitudes: Vec<f64> = curve.values(Motion::Compliance).iter().map(|h| h.norm()).collect();
        let highest = magnitudes.iter().copied().fold(0.0, f64::max);
        approx::assert_relative_eq!(highest, 1e-7 / 0.01, max_relative = 1e-9);
        let above = magnitudes.iter().filter(|m| **m > highest / 2f64.sqrt()).count();
        assert!(above >= 8, "{above} samples within the half-power width");
        assert_eq!((curve.peaks.len(), curve.peaks[0].mode), (1, 1));
        approx::assert_relative_eq!(curve.peaks[0].phase_deg, -90.0, epsilon = 1e-3);
        assert!(curve.frequency_hz.windows(2).all(|f| f[1] > f[0]));
    }

    #[test]
    fn motions_differ_by_the_frequency() {
        let h = Complex64::new(1e-6, -2e-6);
        let near = |a: Complex64, b: Complex64| (a - b).norm() < 1e-15 * b.norm();
        assert!(near(Motion::Mobility.of(h, 128.0), Complex64::new(2.56e-4, 1.28e-4)));
        assert!(near(Motion::Accelerance.of(h, 128.0), Complex64::new(-16384e-6, 32768e-6)));
    }

    #[test]
    fn an_antiresonance_is_found_where_a_mass_stands_still() {
        // Force and motion at the first of two masses: it stands still at the natural frequency of the second
        // mass between its spring to the first and its spring to the wall.
        let chain = chain(&[(1e6, 1e-4), (2e6, 1e-4), (1e6, 1e-4)], &[10.0, 5.0]);
        let curve = FrequencyResponse::compute(&chain.model(2), 0, 0, (10.0, 500.0)).unwrap();
        assert_eq!((curve.peaks.len(), curve.antiresonances_hz.len()), (2, 1));
        let alone = (3e6f64 / 5.0).sqrt() / TAU;
        approx::assert_relative_eq!(curve.antiresonances_hz[0], alone, max_relative = 1e-6);
    }

    #[test]
    fn peaks_stand_beside_the_direct_solution() {
        let chain = chain(&[(2e6, 0.002), (1e6, 0.02), (3e6, 0.05), (5e5, 0.01)], &[10.0, 5.0, 8.0]);
        let mut whole = FrequencyResponse::compute(&chain.model(3), 2, 0, (10.0, 400.0)).unwrap();
        let mut direct = |omega: f64| Some(chain.direct(0, omega)[2]);
        assert!(whole.check(&mut direct) < 1e-6);
        let mut cut = FrequencyResponse::compute(&chain.model(2), 2, 0, (10.0, 100.0)).unwrap();
        assert!(cut.check(&mut direct) < 0.05);
        assert!(cut.peaks.iter().all(|p| p.direct_difference.is_some_and(|d| d > 1e-9)));
        // A missing harmonic solution is not an error, and one that is zero differs by 1.
        let mut alone = FrequencyResponse::compute(&chain.model(3), 2, 0, (10.0, 400.0)).unwrap();
        assert_eq!(alone.check(|_| None), 0.0);
        assert!(alone.peaks.iter().all(|p| p.direct_difference.is_none()));
        assert_eq!(alone.check(|_| Some(Complex64::new(0.0, 0.0))), 1.0);
    }

    #[test]
    fn the_worst_of_the_curve_is_the_worst_of_the_search() {
        let chain = chain(&[(2e6, 0.002), (1e6, 0.02), (3e6, 0.05), (5e5, 0.01)], &[10.0, 5.0, 8.0]);
        let model = chain.model(3);
        let curve = FrequencyResponse::compute(&model, 1, 1, (10.0, 400.0)).unwrap();
        let (worst, found) = (curve.worst().unwrap(), worst_peak(&model, 1, 1).unwrap());
        approx::assert_relative_eq!(worst.compliance_m_per_n, found.compliance_m_per_n, max_relative = 1e-9);
    }

    #[test]
    fn a_range_must_rise_and_a_floating_mass_has_no_peak() {
        let model = single(1e7, 40.0, 0.01);
        assert!(FrequencyResponse::compute(&model, 0, 0, (0.0, 10.0)).unwrap_err().contains("from 0 to 10"));
        let free = ModalModel::complete(vec![ModalMode::real(0.0, 0.0, &[1.0])], 1).unwrap();
        let curve = FrequencyResponse::compute(&free, 0, 0, (1.0, 10.0)).unwrap();
        assert!(curve.peaks.is_empty() && curve.real_m_per_n.iter().all(|x| x.is_finite()));
    }
}
