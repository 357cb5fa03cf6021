//! One tube, the brace, on another, the chord: what is known of the two, and the motions of the brace's end that
//! belong together.

use crate::assembly::Elastic;
use nalgebra::Vector3;
use num_complex::Complex64;

/// A rectangular tube: sizes over all and wall, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubeSection {
    /// Of the chord: across, in the face that the brace stands on. Of the brace: along the chord.
    pub width: f64,
    /// Of the chord: away from that face. Of the brace: across the chord.
    pub height: f64,
    /// Thickness; 0 of a brace that is a solid bar.
    pub wall: f64,
}

/// Stiffness of a tube or filled tube as a beam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamStiffness {
    /// N.
    pub ea: Complex64,
    /// Shear along the section's width and along its height, N.
    pub ga: [Complex64; 2],
    /// N m².
    pub gj: Complex64,
    /// For bending in the plane of the width, and in that of the height, N m².
    pub ei: [Complex64; 2],
}

/// What becomes of the chord beyond the brace.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ChordEnd {
    /// It runs on.
    RunsOn,
    /// It ends there, flush with the outer face of the brace.
    Ends(CornerEnd),
}

/// How a corner of two tubes is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CornerEnd {
    /// The brace stands on the face of the chord, whose end is open.
    Open,
    /// The same with the chord's end closed by a plate in line with the brace's outer wall, and as thick.
    Capped,
    /// Both are cut on the slant, so that walls meet walls and the inside runs round.
    Mitred,
}

/// A brace standing on a chord.
#[derive(Debug, Clone, PartialEq)]
pub struct TubeJoint {
    /// The chord.
    pub chord: TubeSection,
    /// The brace.
    pub brace: TubeSection,
    /// The metal of both, and the fill of the chord and of the brace where there is one.
    pub metal: Elastic,
    /// Fill of the chord, bonded.
    pub chord_fill: Option<Elastic>,
    /// True for a chord of its fill alone, without walls.
    pub solid: bool,
    /// Fill of the brace, bonded.
    pub brace_fill: Option<Elastic>,
    /// The chord as a beam.
    pub chord_beam: BeamStiffness,
    /// The brace as a beam.
    pub brace_beam: BeamStiffness,
    /// The loss factor of the fill with which both beams were solved; by the correspondence principle their imaginary
    /// parts over it are what they change with the logarithm of the fill's modulus. 0 where that is not asked.
    pub fill_loss: f64,
    /// Leg of the fillet around the brace, m; 0 is a sharp corner.
    pub weld: f64,
    /// True where an equal brace stands opposite and is loaded as in a mirror, so that the chord neither bends nor
    /// twists.
    pub opposite: bool,
    /// What becomes of the chord beyond the brace.
    pub end: ChordEnd,
}

/// The part of the smaller side of a bar that its grid takes for a wall.
const BAR: f64 = 0.25;

impl TubeJoint {
    /// Whether the brace is a solid bar.
    pub(crate) fn has_a_bar(&self) -> bool {
        self.brace.wall == 0.0
    }

    /// The wall of the brace, m; of a bar, what its grid takes for one.
    pub(crate) fn brace_wall(&self) -> f64 {
        let TubeSection { width, height, wall } = self.brace;
        if self.has_a_bar() { BAR * width.min(height) } else { wall }
    }
}

/// What the wall adds to the flexibility of the two beams, at the face of the chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallFlexibility {
    /// Shift against the middle of the chord's side walls under a push along the brace, m/N; of a chord that ends,
    /// against its axis.
    pub push: f64,
    /// Turn in the plane of both under a moment there, 1/(N m).
    pub in_plane: f64,
    /// Turn out of that plane, about the chord's axis, 1/(N m).
    pub out_of_plane: f64,
    /// Turn about the brace's axis, 1/(N m).
    pub twist: f64,
    /// Turn about the brace's axis, from the chord's axis to its surface, under a moment about the chord's, from its
    /// end inwards, with the sign turned, 1/(N m); 0 where the chord runs on.
    pub leaning: f64,
    /// How far under the face the axis lies about which it turns out of plane, m; negative above it.
    pub depth: f64,
}

/// What was solved of a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolvedWalls {
    /// The flexibilities.
    pub wall: WallFlexibility,
    /// What they change with the logarithm of the fill's modulus; of nothing where there is no fill.
    pub slope: WallFlexibility,
}

/// Largest sizes of the chord from the brace to its held ends: where the chord is turned about its axis, its
/// section is distorted far along it; else the wall is dented near the brace alone, and where it ends a little farther.
pub(crate) const TURNED: f64 = 4.5;
const DENTED: f64 = 2.0;
const ENDED: f64 = 3.0;
/// The same of a solid chord, whose section keeps its shape.
pub(crate) const SOLID: f64 = 1.5;

/// Motions of the brace's end that belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// Along the brace, counted from the middle of the chord's side walls.
    Push,
    /// Along the chord, and a turn in the plane of both; where the chord ends, also along the brace.
    InPlane,
    /// Across that plane, and a turn about the chord; where the chord ends, also a turn about the brace.
    OutOfPlane,
    /// A turn about the brace.
    Twist,
}

impl Way {
    /// Sizes of the chord to its held end.
    pub(crate) fn reach(self, end: ChordEnd) -> f64 {
        match (self, end) {
            (Way::OutOfPlane, _) => TURNED,
            (_, ChordEnd::RunsOn) => DENTED,
            (_, ChordEnd::Ends(_)) => ENDED,
        }
    }

    /// Shift and turn of the brace's end, one pair a motion.
    pub(crate) fn motions(self, end: ChordEnd) -> Vec<[Vector3<f64>; 2]> {
        let (x, y, z, zero) = (Vector3::x(), Vector3::y(), Vector3::z(), Vector3::zeros());
        let mut motions = match self {
            Way::Push => vec![[z, zero]],
            Way::InPlane => vec![[x, zero], [zero, y], [z, zero]],
            Way::OutOfPlane => vec![[y, zero], [zero, -x], [zero, z]],
            Way::Twist => vec![[zero, z]],
        };
        if end == ChordEnd::RunsOn {
            motions.truncate(2);
        }
        motions
    }

    /// Whether the motions are even about the plane across the chord, where that is a mirror, and about the plane
    /// along it.
    pub(crate) fn even(self, end: ChordEnd) -> [Option<bool>; 2] {
        let [across, along] = match self {
            Way::Push => [true, true],
            Way::InPlane => [false, true],
            Way::OutOfPlane => [true, false],
            Way::Twist => [false, false],
        };
        [(end == ChordEnd::RunsOn).then_some(across), Some(along)]
    }
}
