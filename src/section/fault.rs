//! What can be wrong with a section, said without a place in a file.

use std::fmt;

/// Something in a section that stops its solution.
///
/// The layer that read the section from a file gives it its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionFault {
    /// The part that is wrong, counted from 0; `None`: the section as a whole.
    pub part: Option<usize>,
    /// The value found, then what is allowed.
    pub message: String,
    /// The next thing to do.
    pub help: Option<String>,
}

impl SectionFault {
    /// A fault of the section as a whole, or of a shape not yet part of one.
    pub(super) fn new(message: impl Into<String>) -> SectionFault {
        SectionFault { part: None, message: message.into(), help: None }
    }

    /// The same fault with its repair.
    pub(super) fn with_help(mut self, help: impl Into<String>) -> SectionFault {
        self.help = Some(help.into());
        self
    }

    /// The same fault in part number `part`.
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
