//! The service: everything that touches the world. It carries out what the pure crates decide.

pub mod arc_volts;
mod archive;
pub mod assemble;
pub mod backup;
pub mod board;
pub mod cli;
pub mod command;
pub mod commission;
pub mod config;
pub mod files;
pub mod guard_thread;
pub mod job;
pub mod journal;
pub mod library;
pub mod outputs;
pub mod panel;
pub mod pins;
pub mod port;
pub mod practice;
pub mod recording;
pub mod review;
pub mod runner;
pub mod seldom;
pub mod serve;
pub mod traces;
pub mod web;
