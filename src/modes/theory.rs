//! Error of beam theory itself, besides the error of the subdivision.
//!
//! A member is a line whose sections stay plane; a solid is not. Each rule bounds what that misses in one
//! kind of motion, weighted by the share of the strain energy in it. The numbers were chosen on the solids
//! that the tests compare with (free blocks, a thick cantilever, posts on a chord), so the tests guard the
//! rules and do not validate them. Poisson's ratios other than 0.3, composites, and sections that change
//! their shape were not compared:
//!
//! ```text
//! x = ω h / π c_s      depth h over half the wavelength of shear
//! y = ω / ω_w          frequency over that of bending across the width,  ω_w = 22.37 √(EI/m) / w²
//! q = ω w / c_t        phase of a twist wave over the width w
//!
//! all              1.2 % x⁶ + (x - 1.1)₊
//! stretch          3.5 % x²
//! bending, twist   0.6 % p / (p + 0.1),  p the larger of x and y
//! bending of a flat section   8 % y² + 1.5 (y - 0.7)₊            twist of one   1.8 % q² (1 - t/w)^1.5
//! ```
//!
//! A member of depth h and straight run L may be built in, or lie inside another member in part. Where in the other
//! it begins to deform is not known:
//!
//! ```text
//! built in      ΔU = 18 % h/L U of the member, at most all of it
//!               (a held root keeps 0.022 h of a square bar from straining across: at a root the energy is up to
//!               four times the mean, and there may be two)
//! inside        ΔU = U within the other, up to half its depth: also of a member that runs on where another stands
//!               on it, over half the width of that
//!               (of solid T of one material, bodies are stiffer than lines by up to four fifths of that)
//! ```
//!
//! Walls that give out of plane (`stillbed_design`) are those of a chord whose section is free to distort for a long way.
//! Where something stands on it near by, a part of what they give may not be there:
//!
//! ```text
//! held        ΔU = part M²/2k of the joint
//! ```
//!
//! Walls of hollow members give way where others meet them, which beams do not show. The forces at that end,
//! computed with a rigid joint, store the energy `M²/2k_M + N²/2k_N` in addition; by the principle of least
//! complementary energy the frame is no softer than with all of it:
//!
//! ```text
//! stiffness   k ≥ k₀ / (1 + δ),   ω ≥ ω₀ / √(1 + δ) about,   δ = ΔU / U
//! k_M = 0.82 E t³ (1 - β)^-2.17,  k_N = 8.3 E t³/b² (1 - β)^-2.12,   1 - β at least 0.11
//! ```
//!
//! with wall thickness t, width b and the ratio β of the widths. This fits solids of two posts on a chord
//! without a weld bead, β from 0.5 to 0.67 and t/b from 0.05 to 0.067, to 15 %; at β = 1 it is made to match
//! a third. A bead makes them up to half again as stiff.

use super::solve::{Elastic, Spectrum};
use serde::Serialize;
use stillbed_frame::{Energies, Frame};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::figures;

/// What the rules need to know of one member.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Proportions {
    /// Its name.
    pub name: String,
    /// Width and height of the box around its section, m.
    pub size: [f64; 2],
    /// Length of the straight run of one section that it belongs to, m.
    pub run: f64,
    /// Whether an end of that run is anchored or meets another member.
    pub built_in: bool,
    /// By end: how far it reaches into a solid member that it ends in, or that ends on it, m.
    pub within: [f64; 2],
    /// By end: the hollow member whose wall it meets.
    pub corners: [Option<Corner>; 2],
    /// By end with a joint of walls: what of it goes if the section of its chord is held near by.
    pub held: [Option<HeldSection>; 2],
}

/// The section of a hollow chord that may be held near a brace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldSection {
    /// The spring of the joint that turns the brace out of plane, among the six of it: 4 or 5.
    pub about: usize,
    /// The part of its give that goes if the section is held, 0 to 1.
    pub part: f64,
}

/// A corner where a member meets the bare wall of a hollow one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corner {
    /// The member that ends there.
    pub member: String,
    /// The hollow member.
    pub on: String,
    /// Rotational stiffness of the wall against the member, N m/rad.
    pub turning_n_m_per_rad: f64,
    /// Stiffness of the wall when the member pushes and pulls, N/m.
    pub push_n_per_m: f64,
    /// Factor by which the member's end may turn more easily than with a rigid joint, 1 + (4 EI/L)/k_M.
    pub factor: f64,
}

impl Corner {
    /// The corner of a member of width `width` (m) on a hollow one of width `chord` (m) whose wall (m) has
    /// Young's modulus `modulus` (Pa); `bending` is 4 EI/L of the member, N m/rad.
    pub fn new(
        member: &str,
        on: &str,
        width: f64,
        chord: f64,
        (wall, modulus): (f64, f64),
        bending: f64,
    ) -> Corner {
        let free = (1.0 - width / chord).max(FULL_WIDTH);
        let plate = modulus * wall.powi(3);
        let turning = 0.82 * plate * free.powf(-2.17);
        Corner {
            member: member.to_string(),
            on: on.to_string(),
            turning_n_m_per_rad: turning,
            push_n_per_m: 8.3 * plate / (chord * chord) * free.powf(-2.12),
            factor: 1.0 + bending / turning,
        }
    }
}

impl Corner {
    /// All corners of a build as one warning at `place`, the worst first; `None` where there is none.
    pub fn doubt(members: &[Proportions], place: Place) -> Option<Problem> {
        let mut corners: Vec<&Corner> =
            members.iter().flat_map(|member| member.corners.iter().flatten()).collect();
        corners.sort_by(|a, b| b.factor.total_cmp(&a.factor));
        let one = |corner: &&Corner| {
            let [member, on] = [&corner.member, &corner.on].map(|name| name.replace('_', " "));
            format!("{member} on {on} {} times", figures(corner.factor, 2))
        };
        let worst: Vec<String> = corners.iter().take(NAMED).map(one).collect();
        let rest = match corners.len().saturating_sub(NAMED) {
            0 => String::new(),
            more => format!(" and {more} less"),
        };
        let count = match corners.len() {
            0 => return None,
            1 => "1 corner meets".to_string(),
            more => format!("{more} corners meet"),
        };
        let message = format!(
            "{count} the bare wall of a hollow member, which gives way; an end there may turn more easily \
             than computed: {}{rest}",
            worst.join(", ")
        );
        let help = "stiffen the wall there, fill the tube, or state a joint with the wall's own give";
        Some(Problem::warning(place, message).with_help(help))
    }
}

/// Largest number of corners that are named.
const NAMED: usize = 3;

/// Fraction of the chord's width that gives way beside a post as wide as the chord: the least 1 - β.
const FULL_WIDTH: f64 = 0.11;

/// One possible cause of error of beam theory.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reason {
    /// What it is.
    pub why: &'static str,
    /// The member with the largest part of it.
    pub of: String,
    /// Its size, relative to the result.
    pub error: f64,
}

/// Possible error of beam theory in one result, relative to it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct TheoryError {
    /// The whole: the result may be off by this fraction.
    pub error: f64,
    /// How much the result may be too high or too low.
    pub either_way: f64,
    /// How much lower still the true value may be, where walls of hollow members give way.
    pub lower: f64,
    /// The causes, largest first.
    pub reasons: Vec<Reason>,
}

/// What one rule finds, by member.
struct Found {
    why: &'static str,
    by_member: Vec<f64>,
}

impl Found {
    fn sum(&self) -> f64 {
        self.by_member.iter().sum()
    }

    fn reason(&self, error: f64, members: &[Proportions]) -> Option<Reason> {
        let most = (0..members.len()).max_by(|a, b| self.by_member[*a].total_cmp(&self.by_member[*b]))?;
        (error > LEAST).then(|| Reason { why: self.why, of: members[most].name.clone(), error })
    }
}

/// Errors below this are not listed as causes.
const LEAST: f64 = 1e-4;

/// Judges beam theory for motions of one divided frame.
pub struct Theory<'a> {
    frame: &'a Frame,
    energies: Energies<'a>,
    members: &'a [Proportions],
}

impl<'a> Theory<'a> {
    /// Prepares to judge motions of `frame` in the layout of `energies`, whose members have these
    /// proportions.
    pub fn new(frame: &'a Frame, energies: Energies<'a>, members: &'a [Proportions]) -> Theory<'a> {
        Theory { frame, energies, members }
    }

    /// Possible error of beam theory in the frequency of a mode.
    pub fn of_mode(&self, mode: &Elastic) -> TheoryError {
        let omega = mode.omega_squared.max(0.0).sqrt();
        let motion = &mode.shape;
        let total = self.total(motion);
        let stored: Vec<[f64; 6]> =
            (0..self.members.len()).map(|m| self.energies.stored_by_force(m, motion)).collect();
        let short = |m: usize| self.waves(m, omega).map_or(0.0, |waves| waves.error(&stored[m])) / total;
        let waves = Found { why: "waves short against the section", by_member: self.each(short) };
        let zones = self.zones(motion, total);
        self.judged(
            vec![waves],
            zones,
            self.walls(motion, total),
            |part| 1.0 / (1.0 - part.min(MOST)).sqrt() - 1.0,
            |delta| (1.0 + delta).sqrt(),
        )
    }

    /// Possible error of beam theory in the stiffness against a load that causes `motion`.
    pub fn of_load(&self, motion: &[f64]) -> TheoryError {
        let total = self.total(motion);
        let zones = self.zones(motion, total);
        self.judged(
            Vec::new(),
            zones,
            self.walls(motion, total),
            |part| 1.0 / (1.0 - part.min(MOST)) - 1.0,
            |delta| 1.0 + delta,
        )
    }

    fn judged(
        &self,
        mut found: Vec<Found>,
        zones: [Found; 3],
        walls: Found,
        of_stiffness: impl Fn(f64) -> f64,
        softer: impl Fn(f64) -> f64,
    ) -> TheoryError {
        found.extend(zones.map(|zone| Found {
            by_member: zone.by_member.iter().map(|part| of_stiffness(*part)).collect(),
            ..zone
        }));
        let either_way = found.iter().map(Found::sum).sum();
        let lower = 1.0 - 1.0 / softer(walls.sum());
        let mut reasons: Vec<Reason> =
            found.iter().filter_map(|found| found.reason(found.sum(), self.members)).collect();
        reasons.extend(walls.reason(lower, self.members));
        reasons.sort_by(|a, b| b.error.total_cmp(&a.error));
        TheoryError { error: either_way + lower, either_way, lower, reasons }
    }

    fn each(&self, of: impl Fn(usize) -> f64) -> Vec<f64> {
        (0..self.members.len()).map(of).collect()
    }

    fn total(&self, motion: &[f64]) -> f64 {
        let all = self.energies.strain(&[motion]);
        all.first().map_or(0.0, |energy| energy.total()).max(f64::MIN_POSITIVE)
    }

    fn own(&self, number: usize, motion: &[f64]) -> f64 {
        self.energies.stored_by_force(number, motion).iter().sum()
    }

    /// Parts of the energy that may not be there.
    fn zones(&self, motion: &[f64], total: f64) -> [Found; 3] {
        [self.built_in(motion, total), self.inside(motion, total), self.held(motion, total)]
    }

    fn held(&self, motion: &[f64], total: f64) -> Found {
        let part = |m: usize| {
            let at = |end: usize| {
                let held = self.members[m].held[end]?;
                let spring = self.frame.joints.get(self.frame.members[m].joint(end)?)?.stiffness[held.about]?;
                let moment = self.energies.end_force(m, end, motion)[held.about];
                Some(held.part * 0.5 * moment * moment / spring.re)
            };
            (at(0).unwrap_or(0.0) + at(1).unwrap_or(0.0)) / total
        };
        Found { why: "the tube it stands on may be kept in shape near by", by_member: self.each(part) }
    }

    fn built_in(&self, motion: &[f64], total: f64) -> Found {
        let part = |m: usize| {
            let Proportions { size, run, built_in, .. } = &self.members[m];
            let slenderness = size[0].max(size[1]) / run;
            let most = (0.18 * slenderness).min(1.0);
            if *built_in { most * self.own(m, motion) / total } else { 0.0 }
        };
        Found { why: "built in on a short length", by_member: self.each(part) }
    }

    fn inside(&self, motion: &[f64], total: f64) -> Found {
        let part = |m: usize| {
            let near = |end: usize| match self.members[m].within[end] {
                reach if reach > 0.0 => self.energies.stored_near(m, end, reach, motion),
                _ => 0.0,
            };
            (near(0) + near(1)) / total
        };
        Found { why: "lies in another member in part", by_member: self.each(part) }
    }

    /// Energy added by walls that give way, over that of the motion.
    fn walls(&self, motion: &[f64], total: f64) -> Found {
        let part = |m: usize| {
            let at = |end: usize| {
                let Some(corner) = &self.members[m].corners[end] else { return 0.0 };
                let f = self.energies.end_force(m, end, motion);
                let turned = f[3] * f[3] + f[4] * f[4] + f[5] * f[5];
                0.5 * (turned / corner.turning_n_m_per_rad + f[0] * f[0] / corner.push_n_per_m)
            };
            (at(0) + at(1)) / total
        };
        Found { why: "walls of a hollow member give way", by_member: self.each(part) }
    }

    fn waves(&self, number: usize, omega: f64) -> Option<Waves> {
        let section = self.frame.sections.get(self.frame.members.get(number)?.section)?;
        let [width, height] = self.members[number].size;
        let (wide, thin) = (width.max(height), width.min(height));
        // Flat bending is about the axis along the width.
        let flat = if width >= height { 4 } else { 5 };
        let s = |i: usize| section.stiffness[(i, i)].re;
        let mass = section.mass[(0, 0)];
        let shear_wave = (s(1).max(s(2)) / (SHEAR * mass)).sqrt();
        let twist_wave = (s(3) / section.mass[(3, 3)]).sqrt();
        let across = FREE_FREE * (s(flat) / mass).sqrt() / (wide * wide);
        Some(Waves {
            depth: omega * wide / (std::f64::consts::PI * shear_wave),
            across: omega / across,
            twist: omega * wide / twist_wave,
            flatness: 1.0 - thin / wide,
            flat,
        })
    }
}

/// Largest part of the energy that is taken to be none.
const MOST: f64 = 0.9;

/// Part of the area of a solid section that bears shear.
const SHEAR: f64 = 0.85;

/// Square of the phase of the first mode of a free beam.
///
/// # Source
/// - `blevins1979`: table 8-1
const FREE_FREE: f64 = 22.373_285_4;

/// The waves of a member at one frequency, as the rules need them.
struct Waves {
    depth: f64,
    across: f64,
    twist: f64,
    flatness: f64,
    /// Index of the section force that bends it flat.
    flat: usize,
}

impl Waves {
    /// The sum of energy times relative error over stretch, shear, twist and bending, in units of
    /// the energies `stored`.
    fn error(&self, stored: &[f64; 6]) -> f64 {
        let (x, y) = (self.depth, self.across);
        let common = 0.012 * x.powi(6) + (x - 1.1).max(0.0);
        let larger = x.max(y);
        let plain = 0.006 * larger / (larger + 0.1);
        // Shear goes with bending in its plane: V_z with M_y.
        let edge = 9 - self.flat;
        let bent = |moment: usize| stored[moment] + stored[if moment == 4 { 2 } else { 1 }];
        let flat = plain + 0.08 * y * y + 1.5 * (y - 0.7).max(0.0);
        let twisted = plain + 0.018 * self.twist * self.twist * self.flatness.powf(1.5);
        let stretched = 0.035 * x * x;
        stored.iter().sum::<f64>() * common
            + stored[0] * stretched
            + stored[3] * twisted
            + bent(self.flat) * flat
            + bent(edge) * plain
    }
}

impl Spectrum {
    /// Possible error of beam theory in each elastic mode of `frame`, whose members have these proportions;
    /// `None` when the frame is another, or has no member.
    pub fn theory_errors(&self, frame: &Frame, members: &[Proportions]) -> Option<Vec<TheoryError>> {
        (!frame.members.is_empty()).then_some(())?;
        let theory = Theory::new(frame, Energies::new(frame, &self.layout)?, members);
        Some(self.elastic.iter().map(|mode| theory.of_mode(mode)).collect())
    }
}

#[cfg(test)]
#[path = "theory_tests.rs"]
mod tests;
