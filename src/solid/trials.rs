//! Bodies with known frequencies.

use super::*;
use nalgebra::Vector3;
use std::f64::consts::TAU;
use stillbed_eigen::{Settings, lowest};

/// ω of the elastic modes of a free body.
fn free_modes(mesh: &Mesh, materials: &[Elastic], count: usize) -> Vec<f64> {
    let t = std::time::Instant::now();
    let assembly = Assembly::new(mesh);
    let matrices = assembly.matrices(materials, &vec![false; 3 * mesh.nodes()]);
    let ta = t.elapsed();
    let pair = matrices.pair();
    let found = lowest(&pair, count + 6, &Settings::default()).unwrap();
    eprintln!(
        "  {} dofs, {} cells, nnz {}, assembly {:?}, all {:?}",
        matrices.group.len(),
        mesh.cells.len(),
        matrices.stiffness.values().len(),
        ta,
        t.elapsed()
    );
    found.omega_squared[6..].iter().map(|w| w.max(0.0).sqrt()).collect()
}

fn look(name: &str, parts: &[Part], materials: &[Elastic], known: &[f64], scale: f64) {
    for finer in [0, 1] {
        let mesh = fit(parts, &[const { Vec::new() }; 3], finer).unwrap();
        let found = free_modes(&mesh, materials, known.len());
        let errors: Vec<String> =
            found.iter().zip(known).map(|(f, k)| format!("{:.3}", 100.0 * (f * scale / k - 1.0))).collect();
        eprintln!("{name} {finer}: {} %", errors.join(" "));
    }
}

#[test]
fn look_at_all() {
    let unit = Elastic::isotropic(2.6, 0.3, 1.0);
    let cube = |e: [f64; 3]| vec![Part::cuboid(e, [0.0; 3], Some(0))];
    look("cube", &cube([1.0; 3]), &[unit], &[2.856045, 2.856045, 3.845971, 3.845971, 3.845971, 3.91125], 1.0);
    look(
        "plate",
        &cube([10.0, 10.0, 1.0]),
        &[unit],
        &[
            0.062082, 0.09248824, 0.1139113, 0.155921, 0.155921, 0.2707602, 0.2707602, 0.27237, 0.296472,
            0.331189,
        ],
        1.0,
    );
    look(
        "beam",
        &cube([10.0, 1.0, 1.0]),
        &[unit],
        &[0.1031, 0.1031, 0.2621942, 0.2621942, 0.288519, 0.4791012, 0.4791012, 0.5061895, 0.577006],
        1.0,
    );
    let hz = 1.0 / TAU;
    look(
        "slab",
        &cube([0.6, 0.4, 0.1]),
        &[Elastic::isotropic(60e9, 0.25, 2900.0)],
        &[1071.96, 1191.16, 2283.02, 2516.5, 2787.13, 2815.03, 3154.21, 3705.01, 3714.45, 3822.62],
        hz,
    );
    let round = |l| vec![Part::cylinder(2.0, l, Vector3::z(), [0.0; 3], Some(0))];
    look("cylinder h2a", &round(2.0), &[unit], &[1.5708, 1.9784, 1.9784, 1.9938, 1.9938], 1.0);
    look("disc", &round(0.2), &[unit], &[0.499514, 0.499514, 0.831403, 1.10641, 1.10641], 1.0);
    let steel = Elastic::isotropic(210e9, 0.3, 7850.0);
    let eg = Elastic::isotropic(30e9, 0.25, 2300.0);
    let core = vec![
        Part::cuboid([0.5, 0.2, 0.2], [0.0; 3], Some(0)),
        Part::cuboid([0.5, 0.1, 0.1], [0.0; 3], Some(1)),
    ];
    look(
        "throughcore",
        &core,
        &[eg, steel],
        &[2127.25, 2127.25, 2279.8, 4454.75, 4454.75, 4463.67, 4522.73, 6696.37, 6817.78, 6817.78],
        hz,
    );
    let emb = vec![Part::cuboid([0.2; 3], [0.0; 3], Some(0)), Part::cuboid([0.1; 3], [0.0; 3], Some(1))];
    look(
        "embedded",
        &emb,
        &[Elastic::isotropic(5e9, 0.35, 1200.0), steel],
        &[3349.256, 3349.256, 4325.0, 4325.0, 4325.0, 4348.0, 4348.0, 4348.0],
        hz,
    );
    let tube = |fill: bool| {
        let mut parts = vec![];
        if fill {
            parts.push(Part::cuboid([0.5, 0.06, 0.06], [0.0; 3], Some(0)));
        }
        parts.push(Part {
            rings: vec![Ring::rectangle(0.06, 0.06), Ring::rectangle(0.054, 0.054)],
            ..Part::cuboid([0.5, 0.0, 0.0], [0.0; 3], Some(1))
        });
        parts
    };
    look(
        "filledtube",
        &tube(true),
        &[eg, steel],
        &[1207.62, 1207.62, 2624.4, 2988.85, 2988.85, 4366.74, 5188.2, 5188.2, 5245.16, 7564.02],
        hz,
    );
    let mut slab = vec![Part::cuboid([0.5, 0.35, 0.12], [0.0; 3], Some(0))];
    for y in [-0.12, -0.04, 0.04, 0.12] {
        slab.push(Part {
            rings: vec![Ring::rectangle(0.04, 0.04), Ring::rectangle(0.034, 0.034)],
            ..Part::cuboid([0.5, 0.0, 0.0], [0.0, y, 0.0], Some(1))
        });
    }
    look(
        "skeleton slab",
        &slab,
        &[Elastic::isotropic(18e9, 0.25, 2250.0), steel],
        &[1006.74, 1193.18, 2089.06, 2187.95, 2294.90, 2537.37],
        hz,
    );
}
