//! Draws of all uncertain quantities: a Latin hypercube.
//!
//! The probabilities from 0 to 1 of each quantity are divided into as many equal intervals as there are
//! draws; each interval is used once, at a random place in it, in random order. The random numbers come from
//! the ChaCha stream cipher of 8 rounds, a fixed sequence for a seed. Each quantity has its own stream, and
//! the shuffle is written out here, so that a seed gives the same draws on every machine and with every later
//! version.
//!
//! # Source
//! - `mckay1979`: sec. 2.1, Latin hypercube sampling
//! - `bernstein2008`: the stream cipher

use super::law::value_at;
use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};
use stillbed_input::document::Uncertain;
use stillbed_input::quantity::Draw;

/// `count` draws of all quantities in `uncertain`; each value stands at the index of its quantity.
#[must_use]
pub fn latin_hypercube(uncertain: &[Uncertain], count: usize, seed: u64) -> Vec<Draw> {
    let mut draws = vec![Draw { values: Vec::with_capacity(uncertain.len()) }; count];
    for (place, quantity) in uncertain.iter().enumerate() {
        for (draw, chance) in draws.iter_mut().zip(chances(count, seed, place as u64)) {
            draw.values.push(value_at(quantity, chance));
        }
    }
    draws
}

/// One probability in each of `count` equal intervals, in random order.
fn chances(count: usize, seed: u64, stream: u64) -> Vec<f64> {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    let mut random = ChaCha8Rng::from_seed(key);
    random.set_stream(stream);
    let mut chances: Vec<f64> =
        (0..count).map(|part| (part as f64 + unit(random.next_u64())) / count as f64).collect();
    for last in (1..count).rev() {
        let other = (u128::from(random.next_u64()) * (last as u128 + 1)) >> 64;
        chances.swap(last, other as usize);
    }
    chances
}

/// A number between 0 and 1, neither included, from the upper 53 bits.
fn unit(bits: u64) -> f64 {
    ((bits >> 11) as f64 + 0.5) / (1u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use stillbed_input::document::Law;
    use stillbed_input::quantity::Spread;

    #[test]
    fn a_seed_gives_the_same_draws_for_ever() {
        // From an independent implementation of the cipher and the shuffle in another language.
        let first = chances(4, 1, 0);
        let recorded = [0.699563561845399, 0.3237318314454187, 0.09537235330956527, 0.9790383049349007];
        for (found, value) in first.iter().zip(recorded) {
            approx::assert_relative_eq!(*found, value, max_relative = 1e-12);
        }
        assert_ne!(chances(4, 2, 0), first);
        assert_ne!(chances(4, 1, 1), first);
    }

    #[test]
    fn a_further_quantity_leaves_the_others_alone() {
        let spread = Spread::between(1.0, 0.5, 2.0);
        let one = Uncertain {
            key: "a".into(),
            spread,
            kind: stillbed_input::quantity::Kind::Ratio,
            law: Law::LogNormal,
        };
        let fewer = latin_hypercube(std::slice::from_ref(&one), 20, 5);
        let more = latin_hypercube(&[one.clone(), one], 20, 5);
        assert!(fewer.iter().zip(&more).all(|(f, m)| f.values[0] == m.values[0]));
        assert!(more.iter().any(|m| m.values[0] != m.values[1]));
        assert!(latin_hypercube(&[], 3, 5).iter().all(|d| d.values.is_empty()));
        assert!(latin_hypercube(&[], 0, 5).is_empty());
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn each_part_is_used_once(count in 1..300usize, seed: u64, stream in 0..50u64) {
            let mut parts: Vec<usize> =
                chances(count, seed, stream).iter().map(|c| (c * count as f64) as usize).collect();
            parts.sort_unstable();
            prop_assert_eq!(parts, (0..count).collect::<Vec<_>>());
        }
    }

    #[test]
    fn two_quantities_are_hardly_related() {
        let (a, b) = (chances(400, 11, 0), chances(400, 11, 1));
        let covariance: f64 = a.iter().zip(&b).map(|(x, y)| (x - 0.5) * (y - 0.5)).sum::<f64>() / 400.0;
        assert!((12.0 * covariance).abs() < 0.15, "{}", 12.0 * covariance);
    }
}
