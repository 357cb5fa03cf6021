//! The targets that builds miss, as sentences.

use super::super::block::Block;
use stillbed_study::misses::Misses;

/// One sentence per missed target; `None` if none is missed.
pub(super) fn missed(misses: &Misses) -> Option<Block> {
    let sentences = misses.list.iter();
    let sentences: Vec<String> = sentences
        .map(|miss| format!("{} misses a target: {}.", miss.build.replace('_', " "), miss.sentence()))
        .collect();
    (!sentences.is_empty()).then(|| Block::Note(sentences.join(" ")))
}
