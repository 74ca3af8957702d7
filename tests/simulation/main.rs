//! The whole stack in one thread on virtual time: control, the guard's rules, the link and the
//! simulated table, with the automatic operator. No real clock, no pseudo-terminal, no thread.

mod acceptance;
mod chance;
mod hand;
mod hold;
mod jobs;
mod kept;
mod late;
mod lost;
mod metal;
mod outputs;
mod pairs;
mod planned;
mod quill;
mod random;
mod relays;
mod rough;
mod rows;
mod second;
mod sensing;
mod trial;
mod watch;
mod wire;
mod wiring;
mod world;
