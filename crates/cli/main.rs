//! The command `holdover`.

use std::process::ExitCode;

fn main() -> ExitCode {
    holdover_cli::run(std::env::args_os())
}
