//! A slab of stone from Rust: its lowest free modes as a solid, on two grids, and what they tell of the error.
//!
//! `cargo run --release --example body`

use stillbed::eigen::{Settings, lowest};
use stillbed::solid::{Assembly, Elastic, Part, fit};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let granite = Elastic::isotropic(60e9, 0.25, 2900.0);
    let slab = Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0));
    for finer in [0, 1] {
        let mesh = fit(std::slice::from_ref(&slab), &[const { Vec::new() }; 3], finer)?;
        let assembly = Assembly::new(&mesh);
        let matrices = assembly.matrices(&[granite], &vec![false; 3 * mesh.nodes()]);
        let found = lowest(&matrices.pair(), 6 + 4, &Settings::default())?;
        let hertz = found.omega_squared[6..].iter().map(|square| square.sqrt() / std::f64::consts::TAU);
        let hertz: Vec<String> = hertz.map(|f| format!("{f:.1}")).collect();
        println!("{} degrees of freedom: {} Hz", 3 * mesh.nodes(), hertz.join(", "));
    }
    Ok(())
}
