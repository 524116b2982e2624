//! The command line in this process: its exit code, and what it said.

use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::OnceLock;

use rustix::stdio::{dup2_stderr, dup2_stdout};
use tempfile::TempDir;

/// What a run said and how it ended.
pub struct Ran {
    /// 0, 1 or 2.
    pub code: usize,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub said: String,
}

struct Stage {
    dir: TempDir,
    out: File,
    said: File,
    stdout: OwnedFd,
    stderr: OwnedFd,
}

fn stage() -> &'static Stage {
    static STAGE: OnceLock<Stage> = OnceLock::new();
    STAGE.get_or_init(|| {
        let dir = tempfile::Builder::new().prefix("holdover-").tempdir().expect("a directory");
        let open = |name: &str| {
            let path = dir.path().join(name);
            let mut options = fs::OpenOptions::new();
            options.read(true).write(true).create_new(true).open(path).expect("a file")
        };
        let (out, said) = (open("stdout"), open("stderr"));
        let stdout = std::io::stdout().as_fd().try_clone_to_owned().expect("standard output");
        let stderr = std::io::stderr().as_fd().try_clone_to_owned().expect("standard error");
        // One thread, so that the same input takes the same way through.
        _ = rayon::ThreadPoolBuilder::new().num_threads(1).build_global();
        // A panic is to be seen, wherever standard error goes at the time.
        let hook = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            restore();
            hook(info);
        }));
        Stage { dir, out, said, stdout, stderr }
    })
}

fn restore() {
    let Stage { stdout, stderr, .. } = stage();
    _ = std::io::stdout().flush();
    _ = dup2_stdout(stdout);
    _ = dup2_stderr(stderr);
}

/// Where a file of this name is.
pub fn place(name: &str) -> PathBuf {
    stage().dir.path().join(name)
}

/// The place as a word of a command line.
pub fn word(name: &str) -> String {
    place(name).to_str().expect("a path of plain letters").to_owned()
}

/// Writes a file; its name as a word.
pub fn file(name: &str, bytes: &[u8]) -> String {
    fs::write(place(name), bytes).expect("the file can be written");
    word(name)
}

/// Reads a file, which is gone with that.
pub fn take(name: &str) -> Option<Vec<u8>> {
    let bytes = fs::read(place(name)).ok()?;
    fs::remove_file(place(name)).ok()?;
    Some(bytes)
}

fn taken(mut file: &File) -> String {
    let mut text = Vec::new();
    file.seek(SeekFrom::Start(0)).expect("files have a start");
    file.read_to_end(&mut text).expect("the file can be read");
    file.seek(SeekFrom::Start(0)).expect("files have a start");
    file.set_len(0).expect("the file can be emptied");
    String::from_utf8(text).expect("what is said is UTF-8")
}

/// Runs the command line. Whatever the input, it ends as it says it does, and
/// says why where it refuses.
pub fn run(words: &[&str]) -> Ran {
    let stage = stage();
    dup2_stdout(&stage.out).expect("standard output can be replaced");
    dup2_stderr(&stage.said).expect("standard error can be replaced");
    let ended = holdover_cli::run(["holdover"].iter().chain(words).map(Into::into));
    restore();
    let code = [0, 1, 2].into_iter().position(|code| ended == ExitCode::from(code));
    let ran = Ran {
        code: code.expect("an exit code of 0, 1 or 2"),
        out: taken(&stage.out),
        said: taken(&stage.said),
    };
    assert!(ran.code != 2 || !ran.said.is_empty(), "refused without a word: {words:?}");
    // What is for people is safe to print; what is for programs is as it came.
    let for_programs = words.contains(&"csv") || words.contains(&"json");
    for text in [&ran.out, &ran.said].into_iter().skip(usize::from(for_programs)) {
        let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        assert!(!text.contains(odd), "control characters: {words:?}: {text:?}");
    }
    ran
}
