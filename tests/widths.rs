//! Windows of any width, and the bar on standard error.

use std::io::{Read, Write};
use std::process::Stdio;
use std::time::Duration;

use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use tempfile::tempdir;

use crate::holdover::command;

const SITE: [&str; 2] = ["--site", "fixtures/mill/mill.toml"];
const TABLES: [&str; 4] = ["--table", "built-in", "--table", "fixtures/mill/found.toml"];

fn commands() -> Vec<Vec<&'static str>> {
    let with = |first: &[&'static str], more: &[&[&'static str]]| {
        first.iter().chain(more.iter().flat_map(|more| more.iter())).copied().collect()
    };
    let survey = ["read", "fixtures/mill/survey.csv"];
    let gate = ["read", "fixtures/mill/gate.vcd"];
    let plan = ["plan", "--roster", "fixtures/mill/roster.csv"];
    vec![
        with(&["read", "10100000100010000111000011"], &[]),
        with(&["read", "10100000100010000111000011", "--mask"], &[]),
        with(&["read", "1010000010001000011100001", "0x1A2B3C4D/32"], &[]),
        with(&survey, &[&SITE, &["--full"]]),
        with(&survey, &[&SITE, &["--quiet"]]),
        with(&survey, &[&SITE, &["--summary"]]),
        with(&survey, &[&["fixtures/mill/gate.vcd"], &TABLES, &["--summary"]]),
        with(&gate, &[]),
        with(&gate, &[&["--quiet"]]),
        with(&["signal", "fixtures/mill/gate.vcd"], &[]),
        with(&["learn", "fixtures/mill/drawer.csv"], &[]),
        with(&["learn", "fixtures/mill/survey.csv"], &[]),
        with(&["table", "list"], &[]),
        with(&["table", "show"], &[]),
        with(&["table", "show", "fascn200"], &[]),
        with(&["table", "lint", "built-in"], &[]),
        with(&["table", "diff", "built-in", "fixtures/mill/found.toml"], &[]),
        with(&plan, &[&SITE, &TABLES]),
        with(&plan, &[&SITE, &TABLES, &["--quiet"]]),
    ]
}

#[test]
fn no_line_is_wider_than_the_window() {
    for args in commands() {
        let mut said: Vec<String> = Vec::new();
        for width in [40, 60, 80, 120] {
            let output = command().args(&args).env("COLUMNS", width.to_string()).output().unwrap();
            let text = String::from_utf8(output.stdout).unwrap();
            assert!(!text.contains('\x1b'), "{args:?}");
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{width}: {args:?}\n{line}");
                assert_eq!(line, line.trim_end(), "{width}: {args:?}");
            }
            // Nothing of the numbers is lost in a narrow window.
            said.push(text.chars().filter(|c| c.is_ascii_digit()).collect());
        }
        if args[0] == "plan" {
            let sorted = |text: &String| {
                let mut digits: Vec<char> = text.chars().collect();
                digits.sort_unstable();
                digits
            };
            assert!(said.iter().all(|text| sorted(text) == sorted(&said[0])), "{args:?}");
        }
    }
}

/// A capture a line, for what searches in it, where nothing says how wide.
#[test]
fn a_pipe_keeps_its_lines() {
    let output = command().args(["read", "fixtures/mill/gate.vcd", "-q"]).output().unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap().lines().count(), 5);
}

/// Feeds a roster slowly; gives what a terminal on standard error shows.
fn slowly(on_terminal: bool) -> (String, String) {
    let controller = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&controller).unwrap();
    unlockpt(&controller).unwrap();
    let name = ptsname(&controller, Vec::new()).unwrap();
    let terminal = open(name, OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
    let dir = tempdir().unwrap();
    let kept = dir.path().join("stderr");
    let stderr = match on_terminal {
        true => Stdio::from(terminal.try_clone().unwrap()),
        false => Stdio::from(std::fs::File::create(&kept).unwrap()),
    };
    let mut child = command()
        .args(["plan", "--roster", "-"])
        .args(SITE)
        .env("TERM", "xterm")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(stderr)
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(b"layout,site,card\n").unwrap();
    for row in ["std26,65,4017\n", "std26,65,4018\n"] {
        std::thread::sleep(Duration::from_millis(1200));
        stdin.write_all(row.as_bytes()).unwrap();
    }
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    let shown = match on_terminal {
        // The terminal has no end while we hold it: take what is there.
        true => {
            let mut block = vec![0; 1 << 16];
            let mut file = std::fs::File::from(controller);
            file.write_all(b"\n").unwrap();
            let count = file.read(&mut block).unwrap();
            String::from_utf8_lossy(&block[..count]).into_owned()
        }
        false => std::fs::read_to_string(&kept).unwrap(),
    };
    drop(terminal);
    (String::from_utf8(output.stdout).unwrap(), shown)
}

#[test]
fn long_work_shows_a_bar_on_a_terminal_only() {
    let (with_bar, shown) = slowly(true);
    assert!(shown.contains("standard input"), "{shown:?}");
    let (without, nothing) = slowly(false);
    assert_eq!(nothing, "");
    assert_eq!(with_bar, without);
}
