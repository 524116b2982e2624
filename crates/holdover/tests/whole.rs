//! How much of a long simulation is run: with `HOLDOVER_WHOLE=1`, as `.ci/run`
//! sets it, all of it; otherwise a part, so that nobody waits for it.

/// One of so many (judgement, no source: then the tests take a minute or two).
const PART: u64 = 5;

/// Whether all is run.
pub fn whole() -> bool {
    std::env::var_os("HOLDOVER_WHOLE").is_some()
}

/// How many of `cases` are run.
pub fn some(cases: u64) -> u64 {
    if whole() { cases } else { cases.div_ceil(PART) }
}
