//! The old system's own list beside captures and rosters: whose row is whose.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use holdover::learn::{ListColumn, ListMatch, Sample, join, match_list};

use crate::fail::Fail;
use crate::formats::first;
use crate::host::Host;
use crate::input::headings::{Column, column_of, is_holder};
use crate::input::words::Words;
use crate::plain::plain;
use crate::sheet;

/// The share of captures that must find their row by holder or print before that
/// is the way (judgement, no source): fewer, and the columns are no such thing.
const JOINED: f64 = 0.5;

/// Columns of numbers that are tried (bounds time and false alarms).
const COLUMNS: usize = 32;

/// A list that was read.
pub struct List {
    name: String,
    columns: Vec<ListColumn>,
    holders: Vec<String>,
    prints: Vec<String>,
    /// The line of each row.
    lines: Vec<u64>,
}

/// How the rows were found, to be said.
#[derive(Default)]
pub struct Joined {
    /// For people.
    pub notes: Vec<String>,
    /// Accidents expected in finding them.
    pub false_alarms: f64,
}

/// Reads a list: any table with a header.
pub fn read(host: &dyn Host, path: &str, words: &Words) -> Result<(List, Vec<String>), Fail> {
    let number = |cell: &str| !cell.trim().is_empty() && cell.trim().parse::<f64>().is_ok();
    let known = |headings: &[String]| {
        let filled = headings.iter().filter(|heading| !heading.trim().is_empty()).count();
        filled > 1 && !headings.iter().any(|heading| number(heading))
    };
    let sheet = sheet::read(host, path, None, &known)?;
    if !sheet.mistakes.is_empty() {
        let all = sheet.rows.len() + sheet.mistakes.len();
        return Err(sheet::refused(path, all, sheet.mistakes));
    }
    let texts = |column: usize| -> Vec<String> {
        sheet.rows.iter().map(|(_, cells)| cells[column].trim().to_owned()).collect()
    };
    let (mut columns, mut holders, mut prints) = (Vec::new(), Vec::new(), Vec::new());
    for (at, own) in sheet.headings.iter().enumerate() {
        let (cells, heading) = (texts(at), words.means(own));
        if is_holder(heading) {
            holders = cells.clone();
        } else if column_of(heading) == Some(Column::Printed) {
            prints = cells.clone();
        }
        let digits = |cell: &String| {
            let plain = !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit());
            plain.then(|| cell.parse().ok()).flatten()
        };
        let numbers: Vec<Option<u128>> = cells.iter().map(digits).collect();
        if numbers.iter().flatten().count() * 2 > cells.len() {
            columns.push(ListColumn { name: Arc::from(plain(own.trim())), numbers });
        }
    }
    let name = plain(path);
    if columns.is_empty() {
        return Err(Fail::said(format!(
            "{name}: no column of whole numbers: keep card numbers as digits, without points and \
             exponents"
        )));
    }
    columns.truncate(COLUMNS);
    let mut notes: Vec<String> = sheet.notes.iter().map(|note| format!("{name}: {note}")).collect();
    for own in &sheet.headings {
        let not_taken = match column_of(words.means(own)) {
            Some(Column::State) => "whether a card is kept or blocked",
            Some(Column::Site) => "site codes",
            _ => continue,
        };
        notes.push(format!(
            "{name}: the column {:?} is not used: {not_taken} must be in the roster",
            plain(own.trim())
        ));
    }
    let lines = sheet.rows.iter().map(|(line, _)| *line).collect();
    Ok((List { name, columns, holders, prints, lines }, notes))
}

/// Words without case and needless spaces.
fn normal(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// For each key its row of the list, where one row alone has it; nothing where too
/// few are found.
fn by_key(keys: &[Option<&str>], cells: &[String]) -> Option<Vec<Option<usize>>> {
    let mut rows: HashMap<String, Option<usize>> = HashMap::new();
    for (row, cell) in cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
        rows.entry(normal(cell)).and_modify(|row| *row = None).or_insert(Some(row));
    }
    let row = |key: &Option<&str>| rows.get(&normal((*key)?)).copied().flatten();
    let found: Vec<Option<usize>> = keys.iter().map(row).collect();
    let count = found.iter().flatten().count();
    (count > 0 && count as f64 >= JOINED * keys.len() as f64).then_some(found)
}

impl List {
    /// The row of each card, by its holder or else by its print, and by which;
    /// nothing where too few have one.
    pub fn rows(
        &self,
        holders: &[Option<&str>],
        prints: &[Option<&str>],
    ) -> Option<(Vec<Option<usize>>, &'static str)> {
        let by_holder = by_key(holders, &self.holders).map(|rows| (rows, "holder"));
        by_holder.or_else(|| by_key(prints, &self.prints).map(|rows| (rows, "print")))
    }

    /// What to say where no row is known to be a roster's.
    pub fn strange(&self) -> String {
        format!(
            "no row of {} is known to be a card's of the roster: half of the roster needs a \
             \"holder\" or a \"printed\" that is in both",
            self.name
        )
    }

    /// Its columns of numbers.
    pub fn columns(&self) -> &[ListColumn] {
        &self.columns
    }

    /// What to say of rows that are none of these: nobody is dropped in silence.
    pub fn left_over(&self, rows: &[Option<usize>]) -> Option<String> {
        let known: HashSet<usize> = rows.iter().flatten().copied().collect();
        let others = self.lines.iter().enumerate().filter(|(row, _)| !known.contains(row));
        let lines: Vec<usize> = others.map(|(_, line)| *line as usize).collect();
        (!lines.is_empty()).then(|| {
            format!(
                "of {}, {} of {} rows are matched with no row of the roster ({}): nobody there has \
                 their holder or print, or several rows of the list have it",
                self.name,
                lines.len(),
                self.lines.len(),
                first(&lines)
            )
        })
    }

    /// Gives each sample the numbers of its row: by holder, by print, or by the
    /// numbers themselves.
    pub fn join(&self, samples: &mut [Sample], holders: &[Option<String>]) -> Joined {
        let people: Vec<Option<&str>> = holders.iter().map(Option::as_deref).collect();
        let printed: Vec<Option<&str>> = samples.iter().map(|s| s.printed.as_deref()).collect();
        if let Some((rows, by)) = self.rows(&people, &printed) {
            let count = rows.iter().flatten().count();
            let note = format!(
                "{count} of {} captures have their row in {}, found by {by}",
                rows.len(),
                self.name
            );
            join(samples, &rows, &self.columns);
            return Joined { notes: vec![note], false_alarms: 0.0 };
        }
        let captures: Vec<_> = samples.iter().map(|sample| sample.capture).collect();
        match match_list(&captures, &self.columns) {
            Some(found) => {
                join(samples, &found.rows, &self.columns);
                Joined { notes: vec![self.told(&found)], false_alarms: found.false_alarms }
            }
            None => Joined {
                notes: vec![format!(
                    "{}: no row of it is known to be a capture's: no holder or print is in both, \
                     and no run of bits has its numbers beyond what accident gives; add a column \
                     \"holder\" or \"printed\" to both",
                    self.name
                )],
                false_alarms: 0.0,
            },
        }
    }

    fn told(&self, found: &ListMatch) -> String {
        let name = &self.columns[found.column].name;
        let sum = match found.offset {
            0 => String::new(),
            offset if offset > 0 => format!(" plus {offset}"),
            offset => format!(" minus {}", offset.unsigned_abs()),
        };
        format!(
            "bits {}{sum} are in the column {name:?} of {} for {} of {} cards; by accident that is \
             expected {:.0e} times",
            found.span, self.name, found.matches, found.cards, found.false_alarms
        )
    }
}
