//! Area, first and second moments about the member line.

use super::outline::{Drawing, Polygon, sides};
use super::point::{Point, cross, distance};
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
    /// Moments of the regions of a drawing, each given by its outer ring and its holes. The sides are
    /// polygons; the segments between a chord and its arc are added, so the result is exact whatever the
    /// mesh.
    ///
    /// # Source
    /// - `gere-goodno2009`: appendix on plane areas (circular segment)
    pub(super) fn integrate(pieces: &[Vec<Polygon>], drawing: &Drawing) -> Moments {
        let mut sum = Moments::default();
        for (a, b) in pieces.iter().flatten().flat_map(sides) {
            sum += Moments::of_side(a, b);
            if let Some(circle) = drawing.arc(a, b) {
                let circle = &drawing.circles[circle];
                let outward = cross(a, b, circle.centre).signum();
                sum += Moments::of_cap(a, b, circle.centre, circle.radius).scaled(outward);
            }
        }
        if sum.area < 0.0 { sum.scaled(-1.0) } else { sum }
    }

    /// Contribution of one side to a polygon that runs anticlockwise.
    fn of_side(a: Point, b: Point) -> Moments {
        let twice = a[0] * b[1] - b[0] * a[1];
        let square = |i: usize| twice * (a[i] * a[i] + a[i] * b[i] + b[i] * b[i]) / 12.0;
        let mixed = a[0] * b[1] + b[0] * a[1] + 2.0 * (a[0] * a[1] + b[0] * b[1]);
        Moments {
            area: 0.5 * twice,
            y: twice * (a[0] + b[0]) / 6.0,
            z: twice * (a[1] + b[1]) / 6.0,
            yy: square(0),
            zz: square(1),
            yz: twice * mixed / 24.0,
        }
    }

    /// Circular segment between a chord and its arc, which is less than half a turn.
    fn of_cap(a: Point, b: Point, centre: Point, radius: f64) -> Moments {
        let half = (0.5 * distance(a, b) / radius).min(1.0).asin();
        let (sine, cosine) = half.sin_cos();
        let lens = half - sine * cosine;
        let (r3, r4) = (radius.powi(3), radius.powi(4));
        let area = radius * radius * lens;
        // About the circle's centre: along the axis of the segment, and across it.
        let (first, third) = (2.0 / 3.0 * r3 * sine.powi(3), sine.powi(3) * cosine);
        let (along, across) = (0.25 * r4 * (lens + 2.0 * third), r4 / 12.0 * (3.0 * lens - 2.0 * third));
        let middle = [0.5 * (a[0] + b[0]) - centre[0], 0.5 * (a[1] + b[1]) - centre[1]];
        let reach = middle[0].hypot(middle[1]).max(f64::MIN_POSITIVE);
        let (c, s) = (middle[0] / reach, middle[1] / reach);
        let [y, z] = centre;
        let (my, mz) = (first * c, first * s);
        Moments {
            area,
            y: my + area * y,
            z: mz + area * z,
            yy: along * c * c + across * s * s + 2.0 * y * my + area * y * y,
            zz: along * s * s + across * c * c + 2.0 * z * mz + area * z * z,
            yz: (along - across) * c * s + y * mz + z * my + area * y * z,
        }
    }

    /// Adds a small area `a` at a point.
    pub(super) fn add(&mut self, [y, z]: Point, a: f64) {
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

#[cfg(test)]
mod tests {
    use super::super::outline::draw;
    use super::super::shape::Shape;
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn a_circle_cut_through_is_exact() {
        // Half of a circle of 100 mm, cut by a square; the circle is off the origin.
        let round = Shape::Round { diameter: 0.1 }.figure();
        let plate = Shape::Rectangle { width: 0.3, height: 0.2 }.figure();
        let drawing = draw([(&round, [0.02, 0.01], 0.3), (&plate, [0.0, -0.09], 0.0)].into_iter());
        let m = Moments::integrate(&drawing.remaining()[0], &drawing);
        let area = 0.5 * PI * 0.05f64.powi(2);
        approx::assert_relative_eq!(m.area, area, max_relative = 1e-9);
        approx::assert_relative_eq!(m.y, 0.02 * area, max_relative = 1e-9);
        approx::assert_relative_eq!(m.z, 0.01 * area + 2.0 / 3.0 * 0.05f64.powi(3), max_relative = 1e-9);
        approx::assert_relative_eq!(m.yy, PI / 8.0 * 0.05f64.powi(4) + 0.0004 * area, max_relative = 1e-9);
    }

    #[test]
    fn the_root_of_an_angle_adds_what_a_quarter_circle_leaves_of_its_square() {
        let (wall, root) = (0.01, 0.012f64);
        let angle =
            Shape::Angle { width: 0.1, height: 0.08, wall, root_radius: root, toe_radius: 0.004 }.figure();
        let drawing = draw([(&angle, [0.0; 2], 0.0)].into_iter());
        let left = (1.0 - PI / 4.0) * (root * root - 2.0 * 0.004 * 0.004);
        let area = Moments::integrate(&drawing.remaining()[0], &drawing).area;
        approx::assert_relative_eq!(area, wall * (0.1 + 0.08 - wall) + left, max_relative = 1e-9);
    }

    #[test]
    fn open_shapes_have_the_area_of_their_plates_and_roots() {
        let (width, height, web, flange, root_radius) = (0.08, 0.12, 0.006, 0.009, 0.01);
        let root = (1.0 - PI / 4.0) * root_radius * root_radius;
        let channel = Shape::Channel { width, height, web, flange, root_radius };
        let tee = Shape::Tee { width, height, web, flange, root_radius };
        let i_shape = Shape::IShape { width, height, web, flange, root_radius };
        for (shape, area) in [
            (channel, web * height + 2.0 * flange * (width - web) + 2.0 * root),
            (tee, web * (height - flange) + flange * width + 2.0 * root),
            (i_shape, web * (height - 2.0 * flange) + 2.0 * flange * width + 4.0 * root),
        ] {
            let figure = shape.figure();
            let drawing = draw([(&figure, [0.0; 2], 0.0)].into_iter());
            let found = Moments::integrate(&drawing.remaining()[0], &drawing).area;
            approx::assert_relative_eq!(found, area, max_relative = 1e-9);
        }
    }
}
