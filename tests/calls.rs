//! The calls of `fixtures/cases/calls.json`: words and files in; exit code,
//! output, words to the person and files out. The binary's answers are kept,
//! `HOLDOVER_BLESS=1` rewrites them, and every other way in must give the same,
//! byte for byte.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::PathBuf;
use std::process::Stdio;

use holdover_desk::Desk;
use serde::{Deserialize, Serialize};
use tempfile::tempdir;

use crate::holdover::{command, root};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Calls {
    schema: u32,
    cases: Vec<Call>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Call {
    pub name: String,
    pub words: Vec<String>,
    /// Name on the desk to file under `fixtures/`; "-" is standard input.
    pub files: BTreeMap<String, String>,
    /// Names of the files it writes.
    pub writes: Vec<String>,
    #[serde(default)]
    code: u8,
    /// Standard error.
    #[serde(default)]
    said: String,
}

/// What came of a call.
#[derive(Debug, PartialEq)]
pub struct Came {
    pub code: u8,
    pub output: Vec<u8>,
    pub said: String,
    pub files: BTreeMap<String, Vec<u8>>,
}

impl Call {
    fn kept(&self, name: &str) -> PathBuf {
        let name = name.replace('/', "-");
        root().join("fixtures/cases/calls").join(format!("{}.{name}", self.name))
    }

    /// Its files, by name.
    pub fn given(&self) -> impl Iterator<Item = (&str, Vec<u8>)> {
        self.files.iter().map(|(name, path)| {
            let path = root().join("fixtures").join(path);
            (name.as_str(), fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display())))
        })
    }

    /// What must come of it.
    pub fn expected(&self) -> Came {
        let read = |name: &str| fs::read(self.kept(name)).unwrap_or_default();
        Came {
            code: self.code,
            output: read("out"),
            said: self.said.clone(),
            files: self.writes.iter().map(|name| (name.clone(), read(name))).collect(),
        }
    }

    fn by_binary(&self) -> Came {
        let dir = tempdir().unwrap();
        let mut command = command();
        command.current_dir(&dir).args(&self.words).stdin(Stdio::null());
        for (name, bytes) in self.given() {
            let path = dir.path().join(if name == "-" { "standard input" } else { name });
            fs::write(&path, bytes).unwrap();
            if name == "-" {
                command.stdin(File::open(path).unwrap());
            }
        }
        let output = command.output().unwrap();
        let written = self.writes.iter().map(|name| {
            (
                name.clone(),
                fs::read(dir.path().join(name)).unwrap_or_else(|e| panic!("{name}: {e}")),
            )
        });
        Came {
            code: output.status.code().unwrap().try_into().unwrap(),
            output: output.stdout,
            said: String::from_utf8(output.stderr).unwrap(),
            files: written.collect(),
        }
    }

    fn by_desk(&self) -> Came {
        let mut desk = Desk::new();
        self.given().for_each(|(name, bytes)| desk.put(name, bytes));
        let ran = holdover_args::run(&mut desk, &self.words);
        self.given().for_each(|(name, bytes)| assert_eq!(desk.take(name), Some(bytes), "{name}"));
        let names: Vec<String> = desk.names().map(str::to_owned).collect();
        let files = names.into_iter().map(|name| (name.clone(), desk.take(&name).unwrap()));
        Came { code: ran.code, output: ran.output, said: ran.said, files: files.collect() }
    }
}

pub fn calls() -> Vec<Call> {
    let calls = root().join("fixtures/cases/calls.json");
    let calls: Calls = serde_json::from_str(&fs::read_to_string(calls).unwrap()).unwrap();
    assert_eq!(calls.schema, holdover_desk::SCHEMA);
    calls.cases
}

#[test]
fn the_binary_answers_as_kept() {
    let mut calls = calls();
    if std::env::var_os("HOLDOVER_BLESS").is_some() {
        for call in &mut calls {
            let came = call.by_binary();
            fs::write(call.kept("out"), &came.output).unwrap();
            came.files.iter().for_each(|(name, bytes)| fs::write(call.kept(name), bytes).unwrap());
            (call.code, call.said) = (came.code, came.said);
        }
        let calls = Calls { schema: holdover_desk::SCHEMA, cases: calls };
        let text = serde_json::to_string_pretty(&calls).unwrap() + "\n";
        return fs::write(root().join("fixtures/cases/calls.json"), text).unwrap();
    }
    for call in &calls {
        same(call, call.by_binary());
    }
}

#[test]
fn a_desk_answers_as_kept() {
    for call in calls() {
        same(&call, call.by_desk());
    }
}

fn same(call: &Call, came: Came) {
    let (name, expected) = (&call.name, call.expected());
    assert_eq!(came.said, expected.said, "{name}");
    let texts = [&came.output, &expected.output].map(|bytes| String::from_utf8_lossy(bytes));
    assert_eq!(texts[0], texts[1], "{name}");
    assert_eq!(came, expected, "{name}");
}
