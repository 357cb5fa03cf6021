//! A column on a slab, drawn in three ways.

use crate::refining::on_first_grids;
use nalgebra::{Rotation3, Vector3};
use stillbed_input::quantity::Draw;
use stillbed_modes::Asked;

/// A column of `sides` on the top of a slab of 400 x 250 x 80 mm, its foot at `foot`; mm. All is turned by `turn`
/// degrees about the vertical.
struct Column {
    foot: [f64; 2],
    sides: [f64; 2],
    turn: f64,
    /// Sizes of a plate beneath it, stated at its foot.
    plate: Option<[f64; 2]>,
}

/// How it is drawn.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    /// A member on a body.
    Member,
    /// That member as a body.
    AsBody,
    /// A part of the slab.
    Part,
}

impl Column {
    const HIGH: f64 = 260.0;

    fn place(&self, x: f64, y: f64, z: f64) -> String {
        let turned = Rotation3::from_axis_angle(&Vector3::z_axis(), self.turn.to_radians());
        let [x, y, z]: [f64; 3] = (turned * Vector3::new(x, y, z)).into();
        format!("\"{x:.9}, {y:.9}, {z} mm\"")
    }

    /// The first elastic frequencies that are not motions on the feet, Hz, and the least stiffness of the tip against
    /// the work, N/m.
    fn answers(&self, way: Way) -> Vec<f64> {
        let ([x, y], [a, b], turn) = (self.foot, self.sides, self.turn);
        let place = |x: f64, y: f64, z: f64| self.place(x, y, z);
        let drawn = match way {
            Way::Part => String::new(),
            _ => format!(
                "points.foot = {}\nmembers.column = {{ from = \"foot\", to = \"head\", section = \"column\", up = {} }}\n\
                 [sections.column]\nparts = [{{ rectangle = \"{b} x {a} mm\", of = \"structural steel\" }}]\n",
                place(x, y, 40.0),
                place(1.0, 0.0, 0.0).replace(" mm", ""),
            ),
        };
        let part = match way {
            Way::Part => format!(
                "{{ box = \"{a} x {b} x {} mm\", at = {}, turn = \"0, 0, {turn} deg\", of = \"structural steel\" }}",
                Self::HIGH,
                place(x, y, 40.0 + 0.5 * Self::HIGH)
            ),
            _ => String::new(),
        };
        let head = match way {
            Way::Part => format!("patches.head = \"{a} x {b} mm\"\n"),
            _ => String::new(),
        };
        let plate = match (way, self.plate) {
            (Way::Part, _) | (_, None) => String::new(),
            (_, Some([a, b])) => format!("patches.foot = \"{a} x {b} mm\"\n"),
        };
        let text = format!(
            "as_bodies = {as_bodies}\npoints.head = {head_at}\npoints.work = {work}\n\
             points.a = {fa}\npoints.b = {fb}\npoints.c = {fc}\n\
             patches.work = \"50 x 50 mm\"\n{head}{plate}{feet}{drawn}\
             [feet.pads]\nat = [\"a\", \"b\", \"c\"]\nstiffness = \"20, 20, 20 N/um\"\nloss = 0.1\n\
             [tool]\ntip = \"head\"\nwork = \"work\"\n\
             [builds.stone]\nbodies.slab.parts = [\n\
             {{ box = \"400 x 250 x 80 mm\", turn = \"0, 0, {turn} deg\", of = \"granite\" }},\n{part}]\n",
            as_bodies = way == Way::AsBody,
            head_at = place(x, y, 40.0 + Self::HIGH),
            work = place(-150.0, 0.0, 40.0),
            fa = place(-150.0, -80.0, -40.0),
            fb = place(150.0, -80.0, -40.0),
            fc = place(0.0, 80.0, -40.0),
            feet = ["a", "b", "c"].map(|foot| format!("patches.{foot} = \"round 30 mm\"\n")).concat(),
        );
        let reading = on_first_grids("t.toml", &text);
        let design = reading.design.unwrap_or_else(|| panic!("{:?}\n{text}", reading.problems));
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let spectrum = build.spectrum(&model, &Asked { count: 9, ..Asked::default() }).unwrap();
        let stiffness = build.statics(&model).unwrap().stiffness(model.tip.unwrap(), model.work).unwrap();
        let modes = spectrum.elastic.iter().skip(6).take(2).map(|mode| mode.frequency());
        modes.chain([stiffness.along.into_iter().fold(f64::INFINITY, f64::min)]).collect()
    }
}

#[test]
fn a_column_on_a_slab_answers_alike_as_a_member_as_a_body_and_as_a_part() {
    let columns = [
        Column { foot: [131.0, -57.0], sides: [72.0, 41.0], turn: 0.0, plate: None },
        Column { foot: [-33.0, 64.0], sides: [38.0, 83.0], turn: 25.0, plate: None },
    ];
    for column in columns {
        let part = column.answers(Way::Part);
        for way in [Way::Member, Way::AsBody] {
            for (own, part) in column.answers(way).iter().zip(&part) {
                assert!((own / part - 1.0).abs() < 0.03, "{own} {part} of {:?}", column.foot);
            }
        }
    }
}

#[test]
fn a_plate_beneath_a_column_holds_the_slab_in_both_drawings() {
    let bare = Column { foot: [60.0, 20.0], sides: [60.0, 40.0], turn: 0.0, plate: None };
    let plate = Column { plate: Some([110.0, 80.0]), ..bare };
    let found = [Way::Member, Way::AsBody].map(|way| plate.answers(way));
    for (member, body) in found[0].iter().zip(&found[1]) {
        assert!((member / body - 1.0).abs() < 0.03, "{found:?}");
    }
    assert!(found[1][0] > 1.1 * bare.answers(Way::AsBody)[0], "{found:?}");
}

#[test]
fn a_column_turned_with_its_slab_answers_as_before() {
    let straight = Column { foot: [-33.0, 64.0], sides: [38.0, 83.0], turn: 0.0, plate: None };
    let turned = Column { turn: 25.0, ..straight }.answers(Way::AsBody);
    // Not the stiffness, whose axes are those of space.
    for (own, turned) in straight.answers(Way::AsBody).iter().zip(&turned).take(2) {
        assert!((own / turned - 1.0).abs() < 1e-6, "{own} {turned}");
    }
}
