//! What draws make of an answer, and at which amplitude it holds, in words.

use super::super::block::Block;
use crate::quantity::{Kind, Spread, show};
use crate::study::spread::Answered;

/// At which amplitude losses are taken, where any depends on it.
pub(super) fn holds_at(amplitude: Option<f64>) -> Option<Block> {
    let amplitude = show(amplitude?, Kind::Length);
    Some(Block::Note(format!(
        "Losses of joints and feet that are stated over amplitude are taken at {amplitude}; the answer holds there."
    )))
}

/// Half of the draws lie below the value of it.
pub(super) fn drawn(answer: &Answered) -> Option<Spread> {
    let Spread { low, high, median, .. } = answer.spread;
    Some(Spread::between(median?, low, high))
}
