//! How random tests are run: seeds that once failed are kept in `tests/seeds`, and are tried first.

use proptest::test_runner::{Config, FileFailurePersistence};

/// So many cases, or as many as `PROPTEST_CASES` asks for, after those of the seeds that are kept.
pub fn cases(usual: u32) -> Config {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|text| text.parse().ok());
    let cases = asked.unwrap_or(usual);
    let kept = FileFailurePersistence::SourceParallel(concat!("../tests/seeds/", env!("CARGO_PKG_NAME")));
    Config { cases, failure_persistence: Some(Box::new(kept)), ..Config::default() }
}
