//! The stiffnesses of a section and the loss factor of each.

use num_complex::Complex64;
use serde::{Serialize, Serializer};

/// The complex stiffnesses of a section; EI about the elastic centre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stiffness {
    /// EA, N.
    #[serde(serialize_with = "real")]
    pub ea_n: Complex64,
    /// `int E (z - z_c)^2`: bending about y, N m2.
    #[serde(serialize_with = "real")]
    pub ei_y_n_m2: Complex64,
    /// `int E (y - y_c)^2`: bending about z, N m2.
    #[serde(serialize_with = "real")]
    pub ei_z_n_m2: Complex64,
    /// `int E (y - y_c)(z - z_c)`, N m2.
    #[serde(serialize_with = "real")]
    pub ei_yz_n_m2: Complex64,
    /// Torsion, N m2.
    #[serde(serialize_with = "real")]
    pub gj_n_m2: Complex64,
    /// Shear along y, N.
    #[serde(serialize_with = "real")]
    pub ga_y_n: Complex64,
    /// Shear along z, N.
    #[serde(serialize_with = "real")]
    pub ga_z_n: Complex64,
}

/// Only the real part of a stiffness is written; the imaginary part is given by the loss factor.
fn real<S: Serializer>(value: &Complex64, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_f64(value.re)
}

/// The loss factor of each stiffness; `None` where the stiffness is zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Loss {
    /// Of axial stiffness.
    pub ea: Option<f64>,
    /// Of bending about y.
    pub ei_y: Option<f64>,
    /// Of bending about z.
    pub ei_z: Option<f64>,
    /// Of the product of inertia; `None` where it vanishes by symmetry.
    pub ei_yz: Option<f64>,
    /// Of torsion.
    pub gj: Option<f64>,
    /// Of shear along y.
    pub ga_y: Option<f64>,
    /// Of shear along z.
    pub ga_z: Option<f64>,
}

impl Loss {
    /// The same without bending and shear, whose loss is not known where plane sections are not
    /// accepted.
    pub fn without_bending(self) -> Loss {
        Loss { ei_y: None, ei_z: None, ei_yz: None, ga_y: None, ga_z: None, ..self }
    }
}

impl Stiffness {
    /// The loss factor of each stiffness, the ratio of its imaginary to its real part.
    pub fn loss(&self) -> Loss {
        let of = |x: Complex64, scale: f64| (x.re.abs() > 1e-9 * scale).then(|| x.im / x.re);
        let bending = self.ei_y_n_m2.re.abs().max(self.ei_z_n_m2.re.abs());
        Loss {
            ea: of(self.ea_n, 0.0),
            ei_y: of(self.ei_y_n_m2, 0.0),
            ei_z: of(self.ei_z_n_m2, 0.0),
            ei_yz: of(self.ei_yz_n_m2, bending),
            gj: of(self.gj_n_m2, 0.0),
            ga_y: of(self.ga_y_n, 0.0),
            ga_z: of(self.ga_z_n, 0.0),
        }
    }

    /// `share` of `b` and the rest of `a`.
    pub(super) fn mixed(a: &Stiffness, b: &Stiffness, share: f64) -> Stiffness {
        let mix = |x: Complex64, y: Complex64| x * (1.0 - share) + y * share;
        Stiffness {
            ea_n: mix(a.ea_n, b.ea_n),
            ei_y_n_m2: mix(a.ei_y_n_m2, b.ei_y_n_m2),
            ei_z_n_m2: mix(a.ei_z_n_m2, b.ei_z_n_m2),
            ei_yz_n_m2: mix(a.ei_yz_n_m2, b.ei_yz_n_m2),
            gj_n_m2: mix(a.gj_n_m2, b.gj_n_m2),
            ga_y_n: mix(a.ga_y_n, b.ga_y_n),
            ga_z_n: mix(a.ga_z_n, b.ga_z_n),
        }
    }
}
