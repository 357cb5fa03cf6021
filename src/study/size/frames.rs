//! Solves many candidates of a frame quickly: what they have in common is computed once.
//!
//! A section is meshed once for its shapes, and solved once for its shapes, materials and bond; the part of
//! the matrices that its members add is kept. The matrices of a candidate are a sum of such parts. Its
//! eigenvalue search starts from the modes of the previous candidate, its damped modes are found in the space
//! of the real modes and their static corrections, and its statics reuse the elimination order. A frame for
//! which the common subdivision is too coarse is solved on its own, as in `compare`.

use super::gaps::Refusal;
use super::space::Space;
use crate::measures::Figures;
use crate::solved::Solved;
use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, PoisonError};
use stillbed_design::{BraceEnd, Build, Goal, Measure, Model, Tube};
use stillbed_eigen::{Precision, Vectors};
use stillbed_frame::{Displaced, Frame, MemberSection, Portion, Solid, overlaps};
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

/// A section at one choice.
struct Variant {
    refusal: Option<Refusal>,
    made: Option<SolvedSection>,
}

/// A solved section, and the mass of each substance per length, kg/m.
type Section = Option<(MemberSection, Vec<f64>)>;

struct SolvedSection {
    section: MemberSection,
    /// Mass of each substance in all members of this section, kg.
    masses: Vec<f64>,
    /// By member of this section: where other members displace its material.
    displaced: Vec<(usize, Vec<Displaced>)>,
    portion: Portion,
    /// Circular frequency up to which the common subdivision is fine enough, rad/s.
    limit: f64,
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
    pub space: &'a Space,
    goal: &'a Goal,
    asked: Asked,
    base: Model,
    series: Series,
    /// Whether a target needs the highest peak.
    peak: bool,
    /// The ends of tubes whose walls give.
    braces: Vec<BraceEnd>,
    /// By profile: other profiles whose members may displace its material.
    beside: Vec<Vec<usize>>,
    variants: Vec<Cache<Vec<usize>, Variant>>,
    sections: Vec<Cache<Vec<usize>, Section>>,
    geometries: Vec<Cache<Vec<usize>, Option<Arc<Geometry>>>>,
    media: Cache<Vec<usize>, Option<Vec<Medium>>>,
    carried: Cache<Vec<usize>, Option<Portion>>,
}

/// State that one thread carries from candidate to candidate.
pub struct ThreadState {
    model: Model,
    start: Option<Vectors>,
}

impl<'a> Frames<'a> {
    /// Prepares the candidates of `space` for `goal`.
    ///
    /// # Errors
    /// What keeps the drawn build from being solved, at its place.
    pub fn new(space: &'a Space, goal: &'a Goal, count: usize) -> Result<Frames<'a>, Problems> {
        let build = &space.build;
        let mut base = build.model(goal, &Draw::default())?;
        let asked = Asked { count, ..Asked::default() };
        // Where the first modes are those of the base on its feet, more are needed.
        let drawn = build.spectrum(&base, &asked).map_err(|fault| build.problems(&fault))?;
        let asked = Asked { count: count.max(drawn.elastic.len()), ..asked };
        let at = |part: fn(usize) -> usize| space.axes.iter().map(|n| part(*n)).collect::<Vec<usize>>();
        let mut frames = vec![base.frame.clone()];
        for choice in [at(|n| n / 2), at(|_| 0), at(|n| n - 1)] {
            let refused = (0..build.profiles.len()).any(|p| space.refusal(p, &choice).is_some());
            if !refused
                && let Ok(build) = space.build_at(&choice)
                && let Ok(model) = build.model(goal, &Draw::default())
            {
                frames.push(model.frame);
            }
        }
        let series = Series::prepare(&frames, &asked).map_err(|fault| build.problems(&fault))?;
        // Each candidate brings its own sections and materials.
        let beside = (0..build.profiles.len()).map(|profile| beside(&base, build, profile)).collect();
        base.sections.clear();
        base.media.clear();
        Ok(Frames {
            space,
            goal,
            asked,
            base,
            series,
            peak: goal.targets.iter().any(|t| t.measure == Measure::DynamicStiffness)
                || goal.tap.is_none() && goal.targets.iter().any(|t| t.measure == Measure::LossFactor),
            beside,
            braces: build.brace_ends(),
            variants: build.profiles.iter().map(|_| Cache::new()).collect(),
            sections: build.profiles.iter().map(|_| Cache::new()).collect(),
            geometries: build.profiles.iter().map(|_| Cache::new()).collect(),
            media: Cache::new(),
            carried: Cache::new(),
        })
    }

    /// The common subdivision: number of elements by member.
    pub fn pieces(&self) -> &[usize] {
        &self.series.layout.pieces
    }

    /// A state that starts from the drawn build.
    pub fn thread_state(&self) -> ThreadState {
        ThreadState { model: self.base.clone(), start: None }
    }

    /// The figures of the candidate at `choice`; it is not solved where `screen` is true of its mass and
    /// cost.
    pub fn evaluate(
        &self,
        choice: &[usize],
        state: &mut ThreadState,
        screen: impl Fn(f64, Option<f64>) -> bool,
    ) -> Outcome {
        let space = self.space;
        if space.is_short(choice) {
            return Outcome::Refused(Refusal::Voids);
        }
        let variants: Vec<Arc<Variant>> =
            (0..space.build.profiles.len()).map(|p| self.variant(p, choice)).collect();
        if let Some(refusal) = variants.iter().find_map(|v| v.refusal) {
            return Outcome::Refused(refusal);
        }
        let made: Option<Vec<&SolvedSection>> = variants.iter().map(|v| v.made.as_ref()).collect();
        let Some(made) = made else {
            return Outcome::Broken("a section cannot be solved".to_string());
        };
        let model = &mut state.model;
        model.mass_of = vec![0.0; space.build.substances.len()];
        for part in &made {
            model.mass_of.iter_mut().zip(&part.masses).for_each(|(sum, own)| *sum += own);
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
            return match self.solve_alone(choice) {
                Ok(figures) => Outcome::Solved(Box::new(figures)),
                Err(problem) => Outcome::Broken(problem),
            };
        }
        match self.solve(choice, state, &made) {
            Ok(figures) => Outcome::Solved(Box::new(figures)),
            Err(fault) => Outcome::Broken(fault.to_string()),
        }
    }

    /// Gives the joints of walls in `model` the values of its sections; `None` where two do not fit.
    fn set_walls(&self, model: &mut Model, choice: &[usize]) -> Option<()> {
        if self.braces.is_empty() {
            return Some(());
        }
        let build = &self.space.build;
        let tubes = self.tubes(choice)?;
        build.set_within(&self.braces, &mut model.frame, &tubes);
        for brace in &self.braces {
            let joint = build.wall_joint(brace, &model.frame, &tubes, &Draw::default())?;
            let place = model.frame.members[brace.member].joint(brace.end)?;
            model.frame.joints[place] = joint;
        }
        Some(())
    }

    /// The tubes that the sections are.
    fn tubes(&self, choice: &[usize]) -> Option<Vec<Option<Tube>>> {
        let media = self.media(choice);
        let media = media.as_ref().as_ref()?;
        let tube = |p: usize| Some(Tube::of(self.geometry(p, choice)?.as_ref(), media, 1.0));
        (0..self.space.build.profiles.len()).map(tube).collect()
    }

    /// The figures of a candidate whose tubes stand on each other in another way than those of the drawing.
    fn solve_alone(&self, choice: &[usize]) -> Result<Figures, String> {
        let build = self.space.build_at(choice).map_err(|problem| problem.to_string())?;
        let model = build.model(self.goal, &Draw::default()).map_err(|problems| problems.to_string())?;
        let solved = Solved::solve(&build, self.goal, &model, &self.asked, &[]);
        let figures = solved.and_then(|solved| solved.figures_with(&build, self.goal, self.peak));
        figures.map_err(|fault| fault.to_string())
    }

    fn solve(
        &self,
        choice: &[usize],
        state: &mut ThreadState,
        made: &[&SolvedSection],
    ) -> Result<Figures, ModesFault> {
        let broken = || ModesFault::Frame(Vec::new());
        let (build, goal, series) = (&self.space.build, self.goal, &self.series);
        let model = &state.model;
        let carry = || series.layout.portion_carried(&model.frame);
        let carried = match self.braces[..] {
            [] => self.carried.get(self.space.feet_key(choice), carry),
            _ => Arc::new(carry()),
        };
        let carried = carried.as_ref().as_ref().ok_or_else(broken)?;
        // Where the walls under a member give depends on its section and on that of the other.
        let on_walls = |p: usize| {
            let own = |brace: &BraceEnd| model.frame.members[brace.member].section == p;
            self.braces.iter().any(own)
        };
        let anew: Vec<Option<Portion>> = (0..made.len())
            .map(|p| on_walls(p).then(|| series.layout.portion_of_section(&model.frame, p)).flatten())
            .collect();
        let of_sections = made.iter().zip(&anew).map(|(part, anew)| anew.as_ref().unwrap_or(&part.portion));
        let portions = of_sections.chain([carried]);
        let (matrices, bulge) = series.layout.summed(portions);
        let limit = made.iter().map(|part| part.limit).fold(f64::INFINITY, f64::min);
        let start = state.start.as_ref().unwrap_or(&series.start);
        let statics = Statics::factor_matrices(&model.frame, matrices.clone(), &series.orders)?;
        let found = series.solve(matrices, &bulge, limit, start).map_err(ModesFault::Eigen)?;
        let solved = match found {
            Some(spectrum) => {
                let damped = match goal.tap.is_some() || self.peak {
                    true => spectrum.damped(Precision::QUICK).ok().flatten(),
                    false => None,
                };
                let more: Option<&[Station]> = if self.peak { Some(&[]) } else { None };
                Solved::from_modes(build, goal, model, (spectrum, damped), statics, more)?
            }
            None => Solved::solve(build, goal, model, &self.asked, &[])?,
        };
        let figures = solved.figures_with(build, goal, self.peak)?;
        let vectors = &solved.spectrum.pairs.vectors;
        let next = (vectors.rows() == series.layout.dofs()).then(|| vectors.clone());
        state.start = next.or(state.start.take());
        Ok(figures)
    }

    fn variant(&self, profile: usize, choice: &[usize]) -> Arc<Variant> {
        let mut key = self.space.key(profile, choice, true);
        key.extend(self.beside[profile].iter().flat_map(|other| self.space.key(*other, choice, false)));
        self.variants[profile].get(key, || {
            let refusal = self.space.refusal(profile, choice);
            let made = if refusal.is_none() { self.make(profile, choice) } else { None };
            Variant { refusal, made }
        })
    }

    fn geometry(&self, profile: usize, choice: &[usize]) -> Option<Arc<Geometry>> {
        let (parts, _) = self.space.profile(profile, choice);
        let drawn = &self.space.build.profiles[profile].geometry;
        let geometry = self.geometries[profile].get(self.space.key(profile, choice, false), || {
            if parts == drawn.parts() {
                Some(Arc::clone(drawn))
            } else {
                Geometry::new(parts).ok().map(Arc::new)
            }
        });
        geometry.as_ref().as_ref().map(Arc::clone)
    }

    fn media(&self, choice: &[usize]) -> Arc<Option<Vec<Medium>>> {
        self.media.get(self.space.mix_key(choice), || self.space.media(choice))
    }

    fn section(&self, profile: usize, choice: &[usize]) -> Arc<Section> {
        self.sections[profile].get(self.space.key(profile, choice, true), || {
            let build = &self.space.build;
            let mut own = build.profiles[profile].clone();
            own.geometry = self.geometry(profile, choice)?;
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
        if !self.braces.is_empty() {
            self.space.build.set_within(&self.braces, &mut frame, &self.tubes(choice)?);
        }
        if !self.beside[profile].is_empty() {
            self.displace(profile, choice, &mut frame, &mut masses)?;
        }
        let displaced = own.iter().map(|m| (*m, frame.members[*m].displaced.clone())).collect();
        let portion = self.series.layout.portion_of_section(&frame, profile)?;
        let limit = self.series.limit(&frame, profile);
        Some(SolvedSection { section: section.clone(), masses, displaced, portion, limit })
    }

    /// Subtracts the material of the members of `profile` that other members displace.
    fn displace(
        &self,
        profile: usize,
        choice: &[usize],
        frame: &mut Frame,
        masses: &mut [f64],
    ) -> Option<()> {
        let mut solids = Vec::new();
        let mut parts = Vec::new();
        for (other, drawn) in self.space.build.profiles.iter().enumerate() {
            let near = other == profile || self.beside[profile].contains(&other);
            let geometry = if near { self.geometry(other, choice)? } else { Arc::clone(&drawn.geometry) };
            if other == profile {
                parts = geometry.parts().iter().map(|part| part.medium).collect();
            }
            solids.push(Solid::of(&geometry));
        }
        let media = self.media(choice);
        let media = media.as_ref().as_ref()?;
        let own = |m: usize| frame.members[m].section == profile;
        for stretch in overlaps(frame, &solids, own)? {
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

/// The profiles whose members may displace material of the members of `profile`: members that share a point
/// with them, or that displace them in the drawing.
fn beside(base: &Model, build: &Build, profile: usize) -> Vec<usize> {
    if build.drawing.keeps_overlaps == Some(true) {
        return Vec::new();
    }
    let members = &base.frame.members;
    let meet = |a: usize, b: usize| {
        let ends = |m: usize| [members[m].from, members[m].to];
        a != b && ends(a).iter().any(|point| ends(b).contains(point))
    };
    let keeps = |a: usize, b: usize| base.inside.iter().any(|i| i.member == a && i.kept_by.contains(&b));
    let own = || (0..members.len()).filter(|m| members[*m].section == profile);
    let others = (0..members.len()).filter(|other| own().any(|m| meet(m, *other) || keeps(m, *other)));
    let mut found: Vec<usize> = others.map(|other| members[other].section).collect();
    found.sort_unstable();
    found.dedup();
    found
}
