//! Bodies with known frequencies.

use super::*;
use approx::assert_relative_eq;
use std::f64::consts::TAU;
use stillbed_eigen::{MatrixPair, Settings, lowest};

fn even(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..=count).map(|i| from + (to - from) * i as f64 / count as f64).collect()
}

/// Frequencies of a block on a grid, ω.
fn free_modes(mesh: &Mesh, materials: &[Elastic], count: usize) -> Vec<f64> {
    let t = std::time::Instant::now();
    let assembly = Assembly::new(mesh);
    let matrices = assembly.matrices(materials, &vec![false; 3 * mesh.nodes()]);
    let ta = t.elapsed();
    let pair = MatrixPair { stiffness: &matrices.stiffness, mass: &matrices.mass, group: &matrices.group };
    let found = lowest(&pair, count + 6, &Settings::default()).unwrap();
    eprintln!(
        "{} dofs, nnz {}, assembly {:?}, all {:?}",
        matrices.group.len(),
        matrices.stiffness.val().len(),
        ta,
        t.elapsed()
    );
    found.omega_squared[6..].iter().map(|w| w.sqrt()).collect()
}

#[test]
fn cube() {
    let axis = || Axis::new(&even(0.0, 1.0, 2), &[5, 5]);
    let mut cells = Vec::new();
    for i in 0..2 {
        for j in 0..2 {
            for k in 0..2 {
                cells.push(Cell { at: [i, j, k], content: Content::Full(0) });
            }
        }
    }
    let mesh = Mesh::new([axis(), axis(), axis()], cells);
    let material = Elastic::isotropic(2.6, 0.3, 1.0);
    let found = free_modes(&mesh, &[material], 12);
    eprintln!("{found:?}");
    for (i, known) in
        [(0, 2.856045), (1, 2.856045), (2, 3.845971), (5, 3.91125), (8, 4.442883), (10, 4.57278)]
    {
        assert_relative_eq!(found[i], known, max_relative = 2e-6);
    }
}

#[test]
fn slab_with_tubes() {
    let (w, t) = (0.04, 0.003);
    let mut y = vec![-0.175, 0.0, 0.175];
    for c in [-0.12, -0.04, 0.04, 0.12] {
        y.extend([c - w / 2.0, c - w / 2.0 + t, c + w / 2.0 - t, c + w / 2.0]);
    }
    y.sort_by(f64::total_cmp);
    let z = vec![-0.06, -0.02, -0.017, 0.017, 0.02, 0.06];
    let x = even(-0.25, 0.25, 3);
    let steel = Elastic::isotropic(210e9, 0.3, 7850.0);
    let fill = Elastic::isotropic(18e9, 0.25, 2250.0);
    for (px, wide, thin) in [(3, 2, 1), (4, 3, 2)] {
        let orders = |b: &[f64]| {
            b.windows(2).map(|e| if e[1] - e[0] < 0.004 { thin } else { wide }).collect::<Vec<_>>()
        };
        let axes = [Axis::new(&x, &[px; 3]), Axis::new(&y, &orders(&y)), Axis::new(&z, &orders(&z))];
        let mut cells = Vec::new();
        for i in 0..3 {
            for j in 0..y.len() - 1 {
                for k in 0..5 {
                    let (cy, cz) = (0.5 * (y[j] + y[j + 1]), 0.5 * (z[k] + z[k + 1]));
                    let wall = [-0.12, -0.04, 0.04, 0.12].iter().any(|c: &f64| {
                        let m = (cy - c).abs().max(cz.abs());
                        m < w / 2.0 && m > w / 2.0 - t
                    });
                    cells.push(Cell { at: [i, j, k], content: Content::Full(usize::from(wall)) });
                }
            }
        }
        let mesh = Mesh::new(axes, cells);
        let found = free_modes(&mesh, &[fill, steel], 10);
        let known = [1006.74, 1193.18, 2089.06, 2187.95, 2294.90, 2537.37];
        for (f, k) in found.iter().zip(known) {
            eprintln!("{:.2} {:.3} %", f / TAU, 100.0 * (f / TAU / k - 1.0));
        }
    }
}
