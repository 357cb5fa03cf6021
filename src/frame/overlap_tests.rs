//! Tests of `overlap.rs`.

use super::super::sample::{member, point};
use super::*;
use approx::assert_relative_eq;

fn ring(width: f64, height: f64) -> Vec<[f64; 2]> {
    let (y, z) = (width / 2.0, height / 2.0);
    vec![[-y, -z], [y, -z], [y, z], [-y, z]]
}

fn moments(width: f64, height: f64) -> [f64; 6] {
    let area = width * height;
    [area, 0.0, 0.0, area * width.powi(2) / 12.0, area * height.powi(2) / 12.0, 0.0]
}

fn bar(width: f64, height: f64) -> Solid {
    Solid::new(vec![vec![ring(width, height)]], vec![moments(width, height)])
}

fn tube(side: f64, wall: f64) -> Solid {
    let inner = side - 2.0 * wall;
    let (whole, hollow) = (moments(side, side), moments(inner, inner));
    let left = std::array::from_fn(|k| whole[k] - hollow[k]);
    Solid::new(vec![vec![ring(side, side), ring(inner, inner)]], vec![left])
}

/// Members between points, each with the index of its section.
fn frame(points: &[[f64; 3]], members: &[(usize, usize, usize)]) -> Frame {
    let points = points.iter().map(|p| point("", p[0], p[1], p[2])).collect();
    let made = |(from, to, section): &(usize, usize, usize)| super::super::Member {
        section: *section,
        ..member("", *from, *to)
    };
    Frame { points, members: members.iter().map(made).collect(), ..Frame::default() }
}

/// Volume lost by member, m3.
fn lost(frame: &Frame, solids: &[Solid]) -> Vec<f64> {
    let mut lost = vec![0.0; frame.members.len()];
    for stretch in overlaps(frame, solids, |_| true).unwrap() {
        lost[stretch.member] += stretch.mass(|_| 1.0);
    }
    lost
}

fn are(found: &[f64], expected: &[f64]) {
    for (found, expected) in found.iter().zip(expected) {
        assert_relative_eq!(*found, *expected, epsilon = 1e-15, max_relative = 1e-9);
    }
}

const CROSS: [[f64; 3]; 5] = [[-1.0, 0.0, 0.0], [0.0; 3], [1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 1.0, 0.0]];

#[test]
fn of_two_strips_that_cross_the_larger_keeps_the_crossing() {
    let crossed = frame(&CROSS, &[(0, 1, 0), (1, 2, 0), (3, 1, 1), (1, 4, 1)]);
    let (wide, narrow) = (bar(0.1, 0.05), bar(0.06, 0.04));
    // The narrow strip is 40 high and 60 wide, the wide one 100 wide and higher than it.
    let half = 0.05 * 0.06 * 0.04;
    are(&lost(&crossed, &[wide.clone(), narrow.clone()]), &[0.0, 0.0, half, half]);
    are(&lost(&crossed, &[narrow, wide.clone()]), &[half, half, 0.0, 0.0]);
    // Of equal strips the first drawn keeps the crossing, whether they share a point or not.
    let half = 0.05 * 0.1 * 0.05;
    are(&lost(&crossed, &[wide.clone(), wide.clone()]), &[0.0, 0.0, half, half]);
    let apart = frame(&CROSS, &[(0, 2, 0), (3, 4, 0)]);
    are(&lost(&apart, &[wide]), &[0.0, 2.0 * half]);
}

#[test]
fn who_ends_at_a_run_ends_at_its_face() {
    let tee = frame(&CROSS, &[(1, 4, 1), (0, 1, 0), (1, 2, 0)]);
    are(&lost(&tee, &[bar(0.06, 0.06), bar(0.1, 0.06)]), &[0.03 * 0.1 * 0.06, 0.0, 0.0]);
    // The part that stands out above the run stays.
    are(&lost(&tee, &[bar(0.06, 0.06), bar(0.1, 0.08)]), &[0.03 * 0.1 * 0.06, 0.0, 0.0]);
    let stretch = overlaps(&tee, &[bar(0.06, 0.06), bar(0.1, 0.06)], |_| true).unwrap();
    assert_relative_eq!(stretch[0].from, 0.0, epsilon = 1e-12);
    assert_relative_eq!(stretch[0].to, 0.03, max_relative = 1e-9);
    assert_eq!(stretch[0].kept_by, [1, 2]);
}

#[test]
fn a_tube_in_a_tube_shares_the_walls() {
    let tee = frame(&CROSS, &[(1, 4, 1), (0, 1, 0), (1, 2, 0)]);
    // The 40 x 4 stub passes the 4 mm side wall of the chord; above and below it is clear of it.
    let area = 0.04 * 0.04 - 0.032 * 0.032;
    are(&lost(&tee, &[tube(0.06, 0.004), tube(0.04, 0.004)]), &[area * 0.004, 0.0, 0.0]);
}

#[test]
fn a_corner_is_mitred_and_a_third_ends_in_it() {
    let points = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let square = bar(0.06, 0.06);
    let two = frame(&points, &[(0, 1, 0), (2, 0, 0)]);
    are(&lost(&two, std::slice::from_ref(&square)), &[0.0, 0.0]);
    let three = frame(&points, &[(0, 1, 0), (2, 0, 0), (0, 3, 0)]);
    are(&lost(&three, &[square]), &[0.0, 0.0, 0.03 * 0.06 * 0.06]);
    // A slender bar ends in a thick one: they make no corner, and half of it lies inside.
    let lost = lost(&frame(&points, &[(0, 1, 0), (0, 2, 1)]), &[bar(0.1, 0.1), bar(0.02, 0.02)]);
    are(&lost, &[0.0, 0.05 * 0.01 * 0.02]);
}

#[test]
fn three_runs_through_one_point_share_it_once() {
    let mut points = CROSS.to_vec();
    points.extend([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]);
    let runs = [(0, 1, 0), (1, 2, 0), (3, 1, 0), (1, 4, 0), (5, 1, 0), (1, 6, 0)];
    let half = 0.5 * 0.05f64.powi(3);
    are(&lost(&frame(&points, &runs), &[bar(0.05, 0.05)]), &[0.0, 0.0, half, half, half, half]);
}

#[test]
fn an_oblique_strut_loses_what_its_line_does() {
    // A plate 20 thick and wide: a strut through its middle at 45 degrees lies in it for 20 √2.
    let points = [[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [-0.3, 0.0, -0.3], [0.3, 0.0, 0.3]];
    let strut = frame(&points, &[(0, 1, 0), (2, 3, 1)]);
    let found = lost(&strut, &[bar(0.8, 0.02), bar(0.03, 0.03)]);
    are(&found, &[0.0, 0.03 * 0.03 * 0.02 * 2f64.sqrt()]);
    // Rotated about its own line it loses the same, within the resolution of the rays.
    let mut turned = strut;
    turned.members[1].up = Some(Vector3::new(0.3, 1.0, 0.1));
    let turned = lost(&turned, &[bar(0.8, 0.02), bar(0.03, 0.03)]);
    assert_relative_eq!(turned[1], found[1], max_relative = 2e-3);
}

#[test]
fn the_mass_that_is_lost_is_that_of_its_moments() {
    let tee = frame(&CROSS, &[(1, 4, 1), (0, 1, 0), (1, 2, 0)]);
    let stretch = &overlaps(&tee, &[bar(0.06, 0.06), bar(0.1, 0.08)], |_| true).unwrap()[0];
    // The stretch of 30 mm loses a rectangle of 100 x 60 mm in its middle.
    let mass = stretch.line_mass(|_| 1000.0);
    assert_relative_eq!(mass[(0, 0)], 6.0, max_relative = 1e-9);
    assert_relative_eq!(mass[(4, 4)], 6.0 * 0.06 * 0.06 / 12.0, max_relative = 1e-9);
    assert_relative_eq!(mass[(5, 5)], 6.0 * 0.1 * 0.1 / 12.0, max_relative = 1e-9);
    assert_relative_eq!(mass[(3, 3)], mass[(4, 4)] + mass[(5, 5)], max_relative = 1e-9);
    assert!(mass[(0, 4)].abs() < 1e-12 && mass[(1, 3)].abs() < 1e-12);
}

#[test]
fn a_stub_wider_than_its_run_loses_what_lies_before_the_face() {
    let points = [[0.0, 0.0, -1.0], [0.0; 3], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]];
    let tee = frame(&points, &[(1, 3, 1), (0, 1, 0), (1, 2, 0)]);
    are(&lost(&tee, &[bar(0.06, 0.06), bar(0.1, 0.1)]), &[0.03 * 0.06 * 0.1, 0.0, 0.0]);
}

#[test]
fn a_tube_loses_its_side_walls_as_far_as_a_flat_run_reaches() {
    let tee = frame(&CROSS, &[(1, 4, 1), (0, 1, 0), (1, 2, 0)]);
    are(&lost(&tee, &[bar(0.06, 0.02), tube(0.04, 0.0037)]), &[0.03 * 2.0 * 0.0037 * 0.02, 0.0, 0.0]);
}

#[test]
fn what_is_lost_is_the_same_wherever_the_base_stands() {
    for shift in [[-5.0, -7.0, -3.0], [4.0, 9.0, 6.0]] {
        let points = CROSS.map(|point| [0, 1, 2].map(|i| point[i] + shift[i]));
        let tee = frame(&points, &[(1, 4, 1), (0, 1, 0), (1, 2, 0)]);
        are(&lost(&tee, &[bar(0.06, 0.06), bar(0.1, 0.06)]), &[0.03 * 0.1 * 0.06, 0.0, 0.0]);
    }
}

#[test]
fn a_strut_through_the_corners_of_a_bar_loses_its_diagonal() {
    // At v off the diagonal of a square a it lies in it for √2 a - 2 |v|: over a width b, b (√2 a b - b² / 2).
    let points = [[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, -0.3, -0.3], [0.0, 0.3, 0.3]];
    let strut = frame(&points, &[(0, 1, 0), (2, 3, 1)]);
    let (a, b) = (0.1, 0.03f64);
    let found = lost(&strut, &[bar(a, a), bar(b, b)]);
    assert_relative_eq!(found[1], b * (2f64.sqrt() * a * b - 0.5 * b * b), max_relative = 2e-3);
}

#[test]
fn the_mass_that_is_lost_off_the_line_is_that_of_a_point_on_an_arm() {
    let (y, z) = (0.02, -0.05);
    let volume = [1e-3, 1e-3 * y, 1e-3 * z, 1e-3 * y * y, 1e-3 * z * z, 1e-3 * y * z];
    let stretch = Inside { member: 0, from: 0.1, to: 0.6, parts: vec![volume], kept_by: vec![1] };
    // The velocity of the point is v + w x r.
    let arm = Vector3::new(0.0, y, z);
    let mut motion = nalgebra::Matrix3x6::zeros();
    motion.fixed_view_mut::<3, 3>(0, 0).copy_from(&nalgebra::Matrix3::identity());
    motion.fixed_view_mut::<3, 3>(0, 3).copy_from(&-arm.cross_matrix());
    let expected = motion.transpose() * motion * (2000.0 * 1e-3 / 0.5);
    assert_relative_eq!(stretch.line_mass(|_| 2000.0), expected, epsilon = 1e-12);
}

#[test]
fn a_stub_rigid_up_to_the_face_of_a_tube_ends_there() {
    for (member, rigid, (from, to)) in
        [((1, 4, 1), [0.03, 0.0], (0.0, 0.03)), ((4, 1, 1), [0.0, 0.03], (0.97, 1.0))]
    {
        let mut tee = frame(&CROSS, &[member, (0, 1, 0), (1, 2, 0)]);
        tee.members[0].rigid = rigid;
        let found = overlaps(&tee, &[tube(0.06, 0.004), bar(0.04, 0.04)], |_| true).unwrap();
        assert_eq!(found.len(), 1);
        assert_relative_eq!(found[0].from, from, epsilon = 1e-12);
        assert_relative_eq!(found[0].to, to, epsilon = 1e-12);
        assert_relative_eq!(found[0].mass(|_| 1.0), 0.03 * 0.04 * 0.04, max_relative = 1e-9);
    }
}

#[test]
fn a_corner_is_that_of_its_two_members_and_of_no_third() {
    let points = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let three = frame(&points, &[(0, 1, 0), (2, 0, 0), (0, 3, 0)]);
    let square = bar(0.06, 0.06);
    let solids = Solids::new(&three, &[&square]).unwrap();
    assert_eq!(
        [0, 1, 2].map(|member| solids.corners(member)),
        [[Some(1), None], [None, Some(0)], [None, None]]
    );
}
