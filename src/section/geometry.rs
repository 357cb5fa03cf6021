//! All of a section that does not depend on its materials, made once and solved often.
//!
//! The mesh is refined until torsion and shear of every body hold to [`ASKED_ERROR`] with moduli
//! of 1 in all parts and with moduli that rise or fall from medium to medium; the same for each
//! part by itself. What given media come to is estimated again with every solution. Bodies of one
//! material keep that flow and scale it; only bodies of several materials are solved again for
//! each set of moduli, those of two in a few vectors.

use super::area::Moments;
use super::fault::SectionFault;
use super::mesh::{Mesh, Mesher};
use super::outline::{Drawing, Polygon, bounds, draw};
use super::shape::{Figure, Shape};
use super::warping::{Body, Elastic, Flow};

/// Relative error of torsion and shear stiffness that the mesh is refined to.
const ASKED_ERROR: f64 = 8e-4;

/// Ratio of moduli from one medium to the next for which the mesh is refined as well.
const CONTRAST: f64 = 7.0;

/// Triangles of a body below which its error is not trusted.
const FEWEST: usize = 16;

/// Rounds of refinement at most.
const MOST_ROUNDS: usize = 12;

/// One part of a section.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it looks like.
    pub shape: Shape,
    /// Where its origin lies, [y, z], m.
    pub at: [f64; 2],
    /// How far it is turned about its origin, rad, anticlockwise seen with y right and z up.
    pub turn: f64,
    /// Which medium of those given to [`Geometry::solve`] it is made of.
    pub medium: usize,
    /// True for a cavity or conduit: it displaces, and is nothing itself.
    pub cavity: bool,
}

impl Part {
    /// A part with its origin on the member line, not turned.
    pub fn new(shape: Shape, medium: usize) -> Part {
        Part { shape, at: [0.0, 0.0], turn: 0.0, medium, cavity: false }
    }

    /// The same part elsewhere, [y, z], m.
    pub fn at(self, y: f64, z: f64) -> Part {
        Part { at: [y, z], ..self }
    }

    /// The same part turned, rad.
    pub fn turned(self, turn: f64) -> Part {
        Part { turn, ..self }
    }

    /// Its outlines as placed, outer ring first, [y, z], m; curves are drawn as chords.
    pub fn rings(&self) -> Vec<Vec<[f64; 2]>> {
        let figure = self.shape.figure();
        draw(std::iter::once((&figure, self.at, self.turn))).parts.swap_remove(0)
    }

    /// The same part as a cavity.
    pub fn cavity(self) -> Part {
        Part { cavity: true, ..self }
    }
}

/// A connected body with its flow at unit moduli.
pub(super) struct Solid {
    pub unit: Flow,
    /// The estimated relative error of `unit`.
    pub error: f64,
    /// Kept where parts of different materials may meet.
    pub body: Option<Body>,
}

impl Solid {
    fn new(body: Body) -> Result<Solid, SectionFault> {
        let unit = vec![Elastic::UNIT; body.parts.len()];
        let (unit, error) = body.solve(&unit)?.ok_or_else(|| SectionFault::new("a part has no area left"))?;
        Ok(Solid { unit, error, body: (body.parts.len() > 1).then_some(body) })
    }
}

/// A section drawn, meshed and solved once.
pub struct Geometry {
    pub(super) parts: Vec<Part>,
    outlines: Vec<Vec<Vec<Polygon>>>,
    moments: Vec<Moments>,
    pub(super) solids: Vec<Solid>,
    /// Indices into `solids`: one body a connected group of parts.
    pub(super) bonded: Vec<usize>,
    /// Indices into `solids`: one body a connected piece of a part.
    pub(super) sliding: Vec<usize>,
    error: f64,
    nodes: usize,
}

impl Geometry {
    /// Draws, displaces and meshes parts; later ones displace earlier ones.
    ///
    /// # Errors
    /// No part, a shape that is wrong in itself, or nothing solid left.
    pub fn new(parts: Vec<Part>) -> Result<Geometry, SectionFault> {
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
        let solid: Vec<bool> = parts.iter().map(|part| !part.cavity).collect();
        if !outlines.iter().zip(&solid).any(|(pieces, solid)| *solid && !pieces.is_empty()) {
            let fault = SectionFault::new("nothing solid is left: a section has at least one part with area");
            return Err(
                fault.with_help("later parts displace earlier ones; put cavities after what they cut")
            );
        }
        Geometry::meshed(parts, &drawing, outlines, &solid)
    }

    fn meshed(
        parts: Vec<Part>,
        drawing: &Drawing,
        outlines: Vec<Vec<Vec<Polygon>>>,
        solid: &[bool],
    ) -> Result<Geometry, SectionFault> {
        let mut mesher = Mesher::new(drawing, &outlines, solid)?;
        let mut round = 0;
        loop {
            let mesh = mesher.mesh();
            let trial = Trial::new(&mesh, &parts)?;
            round += 1;
            if trial.error > ASKED_ERROR && round < MOST_ROUNDS && mesher.split(&trial.pieces()) {
                continue;
            }
            let moments = outlines
                .iter()
                .zip(solid)
                .map(|(pieces, solid)| if *solid { Moments::of(pieces, drawing) } else { Moments::default() })
                .collect();
            let nodes = mesh.points.len();
            let Trial { bodies, bonded, sliding, error, .. } = trial;
            let solids = bodies.into_iter().map(Solid::new).collect::<Result<_, _>>()?;
            return Ok(Geometry { parts, outlines, moments, solids, bonded, sliding, error, nodes });
        }
    }

    /// The parts as they were given.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// What is left of each part: its pieces, each an outer ring and its holes, [y, z], m. Curves
    /// are drawn as chords; the moments know their curvature.
    pub fn outlines(&self) -> &[Vec<Vec<Vec<[f64; 2]>>>] {
        &self.outlines
    }

    /// Area moments of what is left of each part, about the member line; none for cavities.
    pub fn moments(&self) -> &[Moments] {
        &self.moments
    }

    /// The box around what is left of a part, its lower left and upper right corner [y, z], m;
    /// `None` when nothing is.
    pub fn extent(&self, part: usize) -> Option<[[f64; 2]; 2]> {
        let pieces = self.outlines.get(part)?;
        (!pieces.is_empty()).then(|| bounds(pieces.iter().flatten()))
    }

    /// Parts that later ones hide wholly.
    pub fn hidden(&self) -> Vec<usize> {
        (0..self.parts.len()).filter(|i| self.outlines[*i].is_empty()).collect()
    }

    /// The groups of parts that touch each other along a border, each ascending. More than one
    /// group cannot be bonded; a part in several pieces may stand in several groups.
    pub fn groups(&self) -> Vec<Vec<usize>> {
        let mut groups: Vec<_> = self.bonded.iter().map(|i| self.solids[*i].unit.parts.clone()).collect();
        groups.sort();
        groups
    }

    /// The estimated relative error of torsion and shear stiffness, the worst of the moduli tried.
    pub fn error(&self) -> f64 {
        self.error
    }

    /// Nodes of the mesh.
    pub fn nodes(&self) -> usize {
        self.nodes
    }
}

/// One mesh, its bodies and how well they are solved.
struct Trial {
    bodies: Vec<Body>,
    bonded: Vec<usize>,
    sliding: Vec<usize>,
    error: f64,
    /// By triangle of the mesh.
    shares: Vec<f64>,
}

impl Trial {
    fn new(mesh: &Mesh, parts: &[Part]) -> Result<Trial, SectionFault> {
        let mut trial = Trial {
            bodies: Vec::new(),
            bonded: Vec::new(),
            sliding: Vec::new(),
            error: 0.0,
            shares: vec![0.0; mesh.triangles.len()],
        };
        let mut known: Vec<Vec<usize>> = Vec::new();
        for apart in [false, true] {
            for triangles in mesh.bodies(apart) {
                let index = match known.iter().position(|k| *k == triangles) {
                    Some(index) => index,
                    None => {
                        trial.solve(mesh, &triangles, parts)?;
                        known.push(triangles);
                        known.len() - 1
                    }
                };
                if apart { &mut trial.sliding } else { &mut trial.bonded }.push(index);
            }
        }
        Ok(trial)
    }

    fn solve(&mut self, mesh: &Mesh, triangles: &[usize], parts: &[Part]) -> Result<(), SectionFault> {
        let body = Body::new(mesh, triangles, |part| parts[part].medium)?;
        let media: Vec<usize> = body.parts.iter().map(|part| parts[*part].medium).collect();
        let mixed = media.iter().any(|m| *m != media[0]);
        // So few elements are too alike for their differences to show the error.
        let coarse = triangles.len() < FEWEST;
        for base in if mixed { &[1.0, CONTRAST, 1.0 / CONTRAST][..] } else { &[1.0] } {
            let stiff = |medium: &usize| Elastic::UNIT.times(f64::powi(*base, *medium as i32));
            let elastic: Vec<Elastic> = media.iter().map(stiff).collect();
            let Some(estimate) = body.estimated(&elastic)? else {
                return Err(SectionFault::new("a part has no area left"));
            };
            self.error = self.error.max(if coarse { 1.0 } else { estimate.error });
            for (triangle, share) in triangles.iter().zip(estimate.elements) {
                let share = if coarse { ASKED_ERROR } else { share };
                self.shares[*triangle] = self.shares[*triangle].max(share);
            }
            // Contrast matters once the shape itself is solved.
            if estimate.error > 2.0 * ASKED_ERROR {
                break;
            }
        }
        self.bodies.push(body);
        Ok(())
    }

    /// Into how many pieces each triangle should go, so that all bring the same error.
    fn pieces(&self) -> Vec<f64> {
        let fair = 2.0 * ASKED_ERROR / self.shares.len() as f64;
        let largest = self.shares.iter().fold(0.0, |a: f64, b| a.max(*b));
        let least = fair.max(0.2 * largest);
        let pieces =
            |share: &f64| if *share < least { 1.0 } else { (share / fair).powf(0.25).clamp(2.0, 8.0) };
        self.shares.iter().map(pieces).collect()
    }
}

impl std::fmt::Debug for Geometry {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.debug_struct("Geometry")
            .field("parts", &self.parts)
            .field("nodes", &self.nodes)
            .finish_non_exhaustive()
    }
}
