//! The run sequence, the guard's rules, admission of requests and the event catalogue.
//!
//! One machine: [`Machine::step`] takes a moment and an [`Input`] and returns [`Effects`]. It is
//! deterministic and has no clock, file, socket, thread or randomness: time and events come in,
//! effects go out.

mod ask;
mod cause;
pub mod commissioning;
pub mod datum;
pub mod event;
pub mod guard;
mod io;
mod likely;
mod machine;
mod outputs;
mod parts;
mod plane;
mod plans;
pub mod resume;
mod settings;
mod signals;
pub mod trace;
pub mod view;
pub mod words;

pub use ask::{Answer, Ask, AskId, CheckId, HandAxis, HandMove, HandPlace, PressId, ResumeFrom};
pub use cause::{AlarmLevel, Cause, Detail};
pub use commissioning::Commissioning;
pub use event::{Event, Outcome, Restored, Severity, Unfinished};
pub use io::{Effect, Effects, Input, RecordId};
pub use likely::{Likely, Stopped, likely};
pub use machine::Machine;
pub use outputs::{Output, OutputLevels, OutputSettings, Tone};
pub use parts::{Counts, Part, PartsUsed, SetTag, Used};
pub use plans::plans;
pub use resume::{Plan, Plans, Splice};
pub use settings::{ArcEdge, EstopProof, Settings};
pub use signals::{Moments, Opened, Seen, Signals};
pub use view::View;

#[cfg(test)]
mod bench;
