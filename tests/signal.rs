//! `holdover signal`, `read` on probe files and serial ports, and
//! `compose --probe`, their inverse.

use std::io::Write;
use std::process::Stdio;
use std::time::Duration;

use fastrand::Rng;
use tempfile::tempdir;

use crate::holdover::{command, feed, file, run};

fn probe(args: &[&str]) -> String {
    let made = run(["compose", "std26", "site=65", "card=100-119"].iter().chain(args));
    assert_eq!(made.code, 0, "{}", made.stderr);
    made.stdout
}

fn bits() -> Vec<String> {
    let made = run(["compose", "std26", "site=65", "card=100-119"]);
    made.stdout.lines().map(str::to_owned).collect()
}

#[test]
fn every_form_reads_back_bit_for_bit() {
    for form in ["vcd", "changes", "samples"] {
        for idle in ["high", "low"] {
            let args = [
                "--probe", form, "--jitter", "0.1", "--gap", "50000", "--idle", idle, "--rate",
                "200000",
            ];
            let text = probe(&args);
            let out = feed(["signal", "-", "--format", "json"], text.as_bytes());
            assert_eq!(out.code, 0, "{form} {idle}: {}", out.stderr);
            let read: Vec<String> =
                out.json().iter().map(|o| o["bits"].as_str().unwrap().to_owned()).collect();
            assert_eq!(read, bits(), "{form} {idle}");
            // `read` takes the same file.
            let read = feed(["read", "-", "--format", "csv"], text.as_bytes());
            assert_eq!(read.code, 0, "{form}: {}", read.stderr);
            assert_eq!(read.stdout.lines().count(), 21);
            assert!(read.stdout.lines().skip(1).all(|l| l.contains("identified,std26")));
        }
    }
}

#[test]
fn records_have_the_keys_that_are_promised() {
    let out = feed(["signal", "-", "--format", "json"], probe(&["--probe", "vcd"]).as_bytes());
    let object = &out.json()[0];
    let keys: Vec<&String> = object.as_object().unwrap().keys().collect();
    assert_eq!(keys, ["bits", "reader", "start_us", "pulses", "findings"]);
    let out = feed(["signal", "-", "--format", "csv"], probe(&["--probe", "vcd"]).as_bytes());
    assert!(out.stdout.starts_with("bits,reader,start_us,pulses,findings,unsure\n"));
    let again = feed(["read", "-", "--format", "csv"], out.stdout.as_bytes());
    assert_eq!(again.code, 0, "{}", again.stderr);
}

#[test]
fn faults_are_reported_with_cause_and_check() {
    let text = probe(&["--probe", "vcd", "--lost", "1"]);
    let out = feed(["signal", "-"], text.as_bytes());
    assert_eq!(out.code, 1);
    for part in ["missing-pulse 20 times", "cause", "check", "within limits", "█"] {
        assert!(out.stdout.contains(part), "{part}\n{}", out.stdout);
    }
    // A lost bit inside never becomes another card that is called identified.
    let read = feed(["read", "-", "--format", "json"], text.as_bytes());
    for object in read.json() {
        assert_ne!(object["verdict"], "identified", "{object}");
        assert!(object["notes"].to_string().contains("this is std26 65 1"), "{object}");
    }
}

#[test]
fn slow_pulses_out_of_range_are_called_so() {
    // Seven samples a pulse, 10 µs too narrow for the limits.
    let args = ["--probe", "samples", "--width", "14", "--rate", "500000", "--gap", "50000"];
    let out = feed(["signal", "-"], probe(&args).as_bytes());
    assert_eq!(out.code, 1);
    assert!(out.stdout.contains("OUT OF RANGE"), "{}", out.stdout);
    assert!(out.stdout.contains("20 captures"), "{}", out.stdout);
}

#[test]
fn several_readers_and_named_lines() {
    let dir = tempdir().unwrap();
    let gate = probe(&["--probe", "vcd", "--reader", "gate"]);
    let path = file(&dir, "gate.vcd", &gate);
    let path = path.to_str().unwrap();
    let out = run(["signal", path]);
    assert!(out.stdout.contains("gate"), "{}", out.stdout);
    let swapped = run(["read", path, "--d0", "gate.D1", "--d1", "gate.D0", "--format", "json"]);
    assert_eq!(swapped.json()[0]["candidates"][0]["reading"], "lines-swapped");
    let one = run(["signal", path, "--d0", "gate.D0"]);
    assert_eq!(one.code, 2);
    assert!(one.stderr.contains("give both for each reader"), "{}", one.stderr);
    let none = run(["signal", path, "--d0", "left", "--d1", "right"]);
    assert_eq!(none.code, 2);
    assert!(none.stderr.contains("left"), "{}", none.stderr);
}

/// Where names say nothing, which line is which is a coin's toss, and the
/// captures decide it.
#[test]
fn a_wrong_guess_of_the_lines_is_set_right() {
    for flip in [false, true] {
        let text = probe(&["--probe", "changes", "--gap", "50000"]);
        let (a, b) = if flip { ("line2", "line1") } else { ("line1", "line2") };
        let named = text.replace("D0", a).replace("D1", b);
        let mut rows: Vec<Vec<&str>> = named.lines().map(|l| l.split(',').collect()).collect();
        if flip {
            rows.iter_mut().for_each(|row| row.swap(1, 2));
        }
        let rows: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
        let read = feed(["read", "-", "--format", "json"], rows.join("\n").as_bytes());
        let objects = read.json();
        assert_eq!(objects.len(), 20, "{}", read.stderr);
        for (i, object) in objects.iter().enumerate() {
            assert_eq!(object["verdict"], "identified", "{object}");
            assert_eq!(object["candidates"][0]["fields"]["card"], 100 + i as u64);
            let swapped = object["candidates"][0]["reading"] == "lines-swapped";
            assert_eq!(swapped, flip);
        }
    }
}

#[test]
fn damage_is_placed_and_what_came_before_is_kept() {
    let text = probe(&["--probe", "vcd"]);
    let half = text.len() / 2;
    let mut reordered = text.clone();
    reordered.insert_str(half - half % 2, "\n#5\n0!\n");
    for (input, why) in
        [(format!("{}\n#12x\n", &text[..half]), "bad time"), (reordered, "time going back")]
    {
        let out = feed(["signal", "-", "--format", "json"], input.as_bytes());
        assert_eq!(out.code, 2, "{why}: {}", out.stderr);
        assert!(out.stderr.contains("line"), "{why}: {}", out.stderr);
        assert!(out.json().len() >= 8, "{why}: {}", out.json().len());
        let read = feed(["read", "-", "--format", "json"], input.as_bytes());
        assert_eq!(read.code, 2);
        assert!(read.json().iter().filter(|o| o["verdict"] == "identified").count() >= 8);
    }
    for input in [&b""[..], b"\x00\x01\x02\xff", b"$var\n", b"time_us,D0\n0,1\n"] {
        let out = feed(["signal", "-"], input);
        assert_eq!(out.code, 2);
        assert!(out.stderr.starts_with("error: "), "{}", out.stderr);
        assert!(!out.stderr.contains("panicked"));
    }
}

#[test]
fn cut_and_damaged_files_never_panic() {
    let mut rng = Rng::with_seed(5);
    for form in ["vcd", "changes"] {
        let text = probe(&["--probe", form]).into_bytes();
        for _ in 0..40 {
            let mut bytes = text[..rng.usize(..text.len())].to_vec();
            for _ in 0..rng.usize(..4) {
                if !bytes.is_empty() {
                    let at = rng.usize(..bytes.len());
                    bytes[at] = rng.u8(..);
                }
            }
            for verb in ["signal", "read"] {
                let out = feed([verb, "-", "--format", "json"], &bytes);
                assert!(!out.stderr.contains("panicked"), "{}", out.stderr);
                assert!(out.code <= 2);
            }
        }
    }
}

/// Rule: the raw card data reply of IEC 60839-11-5:2020, 7.10 (from memory); the
/// bits are those of the first case of `fixtures/cases/published.toml`.
#[test]
fn raw_card_data_replies_are_captures() {
    let out = feed(["read", "-", "--format", "json"], b"00 01 1A 00 70 12 34 40\n000120009901\n");
    let [first, second] = &out.json()[..] else { panic!("{}", out.stdout) };
    assert_eq!(first["candidates"][0]["fields"]["card"], 9320);
    assert!(first["notes"].to_string().contains("IEC 60839-11-5"));
    // Its own count does not agree, so it is no reply: digits, and no more.
    assert!(!second["notes"].to_string().contains("IEC 60839-11-5"));
    assert_eq!(second["given"], "000120009901");
}

#[test]
fn composing_refuses_what_cannot_be() {
    for (args, message) in [
        (vec!["--width", "0"], "width"),
        (vec!["--jitter", "2"], "jitter"),
        (vec!["--lost", "0.7", "--noise", "0.7"], ""),
        (vec!["--interval", "-4"], ""),
    ] {
        let args =
            ["compose", "std26", "site=65", "card=1", "--probe", "vcd"].into_iter().chain(args);
        let out = run(args.collect::<Vec<_>>());
        assert_eq!(out.code, 2, "{message}");
        assert!(out.stderr.contains(message), "{message}: {}", out.stderr);
    }
}

#[test]
fn faults_put_in_are_listed() {
    let dir = tempdir().unwrap();
    let faults = dir.path().join("faults.jsonl");
    let text = probe(&["--probe", "vcd", "--lost", "0.5", "--faults", faults.to_str().unwrap()]);
    let listed = std::fs::read_to_string(faults).unwrap();
    let signal = feed(["signal", "-", "--summary", "--format", "json"], text.as_bytes());
    let counts = signal.json()[0]["readers"][0]["counts"].to_string();
    assert!(counts.contains(&listed.lines().count().to_string()), "{counts}");
}

#[test]
fn a_port_that_is_not_there_is_named() {
    let out = run(["read", "--port", "/dev/no-such-port"]);
    assert_eq!(out.code, 2);
    assert!(out.stderr.contains("/dev/no-such-port: cannot be opened"), "{}", out.stderr);
}

/// A serial port is followed, answered line by line, and waited for when it
/// goes away. The port is one end of a pseudo-terminal.
#[cfg(target_os = "linux")]
#[test]
fn a_port_is_followed_and_waited_for() {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use std::io::{BufRead, BufReader};
    let dir = tempdir().unwrap();
    let (link, page) = (dir.path().join("port"), dir.path().join("page.html"));
    let open = || {
        let master =
            openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap();
        _ = std::fs::remove_file(&link);
        std::os::unix::fs::symlink(name.to_str().unwrap(), &link).unwrap();
        std::fs::File::from(master)
    };
    let mut port = open();
    let mut child = command()
        .args(["read", "--format", "json", "--port", link.to_str().unwrap()])
        .args(["--html".as_ref(), page.as_os_str()])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdout = BufReader::new(child.stdout.take().unwrap());
    let mut stderr = BufReader::new(child.stderr.take().unwrap());
    let mut said = String::new();
    stderr.read_line(&mut said).unwrap();
    assert!(said.contains("listening at 9600 baud"), "{said}");
    let mut answer = String::new();
    port.write_all(b"10100000100010000111000011\n").unwrap();
    stdout.read_line(&mut answer).unwrap();
    assert!(answer.contains("\"card\":4321"), "{answer}");
    drop(port);
    said.clear();
    stderr.read_line(&mut said).unwrap();
    assert!(said.contains("went away"), "{said}");
    let mut port = open();
    said.clear();
    stderr.read_line(&mut said).unwrap();
    assert!(said.contains("back again"), "{said}");
    std::thread::sleep(Duration::from_millis(50));
    port.write_all(b"10100000100010000111000101\n").unwrap();
    answer.clear();
    stdout.read_line(&mut answer).unwrap();
    assert!(answer.contains("\"card\":4322"), "{answer}");
    // A port has no end, so the page stands at every pause.
    let both = || std::fs::read_to_string(&page).is_ok_and(|page| page.contains("***22"));
    let written = (0..100).any(|_| {
        std::thread::sleep(Duration::from_millis(50));
        both()
    });
    assert!(written);
    child.kill().unwrap();
    child.wait().unwrap();
}

/// What a file calls its lines does not reach the terminal as it is.
#[test]
fn names_of_lines_are_quoted_safely() {
    let dir = tempdir().unwrap();
    let table = "time_us,a\u{9e}\u{1b}[31m,b\u{202e},c\n0,1,1,1\n5,0,1,1\n9,1,1,1\n";
    let table = file(&dir, "probe.csv", table);
    for words in [["signal", "--d0=x", "--d1=y"], ["read", "--d0=x", "--d1=y"]] {
        let run = run(words.into_iter().chain([table.to_str().unwrap()]));
        assert_eq!(run.code, 2);
        assert!(run.stderr.contains("\\u{9e}\\u{1b}[31m"), "{}", run.stderr);
        assert!(!run.stderr.contains(['\u{9e}', '\u{1b}', '\u{202e}']), "{:?}", run.stderr);
    }
}
