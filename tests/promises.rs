//! The safety promises of DEVELOPERS.md, tested from outside of the crates that keep them: only
//! public types, and a second, simpler opinion of what must hold after any sequence of events.
//!
//! Tests beside the code tell the stories; these try to break the promise.

#[path = "promises/guard.rs"]
mod guard;
#[path = "promises/seals.rs"]
mod seals;
#[path = "promises/wire.rs"]
mod wire;
