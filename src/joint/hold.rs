//! When does a joint open or slip under loads?
//!
//! ```text
//! opens   p = F/A of the bolts against (1 - c) (N/A + |M_u| v/I_u + |M_v| u/I_v) at the worst corner
//! slips   μ (F - (1 - c) N) against V + |T|/r,   r² = (I_u + I_v)/A
//! ```
//!
//! N pulls, V pushes along the faces, M bends and T twists, c is the share that the bolts take. Both are static: what a
//! vibration adds is not in them. Where a margin is below 1 the joint opens or slips, and its stiffness is no longer the
//! tangent at its preload.
//!
//! # Source
//! - `shigley2011`: section 8-7, preload and outer loads

use super::area::Area;

/// What keeps a joint shut and from slipping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// Force with which bolts press it, N.
    pub preload: f64,
    /// Where it carries.
    pub area: Area,
    /// From its middle to its edge along its sides, m.
    pub edge: [f64; 2],
    /// Share of an outer load that bolts take.
    pub share: f64,
    /// Friction of its faces.
    pub friction: f64,
}

/// How often a load could be applied at once before a joint opens or slips; infinite where it never does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margins {
    /// Before its edge opens.
    pub opens: f64,
    /// Before it slips.
    pub slips: f64,
}

impl Hold {
    /// The margins under `load`, in the axes of the joint: pull along the normal, pushes along both sides, twist, and
    /// bending about both sides, N and N m.
    ///
    /// A joint without bolts opens where anything pulls it, and its margin of opening is then 0.
    #[must_use]
    pub fn margins(&self, load: [f64; 6]) -> Margins {
        let [pull, u, v, twist, about_u, about_v] = load;
        let Area { area, second } = self.area;
        let bending = about_u.abs() * self.edge[1] / second[0] + about_v.abs() * self.edge[0] / second[1];
        let outer = (1.0 - self.share) * (pull / area + bending);
        let opens = if outer > 0.0 { self.preload / area / outer } else { f64::INFINITY };
        let across = u.hypot(v) + twist.abs() / ((second[0] + second[1]) / area).sqrt();
        let pressed = (self.preload - (1.0 - self.share) * pull).max(0.0);
        let slips = if across > 0.0 { self.friction * pressed / across } else { f64::INFINITY };
        Margins { opens, slips }
    }
}

#[cfg(test)]
mod tests {
    use super::super::area::Outline;
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn opening_and_slipping_by_hand() {
        let outline = Outline::Rectangle([0.1, 0.2]);
        let hold = Hold { preload: 40e3, area: outline.area(), edge: [0.05, 0.1], share: 0.0, friction: 0.2 };
        // A bending moment about the first side opens a rectangle at F v/6, here 40 kN x 0.2 m/6.
        let moment = 40e3 * 0.2 / 6.0;
        let margins = hold.margins([0.0, 0.0, 0.0, 0.0, moment, 0.0]);
        assert_relative_eq!(margins.opens, 1.0, max_relative = 1e-12);
        assert_eq!(margins.slips, f64::INFINITY);
        let pulled = hold.margins([10e3, 3e3, 4e3, 0.0, 0.0, 0.0]);
        assert_relative_eq!(pulled.opens, 4.0, max_relative = 1e-12);
        assert_relative_eq!(pulled.slips, 0.2 * 30e3 / 5e3, max_relative = 1e-12);
        // Bolts that take a fifth leave four fifths to the faces.
        let shared = Hold { share: 0.2, ..hold }.margins([10e3, 0.0, 0.0, 0.0, 0.0, 0.0]);
        assert_relative_eq!(shared.opens, 5.0, max_relative = 1e-12);
        // Weight alone never opens it.
        assert_eq!(hold.margins([-1e3, 0.0, 0.0, 0.0, 0.0, 0.0]).opens, f64::INFINITY);
    }
}
