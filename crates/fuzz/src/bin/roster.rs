//! Rosters, planned and proved.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::roster(data));
