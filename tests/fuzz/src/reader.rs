//! Any bytes as a program: reading answers.
#![no_main]

#[path = "../../hostile/invariants.rs"]
#[allow(dead_code, reason = "this target reads only")]
mod invariants;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    invariants::reads(bytes);
});
