//! Statistics of the answers of many draws: percentiles, chances, and the inputs from which a spread comes.
//!
//! A missing answer is `None`; an unlimited one, such as a settle time without loss, is infinite and takes
//! part in every comparison.
//!
//! # Source
//! - `hyndman1996`: rule 7, percentiles by a straight line between ranked answers
//! - `spearman1904`: correlation of ranks

use serde::Serialize;
use stillbed_input::document::Uncertain;
use stillbed_input::quantity::Draw;

/// Number of standard errors by which a correlation must differ from 0 to count as significant.
const SEEN: f64 = 2.6;

/// Percentiles of the answers of many draws.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Percentiles {
    /// 5 % of the answers lie below; `None` where there are none or this point is infinite.
    pub low: Option<f64>,
    /// Half of the answers lie below.
    pub median: Option<f64>,
    /// 5 % of the answers lie above.
    pub high: Option<f64>,
}

/// The 5, 50 and 95 % points of the `answers` that are not missing.
pub fn percentiles(answers: &[Option<f64>]) -> Percentiles {
    let mut known: Vec<f64> = answers.iter().flatten().copied().filter(|x| !x.is_nan()).collect();
    known.sort_by(f64::total_cmp);
    let at = |share| percentile(&known, share);
    Percentiles { low: at(0.05), median: at(0.5), high: at(0.95) }
}

/// The point below which the share `share` of the `sorted` answers lies: of n answers, the one at the index
/// `(n - 1) share`, interpolated linearly between its neighbours.
///
/// By hand: the 5 % point of 0, 1, ... 100 is 5.
#[must_use]
pub fn percentile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = last as f64 * share.clamp(0.0, 1.0);
    let below = sorted[place.floor() as usize];
    let above = sorted[(place.ceil() as usize).min(last)];
    let part = place.fract();
    let value = if part == 0.0 { below } else { below + (above - below) * part };
    value.is_finite().then_some(value)
}

/// The chance that `one` beats `other` in the same draw; a tie counts half.
///
/// `None` when there is no draw in which both answer.
#[must_use]
pub fn chance_to_beat(one: &[Option<f64>], other: &[Option<f64>], more_is_better: bool) -> Option<f64> {
    let (mut won, mut met) = (0.0, 0usize);
    for (a, b) in one.iter().zip(other) {
        let (Some(a), Some(b)) = (a, b) else { continue };
        met += 1;
        if a == b {
            won += 0.5;
        } else if (a > b) == more_is_better {
            won += 1.0;
        }
    }
    (met > 0).then(|| won / met as f64)
}

/// The influence of one uncertain quantity on an answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Influence {
    /// The quantity's key.
    pub key: String,
    /// From -1 to 1; positive where a larger value raises the answer.
    pub rank_correlation: f64,
    /// Share of the variance of the answer, in ranks, that it explains.
    pub share: f64,
    /// False where so small a correlation may be chance.
    pub seen: bool,
}

/// The influence of every uncertain quantity on the `answers`, strongest first.
///
/// The share is the square of the rank correlation; where chance makes the shares sum to more than one, all
/// are scaled down to a sum of one. Ranks do not show quantities that act only together, or that raise and
/// lower the answer alike: a sum of shares much below one has that reason.
#[must_use]
pub fn influences(uncertain: &[Uncertain], draws: &[Draw], answers: &[Option<f64>]) -> Vec<Influence> {
    let known: Vec<(&Draw, f64)> =
        draws.iter().zip(answers).filter_map(|(draw, answer)| Some((draw, (*answer)?))).collect();
    if known.len() < 3 {
        return Vec::new();
    }
    let answer_ranks = ranks(&known.iter().map(|(_, answer)| *answer).collect::<Vec<_>>());
    let least = SEEN / ((known.len() - 1) as f64).sqrt();
    let mut found: Vec<Influence> = uncertain
        .iter()
        .enumerate()
        .map(|(place, quantity)| {
            let values: Vec<f64> = known
                .iter()
                .map(|(draw, _)| draw.values.get(place).copied().unwrap_or(quantity.spread.value))
                .collect();
            let rho = correlation(&ranks(&values), &answer_ranks);
            Influence {
                key: quantity.key.clone(),
                rank_correlation: rho,
                share: rho * rho,
                seen: rho.abs() > least,
            }
        })
        .collect();
    let sum: f64 = found.iter().map(|i| i.share).sum();
    if sum > 1.0 {
        found.iter_mut().for_each(|i| i.share /= sum);
    }
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

/// The one measurement that would narrow an answer most.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Advice {
    /// Key of the quantity to measure.
    pub key: String,
    /// Width of the answer's spread once the quantity is known, over the width now.
    pub narrows_to: f64,
}

impl Advice {
    /// The advice from `influences`, strongest first; `None` where none is significant.
    ///
    /// Knowing a quantity that explains the share s of the variance leaves sqrt(1 - s) of the width.
    #[must_use]
    pub fn from(influences: &[Influence]) -> Option<Advice> {
        let first = influences.iter().find(|i| i.seen)?;
        Some(Advice { key: first.key.clone(), narrows_to: (1.0 - first.share).max(0.0).sqrt() })
    }

    /// The advice as a sentence about the spread of the answer named `what`.
    #[must_use]
    pub fn sentence(&self, what: &str) -> String {
        self.sentence_of(&format!("the spread of {what}"))
    }

    /// The advice as a sentence about `what`.
    #[must_use]
    pub fn sentence_of(&self, what: &str) -> String {
        let left = 100.0 * self.narrows_to;
        format!("Measuring {} first would narrow {what} most: to about {left:.0} %.", self.key)
    }
}

/// Ranks from 1; equal values share the mean of theirs.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut ranks = vec![0.0; values.len()];
    let mut before = 0;
    for group in order.chunk_by(|a, b| values[*a] == values[*b]) {
        let mean = before as f64 + 0.5 * (group.len() as f64 + 1.0);
        group.iter().for_each(|i| ranks[*i] = mean);
        before += group.len();
    }
    ranks
}

/// Pearson's correlation; 0 where one side does not vary.
fn correlation(x: &[f64], y: &[f64]) -> f64 {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let (mx, my) = (mean(x), mean(y));
    let (mut xy, mut xx, mut yy) = (0.0, 0.0, 0.0);
    for (a, b) in x.iter().zip(y) {
        xy += (a - mx) * (b - my);
        xx += (a - mx) * (a - mx);
        yy += (b - my) * (b - my);
    }
    if xx == 0.0 || yy == 0.0 { 0.0 } else { xy / (xx * yy).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Law;
    use stillbed_input::quantity::Spread;

    fn some(values: &[f64]) -> Vec<Option<f64>> {
        values.iter().copied().map(Some).collect()
    }

    #[test]
    fn percentiles_by_hand() {
        let answers: Vec<Option<f64>> = (0..=100).rev().map(|i| Some(f64::from(i))).collect();
        let found = percentiles(&answers);
        assert_eq!((found.low, found.median, found.high), (Some(5.0), Some(50.0), Some(95.0)));
        assert_eq!(percentile(&[1.0, 2.0], 0.25), Some(1.25));
        assert_eq!(percentiles(&[None, Some(3.0)]).high, Some(3.0));
        assert_eq!(percentiles(&[]), Percentiles::default());
        let endless = percentiles(&some(&[1.0, 2.0, f64::INFINITY]));
        assert_eq!((endless.median, endless.high), (Some(2.0), None));
    }

    #[test]
    fn ties_count_half_and_missing_answers_do_not_meet() {
        let one = [Some(1.0), Some(2.0), Some(3.0), None, Some(f64::INFINITY)];
        let other = [Some(2.0), Some(2.0), Some(1.0), Some(9.0), Some(5.0)];
        assert_eq!(chance_to_beat(&one, &other, true), Some(2.5 / 4.0));
        assert_eq!(chance_to_beat(&one, &other, false), Some(1.5 / 4.0));
        assert_eq!(chance_to_beat(&[None], &[Some(1.0)], true), None);
    }

    #[test]
    fn ranks_share_ties() {
        assert_eq!(ranks(&[3.0, 1.0, 3.0, 2.0]), [3.5, 1.0, 3.5, 2.0]);
    }

    #[test]
    fn the_strongest_input_is_named() {
        let quantity = |key: &str| Uncertain {
            key: key.to_string(),
            spread: Spread::between(1.0, 0.5, 2.0),
            kind: stillbed_input::quantity::Kind::Ratio,
            law: Law::LogNormal,
        };
        let uncertain = [quantity("weak"), quantity("strong"), quantity("idle")];
        let draws = super::super::draws::latin_hypercube(&uncertain, 300, 1);
        let answers: Vec<Option<f64>> =
            draws.iter().map(|d| Some(d.values[0].powf(0.3) / d.values[1])).collect();
        let found = influences(&uncertain, &draws, &answers);
        assert_eq!(found.iter().map(|i| i.key.as_str()).collect::<Vec<_>>(), ["strong", "weak", "idle"]);
        assert!(found[0].rank_correlation < -0.9 && found[0].seen && !found[2].seen);
        assert!(found.iter().map(|i| i.share).sum::<f64>() <= 1.0 + 1e-12);
        let advice = Advice::from(&found).unwrap();
        assert_eq!(advice.key, "strong");
        // ln answer = 0.3 ln weak - ln strong, equal spreads: 0.09 of 1.09 of the variance is left.
        approx::assert_abs_diff_eq!(advice.narrows_to, (0.09f64 / 1.09).sqrt(), epsilon = 0.06);
        assert!(advice.sentence("settle time").starts_with("Measuring strong first would narrow"));
        assert_eq!(Advice::from(&found[2..]), None);
    }

    #[test]
    fn a_constant_answer_has_no_influence() {
        let uncertain = [Uncertain {
            key: "a".into(),
            spread: Spread::between(1.0, 0.5, 2.0),
            kind: stillbed_input::quantity::Kind::Ratio,
            law: Law::Normal,
        }];
        let draws = super::super::draws::latin_hypercube(&uncertain, 10, 1);
        assert_eq!(influences(&uncertain, &draws, &[Some(4.0); 10])[0].share, 0.0);
        assert!(influences(&uncertain, &draws, &[None; 10]).is_empty());
    }
}
