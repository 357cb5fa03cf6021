//! Modes of one build as a result: frequencies, loss factors, decay, shares of energy.
//!
//! # Source
//! - `johnson1982`: p. 1284, loss factor from shares of modal strain energy

use super::decay::ModeDecay;
use super::mechanism::ModesFault;
use super::shares::{EnergyShares, Share};
use super::solve::{Elastic, Spectrum};
use super::theory::{Proportions, Reason};
use faer::Col;
use serde::Serialize;
use std::f64::consts::TAU;
use stillbed_eigen::Method;
use stillbed_eigen::{Damped, Precision, damped_unchecked};
use stillbed_frame::{Energies, Frame};
use stillbed_input::problem::{Place, Problem};

/// The modes of one build.
#[derive(Debug, Clone, Serialize)]
pub struct BuildModes {
    /// Its name.
    pub name: String,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Number of rigid-body motions that nothing holds.
    pub rigid_body_modes: usize,
    /// What these motions are, in words.
    pub rigid_body_motions: Vec<String>,
    /// Number, from 1, of the lowest mode of the structure, which is not the base moving as a rigid body on
    /// its feet; `None` without one.
    pub first_structure_mode: Option<usize>,
    /// The elastic modes, lowest first.
    pub modes: Vec<ModeAnswer>,
    /// Degrees of freedom of the divided frame.
    pub freedoms: usize,
    /// How its modes were found: dense or sparse.
    pub method: &'static str,
    /// Modes below `counted_below_hz` by the inertia count; all of them were found.
    pub counted_modes: usize,
    /// Frequency up to which modes were counted, Hz.
    pub counted_below_hz: f64,
    /// What the reader should know besides.
    pub notes: Vec<Problem>,
}

/// One elastic mode.
#[derive(Debug, Clone, Serialize)]
pub struct ModeAnswer {
    /// Frequency of the damped mode, root(Re λ)/2π, Hz: what a tap test hears, and what every result calls
    /// the frequency of a mode.
    pub frequency_hz: f64,
    /// True when the base moves as a rigid body on its feet.
    pub on_feet: bool,
    /// Relative error of the frequency that the subdivision may have left.
    pub frequency_error: f64,
    /// Relative error of the frequency that beam theory may have left; `None` where it was not judged.
    pub theory_error: Option<f64>,
    /// The causes of that error.
    pub theory_reasons: Vec<Reason>,
    /// Loss factor by modal strain energy.
    pub loss_factor: f64,
    /// Loss factor of the complex eigenproblem.
    pub loss_factor_exact: f64,
    /// Time until half the amplitude is left, s; `None` when nothing damps the mode.
    pub half_time_s: Option<f64>,
    /// Time until a tenth is left, s.
    pub time_to_10pct_s: Option<f64>,
    /// Time until a hundredth is left, s.
    pub time_to_1pct_s: Option<f64>,
    /// Cycles until half is left.
    pub cycles_to_half: Option<f64>,
    /// Strain energy by member, joint and foot, largest first; sums to 1.
    pub energy_share: Vec<Share>,
    /// Strain energy in skeleton, fill, joints and feet; sums to 1.
    pub energy_by_kind: Vec<Share>,
    /// Strain energy by material, joints and feet apart; sums to 1.
    pub energy_by_material: Vec<Share>,
}

/// Frequency and loss factor of a damped mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pole {
    /// Frequency of the damped mode, Hz.
    pub frequency_hz: f64,
    /// Loss factor.
    pub loss_factor: f64,
}

/// Frequency error from real shapes of lossy elements, over the square of the loss factor. Among 300 random
/// designs it was 1.1e-3 at most, where elements are about as short as deep; twice that is used.
const UNLIKE: f64 = 2e-3;

/// Difference of the two loss factors, relative to the larger, beyond which a warning is given.
const PARTING: f64 = 0.05;

impl BuildModes {
    /// The result from the spectrum of `frame`.
    ///
    /// # Errors
    /// What stopped the complex eigenproblem.
    pub fn compute(name: &str, frame: &Frame, spectrum: &Spectrum) -> Result<BuildModes, ModesFault> {
        let body = frame.rigid_body().ok_or(ModesFault::Range)?;
        let poles = spectrum.poles(Precision::FULL)?;
        let energies = Energies::new(frame, &spectrum.layout).ok_or(ModesFault::Range)?;
        let shapes: Vec<&[f64]> = spectrum.elastic.iter().map(|mode| mode.shape.as_slice()).collect();
        let shares = energies.strain(&shapes);
        let on_feet = spectrum.on_feet(frame);
        let modes: Vec<ModeAnswer> = spectrum
            .elastic
            .iter()
            .zip(&shares)
            .zip(&poles)
            .zip(&on_feet)
            .enumerate()
            .map(|(i, (((mode, energy), pole), on_feet))| {
                let loss_factor = spectrum.loss_by_energy(mode);
                let answer = ModeAnswer::new(mode, loss_factor, *pole, EnergyShares::of(frame, energy));
                let frequency_error =
                    spectrum.frequency_error(frame, i, pole).unwrap_or(mode.frequency_error);
                ModeAnswer { on_feet: *on_feet, frequency_error, ..answer }
            })
            .collect();
        let pairs = &spectrum.pairs;
        let mut answer = BuildModes {
            name: name.to_string(),
            mass_kg: body.mass,
            rigid_body_modes: spectrum.rigid.len(),
            rigid_body_motions: spectrum.rigid.iter().map(|motion| motion.name.clone()).collect(),
            first_structure_mode: on_feet.iter().position(|on| !on).map(|mode| mode + 1),
            modes,
            freedoms: spectrum.layout.dofs(),
            method: match pairs.method {
                Method::Dense => "dense",
                Method::Sparse => "sparse",
            },
            counted_modes: pairs.counted_below,
            counted_below_hz: pairs.counted_at.max(0.0).sqrt() / TAU,
            notes: Vec::new(),
        };
        answer.notes = answer.remarks();
        Ok(answer)
    }

    /// Adds the error of beam theory in each mode, for members with these `proportions`.
    pub fn judge(&mut self, frame: &Frame, spectrum: &Spectrum, proportions: &[Proportions]) {
        let errors = spectrum.theory_errors(frame, proportions).unwrap_or_default();
        for (mode, error) in self.modes.iter_mut().zip(errors) {
            mode.theory_error = Some(error.error);
            mode.theory_reasons = error.reasons;
        }
    }

    /// The lowest mode of the structure.
    pub fn first_of_structure(&self) -> Option<&ModeAnswer> {
        self.modes.get(self.first_structure_mode?.checked_sub(1)?)
    }

    fn remarks(&self) -> Vec<Problem> {
        let place = || Place::key(&format!("builds.{}", self.name));
        let mut notes = Vec::new();
        if self.rigid_body_modes > 0 {
            let message = format!("nothing holds the base: it {}", self.rigid_body_motions.join(", "));
            notes.push(Problem::warning(place(), message).with_help("stand it on feet or anchor it"));
        }
        for (i, mode) in self.modes.iter().enumerate() {
            let (energy, exact) = (mode.loss_factor, mode.loss_factor_exact);
            if (energy - exact).abs() > PARTING * energy.max(exact) {
                let message =
                    format!("mode {}: loss factor {energy:.3e} by strain energy, {exact:.3e} exactly", i + 1);
                let help = "trust the exact one: damping changes the shape of this mode";
                notes.push(Problem::warning(place(), message).with_help(help));
            }
        }
        notes
    }
}

impl ModeAnswer {
    fn new(mode: &Elastic, loss_factor: f64, pole: Pole, shares: EnergyShares) -> ModeAnswer {
        let Pole { frequency_hz, loss_factor: loss_factor_exact } = pole;
        let decay = ModeDecay::of(frequency_hz, loss_factor_exact);
        ModeAnswer {
            frequency_hz,
            on_feet: false,
            frequency_error: mode.frequency_error,
            theory_error: None,
            theory_reasons: Vec::new(),
            loss_factor,
            loss_factor_exact,
            half_time_s: decay.map(|decay| decay.half_time_s),
            time_to_10pct_s: decay.map(|decay| decay.time_to_10pct_s),
            time_to_1pct_s: decay.map(|decay| decay.time_to_1pct_s),
            cycles_to_half: decay.map(|decay| decay.cycles_to_half),
            energy_share: shares.elements,
            energy_by_kind: shares.kinds,
            energy_by_material: shares.materials,
        }
    }
}

impl Spectrum {
    /// Loss factor of a mode by strain energy: energy lost over energy stored.
    ///
    /// ```text
    /// η = φᵀ Im K φ / φᵀ Re K φ
    /// ```
    pub fn loss_by_energy(&self, mode: &Elastic) -> f64 {
        let shape = Col::from_fn(mode.shape.len(), |i| mode.shape[i]);
        let stored = shape.transpose() * (self.matrices.stiffness.as_faer() * &shape);
        let lost = shape.transpose() * (self.matrices.loss.as_faer() * &shape);
        if stored > 0.0 { lost / stored } else { 0.0 }
    }

    /// The damped modes; `None` where nothing is lossy.
    ///
    /// # Errors
    /// What stopped the complex eigenproblem.
    pub fn damped(&self, precision: Precision) -> Result<Option<Damped>, ModesFault> {
        let loss = &self.matrices.loss;
        if loss.values().iter().all(|value| *value == 0.0) {
            return Ok(None);
        }
        let damped = damped_unchecked(&self.pair(), loss, &self.pairs, Some(&self.bulge), precision);
        damped.map(Some).map_err(ModesFault::Eigen)
    }

    /// Frequency and loss factor of each elastic mode by the complex eigenproblem.
    ///
    /// # Errors
    /// What stopped it.
    pub fn poles(&self, precision: Precision) -> Result<Vec<Pole>, ModesFault> {
        let damped = self.damped(precision)?;
        let of = |mode: &Elastic| match damped.as_ref().and_then(|damped| damped.lambda.get(mode.column)) {
            Some(lambda) => {
                Pole { frequency_hz: lambda.re.max(0.0).sqrt() / TAU, loss_factor: lambda.im / lambda.re }
            }
            None => Pole { frequency_hz: mode.frequency(), loss_factor: self.loss_by_energy(mode) },
        };
        Ok(self.elastic.iter().map(of).collect())
    }

    /// Relative error of the frequency of the elastic mode `i`, whose damped frequency and
    /// loss factor are `pole`.
    ///
    /// The correction for the bulge is made at the undamped mode, where it adds the fraction `e` to λ = ω²;
    /// at a damped λ it is off by up to `e |λ/ω² - 1|²`. The elements that bulge are taken to have the loss
    /// factor η by strain energy; a member of loss factor η_m that does all the bulging moves λ by up to
    /// `e (η_m - η)²` more. Element shapes follow from the real part of the stiffness, which is not exact
    /// where bending and shear of a section differ in loss: 0.2 % of the square of the loss factor.
    pub fn frequency_error(&self, frame: &Frame, i: usize, pole: &Pole) -> Option<f64> {
        let mode = self.elastic.get(i)?;
        let own = self.loss_by_energy(mode);
        let apart = frame
            .members
            .iter()
            .map(|member| frame.sections[member.section].loss_factor() - own)
            .fold(0.0, f64::max);
        let square = (TAU * pole.frequency_hz).powi(2) / mode.omega_squared;
        let moved = (square - 1.0).hypot(square * pole.loss_factor).max(own);
        let excess = self.excess(i)?.abs() * (moved * moved + apart * apart);
        Some(mode.frequency_error + excess + UNLIKE * moved * moved)
    }
}

#[cfg(test)]
mod tests {
    use super::super::solve::{Asked, solve};
    use super::*;
    use crate::sample::crooked;

    fn answer() -> BuildModes {
        let frame = crooked();
        let spectrum = solve(&frame, &Asked { count: 6, ..Asked::default() }).unwrap();
        BuildModes::compute("welded", &frame, &spectrum).unwrap()
    }

    #[test]
    fn shares_sum_to_one_and_name_everything() {
        for mode in answer().modes {
            for shares in [&mode.energy_share, &mode.energy_by_kind, &mode.energy_by_material] {
                assert!((shares.iter().map(|s| s.share).sum::<f64>() - 1.0).abs() < 1e-12);
                assert!(shares.iter().all(|s| s.share >= 0.0));
            }
            let mut names: Vec<&str> = mode.energy_share.iter().map(|s| s.of.as_str()).collect();
            names.sort_unstable();
            assert_eq!(names, ["corner", "front", "post", "rail", "rear", "strut"]);
        }
    }

    #[test]
    fn the_two_loss_factors_agree_where_damping_is_light() {
        let mut frame = crooked();
        for foot in &mut frame.feet {
            foot.stiffness.iter_mut().for_each(|spring| spring.im *= 0.05);
        }
        let spectrum = solve(&frame, &Asked { count: 6, ..Asked::default() }).unwrap();
        for mode in BuildModes::compute("welded", &frame, &spectrum).unwrap().modes {
            let difference = mode.loss_factor_exact / mode.loss_factor - 1.0;
            assert!(difference.abs() < 0.005, "{} {}", mode.loss_factor, mode.loss_factor_exact);
        }
    }

    #[test]
    fn heavy_damping_is_said_to_part_the_two() {
        let parting = answer().notes.iter().filter(|note| note.message.contains("exactly")).count();
        let parted = |mode: &&ModeAnswer| (mode.loss_factor_exact / mode.loss_factor - 1.0).abs() > 0.06;
        assert!(parting > 0 && parting >= answer().modes.iter().filter(parted).count());
    }

    #[test]
    fn the_count_ends_above_the_modes_that_are_asked_for() {
        let answer = answer();
        let last = answer.modes[5].frequency_hz;
        assert!(answer.counted_below_hz > last && answer.counted_below_hz < 3.0 * last, "{answer:?}");
        assert!(answer.counted_modes >= 6);
    }

    #[test]
    fn little_loss_adds_little_to_the_error() {
        // All of one loss factor of 0.001: to second order, a millionth.
        let frame = crate::sample::table();
        let spectrum = solve(&frame, &Asked { count: 6, ..Asked::default() }).unwrap();
        let answer = BuildModes::compute("table", &frame, &spectrum).unwrap();
        for (mode, undamped) in answer.modes.iter().zip(&spectrum.elastic) {
            let added = mode.frequency_error - undamped.frequency_error;
            assert!((0.0..1e-6).contains(&added), "{added} {mode:?}");
        }
        assert!(answer.notes.is_empty(), "{:?}", answer.notes);
    }

    #[test]
    fn the_answer_as_json_has_its_keys() {
        let json = serde_json::to_value(answer()).unwrap();
        for key in ["name", "mass_kg", "rigid_body_modes", "modes"] {
            assert!(json.get(key).is_some(), "{key}");
        }
        let keys = [
            "frequency_hz",
            "loss_factor",
            "loss_factor_exact",
            "half_time_s",
            "time_to_10pct_s",
            "frequency_error",
            "energy_share",
        ];
        for key in keys {
            assert!(json["modes"][0].get(key).is_some(), "{key}");
        }
        assert!(json["modes"][0]["energy_share"][0]["share"].is_number());
    }
}
