//! Products and triangular solutions with four vectors at a time.
//!
//! The factor is far larger than any cache, so a solution costs what reading it costs; four vectors share
//! one reading. Vectors lie interleaved: the four values of one freedom are neighbours in memory.

use super::ordering::Pattern;
use faer::sparse::linalg::cholesky::supernodal::{SupernodalLdltRef, SymbolicSupernodalCholesky};

/// Vectors handled together.
pub(super) const BLOCK: usize = 4;

/// The values of one freedom in all vectors of a block.
pub(super) type Lane = [f64; BLOCK];

/// `y = A x` for symmetric `A` of which `values` in `lower` are the lower triangle.
pub(super) fn symmetric_product(lower: &Pattern, values: &[f64], x: &[Lane], y: &mut [Lane]) {
    y.fill([0.0; BLOCK]);
    for j in 0..lower.len() {
        let range = lower.starts[j]..lower.starts[j + 1];
        let xj = x[j];
        let mut sum = [0.0; BLOCK];
        for (&i, &a) in lower.rows[range.clone()].iter().zip(&values[range]) {
            if i == j {
                add(&mut sum, a, &xj);
            } else {
                add(&mut sum, a, &x[i]);
                add(&mut y[i], a, &xj);
            }
        }
        add(&mut y[j], 1.0, &sum);
    }
}

/// Solves `L x = b` in place; `L` has a unit diagonal.
pub(super) fn solve_lower(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    let factor = SupernodalLdltRef::new(symbolic, values);
    let mut below: Vec<Lane> = Vec::new();
    for s in 0..symbolic.n_supernodes() {
        let node = factor.supernode(s);
        let (start, rows) = (node.start(), node.pattern());
        let columns = node.val();
        let width = columns.ncols();
        below.clear();
        below.resize(rows.len(), [0.0; BLOCK]);
        let top = &mut x[start..start + width];
        for j in 0..width {
            let Some(column) = columns.col(j).try_as_col_major().map(|c| c.as_slice()) else { continue };
            let xj = top[j];
            for (t, &l) in top[j + 1..].iter_mut().zip(&column[j + 1..width]) {
                add(t, -l, &xj);
            }
            for (t, &l) in below.iter_mut().zip(&column[width..]) {
                add(t, l, &xj);
            }
        }
        for (&i, t) in rows.iter().zip(&below) {
            add(&mut x[i], -1.0, t);
        }
    }
}

/// Solves `Lᵀ x = b` in place; `L` has a unit diagonal.
pub(super) fn solve_upper(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    let factor = SupernodalLdltRef::new(symbolic, values);
    let mut below: Vec<Lane> = Vec::new();
    for s in (0..symbolic.n_supernodes()).rev() {
        let node = factor.supernode(s);
        let (start, rows) = (node.start(), node.pattern());
        let columns = node.val();
        let width = columns.ncols();
        below.clear();
        below.extend(rows.iter().map(|&i| x[i]));
        let top = &mut x[start..start + width];
        for j in (0..width).rev() {
            let Some(column) = columns.col(j).try_as_col_major().map(|c| c.as_slice()) else { continue };
            let mut sum = [0.0; BLOCK];
            for (t, &l) in top[j + 1..].iter().zip(&column[j + 1..width]) {
                add(&mut sum, l, t);
            }
            for (t, &l) in below.iter().zip(&column[width..]) {
                add(&mut sum, l, t);
            }
            add(&mut top[j], -1.0, &sum);
        }
    }
}

#[inline(always)]
fn add(to: &mut Lane, factor: f64, lane: &Lane) {
    for c in 0..BLOCK {
        to[c] += factor * lane[c];
    }
}
