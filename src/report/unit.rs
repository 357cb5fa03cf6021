//! Units in which values are shown.

use serde::Serialize;
use stillbed_input::quantity::Kind;

/// A unit in which values are shown: its name and its size in coherent SI.
///
/// ```
/// use stillbed_report::Unit;
///
/// let stiffness = Unit::new("N/µm", 1e6);
/// assert_eq!(12e6 / stiffness.size, 12.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Unit {
    /// As printed: `N/µm`.
    pub name: &'static str,
    /// The size of one unit in SI: 1e6 for `N/µm`.
    pub size: f64,
}

impl Unit {
    /// No unit: a count or a ratio.
    pub const NONE: Unit = Unit::new("", 1.0);
    /// A ratio shown in percent.
    pub const PERCENT: Unit = Unit::new("%", 0.01);

    /// The unit called `name`, worth `size` in SI.
    pub const fn new(name: &'static str, size: f64) -> Unit {
        Unit { name, size }
    }

    /// The usual unit for values of this `kind`, of which `largest` is the largest to show.
    pub fn of(kind: Kind, largest: f64) -> Unit {
        let (name, size) = kind.shown_unit(largest);
        Unit { name, size }
    }

    /// `title` with the unit after it: `mass, kg`.
    pub(super) fn after(&self, title: &str) -> String {
        match (title.is_empty(), self.name.is_empty()) {
            (_, true) => title.to_string(),
            (true, false) => self.name.to_string(),
            (false, false) => format!("{title}, {}", self.name),
        }
    }
}
