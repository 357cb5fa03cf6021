//! Which taps ring as no stronger one does? A hand that thumps the table is no tap of the part.
//!
//! All taps of one part ring in the same modes, though each in another mixture. What is weaker than another tap and
//! rings almost wholly in lines that none of the stronger ones has is the ring of something else.
//!
//! ```text
//! energy of mode m after tap k:  e_mk = sum over the channels of |a|^2 / decay,   E_k = sum_m e_mk
//! k is stray:  sum of e_mk over the m with e_mj / E_j > HEARD e_mk / E_k of a stronger tap j  <  SHARED E_k
//! ```

use super::identify::Mode;

/// Share of a line in a stronger tap, over its share in a weaker one, from which both have it.
const HEARD: f64 = 0.003;
/// Share of its energy that a tap must have in common with stronger ones.
const SHARED: f64 = 0.3;

/// Those of the taps `used` that are not stray.
pub(super) fn without_stray(modes: &[Mode], used: &[usize]) -> Vec<usize> {
    let energy = |mode: &Mode, tap: usize| {
        let own = mode.starts.iter().filter(|start| start.0 == tap);
        own.map(|start| start.2.norm_sqr()).sum::<f64>() / mode.decay.abs().max(f64::MIN_POSITIVE)
    };
    let all = |tap: usize| modes.iter().map(|mode| energy(mode, tap)).sum::<f64>();
    let stays = |tap: &usize| {
        let own = all(*tap);
        let stronger: Vec<(usize, f64)> = used
            .iter()
            .map(|other| (*other, all(*other)))
            .filter(|(other, energy)| other != tap && *energy > own)
            .collect();
        let has = |mode: &Mode, (other, whole): &(usize, f64)| {
            energy(mode, *other) / whole > HEARD * energy(mode, *tap) / own
        };
        let heard = |mode: &&Mode| stronger.iter().any(|other| has(mode, other));
        let shared: f64 = modes.iter().filter(heard).map(|mode| energy(mode, *tap)).sum();
        stronger.is_empty() || shared >= SHARED * own
    };
    used.iter().copied().filter(stays).collect()
}

#[cfg(test)]
mod tests {
    use super::super::identify::clear_line;
    use super::*;
    use num_complex::Complex64;

    /// A line at 100 Hz and above with these amplitudes after tap 0, 1, ...
    fn line(frequency_hz: f64, amplitudes: &[f64]) -> Mode {
        let starts = amplitudes.iter().enumerate().map(|(tap, a)| (tap, 0, Complex64::from(*a)));
        Mode { starts: starts.collect(), ..clear_line(frequency_hz, 0.01, 1.0) }
    }

    #[test]
    fn a_thump_of_something_else_is_stray_and_a_tap_elsewhere_is_not() {
        let thump =
            [line(200.0, &[0.001, 1.0, 0.7]), line(300.0, &[0.0, 0.5, 0.5]), line(70.0, &[0.1, 0.001, 0.0])];
        assert_eq!(without_stray(&thump, &[0, 1, 2]), [1, 2]);
        // Tapped where the first mode stands nearly still.
        let elsewhere = [line(200.0, &[1.0, 0.05]), line(300.0, &[0.1, 0.5])];
        assert_eq!(without_stray(&elsewhere, &[0, 1]), [0, 1]);
        // The strongest stays, whatever rings after it.
        assert_eq!(without_stray(&[line(200.0, &[1.0, 0.0]), line(300.0, &[0.0, 0.5])], &[0, 1]), [0]);
    }
}
