//! What does the design file say of temperature, cure and weight? Its table `[thermal]`.
//!
//! ```toml
//! [thermal]
//! change = "10 K"
//! straight = ["left_rail"]
//! rails.guide = { members = ["rail_1", "rail_2", "rail_3"] }
//! bond_strength = "5 MPa"
//! cure = false
//! settle_to = "1 um"
//! film = "8 W/m2 K"
//! carriage = { along = ["left_rail", "right_rail"], mass = "6 kg", steps = 11 }
//! members.left_rail = { across_z = "2 K/m" }
//! points.head = "3 K"
//! bodies.bed = { z = "4 K/m" }
//! shrinkage."basalt and sand" = "0.05 %"
//! ```
//!
//! Members in `straight` or under a carriage that continue each other in one line are joined to one rail;
//! `rails` names rails, and refuses members that are not in one straight line.

use super::answer::ThermalRequest;
use super::diffusion::STILL_AIR;
use super::temperature_change::{TemperatureGradient, ThermalCase};
use crate::deformation::{Carriage, Rail, SagRequest};
use nalgebra::Vector3;
use stillbed_frame::Frame;
use stillbed_input::document::{Allowed, Fields, Located};
use stillbed_input::problem::{Problem, Problems, suggest};
use stillbed_input::quantity::{self, Kind, Spread};

/// Motion that counts as settled where the file does not say, m.
const SETTLE_TO: f64 = 1e-6;
/// Places of a carriage along its travel where the file does not say.
const STEPS: usize = 11;

/// Shear strength of a bond where the file does not say, Pa, and its limits: mortar cast on metal that was
/// degreased and roughened, common practice.
const BOND: (f64, f64, f64) = (5e6, 2e6, 12e6);

/// The table `[thermal]`.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalSpec {
    /// Change everywhere, K.
    pub change: Spread,
    /// By member: gradients, K/m.
    pub members: Vec<(Located<String>, TemperatureGradient)>,
    /// By point: change beside the uniform one, K.
    pub points: Vec<(Located<String>, f64)>,
    /// By body: gradient along the global axes, about its middle, K/m.
    pub bodies: Vec<(Located<String>, [f64; 3])>,
    /// By material: linear shrinkage, a strain.
    pub shrinkage: Vec<(Located<String>, f64)>,
    /// Members, or rails, whose straightness is requested.
    pub straight: Vec<Located<String>>,
    /// By name: the members that form one rail.
    pub rails: Vec<(Located<String>, Vec<Located<String>>)>,
    /// Shear strength of the bond between fill and skeleton, Pa.
    pub bond_strength: Option<Spread>,
    /// False where stresses leave out what the cure leaves in mixes.
    pub cure: bool,
    /// Motion that counts as settled, m.
    pub settle_to: f64,
    /// Exchange of heat with the air, W/(m2 K).
    pub film: Spread,
    /// A mass that moves along members.
    pub carriage: Option<CarriageSpec>,
}

/// A mass that moves along members.
#[derive(Debug, Clone, PartialEq)]
pub struct CarriageSpec {
    /// The members or rails it rides on, all at once.
    pub along: Vec<Located<String>>,
    /// kg.
    pub mass: Spread,
    /// Places along the travel.
    pub steps: usize,
}

impl Default for ThermalSpec {
    fn default() -> ThermalSpec {
        ThermalSpec {
            change: Spread::exact(0.0),
            members: Vec::new(),
            points: Vec::new(),
            bodies: Vec::new(),
            shrinkage: Vec::new(),
            straight: Vec::new(),
            rails: Vec::new(),
            bond_strength: None,
            cure: true,
            settle_to: SETTLE_TO,
            film: Spread::exact(STILL_AIR),
            carriage: None,
        }
    }
}

impl ThermalSpec {
    /// Reads the table and reports everything wrong with it.
    pub fn read(fields: &Fields) -> Option<ThermalSpec> {
        let change =
            optional(fields, "change", || fields.quantity("change", Kind::TemperatureChange, Allowed::Any));
        let members = table(fields, "members", |members, name| {
            let fields = members.fields(name)?;
            let gradient = gradient(&fields);
            fields.finish();
            gradient
        });
        let points = table(fields, "points", |points, name| {
            Some(points.list(name, Kind::TemperatureChange, 1, Allowed::Any)?[0])
        });
        let bodies = table(fields, "bodies", |bodies, name| {
            let fields = bodies.fields(name)?;
            let gradient = gradients(&fields, ["x", "y", "z"]);
            fields.finish();
            gradient
        });
        let shrinkage = table(fields, "shrinkage", |shrinkage, name| {
            Some(shrinkage.list(name, Kind::Ratio, 1, Allowed::Between(-0.1, 0.1))?[0])
        });
        let straight = optional(fields, "straight", || fields.names("straight"));
        let rails = table(fields, "rails", |rails, name| {
            let fields = rails.fields(name)?;
            fields.need("members", "[\"MEMBER\", \"MEMBER\"]");
            let members = fields.names("members");
            fields.finish();
            let members = members?;
            if members.is_empty() {
                rails.refuse(name, "the rail has 0 members", "name at least one");
                return None;
            }
            Some(members)
        });
        let bond_strength = optional(fields, "bond_strength", || {
            fields.quantity("bond_strength", Kind::Stress, Allowed::Positive)
        });
        let cure = optional(fields, "cure", || fields.flag("cure"));
        let settle_to =
            optional(fields, "settle_to", || fields.list("settle_to", Kind::Length, 1, Allowed::Positive));
        let film = optional(fields, "film", || fields.quantity("film", Kind::Film, Allowed::Positive));
        let carriage = optional(fields, "carriage", || {
            let fields = fields.fields("carriage")?;
            let carriage = CarriageSpec::read(&fields);
            fields.finish();
            carriage
        });
        Some(ThermalSpec {
            change: change?.unwrap_or(Spread::exact(0.0)),
            members: members?,
            points: points?,
            bodies: bodies?,
            shrinkage: shrinkage?,
            straight: straight?.unwrap_or_default(),
            rails: rails?,
            bond_strength: bond_strength?,
            cure: cure?.unwrap_or(true),
            settle_to: settle_to?.map_or(SETTLE_TO, |list| list[0]),
            film: film?.unwrap_or(Spread::exact(STILL_AIR)),
            carriage: carriage?,
        })
    }

    /// The change everywhere from text such as `"10 K"`, which overrides the file's.
    ///
    /// # Errors
    /// The fault of the text: no number, no unit, a unit of something else.
    pub fn change_of(text: &str) -> Result<f64, quantity::Fault> {
        quantity::single(text, Kind::TemperatureChange)
    }

    /// The exchange with the air from text such as `"8 W/m2 K"`, which overrides the file's.
    ///
    /// # Errors
    /// The fault of the text, or a film that exchanges nothing.
    pub fn film_of(text: &str) -> Result<f64, quantity::Fault> {
        let film = quantity::single(text, Kind::Film)?;
        if film > 0.0 {
            return Ok(film);
        }
        let message = format!("\"{text}\" is no film coefficient above 0");
        Err(quantity::Fault { message, help: "write it like \"8 W/m2 K\"".to_string() })
    }

    /// Shear strength of the bond, Pa: the stated one or the default.
    pub fn bond(&self) -> Spread {
        let (value, low, high) = BOND;
        self.bond_strength.unwrap_or(Spread::between(value, low, high))
    }

    /// `change` everywhere, K, and nothing else.
    pub fn uniform(change: f64) -> ThermalSpec {
        ThermalSpec { change: change.into(), ..ThermalSpec::default() }
    }

    /// The case for `frame`, whose parts are made of `materials`, and what is requested besides.
    ///
    /// # Errors
    /// Every name that the frame or the materials do not have, at its place.
    pub fn resolve(
        &self,
        frame: &Frame,
        materials: &[&str],
    ) -> Result<(ThermalCase, ThermalRequest, SagRequest), Problems> {
        let mut problems = Vec::new();
        let members: Vec<&str> = frame.members.iter().map(|member| member.name.as_str()).collect();
        let points: Vec<&str> = frame.points.iter().map(|point| point.name.as_str()).collect();
        let bodies: Vec<&str> = frame.bodies.iter().map(|body| body.name.as_str()).collect();
        let mut case = ThermalCase::uniform(self.change.value);
        case.members = vec![TemperatureGradient::default(); members.len()];
        case.points = vec![0.0; points.len()];
        case.bodies = vec![Vector3::zeros(); bodies.len()];
        let mut index = |name: &Located<String>, known: &[&str], what: &str| {
            let found = known.iter().position(|known| *known == name.value);
            if found.is_none() {
                let message = format!("no {what} \"{}\"", name.value);
                let help = suggest(&name.value, known.iter().copied());
                problems.push(Problem::error(name.place.clone(), message).with_help(help));
            }
            found
        };
        for (name, gradient) in &self.members {
            if let Some(number) = index(name, &members, "member") {
                case.members[number] = *gradient;
            }
        }
        for (name, change) in &self.points {
            if let Some(number) = index(name, &points, "point") {
                case.points[number] = *change;
            }
        }
        for (name, gradient) in &self.bodies {
            if let Some(number) = index(name, &bodies, "body") {
                case.bodies[number] = (*gradient).into();
            }
        }
        for (name, strain) in &self.shrinkage {
            if index(name, materials, "part of material").is_some() {
                case.shrinkage.push((name.value.clone(), *strain));
            }
        }
        for name in self.member_names() {
            index(name, &members, "member");
        }
        if !problems.is_empty() {
            return Err(problems.into());
        }
        let (rails, carriage) = self.lines(frame)?;
        let bond_strength = Some(self.bond().value);
        let sag = SagRequest { rails: rails.clone(), carriage: carriage.clone() };
        Ok((case, ThermalRequest { rails, carriage, bond_strength }, sag))
    }

    /// Every name that must be that of a member.
    pub fn member_names(&self) -> impl Iterator<Item = &Located<String>> {
        let graded = self.members.iter().map(|(name, _)| name);
        let ridden = self.carriage.iter().flat_map(|carriage| &carriage.along);
        let is_rail = |name: &&Located<String>| self.rails.iter().all(|(rail, _)| rail.value != name.value);
        let named = self.straight.iter().chain(ridden).filter(is_rail);
        graded.chain(named).chain(self.rails.iter().flat_map(|(_, members)| members))
    }

    /// The lines of `frame` whose straightness is requested, and the carriage on its rails. Members that the
    /// frame does not have are left out.
    ///
    /// # Errors
    /// Members that form no rail, at the place of the one that shows it.
    pub fn lines(&self, frame: &Frame) -> Result<(Vec<Rail>, Option<Carriage>), Problems> {
        let number = |name: &Located<String>| frame.members.iter().position(|own| own.name == name.value);
        let mut problems = Vec::new();
        let mut stated = Vec::new();
        for (name, members) in &self.rails {
            let (places, numbers): (Vec<_>, Vec<_>) =
                members.iter().filter_map(|member| Some((&member.place, number(member)?))).unzip();
            match Rail::from_members(frame, &name.value, &numbers) {
                Ok(rail) => stated.push(rail),
                Err(fault) => {
                    let place = places.get(fault.place).copied().unwrap_or(&name.place);
                    problems.push(Problem::error(place.clone(), fault.message).with_help(fault.help));
                }
            }
        }
        let rail = |name: &Located<String>| stated.iter().find(|rail| rail.name == name.value);
        let joined = |names: &[Located<String>]| {
            let single: Vec<usize> = names.iter().filter(|n| rail(n).is_none()).filter_map(number).collect();
            Rail::join(frame, &single)
        };
        let carriage = self.carriage.as_ref().map(|carriage| Carriage {
            along: carriage.along.iter().filter_map(rail).cloned().chain(joined(&carriage.along)).collect(),
            mass: carriage.mass.value,
            steps: carriage.steps,
        });
        let rails = stated.iter().cloned().chain(joined(&self.straight)).collect();
        if problems.is_empty() { Ok((rails, carriage)) } else { Err(problems.into()) }
    }
}

impl CarriageSpec {
    fn read(fields: &Fields) -> Option<CarriageSpec> {
        fields.need("along", "[\"MEMBER\"]");
        fields.need("mass", "\"6 kg\"");
        let along = fields.names("along");
        let mass = fields.quantity("mass", Kind::Mass, Allowed::NotNegative);
        let steps = optional(fields, "steps", || fields.counts("steps"));
        let along = along?;
        if along.is_empty() {
            fields.refuse("along", "the carriage rides on 0 members", "name at least one");
            return None;
        }
        let steps = steps?.map_or(STEPS, |counts| counts.first().copied().unwrap_or(STEPS));
        if !(2..=1001).contains(&steps) {
            let message = format!("{steps} places: from 2, the two ends, to 1001");
            fields.refuse("steps", message, "write steps = 11");
            return None;
        }
        Some(CarriageSpec { along, mass: mass?, steps })
    }
}

/// `Some(None)` where the key is absent, `None` where it is wrong.
fn optional<T>(fields: &Fields, key: &str, read: impl FnOnce() -> Option<T>) -> Option<Option<T>> {
    if fields.has(key) { read().map(Some) } else { Some(None) }
}

/// Every entry of a table by its name; `None` when one is wrong.
fn table<T>(
    fields: &Fields,
    key: &str,
    read: impl Fn(&Fields, &str) -> Option<T>,
) -> Option<Vec<(Located<String>, T)>> {
    if !fields.has(key) {
        return Some(Vec::new());
    }
    let table = fields.fields(key)?;
    let entries: Vec<Option<(Located<String>, T)>> =
        table.keys().into_iter().map(|name| read(&table, &name.value).map(|value| (name, value))).collect();
    table.finish();
    entries.into_iter().collect()
}

fn gradient(fields: &Fields) -> Option<TemperatureGradient> {
    let [across_y, across_z, along] = gradients(fields, ["across_y", "across_z", "along"])?;
    Some(TemperatureGradient { across_y, across_z, along })
}

/// The gradients of three `keys`, K/m, 0 where one is absent.
fn gradients(fields: &Fields, keys: [&str; 3]) -> Option<[f64; 3]> {
    let read = |key: &str| {
        let value = optional(fields, key, || fields.list(key, Kind::Gradient, 1, Allowed::Any))?;
        Some(value.map_or(0.0, |list| list[0]))
    };
    let [a, b, c] = keys.map(read);
    Some([a?, b?, c?])
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, layer, section};
    use super::*;
    use stillbed_input::document::Reader;

    fn read(text: &str) -> (Option<ThermalSpec>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let spec = {
            let fields = reader.root();
            let spec = ThermalSpec::read(&fields);
            fields.finish();
            spec
        };
        (spec, reader.finish().0.iter().map(Problem::to_string).collect())
    }

    const WHOLE: &str = "change = \"10 K\"\nstraight = [\"bar\"]\nbond_strength = \"5 MPa\"\n\
         carriage = { along = [\"bar\"], mass = \"6 kg\", steps = 5 }\n\
         members.bar = { across_z = \"2 K/m\", along = \"1 K/m\" }\npoints.right = \"3 K\"\n\
         shrinkage.steel = \"0.05 %\"\n";

    #[test]
    fn the_whole_table_becomes_a_case() {
        let (spec, said) = read(WHOLE);
        assert!(said.is_empty(), "{said:?}");
        let frame = bar(1.0, &section(vec![layer("steel", 210e9, 12e-6, 0.1, 0.0, 0.1)], 1.0));
        let (case, ask, sag) = spec.unwrap().resolve(&frame, &["steel"]).unwrap();
        assert_eq!((case.uniform, case.points[1], case.members[0].across_z), (10.0, 3.0, 2.0));
        approx::assert_relative_eq!(case.shrinkage[0].1, 5e-4);
        assert_eq!((ask.rails.clone(), ask.bond_strength), (Rail::join(&frame, &[0]), Some(5e6)));
        assert_eq!(sag.carriage.unwrap(), Carriage { along: ask.rails, mass: 6.0, steps: 5 });
    }

    #[test]
    fn what_is_wrong_is_said_at_its_place() {
        let (spec, said) =
            read("change = 10\nmembers.bar = { across = \"2 K/m\" }\npoints.head = \"3 mm\"\n");
        assert!(spec.is_none());
        assert_eq!(said.len(), 3, "{said:?}");
        assert!(said[0].starts_with("d.toml:1:10  change: the bare number 10 has no unit"), "{}", said[0]);
        assert!(said[1].contains("members.bar.across: \"across\" is not known here"), "{}", said[1]);
        assert!(said[2].starts_with("d.toml:3:15  points.head: \"3 mm\" is not"), "{}", said[2]);
    }

    #[test]
    fn names_that_the_frame_does_not_have_are_refused() {
        let text = "members.barr = { across_z = \"2 K/m\" }\npoints.head = \"3 K\"\nshrinkage.cast = 0.001\n";
        let frame = bar(1.0, &section(vec![layer("steel", 210e9, 12e-6, 0.1, 0.0, 0.1)], 1.0));
        let problems = read(text).0.unwrap().resolve(&frame, &["steel"]).unwrap_err();
        let said: Vec<String> = problems.iter().map(Problem::to_string).collect();
        assert_eq!(said[0], "d.toml:1:9  members.barr: no member \"barr\"; did you mean \"bar\"?");
        assert_eq!(said[1], "d.toml:2:8  points.head: no point \"head\"; known: left, right");
        assert_eq!(said[2], "d.toml:3:11  shrinkage.cast: no part of material \"cast\"; known: steel");
    }

    #[test]
    fn a_rail_is_named_once_and_used_by_its_name() {
        let text = "straight = [\"guide\"]\nrails.guide = { members = [\"bar\", \"rest\"] }\n\
             carriage = { along = [\"guide\"], mass = \"6 kg\" }\n";
        let (spec, said) = read(text);
        assert!(said.is_empty(), "{said:?}");
        let spec = spec.unwrap();
        let mut frame = bar(1.0, &section(vec![layer("steel", 210e9, 12e-6, 0.1, 0.0, 0.1)], 1.0));
        frame.points.push(frame.points[1].clone());
        frame.points[2].position.x = 1.5;
        frame.members.push(super::super::sample::member("rest", 2, 1));
        let (_, ask, _) = spec.resolve(&frame, &[]).unwrap();
        assert_eq!(ask.rails.len(), 1);
        assert_eq!((ask.rails[0].name.as_str(), ask.rails[0].length), ("guide", 1.5));
        assert_eq!(ask.carriage.unwrap().along, ask.rails);
        frame.points[2].position.z = 0.2;
        let said: Vec<String> =
            spec.resolve(&frame, &[]).unwrap_err().iter().map(Problem::to_string).collect();
        assert_eq!(
            said,
            [
                "d.toml:2:35  rails.guide.members: \"rest\" turns by 22 deg from \"bar\"; a rail is straight; name only members in one line"
            ]
        );
        let (spec, said) = read("rails.guide = { members = [] }\nrails.other = {}\n");
        assert!(spec.is_none() && said[0].contains("0 members") && said[1].contains("missing"), "{said:?}");
    }

    #[test]
    fn a_carriage_needs_a_member_and_two_places() {
        let (spec, said) = read("carriage = { along = [], mass = \"1 kg\" }\n");
        assert!(spec.is_none() && said[0].contains("rides on 0 members"), "{said:?}");
        let (spec, said) = read("carriage = { along = [\"a\"], mass = \"1 kg\", steps = 1 }\n");
        assert!(spec.is_none() && said[0].contains("1 places: from 2"), "{said:?}");
        assert_eq!(read("").0.unwrap(), ThermalSpec::default());
    }

    #[test]
    fn the_film_is_that_of_still_air_unless_it_is_stated() {
        assert_eq!(read("").0.unwrap().film.value, STILL_AIR);
        let text = "film = { value = \"8 W/m2/K\", low = \"5 W/m2 K\", high = \"14 W/m2 K\" }\n";
        let film = read(text).0.unwrap().film;
        assert_eq!((film.value, film.low, film.high), (8.0, 5.0, 14.0));
        assert!(read("film = \"8 W/m\"\n").1[0].contains("is not a film coefficient"));
        assert_eq!(ThermalSpec::film_of("8 W/m2 K").unwrap(), 8.0);
        assert!(ThermalSpec::film_of("0 W/m2 K").is_err() && ThermalSpec::film_of("8").is_err());
    }

    #[test]
    fn a_change_on_the_command_line_needs_its_unit() {
        assert_eq!(ThermalSpec::change_of("-5 K").unwrap(), -5.0);
        assert!(ThermalSpec::change_of("5").is_err());
    }
}
