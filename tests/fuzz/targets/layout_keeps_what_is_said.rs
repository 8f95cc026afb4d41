#![no_main]

#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::layout_keeps_what_is_said(data));
