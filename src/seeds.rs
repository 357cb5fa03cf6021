//! How random tests are run: seeds that once failed are kept in `tests/seeds`, and are tried first.

use proptest::test_runner::{Config, FileFailurePersistence};

/// So many cases, after those of the seeds that are kept.
pub fn cases(cases: u32) -> Config {
    let kept = FileFailurePersistence::SourceParallel("tests/seeds");
    Config { cases, failure_persistence: Some(Box::new(kept)), ..Config::default() }
}
