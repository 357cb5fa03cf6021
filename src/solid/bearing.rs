//! How much does a solid member give under the end of a tube that stands on it? From a table of solutions.
//!
//! `data/bearings.csv` holds solutions by ratios: modulus of the chord over that of the tube's metal, width and height
//! of the chord, wall of the tube and its length along the chord, all over the tube's width across the chord; for tubes
//! that are empty and for tubes filled with what the chord is made of. Between them the inverse hyperbolic sines are
//! interpolated by the polynomials through the points, over the logarithms of the ratios, of the chord's width over
//! its inverse. Beyond the outermost points little changes: a chord wider than four widths of the tube or deeper
//! than three is a half-space to it, and the last solution stays.
//!
//! The table states, for modulus E of the chord and width b of the tube across it,
//!
//! ```text
//! E b (F_push + B),   E b³ (F_in_plane + B),   E b³ (F_out_of_plane + B)
//! ```
//!
//! with B the flexibilities, by elementary beam theory, of the stretch of the chord under the tube: sums that stay
//! positive where the tube stiffens the chord. A loss factor follows by the correspondence principle, to first order
//! in the difference of those of chord and metal.

use crate::assembly::Elastic;
use crate::tube_beams::beneath;
use crate::tube_joint::{BeamStiffness, ChordEnd, TubeJoint, TubeSection};
use crate::wall_table::{LossyWall, by_logarithms, lagrange, products};
use num_complex::Complex64;
use std::sync::OnceLock;

const BUILT_IN: &str = include_str!("../../data/bearings.csv");

/// Poisson's ratios of the tube's metal and of the chord in the table.
const POISSON: [f64; 2] = [0.3, 0.25];

/// Ratios beyond the outermost points are extrapolated up to this factor.
const BEYOND: f64 = 1.5;

/// Orders of the grid along walls and across them.
const ORDERS: [usize; 2] = [3, 2];

/// A tube on a solid chord of rectangular section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bearing {
    /// Width of the chord in the face that the tube stands on, and its height, m.
    pub chord: [f64; 2],
    /// Complex Young's modulus of the chord, Pa.
    pub modulus: Complex64,
    /// The tube; its width is along the chord, m.
    pub tube: TubeSection,
    /// Complex Young's modulus of its metal, Pa.
    pub metal: Complex64,
    /// Whether it is filled.
    pub filled: bool,
}

/// Push, in plane and out of plane as the table states them, and the depth of the axis over the tube's width.
type Solved = [f64; 4];

/// The ratios of one kind of tube with all their combinations.
struct Grid {
    axes: [Vec<f64>; 5],
    values: Vec<Solved>,
}

/// Place of the chord's modulus among the ratios, and of its width.
const MODULUS: usize = 0;
const WIDTH: usize = 1;

impl Grid {
    /// The grids of empty and of filled tubes.
    fn get() -> &'static [Grid; 2] {
        static GRIDS: OnceLock<[Grid; 2]> = OnceLock::new();
        GRIDS.get_or_init(|| {
            let row = |line: &str| line.split(',').map(|x| x.parse().ok()).collect::<Option<Vec<f64>>>();
            let rows: Vec<Vec<f64>> =
                BUILT_IN.lines().filter_map(row).filter(|row| row.len() == 10).collect();
            [0.0, 1.0].map(|filled| Grid::of(rows.iter().filter(|row| row[0] == filled)))
        })
    }

    fn of<'r>(rows: impl Iterator<Item = &'r Vec<f64>> + Clone) -> Grid {
        let axes = [1, 2, 3, 4, 5].map(|column: usize| {
            let mut all: Vec<f64> = rows.clone().map(|row| row[column]).collect();
            all.sort_by(f64::total_cmp);
            all.dedup();
            all
        });
        let mut values = vec![[f64::NAN; 4]; axes.iter().map(Vec::len).product()];
        for row in rows {
            let place = axes.iter().enumerate().fold(0, |place, (k, axis)| {
                place * axis.len() + axis.iter().position(|x| *x == row[1 + k]).unwrap_or(0)
            });
            values[place].copy_from_slice(&row[6..]);
        }
        Grid { axes, values }
    }

    fn at(&self, ratios: &[f64; 5]) -> Solved {
        let weights: Vec<Vec<f64>> = (self.axes.iter().zip(ratios).enumerate())
            .map(|(k, (axis, ratio))| {
                let inverse: Vec<f64> = axis.iter().map(|x| 1.0 / x).collect();
                if k == WIDTH { lagrange(&inverse, 1.0 / ratio) } else { by_logarithms(axis, *ratio) }
            })
            .collect();
        let mut sum = [0.0; 4];
        for (values, weight) in self.values.iter().zip(products(&weights)) {
            (0..3).for_each(|k| sum[k] += weight * values[k].asinh());
            sum[3] += weight * values[3];
        }
        [sum[0].sinh(), sum[1].sinh(), sum[2].sinh(), sum[3]]
    }

    /// `ratios` as far as the table reaches: it goes on a little beyond its last moduli, walls and lengths and flatter
    /// chords, and stops at its widest and highest chord.
    fn limited(&self, ratios: &[f64; 5]) -> [f64; 5] {
        std::array::from_fn(|k| {
            let axis = &self.axes[k];
            let (first, last) = (axis.first().copied().unwrap_or(1.0), axis.last().copied().unwrap_or(1.0));
            match k {
                WIDTH => ratios[k].clamp(first, last),
                2 => ratios[k].clamp(first / BEYOND, last),
                _ => ratios[k].clamp(first / BEYOND, last * BEYOND),
            }
        })
    }
}

impl Bearing {
    fn ratios(&self) -> [f64; 5] {
        let across = self.tube.height;
        [
            self.modulus.re / self.metal.re,
            self.chord[0] / across,
            self.chord[1] / across,
            self.tube.wall / across,
            self.tube.width / across,
        ]
    }

    /// Flexibilities of the stretch under the tube of a chord of this `width` and `height`: along the tube, in the
    /// plane of both, and about the chord.
    fn beneath(&self, width: f64, height: f64) -> [Complex64; 4] {
        let shear = self.modulus / (2.0 * (1.0 + POISSON[1]));
        let (area, long, short) = (width * height, width.max(height), width.min(height));
        // St Venant's torsion of a rectangle, to half a per cent (from memory).
        let torsion =
            long * short.powi(3) * (1.0 / 3.0 - 0.21 * short / long * (1.0 - (short / long).powi(4) / 12.0));
        let chord = BeamStiffness {
            ea: self.modulus * area,
            ga: [shear * (area / 1.2); 2],
            gj: shear * torsion,
            ei: [self.modulus * (area * width.powi(2) / 12.0), self.modulus * (area * height.powi(2) / 12.0)],
        };
        beneath(ChordEnd::RunsOn, self.tube.width, &chord)
    }

    /// What the chord gives at its face beyond beams, by the table; it neither twists with the tube nor leans.
    pub fn flexibility(&self) -> LossyWall {
        let grid = &Grid::get()[usize::from(self.filled)];
        let ratios = grid.limited(&self.ratios());
        let wall = grid.at(&ratios);
        // Its relative change with the chord's modulus.
        let step = 1e-3_f64;
        let mut beside = ratios;
        beside[MODULUS] *= step.exp();
        let beside = grid.at(&beside);
        let across = self.tube.height;
        let beneath = self.beneath(ratios[WIDTH] * across, ratios[2] * across);
        let loss = |modulus: Complex64| modulus.im / modulus.re;
        let apart = loss(self.modulus) - loss(self.metal);
        let of = |k: usize, scale: f64| {
            let slope = if wall[k] == 0.0 { 0.0 } else { (beside[k] / wall[k] - 1.0) / step };
            Complex64::new(1.0, slope * apart) * wall[k] / (self.modulus * scale) - beneath[k]
        };
        LossyWall {
            push: of(0, across),
            in_plane: of(1, across.powi(3)),
            out_of_plane: of(2, across.powi(3)),
            twist: Complex64::default(),
            leaning: Complex64::default(),
            depth: wall[3] * across,
        }
    }

    /// The same solved as the table states it, for the two as beams; `None` where it cannot be solved.
    pub fn solved(&self, chord_beam: BeamStiffness, tube_beam: BeamStiffness) -> Option<[f64; 4]> {
        let [width, height] = self.chord;
        let elastic = |modulus: f64, k: usize| Elastic::isotropic(modulus, POISSON[k], 1.0);
        let own = elastic(self.modulus.re, 1);
        let joint = TubeJoint {
            // The grid is as fine beneath the face as in the tube's wall.
            chord: TubeSection { width, height, wall: self.tube.wall },
            brace: self.tube,
            metal: elastic(self.metal.re, 0),
            chord_fill: Some(own),
            solid: true,
            brace_fill: self.filled.then_some(own),
            chord_beam,
            brace_beam: tube_beam,
            fill_loss: 0.0,
            weld: 0.0,
            opposite: false,
            end: ChordEnd::RunsOn,
        };
        let wall = joint.solve(ORDERS).ok()?.wall;
        let beneath = self.beneath(width, height);
        let across = self.tube.height;
        let scale = [1, 3].map(|power| self.modulus.re * across.powi(power));
        let sums = [
            scale[0] * (wall.push + beneath[0].re),
            scale[1] * (wall.in_plane + beneath[1].re),
            scale[1] * (wall.out_of_plane + beneath[2].re),
            (wall.depth / across).clamp(-1.0, 1.0),
        ];
        sums.iter().all(|x| x.is_finite()).then_some(sums)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::{Medium, Role};
    use stillbed_section::{Geometry, Part, Shape};

    /// A tube on a chord, sizes in mm, modulus of the chord in GPa.
    fn bearing(chord: [f64; 2], modulus: f64, tube: [f64; 3], filled: bool) -> Bearing {
        let [width, height, wall] = tube.map(|x| 1e-3 * x);
        Bearing {
            chord: chord.map(|x| 1e-3 * x),
            modulus: Complex64::new(1e9 * modulus, 2e7 * modulus),
            tube: TubeSection { width, height, wall },
            metal: Complex64::new(210e9, 42e6),
            filled,
        }
    }

    impl Bearing {
        fn beam(&self, of_tube: bool) -> BeamStiffness {
            let media = [
                Medium::isotropic("metal", Role::Skeleton, self.metal.re, 0.3, 7850.0, 0.0),
                Medium::isotropic("chord", Role::Fill, self.modulus.re, 0.25, 2300.0, 0.0),
            ];
            let TubeSection { width, height, wall } = self.tube;
            let tube = Part::new(Shape::Tube { width, height, wall, radius: None }, 0);
            let solid = |width: f64, height: f64| Part::new(Shape::Rectangle { width, height }, 1);
            let parts = match (of_tube, self.filled) {
                (false, _) => vec![solid(self.chord[0], self.chord[1])],
                (true, false) => vec![tube],
                (true, true) => vec![solid(width, height), tube],
            };
            let section = Geometry::fitted(parts, &media).unwrap().solve(&media, 1.0).unwrap();
            let at = |i: usize| section.as_stated.matrix[(i, i)];
            BeamStiffness { ea: at(0), ga: [at(1), at(2)], gj: at(3), ei: [at(5), at(4)] }
        }
    }

    /// A rigid square of side b rocks on a half-space of ν = 0.25 with E b³ F of about 4.2 (the formula for
    /// square footings, from memory).
    #[test]
    fn a_stiff_tube_rocks_like_a_square_on_a_half_space() {
        let own = bearing([400.0, 300.0], 10.0, [100.0, 100.0, 10.0], true);
        let wall = own.flexibility();
        let rocking = |flexibility: Complex64| (flexibility * own.modulus).re * 1e-3;
        for found in [rocking(wall.in_plane), rocking(wall.out_of_plane)] {
            assert!((2.5..4.5).contains(&found), "{found}");
        }
        // Nearly all of it is the chord's; a difference of two flexibilities may lose a little more than either.
        let loss = -wall.in_plane.im / wall.in_plane.re;
        assert_relative_eq!(loss, 0.02, max_relative = 0.05);
    }

    #[test]
    fn between_its_points_the_table_gives_what_solids_give() {
        for own in [
            bearing([200.0, 120.0], 30.0, [100.0, 100.0, 4.0], false),
            bearing([200.0, 120.0], 30.0, [100.0, 100.0, 4.0], true),
            bearing([120.0, 200.0], 20.0, [60.0, 80.0, 5.0], false),
        ] {
            let solved = own.solved(own.beam(false), own.beam(true)).unwrap();
            let grid = &Grid::get()[usize::from(own.filled)];
            let table = grid.at(&grid.limited(&own.ratios()));
            for k in [1, 2] {
                assert_relative_eq!(table[k], solved[k], max_relative = 0.03);
            }
            // A push gives less than a hundredth of what a metre of the tube does, however far off.
            assert_relative_eq!(table[0], solved[0], epsilon = 0.02);
            assert_relative_eq!(table[3], solved[3], epsilon = 0.12);
        }
    }
}
