//! A free test bar: moduli and loss factor of its material, with their limits, and how to strike it.
//!
//! The bar is assumed uniform, isotropic, and free except for soft supports at its nodes. Where torsion
//! was not measured, the stated Poisson's ratio is used, and its spread widens that of the modulus.
//!
//! # Source
//! - `e1876`: where a bar is held and struck for flexure, torsion and lengthwise vibration

use super::bar_equations::{
    BarShape, Moduli, Sizes, flexure_factor_bar, flexure_factor_rod, longitudinal_factor, torsion_factor_bar,
};
use serde::Serialize;
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::{Kind, Spread, figures, show_digits};

/// A test bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Its shape.
    pub shape: BarShape,
    /// Its mass, kg.
    pub mass: Spread,
    /// Poisson's ratio to use where torsion was not measured.
    pub poissons_ratio: Spread,
}

/// How a bar vibrates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum BarMotion {
    /// Bending along the thickness, first mode.
    Flexure,
    /// Twisting, first mode.
    Torsion,
    /// Stretching lengthwise, first mode.
    Longitudinal,
}

/// One measured tone of a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarTone {
    /// How the bar vibrated.
    pub motion: BarMotion,
    /// Hz.
    pub frequency_hz: Spread,
    /// Its loss factor, when it was resolved.
    pub loss_factor: Option<Spread>,
}

/// Where a bar is held and struck for one motion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BarHolding {
    /// The motion.
    pub motion: BarMotion,
    /// Distances of the supports from one end, m.
    pub support_at_m: Vec<f64>,
    /// How to support, strike and listen.
    pub advice: String,
}

/// A factor by which a slender bar's equation is corrected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BarCorrection {
    /// The motion.
    pub motion: BarMotion,
    /// T1 for flexure, R for torsion, 1/K for the lengthwise tone.
    pub factor: f64,
}

/// The properties of a bar's material.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BarReading {
    /// Young's modulus, from flexure, else from the lengthwise tone.
    pub youngs_modulus_pa: Option<Spread>,
    /// Shear modulus, from torsion.
    pub shear_modulus_pa: Option<Spread>,
    /// Poisson's ratio: from both moduli, or as stated.
    pub poissons_ratio: Option<Spread>,
    /// Loss factor of the flexural tone, else of the lengthwise one, else of torsion.
    pub loss_factor: Option<Spread>,
    /// kg/m3.
    pub density_kg_per_m3: Spread,
    /// Young's modulus from the lengthwise tone, when flexure was measured too.
    pub youngs_modulus_lengthwise_pa: Option<Spread>,
    /// The corrections that were applied.
    pub corrections: Vec<BarCorrection>,
    /// How to hold and strike the bar for each motion.
    pub holding: Vec<BarHolding>,
    /// The result as a `[materials]` entry of a design file.
    pub materials: String,
    /// Warnings about the result.
    pub notes: Vec<Problem>,
}

/// The material properties of `bar` from its `tones`, at most one of each motion.
///
/// A steel bar of 150 x 20 x 5 mm and 117.8 g that rings at 1172 Hz in flexure and at 4750 Hz in
/// torsion has E = 208.41 GPa, G = 80.04 GPa and nu = 0.3018:
///
/// ```
/// use stillbed_input::quantity::Spread;
/// use stillbed_tap::{Bar, BarMotion, BarShape, BarTone, bar_moduli};
///
/// let [length, width, thickness] = [0.15, 0.02, 0.005].map(Spread::exact);
/// let bar = Bar {
///     shape: BarShape::Rectangular { length, width, thickness },
///     mass: Spread::exact(0.1178),
///     poissons_ratio: Spread::exact(0.3),
/// };
/// let tones = [(BarMotion::Flexure, 1172.0), (BarMotion::Torsion, 4750.0)].map(|(motion, frequency)| {
///     BarTone { motion, frequency_hz: Spread::exact(frequency), loss_factor: None }
/// });
/// let reading = bar_moduli(&bar, &tones)?;
/// assert!((reading.youngs_modulus_pa.unwrap().value / 208.41e9 - 1.0).abs() < 1e-4);
/// assert!((reading.poissons_ratio.unwrap().value - 0.3018).abs() < 1e-4);
/// # Ok::<(), Vec<stillbed_input::problem::Problem>>(())
/// ```
///
/// # Errors
/// Sizes, mass or frequencies that are not positive; no tone; two tones of one motion; tones that give
/// a Poisson's ratio no material has, because one of them belongs to another motion.
pub fn bar_moduli(bar: &Bar, tones: &[BarTone]) -> Result<BarReading, Problems> {
    check(bar, tones)?;
    let tone = |motion: BarMotion| tones.iter().find(|tone| tone.motion == motion);
    let base = Sizes {
        shape: bar.shape,
        mass: bar.mass.value,
        nu: bar.poissons_ratio.value,
        flexure: tone(BarMotion::Flexure).map(|tone| tone.frequency_hz.value),
        torsion: tone(BarMotion::Torsion).map(|tone| tone.frequency_hz.value),
        longitudinal: tone(BarMotion::Longitudinal).map(|tone| tone.frequency_hz.value),
    };
    let moduli = base.moduli();
    let both = base.torsion.is_some() && (base.flexure.is_some() || base.longitudinal.is_some());
    if both && !(-0.1..0.5).contains(&moduli.nu) {
        return Err(Problems::from(
            Problem::error(
                Place::key("poissons_ratio"),
                format!("the two tones give Poisson's ratio {}", figures(moduli.nu, 3)),
            )
            .with_help("it lies between 0 and 0.5: one of the tones belongs to another motion"),
        ));
    }
    let varied = varied(bar, tones, &base);
    let spread = |of: &dyn Fn(&Moduli) -> Option<f64>| {
        let value = of(&moduli)?;
        let reach = varied
            .iter()
            .filter_map(|(low, high)| Some(0.25 * (of(high)? - of(low)?).powi(2)))
            .sum::<f64>()
            .sqrt();
        Some(Spread::between(value, value - reach, value + reach))
    };
    let flexural = spread(&|m| m.flexural);
    let lengthwise = spread(&|m| m.lengthwise);
    let youngs = flexural.or(lengthwise);
    let nu = if both { spread(&|m| Some(m.nu)) } else { Some(bar.poissons_ratio) };
    let density = spread(&|m| Some(m.density)).unwrap_or(Spread::exact(moduli.density));
    let order = [BarMotion::Flexure, BarMotion::Longitudinal, BarMotion::Torsion];
    let loss = order.iter().find_map(|motion| tone(*motion)?.loss_factor);
    let reading = BarReading {
        youngs_modulus_pa: youngs,
        shear_modulus_pa: spread(&|m| m.shear),
        poissons_ratio: nu,
        loss_factor: loss,
        density_kg_per_m3: density,
        youngs_modulus_lengthwise_pa: flexural.and(lengthwise),
        corrections: corrections(&base, moduli.nu),
        holding: bar_holding(&bar.shape),
        materials: design_entry("test bar", youngs, nu.map(|nu| (nu, both)), density, loss),
        notes: notes(bar, &base, flexural, lengthwise, both),
    };
    Ok(reading)
}

/// Why a measured value is none: it or its limits are not positive or not in order.
pub(super) fn refuse_unless_positive(key: &str, spread: Spread) -> Option<Problem> {
    let sound = spread.low > 0.0
        && spread.low <= spread.value
        && spread.value <= spread.high
        && spread.high.is_finite();
    let message = format!(
        "{} (from {} to {})",
        figures(spread.value, 4),
        figures(spread.low, 4),
        figures(spread.high, 4)
    );
    (!sound).then(|| {
        Problem::error(Place::key(key), message).with_help("state a positive value between its limits")
    })
}

fn check(bar: &Bar, tones: &[BarTone]) -> Result<(), Problems> {
    let mut problems = Vec::new();
    let mut positive = |key: &str, spread: Spread| problems.extend(refuse_unless_positive(key, spread));
    match bar.shape {
        BarShape::Rectangular { length, width, thickness } => {
            positive("length", length);
            positive("width", width);
            positive("thickness", thickness);
        }
        BarShape::Round { length, diameter } => {
            positive("length", length);
            positive("diameter", diameter);
        }
    }
    positive("mass", bar.mass);
    tones.iter().for_each(|tone| positive("frequency_hz", tone.frequency_hz));
    let nu = bar.poissons_ratio.value;
    if !(0.0..0.5).contains(&nu) {
        let message = format!("Poisson's ratio {}", figures(nu, 3));
        problems.push(
            Problem::error(Place::key("poissons_ratio"), message).with_help("it lies between 0 and 0.5"),
        );
    }
    if tones.is_empty() {
        let problem = Problem::error(Place::key("tones"), "no tone of the bar was measured");
        problems.push(problem.with_help("strike it for flexure first"));
    }
    for motion in [BarMotion::Flexure, BarMotion::Torsion, BarMotion::Longitudinal] {
        if tones.iter().filter(|tone| tone.motion == motion).count() > 1 {
            let message = format!("two tones of one motion ({motion:?})").to_lowercase();
            problems.push(Problem::error(Place::key("tones"), message).with_help("state the lowest of them"));
        }
    }
    let (deep, length) = match bar.shape {
        BarShape::Rectangular { length, width, thickness } => {
            (thickness.value.max(width.value), length.value)
        }
        BarShape::Round { length, diameter } => (diameter.value, length.value),
    };
    if problems.is_empty() && deep >= length {
        let message = format!(
            "the bar is {} deep and {} long",
            show_digits(deep, Kind::Length, 4),
            show_digits(length, Kind::Length, 4)
        );
        problems.push(
            Problem::error(Place::key("length"), message)
                .with_help("a bar is longer than it is wide; five times at least"),
        );
    }
    if problems.is_empty() { Ok(()) } else { Err(problems.into()) }
}

/// The moduli with each uncertain input at its low and at its high limit.
fn varied(bar: &Bar, tones: &[BarTone], base: &Sizes) -> Vec<(Moduli, Moduli)> {
    let mut pairs = Vec::new();
    let mut vary = |spread: Spread, set: &dyn Fn(&mut Sizes, f64)| {
        if !spread.is_exact() {
            let at = |value: f64| {
                let mut sizes = *base;
                set(&mut sizes, value);
                sizes.moduli()
            };
            pairs.push((at(spread.low), at(spread.high)));
        }
    };
    vary(bar.mass, &|sizes, value| sizes.mass = value);
    vary(bar.poissons_ratio, &|sizes, value| sizes.nu = value);
    let sizes_of = match bar.shape {
        BarShape::Rectangular { length, width, thickness } => vec![length, width, thickness],
        BarShape::Round { length, diameter } => vec![length, diameter],
    };
    for (place, spread) in sizes_of.into_iter().enumerate() {
        vary(spread, &|sizes, value| match (&mut sizes.shape, place) {
            (BarShape::Rectangular { length, .. } | BarShape::Round { length, .. }, 0) => {
                length.value = value
            }
            (BarShape::Rectangular { width, .. }, 1) => width.value = value,
            (BarShape::Rectangular { thickness, .. }, _) => thickness.value = value,
            (BarShape::Round { diameter, .. }, _) => diameter.value = value,
        });
    }
    for tone in tones {
        vary(tone.frequency_hz, &|sizes, value| match tone.motion {
            BarMotion::Flexure => sizes.flexure = Some(value),
            BarMotion::Torsion => sizes.torsion = Some(value),
            BarMotion::Longitudinal => sizes.longitudinal = Some(value),
        });
    }
    pairs
}

fn corrections(sizes: &Sizes, nu: f64) -> Vec<BarCorrection> {
    let mut list = Vec::new();
    let (flexure, torsion) = match sizes.shape {
        BarShape::Rectangular { length, width, thickness } => (
            flexure_factor_bar(thickness.value / length.value, nu),
            torsion_factor_bar(length.value, width.value, thickness.value),
        ),
        BarShape::Round { length, diameter } => (flexure_factor_rod(diameter.value / length.value, nu), 1.0),
    };
    let mut add = |measured: Option<f64>, motion, factor| {
        list.extend(measured.map(|_| BarCorrection { motion, factor }));
    };
    add(sizes.flexure, BarMotion::Flexure, flexure);
    add(sizes.torsion, BarMotion::Torsion, torsion);
    add(sizes.longitudinal, BarMotion::Longitudinal, 1.0 / longitudinal_factor(&sizes.shape, nu));
    list
}

/// How to hold and strike a bar for each motion.
#[must_use]
pub fn bar_holding(shape: &BarShape) -> Vec<BarHolding> {
    let (length, round) = match shape {
        BarShape::Rectangular { length, .. } => (length.value, false),
        BarShape::Round { length, .. } => (length.value, true),
    };
    let nodes = vec![0.224 * length, (1.0 - 0.224) * length];
    let middle = vec![0.5 * length];
    let mut list = vec![BarHolding {
        motion: BarMotion::Flexure,
        support_at_m: nodes,
        advice: "rest it on soft foam or two threads at 0.224 L from each end; strike the \
                 middle of the broad face, listen above the middle or an end"
            .into(),
    }];
    if !round {
        list.push(BarHolding {
            motion: BarMotion::Torsion,
            support_at_m: middle.clone(),
            advice: "rest it on foam along the two centre lines; strike near an edge at 0.224 L \
                     from one end, listen at the diagonally opposite corner"
                .into(),
        });
    }
    list.push(BarHolding {
        motion: BarMotion::Longitudinal,
        support_at_m: middle,
        advice: "hold or rest it at the middle; strike one end face along the axis, listen at \
                 the other"
            .into(),
    });
    list
}

/// The `[materials]` entry of a design. Poisson's ratio comes with whether it was measured.
pub(super) fn design_entry(
    name: &str,
    youngs: Option<Spread>,
    nu: Option<(Spread, bool)>,
    density: Spread,
    loss: Option<Spread>,
) -> String {
    use std::fmt::Write;
    let mut text = format!("[materials.\"{name}\"]\n");
    let gpa = |x: f64| figures(x / 1e9, 4);
    if let Some(e) = youngs {
        let _ = writeln!(
            text,
            "youngs_modulus = {{ value = \"{} GPa\", low = \"{} GPa\", high = \"{} GPa\" }}",
            gpa(e.value),
            gpa(e.low),
            gpa(e.high)
        );
    }
    if let Some((nu, measured)) = nu {
        let remark = if measured { "" } else { "   # taken, not measured" };
        let _ = writeln!(text, "poissons_ratio = {}{remark}", figures(nu.value, 3));
    }
    let _ = writeln!(text, "density = \"{} kg/m3\"", figures(density.value, 4));
    if let Some(loss) = loss {
        let _ = writeln!(
            text,
            "loss_factor = {{ value = {}, low = {}, high = {} }}",
            figures(loss.value, 3),
            figures(loss.low.max(0.0), 3),
            figures(loss.high, 3)
        );
    }
    text
}

fn notes(
    bar: &Bar,
    base: &Sizes,
    flexural: Option<Spread>,
    lengthwise: Option<Spread>,
    both: bool,
) -> Vec<Problem> {
    let mut notes = Vec::new();
    let mut note = |key: &str, message: String, help: &str| {
        notes.push(Problem::warning(Place::key(key), message).with_help(help.to_string()));
    };
    if !both {
        note(
            "poissons_ratio",
            format!(
                "torsion was not measured: Poisson's ratio is taken as {}",
                figures(bar.poissons_ratio.value, 3)
            ),
            "strike the bar in torsion too",
        );
    }
    if let (Some(a), Some(b)) = (flexural, lengthwise)
        && (a.low > b.high || b.low > a.high)
    {
        note(
            "youngs_modulus_pa",
            format!(
                "flexure gives {}, the lengthwise tone {}: they part by more than their limits",
                show_digits(a.value, Kind::Stress, 4),
                show_digits(b.value, Kind::Stress, 4)
            ),
            "a skin, voids or layers bend otherwise than they stretch; check the thickness first",
        );
    }
    let (area, length) = base.area_and_length();
    let deep = match bar.shape {
        BarShape::Rectangular { thickness, .. } => thickness.value,
        BarShape::Round { diameter, .. } => diameter.value,
    };
    if base.flexure.is_some() && length < 5.0 * deep {
        note(
            "length",
            format!(
                "the bar is only {} times as long as deep: the correction is large",
                figures(length / deep, 3)
            ),
            "use a bar of twenty times its depth",
        );
    }
    let density = base.mass / (area * length);
    if !(100.0..23000.0).contains(&density) {
        note(
            "mass",
            format!("mass and sizes give {} kg/m3", figures(density, 4)),
            "check the units of mass and sizes",
        );
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn exact(x: f64) -> Spread {
        Spread::exact(x)
    }

    fn steel() -> Bar {
        Bar {
            shape: BarShape::Rectangular { length: exact(0.15), width: exact(0.02), thickness: exact(0.005) },
            mass: exact(0.1178),
            poissons_ratio: exact(0.3),
        }
    }

    fn tone(motion: BarMotion, f: f64) -> BarTone {
        BarTone { motion, frequency_hz: exact(f), loss_factor: Some(Spread::between(1e-3, 9e-4, 1.1e-3)) }
    }

    #[test]
    fn a_steel_bar_by_both_tones() {
        let tones = [tone(BarMotion::Flexure, 1172.0), tone(BarMotion::Torsion, 4750.0)];
        let reading = bar_moduli(&steel(), &tones).unwrap();
        assert_relative_eq!(reading.youngs_modulus_pa.unwrap().value, 2.0841044e11, max_relative = 1e-6);
        assert_relative_eq!(reading.shear_modulus_pa.unwrap().value, 8.0044463e10, max_relative = 1e-6);
        assert_relative_eq!(reading.poissons_ratio.unwrap().value, 0.30184170, max_relative = 1e-6);
        assert!(reading.notes.is_empty(), "{:?}", reading.notes);
        assert!(
            reading.materials.contains("youngs_modulus = { value = \"208.4 GPa\""),
            "{}",
            reading.materials
        );
        assert!(reading.materials.contains("density = \"7853 kg/m3\""));
    }

    #[test]
    fn spreads_add_as_squares() {
        let mut bar = steel();
        bar.mass = Spread::between(0.1178, 0.1178 * 0.97, 0.1178 * 1.03);
        if let BarShape::Rectangular { thickness, .. } = &mut bar.shape {
            *thickness = Spread::between(0.005, 0.005 * 0.99, 0.005 * 1.01);
        }
        let e = bar_moduli(&bar, &[tone(BarMotion::Flexure, 1172.0)]).unwrap().youngs_modulus_pa.unwrap();
        // 3 % of the mass and three times 1 % of the thickness.
        assert_relative_eq!((e.high - e.low) / (2.0 * e.value), 18f64.sqrt() / 100.0, max_relative = 0.01);
    }

    #[test]
    fn a_mistaken_tone_is_refused() {
        let tones = [tone(BarMotion::Flexure, 1172.0), tone(BarMotion::Torsion, 3230.0)];
        let problems = bar_moduli(&steel(), &tones).unwrap_err();
        assert!(problems[0].to_string().contains("belongs to another motion"), "{}", problems[0]);
        let mut bar = steel();
        bar.mass = exact(-1.0);
        assert_eq!(bar_moduli(&bar, &[]).unwrap_err().len(), 2);
    }

    #[test]
    fn a_square_rod_and_a_round_one() {
        let round = BarShape::Round { length: exact(0.3), diameter: exact(0.02) };
        let bar = Bar { shape: round, mass: exact(0.7398), poissons_ratio: exact(0.29) };
        let length = bar_moduli(&bar, &[tone(BarMotion::Longitudinal, 8560.0)]).unwrap();
        // E = 4 L^2 f^2 rho, apart from a correction of 5e-4.
        let plain = 4.0 * 0.09 * 8560f64.powi(2) * length.density_kg_per_m3.value;
        assert_relative_eq!(length.youngs_modulus_pa.unwrap().value, plain, max_relative = 1e-3);
        assert!(length.notes.iter().any(|note| note.message.contains("is taken as 0.29")));
        assert_eq!(bar_holding(&round).len(), 2);
        assert_relative_eq!(bar_holding(&round)[0].support_at_m[0], 0.0672, max_relative = 1e-12);
    }
}
