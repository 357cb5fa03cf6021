//! Builds the frames of the published cases and solves their modes.

use super::Inputs;
use nalgebra::Vector3;
use stillbed_frame::{Anchor, Frame, Mass, Member, MemberSection, Plain, Point};
use stillbed_material::Role;
use stillbed_modes::{Asked, Spectrum, solve};

/// Degrees of freedom held to keep a frame in the plane of x and z.
pub(super) const OUT_OF_PLANE: [bool; 6] = [false, true, false, true, false, true];

/// A frame under construction; it names its parts by itself.
#[derive(Default)]
pub(super) struct Drawing {
    pub(super) frame: Frame,
}

impl Drawing {
    pub(super) fn new(section: MemberSection) -> Drawing {
        Drawing { frame: Frame { sections: vec![section], ..Frame::default() } }
    }

    pub(super) fn point(&mut self, x: f64, y: f64, z: f64) -> usize {
        let name = format!("p{}", self.frame.points.len());
        self.frame.points.push(Point { name, position: Vector3::new(x, y, z) });
        self.frame.points.len() - 1
    }

    /// Adds a member with the first section.
    pub(super) fn member(&mut self, from: usize, to: usize, up: Option<Vector3<f64>>) {
        self.frame.members.push(Member {
            name: format!("m{}", self.frame.members.len()),
            from,
            to,
            section: 0,
            up,
            offset: Vector3::zeros(),
            joint_from: None,
            joint_to: None,
            rigid: [0.0; 2],
            displaced: Vec::new(),
        });
    }

    pub(super) fn hold(&mut self, at: usize, hold: [bool; 6]) {
        let name = format!("h{}", self.frame.anchors.len());
        self.frame.anchors.push(Anchor { name, at: vec![at], hold });
    }

    pub(super) fn mass(&mut self, at: usize, mass: f64, inertia: Vector3<f64>) {
        let name = format!("w{}", self.frame.masses.len());
        self.frame.masses.push(Mass { name, at, mass, offset: Vector3::zeros(), inertia });
    }

    /// The lowest `count` elastic modes with frequencies to 1e-5.
    pub(super) fn spectrum(&self, count: usize) -> Result<Spectrum, String> {
        self.spectrum_to(count, 1e-5)
    }

    /// The lowest `count` elastic modes with frequencies to a relative `tolerance`.
    pub(super) fn spectrum_to(&self, count: usize, tolerance: f64) -> Result<Spectrum, String> {
        let asked = Asked { count, tolerance, ..Asked::default() };
        solve(&self.frame, &asked).map_err(|fault| fault.to_string())
    }

    /// The lowest `modes` elastic frequencies, Hz, or those of them whose numbers `pick` lists.
    pub(super) fn frequencies(&self, inputs: &Inputs) -> Result<Vec<f64>, String> {
        let spectrum = self.spectrum(inputs.number("modes")? as usize)?;
        let all: Vec<f64> = spectrum.elastic.iter().map(|mode| mode.frequency()).collect();
        let Ok(places) = inputs.numbers("pick") else { return Ok(all) };
        let at = |place: &f64| all.get((*place as usize).wrapping_sub(1)).copied().ok_or("no such mode");
        Ok(places.iter().map(at).collect::<Result<_, _>>()?)
    }
}

/// A solid bar with its material, `width` across y and `depth` along z.
pub(super) struct Bar {
    pub(super) e: f64,
    pub(super) nu: f64,
    pub(super) rho: f64,
    pub(super) width: f64,
    pub(super) depth: f64,
    /// Shear coefficient.
    pub(super) kappa: f64,
    /// Torsion constant, m4.
    pub(super) j: f64,
}

impl Bar {
    /// A steel bar with the shear coefficient 5/6 of a rectangle for a Poisson's ratio of 0.
    pub(super) fn steel(width: f64, depth: f64, j: f64) -> Bar {
        Bar { e: 210e9, nu: 0.3, rho: 7850.0, width, depth, kappa: 5.0 / 6.0, j }
    }

    pub(super) fn section(&self) -> MemberSection {
        let area = self.width * self.depth;
        let i = [self.width * self.depth.powi(3) / 12.0, self.depth * self.width.powi(3) / 12.0];
        let g = self.e / (2.0 * (1.0 + self.nu));
        let plain = Plain {
            ea: self.e * area,
            ga: [self.kappa * g * area; 2],
            gj: g * self.j,
            ei: i.map(|i| self.e * i),
            rho_a: self.rho * area,
            rho_i: i.map(|i| self.rho * i),
            loss_factor: 0.0,
        };
        MemberSection::plain("bar", "solid", Role::Skeleton, &plain)
    }
}

/// `section` with bending about y alone, with its shear flexibility.
pub(super) fn in_one_plane(mut section: MemberSection) -> MemberSection {
    for stiff in [1, 3, 5] {
        section.stiffness[(stiff, stiff)] *= 1e4;
    }
    section
}

/// `section` with bending about y alone, without shear flexibility and rotary inertia.
pub(super) fn slender(section: MemberSection) -> MemberSection {
    let mut section = in_one_plane(section);
    section.stiffness[(2, 2)] *= 1e5;
    for turning in [4, 5] {
        section.mass[(turning, turning)] = 0.0;
    }
    section
}
