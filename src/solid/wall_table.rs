//! How much do the walls of a pair of tubes give? From the table where it covers the pair.
//!
//! `data/walls.csv` holds solutions by ratios: modulus of the fill over that of the metal, height of the chord over
//! its width, its width over its wall, wall of the brace over that of the chord, width of the brace over that of
//! the chord, length of the brace along the chord over its width across. Between them, the inverse hyperbolic sines of
//! the flexibilities, which are their logarithms where they are large, are interpolated by the polynomial through the
//! points along each ratio, solid bars apart with a wall of 0, but by a line between the two widest braces, of which the one stands on the side walls of
//! the chord. The side walls of a brace that is wider than the chord stand beside it: there the ratio is the clear width
//! between them. What lies between the chord's width and that is not covered. Not every combination was solved: what
//! the height of a filled chord changes is taken from one fill, and what the brace's wall changes at a corner from a
//! chord that runs on.
//!
//! The table states, for modulus E of the metal and width b of the chord,
//!
//! ```text
//! E b (F_push + B),   E b³ (F_in_plane + B),   E b³ (F_out_of_plane + B),   E b³ (F_twist + B),   E b³ F_leaning
//! ```
//!
//! with B the flexibilities of the stretch of the chord under the brace: sums that stay positive, but for some that are
//! small, where a wide brace stiffens the chord. A loss factor follows by the correspondence principle, to first order in the difference of
//! those of fill and metal.

use crate::tube_beams::beneath;
use crate::tube_joint::{BeamStiffness, ChordEnd, CornerEnd, TubeSection};
use num_complex::Complex64;
use std::sync::OnceLock;

const BUILT_IN: &str = include_str!("../../data/walls.csv");

/// Ratios beyond the outermost points by less than this factor are extrapolated.
const BEYOND: f64 = 1.5;

/// A brace is as wide as the chord within this part of its width.
const AS_WIDE: f64 = 0.015;

/// Two tubes of one metal, of which one, the brace, stands on the other, the chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallPair {
    /// The chord; its width is that of the face that the brace stands on, m.
    pub chord: TubeSection,
    /// The brace; its width is along the chord, m. A bar has no wall.
    pub brace: TubeSection,
    /// Complex Young's modulus of the metal, Pa.
    pub metal: Complex64,
    /// That of the fill of both, bonded.
    pub fill: Option<Complex64>,
    /// The chord as a beam.
    pub chord_beam: BeamStiffness,
    /// The brace as a beam.
    pub brace_beam: BeamStiffness,
    /// What becomes of the chord beyond the brace.
    pub end: ChordEnd,
}

/// As [`WallFlexibility`](crate::WallFlexibility), with loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossyWall {
    /// m/N.
    pub push: Complex64,
    /// 1/(N m).
    pub in_plane: Complex64,
    /// 1/(N m).
    pub out_of_plane: Complex64,
    /// 1/(N m).
    pub twist: Complex64,
    /// 1/(N m).
    pub leaning: Complex64,
    /// m.
    pub depth: f64,
}

impl LossyWall {
    /// What lies at `part`, 0 to 1, of the way from this to `other`.
    #[must_use]
    pub fn towards(&self, other: &LossyWall, part: f64) -> LossyWall {
        let between = |a: Complex64, b: Complex64| a * (1.0 - part) + b * part;
        LossyWall {
            push: between(self.push, other.push),
            in_plane: between(self.in_plane, other.in_plane),
            out_of_plane: between(self.out_of_plane, other.out_of_plane),
            twist: between(self.twist, other.twist),
            leaning: between(self.leaning, other.leaning),
            depth: self.depth * (1.0 - part) + other.depth * part,
        }
    }
}

/// Push, in plane, out of plane, twist and leaning as the table states them, and the depth over the chord's width.
pub(crate) type Wall = [f64; 6];

/// The place of the depth.
pub(crate) const DEPTH: usize = 5;

/// The axis about which a brace turns lies within this part of the chord's width from the face; where nearly nothing
/// turns it is far off, and without meaning.
const DEEPEST: f64 = 1.0;

/// A row of the table: what becomes of the chord, the ratios, and what was solved.
struct Row {
    end: ChordEnd,
    ratios: [f64; 6],
    solved: Wall,
}

impl Row {
    fn all() -> Vec<Row> {
        let row = |line: &str| {
            let (end, numbers) = line.split_once(',')?;
            let end = END_NAMES.iter().find(|(name, _)| *name == end)?.1;
            let numbers: Vec<f64> = numbers.split(',').map(str::parse).collect::<Result<_, _>>().ok()?;
            let (ratios, solved) = numbers.split_at_checked(6)?;
            let mut solved: Wall = solved.try_into().ok()?;
            solved[DEPTH] = solved[DEPTH].clamp(-DEEPEST, DEEPEST);
            Some(Row { end, ratios: ratios.try_into().ok()?, solved })
        };
        BUILT_IN.lines().filter_map(row).collect()
    }
}

/// The words of the table.
const END_NAMES: [(&str, ChordEnd); 4] = [
    ("runs on", ChordEnd::RunsOn),
    ("open", ChordEnd::Ends(CornerEnd::Open)),
    ("capped", ChordEnd::Ends(CornerEnd::Capped)),
    ("mitred", ChordEnd::Ends(CornerEnd::Mitred)),
];

/// Rows with all combinations of their ratios.
struct Grid {
    axes: [Vec<f64>; 6],
    /// Logarithms of the ratios on the axes.
    logs: [Vec<f64>; 6],
    /// As they are interpolated: inverse hyperbolic sines, and the depth.
    values: Vec<Wall>,
    /// What is added to pushes while they are interpolated: at corners some are below nothing.
    lift: f64,
}

/// The lift of corners: more than the lowest push there.
const LIFT: f64 = 30.0;

/// Places of the ratios.
pub(crate) const FILL: usize = 0;
const HEIGHT: usize = 1;
const SLENDERNESS: usize = 2;
const WALLS: usize = 3;
/// The axis of the brace's width, interpolated as it stands; the others by their logarithms.
const WIDTH: usize = 4;

impl Grid {
    /// The grid of those of `rows` that `count`; of none it covers nothing.
    fn of(rows: &[Row], counts: impl Fn(&Row) -> bool) -> Grid {
        let rows: Vec<&Row> = rows.iter().filter(|row| counts(row)).collect();
        let lift = if rows.iter().all(|row| row.end == ChordEnd::RunsOn) { 0.0 } else { LIFT };
        let axes = [0, 1, 2, 3, 4, 5].map(|k| {
            let mut all: Vec<f64> = rows.iter().map(|row| row.ratios[k]).collect();
            all.sort_by(f64::total_cmp);
            all.dedup();
            all
        });
        let mut values = vec![[f64::NAN; 6]; axes.iter().map(Vec::len).product()];
        for row in rows {
            let place = axes.iter().enumerate().fold(0, |place, (k, axis)| {
                place * axis.len() + axis.iter().position(|x| *x == row.ratios[k]).unwrap_or(0)
            });
            values[place] = row.solved;
            values[place][0] += lift;
            values[place][..DEPTH].iter_mut().for_each(|x| *x = x.asinh());
        }
        let logs = axes.each_ref().map(|axis| axis.iter().map(|x| x.ln()).collect());
        Grid { axes, logs, values, lift }
    }

    /// The interpolated values; `None` where the table does not cover the ratios. Beyond its last heights, lengths
    /// and walls of braces it goes on a little, then it stays.
    fn at(&self, ratios: &[f64; 6]) -> Option<Wall> {
        let mut weights: Vec<Vec<f64>> = Vec::with_capacity(6);
        for (k, (axis, &ratio)) in self.axes.iter().zip(ratios).enumerate() {
            let (first, last) = (*axis.first()?, *axis.last()?);
            if first == last {
                let covered = k != WIDTH || (ratio - first).abs() <= AS_WIDE;
                weights.push(covered.then(|| vec![1.0])?);
            } else if k == WIDTH {
                weights.push(by_width(axis, ratio)?);
            } else {
                let range = first / BEYOND..=last * BEYOND;
                (range.contains(&ratio) || !matches!(k, FILL | SLENDERNESS)).then_some(())?;
                weights.push(lagrange(&self.logs[k], ratio.clamp(*range.start(), *range.end()).ln()));
            }
        }
        let mut sum = [0.0; 6];
        let weighted = self.values.iter().zip(products(&weights));
        for (values, weight) in weighted.filter(|(_, weight)| *weight != 0.0) {
            sum.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
        }
        sum[..DEPTH].iter_mut().for_each(|x| *x = x.sinh());
        sum[0] -= self.lift;
        sum.iter().all(|x| x.is_finite()).then_some(sum)
    }
}

/// The grids of the table.
struct Grids {
    narrow: RunningOn,
    /// Of braces that are solid bars.
    bars: RunningOn,
    /// Of braces wider than the chord, by the clear width between their side walls.
    wide: RunningOn,
    /// By the ends in the order of [`END_NAMES`] after the first.
    corners: [Grid; 3],
}

/// The grids of chords that run on.
struct RunningOn {
    empty: Grid,
    filled: Grid,
    /// One fill in chords of several heights.
    heights: Grid,
}

impl RunningOn {
    fn of(rows: &[Row]) -> RunningOn {
        RunningOn {
            empty: Grid::of(rows, |row| row.ratios[FILL] == 0.0),
            filled: Grid::of(rows, |row| row.ratios[FILL] > 0.0 && row.ratios[HEIGHT] == 1.0),
            heights: Grid::of(rows, |row| row.ratios[FILL] == FILL_OF_HEIGHTS),
        }
    }

    /// What the table says; `None` where it does not cover the ratios.
    fn at(&self, ratios: &[f64; 6]) -> Option<Wall> {
        if ratios[FILL] == 0.0 {
            return self.empty.at(ratios);
        }
        let [low, high] = [self.heights.at(&with(ratios, HEIGHT, 1.0))?, self.heights.at(ratios)?];
        Some(scaled(self.filled.at(ratios)?, high, low))
    }
}

/// `ratios` with another at `k`.
fn with(ratios: &[f64; 6], k: usize, ratio: f64) -> [f64; 6] {
    let mut other = *ratios;
    other[k] = ratio;
    other
}

/// `base` with what changes between two others: a factor where all are positive, else a difference.
fn scaled(base: Wall, more: Wall, less: Wall) -> Wall {
    std::array::from_fn(|k| match k < DEPTH && base[k].min(more[k]).min(less[k]) > 0.0 {
        true => base[k] * more[k] / less[k],
        false => base[k] + more[k] - less[k],
    })
}

/// `ratios` with the clear width between the brace's side walls in place of its width.
fn with_clear_width(ratios: &[f64; 6]) -> [f64; 6] {
    with(ratios, WIDTH, ratios[WIDTH] - 2.0 * ratios[WALLS] / ratios[SLENDERNESS])
}

/// The fill for which several heights were solved.
const FILL_OF_HEIGHTS: f64 = 0.13;

/// To how much clear widths are solved.
const CLEAR_DIGITS: f64 = 1e4;

impl Grids {
    fn get() -> &'static Grids {
        static GRIDS: OnceLock<Grids> = OnceLock::new();
        GRIDS.get_or_init(|| {
            let (rows, corners): (Vec<Row>, Vec<Row>) =
                Row::all().into_iter().partition(|row| row.end == ChordEnd::RunsOn);
            let (bars, rows): (Vec<Row>, Vec<Row>) =
                rows.into_iter().partition(|row| row.ratios[WALLS] == 0.0);
            let (mut wide, narrow): (Vec<Row>, Vec<Row>) =
                rows.into_iter().partition(|row| row.ratios[WIDTH] > 1.0);
            for row in &mut wide {
                row.ratios = with_clear_width(&row.ratios);
                row.ratios[WIDTH] = (CLEAR_DIGITS * row.ratios[WIDTH]).round() / CLEAR_DIGITS;
            }
            Grids {
                narrow: RunningOn::of(&narrow),
                bars: RunningOn::of(&bars),
                wide: RunningOn::of(&wide),
                corners: [1, 2, 3].map(|k| Grid::of(&corners, |row| row.end == END_NAMES[k].1)),
            }
        })
    }

    /// What the table says; `None` where it does not cover the ratios.
    fn at(&self, end: ChordEnd, ratios: &[f64; 6]) -> Option<Wall> {
        if ratios[WALLS] == 0.0 {
            return self.bars.at(ratios).filter(|_| end == ChordEnd::RunsOn);
        }
        if end == ChordEnd::RunsOn && ratios[WIDTH] > 1.0 + AS_WIDE {
            return self.wide.at(&with_clear_width(ratios));
        }
        match END_NAMES.iter().position(|(_, own)| *own == end)? {
            0 => self.narrow.at(ratios),
            k => {
                let empty = &self.narrow.empty;
                let [own, alike] = [empty.at(ratios), empty.at(&with(ratios, WALLS, 1.0))];
                Some(scaled(self.corners[k - 1].at(ratios)?, own?, alike?))
            }
        }
    }
}

/// Weights of the widths: a polynomial through all but the widest, and from the last of them to the widest a line; of
/// clear widths, a polynomial through all.
fn by_width(axis: &[f64], ratio: f64) -> Option<Vec<f64>> {
    if axis.iter().all(|width| *width > 1.0) {
        // From the chord's own width on, and that is a usual pair: no rounding may decide.
        let covers = (axis[0] - 0.021..=axis[axis.len() - 1] + 0.03).contains(&ratio);
        return covers.then(|| lagrange(axis, ratio));
    }
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

/// The product of the weights along each axis by place, the last axis fastest.
pub(crate) fn products(weights: &[Vec<f64>]) -> Vec<f64> {
    let outer =
        |sum: Vec<f64>, own: &Vec<f64>| sum.iter().flat_map(|a| own.iter().map(move |b| a * b)).collect();
    weights.iter().fold(vec![1.0], outer)
}

/// Weights of the values at `points` in the polynomial through them over their logarithms, at `x`.
pub(crate) fn by_logarithms(points: &[f64], x: f64) -> Vec<f64> {
    lagrange(&points.iter().map(|x| x.ln()).collect::<Vec<f64>>(), x.ln())
}

/// Weights of the values at `points` in the polynomial through them, at `x`.
pub(crate) fn lagrange(points: &[f64], x: f64) -> Vec<f64> {
    let weight = |(i, own): (usize, &f64)| {
        let others = points.iter().enumerate().filter(|(j, _)| *j != i);
        others.map(|(_, other)| (x - other) / (own - other)).product()
    };
    points.iter().enumerate().map(weight).collect()
}

impl WallPair {
    /// Its ratios in the order of the table.
    pub(crate) fn ratios(&self) -> [f64; 6] {
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

    /// Its end, as far as it counts: a filled chord hardly gives at its end.
    pub(crate) fn end(&self) -> ChordEnd {
        if self.fill.is_some() { ChordEnd::RunsOn } else { self.end }
    }

    /// What the table says of it; `None` where it does not cover the pair.
    pub fn from_table(&self) -> Option<LossyWall> {
        let grids = Grids::get();
        let ratios = self.ratios();
        let wall = grids.at(self.end(), &ratios)?;
        // Their relative change with that of the fill's modulus.
        let slopes = match self.fill {
            None => [0.0; 6],
            Some(_) => {
                let step = 1e-3_f64;
                let inward = if ratios[FILL] > 0.1 { -step } else { step };
                let mut other = ratios;
                other[FILL] *= inward.exp();
                let beside = grids.at(self.end(), &other)?;
                std::array::from_fn(
                    |k| if wall[k] == 0.0 { 0.0 } else { (beside[k] / wall[k] - 1.0) / inward },
                )
            }
        };
        Some(self.with_loss(&wall, &slopes))
    }

    /// The flexibilities that the table states as `wall`, with the relative `slopes` over the logarithm of the fill's
    /// modulus.
    pub(crate) fn with_loss(&self, wall: &Wall, slopes: &Wall) -> LossyWall {
        let loss = |modulus: Complex64| modulus.im / modulus.re;
        let apart = self.fill.map_or(0.0, |fill| loss(fill) - loss(self.metal));
        let width = self.chord.width;
        let beneath = beneath(self.end(), self.brace.width, &self.chord_beam);
        let of =
            |k: usize, scale: f64| Complex64::new(1.0, slopes[k] * apart) * wall[k] / (self.metal * scale);
        LossyWall {
            push: of(0, width) - beneath[0],
            in_plane: of(1, width.powi(3)) - beneath[1],
            out_of_plane: of(2, width.powi(3)) - beneath[2],
            twist: of(3, width.powi(3)) - beneath[3],
            leaning: of(4, width.powi(3)),
            depth: wall[DEPTH] * width,
        }
    }
}

/// Orders of the grid along walls and across them.
pub(crate) const ORDERS: [usize; 2] = [3, 2];

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A pair of sizes in mm, empty or filled with 30 GPa.
    fn pair(chord: [f64; 3], brace: [f64; 3], filled: bool) -> WallPair {
        let end = ChordEnd::RunsOn;
        let tube = |[width, height, wall]: [f64; 3]| TubeSection {
            width: 1e-3 * width,
            height: 1e-3 * height,
            wall: 1e-3 * wall,
        };
        let [chord, brace] = [chord, brace].map(tube);
        let metal = Complex64::new(210e9, 210e6);
        let fill = filled.then_some(Complex64::new(30e9, 0.6e9));
        let beam = |tube| BeamStiffness::of_tube(tube, metal, fill).unwrap();
        WallPair { chord, brace, metal, fill, chord_beam: beam(chord), brace_beam: beam(brace), end }
    }

    #[test]
    fn between_its_points_the_table_gives_what_solids_give() {
        for pair in [
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], false),
            pair([80.0, 60.0, 3.0], [50.0, 30.0, 3.0], false),
            pair([50.0, 100.0, 4.0], [40.0, 20.0, 2.0], false),
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], true),
        ] {
            let solid = pair.with_loss(&pair.solved().unwrap(), &[0.0; 6]);
            let table = pair.from_table().unwrap();
            assert_relative_eq!(table.push.re, solid.push.re, max_relative = 0.03);
            assert_relative_eq!(table.in_plane.re, solid.in_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.out_of_plane.re, solid.out_of_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.depth, solid.depth, epsilon = 0.01 * pair.chord.width);
        }
    }

    #[test]
    fn braces_wider_than_the_chord_give_what_solids_give() {
        for pair in [
            pair([60.0, 60.0, 3.0], [75.0, 75.0, 3.0], false),
            pair([80.0, 60.0, 4.0], [50.0, 115.0, 3.0], false),
            pair([60.0, 60.0, 3.0], [80.0, 80.0, 3.0], true),
        ] {
            let solid = pair.with_loss(&pair.solved().unwrap(), &[0.0; 6]);
            let table = pair.from_table().unwrap();
            assert_relative_eq!(table.in_plane.re, solid.in_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.out_of_plane.re, solid.out_of_plane.re, max_relative = 0.03);
            // Under a fill next to nothing gives: a hundredth of 300 mm of the brace.
            assert_relative_eq!(table.push.re, solid.push.re, epsilon = 3e-11, max_relative = 0.03);
        }
    }

    #[test]
    fn solid_bars_give_what_solids_give() {
        for pair in [
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 0.0], false),
            pair([80.0, 60.0, 3.0], [50.0, 30.0, 0.0], false),
            pair([60.0, 60.0, 3.0], [40.0, 40.0, 0.0], true),
        ] {
            let solid = pair.with_loss(&pair.solved().unwrap(), &[0.0; 6]);
            let table = pair.from_table().unwrap();
            assert_relative_eq!(table.push.re, solid.push.re, max_relative = 0.03);
            assert_relative_eq!(table.in_plane.re, solid.in_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.out_of_plane.re, solid.out_of_plane.re, max_relative = 0.03);
        }
    }

    #[test]
    fn corners_between_its_points_give_what_solids_give() {
        for (end, pair) in [
            (CornerEnd::Open, pair([60.0, 60.0, 3.0], [40.0, 40.0, 3.0], false)),
            (CornerEnd::Capped, pair([80.0, 40.0, 3.0], [40.0, 40.0, 3.0], false)),
            (CornerEnd::Mitred, pair([50.0, 50.0, 4.0], [50.0, 50.0, 4.0], false)),
        ] {
            let pair = WallPair { end: ChordEnd::Ends(end), ..pair };
            let solid = pair.with_loss(&pair.solved().unwrap(), &[0.0; 6]);
            let table = pair.from_table().unwrap();
            assert_relative_eq!(table.in_plane.re, solid.in_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.out_of_plane.re, solid.out_of_plane.re, max_relative = 0.03);
            assert_relative_eq!(table.twist.re, solid.twist.re, max_relative = 0.03);
            let of_both = (solid.out_of_plane.re * solid.twist.re).sqrt();
            assert_relative_eq!(table.leaning.re, solid.leaning.re, epsilon = 0.03 * of_both);
            // A tenth of what 300 mm of such a brace give along themselves.
            assert_relative_eq!(table.push.re, solid.push.re, epsilon = 3e-10);
        }
    }

    #[test]
    fn a_point_of_the_table_comes_back() {
        for (end, ratios) in [
            (ChordEnd::RunsOn, [0.0, 1.0, 18.0, 1.2, 0.6, 1.0]),
            (ChordEnd::RunsOn, [0.13, 2.0, 18.0, 1.0, 0.6, 1.0]),
            (ChordEnd::Ends(CornerEnd::Mitred), [0.0, 2.0, 18.0, 1.0, 1.0, 1.0]),
            (ChordEnd::Ends(CornerEnd::Capped), [0.0, 2.0, 10.0, 1.0, 0.75, 2.0]),
        ] {
            let found = Grids::get().at(end, &ratios).unwrap();
            let rows = Row::all();
            let row = rows.iter().find(|row| row.end == end && row.ratios == ratios).unwrap();
            found
                .iter()
                .zip(row.solved)
                .for_each(|(x, own)| assert_relative_eq!(*x, own, epsilon = 1e-9, max_relative = 1e-9));
        }
        let grids = Grids::get();
        let of = |own: &'static RunningOn| [&own.empty, &own.filled, &own.heights];
        let all = [of(&grids.narrow), of(&grids.wide)].into_iter().flatten().chain(&grids.corners);
        assert!(all.flat_map(|grid| &grid.values).flatten().all(|x| x.is_finite()));
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
}
