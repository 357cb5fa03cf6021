//! A filled tube from Rust: what the fill adds to its stiffness, its mass and its damping.
//!
//! `cargo run --release --example section`

use stillbed::material::{Medium, Role};
use stillbed::section::{Geometry, Part, SectionFault, Shape};

fn main() -> Result<(), SectionFault> {
    let steel = Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.0005);
    let fill = Medium::isotropic("epoxy granite", Role::Fill, 30e9, 0.25, 2300.0, 0.02);
    let tube = Shape::Tube { width: 0.06, height: 0.04, wall: 0.003, radius: None };
    let core = Shape::Rectangle { width: 0.06, height: 0.04 };
    let hollow = Geometry::new(vec![Part::new(tube.clone(), 0)])?.solve(std::slice::from_ref(&steel), 1.0)?;
    // A later part displaces what it overlaps: the tube stands in the fill.
    let parts = vec![Part::new(core, 1), Part::new(tube, 0)];
    let filled = Geometry::new(parts)?.solve(&[steel, fill], 1.0)?;
    for (name, section) in [("hollow", &hollow), ("filled", &filled)] {
        let bending = section.as_stated.matrix[(4, 4)];
        println!(
            "{name}: EI {:5.2} kN m2, {:4.1} kg/m, loss factor in bending {:.4}",
            1e-3 * bending.re,
            section.mass[(0, 0)],
            bending.im / bending.re
        );
    }
    Ok(())
}
