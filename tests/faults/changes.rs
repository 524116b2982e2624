//! Inputs that go away or change while they are read.

use std::fs::File;
use std::io::Write;
use std::process::{Child, Output, Stdio};
use std::time::{Duration, SystemTime};

use super::Job;

/// Captures of one length.
const CAPTURES: &str = "10100000100010000111000011\n10100000100010000111000101\n";
const OTHERS: &str = "10100000100010000111000101\n10100000100010000111000101\n";

/// `read` of a file and then of a pipe: it waits for the pipe between its two
/// passes through the file.
struct Between {
    job: Job,
    child: Child,
    pipe: File,
}

impl Between {
    fn new() -> Between {
        let job = Job::new();
        std::fs::write(job.path("captures.txt"), CAPTURES).unwrap();
        let pipe = job.path("pipe");
        rustix::fs::mkfifoat(rustix::fs::CWD, &pipe, 0o600.into()).unwrap();
        let child = job
            .command()
            .args(["read", "captures.txt", "pipe", "--format", "csv"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // Opens when the other end does: the first pass through the file is done.
        let pipe = File::options().write(true).open(pipe).unwrap();
        Between { job, child, pipe }
    }

    fn end(mut self) -> (Output, Job) {
        self.pipe.write_all(CAPTURES.as_bytes()).unwrap();
        drop(self.pipe);
        (self.child.wait_with_output().unwrap(), self.job)
    }
}

fn said(output: &Output) -> &str {
    std::str::from_utf8(&output.stderr).unwrap()
}

#[test]
fn a_file_that_stays_is_read_twice() {
    let (output, _) = Between::new().end();
    assert_eq!(said(&output), "");
    assert_eq!(output.stdout.iter().filter(|b| **b == b'\n').count(), 5);
}

#[test]
fn a_change_of_the_same_length_is_said() {
    let between = Between::new();
    let path = between.job.path("captures.txt");
    std::fs::write(&path, OTHERS).unwrap();
    // Clocks of file systems are coarse.
    let later = SystemTime::now() + Duration::from_secs(2);
    File::options().write(true).open(&path).unwrap().set_modified(later).unwrap();
    let (output, job) = between.end();
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("captures.txt: the file changed while it was read: run it"));
    assert_eq!(std::fs::read_to_string(job.path("captures.txt")).unwrap(), OTHERS);
}

#[test]
fn a_file_that_grows_or_shrinks_between_is_said() {
    for text in [&CAPTURES[..27], &CAPTURES.repeat(3)] {
        let between = Between::new();
        std::fs::write(between.job.path("captures.txt"), text).unwrap();
        let (output, _) = between.end();
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output).contains("the file changed while it was read"), "{}", said(&output));
    }
}

#[test]
fn a_file_that_is_removed_between_is_said() {
    let between = Between::new();
    std::fs::remove_file(between.job.path("captures.txt")).unwrap();
    let (output, _) = between.end();
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("captures.txt: no such file"), "{}", said(&output));
}
