//! Charts, cycle settings and the sums of the trade.
//!
//! Pure: no clock, no I/O. Inside everything is mm, s, mm/s, V, A, L (free air) and bar; charts
//! write feeds in mm/min as the trade does.

mod chart;
mod cycle;

pub use chart::ChartRow;
pub use cycle::{CycleSettings, MotionLimits};
