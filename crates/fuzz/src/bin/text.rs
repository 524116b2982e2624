//! Captures, spans and raw card data as text.
#![cfg_attr(not(test), no_main)]

#[cfg(not(test))]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::text(data));
