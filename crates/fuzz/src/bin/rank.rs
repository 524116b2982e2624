//! Ranking: shares of one, whatever the order.
#![cfg_attr(not(test), no_main)]

#[cfg(not(test))]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::rank(data));
