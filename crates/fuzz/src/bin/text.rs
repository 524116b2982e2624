//! Captures, spans and raw card data as text.
#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| holdover_fuzz::targets::text(data));
