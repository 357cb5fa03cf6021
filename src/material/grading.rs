//! The sieve curve of the grains of a mix, and the ideal curves that builders aim at.
//!
//! ```text
//! Fuller and Thompson: P = (d/D)^(1/2)        Funk and Dinger: P = (d^q - d0^q) / (D^q - d0^q)
//! ```
//!
//! # Source
//! - `fuller1907`: the line with the exponent one half
//! - `funk1994`: the line with a smallest grain
//! - `brouwers2006`: exponents from 0 to 0.37 pack densest

use serde::Serialize;

/// Exponent of the Funk-Dinger curve.
pub const DENSE_EXPONENT: f64 = 0.37;

/// Largest number of sieves shown; their openings halve from the largest grain down.
const SIEVES: i32 = 9;

/// Grains of one kind: smallest and largest size in m, and their share of the solid volume.
pub type Grains = (f64, f64, f64);

/// One sieve of the curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sieve {
    /// Opening, m.
    pub opening_m: f64,
    /// Share of the grains that passes, by volume.
    pub passing: f64,
    /// The curve of Fuller and Thompson.
    pub fuller: f64,
    /// The curve of Funk and Dinger with the exponent [`DENSE_EXPONENT`].
    pub funk_dinger: f64,
}

/// Share passing the opening `d` on the curve of Fuller and Thompson with the largest grain `largest`.
pub fn fuller(d: f64, largest: f64) -> f64 {
    (d / largest).clamp(0.0, 1.0).sqrt()
}

/// Share passing the opening `d` on the curve of Funk and Dinger.
pub fn funk_dinger(d: f64, smallest: f64, largest: f64, exponent: f64) -> f64 {
    let power = |x: f64| x.powf(exponent);
    let span = power(largest) - power(smallest);
    if span <= 0.0 {
        return if d >= largest { 1.0 } else { 0.0 };
    }
    ((power(d) - power(smallest)) / span).clamp(0.0, 1.0)
}

/// Share of `grains` that passes the opening `d`; each kind is uniform in the logarithm of size over its
/// range.
pub fn passing(grains: &[Grains], d: f64) -> f64 {
    let of_kind = |&(smallest, largest, part): &Grains| {
        let share = if d >= largest {
            1.0
        } else if d <= smallest {
            0.0
        } else {
            (d / smallest).ln() / (largest / smallest).ln()
        };
        part * share
    };
    grains.iter().map(of_kind).sum()
}

/// The sieve curve of `grains`, with openings that halve from the largest grain down to the smallest.
pub fn curve(grains: &[Grains]) -> Vec<Sieve> {
    let largest = grains.iter().map(|g| g.1).fold(0.0, f64::max);
    let smallest = grains.iter().map(|g| g.0).fold(f64::INFINITY, f64::min);
    (0..SIEVES)
        .map(|i| largest / 2f64.powi(i))
        .take_while(|d| *d > smallest / 2.0 && smallest.is_finite())
        .map(|d| Sieve {
            opening_m: d,
            passing: passing(grains, d),
            fuller: fuller(d, largest),
            funk_dinger: funk_dinger(d, smallest, largest, DENSE_EXPONENT),
        })
        .collect()
}

/// The largest stone that fits a section as thin as `thinnest`, m: a third of it.
///
/// Common practice; the code for concrete asks for a fifth between forms and three quarters of
/// the clear distance between bars.
///
/// # Source
/// - `aci318`: 26.4.2.1(a)(5), a fifth and a third
pub fn largest_stone(thinnest: f64) -> f64 {
    thinnest / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_kind_passes_evenly_in_log_size() {
        let grains = [(0.1e-3, 1e-3, 0.5), (1e-3, 4e-3, 0.5)];
        approx::assert_relative_eq!(passing(&grains, 0.1e-3 * 10f64.sqrt()), 0.25, max_relative = 1e-12);
        assert_eq!(passing(&grains, 4e-3), 1.0);
        assert_eq!(passing(&grains, 0.05e-3), 0.0);
    }

    #[test]
    fn the_curve_begins_at_all_and_falls() {
        let curve = curve(&[(0.1e-3, 4e-3, 1.0)]);
        assert_eq!(curve[0].passing, 1.0);
        assert!(curve.len() >= 6);
        for pair in curve.windows(2) {
            assert!(pair[1].passing <= pair[0].passing && pair[1].fuller < pair[0].fuller);
        }
    }

    #[test]
    fn one_size_makes_no_line() {
        assert_eq!(funk_dinger(1e-3, 1e-3, 1e-3, 0.37), 1.0);
        assert_eq!(curve(&[]).len(), 0);
    }
}
