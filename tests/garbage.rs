//! Hostile input: a clear error with its place, exit code 2, no panic,
//! memory bounded.

use fastrand::Rng;
use tempfile::tempdir;

use crate::holdover::{command, feed, file, run};

fn sound(stderr: &str, what: &str) {
    assert!(!stderr.contains("panicked"), "{what}: {stderr}");
}

#[test]
fn random_bytes_are_refused_line_by_line() {
    let mut rng = Rng::with_seed(11);
    // A thousand strings a run, told apart by their lines.
    for round in 0..10 {
        let mut input = Vec::new();
        for _ in 0..1000 {
            let len = rng.usize(..60);
            input.extend((0..len).map(|_| rng.u8(..)).filter(|b| *b != b'\n'));
            input.push(b'\n');
        }
        let run = feed(["read", "-", "--format", "json"], &input);
        sound(&run.stderr, "random bytes");
        assert_eq!(run.code, 2, "{round}");
        assert!(run.json().iter().all(|o| o["line"].as_u64().is_some()));
    }
}

#[test]
fn random_arguments_never_panic() {
    let mut rng = Rng::with_seed(12);
    let alphabet: Vec<char> = "01x/FA-_: \u{fffd}\u{202e}é9".chars().collect();
    for _ in 0..200 {
        let len = rng.usize(1..40);
        let text: String = (0..len).map(|_| alphabet[rng.usize(..alphabet.len())]).collect();
        let run = run(["read", "--format", "json", "--", &text]);
        sound(&run.stderr, &text);
        assert!(run.code <= 2);
        assert!(run.code != 2 || !run.stderr.is_empty());
    }
}

#[test]
fn odd_lines_say_what_is_wrong() {
    let long = "1".repeat(10_000_000);
    for (input, message) in [
        (long.into_bytes(), "the line has 10000000 bytes"),
        (b"01\x0001\n".to_vec(), "found '\\0' at column 3"),
        (b"01\n\xc3".to_vec(), "-:2: expected 0 or 1, found '\u{c3}' at column 1"),
        (b"\xff\xfe0\x002\x00".to_vec(), "-:1: expected 0 or 1, found '2' at column 2"),
        (b"name,site,card\nAda,1,2\n".to_vec(), "expected a header with a column \"bits\""),
        (b"bits,site\n01,1,2\n".to_vec(), "-:2: expected 2 cells as in the header, found 3"),
        (b"bits,site\n01\n".to_vec(), "-:2: expected 2 cells as in the header, found 1"),
        (b"bits,site\n\"01,1\n".to_vec(), "-:2: a quote (\") opens here and never closes"),
        (b"{\"bits\":3}\n".to_vec(), "-:1: \"bits\" is no text"),
        (b"{\"bat\":\"01\"}\n".to_vec(), "the object has no \"bits\""),
        (b"{\"bits\":\"01\"}\n{\"bits\n".to_vec(), "-:2: expected a JSON object"),
        (vec![b'{'; 60_000], "-:1: expected a JSON object"),
        (b"0x12345/8\n".to_vec(), "surplus"),
        (b"".to_vec(), "no captures in the input"),
        (b"\n\n# nothing\n".to_vec(), "no captures in the input"),
    ] {
        let run = feed(["read", "-"], &input);
        sound(&run.stderr, message);
        assert_eq!(run.code, 2, "{message}");
        assert!(run.stderr.contains(message), "{message}\n{}", run.stderr);
    }
}

#[test]
fn files_that_cannot_be_read_are_named() {
    let dir = tempdir().unwrap();
    let directory = dir.path().to_str().unwrap();
    let missing = dir.path().join("missing.toml");
    let missing = missing.to_str().unwrap();
    let binary = file(&dir, "binary.toml", [0u8, 159, 146, 150]);
    for args in [
        vec!["read", directory],
        vec!["read", missing],
        vec!["read", "01", "--table", missing],
        vec!["read", "01", "--table", directory],
        vec!["read", "01", "--table", binary.to_str().unwrap()],
        vec!["read", "01", "--site", missing],
        vec!["table", "lint", missing],
        vec!["table", "show", "nothing"],
    ] {
        let run = run(&args);
        assert_eq!(run.code, 2, "{args:?}");
        assert!(run.stderr.starts_with("error: "), "{args:?}: {}", run.stderr);
        sound(&run.stderr, "files");
    }
}

/// A table with one thing broken at random is refused or read, never a panic.
#[test]
fn damaged_tables_never_panic() {
    let dir = tempdir().unwrap();
    let whole = run(["table", "show", "--format", "json"]);
    assert_eq!(whole.code, 0);
    let text = include_str!("../crates/holdover/src/layout/builtin.toml");
    let mut rng = Rng::with_seed(13);
    for _ in 0..150 {
        let mut bytes = text.as_bytes().to_vec();
        for _ in 0..rng.usize(1..4) {
            let at = rng.usize(..bytes.len());
            match rng.u8(..3) {
                0 => bytes[at] = rng.u8(..),
                1 => _ = bytes.drain(at..(at + rng.usize(1..30)).min(bytes.len())),
                _ => bytes.insert(at, *rng.choice(b"0-9\"[]=,\n".as_slice()).unwrap()),
            }
        }
        let path = file(&dir, "damaged.toml", &bytes);
        let run = run(["table", "lint", path.to_str().unwrap()]);
        sound(&run.stderr, "damaged table");
        assert!(run.code == 0 || run.code == 2);
    }
}

/// Megabytes on one line do not become memory.
#[cfg(target_os = "linux")]
#[test]
fn a_long_line_is_not_kept() {
    use std::io::Write;
    use std::process::Stdio;
    let mut child = command()
        .args(["read", "-", "--batch"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let block = vec![b'1'; 1 << 20];
    for _ in 0..200 {
        stdin.write_all(&block).unwrap();
    }
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
    let peak = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    let kib: u64 = peak.split_whitespace().nth(1).unwrap().parse().unwrap();
    drop(stdin);
    child.wait().unwrap();
    assert!(kib < 50_000, "{peak}");
}
