//! Cholesky factorisation and triangular solutions of small dense matrices, stored by columns, of which
//! only the lower triangle is used.
//!
//! The loops are compiled for several register widths; the widest that the machine has is chosen at run
//! time.

use pulp::{Arch, Simd, WithSimd};

/// Columns eliminated together.
const AT_ONCE: usize = 4;

/// Eliminates the first `count` columns of a symmetric `n` by `n` matrix, stored as its lower triangle
/// by columns. These columns become those of the Cholesky factor, the others the Schur complement.
/// `None` where a pivot is not positive.
pub(super) fn eliminate(matrix: &mut [f64], n: usize, count: usize) -> Option<()> {
    Arch::new().dispatch(Elimination { matrix, n, count })
}

/// Forward substitution with some columns of a factor, each as long as `x`; updates the rows below them.
pub(super) fn forward(columns: &[f64], x: &mut [f64]) {
    Arch::new().dispatch(Forward { columns, x });
}

/// Backward substitution with the transpose of these columns, given the rows of `x` below them.
pub(super) fn backward(columns: &[f64], x: &mut [f64]) {
    Arch::new().dispatch(Backward { columns, x });
}

struct Elimination<'a> {
    matrix: &'a mut [f64],
    n: usize,
    count: usize,
}

impl WithSimd for Elimination<'_> {
    type Output = Option<()>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Option<()> {
        let Elimination { matrix, n, count } = self;
        let mut from = 0;
        while from < count {
            let to = (from + AT_ONCE).min(count);
            let (done, rest) = matrix.split_at_mut(to * n);
            let panel = &mut done[from * n..];
            for j in from..to {
                let (before, after) = panel.split_at_mut((j - from + 1) * n);
                let column = &mut before[(j - from) * n..][j..n];
                if column[0].is_nan() || column[0] <= 0.0 {
                    return None;
                }
                let scale = 1.0 / column[0].sqrt();
                column.iter_mut().for_each(|x| *x *= scale);
                for (c, target) in (j + 1..to).zip(after.chunks_mut(n)) {
                    let column = &column[c - j..];
                    subtract(&mut target[c..], column[0], column);
                }
            }
            for (c, target) in (to..n).zip(rest.chunks_mut(n)) {
                let target = &mut target[c..];
                let column = |k: usize| &panel[k * n..][c..n];
                if to - from == AT_ONCE {
                    let [p, q, r, s] = [column(0), column(1), column(2), column(3)];
                    let by = [p[0], q[0], r[0], s[0]];
                    for ((((t, p), q), r), s) in target.iter_mut().zip(p).zip(q).zip(r).zip(s) {
                        *t -= by[0] * p + by[1] * q + by[2] * r + by[3] * s;
                    }
                } else {
                    (0..to - from).for_each(|k| subtract(target, column(k)[0], column(k)));
                }
            }
            from = to;
        }
        Some(())
    }
}

struct Forward<'a> {
    columns: &'a [f64],
    x: &'a mut [f64],
}

impl WithSimd for Forward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Forward { columns, x } = self;
        for (j, column) in columns.chunks(x.len().max(1)).enumerate() {
            let (own, below) = x[j..].split_at_mut(1);
            own[0] /= column[j];
            subtract(below, own[0], &column[j + 1..]);
        }
    }
}

struct Backward<'a> {
    columns: &'a [f64],
    x: &'a mut [f64],
}

impl WithSimd for Backward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Backward { columns, x } = self;
        for (j, column) in columns.chunks(x.len().max(1)).enumerate().rev() {
            let (own, below) = x[j..].split_at_mut(1);
            own[0] = (own[0] - product(below, &column[j + 1..])) / column[j];
        }
    }
}

#[inline(always)]
fn subtract(target: &mut [f64], by: f64, column: &[f64]) {
    target.iter_mut().zip(column).for_each(|(t, x)| *t -= by * x);
}

#[inline(always)]
fn product(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a, b) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest = a.remainder().iter().zip(b.remainder()).map(|(x, y)| x * y).sum::<f64>();
    for (a, b) in a.zip(b) {
        (0..4).for_each(|i| sums[i] += a[i] * b[i]);
    }
    rest + sums.iter().sum::<f64>()
}
