//! Choices made from the bytes that a fuzzer varies.

use arbitrary::Unstructured;

/// Bytes consumed one after another; once they are used up every choice is the first.
pub struct Choices<'a>(Unstructured<'a>);

impl<'a> Choices<'a> {
    pub fn new(bytes: &'a [u8]) -> Choices<'a> {
        Choices(Unstructured::new(bytes))
    }

    pub fn byte(&mut self) -> u8 {
        self.0.arbitrary().unwrap_or_default()
    }

    pub fn number(&mut self) -> u32 {
        self.0.arbitrary().unwrap_or_default()
    }

    /// A number below `count`, which must not be 0.
    pub fn below(&mut self, count: usize) -> usize {
        self.0.choose_index(count).unwrap_or_default()
    }

    pub fn pick<'l, T>(&mut self, list: &'l [T]) -> &'l T {
        &list[self.below(list.len())]
    }

    /// True once in `times`.
    pub fn once_in(&mut self, times: usize) -> bool {
        self.below(times) == times - 1
    }
}
