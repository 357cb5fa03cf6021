//! Which build is best, and how surely: the conclusion of a comparison.
//!
//! Builds that meet all targets at the nominal values rank first; if none does, all rank together. The best
//! of them by the deciding measure is named the winner where it leads every other one
//!
//! ```text
//! in nine draws of ten                    chance ≥ 0.9
//! and by more than the stated errors      ratio > 1 + error + error of the other
//! ```
//!
//! Builds that it does not lead in this way cannot be told apart from it. The measurement that narrows the
//! difference most, or a target that one of them misses, would tell them apart.

use super::doubt::Doubt;
use super::guesses::OnGuesses;
use super::lead::{BuildFacts, Lead, SURE, does, valued};
use super::misses::Miss;
use super::spread::rank::Advice;
use serde::Serialize;
use stillbed_design::Measure;
use stillbed_input::quantity::{figures, show, show_apart};

/// Share of the compliance or of the loss above which the first lines mention the guesses.
pub const MUCH: f64 = 1.0 / 3.0;

/// Facts about the comparison as a whole.
#[derive(Debug, Clone, Copy)]
pub struct Circumstances<'a> {
    /// The file of the design.
    pub file: &'a str,
    /// The deciding measure.
    pub measure: Measure,
    /// True where the design states targets.
    pub has_targets: bool,
    /// Number of draws.
    pub draws: usize,
    /// True where the design has a value with a spread, so that draws can be made.
    pub uncertain: bool,
}

/// The conclusion of a comparison.
#[derive(Debug, Clone, Serialize)]
pub struct Verdict {
    /// The deciding measure.
    pub measure: &'static str,
    /// Builds that meet all targets at the nominal values; without targets, all of them.
    pub meets_targets: Vec<String>,
    /// The build whose worst miss is least, where none meets all targets.
    pub least_miss: Option<String>,
    /// The best build at the nominal values, of those that meet all targets where any does.
    pub ahead: Option<String>,
    /// The same build, where it leads in nine draws of ten and by more than the stated errors.
    pub winner: Option<String>,
    /// Builds that cannot be told apart from the one ahead.
    pub level: Vec<String>,
    /// The measurement that would tell the one ahead from the first of these.
    pub tells_apart: Option<Advice>,
    /// From best to worst.
    pub builds: Vec<Judgement>,
    /// The verdict in words, a paragraph each.
    pub paragraphs: Vec<String>,
}

/// The judgement on one build.
#[derive(Debug, Clone, Serialize)]
pub struct Judgement {
    /// Its key in the design.
    pub name: String,
    /// Share of the draws in which it meets all targets.
    pub meets_in: Option<f64>,
    /// Its worst miss of a target, at the nominal values.
    pub worst_miss: Option<Miss>,
    /// That miss as a part of the limit; left out where there is no value at all.
    pub missed_by: Option<f64>,
    /// Share of the draws in which the build ahead beats it.
    pub beaten_in: Option<f64>,
    /// Measures of the targets of which the errors of the method leave open whether it meets them.
    pub left_open: Vec<&'static str>,
    /// Relative errors of its deciding measure.
    pub error: Doubt,
    /// Shares of its figures that rest on guesses.
    pub on_guesses: OnGuesses,
}

/// `a`, `a and b`, `a, b and c`.
fn listed(words: &[String]) -> String {
    match words.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, first)) => format!("{} and {last}", first.join(", ")),
        None => String::new(),
    }
}

impl Verdict {
    /// The verdict on `candidates`. Given the indices of two of them, `narrows` gives the measurement that
    /// would narrow their difference most.
    pub fn judge(
        about: &Circumstances,
        candidates: &[BuildFacts],
        narrows: impl Fn(usize, usize) -> Option<Advice>,
    ) -> Verdict {
        let measure = about.measure;
        let order = ranked(measure, candidates);
        let ranks: Vec<&BuildFacts> = order.iter().map(|i| &candidates[*i]).collect();
        let best = ranks.first().copied();
        let any_meets = ranks.iter().any(|c| c.meets());
        let rivals: Vec<&BuildFacts> =
            ranks.iter().skip(1).copied().filter(|c| c.meets() == any_meets).collect();
        let leads: Vec<(&BuildFacts, Lead)> =
            best.iter().flat_map(|best| rivals.iter().map(|c| (*c, Lead::of(measure, best, c)))).collect();
        let level: Vec<(&BuildFacts, Lead)> =
            leads.iter().copied().filter(|(_, lead)| !lead.leads()).collect();
        let tells_apart = match (level.first(), order.first()) {
            (Some((rival, lead)), Some(first)) if !lead.is_equal() => {
                let place = candidates.iter().position(|c| c.name == rival.name);
                place.and_then(|place| narrows(*first, place))
            }
            _ => None,
        };
        // If one build alone meets the targets, it wins if it also leads the builds that do not.
        let others: Vec<Lead> = match (best, leads.is_empty()) {
            (Some(best), true) => ranks.iter().skip(1).map(|c| Lead::of(measure, best, c)).collect(),
            _ => leads.iter().map(|(_, lead)| *lead).collect(),
        };
        let is_still = best.is_some_and(|best| best.still);
        let sure = !others.is_empty() && others.iter().all(Lead::leads) && about.draws > 0 && !is_still;
        let sure = sure && ranks.iter().all(|c| !c.soft);
        // One that may meet the targets after all has to be led as well.
        let sure = sure && best.is_none_or(|best| may_overtake(measure, best, &ranks).is_empty());
        let named = |c: &&BuildFacts| c.name.clone();
        let beaten = |c: &BuildFacts| {
            let best = best.filter(|best| best.name != c.name)?;
            Lead::of(measure, best, c).chance
        };
        let least = ranks.iter().min_by(|a, b| a.misses_by().total_cmp(&b.misses_by()));
        let mut verdict = Verdict {
            measure: measure.key(),
            meets_targets: ranks.iter().filter(|c| c.meets()).map(named).collect(),
            least_miss: least.filter(|_| !any_meets).map(named),
            ahead: best.map(|best| best.name.clone()),
            winner: best.filter(|_| sure).map(|best| best.name.clone()),
            level: level.iter().map(|(c, _)| c.name.clone()).collect(),
            tells_apart,
            builds: Vec::new(),
            paragraphs: Vec::new(),
        };
        verdict.builds = ranks
            .iter()
            .map(|c| Judgement {
                name: c.name.clone(),
                meets_in: c.meets_in,
                worst_miss: c.worst().cloned(),
                missed_by: c.worst().map(Miss::by).filter(|by| by.is_finite()),
                beaten_in: beaten(c),
                left_open: c.left_open.iter().map(|measure| measure.key()).collect(),
                error: c.doubt,
                on_guesses: c.on_guesses,
            })
            .collect();
        let ahead = || standing(about, &ranks, &leads, &level, verdict.tells_apart.as_ref());
        let told = [
            still(&ranks),
            soft(&ranks),
            about.has_targets.then(|| targets(about, &ranks)),
            left_open(&ranks),
            if is_still { None } else { ahead() },
            guessed(&ranks),
        ];
        verdict.paragraphs = told.into_iter().flatten().collect();
        verdict
    }

    /// The judgement on the build called `name`.
    #[must_use]
    pub fn judged(&self, name: &str) -> Option<&Judgement> {
        self.builds.iter().find(|judged| judged.name == name)
    }
}

/// Builds that may meet the targets within the errors of the method, and that `best`, which meets them, does not surely lead.
fn may_overtake<'a>(
    measure: Measure,
    best: &BuildFacts,
    ranks: &[&'a BuildFacts],
) -> Vec<(&'a BuildFacts, Lead)> {
    let open = ranks.iter().filter(|c| best.meets() && c.may_meet());
    open.map(|c| (*c, Lead::of(measure, best, c))).filter(|(_, lead)| !lead.leads()).collect()
}

/// Indices of `candidates` from best to worst: those that meet all targets first.
fn ranked(measure: Measure, candidates: &[BuildFacts]) -> Vec<usize> {
    let worth = |i: usize| {
        let value = candidates[i].value;
        value.map_or(f64::NEG_INFINITY, |value| if measure.more_is_better() { value } else { -value })
    };
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    order.sort_by(|a, b| {
        let meets = candidates[*b].meets().cmp(&candidates[*a].meets());
        meets.then(worth(*b).total_cmp(&worth(*a)))
    });
    order
}

/// The labels of those for which `so` is true.
fn labels_of(ranks: &[&BuildFacts], so: impl Fn(&BuildFacts) -> bool) -> Vec<String> {
    ranks.iter().filter(|c| so(c)).map(|c| c.label.clone()).collect()
}

/// Says that a soft layer shears in some builds, so that none of their figures is reliable.
fn soft(ranks: &[&BuildFacts]) -> Option<String> {
    let labels = labels_of(ranks, |c| c.soft);
    (!labels.is_empty()).then(|| {
        format!(
            "Plane sections do not hold in {}: a soft layer shears, and no stiffness, frequency or loss that rests \
             on it is sound. Nobody wins against such figures.",
            listed(&labels)
        )
    })
}

/// Says that tip and work cannot move apart in some builds, so that their figures rank nothing.
fn still(ranks: &[&BuildFacts]) -> Option<String> {
    let labels = labels_of(ranks, |c| c.still);
    let them = if labels.len() == 1 { "it" } else { "them" };
    (!labels.is_empty()).then(|| {
        format!(
            "Nothing gives way between tip and work of {}: anchors or feet take up all there, so that how quiet and \
             how stiff they are says nothing of {them}. Name a tip that can move.",
            listed(&labels)
        )
    })
}

/// Says which builds meet the targets, and by how much the others miss them.
fn targets(about: &Circumstances, ranks: &[&BuildFacts]) -> String {
    let (meet, miss): (Vec<&BuildFacts>, Vec<&BuildFacts>) = ranks.iter().partition(|c| c.meets());
    let labels = |of: &[&BuildFacts]| listed(&of.iter().map(|c| c.label.clone()).collect::<Vec<_>>());
    let mut by_miss = miss.clone();
    by_miss.sort_by(|a, b| a.misses_by().total_cmp(&b.misses_by()));
    // The worst miss of a build, and the number of its other misses.
    let worst = |c: &BuildFacts| {
        let more = match c.misses.len() {
            0 | 1 => String::new(),
            2 => ", and another target".to_string(),
            n => format!(", and {} other targets", n - 1),
        };
        c.worst().map(Miss::sentence).unwrap_or_default() + &more
    };
    let mut told = Vec::new();
    match (meet.len(), miss.len()) {
        (1, 0) => told.push(format!("{} meets all targets.", labels(&meet))),
        (2, 0) => told.push("Both builds meet all targets.".to_string()),
        (n, 0) => told.push(format!("All {n} builds meet all targets.")),
        (1, _) => told.push(format!("{} alone meets all targets.", labels(&meet))),
        (0, 1) => told.push(format!("{} does not meet all targets: {}.", labels(&miss), worst(miss[0]))),
        (0, _) => told.push(format!(
            "No build meets all targets. {} misses least: {}.",
            by_miss[0].label,
            worst(by_miss[0])
        )),
        (_, _) => told.push(format!("{} meet all targets.", labels(&meet))),
    }
    let others = by_miss.iter().skip(usize::from(meet.is_empty()));
    let others: Vec<String> = others.map(|c| format!("{}, {}", c.label, worst(c))).collect();
    if !others.is_empty() {
        told.push(format!("The others miss: {}.", others.join("; ")));
    }
    for c in ranks {
        let Some(part) = c.meets_in else { continue };
        let part_told = figures(100.0 * part, 3);
        if c.meets() && part < SURE {
            told.push(format!(
                "{} meets them at the stated values, but in {part_told} % of the draws.",
                c.label
            ));
        } else if !c.meets() && part >= 1.0 - SURE {
            told.push(format!("{} does meet them all in {part_told} % of the draws.", c.label));
        }
    }
    let varied: Vec<&&BuildFacts> = by_miss.iter().filter(|c| c.varies).collect();
    if meet.is_empty()
        && let [one, ..] = varied[..]
    {
        told.push(format!(
            "These are the sizes as drawn: what may vary of {} is stated, and `stillbed size {} --build {}` \
             searches it for sizes that meet the targets.",
            one.label, about.file, one.name
        ));
    }
    told.join(" ")
}

/// Says of which targets the errors of the method leave open whether they are met.
fn left_open(ranks: &[&BuildFacts]) -> Option<String> {
    let titles = |c: &BuildFacts| {
        let titles: Vec<String> = c.left_open.iter().map(|measure| measure.title().to_string()).collect();
        listed(&titles)
    };
    let open: Vec<&&BuildFacts> = ranks.iter().filter(|c| !c.left_open.is_empty()).collect();
    let of: Vec<String> = open.iter().map(|c| format!("{} of {}", titles(c), c.label)).collect();
    let they = if open.iter().map(|c| c.left_open.len()).sum::<usize>() == 1 { "it is" } else { "they are" };
    (!of.is_empty()).then(|| {
        format!("Left open is {}: {they} nearer to the target than the errors of the method.", of.join("; "))
    })
}

/// Says which build is ahead by the deciding measure, how surely, and what would tell more.
fn standing(
    about: &Circumstances,
    ranks: &[&BuildFacts],
    leads: &[(&BuildFacts, Lead)],
    level: &[(&BuildFacts, Lead)],
    tells_apart: Option<&Advice>,
) -> Option<String> {
    let measure = about.measure;
    let (best, rest) = ranks.split_first()?;
    let Some(next) = rest.first() else {
        return Some(format!("{} {}.", best.label, does(measure, best.value)));
    };
    let mut told = Vec::new();
    if let Some((rival, lead)) = level.first() {
        told.push(level_told(measure, best, level));
        let missed = |one: &BuildFacts, other: &BuildFacts| {
            let kept = |miss: &&Miss| other.misses.iter().all(|own| own.measure != miss.measure);
            one.misses.iter().find(kept).map(|miss| (one.label.clone(), other.label.clone(), miss.clone()))
        };
        let target = missed(rival, best).or_else(|| missed(best, rival));
        if let Some((one, other, miss)) = target {
            let title = miss.known().map_or(miss.measure, Measure::title);
            told.push(format!(
                "A target tells them apart: {one} misses that of {title}, which {other} keeps."
            ));
        }
        match tells_apart {
            Some(advice) => {
                let what = format!("the difference between {} and {}", best.label, rival.label);
                told.push(advice.sentence_of(&what));
            }
            None if about.draws > 0 && !lead.is_equal() => {
                told.push("No single measurement is seen to narrow the difference.".to_string());
            }
            None => {}
        }
        let behind: Vec<String> = leads
            .iter()
            .filter(|(_, lead)| lead.leads())
            .map(|(c, _)| format!("{} ({})", c.label, valued(measure, c)))
            .collect();
        if !behind.is_empty() {
            told.push(format!("Behind {}: {}.", best.label, listed(&behind)));
        }
    } else if leads.is_empty() {
        told.push(alone(measure, best, next));
    } else {
        let lead = leads[0].1;
        let ahead = if about.draws > 0 { "is ahead" } else { "is ahead at the stated values" };
        told.push(format!(
            "{} {ahead}: it {}, {}{}.",
            best.label,
            does(measure, best.value),
            against(measure, &lead, next),
            in_draws(&lead)
        ));
    }
    for (other, lead) in may_overtake(measure, best, ranks) {
        let then = match lead.trails() {
            true => format!("would be {} it", Lead::of(measure, other, best).words(measure)),
            false => "could not be told apart from it".to_string(),
        };
        told.push(format!(
            "{}, if it meets the targets after all, {then} ({}).",
            other.label,
            valued(measure, other)
        ));
    }
    if about.draws == 0 {
        told.push(match about.uncertain {
            true => "No draws were made, so that nothing is known of how sure this is.".to_string(),
            false => {
                "Nothing is stated with a spread, so that nothing is known of how sure this is.".to_string()
            }
        });
    }
    Some(told.join(" "))
}

/// The lead over the next build as text: `1.2 times sooner than NEXT (207 ms)`.
fn against(measure: Measure, lead: &Lead, next: &BuildFacts) -> String {
    match lead.ratio.is_finite() {
        true => format!("{} {} ({})", lead.words(measure), next.label, valued(measure, next)),
        false => format!("while {} {}", next.label, does(measure, next.value)),
    }
}

fn in_draws(lead: &Lead) -> String {
    lead.chance.map_or(String::new(), |chance| format!(", in {} % of the draws", figures(100.0 * chance, 3)))
}

/// Says that the builds of `level` cannot be told apart from `best`, and why.
fn level_told(measure: Measure, best: &BuildFacts, level: &[(&BuildFacts, Lead)]) -> String {
    let (rival, lead) = level[0];
    let kind = measure.kind();
    if let [(rival, lead)] = level
        && lead.is_equal()
    {
        let value = best.value.filter(|value| value.is_finite());
        let value = value.map_or("neither comes to rest".to_string(), |value| show(value, kind));
        return format!("By {} {} and {} are equal: {value}.", measure.title(), best.label, rival.label);
    }
    let finite = |c: &BuildFacts| c.value.unwrap_or(f64::INFINITY);
    let (own, other) = show_apart(finite(best), finite(rival), kind);
    let mut rivals = vec![format!("{} ({other})", rival.label)];
    rivals.extend(level[1..].iter().map(|(c, _)| format!("{} ({})", c.label, valued(measure, c))));
    format!(
        "By {} {} ({own}) cannot be told apart from {}: {}.",
        measure.title(),
        best.label,
        listed(&rivals),
        lead.reason(best, rival)
    )
}

/// Compares the only build that meets all targets with the best of the others.
fn alone(measure: Measure, best: &BuildFacts, next: &BuildFacts) -> String {
    let lead = Lead::of(measure, best, next);
    let does = does(measure, best.value);
    if lead.leads() {
        return format!(
            "{} is ahead too: it {does}, {}{}.",
            best.label,
            against(measure, &lead, next),
            in_draws(&lead)
        );
    }
    if lead.trails() {
        let back = Lead::of(measure, next, best);
        return format!(
            "{} {does}; {}, which misses, would be {} it ({}){}.",
            best.label,
            next.label,
            back.words(measure),
            valued(measure, next),
            in_draws(&back)
        );
    }
    if lead.is_equal() {
        return format!("{} {does}, and so does {}.", best.label, next.label);
    }
    format!(
        "{} {does}; by {} alone it could not be told apart from {} ({}): {}.",
        best.label,
        measure.title(),
        next.label,
        valued(measure, next),
        lead.reason(best, next)
    )
}

/// Says where guesses carry much of an answer.
fn guessed(ranks: &[&BuildFacts]) -> Option<String> {
    let held = |of: &str, part: &dyn Fn(&OnGuesses) -> f64| {
        let much = ranks.iter().filter(|c| part(&c.on_guesses) > MUCH);
        let told = |c: &&BuildFacts| format!("{} % in {}", figures(100.0 * part(&c.on_guesses), 2), c.label);
        let told: Vec<String> = much.map(told).collect();
        (!told.is_empty()).then(|| format!("of the {of} {}", listed(&told)))
    };
    let parts = [held("give", &|on| on.give), held("loss", &|on| on.loss)];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| {
        format!(
            "Guesses carry much of this: joints and feet that are stated without a spread make {}. They take \
             the usual spread of their class, listed at the end.",
            parts.join(", and ")
        )
    })
}

#[cfg(test)]
#[path = "verdict_tests.rs"]
mod tests;
