//! Any bytes as a setup and a program: the whole vet answers.
#![no_main]

#[path = "../../../daemon/program/tests/invariants/mod.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    invariants::vets(bytes);
});
