//! Tests of `settle.rs`.

use super::super::modal::ModalMode;
use super::super::modal::tests::single;
use super::*;
use proptest::prelude::*;

fn model(modes: &[(f64, f64, f64)]) -> ModalModel {
    let modes = modes.iter().map(|(omega, loss, shape)| ModalMode::real(*omega, *loss, &[*shape])).collect();
    ModalModel::complete(modes, 1).unwrap()
}

#[test]
fn one_mode_settles_by_its_exponential() {
    // J / (m w) = 0.2 / (40 * 500) = 10 um falls to 1 um after ln 10 / (eta w / 2).
    let decay = FreeDecay::after_impulse(&single(1e7, 40.0, 0.02), 0, &[0], 0.2);
    let start = 1e-5 / (1f64 - 1e-4).sqrt();
    approx::assert_relative_eq!(decay.envelope(0.0), start, max_relative = 1e-12);
    let settle = decay.settle(1e-6);
    approx::assert_relative_eq!(settle.time.unwrap(), (start / 1e-6).ln() / 5.0, max_relative = 1e-9);
    assert_eq!(settle.mode, Some(0));
    assert_eq!(decay.settle(0.0).time, None);
    assert_eq!(decay.settle(2e-5), Settle { time: Some(0.0), mode: Some(0) });
    approx::assert_relative_eq!(decay.motion(0, 0.0), 0.0);
}

#[test]
fn motion_is_the_step_of_its_own_equation() {
    // x'' + 2 zeta w x' + w^2 x = 0 with x'(0) = J/m, by central differences.
    let decay = FreeDecay::after_impulse(&single(1e7, 40.0, 0.2), 0, &[0], 0.2);
    let (h, t) = (1e-5, 0.0037);
    let x = |t: f64| decay.motion(0, t);
    let second = (x(t + h) - 2.0 * x(t) + x(t - h)) / (h * h);
    let first = (x(t + h) - x(t - h)) / (2.0 * h);
    let rest = second + 0.2 * 500.0 * first + 250_000.0 * x(t);
    assert!(rest.abs() < 1e-4 * 250_000.0 * 1e-5, "{rest}");
    approx::assert_relative_eq!((x(h) - x(-h)) / (2.0 * h), 0.2 / 40.0, max_relative = 1e-4);
}

#[test]
fn without_loss_nothing_settles_unless_it_is_small() {
    let still = model(&[(500.0, 0.02, 1.0), (900.0, 0.0, 0.01)]);
    let decay = FreeDecay::after_impulse(&still, 0, &[0], 1.0);
    // 0.01^2 / 900 = 0.11 um lasts for ever.
    assert_eq!(decay.settle(1e-7), Settle { time: None, mode: Some(1) });
    assert!(decay.settle(1e-6).time.is_some());
}

#[test]
fn a_floating_base_drifts_only_where_it_is_seen() {
    let modes = vec![ModalMode::real(0.0, 0.0, &[0.1, 0.0]), ModalMode::real(500.0, 0.02, &[0.3, 0.4])];
    let floating = ModalModel::complete(modes, 2).unwrap();
    let seen = FreeDecay::after_impulse(&floating, 0, &[0], 1.0);
    assert!(seen.drifts() && seen.settle(1e-6).time.is_none());
    let unseen = FreeDecay::after_impulse(&floating, 0, &[1], 1.0);
    assert!(!unseen.drifts() && unseen.settle(1e-6).time.is_some());
}

#[test]
fn two_modes_in_beat_settle_at_the_last_of_the_beats() {
    let beating = model(&[(500.0, 0.004, 1.0), (510.0, 0.004, 0.9)]);
    let decay = FreeDecay::after_impulse(&beating, 0, &[0], 1.0);
    let settle = decay.settle(1e-3).time.unwrap();
    approx::assert_relative_eq!(decay.envelope(settle), 1e-3, max_relative = 1e-6);
    let later = (1..40_000).map(|i| decay.envelope(settle + 1e-4 * f64::from(i))).fold(0.0, f64::max);
    assert!(later <= 1e-3, "{later}");
    assert!(decay.bound(settle) > 1e-3);
}

#[test]
fn heavy_loss_is_computed_too() {
    let heavy = FreeDecay::after_impulse(&model(&[(500.0, 8.0, 1.0)]), 0, &[0], 1.0);
    assert!(heavy.settle(1e-6).time.unwrap().is_finite());
}

#[test]
fn a_tap_of_some_length_moves_as_its_modes_do_and_goes_on_smoothly() {
    let model = model(&[(500.0, 0.02, 1.0), (4000.0, 0.01, 0.7)]);
    let blow = Blow { impulse: 1.0, duration: 2e-3 };
    let (tap, ideal) =
        (FreeDecay::after_blow(&model, 0, &[0], blow), FreeDecay::after_impulse(&model, 0, &[0], 1.0));
    // The fast mode, w T / π = 2.546, keeps |cos 4| / (2.546² - 1) = 0.119 of its amplitude after an impulse.
    let kept = tap.lines()[1].1 / ideal.lines()[1].1;
    approx::assert_relative_eq!(kept, 0.1192, max_relative = 0.05);
    // The velocity is at most 1 + 0.7² m/s.
    let step = tap.motion(0, 2e-3 - 1e-9) - tap.motion(0, 2e-3);
    assert!(step.abs() < 1.5e-9, "{step}");
    assert_eq!(tap.motion(0, 0.0), 0.0);
    for i in 0..400 {
        let time = 1e-5 * f64::from(i);
        assert!(tap.motion(0, time).abs() <= tap.envelope(time) * (1.0 + 1e-9));
        assert!(tap.envelope(time) <= tap.bound(time) * (1.0 + 1e-9));
    }
    // A tap that lasts three periods: w T / π = 3.18 leaves |cos 5| / (3.18² - 1) = 0.031 of the amplitude
    // after an impulse; during the tap the deflection is larger, 500 π / (2 T w²) = 0.157 of it.
    let push = FreeDecay::after_blow(&model, 0, &[0], Blow { impulse: 1.0, duration: 20e-3 });
    let most = (0..200).map(|i| push.envelope(1e-4 * f64::from(i))).fold(0.0, f64::max);
    assert!(most > 0.15 / 500.0, "{most}");
    let last = push.settle(0.5 * most).time.unwrap();
    assert!((5e-3..20e-3).contains(&last), "{last}");
    assert_eq!(push.settle(2.0 * most).time, Some(0.0));
}

#[test]
fn what_gives_way_at_once_follows_the_force() {
    let still = ModalModel::new(vec![], nalgebra::DMatrix::from_element(1, 1, Complex64::from(1e-6)));
    let blow = Blow { impulse: 0.2, duration: 1e-3 };
    let decay = FreeDecay::after_blow(&still.unwrap(), 0, &[0], blow);
    // The force is π J / (2 T) = 314 N at the middle.
    approx::assert_relative_eq!(decay.motion(0, 5e-4), 3.1416e-4, max_relative = 1e-4);
    assert_eq!(decay.motion(0, 1e-3), 0.0);
}

#[test]
fn the_settle_time_moves_no_further_than_its_error_when_the_lump_is_a_mode() {
    let modes = [(500.0, 0.02, 1.0), (4000.0, 0.004, 0.1)];
    let all = FreeDecay::after_impulse(&model(&modes), 0, &[0], 1.0);
    let lump = vec![ModalMode::real(4000.0, 0.004, &[0.1]).into()];
    let few = FreeDecay::after_impulse(&model(&modes[..1]).with_left_out(lump), 0, &[0], 1.0);
    approx::assert_relative_eq!(few.left_out(0.0), 0.01 / 4000.0, max_relative = 1e-5);
    for amplitude in [1e-3, 1e-4, 2e-5, 1e-5, 1e-6] {
        let [whole, part] = [&all, &few].map(|d| d.settle(amplitude).time.unwrap());
        let error = few.settle_with_errors(amplitude).error();
        assert!((whole - part).abs() <= error * (1.0 + 1e-9) + 1e-9, "{amplitude}: {whole} {part} {error}");
        assert!(error < 0.6 * whole, "{amplitude}: {error} {whole}");
    }
    assert_eq!(all.settle_with_errors(1e-5).left_out, 0.0);
}

#[test]
fn a_beat_that_just_comes_back_is_part_of_the_error() {
    // Two modes of equal size beat with the period 2 π / 10 s: the envelope has lobes that fall slowly.
    let decay = FreeDecay::after_impulse(&model(&[(500.0, 0.002, 1.0), (510.0, 0.002, 1.0)]), 0, &[0], 1.0);
    // The top of the fourth lobe.
    let (lobe, top) = (1600..2200)
        .map(|i| 1e-3 * f64::from(i))
        .map(|time| (time, decay.envelope(time)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap();
    let [under, over] = [0.9995 * top, 1.0005 * top].map(|limit| (limit, decay.settle(limit).time.unwrap()));
    assert!(under.1 >= lobe && over.1 < lobe - 0.2, "{lobe}: {under:?} {over:?}");
    for (limit, time) in [under, over] {
        let settled = decay.settle_with_errors(limit);
        approx::assert_relative_eq!(settled.settle.time.unwrap(), time, max_relative = 1e-8);
        assert!(settled.beats > 0.9 * (under.1 - over.1));
        assert_eq!(settled.left_out, 0.0);
    }
    // Half way down a lobe there is no jump.
    let half = 0.5 * top;
    assert!(decay.settle_with_errors(half).error() < 5e-3);
}

#[test]
fn a_beat_that_slightly_other_losses_bring_back_is_part_of_the_error() {
    let with = |part: f64| {
        let loss = 0.02 * part;
        FreeDecay::after_impulse(&model(&[(500.0, loss, 1.0), (510.0, loss, 1.0)]), 0, &[0], 1.0)
    };
    let [less, stated, more] = [0.999, 1.0, 1.001].map(with);
    // Limits around the top of the fourth lobe, where the motion has fallen by exp(9.5).
    let top = (1600..2200).map(|i| stated.envelope(1e-3 * f64::from(i))).fold(0.0, f64::max);
    let mut jumps = 0;
    for limit in (0..60).map(|i| (0.97 + 1e-3 * f64::from(i)) * top) {
        let settled = stated.settle_with_errors(limit);
        let time = settled.settle.time.unwrap();
        for other in [&less, &more] {
            let off = (other.settle(limit).time.unwrap() - time).abs();
            jumps += usize::from(off > 0.1);
            assert!(off <= settled.error() + 1e-9, "{}: off by {off}, said {settled:?}", limit / top);
        }
    }
    assert!(jumps > 5, "{jumps}");
}

#[test]
fn a_lump_that_is_over_early_leaves_hardly_an_error() {
    // The lump is an eighth of the limit at first. It decays at 20 1/s, the mode at 5 1/s: the error is the time in which
    // the mode falls by what is left of the lump then.
    let lump = vec![ModalMode::real(4000.0, 0.01, &[0.25]).into()];
    let few = FreeDecay::after_impulse(&model(&[(500.0, 0.02, 1.0)]).with_left_out(lump), 0, &[0], 1.0);
    let settled = few.settle_with_errors(1.25e-4);
    let time = settled.settle.time.unwrap();
    let left = few.left_out(0.0) * (-20.0 * time).exp();
    assert!(few.left_out(0.0) > 0.07 * 1.25e-4 && left > 1e-6 * 1.25e-4, "{left}");
    // Taken a tenth of the time earlier at most.
    let most = left * (20.0 * 0.1 * time).exp() / 1.25e-4 / 5.0;
    assert!(settled.left_out > 0.0 && settled.left_out <= 1.1 * most, "{settled:?} {most}");
}

#[test]
fn the_bend_of_modes_that_turn_together_is_their_own() {
    // The square of a sum of exponentials without beats, (sum Z exp(-d t))²: its second derivative at 0.
    let modes = [(500.0, 0.02, 1.0), (500.0, 0.2, 0.5), (500.0, 0.06, 0.8)];
    let mut decay = FreeDecay::after_impulse(&model(&modes), 0, &[0], 1.0);
    let omega = decay.terms[0].omega;
    decay.terms.iter_mut().for_each(|term| term.omega = omega);
    let sum = |power: i32| decay.terms.iter().map(|term| term.size * term.decay.powi(power)).sum::<f64>();
    let second = 2.0 * sum(1) * sum(1) + 2.0 * sum(0) * sum(2);
    approx::assert_relative_eq!(decay.bend(0.0), second, max_relative = 1e-12);
}

fn any_modes() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    prop::collection::vec((100.0..5000.0f64, 0.001..0.3f64, -1.0..1.0f64), 1..9)
}

proptest! {
    #![proptest_config(crate::seeds::cases(60))]

    #[test]
    fn a_smaller_amplitude_never_settles_earlier(
        modes in any_modes(),
        shares in prop::collection::vec(1e-5..1.0f64, 6),
    ) {
        let decay = FreeDecay::after_impulse(&model(&modes), 0, &[0], 1.0);
        let start = decay.bound(0.0);
        prop_assume!(start > 0.0);
        let mut shares = shares;
        shares.sort_by(f64::total_cmp);
        let times: Vec<f64> = shares.iter().map(|s| decay.settle(s * start).time.unwrap()).collect();
        for pair in times.windows(2) {
            prop_assert!(pair[0] >= pair[1], "{times:?}");
        }
    }

    #[test]
    fn after_settling_a_fine_scan_finds_nothing(modes in any_modes(), share in 1e-3..0.5f64) {
        let decay = FreeDecay::after_impulse(&model(&modes), 0, &[0], 1.0);
        let amplitude = share * decay.bound(0.0);
        prop_assume!(amplitude > 0.0);
        let time = decay.settle(amplitude).time.unwrap();
        for i in 1..4000 {
            let t = time + 2e-5 * f64::from(i);
            prop_assert!(decay.envelope(t) <= amplitude * (1.0 + 1e-9));
            prop_assert!(decay.motion(0, t).abs() <= amplitude * (1.0 + 1e-9));
        }
        if time > 0.0 {
            prop_assert!((decay.envelope(time) / amplitude - 1.0).abs() < 1e-6);
        }
    }
}
