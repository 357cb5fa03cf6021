//! Which modes keep their frequency and get no loss factor, and why?
//!
//! A line that the recorder, a room or the noise may have made has a decay of its own, which is none of the
//! structure. Where a record cannot tell, a bound is stated instead, with the reason and what to do.

use super::identify::Mode;
use super::rejected_lines::{COMPANION, FAMILY, strength};

/// Why no loss factor is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doubt {
    /// Weak, in a record whose faults add weak lines.
    Faults,
    /// Beside another line, as a room, or samples at uneven times, make several of one.
    Split,
    /// Beside a stronger line, and not louder than what the two leave unexplained.
    Blurred,
    /// Weak, and faint or heard after one tap alone.
    Faint,
    /// Heard through a recorder that may turn its gain by itself.
    Gain,
}

impl Doubt {
    /// All of them.
    pub(super) const ALL: [Doubt; 5] =
        [Doubt::Faults, Doubt::Split, Doubt::Blurred, Doubt::Faint, Doubt::Gain];

    /// What is said of the lines, and what is to be done.
    pub(super) fn said(self) -> (&'static str, &'static str) {
        match self {
            Doubt::Faults => (
                "so weak that the faults of this record may have made them",
                "tap harder and nearer to where this mode moves, and mend what is said of the record",
            ),
            Doubt::Split => (
                "beside other lines, as a room or uneven time steps make several of one",
                "put a sensor on the part and sample evenly, or the microphone close to it",
            ),
            Doubt::Blurred => (
                "beside a stronger line, and no louder than what both leave unexplained",
                "tap where the stronger one stands still, more softly, and several times",
            ),
            Doubt::Faint => ("weak, and faint or heard after one tap alone", "tap several times, and harder"),
            Doubt::Gain => (
                "heard through a recorder that may turn its gain by itself",
                "switch the automatic gain off and state so (--fixed-gain), or use an accelerometer",
            ),
        }
    }
}

/// What is known of the record.
pub(super) struct Circumstances {
    /// Its faults add weak lines.
    pub(super) faulty: bool,
    pub(super) is_sound: bool,
    /// Its samples were interpolated between uneven times.
    pub(super) uneven: bool,
    /// It was read after one tap.
    pub(super) once: bool,
    /// It cannot be told whether the recorder turned its gain by itself.
    pub(super) untold_gain: bool,
}

/// Strength over that of the strongest mode below which no loss factor is stated: in a record whose faults
/// add lines; with a single tap, or of a faint line; of a faint line with a single tap.
const WEAK: (f64, f64, f64) = (0.125, 0.05, 0.2);
/// Distance from another line, in decay rates, below which the two are not clearly apart.
const APART: f64 = 6.0;
/// Strength over that of a line beside it below which a line may be a part of that one.
const PART: (f64, f64) = (1.25, 0.5);
/// A line is faint when its energy is less than this many variances of the noise, and clear above the other.
const FAINT: (f64, f64) = (3e3, 3e4);
/// Energy that its band leaves unexplained over that of a line: above the first it is not clear, above the second
/// it is blurred.
const UNEXPLAINED: (f64, f64) = (0.01, 0.05);

/// Why no loss factor is stated for `mode`, one of `modes`; `None` when there is no doubt.
pub(super) fn doubt(mode: &Mode, modes: &[Mode], of: &Circumstances) -> Option<Doubt> {
    let own = strength(mode);
    let top = modes.iter().map(strength).fold(0.0, f64::max);
    if of.faulty && own < WEAK.0 * top {
        return Some(Doubt::Faults);
    }
    let others = || modes.iter().filter(|other| !std::ptr::eq(*other, mode));
    let near = |other: &&Mode| other.apart(mode.ringing) < FAMILY.1 * other.ringing;
    let beside = |other: &&Mode| other.apart(mode.ringing) < APART * mode.decay.max(other.decay);
    let weaker = |part: f64| move |other: &&Mode| own < part * strength(other);
    let clear = mode.over_noise > FAINT.1 && mode.unexplained < UNEXPLAINED.0;
    if (of.is_sound || of.uneven) && others().filter(near).any(|other| weaker(COMPANION)(&other))
        || of.is_sound && !clear && others().filter(near).filter(beside).any(|other| weaker(PART.0)(&other))
    {
        return Some(Doubt::Split);
    }
    let blurred = mode.unexplained > UNEXPLAINED.1;
    if blurred && others().filter(beside).any(|other| weaker(PART.1)(&other)) {
        return Some(Doubt::Blurred);
    }
    let faint = mode.over_noise < FAINT.0;
    let weak = if of.once { WEAK.2 } else { WEAK.1 };
    if of.once && own < WEAK.1 * top || faint && own < weak * top {
        return Some(Doubt::Faint);
    }
    of.untold_gain.then_some(Doubt::Gain)
}

#[cfg(test)]
mod tests {
    use super::super::identify::clear_line;
    use super::*;

    const SOUND: Circumstances =
        Circumstances { faulty: false, is_sound: true, uneven: false, once: false, untold_gain: false };
    const SENSOR: Circumstances = Circumstances { is_sound: false, ..SOUND };

    /// The doubt about the second of two lines at 200 Hz and `at` Hz, the second of strength `own`.
    fn second(at: f64, own: f64, change: impl Fn(&mut Mode), of: &Circumstances) -> Option<Doubt> {
        let mut modes = [clear_line(200.0, 0.02, 1.0), clear_line(at, 0.02, own)];
        change(&mut modes[1]);
        doubt(&modes[1], &modes, of)
    }

    #[test]
    fn what_a_room_or_uneven_times_may_have_split_is_doubted() {
        let noisy = |mode: &mut Mode| mode.over_noise = 1e4;
        assert_eq!(second(205.0, 0.8, noisy, &SOUND), Some(Doubt::Split));
        assert_eq!(second(205.0, 0.8, noisy, &SENSOR), None);
        assert_eq!(second(205.0, 0.8, |_| {}, &SOUND), None);
        assert_eq!(second(260.0, 0.8, noisy, &SOUND), None);
        let uneven = Circumstances { uneven: true, ..SENSOR };
        assert_eq!(second(222.0, 0.3, |_| {}, &uneven), Some(Doubt::Split));
        assert_eq!(second(222.0, 0.3, |_| {}, &SENSOR), None);
    }

    #[test]
    fn what_is_no_louder_than_the_rest_beside_a_stronger_line_is_doubted() {
        let blurred = |mode: &mut Mode| mode.unexplained = 0.2;
        assert_eq!(second(205.0, 0.3, blurred, &SENSOR), Some(Doubt::Blurred));
        assert_eq!(second(205.0, 0.3, |_| {}, &SENSOR), None);
        assert_eq!(second(205.0, 0.8, blurred, &SENSOR), None);
    }

    #[test]
    fn a_weak_line_needs_a_second_tap_or_little_noise() {
        let once = Circumstances { once: true, ..SENSOR };
        let faint = |mode: &mut Mode| mode.over_noise = 1e3;
        assert_eq!(second(500.0, 0.1, faint, &once), Some(Doubt::Faint));
        assert_eq!(second(500.0, 0.1, faint, &SENSOR), None);
        assert_eq!(second(500.0, 0.1, |_| {}, &once), None);
        assert_eq!(second(500.0, 0.02, |_| {}, &once), Some(Doubt::Faint));
        assert_eq!(second(500.0, 0.02, faint, &SENSOR), Some(Doubt::Faint));
        let faulty = Circumstances { faulty: true, ..SENSOR };
        assert_eq!(second(500.0, 0.1, |_| {}, &faulty), Some(Doubt::Faults));
    }
}
