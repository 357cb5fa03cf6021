//! Where are the taps, and how long can each be listened to?
//!
//! A hit is a rise of the level above everything within the last 150 ms, or a rise of the error of linear
//! prediction above the last 10 ms. A ring-down, even with beats, is predictable and never exceeds its
//! own past, so it is no hit. Hits within 120 ms of each other are one tap, which is read from the last
//! of them on.
//!
//! ```text
//! e[n] = x[n] - sum_k a_k x[n - k]        prediction from the autocorrelation, order 24
//! hit at k:  mean power of the next w  >  4 (of e: 8) times the highest mean of w in the past
//! ```
//!
//! # Source
//! - `makhoul1975`: linear prediction by the autocorrelation method
//! - `wilson1931`: cube root of a sum of squares as a normal value

use super::noise_floor::{level_quantile, quantum};

/// Time before a hit that it has to exceed, s.
const PAST: f64 = 0.15;
/// Prediction error that occurs without a hit, as a share of the power of the ring.
const LITTLE: f64 = 0.003;
/// Part of its power to which a ring that a record begins within falls until the first tap.
const DIES: f64 = 0.5;
/// Hits this close are one tap, s.
const TOGETHER: f64 = 0.12;

/// A stretch of the record that begins with a tap.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tap {
    /// Sample of its first hit.
    pub(super) first: usize,
    /// Sample of its last hit.
    pub(super) last: usize,
    /// First sample that can be read: after the last hit and after clipping.
    pub(super) free: usize,
    /// One past the last sample that belongs to it.
    pub(super) end: usize,
    /// How often it was hit.
    pub(super) hits: usize,
    /// Clipped samples.
    pub(super) clipped: usize,
    /// True when the record begins within its ring.
    pub(super) begun: bool,
    /// Largest sum of squares over the channels, each in units of its noise.
    pub(super) strength: f64,
}

/// Finds the taps in `channels` (median removed, each in units of its noise) at `rate_hz`.
///
/// `clipped[n]` is true where a channel is at its limit; no tap reaches over one of `gaps`.
pub(super) fn find(channels: &[Vec<f64>], rate_hz: f64, clipped: &[bool], gaps: &[usize]) -> Vec<Tap> {
    let count = channels.first().map_or(0, Vec::len);
    let hop = (rate_hz * 0.001).round().max(1.0) as usize;
    let level = powers(channels, |x| steady(x, (0.3 * rate_hz) as usize));
    let level_steps = steps(&level, hop);
    let past = ((PAST * rate_hz) as usize / hop).max(6);
    let reach = hop.max(4) * 2;
    let mut sharp = surprises(channels, rate_hz, hop, 1);
    // At a reduced sample rate the prediction spans whole cycles of low modes too.
    let thinning = (rate_hz / 3000.0) as usize;
    if thinning >= 2 {
        let thin = |x: &Vec<f64>| x.chunks(thinning).map(mean).collect();
        let thin: Vec<Vec<f64>> = channels.iter().map(thin).collect();
        sharp.extend(surprises(&thin, rate_hz, hop, thinning));
    }
    let mut begins: Vec<usize> = sharp.into_iter().map(|step| onset(&level, step * hop, reach)).collect();
    for width in [0.004, 0.016, 0.064] {
        let width = ((width * rate_hz).max(4.0) as usize).div_ceil(hop);
        for step in sudden(&level_steps, hop, width, past, 4.0) {
            // What begins within the window may begin at its end; a narrower one knows better where.
            let reach = reach + width * hop;
            let around = (step * hop).saturating_sub(reach)..step * hop + reach;
            if !begins.iter().any(|known| around.contains(known)) {
                begins.push(onset(&level, step * hop, reach));
            }
        }
    }
    begins.sort_unstable();
    let apart = ((0.012 * rate_hz) as usize).max(2 * hop).max(3);
    let mut hits: Vec<(usize, f64)> = Vec::new();
    for at in begins {
        if hits.last().is_none_or(|(last, _)| at >= last + apart) {
            hits.push((at, 0.0));
        }
    }
    for i in 0..hits.len() {
        let next = hits.get(i + 1).map_or(count, |next| next.0);
        let reach = next.min(hits[i].0 + ((0.05 * rate_hz) as usize).max(4));
        hits[i].1 = level[hits[i].0..reach].iter().copied().fold(0.0, f64::max);
    }
    let floor = floor(&level_steps, hop);
    let head = count.min(((0.05 * rate_hz) as usize).max(8));
    let loud = mean(&level[..head]) / floor;
    // A ring dies before the next tap; hum does not.
    let dies = |to: usize| to < 4 * head || mean(&level[to - to / 4..to]) < DIES * mean(&level[..head]);
    let begun = loud > 8.0
        && hits.first().is_none_or(|(at, _)| {
            *at as f64 > 0.03 * rate_hz && dies(at.saturating_sub((0.01 * rate_hz) as usize))
        });
    if begun || hits.is_empty() && loud > seldom(head) {
        hits.insert(0, (0, level[..count.min(hop * 50)].iter().copied().fold(0.0, f64::max)));
    }
    let strongest = hits.iter().map(|hit| hit.1).fold(0.0, f64::max);
    hits.retain(|(_, strength)| *strength > 1e-3 * strongest && *strength > 4.0 * floor);
    group(&hits, rate_hz, count, clipped, gaps, begun)
}

/// Places, in steps of `hop` samples of the record, at which the prediction error of `channels` rises
/// suddenly. Each sample of `channels` stands for `thinning` samples of the record.
fn surprises(channels: &[Vec<f64>], rate_hz: f64, hop: usize, thinning: usize) -> Vec<usize> {
    let rate = rate_hz / thinning as f64;
    let own_hop = (hop / thinning).max(1);
    let means = steps(&powers(channels, |x| unpredicted(x, 24)), own_hop);
    let whole = steps(&powers(channels, |x| steady(x, (0.3 * rate) as usize)), own_hop);
    let width = ((0.002 * rate).max(2.0) as usize).div_ceil(own_hop);
    let past = ((0.01 * rate) as usize / own_hop).max(6);
    // After the node of a beat the prediction error grows too, but stays a small share of the ring.
    let over = |list: &[f64], k: usize| mean(&list[k..(k + width).min(list.len())]);
    let stands_out = |k: &usize| {
        let past = k.saturating_sub(past + width)..=k.saturating_sub(width);
        let before = past.map(|k| over(&whole, k)).fold(0.0, f64::max);
        over(&whole, *k) > 4.0 * before || over(&means, *k) > LITTLE * over(&whole, *k)
    };
    sudden(&means, own_hop, width, past, 8.0)
        .into_iter()
        .filter(stands_out)
        .map(|step| step * own_hop * thinning / hop)
        .collect()
}

/// Joins hits into taps and finds where each can be read.
fn group(
    hits: &[(usize, f64)],
    rate_hz: f64,
    count: usize,
    clipped: &[bool],
    gaps: &[usize],
    begun: bool,
) -> Vec<Tap> {
    let together = (TOGETHER * rate_hz) as usize;
    let mut taps: Vec<Tap> = Vec::new();
    let mut index = 0;
    while index < hits.len() {
        let mut to = index + 1;
        while to < hits.len() && hits[to].0 - hits[to - 1].0 < together {
            to += 1;
        }
        let members = &hits[index..to];
        let strength = members.iter().map(|hit| hit.1).fold(0.0, f64::max);
        let heavy: Vec<usize> =
            members.iter().filter(|hit| hit.1 > 0.01 * strength).map(|hit| hit.0).collect();
        let (first, last) = (heavy.first().copied().unwrap_or(0), heavy.last().copied().unwrap_or(0));
        let guard = (0.003 * rate_hz).ceil() as usize;
        let next = hits.get(to).map_or(count, |hit| hit.0.saturating_sub(guard));
        let end = gaps.iter().copied().filter(|gap| *gap > last).fold(next, usize::min);
        let (mut free, mut limited) = (last, 0);
        for n in first..end.min(clipped.len()) {
            if clipped[n] {
                limited += 1;
                free = free.max(n + 2);
            }
        }
        // What the record begins within is no hit of its own.
        let begun = begun && first == 0;
        taps.push(Tap {
            first,
            last,
            free: free.min(end),
            end,
            hits: heavy.len().saturating_sub(usize::from(begun)).max(1),
            clipped: limited,
            begun,
            strength,
        });
        index = to;
    }
    taps
}

/// Sum over the channels of their squares, after `prepare`.
fn powers(channels: &[Vec<f64>], prepare: impl Fn(&[f64]) -> Vec<f64>) -> Vec<f64> {
    let mut sum = vec![0.0; channels.first().map_or(0, Vec::len)];
    for channel in channels {
        sum.iter_mut().zip(prepare(channel)).for_each(|(sum, x)| *sum += x * x);
    }
    sum
}

/// The signal minus the mean of the `width` samples up to it: a mean over what follows would show a slow mode before
/// its hit. At the start, the mean of the first `width` samples.
fn steady(x: &[f64], width: usize) -> Vec<f64> {
    let width = width.clamp(1, x.len().max(1));
    let mut sum: f64 = x.iter().take(width).sum();
    let less = |(n, value): (usize, &f64)| {
        if n >= width {
            sum += value - x[n - width];
        }
        value - sum / width as f64
    };
    x.iter().enumerate().map(less).collect()
}

/// Error of the linear prediction of each sample from the `order` samples before it.
pub(super) fn unpredicted(x: &[f64], order: usize) -> Vec<f64> {
    let order = order.min(x.len() / 8);
    let lag = |k: usize| x[k..].iter().zip(x).map(|(a, b)| a * b).sum::<f64>();
    let r: Vec<f64> = (0..=order).map(lag).collect();
    let mut error = r[0] * (1.0 + 1e-9);
    let mut a: Vec<f64> = Vec::with_capacity(order);
    for k in 0..order {
        if error <= 0.0 {
            break;
        }
        let miss = r[k + 1] - a.iter().enumerate().map(|(i, a)| a * r[k - i]).sum::<f64>();
        let turn = miss / error;
        let before = a.clone();
        a.iter_mut().zip(before.iter().rev()).for_each(|(a, b)| *a -= turn * b);
        a.push(turn);
        error *= 1.0 - turn * turn;
    }
    let predict = |n: usize| a.iter().zip(x[..n].iter().rev()).map(|(a, x)| a * x).sum::<f64>();
    (0..x.len()).map(|n| x[n] - predict(n)).collect()
}

/// Means over `hop` samples.
fn steps(power: &[f64], hop: usize) -> Vec<f64> {
    power.chunks(hop).map(mean).collect()
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len().max(1) as f64
}

/// Noise floor: the 20 % quantile of `means` over `count` squares each, scaled up to the mean of normal
/// noise with this quantile (cube-root rule for a sum of squares).
fn floor(means: &[f64], count: usize) -> f64 {
    let part = 2.0 / (9.0 * count as f64);
    (level_quantile(means, 0.2) / (1.0 - part - 0.8416 * part.sqrt()).powi(3)).max(f64::MIN_POSITIVE)
}

/// Value that the mean of `count` squares of unit noise exceeds less than once in 100 000.
fn seldom(count: usize) -> f64 {
    let n = count as f64;
    1.0 + 8.0 * (2.0 / n).sqrt() + 16.0 / n
}

/// Steps at which the mean of the next `width` steps exceeds `factor` times the highest such mean in the
/// past; of each rise, the step where it is steepest.
fn sudden(level: &[f64], hop: usize, width: usize, past: usize, factor: f64) -> Vec<usize> {
    if level.len() < 3 * width {
        return Vec::new();
    }
    let sliding: Vec<f64> = level.windows(width).map(mean).collect();
    let floor = floor(&sliding, width * hop);
    let least = seldom(width * hop);
    let mut ratios = vec![0.0; sliding.len()];
    for k in width..sliding.len() {
        let before =
            sliding[k.saturating_sub(past + width)..=k - width].iter().copied().fold(floor, f64::max);
        ratios[k] = if sliding[k] > least * floor { sliding[k] / before } else { 0.0 };
    }
    let mut found: Vec<usize> = Vec::new();
    let mut k = 0;
    while k < ratios.len() {
        if ratios[k] > factor {
            let end = (k..ratios.len()).find(|j| ratios[*j] <= factor).unwrap_or(ratios.len());
            let steepest = (k..end).max_by(|a, b| ratios[*a].total_cmp(&ratios[*b])).unwrap_or(k);
            found.push(steepest);
            k = end;
        }
        k += 1;
    }
    found
}

/// First sample around `at`, within `reach`, with a fifth of the largest amplitude there.
fn onset(level: &[f64], at: usize, reach: usize) -> usize {
    let from = at.saturating_sub(reach / 2);
    let to = (at + reach).min(level.len());
    let top = level[from..to].iter().copied().fold(0.0, f64::max);
    (from..to).find(|n| level[*n] > 0.04 * top).unwrap_or(at)
}

/// Marks the samples at which a channel is held at its limit.
///
/// A limit shows as runs of three or more equal extreme samples, or, where the quantization is fine, as
/// four extremes that are equal to the last digit. Either has a corner, unlike the smooth top of a densely
/// sampled wave.
pub(super) fn clipping(samples: &[f64]) -> Vec<bool> {
    let mut marks = vec![false; samples.len()];
    let (low, high) = samples.iter().fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(*x), h.max(*x)));
    let quantum = quantum(samples);
    let corner = (3.0 * quantum).max(0.01 * (high - low));
    let fine = high - low > 500.0 * quantum;
    for limit in [low, high] {
        let (mut long, mut longest, mut short) = (0, 0, 0);
        let mut n = 0;
        while n < samples.len() {
            if samples[n] != limit {
                n += 1;
                continue;
            }
            let end = (n..samples.len()).find(|m| samples[*m] != limit).unwrap_or(samples.len());
            let steep = |m: Option<usize>| {
                m.and_then(|m| samples.get(m)).is_some_and(|x| (x - limit).abs() >= corner)
            };
            let (before, behind) = (steep(n.checked_sub(1)), steep(Some(end)));
            if end - n >= 3 && (before || behind) {
                long += 1;
                longest = longest.max(end - n);
            } else if before && behind {
                short += 1;
            }
            n = end;
        }
        if long >= 2 || longest >= 6 || fine && long + short >= 4 {
            marks.iter_mut().zip(samples).for_each(|(mark, x)| *mark |= *x == limit);
        }
    }
    marks
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use std::f64::consts::{PI, TAU};

    /// Modes (f, eta, a) excited by each of `taps` (time, strength), in noise of variance one.
    fn record(rate: f64, seconds: f64, taps: &[(f64, f64)], modes: &[(f64, f64, f64)]) -> Vec<f64> {
        let mut random = rand::rngs::StdRng::seed_from_u64(7);
        (0..(rate * seconds) as usize)
            .map(|n| {
                let t = n as f64 / rate;
                let noise = (0..12).map(|_| random.random::<f64>() - 0.5).sum::<f64>();
                let mut sum = noise;
                for (at, strength) in taps.iter().filter(|tap| tap.0 <= t) {
                    for (f, eta, a) in modes {
                        sum += strength * a * (-PI * f * eta * (t - at)).exp() * (TAU * f * (t - at)).cos();
                    }
                }
                sum
            })
            .collect()
    }

    fn times(x: Vec<f64>, rate: f64) -> Vec<f64> {
        let clipped = vec![false; x.len()];
        find(&[x], rate, &clipped, &[]).iter().map(|tap| tap.last as f64 / rate).collect()
    }

    #[test]
    fn taps_of_different_strength_are_found() {
        let at = [(0.5, 100.0), (1.4, 20.0), (2.3, 60.0)];
        for (rate, modes) in [
            (44100.0, vec![(80.0, 0.02, 1.0), (1200.0, 0.01, 0.5)]),
            (400.0, vec![(40.0, 0.03, 1.0), (47.0, 0.03, -0.8)]),
        ] {
            let found = times(record(rate, 3.0, &at, &modes), rate);
            assert_eq!(found.len(), 3, "{rate} Hz: {found:?}");
            for (time, (want, _)) in found.iter().zip(at) {
                assert!((time - want).abs() < 0.004 + 2.0 / rate, "{time} for {want}");
            }
        }
    }

    #[test]
    fn a_beat_is_no_second_tap() {
        let beat = [(118.0, 0.01, 1.0), (124.0, 0.01, -1.0)];
        assert_eq!(times(record(5000.0, 3.0, &[(0.4, 100.0)], &beat), 5000.0).len(), 1);
    }

    #[test]
    fn a_double_hit_is_one_tap_from_the_second_on() {
        let x = record(8000.0, 2.0, &[(0.4, 100.0), (0.46, 60.0)], &[(150.0, 0.02, 1.0), (900.0, 0.03, 1.0)]);
        let taps = find(&[x], 8000.0, &[], &[]);
        assert_eq!((taps.len(), taps[0].hits), (1, 2));
        assert!((taps[0].last as f64 / 8000.0 - 0.46).abs() < 0.003);
    }

    #[test]
    fn a_record_may_begin_within_the_ring() {
        let taps = find(&[record(4000.0, 2.0, &[(-0.05, 100.0)], &[(100.0, 0.02, 1.0)])], 4000.0, &[], &[]);
        assert_eq!((taps.len(), taps[0].first, taps[0].begun), (1, 0, true));
    }

    #[test]
    fn a_hum_before_the_tap_is_no_ring() {
        let mut x = record(4000.0, 2.0, &[(1.0, 100.0)], &[(300.0, 0.02, 1.0)]);
        // It is there until the tap, whereupon the recorder turns its gain down.
        x[..4000]
            .iter_mut()
            .enumerate()
            .for_each(|(n, x)| *x += 6.0 * (TAU * 60.0 * n as f64 / 4000.0).sin());
        let taps = find(&[x], 4000.0, &[], &[]);
        assert!(taps.iter().all(|tap| !tap.begun) && taps.len() == 1, "{taps:?}");
    }

    #[test]
    fn noise_alone_has_no_taps() {
        assert!(times(record(4000.0, 3.0, &[], &[]), 4000.0).is_empty());
    }

    #[test]
    fn clipping_is_told_from_a_smooth_top() {
        let wave = |n: usize| (TAU * 50.0 * n as f64 / 44100.0).sin();
        let smooth: Vec<f64> = (0..8000).map(|n| (wave(n) * 100.0).round()).collect();
        assert!(!clipping(&smooth).contains(&true));
        let sparse: Vec<f64> = (0..900).map(|n| wave(190 * n).clamp(-0.9, 0.8)).collect();
        assert!(clipping(&sparse).iter().filter(|c| **c).count() > 200);
        let cut: Vec<f64> = (0..8000).map(|n| (2.0 * (wave(20 * n))).clamp(-1.0, 1.0)).collect();
        assert!(clipping(&cut).iter().filter(|c| **c).count() > 2000);
    }
}
