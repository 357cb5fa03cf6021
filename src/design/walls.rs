//! Where does the wall of a hollow member, or the face of a solid one, give under a tube that stands on it, and how
//! much?
//!
//! At a point where tubes end, one is the chord and the others stand on it: two in one line, else the tube with the
//! largest box on which another fits, else the longer one, else the earlier in the drawing. A chord has flat faces. Each
//! other tube there that leaves one of them squarely and is no wider is a brace, for itself; where a hollow chord runs on
//! it may overhang on both sides. A solid bar stands on a hollow chord as a tube does, but not on a solid one. At its end comes a joint, unless the design states one there: a spring along the brace
//! and one for each turn, with the flexibility F of the walls. Up to the chord's face the brace is rigid, and where the
//! chord runs on it ends there. A chord that does not run on ends in a corner as the design says; else, as is common
//! practice, mitred with a brace as wide as itself, or capped.
//!
//! ```text
//! push:   F sin²      in plane:  F      out of plane:  F sin²,  about an axis near the face
//! twist:  F, where the chord ends, and then about axes that lean from those of the brace, or the brace overhangs
//! ```
//!
//! A brace askew, whose faces are not parallel to the chord's, has the walls of one turned square about its own axis by
//! the shorter way, and a round one those of a square one; the springs act about the chord's axes. Both are known less
//! well, and `check` names those askew.
//!
//! sin is the sine of the angle between the two; the brace is as long along the chord as its cut. A brace so wide that
//! it holds the chord's walls leaves less than nothing: there the joint is rigid to a thousandth of the brace's own
//! flexibility.

use super::build::Build;
use super::held_sections::{held_away, part_gone};
use super::model::Model;
use super::tube::Tube;
use nalgebra::Vector3;
use num_complex::Complex64;
use std::cmp::Ordering;
use std::f64::consts::FRAC_PI_2;
use std::sync::OnceLock;
use stillbed_frame::{Frame, Joint, Line, Member, MemberSection, WallHinge};
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Draw, figures};
use stillbed_material::Medium;
use stillbed_modes::HeldSection;
use stillbed_solid::{BeamStiffness, Bearing, ChordEnd, CornerEnd, LossyWall, TubeSection, WallPair};

/// Two directions are one when the cosine between them exceeds this.
const SAME: f64 = 0.99;

/// Two members run on in one line when the cosine between them exceeds this.
const STRAIGHT: f64 = 0.999;

/// Braces at less than this sine to their chord lie along it.
const LEAST_SINE: f64 = 0.4;

/// How far above the chord's face a brace may turn out of plane, in parts of the way to the face from the chord's axis.
const ABOVE: f64 = 0.5;

/// Largest part of a member that is rigid at one of its ends.
const MOST_RIGID: f64 = 0.45;

/// A brace is as wide as the chord within this part of its width.
pub(super) const AS_WIDE: f64 = 0.015;

/// Corners that would turn more than so many times as easily if they were open are told.
const TOLD: f64 = 1.5;

/// Part of the brace's own flexibility below which a joint is rigid.
const RIGID: f64 = 1e-3;

/// How far a fillet of throat a widens the brace on each side, in parts of a: by solids with a square bead of the
/// same area.
const WIDENED: f64 = 0.7;

/// Between the throats that are solved where the table does not cover a pair, in parts of the thinner wall.
const THROAT_STEP: f64 = 0.25;

/// A brace turned about its axis by less than this against the chord's face, rad, stands square on it.
const SQUARE: f64 = 1e-6;

/// A brace turned by more than this, rad, stands askew.
const ASKEW: f64 = 0.14;

/// A brace fits on a face that is narrower by no more than this.
const FITS: f64 = 1.001;

/// A brace may be so many times as wide as a hollow chord that runs on: 1.6 times, whatever the rounding.
const WIDEST: f64 = 1.601;

/// Walls under a brace that stands askew, or is round, are known to the spread of others to this power.
const WIDER: f64 = 1.5;

/// The end of a brace on a chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BraceEnd {
    /// Index of the brace.
    member: usize,
    /// Its end, 0 or 1.
    end: usize,
    /// Index of the chord.
    chord: usize,
    /// Which of the chord's section axes, 0 for y and 1 for z, lies across the face.
    across: usize,
    /// Which of the brace's section axes lies across the chord, or nearest to it.
    own_across: usize,
    /// How far the brace's section axes must be turned about its own to lie so, rad.
    turn: f64,
    /// Sine of the angle between the two.
    sine: f64,
    /// Whether the chord runs on beyond it.
    runs_on: bool,
}

/// The ends of tubes on others in `frame`, whose sections are `tubes`.
fn brace_ends(frame: &Frame, tubes: &[Option<Tube>]) -> Vec<BraceEnd> {
    let tube = |m: &usize| tubes.get(frame.members[*m].section).copied().flatten();
    let lines: Vec<Option<Line>> = frame.members.iter().map(|member| Line::drawn(frame, member)).collect();
    let mut found = Vec::new();
    for point in 0..frame.points.len() {
        let ends = |m: &Member| m.from == point || m.to == point;
        let meeting: Vec<usize> = (0..frame.members.len())
            .filter(|m| ends(&frame.members[*m]) && tube(m).is_some() && lines[*m].is_some())
            .collect();
        if meeting.len() < 2 {
            continue;
        }
        let away = |m: usize| {
            let x: Vector3<f64> = lines[m].map_or(Vector3::zeros(), |line| line.axes.row(0).transpose());
            if frame.members[m].from == point { x } else { -x }
        };
        let runs_on = |m: usize| {
            meeting.iter().any(|other| {
                frame.members[*other].section == frame.members[m].section
                    && away(m).dot(&away(*other)) < -STRAIGHT
            })
        };
        let area = |m: usize| tube(&m).map_or(0.0, |tube| tube.area());
        let length = |m: usize| lines[m].map_or(0.0, |line| line.length);
        let solid = |m: usize| tube(&m).is_some_and(|tube| tube.is_solid());
        let round = |m: usize| tube(&m).is_some_and(|tube| tube.round);
        let jointed = |m: usize| {
            let end = usize::from(frame.members[m].from != point);
            frame.members[m].joint(end).is_some()
        };
        // Nothing but what runs on is a chord where something does; the corner at a stated joint gives there.
        let some_run_on = meeting.iter().any(|m| runs_on(*m));
        let mut chords: Vec<usize> = meeting
            .iter()
            .copied()
            .filter(|m| !round(*m) && (runs_on(*m) || !some_run_on && !solid(*m) && !jointed(*m)))
            .collect();
        chords.sort_by(|a, b| {
            let larger = |of: &dyn Fn(usize) -> f64| {
                let (one, other) = (of(*a), of(*b));
                if (one - other).abs() <= 1e-9 * one { Ordering::Equal } else { other.total_cmp(&one) }
            };
            larger(&area).then(larger(&length)).then(a.cmp(b))
        });
        let braces = |chord: usize, widest: f64| -> Vec<BraceEnd> {
            let brace = |member: usize| {
                let end = usize::from(frame.members[member].from != point);
                let (across, own_across, turn, sine) = placed(&lines[chord]?, &lines[member]?, away(member))?;
                let runs_on = runs_on(chord);
                let brace = BraceEnd { member, end, chord, across, own_across, turn, sine, runs_on };
                (!jointed(member) && brace.width(frame, tubes)? <= widest).then_some(brace)
            };
            let stands = |m: &usize| *m != chord && !(solid(*m) && solid(chord));
            meeting.iter().copied().filter(stands).filter_map(brace).collect()
        };
        let is_chord = |widest: f64| chords.iter().find(|chord| !braces(**chord, widest).is_empty());
        if let Some(chord) = is_chord(FITS).or_else(|| is_chord(WIDEST)) {
            found.extend(braces(*chord, WIDEST));
        }
    }
    found
}

/// The section axis of the chord across the face that a brace stands on, that of the brace across the chord or nearest
/// to it and how far it is turned from there, rad, and the sine of the angle between the two; `None` where the brace
/// lies along the chord or stands on its edge.
fn placed(chord: &Line, brace: &Line, away: Vector3<f64>) -> Option<(usize, usize, f64, f64)> {
    let along: Vector3<f64> = chord.axes.row(0).transpose();
    let square = away - along * along.dot(&away);
    let sine = square.norm();
    (sine > LEAST_SINE).then_some(())?;
    let across = along.cross(&square.normalize());
    let part = |line: &Line, k: usize| (line.axes.row(1 + k) * across)[0];
    let face = (0..2).find(|k| part(chord, *k).abs() > SAME)?;
    let angle = part(brace, 1).atan2(part(brace, 0));
    let quarters = (angle / FRAC_PI_2).round();
    let turn = angle - quarters * FRAC_PI_2;
    let turn = if turn.abs() < SQUARE { 0.0 } else { turn };
    Some((face, usize::from(quarters % 2.0 != 0.0), turn, sine))
}

/// A tube as a beam, with the axis across the face or the chord first.
fn beam(section: &MemberSection, across: usize) -> BeamStiffness {
    let at = |i: usize| section.stiffness[(i, i)];
    let other = 1 - across;
    // Bending in the plane of the width turns about the other axis.
    BeamStiffness {
        ea: at(0),
        ga: [at(1 + across), at(1 + other)],
        gj: at(3),
        ei: [at(4 + other), at(4 + across)],
    }
}

/// Takes the joints of walls out of `frame`, which come after all others, with what is rigid there.
fn take_walls(frame: &mut Frame) {
    let stated = frame.joints.iter().filter(|joint| joint.wall.is_none()).count();
    for member in &mut frame.members {
        member.joint_from = member.joint_from.filter(|joint| *joint < stated);
        member.joint_to = member.joint_to.filter(|joint| *joint < stated);
        member.rigid = [0.0; 2];
    }
    frame.joints.truncate(stated);
}

/// What a design says of how its tubes are joined.
#[derive(Debug, Clone, Copy)]
struct Made {
    /// Throat of the fillets, m.
    weld: Option<f64>,
    corners: Option<CornerEnd>,
}

impl BraceEnd {
    /// Width of the brace over that of the chord's face; `None` where it is wider than a chord can carry.
    fn width(&self, frame: &Frame, tubes: &[Option<Tube>]) -> Option<f64> {
        let tube = |m: usize| tubes.get(frame.members[m].section).copied().flatten();
        let (chord, brace) = (tube(self.chord)?, tube(self.member)?);
        let width = brace.size[self.own_across] / chord.size[self.across];
        let between_tubes = !chord.is_solid() && !brace.is_solid();
        let overhangs = self.runs_on && between_tubes && !brace.round && !self.is_askew(&brace);
        (width <= if overhangs { WIDEST } else { FITS }).then_some(width)
    }

    /// Whether the brace's faces are not parallel to the chord's.
    fn is_askew(&self, brace: &Tube) -> bool {
        !brace.round && self.turn.abs() > ASKEW
    }

    /// How the corner that it makes with a chord that ends is made, if the design says `stated`.
    fn corner(&self, chord: &Tube, brace: &Tube, stated: Option<CornerEnd>) -> CornerEnd {
        let [width, across] = [chord.size[self.across], brace.size[self.own_across]];
        let hollow = !brace.is_solid();
        match stated {
            None | Some(CornerEnd::Mitred) if hollow && (across - width).abs() <= AS_WIDE * width => {
                CornerEnd::Mitred
            }
            None | Some(CornerEnd::Mitred) => CornerEnd::Capped,
            Some(stated) => stated,
        }
    }

    /// How far the brace lies within its chord, from its point to the chord's face, m; `None` where the two do not fit.
    fn within(&self, frame: &Frame, tubes: &[Option<Tube>]) -> Option<f64> {
        self.width(frame, tubes)?;
        let member = &frame.members[self.member];
        let chord = tubes[frame.members[self.chord].section]?;
        let length = Line::drawn(frame, member)?.length;
        Some((0.5 * chord.size[1 - self.across] / self.sine).min(MOST_RIGID * length))
    }

    /// The brace on a solid chord.
    fn bearing(&self, chord: &Tube, brace: &Tube) -> Bearing {
        let (along, height) = (brace.size[1 - self.own_across] / self.sine, brace.size[self.own_across]);
        Bearing {
            chord: [chord.size[self.across], chord.size[1 - self.across]],
            modulus: chord.metal,
            tube: TubeSection { width: along, height, wall: brace.wall },
            metal: brace.metal,
            filled: brace.fill.is_some(),
        }
    }

    /// What the walls of a hollow or filled chord give, for both as beams; `None` where it cannot be solved.
    fn walls(
        &self,
        chord: &Tube,
        brace: &Tube,
        [host, own]: [BeamStiffness; 2],
        made: Made,
    ) -> Option<LossyWall> {
        let [width, height] = [chord.size[self.across], chord.size[1 - self.across]];
        let end = match self.runs_on {
            true => ChordEnd::RunsOn,
            false => ChordEnd::Ends(self.corner(chord, brace, made.corners)),
        };
        let thin = if brace.is_solid() { chord.wall } else { chord.wall.min(brace.wall) };
        let throat = made.weld.unwrap_or(thin);
        // The brace's own axes are those of its width along the chord.
        let turned = BeamStiffness { ga: [own.ga[1], own.ga[0]], ei: [own.ei[1], own.ei[0]], ..own };
        let bare = brace.size[self.own_across];
        let pair = |throat: f64| {
            // A brace as wide as the chord has no fillet on its sides.
            let wider = 2.0 * WIDENED * throat;
            let across = if bare + wider < width { bare + wider } else { bare };
            // At the end of a chord there is none on the outer side.
            let sides = if self.runs_on { 1.0 } else { 0.5 };
            let length = brace.size[1 - self.own_across] / self.sine + sides * wider;
            WallPair {
                chord: TubeSection { width, height, wall: chord.wall },
                brace: TubeSection { width: length, height: across, wall: brace.wall },
                metal: chord.metal,
                fill: chord.fill,
                chord_beam: host,
                brace_beam: turned,
                end,
            }
        };
        if let Some(found) = pair(throat).from_table() {
            return Some(found);
        }
        // Draws of an uncertain throat lie between a few that are solved.
        let steps = throat / (THROAT_STEP * thin);
        let low = (steps + 1e-9).floor();
        let part = (steps - low).max(0.0);
        let solved = |steps: f64| pair(steps * THROAT_STEP * thin).flexibility();
        let less = solved(low)?;
        if part < 1e-9 { Some(less) } else { Some(less.towards(&solved(low + 1.0)?, part)) }
    }

    /// The joint there, with the walls `softer` times as flexible; `None` where the two do not fit, or the walls
    /// cannot be solved.
    fn joint(&self, frame: &Frame, tubes: &[Option<Tube>], made: Made, softer: f64) -> Option<Joint> {
        let within = self.within(frame, tubes)?;
        let (member, on) = (&frame.members[self.member], &frame.members[self.chord]);
        let (chord, brace) = (tubes[on.section]?, tubes[member.section]?);
        let section = &frame.sections[member.section];
        let softer = if brace.round || self.is_askew(&brace) { softer.powf(WIDER) } else { softer };
        let wall = if chord.is_solid() {
            self.bearing(&chord, &brace).flexibility()
        } else {
            let beams = [beam(&frame.sections[on.section], self.across), beam(section, self.own_across)];
            self.walls(&chord, &brace, beams, made)?
        };
        let line = Line::of(frame, member)?;
        let square = self.sine * self.sine;
        // About the axis across the chord, and about the brace's other axis.
        let (in_plane, out_of_plane) = (4 + self.own_across, 5 - self.own_across);
        let modulus = |axis: usize| section.stiffness[(axis, axis)];
        let spring = |axis: usize, flexibility: Complex64| {
            let least = RIGID * line.length / modulus(axis);
            let lossy = Complex64::new(flexibility.re, flexibility.im.min(0.0));
            Some(1.0 / if flexibility.re > least.re { lossy } else { least })
        };
        let turn = wall.out_of_plane * square * softer;
        let mut springs = [None; 6];
        springs[0] = spring(0, wall.push * square * softer);
        springs[in_plane] = spring(in_plane, wall.in_plane * softer);
        springs[out_of_plane] = spring(out_of_plane, turn);
        let mut lean = None;
        // A chord that runs on hardly gives under a twist of the brace, and not at all with a turn.
        if !self.runs_on {
            let (sin, cos) = self.turn.sin_cos();
            let [y, z] = [1, 2].map(|k| line.axes.row(k));
            let own = if out_of_plane == 4 { y * cos + z * sin } else { z * cos - y * sin };
            let along: Vector3<f64> = Line::of(frame, on)?.axes.row(0).transpose();
            let away = if on.from == member.point(self.end) { along } else { -along };
            let inward = if self.end == 0 { 1.0 } else { -1.0 };
            let twist = wall.twist * softer;
            let shared = wall.leaning * softer * (-inward * (own * away)[0]);
            let angle = if shared.re == 0.0 { 0.0 } else { 0.5 * (2.0 * shared.re).atan2((twist - turn).re) };
            let (sin, cos) = angle.sin_cos();
            let both = 2.0 * sin * cos * shared;
            springs[3] = spring(3, twist * cos * cos + both + turn * sin * sin);
            springs[out_of_plane] = spring(out_of_plane, twist * sin * sin - both + turn * cos * cos);
            lean = Some((out_of_plane, angle));
        } else if self.width(frame, tubes)? > FITS {
            // Its side walls stand beside the chord's, and its own section is distorted.
            springs[3] = spring(3, wall.twist * softer);
        }
        let mut turns_at = [0.0; 2];
        turns_at[out_of_plane - 4] = (-wall.depth / self.sine).clamp(-within, ABOVE * within);
        let gives = if chord.is_solid() { "face" } else { "walls" };
        let name = format!("{} on {}, {gives}", member.name, on.name);
        Some(Joint {
            name,
            stiffness: springs,
            wall: Some(WallHinge { at: turns_at, lean, turn: self.turn }),
        })
    }
}

impl Build {
    /// The same with walls that do not give; `None` where none does.
    #[must_use]
    pub fn with_rigid_walls(&self) -> Option<Build> {
        self.walls?;
        Some(Build { rigid_walls: true, whole: OnceLock::new(), ..self.clone() })
    }

    /// The tubes that its sections are, in `media`.
    fn tubes(&self, media: &[Medium], scale: f64) -> Vec<Option<Tube>> {
        self.profiles.iter().map(|profile| Tube::of(&profile.geometry, media, scale)).collect()
    }

    /// The ends of tubes on others without a stated joint; none where members are lines as drawn.
    pub(super) fn brace_ends(&self) -> Vec<BraceEnd> {
        match self.media(&Draw::default()) {
            Ok(media) if self.drawing.keeps_overlaps != Some(true) => {
                brace_ends(&self.wires(), &self.tubes(&media, 1.0))
            }
            _ => Vec::new(),
        }
    }

    /// Adds the walls that give in `draw` to `frame`, whose sections are `scale` times as large as drawn.
    pub(super) fn add_walls(&self, frame: &mut Frame, media: &[Medium], draw: &Draw, scale: f64) {
        if self.walls.is_some() {
            self.set_walls(frame, &self.tubes(media, scale), draw);
        }
    }

    /// Gives `frame`, whose sections are `tubes`, the joints of the walls that give in `draw`, in place of those
    /// that it has; none where two tubes do not fit, or the walls cannot be solved.
    pub fn set_walls(&self, frame: &mut Frame, tubes: &[Option<Tube>], draw: &Draw) {
        take_walls(frame);
        let Some(walls) = self.walls else { return };
        let made = Made { weld: self.drawing.weld.map(|weld| weld.at(draw)), corners: self.drawing.corners };
        for brace in brace_ends(frame, tubes) {
            let joint = brace.joint(frame, tubes, made, walls.at(draw));
            let Some((joint, within)) = joint.zip(brace.within(frame, tubes)) else { continue };
            let member = &mut frame.members[brace.member];
            member.rigid[brace.end] = within;
            if self.rigid_walls {
                continue;
            }
            let place = if brace.end == 0 { &mut member.joint_from } else { &mut member.joint_to };
            *place = Some(frame.joints.len());
            frame.joints.push(joint);
        }
    }

    /// What to doubt where corners of tubes are taken to be made in a way that the design does not state.
    pub(super) fn unstated_corners(&self, model: &Model) -> Option<Problem> {
        if self.drawing.corners.is_some() || self.walls.is_none() {
            return None;
        }
        let media = self.media(&Draw::default()).ok()?;
        let mut frame = model.frame.clone();
        take_walls(&mut frame);
        let tubes = self.tubes(&media, 1.0);
        let ends: Vec<BraceEnd> =
            brace_ends(&frame, &tubes).into_iter().filter(|brace| !brace.runs_on).collect();
        let springs = |brace: &BraceEnd, corners| {
            let made = Made { weld: self.drawing.weld.map(|weld| weld.at(&Draw::default())), corners };
            brace.joint(&frame, &tubes, made, 1.0).map(|joint| joint.stiffness)
        };
        // With what the brace itself turns, held at its far end: 4 EI / l, and GJ / l.
        let turns = |brace: &BraceEnd, corners| {
            let member = &frame.members[brace.member];
            let length = Line::of(&frame, member)?.length;
            let own = &frame.sections[member.section].stiffness;
            let spring = springs(brace, corners)?;
            let of = |axis: usize| {
                let stiff = if axis == 3 { 1.0 } else { 4.0 };
                length / (stiff * own[(axis, axis)].re) + spring[axis].map_or(0.0, |spring| 1.0 / spring.re)
            };
            Some((3..6).map(of).sum::<f64>())
        };
        let softer = |brace: &BraceEnd| Some(turns(brace, Some(CornerEnd::Open))? / turns(brace, None)?);
        let most = ends.iter().filter_map(softer).fold(1.0, f64::max);
        (most > TOLD).then_some(())?;
        let word = |brace: &BraceEnd| {
            let tube = |m: usize| tubes[frame.members[m].section];
            match brace.corner(&tube(brace.chord)?, &tube(brace.member)?, None) {
                CornerEnd::Mitred => Some("mitred"),
                _ => Some("capped"),
            }
        };
        let first = ends.first()?;
        let [brace, chord] = [first.member, first.chord].map(|m| frame.members[m].name.as_str());
        let (count, others) = (ends.len(), if ends.len() == 1 { "" } else { "s" });
        let message = format!(
            "how {count} corner{others} of tubes {} made is not stated; that of \"{brace}\" and \"{chord}\" is taken as {}, the ends there of members with open ones would turn up to {} times as easily",
            if count == 1 { "is" } else { "are" },
            word(first)?,
            figures(most, 2)
        );
        let help = "corners = \"mitred\", \"capped\" or \"open\" states it, common or of a build";
        Some(Problem::warning(self.place.clone(), message).with_help(help))
    }

    /// What to doubt where tubes stand askew on others.
    pub(super) fn askew_tubes(&self, model: &Model) -> Option<Problem> {
        self.walls?;
        let media = self.media(&Draw::default()).ok()?;
        let mut frame = model.frame.clone();
        take_walls(&mut frame);
        let tubes = self.tubes(&media, 1.0);
        let askew = |brace: &BraceEnd| {
            tubes[frame.members[brace.member].section].is_some_and(|tube| brace.is_askew(&tube))
        };
        let all: Vec<BraceEnd> = brace_ends(&frame, &tubes).into_iter().filter(askew).collect();
        let first = all.first()?;
        let [brace, chord] = [first.member, first.chord].map(|m| &frame.members[m]);
        let along: Vector3<f64> = Line::of(&frame, chord)?.axes.row(0).transpose();
        let message = format!(
            "{} on others: the faces of \"{}\" are turned by {}° against those of \"{}\"; the walls beneath are taken as of one turned square, within wider limits",
            if all.len() == 1 {
                "1 tube stands askew".to_string()
            } else {
                format!("{} tubes stand askew", all.len())
            },
            brace.name,
            figures(first.turn.abs().to_degrees(), 2),
            chord.name
        );
        let number = |x: f64| figures(if x.abs() < 1e-6 { 0.0 } else { x }, 4);
        let help = format!(
            "members.{}.up = \"{}, {}, {}\", along \"{}\", turns it square",
            brace.name,
            number(along.x),
            number(along.y),
            number(along.z),
            chord.name
        );
        let place = self.drawing.members.get(&brace.name).map_or(&self.place, |member| &member.place);
        Some(Problem::warning(place.clone(), message).with_help(help))
    }

    /// Where the section of a hollow chord of `model` may be held near a brace: the brace, its end, and what that takes off.
    pub(super) fn held_sections(&self, model: &Model) -> Vec<(usize, usize, HeldSection)> {
        let (Some(_), Ok(media)) = (self.walls, self.media(&Draw::default())) else { return Vec::new() };
        let tubes = self.tubes(&media, model.scale);
        let mut frame = model.frame.clone();
        take_walls(&mut frame);
        let held = |brace: BraceEnd| {
            let tube = |m: usize| tubes.get(frame.members[m].section).copied().flatten();
            let (chord, own) = (tube(brace.chord)?, tube(brace.member)?);
            let bare = brace.runs_on && !chord.is_solid() && chord.fill.is_none();
            let away = held_away(&frame, brace.chord, frame.members[brace.member].point(brace.end));
            let part = part_gone(away, chord.size[brace.across], chord.wall, own.size[brace.own_across]);
            let held = HeldSection { about: 5 - brace.own_across, part };
            bare.then_some((brace.member, brace.end, held))
        };
        brace_ends(&frame, &tubes).into_iter().filter_map(held).collect()
    }

    /// Sets how far members of `frame`, whose sections are `tubes`, lie within others whose walls give.
    pub fn set_within(&self, frame: &mut Frame, tubes: &[Option<Tube>]) {
        take_walls(frame);
        if self.walls.is_some() {
            for brace in brace_ends(frame, tubes) {
                frame.members[brace.member].rigid[brace.end] = brace.within(frame, tubes).unwrap_or(0.0);
            }
        }
    }
}
