//! Test matrices for the eigensolver: lattices of beams, assembled without the rest of the program.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use stillbed_eigen::Sparse;

/// The matrices of a structure.
pub struct Sample {
    pub stiffness: Sparse,
    pub mass: Sparse,
    /// Point of each degree of freedom.
    pub group: Vec<usize>,
}

/// Square steel bars, 40 mm, between the points of a box lattice with cells of about 0.5 m. The lattice is
/// slightly irregular, so that no modes coincide. `held` fixes the bottom points.
pub fn beams(nx: usize, ny: usize, nz: usize, held: bool) -> Sample {
    let at = |x: usize, y: usize, z: usize| (z * ny + y) * nx + x;
    let mut points = Vec::new();
    let mut members = Vec::new();
    for z in 0..nz {
        for y in 0..ny {
            for x in 0..nx {
                let bend = |k: usize| 0.02 * ((7 * x + 11 * y + 13 * z + 5 * k) as f64).sin();
                points.push([0.5 * x as f64 + bend(0), 0.45 * y as f64 + bend(1), 0.55 * z as f64 + bend(2)]);
                let p = at(x, y, z);
                members.extend((x + 1 < nx).then(|| (p, at(x + 1, y, z))));
                members.extend((y + 1 < ny).then(|| (p, at(x, y + 1, z))));
                members.extend((z + 1 < nz).then(|| (p, at(x, y, z + 1))));
            }
        }
    }
    let fixed = if held { nx * ny } else { 0 };
    let mut assembly = Assembly::default();
    for (a, b) in members {
        let (k, m) = bar(points[a], points[b]);
        let dof = |i: usize| (if i < 6 { 6 * a + i } else { 6 * b + i - 6 }).checked_sub(6 * fixed);
        for i in 0..12 {
            for j in 0..12 {
                if let (Some(r), Some(c)) = (dof(i), dof(j)) {
                    assembly.add(r, c, k[i][j], m[i][j]);
                }
            }
        }
    }
    assembly.finish((points.len() - fixed) * 6, 6)
}

/// Matrix entries collected for a sample.
#[derive(Default)]
pub struct Assembly {
    stiffness: Vec<(usize, usize, f64)>,
    mass: Vec<(usize, usize, f64)>,
}

impl Assembly {
    pub fn add(&mut self, row: usize, column: usize, k: f64, m: f64) {
        if k != 0.0 {
            self.stiffness.push((row, column, k));
        }
        if m != 0.0 {
            self.mass.push((row, column, m));
        }
    }

    pub fn finish(self, n: usize, per_point: usize) -> Sample {
        let matrix = |entries: &[_]| Sparse::from_triplets(n, entries).expect("indices in range");
        Sample {
            stiffness: matrix(&self.stiffness),
            mass: matrix(&self.mass),
            group: (0..n).map(|i| i / per_point).collect(),
        }
    }
}

pub type Square<const N: usize> = [[f64; N]; N];

/// Stiffness and mass of a slender beam in global axes.
fn bar(a: [f64; 3], b: [f64; 3]) -> (Square<12>, Square<12>) {
    let (e, g, rho, side): (f64, f64, f64, f64) = (210e9, 80e9, 7850.0, 0.04);
    let (area, i, j) = (side * side, side.powi(4) / 12.0, 0.1406 * side.powi(4));
    let d = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
    let l = d.iter().map(|c| c * c).sum::<f64>().sqrt();
    let mut k = [[0.0; 12]; 12];
    let mut m = [[0.0; 12]; 12];
    let mut line = |p: usize, q: usize, stiff: f64, mass: f64| {
        for (r, c, s, t) in [(p, p, 1.0, 2.0), (q, q, 1.0, 2.0), (p, q, -1.0, 1.0), (q, p, -1.0, 1.0)] {
            k[r][c] += s * stiff / l;
            m[r][c] += t * mass * l / 6.0;
        }
    };
    line(0, 6, e * area, rho * area);
    line(3, 9, g * j, rho * 2.0 * i);
    for (f, sign) in [([1, 5, 7, 11], 1.0), ([2, 4, 8, 10], -1.0)] {
        let ll = sign * l;
        let ks = [
            [12.0, 6.0 * ll, -12.0, 6.0 * ll],
            [6.0 * ll, 4.0 * l * l, -6.0 * ll, 2.0 * l * l],
            [-12.0, -6.0 * ll, 12.0, -6.0 * ll],
            [6.0 * ll, 2.0 * l * l, -6.0 * ll, 4.0 * l * l],
        ];
        let ms = [
            [156.0, 22.0 * ll, 54.0, -13.0 * ll],
            [22.0 * ll, 4.0 * l * l, 13.0 * ll, -3.0 * l * l],
            [54.0, 13.0 * ll, 156.0, -22.0 * ll],
            [-13.0 * ll, -3.0 * l * l, -22.0 * ll, 4.0 * l * l],
        ];
        for r in 0..4 {
            for c in 0..4 {
                k[f[r]][f[c]] += e * i / l.powi(3) * ks[r][c];
                m[f[r]][f[c]] += rho * area * l / 420.0 * ms[r][c];
            }
        }
    }
    let x = d.map(|c| c / l);
    let up = if x[2].abs() > 0.9 { [0.0, 1.0, 0.0] } else { [0.0, 0.0, 1.0] };
    let cross = |u: [f64; 3], v: [f64; 3]| {
        [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]]
    };
    let y = cross(up, x);
    let length = y.iter().map(|c| c * c).sum::<f64>().sqrt();
    let y = y.map(|c| c / length);
    let turn = [x, y, cross(x, y)];
    (turned(&k, &turn), turned(&m, &turn))
}

fn turned(a: &Square<12>, turn: &Square<3>) -> Square<12> {
    let t = |i: usize, j: usize| if i / 3 == j / 3 { turn[i % 3][j % 3] } else { 0.0 };
    let mut half = [[0.0; 12]; 12];
    let mut full = [[0.0; 12]; 12];
    for i in 0..12 {
        for j in 0..12 {
            half[i][j] = (0..12).map(|s| a[i][s] * t(s, j)).sum();
        }
    }
    for i in 0..12 {
        for j in i..12 {
            full[i][j] = (0..12).map(|s| t(s, i) * half[s][j]).sum();
            full[j][i] = full[i][j];
        }
    }
    full
}
