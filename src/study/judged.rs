//! The targets, judged alike by every command that solves the builds: by the measures at nominal values, with
//! as many modes as these need.

use super::misses::Misses;
use super::solved::Solved;
use stillbed_design::Design;
use stillbed_input::problem::Problems;
use stillbed_input::quantity::Draw;

/// The misses of all builds of `design`, which is not solved where it has no targets.
///
/// # Errors
/// What stopped a solution, at its build.
pub(super) fn judge_targets(design: &Design) -> Result<Misses, Problems> {
    let mut misses = Misses::new(&design.goal.targets);
    if design.goal.targets.is_empty() {
        return Ok(misses);
    }
    for build in &design.builds {
        let model = build.model(&design.goal, &Draw::default())?;
        let figures = Solved::converge(build, &design.goal, &model, None)
            .and_then(|solved| solved.figures(build, &design.goal))
            .map_err(|fault| build.problems(&fault))?;
        misses.judge(&build.name, |measure| Some(figures.get(measure)));
    }
    Ok(misses)
}

#[cfg(test)]
mod tests {
    use super::super::compare::{Comparison, Options};
    use super::super::modes::Modes;
    use super::super::response::{Response, ResponseOptions};
    use super::super::ringdown::{RingDownOptions, RingDowns};
    use super::super::spread::Draws;
    use crate::design_sample::design;

    #[test]
    fn every_command_misses_the_same_targets() {
        let targets = [
            "mass = { at_most = \"1 kg\" }",
            "first_frequency = { at_least = \"1 kHz\" }",
            "stiffness = { at_least = \"9 kN/um\" }",
            "settle_time = { at_most = \"1 ms\" }",
            "dynamic_stiffness = { at_least = \"9 kN/um\" }",
        ];
        for target in targets {
            let text = stillbed_design::STARTER
                .replace("mass = { at_most = \"40 kg\" }\n", "")
                .replace("stiffness = { at_least = \"1 N/um\" }", target);
            let design = design(&text);
            let options = Options { draws: 0, ..Options::default() };
            let found = [
                Comparison::compute(&design, &options, |_, _| ()).unwrap().misses,
                Modes::compute(&design, 4, &Draws::NONE, |_, _| ()).unwrap().misses,
                Response::compute(&design, &ResponseOptions { range: None, path: None, floor: None })
                    .unwrap()
                    .misses,
                RingDowns::compute(
                    &design,
                    &RingDownOptions { duration: Some(0.1), draws: Draws::NONE },
                    |_, _| (),
                )
                .unwrap()
                .misses,
            ];
            assert!(!found[0].list.is_empty(), "{target}");
            for other in &found[1..] {
                assert_eq!(other.list, found[0].list, "{target}");
            }
        }
    }
}
