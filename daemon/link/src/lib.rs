//! How a motion controller is spoken to over a serial line.
//!
//! Pure: bytes and moments come in, bytes, words and deadlines go out. Knows dialects (TOML data),
//! framing, line checks, numbering, how much may be in flight and what to say again. Knows nothing
//! of jobs, torches or holds.

mod answer;
mod check;
mod checking;
mod dialect;
mod flight;
mod frame;
mod lacks;
mod modal;
mod raw;
mod saying;
mod session;
mod size;
mod template;
mod trial;
mod wire;
mod words;

pub use check::{Check, Crc16, crc16};
pub use dialect::{Capability, Dialect, DialectError, PLAIN, UNSENT_WITH_ARC};
pub use lacks::{Lack, LackPlace};
pub use saying::needs;
pub use session::{LinkCounters, Outgoing, Session};
pub use size::Carried;
pub use trial::{CapabilityFound, Findings, LineHeard, Trial, Tried};
pub use words::{Command, Doing, Stamped, StampedInput, Status, TakeAway, Ticket, Word};
