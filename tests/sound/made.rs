//! What a build is made of: materials of its own, and sections of every shape.

use super::dice::Dice;
use std::collections::BTreeSet;

/// Metals and stones of the table.
const SKELETONS: [&str; 10] = [
    "structural steel",
    "aluminium 6061-T6",
    "stainless 304",
    "ductile iron",
    "grey iron class 30",
    "brass",
    "titanium",
    "granite",
    "own metal",
    "own metal",
];

/// What is cast.
const FILLS: [&str; 6] =
    ["epoxy granite", "polymer concrete", "concrete C30", "sand and epoxy", "own fill", "own fill"];

/// Sections of one build, and what they need.
#[derive(Default)]
pub struct Made {
    /// Of their names, as lines under the build.
    pub lines: String,
    /// Names of all that parts are made of.
    pub of: BTreeSet<&'static str>,
}

/// A quantity, sometimes with its limits.
pub fn spread(dice: &mut Dice, value: f64, unit: &str, most: f64) -> String {
    let own =
        |value: f64| if unit.is_empty() { format!("{value:.6e}") } else { format!("\"{value:.6} {unit}\"") };
    if dice.chance(0.75) {
        return own(value);
    }
    let (low, high) = (value * dice.between(0.5, 1.0), (value * dice.between(1.0, 1.9)).min(most));
    format!("{{ value = {}, low = {}, high = {} }}", own(value), own(low), own(high))
}

/// A loss factor, evenly over its powers of ten.
pub fn loss(dice: &mut Dice) -> String {
    let value = dice.ratio(1e-6, 1.0);
    spread(dice, value, "", 1.0)
}

/// The same of what rubs: sometimes as it grows with the amplitude of the design.
pub fn rubbing_loss(dice: &mut Dice, over_amplitude: bool) -> String {
    if !over_amplitude || dice.chance(0.4) {
        return loss(dice);
    }
    let (least, most) = (dice.ratio(1e-4, 0.3), dice.ratio(1e-4, 0.3));
    format!("[\"{least:.5} at 0.1 um\", \"{most:.5} at 10 um\"]")
}

/// The materials that a design states itself.
pub fn own_materials(dice: &mut Dice) -> String {
    let mut text = String::new();
    for (name, role, moduli, densities) in [
        ("own metal", "skeleton", [20.0, 400.0], [1700.0, 9000.0]),
        ("own fill", "fill", [1.0, 60.0], [900.0, 3000.0]),
    ] {
        let modulus = dice.ratio(moduli[0], moduli[1]);
        let density = dice.between(densities[0], densities[1]);
        text += &format!(
            "[materials.\"{name}\"]\nrole = \"{role}\"\nyoungs_modulus = {}\npoissons_ratio = {:.3}\n\
             density = \"{density:.1} kg/m3\"\nloss_factor = {}\nexpansion = \"{:.2} um/m K\"\n",
            spread(dice, modulus, "GPa", 1e9),
            dice.between(0.0, 0.45),
            loss(dice),
            dice.between(0.0, 40.0),
        );
    }
    text
}

/// The recipe that fills may be made of.
pub fn mix(dice: &mut Dice) -> String {
    let binder = dice.between(17.0, 40.0);
    let air = if dice.chance(0.5) { "predict" } else { "3 %" };
    format!(
        "[mixes.\"sand and epoxy\"]\nbinder = {{ of = \"epoxy, slow casting\", share = {binder:.1} }}\n\
         aggregates = [{{ of = \"quartz sand\", share = {:.1}, grain = \"0.1 to 0.5 mm\" }}]\nair = \"{air}\"\n\
         hardener_ratio = \"100 : 30\"\n",
        100.0 - binder
    )
}

impl Made {
    /// Adds the section `name`, at most `most` mm large.
    pub fn section(&mut self, dice: &mut Dice, name: &str, most: f64) {
        let parts = self.parts(dice, most);
        self.lines += &format!("sections.{name}.parts = [{}]\n", parts.join(", "));
        if parts.len() > 1 && dice.chance(0.7) {
            let bond = if dice.chance(0.2) { dice.below(2) as f64 } else { dice.unit() };
            self.lines += &format!("sections.{name}.bond = {bond:.3}\n");
        }
    }

    fn one(&mut self, dice: &mut Dice, list: &[&'static str]) -> &'static str {
        let of = *dice.pick(list);
        self.of.insert(of);
        of
    }

    fn parts(&mut self, dice: &mut Dice, most: f64) -> Vec<String> {
        let b = dice.ratio(10.0, 140.0).min(most).max(6.0);
        let h = (b * dice.ratio(0.4, 2.5)).min(most).max(6.0);
        let least = b.min(h);
        let t = least * dice.between(0.04, 0.22);
        let (metal, cast) = (self.one(dice, &SKELETONS), self.one(dice, &FILLS));
        let radius = t * dice.between(0.2, 0.6);
        let turn = if dice.chance(0.2) {
            format!(", turn = \"{:.0} deg\"", dice.between(-90.0, 90.0))
        } else {
            String::new()
        };
        let part = |shape: &str, size: String, of: &str, more: &str| {
            format!("{{ {shape} = \"{size} mm\", of = \"{of}\"{more} }}")
        };
        let rounded =
            if dice.chance(0.5) { format!(", radius = \"{radius:.3} mm\"{turn}") } else { turn.clone() };
        let (inner, thin) = ([b - 2.0 * t, h - 2.0 * t], [b * 0.45, h * 0.45]);
        match dice.below(16) {
            0 => vec![part("rectangle", format!("{b:.3} x {h:.3}"), metal, &turn)],
            1 => vec![part("rectangle", format!("{b:.3} x {h:.3}"), cast, &turn)],
            2 => vec![part("tube", format!("{b:.3} x {h:.3} x {t:.3}"), metal, &rounded)],
            3 => vec![part("round", format!("{b:.3}"), metal, "")],
            4 => vec![part("pipe", format!("{least:.3} x {t:.3}"), metal, "")],
            5 => vec![part("angle", format!("{b:.3} x {h:.3} x {t:.3}"), metal, &rounded)],
            6 => vec![part("channel", format!("{b:.3} x {h:.3} x {t:.3}"), metal, &rounded)],
            7 => vec![part("tee", format!("{b:.3} x {h:.3} x {t:.3}"), metal, &rounded)],
            8 => {
                let flange = t * dice.between(0.8, 1.5);
                vec![part("i_shape", format!("{b:.3} x {h:.3} x {t:.3} x {flange:.3}"), metal, &rounded)]
            }
            9 => {
                let corners = 3 + dice.below(5);
                let corner = |i: usize, dice: &mut Dice| {
                    let angle = (i as f64 + dice.between(-0.3, 0.3)) * std::f64::consts::TAU / corners as f64;
                    let reach = 0.5 * dice.between(0.7, 1.0);
                    format!("\"{:.3}, {:.3} mm\"", b * reach * angle.cos(), h * reach * angle.sin())
                };
                let points: Vec<String> = (0..corners).map(|i| corner(i, dice)).collect();
                vec![format!("{{ polygon = [{}], of = \"{metal}\" }}", points.join(", "))]
            }
            10 | 11 => vec![
                part("rectangle", format!("{:.3} x {:.3}", inner[0] + 0.5 * t, inner[1] + 0.5 * t), cast, ""),
                part("tube", format!("{b:.3} x {h:.3} x {t:.3}"), metal, ""),
            ],
            12 => vec![
                part("round", format!("{:.3}", least - t), cast, ""),
                part("pipe", format!("{least:.3} x {t:.3}"), metal, ""),
            ],
            13 => vec![
                part("rectangle", format!("{b:.3} x {h:.3}"), cast, ""),
                part("tube", format!("{:.3} x {:.3} x {:.3}", thin[0], thin[1], t * 0.4), metal, ""),
            ],
            14 => {
                let other = self.one(dice, &SKELETONS);
                let lying = format!(", at = \"0, {:.3} mm\"", 0.5 * (h + 0.8 * t));
                vec![
                    part("rectangle", format!("{b:.3} x {h:.3}"), metal, ""),
                    part("rectangle", format!("{:.3} x {t:.3}", b * dice.between(0.4, 1.0)), other, &lying),
                ]
            }
            _ => {
                let at = format!(", at = \"{:.3}, {:.3} mm\"", 0.1 * b, -0.1 * h);
                vec![
                    part("rectangle", format!("{b:.3} x {h:.3}"), cast, ""),
                    part("round", format!("{:.3}", 0.4 * least), "air", &at),
                ]
            }
        }
    }
}
