//! The targets.

mod captures;
mod files;
mod probe;
mod sheets;
mod stages;
mod workbook;

pub use captures::{captures_csv, compose, hex, json_lines, lines, text};
pub use files::{plan_json, site, table};
pub use probe::{samples, vcd};
pub use sheets::{cases, found, roster};
pub use stages::{decode, learn, plan, prove, rank};
pub use workbook::workbook;

/// The mill's files, which are in the repository.
const SITE: &str = "mill.toml";
const FOUND: &str = "found.toml";
const ROSTER: &str = "mill.csv";

/// The files that come with every run.
pub(crate) const GIVEN: [(&str, &[u8]); 3] = [
    (SITE, include_bytes!("../../../../fixtures/mill/mill.toml")),
    (FOUND, include_bytes!("../../../../fixtures/mill/found.toml")),
    (ROSTER, include_bytes!("../../../../fixtures/mill/roster.csv")),
];

/// The first byte says which way an input is taken; the rest is the input.
fn choice(data: &[u8], ways: usize) -> Option<(usize, &[u8])> {
    let (first, rest) = data.split_first()?;
    Some((usize::from(*first) % ways, rest))
}

/// CSV as it must be: whole, every record as long as its head.
fn records(text: &str) -> Vec<csv::StringRecord> {
    let mut csv = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
    csv.records().map(|record| record.expect("CSV that reads back")).collect()
}

/// JSON Lines as they must be.
fn objects(text: &str) -> Vec<serde_json::Value> {
    let lines = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|why| panic!("{why}: {line}")));
    lines.collect()
}
