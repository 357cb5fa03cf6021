//! The builds of a comparison in the form that the verdict judges.

use super::doubt::Doubt;
use super::guesses::OnGuesses;
use super::lead::BuildFacts;
use super::measures::{Figures, TheoryErrors};
use super::misses::{Misses, keep_all, left_open};
use super::solved::Solved;
use super::spread::rank::{Advice, influences};
use stillbed_design::{Build, Design, Measure};
use stillbed_input::problem::Problems;
use stillbed_input::quantity::Draw;

/// What the verdict needs to know of `build`; `stated` are its figures at the nominal values.
///
/// # Errors
/// What stopped the static solution, at the build.
pub(super) fn build_facts(
    design: &Design,
    build: &Build,
    solved: &Solved,
    (theory, cells): (&TheoryErrors, Option<f64>),
    stated: &Figures,
    drawn: &[Option<&Figures>],
    measure: Measure,
) -> Result<BuildFacts, Problems> {
    let targets = &design.goal.targets;
    // A build without a settle time never settles.
    let endless = (measure == Measure::SettleTime).then_some(f64::INFINITY);
    let value = |figures: &Figures| figures.get(measure).or(endless);
    let kept = drawn.iter().flatten().filter(|figures| keep_all(targets, figures)).count();
    let model = &solved.model;
    let used = || model.frame.members.iter().filter_map(|member| model.sections.get(member.section));
    let on_guesses = OnGuesses::compute(build, &design.goal, solved, stated);
    let mut misses = Misses::new(targets);
    misses.judge(&build.name, |measure| Some(stated.get(measure)));
    let doubt = |of: Measure| Doubt::of(of, stated, &solved.spectrum, theory, cells.unwrap_or(0.0));
    for miss in &mut misses.list {
        miss.error = miss.known().map_or(0.0, |measure| doubt(measure).total());
    }
    Ok(BuildFacts {
        name: build.name.clone(),
        label: build.label.clone(),
        value: value(stated),
        drawn: drawn.iter().map(|figures| value((*figures)?)).collect(),
        doubt: doubt(measure),
        misses: misses.list,
        left_open: left_open(targets, stated, |measure| doubt(measure).total()),
        meets_in: (!targets.is_empty() && !drawn.is_empty()).then(|| kept as f64 / drawn.len() as f64),
        on_guesses: on_guesses.map_err(|fault| build.problems(&fault))?,
        varies: !build.drawing.vary.is_empty(),
        still: stated.weakest.is_some_and(f64::is_infinite),
        soft: used().any(|section| !section.holds_plane()),
    })
}

/// The measurement that would narrow the difference between two builds most. The difference is that of the
/// logarithms of their deciding measure, draw by draw.
pub(super) fn narrows(
    design: &Design,
    draws: &[Draw],
    one: &BuildFacts,
    other: &BuildFacts,
) -> Option<Advice> {
    let ratio = |(a, b): (&Option<f64>, &Option<f64>)| Some(((*a)? / (*b)?).ln()).filter(|x| x.is_finite());
    let answers: Vec<Option<f64>> = one.drawn.iter().zip(&other.drawn).map(ratio).collect();
    Advice::from(&influences(&design.uncertain, draws, &answers))
}

#[cfg(test)]
mod tests {
    use super::super::spread::draws::latin_hypercube;
    use super::*;
    use crate::design_sample::design;

    #[test]
    fn what_two_builds_share_does_not_narrow_their_difference() {
        let design = design(stillbed_design::STARTER);
        let draws = latin_hypercube(&design.uncertain, 100, 1);
        let of = |drawn: &dyn Fn(&Draw) -> f64| BuildFacts {
            name: String::new(),
            label: String::new(),
            value: Some(1.0),
            drawn: draws.iter().map(|draw| Some(drawn(draw))).collect(),
            doubt: Doubt::default(),
            misses: Vec::new(),
            left_open: Vec::new(),
            meets_in: None,
            on_guesses: OnGuesses::default(),
            varies: false,
            still: false,
            soft: false,
        };
        let relative = |draw: &Draw, i: usize| draw.values[i] / design.uncertain[i].spread.value;
        let one = of(&|draw| relative(draw, 0).powi(3) * relative(draw, 1));
        let other = of(&|draw| relative(draw, 0).powi(3));
        assert_eq!(narrows(&design, &draws, &one, &other).unwrap().key, design.uncertain[1].key);
    }
}
