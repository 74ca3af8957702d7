//! The simulated table: controller, wire, relays, power source, sheet, and a ledger of what the
//! arc did to the metal. It never imports the run sequence: it is the second opinion.
//!
//! Everything but `shell` is pure, on virtual time.

pub mod harness;
