//! Drawers of cards, and the tables learnt from them.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::found(data));
