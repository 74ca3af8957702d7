//! Charts, cycle settings and the sums of the trade.
//!
//! Pure: no clock, no I/O. Inside everything is mm, s, mm/s, V, A, L (free air) and bar; charts
//! write feeds in mm/min as the trade does.

mod chart;
mod cycle;
mod time;

pub use chart::{Chart, ChartError, ChartRow, Choice, check_rows, choose};
pub use cycle::{CycleSettings, MotionLimits};
pub use time::{
    CutShape, JobTime, Plan, SourceTimes, arc_mm_s, corner_mm_s, estimate, path_s, stretch_s,
};
