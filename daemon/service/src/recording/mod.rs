//! The recorder and its other side: a run on disk is fed through the machine again.
//!
//! **For**: arguing about a run, years later: the same inputs at the same moments must give the same
//! effects, byte for byte. `control` has no clock, file or chance, so a difference means that the
//! recording was changed, or that `control` decides otherwise than it did.
//! **What is kept**: one file for each start of the panel (`recordings/start-N.txt`, N as in the
//! journal), because what a run does hangs on all that the machine has been told since it was
//! made: settings, dialect, what the journal restored, then every input with its moment and every
//! effect in full, so that a difference can be shown. One line a step, text, see [`form`].
//! **Never**: makes the machine wait, displaces an event of the journal, or grows without bound.
//! **If the process is killed**: the writer of the journal writes the recording before each commit,
//! so no event is on the disk without the step that made it. If the power goes, the end of the
//! recording may be gone: the replay says so and fails.
//!
//! The core's types are kept by their own serde forms inside a shape that is this module's: the
//! events in them are bound by the journal already, and a second copy of every type would have to
//! be kept true by hand. The heading carries the version of the shape.

pub mod form;
mod replay;
mod tape;

pub use replay::{Difference, Equal, Fault, replay, replay_file};
pub use tape::{Recorder, Reel, Tape, file, folder};
