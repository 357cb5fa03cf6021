//! Why a frame has no modes: faults and mechanisms.

use std::fmt;
use stillbed_eigen::EigenFault;
use stillbed_frame::{Frame, FrameFault, Layout, Owner};

/// Why no modes can be given.
#[derive(Debug, Clone, PartialEq)]
pub enum ModesFault {
    /// The frame is invalid.
    Frame(Vec<FrameFault>),
    /// Parts of the frame move without strain.
    Mechanism(Mechanism),
    /// Sizes or stiffnesses differ by more than the arithmetic can hold.
    Range,
    /// The eigenvalue solution failed.
    Eigen(EigenFault),
}

/// Motions without strain that are not rigid-body motions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mechanism {
    /// How many there are.
    pub count: usize,
    /// The members that move most in them.
    pub members: Vec<String>,
}

impl ModesFault {
    /// The mechanism of a degree of freedom without stiffness and mass.
    pub(super) fn massless_mechanism(frame: &Frame, layout: &Layout, dof: usize) -> ModesFault {
        let meets = |member: &&stillbed_frame::Member| match layout.owner(dof) {
            Owner::Point(point) => member.from == point || member.to == point,
            Owner::Member(number) => frame.members.get(number) == Some(*member),
            Owner::Body(_) => false,
        };
        let members = frame.members.iter().filter(meets).map(|member| member.name.clone()).collect();
        ModesFault::Mechanism(Mechanism { count: 1, members })
    }
}

impl Mechanism {
    /// How to repair it.
    pub fn help(&self) -> &'static str {
        "make one of their joints rigid or give it stiffness, or hold them with a foot or an anchor"
    }
}

impl fmt::Display for Mechanism {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let motions = if self.count == 1 { "motion" } else { "motions" };
        write!(f, "{} {motions} without any stiffness", self.count)?;
        let names: Vec<String> = self.members.iter().take(4).map(|name| format!("\"{name}\"")).collect();
        match names.len() {
            0 => Ok(()),
            1 => write!(f, ", of member {}", names[0]),
            _ => write!(f, ", of members {}", names.join(", ")),
        }
    }
}

impl fmt::Display for ModesFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            ModesFault::Frame(faults) => {
                let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
                write!(f, "{}", lines.join("\n"))
            }
            ModesFault::Range => write!(
                f,
                "the stiffnesses of a section differ by more than can be computed with; check its sizes"
            ),
            ModesFault::Mechanism(mechanism) => write!(f, "{mechanism}; {}", mechanism.help()),
            ModesFault::Eigen(fault) => write!(f, "{fault}"),
        }
    }
}

impl std::error::Error for ModesFault {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mechanism_is_named_by_its_members() {
        let said = |count, members: &[&str]| {
            Mechanism { count, members: members.iter().map(ToString::to_string).collect() }.to_string()
        };
        assert_eq!(said(2, &[]), "2 motions without any stiffness");
        assert_eq!(said(1, &["arm"]), "1 motion without any stiffness, of member \"arm\"");
        let five = said(1, &["a", "b", "c", "d", "e"]);
        assert_eq!(five, "1 motion without any stiffness, of members \"a\", \"b\", \"c\", \"d\"");
    }
}
