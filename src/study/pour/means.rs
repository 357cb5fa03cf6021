//! What is poured and by what means.

use super::heat::Room;
use super::mould::Mould;
use super::shape::CastShape;
use std::collections::BTreeMap;
use stillbed_input::quantity::Spread;

/// What is poured and by what means. [`Pour::new`] has the usual means.
#[derive(Debug, Clone, PartialEq)]
pub struct Pour {
    /// The castings of the mix; equal ones together.
    pub shapes: Vec<CastShape>,
    /// Thinnest gap that the mix has to pass, m.
    pub thinnest: Option<f64>,
    /// Part of the mix lost on tools and in joints.
    pub waste: f64,
    /// Volume of mix that the bucket takes, m3.
    pub bucket: f64,
    /// Temperature of mix and mould, and mean temperature of the room over the day, K.
    pub temperature: f64,
    /// Amplitude of the room temperature over the day, K.
    pub swing: f64,
    /// Time of day at which the first lift begins, s; `None` where it is not stated.
    pub start: Option<f64>,
    /// Time to mix a batch, s.
    pub mixing_time: f64,
    /// Rate of placing and vibrating the mix, kg/s.
    pub placing_rate: f64,
    /// Film coefficient from a surface to air, W/(m2 K).
    pub film: Spread,
    /// Height of a lift, m, where it is stated.
    pub lift: Option<f64>,
    /// Time from the beginning of one lift to that of the next, s, where it is stated.
    pub wait: Option<f64>,
    /// Number of draws of the heat; 0 leaves the spread out.
    pub draws: usize,
    /// The mould, if its boards are to be sized.
    pub mould: Option<Mould>,
    /// Sizes of bags and cans by the name of what is weighed, kg.
    pub packs: BTreeMap<String, f64>,
    /// Mass of the skeleton cast in, kg.
    pub skeleton: f64,
}

/// Film coefficient of air on a board or on the open face, W/(m2 K): usual value, still air, draught; from
/// memory.
const FILM: (f64, f64, f64) = (8.0, 5.0, 12.0);
/// Number of draws of the heat: of 61 the fourth from either end are the 5 and 95 % points.
pub(super) const DRAWS: usize = 61;
/// Time of day at which the first lift begins where no start is stated.
const USUAL_START: f64 = 8.0 * 3600.0;

impl Pour {
    /// A pour of these castings with the means of a small workshop: 5 % waste, a bucket of 10 l, 20 degC, ten
    /// minutes of mixing, 2 kg placed per minute; common practice.
    #[must_use]
    pub fn new(shapes: Vec<CastShape>) -> Pour {
        let (film, low, high) = FILM;
        Pour {
            shapes,
            thinnest: None,
            waste: 0.05,
            bucket: 0.01,
            temperature: 293.15,
            swing: 0.0,
            start: None,
            mixing_time: 600.0,
            placing_rate: 2.0 / 60.0,
            film: Spread::between(film, low, high),
            lift: None,
            wait: None,
            draws: DRAWS,
            mould: None,
            packs: BTreeMap::new(),
            skeleton: 0.0,
        }
    }

    /// Volume to fill, m3.
    #[must_use]
    pub fn volume(&self) -> f64 {
        self.shapes.iter().map(|shape| shape.volume).sum()
    }

    /// Height of the highest casting, m.
    pub fn depth(&self) -> f64 {
        self.shapes.iter().map(|shape| shape.size()[2]).fold(0.0, f64::max)
    }

    pub(super) fn room(&self) -> Room {
        Room { mean: self.temperature, swing: self.swing, start: self.start.unwrap_or(USUAL_START) }
    }
}
