//! Area, first and second moments about the member line.

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
    /// The centroid [y, z], m; `None` without area.
    pub fn centroid(&self) -> Option<[f64; 2]> {
        (self.area > 0.0).then(|| [self.y / self.area, self.z / self.area])
    }
}
