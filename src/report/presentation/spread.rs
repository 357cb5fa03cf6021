//! Limits from draws, and the amplitude at which losses are taken.

use super::super::block::Block;
use stillbed_input::quantity::{Kind, Spread, show};
use stillbed_study::spread::AnswerSpread;

/// A note with the amplitude at which losses are taken, if any loss depends on it.
pub(super) fn holds_at(amplitude: Option<f64>) -> Option<Block> {
    let amplitude = show(amplitude?, Kind::Length);
    Some(Block::Note(format!(
        "Losses of joints and feet that are stated over amplitude are taken at {amplitude}; the answer holds there."
    )))
}

/// The spread of the draws around their median.
pub(super) fn drawn(answer: &AnswerSpread) -> Option<Spread> {
    let Spread { low, high, median, .. } = answer.spread;
    Some(Spread::between(median?, low, high))
}
