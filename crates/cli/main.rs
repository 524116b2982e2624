//! The command `holdover`.

use std::process::ExitCode;

fn main() -> ExitCode {
    // This thread works along, so that one thread is one thread. Where threads
    // cannot be had, the work is done all the same.
    let _ = rayon::ThreadPoolBuilder::new().use_current_thread().build_global();
    holdover_cli::run(std::env::args_os())
}
