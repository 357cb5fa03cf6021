//! Changes the text of a design in place: what a build states itself is changed there; what is common to all
//! builds is first copied into the build. Comments and order stay.

use stillbed_input::problem::{Place, Problem};
use toml_edit::{DocumentMut, Item, Table, TableLike, Value as Text};

/// `text`, the design read from `file`, ready for changes.
///
/// # Errors
/// Text that is not TOML.
pub fn editable(file: &str, text: &str) -> Result<DocumentMut, Problem> {
    text.parse().map_err(|_| Problem::error(Place::file(file), "it cannot be written: it is not TOML"))
}

/// The text of `document`, which was made of `text` and changed. A document writes dotted keys of one table together;
/// where one place alone was changed, everything else stays in the order of `text` all the same.
pub fn in_place(text: &str, document: &DocumentMut) -> String {
    let after = document.to_string();
    let normal = |text: &str| text.parse::<DocumentMut>().map(|document| document.to_string());
    let Ok(before) = normal(text) else { return after };
    if before == text {
        return after;
    }
    let [old, new] = [&before, &after].map(|text| text.split_inclusive('\n').collect::<Vec<_>>());
    let same = |pairs: &mut dyn Iterator<Item = (&&str, &&str)>| pairs.take_while(|(a, b)| a == b).count();
    let head = same(&mut old.iter().zip(&new));
    let tail = same(&mut old.iter().rev().zip(new.iter().rev())).min(old.len().min(new.len()) - head);
    let (gone, come) = (&old[head..old.len() - tail], &new[head..new.len() - tail]);
    // What is only added stands after the line that it followed.
    let anchor = if gone.is_empty() { head.saturating_sub(1)..head } else { head..head };
    let (sought, put) = ([&old[anchor.clone()], gone].concat(), [&old[anchor], come].concat());
    let own: Vec<&str> = text.split_inclusive('\n').collect();
    let places =
        (0..own.len()).filter(|at| own[*at..].starts_with(&sought) && !(sought.is_empty() && *at > 0));
    let tried = places.map(|at| [&own[..at], &put, &own[at + sought.len()..]].concat().concat());
    tried.into_iter().find(|text| normal(text).as_ref() == Ok(&after)).unwrap_or(after.clone())
}

/// The table `builds.BUILD.KIND.NAME`; where only `KIND.NAME` exists, that is copied there first. `None`
/// where neither exists.
pub fn own<'d>(
    document: &'d mut DocumentMut,
    build: &str,
    kind: &str,
    name: &str,
) -> Option<&'d mut dyn TableLike> {
    let common = document.get(kind).and_then(|item| item.get(name)).cloned();
    let things = things(document, build, kind)?;
    if things.get(name).is_none() {
        things.insert(name, common?);
    }
    things.get_mut(name)?.as_table_like_mut()
}

/// The table `builds.BUILD.KIND`, created where it does not exist.
pub fn things<'d>(document: &'d mut DocumentMut, build: &str, kind: &str) -> Option<&'d mut dyn TableLike> {
    let build = document.get_mut("builds")?.get_mut(build)?.as_table_like_mut()?;
    if build.get(kind).is_none() {
        let mut table = Table::new();
        table.set_implicit(true);
        build.insert(kind, Item::Table(table));
    }
    build.get_mut(kind)?.as_table_like_mut()
}

/// A new, empty table `builds.BUILD.KIND.NAME`; `None` where there is no such build.
pub fn new<'d>(
    document: &'d mut DocumentMut,
    build: &str,
    kind: &str,
    name: &str,
) -> Option<&'d mut dyn TableLike> {
    let things = things(document, build, kind)?;
    things.insert(name, Item::Table(Table::new()));
    things.get_mut(name)?.as_table_like_mut()
}

/// Sets a value and keeps the spaces and comments around the old one.
pub fn set(table: &mut dyn TableLike, key: &str, mut value: Text) {
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = old.decor().clone();
    }
    table.insert(key, Item::Value(value));
}

/// Calls `act` on item `number` of the list at `key`, in whichever way it is written; `None` where there is none.
pub fn on_item(
    table: &mut dyn TableLike,
    key: &str,
    number: usize,
    act: impl FnOnce(&mut dyn TableLike),
) -> Option<()> {
    match table.get_mut(key)? {
        Item::Value(Text::Array(array)) => act(array.get_mut(number)?.as_inline_table_mut()?),
        Item::ArrayOfTables(tables) => act(tables.get_mut(number)?),
        _ => return None,
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIXED: &str = "[a]\nx.one = 1 # first\ny.one = 1\nx.two = 2\n[b]\nx.two = 2\n";

    #[test]
    fn what_is_not_changed_keeps_its_order() {
        let changed = |act: &dyn Fn(&mut DocumentMut)| {
            let mut document: DocumentMut = MIXED.parse().unwrap();
            assert_ne!(document.to_string(), MIXED, "written as it stands, it is in another order");
            act(&mut document);
            in_place(MIXED, &document)
        };
        let set_in = |table: &'static str, key: &'static str| {
            changed(&move |document| {
                let own =
                    document[table].as_table_like_mut().and_then(|t| t.get_mut("x")?.as_table_like_mut());
                set(own.unwrap(), key, 5.into());
            })
        };
        assert_eq!(set_in("a", "two"), MIXED.replacen("x.two = 2", "x.two = 5", 1));
        assert_eq!(set_in("b", "two"), MIXED.replace("[b]\nx.two = 2", "[b]\nx.two = 5"));
        assert_eq!(set_in("a", "one"), MIXED.replace("x.one = 1", "x.one = 5"));
        let added = changed(&|document| {
            document.insert("c", Item::Value(1.into()));
        });
        assert_eq!(added, format!("c = 1\n{MIXED}"));
        let gone = changed(&|document| {
            document.remove("b");
        });
        assert_eq!(gone, MIXED.split("[b]").next().unwrap());
    }
}
