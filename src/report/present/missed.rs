//! The targets that builds miss, as sentences.

use super::super::block::Block;
use stillbed_study::misses::Misses;

/// One sentence per missed target; `None` if none is missed.
pub(super) fn missed(misses: &Misses) -> Option<Block> {
    let told = misses.list.iter();
    let told: Vec<String> = told
        .map(|miss| format!("{} misses a target: {}.", miss.build.replace('_', " "), miss.sentence()))
        .collect();
    (!told.is_empty()).then(|| Block::Note(told.join(" ")))
}
