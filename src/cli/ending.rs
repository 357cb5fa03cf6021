//! How a command ends: with an answer, or with the problems that stand in its way.

use stillbed_input::problem::Problem;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ending {
    /// The answer was given.
    Answered,
    /// The answer was given, and the design misses a target.
    TargetMissed,
}

impl Ending {
    /// Answered; `all_miss` says that every build misses a target.
    pub fn judged(all_miss: bool) -> Ending {
        if all_miss { Ending::TargetMissed } else { Ending::Answered }
    }
}

/// Why there is no answer.
pub(super) struct Failure {
    pub problems: Vec<Problem>,
    /// Name and text of the file with the problems, to print excerpts.
    pub text: Option<(String, String)>,
}

impl Failure {
    /// Problems without the text of their file.
    pub fn without_text(problems: impl Into<Vec<Problem>>) -> Failure {
        let problems = problems.into();
        Failure { problems, text: None }
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Failure {
        Failure { problems: vec![problem], text: None }
    }
}
