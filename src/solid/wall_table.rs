//! How much do the walls of a pair of tubes give? From the table where it covers the pair, else solved once.
//!
//! `data/walls.csv` holds solutions by ratios: modulus of the fill over that of the metal, height of the chord over
//! its width, its width over its wall, wall of the brace over that of the chord, width of the brace over that of
//! the chord, length of the brace along the chord over its width across. Between them, the logarithms of the
//! flexibilities are interpolated by the polynomial through the points along each ratio, but by a line between the
//! two widest braces, of which the one stands on the side walls of the chord.
//!
//! The table states, for modulus E of the metal and width b of the chord,
//!
//! ```text
//! E b (F_push + l/8GA),   E b³ (F_in_plane + l/4EI),   E b³ (F_out_of_plane + l/2GJ)
//! ```
//!
//! with l the length of the brace along the chord, whose stiffness is that of the chord as a beam: sums that stay
//! positive where a wide brace stiffens the chord. A loss factor follows by the correspondence principle, to first
//! order in the difference of those of fill and metal.

use crate::assembly::Elastic;
use crate::walls::{BeamStiffness, TubeJoint, TubeSection, WallFlexibility};
use num_complex::Complex64;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

const BUILT_IN: &str = include_str!("../../data/walls.csv");

/// Poisson's ratio of metal and of fill in the table.
const POISSON: [f64; 2] = [0.3, 0.25];

/// Ratios beyond the outermost points by less than this factor are extrapolated.
const BEYOND: f64 = 1.5;

/// A brace is as wide as the chord within this part of its width.
const AS_WIDE: f64 = 0.015;

/// Two tubes of one metal, of which one, the brace, stands on the other, the chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallPair {
    /// The chord; its width is that of the face that the brace stands on, m.
    pub chord: TubeSection,
    /// The brace; its width is along the chord, m.
    pub brace: TubeSection,
    /// Complex Young's modulus of the metal, Pa.
    pub metal: Complex64,
    /// That of the fill of both, bonded.
    pub fill: Option<Complex64>,
    /// The chord as a beam.
    pub chord_beam: BeamStiffness,
    /// The brace as a beam.
    pub brace_beam: BeamStiffness,
}

/// As [`WallFlexibility`], with loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossyWall {
    /// m/N.
    pub push: Complex64,
    /// 1/(N m).
    pub in_plane: Complex64,
    /// 1/(N m).
    pub out_of_plane: Complex64,
    /// m.
    pub depth: f64,
}

/// Points of the table along its ratios.
struct Grid {
    axes: [Vec<f64>; 6],
    /// Logarithms of push, in plane and out of plane, and the depth over the chord's width.
    values: Vec<[f64; 4]>,
}

/// The axis of the brace's width, interpolated as it stands; the others by their logarithms.
const WIDTH: usize = 4;

impl Grid {
    /// The rows with fill, or those without.
    fn read(filled: bool) -> Grid {
        let number = |cell: &str| cell.parse::<f64>().unwrap_or(f64::NAN);
        let rows = BUILT_IN.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
        let rows: Vec<Vec<f64>> = rows
            .map(|line| line.split(',').map(number).collect::<Vec<f64>>())
            .filter(|row| row.len() == 10 && (row[0] > 0.0) == filled)
            .collect();
        let axis = |k: usize| {
            let mut all: Vec<f64> = rows.iter().map(|row| row[k]).collect();
            all.sort_by(f64::total_cmp);
            all.dedup();
            all
        };
        let axes = [0, 1, 2, 3, 4, 5].map(axis);
        let mut values = vec![[f64::NAN; 4]; axes.iter().map(Vec::len).product()];
        for row in &rows {
            let place = axes.iter().enumerate().fold(0, |place, (k, axis)| {
                place * axis.len() + axis.iter().position(|x| *x == row[k]).unwrap_or(0)
            });
            values[place] = [row[6].ln(), row[7].ln(), row[8].ln(), row[9]];
        }
        Grid { axes, values }
    }

    /// The interpolated values; `None` where the table does not cover the ratios.
    fn at(&self, ratios: &[f64; 6]) -> Option<[f64; 4]> {
        let mut weights: Vec<Vec<f64>> = Vec::with_capacity(6);
        for (k, (axis, &ratio)) in self.axes.iter().zip(ratios).enumerate() {
            let (first, last) = (*axis.first()?, *axis.last()?);
            if k == WIDTH {
                weights.push(by_width(axis, ratio)?);
            } else if first == last {
                weights.push(vec![1.0]);
            } else {
                (first / BEYOND..=last * BEYOND).contains(&ratio).then_some(())?;
                let logs: Vec<f64> = axis.iter().map(|x| x.ln()).collect();
                weights.push(lagrange(&logs, ratio.ln()));
            }
        }
        let mut sum = [0.0; 4];
        for (place, values) in self.values.iter().enumerate() {
            let mut rest = place;
            let mut weight = 1.0;
            for own in weights.iter().rev() {
                weight *= own[rest % own.len()];
                rest /= own.len();
            }
            if weight != 0.0 {
                sum.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
            }
        }
        sum.iter().all(|x| x.is_finite()).then_some(sum)
    }
}

/// Weights of the widths: a polynomial through all but the widest, and from the last of them to the widest a line.
fn by_width(axis: &[f64], ratio: f64) -> Option<Vec<f64>> {
    let (widest, narrower) = axis.split_last()?;
    let (first, last) = (narrower.first()?, narrower.last()?);
    (first - 0.03..=widest + AS_WIDE).contains(&ratio).then_some(())?;
    if ratio <= *last {
        return Some(lagrange(narrower, ratio).into_iter().chain([0.0]).collect());
    }
    let part = ((ratio - last) / (widest - last)).min(1.0);
    let mut weights = vec![0.0; axis.len()];
    weights[axis.len() - 1] = part;
    weights[axis.len() - 2] = 1.0 - part;
    Some(weights)
}

/// Weights of the values at `points` in the polynomial through them, at `x`.
fn lagrange(points: &[f64], x: f64) -> Vec<f64> {
    let weight = |(i, own): (usize, &f64)| {
        let others = points.iter().enumerate().filter(|(j, _)| *j != i);
        others.map(|(_, other)| (x - other) / (own - other)).product()
    };
    points.iter().enumerate().map(weight).collect()
}

impl WallPair {
    fn ratios(&self) -> [f64; 6] {
        let (chord, brace) = (self.chord, self.brace);
        let fill = self.fill.map_or(0.0, |fill| fill.re / self.metal.re);
        [
            fill,
            chord.height / chord.width,
            chord.width / chord.wall,
            brace.wall / chord.wall,
            brace.height / chord.width,
            brace.width / brace.height,
        ]
    }

    /// What the table says of it; `None` where it does not cover the pair.
    pub fn from_table(&self) -> Option<LossyWall> {
        static GRIDS: OnceLock<[Grid; 2]> = OnceLock::new();
        let grids = GRIDS.get_or_init(|| [Grid::read(false), Grid::read(true)]);
        let grid = &grids[usize::from(self.fill.is_some())];
        let ratios = self.ratios();
        let logs = grid.at(&ratios)?;
        // The change of the logarithms with that of the fill's modulus.
        let slopes = match self.fill {
            None => [0.0; 4],
            Some(_) => {
                let step = 1e-3_f64;
                let inward = if ratios[0] > 0.1 { -step } else { step };
                let mut other = ratios;
                other[0] *= inward.exp();
                let beside = grid.at(&other)?;
                [0, 1, 2, 3].map(|k| (beside[k] - logs[k]) / inward)
            }
        };
        Some(self.with_loss(&logs, &slopes))
    }

    /// The flexibilities of which `logs` are those of the table, with `slopes` over the logarithm of the fill's
    /// modulus.
    fn with_loss(&self, logs: &[f64; 4], slopes: &[f64; 4]) -> LossyWall {
        let loss = |modulus: Complex64| modulus.im / modulus.re;
        let apart = self.fill.map_or(0.0, |fill| loss(fill) - loss(self.metal));
        let width = self.chord.width;
        let of = |k: usize, scale: f64| {
            Complex64::new(1.0, slopes[k] * apart) * logs[k].exp() / (self.metal * scale)
        };
        let (length, beam) = (self.brace.width, self.chord_beam);
        LossyWall {
            push: of(0, width) - length / (8.0 * beam.ga[1]),
            in_plane: of(1, width.powi(3)) - length / (4.0 * beam.ei[1]),
            out_of_plane: of(2, width.powi(3)) - length / (2.0 * beam.gj),
            depth: logs[3] * width,
        }
    }

    /// The pair solved.
    fn solved(&self) -> Option<WallFlexibility> {
        let elastic = |modulus: f64, k: usize| Elastic::isotropic(modulus, POISSON[k], 1.0);
        let fill = self.fill.map(|fill| elastic(fill.re, 1));
        let joint = TubeJoint {
            chord: self.chord,
            brace: self.brace,
            metal: elastic(self.metal.re, 0),
            chord_fill: fill,
            brace_fill: fill,
            chord_beam: self.chord_beam,
            brace_beam: self.brace_beam,
            weld: 0.0,
            opposite: false,
        };
        joint.solve(ORDERS).ok()
    }

    /// A solution as the table states it; `None` where it is not positive.
    fn logs(&self, wall: &WallFlexibility) -> Option<[f64; 4]> {
        let (length, beam, width) = (self.brace.width, self.chord_beam, self.chord.width);
        let scale = self.metal.re * width;
        let sums = [
            scale * (wall.push + length / (8.0 * beam.ga[1].re)),
            scale * width.powi(2) * (wall.in_plane + length / (4.0 * beam.ei[1].re)),
            scale * width.powi(2) * (wall.out_of_plane + length / (2.0 * beam.gj.re)),
        ];
        let [push, in_plane, out_of_plane] = sums.map(f64::ln);
        let logs = [push, in_plane, out_of_plane, wall.depth / width];
        logs.iter().all(|x| x.is_finite()).then_some(logs)
    }
}

/// Orders of the grid along walls and across them.
const ORDERS: [usize; 2] = [3, 2];

/// What makes two pairs alike: hundreds of their ratios' logarithms.
type Key = [i64; 6];

/// Pairs that the table does not cover, each solved once, for whatever draw of its materials.
#[derive(Debug, Clone, Default)]
pub struct SolvedWalls {
    known: Arc<Mutex<HashMap<Key, Option<[f64; 4]>>>>,
}

impl SolvedWalls {
    /// What the walls of `pair` give; `None` where they cannot be solved. Where the table does not cover it, what a
    /// draw changes of the fill is scaled as the inverse of the modulus, and its loss is that of the metal.
    pub fn of(&self, pair: &WallPair) -> Option<LossyWall> {
        if let Some(found) = pair.from_table() {
            return Some(found);
        }
        let mut ratios = pair.ratios();
        ratios[0] = if ratios[0] > 0.0 { ratios[0].log2().round().exp2() } else { 1.0 };
        let key = ratios.map(|ratio| (100.0 * ratio.ln()).round() as i64);
        let lock = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let known = lock().get(&key).copied();
        let logs = known.unwrap_or_else(|| {
            let made = pair.solved().and_then(|wall| pair.logs(&wall));
            lock().insert(key, made);
            made
        })?;
        Some(pair.with_loss(&logs, &[0.0; 4]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::{Medium, Role};
    use stillbed_section::{Geometry, Part, Shape};

    /// A pair of sizes in mm, empty or filled with 30 GPa.
    fn pair(chord: [f64; 3], brace: [f64; 3], filled: bool) -> WallPair {
        let tube = |[width, height, wall]: [f64; 3]| TubeSection {
            width: 1e-3 * width,
            height: 1e-3 * height,
            wall: 1e-3 * wall,
        };
        let [chord, brace] = [chord, brace].map(tube);
        let metal = Complex64::new(210e9, 210e6);
        let fill = filled.then_some(Complex64::new(30e9, 0.6e9));
        let beam = |tube: TubeSection| {
            let TubeSection { width, height, wall } = tube;
            let media = [
                Medium::isotropic("metal", Role::Skeleton, 210e9, 0.3, 7850.0, 0.001),
                Medium::isotropic("fill", Role::Fill, 30e9, 0.25, 2300.0, 0.02),
            ];
            let mut parts = vec![Part::new(Shape::Tube { width, height, wall, radius: None }, 0)];
            if filled {
                parts.insert(0, Part::new(Shape::Rectangle { width, height }, 1));
            }
            let section = Geometry::fitted(parts, &media).unwrap().solve(&media, 1.0).unwrap();
            let at = |i: usize| section.as_stated.matrix[(i, i)];
            BeamStiffness { ea: at(0), ga: [at(1), at(2)], gj: at(3), ei: [at(5), at(4)] }
        };
        WallPair { chord, brace, metal, fill, chord_beam: beam(chord), brace_beam: beam(brace) }
    }

    #[test]
    fn between_its_points_the_table_gives_what_solids_give() {
        for pair in [
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], false),
            pair([80.0, 60.0, 3.0], [50.0, 30.0, 3.0], false),
            pair([50.0, 100.0, 4.0], [40.0, 20.0, 2.0], false),
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], true),
        ] {
            let (table, solid) = (pair.from_table().unwrap(), pair.solved().unwrap());
            assert_relative_eq!(table.push.re, solid.push, max_relative = 0.03);
            assert_relative_eq!(table.in_plane.re, solid.in_plane, max_relative = 0.03);
            assert_relative_eq!(table.out_of_plane.re, solid.out_of_plane, max_relative = 0.03);
            assert_relative_eq!(table.depth, solid.depth, epsilon = 0.01 * pair.chord.width);
        }
    }

    #[test]
    fn a_point_of_the_table_comes_back() {
        let grid = Grid::read(false);
        let logs = grid.at(&[0.0, 1.0, 18.0, 1.2, 0.6, 1.0]).unwrap();
        let row = BUILT_IN.lines().find(|line| line.starts_with("0,1,18,1.2,0.6,1,")).unwrap();
        let cells: Vec<f64> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
        assert_relative_eq!(logs[0].exp(), cells[6], max_relative = 1e-9);
        assert_relative_eq!(logs[3], cells[9], max_relative = 1e-9);
        assert!(grid.values.iter().flatten().all(|x| x.is_finite()));
    }

    #[test]
    fn the_loss_of_a_wall_lies_between_those_of_its_materials() {
        let loss = |x: Complex64| -x.im / x.re;
        let bare = pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], false).from_table().unwrap();
        assert_relative_eq!(loss(bare.in_plane), 0.001, max_relative = 1e-6);
        let filled = pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], true).from_table().unwrap();
        for one in [filled.in_plane, filled.out_of_plane] {
            assert!((0.001..0.02).contains(&loss(one)), "{one}");
        }
        // A push counts from the chord's side walls: a difference of two shifts, each of which lies between.
        assert!(loss(filled.push) > 0.001, "{}", filled.push);
    }

    #[test]
    fn a_chord_of_very_thin_walls_is_solved_once() {
        let store = SolvedWalls::default();
        let pair = pair([100.0, 100.0, 2.0], [40.0, 40.0, 2.0], false);
        assert!(pair.from_table().is_none());
        let first = store.of(&pair).unwrap();
        assert!(first.in_plane.re > 0.0);
        assert_eq!(store.of(&pair).unwrap(), first);
        assert_eq!(store.known.lock().unwrap().len(), 1);
    }
}
