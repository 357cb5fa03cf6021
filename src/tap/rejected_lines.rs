//! Which lines are modes? The others are listed with the reason for dropping them.
//!
//! A line is dropped if it is heard without the tap, if the other taps do not repeat it, if it is a
//! combination tone of others (a sum of their frequencies and of their decays, as overdriving the recorder
//! makes), or if it is weak and lies in the skirt of a strong one. Lines nearer than their width are one.
//!
//! ```text
//! sum:    omega = |sum_i k_i omega_i|,  sigma = sum_i |k_i| sigma_i,  sum |k_i| = 2 or 3
//! ```

use super::COVERAGE;
use super::background_tone::Background;
use super::identify::Mode;
use super::noise_floor::{level_quantile, median};
use super::reverberation::Room;
use serde::Serialize;
use std::f64::consts::TAU;
use stillbed_input::quantity::{Kind, show};

/// A line that is not taken for a mode.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RejectedLine {
    /// Hz.
    pub frequency_hz: f64,
    /// Level where the reading begins, relative to the strongest line, dB.
    pub level_db: f64,
    /// Why it is no mode.
    pub reason: String,
}

/// Strength over that of the strongest line below which a line is no mode.
const WEAK: f64 = 3e-3;
/// The same next to a bent mode, or in a record of poor quality.
const WEAK_BESIDE: f64 = 0.02;
/// A line in the skirt of another is part of it below this part of its strength.
const SKIRT: f64 = 0.15;
/// Half-width of the skirt of a line, in decay rates, and in parts of its frequency where it is bent or
/// the record poor.
const SKIRT_REACH: (f64, f64) = (6.0, 0.02);

/// The lines of a record, sifted.
pub(super) struct SortedLines {
    /// The modes, the strongest first.
    pub(super) modes: Vec<Mode>,
    /// The other lines.
    pub(super) dropped: Vec<RejectedLine>,
    /// The room that the dropped lines reveal.
    pub(super) room: Option<Room>,
    /// True when there are tones that only overdriving makes.
    pub(super) overdriven: bool,
}

/// Sifts `modes`. `poor` is true for a record whose faults add lines.
pub(super) fn reject_lines(
    modes: Vec<Mode>,
    background: &Background,
    poor: bool,
    is_sound: bool,
) -> SortedLines {
    let mut modes = modes;
    modes.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    let mut dropped: Vec<RejectedLine> = Vec::new();
    let alone = |mode: &Mode| as_short_as_a_blow(mode).or_else(|| background.reason(mode));
    let mut lines: Vec<(Mode, Option<String>)> =
        modes.into_iter().map(|mode| (alone(&mode), mode)).map(|(reason, mode)| (mode, reason)).collect();
    let top = lines.iter().find(|(_, r)| r.is_none()).map_or(0.0, |(mode, _)| strength(mode));
    let mut kept: Vec<Mode> = Vec::new();
    for (mode, reason) in lines.drain(..) {
        let reason = reason.or_else(|| reason_among(&mode, &mut kept, top, poor));
        match reason {
            Some(reason) => dropped.push(RejectedLine {
                frequency_hz: mode.ringing / TAU,
                level_db: 20.0 * (strength(&mode) / top.max(f64::MIN_POSITIVE)).log10(),
                reason,
            }),
            None => kept.push(mode),
        }
    }
    // Only a microphone hears the room.
    let room = if is_sound { drop_families(&mut kept, &mut dropped, top) } else { None };
    let overdriven = dropped.iter().any(|line| line.reason.contains(OVERDRIVING));
    SortedLines { modes: kept, dropped, room, overdriven }
}

/// A family: at least so many weak lines next to a strong one, within this part of its frequency.
pub(super) const FAMILY: (usize, f64) = (2, 0.15);
/// At least so many such lines with about the same decay show a room.
const ROOM_LINES: usize = 3;
/// Strength of a weak line over that of the strong one.
pub(super) const COMPANION: f64 = 0.4;

/// Drops the weak lines around a strong one: modes of the room that the strong one excites.
///
/// When the middle half of their decay rates lies within a factor of two, the room is returned.
fn drop_families(kept: &mut Vec<Mode>, dropped: &mut Vec<RejectedLine>, top: f64) -> Option<Room> {
    let (mut decays, mut powers) = (Vec::new(), 0.0);
    let weak = |mode: &Mode, strong: &Mode| {
        strength(mode) < COMPANION * strength(strong)
            && strong.apart(mode.ringing) < FAMILY.1 * strong.ringing
    };
    let all = std::mem::take(kept);
    let strongs: Vec<usize> = (0..all.len())
        .filter(|s| all.iter().filter(|mode| weak(mode, &all[*s])).count() >= FAMILY.0)
        .collect();
    let of: Vec<Option<f64>> = all
        .iter()
        .map(|mode| strongs.iter().find(|s| weak(mode, &all[**s])).map(|s| all[*s].ringing / TAU))
        .collect();
    for (mode, strong) in all.into_iter().zip(of) {
        match strong {
            Some(strong) => {
                decays.push(mode.decay);
                powers += strength(&mode).powi(2);
                dropped.push(RejectedLine {
                    frequency_hz: mode.ringing / TAU,
                    level_db: 20.0 * (strength(&mode) / top.max(f64::MIN_POSITIVE)).log10(),
                    reason: format!(
                        "one of several weak lines around the mode at {}, as a room makes them",
                        show(strong, Kind::Frequency)
                    ),
                });
            }
            None => kept.push(mode),
        }
    }
    let (low, middle, high) = (level_quantile(&decays, 0.25), median(&decays), level_quantile(&decays, 0.75));
    let alike = decays.len() >= ROOM_LINES && low > 0.0 && high < 2.0 * low;
    alike.then(|| Room::of(middle, powers.sqrt() / top.max(f64::MIN_POSITIVE)))
}

/// Periods for which a line has to be heard.
const LEAST_PERIODS: f64 = 3.0;
/// Longest contact of a striker with a part, s, and loss factor above which a line that dies within it is the
/// blow itself: a hammer with a hard tip is off after one or two thousandths of a second.
///
/// # Source
/// - common practice
const BLOW: (f64, f64) = (0.003, 0.1);

/// The reason when `mode` dies as fast as the blow does: then it tells how the part was hit, not how it rings.
fn as_short_as_a_blow(mode: &Mode) -> Option<String> {
    let loss = 2.0 * mode.decay / mode.ringing;
    let is_blow =
        mode.listened_s * mode.ringing < LEAST_PERIODS * TAU || mode.decay * BLOW.0 > 1.0 && loss > BLOW.1;
    is_blow.then(|| "gone as fast as the blow itself".into())
}

/// Why `mode` is no mode, given the stronger ones `kept`; one of those may take it in.
fn reason_among(mode: &Mode, kept: &mut [Mode], top: f64, poor: bool) -> Option<String> {
    let own = strength(mode);
    let hertz = |mode: &Mode| show(mode.ringing / TAU, Kind::Frequency);
    if let Some(other) = kept.iter_mut().find(|other| same(other, mode)) {
        other.take_in(mode);
        return Some(format!("one with the mode at {}", hertz(other)));
    }
    let bends = |other: &Mode| !other.curve.is_empty();
    let skirted = |other: &&Mode| {
        let reach = (SKIRT_REACH.0 * other.decay).max(if bends(other) || poor {
            SKIRT_REACH.1 * other.ringing
        } else {
            0.0
        });
        own < SKIRT * strength(other) && other.apart(mode.ringing) < reach && (bends(other) || poor)
    };
    if let Some(other) = kept.iter().find(skirted) {
        return Some(format!("in the skirt of the mode at {}", hertz(other)));
    }
    if let Some(sum) = sum_of(mode, kept, poor) {
        return Some(sum);
    }
    let least = if poor || kept.iter().any(bends) { WEAK_BESIDE } else { WEAK };
    if own < least * top {
        return Some("too weak beside the strongest".into());
    }
    not_repeated(mode, kept)
}

/// True when two lines differ by less than their width.
fn same(a: &Mode, b: &Mode) -> bool {
    a.apart(b.ringing).min(b.apart(a.ringing)) < a.decay.max(b.decay).max(0.0)
}

/// Harmonics that overdriving makes. The fourth and the ninth are left out, since a simply supported beam
/// has modes there.
const OVERTONES: [f64; 4] = [2.0, 3.0, 5.0, 7.0];
/// Part of the stated reason for tones that the structure does not have.
const OVERDRIVING: &str = "overdriving makes";
/// Strength of an overtone over that of its tone, at most.
const OVERTONE: f64 = 0.2;
/// The same of one that decays as many times as fast as its order is.
const LOUD_OVERTONE: f64 = 0.45;

/// Largest error of a frequency, relative, with which a line may still lie on an overtone.
const VAGUE: f64 = 0.01;

/// The reason when `mode` is a harmonic, a sum or a difference of stronger lines.
fn sum_of(mode: &Mode, kept: &[Mode], poor: bool) -> Option<String> {
    let own = strength(mode);
    let parents: Vec<&Mode> =
        kept.iter().filter(|other| own < LOUD_OVERTONE * strength(other)).take(4).collect();
    let bend = |mode: &Mode| mode.reach().1 - mode.reach().0;
    let said = |k: i32, mode: &Mode| format!("{k} times {}", show(mode.ringing / TAU, Kind::Frequency));
    for a in &parents {
        let order = (mode.ringing / a.ringing).round();
        let reach = |mode: &Mode| COVERAGE * mode.variance.sqrt();
        // A harmonic never outlasts its tone. In a record without other faults the n-th decays n times as
        // fast; an odd one, which clipping makes, is gone even sooner, when the tone no longer clips.
        let fast = mode.decay / a.decay;
        let least = if poor { 0.8 } else { 0.5 * order };
        let dies = mode.decay + reach(mode) > least * (a.decay - reach(a))
            && (poor || order != 2.0 || fast < 2.0 * order);
        // One as loud as clipping hard makes it has to decay as it should.
        let most = if (0.8 * order..1.25 * order).contains(&fast) { LOUD_OVERTONE } else { OVERTONE };
        if !dies || own > most * strength(a) {
            continue;
        }
        // That a line of which hardly more is known than where it is lies near an overtone tells nothing.
        let own_reach = reach(mode).min(VAGUE * mode.ringing);
        let near = 1e-3 * mode.ringing + order * (bend(a) + reach(a)) + own_reach;
        if OVERTONES.contains(&order) && (mode.ringing - order * a.ringing).abs() < near {
            return Some(format!("an overtone that {OVERDRIVING}: {}", said(order as i32, a)));
        }
    }
    let parents: Vec<&&Mode> = parents.iter().filter(|other| own < 0.3 * strength(other)).collect();
    for (i, a) in parents.iter().enumerate() {
        for b in &parents[i + 1..] {
            for (k, l) in [(1, 1), (1, -1), (2, 1), (2, -1), (1, 2), (-1, 2)] {
                let (x, y) = (f64::from(k), f64::from(l));
                let ringing = (x * a.ringing + y * b.ringing).abs();
                let decay = x.abs() * a.decay + y.abs() * b.decay;
                let near = COVERAGE * mode.variance.sqrt()
                    + (0.5 * decay).min(4e-3 * mode.ringing)
                    + x.abs() * bend(a)
                    + y.abs() * bend(b);
                if (ringing - mode.ringing).abs() < near && (0.5..2.0).contains(&(mode.decay / decay)) {
                    return Some(format!("a tone that {OVERDRIVING}: {} and {}", said(k, a), said(l, b)));
                }
            }
        }
    }
    None
}

/// The reason when most of the taps in which `mode` should be heard lack it.
fn not_repeated(mode: &Mode, kept: &[Mode]) -> Option<String> {
    let taps: std::collections::BTreeSet<usize> = mode.starts.iter().map(|start| start.0).collect();
    if taps.len() < 2 {
        return None;
    }
    let blow = |tap: usize| kept.iter().take(3).map(|other| of_tap(other, tap).powi(2)).sum::<f64>().sqrt();
    let strongest = taps.iter().copied().max_by(|a, b| of_tap(mode, *a).total_cmp(&of_tap(mode, *b)))?;
    let ratio = of_tap(mode, strongest) / blow(strongest).max(f64::MIN_POSITIVE);
    // Standard error of the amplitude after one tap, from the noise in the band.
    let error = (mode.noise * (2.0 * mode.decay / mode.rate_hz).clamp(1e-3, 1.0)).sqrt();
    let (mut asked, mut without) = (0, 0);
    for tap in taps.iter().copied().filter(|tap| *tap != strongest) {
        let expected = ratio * blow(tap);
        if expected > 6.0 * error {
            asked += 1;
            without += usize::from(of_tap(mode, tap) < (0.15 * expected).max(2.0 * error));
        }
    }
    (asked > 0 && 2 * without > asked).then(|| format!("only one of {} taps has it", asked + 1))
}

/// Amplitude of a mode after one tap, all channels together.
fn of_tap(mode: &Mode, tap: usize) -> f64 {
    mode.starts.iter().filter(|start| start.0 == tap).map(|start| start.2.norm_sqr()).sum::<f64>().sqrt()
}

/// Largest amplitude of a mode over the taps, all channels together.
pub(super) fn strength(mode: &Mode) -> f64 {
    mode.starts.iter().map(|start| of_tap(mode, start.0)).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::super::identify::clear_line;
    use super::*;

    #[test]
    fn the_blow_itself_is_no_mode() {
        assert!(as_short_as_a_blow(&clear_line(1300.0, 0.3, 1.0)).is_some());
        // A foot of rubber, and a mode of high frequency that rings for many periods.
        assert!(as_short_as_a_blow(&clear_line(12.0, 0.3, 1.0)).is_none());
        assert!(as_short_as_a_blow(&clear_line(9000.0, 0.02, 1.0)).is_none());
        let short = Mode { listened_s: 0.017, ..clear_line(97.0, 0.2, 1.0) };
        assert!(as_short_as_a_blow(&short).is_some());
    }

    #[test]
    fn an_overtone_may_die_sooner_than_its_tone_but_not_later() {
        let is_overtone = |order: f64, loss: f64, own: f64| {
            let kept = [clear_line(100.0, 0.01, 1.0)];
            sum_of(&clear_line(100.0 * order, loss, own), &kept, false).is_some()
        };
        // As clipping makes the third: far sooner gone, or as loud as a third.
        assert!(is_overtone(3.0, 0.06, 0.1) && is_overtone(3.0, 0.01, 0.33));
        assert!(!is_overtone(3.0, 0.06, 0.33) && !is_overtone(3.0, 0.002, 0.1));
        // Clipping on both sides makes no second one.
        assert!(!is_overtone(2.0, 0.06, 0.1) && is_overtone(2.0, 0.01, 0.1));
        assert!(!is_overtone(3.01, 0.01, 0.1));
        // The tone's decay is known badly: its overtone may yet be one.
        let tone = Mode {
            variance: 0.25 * clear_line(100.0, 0.04, 1.0).decay.powi(2),
            ..clear_line(100.0, 0.04, 1.0)
        };
        assert!(sum_of(&clear_line(300.0, 0.01, 0.1), &[tone], false).is_some());
    }
}
