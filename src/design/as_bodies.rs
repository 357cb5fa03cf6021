//! The members of a build as one body: every section drawn along its member, what overlaps united.
//!
//! Of two members that meet, the larger is whole and cuts the other at its surface; one that runs on through a point
//! comes before one that ends there. A member that ends at a point and is the largest there reaches to the far side of
//! the others. Where it is a tube, its end is made as the corners of the design are: open, closed by a plate, or
//! mitred, which is closed with the wall between the two taken out.
//!
//! ```text
//! parts, from the smallest member to the largest:
//!   nothing over the box around the member, then its own parts, then plates and windows of its ends
//! ```
//!
//! A point that carries something, a rigid arm included, holds the cross-section of the largest member there, which moves as one piece; the
//! others are not points of the body. Parts of a section are bonded, and joints of members are whole.

use super::drawing::Drawing;
use super::goal::Goal;
use super::named::Named;
use super::tube::tube_sizes;
use super::walls::AS_WIDE;
use nalgebra::{Matrix3, Vector3};
use stillbed_frame::spec::{MemberSpec, PointSpec};
use stillbed_frame::{Line, Member, Point};
use stillbed_input::document::Located;
use stillbed_input::problem::Problem;
use stillbed_section::Shape;
use stillbed_section::spec::{PartSpec, SectionSpec};
use stillbed_solid::spec::{BodyPartSpec, BodySpec, PartForm, PatchSpec, outline};
use stillbed_solid::{CornerEnd, PatchSize, Ring};

/// Two directions are one when the cosine between them exceeds this.
const STRAIGHT: f64 = 0.999;
/// Where bars meet, the stress falls off within this part of the size of the larger.
const FADES: f64 = 0.35;
/// The name of the body that members become.
const NAME: &str = "members";

/// A member with its place in space.
struct Bar<'d> {
    spec: &'d MemberSpec,
    section: &'d SectionSpec,
    start: Vector3<f64>,
    length: f64,
    /// Its own axes, one per column.
    axes: Matrix3<f64>,
    /// Least and greatest y and z of its section, m.
    hull: [[f64; 2]; 2],
}

/// A tube of a section: sizes along its y and z, wall, and what its material and that of its fill are called.
struct Tube<'d> {
    size: [f64; 2],
    wall: f64,
    part: &'d PartSpec,
    fill: Option<&'d Located<String>>,
}

impl Bar<'_> {
    fn point(&self, end: usize) -> &str {
        if end == 0 { &self.spec.from.value } else { &self.spec.to.value }
    }

    /// Its end at `point`.
    fn end_at(&self, point: &str) -> Option<usize> {
        (0..2).find(|end| self.point(*end) == point)
    }

    fn along(&self) -> Vector3<f64> {
        self.axes.column(0).into_owned()
    }

    /// From its end into it.
    fn away(&self, end: usize) -> Vector3<f64> {
        if end == 0 { self.along() } else { -self.along() }
    }

    fn area(&self) -> f64 {
        self.hull.iter().map(|[from, to]| to - from).product()
    }

    /// How far it reaches from its line along `direction`, m.
    fn reach(&self, direction: &Vector3<f64>) -> f64 {
        let own = self.axes.tr_mul(direction);
        (0..2).map(|k| self.hull[k].map(|x| x * own[1 + k]).into_iter().fold(0.0, f64::max)).sum()
    }

    /// The rectangular tube that it is, square to its axes and about its line.
    fn tube(&self) -> Option<Tube<'_>> {
        let parts = &self.section.parts;
        parts.iter().find_map(|part| {
            let (size, wall) = tube_sizes(&part.shape, part.at, part.turn)?;
            let around = (0..2).all(|k| (self.hull[k][1] - self.hull[k][0] - size[k]).abs() < 1e-6 * size[k]);
            let fill = parts.iter().find(|other| {
                !std::ptr::eq(*other, part)
                    && outline(&other.shape).iter().any(|ring| area(ring) > 0.5 * size[0] * size[1])
            });
            around.then(|| Tube { size, wall, part, fill: fill.map(|fill| &fill.of) })
        })
    }

    /// Whether it is a solid rectangle or circle.
    fn is_bar(&self) -> bool {
        let whole = |part: &PartSpec| matches!(part.shape, Shape::Rectangle { .. } | Shape::Round { .. });
        matches!(&self.section.parts[..], [only] if whole(only))
    }

    /// A part of it from `from` to `to` along it, m.
    fn part(&self, rings: Vec<Ring>, [from, to]: [f64; 2], of: Option<Located<String>>) -> BodyPartSpec {
        BodyPartSpec {
            rings,
            length: to - from,
            middle: (self.start + self.along() * (0.5 * (from + to))).into(),
            axes: self.axes,
            of,
            place: self.spec.place.clone(),
            stl: None,
            form: PartForm::Drawn,
        }
    }
}

/// Area that a curve encloses, m².
fn area(ring: &Ring) -> f64 {
    match ring {
        Ring::Circle { radius, .. } => std::f64::consts::PI * radius * radius,
        Ring::Polygon(points) => {
            let next = points.iter().cycle().skip(1);
            0.5 * points.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>().abs()
        }
    }
}

/// The curves of a part in the axes of its section.
fn placed(part: &PartSpec) -> Vec<Ring> {
    let (sin, cos) = part.turn.sin_cos();
    let put = |[y, z]: [f64; 2]| [part.at[0] + y * cos - z * sin, part.at[1] + y * sin + z * cos];
    let ring = |ring: Ring| match ring {
        Ring::Polygon(points) => Ring::Polygon(points.into_iter().map(put).collect()),
        Ring::Circle { centre, radius } => Ring::Circle { centre: put(centre), radius },
    };
    outline(&part.shape).into_iter().map(ring).collect()
}

/// The box around the parts of a section: least and greatest y, and z.
fn hull(section: &SectionSpec) -> [[f64; 2]; 2] {
    let mut hull = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
    let mut meet = |point: [f64; 2], reach: f64| {
        for k in 0..2 {
            hull[k] = [hull[k][0].min(point[k] - reach), hull[k][1].max(point[k] + reach)];
        }
    };
    for ring in section.parts.iter().flat_map(placed) {
        match ring {
            Ring::Polygon(points) => points.into_iter().for_each(|point| meet(point, 0.0)),
            Ring::Circle { centre, radius } => meet(centre, radius),
        }
    }
    hull
}

fn bar<'d>(drawing: &'d Drawing, spec: &'d MemberSpec) -> Option<Bar<'d>> {
    let point =
        |name: &Located<String>| Some(Point::new(&name.value, drawing.points.get(&name.value)?.position));
    let frame =
        stillbed_frame::Frame { points: vec![point(&spec.from)?, point(&spec.to)?], ..Default::default() };
    let member = Member {
        up: spec.up.as_ref().map(|up| up.value.into()),
        offset: spec.offset.into(),
        ..Member::new("", 0, 1, 0)
    };
    let line = Line::of(&frame, &member)?;
    let section = drawing.sections.get(&spec.section.value)?;
    let (start, length, axes) = (line.start, line.length, line.axes.transpose());
    Some(Bar { spec, section, start, length, axes, hull: hull(section) })
}

/// The bars of a drawing, the smallest first, and how they meet.
struct Bars<'d>(Vec<Bar<'d>>);

impl<'d> Bars<'d> {
    fn of(drawing: &'d Drawing) -> Bars<'d> {
        let mut bars: Vec<Bar> = drawing.members.iter().filter_map(|(_, spec)| bar(drawing, spec)).collect();
        let all = Bars(bars);
        let through: Vec<bool> =
            (0..all.0.len()).map(|i| (0..2).any(|end| all.next(i, end).is_some())).collect();
        let mut order: Vec<usize> = (0..through.len()).collect();
        let larger = |a: f64, b: f64| if (a - b).abs() <= 1e-9 * a { 0.0 } else { a - b };
        order.sort_by(|a, b| {
            let (one, other) = (&all.0[*a], &all.0[*b]);
            through[*a]
                .cmp(&through[*b])
                .then(larger(one.area(), other.area()).total_cmp(&0.0))
                .then(larger(one.length, other.length).total_cmp(&0.0))
                .then(b.cmp(a))
        });
        bars = all.0;
        let mut taken: Vec<Option<Bar>> = bars.into_iter().map(Some).collect();
        Bars(order.into_iter().filter_map(|i| taken[i].take()).collect())
    }

    /// The bar that goes on in the line of bar `i` beyond its `end`, with the same section.
    fn next(&self, i: usize, end: usize) -> Option<usize> {
        let own = &self.0[i];
        let goes_on = |other: &Bar| {
            let beyond = other.end_at(own.point(end)).map(|end| other.away(end));
            other.spec.section.value == own.spec.section.value
                && beyond.is_some_and(|beyond| beyond.dot(&own.away(end)) < -STRAIGHT)
        };
        (0..self.0.len()).find(|j| *j != i && goes_on(&self.0[*j]))
    }

    /// The bars across bar `i` at its `end`.
    fn across(&self, i: usize, end: usize) -> impl Iterator<Item = usize> {
        let own = &self.0[i];
        (0..self.0.len()).filter(move |j| {
            let meets = self.0[*j].end_at(own.point(end)).is_some();
            *j != i && meets && self.0[*j].along().dot(&own.along()).abs() < STRAIGHT
        })
    }

    /// The parts of bar `i`.
    fn parts(&self, i: usize, corners: Option<CornerEnd>) -> Vec<BodyPartSpec> {
        let own = &self.0[i];
        let mut range = [0.0, own.length];
        let mut ends = Vec::new();
        for end in 0..2 {
            // Where it goes on, nothing ends.
            if self.next(i, end).is_some() {
                continue;
            }
            let outward = -own.away(end);
            // A larger one cuts it off: what of it is wider stands on no side of that.
            let larger: Vec<usize> = self.across(i, end).filter(|j| *j > i).collect();
            if !larger.is_empty() {
                let squarely = |j: &usize| self.0[*j].along().dot(&outward).abs() < 1.0 - STRAIGHT;
                if larger.iter().all(squarely) {
                    let faces = larger.iter().map(|j| self.0[*j].reach(&-outward));
                    let face = faces.fold(f64::INFINITY, f64::min).clamp(0.0, 0.5 * own.length);
                    range[end] += if end == 0 { face } else { -face };
                }
                continue;
            }
            let reach = |j: usize| self.0[j].reach(&outward);
            let farthest = self.across(i, end).max_by(|a, b| reach(*a).total_cmp(&reach(*b)));
            let Some(other) = farthest else { continue };
            range[end] += if end == 0 { -reach(other) } else { reach(other) };
            ends.push((end, other));
        }
        let [y, z] = own.hull;
        let whole = Ring::Polygon(vec![[y[0], z[0]], [y[1], z[0]], [y[1], z[1]], [y[0], z[1]]]);
        let mut parts = vec![own.part(vec![whole], range, None)];
        parts.extend(
            own.section.parts.iter().map(|part| own.part(placed(part), range, Some(part.of.clone()))),
        );
        for (end, other) in ends {
            parts.extend(self.corner(i, end, other, range[end], corners));
        }
        parts
    }

    /// The plate that closes bar `i` at its `end`, which lies at `place` along it, and the window to bar `j`.
    fn corner(
        &self,
        i: usize,
        end: usize,
        j: usize,
        place: f64,
        stated: Option<CornerEnd>,
    ) -> Vec<BodyPartSpec> {
        let (own, other) = (&self.0[i], &self.0[j]);
        let (Some(tube), brace) = (own.tube(), other.tube()) else { return Vec::new() };
        if brace.is_none() && !other.is_bar() {
            return Vec::new();
        }
        if stated == Some(CornerEnd::Open) || tube.fill.is_some() {
            return Vec::new();
        }
        let inside = |tube: &Tube| tube.size.map(|size| size - 2.0 * tube.wall);
        let rectangle = |[y, z]: [f64; 2]| vec![Ring::rectangle(y, z)];
        // Under a bar the plate is as thick as the wall of the tube.
        let thick = brace.as_ref().map_or(tube.wall, |brace| brace.wall);
        let inward = if end == 0 { thick } else { -thick };
        let mut plate = [place, place + inward];
        plate.sort_by(f64::total_cmp);
        let mut parts = vec![own.part(rectangle(inside(&tube)), plate, Some(tube.part.of.clone()))];
        // Across both: the width of each along the normal of their plane.
        let normal = own.along().cross(&other.along()).normalize();
        let width = |bar: &Bar| bar.reach(&normal) + bar.reach(&-normal);
        let as_wide = (width(own) - width(other)).abs() < AS_WIDE * width(own);
        if let Some(brace) = brace.filter(|_| as_wide && stated != Some(CornerEnd::Capped)) {
            let Some(at) = other.end_at(own.point(end)) else { return parts };
            let depth = own.reach(&other.away(at));
            let from = |along: f64| if at == 0 { along } else { other.length - along };
            let mut window = [from(depth - tube.wall), from(depth)];
            window.sort_by(f64::total_cmp);
            parts.push(other.part(rectangle(inside(&brace)), window, brace.fill.cloned()));
        }
        parts
    }

    /// Boxes of nothing under all parts, whose faces are lines of the grid: around where bars meet, where the stress
    /// falls off within a part of their size.
    fn meetings(&self) -> Vec<BodyPartSpec> {
        let mut boxes = Vec::new();
        for (i, own) in self.0.iter().enumerate() {
            let crossed = (0..2).flat_map(|end| self.across(i, end).map(move |j| (end, j)));
            for (end, j) in crossed.filter(|(_, j)| *j < i) {
                let other = &self.0[j];
                let size = (0..2).map(|k| own.hull[k][1] - own.hull[k][0]).fold(0.0, f64::max);
                let beyond = FADES * size;
                let along = other.reach(&own.along()).max(other.reach(&-own.along())) + beyond;
                let at = if end == 0 { 0.0 } else { own.length };
                let [y, z] = own.hull;
                let [y, z] = [[y[0] - beyond, y[1] + beyond], [z[0] - beyond, z[1] + beyond]];
                let around = Ring::Polygon(vec![[y[0], z[0]], [y[1], z[0]], [y[1], z[1]], [y[0], z[1]]]);
                boxes.push(own.part(vec![around], [at - along, at + along], None));
            }
        }
        boxes
    }

    /// The area that holds `point`: the cross-section of the largest bar there, or what is `stated`, a plate beneath it.
    fn patch(&self, point: &str, stated: Option<&PatchSpec>) -> Option<PatchSpec> {
        let own = self.0.iter().rev().find(|bar| bar.end_at(point).is_some())?;
        let axis = |k: usize| Vector3::from(own.axes.column(k)).into();
        let section = Some([axis(0), axis(1)]);
        if let Some(plate) = stated {
            // Its sides are stated along x, y and z, in this order.
            let across = own.axes.column(1);
            let along = own.along().iamax();
            let first = (0..3).find(|k| *k != along).unwrap_or(0);
            let is_turned = across[first].abs() < across[3 - along - first].abs();
            let size = match plate.size {
                PatchSize::Rectangle(a, b) if is_turned => PatchSize::Rectangle(b, a),
                size => size,
            };
            return Some(PatchSpec { size, section, place: plate.place.clone() });
        }
        // About the point, which lies beside the section where the bar has an offset.
        let offset = own.axes.tr_mul(&Vector3::from(own.spec.offset));
        let side = |k: usize| {
            let ([from, to], offset) = (own.hull[k], offset[1 + k]);
            2.0 * (to + offset).max(-from - offset)
        };
        let size = PatchSize::Rectangle(side(0), side(1));
        Some(PatchSpec { size, section, place: own.spec.place.clone() })
    }
}

/// The points that carry something or that `goal` looks at.
fn points_needed<'d>(drawing: &'d Drawing, goal: &'d Goal) -> Vec<&'d str> {
    let mut needed: Vec<&Located<String>> = drawing.masses.iter().map(|(_, mass)| &mass.at).collect();
    needed.extend(drawing.feet.iter().flat_map(|(_, foot)| &foot.at));
    needed.extend(drawing.anchors.iter().flat_map(|(_, anchor)| &anchor.at));
    needed.extend(drawing.arms.iter().flat_map(|(_, arm)| [&arm.from, &arm.to]));
    needed.extend(goal.tool.iter().flat_map(|tool| [&tool.tip, &tool.work]));
    needed.extend(goal.tap.iter().map(|tap| &tap.at));
    needed.extend(goal.speeds.iter().filter_map(|(_, speeds)| speeds.at.as_ref()));
    needed.iter().map(|name| name.value.as_str()).collect()
}

/// What to doubt where members have joints, which the body does not.
fn without_joints(drawing: &Drawing) -> Option<Problem> {
    let all = drawing.members.iter().flat_map(|(_, member)| [&member.joint_from, &member.joint_to]);
    let ends: Vec<&Located<String>> =
        all.flatten().filter(|joint| drawing.joints.get(&joint.value).is_some()).collect();
    let first = ends.first()?;
    let message = format!(
        "members as one body have no joints: {} of their ends are whole, the first with \"{}\"",
        ends.len(),
        first.value
    );
    let help =
        "the body is as stiff as if it were welded there; without these joints beams can be held against it";
    Some(Problem::warning(first.place.clone(), message).with_help(help))
}

impl Bars<'_> {
    /// What to doubt where a hollow bar leans against the others: its walls cut through the cells of the grid.
    fn oblique(&self) -> Option<Problem> {
        let axes = self.0.last()?.axes;
        let leans = |bar: &&Bar| bar.tube().is_some() && axes.tr_mul(&bar.along()).amax() < STRAIGHT;
        let first = self.0.iter().find(leans)?;
        let message = format!(
            "{} of the tubes lean against the others: as a body their walls cut through cells, and come out too stiff",
            self.0.iter().filter(leans).count()
        );
        let help = "take these answers as an upper limit, and those of beams beside them";
        Some(Problem::warning(first.spec.place.clone(), message).with_help(help))
    }
}

/// `drawing` with its members as one body, for what `goal` looks at, and what is doubtful about that.
pub(super) fn united(drawing: Drawing, goal: &Goal) -> (Drawing, Vec<Problem>) {
    let mut doubt: Vec<Problem> = without_joints(&drawing).into_iter().collect();
    let bars = Bars::of(&drawing);
    let Some(first) = bars.0.first() else { return (drawing, doubt) };
    doubt.extend(bars.oblique());
    let mut parts = bars.meetings();
    parts.extend((0..bars.0.len()).flat_map(|i| bars.parts(i, drawing.corners)));
    let body = BodySpec { parts, place: first.spec.place.clone() };
    let needed = points_needed(&drawing, goal);
    // Where a single member ends it may stand on a body.
    let ends_alone = |point: &str| {
        !drawing.bodies.is_empty() && bars.0.iter().filter(|bar| bar.end_at(point).is_some()).count() == 1
    };
    let mut points: Named<PointSpec> = Named::default();
    let mut patches: Named<PatchSpec> = Named::default();
    for (name, point) in drawing.points.iter() {
        let stated = drawing.patches.get(name);
        if needed.contains(&name) || stated.is_some() || ends_alone(name) {
            points.insert(name, point.clone());
        }
        let plate = stated.filter(|_| ends_alone(name));
        if let Some(patch) = bars.patch(name, plate).or_else(|| stated.cloned()) {
            patches.insert(name, patch);
        }
    }
    let mut bodies = drawing.bodies.clone();
    bodies.insert(NAME, body);
    (Drawing { points, patches, bodies, members: Named::default(), ..drawing }, doubt)
}

#[cfg(test)]
mod tests {
    use crate::refining::on_first_grids;
    use crate::{Build, Design};
    use approx::assert_relative_eq;
    use stillbed_input::problem::Problem;
    use stillbed_input::quantity::Draw;
    use stillbed_modes::Asked;

    /// A post on a rail that is held at both ends, and a bracket at the end of an arm, of sections as given; `more`
    /// is common to both.
    fn design(shape: &str, points: [&str; 4], more: &str) -> Design {
        let [left, middle, right, top] = points;
        let text = format!(
            r#"{more}
            as_bodies = true
            points = {{ left = "{left}", middle = "{middle}", right = "{right}", top = "{top}" }}
            members.a = {{ from = "left", to = "middle", section = "s" }}
            members.b = {{ from = "middle", to = "right", section = "s" }}
            members.c = {{ from = "middle", to = "top", section = "s" }}
            masses.head = {{ at = "top", mass = "2 kg" }}
            anchors.wall = {{ at = ["left", "right"], hold = "all" }}
            [builds.beams]
            as_bodies = false
            sections.s.parts = [{{ {shape}, of = "structural steel" }}]
            [builds.body]
            sections.s.parts = [{{ {shape}, of = "structural steel" }}]
            "#
        );
        let reading = on_first_grids("t.toml", &text);
        reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems))
    }

    fn frequencies(build: &Build, design: &Design) -> Vec<f64> {
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let asked = Asked { count: 3, ..Asked::default() };
        let spectrum = build.spectrum(&model, &asked).unwrap();
        spectrum.elastic.iter().take(3).map(|mode| mode.frequency()).collect()
    }

    const ALONG_X: [&str; 4] = ["-400, 0, 0 mm", "0, 0, 0 mm", "400, 0, 0 mm", "0, 0, 500 mm"];

    #[test]
    fn slender_bars_as_a_body_agree_with_beams_in_any_direction() {
        let design_x = design(r#"rectangle = "30 x 30 mm""#, ALONG_X, "");
        let [beams, body] = [0, 1].map(|i| frequencies(&design_x.builds[i], &design_x));
        // The post ends at the surface of the rail, not at its axis: 3 % shorter.
        for (beams, body) in beams.iter().zip(&body) {
            assert!((0.995..1.06).contains(&(body / beams)), "{body} {beams}");
        }
        let turned = ["0, -400, 0 mm", "0, 0, 0 mm", "0, 400, 0 mm", "500, 0, 0 mm"];
        let turned = design(r#"rectangle = "30 x 30 mm""#, turned, "");
        for (own, other) in body.iter().zip(frequencies(&turned.builds[1], &turned)) {
            assert_relative_eq!(*own, other, max_relative = 1e-6);
        }
    }

    #[test]
    fn a_post_that_leans_in_two_directions_agrees_with_beams() {
        for top in ["120, 160, 440 mm", "-210, 90, 400 mm", "80, -330, 350 mm"] {
            let points = [ALONG_X[0], ALONG_X[1], ALONG_X[2], top];
            let design = design(r#"rectangle = "30 x 30 mm""#, points, "");
            let [beams, body] = [0, 1].map(|i| frequencies(&design.builds[i], &design));
            for (beams, body) in beams.iter().zip(&body) {
                // It is free from the face of the rail on, at the most a square root of two of 15 mm from the axis.
                assert!((0.995..1.09).contains(&(body / beams)), "{top}: {body} {beams}");
            }
        }
    }

    #[test]
    fn a_tube_ends_at_the_surface_of_the_larger_and_a_corner_is_closed() {
        let mass = |points: [&str; 4], more: &str| {
            let design = design(r#"tube = "60 x 60 x 3 mm""#, points, more);
            design.builds[1].model(&design.goal, &Draw::default()).unwrap().mass() - 2.0
        };
        let (area, wall) = (0.06_f64.powi(2) - 0.054_f64.powi(2), 0.003);
        // The rail of 800 mm is whole, the post begins 30 mm above its axis.
        assert_relative_eq!(mass(ALONG_X, ""), 7850.0 * area * (0.8 + 0.47), max_relative = 1e-6);
        // All three in one corner: the longest reaches to the far side of the others, which begin on its faces.
        let corner = ["-400, 0, 0 mm", "0, 0, 0 mm", "0, 450, 0 mm", "0, 0, 500 mm"];
        let open = mass(corner, "corners = \"open\"");
        assert_relative_eq!(open, 7850.0 * area * (0.37 + 0.42 + 0.53), max_relative = 1e-6);
        let plate = 0.054_f64.powi(2) * wall;
        assert_relative_eq!(mass(corner, "corners = \"capped\"") - open, 7850.0 * plate, max_relative = 1e-6);
        // Mitred, a window as large as the inside of a tube is cut to the nearest of them.
        assert_relative_eq!(mass(corner, "corners = \"mitred\"") - open, 0.0, epsilon = 1e-9);
    }

    #[test]
    fn tubes_that_lean_are_told() {
        // A brace from the rail to the post; nothing stands at its own end alone.
        let said = |shape: &str| {
            let text = format!(
                r#"
                as_bodies = true
                points = {{ a = "0, 0, 0 mm", b = "300, 0, 0 mm", c = "0, 0, 300 mm", top = "0, 0, 500 mm" }}
                members.rail = {{ from = "a", to = "b", section = "s" }}
                members.post = {{ from = "a", to = "c", section = "s" }}
                members.head = {{ from = "c", to = "top", section = "s" }}
                members.brace = {{ from = "b", to = "c", section = "s" }}
                masses.head = {{ at = "top", mass = "2 kg" }}
                anchors.wall = {{ at = "b", hold = "all" }}
                builds.one.sections.s.parts = [{{ {shape}, of = "structural steel" }}]
                "#
            );
            let reading = on_first_grids("t.toml", &text);
            let leans =
                |problem: &Problem| problem.message.contains("1 of the tubes lean against the others");
            reading.problems.iter().any(leans)
        };
        assert!(said(r#"tube = "40 x 40 x 3 mm""#) && !said(r#"rectangle = "30 x 30 mm""#));
    }

    #[test]
    fn joints_of_members_are_left_out_and_told() {
        let text = r#"
            as_bodies = true
            points = { a = "0, 0, 0 mm", b = "300, 0, 0 mm" }
            members.bar = { from = "a", to = "b", section = "s", joint_from = "seat" }
            anchors.wall = { at = "a", hold = "all" }
            tool = { tip = "b", work = "ground" }
            [builds.one]
            sections.s.parts = [{ rectangle = "30 x 30 mm", of = "structural steel" }]
            joints.seat = { stiffness = { turn_y = "40 kN m/rad" }, loss = 0.03 }
        "#;
        let reading = on_first_grids("t.toml", text);
        let said: Vec<&str> = reading.problems.iter().map(|problem| problem.message.as_str()).collect();
        let expected =
            "members as one body have no joints: 1 of their ends are whole, the first with \"seat\"";
        assert_eq!(said, [expected]);
        assert_eq!(reading.design.unwrap().builds[0].bodies.len(), 1);
    }
}
