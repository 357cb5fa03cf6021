//! Solves many candidates of a frame quickly: what they have in common is computed once.
//!
//! A section is meshed once for its shapes, and solved once for its shapes, materials and bond; the part of
//! the matrices that its members add is kept. The matrices of a candidate are a sum of such parts. Its
//! eigenvalue search starts from the modes of the previous candidate, its damped modes are found in the space
//! of the real modes and their static corrections, and its statics reuse the elimination order. A frame for
//! which the common subdivision is too coarse is solved on its own, as in `compare`. Candidates whose tubes stand
//! on each other in another way than those of the drawing have joints elsewhere, and so a layout of their own.

use super::gaps::Refusal;
use super::space::Space;
use crate::measures::Figures;
use crate::solved::Solved;
use std::borrow::Cow;
use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, PoisonError};
use stillbed_design::{Goal, Measure, Model, Tube};
use stillbed_eigen::{Precision, Vectors};
use stillbed_frame::{Displaced, Frame, Inside, MemberSection, Portion, Solid, Solids, Substructure};
use stillbed_input::problem::Problems;
use stillbed_input::quantity::Draw;
use stillbed_material::Medium;
use stillbed_modes::{Asked, ModesFault, Series, Statics};
use stillbed_response::stations::Station;
use stillbed_section::Geometry;

/// The result for one candidate.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It cannot be built.
    Refused(Refusal),
    /// It has no modes; the reason for the user.
    Broken(String),
    /// Its mass or cost misses a target by so much that it was not solved.
    Screened,
    /// Its measures.
    Solved(Box<Figures>),
}

/// A solved section, and the mass of each substance per length, kg/m.
type Section = Option<(MemberSection, Vec<f64>)>;

/// A section's shape, and what its members are as solids.
type Shaped = Option<(Arc<Geometry>, Solid)>;

struct SolvedSection {
    section: MemberSection,
    /// Mass of each substance in all members of this section, kg.
    masses: Vec<f64>,
    /// By member of this section: where other members displace its material.
    displaced: Vec<(usize, Vec<Displaced>)>,
    /// Circular frequency up to which the common subdivision is fine enough, rad/s.
    limit: f64,
}

/// Candidates whose tubes stand on each other in one way.
struct Alike {
    series: Series,
    /// By profile: what its members add to the matrices, where none ends on a wall.
    portions: Vec<Cache<Vec<usize>, Option<Portion>>>,
    carried: Cache<Vec<usize>, Option<Portion>>,
}

impl Alike {
    fn new(series: Series, profiles: usize) -> Arc<Alike> {
        let portions = (0..profiles).map(|_| Cache::new()).collect();
        Arc::new(Alike { series, portions, carried: Cache::new() })
    }
}

/// A cache by key. Values are computed outside the lock, so two threads may compute the same one.
struct Cache<K, V> {
    map: Mutex<HashMap<K, Arc<V>>>,
}

impl<K: Hash + Eq, V> Cache<K, V> {
    fn new() -> Cache<K, V> {
        Cache { map: Mutex::new(HashMap::new()) }
    }

    fn get(&self, key: K, make: impl FnOnce() -> V) -> Arc<V> {
        let known = |map: &Mutex<HashMap<K, Arc<V>>>| {
            map.lock().unwrap_or_else(PoisonError::into_inner).get(&key).cloned()
        };
        if let Some(found) = known(&self.map) {
            return found;
        }
        let made = Arc::new(make());
        let mut map = self.map.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(map.entry(key).or_insert(made))
    }
}

/// The candidate frames of a space.
pub struct Frames<'a> {
    /// The design variables and their choices.
    pub space: Cow<'a, Space>,
    /// The frames with the bodies of other choices, each with why it cannot be solved.
    bodies: Cache<Vec<usize>, Result<Box<Frames<'a>>, String>>,
    count: usize,
    goal: &'a Goal,
    asked: Asked,
    base: Model,
    /// Volume of each substance in bodies, m3, as `(substance, volume)`.
    volumes: Vec<(usize, f64)>,
    /// Those that are joined like the drawing, and all others met so far.
    drawn: Arc<Alike>,
    others: Mutex<Vec<Arc<Alike>>>,
    /// Whether a target needs the highest peak.
    peak: bool,
    /// Whether walls of tubes give.
    walls: bool,
    refusals: Vec<Cache<Vec<usize>, Option<Refusal>>>,
    variants: Vec<Cache<Vec<usize>, Option<SolvedSection>>>,
    sections: Vec<Cache<Vec<usize>, Section>>,
    geometries: Vec<Cache<Vec<usize>, Shaped>>,
    media: Cache<Vec<usize>, Option<Vec<Medium>>>,
    /// The bodies of the build in the mixes of a choice.
    substructures: Cache<Vec<usize>, Option<Vec<Substructure>>>,
}

/// State that one thread carries from candidate to candidate.
pub struct ThreadState {
    model: Model,
    /// The mixes that the bodies of the model are of.
    mixes: Option<Vec<usize>>,
    /// The modes found last among candidates that are joined alike.
    starts: Vec<(Arc<Alike>, Vectors)>,
    /// Of the frames with other bodies.
    bodies: HashMap<Vec<usize>, ThreadState>,
}

impl<'a> Frames<'a> {
    /// Prepares the candidates of `space` for `goal`.
    ///
    /// # Errors
    /// What keeps the drawn build from being solved, at its place.
    pub fn new(space: &'a Space, goal: &'a Goal, count: usize) -> Result<Frames<'a>, Problems> {
        Frames::prepare(Cow::Borrowed(space), goal, count)
    }

    fn prepare(space: Cow<'a, Space>, goal: &'a Goal, count: usize) -> Result<Frames<'a>, Problems> {
        let build = &space.build;
        let mut base = build.model(goal, &Draw::default())?;
        let asked = Asked { count, ..Asked::default() };
        // Where the first modes are those of the base on its feet, more are needed.
        let drawn = build.spectrum(&base, &asked).map_err(|fault| build.problems(&fault))?;
        let asked = Asked { count: count.max(drawn.elastic.len()), ..asked };
        let at = |part: fn(usize) -> usize| space.axes.iter().map(|n| part(*n)).collect::<Vec<usize>>();
        let mut frames = vec![base.frame.clone()];
        for choice in [at(|n| n / 2), at(|_| 0), at(|n| n - 1)] {
            // Other bodies would make another frame.
            let choice = space.with_own_bodies(choice);
            let refused = !space.has_bodies_of(&choice)
                || (0..build.profiles.len()).any(|p| space.refusal(p, &choice).is_some());
            if !refused
                && let Ok(build) = space.build_at(&choice)
                && let Ok(model) = build.model(goal, &Draw::default())
            {
                frames.push(model.frame);
            }
        }
        let series = Series::prepare(&frames, &asked).map_err(|fault| build.problems(&fault))?;
        let of_bodies = build.bodies.iter().map(|body| body.volumes().map_err(Problems::from));
        let volumes = of_bodies.collect::<Result<Vec<_>, _>>()?.concat();
        // Each candidate brings its own sections and materials.
        base.sections.clear();
        base.media.clear();
        let profiles = || 0..build.profiles.len();
        Ok(Frames {
            bodies: Cache::new(),
            count,
            volumes,
            goal,
            asked,
            base,
            drawn: Alike::new(series, build.profiles.len()),
            others: Mutex::default(),
            peak: goal.targets.iter().any(|t| t.measure == Measure::DynamicStiffness)
                || goal.tap.is_none() && goal.targets.iter().any(|t| t.measure == Measure::LossFactor),
            walls: build.with_rigid_walls().is_some(),
            refusals: profiles().map(|_| Cache::new()).collect(),
            variants: profiles().map(|_| Cache::new()).collect(),
            sections: profiles().map(|_| Cache::new()).collect(),
            geometries: profiles().map(|_| Cache::new()).collect(),
            media: Cache::new(),
            substructures: Cache::new(),
            space: space.clone(),
        })
    }

    /// The common subdivision: number of elements by member.
    pub fn pieces(&self) -> &[usize] {
        &self.drawn.series.layout.pieces
    }

    /// A state that starts from the drawn build.
    pub fn thread_state(&self) -> ThreadState {
        ThreadState { model: self.base.clone(), mixes: None, starts: Vec::new(), bodies: HashMap::new() }
    }

    /// The figures of the candidate at `choice`; it is not solved where `screen` is true of its mass and
    /// cost.
    pub fn evaluate(
        &self,
        choice: &[usize],
        state: &mut ThreadState,
        screen: impl Fn(f64, Option<f64>) -> bool,
    ) -> Outcome {
        let space = &self.space;
        if space.is_short(choice) {
            return Outcome::Refused(Refusal::Voids);
        }
        if let Some(key) = space.body_key(choice).filter(|_| !space.has_bodies_of(choice)) {
            let found = self.bodies.get(key.clone(), || self.with_bodies(choice));
            return match found.as_ref() {
                Ok(frames) => {
                    let own = state.bodies.entry(key).or_insert_with(|| frames.thread_state());
                    frames.evaluate(choice, own, screen)
                }
                Err(why) => Outcome::Broken(why.clone()),
            };
        }
        let profiles = 0..space.build.profiles.len();
        let refused = |p: usize| {
            let refusal = || space.refusal(p, choice);
            *self.refusals[p].get(space.key(p, choice, false), refusal)
        };
        if let Some(refusal) = profiles.clone().find_map(refused) {
            return Outcome::Refused(refusal);
        }
        let Some(keys) = self.variant_keys(choice) else {
            return Outcome::Broken("a section cannot be solved".to_string());
        };
        let variant =
            |(p, key): (usize, &Vec<usize>)| self.variants[p].get(key.clone(), || self.make(p, choice));
        let variants: Vec<Arc<Option<SolvedSection>>> = keys.iter().enumerate().map(variant).collect();
        let made: Option<Vec<&SolvedSection>> = variants.iter().map(|v| v.as_ref().as_ref()).collect();
        let Some(made) = made else {
            return Outcome::Broken("a section cannot be solved".to_string());
        };
        if self.set_bodies(state, choice).is_none() {
            return Outcome::Broken("a body cannot be solved".to_string());
        }
        let model = &mut state.model;
        model.mass_of = vec![0.0; space.build.substances.len()];
        for part in &made {
            model.mass_of.iter_mut().zip(&part.masses).for_each(|(sum, own)| *sum += own);
        }
        let media = self.media(choice);
        for (substance, volume) in &self.volumes {
            let density = media.as_ref().as_ref().map_or(0.0, |media| media[*substance].density);
            model.mass_of[*substance] += volume * density;
        }
        if screen(model.mass(), model.cost(&space.build)) {
            return Outcome::Screened;
        }
        for (section, part) in model.frame.sections.iter_mut().zip(&made) {
            section.clone_from(&part.section);
        }
        for (member, displaced) in made.iter().flat_map(|part| &part.displaced) {
            model.frame.members[*member].displaced.clone_from(displaced);
        }
        space.set_feet(self.goal, model, choice);
        if self.set_walls(model, choice).is_none() {
            return Outcome::Broken("a section cannot be solved".to_string());
        }
        match self.solve(choice, state, &made, &keys) {
            Ok(figures) => Outcome::Solved(Box::new(figures)),
            Err(fault) => Outcome::Broken(fault.to_string()),
        }
    }

    /// The frames with the bodies of `choice`, or why these cannot be solved.
    fn with_bodies(&self, choice: &[usize]) -> Result<Box<Frames<'a>>, String> {
        let found = self
            .space
            .at_bodies(choice)
            .and_then(|space| Frames::prepare(Cow::Owned(space), self.goal, self.count));
        let first =
            |problems: Problems| problems.first().map_or(String::new(), |problem| problem.message.clone());
        found.map(Box::new).map_err(first)
    }

    /// Gives the model of `state` its bodies in the mixes of `choice`; `None` where one cannot be solved.
    fn set_bodies(&self, state: &mut ThreadState, choice: &[usize]) -> Option<()> {
        let mixes = self.space.mix_key(choice);
        if state.model.frame.bodies.is_empty() || state.mixes.as_ref() == Some(&mixes) {
            return Some(());
        }
        let solved = self.substructures.get(mixes.clone(), || {
            self.space.build.substructures(self.media(choice).as_ref().as_ref()?).ok()
        });
        state.model.frame.bodies.clone_from((*solved).as_ref()?);
        state.mixes = Some(mixes);
        Some(())
    }

    /// Gives `model` the joints of the walls of its sections; `None` where a section is not known.
    fn set_walls(&self, model: &mut Model, choice: &[usize]) -> Option<()> {
        if !self.walls {
            return Some(());
        }
        self.space.build.set_walls(&mut model.frame, &self.tubes(choice)?, &Draw::default());
        Some(())
    }

    /// The tubes that the sections are; `None` where one has no shape.
    fn tubes(&self, choice: &[usize]) -> Option<Vec<Option<Tube>>> {
        let media = self.media(choice);
        let media = media.as_ref().as_ref()?;
        let tube = |p: usize| {
            let geometry = self.geometry(p, choice);
            Some(Tube::of(&geometry.as_ref().as_ref()?.0, media, 1.0))
        };
        (0..self.variants.len()).map(tube).collect()
    }

    /// The candidates that are joined like `frame`.
    fn alike(&self, frame: &Frame) -> Result<Arc<Alike>, ModesFault> {
        let fits = |known: &&Arc<Alike>| known.series.layout.fits(frame);
        let mut others = self.others.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = [&self.drawn].into_iter().chain(others.iter()).find(fits) {
            return Ok(Arc::clone(known));
        }
        let own = Alike::new(self.drawn.series.jointed(frame)?, self.variants.len());
        others.push(Arc::clone(&own));
        Ok(own)
    }

    fn solve(
        &self,
        choice: &[usize],
        state: &mut ThreadState,
        made: &[&SolvedSection],
        keys: &[Vec<usize>],
    ) -> Result<Figures, ModesFault> {
        let broken = || ModesFault::Frame(Vec::new());
        let (build, goal) = (&self.space.build, self.goal);
        let model = &state.model;
        let alike = match self.walls {
            true => self.alike(&model.frame)?,
            false => Arc::clone(&self.drawn),
        };
        let series = &alike.series;
        let carry = || series.layout.portion_carried(&model.frame);
        let joints = &model.frame.joints;
        let on_wall = |joint: Option<usize>| joint.is_some_and(|joint| joints[joint].wall.is_some());
        // Where the walls under a member give depends on its section and on that of the other.
        let on_walls = |p: usize| {
            let mut own = model.frame.members.iter().filter(|member| member.section == p);
            own.any(|member| on_wall(member.joint_from) || on_wall(member.joint_to))
        };
        let portion = |p: usize| {
            let add = || series.layout.portion_of_section(&model.frame, p);
            if on_walls(p) { Arc::new(add()) } else { alike.portions[p].get(keys[p].clone(), add) }
        };
        let mut portions: Vec<Arc<Option<Portion>>> = (0..made.len()).map(portion).collect();
        portions.push(match joints.iter().any(|joint| joint.wall.is_some()) {
            true => Arc::new(carry()),
            false => alike.carried.get(self.space.carried_key(choice), carry),
        });
        let portions: Vec<&Portion> = portions
            .iter()
            .map(|portion| portion.as_ref().as_ref())
            .collect::<Option<_>>()
            .ok_or_else(broken)?;
        let (matrices, bulge) = series.layout.summed(portions.into_iter());
        let limit = made.iter().map(|part| part.limit).fold(f64::INFINITY, f64::min);
        let known = state.starts.iter().position(|(own, _)| Arc::ptr_eq(own, &alike));
        let start = known.map_or(&series.start, |known| &state.starts[known].1);
        let statics = Statics::factor_matrices(&model.frame, matrices.clone(), &series.orders)?;
        let found = series.solve(matrices, &bulge, limit, start).map_err(ModesFault::Eigen)?;
        let solved = match found {
            Some(spectrum) => {
                // Among the sketches of `open`, quick modes were up to 1.5 % off in the loss of such candidates.
                let precision = match Arc::ptr_eq(&alike, &self.drawn) {
                    true => Precision::QUICK,
                    false => Precision::FULL,
                };
                let damped = match goal.tap.is_some() || self.peak {
                    true => spectrum.damped(precision).ok().flatten(),
                    false => None,
                };
                let more: Option<&[Station]> = if self.peak { Some(&[]) } else { None };
                Solved::from_modes(build, goal, model, (spectrum, damped), statics, more)?
            }
            None => Solved::solve(build, goal, model, &self.asked, &[])?,
        };
        let figures = solved.figures_with(build, goal, self.peak)?;
        let vectors = &solved.spectrum.pairs.vectors;
        if vectors.rows() == series.layout.dofs() {
            let next = vectors.clone();
            match known {
                Some(known) => state.starts[known].1 = next,
                None => state.starts.push((alike, next)),
            }
        }
        Ok(figures)
    }

    /// By profile: what it and what others displace of it depend on. That is the choice for itself, and by member
    /// the choice for those that keep some of its material, with the corners that they and it form; `None` where a
    /// section has no shape.
    fn variant_keys(&self, choice: &[usize]) -> Option<Vec<Vec<usize>>> {
        let profiles = 0..self.variants.len();
        let mut keys: Vec<Vec<usize>> = profiles.clone().map(|p| self.space.key(p, choice, true)).collect();
        if self.keeps_overlaps() {
            return Some(keys);
        }
        let geometries: Vec<_> = profiles.map(|p| self.geometry(p, choice)).collect();
        let solids = self.solids(&self.base.frame, &geometries)?;
        let members = &self.base.frame.members;
        for (guest, member) in members.iter().enumerate() {
            let keepers = solids.keepers(guest);
            let key = &mut keys[member.section];
            key.push(keepers.len());
            if !keepers.is_empty() {
                for other in [guest].into_iter().chain(keepers) {
                    key.push(other);
                    key.extend(solids.corners(other).map(|beside| beside.map_or(0, |beside| 1 + beside)));
                    key.extend(self.space.key(members[other].section, choice, false));
                }
            }
        }
        Some(keys)
    }

    fn keeps_overlaps(&self) -> bool {
        self.space.build.drawing.keeps_overlaps == Some(true)
    }

    /// The members with sections of these shapes; `None` where one has none.
    fn solids<'s>(&self, frame: &'s Frame, geometries: &'s [Arc<Shaped>]) -> Option<Solids<'s>> {
        let solids: Option<Vec<&Solid>> =
            geometries.iter().map(|own| own.as_ref().as_ref().map(|(_, solid)| solid)).collect();
        Solids::new(frame, &solids?)
    }

    fn geometry(&self, profile: usize, choice: &[usize]) -> Arc<Shaped> {
        self.geometries[profile].get(self.space.key(profile, choice, false), || {
            let (parts, _) = self.space.profile(profile, choice);
            let drawn = &self.space.build.profiles[profile].geometry;
            let geometry = match parts == drawn.parts() {
                true => Arc::clone(drawn),
                false => Arc::new(Geometry::new(parts).ok()?),
            };
            let solid = Solid::of(&geometry);
            Some((geometry, solid))
        })
    }

    fn media(&self, choice: &[usize]) -> Arc<Option<Vec<Medium>>> {
        self.media.get(self.space.mix_key(choice), || self.space.media(choice))
    }

    fn section(&self, profile: usize, choice: &[usize]) -> Arc<Section> {
        self.sections[profile].get(self.space.key(profile, choice, true), || {
            let build = &self.space.build;
            let mut own = build.profiles[profile].clone();
            own.geometry = Arc::clone(&self.geometry(profile, choice).as_ref().as_ref()?.0);
            own.bond = self.space.profile(profile, choice).1;
            let media = self.media(choice);
            build.section_of(&own, media.as_ref().as_ref()?, &Draw::default()).ok()
        })
    }

    fn make(&self, profile: usize, choice: &[usize]) -> Option<SolvedSection> {
        let solved = self.section(profile, choice);
        let (section, per_length) = solved.as_ref().as_ref()?;
        let mut frame = self.base.frame.clone();
        frame.sections[profile] = section.clone();
        let own: Vec<usize> =
            (0..frame.members.len()).filter(|m| frame.members[*m].section == profile).collect();
        let length: f64 = own.iter().map(|m| length(&frame, *m)).sum();
        let mut masses: Vec<f64> = per_length.iter().map(|mass| mass * length).collect();
        own.iter().for_each(|m| frame.members[*m].displaced.clear());
        if self.walls {
            self.space.build.set_within(&mut frame, &self.tubes(choice)?);
        }
        if !self.keeps_overlaps() {
            self.displace(profile, choice, &mut frame, &mut masses)?;
        }
        let displaced = own.iter().map(|m| (*m, frame.members[*m].displaced.clone())).collect();
        let limit = self.drawn.series.limit(&frame, profile);
        Some(SolvedSection { section: section.clone(), masses, displaced, limit })
    }

    /// Subtracts the material of the members of `profile` that other members displace.
    fn displace(
        &self,
        profile: usize,
        choice: &[usize],
        frame: &mut Frame,
        masses: &mut [f64],
    ) -> Option<()> {
        let geometries: Vec<_> = (0..self.variants.len()).map(|other| self.geometry(other, choice)).collect();
        let solids = self.solids(frame, &geometries)?;
        let (own, _) = geometries[profile].as_ref().as_ref()?;
        let parts: Vec<usize> = own.parts().iter().map(|part| part.medium).collect();
        let media = self.media(choice);
        let media = media.as_ref().as_ref()?;
        let guests = (0..frame.members.len()).filter(|m| frame.members[*m].section == profile);
        let lost = |guest: usize| solids.lost(guest, &solids.keepers(guest));
        let stretches: Vec<Inside> = guests.flat_map(lost).collect();
        for stretch in stretches {
            for (medium, volume) in parts.iter().zip(&stretch.parts) {
                masses[*medium] -= volume[0] * media[*medium].density;
            }
            let mass = stretch.line_mass(|part| media[parts[part]].density);
            let displaced = Displaced { from: stretch.from, to: stretch.to, mass };
            frame.members[stretch.member].displaced.push(displaced);
        }
        Some(())
    }
}

fn length(frame: &Frame, member: usize) -> f64 {
    let member = &frame.members[member];
    (frame.points[member.to].position - frame.points[member.from].position).norm()
}
