//! How long a section takes: meshed once, then solved with other moduli.

use stillbed::material::{Medium, Role};
use stillbed::section::{Geometry, Part, Shape};

fn main() {
    divan::main();
}

fn rectangle(width: f64, height: f64, medium: usize) -> Part {
    Part::new(Shape::Rectangle { width, height }, medium)
}

fn tube(width: f64, height: f64, radius: Option<f64>) -> Part {
    Part::new(Shape::Tube { width, height, wall: 0.003, radius }, 0)
}

fn parts(name: &str) -> Vec<Part> {
    let conduit = Part::new(Shape::Round { diameter: 0.012 }, 0).at(0.0, -0.025).cavity();
    match name {
        "flat" => vec![rectangle(0.1, 0.003, 0)],
        "pipe" => vec![Part::new(Shape::Pipe { diameter: 0.06, wall: 0.003 }, 0)],
        "tube" => vec![tube(0.08, 0.04, Some(0.006))],
        "i shape" => vec![Part::new(
            Shape::IShape { width: 0.055, height: 0.1, web: 0.0041, flange: 0.0057, root_radius: 0.007 },
            0,
        )],
        "filled tube" => vec![rectangle(0.07, 0.035, 1), tube(0.08, 0.04, Some(0.006))],
        "tube and conduit in a cast" => {
            vec![rectangle(0.11, 0.08, 1), tube(0.05, 0.03, None).at(0.0, 0.01), conduit]
        }
        _ => vec![
            rectangle(0.11, 0.08, 1),
            rectangle(0.044, 0.024, 2).at(0.0, 0.01),
            tube(0.05, 0.03, None).at(0.0, 0.01),
        ],
    }
}

const SECTIONS: [&str; 7] =
    ["flat", "pipe", "tube", "i shape", "filled tube", "tube and conduit in a cast", "filled tube in a cast"];

fn media(modulus: f64) -> [Medium; 3] {
    [
        Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.001),
        Medium::isotropic("cast", Role::Fill, modulus, 0.25, 2300.0, 0.02),
        Medium::isotropic("resin", Role::Fill, 3e9, 0.35, 1300.0, 0.05),
    ]
}

#[divan::bench(args = SECTIONS)]
fn mesh(bencher: divan::Bencher, name: &str) {
    bencher.with_inputs(|| parts(name)).bench_values(Geometry::new);
}

#[divan::bench(args = SECTIONS)]
fn solve(bencher: divan::Bencher, name: &str) {
    let Ok(geometry) = Geometry::new(parts(name)) else { return };
    let mut modulus = 20e9;
    bencher.bench_local(|| {
        modulus *= 1.0001;
        geometry.solve(&media(modulus), 1.0)
    });
}
