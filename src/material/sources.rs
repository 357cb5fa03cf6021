//! The bibliography: the source of every number and equation in Stillbed.
//!
//! `data/sources.csv` gives the citation for each key. Two words replace a key: `memory` for a value
//! that was not looked up, and `common practice` for what is usual in the trade.

use std::collections::BTreeMap;

const BUILT_IN: &str = include_str!("../../data/sources.csv");

/// Words that replace a key.
pub const WITHOUT_SOURCE: [&str; 2] = ["memory", "common practice"];

/// Keys and their citations.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    citations: BTreeMap<String, String>,
}

impl Sources {
    /// The bibliography that comes with the program.
    pub fn built_in() -> Sources {
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(BUILT_IN.as_bytes());
        let citations = reader
            .records()
            .filter_map(|record| {
                let record = record.ok()?;
                Some((record.get(0)?.to_string(), record.get(1)?.to_string()))
            })
            .collect();
        Sources { citations }
    }

    /// The citation of `key`.
    pub fn citation(&self, key: &str) -> Option<&str> {
        self.citations.get(key).map(String::as_str)
    }

    /// Every key, in alphabetical order.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.citations.keys().map(String::as_str)
    }

    /// The citations for a cell that holds one key, or several separated by semicolons; what is not a
    /// key is returned as it is.
    pub fn cite(&self, cell: &str) -> String {
        let cited: Vec<&str> = keys_of(cell).map(|key| self.citation(key).unwrap_or(key)).collect();
        cited.join("; ")
    }
}

/// The keys in a cell: one, or several separated by semicolons.
pub fn keys_of(cell: &str) -> impl Iterator<Item = &str> {
    cell.split(';').map(str::trim).filter(|key| !key.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_bibliography_is_read_once() {
        let rows = BUILT_IN.lines().skip(1).filter(|line| !line.trim().is_empty()).count();
        assert_eq!(Sources::built_in().keys().count(), rows);
    }

    #[test]
    fn a_cell_is_cited_key_by_key() {
        let sources = Sources::built_in();
        let cited = sources.cite("en1993; memory");
        assert!(cited.starts_with("EN 1993-1-1:2005"));
        assert!(cited.ends_with("; memory"));
        assert_eq!(sources.citation("nobody1900"), None);
    }
}
