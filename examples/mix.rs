//! The table of materials from Rust: what a fill is known to be, with its spread.
//!
//! `cargo run --release --example mix`

use stillbed::material::{Property, Table};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let table = Table::built_in();
    for name in ["epoxy granite", "polymer concrete", "structural steel"] {
        let material = table.get(name).ok_or("not in the table")?;
        for property in [Property::YoungsModulus, Property::LossFactor] {
            if let Some(spread) = material.figure(property).map(|figure| figure.spread) {
                let (value, low, high) = (spread.value, spread.low, spread.high);
                println!("{name}: {} {value:.4e} ({low:.4e} to {high:.4e})", property.name());
            }
        }
    }
    Ok(())
}
