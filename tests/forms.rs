//! The same cards in five forms through four verbs: the same meaning each time.
//! Cards are invented: three of the 26-bit kind, some of 34 bits, sites 65 and
//! 1180, as in the rest of the mill.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use tempfile::{TempDir, tempdir};

use crate::holdover::{Run, file, run};
use crate::workbook::{row, workbook};

/// One set of cards as text, CSV, JSON Lines, a workbook and a probe file.
struct Forms {
    dir: TempDir,
    files: Vec<PathBuf>,
}

fn forms(captures: &[String]) -> Forms {
    let dir = tempdir().unwrap();
    let lines = captures.join("\n") + "\n";
    let objects: String = captures
        .iter()
        .map(|bits| json!({ "bits": bits, "site note": null }).to_string() + "\n")
        .collect();
    let rows: String = std::iter::once(row(1, &["bits"]))
        .chain(captures.iter().enumerate().map(|(i, bits)| row(i + 2, &[bits])))
        .collect();
    let mut files = vec![
        file(&dir, "cards.txt", &lines),
        file(&dir, "cards.csv", format!("# read at the gate\nbits\n{lines}")),
        file(&dir, "cards.jsonl", objects),
        file(&dir, "cards.xlsx", workbook(&rows, &[])),
    ];
    files.push(file(&dir, "cards.vcd", dump(captures)));
    Forms { dir, files }
}

/// Pulses of 50 µs every 1,000 µs, captures a second apart, as a value-change
/// dump (IEEE 1364-2005, 18).
fn dump(captures: &[String]) -> String {
    let mut text = "$timescale 1us $end\n$scope module gate $end\n\
                    $var wire 1 ! D0 $end\n$var wire 1 \" D1 $end\n\
                    $upscope $end\n$enddefinitions $end\n#0\n1!\n1\"\n"
        .to_owned();
    for (i, bits) in captures.iter().enumerate() {
        for (at, bit) in bits.chars().enumerate() {
            let line = if bit == '0' { '!' } else { '"' };
            let from = (i + 1) * 1_000_000 + at * 1_000;
            text += &format!("#{from}\n0{line}\n#{}\n1{line}\n", from + 50);
        }
    }
    text + &format!("#{}\n", (captures.len() + 2) * 1_000_000)
}

fn cards(layout: &str, fields: &[&str]) -> Vec<String> {
    let words = ["compose", layout].into_iter().chain(fields.iter().copied());
    let made = run(words);
    assert_eq!(made.code, 0, "{}", made.stderr);
    made.stdout.lines().map(str::to_owned).collect()
}

/// What of a run's JSON does not speak of the file it came from.
fn meaning(run: &Run, keys: &[&str]) -> Vec<Value> {
    assert!(run.code <= 1, "{}", run.stderr);
    let kept = |value: &Value| -> Value { keys.iter().map(|key| value[*key].clone()).collect() };
    run.json().iter().map(kept).collect()
}

#[test]
fn five_forms_through_four_verbs_mean_the_same() {
    let mut captures = cards("std26", &["site=65", "card=4321-4324"]);
    captures.extend(cards("site34", &["site=1180", "card=40553-40555"]));
    let Forms { dir, files } = forms(&captures);
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n");
    let plan = dir.path().join("plan.json");
    let each = |of: &dyn Fn(&Path) -> Vec<Value>| {
        let all: Vec<Vec<Value>> = files.iter().map(|file| of(file)).collect();
        for (file, meaning) in files.iter().zip(&all) {
            assert_eq!(*meaning, all[0], "{}", file.display());
        }
        all[0].clone()
    };
    let read = each(&|file| {
        let keys = ["bits", "length", "verdict", "candidates", "none_probability"];
        let read = run([Path::new("read"), file, Path::new("--format"), Path::new("json")]);
        // A reader has a name in the probe file alone; its weight is the same.
        meaning(&read, &keys)
    });
    assert_eq!(read.len(), captures.len());
    let learnt = each(&|file| {
        let learnt = run([Path::new("learn"), file, Path::new("--format"), Path::new("json")]);
        meaning(&learnt, &["length", "samples", "checks", "fields"])
    });
    assert_eq!(learnt.len(), 2);
    let planned = each(&|file| {
        let (site, file) = (site.to_str().unwrap(), file.to_str().unwrap());
        let words = ["plan", "--site", site, "--roster", file, "--format", "json"];
        let made = run(words.into_iter().chain(["-o", plan.to_str().unwrap()]));
        meaning(&made, &["slots", "kept", "lost", "conflicts"])
    });
    assert_eq!(planned.len(), 1);
    let proved = each(&|file| {
        let (plan, file) = (plan.to_str().unwrap(), file.to_str().unwrap());
        let proved = run(["prove", "--plan", plan, "--roster", file, "--format", "json"]);
        meaning(&proved, &["holds", "expected", "got"])
    });
    assert_eq!(proved.len(), captures.len());
    assert!(proved.iter().all(|row| row[0] == true), "{proved:?}");
    let recorded = each(&|file| {
        let cases = dir.path().join("cases.csv");
        let (to, file) = (cases.to_str().unwrap(), file.to_str().unwrap());
        let run = run(["prove", "--cases", file, "--record", to]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        vec![Value::String(std::fs::read_to_string(&cases).unwrap())]
    });
    assert!(recorded[0].as_str().unwrap().contains("std26"));
}

/// A roster as JSON Lines, with numbers as numbers and more keys than are known.
#[test]
fn a_roster_is_json_lines_too() {
    let dir = tempdir().unwrap();
    let text = "{\"layout\":\"std26\",\"site\":65,\"card\":4321,\"holder\":\"A\",\"floor\":null}\n\
                {\"layout\":\"std26\",\"site\":65,\"card\":4322,\"state\":\"lost\",\"tags\":[1,\"x\"]}\n";
    let roster = file(&dir, "roster.jsonl", text);
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n");
    let words = ["plan", "--site", site.to_str().unwrap(), "--roster", roster.to_str().unwrap()];
    let made = run(words);
    assert_eq!(made.code, 0, "{}", made.stderr);
    assert!(made.stdout.contains("2 rows: 1 kept, 0 boxed, 1 blocked"), "{}", made.stdout);
    let broken = file(&dir, "broken.jsonl", format!("{text}{{\"layout\":\n"));
    let words = ["plan", "--site", site.to_str().unwrap(), "--roster", broken.to_str().unwrap()];
    let made = run(words);
    assert!(made.code == 2 && made.stderr.contains("broken.jsonl:3: "), "{}", made.stderr);
}

/// A capture whose reading is in doubt is no row of a roster: it is to be read
/// again, in whatever form it comes.
#[test]
fn a_capture_in_doubt_is_read_again_before_it_is_planned() {
    let dir = tempdir().unwrap();
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n");
    let bits = "10100000100010000111000011";
    let csv = file(&dir, "r.csv", format!("bits,unsure\n{bits},suspect@4\n{bits},\n"));
    let json = format!("{{\"bits\":\"{bits}\",\"unsure\":{{\"suspect\":[4]}}}}\n");
    let json = file(&dir, "r.jsonl", json);
    for (roster, line) in [(csv, "r.csv:2"), (json, "r.jsonl:1")] {
        let words =
            ["plan", "--site", site.to_str().unwrap(), "--roster", roster.to_str().unwrap()];
        let made = run(words);
        assert_eq!(made.code, 2, "{}", made.stdout);
        let said = format!("{line}: a pulse of this capture is in doubt");
        assert!(made.stderr.contains(&said), "{}", made.stderr);
    }
}

/// What `read` takes for the capture of an object is the card of a roster too:
/// lists of bits, digits whose count is another key, and nothing in doubt.
#[test]
fn objects_hold_the_same_card_for_a_roster() {
    let dir = tempdir().unwrap();
    let bits = "10100000100010000111000011";
    let list: Vec<bool> = bits.chars().map(|bit| bit == '1').collect();
    let objects = [
        json!({ "bits": bits, "unsure": [] }),
        json!({ "bits": list, "unsure": {} }),
        json!({ "hex": "28221C3", "length": 26 }),
        json!({ "bits": 26, "hex": "0x28221C3" }),
        json!({ "carried": { "holder": "A" }, "bits": bits, "length": 26 }),
    ];
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n");
    for object in objects {
        let roster = file(&dir, "one.jsonl", format!("{object}\n"));
        let read = run([Path::new("read"), &roster, Path::new("--format"), Path::new("json")]);
        assert_eq!(read.json()[0]["bits"], bits, "{object}");
        let words = ["plan", "--site", site.to_str().unwrap(), "--format", "json", "--roster"];
        let made = run(words.into_iter().chain([roster.to_str().unwrap()]));
        assert_eq!(made.code, 0, "{object}: {}", made.stderr);
        let plan = &made.json()[0];
        assert_eq!(
            (&plan["kept"], &plan["slots"][0]["layouts"][0]),
            (&json!(1), &json!("std26")),
            "{object}"
        );
    }
    let roster = file(&dir, "none.jsonl", "{\"bits\":10100000100010000111000011}\n");
    let words = ["plan", "--site", site.to_str().unwrap(), "--roster", roster.to_str().unwrap()];
    let made = run(words);
    assert!(made.code == 2 && made.stderr.contains("write it in quotes"), "{}", made.stderr);
}
