//! Where the shift is put: below all modes for the search, just above the last one found for the count.

use super::fault::EigenFault;
use super::pair::MatrixPair;

/// Relative distance, in ω² - σ, below which two modes are one multiplet.
const MULTIPLET: f64 = 1e-6;

/// Part of the largest stiffness on the diagonal, and of the largest ratio of stiffness to mass, below which both are
/// rounding: those of a coordinate in which a free body moves as one piece.
const ROUNDING: f64 = 1e-13;

/// A negative shift that is small against every elastic mode of usual structures: 1e-7 of the least ratio of
/// stiffness to mass on the diagonal that is more than rounding.
pub(super) fn first_shift(pair: &MatrixPair, count: usize) -> Result<f64, EigenFault> {
    let diagonal = || (0..pair.dofs()).map(|i| (pair.stiffness.get(i, i), pair.mass.get(i, i)));
    if diagonal().all(|(_, m)| m == 0.0) {
        return Err(EigenFault::TooManyModes { asked: count, available: 0 });
    }
    let ratios = diagonal().filter(|(k, m)| *k > 0.0 && *m > 0.0).map(|(k, m)| k / m);
    let [stiffest, fastest] = [diagonal().map(|(k, _)| k).fold(0.0, f64::max), ratios.fold(0.0, f64::max)]
        .map(|most| ROUNDING * most);
    let rounding = |k: f64, m: f64| k.abs() <= stiffest && k.abs() <= fastest * m;
    if let Some(dof) = diagonal().position(|(k, m)| m < 0.0 || k < 0.0 && !rounding(k, m)) {
        return Err(EigenFault::Negative { dof });
    }
    let elastic = diagonal().filter(|(k, m)| *k > 0.0 && *m > 0.0 && !rounding(*k, *m));
    let least = elastic.map(|(k, m)| k / m).fold(f64::INFINITY, f64::min);
    Ok(if least.is_finite() { -1e-7 * least } else { -1.0 })
}

/// Tries `attempt` with ever more negative shifts while rounding makes the matrix look indefinite.
pub(super) fn with_shift<T>(
    shift: f64,
    attempt: impl Fn(f64) -> Result<T, EigenFault>,
) -> Result<(f64, T), EigenFault> {
    let mut fault = EigenFault::Empty;
    for grown in [1.0, 1e3, 1e5] {
        match attempt(shift * grown) {
            Ok(found) => return Ok((shift * grown, found)),
            Err(EigenFault::Negative { dof }) => fault = EigenFault::Negative { dof },
            Err(EigenFault::Singular { dof }) => fault = EigenFault::MasslessMechanism { dof },
            Err(other) => return Err(other),
        }
    }
    Err(fault)
}

/// A shift nearer to the elastic modes, where the first guess would cost digits: when rigid-body modes are
/// found and the elastic ones lie more than 1e5 times farther from the shift.
pub(super) fn better_shift(omega_squared: &[f64], shift: f64, count: usize) -> Option<f64> {
    let size = -shift;
    let zero = omega_squared.iter().take_while(|w| w.abs() < 1e-2 * size).count();
    let elastic = omega_squared.get(zero).copied().filter(|_| zero < count)?;
    (zero > 0 && elastic > 1e5 * size).then_some(-1e-2 * elastic)
}

/// The end of the multiplet that contains the `count`th of the ascending distances.
pub(super) fn multiplet_end(distances: &[f64], count: usize) -> usize {
    let mut end = count;
    while end > 0
        && end < distances.len()
        && distances[end] - distances[end - 1] <= MULTIPLET * distances[end]
    {
        end += 1;
    }
    end
}

/// A distance just above that of the last of `end` modes: a `part` of the gap to the next, at most 1 %.
pub(super) fn count_distance(distances: &[f64], end: usize, part: f64) -> f64 {
    let Some(last) = end.checked_sub(1).and_then(|i| distances.get(i)).copied() else { return 0.0 };
    let gap = distances.get(end).map_or(f64::INFINITY, |next| next - last);
    last + (part * gap).min(0.01 * last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shift_moves_to_the_elastic_modes_where_rigid_ones_are_far_below() {
        // Six rigid modes at rounding: for modes near 1e10 a shift of -1 would leave 6 digits
        // fewer than one near them.
        let rigid = [1e-7, -2e-7, 3e-8, 0.0, 1e-8, -1e-8];
        let found = [rigid.as_slice(), &[2e10, 3e10]].concat();
        assert_eq!(better_shift(&found, -1.0, 8), Some(-2e8));
        assert_eq!(better_shift(&found, -1.0, 6), None);
        assert_eq!(better_shift(&[2e10, 3e10], -1.0, 2), None);
        assert_eq!(better_shift(&[rigid.as_slice(), &[2e4, 3e4]].concat(), -1.0, 8), None);
    }
}
