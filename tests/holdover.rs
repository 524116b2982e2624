//! Running the binary.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

/// The repository's root.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The binary, run in the repository's root, without colour or a terminal.
pub fn command() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_holdover"));
    command.current_dir(root());
    for name in ["NO_COLOR", "CLICOLOR_FORCE", "COLUMNS"] {
        command.env_remove(name);
    }
    command
}

/// What a run printed and how it ended.
pub struct Run {
    pub stdout: String,
    pub stderr: String,
    pub code: i32,
}

impl Run {
    fn of(output: Output) -> Run {
        Run {
            stdout: String::from_utf8(output.stdout).expect("output is UTF-8"),
            stderr: String::from_utf8(output.stderr).expect("errors are UTF-8"),
            code: output.status.code().expect("no signal ended it"),
        }
    }

    /// Standard output as JSON Lines.
    pub fn json(&self) -> Vec<Value> {
        self.stdout.lines().map(|line| serde_json::from_str(line).expect(line)).collect()
    }
}

/// Runs with arguments.
pub fn run<S: AsRef<std::ffi::OsStr>>(args: impl IntoIterator<Item = S>) -> Run {
    Run::of(command().args(args).stdin(Stdio::null()).output().unwrap())
}

/// Runs with bytes on standard input, as a pipe.
pub fn feed<S: AsRef<std::ffi::OsStr>>(args: impl IntoIterator<Item = S>, input: &[u8]) -> Run {
    let mut child = command()
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    // A child that stops reading early is no failure of ours.
    let writer = std::thread::spawn(move || _ = stdin.write_all(&input));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    Run::of(output)
}

/// A file that is gone with the directory.
pub fn file(dir: &tempfile::TempDir, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
    let path = dir.path().join(name);
    std::fs::write(&path, text).unwrap();
    path
}
