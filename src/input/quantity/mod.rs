//! Quantities written as text: reading them in SI, their spread, showing them.
//!
//! Every `f64` outside this folder is in coherent SI units. A quantity is written with its unit; only
//! counts and ratios have none. A decimal comma is refused, since the comma separates the items of a
//! list.
//!
//! ```text
//! kind       what a quantity measures: its dimension, its name in messages, the units it is shown in
//! unit       a unit such as `kN m/rad` to its factor and dimension
//! text       a text to numbers: a single quantity, a list, a size, a range, a ratio
//! pattern    regular expressions of these texts, for a schema
//! amplitude  a loss factor that depends on the amplitude of motion
//! ```
//!
//! ```
//! use stillbed_input::quantity::{Kind, list, show, single, size};
//!
//! assert_eq!(single("210 GPa", Kind::Stress).unwrap(), 210e9);
//! assert_eq!(list("0, 0, 600 mm", Kind::Length, 3).unwrap(), [0.0, 0.0, 0.6]);
//! assert_eq!(size("2 x 1/2 in", Kind::Length, 2).unwrap(), [0.0508, 0.0127]);
//! assert_eq!(show(0.0031, Kind::Length), "3.1 mm");
//! // A number alone is refused: its unit is not guessed.
//! assert!(single("210", Kind::Stress).is_err());
//! ```

mod amplitude;
mod kind;
pub mod pattern;
mod text;
mod unit;

pub use amplitude::{AmplitudeLoss, Loss, LossAt};
pub use kind::{Kind, figures, show, show_apart, show_digits};
pub use text::{Fault, beyond, example, is_served, list, range, ratio, single, size};
pub use unit::{Dimension, GRAVITY, Unit};

use serde::Serialize;

/// A value with its 5 % and 95 % limits, in coherent SI.
///
/// ```
/// use stillbed_input::quantity::{Draw, Spread};
///
/// let mut stiffness = Spread::between(8e6, 5e6, 12e6);
/// assert_eq!(stiffness.at(&Draw::default()), 8e6);
/// stiffness.index = Some(0);
/// assert_eq!(stiffness.at(&Draw { values: vec![6e6] }), 6e6);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// The value to compute with.
    pub value: f64,
    /// 5 % limit: the quantity is smaller in 5 % of the cases.
    pub low: f64,
    /// 95 % limit: the quantity is larger in 5 % of the cases.
    pub high: f64,
    /// Median; only for results of a Monte Carlo study.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median: Option<f64>,
    /// Index of this quantity in a [`Draw`], assigned when the design is read.
    #[serde(skip)]
    pub index: Option<usize>,
    /// True where no limits were stated and the usual ones of its class stand in.
    #[serde(skip)]
    pub guess: bool,
    /// True where the design says `exact = true`: nothing may change the value.
    #[serde(skip)]
    pub stated_exact: bool,
}

impl Spread {
    /// A value without spread.
    pub fn exact(value: f64) -> Spread {
        Spread::between(value, value, value)
    }

    /// A value with its 5 % and 95 % limits.
    pub fn between(value: f64, low: f64, high: f64) -> Spread {
        Spread { value, low, high, median: None, index: None, guess: false, stated_exact: false }
    }

    /// True when both limits are equal.
    pub fn is_exact(&self) -> bool {
        self.low == self.high
    }

    /// Its value in `draw`.
    pub fn at(&self, draw: &Draw) -> f64 {
        self.index.and_then(|i| draw.values.get(i).copied()).unwrap_or(self.value)
    }
}

impl From<f64> for Spread {
    fn from(value: f64) -> Spread {
        Spread::exact(value)
    }
}

/// One sample of all uncertain quantities of a design; the default one has every quantity at its nominal
/// value.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Draw {
    /// Indexed by [`Spread::index`]; quantities beyond the end keep their nominal value.
    pub values: Vec<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_draw_replaces_only_what_has_a_place_in_it() {
        let draw = Draw { values: vec![5.0] };
        let mut spread = Spread::between(1.0, 0.5, 2.0);
        assert_eq!(spread.at(&draw), 1.0);
        spread.index = Some(0);
        assert_eq!(spread.at(&draw), 5.0);
        assert_eq!(spread.at(&Draw::default()), 1.0);
    }
}
