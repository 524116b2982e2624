//! The typed answers of `holdover-desk` and their schema files, held against
//! what the binary prints: byte for byte the types, and the files by a
//! validator that knows nothing of us (Python's jsonschema, of the reference
//! implementations listed by json-schema.org).

use std::fs;
use std::path::PathBuf;
use std::process::Command;

use holdover_desk::answer::{Composed, Layout, Learned, Plan, Proof, Read};
use holdover_desk::schema;
use serde::{Serialize, de::DeserializeOwned};

use crate::calls::calls;
use crate::holdover::root;
use crate::own;

/// A line of output prints back as it was printed.
fn prints_back<T: Serialize + DeserializeOwned>(line: &str) {
    let value: T = serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"));
    assert_eq!(serde_json::to_string(&value).unwrap(), line);
}

fn place(name: &str) -> PathBuf {
    root().join("crates/holdover-desk/schema").join(format!("{name}.json"))
}

/// Lines of real output, by the schema that tells what they are.
fn printed() -> Vec<(&'static str, String)> {
    let mut printed = Vec::new();
    let mut take = |words: &[String], output: &[u8]| {
        let name = match (&words[0][..], words.get(1).map(String::as_str)) {
            _ if !words.iter().any(|word| word == "json") => return,
            _ if words.iter().any(|word| word == "--summary") => return,
            ("read", _) => "read",
            ("learn", _) => "learn",
            ("plan", _) => "plan",
            ("prove", _) => "prove",
            ("compose", _) => "compose",
            ("table", Some("list")) => "layout",
            _ => return,
        };
        let output = String::from_utf8(output.to_vec()).unwrap();
        printed.extend(output.lines().map(|line| (name, line.to_owned())));
    };
    for call in calls() {
        take(&call.words, &call.expected().output);
    }
    for (words, output) in own::hostile() {
        take(&words, &output);
    }
    printed
}

#[test]
fn answers_print_back_as_they_came() {
    let printed = printed();
    for (name, _) in schema::FILES {
        assert!(printed.iter().any(|(printed, _)| *printed == name), "{name}");
    }
    for (name, line) in printed {
        match name {
            "read" => prints_back::<Read>(&line),
            "learn" => prints_back::<Learned>(&line),
            "plan" => prints_back::<Plan>(&line),
            "prove" => prints_back::<Proof>(&line),
            "compose" => prints_back::<Composed>(&line),
            _ => prints_back::<Layout>(&line),
        }
    }
}

/// `HOLDOVER_BLESS=1` writes them anew.
#[test]
fn schema_files_are_those_of_the_types() {
    for (name, text) in schema::generated() {
        if std::env::var_os("HOLDOVER_BLESS").is_some() {
            fs::write(place(name), &text).unwrap();
        }
        assert_eq!(fs::read_to_string(place(name)).unwrap(), text, "{name}");
    }
    let names: Vec<&str> = schema::FILES.iter().map(|(name, _)| *name).collect();
    assert_eq!(names, schema::generated().map(|(name, _)| name));
}

/// Without Python's jsonschema this test says so and passes; `HOLDOVER_OUTSIDE=1`
/// demands it.
#[test]
fn real_output_is_valid_by_another_validator() {
    let python = |script: &str| Command::new("python3").args(["-c", script]).output();
    let there = python("import jsonschema; jsonschema.Draft202012Validator");
    if !there.is_ok_and(|ran| ran.status.success()) {
        assert!(std::env::var_os("HOLDOVER_OUTSIDE").is_none(), "install python3-jsonschema");
        return eprintln!("not checked: python3-jsonschema is not installed");
    }
    let dir = tempfile::tempdir().unwrap();
    let printed = printed();
    for (name, _) in schema::FILES {
        let lines: Vec<&str> = printed
            .iter()
            .filter(|(printed, _)| *printed == name)
            .flat_map(|(_, line)| [line, "\n"])
            .collect();
        fs::write(dir.path().join(name), lines.concat()).unwrap();
        fs::copy(place(name), dir.path().join(format!("{name}.json"))).unwrap();
    }
    let script = r#"
import json, pathlib, sys
from jsonschema import Draft202012Validator
for file in sorted(pathlib.Path(sys.argv[1]).glob("*.json")):
    schema = json.loads(file.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    check = Draft202012Validator(schema)
    lines = file.with_suffix("").read_text(encoding="utf-8").split("\n")[:-1]
    assert lines, file
    for line in lines:
        value = json.loads(line)
        check.validate(value)
        # What lacks a key, or has one of another kind, is refused.
        wrong = dict(value)
        wrong.pop("bits" if "bits" in value else list(value)[0])
        assert not check.is_valid(wrong), (file, line)
        assert not check.is_valid([value]), (file, line)
"#;
    let ran = Command::new("python3").args(["-c", script]).arg(dir.path()).output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
}
