//! What solids say of pairs of tubes that the table does not cover, each solved once in a process.
//!
//! A pair is solved by its ratios, rounded to five digits, in a size of its own: it gives the same to the last digit in
//! whatever units and axes a design is drawn, and whether or not it was solved before. Fills that are solved have moduli a
//! factor of [`FILL_STEP`] apart, and what is between follows by slopes, which also tell what it loses: the draws of
//! an uncertain fill need one or two solutions.

use crate::assembly::Elastic;
use crate::solvers::apart;
use crate::tube_beams::{POISSON, beneath};
use crate::tube_joint::{BeamStiffness, ChordEnd, SolvedWalls, TubeJoint, TubeSection, WallFlexibility};
use crate::wall_table::{DEPTH, FILL, LossyWall, ORDERS, Wall, WallPair};
use num_complex::Complex64;
use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, LazyLock, Mutex, OnceLock, PoisonError};

/// The modulus of the metal, Pa, and the width of the chord, m, with which ratios are solved.
const MODULUS: f64 = 210e9;
const WIDTH: f64 = 0.1;

/// Between the moduli of fills that are solved.
const FILL_STEP: f64 = 2.0;

/// How many pairs are kept.
const KEPT: usize = 4096;

/// A pair by its ratios, in the order of the table, and its end.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Alone {
    ratios: [f64; 6],
    end: ChordEnd,
}

/// The bits of the ratios, and the end.
type Key = ([u64; 6], ChordEnd);

/// A pair as the table states it, and what it changes with the logarithm of the fill's modulus.
type Sloped = [Wall; 2];

/// The loss factor of fills in the sections of tubes, small, for slopes of these.
const FILL_LOSS: f64 = 1e-3;

/// What was solved, or is being solved.
type Place = Arc<OnceLock<Option<Sloped>>>;

/// The pairs solved last, and their order.
#[derive(Default)]
struct Known {
    walls: HashMap<Key, Place>,
    order: VecDeque<Key>,
}

static KNOWN: LazyLock<Mutex<Known>> = LazyLock::new(Mutex::default);

impl Known {
    fn place(&mut self, key: Key) -> Place {
        if let Some(found) = self.walls.get(&key) {
            return Arc::clone(found);
        }
        if self.order.len() == KEPT
            && let Some(first) = self.order.pop_front()
        {
            self.walls.remove(&first);
        }
        self.order.push_back(key);
        Arc::clone(self.walls.entry(key).or_default())
    }
}

impl Alone {
    fn of(ratios: [f64; 6], end: ChordEnd) -> Alone {
        // As text, so that what is short in decimals stays what it is. What is left out changes a flexibility by less than
        // a part in ten thousand, while ends of braces that a drawing means alike are solved as one.
        let rounded = |ratio: f64| format!("{ratio:.4e}").parse().unwrap_or(ratio);
        Alone { ratios: ratios.map(rounded), end }
    }

    /// What it gives; solved where it is not known.
    fn wall(self) -> Option<Sloped> {
        let key = (self.ratios.map(f64::to_bits), self.end);
        let place = KNOWN.lock().unwrap_or_else(PoisonError::into_inner).place(key);
        *place.get_or_init(|| apart(true, || self.solved()))
    }

    /// As [`WallPair::solved`], with slopes.
    fn solved(self) -> Option<Sloped> {
        let [fill, height, slenderness, walls, width, length] = self.ratios;
        let wall = WIDTH / slenderness;
        let chord = TubeSection { width: WIDTH, height: height * WIDTH, wall };
        let brace = TubeSection { width: length * width * WIDTH, height: width * WIDTH, wall: walls * wall };
        let fill = (fill > 0.0).then_some(fill * MODULUS);
        let elastic = |modulus: f64, k: usize| Elastic::isotropic(modulus, POISSON[k], 1.0);
        let lossy = fill.map(|fill| Complex64::new(fill, FILL_LOSS * fill));
        let chord_beam = BeamStiffness::of_tube(chord, MODULUS.into(), lossy)?;
        let filled = fill.map(|fill| elastic(fill, 1));
        let joint = TubeJoint {
            chord,
            brace,
            metal: elastic(MODULUS, 0),
            chord_fill: filled,
            solid: false,
            brace_fill: filled.filter(|_| walls > 0.0),
            chord_beam,
            brace_beam: BeamStiffness::of_tube(brace, MODULUS.into(), lossy)?,
            fill_loss: FILL_LOSS,
            weld: 0.0,
            opposite: false,
            end: self.end,
        };
        let SolvedWalls { wall, slope } = joint.solve(ORDERS).ok()?;
        let beneath = beneath(self.end, brace.width, &chord_beam);
        let scale = [WIDTH, WIDTH.powi(3)].map(|size| MODULUS * size);
        let sums = |of: WallFlexibility, beneath: [f64; 4]| {
            [
                scale[0] * (of.push + beneath[0]),
                scale[1] * (of.in_plane + beneath[1]),
                scale[1] * (of.out_of_plane + beneath[2]),
                scale[1] * (of.twist + beneath[3]),
                scale[1] * of.leaning,
                of.depth / WIDTH,
            ]
        };
        let found = [sums(wall, beneath.map(|x| x.re)), sums(slope, beneath.map(|x| x.im / FILL_LOSS))];
        found.iter().flatten().all(|x| x.is_finite()).then_some(found)
    }
}

impl WallPair {
    /// The pair solved as the table states it: push, in plane, out of plane, twist and leaning, without units, and the
    /// depth over the chord's width; `None` where it cannot be solved. Poisson's ratios are those of the table.
    pub fn solved(&self) -> Option<[f64; 6]> {
        Alone::of(self.ratios(), self.end()).solved().map(|[wall, _]| wall)
    }

    /// What the walls of the pair give, by the table or, where it does not cover the pair, by solids; `None` where they
    /// cannot be solved.
    pub fn flexibility(&self) -> Option<LossyWall> {
        self.from_table().or_else(|| self.by_solids())
    }

    fn by_solids(&self) -> Option<LossyWall> {
        let (ratios, end) = (self.ratios(), self.end());
        if self.fill.is_none() {
            return Some(self.with_loss(&Alone::of(ratios, end).wall()?[0], &[0.0; 6]));
        }
        let place = ratios[FILL].log(FILL_STEP);
        let mut near = ratios;
        near[FILL] = FILL_STEP.powf(place.round());
        let beyond = (place - place.round()) * FILL_STEP.ln();
        let [solved, slopes] = Alone::of(near, end).wall()?;
        // Along the inverse hyperbolic sine, which is a logarithm where a flexibility is large.
        let risen = |k: usize| solved[k].asinh() + beyond * slopes[k] / solved[k].hypot(1.0);
        let wall: Wall = std::array::from_fn(|k| match k {
            DEPTH => solved[DEPTH] + beyond * slopes[DEPTH],
            _ => risen(k).sinh(),
        });
        let relative = std::array::from_fn(|k| match k {
            DEPTH => 0.0,
            _ if solved[k] == 0.0 => 0.0,
            _ => slopes[k] / solved[k].hypot(1.0) / risen(k).tanh(),
        });
        Some(self.with_loss(&wall, &relative))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rayon::prelude::*;

    /// A pair of sizes in `unit` m.
    fn pair(unit: f64, chord: [f64; 3], brace: [f64; 3], fill: Option<f64>) -> WallPair {
        let tube = |[width, height, wall]: [f64; 3]| TubeSection {
            width: unit * width,
            height: unit * height,
            wall: unit * wall,
        };
        let [chord, brace] = [chord, brace].map(tube);
        let metal = Complex64::new(210e9, 0.0);
        let fill = fill.map(|fill| Complex64::new(fill, 0.02 * fill));
        let [chord_beam, brace_beam] =
            [chord, brace].map(|tube| BeamStiffness::of_tube(tube, metal, fill).unwrap());
        WallPair { chord, brace, metal, fill, chord_beam, brace_beam, end: ChordEnd::RunsOn }
    }

    fn place(of: &WallPair) -> Option<Place> {
        let Alone { ratios, end } = Alone::of(of.ratios(), of.end());
        KNOWN.lock().unwrap().walls.get(&(ratios.map(f64::to_bits), end)).cloned()
    }

    #[test]
    fn a_pair_off_the_table_is_solved_once_in_whatever_units() {
        let sizes = ([100.0, 100.0, 2.0], [40.0, 40.0, 2.0]);
        let of = |unit: f64| pair(unit, sizes.0, sizes.1, None);
        let metres = of(1e-3);
        assert!(metres.from_table().is_none() && place(&metres).is_none());
        // All threads want it at once, and more of them than there are wait.
        let found: Vec<LossyWall> = (0..16).into_par_iter().map(|_| metres.flexibility().unwrap()).collect();
        assert!(found.iter().all(|own| *own == found[0]));
        let once = place(&metres).unwrap();
        let inches = of(1e-3 / 0.0254);
        assert_eq!(inches.solved().unwrap(), once.get().unwrap().unwrap()[0]);
        let turned = inches.flexibility().unwrap();
        assert!(Arc::ptr_eq(&once, &place(&inches).unwrap()));
        assert_relative_eq!(
            turned.in_plane.re * 0.0254_f64.powi(-3),
            found[0].in_plane.re,
            max_relative = 1e-9
        );
        assert!(found[0].in_plane.re > 0.0);
    }

    #[test]
    fn a_fill_between_two_that_are_solved_gives_what_solids_give() {
        // In the middle of a step, of a chord whose walls are thinner than those of the table.
        let fill = 210e9 * 2.0_f64.powf(-3.5);
        let own = pair(1e-3, [100.0, 100.0, 2.0], [50.0, 50.0, 2.0], Some(fill));
        assert!(own.from_table().is_none());
        let (found, solid) = (own.flexibility().unwrap(), own.with_loss(&own.solved().unwrap(), &[0.0; 6]));
        assert_relative_eq!(found.in_plane.re, solid.in_plane.re, max_relative = 0.01);
        assert_relative_eq!(found.out_of_plane.re, solid.out_of_plane.re, max_relative = 0.01);
        assert_relative_eq!(found.push.re, solid.push.re, max_relative = 0.01);
        // Nearly all of what gives is fill.
        let loss = -found.in_plane.im / found.in_plane.re;
        assert!((0.01..0.02).contains(&loss), "{loss}");
    }

    #[test]
    fn the_oldest_pairs_are_forgotten() {
        let mut known = Known::default();
        let key = |k: usize| ([k as u64; 6], ChordEnd::RunsOn);
        let first = known.place(key(0));
        assert!(Arc::ptr_eq(&first, &known.place(key(0))));
        (0..=KEPT).for_each(|k| drop(known.place(key(k))));
        assert_eq!([known.walls.len(), known.order.len()], [KEPT; 2]);
        assert!(!known.walls.contains_key(&key(0)) && known.walls.contains_key(&key(KEPT)));
    }
}
