//! What a joint or a foot is by its law: six springs, their loss and spread, and the numbers on the way.
//!
//! The normal is one axis of the joint, its sides lie along the other two in order:
//!
//! ```text
//! push  k A      slide  k_t A      tilt about a side  k I      twist  k_t (I_u + I_v)
//! ```
//!
//! Bolts stand beside the faces that they press and add to push and tilt; their shear is left out, since holes have
//! play. What plates and bodies give themselves belongs to members and bodies.

use super::air::AirSpring;
use super::area::Area;
use super::ball::Ball;
use super::bolt::bolt_share;
use super::constants::{Finish, constant, of_class};
use super::film::Film;
use super::half_space::HalfSpace;
use super::hold::Hold;
use super::rubber;
use super::spec::{BoltedSpec, EDGE, SeatKind, SeatSpec};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::PI;
use stillbed_input::document::Located;
use stillbed_input::quantity::{Kind, Spread, show};

/// A material as laws need it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stuff {
    /// Its name in full.
    pub name: String,
    /// Young's modulus, Pa.
    pub youngs_modulus: Spread,
    /// Poisson's ratio.
    pub poissons_ratio: f64,
    /// Loss factor.
    pub loss: Spread,
}

/// What a joint or a foot is by its law.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// Its springs by freedom, N/m and N m/rad.
    pub springs: [f64; 6],
    /// Their loss factor.
    pub loss: Spread,
    /// Factor of springs across the faces, about 1.
    pub across: Spread,
    /// Further factor of springs along the faces, about 1.
    pub along: Spread,
    /// Its equation in words.
    pub equation: &'static str,
    /// What the springs follow from.
    pub steps: Vec<Step>,
    /// What keeps it shut and from slipping; `None` where it cannot open or slip, or that is not known.
    pub hold: Option<Hold>,
    /// Power with which its springs across the faces grow with the share of the area that carries, all else alike.
    pub carried_power: f64,
}

/// One number on the way to the springs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// What it is.
    pub what: &'static str,
    /// Its value in an everyday unit.
    pub shown: String,
}

/// Preload of a bolt over its proof load.
#[must_use]
pub fn bolt_load(own: &BoltedSpec) -> f64 {
    let value = |name: &str, quantity| constant("bolt", name, quantity).map_or(f64::NAN, |c| c.si());
    let preload = own.bolt.preload(own.torque, value(&own.threads, "nut factor"));
    preload / (own.bolt.stress_area() * value(&own.grade, "proof stress"))
}

impl SeatKind {
    /// How it follows from what is stated, in words.
    #[must_use]
    pub fn equation(&self) -> &'static str {
        match self {
            SeatKind::Bolted(_) => {
                "preload F = T/(K d); pressure p = N F/A on the feet of the bolts' cones; \
                 stiffness per area p^(1-m)/(C m), along the faces a part of it; bolts E A/l beside it"
            }
            SeatKind::Film { .. } => {
                "push E_c A/t, slide G A/t; E_c between Young's modulus of a tall layer \
                 and that of one that cannot bulge"
            }
            SeatKind::Slide { .. } => "pressure p = F/A; stiffness per area p^(1-m)/(C m), at rest",
            SeatKind::Rubber { .. } => {
                "modulus E from hardness; push E (1 + 2 S²) A/t by the shape factor S = loaded/free area, \
                 slide G A/t; times dynamic over static"
            }
            SeatKind::Levelling { .. } => {
                "rigid disc on a large block: push 2 E a/(1-ν²), slide 8 G a/(2-ν); its screw in row"
            }
            SeatKind::Air { .. } => "k = n p A²/V with the absolute pressure p",
            SeatKind::Ball { .. } => {
                "ball on a face (6 E*² R F)^(1/3), two faces at 45°; along it 2(1-ν)/(2-ν) of that"
            }
        }
    }

    /// The materials that it names, in the order in which [`SeatSpec::derive`] takes them.
    #[must_use]
    pub fn materials(&self) -> Vec<&Located<String>> {
        match self {
            SeatKind::Film { of, .. } | SeatKind::Rubber { of, .. } => vec![of],
            SeatKind::Levelling { on, .. } => vec![on],
            SeatKind::Ball { of, on, .. } => vec![of, on],
            _ => Vec::new(),
        }
    }
}

/// Springs of a joint in its own axes: push, along both sides, twist, tilt about both sides.
type Own = [f64; 6];

/// Springs that follow from two stiffnesses per area.
fn over(area: &Area, across: f64, along: f64) -> Own {
    let [u, v] = area.second;
    [across * area.area, along * area.area, along * area.area, along * (u + v), across * u, across * v]
}

/// A factor about 1 whose deviation is that of several independent ones together: their logarithms add by squares.
fn together(factors: &[Spread]) -> Spread {
    let width = |limit: &dyn Fn(&Spread) -> f64| {
        factors.iter().map(|f| (limit(f) / f.value).ln().powi(2)).sum::<f64>().sqrt()
    };
    Spread::between(1.0, (-width(&|f| f.low)).exp(), width(&|f| f.high).exp())
}

/// The limits of `factor` to a power.
fn power(factor: Spread, power: f64) -> Spread {
    let at = |limit: f64| (limit / factor.value).powf(power);
    Spread::between(1.0, at(factor.low), at(factor.high))
}

/// The limits of one over `factor`.
fn inverse(factor: Spread) -> Spread {
    Spread::between(1.0, factor.value / factor.high, factor.value / factor.low)
}

fn about_one(spread: Spread) -> Spread {
    power(spread, 1.0)
}

impl Finish {
    /// How far its stiffness may lie from that of the value of C.
    fn spread(&self) -> Spread {
        Spread::between(1.0, 1.0 / self.limits[1], 1.0 / self.limits[0])
    }
}

impl SeatSpec {
    /// What it is under a `load`, N, that presses it beside its bolts, with `stuffs` of the materials that it names;
    /// `None` where one is missing, or nothing presses it that must be pressed.
    #[must_use]
    pub fn derive(&self, stuffs: &[Stuff], load: f64) -> Option<Derived> {
        let load = load.max(0.0);
        let (own, mut derived) = match &self.kind {
            SeatKind::Bolted(bolted) => self.bolted(bolted, load)?,
            SeatKind::Film { outline, thick, grouted, .. } => {
                let stuff = stuffs.first()?;
                let area = outline.area().times(self.carries.value);
                let film = Film {
                    youngs_modulus: Complex64::from(stuff.youngs_modulus.value),
                    poissons_ratio: stuff.poissons_ratio,
                    thick: *thick,
                    shape: outline.shape(*thick),
                };
                let [across, along] = film.per_area().map(|k| k.re);
                let steps = vec![
                    Step { what: "area", shown: show(area.area, Kind::Area) },
                    Step { what: "modulus in push", shown: show(film.push_modulus().re, Kind::Stress) },
                ];
                let name = if *grouted { "grouted" } else { "glued" };
                let known = constant("film", name, "stiffness").map_or(Spread::exact(1.0), |c| c.value);
                let factor = together(&[known, stuff.youngs_modulus]);
                (over(&area, across, along), self.begun(stuff.loss, factor, Spread::exact(1.0), steps, 1.0))
            }
            SeatKind::Slide { outline, finish, load: stated, dovetail } => {
                let pressed = stated.unwrap_or(load);
                let area = outline.area().times(self.carries.value);
                let finish = Finish::named(finish)?;
                let pressure = pressed / area.area;
                let (across, ratio) = (finish.law.stiffness(pressure), of_class("flat joint", "along"));
                let mut own = over(&area, across, ratio.value * across);
                if let Some(angle) = dovetail {
                    own = with_dovetail(own, outline.sides(), *angle, ratio.value);
                }
                let steps = vec![
                    Step { what: "pressed by", shown: show(pressed, Kind::Force) },
                    Step { what: "pressure", shown: show(pressure, Kind::Stress) },
                ];
                let m = finish.law.exponent;
                let mut begun =
                    self.begun(of_class("slide", "loss"), finish.spread(), about_one(ratio), steps, m);
                begun.hold = Some(Hold {
                    preload: stated.unwrap_or(0.0),
                    area,
                    edge: outline.sides().map(|side| 0.5 * side),
                    share: 0.0,
                    friction: of_class("flat joint", "friction").value,
                });
                (own, begun)
            }
            SeatKind::Rubber { outline, thick, hardness, .. } => {
                let stuff = stuffs.first()?;
                let (still, dynamic) = (rubber::modulus(*hardness), of_class("rubber", "dynamic"));
                let area = outline.area().times(self.carries.value);
                let modulus = still * dynamic.value;
                let film = Film {
                    youngs_modulus: Complex64::from(modulus),
                    poissons_ratio: rubber::poissons_ratio(modulus),
                    thick: *thick,
                    shape: outline.shape(*thick),
                };
                let [across, along] = film.per_area().map(|k| k.re);
                let mut own = over(&area, across, along);
                // What holds it from bulging in push is a third as strong in tilt.
                let tilt = (modulus + (film.push_modulus().re - modulus) / 3.0) / film.push_modulus().re;
                own[4] *= tilt;
                own[5] *= tilt;
                let steps = vec![
                    Step { what: "static modulus", shown: show(still, Kind::Stress) },
                    Step { what: "shape factor", shown: show(film.shape, Kind::Ratio) },
                    Step { what: "modulus in push", shown: show(film.push_modulus().re, Kind::Stress) },
                    Step { what: "loaded by", shown: show(load, Kind::Force) },
                ];
                let factor = together(&[of_class("rubber", "modulus"), dynamic]);
                (own, self.begun(stuff.loss, factor, Spread::exact(1.0), steps, 1.0))
            }
            SeatKind::Levelling { diameter, screw, .. } => {
                self.levelling(stuffs.first()?, *diameter, *screw, load)
            }
            SeatKind::Air { area, volume, pressure, across } => {
                let exponent = of_class("air spring", "exponent");
                let gauge = pressure.unwrap_or(load / area);
                let air = AirSpring { gauge, area: *area, volume: *volume, exponent: exponent.value };
                let steps = vec![
                    Step { what: "pressure above the air around", shown: show(gauge, Kind::Stress) },
                    Step { what: "carries", shown: show(air.load(), Kind::Force) },
                ];
                let own = [air.stiffness(), *across, *across, 0.0, 0.0, 0.0];
                (
                    own,
                    self.begun(
                        of_class("air spring", "loss"),
                        about_one(exponent),
                        Spread::exact(1.0),
                        steps,
                        1.0,
                    ),
                )
            }
            SeatKind::Ball { diameter, preload, .. } => {
                let space = |stuff: &Stuff| HalfSpace {
                    youngs_modulus: Complex64::from(stuff.youngs_modulus.value),
                    poissons_ratio: stuff.poissons_ratio,
                };
                let ball = Ball {
                    radius: 0.5 * diameter,
                    ball: space(stuffs.first()?),
                    face: space(stuffs.get(1)?),
                };
                let pressed = preload + load;
                if pressed <= 0.0 {
                    return None;
                }
                let [up, across, along] = ball.in_groove(pressed);
                let mean = 0.5 * (across + along);
                let steps = vec![
                    Step { what: "pressed in by", shown: show(pressed, Kind::Force) },
                    Step {
                        what: "pressure at the contact",
                        shown: show(ball.pressure(pressed / std::f64::consts::SQRT_2), Kind::Stress),
                    },
                ];
                let factor = of_class("ball in groove", "stiffness");
                let own = [up, mean, mean, 0.0, 0.0, 0.0];
                (
                    own,
                    self.begun(
                        of_class("ball in groove", "loss"),
                        factor,
                        Spread::exact(1.0),
                        steps,
                        1.0 / 3.0,
                    ),
                )
            }
        };
        derived.springs = self.placed(own);
        if let Some(factor) = self.factor {
            derived.springs = derived.springs.map(|k| k * factor.value);
            derived.across = about_one(factor);
        }
        derived
            .springs
            .iter()
            .all(|k| k.is_finite())
            .then_some(derived)
            .filter(|d| d.springs[self.normal] > 0.0)
    }

    /// `own` springs in the order of the freedoms.
    fn placed(&self, own: Own) -> [f64; 6] {
        let [u, v] = self.sides();
        let mut springs = [0.0; 6];
        for (place, spring) in [self.normal, u, v, 3 + self.normal, 3 + u, 3 + v].into_iter().zip(own) {
            springs[place] = spring;
        }
        springs
    }

    /// The axes along its sides.
    #[must_use]
    pub fn sides(&self) -> [usize; 2] {
        match self.normal {
            0 => [1, 2],
            1 => [0, 2],
            _ => [0, 1],
        }
    }

    /// True for the freedoms along the faces.
    #[must_use]
    pub fn is_along(&self, freedom: usize) -> bool {
        freedom == 3 + self.normal || (freedom < 3 && freedom != self.normal)
    }

    fn begun(
        &self,
        loss: Spread,
        across: Spread,
        along: Spread,
        steps: Vec<Step>,
        carried_power: f64,
    ) -> Derived {
        let carries = power(self.carries, carried_power);
        Derived {
            springs: [0.0; 6],
            loss,
            across: together(&[across, carries]),
            along,
            equation: self.kind.equation(),
            steps,
            hold: None,
            carried_power,
        }
    }

    fn bolted(&self, own: &BoltedSpec, load: f64) -> Option<(Own, Derived)> {
        let BoltedSpec { count, bolt, torque, outline, thick, finish, threads, .. } = own;
        let factor = constant("bolt", threads, "nut factor")?.value;
        let steel = constant("bolt", "any", "Young's modulus")?.si();
        let finish = Finish::named(finish)?;
        let one = bolt.preload(*torque, factor.value);
        let centres = outline.bolts(*count, EDGE * bolt.diameter);
        let area = outline.near(&centres, bolt.cone(*thick)).times(self.carries.value);
        // A bolt that is threaded into what lies under the plate gives half a diameter further.
        let grip = thick + 0.5 * bolt.diameter;
        let number = *count as f64;
        let preload = number * one;
        let bolts = bolt.stiffness(steel, grip);
        let ratio = of_class("flat joint", "along");
        let stiffness = |pressed: f64| finish.law.stiffness(pressed / area.area);
        let row = |one: f64, other: f64| one * other / (one + other);
        let clamped = row(stiffness(preload) * area.area, number * bolt.clamped(steel, grip));
        let share = bolt_share(number * bolts, clamped);
        let pressed = preload + (1.0 - share) * load;
        let across = stiffness(pressed);
        let mut springs = over(&area, across, ratio.value * across);
        springs[0] += number * bolts;
        for (side, spring) in [(1, 4), (0, 5)] {
            springs[spring] += bolts * centres.iter().map(|c| c[side].powi(2)).sum::<f64>();
        }
        let m = finish.law.exponent;
        let steps = vec![
            Step { what: "preload of a bolt", shown: show(one, Kind::Force) },
            Step { what: "of its proof load", shown: format!("{:.0} %", 100.0 * bolt_load(own)) },
            Step { what: "area pressed", shown: show(area.area, Kind::Area) },
            Step { what: "pressure", shown: show(pressed / area.area, Kind::Stress) },
            Step { what: "share of bolts in an outer load", shown: format!("{:.0} %", 100.0 * share) },
        ];
        let loss = of_class("flat joint", "loss");
        let spread = together(&[finish.spread(), power(inverse(factor), 1.0 - m)]);
        let mut derived = self.begun(loss, spread, about_one(ratio), steps, m);
        derived.hold = Some(Hold {
            preload,
            area,
            edge: outline.sides().map(|side| 0.5 * side),
            share,
            friction: of_class("flat joint", "friction").value,
        });
        Some((springs, derived))
    }

    fn levelling(
        &self,
        on: &Stuff,
        diameter: f64,
        screw: Option<(super::bolt::Bolt, f64)>,
        load: f64,
    ) -> (Own, Derived) {
        let space = HalfSpace {
            youngs_modulus: Complex64::from(on.youngs_modulus.value),
            poissons_ratio: on.poissons_ratio,
        };
        let (a, known) = (0.5 * diameter, of_class("levelling foot", "stiffness"));
        let disc = [space.push(a), space.slide(a), space.twist(a), space.tilt(a)].map(|k| k.re * known.value);
        let [push, slide, twist, tilt] = disc;
        let mut own = [push, slide, slide, twist, tilt, tilt];
        let mut steps = vec![
            Step { what: "stands on", shown: on.name.clone() },
            Step { what: "disc on its face", shown: show(push, Kind::Stiffness) },
            Step { what: "carries", shown: show(load, Kind::Force) },
        ];
        if let Some((bolt, length)) = screw {
            let steel = constant("bolt", "any", "Young's modulus").map_or(0.0, |c| c.si());
            let area = bolt.stress_area();
            let second = area * area / (4.0 * PI);
            let in_row = |one: f64, other: f64| one * other / (one + other);
            let (axial, sideways) = (steel * area / length, 3.0 * steel * second / length.powi(3));
            // The screw stands in a swivel, which holds no turn.
            own = [in_row(push, axial), in_row(slide, sideways), in_row(slide, sideways), 0.0, 0.0, 0.0];
            steps.push(Step { what: "screw, along", shown: show(axial, Kind::Stiffness) });
            steps.push(Step { what: "screw, sideways", shown: show(sideways, Kind::Stiffness) });
        }
        let factor = together(&[known, on.youngs_modulus]);
        let derived = self.begun(of_class("levelling foot", "loss"), factor, Spread::exact(1.0), steps, 1.0);
        (own, derived)
    }
}

/// Springs of flat faces with `sides` and dovetail faces at `angle` to them beside, of half their area and under the
/// same pressure; they travel along the longer side.
fn with_dovetail(own: Own, sides: [f64; 2], angle: f64, along: f64) -> Own {
    let (sine, cosine) = angle.sin_cos();
    let across_part = |tilted: f64, flat: f64| 0.5 * (tilted * tilted + along * flat * flat);
    let mut found = own;
    let (push, slide) = (own[0], own[0] * along);
    let travel = if sides[0] >= sides[1] { 1 } else { 2 };
    found[0] = push * (1.0 + across_part(cosine, sine));
    found[travel] = 1.5 * slide;
    found[3 - travel] = slide + push * across_part(sine, cosine);
    for turn in [4, 5] {
        found[turn] *= found[0] / own[0];
    }
    found[3] *= 1.5;
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;
    use stillbed_input::document::Reader;

    fn derived(text: &str, way: &str, load: f64) -> Derived {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let feet = ["levelling", "air", "ball"].contains(&way);
        let seat = if feet { SeatSpec::read_foot(&root, way) } else { SeatSpec::read_joint(&root, way) };
        let stuff = Stuff {
            name: "concrete".to_string(),
            youngs_modulus: Spread::between(30e9, 27e9, 33e9),
            poissons_ratio: 0.2,
            loss: Spread::exact(0.01),
        };
        seat.unwrap().derive(&[stuff.clone(), stuff], load).unwrap()
    }

    fn bolted(torque: f64, side: f64, more: &str) -> [f64; 6] {
        let text = format!(
            "bolted = \"4 x M8\"\ntorque = \"{torque} N m\"\nplate = \"{side} x 150 mm\"\nfinish = \"milled\"\n{more}"
        );
        derived(&text, "bolted", 0.0).springs
    }

    #[test]
    fn a_levelling_foot_on_its_screw_by_hand() {
        let foot =
            derived("levelling = \"round 40 mm\"\non = \"x\"\nscrew = \"M12 x 30 mm\"\n", "levelling", 100.0);
        let disc = 0.6 * 2.0 * 30e9 * 0.02 / 0.96;
        let slide = 0.6 * 8.0 * 30e9 / 2.4 * 0.02 / 1.8;
        // 84.3 mm² of stress area on 30 mm; as a round bar of that area it bends with 3 E I/L³.
        let area: f64 = 0.25 * PI * (12e-3 - 0.9382 * 1.75e-3f64).powi(2);
        let (axial, sideways) =
            (207e9 * area / 0.03, 3.0 * 207e9 * area * area / (4.0 * PI) / 0.03f64.powi(3));
        let row = |a: f64, b: f64| 1.0 / (1.0 / a + 1.0 / b);
        let by_hand = [row(slide, sideways), row(slide, sideways), row(disc, axial), 0.0, 0.0, 0.0];
        for (found, hand) in foot.springs.iter().zip(by_hand) {
            assert_relative_eq!(*found, hand, max_relative = 1e-12);
        }
        // The widths of the disc and of the modulus add by squares: ln 3 and ln (30/27).
        let low = (-(3f64.ln().powi(2) + (30f64 / 27.0).ln().powi(2)).sqrt()).exp();
        assert_relative_eq!(foot.across.low, low, max_relative = 1e-9);
    }

    #[test]
    fn dovetail_faces_add_by_their_angle() {
        let slide = |more: &str| {
            let text = format!("slide = \"60 x 200 mm\"\nfinish = \"scraped\"\nload = \"500 N\"\n{more}");
            derived(&text, "slide", 0.0).springs
        };
        let (flat, dovetail) = (slide(""), slide("dovetail = \"60 deg\"\n"));
        // Half the area again at 60°: cos² = 1/4 of the push and sin² = 3/4 of the slide, 0.3 of it.
        assert_relative_eq!(dovetail[0] / flat[0], 1.0 + 0.5 * (0.25 + 0.3 * 0.75), max_relative = 1e-12);
        // Across, along y: the flat faces' slide and half of 3/4 of their push and 1/4 of their slide.
        let across = 0.3 + 0.5 * (0.75 + 0.3 * 0.25);
        assert_relative_eq!(dovetail[1] / flat[0], across, max_relative = 1e-12);
        assert_relative_eq!(dovetail[2] / flat[2], 1.5, max_relative = 1e-12);
    }

    #[test]
    fn the_normal_turns_the_springs_and_inches_change_nothing() {
        let along_x = bolted(20.0, 120.0, "");
        let along_z = bolted(20.0, 120.0, "normal = \"z\"\n");
        // Sides along y and z become sides along x and y.
        for (z, x) in [(2, 0), (0, 1), (1, 2), (5, 3), (3, 4), (4, 5)] {
            assert_relative_eq!(along_z[z], along_x[x], max_relative = 1e-12);
        }
        let inches = "bolted = \"4 x M8\"\ntorque = \"177.014915 lbf in\"\nplate = \"4.724409449 x 5.905511811 in\"\n\
                      finish = \"milled\"\n";
        for (one, other) in derived(inches, "bolted", 0.0).springs.iter().zip(along_x) {
            assert_relative_eq!(*one, other, max_relative = 1e-6);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn more_torque_and_a_larger_area_are_stiffer(torque in 2.0f64..25.0, share in 0.1f64..0.9) {
            let (one, more) = (bolted(torque, 120.0, ""), bolted(1.2 * torque, 120.0, ""));
            let less = bolted(torque, 120.0, &format!("carries = {share}\n"));
            for i in 0..6 {
                prop_assert!(more[i] > one[i] && less[i] < one[i] && less[i] > share * one[i]);
            }
            // With m = 0.5 the faces' slide grows as the root of the preload and of the area.
            prop_assert!((more[1] / one[1] - 1.2f64.sqrt()).abs() < 1e-9);
            prop_assert!((less[1] / one[1] - share.sqrt()).abs() < 1e-9);
        }
    }
}
