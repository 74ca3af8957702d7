//! The `standclear` command.

fn main() {}
