//! Lengths as the design file writes them.

use stillbed_input::quantity::figures;

/// Lengths in metres as the design file writes them: `60 x 40 x 3 mm` with ` x ` between.
pub fn written(lengths: &[f64], between: &str) -> String {
    let numbers: Vec<String> = lengths.iter().map(|x| millimetres(*x)).collect();
    format!("{} mm", numbers.join(between))
}

/// Rounded to a millionth of a millimetre, which removes the rounding errors of steps between limits.
fn millimetres(length: f64) -> String {
    let rounded = (length * 1e9).round() / 1e6;
    figures(rounded + 0.0, 9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_written_without_the_rounding_of_their_steps() {
        assert_eq!(written(&[0.06, 0.04, 0.003], " x "), "60 x 40 x 3 mm");
        assert_eq!(written(&[0.0, 0.1 * 0.3], ", "), "0, 30 mm");
    }
}
