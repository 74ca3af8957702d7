//! Whole-service tests: the real binary over a real pseudo-terminal against the simulated table.

mod cutting;
mod faults;
mod journal;
mod killed;
mod kills;
mod mutations;
mod parts;
mod replay;
mod rig;
mod rules;
mod vetting;
