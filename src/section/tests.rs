//! Properties that hold for every section, and small sections solved by hand.

use super::*;
use nalgebra::Matrix6;
use proptest::prelude::*;
use stillbed_material::{Medium, Role};

fn steel() -> Medium {
    Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.001)
}

fn cast() -> Medium {
    Medium::isotropic("cast", Role::Fill, 30e9, 0.25, 2300.0, 0.02)
}

fn rectangle(width: f64, height: f64) -> Shape {
    Shape::Rectangle { width, height }
}

fn solved(parts: Vec<Part>, bond: f64) -> Solution {
    Geometry::new(parts).unwrap().solve(&[steel(), cast()], bond).unwrap()
}

fn stiffnesses(s: &Stiffness) -> [f64; 6] {
    [s.ea_n, s.ei_y_n_m2, s.ei_z_n_m2, s.gj_n_m2, s.ga_y_n, s.ga_z_n].map(|x| x.re)
}

fn losses(s: &Stiffness) -> [f64; 6] {
    let loss = s.loss();
    [loss.ea, loss.ei_y, loss.ei_z, loss.gj, loss.ga_y, loss.ga_z].map(Option::unwrap)
}

#[test]
fn a_square_bar() {
    let s = solved(vec![Part::new(rectangle(0.1, 0.1), 0)], 1.0);
    let k = s.as_stated.stiffness;
    approx::assert_relative_eq!(k.ea_n.re, 2.1e9, max_relative = 1e-9);
    approx::assert_relative_eq!(k.ei_y_n_m2.re, 1.75e6, max_relative = 1e-9);
    approx::assert_relative_eq!(k.gj_n_m2.re, 0.1405770 * 1e-4 * 210e9 / 2.6, max_relative = 1e-3);
    approx::assert_relative_eq!(s.ga_energy[0].re, 5.0 / 6.0 * 0.01 * 210e9 / 2.6, max_relative = 1e-3);
    approx::assert_relative_eq!(s.mass_per_length, 78.5, max_relative = 1e-9);
}

#[test]
fn warm_parts_that_slide_push_at_the_elastic_centre() {
    let parts = vec![
        Part::new(rectangle(0.1, 0.02), 0).at(0.03, -0.02),
        Part::new(rectangle(0.04, 0.06), 1).at(0.02, 0.02),
    ];
    let [loose, bonded] = [0.0, 1.0].map(|bond| {
        let section = solved(parts.clone(), bond);
        (section.thermal_resultants(&[12e-6, 15e-6], 10.0, 0.0, 0.0), section.elastic_centre)
    });
    // 210 GPa x 2000 mm2 x 12e-6 x 10 K and 30 GPa x 2400 mm2 x 15e-6 x 10 K.
    let (steel, cast) = (50_400.0, 10_800.0);
    let ([n, m_y, m_z], [y, z]) = loose;
    approx::assert_relative_eq!(n, steel + cast, max_relative = 1e-6);
    approx::assert_relative_eq!(m_y, z * n, max_relative = 1e-6);
    approx::assert_relative_eq!(m_z, -y * n, max_relative = 1e-6);
    // Bonded, each pushes at its own middle.
    let [_, m_y, m_z] = bonded.0;
    approx::assert_relative_eq!(m_y, 0.02 * (cast - steel), max_relative = 1e-6);
    approx::assert_relative_eq!(m_z, -(0.03 * steel + 0.02 * cast), max_relative = 1e-6);
}

/// # Source
/// - `cowper1966`: table 1, rectangle and circle
#[test]
fn the_shear_stiffness_of_a_bar_is_cowpers() {
    let nu = 0.3;
    let round = Shape::Round { diameter: 0.1 };
    let (flat, circle) = (10.0 * (1.0 + nu) / (12.0 + 11.0 * nu), 6.0 * (1.0 + nu) / (7.0 + 6.0 * nu));
    for (shape, coefficient) in [(rectangle(0.05, 0.1), flat), (round, circle)] {
        let section = solved(vec![Part::new(shape, 0)], 1.0).as_stated.stiffness;
        let whole = section.ea_n.re / (2.0 * (1.0 + nu));
        approx::assert_relative_eq!(section.ga_z_n.re, coefficient * whole, max_relative = 1e-3);
        approx::assert_relative_eq!(section.ga_y_n.re, coefficient * whole, max_relative = 1e-3);
    }
}

#[test]
fn an_eccentric_bar_couples_about_the_member_line() {
    let s = solved(vec![Part::new(rectangle(0.1, 0.1), 0).at(0.03, -0.02)], 1.0);
    let k = s.as_stated.matrix.map(|x| x.re);
    let [ea, _, _, gj, ga_y, ga_z] = stiffnesses(&s.as_stated.stiffness);
    let near = |a: f64, b: f64| approx::assert_relative_eq!(a, b, max_relative = 1e-4);
    near(k[(0, 4)], -0.02 * ea);
    near(k[(0, 5)], -0.03 * ea);
    near(k[(1, 3)], 0.02 * ga_y);
    near(k[(2, 3)], 0.03 * ga_z);
    near(k[(3, 3)], gj + 0.0004 * ga_y + 0.0009 * ga_z);
    near(s.mass[(0, 4)], -0.02 * 78.5);
    near(s.mass[(3, 3)], 78.5 * (0.01 / 6.0 + 0.0013));
    // Rotations a about y and b about z move the point (y, z) by z a - y b along x: twice the kinetic
    // energy is the integral of rho (z a - y b)^2.
    near(s.mass[(4, 4)], 78.5 * (0.01 / 12.0 + 0.0004));
    near(s.mass[(5, 5)], 78.5 * (0.01 / 12.0 + 0.0009));
    near(s.mass[(4, 5)], -78.5 * 0.03 * -0.02);
    assert_eq!(s.mass[(4, 5)], s.mass[(5, 4)]);
    let centre = s.mass_centre.unwrap();
    near(centre[0], 0.03);
    near(centre[1], -0.02);
}

#[test]
fn shear_centre_of_an_angle_is_where_its_legs_meet() {
    let angle = Shape::Angle { width: 0.1, height: 0.1, wall: 0.004, root_radius: 0.0, toe_radius: 0.0 };
    let s = solved(vec![Part::new(angle, 0)], 1.0);
    for x in s.shear_centre {
        approx::assert_relative_eq!(x, -0.048, epsilon = 2e-4);
    }
}

#[test]
fn a_soft_fill_changes_nothing_and_air_can_be_solved() {
    let tube = Shape::Tube { width: 0.1, height: 0.06, wall: 0.004, radius: None };
    let alone = solved(vec![Part::new(tube.clone(), 0)], 1.0);
    for e in [0.0, 1e3] {
        let media = [steel(), Medium::isotropic("soft", Role::Fill, e, 0.3, 0.0, 0.3)];
        let parts = vec![Part::new(rectangle(0.1, 0.06), 1), Part::new(tube.clone(), 0)];
        let filled = Geometry::fitted(parts, &media).unwrap().solve(&media, 1.0).unwrap();
        let pairs =
            stiffnesses(&filled.bonded.stiffness).into_iter().zip(stiffnesses(&alone.bonded.stiffness));
        for (a, b) in pairs {
            approx::assert_relative_eq!(a, b, max_relative = 1e-3);
        }
    }
}

#[test]
fn what_does_not_touch_is_told() {
    let round = Shape::Round { diameter: 0.02 };
    let parts = vec![Part::new(round.clone(), 0).at(0.0, 0.05), Part::new(round.clone(), 1).at(0.0, -0.05)];
    let geometry = Geometry::new(parts).unwrap();
    assert_eq!(geometry.groups(), vec![vec![0], vec![1]]);
    let s = geometry.solve(&[steel(), steel()], 1.0).unwrap();
    // Each piece shears and twists alone; the whole bends as one.
    approx::assert_relative_eq!(
        s.bonded.stiffness.gj_n_m2.re,
        s.sliding.stiffness.gj_n_m2.re,
        max_relative = 1e-9
    );
    assert!(s.bonded.stiffness.ei_y_n_m2.re > 50.0 * s.sliding.stiffness.ei_y_n_m2.re);
    let covered = Geometry::new(vec![Part::new(round, 0), Part::new(rectangle(0.1, 0.1), 1)]).unwrap();
    assert_eq!(covered.hidden(), vec![0]);
}

#[test]
fn nothing_solid_or_stiff_is_refused() {
    let fault = |parts| Geometry::new(parts).err().unwrap().to_string();
    assert!(fault(vec![]).starts_with("nothing solid is left"));
    let bar = || Part::new(rectangle(0.1, 0.1), 0);
    assert!(fault(vec![bar(), bar().cavity()]).starts_with("nothing solid is left"));
    let bad = Part::new(rectangle(0.1, 0.0), 0);
    assert_eq!(fault(vec![bar(), bad]), "part 2: height 0 mm: a size is above 0");
    let geometry = Geometry::new(vec![bar()]).unwrap();
    assert!(geometry.solve(&[Medium::void("air")], 1.0).is_err());
    assert!(geometry.solve(&[steel()], 1.2).is_err());
    assert!(geometry.solve(&[], 1.0).is_err());
}

#[test]
fn a_cavity_cuts_and_a_part_in_two_pieces_is_one() {
    let parts = vec![Part::new(rectangle(0.1, 0.1), 0), Part::new(rectangle(0.2, 0.02), 0).cavity()];
    let geometry = Geometry::new(parts).unwrap();
    assert_eq!(geometry.outlines()[0].len(), 2);
    let s = geometry.solve(&[steel()], 0.0).unwrap();
    let i = 0.1 * (0.1f64.powi(3) - 0.02f64.powi(3)) / 12.0;
    approx::assert_relative_eq!(s.as_stated.stiffness.ei_y_n_m2.re, 210e9 * i, max_relative = 1e-6);
}

#[test]
fn heat_bows_a_bonded_pair_and_not_a_sliding_one() {
    let parts = || {
        vec![
            Part::new(rectangle(0.2, 0.01), 0).at(0.0, 0.005),
            Part::new(rectangle(0.2, 0.09), 1).at(0.0, 0.055),
        ]
    };
    let bow = |bond: f64| {
        let still = |name: &str, e: f64| Medium::isotropic(name, Role::Fill, e, 0.3, 1.0, 0.0);
        let media = [still("steel", 210e9), still("cast", 30e9)];
        let s = Geometry::new(parts()).unwrap().solve(&media, bond).unwrap();
        let [n, m, _] = s.thermal_resultants(&[12e-6, 15e-6], 10.0, 0.0, 0.0);
        let k = s.as_stated.stiffness;
        (m - s.elastic_centre[1] * n) / k.ei_y_n_m2.re
    };
    approx::assert_relative_eq!(bow(1.0).abs(), 0.0003696701, max_relative = 1e-6);
    approx::assert_relative_eq!(bow(0.0), 0.0, epsilon = 1e-9);
}

#[test]
fn unequal_losses_are_solved_exactly() {
    // The stiffness is an analytic function of the shear moduli: a small loss is a derivative.
    let geometry =
        Geometry::new(vec![Part::new(rectangle(0.06, 0.04), 1), Part::new(rectangle(0.02, 0.04), 0)])
            .unwrap();
    let with = |g: f64, loss: f64| {
        let mut fill = Medium::isotropic("fill", Role::Fill, 5e9, 0.3, 1.0, 0.0);
        fill.shear_modulus = num_complex::Complex64::new(g, g * loss);
        let host = Medium::isotropic("host", Role::Skeleton, 10e9, 0.3, 1.0, 0.0);
        let s = geometry.solve(&[host, fill], 1.0).unwrap();
        [s.bonded.stiffness.gj_n_m2, s.ga_energy[0], s.ga_energy[1]]
    };
    let step = 1e-4;
    let (high, low, lossy) = (with(2e9 * (1.0 + step), 0.0), with(2e9 * (1.0 - step), 0.0), with(2e9, step));
    for i in 0..3 {
        approx::assert_relative_eq!(lossy[i].im, 0.5 * (high[i].re - low[i].re), max_relative = 1e-5);
    }
}

#[test]
fn a_circle_that_grazes_a_rounded_corner_keeps_its_area() {
    // Found by rotating the section: chords of two arcs crossed where the arcs do not.
    let tube =
        Shape::Tube { width: 0.056677559, height: 0.042241647, wall: 0.0088, radius: Some(0.016116139) };
    let parts = vec![
        Part::new(rectangle(0.1, 0.08), 1),
        Part::new(Shape::Round { diameter: 0.058168377 }, 0).at(0.0301, 0.0201),
        Part::new(tube, 1).at(0.030001, 0.020001).turned(1e-5),
    ];
    let whole = solved(parts.clone(), 1.0).bonded.stiffness.ea_n.re;
    for turn in [0.3, 1.1, 2.2, 4.0] {
        let other = solved(turned(&parts, turn), 1.0).bonded.stiffness.ea_n.re;
        approx::assert_relative_eq!(other, whole, max_relative = 1e-9);
    }
}

#[test]
fn a_few_vectors_give_what_the_whole_equations_give() {
    use super::body::Elastic;
    let tube = Shape::Tube { width: 0.05, height: 0.03, wall: 0.003, radius: None };
    let parts = vec![Part::new(rectangle(0.11, 0.08), 1), Part::new(tube, 0).at(0.0, 0.01)];
    let geometry = Geometry::new(parts).unwrap();
    let warping = geometry.solids()[geometry.ways()[0][0]].warping.as_ref().unwrap();
    let medium = |e: f64, nu: f64, loss: f64| {
        let e = num_complex::Complex64::new(e, e * loss);
        Elastic { e, g: e / (2.0 * (1.0 + nu)), nu }
    };
    for (tube, cast) in [(1.0, 0.7), (1.0, 0.12), (1.0, 0.03), (1.0, 0.006), (0.1, 1.0), (0.007, 1.0)] {
        // Parts are ascending: the fill is the first.
        let media = [medium(cast, 0.2, 0.02), medium(tube, 0.34, 0.001)];
        let (quick, _) = warping.quick(&media).unwrap().unwrap();
        let (whole, _) = warping.solve(&media).unwrap().unwrap();
        for i in 0..2 {
            for (a, b) in [(quick.twist[i], whole.twist[i]), (quick.shear[i][(0, 0)], whole.shear[i][(0, 0)])]
            {
                approx::assert_relative_eq!(a.re, b.re, max_relative = 1e-4);
                approx::assert_relative_eq!(a.im, b.im, max_relative = 1e-3);
            }
        }
        let sum = |list: &[num_complex::Complex64]| list.iter().sum::<num_complex::Complex64>();
        let (a, b) = (sum(&quick.twist), sum(&whole.twist));
        approx::assert_relative_eq!(a.re, b.re, max_relative = 1e-6);
        approx::assert_relative_eq!(a.im, b.im, max_relative = 1e-5);
        approx::assert_relative_eq!(quick.sideways, whole.sideways, max_relative = 1e-4, epsilon = 1e-9);
    }
}

/// The areas are those of polygons of 80,000 corners, computed with a general library for plane
/// geometry.
#[test]
fn a_cap_that_a_line_cuts_off_is_kept_however_it_is_turned() {
    let round = Shape::Round { diameter: 0.022646917049420134 };
    let plate = rectangle(0.05733179993757404, 0.05812242179800704);
    let parts = [
        Part::new(rectangle(0.1, 0.08), 1),
        Part::new(round, 0).at(0.010295864195456342, 0.007040006491504587),
        Part::new(plate, 0).at(0.0059245463703529394, -0.01161891802252539).turned(0.9195727874117172),
    ];
    for turn in [0.0, 0.4, 0.8, 1.0731107386117915, std::f64::consts::FRAC_PI_2, 2.1] {
        let geometry = Geometry::new(turned(&parts, turn)).unwrap();
        let areas = geometry.moments().iter().map(|m| m.area);
        for (area, exact) in areas.zip([0.0048175676254, 3.588012e-7, 0.00333226305841]) {
            approx::assert_relative_eq!(area, exact, max_relative = 1e-6);
        }
    }
}

#[test]
fn a_thin_bridge_beside_a_circle_keeps_its_thickness_however_it_is_turned() {
    // Half a millimetre of the plate is left between pipe and tube; a chord instead of the circle would
    // make it thicker.
    let parts = [
        Part::new(rectangle(0.1, 0.08), 1).at(0.0, -0.0459),
        Part::new(Shape::Pipe { diameter: 0.03906, wall: 0.00586 }, 1).at(0.0, -0.04134),
        Part::new(Shape::Tube { width: 0.059, height: 0.0211, wall: 0.00316, radius: Some(0.0042) }, 1)
            .at(0.0, -0.07196),
    ];
    let stiffness = |turn: f64| solved(turned(&parts, turn), 0.5).sliding.stiffness;
    let upright = stiffness(0.0);
    for turn in [0.37, 1.0, 2.5] {
        let other = stiffness(turn);
        // Both meshes have an error of 5e-4.
        approx::assert_relative_eq!(upright.gj_n_m2.re, other.gj_n_m2.re, max_relative = 1e-3);
        let summed = [upright, other].map(|s| s.ga_y_n.re + s.ga_z_n.re);
        approx::assert_relative_eq!(summed[0], summed[1], max_relative = 1e-3);
    }
}

/// The section solved with its mirrors against the whole of it.
fn assert_piece_is_whole(parts: &[Part]) {
    let media = [steel(), cast()];
    let piece = solved(parts.to_vec(), 0.5);
    let whole = Geometry::whole(parts.to_vec()).unwrap().solve(&media, 0.5).unwrap();
    for (one, two) in [(&piece.bonded, &whole.bonded), (&piece.sliding, &whole.sliding)] {
        let scale = two.matrix.diagonal().map(|x| x.re);
        let near = |a: &Matrix6<f64>, b: &Matrix6<f64>, share: f64| {
            for i in 0..6 {
                for j in 0..6 {
                    let unit = share * (scale[i] * scale[j]).sqrt();
                    assert!((a[(i, j)] - b[(i, j)]).abs() < unit, "{parts:?} {i} {j}: {a} {b}");
                }
            }
        };
        near(&one.matrix.map(|x| x.re), &two.matrix.map(|x| x.re), 1e-3);
        // The loss factors are 0.001 and 0.02.
        near(&one.matrix.map(|x| x.im), &two.matrix.map(|x| x.im), 2e-5);
        one.parts.iter().zip(&two.parts).for_each(|(a, b)| near(a, b, 1e-3));
    }
}

#[test]
fn a_half_and_a_quarter_stand_for_the_whole() {
    let tube = |width, height, radius| Shape::Tube { width, height, wall: 0.004, radius };
    let round = |diameter| Shape::Round { diameter };
    let tee = Shape::Tee { width: 0.08, height: 0.06, web: 0.008, flange: 0.01, root_radius: 0.006 };
    let channel = Shape::Channel { width: 0.04, height: 0.1, web: 0.006, flange: 0.008, root_radius: 0.008 };
    let i_shape = Shape::IShape { width: 0.055, height: 0.1, web: 0.005, flange: 0.006, root_radius: 0.007 };
    let alone = |shape: Shape| vec![Part::new(shape, 0)];
    let sections = [
        alone(tube(0.08, 0.05, Some(0.01))),
        alone(tee.clone()),
        alone(channel),
        alone(i_shape),
        vec![Part::new(tee, 0).at(0.03, -0.02)],
        vec![Part::new(Shape::Pipe { diameter: 0.06, wall: 0.003 }, 0).at(-0.02, 0.05)],
        vec![Part::new(rectangle(0.08, 0.05), 1), Part::new(tube(0.08, 0.05, None), 0)],
        vec![
            Part::new(rectangle(0.11, 0.08), 1).at(0.01, 0.02),
            Part::new(tube(0.05, 0.03, None), 0).at(0.01, 0.03),
            Part::new(round(0.012), 1).at(0.01, -0.005).cavity(),
        ],
        vec![Part::new(rectangle(0.09, 0.07), 1), Part::new(round(0.02), 0).at(0.02, 0.0)],
        // Each round alone has two mirrors; both together have one, and stay separate bodies.
        vec![Part::new(round(0.02), 0).at(0.01, 0.05), Part::new(round(0.02), 1).at(0.01, -0.05)],
        // The mirrors separate the outer bars from their images.
        vec![
            Part::new(rectangle(0.1, 0.08), 0),
            Part::new(rectangle(0.06, 0.08), 0).cavity(),
            Part::new(rectangle(0.02, 0.08), 1),
        ],
    ];
    sections.iter().for_each(|parts| assert_piece_is_whole(parts));
}

fn part_of_random(shape: u8, size: [f64; 2], at: [f64; 2], turn: f64, medium: usize) -> Part {
    let [a, b] = size;
    let shape = match shape {
        0 => rectangle(a, b),
        1 => Shape::Tube { width: a, height: b, wall: 0.15 * a.min(b), radius: Some(0.2 * a.min(b)) },
        2 => Shape::Round { diameter: a },
        _ => Shape::Pipe { diameter: a, wall: 0.15 * a },
    };
    Part::new(shape, medium).at(at[0], at[1]).turned(turn)
}

/// A plate of one material with one or two other parts in or over it.
fn sections() -> impl Strategy<Value = Vec<Part>> {
    let one =
        (0u8..4, [0.02f64..0.06, 0.02f64..0.06], [-0.03f64..0.03, -0.03f64..0.03], 0.0f64..3.0, 0usize..2)
            .prop_map(|(shape, size, at, turn, medium)| part_of_random(shape, size, at, turn, medium));
    prop::collection::vec(one, 1..3).prop_map(|mut parts| {
        parts.insert(0, Part::new(rectangle(0.1, 0.08), 1));
        parts
    })
}

fn turned(parts: &[Part], angle: f64) -> Vec<Part> {
    let (sine, cosine) = angle.sin_cos();
    parts
        .iter()
        .map(|p| {
            let [y, z] = p.at;
            p.clone().at(cosine * y - sine * z, sine * y + cosine * z).turned(p.turn + angle)
        })
        .collect()
}

proptest! {
    #![proptest_config(seeds::cases(12))]

    #[test]
    fn loss_lies_between_the_parts_and_energy_adds_up(parts in sections(), bond in 0.0f64..1.0) {
        let s = solved(parts, bond);
        for action in [&s.bonded, &s.sliding, &s.as_stated] {
            for loss in losses(&action.stiffness) {
                prop_assert!((0.001 - 1e-9..=0.02 + 1e-9).contains(&loss), "{loss}");
            }
            let sum: Matrix6<f64> = action.parts.iter().sum();
            let real = action.matrix.map(|x| x.re);
            prop_assert!((sum - real).norm() < 1e-12 * real.norm());
            let stiff = real.symmetric_eigen().eigenvalues;
            prop_assert!(stiff.min() > 0.0, "{stiff}");
            let shares = action.shares.iter().fold([0.0; 6], |sum, x| {
                let own = [x.axial, x.bending_y, x.bending_z, x.torsion, x.shear_y, x.shear_z];
                std::array::from_fn(|i| sum[i] + own[i])
            });
            prop_assert!(shares.iter().all(|x| (x - 1.0).abs() < 1e-9), "{shares:?}");
        }
        let (bonded, sliding) = (stiffnesses(&s.bonded.stiffness), stiffnesses(&s.sliding.stiffness));
        for i in 1..4 {
            prop_assert!(bonded[i] > 0.998 * sliding[i], "{bonded:?} {sliding:?}");
        }
    }

    #[test]
    fn a_quarter_turn_swaps_the_axes(parts in sections()) {
        let (a, b) = (solved(parts.clone(), 1.0), solved(turned(&parts, std::f64::consts::FRAC_PI_2), 1.0));
        let [ea, ei_y, ei_z, gj, ga_y, ga_z] = stiffnesses(&a.bonded.stiffness);
        let swapped = [ea, ei_z, ei_y, gj, ga_z, ga_y];
        for (i, (x, y)) in swapped.into_iter().zip(stiffnesses(&b.bonded.stiffness)).enumerate() {
            let near = if i < 3 { 1e-6 } else { 2e-3 };
            prop_assert!((x - y).abs() < near * x, "{i}: {x} {y}");
        }
    }

    #[test]
    fn any_turn_leaves_the_sum_of_both_axes(parts in sections(), angle in 0.0f64..3.0) {
        let (a, b) = (solved(parts.clone(), 1.0), solved(turned(&parts, angle), 1.0));
        let (a, b) = (stiffnesses(&a.bonded.stiffness), stiffnesses(&b.bonded.stiffness));
        for [i, j] in [[0, 0], [1, 2], [3, 3], [4, 5]] {
            let (x, y) = (a[i] + a[j], b[i] + b[j]);
            prop_assert!((x - y).abs() < 2e-3 * x, "{i}: {x} {y}");
        }
    }

    #[test]
    fn parts_on_one_line_are_a_half(
        parts in sections(), by in [-0.1f64..0.1, -0.1f64..0.1], upright in prop::bool::ANY
    ) {
        let placed = |p: &Part| match upright {
            true => p.clone().at(by[0], by[1] + p.at[1]).turned(0.0),
            false => p.clone().at(by[0] + p.at[0], by[1]).turned(0.0),
        };
        assert_piece_is_whole(&parts.iter().map(placed).collect::<Vec<_>>());
    }

    #[test]
    fn a_larger_drawing_is_stiffer_by_the_fourth_power(parts in sections(), scale in 0.1f64..10.0) {
        let larger = |p: &Part| {
            let shape = match &p.shape {
                Shape::Rectangle { width, height } => rectangle(scale * width, scale * height),
                Shape::Round { diameter } => Shape::Round { diameter: scale * diameter },
                Shape::Pipe { diameter, wall } => Shape::Pipe { diameter: scale * diameter, wall: scale * wall },
                Shape::Tube { width, height, wall, radius } => Shape::Tube {
                    width: scale * width,
                    height: scale * height,
                    wall: scale * wall,
                    radius: radius.map(|r| scale * r),
                },
                other => other.clone(),
            };
            Part { shape, at: p.at.map(|x| scale * x), ..p.clone() }
        };
        let (a, b) = (solved(parts.clone(), 1.0), solved(parts.iter().map(larger).collect(), 1.0));
        let (a, b) = (stiffnesses(&a.bonded.stiffness), stiffnesses(&b.bonded.stiffness));
        let power = [2, 4, 4, 4, 2, 2];
        for i in 0..6 {
            let near = if i < 3 { 1e-6 } else { 2e-3 };
            prop_assert!((a[i] * scale.powi(power[i]) / b[i] - 1.0).abs() < near, "{i}: {} {}", a[i], b[i]);
        }
    }

    #[test]
    fn a_part_split_in_two_of_its_material_is_the_same(at in -0.04f64..0.04, height in 0.02f64..0.1) {
        let whole = solved(vec![Part::new(rectangle(0.1, height), 0)], 1.0);
        let strip = Part::new(rectangle(0.05 - at, height), 0).at(0.5 * (0.05 + at), 0.0);
        let split = solved(vec![Part::new(rectangle(0.1, height), 0), strip], 1.0);
        let pairs = stiffnesses(&whole.bonded.stiffness).into_iter().zip(stiffnesses(&split.bonded.stiffness));
        for (x, y) in pairs {
            prop_assert!((x - y).abs() < 2e-3 * x, "{x} {y}");
        }
    }
}

/// No deformation has a smaller loss factor than the part with the smallest, or a larger one than the
/// part with the largest.
#[test]
fn losses_of_every_motion_lie_between_those_of_the_parts() {
    let lossy = |medium: Medium, loss: f64| {
        let real = |x: num_complex::Complex64| num_complex::Complex64::new(x.re, x.re * loss);
        let (e, g) = (real(medium.youngs_modulus), real(medium.shear_modulus));
        Medium { youngs_modulus: e, shear_modulus: g, ..medium }
    };
    let media = [lossy(steel(), 1e-5), lossy(cast(), 0.6)];
    let strip = Part::new(rectangle(0.014, 0.002), 0).at(0.001, 0.0045);
    let parts = vec![Part::new(rectangle(0.016, 0.008), 1), strip];
    let geometry = Geometry::new(parts).unwrap();
    for bond in [0.0, 0.02, 0.5, 1.0] {
        let matrix = geometry.solve(&media, bond).unwrap().as_stated.matrix;
        let root = matrix.map(|x| x.re).cholesky().unwrap().l().try_inverse().unwrap();
        let lost = root * matrix.map(|x| x.im) * root.transpose();
        let losses = nalgebra::SymmetricEigen::new(0.5 * (lost + lost.transpose())).eigenvalues;
        // The smallest of six values of order 0.6 is right to their rounding.
        assert!(losses.min() > 1e-5 - 1e-9 && losses.max() < 0.6 + 1e-9, "{bond}: {losses}");
    }
}
