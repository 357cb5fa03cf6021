//! What must hold for the modes of any frame.

use super::{Asked, BuildModes, Spectrum, solve};
use crate::sample::{cantilever, crooked, square};
use nalgebra::{Rotation3, Vector3};
use num_complex::Complex64;
use proptest::prelude::*;
use stillbed_frame::{Frame, Line};

fn asked() -> Asked {
    Asked { count: 5, ..Asked::default() }
}

/// The irregular base with its points moved, feet and inertia equal in all directions, and the direction
/// of every section stated.
fn base(shifts: &[f64]) -> Frame {
    let mut frame = crooked();
    for (point, shift) in frame.points.iter_mut().zip(shifts.chunks(3)) {
        point.position += Vector3::from_column_slice(shift);
    }
    for foot in &mut frame.feet {
        foot.stiffness = [foot.stiffness[2]; 3];
        foot.turning = [Complex64::default(); 3];
    }
    frame.masses[0].inertia = Vector3::repeat(0.03);
    let ups: Vec<Vector3<f64>> = frame
        .members
        .iter()
        .map(|member| Line::of(&frame, member).unwrap().axes.row(2).transpose())
        .collect();
    for (member, up) in frame.members.iter_mut().zip(ups) {
        member.up = Some(up);
    }
    frame
}

/// Every vector of the frame changed by `change`.
fn moved(frame: &Frame, change: impl Fn(&Vector3<f64>) -> Vector3<f64>) -> Frame {
    let mut frame = frame.clone();
    frame.points.iter_mut().for_each(|point| point.position = change(&point.position));
    frame.masses.iter_mut().for_each(|mass| mass.offset = change(&mass.offset));
    for member in &mut frame.members {
        member.up = member.up.map(|up| change(&up));
        member.offset = change(&member.offset);
    }
    frame
}

fn frequencies(spectrum: &Spectrum) -> Vec<f64> {
    spectrum.elastic.iter().map(|mode| mode.frequency()).collect()
}

fn alike(a: &[f64], b: &[f64], tolerance: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(b) {
        prop_assert!((a - b).abs() <= tolerance * a.abs().max(b.abs()), "{} {}", a, b);
    }
    Ok(())
}

fn shifts() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-0.2..0.2, 12)
}

proptest! {
    #![proptest_config(crate::seeds::cases(16))]

    #[test]
    fn turning_the_whole_frame_changes_nothing(
        shifts in shifts(),
        axis in prop::collection::vec(-1.0..1.0f64, 3),
        angle in 0.1..3.0f64,
    ) {
        let frame = base(&shifts);
        let axis = Vector3::from_column_slice(&axis) + Vector3::repeat(1e-3);
        let turn = Rotation3::from_scaled_axis(axis.normalize() * angle);
        let turned = moved(&frame, |v| turn * v);
        let (one, other) = (solve(&frame, &asked()).unwrap(), solve(&turned, &asked()).unwrap());
        alike(&frequencies(&one), &frequencies(&other), 1e-7)?;
        let losses = |spectrum: &Spectrum| -> Vec<f64> {
            spectrum.elastic.iter().map(|mode| spectrum.loss_by_energy(mode)).collect()
        };
        alike(&losses(&one), &losses(&other), 1e-5)?;
    }

    #[test]
    fn a_mirrored_frame_sounds_the_same(shifts in shifts()) {
        let mut frame = base(&shifts);
        frame.sections[1] = square(0.05);
        let mirrored = moved(&frame, |v| Vector3::new(v.x, -v.y, v.z));
        let (one, other) = (solve(&frame, &asked()).unwrap(), solve(&mirrored, &asked()).unwrap());
        alike(&frequencies(&one), &frequencies(&other), 1e-7)?;
    }

    #[test]
    fn a_free_frame_has_six_rigid_body_modes(shifts in shifts()) {
        let mut frame = base(&shifts);
        frame.feet.clear();
        let spectrum = solve(&frame, &asked()).unwrap();
        prop_assert_eq!(spectrum.rigid.len(), 6);
        let first = spectrum.elastic[0].omega_squared;
        for rigid in &spectrum.pairs.omega_squared[..6] {
            prop_assert!(rigid.abs() < 1e-6 * first, "{} {}", rigid, first);
        }
        prop_assert!(spectrum.pairs.omega_squared[6] > 0.9 * first);
    }

    #[test]
    fn four_times_the_stiffness_doubles_the_frequencies(shifts in shifts()) {
        let frame = base(&shifts);
        let mut stiff = frame.clone();
        stiff.sections.iter_mut().for_each(|section| section.stiffness *= Complex64::from(4.0));
        for spring in stiff.joints.iter_mut().flat_map(|joint| joint.stiffness.iter_mut().flatten()) {
            *spring *= 4.0;
        }
        stiff.feet.iter_mut().for_each(|foot| foot.stiffness.iter_mut().for_each(|spring| *spring *= 4.0));
        let (one, other) = (solve(&frame, &asked()).unwrap(), solve(&stiff, &asked()).unwrap());
        let doubled: Vec<f64> = frequencies(&one).iter().map(|f| 2.0 * f).collect();
        alike(&doubled, &frequencies(&other), 1e-8)?;
    }

    #[test]
    fn shares_sum_to_one_and_losses_lie_between_those_of_the_parts(shifts in shifts()) {
        let frame = base(&shifts);
        let spectrum = solve(&frame, &asked()).unwrap();
        let answer = BuildModes::compute("base", &frame, &spectrum).unwrap();
        // Steel has 0.001; the joints and the front feet lose most, a tenth.
        for mode in &answer.modes {
            for shares in [&mode.energy_share, &mode.energy_by_kind, &mode.energy_by_material] {
                prop_assert!((shares.iter().map(|s| s.share).sum::<f64>() - 1.0).abs() < 1e-9);
            }
            for loss in [mode.loss_factor, mode.loss_factor_exact] {
                prop_assert!(loss > 0.001 && loss < 0.1, "{}", loss);
            }
        }
    }
}

#[test]
fn refinement_converges_at_the_fourth_order_and_the_correction_at_the_eighth() {
    // The second bending mode of a bar in one plane, so slender that bending alone matters.
    let mut frame = cantilever();
    for (i, stiff) in [(0, 1e3), (1, 1e6), (2, 1e6), (3, 1e3), (5, 1e3)] {
        frame.sections[0].stiffness[(i, i)] *= stiff;
    }
    let of = |pieces: usize| {
        let asked = Asked { count: 2, tolerance: 1e9, pieces: vec![pieces], ..Asked::default() };
        let spectrum = solve(&frame, &asked).unwrap();
        assert_eq!(spectrum.layout.pieces, [pieces]);
        (spectrum.pairs.omega_squared[1], spectrum.elastic[1].omega_squared)
    };
    let exact = of(64).1;
    let errors =
        [4, 8, 16].map(of).map(|(raw, corrected)| (raw / exact - 1.0, (corrected / exact - 1.0).abs()));
    for pair in errors.windows(2) {
        let (raw, corrected) = (pair[0].0 / pair[1].0, pair[0].1 / pair[1].1);
        assert!((14.0..18.0).contains(&raw), "{errors:?}");
        assert!(corrected > 100.0 || pair[1].1 < 1e-9, "{errors:?}");
    }
}
