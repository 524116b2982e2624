//! What the engine says of its work, on standard error.

use log::{LevelFilter, Log, Metadata, Record};

struct Said;

impl Log for Said {
    fn enabled(&self, _: &Metadata<'_>) -> bool {
        true
    }

    fn log(&self, record: &Record<'_>) {
        eprintln!("holdover-sql: {}: {}", record.level().as_str().to_lowercase(), record.args());
    }

    fn flush(&self) {}
}

/// Says troubles, or everything.
pub fn start(verbose: bool) {
    let level = if verbose { LevelFilter::Info } else { LevelFilter::Warn };
    if log::set_logger(&Said).is_ok() {
        log::set_max_level(level);
    }
}
