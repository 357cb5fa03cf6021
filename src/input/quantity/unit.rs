//! Reads a unit such as `N/um`, `kg/m3`, `kN m/rad` or `lb/in^3` as a factor and a dimension.
//!
//! A unit is a product of factors, separated by a space, `*` or `·`, then optionally a slash and the
//! factors of the denominator: `J/kg K` is J/(kg K), as engineers write it, and so is `J/kg/K`. Powers
//! are written `m2`, `m^2` or `m²`.

/// Exponents of length, mass, time, temperature and plane angle.
pub type Dimension = [i8; 5];

/// A unit read from text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Size of one such unit in coherent SI.
    pub factor: f64,
    /// Added after the factor, for temperatures on a scale such as degC.
    pub offset: f64,
    /// Its dimension.
    pub dimension: Dimension,
}

const NONE: Dimension = [0, 0, 0, 0, 0];
const LENGTH: Dimension = [1, 0, 0, 0, 0];
const MASS: Dimension = [0, 1, 0, 0, 0];
const TIME: Dimension = [0, 0, 1, 0, 0];
const FREQUENCY: Dimension = [0, 0, -1, 0, 0];
const KELVIN: Dimension = [0, 0, 0, 1, 0];
const ANGLE: Dimension = [0, 0, 0, 0, 1];
const FORCE: Dimension = [1, 1, -2, 0, 0];
const STRESS: Dimension = [-1, 1, -2, 0, 0];
const ENERGY: Dimension = [2, 1, -2, 0, 0];
const POWER: Dimension = [2, 1, -3, 0, 0];
const VOLUME: Dimension = [3, 0, 0, 0, 0];

const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
/// Standard acceleration of gravity, m/s², exact by definition.
///
/// # Source
/// - `bipm2019`: standard acceleration of gravity
pub const GRAVITY: f64 = 9.806_65;
const POUND_FORCE: f64 = POUND * GRAVITY;
const PSI: f64 = POUND_FORCE / (INCH * INCH);

/// Units by name, with exact factors where the unit is defined exactly. Only those of `PREFIXED` take
/// the prefixes of `PREFIXES`.
const UNITS: &[(&str, f64, Dimension)] = &[
    ("1", 1.0, NONE),
    ("%", 0.01, NONE),
    ("ppm", 1e-6, NONE),
    ("m", 1.0, LENGTH),
    ("in", INCH, LENGTH),
    ("inch", INCH, LENGTH),
    ("\"", INCH, LENGTH),
    ("ft", 12.0 * INCH, LENGTH),
    ("mil", INCH / 1000.0, LENGTH),
    ("thou", INCH / 1000.0, LENGTH),
    ("uin", INCH * 1e-6, LENGTH),
    ("g", 1e-3, MASS),
    ("t", 1000.0, MASS),
    ("lb", POUND, MASS),
    ("lbm", POUND, MASS),
    ("oz", POUND / 16.0, MASS),
    ("s", 1.0, TIME),
    ("min", 60.0, TIME),
    ("h", 3600.0, TIME),
    ("d", 86400.0, TIME),
    ("Hz", 1.0, FREQUENCY),
    ("rpm", 1.0 / 60.0, FREQUENCY),
    ("K", 1.0, KELVIN),
    ("rad", 1.0, ANGLE),
    ("deg", std::f64::consts::PI / 180.0, ANGLE),
    ("°", std::f64::consts::PI / 180.0, ANGLE),
    ("arcsec", std::f64::consts::PI / 648_000.0, ANGLE),
    ("N", 1.0, FORCE),
    ("lbf", POUND_FORCE, FORCE),
    ("kgf", GRAVITY, FORCE),
    ("Pa", 1.0, STRESS),
    ("bar", 1e5, STRESS),
    ("psi", PSI, STRESS),
    ("ksi", 1000.0 * PSI, STRESS),
    ("Msi", 1e6 * PSI, STRESS),
    ("J", 1.0, ENERGY),
    ("W", 1.0, POWER),
    ("l", 1e-3, VOLUME),
    ("L", 1e-3, VOLUME),
];

const PREFIXED: &[&str] = &["m", "g", "s", "Hz", "rad", "N", "Pa", "bar", "J", "W", "K", "l", "L"];
const PREFIXES: &[(&str, f64)] =
    &[("k", 1e3), ("M", 1e6), ("G", 1e9), ("c", 1e-2), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9), ("d", 0.1)];

const CELSIUS: &[&str] = &["degC", "°C", "C"];
const FAHRENHEIT: &[&str] = &["degF", "°F", "F"];

impl Unit {
    /// Reads a unit.
    ///
    /// # Errors
    /// The factor that is not a known unit, as it was written.
    pub fn parse(text: &str) -> Result<Unit, String> {
        let text = text.trim().replace(['µ', 'μ'], "u").replace('²', "2").replace('³', "3").replace('⁴', "4");
        if CELSIUS.contains(&text.as_str()) {
            return Ok(Unit { factor: 1.0, offset: 273.15, dimension: KELVIN });
        }
        if FAHRENHEIT.contains(&text.as_str()) {
            return Ok(Unit { factor: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0, dimension: KELVIN });
        }
        let mut unit = Unit { factor: 1.0, offset: 0.0, dimension: NONE };
        let (above, below) = text.split_once('/').unwrap_or((&text, ""));
        let below = below.trim();
        let below = below.strip_prefix('(').and_then(|rest| rest.strip_suffix(')')).unwrap_or(below);
        if text.contains('/') && below.is_empty() {
            return Err("/".to_string());
        }
        for (side, sign) in [(above, 1), (below, -1)] {
            for factor in side.split([' ', '*', '·', '/']).filter(|f| !f.is_empty()) {
                unit.multiply(factor, sign)?;
            }
        }
        Ok(unit)
    }

    fn multiply(&mut self, factor: &str, sign: i8) -> Result<(), String> {
        let (name, power) = split_power(factor);
        let (size, dimension) = named(name).ok_or_else(|| factor.to_string())?;
        let power = power.filter(|p| (-4..=4).contains(p)).ok_or_else(|| factor.to_string())? * sign;
        self.factor *= size.powi(i32::from(power));
        for (total, one) in self.dimension.iter_mut().zip(dimension) {
            *total += one * power;
        }
        Ok(())
    }
}

/// Splits `m3`, `m^3` or `m-1` into name and power; the power is `None` where it is not a number.
fn split_power(factor: &str) -> (&str, Option<i8>) {
    if factor == "1" {
        return (factor, Some(1));
    }
    let end = factor.find(|c: char| c.is_ascii_digit() || c == '^' || c == '-').unwrap_or(factor.len());
    let (name, power) = factor.split_at(end);
    let power = power.trim_start_matches('^');
    (name, if end == factor.len() { Some(1) } else { power.parse().ok() })
}

fn named(name: &str) -> Option<(f64, Dimension)> {
    let plain = |name: &str| UNITS.iter().find(|(known, ..)| *known == name).map(|(_, size, d)| (*size, *d));
    plain(name).or_else(|| {
        PREFIXES.iter().find_map(|(prefix, scale)| {
            let rest = name.strip_prefix(prefix).filter(|rest| PREFIXED.contains(rest))?;
            plain(rest).map(|(size, d)| (size * scale, d))
        })
    })
}

/// Names of the units and of the commonest prefixed ones, for suggestions.
pub fn names() -> impl Iterator<Item = &'static str> {
    UNITS.iter().map(|(name, ..)| *name).chain(["mm", "um", "kg", "kN", "GPa", "MPa", "kHz", "degC", "degF"])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(text: &str) -> f64 {
        Unit::parse(text).unwrap().factor
    }

    #[test]
    fn compound_units() {
        approx::assert_relative_eq!(factor("N/um"), 1e6);
        approx::assert_relative_eq!(factor("N/µm"), 1e6);
        approx::assert_relative_eq!(factor("N/\u{3bc}m"), 1e6);
        approx::assert_relative_eq!(factor("kg/m3"), 1.0);
        approx::assert_relative_eq!(factor("g/cm^3"), 1000.0);
        approx::assert_relative_eq!(factor("N/mm²"), 1e6);
        approx::assert_relative_eq!(factor("kN m/rad"), 1000.0);
        approx::assert_relative_eq!(factor("kN*m"), 1000.0);
        approx::assert_relative_eq!(factor("1/K"), 1.0);
        approx::assert_relative_eq!(factor("um/m K"), 1e-6);
        approx::assert_relative_eq!(factor("J/(kg K)"), 1.0);
    }

    #[test]
    fn inch_pound_factors_are_exact() {
        assert_eq!(factor("in"), 0.0254);
        assert_eq!(factor("lb"), 0.45359237);
        approx::assert_relative_eq!(factor("psi"), 6894.757293168361, max_relative = 1e-15);
        approx::assert_relative_eq!(factor("lb/in3"), 27679.904710203125, max_relative = 1e-14);
    }

    #[test]
    fn angle_is_told_from_frequency() {
        assert_ne!(Unit::parse("rad/s").unwrap().dimension, Unit::parse("Hz").unwrap().dimension);
        assert_eq!(Unit::parse("J/kg K").unwrap().dimension, [2, 0, -2, -1, 0]);
    }

    #[test]
    fn what_is_no_unit_is_named() {
        assert_eq!(Unit::parse("N/furlong"), Err("furlong".to_string()));
        assert_eq!(Unit::parse("m9"), Err("m9".to_string()));
        assert_eq!(Unit::parse("N/"), Err("/".to_string()));
    }
}
