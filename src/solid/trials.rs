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

/// Triangles between an outline at x = 0 and the same at x = `length`; the outline runs counterclockwise in y and z and
/// is seen whole from its first corner.
fn extruded(outline: &[[f64; 2]], length: f64) -> Vec<Triangle> {
    let at = |x: f64, i: usize| [x, outline[i % outline.len()][0], outline[i % outline.len()][1]];
    let mut triangles = Vec::new();
    for i in 0..outline.len() {
        let (a, b, c, d) = (at(0.0, i), at(0.0, i + 1), at(length, i + 1), at(length, i));
        triangles.extend([[a, b, c], [a, c, d]]);
    }
    for i in 1..outline.len() - 1 {
        triangles.push([at(0.0, 0), at(0.0, i + 1), at(0.0, i)]);
        triangles.push([at(length, 0), at(length, i), at(length, i + 1)]);
    }
    triangles
}

fn drawn(triangles: &[Triangle]) -> Part {
    let surface = std::sync::Arc::new(ClosedSurface::new(triangles).unwrap());
    Part::bounded(surface, [0.0; 3], &nalgebra::Matrix3::identity(), Some(0))
}

/// The frequencies of `part` on the coarser grid against those of `same`, the largest part by which they differ.
fn apart(part: &Part, same: &Part) -> f64 {
    let on_grid = |part: &Part| part.turned(&best_axes(std::slice::from_ref(part)));
    let [one, other] = [part, same].map(|part| free_modes(&[on_grid(part)], &[steel()], 8)[0].clone());
    one.iter().zip(&other).map(|(one, other)| (one / other - 1.0).abs()).fold(0.0, f64::max)
}

#[test]
fn a_box_of_triangles_is_a_box_however_it_is_turned() {
    let rectangle = [[0.0, 0.0], [0.4, 0.0], [0.4, 0.1], [0.0, 0.1]];
    let triangles = extruded(&rectangle, 0.6);
    let same = Part::cuboid([0.6, 0.4, 0.1], [0.3, 0.2, 0.05], Some(0));
    assert!(apart(&drawn(&triangles), &same) < 1e-9);
    // Turned in the file, and turned as a part.
    let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
    let of_file: Vec<Triangle> =
        triangles.iter().map(|t| t.map(|corner| (turn * Vector3::from(corner)).into())).collect();
    assert!(apart(&drawn(&of_file), &same) < 1e-9);
    assert!(apart(&drawn(&triangles).turned(&turn), &same) < 1e-9);
    // In single precision, as binary files have it.
    let single: Vec<Triangle> = of_file.iter().map(|t| t.map(|c| c.map(|x| f64::from(x as f32)))).collect();
    assert!(apart(&drawn(&single), &same) < 1e-6);
}

#[test]
fn a_block_with_an_oblique_face_of_triangles_is_a_prism() {
    let outline = [[0.0, 0.0], [0.2, 0.0], [0.2, 0.06], [0.12, 0.14], [0.0, 0.14]];
    let rings = vec![Ring::Polygon(outline.to_vec())];
    let middle = Vector3::new(0.25, 0.0, 0.0);
    let same = Part { rings, middle, ..Part::cuboid([0.5, 0.0, 0.0], [0.0; 3], Some(0)) };
    let off = apart(&drawn(&extruded(&outline, 0.5)), &same);
    assert!(off < 2e-3, "{off}");
}

#[test]
fn a_cylinder_of_many_facets_is_a_cylinder() {
    // Of the same area as the circle.
    let angle = TAU / 96.0;
    let radius = 0.05 * (angle / angle.sin()).sqrt();
    let outline: Vec<[f64; 2]> = (0..96)
        .map(|i| (angle * (f64::from(i) + 0.3)).sin_cos())
        .map(|(s, c)| [radius * c, radius * s])
        .collect();
    let same = Part::cylinder(0.1, 0.2, Vector3::x(), [0.1, 0.0, 0.0], Some(0));
    let off = apart(&drawn(&extruded(&outline, 0.2)), &same);
    assert!(off < 3e-3, "{off}");
}

/// The triangles of a sphere about the origin, an octahedron whose faces are divided `by` times along each edge, with
/// the volume of the ball of this radius.
fn ball(radius: f64, by: usize) -> Vec<Triangle> {
    let mut triangles = Vec::new();
    for octant in 0..8 {
        let sign = [0, 1, 2].map(|axis| if octant >> axis & 1 == 1 { -1.0 } else { 1.0 });
        let corner = |i: usize, j: usize| {
            let flat = [i as f64 * sign[0], j as f64 * sign[1], (by - i - j) as f64 * sign[2]];
            Vector3::from(flat).normalize()
        };
        for i in 0..by {
            for j in 0..by - i {
                triangles.push([corner(i, j), corner(i + 1, j), corner(i, j + 1)]);
                if i + j + 2 <= by {
                    triangles.push([corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)]);
                }
            }
        }
    }
    let volume = |[a, b, c]: &[Vector3<f64>; 3]| a.dot(&b.cross(c)) / 6.0;
    let whole: f64 = triangles.iter().map(|own| volume(own).abs()).sum();
    let scale = radius * (2.0 / 3.0 * TAU / whole).cbrt();
    let outwards = |own: &[Vector3<f64>; 3]| if volume(own) < 0.0 { [own[1], own[0], own[2]] } else { *own };
    triangles.iter().map(|own| outwards(own).map(|corner| (corner * scale).into())).collect()
}

/// # Source
/// - `lamb1882`: roots of his equations, torsional of degree 2 and spheroidal of degree 2 at ν = 0.3, G = ρ = a = 1
#[test]
fn a_ball_of_triangles_rings_as_a_sphere() {
    let known = [[2.501_132_62; 5], [2.646_217_035; 5]].concat();
    holds(&[drawn(&ball(1.0, 24))], &[unit()], &known, 2e-3);
}

#[test]
fn a_small_ball_in_a_large_slab_keeps_its_volume() {
    let mut dome = drawn(&ball(0.06, 24));
    dome.middle = Vector3::new(0.15, 0.05, 0.05);
    let mesh = fit(&[block([0.6, 0.4, 0.1]), dome], &[const { Vec::new() }; 3], 0).unwrap();
    let volume: f64 = mesh.cells.iter().map(|cell| mesh.volumes(cell, 1)[0]).sum();
    let own = TAU / 3.0 * 0.06_f64.powi(3);
    let off = (volume - 0.6 * 0.4 * 0.1) / own - 1.0;
    assert!(off.abs() < 0.01, "{off}");
}

/// Turns about z, y and x, rad.
const LEANINGS: [[f64; 3]; 4] = [[0.3, 0.2, 0.1], [0.9, 0.5, 0.4], [1.1, 0.8, 0.2], [0.7, 0.1, 0.9]];

#[test]
fn a_bar_that_leans_has_its_own_modes_and_no_others() {
    let turns = LEANINGS.map(|[z, y, x]| *nalgebra::Rotation3::from_euler_angles(x, y, z).matrix());
    // The edges of a bar, at which faces are taken one by one, take a little from its torsion. A tube bends as it
    // should; its cross-section, which its third mode distorts, is held by cells as large as itself.
    for (length, side, wall, count, off) in [
        (0.32, 0.02, 0.01, 4, -4e-3..2.5e-3),
        (0.2, 0.035, 0.0175, 4, -4e-3..2.5e-3),
        (0.4, 0.04, 0.003, 2, 0.0..1.3e-2),
    ] {
        let bar = Part { material: Some(0), ..tube(length, side, wall, 0.0) };
        let [_, straight] = free_modes(std::slice::from_ref(&bar), &[steel()], count);
        for turn in &turns {
            for modes in free_modes(&[bar.turned(turn)], &[steel()], count) {
                for (leaning, straight) in modes.iter().zip(&straight) {
                    assert!(off.contains(&(leaning / straight - 1.0)), "{side} {turn}: {leaning} {straight}");
                }
            }
        }
    }
}
