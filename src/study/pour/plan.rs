//! In how many lifts to pour, and how far apart, so that the hottest place stays below what the binder
//! allows.
//!
//! Each casting of the mix is poured in lifts of equal height; all castings are poured side by side with one
//! common wait. A plan holds where 95 % of the draws stay below the limit over the whole sequence. The fewest
//! lifts that hold are taken; then the shortest wait that holds, since a lift bonds best to one that has
//! gelled but is not yet hard.
//!
//! Draws are solved on a coarser grid than the nominal values; their peaks are shifted by the difference of
//! the two grids at the nominal values. At constant room temperature the lifts of a high stack soon become
//! equal: draws follow the lifts up to the one after the first that is as hot as any.

use super::heat::{Cured, End, Fill, Room};
use super::shape::{CastShape, Standing};
use crate::spread::rank::percentile;
use rayon::prelude::*;
use stillbed_input::quantity::Spread;

/// Cells from the middle to a face, and allowed error of a step (K): at the nominal values, and in draws.
const FINE: (usize, f64) = (4, 0.1);
const COARSE: (usize, f64) = (2, 0.5);
/// Waits that are tried, h: whole shifts and days of a workshop.
const WAITS: [f64; 12] = [4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 24.0, 36.0, 48.0, 72.0];
/// Least thickness of a lift, m, and largest number of lifts: beyond these the mix has to change.
const THINNEST: f64 = 0.015;
const MOST: usize = 16;
/// Hours of the day between which lifts begin where a start is stated: common practice.
const HOURS: (f64, f64) = (6.0, 22.0);
/// Allowance for the error of the coarser grid in a peak, K.
const MARGIN: f64 = 0.5;
/// Number of draws solved together, beginning with those expected to be hottest.
const FEW: usize = 8;
/// A lift counts as hot as the hottest when it is cooler by less than this, K.
const ALIKE: f64 = 0.2;
/// Share of the draws that may exceed the limit.
const MAY_PASS: f64 = 0.05;

/// One set of inputs: the mix, and the film coefficient to air, W/(m2 K).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Case {
    pub fill: Fill,
    pub air: f64,
}

/// The inputs of a plan.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Asked {
    /// The nominal inputs.
    pub stated: Case,
    /// The inputs of the draws.
    pub drawn: Vec<Case>,
    /// Thermal resistance of the boards, m2 K/W.
    pub board: f64,
    /// Temperature of the mix as poured, K.
    pub start: f64,
    pub room: Room,
    /// True where the time of day of the first lift is stated.
    pub by_the_clock: bool,
    /// Temperature that the binder allows, K.
    pub limit: Option<f64>,
    /// Height of a lift, m, and time from lift to lift, s, where the user states them.
    pub lift: Option<f64>,
    pub wait: Option<f64>,
}

/// One casting and how it is poured.
#[derive(Debug, Clone, Copy)]
struct Pouring<'a> {
    shape: &'a CastShape,
    /// Number of lifts, and time between them, s.
    lifts: usize,
    wait: f64,
    /// Number of lifts that are followed, from the lowest.
    followed: usize,
}

impl<'a> Pouring<'a> {
    fn whole(shape: &'a CastShape, lifts: usize, wait: f64) -> Pouring<'a> {
        Pouring { shape, lifts, wait, followed: lifts }
    }
}

/// One casting of a plan.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Planned {
    pub lifts: usize,
    /// At the nominal values.
    pub cured: Cured,
    /// The highest temperature over the whole sequence in each draw, K.
    pub peaks: Vec<f64>,
}

/// All castings of a plan, in their order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    /// Time from the beginning of one lift to that of the next, s; `None` where each casting is one lift.
    pub wait: Option<f64>,
    pub castings: Vec<Planned>,
}

impl Asked {
    /// The plan for castings of these shapes.
    pub fn plan(&self, shapes: &[CastShape]) -> Plan {
        let (counts, waits): (Vec<usize>, Vec<Option<f64>>) =
            shapes.iter().map(|shape| self.lifts(shape)).unzip();
        self.with(shapes, &counts, waits.into_iter().flatten().reduce(f64::max))
    }

    /// The plan with the numbers of lifts in `counts`, `wait` (s) apart.
    pub fn with(&self, shapes: &[CastShape], counts: &[usize], wait: Option<f64>) -> Plan {
        let planned = |(shape, lifts): (&CastShape, &usize)| self.planned(shape, *lifts, wait.unwrap_or(0.0));
        Plan { wait, castings: shapes.iter().zip(counts).map(planned).collect() }
    }

    /// Number of lifts of a casting, and the shortest wait between them.
    fn lifts(&self, shape: &CastShape) -> (usize, Option<f64>) {
        let height = shape.size()[2];
        if let Some(lift) = self.lift {
            let lifts = (height / lift - 1e-6).ceil().clamp(1.0, 100.0) as usize;
            return (lifts, (lifts > 1).then(|| self.shortest(shape, lifts)));
        }
        let most = ((height / THINNEST) as usize).clamp(1, MOST);
        let holds = |lifts| self.holds(shape, lifts, self.wait.unwrap_or(WAITS[WAITS.len() - 1] * 3600.0));
        // Thinner lifts are cooler: their number is doubled until it holds, then bisected.
        let (mut hot, mut lifts) = (0, 1);
        while !holds(lifts) {
            if lifts == most {
                // Nothing holds, and the sheet says that it is too hot: the plan has one lift, or where a wait
                // is stated the thinnest lifts, so far apart.
                return self.wait.filter(|_| most > 1).map_or((1, None), |wait| (most, Some(wait)));
            }
            (hot, lifts) = (lifts, (2 * lifts).min(most));
        }
        while lifts - hot > 1 {
            let middle = (hot + lifts) / 2;
            if holds(middle) { lifts = middle } else { hot = middle }
        }
        (lifts, (lifts > 1).then(|| self.shortest(shape, lifts)))
    }

    /// The shortest wait that holds and in which a lift gels; the longest where none holds.
    fn shortest(&self, shape: &CastShape, lifts: usize) -> f64 {
        if let Some(wait) = self.wait {
            return wait;
        }
        let waits: Vec<f64> =
            WAITS.iter().map(|h| h * 3600.0).filter(|w| self.is_by_day(lifts, *w)).collect();
        let longest = waits[waits.len() - 1];
        let alone = Pouring { followed: 1, ..Pouring::whole(shape, lifts, longest) };
        let alone = self.solve(alone, &self.stated, COARSE, End::Cured);
        let gel = alone.lifts[0].gel_time.unwrap_or(longest);
        let (mut low, mut high) = (waits.partition_point(|wait| *wait < gel), waits.len() - 1);
        while low < high {
            let middle = (low + high) / 2;
            if self.holds(shape, lifts, waits[middle]) { high = middle } else { low = middle + 1 }
        }
        waits[high]
    }

    /// True where each lift begins within working hours; a whole number of days always qualifies.
    fn is_by_day(&self, lifts: usize, wait: f64) -> bool {
        let hour = |i: usize| ((self.room.start + i as f64 * wait) / 3600.0).rem_euclid(24.0);
        let works = |hour: f64| (HOURS.0..=HOURS.1).contains(&hour);
        !self.by_the_clock || wait % 86400.0 == 0.0 || (0..lifts).all(|i| works(hour(i)))
    }

    /// True where enough draws stay below the limit, or no limit is known.
    fn holds(&self, shape: &CastShape, lifts: usize, wait: f64) -> bool {
        let Some(limit) = self.limit else { return true };
        let (limit, end) = (limit - MARGIN, End::Hotter(limit - MARGIN));
        let whole = Pouring::whole(shape, lifts, wait);
        let stated = self.solve(whole, &self.stated, COARSE, end);
        if stated.peak() > limit {
            return false;
        }
        let pouring = self.until_alike(whole, &stated);
        let over = |case: &Case| self.solve(pouring, case, COARSE, end).peak() > limit;
        let mut left = (MAY_PASS * self.drawn.len().saturating_sub(1) as f64) as usize;
        let mut order: Vec<&Case> = self.drawn.iter().collect();
        order.sort_by(|a, b| severity(b).total_cmp(&severity(a)));
        for few in order.chunks(FEW) {
            let passed = few.par_iter().filter(|case| over(case)).count();
            if passed > left {
                return false;
            }
            // If none of this group exceeds the limit, the milder ones do not either.
            if passed == 0 {
                return true;
            }
            left -= passed;
        }
        true
    }

    /// One casting in so many `lifts`, `wait` (s) apart.
    pub fn planned(&self, shape: &CastShape, lifts: usize, wait: f64) -> Planned {
        let whole = Pouring::whole(shape, lifts, wait);
        let cured = self.solve(whole, &self.stated, FINE, End::Cured);
        let coarse = self.solve(whole, &self.stated, COARSE, End::Cured);
        let more = cured.peak() - coarse.peak();
        let pouring = self.until_alike(whole, &coarse);
        let peak = |case: &Case| self.solve(pouring, case, COARSE, End::Cured).peak() + more;
        Planned { lifts, peaks: self.drawn.par_iter().map(peak).collect(), cured }
    }

    /// The same, followed up to the lift after the first that is as hot as any in `stated`, which follows all
    /// lifts. In a room whose temperature varies all lifts are followed, since each is poured at another
    /// hour.
    fn until_alike<'a>(&self, whole: Pouring<'a>, stated: &Cured) -> Pouring<'a> {
        let hottest = stated.lifts.iter().position(|lift| lift.peak > stated.peak() - ALIKE);
        match hottest {
            Some(first) if self.room.swing == 0.0 => {
                Pouring { followed: whole.lifts.min(first + 2), ..whole }
            }
            _ => whole,
        }
    }

    fn solve(&self, pouring: Pouring, case: &Case, grid: (usize, f64), end: End) -> Cured {
        let standing = Standing { air: case.air, board: self.board, start: self.start, room: self.room };
        let mut casting = pouring.shape.grid(pouring.lifts, pouring.wait, grid.0, &standing);
        casting.lifts.truncate(pouring.followed);
        casting.cure(&case.fill, end, grid.1)
    }

    /// Thickness of the thickest wide lift, on a board and open above, of which 95 % of the draws stay below
    /// the limit, m; `None` where one of a metre does, or no limit is known; 0 where even the thinnest does
    /// not.
    pub fn largest(&self) -> Option<f64> {
        self.limit?;
        let holds = |thickness: f64| self.holds(&CastShape::slab("", thickness, 1.0), 1, 0.0);
        let (mut low, mut high) = (2e-3f64, 1.0f64);
        if holds(high) {
            return None;
        }
        if !holds(low) {
            return Some(0.0);
        }
        while high / low > 1.01 {
            let middle = (low * high).sqrt();
            if holds(middle) { low = middle } else { high = middle }
        }
        Some(low)
    }
}

/// Approximate peak of a case, to sort cases by, K.
fn severity(case: &Case) -> f64 {
    let rise = case.fill.heat / case.fill.heat_capacity;
    rise * (case.fill.kinetics.highest_rate(310.0) / case.air).powf(0.3)
}

impl Planned {
    /// The 5 % and 95 % points of the highest temperature, K; the nominal value where nothing was drawn.
    pub fn limits(&self) -> [f64; 2] {
        let mut sorted = self.peaks.clone();
        sorted.sort_by(f64::total_cmp);
        [MAY_PASS, 1.0 - MAY_PASS].map(|share| percentile(&sorted, share).unwrap_or(self.cured.peak()))
    }

    /// The nominal highest temperature with those points, K.
    pub fn spread(&self) -> Spread {
        let [low, high] = self.limits();
        Spread::between(self.cured.peak(), low, high)
    }

    /// Share of the draws in which it exceeds `limit` (K).
    pub fn chance(&self, limit: f64) -> f64 {
        let passes = |peak: &f64| *peak > limit;
        if self.peaks.is_empty() {
            return f64::from(u8::from(passes(&self.cured.peak())));
        }
        self.peaks.iter().filter(|peak| passes(peak)).count() as f64 / self.peaks.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::super::kinetics::Kinetics;
    use super::*;

    fn case(heat: f64, rate: f64) -> Case {
        let kinetics = Kinetics::usual(rate, 7000.0);
        Case { fill: Fill { conductivity: 1.4, heat_capacity: 1.79e6, heat, kinetics }, air: 8.0 }
    }

    fn asked() -> Asked {
        let parts = (0..40).map(|i| f64::from(i) / 39.0 - 0.5);
        Asked {
            stated: case(1.64e8, 7e5),
            drawn: parts.map(|part| case(1.64e8 * (1.0 + 0.2 * part), 7e5 * (0.8 * part).exp())).collect(),
            board: 0.009 / 0.17,
            start: 293.15,
            room: Room { mean: 293.15, swing: 0.0, start: 0.0 },
            by_the_clock: false,
            limit: Some(333.15),
            lift: None,
            wait: None,
        }
    }

    #[test]
    fn a_wide_pour_is_made_in_lifts_whose_hottest_place_stays_below_the_limit() {
        let shape = CastShape::slab("bed", 0.38, 1.0);
        let asked = asked();
        let plan = asked.plan(std::slice::from_ref(&shape));
        let bed = &plan.castings[0];
        let wait = plan.wait.unwrap();
        assert!(bed.lifts > 2, "{} {wait}", bed.lifts);
        assert!(bed.limits()[1] < 333.15 + 1.0 && bed.chance(333.15) <= 0.076, "{:?}", bed.limits());
        // Fewer lifts or a shorter wait would not hold.
        assert!(!asked.holds(&shape, bed.lifts - 1, 72.0 * 3600.0));
        let shorter = Asked {
            wait: Some(WAITS.iter().rev().find(|w| **w * 3600.0 < wait).unwrap() * 3600.0),
            ..asked.clone()
        };
        let gel = bed.cured.lifts[0].gel_time.unwrap();
        assert!(shorter.wait.unwrap() < gel || !shorter.holds(&shape, bed.lifts, shorter.wait.unwrap()));
        let thick = asked.largest().unwrap();
        assert!(thick > 0.38 / bed.lifts as f64 && thick < 0.2, "{thick}");
    }

    #[test]
    fn a_slender_column_is_one_lift_where_a_wide_bed_of_its_height_is_several() {
        let known = (0..40).map(|i| f64::from(i) / 39.0 - 0.5);
        let drawn = known.map(|part| case(1.64e8 * (1.0 + 0.05 * part), 7e5 * (0.1 * part).exp())).collect();
        let asked = Asked { drawn, ..asked() };
        let column = asked.plan(&[CastShape::block("column", [0.108, 0.108, 0.38], 0.0044)]);
        assert_eq!((column.wait, column.castings[0].lifts), (None, 1));
        assert!(asked.plan(&[CastShape::slab("bed", 0.38, 1.0)]).castings[0].lifts > 2);
    }

    #[test]
    fn a_finer_grid_moves_the_peak_by_less_than_a_kelvin() {
        let asked = asked();
        let shapes = [
            (CastShape::block("cube", [0.15; 3], 0.003375), 1, 0.0),
            (CastShape::slab("bed", 0.38, 1.0), 4, 9.0 * 3600.0),
            (CastShape::block("bar", [0.2, 0.6, 0.12], 0.0144), 2, 12.0 * 3600.0),
        ];
        for (shape, lifts, wait) in shapes {
            let peak = |grid| {
                asked.solve(Pouring::whole(&shape, lifts, wait), &asked.stated, grid, End::Cured).peak()
            };
            let (fine, finer) = (peak(FINE), peak((12, 0.02)));
            assert!((fine - finer).abs() < 0.5, "{}: {fine} {finer}", shape.name);
            assert!((peak(COARSE) - finer).abs() < 2.0, "{}: {} {finer}", shape.name, peak(COARSE));
        }
    }

    #[test]
    fn the_lifts_of_a_stack_that_are_left_out_in_draws_are_no_hotter() {
        let asked = asked();
        let bed = (CastShape::slab("bed", 0.6, 1.0), 72.0);
        let bar = (CastShape::block("bar", [0.2, 0.3, 0.6], 0.036), 14.0);
        for (shape, hours) in [bed, bar] {
            let whole = Pouring::whole(&shape, 12, hours * 3600.0);
            let pouring = asked.until_alike(whole, &asked.solve(whole, &asked.stated, COARSE, End::Cured));
            assert!(pouring.followed < 9, "{}: {}", shape.name, pouring.followed);
            for case in &asked.drawn {
                let [few, all] =
                    [pouring, whole].map(|one| asked.solve(one, case, COARSE, End::Cured).peak());
                assert!((few - all).abs() < 2.0 * ALIKE, "{}: {few} {all}", shape.name);
            }
        }
    }

    #[test]
    fn who_states_lift_and_wait_is_told_what_becomes_of_it() {
        let asked = Asked { lift: Some(0.095), wait: Some(9.0 * 3600.0), ..asked() };
        let plan = asked.plan(&[CastShape::slab("bed", 0.38, 1.0)]);
        let bed = &plan.castings[0];
        assert_eq!((bed.lifts, plan.wait), (4, Some(9.0 * 3600.0)));
        // The second lift is poured on the first at its hottest.
        assert!(bed.cured.lifts[1].peak > bed.cured.lifts[0].peak + 10.0);
        assert!(bed.chance(333.15) > 0.5);
    }

    #[test]
    fn a_stated_wait_is_kept_where_no_number_of_lifts_holds() {
        let cold = Asked { limit: Some(294.0), ..asked() };
        let bed = [CastShape::slab("bed", 0.15, 1.0)];
        let proposed = cold.plan(&bed);
        assert_eq!((proposed.castings[0].lifts, proposed.wait), (1, None));
        let stated = Asked { wait: Some(8.0 * 3600.0), ..cold.clone() }.plan(&bed);
        assert_eq!((stated.castings[0].lifts, stated.wait), (10, Some(8.0 * 3600.0)));
        assert!(stated.castings[0].cured.peak() < proposed.castings[0].cured.peak());
        let tile = Asked { wait: Some(8.0 * 3600.0), ..cold }.plan(&[CastShape::slab("tile", 0.02, 1.0)]);
        assert_eq!((tile.castings[0].lifts, tile.wait), (1, None));
    }

    #[test]
    fn lifts_begin_by_day_where_the_start_is_stated() {
        let mut asked = Asked { by_the_clock: true, ..asked() };
        asked.room.start = 8.0 * 3600.0;
        assert!(!asked.is_by_day(2, 16.0 * 3600.0) && asked.is_by_day(2, 12.0 * 3600.0));
        assert!(asked.is_by_day(9, 48.0 * 3600.0) && !asked.is_by_day(3, 20.0 * 3600.0));
    }
}
