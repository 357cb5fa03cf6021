//! What a quantity measures: its dimension, its name and example in messages, the units it is shown in.

use super::unit::Dimension;

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A count, ratio or share; `%` is a unit of it.
    Ratio,
    /// m.
    Length,
    /// kg.
    Mass,
    /// s.
    Time,
    /// Hz.
    Frequency,
    /// rad.
    Angle,
    /// N.
    Force,
    /// Pa: a modulus, a strength, a pressure.
    Stress,
    /// kg/m3.
    Density,
    /// N/m.
    Stiffness,
    /// N m/rad.
    TurningStiffness,
    /// N m: the torque of a bolt.
    Torque,
    /// N/m2: cutting force per chip area.
    CuttingStiffness,
    /// N s.
    Impulse,
    /// kg m2.
    Inertia,
    /// 1/K.
    Expansion,
    /// W/(m K).
    Conductivity,
    /// J/(kg K).
    HeatCapacity,
    /// J/kg: heat set free by a reaction.
    HeatPerMass,
    /// K, a difference.
    TemperatureChange,
    /// K, absolute; also written on a scale such as degC.
    Temperature,
    /// K/m.
    Gradient,
    /// m/s.
    Velocity,
    /// m3.
    Volume,
    /// kg m: mass times radius.
    Unbalance,
    /// kg/m.
    MassPerLength,
    /// m2.
    Area,
    /// N m2.
    BendingStiffness,
    /// W/m2.
    HeatFlux,
    /// 1/s: rate of a reaction.
    Rate,
    /// W/(m2 K): exchange of heat with the air.
    Film,
}

/// A row of the table of kinds.
struct Row {
    name: &'static str,
    dimension: Dimension,
    example: &'static str,
    shown: &'static [(&'static str, f64)],
}

impl Kind {
    fn row(self) -> Row {
        let row = |name, dimension, example, shown| Row { name, dimension, example, shown };
        match self {
            Kind::Ratio => row("a ratio", [0, 0, 0, 0, 0], "0.02 or 2 %", &[("", 1.0)]),
            Kind::Length => row("a length", [1, 0, 0, 0, 0], "600 mm", &[("mm", 1e-3), ("µm", 1e-6)]),
            Kind::Mass => row("a mass", [0, 1, 0, 0, 0], "6.2 kg", &[("kg", 1.0), ("g", 1e-3)]),
            Kind::Time => row(
                "a time",
                [0, 0, 1, 0, 0],
                "120 ms",
                &[("h", 3600.0), ("min", 60.0), ("s", 1.0), ("ms", 1e-3)],
            ),
            Kind::Frequency => row("a frequency", [0, 0, -1, 0, 0], "90 Hz", &[("Hz", 1.0)]),
            Kind::Angle => {
                row("an angle", [0, 0, 0, 0, 1], "30 deg", &[("deg", std::f64::consts::PI / 180.0)])
            }
            Kind::Force => row("a force", [1, 1, -2, 0, 0], "10 N", &[("N", 1.0)]),
            Kind::Stress => row(
                "a modulus or stress",
                [-1, 1, -2, 0, 0],
                "18 GPa",
                &[("GPa", 1e9), ("MPa", 1e6), ("kPa", 1e3)],
            ),
            Kind::Density => row("a density", [-3, 1, 0, 0, 0], "2300 kg/m3", &[("kg/m³", 1.0)]),
            Kind::Stiffness => row("a stiffness", [0, 1, -2, 0, 0], "20 N/um", &[("N/µm", 1e6)]),
            Kind::TurningStiffness => {
                row("a turning stiffness", [2, 1, -2, 0, -1], "40 kN m/rad", &[("kN m/rad", 1e3)])
            }
            Kind::Torque => row("a torque", [2, 1, -2, 0, 0], "20 N m", &[("N m", 1.0)]),
            Kind::CuttingStiffness => {
                row("a cutting stiffness", [-1, 1, -2, 0, 0], "1500 N/mm2", &[("N/mm²", 1e6)])
            }
            Kind::Impulse => row("an impulse", [1, 1, -1, 0, 0], "0.2 N s", &[("N s", 1.0)]),
            Kind::Inertia => {
                row("a mass moment of inertia", [2, 1, 0, 0, 0], "0.02 kg m2", &[("kg m²", 1.0)])
            }
            Kind::Expansion => row("an expansion", [0, 0, 0, -1, 0], "12 um/m K", &[("µm/(m K)", 1e-6)]),
            Kind::Conductivity => row("a conductivity", [1, 1, -3, -1, 0], "1.5 W/m K", &[("W/(m K)", 1.0)]),
            Kind::HeatCapacity => {
                row("a heat capacity", [2, 0, -2, -1, 0], "800 J/kg K", &[("J/(kg K)", 1.0)])
            }
            Kind::HeatPerMass => row("a heat per mass", [2, 0, -2, 0, 0], "400 J/g", &[("J/g", 1e3)]),
            Kind::TemperatureChange => row("a temperature change", [0, 0, 0, 1, 0], "10 K", &[("K", 1.0)]),
            Kind::Temperature => row("a temperature", [0, 0, 0, 1, 0], "20 degC", &[("K", 1.0)]),
            Kind::Gradient => row("a temperature gradient", [-1, 0, 0, 1, 0], "2 K/m", &[("K/m", 1.0)]),
            Kind::Velocity => {
                row("a velocity", [1, 0, -1, 0, 0], "50 um/s", &[("mm/s", 1e-3), ("µm/s", 1e-6)])
            }
            Kind::Volume => row("a volume", [3, 0, 0, 0, 0], "10 l", &[("l", 1e-3)]),
            Kind::Unbalance => row("an unbalance", [1, 1, 0, 0, 0], "50 g mm", &[("g mm", 1e-6)]),
            Kind::MassPerLength => row("a mass per length", [-1, 1, 0, 0, 0], "8 kg/m", &[("kg/m", 1.0)]),
            Kind::Area => row("an area", [2, 0, 0, 0, 0], "900 mm2", &[("mm²", 1e-6)]),
            Kind::BendingStiffness => {
                row("a bending stiffness", [3, 1, -2, 0, 0], "50 kN m2", &[("kN m²", 1e3)])
            }
            Kind::HeatFlux => row("a heat flux", [0, 1, -3, 0, 0], "100 W/m2", &[("W/m²", 1.0)]),
            Kind::Film => row("a film coefficient", [0, 1, -3, -1, 0], "8 W/m2 K", &[("W/(m² K)", 1.0)]),
            Kind::Rate => row("a rate", [0, 0, -1, 0, 0], "0.01 1/s", &[("1/s", 1.0)]),
        }
    }

    /// Its name in messages, with the article: `a length`.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// An example as a user would write it.
    pub fn example(self) -> &'static str {
        self.row().example
    }

    /// The smallest and the largest magnitude allowed, SI: wide enough for every sensible value, narrow
    /// enough that results stay far from overflow and underflow. Zero is allowed too.
    pub fn served(self) -> [f64; 2] {
        match self {
            Kind::Ratio => [0.0, 1e12],
            Kind::Length => [1e-12, 1e4],
            Kind::Mass | Kind::MassPerLength | Kind::Impulse => [1e-12, 1e9],
            Kind::Time => [1e-9, 1e9],
            Kind::Frequency => [1e-6, 1e9],
            Kind::Angle | Kind::TemperatureChange => [1e-12, 1e4],
            Kind::Force | Kind::Torque => [1e-9, 1e12],
            Kind::Stress | Kind::CuttingStiffness => [1e-3, 1e15],
            Kind::Density => [1e-6, 1e6],
            Kind::Stiffness | Kind::TurningStiffness | Kind::BendingStiffness => [1e-9, 1e18],
            Kind::Inertia => [1e-18, 1e12],
            Kind::Expansion => [1e-12, 1.0],
            Kind::Conductivity => [1e-6, 1e6],
            Kind::HeatCapacity | Kind::HeatPerMass => [1e-3, 1e12],
            Kind::Temperature => [1e-3, 1e5],
            Kind::Gradient => [1e-9, 1e9],
            Kind::Velocity => [1e-15, 1e4],
            Kind::Volume => [1e-18, 1e6],
            Kind::Unbalance => [1e-15, 1e6],
            Kind::Area => [1e-24, 1e8],
            Kind::HeatFlux => [1e-9, 1e12],
            Kind::Rate => [1e-12, 1e30],
            Kind::Film => [1e-6, 1e9],
        }
    }

    /// True when a quantity of `dimension` can be read as this kind. A turning stiffness may omit the
    /// radian; a frequency may be in rad/s, which the reader converts to cycles.
    pub fn admits(self, dimension: Dimension) -> bool {
        let own = self.row().dimension;
        dimension == own
            || self == Kind::TurningStiffness && dimension == [2, 1, -2, 0, 0]
            || self == Kind::Frequency && dimension == [0, 0, -1, 0, 1]
    }

    /// The unit in which `value` is shown, and its size in SI: the first in which the number is at least
    /// about 1.
    pub fn shown_unit(self, value: f64) -> (&'static str, f64) {
        let units = self.row().shown;
        let fits = units.iter().find(|(_, size)| value.abs() >= 0.9995 * size);
        let plain = units.iter().find(|(_, size)| *size == 1.0).unwrap_or(&units[0]);
        *fits.unwrap_or(if value == 0.0 { plain } else { &units[units.len() - 1] })
    }
}

/// `value` in coherent SI as a person reads it: in an everyday unit, to `digits` significant figures.
pub fn show_digits(value: f64, kind: Kind, digits: usize) -> String {
    if !value.is_finite() {
        return "-".to_string();
    }
    let (unit, size) = kind.shown_unit(value);
    let number = figures(value / size, digits);
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// `value` in coherent SI as a person reads it, to three significant figures.
///
/// `show(0.0031, Kind::Length)` is `3.1 mm`.
pub fn show(value: f64, kind: Kind) -> String {
    show_digits(value, kind, 3)
}

/// Two values in coherent SI as a person reads them, both in one unit: to three significant figures, or
/// to as many more as it takes to tell them apart.
///
/// `show_apart(220.4, 220.0, Kind::Mass)` is `("220.4 kg", "220 kg")`.
pub fn show_apart(one: f64, other: f64, kind: Kind) -> (String, String) {
    let (unit, size) = kind.shown_unit(other);
    let shown = |value: f64, digits: usize| match unit {
        _ if !value.is_finite() => "-".to_string(),
        "" => figures(value / size, digits),
        unit => format!("{} {unit}", figures(value / size, digits)),
    };
    let mut digits = 3;
    while digits < MOST_FIGURES && one != other && shown(one, digits) == shown(other, digits) {
        digits += 1;
    }
    (shown(one, digits), shown(other, digits))
}

/// Significant figures that double precision always holds.
const MOST_FIGURES: usize = 15;

/// A number to `digits` significant figures without trailing zeros after the decimal point; in powers of
/// ten below 1e-4 and from 1e7.
pub fn figures(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_string();
    }
    if !value.is_finite() {
        return "-".to_string();
    }
    let size = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&size) {
        let text = format!("{value:.*e}", digits.saturating_sub(1));
        let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{power}", trimmed(mantissa));
    }
    let decimals = (digits as f64 - 1.0 - size).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    trimmed(&text).to_string()
}

fn trimmed(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_in_units_of_the_shop() {
        assert_eq!(show(0.6, Kind::Length), "600 mm");
        assert_eq!(show(2.5e-6, Kind::Length), "2.5 µm");
        assert_eq!(show(210e9, Kind::Stress), "210 GPa");
        assert_eq!(show(3e6, Kind::Stress), "3 MPa");
        assert_eq!(show(0.12, Kind::Time), "120 ms");
        assert_eq!(show(59.0, Kind::Time), "59 s");
        assert_eq!(show(1149.0, Kind::Time), "19.1 min");
        assert_eq!(show(9000.0, Kind::Time), "2.5 h");
        assert_eq!(show(0.0, Kind::Mass), "0 kg");
        assert_eq!(show(f64::NAN, Kind::Mass), "-");
    }

    #[test]
    fn two_values_are_told_apart() {
        let apart = |one, other, kind| {
            let (one, other) = show_apart(one, other, kind);
            format!("{one}, {other}")
        };
        assert_eq!(apart(220.4, 220.0, Kind::Mass), "220.4 kg, 220 kg");
        assert_eq!(apart(219.996, 220.0, Kind::Mass), "219.996 kg, 220 kg");
        assert_eq!(apart(0.1204, 0.12, Kind::Time), "120.4 ms, 120 ms");
        assert_eq!(apart(1.5, 0.9, Kind::Time), "1500 ms, 900 ms");
        assert_eq!(apart(2.0, 2.0, Kind::Ratio), "2, 2");
        assert_eq!(apart(f64::INFINITY, 0.9, Kind::Time), "-, 900 ms");
    }

    #[test]
    fn figures_keep_what_they_say() {
        assert_eq!(figures(1234.5, 3), "1234");
        assert_eq!(figures(0.01234, 3), "0.0123");
        assert_eq!(figures(2.0, 3), "2");
        assert_eq!(figures(1.5e-6, 3), "1.5e-6");
    }

    #[test]
    fn a_radian_may_be_left_out_of_a_turning_stiffness() {
        assert!(Kind::TurningStiffness.admits([2, 1, -2, 0, 0]));
        assert!(!Kind::Stiffness.admits([2, 1, -2, 0, 0]));
    }
}
