//! What the program asks of a file: the keys of every table, and the form of each value.
//!
//! A [`super::Reader::recording`] keeps this record. Tables of the same place share one entry: the place
//! of `members.left_rail` is `members/*`, and that of the second part of a section is
//! `sections/*/parts/[]`. A key that is asked for only when another one is present is recorded only if
//! the file has that other key.

use super::Allowed;
use crate::quantity::Kind;
use std::collections::BTreeMap;

/// The form of a value in the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// Text: a name, a title.
    Text,
    /// One of these words.
    Word(Vec<&'static str>),
    /// One or several of these words in one text.
    Words(Vec<&'static str>),
    /// `false`.
    False,
    /// `true` or `false`.
    Flag,
    /// A quantity, or a list of them in one text, with a spread where one is allowed.
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
    /// A loss factor, alone or at one or two amplitudes.
    Losses(Allowed),
    /// A size; these are the allowed numbers of lengths, the usual one first.
    Size(Vec<usize>),
    /// A range of quantities.
    Range(Kind),
    /// A ratio: two parts with a colon between them.
    Ratio,
    /// A whole number from 1, or a list of them.
    Counts,
    /// A name, or a list of them.
    Names,
    /// A table.
    Table,
    /// A list of tables.
    Tables,
    /// One value of a form, a list of them, or steps between two.
    Series(Box<Form>),
}

/// What is asked about one key.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AskedKey {
    /// The forms it may have; empty where only its presence was tested.
    pub forms: Vec<Form>,
    needed: usize,
}

/// What is asked about the tables of one place.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AskedTable {
    /// By key; `*` stands for names that the user gives.
    pub keys: BTreeMap<String, AskedKey>,
    /// Sets of keys of which exactly one must be present.
    pub choices: Vec<Vec<&'static str>>,
    tables: usize,
}

/// What is asked about a file, by place; the file itself has the place "".
pub type Asked = BTreeMap<String, AskedTable>;

impl AskedTable {
    /// Keys that every table of this place must have.
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
