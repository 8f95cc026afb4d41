#![no_main]

#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::a_row_is_judged_as_its_design(data));
