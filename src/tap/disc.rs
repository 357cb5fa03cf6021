//! A free test disc: modulus, Poisson's ratio and loss factor of its material, from its two lowest tones.
//!
//! The ratio of the tone with a circle at rest to that with two diameters at rest tells Poisson's ratio, either tone
//! then Young's modulus. The disc is assumed uniform, isotropic, and free except for soft supports.
//!
//! # Source
//! - `e1876`: the two tones of a disc, how to hold and strike it, and the least width (from memory)

use super::bar::{design_entry, refuse_unless_positive};
use super::disc_equations::{DiscTone, POISSON, disc_factor, poissons_ratio, youngs_modulus};
use super::measured_mode::MeasuredMode;
use serde::Serialize;
use std::f64::consts::PI;
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::{Kind, Spread, figures, show, show_digits};

/// A test disc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disc {
    /// m.
    pub diameter: Spread,
    /// m.
    pub thickness: Spread,
    /// kg.
    pub mass: Spread,
}

/// The two tones of a disc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiscTones {
    /// That with two diameters at rest, Hz.
    pub two_diameters_hz: Spread,
    /// That with a circle at rest, Hz.
    pub one_circle_hz: Spread,
    /// The loss factor of the first of them for which it was resolved.
    pub loss_factor: Option<Spread>,
}

/// The properties of a disc's material.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DiscReading {
    /// Young's modulus, from both tones.
    pub youngs_modulus_pa: Spread,
    /// Shear modulus, from Young's and Poisson's ratio.
    pub shear_modulus_pa: Spread,
    /// Poisson's ratio, from the ratio of the tones.
    pub poissons_ratio: Spread,
    /// Loss factor.
    pub loss_factor: Option<Spread>,
    /// kg/m3.
    pub density_kg_per_m3: Spread,
    /// Factors lambda of the tone with two diameters and of that with a circle at rest.
    pub factors: [f64; 2],
    /// How to hold and strike the disc for each tone.
    pub holding: Vec<String>,
    /// The result as a `[materials]` entry of a design file.
    pub materials: String,
    /// Warnings about the result.
    pub notes: Vec<Problem>,
}

/// Largest thickness over radius.
const THICKEST: f64 = 0.5;
/// Range of wave speeds sqrt(E / rho) of solids, m/s: from lead and soft plastics to ceramics.
///
/// # Source
/// - common practice
const SPEEDS: (f64, f64) = (500.0, 13_000.0);
/// Level under the strongest line below which a line is not looked at, dB.
const FAINT_DB: f64 = -45.0;
/// Relative distance at which a line is the third tone, and at which two lines are the twins of one tone.
const NEAR: (f64, f64) = (0.02, 0.015);
/// What an unexplained line takes from the score, in parts of its weight: one below the lowest tone, where nothing
/// of a disc rings, and one between the tones and the third.
const UNEXPLAINED: (f64, f64) = (1.0, 0.4);
/// By how much the best score must exceed that of any other reading.
const MARGIN: f64 = 0.4;
/// Poisson's ratio below which a third tone has to confirm the two.
const SELDOM: f64 = 0.1;

/// What a disc's inputs give, one value each.
#[derive(Clone, Copy)]
struct Values {
    diameter: f64,
    thickness: f64,
    mass: f64,
    tones: [f64; 2],
}

#[derive(Clone, Copy)]
struct Found {
    youngs: f64,
    nu: f64,
    density: f64,
}

impl Values {
    fn found(&self) -> Option<Found> {
        let radius = 0.5 * self.diameter;
        let nu = poissons_ratio(self.thickness / radius, self.tones[1] / self.tones[0])?;
        let sizes = (radius, self.thickness, self.mass);
        let youngs = youngs_modulus(sizes, DiscTone::TwoDiameters, self.tones[0], nu)?;
        Some(Found { youngs, nu, density: self.mass / (PI * radius * radius * self.thickness) })
    }
}

/// The material properties of `disc` from its two tones.
///
/// # Errors
/// Sizes, mass or frequencies that are not positive; a disc thicker than half of its radius; tones whose ratio no
/// Poisson's ratio from 0 to 0.49 gives.
pub fn disc_moduli(disc: &Disc, tones: &DiscTones) -> Result<DiscReading, Problems> {
    let inputs = [disc.diameter, disc.thickness, disc.mass, tones.two_diameters_hz, tones.one_circle_hz];
    let keys = ["diameter", "thickness", "mass", "frequency_hz", "frequency_hz"];
    let mut problems: Vec<Problem> =
        inputs.iter().zip(keys).filter_map(|(spread, key)| refuse_unless_positive(key, *spread)).collect();
    if problems.is_empty() {
        problems.extend(too_thick(disc));
    }
    if !problems.is_empty() {
        return Err(problems.into());
    }
    let of = |values: [f64; 5]| {
        let [diameter, thickness, mass, first, second] = values;
        Values { diameter, thickness, mass, tones: [first, second] }.found()
    };
    let base = inputs.map(|input| input.value);
    let Some(found) = of(base) else {
        let message = format!(
            "the tones at {} and {} stand in the ratio {}",
            hertz(base[3]),
            hertz(base[4]),
            figures(base[4] / base[3], 4)
        );
        let (low, high) = ratios(disc);
        return Err(Problems::from(Problem::error(Place::key("tones"), message).with_help(format!(
            "those of a disc of this thickness stand in a ratio from {} to {}: one of them is another tone",
            figures(low, 4),
            figures(high, 4)
        ))));
    };
    // Beyond the range of Poisson's ratio the value at the end counts.
    let at = |input: usize, value: f64| {
        let mut values = base;
        values[input] = value;
        of(values)
    };
    let mut open = false;
    let mut reach = [0.0; 4];
    let shear = |found: &Found| 0.5 * found.youngs / (1.0 + found.nu);
    let properties = |found: &Found| [found.youngs, shear(found), found.nu, found.density];
    for (input, spread) in inputs.iter().enumerate().filter(|(_, spread)| !spread.is_exact()) {
        let (low, high) = (at(input, spread.low), at(input, spread.high));
        open |= low.is_none() || high.is_none();
        let (low, high) = (properties(&low.unwrap_or(found)), properties(&high.unwrap_or(found)));
        // Where one end has no answer, the other one stands for both.
        let part =
            if at(input, spread.low).is_some() && at(input, spread.high).is_some() { 0.5 } else { 1.0 };
        for ((reach, low), high) in reach.iter_mut().zip(low).zip(high) {
            *reach += (part * (high - low)).powi(2);
        }
    }
    let middle = properties(&found);
    let spread =
        |i: usize| Spread::between(middle[i], middle[i] - reach[i].sqrt(), middle[i] + reach[i].sqrt());
    let (youngs, nu, density) = (spread(0), spread(2), spread(3));
    let t = 2.0 * base[1] / base[0];
    let factor = |tone| disc_factor(tone, t, found.nu).unwrap_or(f64::NAN);
    let mut notes = Vec::new();
    if open {
        let message = format!("Poisson's ratio {} is near the end of what a solid has", figures(found.nu, 3));
        notes.push(
            Problem::warning(Place::key("poissons_ratio"), message)
                .with_help("check the thickness, and that both tones are the disc's own"),
        );
    }
    if !(100.0..23_000.0).contains(&found.density) {
        let message = format!("mass and sizes give {} kg/m3", figures(found.density, 4));
        notes.push(
            Problem::warning(Place::key("mass"), message).with_help("check the units of mass and sizes"),
        );
    }
    Ok(DiscReading {
        youngs_modulus_pa: youngs,
        shear_modulus_pa: spread(1),
        poissons_ratio: nu,
        loss_factor: tones.loss_factor,
        density_kg_per_m3: density,
        factors: [factor(DiscTone::TwoDiameters), factor(DiscTone::OneCircle)],
        holding: vec![SADDLE.into(), DRUM.into()],
        materials: design_entry("test disc", Some(youngs), Some((nu, true)), density, tones.loss_factor),
        notes,
    })
}

/// How to make each of the two tones sound.
const SADDLE: &str = "for the lowest tone rest it on soft foam along two crossing diameters; strike the rim midway \
                      between them, and listen at the rim a quarter turn away";
const DRUM: &str = "for the tone with a circle at rest rest it on a soft ring at 0.68 of its radius; strike its \
                    centre, and listen above the centre";

fn hertz(value: f64) -> String {
    show(value, Kind::Frequency)
}

fn too_thick(disc: &Disc) -> Option<Problem> {
    let is = disc.thickness.value > THICKEST * 0.5 * disc.diameter.value;
    let message = format!(
        "the disc is {} wide and {} thick",
        show_digits(disc.diameter.value, Kind::Length, 4),
        show_digits(disc.thickness.value, Kind::Length, 4)
    );
    is.then(|| {
        Problem::error(Place::key("--disc"), message)
            .with_help("a disc is at least four times as wide as thick")
    })
}

/// Lowest and highest ratio of the tone with a circle at rest to the lowest tone.
fn ratios(disc: &Disc) -> (f64, f64) {
    let t = 2.0 * disc.thickness.value / disc.diameter.value;
    let ratio = |nu| {
        let factor = |tone| disc_factor(tone, t, nu).unwrap_or(f64::NAN);
        factor(DiscTone::OneCircle) / factor(DiscTone::TwoDiameters)
    };
    (ratio(POISSON.0), ratio(POISSON.1))
}

/// Two lines taken for the two tones.
struct Pair {
    lines: [usize; 2],
    score: f64,
    nu: f64,
    confirmed: bool,
}

/// The two tones of `disc` among `modes`. Every pair of lines is tried as the two; the third tone, which has three
/// diameters at rest, confirms them.
///
/// # Errors
/// Sizes that are none of a disc, lines of which no two stand in the ratio of the two tones, or several that do.
/// The message lists what is heard.
pub fn find_disc_tones(modes: &[MeasuredMode], disc: &Disc) -> Result<(DiscTones, Vec<Problem>), Problem> {
    let positive = [("diameter", disc.diameter), ("thickness", disc.thickness), ("mass", disc.mass)];
    let mut wrong = positive.iter().filter_map(|(key, spread)| refuse_unless_positive(key, *spread));
    if let Some(problem) = wrong.next().or_else(|| too_thick(disc)) {
        return Err(problem);
    }
    let mut lines: Vec<&MeasuredMode> = modes.iter().filter(|mode| mode.level_db > FAINT_DB).collect();
    lines.sort_by(|a, b| a.frequency_hz.value.total_cmp(&b.frequency_hz.value));
    let heard: Vec<String> = lines.iter().map(|line| hertz(line.frequency_hz.value)).collect();
    let heard = heard.join(", ");
    let mut pairs: Vec<Pair> = Vec::new();
    for first in 0..lines.len() {
        pairs.extend((first + 1..lines.len()).filter_map(|second| pair(&lines, [first, second], disc)));
    }
    pairs.sort_by(|a, b| b.score.total_cmp(&a.score));
    let refuse = |message: String| {
        Err(Problem::error(Place::key("--disc"), message).with_help(format!("{SADDLE}; {DRUM}")))
    };
    let frequency = |line: usize| lines[line].frequency_hz.value;
    let Some(best) = pairs.first() else {
        return refuse(format!("of what is heard ({heard}) no two are the two lowest tones of such a disc"));
    };
    let other = |pair: &&Pair| (0..2).any(|i| !is_twin(frequency(pair.lines[i]), frequency(best.lines[i])));
    let rival = pairs.iter().find(other).filter(|rival| best.score - rival.score < MARGIN);
    if let Some(rival) = rival {
        return refuse(format!(
            "the two tones may be {} and {} (Poisson's ratio {}), or {} and {} ({})",
            hertz(frequency(best.lines[0])),
            hertz(frequency(best.lines[1])),
            figures(best.nu, 2),
            hertz(frequency(rival.lines[0])),
            hertz(frequency(rival.lines[1])),
            figures(rival.nu, 2)
        ));
    }
    if !best.confirmed && best.nu < SELDOM {
        return refuse(format!(
            "what is heard ({heard}) would mean Poisson's ratio {}, which few materials have, and no third tone \
             confirms it",
            figures(best.nu, 2)
        ));
    }
    let mut notes = Vec::new();
    if !best.confirmed {
        let message = format!(
            "no third tone confirms {} and {}",
            hertz(frequency(best.lines[0])),
            hertz(frequency(best.lines[1]))
        );
        notes.push(
            Problem::warning(Place::key("--disc"), message)
                .with_help("strike the rim harder, with something small and hard"),
        );
    }
    // A disc that is not quite round or uniform has its lowest tone twice: its limits hold both.
    let twins = lines.iter().filter(|line| is_twin(line.frequency_hz.value, frequency(best.lines[0])));
    let own = lines[best.lines[0]].frequency_hz;
    let two_diameters_hz = twins.clone().fold(own, |all, line| {
        let (low, high) = (all.low.min(line.frequency_hz.low), all.high.max(line.frequency_hz.high));
        Spread::between(0.5 * (low + high), low, high)
    });
    let two_diameters_hz = if twins.count() > 1 { two_diameters_hz } else { own };
    let loss_factor = best.lines.iter().find_map(|line| lines[*line].loss_factor);
    let one_circle_hz = lines[best.lines[1]].frequency_hz;
    Ok((DiscTones { two_diameters_hz, one_circle_hz, loss_factor }, notes))
}

fn is_twin(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < NEAR.1
}

/// Two lines as the two tones; `None` where their ratio or the stiffness is that of no solid.
fn pair(lines: &[&MeasuredMode], [first, second]: [usize; 2], disc: &Disc) -> Option<Pair> {
    let tones = [lines[first].frequency_hz.value, lines[second].frequency_hz.value];
    let values = Values {
        diameter: disc.diameter.value,
        thickness: disc.thickness.value,
        mass: disc.mass.value,
        tones,
    };
    let (low, high) = ratios(disc);
    if !(low..=high).contains(&(tones[1] / tones[0])) {
        return None;
    }
    let found = values.found()?;
    if !(SPEEDS.0..SPEEDS.1).contains(&(found.youngs / found.density).sqrt()) {
        return None;
    }
    let t = 2.0 * values.thickness / values.diameter;
    let factor = |tone| disc_factor(tone, t, found.nu);
    let third = tones[0] * factor(DiscTone::ThreeDiameters)? / factor(DiscTone::TwoDiameters)?;
    let weight = |line: usize| (1.0 + 0.4 * lines[line].level_db / 40.0).clamp(0.4, 1.0);
    let mut score = weight(first) + weight(second);
    let mut confirmed = false;
    for (i, line) in lines.iter().enumerate() {
        let f = line.frequency_hz.value;
        if (f / third - 1.0).abs() < NEAR.0 {
            confirmed = true;
            score += weight(i);
        } else if !tones.iter().any(|tone| is_twin(f, *tone)) && (0.5 * tones[0]..1.1 * third).contains(&f) {
            // What is lower is the disc bouncing on its support; above stand the higher tones.
            let part = if f < tones[0] { UNEXPLAINED.0 } else { UNEXPLAINED.1 };
            score -= part * weight(i);
        }
    }
    Some(Pair { lines: [first, second], score, nu: found.nu, confirmed })
}

#[cfg(test)]
mod tests {
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
    use super::*;

    /// A disc of 120 x 10 mm of glass: 72 GPa, Poisson's ratio 0.22, 2500 kg/m3, and its three lowest tones, Hz.
    fn glass() -> (Disc, [f64; 3]) {
        let (d, t, rho, e, nu) = (0.12_f64, 0.01_f64, 2500.0_f64, 72e9_f64, 0.22_f64);
        let per = (e * t * t / (12.0 * (1.0 - nu * nu) * rho)).sqrt() / (2.0 * PI * 0.25 * d * d);
        let tones = [DiscTone::TwoDiameters, DiscTone::OneCircle, DiscTone::ThreeDiameters];
        let mass = rho * PI * 0.25 * d * d * t;
        let disc = Disc {
            diameter: Spread::exact(d),
            thickness: Spread::between(t, 0.995 * t, 1.005 * t),
            mass: Spread::exact(mass),
        };
        (disc, tones.map(|tone| per * disc_factor(tone, 2.0 * t / d, nu).unwrap()))
    }

    fn heard(lines: &[(f64, f64)]) -> Vec<MeasuredMode> {
        let ring = |(frequency_hz, amplitude): &(f64, f64)| SyntheticMode {
            frequency_hz: *frequency_hz,
            loss_factor: 1e-3,
            rise: 0.0,
            amplitudes: vec![*amplitude],
            phase: 0.0,
        };
        let record = synthesise(&SyntheticRecord {
            sample_rate_hz: 48_000.0,
            duration_s: 1.2,
            modes: lines.iter().map(ring).collect(),
            taps: vec![SyntheticTap { time_s: 0.2, strength: 1.0 }],
            noise: 1e-4,
            seed: 9,
            offset: 0.0,
            limit: None,
            step: None,
        });
        read_taps(&record.unwrap(), &ReadingOptions::default()).unwrap().modes
    }

    #[test]
    fn a_struck_disc_gives_back_its_material() {
        let (disc, [two, circle, three]) = glass();
        // Its lowest tone twice, and the bounce on its support.
        let modes = heard(&[(35.0, 0.5), (two, 1.0), (two * 1.004, 0.4), (circle, 0.4), (three, 0.2)]);
        let (tones, notes) = find_disc_tones(&modes, &disc).unwrap();
        assert!(notes.is_empty(), "{notes:?}");
        assert!(tones.two_diameters_hz.low < two && 1.004 * two < tones.two_diameters_hz.high);
        let exact =
            DiscTones { two_diameters_hz: Spread::exact(two), one_circle_hz: Spread::exact(circle), ..tones };
        let reading = disc_moduli(&disc, &exact).unwrap();
        approx::assert_relative_eq!(reading.youngs_modulus_pa.value, 72e9, max_relative = 1e-6);
        approx::assert_relative_eq!(reading.poissons_ratio.value, 0.22, max_relative = 1e-5);
        approx::assert_relative_eq!(reading.shear_modulus_pa.value, 72e9 / 2.44, max_relative = 1e-6);
        // Half a percent of the thickness is one of the modulus: m f^2 / t^3 with the mass as it is weighed is
        // 1.5 %, less what shear takes.
        let e = reading.youngs_modulus_pa;
        assert!((0.013..0.016).contains(&((e.high - e.value) / e.value)), "{e:?}");
        assert!(reading.materials.contains("[materials.\"test disc\"]"), "{}", reading.materials);
        let read = disc_moduli(&disc, &tones).unwrap();
        assert!(read.youngs_modulus_pa.low < 72e9 && 72e9 < read.youngs_modulus_pa.high, "{read:?}");
        assert!(read.poissons_ratio.low < 0.22 && 0.22 < read.poissons_ratio.high, "{read:?}");
    }

    #[test]
    fn a_line_below_a_pair_counts_against_it() {
        // A thin plate's three tones (factors from memory, Leissa) on a disc thick enough that the third is 1.5 %
        // off: the second and the third stand in a ratio of the two lowest tones as well.
        let (glass, _) = glass();
        let disc = Disc { thickness: Spread::exact(0.006), mass: Spread::exact(0.5327), ..glass };
        let lines = [2209.0, 3711.0, 5127.0];
        for levels in [[1.0, 0.1, 0.4], [0.05, 1.0, 0.3]] {
            let modes = heard(&[(lines[0], levels[0]), (lines[1], levels[1]), (lines[2], levels[2])]);
            let (tones, _) = find_disc_tones(&modes, &disc).unwrap();
            approx::assert_relative_eq!(tones.two_diameters_hz.value, lines[0], max_relative = 1e-3);
            approx::assert_relative_eq!(tones.one_circle_hz.value, lines[1], max_relative = 1e-3);
        }
    }

    #[test]
    fn what_cannot_be_a_disc_is_refused() {
        let (disc, [two, circle, three]) = glass();
        let said = |lines: &[(f64, f64)]| find_disc_tones(&heard(lines), &disc).unwrap_err().to_string();
        // One tone alone, and the second with the third alone.
        let one = said(&[(two, 1.0)]);
        assert!(
            one.contains("no two are the two lowest tones") && one.contains("strike its centre"),
            "{one}"
        );
        let high = said(&[(circle, 1.0), (three, 0.5)]);
        assert!(high.contains("few materials") || high.contains("no two"), "{high}");
        let fat = Disc { thickness: Spread::exact(0.04), ..disc };
        let problem = find_disc_tones(&heard(&[(two, 1.0)]), &fat).unwrap_err().to_string();
        assert!(problem.contains("four times as wide as thick"), "{problem}");
        let exact = |hz| Spread::exact(hz);
        let tones =
            DiscTones { two_diameters_hz: exact(two), one_circle_hz: exact(three), loss_factor: None };
        let problem = disc_moduli(&disc, &tones).unwrap_err()[0].to_string();
        assert!(problem.contains("one of them is another tone"), "{problem}");
        let light = Disc { mass: exact(-1.0), ..disc };
        assert!(disc_moduli(&light, &tones).unwrap_err()[0].to_string().contains("mass"));
    }
}
