//! Charts, cycle settings and the sums of the trade.
//!
//! Pure: no clock, no I/O. Inside everything is mm, s, mm/s, V, A, L (free air) and bar; charts
//! write feeds in mm/min as the trade does.

mod air;
pub mod article;
mod between;
mod chart;
pub mod commissioning;
mod cycle;
mod duty;
mod energy;
mod heat;
mod plane;
mod skip;
mod time;
mod volts;
mod wear;

pub use air::{Air, AirForecast, Compressor, Flow, Low, Pressure, free_air_l, receiver_min};
pub use between::{Between, between};
pub use chart::{
    Chart, ChartError, ChartRow, Choice, Judged, Origin, Plausible, RowSource, check_rows, choose,
};
pub use cycle::{CycleSettings, MotionLimits};
pub use duty::{Duty, DutyForecast, continuous_amps, duty_at, in_ten_minutes_s};
pub use energy::{Balance, Metal, pierce_s};
pub use heat::{Heat, Patch};
pub use plane::{Plane, Touch};
pub use skip::{FREED_NEAR_MM, LastTouch, NextPierce};
pub use time::{ArcTime, CutShape, JobTime, Plan, SourceTimes, delayed, estimate, touch_off_s};
pub use units::motion::{arc_mm_s, corner_mm_s, stretch_s};
pub use volts::{ArcVolts, UNMOVING, VoltsInput, VoltsMeter, VoltsScale};
pub use wear::{Set, WearForecast};

/// A wait that a forecast asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// Before which cut, from 1.
    pub before_cut: usize,
    /// When it begins, s from the start of the run, earlier waits included.
    pub at_s: f64,
    /// How long, s.
    pub wait_s: f64,
}
