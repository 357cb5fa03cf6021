//! Lifting and carrying: the sag of a base on a few supports, and where they are best.
//!
//! The base is free except for the supports, which only push upwards. A base in free fall does not deform
//! under its weight, so its shape on supports is that of a floating base under the support forces: with the
//! responses c to a unit force a at each of them, without momentum, the reactions R and the rigid-body motion
//! q follow from a small system:
//!
//! ```text
//! aⱼᵀ (Σ Rᵢ cᵢ + Z q) = 0      no support sinks
//! Zᵀ (f + Σ Rᵢ aᵢ) = 0         the weight f is carried
//! ```
//!
//! For two supports of a uniform bar this gives the known distances: 0.5774 of the length for level ends
//! (Airy), 0.5594 for the least change of length (Bessel), 0.5537 for the least sag.
//!
//! # Source
//! - `phelps1966`: Airy and Bessel points of a uniform bar (memory)

use super::rail::Rail;
use super::static_deflection::{DeflectionFault, deflection, dot, subdivided};
use super::straightness::{Straightness, extremes};
use nalgebra::{DMatrix, DVector, Vector3, Vector6};
use serde::Serialize;
use stillbed_frame::{Frame, Line};
use stillbed_input::quantity::GRAVITY;
use stillbed_modes::Statics;

/// Elements per member for this purpose.
const PIECES: usize = 48;
/// Steps of the grid along the line of the first search, for two supports and for three.
const PLACES: [usize; 2] = [40, 20];
/// Step, as a fraction of the line, at which the search ends.
const CLOSE: f64 = 3e-7;
/// Most steps of the search: some tens are usual; more are spent on a ridge that goes on.
const STEPS: usize = 300;
/// A gain below this fraction of a value does not count.
const GAIN: f64 = 1e-7;
/// Steps that each support tries, in multiples of the present one. All combinations are tried, since the
/// minimum of a largest value lies at the end of a ridge that few directions follow.
const TRIED: [f64; 7] = [0.0, -1.0, 1.0, -0.5, 0.5, -0.25, 0.25];

/// A support under the line of a member.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Support {
    /// The member.
    pub member: usize,
    /// From its start, m.
    pub at: f64,
}

/// A base on its supports.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SupportReactions {
    /// What each support carries, N; below 0 it would have to pull.
    pub reactions_n: Vec<f64>,
    /// Of the requested members, under their weight.
    pub straightness: Vec<Straightness>,
}

/// A base without feet, ready for supports.
pub struct SupportedFrame<'a> {
    statics: Statics<'a>,
    /// The load of the weight, and the weight, N.
    load: Vec<f64>,
    weight: f64,
}

/// The response to a unit force at one support.
#[derive(Clone)]
struct Prop {
    unit: Vec<f64>,
    moved: Vec<f64>,
}

/// A base without its feet and anchors.
pub fn unheld(frame: &Frame) -> Frame {
    Frame { feet: Vec::new(), anchors: Vec::new(), ..frame.clone() }
}

impl<'a> SupportedFrame<'a> {
    /// Prepares `frame`, which has neither feet nor anchors (see [`unheld`]).
    ///
    /// # Errors
    /// For an invalid frame.
    pub fn new(frame: &'a Frame) -> Result<SupportedFrame<'a>, DeflectionFault> {
        let statics = subdivided(frame, PIECES)?;
        let down = Vector6::z() * -GRAVITY;
        let load =
            statics.layout.inertia_load(frame, &down, &Vector3::zeros()).ok_or(DeflectionFault::NotHeld)?;
        let weight = frame.rigid_body().ok_or(DeflectionFault::NotHeld)?.mass * GRAVITY;
        Ok(SupportedFrame { statics, load, weight })
    }

    /// The base on `bearings`, and the straightness of the members `straight`.
    ///
    /// # Errors
    /// [`DeflectionFault::NotHeld`] when it would tip over, or a support is beyond its member.
    pub fn on(&self, bearings: &[Support], straight: &[usize]) -> Result<SupportReactions, DeflectionFault> {
        let props = bearings.iter().map(|bearing| self.prop(bearing)).collect::<Result<Vec<_>, _>>()?;
        let props: Vec<&Prop> = props.iter().collect();
        let (reactions_n, motion) = self.rest(&props).ok_or(DeflectionFault::NotHeld)?;
        let rails = Rail::join(self.statics.frame, straight);
        let line = |rail: &Rail| rail.straightness(&self.statics, &motion);
        Ok(SupportReactions { reactions_n, straightness: rails.iter().filter_map(line).collect() })
    }

    fn prop(&self, bearing: &Support) -> Result<Prop, DeflectionFault> {
        let layout = &self.statics.layout;
        let unit = layout.load_on_line(self.statics.frame, bearing.member, bearing.at, &Vector6::z());
        let unit = unit.ok_or(DeflectionFault::NotHeld)?;
        let moved = deflection(&self.statics, &self.statics.balanced(&unit))?;
        Ok(Prop { unit, moved })
    }

    /// Reactions and displacements on `props`; `None` when they cannot carry the weight.
    fn rest(&self, props: &[&Prop]) -> Option<(Vec<f64>, Vec<f64>)> {
        let free: Vec<&[f64]> = self.statics.free_motions().collect();
        let (n, m) = (props.len(), free.len());
        let weight = self.weight;
        // Unknowns are scaled by the weight and the sag, so that all rows are of similar size.
        let size = |v: &[f64]| v.iter().map(|x| x.abs()).fold(0.0, f64::max);
        let sag = props.iter().map(|p| weight * size(&p.moved)).fold(0.0, f64::max);
        (sag > 0.0 && n > 0).then_some(())?;
        let mut system = DMatrix::zeros(n + m, n + m);
        let mut right = DVector::zeros(n + m);
        for (j, prop) in props.iter().enumerate() {
            for (i, other) in props.iter().enumerate() {
                system[(j, i)] = dot(&prop.unit, &other.moved) * weight / sag;
            }
            for (i, z) in free.iter().enumerate() {
                let reach = dot(&prop.unit, z);
                system[(j, n + i)] = reach;
                system[(n + i, j)] = reach;
            }
        }
        for (i, z) in free.iter().enumerate() {
            right[n + i] = -dot(z, &self.load) / weight;
        }
        let found = system.clone().svd(true, true).solve(&right, 1e-10).ok()?;
        let left = (&system * &found - &right).amax();
        (left <= 1e-7 * right.amax()).then_some(())?;
        let mut motion = vec![0.0; self.load.len()];
        let mut add = |v: &[f64], share: f64| motion.iter_mut().zip(v).for_each(|(u, v)| *u += share * v);
        for (i, prop) in props.iter().enumerate() {
            add(&prop.moved, found[i] * weight);
        }
        for (i, z) in free.iter().enumerate() {
            add(z, found[n + i] * sag);
        }
        Some(((0..n).map(|i| found[i] * weight).collect(), motion))
    }
}

/// What the best supports minimise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SupportAim {
    /// Least difference of height along the line.
    Sag,
    /// Least slope anywhere.
    Slope,
    /// Least slope at the two ends.
    LevelEnds,
    /// Least change of the distance between the ends.
    Length,
}

/// The best places of a number of supports.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BestSupports {
    /// What they minimise.
    pub aim: SupportAim,
    /// Places along the line, as fractions of its length, in ascending order.
    pub shares: Vec<f64>,
    /// What each support carries, N.
    pub reactions_n: Vec<f64>,
    /// The minimum: m for sag and length, rad for slopes.
    pub least: f64,
}

/// The line formed by members one after another, each starting where the last one ends.
struct Track<'a> {
    frame: &'a Frame,
    along: &'a [usize],
    lengths: Vec<f64>,
}

impl Track<'_> {
    fn bearing(&self, share: f64) -> Option<Support> {
        let whole: f64 = self.lengths.iter().sum();
        let mut at = share.clamp(0.0, 1.0) * whole;
        for (member, length) in self.along.iter().zip(&self.lengths) {
            if at <= *length || *member == *self.along.last()? {
                return Some(Support { member: *member, at: at.min(*length) });
            }
            at -= length;
        }
        None
    }

    /// The value of `aim` for a motion.
    fn value(&self, carrying: &SupportedFrame, aim: SupportAim, motion: &[f64]) -> Option<f64> {
        let mut heights = [f64::INFINITY, f64::NEG_INFINITY];
        let mut slopes = Vec::new();
        let mut shortening = 0.0;
        for (number, length) in self.along.iter().zip(&self.lengths) {
            let line = carrying.statics.layout.line_motion(self.frame, *number, motion)?;
            let rigid: f64 = self.frame.members[*number].rigid.iter().sum();
            let h = (length - rigid) / (line.len() - 1) as f64;
            for pair in line.windows(2) {
                // ∫ w'² / 2 of the cubic through both ends, w' = -turn about y.
                let (d, a, b) = ((pair[1][2] - pair[0][2]) / h, -pair[0][4], -pair[1][4]);
                shortening +=
                    h / 60.0 * (36.0 * d * d - 6.0 * d * (a + b) + 4.0 * (a * a + b * b) - 2.0 * a * b);
            }
            let x: Vec<f64> = (0..line.len()).map(|i| h * i as f64).collect();
            let [least, most] = extremes(&x, &line.iter().map(|u| u[2]).collect::<Vec<f64>>());
            heights = [heights[0].min(least), heights[1].max(most)];
            slopes.extend(line.iter().map(|u| u[4].abs()));
        }
        Some(match aim {
            SupportAim::Sag => heights[1] - heights[0],
            SupportAim::Slope => slopes.iter().copied().fold(0.0, f64::max),
            SupportAim::LevelEnds => slopes.first()?.max(*slopes.last()?),
            SupportAim::Length => shortening,
        })
    }
}

/// The best places for `count` supports under the level line of the members `along`, one after another, of a
/// base that stands on nothing else.
///
/// First a search over pairs or triples of equally spaced places, then steps that halve. Three supports may
/// come out a few thousandths off their best places, with hardly more sag.
///
/// # Errors
/// An invalid frame, a count other than 2 or 3, or a base that tips over wherever they are.
pub fn find_best_supports(
    frame: &Frame,
    along: &[usize],
    count: usize,
    aim: SupportAim,
) -> Result<BestSupports, DeflectionFault> {
    let loose = unheld(frame);
    let carrying = SupportedFrame::new(&loose)?;
    let length = |number: &usize| Some(Line::drawn(&loose, loose.members.get(*number)?)?.length);
    let lengths: Option<Vec<f64>> = along.iter().map(length).collect();
    let track = Track { frame: &loose, along, lengths: lengths.ok_or(DeflectionFault::NotHeld)? };
    let prop = |share: f64| -> Result<Prop, DeflectionFault> {
        carrying.prop(&track.bearing(share).ok_or(DeflectionFault::NotHeld)?)
    };
    let judge = |shares: &[f64], props: &[&Prop]| -> Option<BestSupports> {
        let (reactions_n, motion) = carrying.rest(props)?;
        reactions_n.iter().all(|r| *r >= 0.0).then_some(())?;
        let least = track.value(&carrying, aim, &motion)?;
        Some(BestSupports { aim, shares: shares.to_vec(), reactions_n, least })
    };
    let even = PLACES[usize::from(count > 2)];
    let places: Vec<f64> = (0..=even).map(|i| i as f64 / even as f64).collect();
    let props = places.iter().map(|share| prop(*share)).collect::<Result<Vec<_>, _>>()?;
    let mut best: Option<BestSupports> = None;
    for choice in choices(places.len(), count) {
        let shares: Vec<f64> = choice.iter().map(|i| places[*i]).collect();
        let chosen: Vec<&Prop> = choice.iter().map(|i| &props[*i]).collect();
        if let Some(found) = judge(&shares, &chosen)
            && best.as_ref().is_none_or(|best| found.least < best.least)
        {
            best = Some(found);
        }
    }
    let mut best = best.ok_or(DeflectionFault::NotHeld)?;
    let mut step = 0.5 / even as f64;
    for _ in 0..STEPS {
        if step <= CLOSE {
            break;
        }
        let here = best.shares.clone();
        let mut near: Vec<Vec<(f64, Prop)>> = Vec::with_capacity(count);
        for share in &here {
            let tried = TRIED.iter().map(|part| (share + part * step).clamp(0.0, 1.0));
            near.push(tried.map(|share| Ok((share, prop(share)?))).collect::<Result<_, DeflectionFault>>()?);
        }
        let mut better: Option<BestSupports> = None;
        for direction in 0..TRIED.len().pow(count as u32) {
            let pick = |i: usize| &near[i][direction / TRIED.len().pow(i as u32) % TRIED.len()];
            let shares: Vec<f64> = (0..count).map(|i| pick(i).0).collect();
            let chosen: Vec<&Prop> = (0..count).map(|i| &pick(i).1).collect();
            if let Some(found) = judge(&shares, &chosen)
                && is_better(found.least, better.as_ref().unwrap_or(&best).least)
            {
                better = Some(found);
            }
        }
        match better {
            Some(found) => best = found,
            None => step *= 0.5,
        }
    }
    Ok(best)
}

/// True when `one` is less than `other` by more than a negligible gain.
fn is_better(one: f64, other: f64) -> bool {
    one < other - GAIN * other.abs()
}

/// Every choice of 2 or 3 of `n` places, ascending.
fn choices(n: usize, count: usize) -> Vec<Vec<usize>> {
    let pairs = || (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)));
    match count {
        2 => pairs().map(|(i, j)| vec![i, j]).collect(),
        3 => pairs().flat_map(|(i, j)| (j + 1..n).map(move |k| vec![i, j, k])).collect(),
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, slender};
    use super::*;
    use approx::assert_relative_eq;

    /// A slender bar 2 m long, without shear deformation.
    fn rule() -> Frame {
        bar(2.0, &slender())
    }

    fn apart(aim: SupportAim) -> f64 {
        let best = find_best_supports(&rule(), &[0], 2, aim).unwrap();
        assert_relative_eq!(best.shares[0], 1.0 - best.shares[1], epsilon = 2e-4);
        assert_relative_eq!(best.reactions_n[0], best.reactions_n[1], max_relative = 2e-3);
        best.shares[1] - best.shares[0]
    }

    #[test]
    fn airy_and_bessel_points_come_out() {
        assert_relative_eq!(apart(SupportAim::LevelEnds), 1.0 / 3f64.sqrt(), epsilon = 1e-5);
        assert_relative_eq!(apart(SupportAim::Length), 0.5594, epsilon = 5e-5);
    }

    #[test]
    fn least_sag_makes_ends_and_middle_even() {
        let distance = apart(SupportAim::Sag);
        assert_relative_eq!(distance, 0.5537, epsilon = 5e-5);
        let loose = rule();
        let carrying = SupportedFrame::new(&loose).unwrap();
        let at = |share: f64| Support { member: 0, at: 2.0 * share };
        let found = carrying.on(&[at(0.5 - 0.5 * distance), at(0.5 + 0.5 * distance)], &[0]).unwrap();
        let line = &found.straightness[0].line;
        assert_relative_eq!(line[0].up_m, line[24].up_m, max_relative = 1e-3);
    }

    #[test]
    fn three_even_supports_carry_as_handbooks_say() {
        let loose = rule();
        let carrying = SupportedFrame::new(&loose).unwrap();
        let at = |at: f64| Support { member: 0, at };
        let found = carrying.on(&[at(0.0), at(1.0), at(2.0)], &[0]).unwrap();
        let w = 2500.0 * 0.06 * 0.04 * GRAVITY;
        for (reaction, share) in found.reactions_n.iter().zip([0.375, 1.25, 0.375]) {
            assert_relative_eq!(*reaction, share * w, max_relative = 1e-4);
        }
        // Two equal spans: w l⁴ / 185 E I.
        let ei = 210e9 * 0.06 * 0.04f64.powi(3) / 12.0;
        let lowest = found.straightness[0].line.iter().map(|p| p.up_m).fold(0.0, f64::min);
        assert_relative_eq!(-lowest, w / (184.6 * ei), max_relative = 2e-3);
    }

    #[test]
    fn more_supports_sag_less_and_one_tips_over() {
        let two = find_best_supports(&rule(), &[0], 2, SupportAim::Sag).unwrap();
        let three = find_best_supports(&rule(), &[0], 3, SupportAim::Sag).unwrap();
        assert!(three.least < 0.3 * two.least, "{three:?}");
        assert_relative_eq!(three.shares[1], 0.5, epsilon = 1e-3);
        let loose = rule();
        let carrying = SupportedFrame::new(&loose).unwrap();
        let one = [Support { member: 0, at: 0.5 }];
        assert_eq!(carrying.on(&one, &[]), Err(DeflectionFault::NotHeld));
        assert!(find_best_supports(&loose, &[0], 4, SupportAim::Sag).is_err());
    }
}
