//! Temperature and cure of a casting poured in lifts, one after another.
//!
//! ```text
//! rho c dT/dt = div(k grad T) + rho w H d(alpha)/dt     d(alpha)/dt as of the binder, in place
//! k dT/dn     = u (T - T_room)                          at each face, 1/u = 1/air + board
//! ```
//!
//! Finite volumes on a grid of boxes; a cell holds mix, another solid or nothing. The cells of a lift become
//! active when it is poured, at the temperature of the mix, on older lifts with their temperature and
//! conversion at that time. An axis with one cell and no heat through its faces drops out: a column of cells
//! is a wide slab, a layer of cells a long bar.
//!
//! A time step solves conduction along each axis and then the reaction, each by the backward Euler formula;
//! one step and two half steps are combined into a second-order result, and their difference is the error
//! that controls the step size. Heat released, stored and lost balance to rounding, since all three are
//! linear in the changes of a step. Left out: the skeleton above the mix poured so far, moist boards,
//! sunshine.
//!
//! # Source
//! - `carslaw1959`: conduction with generation
//! - `hairer1993`: sec. II.9, extrapolation of a step and its halves

use super::kinetics::Kinetics;
use stillbed_material::GEL;

/// No casting is followed beyond sixty days after its last lift, s.
const LONGEST: f64 = 60.0 * 86400.0;
/// A lift is past its peak when it is cooler by this multiple of the error of a step.
const PAST_PEAK: f64 = 3.0;
/// A day, s.
const DAY: f64 = 86400.0;
/// Hour of the day at which a room is warmest; it is coldest half a day later: common practice.
const WARMEST_HOUR: f64 = 15.0;

/// Thermal properties of the mix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fill {
    /// Conductivity k, W/(m K).
    pub conductivity: f64,
    /// Heat capacity rho c, J/(m3 K).
    pub heat_capacity: f64,
    /// Heat rho w H that the whole cure releases, J/m3.
    pub heat: f64,
    /// Rate of the cure.
    pub kinetics: Kinetics,
}

/// A solid that the mix is cast into or around.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Solid {
    /// Conductivity, W/(m K).
    pub conductivity: f64,
    /// Heat capacity, J/(m3 K).
    pub heat_capacity: f64,
}

/// What one cell of a grid holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cell {
    /// The mix.
    Fill,
    /// The solid with this index in the list.
    Solid(usize),
    /// Nothing that conducts heat.
    Nothing,
}

/// Heat transfer from one side of a grid to the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Film coefficient from surface to air, W/(m2 K); 0 insulates, infinity holds the surface at room
    /// temperature.
    pub air: f64,
    /// Resistance of a board over the mix, m2 K/W; solids are bare.
    pub board: f64,
}

impl Face {
    /// No heat transfer, as at a plane of symmetry or a covered face.
    pub const SHUT: Face = Face { air: 0.0, board: 0.0 };

    fn passes(self, of: Cell) -> f64 {
        let board = if of == Cell::Fill { self.board } else { 0.0 };
        if self.air > 0.0 { 1.0 / (1.0 / self.air + board) } else { 0.0 }
    }
}

/// Temperature of the room over the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Mean over the day, K.
    pub mean: f64,
    /// Amplitude about the mean, K.
    pub swing: f64,
    /// Time of day at which the first lift is poured, s.
    pub start: f64,
}

impl Room {
    /// Its temperature at `time` (s) after the first lift, K.
    #[must_use]
    pub fn at(&self, time: f64) -> f64 {
        if self.swing == 0.0 {
            return self.mean;
        }
        let turn = (self.start + time) / DAY - WARMEST_HOUR / 24.0;
        self.mean + self.swing * (std::f64::consts::TAU * turn).cos()
    }
}

/// The pouring of one lift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Laying {
    /// When it is poured, s after the first.
    pub at: f64,
    /// Number of layers of cells.
    pub layers: usize,
}

/// A casting on its grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Casting {
    /// Widths of the cells along the two horizontal axes and upwards, m.
    pub widths: [Vec<f64>; 3],
    /// Content of each cell; the first horizontal axis runs fastest, upwards slowest.
    pub cells: Vec<Cell>,
    /// The solids among them.
    pub solids: Vec<Solid>,
    /// Low and high side of each axis; the high side of the last is the top of the mix poured so far.
    pub faces: [[Face; 2]; 3],
    /// The lifts from the lowest up; together they have all layers.
    pub lifts: Vec<Laying>,
    /// Temperature of the mix as poured, K.
    pub start: f64,
    /// The room.
    pub room: Room,
}

/// When to stop following a casting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// When it has cured and cooled so far that no higher temperature can follow.
    Cured,
    /// When the last lift begins to gel, or the casting has cured.
    Gel,
    /// When any place is hotter than this, K, or the casting has cured.
    Hotter(f64),
    /// After this time, s.
    After(f64),
}

/// The state of a casting at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Time, s after the first lift is poured.
    pub time: f64,
    /// Highest temperature in each lift, K; `None` before it is poured.
    pub hottest: Vec<Option<f64>>,
    /// Mean conversion of the mix poured so far.
    pub conversion: f64,
}

/// The history of one lift in a few numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lifted {
    /// Its highest temperature, K.
    pub peak: f64,
    /// Time of that peak, s after the lift was poured.
    pub peak_time: f64,
    /// Time at which its first place gels, s after the lift was poured.
    pub gel_begins: Option<f64>,
    /// Time at which its last place gels, s after the lift was poured.
    pub gel_time: Option<f64>,
    /// Mean conversion of its top layer when the next lift is poured on it.
    pub covered_at: Option<f64>,
}

/// The history of a casting.
#[derive(Debug, Clone, PartialEq)]
pub struct Cured {
    /// The lifts from the lowest up.
    pub lifts: Vec<Lifted>,
    /// Heat balance: heat released less heat stored and lost, over the largest of the three.
    pub balance: f64,
    /// The states from first to last.
    pub history: Vec<Moment>,
}

impl Cured {
    /// The highest temperature anywhere, K.
    pub fn peak(&self) -> f64 {
        self.lifts.iter().map(|lift| lift.peak).fold(f64::NEG_INFINITY, f64::max)
    }
}

/// Temperatures, conversions and the heat lost, J.
#[derive(Clone)]
struct State {
    t: Vec<f64>,
    alpha: Vec<f64>,
    lost: f64,
}

/// A casting with the coefficients of a step.
struct Frozen<'a> {
    casting: &'a Casting,
    fill: &'a Fill,
    counts: [usize; 3],
    strides: [usize; 3],
    /// Heat capacity of each cell, J/K; 0 where there is nothing.
    stored: Vec<f64>,
    /// Conductance to the next cell along each axis, W/K.
    next: [Vec<f64>; 3],
    /// Conductance to the room through the sides of each axis, without the open top, W/K.
    out: [Vec<f64>; 3],
    /// Conductance through the open top if the cell is the highest, W/K.
    top: Vec<f64>,
    /// Adiabatic rise, K.
    rise: f64,
    /// Allowed error of a step, K.
    tolerance: f64,
}

impl Casting {
    /// Number of cells along each axis.
    pub fn counts(&self) -> [usize; 3] {
        self.widths.each_ref().map(Vec::len)
    }

    /// A wide slab of mix between two faces (low, high), `thickness` (m) in `cells` equal cells, poured at
    /// once at `start` (K) in a room at `room` (K).
    #[must_use]
    pub fn slab(thickness: f64, cells: usize, faces: [Face; 2], start: f64, room: f64) -> Casting {
        Casting {
            widths: [vec![1.0], vec![1.0], vec![thickness / cells as f64; cells]],
            cells: vec![Cell::Fill; cells],
            solids: Vec::new(),
            faces: [[Face::SHUT; 2], [Face::SHUT; 2], faces],
            lifts: vec![Laying { at: 0.0, layers: cells }],
            start,
            room: Room { mean: room, swing: 0.0, start: 0.0 },
        }
    }

    /// Follows the casting filled with `fill` until `end`. The error of each step is at most `tolerance` (K),
    /// and the conversion that warms the mix by as much.
    #[must_use]
    pub fn cure(&self, fill: &Fill, end: End, tolerance: f64) -> Cured {
        Frozen::of(self, fill, tolerance).follow(end)
    }
}

impl<'a> Frozen<'a> {
    fn of(casting: &'a Casting, fill: &'a Fill, tolerance: f64) -> Frozen<'a> {
        let counts = casting.counts();
        let strides = [1, counts[0], counts[0] * counts[1]];
        let all = casting.cells.len();
        let solid = |cell: Cell| match cell {
            Cell::Fill => (fill.conductivity, fill.heat_capacity),
            Cell::Solid(i) => (casting.solids[i].conductivity, casting.solids[i].heat_capacity),
            Cell::Nothing => (0.0, 0.0),
        };
        let place = |i: usize, axis: usize| (i / strides[axis]) % counts[axis];
        let width = |i: usize, axis: usize| casting.widths[axis][place(i, axis)];
        let mut frozen = Frozen {
            casting,
            fill,
            counts,
            strides,
            stored: vec![0.0; all],
            next: [vec![0.0; all], vec![0.0; all], vec![0.0; all]],
            out: [vec![0.0; all], vec![0.0; all], vec![0.0; all]],
            top: vec![0.0; all],
            rise: fill.heat / fill.heat_capacity,
            tolerance,
        };
        for i in 0..all {
            let cell = casting.cells[i];
            let (k, c) = solid(cell);
            if cell == Cell::Nothing {
                continue;
            }
            let size = [0, 1, 2].map(|axis| width(i, axis));
            frozen.stored[i] = c * size.iter().product::<f64>();
            for axis in 0..3 {
                let area = size.iter().product::<f64>() / size[axis];
                let half = 0.5 * size[axis] / k;
                let leaves = |face: Face| {
                    let u = face.passes(cell);
                    if u > 0.0 { area / (1.0 / u + half) } else { 0.0 }
                };
                let [low, high] = casting.faces[axis];
                let at = place(i, axis);
                if at == 0 {
                    frozen.out[axis][i] += leaves(low);
                }
                if axis == 2 {
                    frozen.top[i] = leaves(high);
                } else if at + 1 == counts[axis] {
                    frozen.out[axis][i] += leaves(high);
                }
                if at + 1 < counts[axis] {
                    let other = i + strides[axis];
                    let (k_other, _) = solid(casting.cells[other]);
                    if k_other > 0.0 {
                        frozen.next[axis][i] = area / (half + 0.5 * width(other, axis) / k_other);
                    }
                }
            }
        }
        frozen
    }

    /// Conduction along `axis` over `h` (s) in the lowest `layers`, by the backward Euler formula.
    fn conduct(&self, axis: usize, layers: usize, h: f64, room: f64, x: &mut State, upper: &mut [f64]) {
        let (length, stride) = (if axis == 2 { layers } else { self.counts[axis] }, self.strides[axis]);
        if length == 1 && self.casting.faces[axis].iter().all(|face| face.air == 0.0) {
            return;
        }
        let (next, out) = (&self.next[axis], &self.out[axis]);
        let lines = layers * self.strides[2] / length;
        for line in 0..lines {
            let first = line / stride * stride * length + line % stride;
            let (mut before, mut off) = (0.0, 0.0);
            for step in 0..length {
                let i = first + step * stride;
                let own = self.stored[i] / h;
                if own == 0.0 {
                    upper[step] = 0.0;
                    (before, off) = (0.0, 0.0);
                    continue;
                }
                let mut leaves = out[i];
                if axis == 2 && step + 1 == length {
                    leaves += self.top[i];
                }
                let on = if step + 1 < length { next[i] } else { 0.0 };
                let mut diagonal = own + leaves + off + on;
                let mut right = own * x.t[i] + leaves * room;
                if step > 0 {
                    diagonal -= off * upper[step - 1];
                    right += off * before;
                }
                upper[step] = on / diagonal;
                before = right / diagonal;
                x.t[i] = before;
                off = on;
            }
            let mut after = 0.0;
            for step in (0..length).rev() {
                let i = first + step * stride;
                if self.stored[i] == 0.0 {
                    after = 0.0;
                    continue;
                }
                x.t[i] += upper[step] * after;
                after = x.t[i];
                let mut leaves = out[i];
                if axis == 2 && step + 1 == length {
                    leaves += self.top[i];
                }
                x.lost += h * leaves * (x.t[i] - room);
            }
        }
    }

    /// The reaction over `h` (s), cell by cell; false where the step is too long for an autocatalytic cure.
    fn react(&self, layers: usize, h: f64, x: &mut State) -> bool {
        for i in 0..layers * self.strides[2] {
            if self.casting.cells[i] != Cell::Fill {
                continue;
            }
            let (rate, with_conversion, with_temperature) =
                self.fill.kinetics.rate_and_slopes(x.alpha[i], x.t[i]);
            let left = 1.0 - h * (with_conversion + with_temperature * self.rise);
            if left < 0.2 {
                return false;
            }
            let change = h * rate / left;
            x.alpha[i] += change;
            x.t[i] += self.rise * change;
        }
        true
    }

    fn step(&self, layers: usize, time: f64, h: f64, x: &mut State, upper: &mut [f64]) -> bool {
        let room = self.casting.room.at(time + h);
        for axis in 0..3 {
            self.conduct(axis, layers, h, room, x, upper);
        }
        self.react(layers, h, x)
    }

    fn follow(&self, until: End) -> Cured {
        let casting = self.casting;
        let all = casting.cells.len();
        let mut x = State { t: vec![casting.start; all], alpha: vec![0.0; all], lost: 0.0 };
        let (mut coarse, mut fine) = (x.clone(), x.clone());
        let mut upper = vec![0.0; self.counts.into_iter().max().unwrap_or(1)];
        let (mut laid, mut layers, mut brought) = (0, 0, 0.0);
        let mut cured = Cured { lifts: Vec::new(), balance: 0.0, history: Vec::new() };
        let (mut time, mut h) = (0.0, 1.0f64);
        let mut gelled: Vec<[f64; 2]> = Vec::new();
        let last = casting.lifts.last().map_or(0.0, |lift| lift.at);
        let end = if let End::After(duration) = until { duration } else { last + LONGEST };
        // Errors of conversion count relative to the conversion that warms the mix by the error of a step.
        let smallest = (self.tolerance / self.rise.abs().max(1e-9)).min(1e-2);
        while time < end {
            while laid < casting.lifts.len() && casting.lifts[laid].at <= time {
                if let Some(below) = cured.lifts.last_mut() {
                    below.covered_at = self.top_conversion(layers, &x);
                }
                let from = layers * self.strides[2];
                layers += casting.lifts[laid].layers;
                for i in from..layers * self.strides[2] {
                    // Solids start at the temperature of the room.
                    x.t[i] =
                        if casting.cells[i] == Cell::Fill { casting.start } else { casting.room.at(time) };
                    brought += self.stored[i] * (x.t[i] - casting.start);
                }
                cured.lifts.push(Lifted {
                    peak: casting.start,
                    peak_time: 0.0,
                    gel_begins: None,
                    gel_time: None,
                    covered_at: None,
                });
                gelled.push([0.0; 2]);
                laid += 1;
                h = h.min(10.0);
                cured.history.push(self.moment(time, &cured, &x));
            }
            let next = casting.lifts.get(laid).map_or(end, |lift| lift.at.min(end));
            h = h.min(next - time);
            let used = layers * self.strides[2];
            coarse.clone_from(&x);
            fine.clone_from(&x);
            let held = self.step(layers, time, h, &mut coarse, &mut upper)
                && self.step(layers, time, 0.5 * h, &mut fine, &mut upper)
                && self.step(layers, time + 0.5 * h, 0.5 * h, &mut fine, &mut upper);
            let mut error = 0.0f64;
            for i in 0..used {
                error = error.max((fine.t[i] - coarse.t[i]).abs() / self.tolerance);
                error = error.max((fine.alpha[i] - coarse.alpha[i]).abs() / smallest);
            }
            if !held || !error.is_finite() || error > 1.0 {
                h *= if held && error.is_finite() { (0.8 / error.sqrt()).clamp(0.2, 0.8) } else { 0.3 };
                if h < 1e-6 {
                    break;
                }
                continue;
            }
            time = if h >= next - time { next } else { time + h };
            for i in 0..used {
                x.t[i] = 2.0 * fine.t[i] - coarse.t[i];
                x.alpha[i] = 2.0 * fine.alpha[i] - coarse.alpha[i];
            }
            x.lost = 2.0 * fine.lost - coarse.lost;
            self.note(time, h, &x, &mut gelled, &mut cured);
            cured.history.push(self.moment(time, &cured, &x));
            h *= (0.9 / error.max(1e-3).sqrt()).clamp(0.3, 3.0);
            let over = match until {
                End::After(_) => false,
                End::Cured => self.is_over(&x, &cured),
                End::Hotter(limit) if cured.peak() > limit => break,
                End::Hotter(_) => self.is_over(&x, &cured),
                End::Gel => {
                    cured.lifts.last().is_some_and(|lift| lift.gel_begins.is_some())
                        || self.is_over(&x, &cured)
                }
            };
            if laid == casting.lifts.len() && over {
                break;
            }
        }
        cured.balance = self.balance(layers, brought, &x);
        cured
    }

    /// The cells of lift number `lift`.
    fn cells_of(&self, lift: usize) -> std::ops::Range<usize> {
        let layers = |count: usize| self.casting.lifts[..count].iter().map(|l| l.layers).sum::<usize>();
        layers(lift) * self.strides[2]..layers(lift + 1) * self.strides[2]
    }

    /// The cells of mix among `cells`.
    fn fills(&self, cells: std::ops::Range<usize>) -> impl Iterator<Item = usize> {
        cells.filter(|i| self.casting.cells[*i] == Cell::Fill)
    }

    /// Records what the step of length `h` (s) that ends at `time` (s) did; `before` holds the highest and
    /// the lowest conversion of each lift before the step.
    fn note(&self, time: f64, h: f64, x: &State, before: &mut [[f64; 2]], cured: &mut Cured) {
        for (i, (lift, before)) in cured.lifts.iter_mut().zip(before).enumerate() {
            let since = time - self.casting.lifts[i].at;
            let hottest = self.hottest(i, x);
            if hottest > lift.peak {
                (lift.peak, lift.peak_time) = (hottest, since);
            }
            let ends = self
                .fills(self.cells_of(i))
                .fold([0.0f64, f64::INFINITY], |[high, low], j| [high.max(x.alpha[j]), low.min(x.alpha[j])]);
            let passed = |k: usize| {
                let passes = before[k] < GEL && ends[k] >= GEL && ends[k].is_finite();
                passes.then(|| since - h * (ends[k] - GEL) / (ends[k] - before[k]))
            };
            lift.gel_begins = lift.gel_begins.or(passed(0));
            lift.gel_time = lift.gel_time.or(passed(1));
            *before = ends;
        }
    }

    fn hottest(&self, lift: usize, x: &State) -> f64 {
        self.fills(self.cells_of(lift)).map(|i| x.t[i]).fold(f64::NEG_INFINITY, f64::max)
    }

    fn top_conversion(&self, layers: usize, x: &State) -> Option<f64> {
        let layer = (layers - 1) * self.strides[2]..layers * self.strides[2];
        self.mean(layer, &x.alpha)
    }

    /// The mean over the mix in `cells`, weighted by heat capacity; `None` where there is no mix.
    fn mean(&self, cells: std::ops::Range<usize>, of: &[f64]) -> Option<f64> {
        let (sum, whole) = self
            .fills(cells)
            .fold((0.0, 0.0), |(sum, whole), i| (sum + self.stored[i] * of[i], whole + self.stored[i]));
        (whole > 0.0).then(|| sum / whole)
    }

    fn moment(&self, time: f64, cured: &Cured, x: &State) -> Moment {
        let count = cured.lifts.len();
        let hottest =
            (0..self.casting.lifts.len()).map(|i| (i < count).then(|| self.hottest(i, x))).collect();
        let laid = 0..self.cells_of(count - 1).end;
        Moment { time, hottest, conversion: self.mean(laid, &x.alpha).unwrap_or(0.0) }
    }

    /// True when every lift is well past its peak and the mix has cured or cooled so far that no higher peak
    /// can follow.
    fn is_over(&self, x: &State, cured: &Cured) -> bool {
        let falls = |(i, lift): (usize, &Lifted)| self.hottest(i, x) < lift.peak - PAST_PEAK * self.tolerance;
        if !cured.lifts.iter().enumerate().all(falls) {
            return false;
        }
        let all = 0..self.cells_of(cured.lifts.len() - 1).end;
        let mean = self.mean(all.clone(), &x.alpha).unwrap_or(1.0);
        if mean > 0.98 {
            return true;
        }
        let room = self.casting.room.mean + self.casting.room.swing;
        let hottest = self.fills(all.clone()).map(|i| x.t[i]).fold(f64::NEG_INFINITY, f64::max);
        let gelled = self.fills(all).all(|i| x.alpha[i] > GEL);
        gelled && hottest < cured.peak() - 0.3 * (cured.peak() - room)
    }

    fn balance(&self, layers: usize, brought: f64, x: &State) -> f64 {
        let cells = 0..layers * self.strides[2];
        let free: f64 = self.fills(cells.clone()).map(|i| x.alpha[i] * self.rise * self.stored[i]).sum();
        let stored: f64 =
            cells.map(|i| self.stored[i] * (x.t[i] - self.casting.start)).sum::<f64>() - brought;
        let scale = free.abs().max(stored.abs()).max(x.lost.abs()).max(1e-9);
        (free - stored - x.lost) / scale
    }
}
