//! The usual spread of the stiffness and loss of joints and feet, and of bonds, stated without one.
//!
//! Such a value is a guess: nobody knows the stiffness of a bolted corner to three figures. It takes the
//! 5 % and 95 % limits of its class from `data/guesses.csv`, as factors of the stated value:
//!
//! ```text
//! class,quantity,low,high,most,source,note
//! ```
//!
//! Zero gets no spread, since it is meant: a free spring, sliding parts, a loss left out. Neither does a
//! bond of 1, a solid body. With `exact = true` any other value gets none either.
//!
//! # Source
//! - `ito2008`: tables 6-2 and 6-5, the coefficients of flat joints; what limits follow is common practice

use crate::quantity::Spread;
use std::sync::LazyLock;

const BUILT_IN: &str = include_str!("../../../data/guesses.csv");

/// The class of quantity that was guessed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// A spring of a joint.
    JointStiffness,
    /// The loss factor of a joint.
    JointLoss,
    /// A spring of a foot.
    FootStiffness,
    /// The loss factor of a foot.
    FootLoss,
    /// How far the parts of a section act together, from 0 to 1.
    Bond,
}

/// The usual limits of a class.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// 5 % limit over the stated value.
    pub low: f64,
    /// 95 % limit over the stated value.
    pub high: f64,
    /// Largest possible value of the class; infinite where there is none.
    pub most: f64,
    /// Keys of the sources, or "common practice".
    pub source: String,
}

impl Class {
    /// Every class.
    pub const ALL: [Class; 5] =
        [Class::JointStiffness, Class::JointLoss, Class::FootStiffness, Class::FootLoss, Class::Bond];

    /// Its name in messages and in the table.
    pub fn title(self) -> &'static str {
        match self {
            Class::JointStiffness => "joint stiffness",
            Class::JointLoss => "joint loss",
            Class::FootStiffness => "foot stiffness",
            Class::FootLoss => "foot loss",
            Class::Bond => "bond",
        }
    }
}

impl Usual {
    /// The usual limits of `class`; without a readable row in the table, no spread.
    pub fn of(class: Class) -> &'static Usual {
        static ALL: LazyLock<[Usual; Class::ALL.len()]> = LazyLock::new(|| Class::ALL.map(Usual::read));
        &ALL[class as usize]
    }

    fn read(class: Class) -> Usual {
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(BUILT_IN.as_bytes());
        let read = |row: csv::StringRecord| {
            let cell = |i: usize| row.get(i).unwrap_or_default();
            let own = format!("{} {}", cell(0), cell(1)).trim() == class.title();
            let most = if cell(4).is_empty() { Some(f64::INFINITY) } else { cell(4).parse().ok() };
            own.then_some(())?;
            Some(Usual {
                low: cell(2).parse().ok()?,
                high: cell(3).parse().ok()?,
                most: most?,
                source: cell(5).to_string(),
            })
        };
        let found = reader.records().filter_map(Result::ok).find_map(read);
        found.unwrap_or(Usual { low: 1.0, high: 1.0, most: f64::INFINITY, source: String::new() })
    }

    /// `value` with its usual limits; exact where it is 0 or the largest possible.
    ///
    /// By hand: a bond of 0.9 lies between 0.6 and 1.
    pub fn about(&self, value: f64) -> Spread {
        if value == 0.0 || value >= self.most || self.low == self.high {
            return Spread::exact(value);
        }
        let spread = Spread::between(value, self.low * value, (self.high * value).min(self.most));
        Spread { guess: true, ..spread }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_has_a_row_that_spreads_both_ways() {
        for class in Class::ALL {
            let usual = Usual::of(class);
            assert!(usual.low > 0.0 && usual.low < 1.0 && usual.high > 1.0, "{class:?} {usual:?}");
            assert!(!usual.source.is_empty() && usual.most > 0.9);
        }
        assert_eq!(BUILT_IN.lines().count(), 1 + Class::ALL.len());
    }

    #[test]
    fn zero_and_the_most_stay_as_they_are() {
        let bond = Usual::of(Class::Bond);
        assert!(bond.about(0.0).is_exact() && bond.about(1.0).is_exact());
        let guess = bond.about(0.9);
        approx::assert_relative_eq!(guess.low, 0.6, max_relative = 1e-3);
        assert_eq!((guess.high, guess.guess), (1.0, true));
        assert!(Usual::of(Class::JointStiffness).about(0.0).is_exact());
    }

    #[test]
    fn a_joint_is_spread_no_wider_than_printed_ones_lie_apart() {
        // Table 6-5 of ito2008: coefficients of ground joints of one kind differ by up to 11 to 1.
        let usual = Usual::of(Class::JointStiffness);
        assert!(usual.high / usual.low <= 11.0);
    }
}
