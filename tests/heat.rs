//! Temperatures of castings compared with explicit finite differences written out for each case.

use approx::assert_abs_diff_eq;
use stillbed::study::pour::{
    CastShape, Casting, Cell, End, Face, Fill, Kinetics, Laying, Room, Solid, Standing,
};

const K: f64 = 1.4;
const RHO_C: f64 = 1.79e6;
const HEAT: f64 = 1.64e8;
const RATE: f64 = 9e5;
const THETA: f64 = 7000.0;
const START: f64 = 293.15;
/// Heat transfer of an open face, W/(m2 K); below, the resistance of boards of 6 mm, m2 K/W.
const AIR: f64 = 8.0;
const BOARD: f64 = 0.006 / 0.13;

fn fill() -> Fill {
    let kinetics = Kinetics {
        rate_constant: RATE,
        activation_temperature: THETA,
        start_order: 0.5,
        end_order: 1.5,
        seed: 0.01,
    };
    Fill { conductivity: K, heat_capacity: RHO_C, heat: HEAT, kinetics }
}

const ROOM: Room = Room { mean: START, swing: 0.0, start: 0.0 };

/// Increase of the degree of cure from `alpha` in time `dt` at temperature `t`.
fn cured(alpha: f64, t: f64, dt: f64) -> f64 {
    (dt * RATE * (-THETA / t).exp() * (alpha + 0.01).sqrt() * (1.0 - alpha).max(0.0).powf(1.5))
        .min(1.0 - alpha)
}

/// Cells of a lift of 95 mm. The lower lift is hottest at its top, on the face between two cells of the same
/// temperature.
const CELLS: usize = 38;

/// Two lifts of 95 mm on boards, the second placed `wait` (s) after the first: the peak of each, K.
fn two_lifts(wait: f64) -> [f64; 2] {
    let (cells, dx, dt) = (CELLS, 0.095 / CELLS as f64, 0.25);
    let u = |resistance: f64| 1.0 / (resistance + 0.5 * dx / K);
    let (foot, top) = (u(1.0 / AIR + BOARD), u(1.0 / AIR));
    let (mut t, mut alpha) = (vec![START; cells], vec![0.0; cells]);
    let mut hottest = [START; 2];
    for step in 0..((wait + 60_000.0) / dt) as usize {
        if t.len() == cells && step as f64 * dt >= wait {
            t.resize(2 * cells, START);
            alpha.resize(2 * cells, 0.0);
        }
        let n = t.len();
        let flow: Vec<f64> = (0..=n)
            .map(|face| match face {
                0 => foot * (START - t[0]),
                f if f == n => top * (t[n - 1] - START),
                f => K / dx * (t[f - 1] - t[f]),
            })
            .collect();
        for i in 0..n {
            let more = cured(alpha[i], t[i], dt);
            alpha[i] += more;
            t[i] += (dt * (flow[i] - flow[i + 1]) / dx + HEAT * more) / RHO_C;
            let lift = i / cells;
            hottest[lift] = hottest[lift].max(t[i]);
        }
    }
    hottest
}

#[test]
fn a_lift_on_another_at_its_hottest_runs_hotter() {
    let of = |wait: f64| {
        let mut casting = Casting::slab(
            0.19,
            2 * CELLS,
            [Face { air: AIR, board: BOARD }, Face { air: AIR, board: 0.0 }],
            START,
            START,
        );
        casting.lifts = [0.0, wait].map(|at| Laying { at, layers: CELLS }).to_vec();
        let found = casting.cure(&fill(), End::Cured, 0.02);
        assert!(found.balance.abs() < 1e-9, "{}", found.balance);
        found.lifts.iter().map(|lift| lift.peak).collect::<Vec<f64>>()
    };
    for hours in [6.0, 9.0, 24.0] {
        let (found, expected) = (of(hours * 3600.0), two_lifts(hours * 3600.0));
        for (found, expected) in found.iter().zip(expected) {
            assert_abs_diff_eq!(*found, expected, epsilon = 0.2);
        }
    }
    let [soon, late] = [9.0, 48.0].map(|hours| of(hours * 3600.0));
    assert!(soon[1] > late[1] + 30.0 && late[1] < late[0] + 1.0, "{soon:?} {late:?}");
}

/// A cube of 150 mm in boards, open at the top, as a quarter model: its peak temperature, K.
fn cube() -> f64 {
    let (wide, high, dx, dt) = (15, 30, 5e-3, 2.0);
    let u = |resistance: f64| 1.0 / (resistance + 0.5 * dx / K);
    let (boards, top) = (u(1.0 / AIR + BOARD), u(1.0 / AIR));
    let at = |x: usize, y: usize, z: usize| (z * wide + y) * wide + x;
    let all = wide * wide * high;
    let (mut t, mut alpha, mut hottest) = (vec![START; all], vec![0.0; all], START);
    for _ in 0..(60_000.0 / dt) as usize {
        let before = t.clone();
        let mut warmest = 0.0f64;
        for z in 0..high {
            for y in 0..wide {
                for x in 0..wide {
                    let i = at(x, y, z);
                    let own = before[i];
                    let next = |j: usize| K / dx * (before[j] - own);
                    let mut comes = 0.0;
                    // The planes of symmetry are at x = 0 and y = 0.
                    comes += if x > 0 { next(i - 1) } else { 0.0 };
                    comes += if y > 0 { next(i - wide) } else { 0.0 };
                    comes += if x + 1 < wide { next(i + 1) } else { boards * (START - own) };
                    comes += if y + 1 < wide { next(i + wide) } else { boards * (START - own) };
                    comes += if z > 0 { next(i - wide * wide) } else { boards * (START - own) };
                    comes += if z + 1 < high { next(i + wide * wide) } else { top * (START - own) };
                    let more = cured(alpha[i], own, dt);
                    alpha[i] += more;
                    t[i] = own + (dt * comes / dx + HEAT * more) / RHO_C;
                    warmest = warmest.max(t[i]);
                }
            }
        }
        hottest = f64::max(hottest, warmest);
    }
    hottest
}

#[test]
fn a_cube_passes_heat_by_all_its_sides() {
    let standing = Standing { air: AIR, board: BOARD, start: START, room: ROOM };
    let peak = |shape: CastShape| shape.grid(1, 0.0, 6, &standing).cure(&fill(), End::Cured, 0.02).peak();
    let found = peak(CastShape::block("cube", [0.15; 3], 0.003375));
    assert_abs_diff_eq!(found, cube(), epsilon = 0.3);
    assert!(peak(CastShape::slab("bed", 0.15, 1.0)) > found + 20.0);
}

/// A bar of 60 mm around an aluminium bar of 20 mm, wide, insulated at its ends: peak of the mix, K.
fn cored() -> f64 {
    let (wide, metal, dx, dt) = (60, 20, 1e-3, 0.004);
    let (k_metal, rho_c_metal) = (170.0, 2.4e6);
    let is_metal = |i: usize| i < metal / 2;
    let half = wide / 2;
    let (mut t, mut alpha, mut hottest) = (vec![START; half], vec![0.0; half], START);
    for _ in 0..(60_000.0 / dt) as usize {
        let resistance = |i: usize| 0.5 * dx / if is_metal(i) { k_metal } else { K };
        let mut comes = 0.0;
        for i in 0..half {
            let goes = if i + 1 < half {
                (t[i] - t[i + 1]) / (resistance(i) + resistance(i + 1))
            } else {
                (t[i] - START) / (1.0 / AIR + resistance(i))
            };
            let (more, rho_c) =
                if is_metal(i) { (0.0, rho_c_metal) } else { (cured(alpha[i], t[i], dt), RHO_C) };
            alpha[i] += more;
            t[i] += (dt * (comes - goes) / dx + HEAT * more) / rho_c;
            comes = goes;
            if !is_metal(i) {
                hottest = f64::max(hottest, t[i]);
            }
        }
    }
    hottest
}

#[test]
fn metal_within_takes_its_heat() {
    let (half, core) = (30, 10);
    let casting = |cells: Vec<Cell>| Casting {
        widths: [vec![1.0], vec![1.0], vec![1e-3; half]],
        cells,
        solids: vec![Solid { conductivity: 170.0, heat_capacity: 2.4e6 }],
        faces: [[Face::SHUT; 2], [Face::SHUT; 2], [Face::SHUT, Face { air: AIR, board: 0.0 }]],
        lifts: vec![Laying { at: 0.0, layers: half }],
        start: START,
        room: ROOM,
    };
    let of = |place: usize| if place < core { Cell::Solid(0) } else { Cell::Fill };
    let found = casting((0..half).map(of).collect()).cure(&fill(), End::Cured, 0.02).peak();
    assert_abs_diff_eq!(found, cored(), epsilon = 0.2);
    let bare = casting(vec![Cell::Fill; half]).cure(&fill(), End::Cured, 0.02).peak();
    assert!(bare > found + 1.0, "{bare} {found}");
}
