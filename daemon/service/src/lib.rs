//! The service: everything that touches the world. It carries out what the pure crates decide.

pub mod config;
pub mod job;
pub mod panel;
