//! Members that beam theory describes badly: stubs, slabs, strips side by side.
//!
//! Members of one section that follow each other in line without a joint between them bend as one bar, and
//! are measured as one.

use super::doubt;
use crate::build::{Build, Profile};
use crate::model::Model;
use stillbed_frame::{Frame, Line, Member};
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, show};

/// A slab wider than this fraction of its length has modes across its width that no beam has.
const WIDE: f64 = 2.0 / 3.0;
/// A section is a slab when it is at least this many times as wide as it is thick.
const FLAT: f64 = 2.0;
/// Directions are parallel when their cosine differs from one by less than this.
const PARALLEL: f64 = 1e-6;
/// Bars lie against each other when their distance is at most this multiple of their width.
const AGAINST: f64 = 1.02;

/// Members that follow each other in line as one bar.
struct Bar {
    members: Vec<usize>,
    length: f64,
}

/// What is doubtful about the members of a build.
pub(super) fn doubts(build: &Build, model: &Model) -> Vec<Problem> {
    let frame = &model.frame;
    let lines: Option<Vec<Line>> = frame.members.iter().map(|member| Line::drawn(frame, member)).collect();
    let Some(lines) = lines else { return Vec::new() };
    let bars = bars(frame, &lines);
    let mut said = stubs_and_slabs(build, frame, &bars);
    said.extend(strips(build, frame, &lines, &bars));
    said
}

fn bars(frame: &Frame, lines: &[Line]) -> Vec<Bar> {
    let members = &frame.members;
    let mut bar: Vec<usize> = (0..members.len()).collect();
    for a in 0..members.len() {
        for b in 0..a {
            if follow(&members[a], &members[b]) && parallel(&lines[a], &lines[b]) {
                let (old, new) = (bar[a], bar[b]);
                bar.iter_mut().filter(|own| **own == old).for_each(|own| *own = new);
            }
        }
    }
    let of = |first: usize| {
        let own: Vec<usize> = (0..members.len()).filter(|i| bar[*i] == first).collect();
        let length = own.iter().map(|i| lines[*i].length).sum();
        Bar { members: own, length }
    };
    (0..members.len()).filter(|i| bar[*i] == *i).map(of).filter(|bar| !bar.members.is_empty()).collect()
}

/// True when two members of one section meet at a point without a joint.
fn follow(a: &Member, b: &Member) -> bool {
    let ends = |member: &Member| [(member.from, member.joint_from), (member.to, member.joint_to)];
    let meets = ends(a).iter().any(|(point, joint)| {
        joint.is_none() && ends(b).iter().any(|(other, joint)| point == other && joint.is_none())
    });
    meets && a.section == b.section && a.offset == b.offset
}

fn parallel(a: &Line, b: &Line) -> bool {
    a.axes.row(0).dot(&b.axes.row(0)).abs() > 1.0 - PARALLEL
}

fn stubs_and_slabs(build: &Build, frame: &Frame, bars: &[Bar]) -> Vec<Problem> {
    let mut said = Vec::new();
    for bar in bars {
        let Some((profile, member)) = stated(build, frame, bar.members[0]) else { continue };
        let [across, up] = profile.geometry.size();
        let (wide, thick) = (across.max(up), across.min(up));
        let told = |size: f64| show(size, Kind::Length);
        if bar.length < wide {
            let message = format!(
                "build \"{}\": {} long and {} deep; a beam shorter than deep is a guess",
                build.name,
                told(bar.length),
                told(wide)
            );
            let help = "take what rests on it as an estimate, or draw it as part of its neighbour";
            said.push(doubt(&member.place, message, help));
        } else if wide > WIDE * bar.length && wide >= FLAT * thick {
            let message = format!(
                "build \"{}\": a slab {} wide and {} long bends across its width too, in modes that a \
                 member does not have",
                build.name,
                told(wide),
                told(bar.length)
            );
            let help = "expect a mode that is missing among the first four";
            said.push(doubt(&member.place, message, help));
        }
    }
    said
}

/// Bars of one section that lie along each other, touching.
fn strips(build: &Build, frame: &Frame, lines: &[Line], bars: &[Bar]) -> Vec<Problem> {
    let mut said = Vec::new();
    for (i, bar) in bars.iter().enumerate() {
        let beside = bars[..i].iter().flat_map(|other| &other.members).find_map(|b| {
            let a = bar.members.iter().find(|a| against(build, frame, lines, **a, *b))?;
            Some((*a, *b))
        });
        let Some((a, b)) = beside else { continue };
        let Some((_, member)) = stated(build, frame, a) else { continue };
        let message = format!(
            "build \"{}\": it lies against \"{}\" side by side; as members they do not hold each other \
             along that side",
            build.name, frame.members[b].name
        );
        let help = "draw them as one wider member, where they are one body";
        said.push(doubt(&member.place, message, help));
    }
    said
}

/// True when members `a` and `b` run side by side for half of the shorter one and their sections touch.
fn against(build: &Build, frame: &Frame, lines: &[Line], a: usize, b: usize) -> bool {
    let (one, other) = (&lines[a], &lines[b]);
    if frame.members[a].section != frame.members[b].section || !parallel(one, other) {
        return false;
    }
    let Some((profile, _)) = stated(build, frame, a) else { return false };
    let along = |place: nalgebra::Vector3<f64>| (one.axes * (place - one.start)).x;
    let ends = [along(other.start), along(other.at(other.length))];
    let overlap = ends[0].max(ends[1]).min(one.length) - ends[0].min(ends[1]).max(0.0);
    let apart = one.axes * (other.start - one.start);
    let distance = apart.y.hypot(apart.z);
    let [across, up] = profile.geometry.size();
    let width = (across * apart.y.abs() + up * apart.z.abs()) / distance.max(f64::MIN_POSITIVE);
    overlap > 0.5 * one.length.min(other.length) && distance <= AGAINST * width
}

/// The section of a member and what the drawing says of it.
fn stated<'b>(
    build: &'b Build,
    frame: &Frame,
    member: usize,
) -> Option<(&'b Profile, &'b stillbed_frame::spec::MemberSpec)> {
    let member = frame.members.get(member)?;
    let spec = build.drawing.members.get(&member.name)?;
    let profile = build.profiles.iter().find(|profile| profile.name == spec.section.value)?;
    Some((profile, spec))
}

#[cfg(test)]
mod tests {
    use super::super::tests::said_of;

    #[test]
    fn a_bar_shorter_than_deep_is_doubted_and_its_pieces_in_line_are_not() {
        // Two members of 200 mm in line are a bar of 400 mm.
        assert!(said_of("60 x 40 x 3 mm", "250 x 250 x 3 mm").is_empty());
        let said = said_of("60 x 40 x 3 mm", "450 x 450 x 5 mm");
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("members.root: build \"steel\": 400 mm long and 450 mm deep"), "{said:?}");
    }

    #[test]
    fn a_wide_slab_is_doubted_and_a_narrow_one_is_not() {
        let solid = |size: &str| {
            said_of(
                "tube = \"60 x 40 x 3 mm\", of = \"structural steel\"",
                &format!("rectangle = \"{size}\", of = \"structural steel\""),
            )
        };
        let said = solid("280 x 80 mm");
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("a slab 280 mm wide and 400 mm long bends across its width"), "{said:?}");
        assert!(solid("260 x 80 mm").is_empty());
        assert!(solid("280 x 200 mm").is_empty(), "a block is no slab");
    }

    #[test]
    fn strips_side_by_side_are_doubted_and_spaced_ones_are_not() {
        let beside = |y: &str| {
            let points = format!("[points]\na = \"0, {y}, 0 mm\"\nb = \"400, {y}, 0 mm\"\n");
            let members = "[members.strip]\nfrom = \"a\"\nto = \"b\"\nsection = \"bar\"\n\
                           [members.tie]\nfrom = \"tip\"\nto = \"b\"\nsection = \"bar\"\n[members.root]\n";
            said_of(
                "[points]\nwall = \"0, 0, 0 mm\"\nmiddle = \"200, 0, 0 mm\"\ntip = \"400, 0, 0 mm\"\n[members.root]\n",
                &format!(
                    "{points}wall = \"0, 0, 0 mm\"\nmiddle = \"200, 0, 0 mm\"\ntip = \"400, 0, 0 mm\"\n{members}"
                ),
            )
        };
        assert!(beside("60").iter().any(|s| s.contains("lies against \"")), "{:?}", beside("60"));
        assert!(beside("90").iter().all(|s| !s.contains("lies against")), "{:?}", beside("90"));
    }
}
