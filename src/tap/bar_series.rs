//! Which line is which tone of a free bar? The tones of a bar stand in known ratios.
//!
//! Every line is tried as every low tone (flexure across either side, torsion, lengthwise). Each choice
//! fixes the wave speed, and so the frequencies of all other tones. Its score rises with every other line
//! that fits a tone and falls with every expected tone that is missing. The choice with the highest score
//! is accepted if no choice with another modulus scores nearly as high.
//!
//! ```text
//! 2 - 2 cosh(b x) cos(b y) + c sinh(b x) sin(b y) = 0
//! c = b (b^2 r^2 (r^2 - s^2)^2 + 3 r^2 - s^2) / sqrt(1 - b^2 r^2 s^2)
//! x, y = sqrt((-+(r^2 + s^2) + sqrt((r^2 - s^2)^2 + 4 / b^2)) / 2)
//! b = omega L^2 sqrt(rho A / E I),  r^2 = I / (A L^2),  s^2 = r^2 E / (k G)
//! ```
//!
//! # Source
//! - `huang1961`: frequencies of a free bar with shear and rotary inertia
//! - `cowper1966`: the shear coefficient k

use super::bar::{Bar, BarMotion, BarTone};
use super::bar_equations::{BarShape, longitudinal_factor, torsion_factor_bar};
use super::measured_mode::MeasuredMode;
use std::f64::consts::{PI, TAU};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, Spread, show};

/// A tone that a bar should have.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Expected {
    motion: BarMotion,
    /// True when it bends along the width instead of the thickness.
    sideways: bool,
    /// Order, from 1 on.
    order: usize,
    /// Hz for a wave speed sqrt(E / rho) of 1 m/s.
    per_speed: f64,
}

/// Range of wave speeds of solids, m/s: from lead and soft plastics to ceramics.
///
/// # Source
/// - common practice
const SPEEDS: (f64, f64) = (500.0, 13_000.0);
/// Range for nearly all materials of bases and bars, m/s; outside of it the score is lowered, so that
/// more tones have to confirm it.
const USUAL: (f64, f64) = (1_400.0, 6_300.0);
/// Numbers of tones that are looked for: flexure along the thickness, along the width, and torsion.
const ORDERS: (usize, usize, usize) = (5, 3, 3);
/// Largest relative distance of a line from a flexural tone, and from a torsional or lengthwise one.
const NEAR: (f64, f64) = (0.007, 0.015);
/// By how much the best score must exceed that of any reading with another modulus.
const MARGIN: f64 = 0.4;
/// Relative difference from which two moduli count as different.
const APART: f64 = 0.05;

/// The first roots b of a free bar's flexure, rising, for the `r` and `s` of the equation above.
pub(super) fn flexure_roots(r: f64, s: f64, count: usize) -> Vec<f64> {
    let value = |b: f64| {
        let (sum, gap) = (r * r + s * s, ((r * r - s * s).powi(2) + 4.0 / (b * b)).sqrt());
        let (x, y) = ((0.5 * (gap - sum)).max(0.0).sqrt(), (0.5 * (gap + sum)).sqrt());
        let root = (1.0 - (b * r * s).powi(2)).max(1e-12).sqrt();
        let factor = b * (b * b * r * r * (r * r - s * s).powi(2) + 3.0 * r * r - s * s) / root;
        2.0 / (b * x).cosh() - 2.0 * (b * y).cos() + factor * (b * x).tanh() * (b * y).sin()
    };
    let last = if r * s > 0.0 { (0.98 / (r * s)).min(600.0) } else { 600.0 };
    let (mut roots, mut b, step) = (Vec::new(), 4.0, 0.25);
    while b + step < last && roots.len() < count {
        if value(b) * value(b + step) < 0.0 {
            let (mut low, mut high) = (b, b + step);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if value(low) * value(middle) <= 0.0 { high = middle } else { low = middle }
            }
            roots.push(0.5 * (low + high));
        }
        b += step;
    }
    roots
}

/// The tones of a bar with Poisson's ratio `nu`.
fn expected(shape: &BarShape, nu: f64) -> Vec<Expected> {
    let mut all = Vec::new();
    let mut flexure = |length: f64, gyration: f64, coefficient: f64, sideways: bool, count: usize| {
        let r = gyration / length;
        let s = r * (2.0 * (1.0 + nu) / coefficient).sqrt();
        let roots = flexure_roots(r, s, count);
        all.extend(roots.iter().enumerate().map(|(i, b)| Expected {
            motion: BarMotion::Flexure,
            sideways,
            order: i + 1,
            per_speed: b * gyration / (TAU * length * length),
        }));
    };
    let (length, torsion) = match *shape {
        BarShape::Rectangular { length, width, thickness } => {
            let (l, b, t) = (length.value, width.value, thickness.value);
            let coefficient = 10.0 * (1.0 + nu) / (12.0 + 11.0 * nu);
            flexure(l, t / 12f64.sqrt(), coefficient, false, ORDERS.0);
            if (b / t - 1.0).abs() > 0.02 {
                flexure(l, b / 12f64.sqrt(), coefficient, true, ORDERS.1);
            }
            (l, torsion_factor_bar(l, b, t))
        }
        BarShape::Round { length, diameter } => {
            let coefficient = 6.0 * (1.0 + nu) / (7.0 + 6.0 * nu);
            flexure(length.value, diameter.value / 4.0, coefficient, false, ORDERS.0);
            (length.value, 1.0)
        }
    };
    let shear = 1.0 / (2.0 * (1.0 + nu)).sqrt();
    all.extend((1..=ORDERS.2).map(|order| Expected {
        motion: BarMotion::Torsion,
        sideways: false,
        order,
        per_speed: order as f64 * shear / (2.0 * length * torsion.sqrt()),
    }));
    all.push(Expected {
        motion: BarMotion::Longitudinal,
        sideways: false,
        order: 1,
        per_speed: longitudinal_factor(shape, nu).sqrt() / (2.0 * length),
    });
    all
}

/// One assignment of tones to the lines.
#[derive(Debug, Clone)]
struct Reading {
    /// sqrt(E / rho), m/s.
    speed: f64,
    score: f64,
    /// By line: the tone assigned to it.
    tones: Vec<Option<Expected>>,
}

/// How much a line counts, by its level relative to the strongest, dB.
fn weight(level_db: f64) -> f64 {
    (1.0 + 0.4 * level_db / 40.0).clamp(0.4, 1.0)
}

/// How plausible a tone is by itself, in a bar struck so as to excite `struck`.
fn prior(tone: &Expected, struck: BarMotion) -> f64 {
    let of_motion = match (struck == tone.motion, tone.sideways) {
        (true, false) => 1.0,
        (true, true) => 0.6,
        (false, _) => 0.5,
    };
    of_motion * [1.0, 0.7, 0.5, 0.4, 0.3][tone.order - 1]
}

fn read_as(
    modes: &[&MeasuredMode],
    tones: &[Expected],
    anchor: (usize, usize),
    struck: BarMotion,
) -> Option<Reading> {
    let (line, tone) = anchor;
    let speed = modes[line].frequency_hz.value / tones[tone].per_speed;
    if !(SPEEDS.0..SPEEDS.1).contains(&speed) {
        return None;
    }
    let mut named: Vec<Option<Expected>> = vec![None; modes.len()];
    let mut free = vec![true; tones.len()];
    named[line] = Some(tones[tone]);
    free[tone] = false;
    let usual = if (USUAL.0..USUAL.1).contains(&speed) { 1.0 } else { 0.4 };
    let mut score = weight(modes[line].level_db) * prior(&tones[tone], struck) * usual;
    let mut order: Vec<usize> = (0..modes.len()).filter(|i| *i != line).collect();
    order.sort_by(|a, b| modes[*b].level_db.total_cmp(&modes[*a].level_db));
    let lowest = tones.iter().map(|tone| tone.per_speed).fold(f64::MAX, f64::min) * speed;
    let highest = tones.iter().map(|tone| tone.per_speed).fold(0.0, f64::max) * speed;
    for i in order {
        let f = modes[i].frequency_hz.value;
        let off = |tone: &Expected| {
            let near = if tone.motion == BarMotion::Flexure { NEAR.0 } else { NEAR.1 };
            (f / (tone.per_speed * speed) - 1.0).abs() / near
        };
        let best = (0..tones.len())
            .filter(|k| free[*k])
            .min_by(|a, b| off(&tones[*a]).total_cmp(&off(&tones[*b])))
            .filter(|k| off(&tones[*k]) < 1.0);
        match best {
            Some(k) => {
                free[k] = false;
                named[i] = Some(tones[k]);
                // Poisson's ratio is varied too, so that torsion fits easily and counts less.
                let counts = if tones[k].motion == BarMotion::Flexure { 1.0 } else { 0.5 };
                score += counts * weight(modes[i].level_db) * (0.4 + 0.6 * prior(&tones[k], struck));
            }
            // A line below all tones is the bar bouncing on its supports, and costs nothing.
            None if f > 0.9 * lowest && f < 1.1 * highest => score -= 0.4 * weight(modes[i].level_db),
            None => {}
        }
    }
    // Tones missing below the highest tone of the struck motion.
    let of_struck = |tone: &&Expected| tone.motion == struck && !tone.sideways;
    let top = named.iter().flatten().filter(of_struck).map(|tone| tone.order).max().unwrap_or(0);
    let heard = named.iter().flatten().filter(of_struck).count();
    score -= 0.5 * (top - heard.min(top)) as f64;
    // A bar struck for a motion should ring in it.
    if heard == 0 {
        score -= 0.5;
    }
    Some(Reading { speed, score, tones: named })
}

/// The first tone of the motion `struck` among `modes` of `bar`. Where only an overtone is heard, the
/// first tone that follows from it. If Young's modulus is known (`youngs`, Pa), the result must agree
/// with it within a fifth.
///
/// # Errors
/// Lines that no solid bar of these sizes could give, two different moduli that fit about equally well,
/// or no tone of the struck motion. The message lists what is heard.
pub fn find_first_tone(
    modes: &[MeasuredMode],
    bar: &Bar,
    struck: BarMotion,
    youngs: Option<f64>,
) -> Result<(BarTone, Vec<Problem>), Problem> {
    let lines: Vec<&MeasuredMode> = modes.iter().filter(|mode| mode.level_db > -45.0).collect();
    let volume = match bar.shape {
        BarShape::Rectangular { length, width, thickness } => length.value * width.value * thickness.value,
        BarShape::Round { length, diameter } => length.value * PI / 4.0 * diameter.value.powi(2),
    };
    let density = bar.mass.value / volume;
    let mut readings: Vec<Reading> = Vec::new();
    let ratios = [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45];
    for nu in ratios.into_iter().chain([bar.poissons_ratio.value]) {
        let tones = expected(&bar.shape, nu);
        for line in 0..lines.len() {
            for tone in 0..tones.len() {
                readings.extend(read_as(&lines, &tones, (line, tone), struck));
            }
        }
    }
    let modulus = |reading: &Reading| density * reading.speed * reading.speed;
    readings.retain(|reading| youngs.is_none_or(|known| (modulus(reading) / known - 1.0).abs() < 0.2));
    readings.sort_by(|a, b| b.score.total_cmp(&a.score));
    let heard: Vec<String> =
        lines.iter().map(|mode| show(mode.frequency_hz.value, Kind::Frequency)).collect();
    let place = || Place::key("--bar");
    let Some(best) = readings.first() else {
        let message =
            format!("what is heard ({}) is no tone of a solid bar of these sizes", heard.join(", "));
        return Err(Problem::error(place(), message).with_help(strike(struck)));
    };
    let rival = readings.iter().find(|other| (modulus(other) / modulus(best) - 1.0).abs() > APART);
    if let Some(rival) = rival.filter(|rival| best.score - rival.score < MARGIN) {
        let message = format!(
            "what is heard ({}) may be read as {} or as {}",
            heard.join(", "),
            show(modulus(best), Kind::Stress),
            show(modulus(rival), Kind::Stress)
        );
        return Err(Problem::error(place(), message).with_help(strike(struck)));
    }
    let of_struck = |(_, tone): &(usize, &Option<Expected>)| {
        tone.is_some_and(|tone| tone.motion == struck && !tone.sideways)
    };
    let own = best.tones.iter().enumerate().filter(of_struck);
    let own = own.filter_map(|(i, tone)| tone.map(|tone| (i, tone))).min_by_key(|(_, tone)| tone.order);
    let Some((line, tone)) = own else {
        let what: Vec<String> =
            best.tones.iter().zip(&heard).filter_map(|(t, f)| Some(said(t.as_ref()?, f))).collect();
        let message = format!("{} is not heard, but {}", name(struck), what.join(", "));
        return Err(Problem::error(place(), message).with_help(strike(struck)));
    };
    let mut notes = Vec::new();
    let mut frequency_hz = lines[line].frequency_hz;
    if tone.order > 1 {
        let first = expected(&bar.shape, bar.poissons_ratio.value)
            .into_iter()
            .find(|other| other.motion == struck && !other.sideways && other.order == 1);
        let ratio = first.map_or(1.0, |first| first.per_speed / tone.per_speed);
        let scaled = |f: f64, by: f64| f * ratio * by;
        // The ratio of the tones depends slightly on Poisson's ratio.
        frequency_hz = Spread::between(
            scaled(frequency_hz.value, 1.0),
            scaled(frequency_hz.low, 0.995),
            scaled(frequency_hz.high, 1.005),
        );
        let message = format!(
            "the first tone, at {}, is not heard; it follows from the {}",
            show(frequency_hz.value, Kind::Frequency),
            said(&tone, &heard[line])
        );
        notes.push(Problem::warning(place(), message).with_help(strike(struck)));
    }
    let confirmed = best.tones.iter().flatten().count() > 1;
    if !confirmed && youngs.is_none() {
        let message = format!("no other tone confirms {} at {}", name(struck), heard[line]);
        notes.push(
            Problem::warning(place(), message).with_help("strike harder, with something small and hard"),
        );
    }
    Ok((BarTone { motion: struck, frequency_hz, loss_factor: lines[line].loss_factor }, notes))
}

fn name(motion: BarMotion) -> &'static str {
    match motion {
        BarMotion::Flexure => "flexure",
        BarMotion::Torsion => "torsion",
        BarMotion::Longitudinal => "the lengthwise tone",
    }
}

fn said(tone: &Expected, heard: &str) -> String {
    let order = ["first", "second", "third", "fourth", "fifth"][tone.order - 1];
    let side = if tone.sideways { " across the wide side" } else { "" };
    match tone.motion {
        BarMotion::Longitudinal => format!("the lengthwise tone ({heard})"),
        motion => format!("{order} tone of {}{side} ({heard})", name(motion)),
    }
}

/// How to strike for a motion, as advice for another attempt.
fn strike(motion: BarMotion) -> &'static str {
    match motion {
        BarMotion::Flexure => {
            "rest it on soft foam at 0.224 of its length from each end, strike the middle of the broad face, and \
             listen above an end"
        }
        BarMotion::Torsion => {
            "rest it on foam along both centre lines, strike near an edge at 0.224 of its length, and listen at the \
             opposite corner"
        }
        BarMotion::Longitudinal => {
            "hold it in the middle, strike one end along its axis, and listen at the other"
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::bar_equations::flexure_factor_bar;
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
    use super::*;

    fn bar(length: f64, width: f64, thickness: f64, density: f64) -> Bar {
        let exact = Spread::exact;
        Bar {
            shape: BarShape::Rectangular {
                length: exact(length),
                width: exact(width),
                thickness: exact(thickness),
            },
            mass: exact(length * width * thickness * density),
            poissons_ratio: exact(0.25),
        }
    }

    /// Relative deviation of the tones of a synthetic bar from theory.
    const OFF: f64 = 0.003;

    /// Modes read from a synthetic record of a bar with modulus `e` and Poisson's ratio 0.33: its tones
    /// with the amplitudes in `levels`, and `others` as (Hz, amplitude).
    fn heard(
        bar: &Bar,
        e: f64,
        levels: &[(BarMotion, bool, usize, f64)],
        others: &[(f64, f64)],
    ) -> Vec<MeasuredMode> {
        let BarShape::Rectangular { length, width, thickness } = bar.shape else { return Vec::new() };
        let speed = (e * length.value * width.value * thickness.value / bar.mass.value).sqrt();
        let tones = expected(&bar.shape, 0.33);
        let of = |(motion, sideways, order, amplitude): &(BarMotion, bool, usize, f64)| {
            let is = |t: &&Expected| t.motion == *motion && t.sideways == *sideways && t.order == *order;
            (tones.iter().find(is).unwrap().per_speed * speed, *amplitude)
        };
        // A real bar is neither quite straight nor quite uniform.
        let real = |(i, (f, a)): (usize, (f64, f64))| (f * (1.0 + OFF * (17.0 * i as f64 + f).sin()), a);
        let own = levels.iter().map(of).enumerate().map(real);
        let modes = own.chain(others.iter().copied()).map(|(frequency_hz, amplitude)| SyntheticMode {
            frequency_hz,
            loss_factor: 2e-3,
            rise: 0.0,
            amplitudes: vec![amplitude],
            phase: 0.0,
        });
        let recipe = SyntheticRecord {
            sample_rate_hz: 44100.0,
            duration_s: 1.2,
            modes: modes.collect(),
            taps: vec![SyntheticTap { time_s: 0.2, strength: 1.0 }],
            noise: 1e-4,
            seed: 4,
            offset: 0.0,
            limit: None,
            step: None,
        };
        read_taps(&synthesise(&recipe).unwrap(), &ReadingOptions::default()).unwrap().modes
    }

    #[test]
    fn roots_of_slender_and_of_deep_bars() {
        // Slender: (4.73004, 7.85320, 10.99561)^2; deep: by the correction of the standard.
        let slender = flexure_roots(1e-4, 1e-4, 3);
        for (root, want) in slender.iter().zip([22.3733, 61.6728, 120.9034]) {
            assert!((root / want - 1.0).abs() < 1e-5, "{slender:?}");
        }
        for t in [0.05, 0.1] {
            let (nu, r) = (0.3, t / 12f64.sqrt());
            let s = r * (2.6f64 / (13.0 / 15.3)).sqrt();
            let first = flexure_roots(r, s, 1)[0];
            let factor = (22.3733f64 / first).powi(2);
            assert!((factor / flexure_factor_bar(t, nu) - 1.0).abs() < 2e-3, "{t}: {factor}");
        }
    }

    const FLEXURE: (BarMotion, bool) = (BarMotion::Flexure, false);

    fn youngs(bar: &Bar, tone: &BarTone) -> f64 {
        super::super::bar::bar_moduli(bar, std::slice::from_ref(tone))
            .unwrap()
            .youngs_modulus_pa
            .unwrap()
            .value
    }

    #[test]
    fn the_bounce_and_a_node_do_not_mislead() {
        let stone = bar(0.25, 0.04, 0.02, 2700.0);
        let (m, s) = FLEXURE;
        let struck = [(m, s, 1, 1.0), (m, s, 2, 0.4), (BarMotion::Torsion, false, 1, 0.1)];
        let modes = heard(&stone, 30e9, &struck, &[(27.0, 1.5)]);
        let (tone, notes) = find_first_tone(&modes, &stone, BarMotion::Flexure, None).unwrap();
        assert!((youngs(&stone, &tone) / 30e9 - 1.0).abs() < 0.01, "{tone:?}");
        assert!(notes.is_empty(), "{notes:?}");
        // Struck at a node of the first tone: two overtones alone may also fit another modulus.
        let modes = heard(&stone, 30e9, &[(m, s, 2, 1.0), (m, s, 3, 0.4)], &[]);
        match find_first_tone(&modes, &stone, BarMotion::Flexure, None) {
            Ok((tone, _)) => assert!((youngs(&stone, &tone) / 30e9 - 1.0).abs() < 0.03, "{tone:?}"),
            Err(problem) => assert!(problem.to_string().contains("may be read as"), "{problem}"),
        }
        // More tones fit one modulus alone.
        let many = [(m, s, 2, 1.0), (m, s, 3, 0.4), (m, s, 4, 0.2), (BarMotion::Torsion, false, 1, 0.2)];
        let (tone, notes) =
            find_first_tone(&heard(&stone, 30e9, &many, &[]), &stone, BarMotion::Flexure, None).unwrap();
        assert!((youngs(&stone, &tone) / 30e9 - 1.0).abs() < 0.03, "{tone:?}");
        assert!(notes[0].message.contains("is not heard"), "{notes:?}");
    }

    #[test]
    fn the_wrong_face_is_refused_or_seen_through() {
        let stone = bar(0.25, 0.04, 0.02, 2700.0);
        let (m, _) = FLEXURE;
        let struck = [(m, true, 1, 1.0), (m, true, 2, 0.4), (m, false, 1, 0.05), (m, false, 2, 0.05)];
        match find_first_tone(&heard(&stone, 30e9, &struck, &[]), &stone, BarMotion::Flexure, None) {
            Ok((tone, _)) => assert!((youngs(&stone, &tone) / 30e9 - 1.0).abs() < 0.02, "{tone:?}"),
            Err(problem) => assert!(problem.to_string().contains("broad face"), "{problem}"),
        }
    }

    #[test]
    fn what_no_solid_bar_sounds_is_refused() {
        let stone = bar(0.25, 0.04, 0.02, 2700.0);
        let problem =
            find_first_tone(&heard(&stone, 30e9, &[], &[(27.0, 1.0)]), &stone, BarMotion::Flexure, None);
        let problem = problem.unwrap_err().to_string();
        assert!(problem.contains("27 Hz") && problem.contains("no tone of a solid bar"), "{problem}");
    }

    #[test]
    fn bars_of_all_kinds_are_read_right_or_refused() {
        use rand::{RngExt, SeedableRng};
        let (mut right, mut refused, mut wrong) = ([0; 3], [0; 3], Vec::new());
        for seed in 0..90 {
            let mut random = rand::rngs::StdRng::seed_from_u64(seed);
            let mut over = |low: f64, high: f64| low * (high / low).powf(random.random::<f64>());
            let length = over(0.15, 0.4);
            let thickness = length / over(8.0, 25.0);
            let bar = bar(length, thickness * over(1.3, 3.0), thickness, over(1200.0, 8000.0));
            let density = bar.mass.value
                / (length
                    * thickness
                    * match bar.shape {
                        BarShape::Rectangular { width, .. } => width.value,
                        BarShape::Round { .. } => 1.0,
                    });
            let e = density * over(1800.0, 5600.0).powi(2);
            let (m, t) = (BarMotion::Flexure, BarMotion::Torsion);
            // Three kinds: struck properly, struck at a node of the first tone, struck on the narrow face.
            let kind = (seed % 3) as usize;
            let struck = match kind {
                0 => vec![
                    (m, false, 1, 1.0),
                    (m, false, 2, over(0.02, 0.5)),
                    (m, false, 3, over(0.02, 0.5)),
                    (t, false, 1, over(0.01, 0.2)),
                    (m, true, 1, over(0.01, 0.2)),
                ],
                1 => vec![
                    (m, false, 2, 1.0),
                    (m, false, 3, over(0.1, 0.6)),
                    (t, false, 1, over(0.05, 0.3)),
                    (m, true, 1, over(0.01, 0.1)),
                ],
                _ => vec![
                    (m, true, 1, 1.0),
                    (m, true, 2, over(0.1, 0.5)),
                    (m, false, 1, over(0.02, 0.2)),
                    (m, false, 2, over(0.02, 0.2)),
                    (t, false, 1, over(0.02, 0.3)),
                ],
            };
            let modes = heard(&bar, e, &struck, &[(over(15.0, 60.0), over(0.1, 2.0))]);
            match find_first_tone(&modes, &bar, m, None) {
                Ok((tone, _)) if (youngs(&bar, &tone) / e - 1.0).abs() < 0.04 => right[kind] += 1,
                Ok((tone, _)) => wrong.push((seed, kind, youngs(&bar, &tone) / e)),
                Err(_) => refused[kind] += 1,
            }
        }
        println!("right {right:?}, refused {refused:?}, wrong {wrong:?}");
        assert!(right[0] >= 27 && wrong.len() <= 4, "right {right:?}, refused {refused:?}, wrong {wrong:?}");
    }
}
