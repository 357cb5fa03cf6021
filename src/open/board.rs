//! What the page shows, by field. A page asks for what changed since it last looked and waits until something has, so
//! that it is told at once, and a slow one is told the last state alone.

use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

/// Fields that a page shows.
#[derive(Debug, Default)]
pub struct Board {
    shown: Mutex<Shown>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct Shown {
    /// Number of the last change.
    serial: u64,
    fields: BTreeMap<&'static str, (u64, Value)>,
}

impl Board {
    /// Shows `fields` together, where `valid` still holds at that moment.
    pub fn show_if(&self, valid: impl FnOnce() -> bool, fields: Vec<(&'static str, Value)>) {
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        if !valid() {
            return;
        }
        let serial = shown.serial + 1;
        shown.serial = serial;
        for (name, value) in fields {
            shown.fields.insert(name, (serial, value));
        }
        self.changed.notify_all();
    }

    /// Shows `fields` together.
    pub fn show(&self, fields: Vec<(&'static str, Value)>) {
        self.show_if(|| true, fields);
    }

    /// What a field shows; null where it shows nothing.
    pub fn field(&self, name: &str) -> Value {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.fields.get(name).map_or(Value::Null, |(_, value)| value.clone())
    }

    /// The fields that changed after the change number `after`, and `serial`, the number of the last change; waits
    /// `patience` for one. A number beyond the last change is that of an earlier run: then all fields.
    pub fn after(&self, after: u64, patience: Duration) -> Value {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        let unchanged = |shown: &mut Shown| shown.serial == after;
        let waited = self.changed.wait_timeout_while(shown, patience, unchanged);
        let (shown, _) = waited.unwrap_or_else(PoisonError::into_inner);
        let after = if after > shown.serial { 0 } else { after };
        let newer = shown.fields.iter().filter(|(_, (serial, _))| *serial > after);
        let mut fields: Map<String, Value> =
            newer.map(|(name, (_, value))| (name.to_string(), value.clone())).collect();
        fields.insert("serial".to_string(), shown.serial.into());
        Value::Object(fields)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const AT_ONCE: Duration = Duration::ZERO;

    #[test]
    fn a_page_is_told_what_changed_since() {
        let board = Board::default();
        board.show(vec![("text", json!("a")), ("verdict", json!("none"))]);
        assert_eq!(board.after(0, AT_ONCE), json!({ "serial": 1, "text": "a", "verdict": "none" }));
        board.show(vec![("verdict", json!("cast"))]);
        assert_eq!(board.after(1, AT_ONCE), json!({ "serial": 2, "verdict": "cast" }));
        assert_eq!(board.after(2, AT_ONCE), json!({ "serial": 2 }));
        assert_eq!(board.after(9, AT_ONCE)["text"], "a", "a page of an earlier run learns everything");
        board.show_if(|| false, vec![("verdict", json!("old"))]);
        assert_eq!(board.after(2, AT_ONCE), json!({ "serial": 2 }));
    }

    #[test]
    fn who_waits_is_told_at_once() {
        let board = Board::default();
        std::thread::scope(|scope| {
            let waiting = scope.spawn(|| board.after(0, Duration::from_secs(60)));
            board.show(vec![("text", json!("a"))]);
            assert_eq!(waiting.join().unwrap()["text"], "a");
        });
    }
}
