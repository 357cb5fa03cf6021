//! Which values of a design are guesses, and how much of an answer rests on them.
//!
//! A stiffness or loss of a joint or foot, or a bond, that is stated without a spread takes the usual spread
//! of its class ([`stillbed_input::document::Usual`]); a loss that is not stated is taken as 0.
//!
//! The compliance between tip and work rests on guesses by the share of the strain energy U in joints and
//! feet whose stiffness is guessed; the loss of a mode by the share of the loss in joints and feet whose loss
//! is guessed:
//!
//! ```text
//! give   Σ guessed U / Σ U                  U of the force between tip and work
//! loss   Σ guessed η U / (η_mode Σ U)       U of the mode
//! ```
//!
//! Neither counts what a guessed bond does to the stiffness of its member; that shows in the spread.

use super::measures::Figures;
use super::solved::Solved;
use serde::Serialize;
use stillbed_design::{Build, Design, Goal};
use stillbed_frame::Energies;
use stillbed_input::document::{Class, Usual};
use stillbed_input::quantity::{Draw, Spread};
use stillbed_modes::ModesFault;

/// One value that was stated without a spread, or not at all.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Guess {
    /// Its key in the design.
    pub key: String,
    /// What it is: joint stiffness, foot loss, bond.
    pub class: &'static str,
    /// False where nothing is stated and 0 is taken.
    pub stated: bool,
    /// The nominal value, SI.
    pub value: f64,
    /// The 5 % limit taken, SI.
    pub low: f64,
    /// The 95 % limit taken, SI.
    pub high: f64,
    /// Where these limits come from.
    pub source: String,
}

/// Shares of an answer that rest on guesses.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct OnGuesses {
    /// Share of the compliance between tip and work, in the weakest direction.
    pub give: f64,
    /// Share of the loss of the deciding mode.
    pub loss: f64,
}

/// The guesses in the builds of `design`, each value once.
#[must_use]
pub fn find_guesses(design: &Design) -> Vec<Guess> {
    let mut found: Vec<Guess> = Vec::new();
    for guess in design.builds.iter().flat_map(|build| of_build(design, build)) {
        if found.iter().all(|known| known.key != guess.key) {
            found.push(guess);
        }
    }
    found
}

fn of_build(design: &Design, build: &Build) -> Vec<Guess> {
    let mut found = Vec::new();
    let guess = |class: Class, spread: &Spread| {
        let quantity = design.uncertain.get(spread.index?)?;
        let Spread { value, low, high, .. } = *spread;
        let (key, class, source) = (quantity.key.clone(), class.title(), Usual::of(class).source.clone());
        spread.guess.then_some(Guess { key, class, stated: true, value, low, high, source })
    };
    let unstated = |class: Class, key: &str| Guess {
        key: format!("{key}.loss"),
        class: class.title(),
        stated: false,
        value: 0.0,
        low: 0.0,
        high: 0.0,
        source: String::new(),
    };
    let drawing = &build.drawing;
    for (_, foot) in drawing.feet.iter() {
        let springs = foot.stiffness.iter().chain(foot.turning.iter().flatten());
        found.extend(springs.filter_map(|spring| guess(Class::FootStiffness, spring)));
        let stated = foot.loss.stated();
        found.extend(stated.is_empty().then(|| unstated(Class::FootLoss, &foot.place.key)));
        found.extend(stated.iter().filter_map(|loss| guess(Class::FootLoss, loss)));
    }
    let used = drawing.joints_in_use();
    for (_, joint) in drawing.joints.iter().filter(|(name, _)| used.contains(name)) {
        found.extend(
            joint.stiffness.iter().flatten().filter_map(|spring| guess(Class::JointStiffness, spring)),
        );
        let stated = joint.loss.stated();
        found.extend(stated.is_empty().then(|| unstated(Class::JointLoss, &joint.place.key)));
        found.extend(stated.iter().filter_map(|loss| guess(Class::JointLoss, loss)));
    }
    let bonded = build.profiles.iter().filter(|profile| profile.is_bonded());
    found.extend(bonded.filter_map(|profile| guess(Class::Bond, &profile.bond)));
    found
}

impl OnGuesses {
    /// Computes how much of the nominal `figures` of `build` rests on guesses.
    ///
    /// # Errors
    /// What stopped the static solution.
    pub fn compute(
        build: &Build,
        goal: &Goal,
        solved: &Solved,
        figures: &Figures,
    ) -> Result<OnGuesses, ModesFault> {
        let drawing = &build.drawing;
        let any = |spreads: &[Spread]| spreads.iter().any(|spread| spread.guess);
        let mut on = OnGuesses::default();
        if let Some(direction) = figures.weakest_direction
            && let Some(energy) = solved.give(direction)?
        {
            let joints = drawing.joints.iter().zip(&energy.joints);
            let joints = joints.filter(|((_, joint), _)| joint.stiffness.iter().flatten().any(|k| k.guess));
            let feet = drawing.feet.iter().zip(&energy.feet);
            let feet = feet.filter(|((_, foot), _)| {
                any(&foot.stiffness) || foot.turning.is_some_and(|turning| any(&turning))
            });
            let guessed: f64 = joints.map(|(_, part)| part).chain(feet.map(|(_, part)| part)).sum();
            on.give = share(guessed, energy.total());
        }
        if let Some(mode) = solved.elastic(figures) {
            let energies = Energies::new(&solved.model.frame, &solved.spectrum.layout);
            let energies = energies.ok_or(ModesFault::Frame(Vec::new()))?;
            let Some(energy) = energies.strain(&[&mode.shape]).pop() else { return Ok(on) };
            let joints = drawing.joints.iter().map(|(_, joint)| &joint.loss).zip(&energy.joints);
            let feet = drawing.feet.iter().map(|(_, foot)| &foot.loss).zip(&energy.feet);
            let lost = joints.chain(feet).filter(|(loss, _)| any(&loss.stated()));
            let lost: f64 =
                lost.map(|(loss, stored)| loss.at(goal.amplitude, &Draw::default()) * stored).sum();
            on.loss = share(lost, solved.spectrum.loss_by_energy(mode) * energy.total());
        }
        Ok(on)
    }
}

fn share(part: f64, total: f64) -> f64 {
    if total > 0.0 { part / total } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    use stillbed_modes::Asked;

    /// A steel bar of 400 mm on a joint that turns in bending, its tip against the ground; `joint` as stated.
    fn bar(joint: &str) -> Design {
        let text = format!(
            "[points]\na = \"0, 0, 0 mm\"\nb = \"400, 0, 0 mm\"\n\
             [members.bar]\nfrom = \"a\"\nto = \"b\"\nsection = \"s\"\njoint_from = \"seat\"\n\
             [anchors.wall]\nat = [\"a\"]\nhold = \"{}\"\n[tool]\ntip = \"b\"\nwork = \"ground\"\n\
             [builds.one]\nsections.s.parts = [{{ rectangle = \"20 x 20 mm\", of = \"structural steel\" }}]\n\
             joints.seat = {{ {joint} }}\n",
            stillbed_frame::spec::DOF_NAMES.join(" ")
        );
        crate::design_sample::design(&text)
    }

    fn on_guesses(design: &Design) -> OnGuesses {
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let asked = Asked { count: 3, ..Asked::default() };
        let solved = Solved::solve(build, &design.goal, &model, &asked, &[]).unwrap();
        let figures = solved.figures(build, &design.goal).unwrap();
        OnGuesses::compute(build, &design.goal, &solved, &figures).unwrap()
    }

    fn turn(key: usize) -> &'static str {
        stillbed_frame::spec::DOF_NAMES[key]
    }

    #[test]
    fn the_give_of_a_bar_on_a_spring_by_hand() {
        // L²/k against L³/(3 E I): 0.16 / 20e3 = 8.0e-6 against 2.286e-5 m/N with E = 210 GPa,
        // I = 1.3333e-8 m4: 7.619e-6; shear adds 0.6 %.
        let stated = |k: &str| format!("stiffness = {{ {} = {k} }}, loss = 0", turn(4));
        let on = on_guesses(&bar(&stated("\"20 kN m/rad\"")));
        let (spring, bend) = (0.16 / 20e3, 0.4f64.powi(3) / (3.0 * 210e9 * 0.02f64.powi(4) / 12.0));
        approx::assert_relative_eq!(on.give, spring / (spring + bend), max_relative = 0.01);
        let exact = on_guesses(&bar(&stated("{ value = \"20 kN m/rad\", exact = true }")));
        assert_eq!(exact, OnGuesses::default());
        let spread = "{ value = \"20 kN m/rad\", low = \"15 kN m/rad\", high = \"30 kN m/rad\" }";
        assert_eq!(on_guesses(&bar(&stated(spread))).give, 0.0);
    }

    #[test]
    fn nearly_all_loss_of_steel_on_a_lossy_joint_is_that_of_the_joint() {
        let stated = |loss: &str| {
            format!(
                "stiffness = {{ {} = \"2 kN m/rad\", {} = \"2 kN m/rad\" }}, loss = {loss}",
                turn(4),
                turn(5)
            )
        };
        let on = on_guesses(&bar(&stated("0.05")));
        assert!(on.loss > 0.99 && on.loss <= 1.0 + 1e-9, "{on:?}");
        assert_eq!(on_guesses(&bar(&stated("{ value = 0.05, exact = true }"))).loss, 0.0);
    }

    #[test]
    fn guesses_are_listed_once_with_their_limits() {
        let design = bar(&format!("stiffness = {{ {} = \"20 kN m/rad\" }}", turn(4)));
        let found = find_guesses(&design);
        let keys: Vec<&str> = found.iter().map(|guess| guess.key.as_str()).collect();
        let spring = format!("builds.one.joints.seat.stiffness.{}", turn(4));
        assert_eq!(keys, [spring.as_str(), "builds.one.joints.seat.loss"]);
        let usual = Usual::of(Class::JointStiffness);
        assert_eq!((found[0].low, found[0].high), (20e3 * usual.low, 20e3 * usual.high));
        assert!(found[0].stated && !found[1].stated && found[1].value == 0.0);
        assert_eq!(design.uncertain.iter().filter(|u| u.spread.guess).count(), 1);
    }
}
