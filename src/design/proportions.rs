//! What do the rules on beam theory need to know of each member? How thick it is, and what it ends in.

use super::build::{Build, Profile};
use super::model::Model;
use nalgebra::Vector3;
use stillbed_frame::{Line, Solid};
use stillbed_modes::{Corner, Proportions};

/// Two members continue each other in one line when the cosine between them exceeds this.
const STRAIGHT: f64 = 0.999;

/// A tube is filled when its section has material in this fraction of the area within its outline.
const FILLED: f64 = 0.9;

/// One member as its neighbours see it.
struct Seen {
    line: Line,
    /// Width and height, m.
    size: [f64; 2],
    /// Thickness (m) and Young's modulus (Pa) of the wall where it is hollow.
    wall: Option<(f64, f64)>,
}

impl Build {
    /// What the rules on beam theory need of each member of `model`, in the order of its frame.
    pub fn proportions(&self, model: &Model) -> Vec<Proportions> {
        let frame = &model.frame;
        let sight = |member: &stillbed_frame::Member| {
            let profile = &self.profiles[member.section];
            let size = Solid::of(&profile.geometry).size().map(|side| side * model.scale);
            let wall = bare_wall(profile).map(|(part, wall)| {
                let medium = &model.media[profile.geometry.parts()[part].medium];
                (wall * model.scale, medium.youngs_modulus.re)
            });
            Some(Seen { line: Line::of(frame, member)?, size, wall })
        };
        let Some(seen) = frame.members.iter().map(sight).collect::<Option<Vec<Seen>>>() else {
            return Vec::new();
        };
        let mut all: Vec<Proportions> = (0..seen.len()).map(|number| of(model, &seen, number)).collect();
        for (member, end, held) in self.held_sections(model) {
            all[member].held[end] = Some(held);
        }
        all
    }
}

/// The part of a section that is its bare outer wall, and the thickness of that wall, m.
fn bare_wall(profile: &Profile) -> Option<(usize, f64)> {
    let geometry = &profile.geometry;
    let bounds = Solid::of(geometry).bounds;
    let material: f64 = geometry.moments().iter().map(|moments| moments.area).sum();
    let outer = |(part, own): (usize, &stillbed_section::Part)| {
        let hollow = own.shape.hollow()?;
        let extent = geometry.extent(part)?;
        let around = (0..2).all(|i| {
            let size = bounds[1][i] - bounds[0][i];
            (extent[0][i] - bounds[0][i]).abs() < 0.01 * size
                && (extent[1][i] - bounds[1][i]).abs() < 0.01 * size
        });
        (around && !own.cavity && material < FILLED * hollow.area).then_some((part, hollow.wall))
    };
    geometry.parts().iter().enumerate().find_map(outer)
}

/// The direction of a member away from its end at `point`.
fn away(model: &Model, seen: &[Seen], number: usize, point: usize) -> Vector3<f64> {
    let x: Vector3<f64> = seen[number].line.axes.row(0).transpose();
    if model.frame.members[number].from == point { x } else { -x }
}

/// Members other than `number` that end at `point`.
fn others(model: &Model, number: usize, point: usize) -> impl Iterator<Item = usize> + '_ {
    let members = model.frame.members.iter().enumerate();
    let meet = move |(other, member): (usize, &stillbed_frame::Member)| {
        (other != number && (member.from == point || member.to == point)).then_some(other)
    };
    members.filter_map(meet)
}

/// The member that continues `number` beyond `point` in one line.
fn next(model: &Model, seen: &[Seen], number: usize, point: usize) -> Option<usize> {
    let own = away(model, seen, number, point);
    others(model, number, point).find(|other| own.dot(&away(model, seen, *other, point)) < -STRAIGHT)
}

fn of(model: &Model, seen: &[Seen], number: usize) -> Proportions {
    let frame = &model.frame;
    let member = &frame.members[number];
    let mut run = seen[number].line.length;
    let mut built_in = false;
    let held = |point: usize| frame.anchors.iter().any(|anchor| anchor.at.contains(&point));
    for end in 0..2 {
        let (mut last, mut point) = (number, member.point(end));
        let mut walked = vec![number];
        loop {
            let onward = next(model, seen, last, point).filter(|other| !walked.contains(other));
            let across = others(model, last, point).any(|other| Some(other) != onward);
            match onward.filter(|other| frame.members[*other].section == member.section) {
                Some(other) => {
                    run += seen[other].line.length;
                    walked.push(other);
                    let ends = &frame.members[other];
                    point = if ends.from == point { ends.to } else { ends.from };
                    last = other;
                }
                None => {
                    built_in |= held(point) || across || onward.is_some();
                    break;
                }
            }
        }
    }
    let mut own = Proportions {
        name: member.name.clone(),
        size: seen[number].size,
        run,
        built_in,
        ..Proportions::default()
    };
    for end in 0..2 {
        let point = member.point(end);
        if member.joint(end).is_some() {
            continue;
        }
        let runs_on = next(model, seen, number, point).is_some();
        let direction = away(model, seen, number, point);
        let across = |other: &usize| direction.dot(&away(model, seen, *other, point)).abs() < STRAIGHT;
        let depth = |other: &usize| {
            let (host, [width, height]) = (&seen[*other], seen[*other].size);
            let along = host.line.axes * direction;
            0.5 * (along.y.abs() * width + along.z.abs() * height)
        };
        let hosts: Vec<usize> = others(model, number, point).filter(across).collect();
        let free = |other: &&usize| {
            let other = &model.frame.members[**other];
            !runs_on || other.joint(usize::from(other.from != point)).is_none()
        };
        let solid = hosts.iter().filter(|other| seen[**other].wall.is_none()).filter(free).map(depth);
        own.within[end] = solid.fold(0.0, f64::max).min(seen[number].line.length);
        if runs_on {
            continue;
        }
        // Where the host's end has a joint, that gives for both.
        let jointed = |other: &usize| {
            let host = &model.frame.members[*other];
            (0..2).any(|end| host.point(end) == point && host.joint(end).is_some())
        };
        let hosts: Vec<usize> = hosts.into_iter().filter(|other| !jointed(other)).collect();
        own.corners[end] = corner(model, seen, number, &hosts).filter(|_| own.within[end] == 0.0);
    }
    own
}

/// The corner where `number` meets the wall of the widest hollow member of `hosts`.
fn corner(model: &Model, seen: &[Seen], number: usize, hosts: &[usize]) -> Option<Corner> {
    let widest = |m: usize| seen[m].size[0].max(seen[m].size[1]);
    let hollow = hosts.iter().copied().filter(|other| seen[*other].wall.is_some());
    let host = hollow.min_by(|a, b| widest(*b).total_cmp(&widest(*a)))?;
    // Of two equal members that end in each other, the wall is counted with the first.
    let narrower = widest(number) < (1.0 - 1e-9) * widest(host);
    let through = |m: usize| {
        let ends = &model.frame.members[m];
        [ends.from, ends.to].into_iter().any(|point| {
            others(model, m, point).any(|other| other == number) && next(model, seen, m, point).is_some()
        })
    };
    (narrower || number < host || through(host)).then_some(())?;
    let section = &model.frame.sections[model.frame.members[number].section];
    let bending = section.stiffness[(4, 4)].re.max(section.stiffness[(5, 5)].re);
    let names = [number, host].map(|m| model.frame.members[m].name.as_str());
    let length = seen[number].line.length;
    let wall = seen[host].wall?;
    Some(Corner::new(names[0], names[1], widest(number), widest(host), wall, 4.0 * bending / length))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refining::on_first_grids;
    use approx::assert_relative_eq;
    use stillbed_input::quantity::Draw;

    fn proportions(fill: &str) -> Vec<Proportions> {
        let text = format!(
            r#"
overlaps = "keep"
[points]
a = "0, 0, 0 mm"
b = "400, 0, 0 mm"
c = "800, 0, 0 mm"
top = "400, 0, 500 mm"
[members]
left = {{ from = "a", to = "b", section = "chord" }}
right = {{ from = "b", to = "c", section = "chord" }}
post = {{ from = "b", to = "top", section = "post" }}
[feet.floor]
at = ["a", "c"]
stiffness = "20, 20, 80 N/um"
[materials.fill]
youngs_modulus = "30 GPa"
poissons_ratio = 0.25
density = "2300 kg/m3"
loss_factor = 0.01
[builds.one]
sections.chord.parts = [{fill}{{ tube = "60 x 60 x 4 mm", of = "structural steel" }}]
sections.post.parts = [{{ tube = "40 x 40 x 4 mm", of = "structural steel" }}]
"#
        );
        let reading = on_first_grids("t.toml", &text);
        let design = reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems));
        let model = design.builds[0].model(&design.goal, &Draw::default()).unwrap();
        design.builds[0].proportions(&model)
    }

    #[test]
    fn a_post_on_a_bare_chord_meets_its_wall() {
        let found = proportions("");
        assert_relative_eq!(found[0].run, 0.8, max_relative = 1e-12);
        assert_eq!(found.iter().map(|own| own.built_in).collect::<Vec<_>>(), [false, false, true]);
        let corner = found[2].corners[0].as_ref().unwrap();
        assert_eq!((corner.member.as_str(), corner.on.as_str()), ("post", "left"));
        assert!((110e3..140e3).contains(&corner.turning_n_m_per_rad), "{corner:?}");
        assert!((2.3..3.1).contains(&corner.factor), "{corner:?}");
        assert_eq!(found[2].within, [0.0, 0.0]);
        assert!(found[0].corners.iter().chain(&found[1].corners).all(Option::is_none));
    }

    #[test]
    fn a_post_on_a_filled_chord_ends_inside_it() {
        let found = proportions("{ rectangle = \"52 x 52 mm\", of = \"fill\" }, ");
        assert!(found[2].corners.iter().all(Option::is_none));
        assert_relative_eq!(found[2].within[0], 0.03, max_relative = 1e-9);
        assert_eq!(found[2].within[1], 0.0);
    }

    /// A post on a beam, both solid and of one stone, as members and as one body.
    fn bodies_lie_within_the_bound(post: &str, beam: &str, length: f64) {
        let text = format!(
            r#"
            points = {{ a = "-{length}, 0, 0 mm", b = "0, 0, 0 mm", c = "{length}, 0, 0 mm", top = "0, 0, 460 mm" }}
            members.left = {{ from = "a", to = "b", section = "beam" }}
            members.right = {{ from = "b", to = "c", section = "beam" }}
            members.post = {{ from = "b", to = "top", section = "post" }}
            masses.head = {{ at = "top", mass = "20 kg" }}
            anchors.wall = {{ at = ["a", "c"], hold = "all" }}
            tool = {{ tip = "top", work = "ground" }}
            materials.stone = {{ youngs_modulus = "30 GPa", poissons_ratio = 0.25, density = "2300 kg/m3", loss_factor = 0.02 }}
            sections.beam.parts = [{{ rectangle = "{beam} mm", of = "stone" }}]
            sections.post.parts = [{{ rectangle = "{post} mm", of = "stone" }}]
            builds.members = {{}}
            builds.body.as_bodies = true
            "#
        );
        let reading = on_first_grids("t.toml", &text);
        let design = reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems));
        let solved = [0, 1].map(|i| {
            let build = &design.builds[i];
            let model = build.model(&design.goal, &Draw::default()).unwrap();
            let asked = stillbed_modes::Asked { count: 2, ..Default::default() };
            let spectrum = build.spectrum(&model, &asked).unwrap();
            (model, spectrum)
        });
        let [(model, members), (_, body)] = &solved;
        let proportions = design.builds[0].proportions(model);
        let errors = members.theory_errors(&model.frame, &proportions).unwrap();
        for (k, error) in errors.iter().enumerate().take(2) {
            let [lines, solid] = [members, body].map(|spectrum| spectrum.elastic[k].frequency());
            let off = (solid / lines - 1.0).abs();
            assert!(off < error.error && error.error < 3.0 * off, "{post} {beam} {k}: {off} {}", error.error);
        }
    }

    #[test]
    fn bodies_of_solid_posts_on_beams_lie_within_the_bound() {
        bodies_lie_within_the_bound("120 x 120", "120 x 120", 300.0);
        bodies_lie_within_the_bound("100 x 100", "200 x 120", 300.0);
        bodies_lie_within_the_bound("60 x 60", "100 x 100", 400.0);
    }
}
