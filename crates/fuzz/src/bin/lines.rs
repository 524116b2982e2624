//! Files of captures, a line each.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::lines(data));
