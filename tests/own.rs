//! The desk against the binary: the same bytes for any words and any files,
//! and nothing of the machine.

use std::fs::{self, File};
use std::process::Stdio;

use fastrand::Rng;
use holdover_desk::answer::{Number, Read, Verdict};
use holdover_desk::{Desk, request};
use tempfile::tempdir;

use crate::holdover::{command, root};

/// The binary's answer to words and files.
fn by_binary(words: &[String], files: &[(String, Vec<u8>)]) -> (u8, Vec<u8>, String) {
    let dir = tempdir().unwrap();
    let mut command = command();
    command.current_dir(&dir).args(words);
    let stdin = dir.path().join("standard input");
    fs::write(&stdin, []).unwrap();
    for (name, bytes) in files {
        fs::write(if name == "-" { stdin.clone() } else { dir.path().join(name) }, bytes).unwrap();
    }
    let output = command.stdin(Stdio::from(File::open(&stdin).unwrap())).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    (output.status.code().unwrap().try_into().unwrap(), output.stdout, said)
}

/// Words and files made by chance: some of them sound, most of them not.
fn drawn(rng: &mut Rng) -> (Vec<String>, Vec<(String, Vec<u8>)>) {
    let pieces = [
        "read",
        "learn",
        "plan",
        "prove",
        "compose",
        "table",
        "signal",
        "list",
        "show",
        "lint",
        "diff",
        "init",
        "--format",
        "json",
        "csv",
        "text",
        "--site",
        "--roster",
        "--cases",
        "--plan",
        "--table",
        "built-in",
        "--summary",
        "--mask",
        "-q",
        "--html",
        "-o",
        "a",
        "b",
        "c",
        "d",
        "-",
        "--",
        "std26",
        "site=1",
        "card=1-3",
        "10100000100010000111000011",
        "0x70123440/26",
        "--color",
        "always",
        "--batch",
        "--stream",
        "--worksheet",
        "w",
        "--help",
        "--d0",
        "--gap",
        "1e3",
        "-1",
        "--record",
        "--sheet",
        "\u{202e}",
        "",
        "--port",
        "x",
        "--against",
        "--enrolment",
        "e.xlsx",
        "--cutover",
        "--version",
        "completions",
        "bash",
    ];
    // Most begin as a sound command does.
    let sound = [
        "",
        "read a b",
        "read -",
        "learn c",
        "plan --site a --roster b",
        "prove --cases c",
        "compose std26 site=1 card=1-3",
        "table show std26",
        "signal d",
    ];
    let sound = rng.choice(sound).unwrap().split_whitespace().map(str::to_owned);
    let more = (0..rng.usize(..4)).map(|_| rng.choice(pieces).unwrap().to_owned());
    let words = sound.chain(more).collect();
    let files: [(&str, &[&str]); 5] = [
        ("a", &["mill/mill.toml", "mill/survey.csv"]),
        ("b", &["mill/roster.csv", "mill/reissued.csv", "mill/roster.xlsx"]),
        ("c", &["mill/drawer.csv", "cases/calls/cases.csv"]),
        ("d", &["mill/gate.vcd", "cases/calls/hostile.csv"]),
        ("-", &["mill/survey.csv", "mill/first-card.txt", "cases/calls/wide.txt"]),
    ];
    let files = files.map(|(name, from)| {
        let from = root().join("fixtures").join(rng.choice(from).unwrap());
        let mut bytes = fs::read(from).unwrap();
        for _ in 0..rng.usize(..4).saturating_sub(1) {
            let (at, byte) = (rng.usize(..bytes.len()), rng.u8(..));
            match rng.u8(..3) {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => bytes.truncate(at.max(1)),
            }
        }
        if rng.u8(..8) == 0 {
            bytes = (0..rng.usize(..200)).map(|_| rng.u8(..)).collect();
        }
        (name.to_owned(), bytes)
    });
    (words, files.into())
}

/// Output of hostile input, with its words.
pub fn hostile() -> Vec<(Vec<String>, Vec<u8>)> {
    let mut rng = Rng::with_seed(21);
    let verbs: [&[&str]; 5] = [
        &["read", "-", "--site", "b"],
        &["read", "a", "--mask"],
        &["learn", "a"],
        &["plan", "--site", "b", "--roster", "a"],
        &["prove", "--cases", "a"],
    ];
    let mut printed = Vec::new();
    for round in 0..400 {
        let (_, files) = drawn(&mut rng);
        let mut desk = Desk::new();
        files.into_iter().for_each(|(name, bytes)| desk.put(name, bytes));
        let mill = |name: &str| fs::read(root().join("fixtures/mill").join(name)).unwrap();
        desk.put("b", mill("mill.toml"));
        let words = verbs[round % verbs.len()].iter().chain(&["--format", "json"]);
        let words: Vec<String> = words.map(|word| word.to_string()).collect();
        let ran = holdover_args::run(&mut desk, &words);
        printed.push((words, ran.output));
    }
    printed
}

#[test]
fn any_words_and_files_come_to_what_the_binary_says() {
    let mut rng = Rng::with_seed(22);
    let mut codes = [0; 3];
    for _ in 0..600 {
        let (words, files) = drawn(&mut rng);
        let mut desk = Desk::new();
        files.iter().for_each(|(name, bytes)| desk.put(name.as_str(), bytes.as_slice()));
        let ran = holdover_args::run(&mut desk, &words);
        codes[usize::from(ran.code)] += 1;
        assert!(ran.code != 2 || !ran.said.is_empty(), "{words:?}");
        // A desk has neither ports nor a shell.
        let own = ["--port", "completions", "manual"];
        if words.iter().any(|word| own.contains(&word.as_str())) {
            continue;
        }
        let came = (ran.code, ran.output, ran.said);
        assert_eq!(came, by_binary(&words, &files), "{words:?}");
    }
    assert!(codes.iter().all(|count| *count > 20), "{codes:?}");
}

#[test]
fn what_a_desk_has_not_is_refused() {
    let mut desk = Desk::new();
    desk.put("-", "1010\n");
    for words in [
        &["read", "--port", "COM1"][..],
        &["completions", "bash"],
        &["manual"],
        // Standard input is no file of that name, and nothing is written to it.
        &["table", "lint", "-"],
        &["learn", "a", "-o", "-"],
    ] {
        let ran = holdover_args::run(&mut desk, words);
        assert_eq!(ran.code, 2, "{words:?}");
        assert!(ran.said.starts_with("error: "), "{}", ran.said);
    }
    assert_eq!(desk.names().collect::<Vec<_>>(), ["-"]);
}

#[test]
fn ten_megabytes_of_anything_are_answered() {
    let mut rng = Rng::with_seed(23);
    let noise: Vec<u8> = (0..10_000_000).map(|_| rng.u8(..)).collect();
    let captures = "10100000100010000111000011\n".repeat(370_370).into_bytes();
    for bytes in [noise, captures, vec![b'1'; 10_000_000], vec![b'{'; 10_000_000]] {
        let mut desk = Desk::new();
        desk.put("-", bytes.clone());
        desk.put("f", bytes);
        for words in [
            &["read", "-", "--format", "csv"][..],
            &["learn", "f"],
            &["signal", "f"],
            &["table", "lint", "f"],
            &["plan", "--site", "f", "--roster", "f"],
            &["prove", "--cases", "f"],
            &["prove", "--plan", "f", "--roster", "f"],
        ] {
            let ran = holdover_args::run(&mut desk, words);
            assert!(ran.code < 2 || !ran.said.is_empty(), "{words:?}");
        }
    }
}

#[test]
fn calls_know_nothing_of_each_other() {
    let words = ["prove", "--cases", "cases.csv"];
    let mut desk = Desk::new();
    desk.put("cases.csv", "bits,layuot\n10100000100010000111000011,std26\n");
    // What is said once a call is said in every call.
    let first = holdover_args::run(&mut desk, &words);
    assert!(!first.said.is_empty());
    assert_eq!(holdover_args::run(&mut desk, &words), first);
    // Colour is asked for a call, and standard error has none.
    let coloured = holdover_args::run(&mut desk, &["read", "1010", "--color", "always"]);
    assert!(coloured.output.contains(&0x1b) && !coloured.said.contains('\x1b'));
    assert!(!holdover_args::run(&mut desk, &["read", "1010"]).output.contains(&0x1b));
    // Many at once, each in its thread.
    std::thread::scope(|scope| {
        for card in 0..8 {
            scope.spawn(move || {
                let mut desk = Desk::new();
                for _ in 0..20 {
                    let made = holdover_args::run(
                        &mut desk,
                        &["compose", "std26", "site=65", &format!("card={card}")],
                    );
                    desk.put("-", made.output);
                    let read = desk.read(&request::Read::of(["-"])).unwrap();
                    let Read::Card(read) = &read[0] else { panic!("{read:?}") };
                    assert_eq!(read.candidates[0].fields["card"], Number::Exact(card));
                }
            });
        }
    });
}

#[test]
fn answers_are_typed() {
    let mut desk = Desk::new();
    for name in ["mill.toml", "reissued.csv", "drawer.csv", "survey.csv"] {
        desk.put(name, fs::read(root().join("fixtures/mill").join(name)).unwrap());
    }
    let learned = desk
        .learn(&request::Learn {
            inputs: vec!["drawer.csv".into()],
            output: Some("found.toml".into()),
            ..request::Learn::default()
        })
        .unwrap();
    assert_eq!(learned[0].misread, [9, 17]);
    let tables = request::Tables(vec!["found.toml".into(), "built-in".into()]);
    let survey = request::Read {
        site: Some("mill.toml".into()),
        tables: tables.clone(),
        ..request::Read::of(["survey.csv"])
    };
    let read = desk.read(&survey).unwrap();
    let known =
        |read: &&Read| matches!(read, Read::Card(card) if card.verdict == Verdict::Identified);
    assert_eq!(read.iter().filter(known).count(), read.len());
    let plan = desk
        .plan(&request::Plan {
            site: "mill.toml".into(),
            roster: Some("reissued.csv".into()),
            tables,
            output: Some("plan.json".into()),
            ..request::Plan::default()
        })
        .unwrap();
    assert_eq!(plan.kept, Number::Exact(2005));
    // The file is the same plan.
    let file: holdover_desk::answer::Plan =
        serde_json::from_slice(desk.get("plan.json").unwrap()).unwrap();
    assert_eq!(file, holdover_desk::answer::Plan { alternative: None, ..plan.clone() });
    let proofs = desk
        .prove(&request::Prove {
            plan: Some("plan.json".into()),
            roster: Some("reissued.csv".into()),
            site: Some("mill.toml".into()),
            ..request::Prove::default()
        })
        .unwrap();
    assert!(proofs.iter().all(|proof| proof.holds));
    let made = desk
        .compose(&request::Compose {
            layout: Some("serial80".into()),
            values: vec!["card=1208925819614629174706175".into()],
            ..request::Compose::default()
        })
        .unwrap();
    assert_eq!(made[0].fields["card"].value(), Some((1 << 80) - 1));
    // Half an answer is none.
    let refused = desk.read(&request::Read::of(["survey.csv", "missing.csv"])).unwrap_err();
    assert!(refused.said().contains("missing.csv: no such file"), "{refused}");
    let summary = request::Read { summary: true, ..request::Read::of(["survey.csv"]) };
    assert!(desk.read(&summary).is_err());
    // A line that is no capture is an answer.
    desk.put("-", "01\n012\n");
    assert!(matches!(
        desk.read(&request::Read::of(["-"])).unwrap()[..],
        [Read::Card(_), Read::Invalid(_)]
    ));
}
