//! From a program's text, a setup and what the machine file says to one placed program: which chart
//! row and kerf, where the cuts lie on the sheet, how long it takes, what it asks of air, source and
//! torch parts, where the run is to stand meanwhile; and what vetting is told of all that.
//!
//! Pure: no clock, file, thread or socket. A [`Draft`] is made first; [`Draft::judging`] and
//! [`Predicted::new`] do not wait for each other, so that whoever has two threads may run them side
//! by side; [`Prepared::new`] puts together what they found. A [`Prepared`] program that nothing
//! bars is sealed into a [`Job`]: the only way to make one.

mod draft;
mod job;
pub mod make;
mod placed;
mod plan;
mod predicted;
mod prepared;
mod row;
mod stops;
mod table;

pub use draft::Draft;
pub use job::{Job, JobCut, JobElement, Stock};
pub use placed::sheet_for;
pub use plan::{
    AirPlan, Cost, DutyPlan, Hottest, JobPlan, Moment, Pause, WearPlan, page as plan_page, plan,
};
pub use predicted::Predicted;
pub use prepared::{NotSealed, Prepared};
pub use stops::{Pauses, PlannedStop, StopFor};
pub use table::{Prices, Table};
