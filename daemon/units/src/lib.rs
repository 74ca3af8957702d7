//! What every other crate measures with: time on one clock, plane geometry in
//! millimetres, and how fast a path is passed along.
//!
//! Pure: no clock, no I/O, no threads, no randomness, nothing that depends on hash order.
//! Lengths are millimetres, angles are radians unless a name says degrees, times are microseconds
//! since the clock started.

pub mod geometry;
pub mod motion;
mod time;

pub use geometry::{Bounds, Placement, Point, Segment, point_along};
pub use time::Time;
