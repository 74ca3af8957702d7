//! Whole-service tests: the real binary over a real pseudo-terminal against the simulated table.

mod article;
#[path = "../simulation/chance.rs"]
#[allow(dead_code, reason = "the random jobs draw more from it")]
mod chance;
mod chart;
mod commission;
mod cutting;
mod faults;
mod headline;
mod journal;
mod killed;
mod kills;
mod large;
mod making;
mod mutations;
mod parts;
mod plan;
mod replay;
mod review;
mod rig;
mod rules;
mod schema;
mod service;
mod vetting;
