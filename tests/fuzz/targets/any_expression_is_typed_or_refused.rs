#![no_main]

#[expect(dead_code, reason = "each target tries one of them")]
#[path = "../invariants.rs"]
mod invariants;

libfuzzer_sys::fuzz_target!(|data: &[u8]| invariants::any_expression_is_typed_or_refused(data));
