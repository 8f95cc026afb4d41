#![no_main]

#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::any_text_is_judged_twice_alike(data));
