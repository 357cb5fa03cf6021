//! The text of a design changed in place: what a build states itself is changed there, what is
//! common to all builds is copied into the build first; remarks and order stay.

use crate::problem::{Place, Problem};
use toml_edit::{DocumentMut, Item, Table, TableLike, Value as Text};

/// `text`, the design read from `file`, ready to be changed.
///
/// # Errors
/// Text that is no TOML.
pub fn editable(file: &str, text: &str) -> Result<DocumentMut, Problem> {
    text.parse().map_err(|_| Problem::error(Place::file(file), "it cannot be written: it is not TOML"))
}

/// The table `builds.BUILD.KIND.NAME`; one that only stands as `KIND.NAME` is copied there. `None`
/// where it stands nowhere.
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

/// The table `builds.BUILD.KIND`, made where there is none.
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

/// Sets a value, with the spaces and remarks that stood around the old one.
pub fn set(table: &mut dyn TableLike, key: &str, mut value: Text) {
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = old.decor().clone();
    }
    table.insert(key, Item::Value(value));
}
