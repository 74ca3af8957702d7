//! Any bytes as a setup and a program: the whole vet answers.
#![no_main]

#[path = "../../hostile/invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    invariants::vets(bytes);
});
