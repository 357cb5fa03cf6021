//! What are the joints and feet that follow from their laws: the springs, their spread and loss, and how far they are
//! from opening or slipping?

use serde::Serialize;
use stillbed_design::{Build, Design};
use stillbed_input::quantity::Spread;
use stillbed_joint::{Seat, Step};

/// Springs that differ by less than this part are shown as one.
const ALIKE: f64 = 1e-3;

/// A joint or a foot that follows from its law.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatFact {
    /// Its key in the design.
    pub key: String,
    /// Names of the builds in which it is this.
    pub builds: Vec<String>,
    /// The equation in words.
    pub equation: &'static str,
    /// The numbers on the way.
    pub steps: Vec<Step>,
    /// Axis square to its faces, 0 to 2: of the member, or of the design for a foot.
    pub normal: usize,
    /// Springs along x, y and z, N/m.
    pub springs_n_per_m: [f64; 3],
    /// Springs about x, y and z, N m/rad.
    pub turning_n_m_per_rad: [f64; 3],
    /// Their loss factor.
    pub loss: Spread,
    /// Limits of the springs across the faces, over their values.
    pub limits: [f64; 2],
    /// Least and largest force that presses one of its places at rest, N; `None` without weight.
    pub pressed_n: Option<[f64; 2]>,
    /// How many times the weight and the tap before it opens; `None` where that is not known, or it never does.
    pub opens_at: Option<f64>,
    /// The same before it slips.
    pub slips_at: Option<f64>,
}

/// The joints and feet of `design` that follow from their laws, alike ones once.
#[must_use]
pub fn seat_facts(design: &Design) -> Vec<SeatFact> {
    let mut found: Vec<SeatFact> = Vec::new();
    for fact in design.builds.iter().flat_map(of_build) {
        match found.iter_mut().find(|known| known.is_like(&fact)) {
            Some(known) => known.builds.extend(fact.builds),
            None => found.push(fact),
        }
    }
    found
}

fn of_build(build: &Build) -> Vec<SeatFact> {
    let joints =
        build.drawing.joints.iter().map(|(_, joint)| (&joint.seat, &joint.place.key, joint.loss.stated()));
    let feet = build.drawing.feet.iter().map(|(_, foot)| (&foot.seat, &foot.place.key, foot.loss.stated()));
    let fact = |(seat, key, stated): (&Option<Box<Seat>>, &String, Vec<Spread>)| {
        let seat = seat.as_ref()?;
        let derived = seat.derived.as_ref()?;
        let [x, y, z, turn_x, turn_y, turn_z] = derived.springs;
        let finite = |margin: f64| margin.is_finite().then_some(margin);
        Some(SeatFact {
            key: key.strip_prefix(&format!("builds.{}.", build.name)).unwrap_or(key).to_string(),
            builds: vec![build.name.clone()],
            equation: derived.equation,
            steps: derived.steps.clone(),
            normal: seat.spec.normal,
            springs_n_per_m: [x, y, z],
            turning_n_m_per_rad: [turn_x, turn_y, turn_z],
            loss: stated.first().copied().unwrap_or(derived.loss),
            limits: [derived.across.low, derived.across.high],
            pressed_n: seat.pressed,
            opens_at: seat.margins.and_then(|margins| finite(margins.opens)),
            slips_at: seat.margins.and_then(|margins| finite(margins.slips)),
        })
    };
    joints.chain(feet).filter_map(fact).collect()
}

impl SeatFact {
    fn is_like(&self, other: &SeatFact) -> bool {
        let springs = |fact: &SeatFact| {
            fact.springs_n_per_m.into_iter().chain(fact.turning_n_m_per_rad).collect::<Vec<f64>>()
        };
        let near =
            springs(self).into_iter().zip(springs(other)).all(|(a, b)| (a - b).abs() <= ALIKE * a.abs());
        self.key == other.key && self.normal == other.normal && self.equation == other.equation && near
    }

    /// The stiffness across its faces, N/m.
    #[must_use]
    pub fn push(&self) -> f64 {
        self.springs_n_per_m[self.normal]
    }

    /// The smaller stiffness along its faces, N/m.
    #[must_use]
    pub fn slide(&self) -> f64 {
        let along = (0..3).filter(|axis| *axis != self.normal).map(|axis| self.springs_n_per_m[axis]);
        along.fold(f64::INFINITY, f64::min)
    }

    /// The smaller stiffness in tilt, N m/rad.
    #[must_use]
    pub fn tilt(&self) -> f64 {
        let about = (0..3).filter(|axis| *axis != self.normal).map(|axis| self.turning_n_m_per_rad[axis]);
        about.fold(f64::INFINITY, f64::min)
    }
}
