//! Decoding by columns against the rules, one at a time.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::decode(data));
