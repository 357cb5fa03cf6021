//! A rail: members in one line, end to end, taken as one.
//!
//! A rail runs in the direction of its first-named member and has that member's y and z; the order in which
//! the others are named, and the direction in which they are drawn, do not matter. Members requested singly
//! are joined automatically where one continues the line of the other and no joint between them is free: what
//! rides on a guide does not depend on how many members the guide is made of.

use super::straightness::{DeflectedLine, Straightness, weights};
use nalgebra::{Matrix3, Vector2, Vector3};
use stillbed_frame::{Frame, Line, Member};
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_modes::Statics;

/// How far a member may lie off the line, relative to the length of the rail: coordinates in drawings are
/// rounded to about a hundredth of a millimetre per metre.
const SLACK: f64 = 1e-5;

/// Members in line.
#[derive(Debug, Clone, PartialEq)]
pub struct Rail {
    /// Its name.
    pub name: String,
    /// m.
    pub length: f64,
    /// Rotation from global to its own axes, shape (3, 3): the rows are x along it, y and z.
    pub(super) axes: Matrix3<f64>,
    segments: Vec<Segment>,
}

/// One member of a rail.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Segment {
    member: usize,
    /// Where it begins, from the rail's start, m.
    from: f64,
    length: f64,
    /// What does not deform at its beginning and its end along the rail, m.
    rigid: [f64; 2],
    /// True where it is drawn against the direction of the rail.
    backwards: bool,
    /// The points at its beginning and its end along the rail.
    points: [usize; 2],
}

/// Why members do not form a rail.
#[derive(Debug, Clone, PartialEq)]
pub struct RailFault {
    /// Index, in the list of members, of the one that shows it.
    pub place: usize,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

impl Rail {
    /// The rail called `name` of the `members` of `frame`, named in any order.
    ///
    /// # Errors
    /// A member that turns off, lies beside, overlaps, leaves a gap, or shares no point with the next.
    pub fn from_members(frame: &Frame, name: &str, members: &[usize]) -> Result<Rail, RailFault> {
        let fault = |place: usize, message: String, help: &str| {
            Err(RailFault { place, message, help: help.to_string() })
        };
        let lines: Vec<Option<(&Member, Line)>> = members
            .iter()
            .map(|number| frame.members.get(*number).and_then(|m| Some((m, Line::drawn(frame, m)?))))
            .collect();
        let whole: f64 = lines.iter().flatten().map(|(_, line)| line.length).sum();
        let Some(Some((head, first))) = lines.first() else {
            return fault(0, format!("the rail \"{name}\" has 0 members"), "name at least one");
        };
        let (along, slack) = (first.axes.row(0).transpose(), SLACK * whole);
        let mut segments: Vec<(usize, Segment)> = Vec::with_capacity(members.len());
        for (place, (member, line)) in lines.iter().enumerate().filter_map(|(i, l)| Some((i, l.as_ref()?))) {
            if members[..place].contains(&members[place]) {
                let message = format!("\"{}\" is named twice", member.name);
                return fault(place, message, "name each member of a rail once");
            }
            let own = line.axes.row(0).transpose();
            if own.cross(&along).norm() * line.length > slack {
                let angle = own.dot(&along).abs().min(1.0).acos().to_degrees();
                let message =
                    format!("\"{}\" turns by {} deg from \"{}\"", member.name, figures(angle, 2), head.name);
                return fault(place, message, "a rail is straight; name only members in one line");
            }
            let reach = line.start - first.start;
            let aside = (reach - along * along.dot(&reach)).norm();
            if aside > slack {
                let aside = show(aside, Kind::Length);
                let message =
                    format!("\"{}\" runs {aside} beside the line of \"{}\"", member.name, head.name);
                return fault(
                    place,
                    message,
                    "members of a rail lie in one line; give the other line a rail of its own",
                );
            }
            let backwards = own.dot(&along) < 0.0;
            let start = along.dot(&reach);
            let (from, points) = match backwards {
                false => (start, [member.from, member.to]),
                true => (start - line.length, [member.to, member.from]),
            };
            let [first, last] = if backwards { [1, 0] } else { [0, 1] }.map(|end| member.rigid[end]);
            let (member, length) = (members[place], line.length);
            segments.push((place, Segment { member, from, length, rigid: [first, last], backwards, points }));
        }
        segments.sort_by(|a, b| a.1.from.total_cmp(&b.1.from));
        for pair in segments.windows(2) {
            let ((_, before), (place, next)) = (pair[0], pair[1]);
            let named = |segment: &Segment| format!("\"{}\"", frame.members[segment.member].name);
            let gap = next.from - before.from - before.length;
            let (a, b) = (named(&before), named(&next));
            if gap > slack {
                let message = format!("{} is free between {a} and {b}", show(gap, Kind::Length));
                return fault(place, message, "members of a rail follow end to end; name what lies between");
            }
            if gap < -slack {
                let message = format!("{a} and {b} lie in one place over {}", show(-gap, Kind::Length));
                return fault(place, message, "members of a rail follow end to end, without a branch");
            }
            if before.points[1] != next.points[0] {
                let message = format!("{a} and {b} meet, but at two different points");
                return fault(place, message, "let both end at one point, so that they hang together");
            }
        }
        let begin = segments.first().map_or(0.0, |(_, segment)| segment.from);
        let segments: Vec<Segment> =
            segments.iter().map(|(_, s)| Segment { from: s.from - begin, ..*s }).collect();
        let length = segments.last().map_or(0.0, |last| last.from + last.length);
        Ok(Rail { name: name.to_string(), length, axes: first.axes, segments })
    }

    /// The member with this index as a rail of its own; `None` without a length.
    pub fn from_member(frame: &Frame, number: usize) -> Option<Rail> {
        Rail::from_members(frame, &frame.members.get(number)?.name, &[number]).ok()
    }

    /// `members` as rails: those that follow one another in line form one, in the order in which their first
    /// members are named.
    pub fn join(frame: &Frame, members: &[usize]) -> Vec<Rail> {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for (place, number) in members.iter().enumerate() {
            if members[..place].contains(number) {
                continue;
            }
            let (met, apart): (Vec<_>, Vec<_>) =
                groups.into_iter().partition(|group| group.iter().any(|own| follow(frame, *own, *number)));
            let mut one: Vec<usize> = met.into_iter().flatten().collect();
            one.push(*number);
            groups = apart;
            groups.push(one);
        }
        let place = |number: &usize| members.iter().position(|named| named == number);
        groups.iter_mut().for_each(|group| group.sort_by_key(place));
        groups.sort_by_key(|group| group.first().and_then(place));
        let rail = |group: Vec<usize>| match Rail::from_members(frame, "", &group) {
            Ok(rail) => vec![rail.named_by_its_ends(frame)],
            // A line that branches is not a rail.
            Err(_) => group.iter().filter_map(|number| Rail::from_member(frame, *number)).collect(),
        };
        groups.into_iter().flat_map(rail).collect()
    }

    fn named_by_its_ends(self, frame: &Frame) -> Rail {
        let name = |segment: &Segment| frame.members[segment.member].name.clone();
        let name = match self.segments.as_slice() {
            [one] => name(one),
            [first, .., last] => format!("{} to {}", name(first), name(last)),
            [] => String::new(),
        };
        Rail { name, ..self }
    }

    /// Its members, in order along it.
    pub fn members(&self) -> impl Iterator<Item = usize> + '_ {
        self.segments.iter().map(|segment| segment.member)
    }

    /// The member at `x` from the rail's start, m, and how far that is from the member's own start.
    pub fn at(&self, x: f64) -> Option<(usize, f64)> {
        let past = self.segments.iter().rev().find(|segment| x >= segment.from);
        let segment = past.or(self.segments.first())?;
        let inside = (x - segment.from).clamp(0.0, segment.length);
        Some((segment.member, if segment.backwards { segment.length - inside } else { inside }))
    }

    /// Its direction.
    pub(super) fn along(&self) -> Vector3<f64> {
        self.axes.row(0).transpose()
    }

    /// The rail's deflected line when the degrees of freedom are at `motion`, at the ends of all elements and
    /// at `between` places inside each. Where two members meet at a flexible joint, the mean is taken.
    pub(crate) fn line(&self, statics: &Statics, motion: &[f64], between: usize) -> Option<DeflectedLine> {
        let mut line = DeflectedLine::default();
        for segment in &self.segments {
            let mut places = statics.layout.along(statics.frame, segment.member, motion, between)?;
            if segment.backwards {
                places.reverse();
            }
            let [first, last] = segment.rigid;
            let step = (segment.length - first - last) / (places.len() - 1).max(1) as f64;
            let met = line.x.last().is_some_and(|end| segment.from + first - end < 1e-9 * self.length);
            for (i, (weight, (_, moved))) in weights(places.len(), step).iter().zip(&places).enumerate() {
                let own = self.axes * moved.fixed_rows::<3>(0);
                let own = Vector2::new(own.y, own.z);
                match (i, line.weight.last_mut(), line.moved.last_mut()) {
                    (0, Some(last), Some(before)) if met => {
                        *last += weight;
                        *before = 0.5 * (*before + own);
                    }
                    _ => {
                        line.x.push(segment.from + first + step * i as f64);
                        line.weight.push(*weight);
                        line.moved.push(own);
                    }
                }
            }
        }
        Some(line)
    }

    /// How straight it is when the degrees of freedom are at `motion`.
    pub(crate) fn straightness(&self, statics: &Statics, motion: &[f64]) -> Option<Straightness> {
        let line = self.line(statics, motion, 0)?;
        let name = |number: usize| statics.frame.members[number].name.clone();
        Some(Straightness {
            member: self.name.clone(),
            members: self.members().map(name).collect(),
            length_m: self.length,
            across: line.straight(0),
            up: line.straight(1),
            bow_m: line.bow(),
            line: line.places(),
        })
    }
}

/// One end of a member.
struct End {
    point: usize,
    at: Vector3<f64>,
    /// From the end into the member.
    inwards: Vector3<f64>,
    /// Length of the member, m.
    length: f64,
    /// True where its joint lets some relative motion happen without force.
    free: bool,
}

impl End {
    fn of(frame: &Frame, number: usize, end: usize) -> Option<End> {
        let member = frame.members.get(number)?;
        let line = Line::drawn(frame, member)?;
        let along = line.axes.row(0).transpose();
        let joint = member.joint(end).and_then(|joint| frame.joints.get(joint));
        Some(End {
            point: member.point(end),
            at: line.at(if end == 0 { 0.0 } else { line.length }),
            inwards: if end == 0 { along } else { -along },
            length: line.length,
            free: joint.is_some_and(|joint| joint.stiffness.iter().flatten().any(|k| k.re <= 0.0)),
        })
    }
}

/// True when one member continues the other in its line, and no joint between them is free.
fn follow(frame: &Frame, one: usize, other: usize) -> bool {
    (0..4).any(|pair| {
        let (Some(a), Some(b)) = (End::of(frame, one, pair % 2), End::of(frame, other, pair / 2)) else {
            return false;
        };
        let slack = SLACK * (a.length + b.length);
        let in_line = (a.inwards + b.inwards).norm() * a.length.min(b.length) <= slack;
        a.point == b.point && (a.at - b.at).norm() <= slack && in_line && !a.free && !b.free
    })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{SIXTHS, cut, member, steel};
    use super::super::static_deflection::{deflection, subdivided};
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::Vector6;
    use num_complex::Complex64;
    use stillbed_frame::{FreeStrain, Joint};

    /// The straightness of all members that want to curve about both axes, as much as under gradients of
    /// 50 K/m up and 30 K/m across.
    fn curved(frame: &Frame) -> Straightness {
        let statics = subdivided(frame, 24).unwrap();
        let strains = |member: &Member| {
            // A curvature is stated in the member's own axes: y of a member drawn backwards points the other
            // way.
            let across = if member.from > member.to { -30.0 } else { 30.0 };
            [Vector6::new(0.0, 0.0, 0.0, 0.0, 50.0, -across) * 12e-6; 2]
        };
        let strains: Vec<FreeStrain> = frame.members.iter().map(strains).collect();
        let load = statics.layout.free_strain_load(frame, &strains).unwrap();
        let motion = deflection(&statics, &load).unwrap();
        let all: Vec<usize> = (0..frame.members.len()).collect();
        let rails = Rail::join(frame, &all);
        assert_eq!(rails.len(), 1);
        rails[0].straightness(&statics, &motion).unwrap()
    }

    #[test]
    fn members_that_only_meet_or_only_lie_in_line_are_rails_of_their_own() {
        let straight = cut(&steel(), &[0.4, 0.8], &[0, 1, 2], &[]);
        let count = |frame: &Frame| Rail::join(frame, &[0, 1, 2]).len();
        assert_eq!(count(&straight), 1);
        let mut bent = straight.clone();
        bent.points[3].position = Vector3::new(0.8, 0.4, 0.0);
        assert_eq!(count(&bent), 2);
        // Each has a point of its own where they meet.
        let mut apart = straight;
        apart.points.push(apart.points[2].clone());
        apart.members[2].from = 4;
        assert_eq!(count(&apart), 2);
    }

    #[test]
    fn a_member_may_lie_off_the_line_by_a_hundred_thousandth_of_the_length() {
        for (length, off, rails) in [(12.0, 6e-5, 1), (12.0, 4e-4, 2), (0.12, 6e-7, 1), (0.12, 4e-6, 2)] {
            let mut frame = cut(&steel(), &[0.6], &[0, 1], &[]);
            frame.points.iter_mut().for_each(|point| point.position *= length / 1.2);
            frame.members[1].offset.y = off;
            assert_eq!(Rail::join(&frame, &[0, 1]).len(), rails, "{length} {off}");
        }
    }

    #[test]
    fn six_members_in_line_bow_as_one() {
        let one = curved(&cut(&steel(), &[], &[0], &[]));
        // κ = α g about each axis; from the chord κ L²/8, from the best line κ L²/12.
        let height = |gradient: f64| 12e-6 * gradient * 1.2 * 1.2 / 8.0;
        assert_relative_eq!(one.up.after_m, height(50.0), max_relative = 1e-9);
        assert_relative_eq!(one.across.after_m, height(30.0), max_relative = 1e-9);
        assert_relative_eq!(one.up.off_m, height(50.0) / 1.5, max_relative = 1e-9);
        assert_relative_eq!(one.bow_m, height(50.0).hypot(height(30.0)), max_relative = 1e-9);
        let orders: [(&[usize], &[usize]); 3] =
            [(&[0, 1, 2, 3, 4, 5], &[]), (&[3, 1, 5, 0, 2, 4], &[]), (&[2, 0, 5, 4, 1, 3], &[1, 2, 5])];
        for (order, backwards) in orders {
            let six = curved(&cut(&steel(), &SIXTHS, order, backwards));
            assert_eq!(six.members.len(), 6);
            assert_relative_eq!(six.length_m, 1.2, max_relative = 1e-12);
            for (own, other) in [(one.up, six.up), (one.across, six.across)] {
                assert_relative_eq!(own.before_m, other.before_m, max_relative = 1e-9);
                assert_relative_eq!(own.after_m, other.after_m, max_relative = 1e-9);
                assert_relative_eq!(own.off_m, other.off_m, max_relative = 1e-9);
            }
            assert_relative_eq!(one.bow_m, six.bow_m, max_relative = 1e-9);
        }
        let uneven = curved(&cut(&steel(), &[0.1, 0.75], &[1, 0, 2], &[0]));
        assert_relative_eq!(one.up.off_m, uneven.up.off_m, max_relative = 1e-9);
        assert_eq!(
            uneven.members,
            ["rail_2", "rail_1", "rail_0"].map(String::from).into_iter().rev().collect::<Vec<_>>()
        );
    }

    #[test]
    fn a_rail_runs_as_its_first_named_member() {
        let frame = cut(&steel(), &SIXTHS, &[0, 1, 2, 3, 4, 5], &[4]);
        let rail = Rail::from_members(&frame, "guide", &[4, 0, 5, 1, 2, 3]).unwrap();
        assert_eq!(rail.members().collect::<Vec<_>>(), [5, 4, 3, 2, 1, 0]);
        // 0.3 m from the far end: 0.1 m from the near point of rail_4, which is drawn that way.
        let (member, x) = rail.at(0.3).unwrap();
        assert_eq!(member, 4);
        assert_relative_eq!(x, 0.1, max_relative = 1e-12);
        let (member, x) = rail.at(1.15).unwrap();
        assert_eq!(member, 0);
        assert_relative_eq!(x, 0.05, max_relative = 1e-12);
        assert_eq!(rail.at(9.0).unwrap().0, 0);
    }

    #[test]
    fn what_is_no_rail_says_why() {
        let mut frame = cut(&steel(), &SIXTHS, &[0, 1, 2, 3, 4, 5], &[]);
        let said = |frame: &Frame, members: &[usize]| {
            let fault = Rail::from_members(frame, "guide", members).unwrap_err();
            (fault.place, fault.message)
        };
        assert_eq!(
            said(&frame, &[0, 3, 1]),
            (1, "200 mm is free between \"rail_1\" and \"rail_3\"".to_string())
        );
        assert_eq!(said(&frame, &[0, 1, 0]), (2, "\"rail_0\" is named twice".to_string()));
        frame.members.push(member("long", 1, 3));
        assert_eq!(said(&frame, &[0, 1, 6]).0, 2);
        assert!(said(&frame, &[0, 1, 6]).1.contains("lie in one place over 200 mm"));
        frame.points[2].position.y = 0.01;
        assert!(
            said(&frame, &[0, 1]).1.starts_with("\"rail_1\" turns by 2.9 deg"),
            "{:?}",
            said(&frame, &[0, 1])
        );
        frame.points[2].position.y = 0.0;
        frame.members[1].offset.z = 0.02;
        assert_eq!(said(&frame, &[0, 1]).1, "\"rail_1\" runs 20 mm beside the line of \"rail_0\"");
        frame.members[1].offset.z = 0.0;
        frame.points.push(frame.points[1].clone());
        frame.members[1].from = frame.points.len() - 1;
        assert!(said(&frame, &[0, 1]).1.contains("meet, but at two different points"));
    }

    #[test]
    fn a_bend_a_hinge_or_a_branch_ends_a_rail() {
        let names = |frame: &Frame, members: &[usize]| -> Vec<String> {
            Rail::join(frame, members).into_iter().map(|rail| rail.name).collect()
        };
        let mut frame = cut(&steel(), &SIXTHS, &[0, 1, 2, 3, 4, 5], &[]);
        assert_eq!(names(&frame, &[5, 0, 1, 3]), ["rail_5", "rail_0 to rail_1", "rail_3"]);
        assert_eq!(names(&frame, &[2, 0, 1]), ["rail_0 to rail_2"]);
        let hinge = [None, None, None, None, Some(Complex64::ZERO), None];
        frame.joints = vec![Joint { name: "hinge".into(), stiffness: hinge, wall: None }];
        frame.members[2].joint_from = Some(0);
        assert_eq!(names(&frame, &[0, 1, 2, 3]), ["rail_0 to rail_1", "rail_2 to rail_3"]);
        frame.joints[0].stiffness[4] = Some(Complex64::new(1e5, 0.0));
        assert_eq!(names(&frame, &[0, 1, 2, 3]), ["rail_0 to rail_3"]);
        frame.points[3].position.z = 0.1;
        assert_eq!(names(&frame, &[0, 1, 2, 3]), ["rail_0 to rail_1", "rail_2", "rail_3"]);
        frame.points[3].position.z = 0.0;
        frame.members.push(member("twin", 1, 3));
        assert_eq!(names(&frame, &[0, 1, 6]), ["rail_0", "rail_1", "twin"]);
    }
}
