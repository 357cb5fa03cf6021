//! Products and triangular solutions with four vectors at a time.
//!
//! The factor is far larger than any cache, so a solution costs what reading it costs; four vectors share
//! one reading, and four columns of a supernode share one pass over the vectors. Vectors lie interleaved:
//! the values of one freedom are neighbours in memory and fill one register. The loops are compiled for the
//! widest registers that the machine has and chosen when the program runs.

use super::ordering::Pattern;
use faer::sparse::linalg::cholesky::supernodal::{SupernodalLdltRef, SymbolicSupernodalCholesky};
use pulp::{Arch, Simd, WithSimd};

/// Vectors handled together.
pub(super) const BLOCK: usize = 4;

/// The values of one freedom in all vectors of a block.
pub(super) type Lane = [f64; BLOCK];

/// Columns of a supernode taken in one pass.
const COLUMNS: usize = 4;

/// `y = A x` for symmetric `A` of which `values` in `lower` are the lower triangle.
pub(super) fn symmetric_product(lower: &Pattern, values: &[f64], x: &[Lane], y: &mut [Lane]) {
    Arch::new().dispatch(Product { lower, values, x, y });
}

/// Solves `L x = b` in place; `L` has a unit diagonal.
pub(super) fn solve_lower(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    Arch::new().dispatch(Forward { factor: SupernodalLdltRef::new(symbolic, values), x });
}

/// Solves `Lᵀ x = b` in place; `L` has a unit diagonal.
pub(super) fn solve_upper(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    Arch::new().dispatch(Backward { factor: SupernodalLdltRef::new(symbolic, values), x });
}

struct Product<'a> {
    lower: &'a Pattern,
    values: &'a [f64],
    x: &'a [Lane],
    y: &'a mut [Lane],
}

impl WithSimd for Product<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Product { lower, values, x, y } = self;
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
}

struct Forward<'a> {
    factor: SupernodalLdltRef<'a, usize, f64>,
    x: &'a mut [Lane],
}

impl WithSimd for Forward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Forward { factor, x } = self;
        let symbolic = factor.symbolic();
        let (begin, end) = (symbolic.supernode_begin(), symbolic.supernode_end());
        let (value_starts, row_starts) = (symbolic.col_ptr_for_val(), symbolic.col_ptr_for_row_idx());
        let mut work: Vec<Lane> = Vec::new();
        for s in 0..begin.len() {
            let (start, width) = (begin[s], end[s] - begin[s]);
            let rows = &symbolic.row_idx()[row_starts[s]..][..symbolic.nnz_per_super()[s]];
            let columns = &factor.values()[value_starts[s]..value_starts[s + 1]];
            let height = width + rows.len();
            work.clear();
            work.extend_from_slice(&x[start..start + width]);
            work.resize(height, [0.0; BLOCK]);
            let mut j = 0;
            while j + COLUMNS <= width {
                let (done, rest) = work.split_at_mut(j + COLUMNS);
                let head = &mut done[j..];
                let column = |c: usize| &columns[(j + c) * height + j..(j + c + 1) * height];
                let (c0, c1, c2, c3) = (column(0), column(1), column(2), column(3));
                let x0 = head[0];
                add(&mut head[1], -c0[1], &x0);
                let x1 = head[1];
                add(&mut head[2], -c0[2], &x0);
                add(&mut head[2], -c1[2], &x1);
                let x2 = head[2];
                add(&mut head[3], -c0[3], &x0);
                add(&mut head[3], -c1[3], &x1);
                add(&mut head[3], -c2[3], &x2);
                let x3 = head[3];
                let below = rest.len();
                let (c0, c1) = (&c0[COLUMNS..][..below], &c1[COLUMNS..][..below]);
                let (c2, c3) = (&c2[COLUMNS..][..below], &c3[COLUMNS..][..below]);
                for i in 0..below {
                    let (a0, a1, a2, a3) = (c0[i], c1[i], c2[i], c3[i]);
                    for (l, t) in rest[i].iter_mut().enumerate() {
                        *t -= (a0 * x0[l] + a1 * x1[l]) + (a2 * x2[l] + a3 * x3[l]);
                    }
                }
                j += COLUMNS;
            }
            while j < width {
                let (done, rest) = work.split_at_mut(j + 1);
                let xj = done[j];
                for (t, &a) in rest.iter_mut().zip(&columns[j * height + j + 1..]) {
                    add(t, -a, &xj);
                }
                j += 1;
            }
            x[start..start + width].copy_from_slice(&work[..width]);
            for (&i, t) in rows.iter().zip(&work[width..]) {
                add(&mut x[i], 1.0, t);
            }
        }
    }
}

struct Backward<'a> {
    factor: SupernodalLdltRef<'a, usize, f64>,
    x: &'a mut [Lane],
}

impl WithSimd for Backward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Backward { factor, x } = self;
        let symbolic = factor.symbolic();
        let (begin, end) = (symbolic.supernode_begin(), symbolic.supernode_end());
        let (value_starts, row_starts) = (symbolic.col_ptr_for_val(), symbolic.col_ptr_for_row_idx());
        let mut work: Vec<Lane> = Vec::new();
        for s in (0..begin.len()).rev() {
            let (start, width) = (begin[s], end[s] - begin[s]);
            let rows = &symbolic.row_idx()[row_starts[s]..][..symbolic.nnz_per_super()[s]];
            let columns = &factor.values()[value_starts[s]..value_starts[s + 1]];
            let height = width + rows.len();
            work.clear();
            work.extend_from_slice(&x[start..start + width]);
            work.extend(rows.iter().map(|&i| x[i]));
            let mut j = width;
            while j % COLUMNS != 0 {
                j -= 1;
                let mut sum = [0.0; BLOCK];
                for (t, &a) in work[j + 1..].iter().zip(&columns[j * height + j + 1..]) {
                    add(&mut sum, a, t);
                }
                add(&mut work[j], -1.0, &sum);
            }
            while j > 0 {
                j -= COLUMNS;
                let (done, rest) = work.split_at_mut(j + COLUMNS);
                let head = &mut done[j..];
                let column = |c: usize| &columns[(j + c) * height + j..(j + c + 1) * height];
                let (c0, c1, c2, c3) = (column(0), column(1), column(2), column(3));
                let below = rest.len();
                let (b0, b1) = (&c0[COLUMNS..][..below], &c1[COLUMNS..][..below]);
                let (b2, b3) = (&c2[COLUMNS..][..below], &c3[COLUMNS..][..below]);
                let (mut even, mut odd) = ([[0.0; BLOCK]; COLUMNS], [[0.0; BLOCK]; COLUMNS]);
                let pairs = below / 2;
                for i in (0..2 * pairs).step_by(2) {
                    let (t, u) = (rest[i], rest[i + 1]);
                    add(&mut even[0], b0[i], &t);
                    add(&mut odd[0], b0[i + 1], &u);
                    add(&mut even[1], b1[i], &t);
                    add(&mut odd[1], b1[i + 1], &u);
                    add(&mut even[2], b2[i], &t);
                    add(&mut odd[2], b2[i + 1], &u);
                    add(&mut even[3], b3[i], &t);
                    add(&mut odd[3], b3[i + 1], &u);
                }
                if below > 2 * pairs {
                    let (i, t) = (below - 1, rest[below - 1]);
                    for (sum, b) in even.iter_mut().zip([b0, b1, b2, b3]) {
                        add(sum, b[i], &t);
                    }
                }
                for (sum, more) in even.iter_mut().zip(&odd) {
                    add(sum, 1.0, more);
                }
                add(&mut head[3], -1.0, &even[3]);
                add(&mut even[2], c2[3], &head[3]);
                add(&mut head[2], -1.0, &even[2]);
                add(&mut even[1], c1[2], &head[2]);
                add(&mut even[1], c1[3], &head[3]);
                add(&mut head[1], -1.0, &even[1]);
                add(&mut even[0], c0[1], &head[1]);
                add(&mut even[0], c0[2], &head[2]);
                add(&mut even[0], c0[3], &head[3]);
                add(&mut head[0], -1.0, &even[0]);
            }
            x[start..start + width].copy_from_slice(&work[..width]);
        }
    }
}

#[inline(always)]
fn add(to: &mut Lane, factor: f64, lane: &Lane) {
    for (t, v) in to.iter_mut().zip(lane) {
        *t += factor * v;
    }
}

#[cfg(test)]
mod tests {
    use super::super::factor::Factorisation;
    use super::super::lattice::beams;
    use super::super::pencil::Pencil;
    use super::super::symbolic::Symbolic;
    use faer::Mat;
    use std::sync::Arc;

    #[test]
    fn solution_has_no_residual() {
        let sample = beams(4, 3, 5, true);
        let pencil = Pencil { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let symbolic = Arc::new(Symbolic::new(&pencil).unwrap());
        let factor = Factorisation::new(&pencil, &symbolic, 0.0).unwrap();
        let rhs = Mat::from_fn(pencil.freedoms(), 7, |i, j| ((3 * i + 5 * j) as f64).sin());
        let x = factor.solve(rhs.as_ref()).unwrap();
        assert!((&sample.stiffness * &x - &rhs).norm_max() < 1e-9);
    }
}
