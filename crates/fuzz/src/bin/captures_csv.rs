//! CSV of captures.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::captures_csv(data));
