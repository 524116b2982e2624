//! The binary: on this machine, and a scheduler and two executors as processes, one
//! of them killed in mid-query.

use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use fastrand::Rng;
use holdover::layout::builtin;

use crate::session::draw;

fn binary() -> Command {
    Command::new(env!("CARGO_BIN_EXE_holdover-sql"))
}

/// A process that ends with the test.
struct Process(Child);

impl Drop for Process {
    fn drop(&mut self) {
        _ = self.0.kill();
        _ = self.0.wait();
    }
}

fn start(words: &[&str]) -> Process {
    let child = binary().args(words).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
    Process(child.unwrap())
}

/// A port that is free, and the one above it.
fn port() -> u16 {
    loop {
        let below = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = below.local_addr().unwrap().port();
        if port < u16::MAX && TcpListener::bind(("127.0.0.1", port + 1)).is_ok() {
            return port;
        }
    }
}

fn listens(port: u16) {
    let until = Instant::now() + Duration::from_secs(60);
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        assert!(Instant::now() < until, "nobody listens at {port}");
        sleep(Duration::from_millis(100));
    }
}

/// Files of reads, as CSV.
fn files(directory: &Path, files: usize, rows: usize) {
    let mut rng = Rng::with_seed(1);
    let cards: Vec<String> = (0..2_000).map(|_| draw(builtin(), &mut rng).to_string()).collect();
    for file in 0..files {
        let mut text = Vec::from("building,door,bits\n");
        for _ in 0..rows {
            let building = rng.usize(..20);
            let card = &cards[building * 100 + rng.usize(..100)];
            writeln!(text, "mill {building},door {},{card}", rng.usize(..3)).unwrap();
        }
        std::fs::write(directory.join(format!("{file}.csv")), text).unwrap();
    }
}

const QUERY: &str = "WITH fits AS (SELECT building, card_fit(bits, door) AS fit FROM reads GROUP BY \
                     building), answers AS (SELECT building, door, card_answer(bits, fit, door) AS a \
                     FROM reads JOIN fits USING (building)) SELECT building, door, a['verdict'] AS v, \
                     a['layout'] AS l, a['reading'] AS r, a['card'] AS c, a['note'] AS n, \
                     round(a['probability'], 9) AS p, count(*) AS reads FROM answers GROUP BY ALL";

fn lines(output: &Output) -> Vec<String> {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    lines.sort();
    lines
}

#[test]
fn two_executors_and_one_killed_answer_as_one_machine() {
    let directory = tempfile::tempdir().unwrap();
    files(directory.path(), 4, 30_000);
    let from = format!("reads={}", directory.path().display());
    let query = QUERY.replace(
        "GROUP BY ALL",
        "GROUP BY building, door, a['verdict'], a['layout'], \
                              a['reading'], a['card'], a['note'], round(a['probability'], 9)",
    );
    let alone = lines(&binary().args(["--from", &from, &query]).output().unwrap());
    assert!(alone.len() > 2_000, "{}", alone.len());

    let at = format!("127.0.0.1:{}", port());
    let _scheduler = start(&["scheduler", "--listen", &at, "--lost-after", "6"]);
    listens(at.rsplit_once(':').unwrap().1.parse().unwrap());
    let executor = || {
        let port = port();
        let listen = format!("127.0.0.1:{port}");
        let process = start(&["executor", "--scheduler", &at, "--listen", &listen, "--cores", "1"]);
        listens(port);
        process
    };
    let _first = executor();
    let second = executor();
    let run = || {
        let mut command = binary();
        command.args(["--scheduler", &at, "--partitions", "4", "--from", &from, &query]);
        command
    };
    let began = Instant::now();
    assert_eq!(lines(&run().output().unwrap()), alone);
    let whole = began.elapsed();

    let mut running = run();
    let running = running.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    sleep(whole / 2);
    drop(second);
    assert_eq!(lines(&running.wait_with_output().unwrap()), alone);
}

#[test]
fn the_binary_says_what_is_wrong() {
    let said = |words: &[&str]| {
        let output = binary().args(words).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    assert!(said(&["SELEC 1"]).contains("SELEC"));
    assert!(said(&["--from", "reads", "SELECT 1"]).contains("NAME=PATH"));
    assert!(said(&["--from", "reads=no-such.csv", "SELECT 1"]).contains("no-such.csv"));
    assert!(said(&["--scheduler", "nowhere", "SELECT 1"]).contains("HOST:PORT"));
    assert!(said(&["no-such.sql"]).contains("no-such.sql"));
    assert!(said(&[""]).contains("there is no query"));
}
