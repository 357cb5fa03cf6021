//! What chord and brace of a joint of tubes give as beams.

use crate::tube_joint::{BeamStiffness, ChordEnd, TubeJoint, TubeSection, Way};
use nalgebra::DMatrix;
use num_complex::Complex64;
use stillbed_material::{Medium, Role};
use stillbed_section::{Geometry, Part, Shape};

/// Poisson's ratios of metal and of fill in the table of walls.
pub(crate) const POISSON: [f64; 2] = [0.3, 0.25];

impl BeamStiffness {
    /// A tube of metal of the complex Young's modulus `metal`, Pa, empty or with a bonded `fill`; Poisson's ratios are 0.3 and
    /// 0.25, as those of the table. `None` where its section cannot be solved.
    pub fn of_tube(tube: TubeSection, metal: Complex64, fill: Option<Complex64>) -> Option<BeamStiffness> {
        let TubeSection { width, height, wall } = tube;
        let medium = |name, role, modulus: Complex64, poisson| {
            Medium::isotropic(name, role, modulus.re, poisson, 1.0, modulus.im / modulus.re)
        };
        let mut media = vec![medium("metal", Role::Skeleton, metal, POISSON[0])];
        let mut parts = Vec::new();
        // A bar is all metal.
        if let Some(modulus) = fill.filter(|_| wall > 0.0) {
            media.push(medium("fill", Role::Fill, modulus, POISSON[1]));
            parts.push(Part::new(Shape::Rectangle { width, height }, 1));
        }
        let is_bar = wall == 0.0;
        let tube = Shape::Tube { width, height, wall, radius: None };
        parts.push(Part::new(if is_bar { Shape::Rectangle { width, height } } else { tube }, 0));
        let section = Geometry::fitted(parts, &media).ok()?.solve(&media, 1.0).ok()?;
        let at = |i: usize| section.as_stated.matrix[(i, i)];
        Some(BeamStiffness { ea: at(0), ga: [at(1), at(2)], gj: at(3), ei: [at(5), at(4)] })
    }

    /// With `part` of the imaginary parts added to the real ones.
    fn stiffened(self, part: f64) -> BeamStiffness {
        let more = |x: Complex64| x + part * x.im;
        let BeamStiffness { ea, ga, gj, ei } = self;
        BeamStiffness { ea: more(ea), ga: ga.map(more), gj: more(gj), ei: ei.map(more) }
    }
}

/// What the two beams of a joint give.
pub(crate) struct Beams<'j> {
    pub joint: &'j TubeJoint,
    /// From the middle of the chord to its held ends, or from the axis of the brace to its held end, m.
    pub length: f64,
    pub stub: f64,
    /// From the axis of the chord to its face, m.
    pub top: f64,
}

/// Step in the logarithm of the fill's modulus.
const STEP: f64 = 1e-3;

impl Beams<'_> {
    /// What [`Self::bending`] changes with the logarithm of the fill's modulus.
    pub fn slope(&self, way: Way) -> DMatrix<f64> {
        let loss = self.joint.fill_loss;
        if loss == 0.0 {
            return 0.0 * self.bending(way);
        }
        let at = |step: f64| {
            let [chord_beam, brace_beam] =
                [self.joint.chord_beam, self.joint.brace_beam].map(|beam| beam.stiffened(step / loss));
            let joint = TubeJoint { chord_beam, brace_beam, ..self.joint.clone() };
            Beams { joint: &joint, ..*self }.bending(way)
        };
        (at(STEP) - at(-STEP)) / (2.0 * STEP)
    }

    /// Motions of the stub's end under the forces and moments that belong to `way`.
    pub fn bending(&self, way: Way) -> DMatrix<f64> {
        let (chord, brace) = (self.joint.chord_beam, self.joint.brace_beam);
        let (l, s, arm) = (self.length, self.stub, self.top + self.stub);
        let bent = |l: f64, ei: Complex64, ga: Complex64| l.powi(3) / (3.0 * ei.re) + l / ga.re;
        let count = way.motions(self.joint.end).len();
        let mut axis = DMatrix::zeros(count, count);
        let mut cantilever = DMatrix::zeros(count, count);
        match (way, self.joint.end) {
            (Way::Push, _) => cantilever[(0, 0)] = s / brace.ea.re,
            (Way::Twist, _) => {
                axis[(0, 0)] = turned(l, chord.ei[0].re, chord.ga[0].re);
                cantilever[(0, 0)] = s / brace.gj.re;
            }
            // The chord stretches, and turns in its middle.
            (Way::InPlane, ChordEnd::RunsOn) => {
                axis[(0, 0)] = l / (2.0 * chord.ea.re);
                axis[(1, 1)] = turned(l, chord.ei[1].re, chord.ga[1].re);
            }
            // The chord bends sideways, and twists.
            (Way::OutOfPlane, ChordEnd::RunsOn) => {
                axis[(0, 0)] = l.powi(3) / (24.0 * chord.ei[0].re) + l / (2.0 * chord.ga[0].re);
                axis[(1, 1)] = l / (2.0 * chord.gj.re);
            }
            // Its end shifts along it, and turns and shifts across it.
            (Way::InPlane, ChordEnd::Ends(_)) => {
                axis[(0, 0)] = l / chord.ea.re;
                axis[(1, 1)] = l / chord.ei[1].re;
                axis[(2, 2)] = bent(l, chord.ei[1], chord.ga[1]);
                axis[(1, 2)] = l * l / (2.0 * chord.ei[1].re);
                axis[(2, 1)] = axis[(1, 2)];
                cantilever[(2, 2)] = s / brace.ea.re;
            }
            // The same sideways, and it twists.
            (Way::OutOfPlane, ChordEnd::Ends(_)) => {
                axis[(0, 0)] = bent(l, chord.ei[0], chord.ga[0]);
                axis[(1, 1)] = l / chord.gj.re;
                axis[(2, 2)] = l / chord.ei[0].re;
                axis[(0, 2)] = -l * l / (2.0 * chord.ei[0].re);
                axis[(2, 0)] = axis[(0, 2)];
                cantilever[(2, 2)] = s / brace.gj.re;
            }
        }
        if count == 1 {
            return axis + cantilever;
        }
        if self.joint.opposite {
            axis[(0, 0)] *= 2.0;
            axis[(1, 1)] = 0.0;
        }
        let plane = usize::from(way == Way::OutOfPlane);
        let (ei, ga) = (brace.ei[plane], brace.ga[plane]);
        cantilever[(0, 0)] = bent(s, ei, ga);
        cantilever[(0, 1)] = s * s / (2.0 * ei.re);
        cantilever[(1, 0)] = cantilever[(0, 1)];
        cantilever[(1, 1)] = s / ei.re;
        let mut lever = DMatrix::identity(count, count);
        lever[(1, 0)] = arm;
        lever.transpose() * axis * lever + cantilever
    }
}

/// Flexibilities of the stretch of `chord`, m, on which a brace stands: along the brace, in the plane of both, about
/// the chord and about the brace; m/N and 1/(N m). A wide brace stiffens the chord, so that its walls have negative
/// flexibilities; with these added they are positive.
pub(crate) fn beneath(end: ChordEnd, length: f64, chord: &BeamStiffness) -> [Complex64; 4] {
    let (shear, bending, sideways) = (1.0 / chord.ga[1], 1.0 / chord.ei[1], 1.0 / chord.ei[0]);
    let twisting = 1.0 / chord.gj;
    match end {
        ChordEnd::RunsOn => [shear / 8.0, bending / 4.0, twisting / 2.0, sideways / 2.0].map(|x| x * length),
        ChordEnd::Ends(_) => {
            let sunk = shear + bending * (length * length / 12.0);
            [sunk, bending, twisting, sideways].map(|x| x * length)
        }
    }
}

/// Turn in the middle of a beam of length 2 `l` held at both ends under a unit moment there.
fn turned(l: f64, ei: f64, ga: f64) -> f64 {
    // Two beams of length l side by side, each with its near end turning in place: 4 EI/l (1 + φ/4)/(1 + φ).
    let phi = 12.0 * ei / (ga * l * l);
    1.0 / (2.0 * 4.0 * ei / l * (1.0 + phi / 4.0) / (1.0 + phi))
}
