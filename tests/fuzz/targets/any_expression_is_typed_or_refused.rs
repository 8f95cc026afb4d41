#![no_main]

#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::any_expression_is_typed_or_refused(data));
