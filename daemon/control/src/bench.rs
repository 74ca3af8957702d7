//! A small table for tests: a stand-in controller with constant speeds and no mishaps but those
//! that a test orders, the wires, the guard, and a loop that plays the service. It is not the
//! simulator: it only lets stories be told to the machine through its own front door.

mod admitting;
mod aging;
mod causes;
mod changes;
mod commissioning;
mod conditions;
mod finding;
mod glass;
mod hold;
mod levels;
mod limits;
mod outputs;
mod planned;
mod ready;
mod records;
mod recovery;
mod rig;
mod rows;
mod self_testing;
mod soup;
mod states;
mod steps;
mod stories;
mod table;
mod volts;
