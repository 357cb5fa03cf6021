//! The shear of a core held all round, against axisymmetric finite elements of four nodes written out here.

use super::super::border::{Border, Ring};
use super::super::rings::{BarRing, ring_stresses};
use super::{BondLine, OVERLAP, Side};
use std::f64::consts::PI;

const NU: f64 = 0.3;
/// Half of the bar's length, and change of temperature.
const HALF: f64 = 0.25;
const CHANGE: f64 = 10.0;

/// A cylinder of radius `r` in a ring up to `big` (m), each with its modulus (Pa) and expansion (1/K).
struct Bar {
    r: f64,
    big: f64,
    e: [f64; 2],
    alpha: [f64; 2],
}

/// Nodes from `low` to `high`; the first steps from `low` are `fine`, then each is longer up to `most`.
fn nodes(low: f64, high: f64, fine: f64, growth: f64, most: f64) -> Vec<f64> {
    let (mut steps, mut step, mut sum) = (vec![0.0], fine, 0.0);
    while sum < (high - low).abs() {
        sum += step;
        steps.push(sum);
        step = (step * growth).min(most);
    }
    steps.iter().map(|at| low + (high - low) * at / sum).collect()
}

type Matrix = nalgebra::SMatrix<f64, 4, 8>;

/// Strains rr, zz, θθ, rz of an element between `r` and `z` at a place within it, and the radius there.
fn strains(r: [f64; 2], z: [f64; 2], [x, y]: [f64; 2]) -> (Matrix, f64) {
    let (dr, dz) = (r[1] - r[0], z[1] - z[0]);
    let radius = 0.5 * ((1.0 - x) * r[0] + (1.0 + x) * r[1]);
    let mut b = Matrix::zeros();
    for (node, [sx, sy]) in [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]].into_iter().enumerate() {
        let shape = 0.25 * (1.0 + sx * x) * (1.0 + sy * y);
        let (by_r, by_z) = (0.5 * sx * (1.0 + sy * y) / dr, 0.5 * sy * (1.0 + sx * x) / dz);
        b[(0, 2 * node)] = by_r;
        b[(1, 2 * node + 1)] = by_z;
        b[(2, 2 * node)] = shape / radius;
        b[(3, 2 * node)] = by_z;
        b[(3, 2 * node + 1)] = by_r;
    }
    (b, radius)
}

fn elastic(e: f64) -> nalgebra::Matrix4<f64> {
    let c = e / ((1.0 + NU) * (1.0 - 2.0 * NU));
    let mut d = nalgebra::Matrix4::zeros();
    for i in 0..3 {
        for j in 0..3 {
            d[(i, j)] = c * if i == j { 1.0 - NU } else { NU };
        }
    }
    d[(3, 3)] = 0.5 * c * (1.0 - 2.0 * NU);
    d
}

/// Solves a symmetric banded system, rows of `width` entries from the diagonal on, by Gauss elimination.
fn solve(mut k: Vec<Vec<f64>>, mut f: Vec<f64>) -> Vec<f64> {
    let (count, width) = (k.len(), k[0].len());
    for i in 0..count {
        let pivot = k[i].clone();
        for m in 1..width.min(count - i) {
            let factor = pivot[m] / pivot[0];
            if factor != 0.0 {
                (m..width).for_each(|j| k[i + m][j - m] -= factor * pivot[j]);
                f[i + m] -= factor * f[i];
            }
        }
    }
    for i in (0..count).rev() {
        let known: f64 = (1..width.min(count - i)).map(|j| k[i][j] * f[i + j]).sum();
        f[i] = (f[i] - known) / k[i][0];
    }
    f
}

/// Mean shear between cylinder and ring over the overlap from an end, and the cylinder's force far from it.
fn by_elements(bar: &Bar) -> [f64; 2] {
    let mut radii = nodes(bar.r, 0.0, 5e-4, 1.15, 4e-3);
    radii.reverse();
    let core = radii.len() - 1;
    radii.extend(nodes(bar.r, bar.big, 5e-4, 1.15, 4e-3).into_iter().skip(1));
    let mut along: Vec<f64> = (0..=60).map(|i| 5e-4 * f64::from(i)).collect();
    along.extend(nodes(0.03, HALF, 5e-4, 1.1, 5e-3).into_iter().skip(1));
    let (across, count) = (radii.len(), 2 * radii.len() * along.len());
    let freedoms = |e: usize, k: usize| {
        let at = |e: usize, k: usize| 2 * (k * across + e);
        let corners = [at(e, k), at(e + 1, k), at(e + 1, k + 1), at(e, k + 1)];
        [0, 1, 2, 3, 4, 5, 6, 7].map(|i: usize| corners[i / 2] + i % 2)
    };
    let side = |e: usize| usize::from(e >= core);
    let free = |e: usize| nalgebra::Vector4::new(1.0, 1.0, 1.0, 0.0) * (bar.alpha[side(e)] * CHANGE);
    let mut k_all = vec![vec![0.0; 2 * across + 4]; count];
    let mut load = vec![0.0; count];
    let gauss = 1.0 / 3f64.sqrt();
    for k in 0..along.len() - 1 {
        for e in 0..across - 1 {
            let (r, z) = ([radii[e], radii[e + 1]], [along[k], along[k + 1]]);
            let (d, own) = (elastic(bar.e[side(e)]), freedoms(e, k));
            for place in [[-gauss, -gauss], [gauss, -gauss], [-gauss, gauss], [gauss, gauss]] {
                let (b, radius) = strains(r, z, place);
                let weight = 0.5 * PI * radius * (r[1] - r[0]) * (z[1] - z[0]);
                let (stiff, force) = (b.transpose() * d * b * weight, b.transpose() * d * free(e) * weight);
                for i in 0..8 {
                    load[own[i]] += force[i];
                    for j in (0..8).filter(|j| own[*j] >= own[i]) {
                        k_all[own[i]][own[j] - own[i]] += stiff[(i, j)];
                    }
                }
            }
        }
    }
    // The axis keeps its place, and so does the middle of the bar along it.
    let axis = (0..along.len()).map(|k| 2 * k * across);
    let middle = (0..across).map(|e| 2 * ((along.len() - 1) * across + e) + 1);
    for held in axis.chain(middle) {
        k_all[held][0] *= 1e9;
    }
    let moved = solve(k_all, load);
    let force = |k: usize| -> f64 {
        let of = |e: usize| {
            let (b, radius) = strains([radii[e], radii[e + 1]], [along[k], along[k + 1]], [0.0, 0.0]);
            let u = nalgebra::SVector::<f64, 8>::from_fn(|i, _| moved[freedoms(e, k)[i]]);
            let stress = elastic(bar.e[0]) * (b * u - free(e));
            stress[1] * 2.0 * PI * radius * (radii[e + 1] - radii[e])
        };
        (0..core).map(of).sum()
    };
    // The overlap ends on a node, between the middles of two elements.
    let node = along.iter().position(|z| (z - OVERLAP).abs() < 1e-9).unwrap();
    let passed = 0.5 * (force(node - 1) + force(node));
    [passed.abs() / (2.0 * PI * bar.r * OVERLAP), force(along.len() - 2)]
}

/// Areas of cylinder and ring, m2, and the axial force of the cylinder far from the ends, N.
fn held(bar: &Bar) -> ([f64; 2], f64) {
    let areas = [PI * bar.r.powi(2), PI * (bar.big.powi(2) - bar.r.powi(2))];
    let ring = |i: usize| BarRing {
        youngs_modulus: bar.e[i],
        poissons_ratio: NU,
        area: areas[i],
        free: bar.alpha[i] * CHANGE,
    };
    (areas, areas[0] * ring_stresses(0.0, &[ring(0), ring(1)]).unwrap()[0].axial)
}

fn by_formula(bar: &Bar) -> f64 {
    let (areas, force) = held(bar);
    let side = |i: usize| Side {
        shear_modulus: bar.e[i] / (2.0 * (1.0 + NU)),
        youngs_modulus: bar.e[i],
        area: areas[i],
    };
    let around = 2.0 * PI * bar.r;
    let ring = Ring { within: true, enclosed: areas[0], other_area: areas[1], other_around: around };
    let border = Border { length: around, area: areas[0], around, ring: Some(ring) };
    let line = BondLine { sides: [side(0), side(1)], borders: vec![border], length: 2.0 * HALF };
    line.end_shear(force).unwrap().shear
}

#[test]
fn a_core_held_all_round_is_sheared_as_elements_say() {
    const STONE: [f64; 2] = [18e-6, 12e-6];
    const METAL: [f64; 2] = [12e-6, 18e-6];
    for (r, big, e, alpha) in [
        (30.0, 34.0, [17e9, 210e9], STONE),
        (10.0, 14.0, [30e9, 70e9], STONE),
        (20.0, 30.0, [3e9, 210e9], STONE),
        (50.0, 53.0, [17e9, 70e9], STONE),
        (10.0, 40.0, [210e9, 17e9], METAL),
        (5.0, 50.0, [70e9, 30e9], METAL),
        (15.0, 30.0, [70e9, 30e9], METAL),
    ] {
        let bar = Bar { r: r * 1e-3, big: big * 1e-3, e, alpha };
        let ([shear, _], found) = (by_elements(&bar), by_formula(&bar));
        let part = found / shear;
        assert!((0.95..1.2).contains(&part), "{r} {big} {e:?}: {found} {shear}");
    }
}

#[test]
fn the_force_far_from_the_ends_is_that_of_a_cylinder_in_a_ring() {
    let bar = Bar { r: 0.02, big: 0.03, e: [17e9, 210e9], alpha: [18e-6, 12e-6] };
    let [_, force] = by_elements(&bar);
    approx::assert_relative_eq!(force, held(&bar).1, max_relative = 2e-3);
}
