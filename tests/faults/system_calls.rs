//! The real binary at the real system calls, by strace(1): killed before each
//! of them, or each of them failing.

use std::collections::BTreeSet;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::ExitStatusExt;
use std::process::{Command, Output};

use super::{Job, PLAN};

/// Calls that change what is on the disk, or say that it is there.
const CALLS: [&str; 9] = [
    "openat",
    "write",
    "fchmod",
    "fsync",
    "linkat",
    "renameat",
    "renameat2",
    "close",
    "exit_group",
];

/// SIGKILL (signal(7)).
const KILL: i32 = 9;

/// Whether there is strace; it may be demanded.
fn strace() -> bool {
    let there = Command::new("strace").args(["-o", "/dev/null", "true"]).output();
    let there = there.is_ok_and(|output| output.status.success());
    if !there {
        assert!(std::env::var_os("HOLDOVER_FAULTS").is_none(), "strace is missing or not allowed");
        eprintln!("strace is missing or not allowed: nothing is tested here");
    }
    there
}

/// A plan under strace, which does something to some of its calls.
fn traced(job: &Job, inject: &[&str], log: &str) -> Output {
    let inject = inject.iter().flat_map(|what| ["-e".to_owned(), format!("inject={what}")]);
    // Where the tests run in the background of a shell, it has them ignore
    // interrupts, and whom they start with them.
    Command::new("env")
        .args(["--default-signal=INT,TERM,HUP", "strace"])
        .args(["-f", "-o", log, "-e", "trace=all"])
        .args(inject)
        .arg(env!("CARGO_BIN_EXE_holdover"))
        .args(PLAN)
        .current_dir(job.dir.path())
        .output()
        .unwrap()
}

/// What is at the two places, and whether nothing else is there but a file
/// that is whole and about to take one of them.
fn places(job: &Job, whole: &[&[u8]]) -> [Option<Vec<u8>>; 2] {
    let mut others = job.others();
    let places = ["plan.json", "plan.html"].map(|name| others.remove(&job.path(name)));
    for (path, bytes) in others {
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(name.starts_with(".holdover-"), "{name} is left");
        assert!(whole.contains(&&bytes[..]), "{name} is no whole file");
    }
    places
}

/// Killed before each of its calls in turn, `plan -o` leaves the old file or
/// the new one.
#[test]
fn plan_killed_anywhere_leaves_the_old_file_or_the_new() {
    if !strace() {
        return;
    }
    let job = Job::new();
    assert!(job.command().args(PLAN).output().unwrap().status.success());
    let new = places(&job, &[]).map(Option::unwrap);
    let whole: Vec<&[u8]> = new.iter().map(Vec::as_slice).collect();
    for old in [None, Some(b"the old one".to_vec())] {
        let mut seen = BTreeSet::new();
        for call in CALLS {
            for n in 1.. {
                let job = Job::new();
                for name in ["plan.json", "plan.html"] {
                    old.iter().for_each(|old| std::fs::write(job.path(name), old).unwrap());
                }
                let output = traced(&job, &[&format!("{call}:signal=KILL:when={n}")], "/dev/null");
                let killed = output.status.signal() == Some(KILL);
                // What stood in a place is kept until all places are taken.
                let kept: Vec<&[u8]> = whole.iter().copied().chain(old.as_deref()).collect();
                let now = places(&job, &kept);
                for (now, new) in now.iter().zip(&new) {
                    assert!(*now == old || now.as_ref() == Some(new), "{call} {n}: another file");
                }
                let news = now.iter().zip(&new).filter(|(now, new)| now.as_ref() == Some(new));
                seen.insert(news.count());
                if !killed {
                    assert!(output.status.success(), "{call} {n}");
                    // Modes change only where an old file had its own.
                    let called = n > 1
                        || (["fchmod", "renameat2"].contains(&call) && old.is_none())
                        || call == "renameat" && old.is_some();
                    assert!(called, "{call} is never called");
                    break;
                }
            }
        }
        // None, one and both were in their place.
        assert_eq!(seen, BTreeSet::from([0, 1, 2]));
    }
}

/// The system calls of a job that succeeds, one a line.
fn calls_of(job: &Job) -> String {
    let log = tempfile::NamedTempFile::new().unwrap();
    assert!(traced(job, &[], log.path().to_str().unwrap()).status.success());
    std::fs::read_to_string(log.path()).unwrap()
}

/// The order that a loss of power demands: content on the disk, then its name,
/// then the directory on the disk.
#[test]
fn content_is_on_the_disk_before_its_name_and_the_name_before_the_end() {
    if !strace() {
        return;
    }
    let job = Job::new();
    let log = calls_of(&job);
    let calls: Vec<&str> = log
        .lines()
        .filter_map(|line| {
            let call = line.split_once(' ')?.1.trim_start();
            let name = call.split('(').next()?;
            // Standard output is no file of ours.
            let ours = ["fsync", "rename", "renameat", "renameat2"].contains(&name);
            (ours || name == "write" && !call.starts_with("write(1,")).then_some(name)
        })
        .skip_while(|name| *name != "write")
        .map(|name| if name.starts_with("rename") { "rename" } else { name })
        .collect();
    let order = ["write", "fsync", "write", "fsync", "rename", "rename", "fsync"];
    let mut calls_once = calls.clone();
    // A long content may take several writes.
    calls_once.dedup_by(|a, b| *a == "write" && *b == "write");
    assert_eq!(calls_once, order, "{calls:?}");
}

/// Every call that fails is said, and leaves whole files alone.
#[test]
fn a_disk_that_fails_is_said() {
    if !strace() {
        return;
    }
    for (inject, message) in [
        ("fsync:error=EIO:when=1", "plan.json: not written: Input/output error"),
        ("fsync:error=EDQUOT:when=2", "plan.html: not written: Disk quota exceeded"),
        ("fsync:error=EIO:when=3", "plan.json: written, but a loss of power may undo it"),
        ("renameat:error=ENOSPC:when=1", "plan.html: not written: No space left on device"),
        ("linkat:error=EROFS:when=1", "plan.json: not written: Read-only file system"),
    ] {
        let job = Job::new();
        std::fs::write(job.path("plan.json"), "the old one").unwrap();
        let output = traced(&job, &[inject], "/dev/null");
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{inject}: {stderr}");
        assert!(stderr.contains(message), "{inject}: {stderr}");
        let done = message.contains("undo");
        let others = job.others();
        assert_eq!(others.len(), if done { 2 } else { 1 }, "{inject}");
        assert_eq!(others[&job.path("plan.json")] == b"the old one", !done, "{inject}");
    }
}

/// Two outputs appear together, or what stood in their places stays.
#[test]
fn where_one_output_fails_the_other_gives_its_place_back() {
    if !strace() {
        return;
    }
    for old in [["plan.json", "plan.html"].as_slice(), &["plan.json"], &[]] {
        let job = Job::new();
        old.iter().for_each(|name| std::fs::write(job.path(name), "the old one").unwrap());
        let output = traced(&job, &["linkat:error=ENOSPC:when=2"], "/dev/null");
        assert_eq!(output.status.code(), Some(2), "{old:?}");
        let others = job.others();
        assert_eq!(others.len(), old.len(), "{old:?}: {:?}", others.keys());
        assert!(others.values().all(|bytes| bytes == b"the old one"), "{old:?}");
    }
}

/// A file system without nameless files: one of another name is used, and
/// cleared away when something fails.
#[test]
fn another_name_serves_where_there_are_no_nameless_files() {
    if !strace() {
        return;
    }
    let job = Job::new();
    let log = calls_of(&job);
    let opened = log.lines().filter(|line| line.contains(" openat("));
    let nth = opened.clone().position(|line| line.contains("O_TMPFILE")).unwrap() + 1;
    let refused = format!("openat:error=EOPNOTSUPP:when={nth}");
    let job = Job::new();
    let output = traced(&job, &[&refused], "/dev/null");
    let written = job.others();
    assert!(output.status.success());
    assert_eq!(written.len(), 2);
    for path in written.keys() {
        assert_eq!(std::fs::metadata(path).unwrap().permissions().mode() & 0o777, 0o600);
    }
    // The page is nameless, and its disk is full: the plan's file goes as well.
    let job = Job::new();
    let output = traced(&job, &[&refused, "fsync:error=ENOSPC:when=2"], "/dev/null");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(job.others().len(), 0);
}

/// An interrupt while the file is written leaves nothing behind.
#[test]
fn an_interrupt_leaves_nothing_behind() {
    if !strace() {
        return;
    }
    for signal in ["INT", "TERM", "HUP"] {
        let job = Job::new();
        let output = traced(&job, &[&format!("fsync:signal={signal}:when=1")], "/dev/null");
        assert!(output.status.signal().is_some(), "{signal}");
        assert_eq!(job.others().len(), 0, "{signal}");
    }
}

/// No verb calls anything of the network's (strace(1), `%network`), starts another
/// program, or leaves a file at home.
#[test]
fn nothing_goes_over_a_network_to_a_program_or_home() {
    if !strace() {
        return;
    }
    let (job, home) = (Job::new(), tempfile::tempdir().unwrap());
    for args in [
        &PLAN[..],
        &["read", "survey.csv"],
        &["learn", "drawer.csv", "-o", "learnt.toml"],
        &["prove", "--cases", "survey.csv", "--record", "cases.csv"],
        &["table", "list"],
        &["--version"],
    ] {
        let log = tempfile::NamedTempFile::new().unwrap();
        let status = Command::new("strace")
            .args(["-f", "-qq", "-e", "trace=%network,execve,execveat", "-e", "signal=none", "-o"])
            .arg(log.path())
            .arg(env!("CARGO_BIN_EXE_holdover"))
            .args(args)
            .env("HOME", home.path())
            .env_remove("XDG_CONFIG_HOME")
            .env_remove("XDG_CACHE_HOME")
            .env_remove("XDG_STATE_HOME")
            .current_dir(job.dir.path())
            .output()
            .unwrap()
            .status;
        assert!(status.code() < Some(2), "{args:?}");
        let log = std::fs::read_to_string(log.path()).unwrap();
        let calls: Vec<&str> = log.lines().filter(|line| line.contains('(')).collect();
        // The first starts the command itself.
        assert!(calls.len() == 1 && calls[0].contains("execve("), "{args:?}: {calls:?}");
    }
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 0, "files of its own");
}
