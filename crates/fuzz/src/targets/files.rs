//! Files the library reads whole: tables, site files, plans.

use holdover::file::FileError;
use holdover::layout::{Table, builtin};
use holdover::plan::{Plan, plan as made};
use holdover::site::Site;

use super::{FOUND, ROSTER, SITE};
use crate::tool;

/// Every mistake stands somewhere in the text, and says what and how to mend.
fn told(text: &str, error: &FileError) {
    assert!(!error.mistakes().is_empty());
    for mistake in error.mistakes() {
        assert!(mistake.bytes.start <= text.len() && mistake.bytes.end <= text.len());
        let (line, column) = mistake.line_and_column(text);
        assert!(line >= 1 && column >= 1);
        assert!(!mistake.message.is_empty() && !mistake.mend.is_empty());
    }
}

/// Whether the command line is to take it too: that is slower.
fn now_and_then(text: &str) -> bool {
    text.len().is_multiple_of(8)
}

/// A table: written, it reads back equal.
pub fn table(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let read = Table::from_toml(text);
    match &read {
        Ok(table) => {
            let written = table.to_toml();
            let again = Table::from_toml(&written);
            let again = again.unwrap_or_else(|error| panic!("{error}\n{written}"));
            assert_eq!(again, *table, "{written}");
            assert_eq!(again.to_toml(), written);
        }
        Err(error) => told(text, error),
    }
    if now_and_then(text) {
        let file = tool::file("table.toml", data);
        let lint = tool::run(&["table", "lint", &file]);
        assert_eq!(lint.code, if read.is_ok() { 0 } else { 2 });
        let others: [&[&str]; 4] = [
            &["table", "show", "--table", &file],
            &["table", "list", "--format", "json", "--table", &file],
            &["table", "diff", "built-in", &file],
            &["read", "10100000100010000111000011", "--table", &file],
        ];
        for words in others {
            assert_eq!(tool::run(words).code == 2, read.is_err(), "{words:?}");
        }
    }
}

/// A site file, and the plan of its batches.
pub fn site(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let site = match Site::from_toml(text, builtin()) {
        Ok(site) => site,
        Err(error) => return told(text, &error),
    };
    if let Ok(plan) = made(builtin(), &site, &[]) {
        reads_back(&plan);
    }
    if now_and_then(text) {
        let file = tool::file("site.toml", data);
        tool::run(&["plan", "--site", &file, "--format", "json"]);
        tool::run(&["read", "10100000100010000111000011", "--site", &file]);
    }
}

/// A plan as JSON: written, it reads back equal; whatever it says, proving
/// with it ends.
pub fn plan_json(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let Ok(plan) = serde_json::from_str::<Plan>(text) else {
        if now_and_then(text) {
            let file = tool::file("plan.json", data);
            assert_eq!(tool::run(&["prove", "--plan", &file, "--roster", ROSTER]).code, 2);
        }
        return;
    };
    reads_back(&plan);
    plan.worksheet();
    let file = tool::file("plan.json", data);
    tool::run(&["prove", "--plan", &file, "--roster", ROSTER, "--format", "json"]);
    if now_and_then(text) {
        let tables = ["--table", "built-in", "--table", FOUND];
        let words = ["plan", "--site", SITE, "--roster", ROSTER, "--against", &file];
        tool::run(&[&words[..], &tables].concat());
    }
}

fn reads_back(plan: &Plan) {
    let written = serde_json::to_string(plan).expect("a plan is JSON");
    let again: Plan = serde_json::from_str(&written).unwrap_or_else(|e| panic!("{e}: {written}"));
    assert_eq!(serde_json::to_string(&again).expect("a plan is JSON"), written);
}
