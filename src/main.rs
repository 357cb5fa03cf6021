//! The `stillbed` command.

fn main() {}
