//! How a motion controller is spoken to over a serial line.
//!
//! Pure: bytes and moments come in, bytes, words and deadlines go out. Knows dialects (TOML data),
//! framing, line checks, numbering, how much may be in flight and what to say again. Knows nothing
//! of jobs, torches or holds.

mod words;

pub use words::{Command, Doing, Status, TakeAway, Ticket, Word};

/// A parsed dialect file.
#[derive(Clone, Debug)]
pub struct Dialect {}
