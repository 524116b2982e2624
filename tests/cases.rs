//! The cases of `fixtures/cases`, through the library and the binary.

use std::collections::BTreeMap;
use std::fs;

use holdover::layout::builtin;
use holdover::rank::{Batch, Observation};
use serde::Deserialize;
use serde_json::Value;

use crate::holdover as binary;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    case: Vec<Case>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    name: String,
    /// Document, edition and clause, or how the value was made.
    source: String,
    capture: String,
    layout: String,
    #[serde(default = "identified")]
    verdict: String,
    #[serde(default)]
    fields: BTreeMap<String, String>,
    /// Checks that fail; all others hold.
    #[serde(default)]
    failed: Vec<String>,
    /// Words that a note holds.
    #[serde(default)]
    notes: Vec<String>,
}

fn identified() -> String {
    "identified".to_owned()
}

fn cases() -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for entry in fs::read_dir(binary::root().join("fixtures/cases")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "toml") {
            continue;
        }
        let file: File = toml::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        for case in file.case {
            assert!(!case.source.is_empty(), "{}", case.name);
            let invented = case.source.ends_with("; bytes invented");
            assert_eq!(case.source.starts_with("rule: "), invented, "{}", case.name);
            assert!(cases.iter().all(|other| other.name != case.name), "twice: {}", case.name);
            cases.push(case);
        }
    }
    assert!(!cases.is_empty());
    cases
}

#[test]
fn library() {
    for case in cases() {
        let observation =
            Observation::from(case.capture.parse::<holdover::bits::Capture>().unwrap());
        let mut batch = Batch::new(builtin(), None);
        batch.see(&observation);
        let answer = batch.fit().answer(&observation);
        let best = &answer.candidates[0];
        assert_eq!(answer.verdict.name(), case.verdict, "{}", case.name);
        assert_eq!(best.layout.id(), case.layout, "{}", case.name);
        let decode = best.decode();
        let fields: BTreeMap<String, String> =
            decode.fields().map(|(role, value)| (role.to_owned(), value.to_string())).collect();
        for (role, value) in &case.fields {
            assert_eq!(fields.get(role), Some(value), "{}", case.name);
        }
        let failed: Vec<&str> =
            decode.outcomes().filter(|(_, holds)| !holds).map(|(check, _)| check).collect();
        assert_eq!(failed, case.failed, "{}", case.name);
    }
}

#[test]
fn binary() {
    for case in cases() {
        let run = binary::run(["read", "--format", "json", &case.capture]);
        let object = &run.json()[0];
        let best = &object["candidates"][0];
        assert_eq!(object["verdict"], case.verdict.as_str(), "{}", case.name);
        assert_eq!(run.code, i32::from(case.verdict != "identified"), "{}", case.name);
        assert_eq!(best["layout"], case.layout.as_str(), "{}", case.name);
        for (role, value) in &case.fields {
            let found = match &best["fields"][role] {
                Value::String(text) => text.clone(),
                other => other.to_string(),
            };
            assert_eq!(found, *value, "{}", case.name);
        }
        let checks = best["checks"].as_array().unwrap();
        let failed: Vec<&str> = checks
            .iter()
            .filter(|check| check["holds"] == false)
            .map(|check| check["check"].as_str().unwrap())
            .collect();
        assert_eq!(failed, case.failed, "{}", case.name);
        for words in &case.notes {
            let notes = object["notes"].as_array().unwrap();
            let said = notes.iter().any(|note| note.as_str().unwrap().contains(words));
            assert!(said, "{}: {notes:?}", case.name);
        }
    }
}
