//! Quantities of text: `"60 x 40 x 3 mm"` to metres, a value with its spread, values shown.
//!
//! Every `f64` beyond this file is coherent SI. A quantity is text with its unit; only counts
//! and ratios stand bare. A decimal comma is refused: the comma separates the items of a list.

mod amplitude;
mod kind;
pub mod pattern;
mod text;
mod unit;

pub use amplitude::{AmplitudeLoss, Loss, LossAt};
pub use kind::{Kind, figures, show, show_apart, show_digits};
pub use text::{Fault, beyond, example, is_served, list, range, ratio, single, size};
pub use unit::{Dimension, Unit};

use serde::Serialize;

/// A value with the 5 % and 95 % limits of what is known of it, all in coherent SI.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// The value to compute with.
    pub value: f64,
    /// 5 % of the cases lie below.
    pub low: f64,
    /// 5 % of the cases lie above.
    pub high: f64,
    /// Half of the cases lie below; known of what was drawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median: Option<f64>,
    /// The place of this quantity in a [`Draw`], given to it when the design is read.
    #[serde(skip)]
    pub index: Option<usize>,
    /// True where the limits are the usual ones of its class, since none were stated.
    #[serde(skip)]
    pub guess: bool,
}

impl Spread {
    /// A value known without spread.
    pub fn exact(value: f64) -> Spread {
        Spread::between(value, value, value)
    }

    /// A value between its 5 % and 95 % limits.
    pub fn between(value: f64, low: f64, high: f64) -> Spread {
        Spread { value, low, high, median: None, index: None, guess: false }
    }

    /// True when nothing is uncertain about it.
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

/// One set of values for all uncertain quantities of a design; the default one has every
/// quantity at its stated value.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Draw {
    /// By [`Spread::index`]; quantities beyond its end keep their stated value.
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
