//! Area, first and second moments about the member line.

use super::element::GaussPoint;
use std::ops::AddAssign;

/// Integrals over an area: `int y^i z^j dA` with i + j up to 2.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Moments {
    /// Area, m2.
    pub area: f64,
    /// `int y`, m3.
    pub y: f64,
    /// `int z`, m3.
    pub z: f64,
    /// `int y^2`, m4.
    pub yy: f64,
    /// `int z^2`, m4.
    pub zz: f64,
    /// `int y z`, m4.
    pub yz: f64,
}

impl Moments {
    /// Adds one point of an element's rule.
    pub(super) fn add(&mut self, point: &GaussPoint) {
        let ([y, z], a) = (point.at, point.area);
        *self += Moments { area: a, y: a * y, z: a * z, yy: a * y * y, zz: a * z * z, yz: a * y * z };
    }

    /// The same integrals with a constant weight.
    pub(super) fn scaled(&self, by: f64) -> Moments {
        Moments {
            area: by * self.area,
            y: by * self.y,
            z: by * self.z,
            yy: by * self.yy,
            zz: by * self.zz,
            yz: by * self.yz,
        }
    }

    /// The centroid [y, z], m; `None` without area.
    pub fn centroid(&self) -> Option<[f64; 2]> {
        (self.area > 0.0).then(|| [self.y / self.area, self.z / self.area])
    }
}

impl AddAssign for Moments {
    fn add_assign(&mut self, other: Moments) {
        self.area += other.area;
        self.y += other.y;
        self.z += other.z;
        self.yy += other.yy;
        self.zz += other.zz;
        self.yz += other.yz;
    }
}
