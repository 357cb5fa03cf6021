//! Everything of a section that does not depend on its materials: computed once, solved often.
//!
//! The mesh is refined until the error of torsion and shear of every body is below [`ASKED_ERROR`],
//! either for given media or for moduli that rise and fall from medium to medium. Parts that may slide
//! get meshes of their own. Where there are mirrors, only a half or a quarter is meshed. Every solution
//! estimates its own error again. A body of one material keeps its result and scales it. A body of
//! several keeps the result for the given media and is solved again for others; with two media this is
//! done in a reduced basis.

use super::area::Moments;
use super::body::{Body, Elastic};
use super::fault::SectionFault;
use super::galerkin::Flow;
use super::mesh::Mesher;
use super::mirror::Mirrors;
use super::outline::Figure;
use super::outline::{Drawing, Polygon, bounds, draw};
use super::shape::Shape;
use super::warping::{Solved, Warping};
use std::sync::Arc;
use stillbed_material::Medium;

/// Relative error of torsion and shear stiffness down to which the mesh is refined.
const ASKED_ERROR: f64 = 5e-4;

/// Ratio of moduli from one medium to the next for which the mesh is refined when no media are given.
const CONTRAST: f64 = 7.0;

/// Share of `ASKED_ERROR` that a round of refinement aims at.
const AIM: f64 = 0.7;

/// Elements with less than this share of the worst element's error wait: corners are refined first.
const PALE: f64 = 0.1;

/// With fewer triangles the error estimate of a body is not trusted.
const FEWEST: usize = 16;

/// Number of triangles that such a body is refined to.
const ENOUGH: usize = 24;

/// Largest number of rounds of refinement.
const MOST_ROUNDS: usize = 12;

/// One part of a section.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its shape.
    pub shape: Shape,
    /// Position of its origin, [y, z], m.
    pub at: [f64; 2],
    /// Rotation about its origin, rad, anticlockwise seen with y right and z up.
    pub turn: f64,
    /// Index of its medium among those given to [`Geometry::solve`].
    pub medium: usize,
    /// True for a cavity or conduit: it cuts earlier parts and is empty itself.
    pub cavity: bool,
}

impl Part {
    /// A part with its origin on the member line, not rotated.
    pub fn new(shape: Shape, medium: usize) -> Part {
        Part { shape, at: [0.0, 0.0], turn: 0.0, medium, cavity: false }
    }

    /// The same part at another position, [y, z], m.
    #[must_use]
    pub fn at(self, y: f64, z: f64) -> Part {
        Part { at: [y, z], ..self }
    }

    /// The same part rotated, rad.
    #[must_use]
    pub fn turned(self, turn: f64) -> Part {
        Part { turn, ..self }
    }

    /// Its outlines as placed, outer ring first, [y, z], m; curves are drawn as chords.
    pub fn rings(&self) -> Vec<Vec<[f64; 2]>> {
        let figure = self.shape.figure();
        draw(std::iter::once((&figure, self.at, self.turn))).parts.swap_remove(0)
    }

    /// The same part as a cavity.
    #[must_use]
    pub fn cavity(self) -> Part {
        Part { cavity: true, ..self }
    }
}

/// A connected body as it was solved with its mesh.
pub(super) struct Solid {
    /// The parts it consists of.
    pub parts: Vec<usize>,
    /// The moduli for which `flow` holds, by part; [`Elastic::UNIT`] for a body of one medium.
    pub media: Vec<Elastic>,
    pub flow: Flow,
    /// The estimated relative error of `flow`.
    pub error: f64,
    /// Kept where its parts are of different media.
    pub warping: Option<Warping>,
}

/// What does not depend on which medium of the design a part is made of.
struct Core {
    outlines: Vec<Vec<Vec<Polygon>>>,
    moments: Vec<Moments>,
    solids: Vec<Solid>,
    /// Indices into `solids`: one body for each connected group of parts.
    bonded: Vec<usize>,
    /// Indices into `solids`: one body for each connected piece of a part.
    sliding: Vec<usize>,
    error: f64,
    nodes: usize,
}

/// A section drawn, meshed and solved once.
///
/// ```
/// use stillbed_section::{Geometry, Part, Shape};
///
/// let bed = Part::new(Shape::Rectangle { width: 0.1, height: 0.08 }, 0);
/// let duct = Part::new(Shape::Rectangle { width: 0.02, height: 0.02 }, 0).at(0.0, 0.01).cavity();
/// let section = Geometry::new(vec![bed, duct]).unwrap();
/// assert!((section.moments()[0].area - (0.008 - 0.0004)).abs() < 1e-12);
/// assert_eq!(section.size(), [0.1, 0.08]);
/// ```
#[derive(Clone)]
pub struct Geometry {
    parts: Vec<Part>,
    core: Arc<Core>,
}

impl Geometry {
    /// Draws and meshes parts; later ones cut earlier ones. The mesh is good for all media.
    ///
    /// # Errors
    /// No part, an invalid shape, or nothing solid left.
    pub fn new(parts: Vec<Part>) -> Result<Geometry, SectionFault> {
        Geometry::meshed(parts, None, true)
    }

    /// The same with a mesh for the moduli of these media, which takes a fraction of the time. Other
    /// media can be solved too; each solution states its error.
    ///
    /// # Errors
    /// No part, an invalid shape, nothing solid left, or a part without its medium.
    pub fn fitted(parts: Vec<Part>, media: &[Medium]) -> Result<Geometry, SectionFault> {
        let stated = elastic(&parts, media)?;
        Geometry::meshed(parts, Some(&stated), true)
    }

    /// These parts with the mesh of this section, if they have the same shapes and positions and media
    /// that it was meshed for; otherwise `None`.
    pub fn shared(&self, parts: &[Part], media: &[Medium]) -> Option<Geometry> {
        let alike = |(a, b): (&Part, &Part)| Part { medium: a.medium, ..b.clone() } == *a;
        let same = self.parts.len() == parts.len() && self.parts.iter().zip(parts).all(alike);
        let stated = elastic(parts, media).ok().filter(|_| same)?;
        let fits = |solid: &Solid| match &solid.warping {
            Some(_) => solid.parts.iter().zip(&solid.media).all(|(part, own)| stated[*part] == *own),
            None => solid.parts.iter().all(|part| parts[*part].medium == parts[solid.parts[0]].medium),
        };
        let core = Arc::clone(&self.core);
        self.core.solids.iter().all(fits).then(|| Geometry { parts: parts.to_vec(), core })
    }

    /// As [`Geometry::new`], without use of mirrors.
    #[cfg(test)]
    pub(super) fn whole(parts: Vec<Part>) -> Result<Geometry, SectionFault> {
        Geometry::meshed(parts, None, false)
    }

    fn meshed(
        parts: Vec<Part>,
        stated: Option<&[Elastic]>,
        mirrored: bool,
    ) -> Result<Geometry, SectionFault> {
        for (i, part) in parts.iter().enumerate() {
            part.shape.check().map_err(|fault| fault.in_part(i))?;
            if !(part.at[0].is_finite() && part.at[1].is_finite() && part.turn.is_finite()) {
                return Err(
                    SectionFault::new("a part without a place: its coordinates are lengths").in_part(i)
                );
            }
        }
        let figures: Vec<Figure> = parts.iter().map(|part| part.shape.figure()).collect();
        let drawing = draw(figures.iter().zip(&parts).map(|(figure, part)| (figure, part.at, part.turn)));
        let outlines = drawing.remaining();
        let solid: Vec<bool> =
            parts.iter().zip(&outlines).map(|(part, pieces)| !part.cavity && !pieces.is_empty()).collect();
        if !solid.contains(&true) {
            let fault = SectionFault::new("nothing solid is left: a section has at least one part with area");
            return Err(
                fault.with_help("later parts displace earlier ones; put cavities after what they cut")
            );
        }
        let plan = Plan { parts: &parts, stated, mirrored, drawing: &drawing, outlines: &outlines };
        let Trial { mut solids, mut error, nodes, .. } = plan.refined(&solid)?;
        let bonded: Vec<usize> = (0..solids.len()).collect();
        let mut sliding = Vec::new();
        for part in (0..parts.len()).filter(|part| solid[*part]) {
            let holding = |i: &usize| solids[*i].parts.contains(&part);
            if bonded.iter().filter(|i| holding(i)).all(|i| solids[*i].parts.len() == 1) {
                sliding.extend(bonded.iter().filter(|i| holding(i)));
                continue;
            }
            let alone: Vec<bool> = (0..parts.len()).map(|other| other == part).collect();
            let trial = plan.refined(&alone)?;
            error = error.max(trial.error);
            sliding.extend(solids.len()..solids.len() + trial.solids.len());
            solids.extend(trial.solids);
        }
        let moments = outlines
            .iter()
            .zip(&solid)
            .map(
                |(pieces, solid)| {
                    if *solid { Moments::integrate(pieces, &drawing) } else { Moments::default() }
                },
            )
            .collect();
        let core = Core { outlines, moments, solids, bonded, sliding, error, nodes };
        Ok(Geometry { parts, core: Arc::new(core) })
    }

    pub(super) fn solids(&self) -> &[Solid] {
        &self.core.solids
    }

    /// Indices of the solids with all parts bonded, and with all parts sliding.
    pub(super) fn ways(&self) -> [&[usize]; 2] {
        [&self.core.bonded, &self.core.sliding]
    }

    /// The parts as they were given.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// What is left of each part: its pieces, each an outer ring and its holes, [y, z], m. Curves are
    /// drawn as chords; the moments include their curvature.
    pub fn outlines(&self) -> &[Vec<Vec<Vec<[f64; 2]>>>] {
        &self.core.outlines
    }

    /// Moments of area of what is left of each part, about the member line; zero for cavities.
    pub fn moments(&self) -> &[Moments] {
        &self.core.moments
    }

    /// Bounding box of what is left of a part, lower left and upper right corner [y, z], m; `None` when
    /// nothing is left.
    pub fn extent(&self, part: usize) -> Option<[[f64; 2]; 2]> {
        let pieces = self.core.outlines.get(part)?;
        (!pieces.is_empty()).then(|| bounds(pieces.iter().flatten()))
    }

    /// The size of the whole section across and up, m.
    pub fn size(&self) -> [f64; 2] {
        let solid = (0..self.parts.len()).filter(|i| !self.parts[*i].cavity);
        let boxes: Vec<_> = solid.filter_map(|i| self.extent(i)).collect();
        [0, 1].map(|axis| {
            let low = boxes.iter().map(|corners| corners[0][axis]).fold(f64::INFINITY, f64::min);
            let high = boxes.iter().map(|corners| corners[1][axis]).fold(f64::NEG_INFINITY, f64::max);
            (high - low).max(0.0)
        })
    }

    /// Parts that later ones cover completely.
    pub fn hidden(&self) -> Vec<usize> {
        (0..self.parts.len()).filter(|i| self.core.outlines[*i].is_empty()).collect()
    }

    /// The groups of parts that touch along a border, each ascending. Different groups cannot be bonded
    /// to each other; a part in several pieces may be in several groups.
    pub fn groups(&self) -> Vec<Vec<usize>> {
        let mut groups: Vec<_> =
            self.core.bonded.iter().map(|i| self.core.solids[*i].parts.clone()).collect();
        groups.sort();
        groups
    }

    /// The estimated relative error of torsion and shear stiffness, the largest for the moduli tried.
    pub fn error(&self) -> f64 {
        self.core.error
    }

    /// Number of nodes of the mesh of all parts together, or of the half or quarter that stands for
    /// them.
    pub fn nodes(&self) -> usize {
        self.core.nodes
    }
}

/// What a section is meshed from.
struct Plan<'a> {
    parts: &'a [Part],
    /// By part.
    stated: Option<&'a [Elastic]>,
    /// Whether mirrors are used.
    mirrored: bool,
    drawing: &'a Drawing,
    outlines: &'a [Vec<Vec<Polygon>>],
}

impl Plan<'_> {
    /// The bodies of the parts marked in `solid`, with their mesh refined to the error asked.
    fn refined(&self, solid: &[bool]) -> Result<Trial, SectionFault> {
        let (mut mesher, mirrors) = self.mesher(solid)?;
        let mut round = 0;
        loop {
            let mesh = mesher.mesh();
            let mut trial = Trial {
                solids: Vec::new(),
                error: 0.0,
                nodes: mesh.points.len(),
                pieces: vec![1.0; mesh.triangles.len()],
            };
            round += 1;
            let mut solved = Vec::new();
            for triangles in mesh.bodies() {
                let body = Body::new(&mesh, &triangles, mirrors)?;
                let media = self.moduli(&body);
                let warping = Warping::new(body, |part| self.parts[part].medium);
                let first = trial.solve(&warping, &triangles, &media)?;
                solved.extend(
                    first.zip(media.into_iter().next()).map(|(first, media)| (warping, media, first)),
                );
            }
            if trial.error > ASKED_ERROR && round < MOST_ROUNDS && mesher.split(&trial.pieces) {
                continue;
            }
            for (warping, media, first) in solved {
                let flow = warping.flow(&media, &first)?.ok_or_else(no_area)?;
                let error = first.estimate.error;
                let parts = warping.body.parts.clone();
                let mixed = !self.is_alike(&warping.body);
                trial.solids.push(Solid { parts, media, flow, error, warping: mixed.then_some(warping) });
            }
            return Ok(trial);
        }
    }

    /// Meshes the smallest piece whose bodies are connected to their images.
    fn mesher(&self, solid: &[bool]) -> Result<(Mesher<'_>, Mirrors), SectionFault> {
        let mut last = Err(no_area());
        let mirrors = match self.mirrored {
            true => Mirrors::new(self.drawing, self.outlines, solid),
            false => Mirrors::default(),
        };
        for mirrors in mirrors.and_fewer() {
            let mut mesher = Mesher::new(self.drawing, self.outlines, solid, &mirrors)?;
            let mesh = mesher.mesh();
            let reaches = mesh.reaches(&mesh.bodies(), &mirrors);
            last = Ok((mesher, mirrors));
            if reaches {
                break;
            }
        }
        last
    }

    fn is_alike(&self, body: &Body) -> bool {
        body.parts.iter().all(|part| self.parts[*part].medium == self.parts[body.parts[0]].medium)
    }

    /// The sets of moduli for which the mesh of a body is refined, by part.
    fn moduli(&self, body: &Body) -> Vec<Vec<Elastic>> {
        let powers = |base: f64| -> Vec<Elastic> {
            let power = |part: &usize| base.powi(self.parts[*part].medium as i32);
            body.parts.iter().map(|part| Elastic::UNIT.times(power(part))).collect()
        };
        match self.stated {
            _ if self.is_alike(body) => vec![powers(1.0)],
            Some(stated) if body.parts.iter().any(|part| stated[*part].g.re > 0.0) => {
                vec![body.parts.iter().map(|part| stated[*part]).collect()]
            }
            _ => [1.0, CONTRAST, 1.0 / CONTRAST].map(powers).to_vec(),
        }
    }
}

/// The moduli of each part; those of a cavity are zero.
fn elastic(parts: &[Part], media: &[Medium]) -> Result<Vec<Elastic>, SectionFault> {
    let own = |(i, part): (usize, &Part)| match media.get(part.medium) {
        Some(_) if part.cavity => Ok(Elastic::of(&Medium::void("cavity"))),
        Some(medium) => Ok(Elastic::of(medium)),
        None => {
            let message = format!("medium {} of {} given", part.medium + 1, media.len());
            Err(SectionFault::new(message).in_part(i))
        }
    };
    parts.iter().enumerate().map(own).collect()
}

fn no_area() -> SectionFault {
    SectionFault::new("a part has no area left")
}

/// One mesh, its bodies and the error of their solution.
struct Trial {
    solids: Vec<Solid>,
    error: f64,
    nodes: usize,
    /// By triangle of the mesh: how many pieces it should be refined into.
    pieces: Vec<f64>,
}

impl Trial {
    /// Solves a body with each set of moduli. Returns the solution for the first set, or `None` when the
    /// body has too few elements.
    fn solve(
        &mut self,
        warping: &Warping,
        triangles: &[usize],
        sets: &[Vec<Elastic>],
    ) -> Result<Option<Solved>, SectionFault> {
        // With so few elements the differences between them do not show the error.
        if triangles.len() < FEWEST {
            self.error = f64::INFINITY;
            let pieces = ENOUGH as f64 / triangles.len() as f64;
            triangles.iter().for_each(|triangle| self.pieces[*triangle] = pieces);
            return Ok(None);
        }
        let mut first = None;
        let mut shares = vec![0.0_f64; triangles.len()];
        let mut error: f64 = 0.0;
        for moduli in sets {
            let solved = warping.solved(moduli)?.ok_or_else(no_area)?;
            let estimate = &solved.estimate;
            error = error.max(estimate.error);
            shares.iter_mut().zip(&estimate.elements).for_each(|(share, own)| *share = share.max(*own));
            // The contrast of moduli matters only once the shape itself is solved.
            let enough = estimate.error > 2.0 * ASKED_ERROR;
            first = first.or(Some(solved));
            if enough {
                break;
            }
        }
        self.error = self.error.max(error);
        if error > ASKED_ERROR {
            for (triangle, pieces) in triangles.iter().zip(divisions(&shares, error)) {
                self.pieces[*triangle] = pieces;
            }
        }
        Ok(first)
    }
}

/// How many pieces elements with these shares of `error` should be refined into: the worst elements
/// only, as few as are likely to bring the error to the target.
fn divisions(shares: &[f64], error: f64) -> Vec<f64> {
    let whole: f64 = shares.iter().sum();
    let goal = AIM * ASKED_ERROR / error * whole;
    let fair = goal / shares.len() as f64;
    let mut order: Vec<usize> = (0..shares.len()).collect();
    order.sort_by(|a, b| shares[*b].total_cmp(&shares[*a]));
    let largest = order.first().map_or(0.0, |first| shares[*first]);
    let mut left = whole;
    let mut divisions = vec![1.0; shares.len()];
    for element in order {
        if left <= goal || shares[element] < PALE * largest {
            break;
        }
        let pieces = (shares[element] / fair).powf(0.25).clamp(2.0, 8.0);
        divisions[element] = pieces;
        left -= shares[element] * (1.0 - 1.0 / (pieces * pieces));
    }
    divisions
}

impl std::fmt::Debug for Geometry {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.debug_struct("Geometry")
            .field("parts", &self.parts)
            .field("nodes", &self.nodes())
            .finish_non_exhaustive()
    }
}
