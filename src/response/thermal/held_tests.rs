//! Stress of fills and bars held all round, against plane elements with a common strain along the member.
//!
//! The values were computed outside this program, by four-node elements on a quarter of a square in a square,
//! about 100 along a side, Poisson's ratio 0.3 in both; they are the mean stress along the member of the core,
//! kPa for one kelvin, and the hoop stress at the middle of the inner face of what lies around a bar (the
//! hundredth of its area that is stressed most).

use super::*;
use crate::thermal::sample::{layer, member_section};
use approx::assert_relative_eq;
use stillbed_section::{Geometry, Part, Shape};

/// A square core of half side `a` in a square of half side `b`, mm; moduli, GPa; expansions, 1e-6/K.
fn square(a: f64, b: f64, e: [f64; 2], alpha: [f64; 2]) -> CompositeSection {
    let block =
        |half: f64, medium| Part::new(Shape::Rectangle { width: 2e-3 * half, height: 2e-3 * half }, medium);
    let geometry = Geometry::new(vec![block(b, 1), block(a, 0)]).unwrap();
    let media = [0, 1].map(|i| {
        let mut medium = Medium::isotropic("m", Role::Fill, 1e9 * e[i], 0.3, 2000.0, 0.0);
        medium.expansion = Some(1e-6 * alpha[i]);
        medium
    });
    let sliding = member_section(&[layer("x", 1.0, 0.0, 0.1, 0.0, 0.1)], false);
    CompositeSection::from_geometry(&geometry, &media, &[None, None], 1.0, sliding).unwrap()
}

/// Stress of the core along the member, and the four across what lies around it, Pa, one kelvin warmer.
fn warmed(section: &CompositeSection) -> (f64, [f64; 4]) {
    let stiffness = section.stiffness().unwrap();
    let warm = TemperatureField { change: 1.0, across: [0.0; 2] };
    let strains = stiffness.thermal_strains(&warm, &[0.0; 2]).unwrap();
    let core =
        section.parts.iter().position(|part| part.borders.iter().all(|b| b.ring.unwrap().within)).unwrap();
    let free = stiffness.stress(core, [0.0; 2], &Vector3::zeros(), &strains).unwrap();
    let held = stiffness.held(core, &strains);
    (free.with(&held[0]).mismatch, stiffness.held(1 - core, &strains)[0].across)
}

#[test]
fn a_square_core_is_stressed_as_plane_elements_say() {
    for (a, b, e, alpha, along) in [
        (26.0, 30.0, [17.0, 210.0], [18.0, 12.0], -126.2),
        (17.0, 20.0, [17.0, 210.0], [18.0, 12.0], -131.8),
        (50.0, 54.0, [17.0, 210.0], [18.0, 12.0], -100.5),
        (44.0, 54.0, [17.0, 70.0], [18.0, 23.0], 85.8),
        (27.0, 30.0, [1.0, 210.0], [18.0, 12.0], -10.5),
        (10.0, 40.0, [210.0, 17.0], [12.0, 18.0], 751.4),
        (5.0, 50.0, [210.0, 30.0], [12.0, 18.0], 1288.3),
        (15.0, 30.0, [70.0, 30.0], [12.0, 18.0], 303.8),
    ] {
        let (found, _) = warmed(&square(a, b, e, alpha));
        let ratio = found / (1e3 * along);
        assert!((0.94..1.19).contains(&ratio), "{a} {b} {e:?}: {found} {along}");
    }
}

#[test]
fn what_lies_around_a_bar_is_pulled_round_it_as_plane_elements_say() {
    for (a, b, e, hoop) in [(10.0, 40.0, [210.0, 17.0], -102.7), (15.0, 30.0, [70.0, 30.0], -183.4)] {
        let (_, across) = warmed(&square(a, b, e, [12.0, 18.0]));
        assert_relative_eq!(across[2], 1e3 * hoop, max_relative = 0.01);
        assert_relative_eq!(across[1], 0.0, epsilon = 1e-3);
    }
}

#[test]
fn a_pipe_within_a_cast_that_also_fills_it_is_stressed_as_axisymmetric_elements_say() {
    // A bar 500 mm long, solved by axisymmetric four-node elements outside this program; stress along it at its
    // middle, kPa for one kelvin: the cast in the pipe, the pipe, the cast around it.
    let pipe = Shape::Pipe { diameter: 0.04, wall: 0.003 };
    let geometry =
        Geometry::new(vec![Part::new(Shape::Round { diameter: 0.08 }, 0), Part::new(pipe, 1)]).unwrap();
    let medium = |e: f64, nu: f64, alpha: f64| {
        let mut medium = Medium::isotropic("m", Role::Fill, e, nu, 2000.0, 0.0);
        medium.expansion = Some(alpha);
        medium
    };
    let media = [medium(17e9, 0.25, 18e-6), medium(210e9, 0.3, 12e-6)];
    let sliding = member_section(&[layer("x", 1.0, 0.0, 0.1, 0.0, 0.1)], false);
    let section = CompositeSection::from_geometry(&geometry, &media, &[None, None], 1.0, sliding).unwrap();
    let stiffness = section.stiffness().unwrap();
    let warm = TemperatureField { change: 1.0, across: [0.0; 2] };
    let strains = stiffness.thermal_strains(&warm, &[0.0; 2]).unwrap();
    let along = |part: usize, ring: usize| {
        let free = stiffness.stress(part, [0.0; 2], &Vector3::zeros(), &strains).unwrap();
        free.with(&stiffness.held(part, &strains)[ring]).mismatch
    };
    for (found, expected) in [(along(0, 0), -99.2), (along(1, 0), 876.4), (along(0, 1), -57.2)] {
        assert_relative_eq!(found, 1e3 * expected, max_relative = 0.01);
    }
}

#[test]
fn forces_of_nested_parts_balance() {
    let section = square(20.0, 30.0, [17.0, 70.0], [18.0, 23.0]);
    let stiffness = section.stiffness().unwrap();
    let warm = TemperatureField { change: 10.0, across: [0.0; 2] };
    let strains = stiffness.thermal_strains(&warm, &[0.0, -1e-4]).unwrap();
    let forces = [0, 1].map(|part| stiffness.transferred(part, &strains).unwrap());
    assert!((forces[0] + forces[1]).abs() < 1e-9 * forces[0].abs(), "{forces:?}");
    let sliding = CompositeSection { bond: 0.0, ..section.clone() };
    let held = sliding.stiffness().unwrap().held(0, &strains);
    assert!(held.iter().all(|ring| ring.axial == 0.0 && ring.across == [0.0; 4]));
}
