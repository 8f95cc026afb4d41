#![no_main]

#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::every_answer_ends(data));
