//! Finds the first number in an answer that is not finite, by serialising it without writing anything.

use serde::Serialize;
use serde::ser::{self, SerializeMap, SerializeSeq, SerializeStruct, Serializer};
use std::fmt;

/// Path of the first number in `value` that is not finite, such as `builds.0.mass_kg`; `None` if all are
/// finite.
pub fn first_not_finite<T: Serialize + ?Sized>(value: &T) -> Option<String> {
    value.serialize(Walk).err().map(|found| found.path())
}

/// A number that is not finite, as the keys that lead to it, innermost first.
#[derive(Debug)]
struct Found {
    steps: Vec<String>,
}

impl Found {
    fn under(mut self, step: impl fmt::Display) -> Found {
        self.steps.push(step.to_string());
        self
    }

    fn path(mut self) -> String {
        self.steps.reverse();
        self.steps.join(".")
    }
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "not finite: {}", self.steps.join(" of "))
    }
}

impl std::error::Error for Found {}

impl ser::Error for Found {
    fn custom<T: fmt::Display>(message: T) -> Found {
        Found { steps: vec![message.to_string()] }
    }
}

struct Walk;

/// Position within a list, map or struct.
struct Parts {
    index: usize,
    key: String,
}

type Step = Result<(), Found>;

impl Parts {
    fn start() -> Result<Parts, Found> {
        Ok(Parts { index: 0, key: String::new() })
    }

    fn item<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        self.index += 1;
        value.serialize(Walk).map_err(|found| found.under(self.index - 1))
    }
}

fn finite(is_finite: bool) -> Step {
    if is_finite { Ok(()) } else { Err(Found { steps: Vec::new() }) }
}

impl Serializer for Walk {
    type Ok = ();
    type Error = Found;
    type SerializeSeq = Parts;
    type SerializeTuple = Parts;
    type SerializeTupleStruct = Parts;
    type SerializeTupleVariant = Parts;
    type SerializeMap = Parts;
    type SerializeStruct = Parts;
    type SerializeStructVariant = Parts;

    fn serialize_f64(self, v: f64) -> Step {
        finite(v.is_finite())
    }
    fn serialize_f32(self, v: f32) -> Step {
        finite(v.is_finite())
    }
    fn serialize_bool(self, _: bool) -> Step {
        Ok(())
    }
    fn serialize_i8(self, _: i8) -> Step {
        Ok(())
    }
    fn serialize_i16(self, _: i16) -> Step {
        Ok(())
    }
    fn serialize_i32(self, _: i32) -> Step {
        Ok(())
    }
    fn serialize_i64(self, _: i64) -> Step {
        Ok(())
    }
    fn serialize_u8(self, _: u8) -> Step {
        Ok(())
    }
    fn serialize_u16(self, _: u16) -> Step {
        Ok(())
    }
    fn serialize_u32(self, _: u32) -> Step {
        Ok(())
    }
    fn serialize_u64(self, _: u64) -> Step {
        Ok(())
    }
    fn serialize_char(self, _: char) -> Step {
        Ok(())
    }
    fn serialize_str(self, _: &str) -> Step {
        Ok(())
    }
    fn serialize_bytes(self, _: &[u8]) -> Step {
        Ok(())
    }
    fn serialize_none(self) -> Step {
        Ok(())
    }
    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Step {
        value.serialize(Walk)
    }
    fn serialize_unit(self) -> Step {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Step {
        Ok(())
    }
    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> Step {
        Ok(())
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Step {
        value.serialize(Walk)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Step {
        value.serialize(Walk).map_err(|found| found.under(variant))
    }
    fn serialize_seq(self, _: Option<usize>) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_tuple(self, _: usize) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Parts, Found> {
        Parts::start()
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Parts, Found> {
        Parts::start()
    }
}

impl SerializeSeq for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        self.item(value)
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl ser::SerializeTuple for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        self.item(value)
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl ser::SerializeTupleStruct for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_field<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        self.item(value)
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl ser::SerializeTupleVariant for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_field<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        self.item(value)
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl SerializeMap for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Step {
        self.key = serde_json::to_string(key).unwrap_or_default().trim_matches('"').to_string();
        Ok(())
    }
    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Step {
        value.serialize(Walk).map_err(|found| found.under(&self.key))
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl SerializeStruct for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_field<T: Serialize + ?Sized>(&mut self, key: &'static str, value: &T) -> Step {
        value.serialize(Walk).map_err(|found| found.under(key))
    }
    fn end(self) -> Step {
        Ok(())
    }
}

impl ser::SerializeStructVariant for Parts {
    type Ok = ();
    type Error = Found;
    fn serialize_field<T: Serialize + ?Sized>(&mut self, key: &'static str, value: &T) -> Step {
        value.serialize(Walk).map_err(|found| found.under(key))
    }
    fn end(self) -> Step {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[derive(Serialize)]
    enum Choice {
        One(f64),
        Two { deep: Vec<Option<f64>> },
    }

    #[derive(Serialize)]
    struct Answer {
        name: &'static str,
        pair: (f32, f64),
        map: BTreeMap<&'static str, f64>,
        choice: Choice,
    }

    fn answer() -> Answer {
        Answer {
            name: "a",
            pair: (1.0, 2.0),
            map: [("k", 3.0)].into(),
            choice: Choice::Two { deep: vec![None, Some(4.0)] },
        }
    }

    #[test]
    fn finite_answers_pass() {
        assert_eq!(first_not_finite(&answer()), None);
    }

    #[test]
    fn the_first_that_is_not_finite_is_named_wherever_it_hides() {
        let path = |change: fn(&mut Answer)| {
            let mut answer = answer();
            change(&mut answer);
            first_not_finite(&answer)
        };
        assert_eq!(path(|a| a.pair.0 = f32::NAN).as_deref(), Some("pair.0"));
        assert_eq!(path(|a| a.pair.1 = f64::INFINITY).as_deref(), Some("pair.1"));
        assert_eq!(path(|a| a.map = [("k", f64::NAN)].into()).as_deref(), Some("map.k"));
        assert_eq!(path(|a| a.choice = Choice::One(f64::NAN)).as_deref(), Some("choice.One"));
        assert_eq!(
            path(|a| a.choice = Choice::Two { deep: vec![None, Some(f64::NAN)] }).as_deref(),
            Some("choice.deep.1")
        );
    }
}
