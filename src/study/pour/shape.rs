//! The thermal shape of a casting: blocks of mix, metal and nothing, how each side is closed, and the grid
//! over it.
//!
//! Blocks lie between straight lines along two horizontal axes and upwards, so that a round shape is replaced
//! by the box around it. Of a symmetric shape only half is solved.

use super::heat::{Casting, Cell, Face, Laying, Room, Solid};

/// Lines nearer to each other than this are merged, m.
const SAME: f64 = 0.5e-3;
/// Largest number of cells upwards in one lift and along a horizontal axis, on a grid of [`USUAL`] from the
/// middle to a face.
const MOST: [usize; 2] = [14, 14];
const USUAL: usize = 6;

/// How a side of a casting is closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Another casting of the mix adjoins it, or the casting continues: no heat passes.
    Joined,
    /// Boards of the mould over mix, bare metal over the skeleton.
    Mould,
    /// Air.
    Open,
}

/// A casting, or several equal ones.
#[derive(Debug, Clone, PartialEq)]
pub struct CastShape {
    /// Its name for the reader.
    pub name: String,
    /// Number of equal castings.
    pub count: usize,
    /// Volume of mix in all of them, m3.
    pub volume: f64,
    /// Lines between blocks along two horizontal axes and upwards, m, in rising order.
    pub lines: [Vec<f64>; 3],
    /// Content of each block; the first axis runs fastest, upwards slowest.
    pub blocks: Vec<Cell>,
    /// The solids to which blocks refer.
    pub solids: Vec<Solid>,
    /// Low and high side of each axis.
    pub sides: [[Side; 2]; 3],
}

/// Surroundings of a casting while it cures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Film coefficient from a surface to air, W/(m2 K).
    pub air: f64,
    /// Thermal resistance of the boards, m2 K/W.
    pub board: f64,
    /// Temperature of the mix as poured, K.
    pub start: f64,
    /// The room.
    pub room: Room,
}

impl CastShape {
    /// A wide slab `thickness` (m) deep with `volume` (m3) of mix.
    #[must_use]
    pub fn slab(name: &str, thickness: f64, volume: f64) -> CastShape {
        CastShape {
            sides: [[Side::Joined; 2], [Side::Joined; 2], [Side::Mould, Side::Open]],
            ..CastShape::block(name, [1.0, 1.0, thickness], volume)
        }
    }

    /// A block of mix of the `size` (m; the last upwards) with boards all round, open above.
    #[must_use]
    pub fn block(name: &str, size: [f64; 3], volume: f64) -> CastShape {
        CastShape {
            name: name.to_string(),
            count: 1,
            volume,
            lines: size.map(|length| vec![0.0, length]),
            blocks: vec![Cell::Fill],
            solids: Vec::new(),
            sides: [[Side::Mould; 2], [Side::Mould; 2], [Side::Mould, Side::Open]],
        }
    }

    /// Length along each axis, the last upwards, m.
    #[must_use]
    pub fn size(&self) -> [f64; 3] {
        self.lines.each_ref().map(|lines| lines[lines.len() - 1] - lines[0])
    }

    /// True when boards of the mould cover mix somewhere.
    #[must_use]
    pub fn has_boards(&self) -> bool {
        let counts = self.lines.each_ref().map(|lines| lines.len() - 1);
        self.blocks.iter().enumerate().filter(|(_, cell)| **cell == Cell::Fill).any(|(i, _)| {
            let at = [i % counts[0], i / counts[0] % counts[1], i / counts[0] / counts[1]];
            (0..3).any(|axis| {
                let [low, high] = self.sides[axis];
                at[axis] == 0 && low == Side::Mould || at[axis] + 1 == counts[axis] && high == Side::Mould
            })
        })
    }

    /// Share of the mix in each of `lifts` equal heights; the shares sum to 1.
    #[must_use]
    pub fn parts(&self, lifts: usize) -> Vec<f64> {
        let height = self.size()[2] / lifts as f64;
        let bottom = self.lines[2][0];
        let [nx, ny] = [0, 1].map(|axis| self.lines[axis].len() - 1);
        let width = |axis: usize, i: usize| self.lines[axis][i + 1] - self.lines[axis][i];
        let mut parts = vec![0.0; lifts];
        for (i, _) in self.blocks.iter().enumerate().filter(|(_, cell)| **cell == Cell::Fill) {
            let (x, y, z) = (i % nx, i / nx % ny, i / nx / ny);
            let [low, high] = [self.lines[2][z], self.lines[2][z + 1]];
            for (lift, part) in parts.iter_mut().enumerate() {
                let from = bottom + lift as f64 * height;
                let shared = (high.min(from + height) - low.max(from)).max(0.0);
                *part += width(0, x) * width(1, y) * shared;
            }
        }
        let whole: f64 = parts.iter().sum();
        parts.iter().map(|part| if whole > 0.0 { part / whole } else { 1.0 / lifts as f64 }).collect()
    }

    /// The thickness through which heat leaves, m: the smallest dimension that is not closed on both sides,
    /// of the height divided into `lifts` lifts and the two horizontal ones.
    pub fn through(&self, lifts: usize) -> f64 {
        let size = self.size();
        let open = |axis: &usize| self.sides[*axis].iter().any(|side| *side != Side::Joined);
        let across = [0, 1].iter().filter(|axis| open(axis)).map(|axis| size[*axis]);
        across.fold(size[2] / lifts as f64, f64::min)
    }

    /// The grid of the shape poured in `lifts` lifts of equal height that begin `wait` (s) apart, with about
    /// `fineness` cells from the middle to a face.
    pub fn grid(&self, lifts: usize, wait: f64, fineness: usize, standing: &Standing) -> Casting {
        let step = self.through(lifts) / (2.0 * fineness as f64);
        let height = self.size()[2] / lifts as f64;
        let mut lines = self.lines.clone();
        let bottom = lines[2][0];
        lines[2].extend((1..lifts).map(|i| bottom + i as f64 * height));
        merge(&mut lines[2]);
        let mut widths = [Vec::new(), Vec::new(), Vec::new()];
        let mut from = [Vec::new(), Vec::new(), Vec::new()];
        let mut layers = vec![0; lifts];
        for axis in 0..3 {
            let reach = if axis == 2 { height } else { self.size()[axis] };
            let most = if axis == 2 { MOST[0] } else { MOST[1] } * fineness;
            let step = step.max(reach * USUAL as f64 / most as f64);
            let whole = self.sides[axis] == [Side::Joined; 2] && axis < 2 && lines[axis].len() == 2;
            for pair in lines[axis].windows(2) {
                let length = pair[1] - pair[0];
                let cells = if whole { 1 } else { (length / step - 0.01).ceil().max(1.0) as usize };
                let middle = 0.5 * (pair[0] + pair[1]);
                let own = self.lines[axis].windows(2).position(|own| middle < own[1]);
                for _ in 0..cells {
                    widths[axis].push(length / cells as f64);
                    from[axis].push(own.unwrap_or(self.lines[axis].len() - 2));
                }
                if axis == 2 {
                    let lift = ((middle - bottom) / height) as usize;
                    layers[lift.min(lifts - 1)] += cells;
                }
            }
        }
        let counts = self.lines.each_ref().map(|lines| lines.len() - 1);
        let mut cells = Vec::with_capacity(widths.iter().map(Vec::len).product());
        for z in &from[2] {
            for y in &from[1] {
                cells.extend(from[0].iter().map(|x| self.blocks[(z * counts[1] + y) * counts[0] + x]));
            }
        }
        let face = |side: Side| match side {
            Side::Joined => Face::SHUT,
            Side::Mould => Face { air: standing.air, board: standing.board },
            Side::Open => Face { air: standing.air, board: 0.0 },
        };
        let laying = |(i, layers): (usize, &usize)| Laying { at: i as f64 * wait, layers: *layers };
        let mut casting = Casting {
            widths,
            cells,
            solids: self.solids.clone(),
            faces: self.sides.map(|sides| sides.map(face)),
            lifts: layers.iter().enumerate().map(laying).collect(),
            start: standing.start,
            room: standing.room,
        };
        for axis in 0..2 {
            halve(&mut casting, axis);
        }
        casting
    }
}

/// Sorts lines and merges those that nearly coincide.
pub(super) fn merge(lines: &mut Vec<f64>) {
    lines.sort_by(f64::total_cmp);
    let last = lines.last().copied();
    lines.dedup_by(|next, kept| *next - *kept < SAME);
    if let (Some(end), Some(kept)) = (last, lines.last_mut()) {
        *kept = end;
    }
}

/// Keeps half of a casting that is symmetric along a horizontal axis, with no heat through its middle.
fn halve(casting: &mut Casting, axis: usize) {
    let counts = casting.counts();
    let count = counts[axis];
    let widths = &casting.widths[axis];
    let [low, high] = casting.faces[axis];
    let even = (0..count).all(|i| (widths[i] - widths[count - 1 - i]).abs() < 1e-9);
    let stride = if axis == 0 { 1 } else { counts[0] };
    let mirror = |i: usize| {
        let at = i / stride % count;
        i - at * stride + (count - 1 - at) * stride
    };
    let alike = (0..casting.cells.len()).all(|i| casting.cells[i] == casting.cells[mirror(i)]);
    if count < 2 || low != high || !even || !alike {
        return;
    }
    let kept = count / 2;
    casting.cells =
        (0..casting.cells.len()).filter(|i| i / stride % count >= kept).map(|i| casting.cells[i]).collect();
    casting.widths[axis].drain(..kept);
    if count % 2 == 1 {
        casting.widths[axis][0] *= 0.5;
    }
    casting.faces[axis][0] = Face::SHUT;
}

#[cfg(test)]
mod tests {
    use super::super::heat::{End, Fill};
    use super::super::kinetics::Kinetics;
    use super::*;
    use approx::assert_relative_eq;

    fn fill() -> Fill {
        let kinetics = Kinetics::usual(7e5, 7000.0);
        Fill { conductivity: 1.4, heat_capacity: 1.79e6, heat: 1.64e8, kinetics }
    }

    const STANDING: Standing = Standing {
        air: 8.0,
        board: 0.05,
        start: 293.15,
        room: Room { mean: 293.15, swing: 0.0, start: 0.0 },
    };

    /// A filled aluminium tube, or a bar around a tube that lies above its middle.
    fn tube(thick: f64, at: f64) -> CastShape {
        let metal = Solid { conductivity: 170.0, heat_capacity: 2.4e6 };
        let mut shape = CastShape::block("bar", [0.1, 0.3, 0.1], 0.003);
        shape.lines[0] = vec![0.0, 0.03, 0.03 + thick, 0.07 - thick, 0.07, 0.1];
        shape.lines[2] = vec![0.0, at, at + thick, 0.07, 0.1];
        shape.blocks = vec![Cell::Fill; 20];
        for x in [1, 2, 3] {
            shape.blocks[5 + x] = Cell::Solid(0);
            shape.blocks[10 + x] = if x == 2 { Cell::Nothing } else { Cell::Solid(0) };
        }
        shape.sides[1] = [Side::Joined; 2];
        shape.solids = vec![metal];
        shape
    }

    #[test]
    fn a_shape_that_mirrors_itself_is_solved_by_halves_alike() {
        let shape = CastShape::block("cube", [0.15; 3], 0.003375);
        let half = shape.grid(1, 0.0, 4, &STANDING);
        assert_eq!(half.counts(), [4, 4, 8]);
        // One side is made slightly different, so that no symmetry is found.
        let mut whole = shape.clone();
        whole.sides[0][1] = Side::Open;
        whole.sides[1][1] = Side::Open;
        let bare = Standing { board: 0.0, ..STANDING };
        let whole = Casting {
            faces: shape.grid(1, 0.0, 4, &bare).faces.map(|[_, high]| [high; 2]),
            ..whole.grid(1, 0.0, 4, &STANDING)
        };
        assert_eq!(whole.counts(), [8, 8, 8]);
        let half = shape.grid(1, 0.0, 4, &bare).cure(&fill(), End::Cured, 0.02).peak();
        assert_relative_eq!(half, whole.cure(&fill(), End::Cured, 0.02).peak(), epsilon = 0.05);
        let odd = tube(0.004, 0.02).grid(1, 0.0, 3, &STANDING);
        assert_eq!(odd.cells.len(), odd.counts().iter().product::<usize>());
        assert_relative_eq!(odd.widths[0].iter().sum::<f64>(), 0.05, max_relative = 1e-9);
    }

    #[test]
    fn lifts_share_the_mix_by_what_lies_in_their_height() {
        let parts = tube(0.004, 0.02).parts(2);
        assert_relative_eq!(parts.iter().sum::<f64>(), 1.0, max_relative = 1e-12);
        // Below the middle: 50 x 100 less 40 x 30; above: 50 x 100 less 40 x 20.
        let (low, high) = (0.05 * 0.1 - 0.04 * 0.03, 0.05 * 0.1 - 0.04 * 0.02);
        assert_relative_eq!(parts[0], low / (low + high), max_relative = 1e-12);
        let casting = tube(0.004, 0.02).grid(2, 3600.0, 4, &STANDING);
        assert_eq!(casting.lifts.iter().map(|lift| lift.layers).sum::<usize>(), casting.counts()[2]);
        assert_eq!(casting.lifts[1].at, 3600.0);
    }

    #[test]
    fn metal_in_the_fill_takes_heat_up_and_boards_keep_it_in() {
        let peak = |shape: &CastShape, board: f64| {
            shape.grid(1, 0.0, 4, &Standing { board, ..STANDING }).cure(&fill(), End::Cured, 0.05).peak()
        };
        let (hollow, thick) = (peak(&tube(0.002, 0.02), 0.0), peak(&tube(0.009, 0.02), 0.0));
        // Of a rise of 7 K; the metal takes up and spreads some of the heat.
        assert!(thick - 293.15 < 0.98 * (hollow - 293.15), "{thick} {hollow}");
        assert!(peak(&tube(0.002, 0.02), 0.1) > hollow + 1.0);
        assert!(tube(0.002, 0.02).has_boards());
    }

    #[test]
    fn nearly_one_is_one() {
        let mut lines = vec![0.1, 0.0, 0.0501, 0.05, 0.0999];
        merge(&mut lines);
        assert_eq!(lines, [0.0, 0.05, 0.1]);
    }
}
