//! Bodies with known frequencies.

use super::*;
use nalgebra::Vector3;
use std::f64::consts::TAU;
use stillbed_eigen::{Settings, lowest};

/// ω of the elastic modes of a free body on the coarser grid and on the finer one.
fn free_modes(parts: &[Part], materials: &[Elastic], count: usize) -> [Vec<f64>; 2] {
    [0, 1].map(|finer| {
        let mesh = fit(parts, &[const { Vec::new() }; 3], finer).unwrap();
        let matrices = Assembly::new(&mesh).matrices(materials, &vec![false; 3 * mesh.nodes()]);
        let found = lowest(&matrices.pair(), count + 6, &Settings::default()).unwrap();
        // Nothing holds it: six modes without stiffness.
        assert!(found.omega_squared[..6].iter().all(|square| square.abs() < 1e-6 * found.omega_squared[6]));
        found.omega_squared[6..].iter().map(|square| square.sqrt()).collect()
    })
}

/// Holds the finer grid to `known` within `off`, and to the difference between the grids, which states the error.
fn holds(parts: &[Part], materials: &[Elastic], known: &[f64], off: f64) {
    let [coarse, fine] = free_modes(parts, materials, known.len());
    for ((coarse, fine), known) in coarse.iter().zip(&fine).zip(known) {
        let error = (fine / known - 1.0).abs();
        assert!(error < off, "{fine} against {known}: {error}");
        assert!(error < (coarse / fine - 1.0).abs() + 1e-3, "{coarse}, {fine} against {known}");
    }
}

fn hertz<const N: usize>(known: [f64; N]) -> [f64; N] {
    known.map(|f| TAU * f)
}

/// G = 1 and a density of 1, ν = 0.3.
fn unit() -> Elastic {
    Elastic::isotropic(2.6, 0.3, 1.0)
}

fn steel() -> Elastic {
    Elastic::isotropic(210e9, 0.3, 7850.0)
}

fn block(sizes: [f64; 3]) -> Part {
    Part::cuboid(sizes, [0.0; 3], Some(0))
}

fn tube(length: f64, side: f64, wall: f64, y: f64) -> Part {
    let rings = vec![Ring::rectangle(side, side), Ring::rectangle(side - 2.0 * wall, side - 2.0 * wall)];
    Part { rings, ..Part::cuboid([length, 0.0, 0.0], [0.0, y, 0.0], Some(1)) }
}

/// # Source
/// - `visscher1991`: the method by which the values were computed, in Legendre polynomials of degree 22
#[test]
fn free_blocks_have_their_frequencies_and_pairs() {
    let cube = [2.856045, 2.856045, 3.845971, 3.845971, 3.845971, 3.91125];
    holds(&[block([1.0; 3])], &[unit()], &cube, 2e-3);
    let plate = [0.062082, 0.09248824, 0.1139113, 0.155921, 0.155921, 0.2707602, 0.2707602];
    holds(&[block([10.0, 10.0, 1.0])], &[unit()], &plate, 1e-3);
    let slab = hertz([1071.96, 1191.16, 2283.02, 2516.5, 2787.13, 2815.03, 3154.21]);
    holds(&[block([0.6, 0.4, 0.1])], &[Elastic::isotropic(60e9, 0.25, 2900.0)], &slab, 3e-4);
}

#[test]
fn a_turned_block_answers_as_it_does_along_the_axes() {
    let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
    let turned = block([0.6, 0.4, 0.1]).turned(&turn);
    let parts = [turned.turned(&best_axes(std::slice::from_ref(&turned)))];
    let [straight, back] =
        [&[block([0.6, 0.4, 0.1])], &parts].map(|parts| free_modes(parts, &[steel()], 4)[0].clone());
    for (one, other) in straight.iter().zip(&back) {
        assert!((one / other - 1.0).abs() < 1e-6, "{one} {other}");
    }
}

#[test]
fn a_cylinder_is_cut_from_its_grid() {
    // By circumferential order: the lowest of 0 (torsion: π a / L), of 1 and of 2, D = L.
    let round = Part::cylinder(2.0, 2.0, Vector3::z(), [0.0; 3], Some(0));
    let known = [std::f64::consts::FRAC_PI_2, 1.9784, 1.9784, 1.9938, 1.9938];
    holds(&[round], &[unit()], &known, 1e-3);
}

#[test]
fn metal_in_a_fill_is_right_to_a_thousandth() {
    let fill = Elastic::isotropic(30e9, 0.25, 2300.0);
    let parts = [block([0.5, 0.06, 0.06]), tube(0.5, 0.06, 0.003, 0.0)];
    let known = hertz([1207.62, 1207.62, 2624.4, 2988.85, 2988.85, 4366.74]);
    holds(&parts, &[fill, steel()], &known, 1.1e-3);
    let core = [block([0.5, 0.2, 0.2]), Part::cuboid([0.5, 0.1, 0.1], [0.0; 3], Some(1))];
    let known = hertz([2127.25, 2127.25, 2279.8, 4454.75, 4454.75, 4463.67]);
    holds(&core, &[fill, steel()], &known, 2e-3);
}

#[test]
fn four_tubes_in_a_slab_are_right_to_a_third_and_a_tenth_of_a_hundredth() {
    let mut parts = vec![block([0.5, 0.35, 0.12])];
    parts.extend([-0.12, -0.04, 0.04, 0.12].map(|y| tube(0.5, 0.04, 0.003, y)));
    let materials = [Elastic::isotropic(18e9, 0.25, 2250.0), steel()];
    // Two graded grids of order 4 agree on these to 0.001 %.
    let known = [1006.74, 1193.18, 2089.06, 2187.95, 2294.90, 2537.37];
    for (modes, off) in free_modes(&parts, &materials, known.len()).iter().zip([3.5e-3, 1.1e-3]) {
        for (omega, known) in modes.iter().zip(known) {
            let error = omega / TAU / known - 1.0;
            assert!((0.0..off).contains(&error), "{known}: {error}");
        }
    }
}
