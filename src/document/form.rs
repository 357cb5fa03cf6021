//! What a reader asks of a file: the keys of every table, and the form of each.
//!
//! A [`super::Reader::recording`] keeps what it is asked for. Tables of one place are taken together:
//! the place of `members.left_rail` is `members/*`, that of the second part of a section
//! `sections/*/parts/[]`. What is asked only where something else stands becomes known when the
//! file has it.

use super::Allowed;
use crate::quantity::Kind;
use std::collections::BTreeMap;

/// The form in which a value stands in the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// Text: a name, a title.
    Text,
    /// One of these words.
    Word(Vec<&'static str>),
    /// Some of these words in one text.
    Words(Vec<&'static str>),
    /// `false`.
    False,
    /// `true` or `false`.
    Flag,
    /// A quantity, or a list of them in one text; with a spread where that is read.
    Quantity {
        /// What it measures.
        kind: Kind,
        /// How many.
        count: usize,
        /// What values it may have.
        allowed: Allowed,
        /// Whether it may be `{ value, low, high }`.
        spread: bool,
    },
    /// A loss factor at an amplitude, or two of them.
    Losses(Allowed),
    /// A size of one of these numbers of lengths, the usual one first.
    Size(Vec<usize>),
    /// A range of quantities.
    Range(Kind),
    /// Two parts with a colon between them.
    Ratio,
    /// A whole number from 1, or a list of them.
    Counts,
    /// A name, or a list of them.
    Names,
    /// A table.
    Table,
    /// A list of tables.
    Tables,
    /// One of a form, a list of them, or steps between two.
    Series(Box<Form>),
}

/// What is asked under one key.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AskedKey {
    /// The forms it may have; none where it was only looked for.
    pub forms: Vec<Form>,
    needed: usize,
}

/// What is asked of the tables of one place.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AskedTable {
    /// By key; `*` is any name that the user gives.
    pub keys: BTreeMap<String, AskedKey>,
    /// Keys of which one has to stand there, alone.
    pub choices: Vec<Vec<&'static str>>,
    tables: usize,
}

/// What is asked of a file, by place; the file itself has the place "".
pub type Asked = BTreeMap<String, AskedTable>;

impl AskedTable {
    /// Keys that no table of the place may lack.
    pub fn needed(&self) -> impl Iterator<Item = &str> {
        let always = self.keys.iter().filter(|(_, key)| key.needed >= self.tables && self.tables > 0);
        always.map(|(name, _)| name.as_str())
    }

    pub(super) fn enter(&mut self) {
        self.tables += 1;
    }

    pub(super) fn add(&mut self, key: &str, form: Option<Form>) {
        let forms = &mut self.keys.entry(key.to_string()).or_default().forms;
        forms.extend(form.filter(|form| !forms.contains(form)));
    }

    pub(super) fn need(&mut self, key: &str) {
        self.keys.entry(key.to_string()).or_default().needed += 1;
    }

    pub(super) fn choose(&mut self, keys: &[&'static str]) {
        if !self.choices.iter().any(|choice| choice == keys) {
            self.choices.push(keys.to_vec());
        }
    }
}
