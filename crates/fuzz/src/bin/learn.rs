//! Learning, from layouts that are known.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::learn(data));
