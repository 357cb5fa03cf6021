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
fn things<'d>(document: &'d mut DocumentMut, build: &str, kind: &str) -> Option<&'d mut dyn TableLike> {
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
