//! The lowest modes of a stiffness and a mass matrix in the Matrix Market exchange format.
//!
//! ```text
//! cargo run --release -p stillbed-eigen --example matrix_market -- stiffness.mtx mass.mtx 6
//! ```
//!
//! Without files, it takes the chain of masses beside this file: a hundred of 1 kg, joined by springs of 1 N/m, the
//! first held to the ground by one more.

use nalgebra_sparse::io::load_coo_from_matrix_market_str;
use std::error::Error;
use std::f64::consts::TAU;
use std::fmt::Write;
use stillbed_eigen::{MatrixPair, Method, Settings, Sparse, lowest};

const STIFFNESS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/chain-stiffness.mtx");
const MASS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/chain-mass.mtx");

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (stiffness, mass, count) = match arguments.as_slice() {
        [] => (STIFFNESS, MASS, 4),
        [stiffness, mass, count] => (stiffness.as_str(), mass.as_str(), count.parse()?),
        _ => return Err("give a stiffness file, a mass file and how many modes; or nothing".into()),
    };
    print!("{}", answer(&read(stiffness)?, &read(mass)?, count)?);
    Ok(())
}

/// The matrix in the file at `path`.
fn read(path: &str) -> Result<Sparse, Box<dyn Error>> {
    let text = std::fs::read_to_string(path).map_err(|fault| format!("{path}: {fault}"))?;
    matrix(&text).map_err(|fault| format!("{path}: {fault}").into())
}

/// The matrix that `text` states; of one that is said to be symmetric only the lower triangle is stated.
fn matrix(text: &str) -> Result<Sparse, Box<dyn Error>> {
    let stated = load_coo_from_matrix_market_str::<f64>(text)?;
    if stated.nrows() != stated.ncols() {
        return Err(
            format!("{} rows and {} columns; it must be square", stated.nrows(), stated.ncols()).into()
        );
    }
    let entries: Vec<_> = stated.triplet_iter().map(|(row, column, value)| (row, column, *value)).collect();
    Ok(Sparse::from_triplets(stated.nrows(), &entries)?)
}

/// The lowest `count` modes, one a line, and the proof that none below the last is missing.
fn answer(stiffness: &Sparse, mass: &Sparse, count: usize) -> Result<String, Box<dyn Error>> {
    let found = lowest(&MatrixPair::new(stiffness, mass), count, &Settings::default())?;
    let mut said = String::from("mode  omega^2 (rad/s)^2  frequency Hz\n");
    for (mode, square) in found.omega_squared.iter().enumerate() {
        writeln!(said, "{:4}  {square:17.9e}  {:12.6e}", mode + 1, square.max(0.0).sqrt() / TAU)?;
    }
    let (below, at) = (found.counted_below, found.counted_at);
    let proof = match found.method {
        Method::Sparse => "by the inertia of K - s M",
        Method::Dense => "in the whole spectrum",
    };
    writeln!(said, "{below} modes lie below s = {at:.9e} (rad/s)^2 {proof}; all were found")?;
    Ok(said)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn the_chain_has_the_frequencies_of_the_closed_form() {
        let said = answer(&read(STIFFNESS).unwrap(), &read(MASS).unwrap(), 4).unwrap();
        let lines: Vec<&str> = said.lines().collect();
        for (mode, line) in lines[1..5].iter().enumerate() {
            let square: f64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
            let exact = 4.0 * ((2 * mode + 1) as f64 * PI / 402.0).sin().powi(2);
            assert!((square / exact - 1.0).abs() < 1e-8, "{line}");
        }
        assert!(lines[5].starts_with("4 modes lie below s = "), "{}", lines[5]);
        assert!(lines[5].ends_with("by the inertia of K - s M; all were found"), "{}", lines[5]);
    }

    #[test]
    fn bad_lines_are_refused() {
        let head = "%%MatrixMarket matrix coordinate real symmetric\n2 2 2\n1 1 4.0\n";
        let said = |line: &str| matrix(&format!("{head}{line}\n")).err().unwrap().to_string();
        assert!(said("2 2 stiff").contains("4:"), "{}", said("2 2 stiff"));
        assert!(said("3 3 1.0").contains("out of bounds"), "{}", said("3 3 1.0"));
        assert!(matrix("%%MatrixMarket matrix coordinate real general\n1 2 1\n1 1 1.0\n").is_err());
    }
}
