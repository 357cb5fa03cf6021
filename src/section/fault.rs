//! What is wrong with a section, without a place in a file.

use std::fmt;

/// An error in a section that stops its solution.
///
/// The code that read the section from a file adds the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionFault {
    /// The part at fault, from 0; `None` for the section as a whole.
    pub part: Option<usize>,
    /// The value found, then what is allowed.
    pub message: String,
    /// The next thing to do.
    pub help: Option<String>,
}

impl SectionFault {
    /// A fault of the section as a whole, or of a shape that is not yet part of one.
    pub(super) fn new(message: impl Into<String>) -> SectionFault {
        SectionFault { part: None, message: message.into(), help: None }
    }

    /// The same fault with a repair added.
    pub(super) fn with_help(mut self, help: impl Into<String>) -> SectionFault {
        self.help = Some(help.into());
        self
    }

    /// The same fault, of part number `part`.
    pub(super) fn in_part(mut self, part: usize) -> SectionFault {
        self.part = Some(part);
        self
    }
}

impl fmt::Display for SectionFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        if let Some(part) = self.part {
            write!(f, "part {}: ", part + 1)?;
        }
        write!(f, "{}", self.message)?;
        if let Some(help) = &self.help {
            write!(f, "; {help}")?;
        }
        Ok(())
    }
}

impl std::error::Error for SectionFault {}
