//! Which design an answer is about.

use serde::Serialize;

/// The design that an answer is about, as its JSON and its workbook name it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DesignIdentity {
    /// The file as the user named it.
    pub file: String,
    /// Its title.
    pub title: String,
}
