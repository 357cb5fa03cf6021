//! A build at one draw of its uncertain values: a frame with solved sections.

use super::bodies::BuildBody;
use super::build::{Build, Profile};
use super::goal::Goal;
use super::price::{Costs, PartCost};
use super::substance::Substance;
use nalgebra::{Matrix6, Vector3};
use std::sync::Arc;
use stillbed_frame::{
    Anchor, Arm, Displaced, Foot, Frame, FrameFault, Inside, Joint, Layout, Mass, Member, MemberSection,
    PartStiffness, Point, Solid, Substructure, bounded, overlaps,
};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::Draw;
use stillbed_material::Medium;
use stillbed_modes::{Asked, ModesFault, Spectrum, Statics, solve, solve_beyond, solve_past_feet};
use stillbed_section::{Action, Solution};

/// A build at one draw.
#[derive(Debug, Clone)]
pub struct Model {
    /// Its frame, in the order of the drawing.
    pub frame: Frame,
    /// The same with its bodies on a coarser grid, for the error; `None` without bodies, and in a draw.
    pub coarse: Option<Box<Frame>>,
    /// Its solved sections, as [`Build::profiles`].
    pub sections: Vec<Solution>,
    /// Its media, as [`Build::substances`].
    pub media: Vec<Medium>,
    /// Index of the point at the tool.
    pub tip: Option<usize>,
    /// Index of the point at the work; with a tip, `None` is the floor.
    pub work: Option<usize>,
    /// Mass of each medium in members and bodies, kg; material inside another member counts once.
    pub mass_of: Vec<f64>,
    /// What members lose where they lie inside others.
    pub inside: Arc<Vec<Inside>>,
    /// Factor by which every section is larger than drawn.
    pub scale: f64,
    /// Impulse of the tap, N s; 0 without one.
    pub impulse: f64,
}

impl Build {
    /// The build at `draw`, with its sections as drawn.
    ///
    /// # Errors
    /// What is wrong with it, at its place.
    pub fn model(&self, goal: &Goal, draw: &Draw) -> Result<Model, Problems> {
        self.scaled_model(goal, draw, 1.0)
    }

    /// The build at `draw`, with every section `scale` times as large as drawn.
    ///
    /// # Errors
    /// What is wrong with it, at its place.
    pub fn scaled_model(&self, goal: &Goal, draw: &Draw, scale: f64) -> Result<Model, Problems> {
        self.assembled(goal, draw, scale, true)
    }

    /// The build at `draw` with its bodies as weights alone: their volumes are known without a solution, and its
    /// frame lacks them.
    ///
    /// # Errors
    /// What is wrong with it, at its place.
    pub fn weights(&self, goal: &Goal, draw: &Draw) -> Result<Model, Problems> {
        self.assembled(goal, draw, 1.0, self.bodies.is_empty())
    }

    fn assembled(&self, goal: &Goal, draw: &Draw, scale: f64, solved: bool) -> Result<Model, Problems> {
        let media = self.media(draw)?;
        let mut sections = Vec::new();
        for profile in &self.profiles {
            let solution = profile.geometry.solve(&media, profile.bond.at(draw).clamp(0.0, 1.0));
            sections.push(solution.map_err(|fault| Problems::from(profile.spec.problem(&fault)))?);
        }
        let mut frame = self.frame(goal, &sections, &media, draw, scale);
        if solved {
            frame.bodies = self.substructures(&media)?;
        }
        self.add_walls(&mut frame, &media, draw, scale);
        if solved {
            Layout::divide(&frame, &[])
                .map_err(|faults| faults.iter().map(|fault| self.place(fault)).collect::<Vec<Problem>>())?;
        }
        let inside = self.inside(&frame, scale);
        for stretch in inside.iter() {
            let parts = self.profiles[frame.members[stretch.member].section].geometry.parts();
            let mass = stretch.line_mass(|part| media[parts[part].medium].density);
            frame.members[stretch.member].displaced.push(Displaced {
                from: stretch.from,
                to: stretch.to,
                mass,
            });
        }
        for member in &mut frame.members {
            if let Some(section) = frame.sections.get(member.section) {
                member.displaced = bounded(&section.mass, std::mem::take(&mut member.displaced));
            }
        }
        let point = |name: &str| self.drawing.points.position(name);
        let (tip, work) = match &goal.tool {
            Some(tool) => (point(&tool.tip.value), point(&tool.work.value)),
            None => (None, None),
        };
        let nominal = draw.values.is_empty() && !self.bodies.is_empty();
        let coarse = match solved && nominal {
            true => Some(Box::new(self.refine(&mut frame, &media, (tip, work))?)),
            false => None,
        };
        let mut mass_of = self.mass_of(&frame, &sections, &inside, &media, scale);
        for body in &self.bodies {
            for (substance, volume) in body.volumes().map_err(Problems::from)? {
                mass_of[substance] += volume * media[substance].density;
            }
        }
        let impulse = goal.tap.as_ref().map_or(0.0, |tap| tap.impulse.at(draw));
        Ok(Model { frame, coarse, sections, media, tip, work, mass_of, inside, scale, impulse })
    }

    /// Its bodies in `media`, for a frame of this build.
    ///
    /// # Errors
    /// What keeps one of them from being solved, at its place.
    pub fn substructures(&self, media: &[Medium]) -> Result<Vec<Substructure>, Problems> {
        let own = |body: &BuildBody| body.substructure(media, false).map_err(Problems::from);
        self.bodies.iter().map(own).collect()
    }

    /// The frame of one of this build's models, ready for loads; all that are connected alike share an elimination
    /// order: tubes of other sizes may give under each other in other places.
    ///
    /// # Errors
    /// As [`Statics::factor`].
    pub fn statics<'m>(&self, model: &'m Model) -> Result<Statics<'m>, ModesFault> {
        if let Some(orders) = self.whole.get().filter(|orders| orders.layout.fits(&model.frame)) {
            return Statics::factor_like(&model.frame, orders);
        }
        let statics = Statics::factor_divided(&model.frame, &[], &self.patterns)?;
        self.whole.get_or_init(|| Arc::clone(&statics.orders));
        Ok(statics)
    }

    /// The modes of one of this build's models, with an elimination order shared by builds that are
    /// subdivided alike; the first mode of the structure is among them.
    ///
    /// # Errors
    /// As [`solve_past_feet`].
    pub fn spectrum(&self, model: &Model, asked: &Asked) -> Result<Spectrum, ModesFault> {
        let asked = Asked { patterns: self.patterns.clone(), ..asked.clone() };
        solve_past_feet(&model.frame, &asked).map(|spectrum| with_grid_error(spectrum, model, &asked))
    }

    /// The same, continued from a known spectrum of fewer modes.
    ///
    /// # Errors
    /// As [`Build::spectrum`].
    pub fn spectrum_beyond(
        &self,
        model: &Model,
        asked: &Asked,
        known: &Spectrum,
    ) -> Result<Spectrum, ModesFault> {
        let asked = Asked { patterns: self.patterns.clone(), ..asked.clone() };
        solve_beyond(&model.frame, &asked, known).map(|spectrum| with_grid_error(spectrum, model, &asked))
    }

    /// A profile of this build, as drawn or changed, in `media`: its member section, and the mass of each
    /// medium per length, kg/m.
    ///
    /// # Errors
    /// What keeps the section from being solved, at its place.
    pub fn section_of(
        &self,
        profile: &Profile,
        media: &[Medium],
        draw: &Draw,
    ) -> Result<(MemberSection, Vec<f64>), Problem> {
        let solution = profile.geometry.solve(media, profile.bond.at(draw).clamp(0.0, 1.0));
        let solution = solution.map_err(|fault| profile.spec.problem(&fault))?;
        let parts = profile.geometry.parts();
        let mut masses = vec![0.0; self.substances.len()];
        for (part, result) in parts.iter().zip(&solution.parts) {
            masses[part.medium] += result.mass_kg_per_m;
        }
        Ok((
            member_section(
                &profile.name,
                &solution.as_stated,
                &solution.mass,
                |i| &media[parts[i].medium],
                1.0,
            ),
            masses,
        ))
    }

    /// The media of this build's substances in `draw`.
    ///
    /// # Errors
    /// A missing property, at the build.
    pub fn media(&self, draw: &Draw) -> Result<Vec<Medium>, Problems> {
        let media = self.substances.iter().map(|substance| substance.medium(draw));
        media.collect::<Result<_, _>>().map_err(|missing| Problems::from(missing.at(self.place.clone())))
    }

    fn frame(&self, goal: &Goal, sections: &[Solution], media: &[Medium], draw: &Draw, scale: f64) -> Frame {
        let drawing = &self.drawing;
        let point = |name: &str| drawing.points.position(name).unwrap_or(usize::MAX);
        Frame {
            sections: sections
                .iter()
                .zip(&self.profiles)
                .map(|(solution, profile)| {
                    let parts = profile.geometry.parts();
                    let made_of = |i: usize| &media[parts[i].medium];
                    member_section(&profile.name, &solution.as_stated, &solution.mass, made_of, scale)
                })
                .collect(),
            joints: drawing
                .joints
                .iter()
                .map(|(name, j)| Joint {
                    name: name.to_string(),
                    stiffness: j.springs(goal.amplitude, draw),
                    wall: None,
                })
                .collect(),
            masses: drawing
                .masses
                .iter()
                .map(|(name, m)| Mass {
                    name: name.to_string(),
                    at: point(&m.at.value),
                    mass: m.mass.at(draw),
                    offset: Vector3::from(m.offset),
                    inertia: Vector3::from(m.inertia),
                })
                .collect(),
            feet: drawing
                .feet
                .iter()
                .map(|(name, f)| {
                    let [x, y, z, turn_x, turn_y, turn_z] = f.springs(goal.amplitude, draw);
                    let at = f.at.iter().map(|at| point(&at.value)).collect();
                    let (stiffness, turning) = ([x, y, z], [turn_x, turn_y, turn_z]);
                    Foot { name: name.to_string(), at, stiffness, turning }
                })
                .collect(),
            anchors: drawing
                .anchors
                .iter()
                .map(|(name, a)| Anchor {
                    name: name.to_string(),
                    at: a.at.iter().map(|at| point(&at.value)).collect(),
                    hold: a.hold,
                })
                .collect(),
            ..self.wires()
        }
    }

    /// The points and members alone.
    pub(super) fn wires(&self) -> Frame {
        let drawing = &self.drawing;
        let point = |name: &str| drawing.points.position(name).unwrap_or(usize::MAX);
        let joint = |name: &Option<stillbed_input::document::Located<String>>| {
            name.as_ref().and_then(|name| drawing.joints.position(&name.value))
        };
        let section = |name: &str| self.profiles.iter().position(|p| p.name == name).unwrap_or(usize::MAX);
        let points = drawing.points.iter();
        let members = drawing.members.iter();
        Frame {
            points: points
                .map(|(name, p)| Point { name: name.to_string(), position: Vector3::from(p.position) })
                .collect(),
            members: members
                .map(|(name, m)| Member {
                    name: name.to_string(),
                    from: point(&m.from.value),
                    to: point(&m.to.value),
                    section: section(&m.section.value),
                    up: m.up.as_ref().map(|up| Vector3::from(up.value)),
                    offset: Vector3::from(m.offset),
                    joint_from: joint(&m.joint_from),
                    joint_to: joint(&m.joint_to),
                    rigid: [0.0; 2],
                    displaced: Vec::new(),
                })
                .collect(),
            arms: drawing
                .arms
                .iter()
                .map(|(name, a)| Arm {
                    name: name.to_string(),
                    from: point(&a.from.value),
                    to: point(&a.to.value),
                })
                .collect(),
            ..Frame::default()
        }
    }

    /// Section number `number` of `model` with its parts sliding on each other.
    pub fn sliding_section(&self, model: &Model, number: usize) -> MemberSection {
        let (profile, solution) = (&self.profiles[number], &model.sections[number]);
        let parts = profile.geometry.parts();
        let made_of = |i: usize| &model.media[parts[i].medium];
        member_section(&profile.name, &solution.sliding, &solution.mass, made_of, model.scale)
    }

    /// What the members of `frame`, whose sections are `scale` times as large as drawn, lose where they lie
    /// inside others.
    fn inside(&self, frame: &Frame, scale: f64) -> Arc<Vec<Inside>> {
        if self.drawing.keeps_overlaps == Some(true) {
            return Arc::default();
        }
        let find = || {
            let solid = |profile: &Profile| Solid::of(&profile.geometry).scaled(scale);
            let solids: Vec<Solid> = self.profiles.iter().map(solid).collect();
            Arc::new(overlaps(frame, &solids, |_| true).unwrap_or_default())
        };
        if scale != 1.0 {
            return find();
        }
        let shapes = || self.profiles.iter().map(|profile| Arc::clone(&profile.geometry)).collect();
        let (of, known) = self.inside.get_or_init(|| (shapes(), find()));
        // A clone of the build may have got other shapes since.
        let same = of.iter().zip(&self.profiles).all(|(shape, own)| Arc::ptr_eq(shape, &own.geometry));
        if same { Arc::clone(known) } else { find() }
    }

    /// Mass of each medium in the members, kg; what lies inside another member counts once.
    fn mass_of(
        &self,
        frame: &Frame,
        sections: &[Solution],
        inside: &[Inside],
        media: &[Medium],
        scale: f64,
    ) -> Vec<f64> {
        let mut masses = vec![0.0; self.substances.len()];
        for member in &frame.members {
            let length = (frame.points[member.to].position - frame.points[member.from].position).norm();
            let profile = &self.profiles[member.section];
            for (part, result) in profile.geometry.parts().iter().zip(&sections[member.section].parts) {
                masses[part.medium] += result.mass_kg_per_m * length * scale * scale;
            }
        }
        for stretch in inside {
            let parts = self.profiles[frame.members[stretch.member].section].geometry.parts();
            for (part, volume) in parts.iter().zip(&stretch.parts) {
                masses[part.medium] -= volume[0] * media[part.medium].density;
            }
        }
        masses
    }

    /// A fault of the frame as a problem at the place of its element in the design.
    pub fn place(&self, fault: &FrameFault) -> Problem {
        let drawing = &self.drawing;
        let name = fault.name.as_str();
        let place = match fault.table {
            "points" => drawing.points.get(name).map(|p| &p.place),
            "members" => drawing
                .members
                .get(name)
                .map(|m| match (&m.up, fault.field) {
                    (Some(up), "up") => &up.place,
                    _ => &m.place,
                })
                .or(drawing.arms.get(name).map(|a| &a.place)),
            "masses" => drawing.masses.get(name).map(|m| &m.place),
            "feet" => drawing.feet.get(name).map(|f| &f.place),
            "anchors" => drawing.anchors.get(name).map(|a| &a.place),
            "joints" => drawing.joints.get(name).map(|j| &j.place),
            "sections" => drawing.sections.get(name).map(|s| &s.place),
            "bodies" => drawing.bodies.get(name).map(|b| &b.place),
            "materials" => drawing.materials.get(name).map(|m| &m.place).or(Some(&self.place)),
            _ => None,
        };
        let known = place.cloned().unwrap_or_else(|| Place {
            key: format!("{}.{name}", fault.table),
            ..Place::file(self.place.file.as_deref().unwrap_or_default())
        });
        Problem::error(known, fault.message.clone()).with_help(fault.help.clone())
    }
}

impl Model {
    /// Total mass of the members and of what they carry, kg.
    #[must_use]
    pub fn mass(&self) -> f64 {
        self.mass_of.iter().sum::<f64>() + self.frame.masses.iter().map(|mass| mass.mass).sum::<f64>()
    }

    /// Relative error that the cells of its bodies may have left in the static stiffness between tip and work in the
    /// weakest direction, which is `weakest`, N/m: how far a coarser grid differs. `None` without bodies, in a draw,
    /// and where nothing gives.
    #[must_use]
    pub fn stiffness_error(&self, weakest: f64) -> Option<f64> {
        let coarse = Statics::factor(self.coarse.as_deref()?).ok()?;
        let other = coarse.stiffness(self.tip?, self.work).ok()?.weakest;
        Some((weakest / other - 1.0).abs()).filter(|error| error.is_finite())
    }

    /// What the build costs at the prices of its drawing; `None` where a price is not stated.
    pub fn cost(&self, build: &Build) -> Option<f64> {
        self.costs(build).total()
    }

    /// The same, part by part.
    pub fn costs(&self, build: &Build) -> Costs {
        let prices = &build.drawing.prices;
        let masses = build.substances.iter().zip(&self.mass_of).filter(|(_, mass)| **mass > 0.0);
        let part = |(substance, mass): (&Substance, &f64)| PartCost {
            of: substance.name().to_string(),
            mass_kg: *mass,
            price_per_kg: prices.get(substance.name()),
        };
        Costs {
            parts: masses.map(part).collect(),
            fixed: prices.fixed.unwrap_or(0.0),
            stated: !prices.is_empty(),
        }
    }
}

/// `spectrum` with the errors of its frequencies enlarged by how far those of a coarser grid differ.
fn with_grid_error(mut spectrum: Spectrum, model: &Model, asked: &Asked) -> Spectrum {
    let Some(coarse) = &model.coarse else { return spectrum };
    let asked = Asked { count: spectrum.elastic.len(), ..asked.clone() };
    let coarse = solve(coarse, &asked).map(|coarse| coarse.elastic).unwrap_or_default();
    for (number, mode) in spectrum.elastic.iter_mut().enumerate() {
        let other = coarse.get(number).map_or(0.0, |other| other.frequency());
        mode.frequency_error += (other / mode.frequency() - 1.0).abs();
    }
    spectrum
}

/// The member section for one way in which the parts of a section act together, `scale` times as large as
/// drawn.
///
/// Stiffness and mass grow as the area, with the second power of the scale, and with one more power for each
/// strain or velocity that is a rotation per length.
fn member_section<'a>(
    name: &str,
    action: &Action,
    mass: &Matrix6<f64>,
    made_of: impl Fn(usize) -> &'a Medium,
    scale: f64,
) -> MemberSection {
    let power = |i: usize, j: usize| scale.powi(2 + i32::from(i > 2) + i32::from(j > 2));
    let larger = |m: &Matrix6<f64>| Matrix6::from_fn(|i, j| m[(i, j)] * power(i, j));
    let parts = action.parts.iter().enumerate();
    let parts = parts.filter(|(_, stiffness)| stiffness.iter().any(|x| *x != 0.0));
    MemberSection {
        name: name.to_string(),
        stiffness: Matrix6::from_fn(|i, j| action.matrix[(i, j)] * power(i, j)),
        mass: larger(mass),
        parts: parts
            .map(|(i, stiffness)| PartStiffness {
                of: made_of(i).name.clone(),
                role: made_of(i).role,
                stiffness: larger(stiffness),
            })
            .collect(),
    }
}
