//! Changes random nodes of a design read as a TOML tree.

use super::choices::Choices;
use super::slips;
use toml::Value;

/// `text` with up to four changes; unchanged if it is not TOML.
pub fn changed(choices: &mut Choices, text: &str) -> String {
    let Ok(table) = toml::from_str::<toml::Table>(text) else { return text.to_string() };
    let mut root = Value::Table(table);
    for _ in 0..=choices.below(4) {
        let count = count(&root);
        let at = choices.below(count.max(1));
        let other = nth(&root, choices.below(count.max(1))).cloned();
        change(choices, &mut root, at, other);
    }
    match root {
        Value::Table(table) => toml::to_string(&table).unwrap_or_default(),
        _ => String::new(),
    }
}

/// Number of nodes below `value`.
fn count(value: &Value) -> usize {
    match value {
        Value::Table(table) => table.values().map(|own| 1 + count(own)).sum(),
        Value::Array(list) => list.iter().map(|own| 1 + count(own)).sum(),
        _ => 0,
    }
}

fn nth(value: &Value, at: usize) -> Option<&Value> {
    let mut left = at;
    let inner: Vec<&Value> = match value {
        Value::Table(table) => table.values().collect(),
        Value::Array(list) => list.iter().collect(),
        _ => Vec::new(),
    };
    for own in inner {
        if left == 0 {
            return Some(own);
        }
        left -= 1;
        let below = count(own);
        if left < below {
            return nth(own, left);
        }
        left -= below;
    }
    None
}

/// Changes the node `at`, counted as in [`count`]; `other` is another node.
fn change(choices: &mut Choices, value: &mut Value, at: usize, other: Option<Value>) {
    let mut left = at;
    match value {
        Value::Table(table) => {
            let keys: Vec<String> = table.keys().cloned().collect();
            for key in keys {
                let Some(own) = table.get_mut(&key) else { continue };
                if left == 0 {
                    match choices.below(10) {
                        0 => drop(table.remove(&key)),
                        1 => {
                            let own = table.remove(&key).unwrap_or(Value::Boolean(true));
                            table.insert(slips::text(choices, &key), own);
                        }
                        2 => {
                            let own = own.clone();
                            table.insert(format!("{key}_2"), own);
                        }
                        _ => *own = changed_value(choices, own, other),
                    }
                    return;
                }
                left -= 1;
                let below = count(own);
                if left < below {
                    return change(choices, own, left, other);
                }
                left -= below;
            }
        }
        Value::Array(list) => {
            for i in 0..list.len() {
                if left == 0 {
                    match choices.below(6) {
                        0 => drop(list.remove(i)),
                        1 => list.insert(i, list[i].clone()),
                        _ => list[i] = changed_value(choices, &list[i], other),
                    }
                    return;
                }
                left -= 1;
                let below = count(&list[i]);
                if left < below {
                    return change(choices, &mut list[i], left, other);
                }
                left -= below;
            }
        }
        _ => {}
    }
}

fn changed_value(choices: &mut Choices, own: &Value, other: Option<Value>) -> Value {
    match choices.below(12) {
        0 => other.unwrap_or(Value::Boolean(false)),
        1 => Value::Array(vec![own.clone(), own.clone()]),
        2 => Value::Integer(i64::from(choices.number() as i32)),
        3 => Value::Float(*choices.pick(&[
            0.0,
            -0.0,
            0.3,
            1.0,
            1e300,
            -1e300,
            5e-324,
            f64::NAN,
            f64::INFINITY,
        ])),
        _ => match own {
            Value::String(text) => Value::String(slips::text(choices, text)),
            Value::Float(number) => Value::Float(number * *choices.pick(&[0.5, 2.0, 0.0, -1.0, 1e-9, 1e9])),
            Value::Integer(number) => Value::Integer(number.wrapping_mul(i64::from(choices.byte()))),
            Value::Boolean(flag) => Value::Boolean(!flag),
            other => other.clone(),
        },
    }
}
