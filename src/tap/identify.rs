//! The modes of a record, band by band: their poles, the variances of these, and each mode alone.
//!
//! The bands are laid around the peaks of the spectrum and read strongest first. The modes of a band are
//! subtracted from the record before the next band is read, so that a weak mode is not hidden by the
//! skirts of a strong one. A band is read from one period after the hit on: an impact longer than that
//! would not have excited it.
//!
//! The variance of a pole comes from the noise v that the fit leaves, widened by the scatter between taps
//! (b^2), and from the distance by which the pole moves when the first part of the ring is left out.
//!
//! ```text
//! var = b^2 v F^-1 / 2 + excess,   b^2 = max(1, chi^2 / (taps - 1))
//! excess = max(0, move^2 - 2 (var_late - var)) / 3
//! ```
//!
//! # Source
//! - `birge1932`: widening of an error by the scatter of repeated measurements

use super::COVERAGE;
use super::amplitude_dependence::{AmplitudeDependentModes, Way};
use super::band_decimation::BandDecimator;
use super::matrix_pencil::Block;
use super::model_order::{SelectedOrder, select_order};
use super::model_selection::select_model;
use super::refine::{Fit, powers, refine};
use super::spectrum::Peak;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// One channel after one tap, from the hit on; the modes found so far are subtracted.
pub(super) struct Segment {
    pub(super) tap: usize,
    pub(super) channel: usize,
    /// In units of the channel's noise.
    pub(super) samples: Vec<f64>,
    /// First sample that can be read.
    pub(super) free: usize,
    /// True when it begins without an impact: the record began within the ring.
    pub(super) begun: bool,
}

/// A mode as it was read from one band.
pub(super) struct Mode {
    /// Decay rate, 1/s.
    pub(super) decay: f64,
    /// Damped angular frequency, 1/s.
    pub(super) ringing: f64,
    /// Variance of the decay rate, and of the angular frequency, 1/s2.
    pub(super) variance: f64,
    /// Tap, channel, and complex amplitude where the reading begins, in units of the channel's noise.
    pub(super) starts: Vec<(usize, usize, Complex64)>,
    /// Time from the last hit of a tap to where the reading begins, s.
    pub(super) begins_s: f64,
    /// Samples of the band after each tap with all other modes subtracted.
    pub(super) alone: Vec<Block>,
    pub(super) rate_hz: f64,
    /// Variance of the noise in one complex sample of `alone`.
    pub(super) noise: f64,
    /// Centre of the band, Hz.
    pub(super) centre_hz: f64,
    /// Time listened to, s.
    pub(super) listened_s: f64,
    /// Scatter between taps over the scatter expected from noise.
    pub(super) scatter: f64,
    /// Its energy over the variance of the noise in one sample.
    pub(super) over_noise: f64,
    /// Energy that all modes of the band leave unexplained, over its own.
    pub(super) unexplained: f64,
    /// Of a bent mode: decay and frequency by amplitude, from the largest on; empty of a linear one.
    pub(super) curve: Vec<Local>,
}

/// A mode at one amplitude.
#[derive(Debug, Clone, Copy)]
pub(super) struct Local {
    /// Amplitude over the largest of all taps.
    pub(super) amplitude: f64,
    /// Decay rate, 1/s, and its variance.
    pub(super) decay: f64,
    pub(super) decay_variance: f64,
    /// Angular frequency, 1/s, and its variance.
    pub(super) ringing: f64,
    pub(super) ringing_variance: f64,
}

impl Mode {
    /// Lowest and highest angular frequency of the mode over its amplitudes, 1/s.
    pub(super) fn reach(&self) -> (f64, f64) {
        let own = (self.ringing, self.ringing);
        self.curve.iter().fold(own, |(low, high), at| (low.min(at.ringing), high.max(at.ringing)))
    }

    /// Its pole, 1/s, where the logarithm of its amplitude over the largest of all taps is `level`.
    pub(super) fn pole_at(&self, level: f64) -> Complex64 {
        let pole = |at: &Local| Complex64::new(-at.decay, at.ringing);
        let log = |at: &Local| at.amplitude.ln();
        let Some(below) = self.curve.iter().position(|at| log(at) <= level) else {
            return self.curve.last().map_or(Complex64::new(-self.decay, self.ringing), pole);
        };
        let (low, high) = (&self.curve[below], &self.curve[below.saturating_sub(1)]);
        let part = (level - log(low)) / (log(high) - log(low)).max(f64::MIN_POSITIVE);
        pole(low) + (pole(high) - pole(low)) * part.clamp(0.0, 1.0)
    }

    /// Takes in a line that is the same mode: the limits now hold both.
    pub(super) fn take_in(&mut self, other: &Mode) {
        let apart = (other.decay - self.decay).hypot(other.ringing - self.ringing) / COVERAGE;
        self.variance = self.variance.max(apart * apart);
    }

    /// Distance of `ringing`, 1/s, from the range of angular frequencies of the mode.
    pub(super) fn apart(&self, ringing: f64) -> f64 {
        let (low, high) = self.reach();
        (low - ringing).max(ringing - high).max(0.0)
    }
}

/// A clear line of a test, heard after one tap: frequency in Hz, loss factor, strength.
#[cfg(test)]
pub(super) fn clear_line(frequency_hz: f64, loss: f64, strength: f64) -> Mode {
    let ringing = TAU * frequency_hz;
    Mode {
        decay: 0.5 * loss * ringing,
        ringing,
        variance: 1e-4,
        starts: vec![(0, 0, Complex64::from(strength))],
        begins_s: 0.0,
        alone: Vec::new(),
        rate_hz: 1000.0,
        noise: 1e-9,
        centre_hz: frequency_hz,
        listened_s: 2.0,
        scatter: 1.0,
        over_noise: 1e6,
        unexplained: 1e-4,
        curve: Vec::new(),
    }
}

/// Peaks that are read together.
struct Band {
    low_hz: f64,
    high_hz: f64,
    margin_hz: f64,
    narrowest_hz: f64,
    peaks: usize,
    strength: f64,
}

/// Upper end of a band that starts at zero, over the frequency of its highest peak.
const LOW_REACH: f64 = 2.5;

/// Peaks gathered into bands, the strongest band first.
fn bands(peaks: &[Peak]) -> Vec<Band> {
    let mut sorted = peaks.to_vec();
    sorted.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
    let mut bands: Vec<Band> = Vec::new();
    for peak in &sorted {
        let margin = (8.0 * peak.width_hz).min(0.25 * peak.frequency_hz);
        if let Some(band) = bands.last_mut() {
            let near = peak.frequency_hz - band.high_hz < 0.7 * margin.max(band.margin_hz);
            let narrow = peak.frequency_hz - band.low_hz < 0.2 * peak.frequency_hz
                && peak.frequency_hz - band.low_hz < 60.0 * band.narrowest_hz;
            if near && narrow && band.peaks < 6 {
                band.high_hz = peak.frequency_hz;
                band.margin_hz = band.margin_hz.max(margin);
                band.narrowest_hz = band.narrowest_hz.min(peak.width_hz);
                band.peaks += 1;
                band.strength += peak.over_noise;
                continue;
            }
        }
        bands.push(Band {
            low_hz: peak.frequency_hz,
            high_hz: peak.frequency_hz,
            margin_hz: margin,
            narrowest_hz: peak.width_hz,
            peaks: 1,
            strength: peak.over_noise,
        });
    }
    bands.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    bands
}

/// Reads the modes around `peaks` and subtracts them from `segments`.
pub(super) fn identify(segments: &mut [Segment], rate_hz: f64, peaks: &[Peak]) -> Vec<Mode> {
    let mut modes: Vec<Mode> = Vec::new();
    for band in bands(peaks) {
        for mode in read_band(segments, rate_hz, &band, peaks) {
            // Of the same mode seen from two bands, the one with the smaller variance stays.
            let same = |other: &Mode| {
                let near = 4.0 * (mode.variance.sqrt() + other.variance.sqrt());
                mode.apart(other.ringing).min(other.apart(mode.ringing))
                    < near.max(0.3 * mode.decay.min(other.decay).max(0.0))
            };
            match modes.iter().position(same) {
                Some(at) if modes[at].variance > mode.variance => modes[at] = mode,
                Some(_) => {}
                None => modes.push(mode),
            }
        }
    }
    modes
}

fn read_band(segments: &mut [Segment], rate_hz: f64, band: &Band, peaks: &[Peak]) -> Vec<Mode> {
    let centre = 0.5 * (band.low_hz + band.high_hz);
    let widest = (centre / 3.0).min((0.5 * rate_hz - centre) / 1.5);
    let half = (0.5 * (band.high_hz - band.low_hz) + band.margin_hz).min(widest);
    if half <= 0.0 {
        return Vec::new();
    }
    let narrow = BandDecimator::new(rate_hz, centre, half);
    // A filter that is longer than 1.5 decay times or a third of the tap leaves too little to read.
    let longest = segments.iter().map(|s| s.samples.len() - s.free).max().unwrap_or(0);
    let decay = rate_hz / (PI * band.narrowest_hz);
    let is_long = narrow.length() as f64 > 1.5 * decay || 3 * narrow.length() > longest;
    let zoom = if is_long { BandDecimator::low(rate_hz, LOW_REACH * band.high_hz) } else { narrow };
    let centre = if is_long { 0.0 } else { centre };
    let half = if is_long { band.high_hz } else { half };
    let wait = (rate_hz / (0.5 * (band.low_hz + band.high_hz))).ceil() as usize;
    let limit = if zoom.is_mirrored() { 800 } else { 400 };
    let most = ((2.5 / band.narrowest_hz * zoom.rate_hz) as usize).clamp(24, limit);
    let mut blocks: Vec<Block> = Vec::new();
    let mut skips: Vec<(usize, usize)> = Vec::new();
    for (place, segment) in segments.iter().enumerate() {
        let skip = if segment.begun { segment.free } else { segment.free.max(wait) };
        let Some(rest) = segment.samples.get(skip..) else { continue };
        let samples = zoom.apply(rest, most);
        if samples.len() >= 10 {
            blocks.push(Block { tap: segment.tap, channel: segment.channel, samples });
            skips.push((place, skip));
        }
    }
    // A band from zero on also holds the mirror images and the drift.
    let expected = if zoom.is_mirrored() { 2 * band.peaks + 1 } else { band.peaks };
    let Some(settled) = select_order(&blocks, expected) else { return Vec::new() };
    let scales = whiten_channels(&mut blocks, &settled.fit);
    let settled = if scales.is_some() { select_order(&blocks, expected) } else { Some(settled) };
    let Some(settled) = settled else { return Vec::new() };
    let scale = |channel: usize| scales.as_ref().and_then(|s| s.get(channel)).copied().unwrap_or(1.0);
    let choice = if zoom.is_mirrored() { None } else { select_model(&blocks, &settled) };
    let (bent, known) = match choice {
        Some(choice) => {
            let known: Vec<(usize, f64, f64)> =
                choice.physical.iter().map(|m| (*m, choice.bent.middle_variance(*m), 1.0)).collect();
            (choice.bent, known)
        }
        None => {
            let errors = errors(&blocks, &settled);
            let known =
                settled.physical.iter().zip(errors).map(|(k, (variance, scatter))| (*k, variance, scatter));
            (AmplitudeDependentModes::straight(&settled.fit, &blocks), known.collect())
        }
    };
    let rests: Vec<Vec<Complex64>> = (0..blocks.len()).map(|b| bent.rest_of(&blocks[b], b, None)).collect();
    let mut modes = Vec::new();
    for (m, variance, scatter) in known {
        let pole = bent.laws[m].pole(bent.middle(m));
        let s = zoom.per_second(pole);
        // The residual near the mode may be louder than that of the whole band.
        let louder = zoom.whiteness() * louder(&bent, &blocks, &rests, m);
        let variance = variance * louder;
        let curve = curve(&bent, m, &zoom, louder);
        let inside = zoom.offset_hz(pole).abs() <= 1.25 * zoom.half_width_hz;
        let spread = variance.sqrt() * zoom.rate_hz;
        let ends = curve.iter().fold((s.im, s.im), |(l, h), at| (l.min(at.ringing), h.max(at.ringing)));
        let visible = |peak: &Peak| {
            let reach = (1.5 * peak.width_hz).max(1.5 * s.re / PI).max(4.0 * spread / TAU);
            (ends.0 / TAU - reach..ends.1 / TAU + reach).contains(&peak.frequency_hz)
        };
        // A mode as wide as a narrow band has to be read from a band of its own.
        let too_wide = s.re > TAU * half || half < 0.2 * centre && s.re > 0.5 * PI * half;
        if !inside || s.im <= 0.0 || s.re > 0.3 * s.im || too_wide || !peaks.iter().any(visible) {
            continue;
        }
        let start = |(b, block): (usize, &Block)| {
            let gain = zoom.gain(bent.laws[m].pole(bent.level(m, block.tap)));
            (block.tap, block.channel, bent.amplitudes[b][m] / gain * scale(block.channel))
        };
        let starts: Vec<_> = blocks.iter().enumerate().map(start).collect();
        // Poles that nearly cancel each other can have larger amplitudes than the signal itself.
        if starts.iter().zip(&skips).any(|(start, (place, _))| start.2.norm() > 2.0 * peak(&segments[*place]))
        {
            continue;
        }
        subtract_mode(segments, &zoom, &bent, m, &blocks, &skips, scale);
        let alone = blocks.iter().enumerate().map(|(b, block)| Block {
            tap: block.tap,
            channel: block.channel,
            samples: bent.rest_of(block, b, Some(m)),
        });
        let longest = blocks.iter().map(|block| block.samples.len()).max().unwrap_or(0);
        let energy = bent.energy(&blocks, m).max(f64::MIN_POSITIVE);
        modes.push(Mode {
            decay: s.re,
            ringing: s.im,
            variance: variance * zoom.rate_hz * zoom.rate_hz,
            starts,
            begins_s: wait as f64 / rate_hz,
            alone: alone.collect(),
            rate_hz: zoom.rate_hz,
            noise: bent.noise(),
            centre_hz: centre,
            listened_s: zoom.reach(longest) as f64 / rate_hz,
            scatter,
            over_noise: energy / bent.noise().max(f64::MIN_POSITIVE),
            unexplained: bent.rest / energy,
            curve,
        });
    }
    modes
}

/// Largest magnitude in a segment.
fn peak(segment: &Segment) -> f64 {
    segment.samples.iter().fold(0.0, |most: f64, x| most.max(x.abs()))
}

/// Number of amplitudes at which a bent mode is shown.
const SHOWN: usize = 9;

/// How mode `m` depends on its amplitude; empty for a linear mode. The variances assume `louder` times
/// the noise of the band.
fn curve(bent: &AmplitudeDependentModes, m: usize, zoom: &BandDecimator, louder: f64) -> Vec<Local> {
    let law = &bent.laws[m];
    if law.is_fixed() {
        return Vec::new();
    }
    let (last, per) = (bent.last_level(m), zoom.rate_hz * zoom.rate_hz);
    let at = |i: usize| {
        let level = last * i as f64 / (SHOWN - 1) as f64;
        let s = zoom.per_second(law.pole(level));
        let (decay, ringing) = bent.variance(m, level, bent.noise() * louder);
        Local {
            amplitude: level.exp(),
            decay: s.re,
            decay_variance: decay * per,
            ringing: s.im,
            ringing_variance: ringing * per,
        }
    };
    (0..SHOWN).map(at).collect()
}

/// Power of the residual within a few widths of mode `m` over that in the whole band; at least one.
fn louder(bent: &AmplitudeDependentModes, blocks: &[Block], rests: &[Vec<Complex64>], m: usize) -> f64 {
    let decay = bent.laws[m].pole(bent.middle(m)).re.abs();
    let noise = bent.noise();
    let (mut sum, mut count) = (0.0, 0.0);
    for (b, block) in blocks.iter().enumerate() {
        let own = bent.share(b, block.tap, m, block.samples.len());
        let energy: f64 = own.iter().map(|y| y.norm_sqr()).sum();
        let step = decay.max(2.0 * PI / block.samples.len() as f64);
        for q in [-4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0] {
            let turns = powers(Complex64::new(0.0, q * step), own.len());
            let each = own.iter().zip(&rests[b]).zip(turns);
            let along: Complex64 = each.map(|((own, rest), turn)| rest * own.conj() * turn).sum();
            if energy > 0.0 && noise > 0.0 {
                sum += along.norm_sqr() / (energy * noise);
                count += 1.0;
            }
        }
    }
    if count > 0.0 { f64::max(sum / count, 1.0) } else { 1.0 }
}

/// Scales the channels to equal noise in this band and returns the divisors; `None` when their noise is
/// already nearly equal, or when one has next to none. The channels come here in units of their own noise
/// floors, so that a millionth of another's noise is no quiet sensor but a dead or a computed channel: by its
/// noise it would decide the band alone, and rounding would be that noise.
fn whiten_channels(blocks: &mut [Block], fit: &Fit) -> Option<Vec<f64>> {
    let channels = blocks.iter().map(|block| block.channel).max()? + 1;
    let (mut rest, mut count) = (vec![0.0; channels], vec![0.0; channels]);
    for (b, block) in blocks.iter().enumerate() {
        for (n, y) in block.samples.iter().enumerate() {
            rest[block.channel] += (y - model(fit, b, n)).norm_sqr();
        }
        count[block.channel] += block.samples.len() as f64;
    }
    let level: Vec<f64> = rest.iter().zip(&count).map(|(r, c)| (r / f64::max(*c, 1.0)).sqrt()).collect();
    let present = || level.iter().zip(&count).filter(|(_, c)| **c > 0.0).map(|(l, _)| *l);
    let (low, high) = (present().fold(f64::MAX, f64::min), present().fold(0.0, f64::max));
    if high < 1.3 * low || low <= 1e-6 * high {
        return None;
    }
    for block in blocks.iter_mut() {
        block.samples.iter_mut().for_each(|y| *y /= level[block.channel]);
    }
    Some(level)
}

fn model(fit: &Fit, block: usize, n: usize) -> Complex64 {
    fit.poles.iter().zip(&fit.amplitudes[block]).map(|(p, a)| a * (p * n as f64).exp()).sum()
}

/// Subtracts mode `m` from the segments.
fn subtract_mode(
    segments: &mut [Segment],
    zoom: &BandDecimator,
    bent: &AmplitudeDependentModes,
    m: usize,
    blocks: &[Block],
    skips: &[(usize, usize)],
    scale: impl Fn(usize) -> f64,
) {
    let law = &bent.laws[m];
    for (b, block) in blocks.iter().enumerate() {
        let (place, skip) = skips[b];
        let level = bent.level(m, block.tap);
        let full = zoom.unzoomed(law.pole(level));
        let start = bent.amplitudes[b][m] * scale(block.channel);
        let samples = &mut segments[place].samples;
        if law.is_fixed() {
            let back = (-full * skip as f64).exp();
            let turn = full.exp();
            let mut now =
                start / zoom.gain(law.of[0]) * if back.norm() < 30.0 { back } else { Complex64::ZERO };
            for x in samples {
                *x -= 2.0 * now.re;
                now *= turn;
            }
            continue;
        }
        // Before the first sample of the band the pole is held at its value there.
        let first = start / zoom.gain(law.pole(level));
        for (n, x) in samples.iter_mut().take(skip).enumerate() {
            let back = (full * (n as f64 - skip as f64)).exp();
            *x -= 2.0 * (first * if back.norm() < 30.0 { back } else { Complex64::ZERO }).re;
        }
        let Some(behind) = samples.get_mut(skip..) else { continue };
        let way = Way::new(law, level, behind.len() / zoom.step + 2);
        // The filter's gain follows the pole, which moves slowly.
        let apart = (way.z.len() / GAINS).max(1);
        let knots = way.z.iter().step_by(apart).map(|z| zoom.gain(law.pole(level + z.re)));
        let knots: Vec<Complex64> = knots.collect();
        let gain_at = |n: usize| {
            let (at, part) = (n / apart, (n % apart) as f64 / apart as f64);
            let next = knots.get(at + 1).unwrap_or(&knots[at]);
            knots[at] * (1.0 - part) + next * part
        };
        let step = zoom.step as f64;
        for (n, pair) in way.z.windows(2).enumerate() {
            let pole = law.pole(level + pair[0].re);
            // Between two samples of the band, z is a parabola through both with the slope of the first.
            let from = n * zoom.step;
            let slope = pole / step;
            let bend = (pair[1] - pair[0] - pole) / (step * step);
            let mut now = 2.0 * start / gain_at(n) * (pair[0] + zoom.turning(from as f64)).exp();
            let mut turn = (slope + bend + zoom.turning(1.0)).exp();
            let more = (2.0 * bend).exp();
            for x in behind.iter_mut().skip(from).take(zoom.step) {
                *x -= now.re;
                now *= turn;
                turn *= more;
            }
        }
    }
}

/// Number of points along a bent mode at which the filter's gain is computed.
const GAINS: usize = 32;

/// For each physical pole: variance of its real part (and of its imaginary part) in logarithms per
/// sample, and the scatter ratio between taps.
fn errors(blocks: &[Block], settled: &SelectedOrder) -> Vec<(f64, f64)> {
    let fit = &settled.fit;
    let own = |fit: &Fit, k: usize| 0.5 * fit.noise() * fit.unit_variance[k];
    let nearest = |other: &Fit, k: usize| {
        let distance = |p: &Complex64| (p - fit.poles[k]).norm();
        (0..other.poles.len())
            .min_by(|a, b| distance(&other.poles[*a]).total_cmp(&distance(&other.poles[*b])))
    };
    let taps: Vec<usize> = {
        let mut taps: Vec<usize> = blocks.iter().map(|block| block.tap).collect();
        taps.dedup();
        taps
    };
    let by_tap: Vec<Fit> = if taps.len() < 2 {
        Vec::new()
    } else {
        taps.iter().filter_map(|tap| refine(&of_tap(blocks, *tap, 0), &fit.poles, 15)).collect()
    };
    let longest = blocks.iter().map(|block| block.samples.len()).max().unwrap_or(0);
    let late = refine(&of_all(blocks, longest / 8), &fit.poles, 15);
    settled
        .physical
        .iter()
        .map(|k| {
            let pole = fit.poles[*k];
            let (mut chi, mut known) = (0.0, 0);
            for other in &by_tap {
                if let Some(j) = nearest(other, *k) {
                    let variance = own(other, j).max(own(fit, *k));
                    let apart = (other.poles[j] - pole).norm_sqr() / (2.0 * variance);
                    // A tap in which this mode is too weak says nothing about it.
                    if apart.is_finite() && apart < 400.0 {
                        chi += apart;
                        known += 1;
                    }
                }
            }
            let birge = if known > 1 { (chi / (f64::from(known) - 1.0)).max(1.0) } else { 1.0 };
            let variance = own(fit, *k);
            let excess = late.as_ref().and_then(|late| nearest(late, *k).map(|j| (late, j))).map_or(
                0.0,
                |(late, j)| {
                    let moved = (late.poles[j] - pole).norm_sqr() / 2.0;
                    let expected = (own(late, j) - variance).max(0.0);
                    ((moved - 2.0 * expected) / 3.0).clamp(0.0, pole.re * pole.re)
                },
            );
            (variance * birge + excess, birge.sqrt())
        })
        .collect()
}

/// The blocks of one tap without their first samples.
fn of_tap(blocks: &[Block], tap: usize, skip: usize) -> Vec<Block> {
    let own = blocks.iter().filter(|block| block.tap == tap);
    own.map(|block| cut(block, skip)).collect()
}

/// All blocks without their first samples, where enough is left.
fn of_all(blocks: &[Block], skip: usize) -> Vec<Block> {
    blocks.iter().filter(|block| block.samples.len() > 3 * skip + 8).map(|block| cut(block, skip)).collect()
}

fn cut(block: &Block, skip: usize) -> Block {
    Block { tap: block.tap, channel: block.channel, samples: block.samples[skip..].to_vec() }
}
