//! The simulated table: controller, wire, relays, power source, sheet, and a ledger of what the
//! arc did to the metal. It never imports the run sequence: it is the second opinion.
//!
//! Everything but `shell` is pure, on virtual time.

#[cfg(test)]
mod acceptance;
mod chance;
mod controller;
mod duty;
mod edge;
mod energy;
mod faults;
mod frame;
pub mod harness;
mod ledger;
mod metal;
mod meter;
mod motion;
mod outputs;
mod relays;
mod rough;
mod settings;
mod sheet;
pub mod shell;
mod source;
mod supplies;
mod table;
mod wire;
mod wiring;

pub use frame::crc16;
pub use metal::Metal;
pub use relays::{RelayWrong, SenseWrong};
pub use settings::{TableSettings, Tongue};
pub use table::{FaultRefused, Table};
