//! Things of one kind by name, in the order of the file, and how a build's own replace the common ones.

use stillbed_input::document::Fields;
use stillbed_input::problem::suggest;

/// What the file says under one name.
#[derive(Debug, Clone, PartialEq)]
enum Entry<T> {
    Stated(T),
    /// `NAME = false`: a build leaves the common one out.
    Removed,
    /// It could not be read, which has been reported.
    Broken,
}

/// Things of one kind by name.
#[derive(Debug, Clone, PartialEq)]
pub struct Named<T> {
    entries: Vec<(String, Entry<T>)>,
}

impl<T> Default for Named<T> {
    fn default() -> Named<T> {
        Named { entries: Vec::new() }
    }
}

impl<T: Clone> Named<T> {
    /// Reads the table `key` of `parent`, each entry by `read` from the table and its name.
    pub fn read(parent: &Fields, key: &str, read: impl Fn(&Fields, &str) -> Option<T>) -> Named<T> {
        let mut named = Named::default();
        let Some(table) = parent.fields(key) else {
            return named;
        };
        for name in table.keys() {
            let entry = if table.is_false(&name.value) {
                Entry::Removed
            } else {
                read(&table, &name.value).map_or(Entry::Broken, Entry::Stated)
            };
            named.entries.push((name.value, entry));
        }
        table.finish();
        named
    }

    /// Reads a table of tables; after `read`, unknown keys of an entry are reported.
    pub fn read_tables(parent: &Fields, key: &str, read: impl Fn(&Fields) -> Option<T>) -> Named<T> {
        Named::read(parent, key, |table, name| {
            let fields = table.fields(name)?;
            let found = read(&fields);
            fields.finish();
            found
        })
    }

    /// Those of these things that are of a kind, as `kind` tells; any other leaves out a thing of that kind and of its
    /// name.
    #[must_use]
    pub fn of_kind<A>(&self, kind: impl Fn(&T) -> Option<A>) -> Named<A> {
        let of = |(name, entry): &(String, Entry<T>)| {
            let entry = match entry {
                Entry::Stated(thing) => kind(thing).map_or(Entry::Removed, Entry::Stated),
                Entry::Removed => Entry::Removed,
                Entry::Broken => Entry::Broken,
            };
            (name.clone(), entry)
        };
        Named { entries: self.entries.iter().map(of).collect() }
    }

    /// These things, with those of `other` replacing the ones of the same name.
    #[must_use]
    pub fn replaced_by(&self, other: &Named<T>) -> Named<T> {
        let mut entries = self.entries.clone();
        for (name, entry) in &other.entries {
            match entries.iter_mut().find(|(known, _)| known == name) {
                Some((_, known)) => *known = entry.clone(),
                None => entries.push((name.clone(), entry.clone())),
            }
        }
        Named { entries }
    }

    /// The thing called `name`.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&T> {
        self.iter().find(|(known, _)| *known == name).map(|(_, thing)| thing)
    }

    /// The index of `name` among the stated things.
    #[must_use]
    pub fn position(&self, name: &str) -> Option<usize> {
        self.iter().position(|(known, _)| known == name)
    }

    /// All stated things, in order.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &T)> {
        self.entries.iter().filter_map(|(name, entry)| match entry {
            Entry::Stated(thing) => Some((name.as_str(), thing)),
            _ => None,
        })
    }

    /// All stated things, in order, to be changed.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = &mut T> {
        self.entries.iter_mut().filter_map(|(_, entry)| match entry {
            Entry::Stated(thing) => Some(thing),
            _ => None,
        })
    }

    /// How many things are stated.
    #[must_use]
    pub fn len(&self) -> usize {
        self.iter().count()
    }

    /// True when none is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// True when one of them could not be read.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        self.entries.iter().any(|(_, entry)| matches!(entry, Entry::Broken))
    }

    /// Adds a thing, replacing one of the same name.
    pub fn insert(&mut self, name: &str, thing: T) {
        *self = self.replaced_by(&Named { entries: vec![(name.to_string(), Entry::Stated(thing))] });
    }

    /// A suggestion for a name that does not exist, or `None` when it was stated but could not be read.
    #[must_use]
    pub fn missing(&self, name: &str) -> Option<String> {
        let broken = self.entries.iter().any(|(known, e)| known == name && matches!(e, Entry::Broken));
        (!broken).then(|| suggest(name, self.iter().map(|(known, _)| known)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;
    use stillbed_input::quantity::{Kind, Spread};

    fn masses(text: &str) -> Named<Spread> {
        let reader = Reader::new("d.toml", text);
        Named::read(&reader.root(), "masses", |table, name| {
            table.quantity(name, Kind::Mass, stillbed_input::document::Allowed::Any)
        })
    }

    #[test]
    fn a_build_replaces_removes_and_adds() {
        let common = masses("[masses]\nb = \"1 kg\"\na = \"2 kg\"\n");
        let own = masses("[masses]\na = \"3 kg\"\nb = false\nc = \"4 kg\"\n");
        let both = common.replaced_by(&own);
        let found: Vec<_> = both.iter().map(|(name, mass)| (name.to_string(), mass.value)).collect();
        assert_eq!(found, [("a".to_string(), 3.0), ("c".to_string(), 4.0)]);
        assert_eq!(common.iter().next().unwrap().0, "b");
    }

    #[test]
    fn what_could_not_be_read_is_not_called_missing() {
        let named = masses("[masses]\nrail = \"1 furlong\"\npost = \"1 kg\"\n");
        assert!(named.is_broken() && named.get("rail").is_none());
        assert_eq!(named.missing("rail"), None);
        assert_eq!(named.missing("pst").unwrap(), "did you mean \"post\"?");
    }
}
