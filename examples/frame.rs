//! A frame from Rust, without a design file: frequencies, loss factors, and what gives way.
//!
//! `cargo run --release --example frame`

use stillbed::frame::{Anchor, Frame, Mass, Member, MemberSection, Plain, Point};
use stillbed::material::Role;
use stillbed::modes::{Asked, BuildModes, Statics, solve};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (e, g, rho, side) = (210e9, 80e9, 7850.0, 0.03_f64);
    let (area, i) = (side.powi(2), side.powi(4) / 12.0);
    let bar = Plain {
        ea: e * area,
        ga: [g * area * 5.0 / 6.0; 2],
        gj: g * 0.1406 * side.powi(4),
        ei: [e * i; 2],
        rho_a: rho * area,
        rho_i: [rho * i; 2],
        loss_factor: 0.001,
    };
    let frame = Frame {
        points: vec![
            Point::new("foot", [0.0, 0.0, 0.0]),
            Point::new("shoulder", [0.0, 0.0, 0.4]),
            Point::new("head", [0.25, 0.0, 0.4]),
        ],
        sections: vec![MemberSection::plain("bar", "steel", Role::Skeleton, &bar)],
        members: vec![Member::new("column", 0, 1, 0), Member::new("arm", 1, 2, 0)],
        masses: vec![Mass {
            name: "motor".into(),
            at: 2,
            mass: 2.0,
            offset: [0.0; 3].into(),
            inertia: [0.0; 3].into(),
        }],
        anchors: vec![Anchor { name: "floor".into(), at: vec![0], hold: [true; 6] }],
        ..Frame::default()
    };
    let spectrum = solve(&frame, &Asked { count: 4, ..Asked::default() })?;
    for mode in BuildModes::compute("post and arm", &frame, &spectrum)?.modes {
        println!("{:6.1} Hz, loss factor {:.4}", mode.frequency_hz, mode.loss_factor);
    }
    let stiffness = Statics::factor(&frame)?.stiffness(2, None)?;
    println!("the head gives way with {:.2} N/um where it is weakest", 1e-6 * stiffness.weakest);
    Ok(())
}
