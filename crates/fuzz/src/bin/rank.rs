//! Ranking: shares of one, whatever the order.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::rank(data));
