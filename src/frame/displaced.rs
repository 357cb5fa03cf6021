//! What members lose to others, held to what they have.
//!
//! Material that others keep is known as an average over a stretch of a member. Stretches of one member may
//! run over each other where it is short and thick; taken off together they may be more than its section
//! has at a place, and no mass is negative. With the section's mass per length `M` and what is taken there
//! in all, `S`:
//!
//! ```text
//! S is taken as it is where v^T S v ≤ (1 - ε) v^T M v for every motion v, else as f S with the largest f so
//! ```

use super::model::Displaced;
use nalgebra::Matrix6;

/// What is left of the mass at least, as a part of it.
const LEFT: f64 = 1e-6;

/// Stretches that do not run over each other and leave every motion of a section of mass per length `mass`
/// some inertia; `stretches` as they are where they do so already.
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

/// The largest `f` at which `taken` times `f` leaves something of `mass`; endless where nothing is taken.
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
        // One motion that loses more than it has scales all of what is taken.
        let mut turn = Matrix6::zeros();
        turn[(3, 3)] = 0.04;
        let found = bounded(&section(), vec![Displaced { from: 0.0, to: 0.1, mass: turn }]);
        approx::assert_relative_eq!(found[0].mass[(3, 3)], 0.02 * (1.0 - LEFT), max_relative = 1e-9);
    }
}
