//! Large plain files, which `read` answers by the block: the same answers in
//! every form, each line once, each with its own source.

use std::process::Stdio;

use tempfile::tempdir;

use crate::holdover::{command, feed, file, run};

/// Cards of 26 and 34 bits, random bits, and all kinds of line between them.
fn lines(count: usize, seed: u64) -> String {
    let mut rng = fastrand::Rng::with_seed(seed);
    let table = holdover::layout::builtin();
    let mut text = String::new();
    for _ in 0..count {
        let (id, site) = if rng.bool() { ("std26", 65) } else { ("site34", 1180) };
        let row = holdover::plan::RosterRow::of_numbers(table, 1, id, site, rng.u128(..65_000));
        let holdover::plan::RosterCard::Card { bits, .. } = row.unwrap().card else { continue };
        match rng.u8(..20) {
            0 => text += &format!("{:026b}\n", rng.u32(..1 << 26)),
            1 => text += "# a remark\n\n",
            2 => text += &format!("{:040b}{:030b}\n", rng.u64(..1 << 40), rng.u32(..1 << 30)),
            _ => text += &format!("{bits}\n"),
        }
    }
    text
}

/// Verdict, layout, reading, site, card, probability and note of each record.
fn answers(csv: &str) -> Vec<String> {
    let records = csv.lines().skip(1);
    records.map(|record| record.splitn(3, ',').nth(2).unwrap_or_default().to_owned()).collect()
}

#[test]
fn every_form_of_the_same_captures_has_the_same_answers() {
    let dir = tempdir().unwrap();
    let text = lines(12_000, 1);
    let captures: Vec<&str> =
        text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).collect();
    let plain = file(&dir, "plain.txt", &text);
    let windows = file(&dir, "windows.txt", text.replace('\n', "\r\n"));
    let sheet = file(&dir, "sheet.csv", format!("bits\n{}\n", captures.join("\n")));
    let read = |path: &std::path::Path| run(["read", path.to_str().unwrap(), "--format", "csv"]);
    let of_plain = read(&plain);
    assert_eq!(of_plain.code, 1);
    let wanted = answers(&of_plain.stdout);
    assert_eq!(wanted.len(), captures.len());
    let trimmed: Vec<String> =
        answers(&read(&sheet).stdout).iter().map(|a| a.trim_end_matches(',').to_owned()).collect();
    let plain_trimmed: Vec<String> =
        wanted.iter().map(|a| a.trim_end_matches(',').to_owned()).collect();
    assert_eq!(plain_trimmed, trimmed);
    assert_eq!(answers(&read(&windows).stdout), wanted);
    let piped = feed(["read", "-", "--batch", "--format", "csv"], text.as_bytes());
    assert_eq!(answers(&piped.stdout), wanted);
    for threads in ["1", "2", "3"] {
        let mut many = command();
        many.args(["read", plain.to_str().unwrap(), "--format", "csv"]);
        let output = many.env("RAYON_NUM_THREADS", threads).output().unwrap();
        assert_eq!(String::from_utf8(output.stdout).unwrap(), of_plain.stdout);
    }
}

/// More classes than are weighed: a sample settles the proportions, and rows
/// of a sheet still say what blocks say.
#[test]
fn a_sample_answers_alike_in_every_form() {
    let dir = tempdir().unwrap();
    let mut rng = fastrand::Rng::with_seed(3);
    let mut text = lines(3_000, 2);
    for _ in 0..20_000 {
        text += &format!("{:034b}\n", rng.u64(..1 << 34));
    }
    let captures: Vec<&str> =
        text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).collect();
    let plain = file(&dir, "plain.txt", &text);
    let sheet = file(&dir, "sheet.csv", format!("bits\n{}\n", captures.join("\n")));
    let of_plain = run(["read", plain.to_str().unwrap(), "--format", "csv"]);
    assert!(of_plain.stderr.contains("drawn fairly"), "{}", of_plain.stderr);
    let of_sheet = run(["read", sheet.to_str().unwrap(), "--format", "csv"]);
    let trimmed = |csv: &str| -> Vec<String> {
        answers(csv).iter().map(|answer| answer.trim_end_matches(',').to_owned()).collect()
    };
    assert_eq!(trimmed(&of_plain.stdout), trimmed(&of_sheet.stdout));
}

#[test]
fn records_name_their_own_source() {
    let dir = tempdir().unwrap();
    let text = "10100000100010000111000011\n".repeat(2_000);
    let (a, b) = (file(&dir, "a.txt", &text), file(&dir, "b.txt", &text));
    let read = run(["read", a.to_str().unwrap(), b.to_str().unwrap(), "--format", "csv"]);
    for name in ["a.txt", "b.txt"] {
        assert_eq!(read.stdout.matches(name).count(), 2_000, "{name}");
    }
}

#[test]
fn decimal_fields_stay_strings() {
    let dir = tempdir().unwrap();
    let table = "[[layout]]\nid=\"b\"\ntitle=\"d\"\nlength=32\nbasis=\"invented\"\n\
                 [[layout.field]]\nrole=\"site\"\nspan=\"1-16\"\ncode=\"bcd4\"\n\
                 [[layout.field]]\nrole=\"card\"\nspan=\"17-32\"\n";
    let table = file(&dir, "t.toml", table);
    let text: String = (0..600).map(|card| format!("{:016b}{card:016b}\n", 0x0042)).collect();
    let captures = file(&dir, "c.txt", text);
    let args = ["read", captures.to_str().unwrap(), "--format", "json", "--table"];
    let read = run(args.into_iter().chain([table.to_str().unwrap()]));
    let objects = read.json();
    assert_eq!(objects.len(), 600);
    assert!(objects.iter().all(|object| object["candidates"][0]["fields"]["site"] == "0042"));
}

#[test]
fn a_pipe_by_name_is_read_once_and_answered() {
    let mut child = command()
        .args(["read", "/dev/stdin", "--format", "csv"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut child.stdin.take().unwrap(), b"10100000100010000111000011\n")
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap().lines().count(), 2);
}

#[test]
fn redirected_inputs_and_devices_are_never_replaced() {
    let dir = tempdir().unwrap();
    let captures = file(&dir, "c.txt", "10100000100010000111000011\n");
    let name = captures.to_str().unwrap();
    let mut over = command();
    over.args(["read", "-", "--html", name]).stdin(std::fs::File::open(&captures).unwrap());
    let output = over.output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("it is an input"));
    assert_eq!(std::fs::read_to_string(&captures).unwrap(), "10100000100010000111000011\n");
    // A socket stands for all that is no file; nothing of the machine's is risked.
    let socket = dir.path().join("socket");
    let _listener = std::os::unix::net::UnixListener::bind(&socket).unwrap();
    let onto = run(["read", name, "--html", socket.to_str().unwrap()]);
    assert_eq!(onto.code, 2, "{}", onto.stderr);
    assert!(onto.stderr.contains("no file"), "{}", onto.stderr);
}
