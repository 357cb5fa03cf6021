//! Matrices of solid blocks, which fill in more on factorisation than those of lattices.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use super::lattice::{Assembly, Sample, Square};

/// A solid block of `nx * ny * nz` bricks of steel, 0.1 m each, held at the bottom.
pub fn block(nx: usize, ny: usize, nz: usize) -> Sample {
    let (k, m) = brick();
    let at = |x: usize, y: usize, z: usize| (z * (ny + 1) + y) * (nx + 1) + x;
    let fixed = (nx + 1) * (ny + 1);
    let mut assembly = Assembly::default();
    for z in 0..nz {
        for y in 0..ny {
            for x in 0..nx {
                let corner = |c: usize| at(x + (c & 1), y + (c >> 1 & 1), z + (c >> 2 & 1));
                let dof = |i: usize| (3 * corner(i / 3) + i % 3).checked_sub(3 * fixed);
                for i in 0..24 {
                    for j in 0..24 {
                        if let (Some(r), Some(c)) = (dof(i), dof(j)) {
                            assembly.add(r, c, k[i][j], m[i][j]);
                        }
                    }
                }
            }
        }
    }
    assembly.finish(3 * ((nx + 1) * (ny + 1) * (nz + 1) - fixed), 3)
}

/// Eight-node brick by 2 x 2 x 2 Gauss points.
fn brick() -> (Square<24>, Square<24>) {
    let (e, nu, rho, side): (f64, f64, f64, f64) = (210e9, 0.3, 7850.0, 0.1);
    let (lame, shear) = (e * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)), e / (2.0 * (1.0 + nu)));
    let mut k = [[0.0; 24]; 24];
    let mut m = [[0.0; 24]; 24];
    let volume = (side / 2.0).powi(3);
    let at = 1.0 / 3.0_f64.sqrt();
    for g in 0..8 {
        let sign = |c: usize, axis: usize| if c >> axis & 1 == 1 { 1.0 } else { -1.0 };
        let xi = [at * sign(g, 0), at * sign(g, 1), at * sign(g, 2)];
        let factor = |c: usize, axis: usize| 1.0 + sign(c, axis) * xi[axis];
        let shape = |c: usize| (0..3).map(|a| factor(c, a)).product::<f64>() / 8.0;
        let slope = |c: usize, d: usize| {
            let others: f64 = (0..3).filter(|a| *a != d).map(|a| factor(c, a)).product();
            sign(c, d) * others / 8.0 * 2.0 / side
        };
        for p in 0..8 {
            for q in 0..8 {
                let dot: f64 = (0..3).map(|d| slope(p, d) * slope(q, d)).sum();
                for r in 0..3 {
                    for s in 0..3 {
                        let mut value = lame * slope(p, r) * slope(q, s) + shear * slope(p, s) * slope(q, r);
                        if r == s {
                            value += shear * dot;
                            m[3 * p + r][3 * q + s] += rho * shape(p) * shape(q) * volume;
                        }
                        k[3 * p + r][3 * q + s] += value * volume;
                    }
                }
            }
        }
    }
    for i in 0..24 {
        for j in 0..i {
            k[i][j] = k[j][i];
        }
    }
    (k, m)
}
