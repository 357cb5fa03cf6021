//! Sections that are rectangular or round tubes, empty or filled, and solid bars: what stands on what at a corner.

use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_4, PI};
use stillbed_material::{Medium, Role};
use stillbed_section::{Geometry, Shape};

/// A tube is filled when its fill takes this part of its inside.
const FILLED: f64 = 0.9;

/// What is cast into a rectangle lies within this part of its sides.
const SKIN: f64 = 0.95;

/// Fourth power of the width of a square bar over the diameter of a round one with the same second moment.
const ALIKE_BAR: f64 = 3.0 * PI / 16.0;

/// Cube of the width of a square tube over the diameter of a round one with the same wall and second moment, both thin:
/// 2/3 b³ t = π/8 d³ t.
const ALIKE: f64 = 3.0 * PI / 16.0;

/// A section that is a rectangular or round tube, empty or filled, or a solid bar: a tube without wall, of its fill
/// alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tube {
    /// Along the section's y and z, m.
    pub(super) size: [f64; 2],
    pub(super) wall: f64,
    /// Young's moduli, Pa.
    pub(super) metal: Complex64,
    pub(super) fill: Option<Complex64>,
    /// Of a round one, whose sizes are those of a square one as thick that bends as it does.
    pub(super) round: bool,
}

/// Sizes along y and z, and the wall, m, of a rectangular tube that is square to the axes and about the origin of its
/// section; `None` for other shapes.
pub(super) fn tube_sizes(shape: &Shape, at: [f64; 2], turn: f64) -> Option<([f64; 2], f64)> {
    let Shape::Tube { width, height, wall, .. } = *shape else { return None };
    placed([width, height], at, turn).map(|size| (size, wall))
}

/// A width and height along y and z where they are square to the axes and about the origin.
fn placed([width, height]: [f64; 2], at: [f64; 2], turn: f64) -> Option<[f64; 2]> {
    let quarter = turn / std::f64::consts::FRAC_PI_2;
    let square = (quarter - quarter.round()).abs() < 1e-9 && at.iter().all(|x| x.abs() < 1e-9);
    let lies = quarter.round() as i64 % 2 != 0;
    square.then_some(if lies { [height, width] } else { [width, height] })
}

impl Tube {
    /// The tube or bar that a section of `geometry` is, `scale` times as large as drawn; `None` for any other
    /// section.
    pub fn of(geometry: &Geometry, media: &[Medium], scale: f64) -> Option<Tube> {
        Tube::hollow(geometry, media, scale)
            .or_else(|| Tube::pipe(geometry, media, scale))
            .or_else(|| Tube::solid(geometry, media, scale))
    }

    fn hollow(geometry: &Geometry, media: &[Medium], scale: f64) -> Option<Tube> {
        let parts = geometry.parts();
        let whole = geometry.size();
        let (number, size, wall) = parts.iter().enumerate().find_map(|(number, part)| {
            let (size, wall) = tube_sizes(&part.shape, part.at, part.turn)?;
            let around = (0..2).all(|k| (whole[k] - size[k]).abs() < 0.01 * size[k]);
            (around && !part.cavity).then_some((number, size, wall))
        })?;
        let inside = (size[0] - 2.0 * wall) * (size[1] - 2.0 * wall);
        Some(Tube {
            size: size.map(|x| x * scale),
            wall: wall * scale,
            metal: media[parts[number].medium].youngs_modulus,
            fill: Tube::fill(geometry, media, number, inside),
            round: false,
        })
    }

    fn pipe(geometry: &Geometry, media: &[Medium], scale: f64) -> Option<Tube> {
        let parts = geometry.parts();
        let whole = geometry.size();
        let (number, diameter, wall) = parts.iter().enumerate().find_map(|(number, part)| {
            let Shape::Pipe { diameter, wall } = part.shape else { return None };
            let around = whole.iter().all(|size| (size - diameter).abs() < 0.01 * diameter)
                && part.at.iter().all(|x| x.abs() < 1e-9);
            (around && !part.cavity).then_some((number, diameter, wall))
        })?;
        Some(Tube {
            size: [ALIKE.cbrt() * diameter * scale; 2],
            wall: wall * scale,
            metal: media[parts[number].medium].youngs_modulus,
            fill: Tube::fill(geometry, media, number, FRAC_PI_4 * (diameter - 2.0 * wall).powi(2)),
            round: true,
        })
    }

    /// Young's modulus of what fills the `inside`, m², of part `number`.
    fn fill(geometry: &Geometry, media: &[Medium], number: usize, inside: f64) -> Option<Complex64> {
        let parts = geometry.parts();
        let moments = geometry.moments();
        let fill = (0..parts.len()).find(|i| {
            let own = &parts[*i];
            *i != number
                && media[own.medium].role != Role::Void
                && !own.cavity
                && moments[*i].area > FILLED * inside
        });
        fill.map(|i| media[parts[i].medium].youngs_modulus)
    }

    /// A rectangle or circle that makes the whole outside of the section; what is cast into it lies deeper.
    fn solid(geometry: &Geometry, media: &[Medium], scale: f64) -> Option<Tube> {
        let parts = geometry.parts();
        let whole = geometry.size();
        let number = parts.iter().position(|part| !part.cavity)?;
        let own = &parts[number];
        let (size, round) = match own.shape {
            Shape::Rectangle { width, height } => (placed([width, height], own.at, own.turn)?, false),
            Shape::Round { diameter } if own.at.iter().all(|x| x.abs() < 1e-9) => ([diameter; 2], true),
            _ => return None,
        };
        let around = (0..2).all(|k| (whole[k] - size[k]).abs() < 1e-6 * size[k]);
        let deep = |i: usize| {
            let within = |[low, high]: [[f64; 2]; 2]| {
                (0..2).all(|k| low[k] > -0.5 * SKIN * size[k] && high[k] < 0.5 * SKIN * size[k])
            };
            !parts[i].cavity && geometry.extent(i).is_some_and(within)
        };
        let bare = (0..parts.len()).filter(|i| *i != number).all(deep);
        let modulus = media[own.medium].youngs_modulus;
        let alike = if round { ALIKE_BAR.powf(0.25) } else { 1.0 };
        (around && bare).then_some(Tube {
            size: size.map(|x| x * alike * scale),
            wall: 0.0,
            metal: modulus,
            fill: Some(modulus),
            round,
        })
    }

    /// Whether it has no hollow.
    pub(super) fn is_solid(&self) -> bool {
        self.wall == 0.0
    }

    /// Area of the box around it, m².
    pub(super) fn area(&self) -> f64 {
        self.size[0] * self.size[1]
    }
}
