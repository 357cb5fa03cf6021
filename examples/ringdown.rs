//! A decay from Rust: one mass on one spring is tapped; how long until it is still?
//!
//! `cargo run --release --example ringdown`

use stillbed::response::modal::{ModalMode, ModalModel};
use stillbed::response::settle::FreeDecay;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    // 1 kg on 1 N/um, tapped with 0.1 N s.
    for loss_factor in [0.002, 0.02] {
        let model = ModalModel::complete(vec![ModalMode::real(1000.0, loss_factor, &[1.0])], 1)?;
        let decay = FreeDecay::after_impulse(&model, 0, &[0], 0.1);
        for time in [0.0, 0.1, 0.5, 1.0] {
            println!("loss factor {loss_factor}: after {time:.1} s {:8.3} um", 1e6 * decay.envelope(time));
        }
    }
    Ok(())
}
