//! What do the walls of hollow members do to the verdict? Builds with walls that give are solved again with rigid
//! ones, at the nominal values.

use super::solved::Solved;
use stillbed_design::{Design, Measure};
use stillbed_input::quantity::{Draw, figures};

/// Walls that change the deciding measure by less than this part of it are not spoken of.
const SPOKEN_OF: f64 = 0.05;

/// What is known of a build.
pub struct Seen<'a> {
    /// Its key in the design.
    pub name: &'a str,
    /// Its name as readers see it.
    pub label: &'a str,
    /// The deciding measure, SI.
    pub value: f64,
    /// Share of the walls in the give between tip and work.
    pub share: Option<f64>,
    /// Number of elastic modes that its figures needed.
    pub modes: usize,
}

/// One sentence on what walls that give do to `measure`, the deciding one, and to who leads by it; `None` where
/// they change little. `scales` and `builds` as those of the design.
pub fn told(
    design: &Design,
    scales: &[f64],
    builds: &[Seen],
    ahead: Option<&str>,
    measure: Measure,
) -> Option<String> {
    let mut pairs = Vec::new();
    for ((build, scale), seen) in design.builds.iter().zip(scales).zip(builds) {
        let rigid = match build.with_rigid_walls() {
            None => seen.value,
            Some(rigid) => {
                let model = rigid.scaled_model(&design.goal, &Draw::default(), *scale).ok()?;
                let solved = Solved::converge_from(&rigid, &design.goal, &model, None, seen.modes).ok()?;
                solved.figures(&rigid, &design.goal).ok()?.get(measure)?
            }
        };
        pairs.push((seen, rigid));
    }
    let change = |(seen, rigid): &(&Seen, f64)| (rigid / seen.value).ln().abs();
    let most = pairs.iter().max_by(|a, b| change(a).total_cmp(&change(b)))?;
    (change(most) > SPOKEN_OF).then_some(())?;
    let value = |x: f64| if measure.more_is_better() { x } else { -x };
    let leader = pairs.iter().max_by(|a, b| value(a.1).total_cmp(&value(b.1)))?;
    let percent = |share: f64| figures(100.0 * share, 2);
    // Another leads only where it is clearly better than the one that is ahead now.
    let beaten = pairs.iter().find(|(seen, _)| Some(seen.name) == ahead);
    let others_lead = beaten.is_some_and(|(_, rigid)| (leader.1 / rigid).ln().abs() > SPOKEN_OF)
        && change(leader) > SPOKEN_OF;
    if others_lead {
        let takes = leader.0.share.map_or("gives".to_string(), |share| {
            format!("takes {} % of its give between tip and work", percent(share))
        });
        return Some(format!(
            "With rigid corners {} would lead; what its tubes end on {takes}.",
            leader.0.label
        ));
    }
    let worse = (most.1 > most.0.value) == measure.more_is_better();
    let word = if worse { "worse" } else { "better" };
    let why = if worse { "" } else { ", by what it loses" };
    Some(format!(
        "What gives where tubes end on others makes the {} of {} {} % {word} than rigid corners would{why}.",
        measure.title(),
        most.0.label,
        percent((most.0.value / most.1 - 1.0).abs())
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_material::Table;
    use stillbed_modes::Asked;

    #[test]
    fn of_two_equal_builds_none_would_lead_with_rigid_corners() {
        let tube = r#"[{ tube = "60 x 60 x 3 mm", of = "structural steel" }]"#;
        let text = format!(
            r#"
            corners = "open"
            points = {{ a = "0, 0, 0 mm", b = "400, 0, 0 mm", top = "0, 0, 300 mm" }}
            members.rail = {{ from = "a", to = "b", section = "s" }}
            members.post = {{ from = "a", to = "top", section = "s" }}
            anchors.wall = {{ at = "b", hold = "all" }}
            tool = {{ tip = "top", work = "ground" }}
            builds.one.sections.s.parts = {tube}
            builds.two.sections.s.parts = {tube}
            "#
        );
        let design = Design::read("equal.toml", &text, &Table::built_in()).design.unwrap();
        let build = &design.builds[0];
        let asked = Asked { count: 1, ..Asked::default() };
        let figures = crate::solved::measure(build, &design.goal, &Draw::default(), 1.0, &asked).unwrap();
        let value = figures.first_frequency.unwrap();
        let builds = ["one", "two"].map(|name| Seen { name, label: name, value, share: None, modes: 14 });
        let said = told(&design, &[1.0; 2], &builds, Some("one"), Measure::FirstFrequency).unwrap();
        assert!(said.contains("than rigid corners would") && !said.contains("would lead"), "{said}");
    }
}
