//! What a test bar implies about the mix it was cast from.
//!
//! The density gives the air, 1 - rho/rho_solid. The modulus and the loss factor give those of the
//! binder with which the prediction would match the bar; both are found as roots.

use super::differential::Host;
use super::homogenise::Moduli;
use super::phases::{Air, Phases};
use num_complex::Complex64;
use serde::Serialize;

/// Measurements of a test bar in one draw, SI.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measured {
    /// kg/m3.
    pub density: Option<f64>,
    /// Pa.
    pub youngs_modulus: Option<f64>,
    /// Ratio.
    pub loss_factor: Option<f64>,
}

/// What a test bar implies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Implied {
    /// Air by volume, from the density; negative where the bar is denser than its ingredients allow.
    pub air: Option<f64>,
    /// Young's modulus of the binder from that of the bar, Pa; `None` also where no modulus between a
    /// hundredth and a hundred times the stated one matches.
    pub binder_youngs_modulus_pa: Option<f64>,
    /// Loss factor of the binder from that of the bar.
    pub binder_loss_factor: Option<f64>,
}

/// What `measured` implies for a mix of `phases`; `None` without a measurement. `air` is the air by
/// volume unless the density was measured, `short` the part of it that the binder leaves empty between
/// the grains.
pub(super) fn implied(phases: &Phases, air: f64, short: f64, measured: &Measured) -> Option<Implied> {
    if *measured == Measured::default() {
        return None;
    }
    let found_air = measured.density.map(|density| 1.0 - density / phases.sound_density());
    let air = Air::of(found_air.unwrap_or(air), short);
    let binder = phases.binder.moduli;
    let stiffness = measured.youngs_modulus.and_then(|target| {
        let reached = |factor: f64| {
            let scaled = Host { moduli: scaled(&binder, factor, 1.0), ..phases.binder };
            phases.cast(&scaled, &air).moduli.youngs_modulus().re - target
        };
        root(reached, 0.01, 100.0)
    });
    let factor = stiffness.unwrap_or(1.0);
    let loss = measured.loss_factor.and_then(|target| {
        let reached = |loss: f64| {
            let scaled = Host { moduli: scaled(&binder, factor, loss), ..phases.binder };
            phases.cast(&scaled, &air).moduli.loss_factor() - target
        };
        root(reached, 1e-3, 1e3)
    });
    Some(Implied {
        air: found_air,
        binder_youngs_modulus_pa: stiffness.map(|factor| factor * binder.youngs_modulus().re),
        binder_loss_factor: loss.map(|factor| factor * binder.loss_factor()),
    })
}

/// `moduli` times `stiffness`, with the imaginary parts also times `loss`.
fn scaled(moduli: &Moduli, stiffness: f64, loss: f64) -> Moduli {
    let scale = |m: Complex64| Complex64::new(m.re, m.im * loss) * stiffness;
    Moduli { bulk: scale(moduli.bulk), shear: scale(moduli.shear) }
}

/// The positive root of the rising function `f` between `low` and `high`, to a part in 1e7, by bisection
/// of the logarithm; `None` where `f` does not change sign.
fn root(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> Option<f64> {
    if f(low) > 0.0 || f(high) < 0.0 {
        return None;
    }
    while high / low > 1.0 + 1e-7 {
        let middle = (low * high).sqrt();
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some((low * high).sqrt())
}
