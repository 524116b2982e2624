//! Faults of the world around the command: a disk that is full, a file that
//! nobody may write or that goes away, a signal, a loss of power. Outputs are
//! whole or absent, inputs are never touched.
//!
//! Where strace(1) is installed, the real binary is killed, or its calls are
//! made to fail, at the real system calls. `HOLDOVER_FAULTS=1` demands it.

#[cfg(unix)]
mod changes;
mod outputs;
#[cfg(target_os = "linux")]
mod system_calls;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::holdover::root;

/// A copy of the demo in a directory of its own, and what was in it.
struct Job {
    dir: TempDir,
    before: BTreeMap<PathBuf, Vec<u8>>,
}

impl Job {
    fn new() -> Job {
        let dir = tempfile::tempdir().unwrap();
        for name in ["mill.toml", "reissued.csv", "found.toml", "drawer.csv", "survey.csv"] {
            std::fs::copy(root().join("fixtures/mill").join(name), dir.path().join(name)).unwrap();
        }
        let before = files(dir.path());
        Job { dir, before }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// The binary, run beside the files.
    fn command(&self) -> std::process::Command {
        let mut command = crate::holdover::command();
        command.current_dir(self.dir.path());
        command
    }

    /// Its inputs are as they were; what else there is.
    fn others(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut now = files(self.dir.path());
        for (path, bytes) in &self.before {
            assert!(now.remove(path).as_ref() == Some(bytes), "{} changed", path.display());
        }
        now
    }
}

/// The files of a directory.
fn files(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let entries = std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path());
    entries
        .filter(|path| path.is_file())
        .map(|path| (path.clone(), std::fs::read(path).unwrap()))
        .collect()
}

/// The plan of the demo, to a file.
const PLAN: [&str; 13] = [
    "plan",
    "--site",
    "mill.toml",
    "--roster",
    "reissued.csv",
    "--table",
    "built-in",
    "--table",
    "found.toml",
    "-o",
    "plan.json",
    "--html",
    "plan.html",
];
