//! The targets that builds miss, in words.

use super::super::block::Block;
use crate::study::misses::Misses;

/// One sentence a miss; `None` where none is missed.
pub(super) fn missed(misses: &Misses) -> Option<Block> {
    let told = misses.list.iter();
    let told: Vec<String> = told
        .map(|miss| format!("{} misses a target: {}.", miss.build.replace('_', " "), miss.sentence()))
        .collect();
    (!told.is_empty()).then(|| Block::Note(told.join(" ")))
}
