//! How the design file states the wire drawing: points, members, masses, feet, anchors and joints.

use num_complex::Complex64;
use stillbed_input::document::{Allowed, Class, Fields, Located};
use stillbed_input::problem::Place;
use stillbed_input::quantity::{Draw, Kind, Loss, Spread};
use stillbed_joint::{FEET, JOINTS, Seat, SeatSpec};

/// Names of the degrees of freedom of a point, in their order.
pub const DOF_NAMES: [&str; 6] = ["x", "y", "z", "turn_x", "turn_y", "turn_z"];

/// Older names of the degrees of freedom in design files, in the same order.
const LETTERS: [&str; 6] = ["ux", "uy", "uz", "rx", "ry", "rz"];

/// What an anchor may hold: all degrees of freedom, or some of them.
const HELD: [&str; 7] = ["all", "x", "y", "z", "turn_x", "turn_y", "turn_z"];

/// A point of the wire drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct PointSpec {
    /// Global position, m.
    pub position: [f64; 3],
    /// Where it is stated.
    pub place: Place,
}

/// A member between two points.
#[derive(Debug, Clone, PartialEq)]
pub struct MemberSpec {
    /// Name of the first point.
    pub from: Located<String>,
    /// Name of the last point.
    pub to: Located<String>,
    /// Name of its section.
    pub section: Located<String>,
    /// Direction of the section's z axis, global axes; `None` is global z, or global y for an upright member.
    pub up: Option<Located<[f64; 3]>>,
    /// From the line between the points to the member's own line, global axes, m.
    pub offset: [f64; 3],
    /// Joint at the first point.
    pub joint_from: Option<Located<String>>,
    /// Joint at the last point.
    pub joint_to: Option<Located<String>>,
    /// Where it is stated.
    pub place: Place,
}

/// A rigid arm between two points, without mass.
#[derive(Debug, Clone, PartialEq)]
pub struct ArmSpec {
    /// Name of one point.
    pub from: Located<String>,
    /// Name of the other.
    pub to: Located<String>,
    /// Where it is stated.
    pub place: Place,
}

/// What is drawn between two points.
#[derive(Debug, Clone, PartialEq)]
pub enum DrawnSpec {
    /// A member.
    Member(Box<MemberSpec>),
    /// A rigid arm.
    Arm(Box<ArmSpec>),
}

/// A mass carried at a point.
#[derive(Debug, Clone, PartialEq)]
pub struct MassSpec {
    /// Name of the point.
    pub at: Located<String>,
    /// Mass, kg.
    pub mass: Spread,
    /// From the point to the centre of the mass, global axes, m.
    pub offset: [f64; 3],
    /// Moments of inertia about its own centre, global axes, kg m2.
    pub inertia: [f64; 3],
    /// Where it is stated.
    pub place: Place,
}

/// Springs to ground, the same at each of its points.
#[derive(Debug, Clone, PartialEq)]
pub struct FootSpec {
    /// Names of the points.
    pub at: Vec<Located<String>>,
    /// Stiffness along global x, y, z, N/m.
    pub stiffness: [Spread; 3],
    /// Rotational stiffness about global x, y, z, N m/rad; absent is zero.
    pub turning: Option<[Spread; 3]>,
    /// Loss factor; it may depend on amplitude, or not be stated.
    pub loss: Loss,
    /// What its springs follow from where they are not stated themselves; they are 0 until that is known.
    pub seat: Option<Box<Seat>>,
    /// Where it is stated.
    pub place: Place,
}

/// A rigid hold to ground of some degrees of freedom.
#[derive(Debug, Clone, PartialEq)]
pub struct AnchorSpec {
    /// Names of the points.
    pub at: Vec<Located<String>>,
    /// Which degrees of freedom are held, global axes.
    pub hold: [bool; 6],
    /// Where it is stated.
    pub place: Place,
}

/// Springs between a member's end and its point, or between two bodies at a point of both; in member axes, or with x
/// square to the face.
#[derive(Debug, Clone, PartialEq)]
pub struct JointSpec {
    /// Names of points on faces that two bodies share, which it holds together; none for a joint of members alone.
    pub at: Vec<Located<String>>,
    /// By degree of freedom, N/m and N m/rad; `None` is rigid, zero is free.
    pub stiffness: [Option<Spread>; 6],
    /// Loss factor; it may depend on amplitude, or not be stated.
    pub loss: Loss,
    /// What its springs follow from where they are not stated themselves; it is rigid until that is known.
    pub seat: Option<Box<Seat>>,
    /// Where it is stated.
    pub place: Place,
}

fn vector(list: Vec<f64>) -> Option<[f64; 3]> {
    list.try_into().ok()
}

impl PointSpec {
    /// Reads the point named `name` from the table of points.
    pub fn read(points: &Fields, name: &str) -> Option<PointSpec> {
        let position = vector(points.list(name, Kind::Length, 3, Allowed::Any)?)?;
        Some(PointSpec { position, place: points.place_of(name) })
    }
}

impl DrawnSpec {
    /// Reads a member, or with `rigid = true` an arm.
    pub fn read(fields: &Fields) -> Option<DrawnSpec> {
        fields.need("from", "\"POINT\"");
        fields.need("to", "\"POINT\"");
        match fields.stated(&["section", "rigid"])[..] {
            ["rigid"] => {
                let (from, to, rigid) = (fields.text("from"), fields.text("to"), fields.flag("rigid"));
                if rigid == Some(false) {
                    fields.refuse(
                        "rigid",
                        "a member that is not rigid has a section",
                        "name its section instead",
                    );
                }
                let arm = ArmSpec { from: from?, to: to?, place: fields.place() };
                Some(DrawnSpec::Arm(Box::new(arm)))
            }
            ["section", "rigid"] => {
                let help = "leave one of them out; what an arm weighs is stated under masses";
                fields.refuse("rigid", "a rigid arm has no section", help);
                None
            }
            _ => MemberSpec::read(fields).map(|member| DrawnSpec::Member(Box::new(member))),
        }
    }
}

impl MemberSpec {
    fn read(fields: &Fields) -> Option<MemberSpec> {
        if !fields.holds("section") {
            fields.need("section", "\"SECTION\"");
        }
        let (from, to, section) = (fields.text("from"), fields.text("to"), fields.text("section"));
        let up = fields.list("up", Kind::Ratio, 3, Allowed::Any).and_then(vector);
        let offset = length_vector(fields, "offset");
        let (joint_from, joint_to) = (fields.text("joint_from"), fields.text("joint_to"));
        Some(MemberSpec {
            from: from?,
            to: to?,
            section: section?,
            up: up.map(|value| Located { value, place: fields.place_of("up") }),
            offset,
            joint_from,
            joint_to,
            place: fields.place(),
        })
    }
}

impl MassSpec {
    /// Reads one mass.
    pub fn read(fields: &Fields) -> Option<MassSpec> {
        fields.need("at", "\"POINT\"");
        fields.need("mass", "\"6.2 kg\"");
        let at = fields.text("at");
        let mass = fields.quantity("mass", Kind::Mass, Allowed::NotNegative);
        let offset = length_vector(fields, "offset");
        let inertia = fields
            .list("inertia", Kind::Inertia, 3, Allowed::NotNegative)
            .and_then(vector)
            .unwrap_or_default();
        if let [x, y, z] = inertia
            && (x > y + z || y > z + x || z > x + y)
        {
            fields.refuse(
                "inertia",
                "one moment of inertia is larger than the other two together, which no body has",
                "state the three about the mass's own centre",
            );
        }
        Some(MassSpec { at: at?, mass: mass?, offset, inertia, place: fields.place() })
    }
}

impl FootSpec {
    /// Reads one kind of foot.
    pub fn read(fields: &Fields) -> Option<FootSpec> {
        fields.need("at", "[\"POINT\"]");
        let at = fields.names("at");
        if let Some(way) = way(fields, &FEET, "\"20, 20, 80 N/um\"")? {
            let seat = SeatSpec::read_foot(fields, way);
            let loss = loss(fields, Class::FootLoss);
            return Some(FootSpec {
                at: at?,
                stiffness: [Spread::exact(0.0); 3],
                turning: None,
                loss,
                seat: Some(Box::new(Seat::stated(seat?))),
                place: fields.place(),
            });
        }
        let read = |key, kind| -> Option<[Spread; 3]> {
            fields.quantities_of(key, kind, 3, Allowed::NotNegative, Class::FootStiffness)?.try_into().ok()
        };
        let stiffness = read("stiffness", Kind::Stiffness);
        let turning = read("turning", Kind::TurningStiffness);
        let loss = loss(fields, Class::FootLoss);
        Some(FootSpec { at: at?, stiffness: stiffness?, turning, loss, seat: None, place: fields.place() })
    }
}

impl AnchorSpec {
    /// Reads one anchor.
    pub fn read(fields: &Fields) -> Option<AnchorSpec> {
        fields.need("at", "[\"POINT\"]");
        fields.need("hold", "\"all\"");
        let (at, text) = (fields.names("at"), fields.words("hold", &HELD));
        let mut hold = [false; 6];
        let (mut unknown, mut all_letters) = (Vec::new(), true);
        for word in text?.value.split([' ', ',']).filter(|w| !w.is_empty()) {
            let letter = LETTERS.iter().position(|letter| *letter == word);
            match DOF_NAMES.iter().position(|dof| *dof == word).or(letter) {
                _ if word == "all" => hold = [true; 6],
                Some(i) => hold[i] = true,
                None => all_letters = false,
            }
            if word != "all" && !DOF_NAMES.contains(&word) {
                unknown.push(format!("\"{word}\""));
            }
        }
        if !unknown.is_empty() {
            let verb = if unknown.len() == 1 { "is no freedom" } else { "are no freedoms" };
            let held = (0..6).filter(|i| hold[*i]).map(|i| DOF_NAMES[i]).collect::<Vec<_>>().join(" ");
            let help = match all_letters {
                true if hold == [true; 6] => "write \"all\"".to_string(),
                true => format!("write \"{held}\""),
                false => format!("known: all, or some of {}", DOF_NAMES.join(" ")),
            };
            fields.refuse("hold", format!("{} {verb}", unknown.join(", ")), help);
            return None;
        }
        if hold == [false; 6] {
            fields.refuse(
                "hold",
                "the anchor holds nothing",
                "write \"all\", or name freedoms, as in \"x y z\"",
            );
        }
        Some(AnchorSpec { at: at?, hold, place: fields.place() })
    }
}

impl JointSpec {
    /// Reads one joint.
    pub fn read(fields: &Fields) -> Option<JointSpec> {
        let at = fields.names("at").unwrap_or_default();
        if !at.is_empty() && fields.holds("normal") {
            fields.refuse("normal", "at points of bodies x is square to the face", "leave it out");
        }
        if let Some(way) = way(fields, &JOINTS, "{ turn_x = \"40 kN m/rad\" }")? {
            let seat = SeatSpec::read_joint(fields, way);
            let loss = loss(fields, Class::JointLoss);
            let seat = Some(Box::new(Seat::stated(seat?)));
            return Some(JointSpec { at, stiffness: [None; 6], loss, seat, place: fields.place() });
        }
        let springs = fields.fields("stiffness")?;
        let mut stiffness = [None; 6];
        for (i, name) in DOF_NAMES.iter().enumerate() {
            let kind = if i < 3 { Kind::Stiffness } else { Kind::TurningStiffness };
            stiffness[i] = springs.quantity_of(name, kind, Allowed::NotNegative, Class::JointStiffness);
        }
        if stiffness.iter().all(Option::is_none) && !LETTERS.iter().any(|letter| springs.holds(letter)) {
            fields.refuse(
                "stiffness",
                "the joint names no freedom",
                "name one, as in turn_x = \"40 kN m/rad\"",
            );
        }
        LETTERS.iter().zip(DOF_NAMES).for_each(|(letter, word)| springs.renamed(letter, word));
        springs.finish();
        let loss = loss(fields, Class::JointLoss);
        Some(JointSpec { at, stiffness, loss, seat: None, place: fields.place() })
    }

    /// Its springs and their loss factor in `draw` at `amplitude`, m: by freedom, N/m and N m/rad; `None` is rigid.
    pub fn springs(&self, amplitude: Option<f64>, draw: &Draw) -> [Option<Complex64>; 6] {
        let loss = self.loss.at(amplitude, draw);
        let spring = |i: usize| self.stiffness[i].map(|k| lossy(k.at(draw), loss, &self.seat, i, draw));
        std::array::from_fn(spring)
    }
}

impl FootSpec {
    /// Its springs and their loss factor in `draw` at `amplitude`, m: by freedom, N/m and N m/rad.
    pub fn springs(&self, amplitude: Option<f64>, draw: &Draw) -> [Complex64; 6] {
        let loss = self.loss.at(amplitude, draw);
        let turning = |i: usize| self.turning.map_or(0.0, |turning| turning[i].at(draw));
        std::array::from_fn(|i| {
            let k = if i < 3 { self.stiffness[i].at(draw) } else { turning(i - 3) };
            lossy(k, loss, &self.seat, i, draw)
        })
    }
}

/// A spring `k` of the freedom `i` with its loss, and with the factor of a joint or foot that follows from its law.
fn lossy(k: f64, loss: f64, seat: &Option<Box<Seat>>, i: usize, draw: &Draw) -> Complex64 {
    let k = seat.as_ref().map_or(k, |seat| k * seat.factor(i, draw));
    Complex64::new(k, k * loss)
}

/// The one of `ways` that is stated, but for "stiffness"; `None` where there is none or more, which has been reported.
fn way(fields: &Fields, ways: &[&'static str], example: &str) -> Option<Option<&'static str>> {
    match fields.stated(ways)[..] {
        [] => {
            fields.need("stiffness", example);
            None
        }
        ["stiffness"] => Some(None),
        [way] => Some(Some(way)),
        [first, other, ..] => {
            let help = "state its springs, or what they follow from, not both";
            fields.refuse(other, format!("it states {first} and {other}"), help);
            None
        }
    }
}

fn loss(fields: &Fields, class: Class) -> Loss {
    fields.loss("loss", class).unwrap_or(Loss::Unstated)
}

fn length_vector(fields: &Fields, key: &str) -> [f64; 3] {
    fields.list(key, Kind::Length, 3, Allowed::Any).and_then(vector).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;

    fn read<T>(text: &str, spec: impl Fn(&Fields) -> Option<T>) -> (Option<T>, Vec<String>) {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let found = spec(&root);
        root.finish();
        (found, reader.finish().0.iter().map(|p| p.to_string()).collect())
    }

    #[test]
    fn a_foot_has_three_springs_with_one_loss() {
        let (foot, said) =
            read("at = [\"a\", \"b\"]\nstiffness = \"20, 20, 80 N/um\"\nloss = 0.1\n", FootSpec::read);
        let foot = foot.unwrap();
        assert!(said.is_empty());
        assert_eq!((foot.at.len(), foot.stiffness[2].value, foot.loss.largest()), (2, 80e6, 0.1));
        let springs = foot.springs(None, &Draw::default());
        let spring = |k: f64| Complex64::new(k, 0.1 * k);
        assert_eq!(springs, [20e6, 20e6, 80e6, 0.0, 0.0, 0.0].map(spring));
    }

    #[test]
    fn a_joint_is_rigid_where_it_names_no_dof() {
        let (joint, said) = read("stiffness = { turn_x = \"40 kN m/rad\" }\n", JointSpec::read);
        let joint = joint.unwrap();
        assert!(said.is_empty());
        assert_eq!(joint.stiffness.iter().flatten().count(), 1);
        assert_eq!(joint.stiffness[3].unwrap().value, 40e3);
    }

    #[test]
    fn a_joint_gives_along_and_about_its_axes() {
        let text = "stiffness = { x = \"2 N/um\", z = \"3 kN/mm\", turn_z = \"5 N m/rad\" }\n";
        let (joint, said) = read(text, JointSpec::read);
        assert!(said.is_empty(), "{said:?}");
        let stiffness = joint.unwrap().stiffness.map(|spring| spring.map(|k| k.value));
        assert_eq!(stiffness, [Some(2e6), None, Some(3e6), None, None, Some(5.0)]);
    }

    #[test]
    fn an_anchor_names_the_dofs_it_knows() {
        let (_, said) = read("at = \"a\"\nhold = \"x uq\"\n", AnchorSpec::read);
        assert_eq!(
            said,
            ["d.toml:2:8  hold: \"uq\" is no freedom; known: all, or some of x y z turn_x turn_y turn_z"]
        );
        let held =
            |text: &str| read(&format!("at = \"a\"\nhold = \"{text}\"\n"), AnchorSpec::read).0.unwrap().hold;
        assert_eq!(held("all"), [true; 6]);
        assert_eq!(held("y, turn_x"), [false, true, false, true, false, false]);
    }

    #[test]
    fn an_old_letter_is_answered_with_its_word() {
        let (anchor, said) = read("at = \"a\"\nhold = \"ux ry\"\n", AnchorSpec::read);
        assert_eq!(
            (anchor, said),
            (None, vec!["d.toml:2:8  hold: \"ux\", \"ry\" are no freedoms; write \"x turn_y\"".to_string()])
        );
        let (_, said) = read("stiffness = { rz = \"1 kN m/rad\" }\n", JointSpec::read);
        assert_eq!(said, ["d.toml:1:15  stiffness.rz: \"rz\" is no freedom; write \"turn_z\""]);
    }

    #[test]
    fn an_impossible_inertia_is_refused() {
        let text = "at = \"a\"\nmass = \"1 kg\"\ninertia = \"1, 0.1, 0.1 kg m2\"\n";
        assert!(read(text, MassSpec::read).1[0].contains("which no body has"));
        // A thin plate has just the sum of the other two.
        for inertia in ["0.2, 0.1, 0.1", "0.1, 0.2, 0.1", "0.1, 0.1, 0.2"] {
            let text = format!("at = \"a\"\nmass = \"1 kg\"\ninertia = \"{inertia} kg m2\"\n");
            assert!(read(&text, MassSpec::read).1.is_empty(), "{inertia}");
        }
    }

    #[test]
    fn a_member_lacks_what_it_needs() {
        let (member, said) = read("from = \"a\"\n", DrawnSpec::read);
        assert!(member.is_none());
        assert_eq!(said.len(), 2);
        assert!(said[0].contains("\"to\" is missing; add to = \"POINT\""));
    }
}
