//! The whole simulated table, with a little panel that speaks `plain`.

mod cutting;
mod faults;
mod metal;
mod panel;
mod wire;
mod wrongs;
