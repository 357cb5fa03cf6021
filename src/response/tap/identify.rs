//! Modes of a record, band by band: poles, how well they are known, and each mode alone.
//!
//! The bands are laid around the peaks of the spectrum and taken strongest first; what a band
//! explains is taken out of the record before the next one is read, so that a weak mode is not
//! hidden by the skirts of a strong one. A band is read from one period behind the hit on: a blow
//! that lasted longer would not have excited it.
//!
//! What a pole is known to is the largest of three: the noise that the fit leaves; the scatter
//! among taps; the move when the first part of the ring is left out.
//!
//! ```text
//! var = b^2 v F^-1 / 2 + excess,   b^2 = max(1, chi^2 / (taps - 1))
//! excess = max(0, move^2 - 2 (var_late - var)) / 3
//! ```
//!
//! # Source
//! - `birge1932`: widening of an error by the scatter of repeated measurements

use super::pencil::Block;
use super::refine::{Fit, refine};
use super::spectrum::Peak;
use super::stabilise::{Settled, settle};
use super::zoom::Zoom;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// One channel after one tap, from the hit on; what has been explained is taken out.
pub(super) struct Segment {
    pub(super) tap: usize,
    pub(super) channel: usize,
    /// In parts of the channel's noise.
    pub(super) samples: Vec<f64>,
    /// First sample fit to be read.
    pub(super) free: usize,
    /// True when no blow precedes it: the record began within the ring.
    pub(super) begun: bool,
}

/// The samples of one mode alone after one tap, all others taken out.
pub(super) struct Alone {
    pub(super) tap: usize,
    pub(super) channel: usize,
    /// Of the band.
    pub(super) samples: Vec<Complex64>,
    /// What the fit makes of its first sample.
    pub(super) start: Complex64,
}

/// A mode as it was read.
pub(super) struct Mode {
    /// Decay rate, 1/s.
    pub(super) decay: f64,
    /// Angular frequency at which it rings, 1/s.
    pub(super) ringing: f64,
    /// Variance of either, 1/s2.
    pub(super) variance: f64,
    /// Amplitude where the reading begins, by tap and channel, in parts of the channel's noise.
    pub(super) starts: Vec<(usize, usize, Complex64)>,
    /// Samples of the mode alone, and their rate.
    pub(super) alone: Vec<Alone>,
    pub(super) rate_hz: f64,
    /// Variance of one complex sample of noise in them.
    pub(super) noise: f64,
    /// Centre of the band, Hz.
    pub(super) centre_hz: f64,
    /// Time listened to, s.
    pub(super) listened_s: f64,
    /// How far the taps part, in parts of what the noise explains.
    pub(super) scatter: f64,
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

/// Reads the modes around `peaks` and takes them out of `segments`.
pub(super) fn identify(segments: &mut [Segment], rate_hz: f64, peaks: &[Peak]) -> Vec<Mode> {
    let mut modes: Vec<Mode> = Vec::new();
    for band in bands(peaks) {
        for mode in read_band(segments, rate_hz, &band, peaks) {
            // The same mode seen from two bands: the better known stays.
            let same = |other: &Mode| {
                let near = 4.0 * (mode.variance.sqrt() + other.variance.sqrt());
                (mode.ringing - other.ringing).abs() < near.max(0.3 * mode.decay.min(other.decay).max(0.0))
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
    let zoom = Zoom::new(rate_hz, centre, half);
    let wait = (rate_hz / centre).ceil() as usize;
    let most = ((2.5 / band.narrowest_hz * zoom.rate_hz) as usize).clamp(24, 400);
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
    let Some(settled) = settle(&blocks, band.peaks) else { return Vec::new() };
    let scales = even_out(&mut blocks, &settled.fit);
    let settled = if scales.is_some() { settle(&blocks, band.peaks) } else { Some(settled) };
    let Some(settled) = settled else { return Vec::new() };
    let scale = |channel: usize| scales.as_ref().and_then(|s| s.get(channel)).copied().unwrap_or(1.0);
    let errors = errors(&blocks, &settled, &zoom);
    let mut modes = Vec::new();
    for (k, (variance, scatter)) in settled.physical.iter().copied().zip(errors) {
        let pole = settled.fit.poles[k];
        let s = zoom.per_second(pole);
        let inside = zoom.offset_hz(pole).abs() <= 1.25 * zoom.half_width_hz;
        let spread = variance.sqrt() * zoom.rate_hz;
        let visible = |peak: &Peak| {
            let reach = (1.5 * peak.width_hz).max(1.5 * s.re / PI).max(4.0 * spread / TAU);
            (peak.frequency_hz - s.im / TAU).abs() < reach
        };
        // A mode as wide as a narrow band is read from a band of its own.
        let too_wide = s.re > TAU * half || half < 0.2 * centre && s.re > 0.5 * PI * half;
        if !inside || s.re > 0.3 * s.im || too_wide || !peaks.iter().any(visible) {
            continue;
        }
        take_out(segments, &zoom, &settled.fit, k, &blocks, &skips, scale);
        let gain = zoom.gain(pole);
        let starts = blocks.iter().enumerate().map(|(b, block)| {
            (block.tap, block.channel, settled.fit.amplitudes[b][k] / gain * scale(block.channel))
        });
        let alone = blocks.iter().enumerate().map(|(b, block)| Alone {
            tap: block.tap,
            channel: block.channel,
            samples: without_others(block, &settled.fit, b, k),
            start: settled.fit.amplitudes[b][k],
        });
        let longest = blocks.iter().map(|block| block.samples.len()).max().unwrap_or(0);
        modes.push(Mode {
            decay: s.re,
            ringing: s.im,
            variance: variance * zoom.rate_hz * zoom.rate_hz,
            starts: starts.collect(),
            alone: alone.collect(),
            rate_hz: zoom.rate_hz,
            noise: settled.fit.noise(),
            centre_hz: centre,
            listened_s: zoom.reach(longest) as f64 / rate_hz,
            scatter,
        });
    }
    modes
}

/// Brings the channels to equal noise in this band; `None` when they have it already.
fn even_out(blocks: &mut [Block], fit: &Fit) -> Option<Vec<f64>> {
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

/// The samples of `block` less every pole but `k`.
fn without_others(block: &Block, fit: &Fit, b: usize, k: usize) -> Vec<Complex64> {
    let own = |n: usize| fit.amplitudes[b][k] * (fit.poles[k] * n as f64).exp();
    block.samples.iter().enumerate().map(|(n, y)| y - model(fit, b, n) + own(n)).collect()
}

/// Takes what pole `k` explains out of the segments.
fn take_out(
    segments: &mut [Segment],
    zoom: &Zoom,
    fit: &Fit,
    k: usize,
    blocks: &[Block],
    skips: &[(usize, usize)],
    scale: impl Fn(usize) -> f64,
) {
    let (gain, full) = (zoom.gain(fit.poles[k]), zoom.unzoomed(fit.poles[k]));
    let turn = full.exp();
    for (b, block) in blocks.iter().enumerate() {
        let (place, skip) = skips[b];
        let start = fit.amplitudes[b][k] / gain * scale(block.channel);
        let back = (-full * skip as f64).exp();
        let mut now = start * if back.norm() < 30.0 { back } else { Complex64::ZERO };
        for x in &mut segments[place].samples {
            *x -= 2.0 * now.re;
            now *= turn;
        }
    }
}

/// Variance of either part of each physical pole, per sample squared, and the scatter among taps.
fn errors(blocks: &[Block], settled: &Settled, zoom: &Zoom) -> Vec<(f64, f64)> {
    let fit = &settled.fit;
    let own = |fit: &Fit, k: usize| 0.5 * fit.noise() * zoom.whiteness() * fit.unit_variance[k];
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
                    // A tap too weak to hold this mode says nothing about it.
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
