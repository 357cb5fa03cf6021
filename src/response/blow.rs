//! What does a tap of finite duration excite? A half-sine of force, and its effect on a mode.
//!
//! ```text
//! F(t) = (π J / 2T) sin(π t / T),  0 < t < T;   an ideal impulse J δ(t) where T = 0
//!
//! F̂(s) / J = ∫ F(t) exp(-s t) dt / J = (1 + exp(-s T)) / (2 (1 + (s T / π)²))
//! ```
//!
//! A mode that an ideal impulse would start as `z exp(s t)` moves as `z F̂(s)/J exp(s t)` once the tap is
//! over, the decay during the tap included. For an undamped mode this is the factor
//! `|cos(ω T/2) / (1 - (ω T/π)²)|`, with the phase of an impulse at the middle of the tap. During the tap
//!
//! ```text
//! ∫₀ᵗ F(u) exp(s (t - u)) du / J = (π/2T) (β exp(s t) - β cos β t - s sin β t) / (s² + β²),   β = π/T
//! ```
//!
//! Time counts from the start of the tap.
//!
//! # Source
//! - `harris2002`: ch. 8, response to a half-sine pulse

use num_complex::Complex64;
use std::f64::consts::PI;

/// A pole closer than this (relative) to that of the half-sine, where the formula is 0/0, is shifted by as
/// much.
const APART: f64 = 1e-7;

/// A tap as a half-sine of force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blow {
    /// Impulse, N s.
    pub impulse: f64,
    /// Duration, s; 0 is an ideal impulse.
    pub duration: f64,
}

impl Blow {
    /// An `impulse`, N s, of zero duration.
    pub fn ideal(impulse: f64) -> Blow {
        Blow { impulse, duration: 0.0 }
    }

    /// The amplitude of a mode with the pole `s`, 1/s, after the tap, over that after an ideal impulse.
    pub fn factor(&self, s: Complex64) -> Complex64 {
        if self.duration <= 0.0 {
            return Complex64::ONE;
        }
        // With d = s T - i π the numerator is 1 - exp(-d), which vanishes with the denominator.
        let apart = s * self.duration - PI * Complex64::I;
        let ratio = if apart.norm() < 1e-4 {
            1.0 - apart / 2.0 + apart * apart / 6.0
        } else {
            (1.0 - (-apart).exp()) / apart
        };
        0.5 * PI * PI * ratio / (apart + 2.0 * PI * Complex64::I)
    }

    /// The motion of a mode with the pole `s`, 1/s, at `time`, s, during the tap, over the initial amplitude
    /// after an ideal impulse.
    pub fn within(&self, s: Complex64, time: f64) -> Complex64 {
        let beta = PI / self.duration;
        let mut s = s;
        let mut below = s * s + beta * beta;
        if below.norm() < APART * beta * beta {
            s += APART * beta;
            below = s * s + beta * beta;
        }
        let (sin, cos) = (beta * time).sin_cos();
        0.5 * beta * (beta * (s * time).exp() - beta * cos - s * sin) / below
    }

    /// Upper bound of the size of [`Blow::factor`] for any lightly damped mode at or above `omega`, rad/s.
    pub fn most(&self, omega: f64) -> f64 {
        let x = omega * self.duration / PI;
        if x * x > 2.0 { 1.0 / (x * x - 1.0) } else { 1.0 }
    }

    /// Force over impulse at `time`, 1/s.
    pub fn force(&self, time: f64) -> f64 {
        if time <= 0.0 || time >= self.duration {
            return 0.0;
        }
        0.5 * PI / self.duration * (PI * time / self.duration).sin()
    }

    /// Displacement of a free body at `time`, s, over its velocity after the tap, s.
    pub fn drifted(&self, time: f64) -> f64 {
        if self.duration <= 0.0 || time >= self.duration {
            return time - 0.5 * self.duration;
        }
        0.5 * (time - (PI * time / self.duration).sin() * self.duration / PI)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The motion and velocity of x'' + 2 d x' + (w² + d²) x = F(t) / m at the end of the tap, by classical
    /// fourth-order Runge-Kutta steps.
    fn integrated(blow: &Blow, decay: f64, omega: f64, end: f64) -> [f64; 2] {
        let slope = |t: f64, [x, v]: [f64; 2]| {
            [v, blow.force(t) - 2.0 * decay * v - (omega * omega + decay * decay) * x]
        };
        let steps = 4000;
        let h = end / f64::from(steps);
        let mut state = [0.0, 0.0];
        for i in 0..steps {
            let t = h * f64::from(i);
            let add = |a: [f64; 2], b: [f64; 2], h: f64| [a[0] + h * b[0], a[1] + h * b[1]];
            let k1 = slope(t, state);
            let k2 = slope(t + 0.5 * h, add(state, k1, 0.5 * h));
            let k3 = slope(t + 0.5 * h, add(state, k2, 0.5 * h));
            let k4 = slope(t + h, add(state, k3, h));
            for j in 0..2 {
                state[j] += h / 6.0 * (k1[j] + 2.0 * k2[j] + 2.0 * k3[j] + k4[j]);
            }
        }
        state
    }

    #[test]
    fn no_higher_mode_is_struck_harder_than_the_bound_says() {
        let blow = Blow { impulse: 1.0, duration: 1e-3 };
        // At three times the frequency of the half-sine: 1/(3² - 1).
        approx::assert_relative_eq!(blow.most(3.0 * PI / 1e-3), 0.125, max_relative = 1e-12);
        for i in 1..400 {
            let omega = f64::from(i) * 50.0;
            for higher in [omega, 1.1 * omega, 1.7 * omega, 4.3 * omega] {
                let struck = blow.factor(Complex64::new(0.0, higher)).norm();
                assert!(struck <= blow.most(omega) * (1.0 + 1e-9), "{omega} {higher}: {struck}");
            }
        }
    }

    #[test]
    fn a_mode_at_the_half_sine_keeps_a_quarter_of_pi() {
        let blow = Blow { impulse: 1.0, duration: 1e-3 };
        let of = |x: f64| blow.factor(Complex64::new(0.0, x * PI / 1e-3));
        assert!((of(1.0).norm() - PI / 4.0).abs() < 1e-12);
        assert!((of(1.0 + 1e-5).norm() - PI / 4.0).abs() < 1e-5);
        // A slow mode sees an impulse at the middle of the tap; one with three half-periods in the tap is not
        // excited.
        assert!((of(1e-6) - 1.0).norm() < 1e-5 && of(3.0).norm() < 1e-12);
        assert!((of(2.0).norm() - 1.0 / 3.0).abs() < 1e-12);
        assert!(((of(0.5) * Complex64::from_polar(1.0, 0.25 * PI)).im).abs() < 1e-12);
    }

    #[test]
    fn near_the_half_sine_a_mode_keeps_what_the_integral_says() {
        // The force times exp(-s t) over the tap, by Simpson's rule.
        let blow = Blow { impulse: 1.0, duration: 1e-3 };
        for apart in [2e-5, 6e-5, 2e-4] {
            for turn in [0.5, 2.5, 4.0] {
                let s = (PI * Complex64::I + Complex64::from_polar(apart, turn)) / 1e-3;
                let steps = 2000;
                let at = |i: u32| {
                    let t = 1e-3 * f64::from(i) / f64::from(steps);
                    let weight = if i == 0 || i == steps { 1.0 } else { f64::from(2 + 2 * (i % 2)) };
                    weight * blow.force(t) * (-s * t).exp()
                };
                let integral = (0..=steps).map(at).sum::<Complex64>() * (1e-3 / f64::from(3 * steps));
                assert!((blow.factor(s) - integral).norm() < 1e-9, "{s}: {} {integral}", blow.factor(s));
            }
        }
    }

    #[test]
    fn a_free_body_is_where_its_velocity_took_it() {
        let blow = Blow { impulse: 1.0, duration: 2e-3 };
        // The velocity after the tap is 1; by symmetry, half the duration is lost.
        assert!((blow.drifted(2e-3) - 1e-3).abs() < 1e-15 && (blow.drifted(5e-3) - 4e-3).abs() < 1e-15);
        let near = integrated(&blow, 0.0, 1e-3, 1.3e-3)[0];
        assert!((blow.drifted(1.3e-3) - near).abs() < 1e-9, "{near}");
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(40))]

        #[test]
        fn one_oscillator_moves_as_integrated(x in 0.05..6.0f64, zeta in 0.0..0.2f64, at in 0.1..1.0f64) {
            let blow = Blow { impulse: 1.0, duration: 1e-3 };
            let omega = x * PI / 1e-3;
            let s = Complex64::new(-zeta * omega, omega);
            let [motion, _] = integrated(&blow, zeta * omega, omega, 1e-3);
            let after = (blow.factor(s) * (s * 1e-3).exp()).im / omega;
            prop_assert!((after - motion).abs() < 1e-6 / omega, "{} {}", after, motion);
            let [motion, _] = integrated(&blow, zeta * omega, omega, at * 1e-3);
            let within = blow.within(s, at * 1e-3).im / omega;
            prop_assert!((within - motion).abs() < 1e-6 / omega, "{} {}", within, motion);
        }

        #[test]
        fn no_mode_keeps_more_than_the_bound(x in 0.0..40.0f64, above in 0.0..3.0f64) {
            let blow = Blow { impulse: 1.0, duration: 1e-3 };
            let kept = blow.factor(Complex64::new(0.0, (x + above) * PI / 1e-3)).norm();
            prop_assert!(kept <= blow.most(x * PI / 1e-3) * (1.0 + 1e-12));
        }
    }
}
