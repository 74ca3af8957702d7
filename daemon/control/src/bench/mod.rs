//! A small table for tests: a stand-in controller with constant speeds and no mishaps but those
//! that a test orders, the wires, the guard, and a loop that plays the service. It is not the
//! simulator: it only lets stories be told to the machine through its own front door.

mod admitting;
mod aging;
mod causes;
mod changes;
mod conditions;
mod finding;
mod glass;
mod hold;
mod levels;
mod limits;
mod planned;
mod ready;
mod records;
mod recovery;
mod rig;
mod rows;
mod self_testing;
mod soup;
mod states;
mod stories;
mod table;

/// The check sum of a line of the dialect `plain`.
fn crc(body: &[u8]) -> u16 {
    let mut c: u16 = 0xFFFF;
    for &b in body {
        c ^= u16::from(b) << 8;
        for _ in 0..8 {
            c = if c & 0x8000 == 0 {
                c << 1
            } else {
                (c << 1) ^ 0x1021
            };
        }
    }
    c
}
