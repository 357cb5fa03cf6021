//! Limits the mass that is taken off a member to the mass it has.
//!
//! Material kept by other members is known as an average over a stretch of the member. On a short, thick
//! member such stretches may overlap and together take off more than the section has at a place, and no mass
//! may be negative. With the section's mass per length `M` and the sum `S` of what is taken off there:
//!
//! ```text
//! S is taken as it is where v^T S v ≤ (1 - ε) v^T M v for every motion v, else f S with the largest such f
//! ```

use super::model::Displaced;
use nalgebra::Matrix6;

/// Least fraction of the mass that is left.
const LEFT: f64 = 1e-6;

/// Stretches that do not overlap and leave every motion of a section of mass per length `mass` some inertia;
/// `stretches` unchanged where they do so already.
pub fn bounded(mass: &Matrix6<f64>, stretches: Vec<Displaced>) -> Vec<Displaced> {
    let apart = |i: usize, own: &Displaced| {
        stretches[..i].iter().all(|other| own.to <= other.from || other.to <= own.from)
    };
    let few = stretches.iter().all(|own| part_that_fits(mass, &own.mass) >= 1.0);
    if few && stretches.iter().enumerate().all(|(i, own)| apart(i, own)) {
        return stretches;
    }
    let mut ends: Vec<f64> = stretches.iter().flat_map(|own| [own.from, own.to]).collect();
    ends.sort_by(f64::total_cmp);
    let between = ends.windows(2).filter(|ends| ends[0] < ends[1]).filter_map(|ends| {
        let here = |own: &&Displaced| own.from <= ends[0] && ends[1] <= own.to;
        let mut found = stretches.iter().filter(here).peekable();
        found.peek()?;
        let sum: Matrix6<f64> = found.map(|own| own.mass).sum();
        let part = part_that_fits(mass, &sum).min(1.0);
        Some(Displaced { from: ends[0], to: ends[1], mass: sum * part })
    });
    between.collect()
}

/// The largest `f` at which `f` times `taken` leaves some of `mass`; infinite where nothing is taken.
fn part_that_fits(mass: &Matrix6<f64>, taken: &Matrix6<f64>) -> f64 {
    let Some(root) = mass.cholesky() else { return 0.0 };
    let half = root.l().solve_lower_triangular(taken);
    let whole = half.and_then(|half| root.l().solve_lower_triangular(&half.transpose()));
    let most = whole
        .map_or(f64::INFINITY, |whole| (0.5 * (whole + whole.transpose())).symmetric_eigenvalues().max());
    if most > 0.0 { (1.0 - LEFT) / most } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(from: f64, to: f64, part: f64) -> Displaced {
        Displaced { from, to, mass: section() * part }
    }

    fn section() -> Matrix6<f64> {
        let mut mass = Matrix6::from_diagonal(&[8.0, 8.0, 8.0, 0.02, 0.01, 0.01].into());
        mass[(0, 5)] = 0.1;
        mass[(5, 0)] = 0.1;
        mass
    }

    #[test]
    fn what_fits_is_taken_as_it_is() {
        let stretches = vec![taken(0.0, 0.1, 0.9), taken(0.1, 0.3, 0.5)];
        assert_eq!(bounded(&section(), stretches.clone()), stretches);
        assert_eq!(bounded(&section(), Vec::new()), Vec::new());
    }

    #[test]
    fn stretches_that_run_over_each_other_take_no_more_than_there_is() {
        let found = bounded(&section(), vec![taken(0.0, 0.2, 0.7), taken(0.1, 0.3, 0.6)]);
        let ends: Vec<[f64; 2]> = found.iter().map(|own| [own.from, own.to]).collect();
        assert_eq!(ends, [[0.0, 0.1], [0.1, 0.2], [0.2, 0.3]]);
        for (own, part) in found.iter().zip([0.7, 1.0 - LEFT, 0.6]) {
            approx::assert_relative_eq!(own.mass, section() * part, max_relative = 1e-9);
        }
        // If one motion would lose more mass than it has, everything taken is scaled.
        let mut turn = Matrix6::zeros();
        turn[(3, 3)] = 0.04;
        let found = bounded(&section(), vec![Displaced { from: 0.0, to: 0.1, mass: turn }]);
        approx::assert_relative_eq!(found[0].mass[(3, 3)], 0.02 * (1.0 - LEFT), max_relative = 1e-9);
    }
}
