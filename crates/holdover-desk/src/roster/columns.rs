//! A roster's sheet: which column is what, and its rows as cells.

use std::collections::HashSet;

use holdover::states::{RowState, States};

use crate::fail::Fail;
use crate::formats::listed;
use crate::host::Host;
use crate::input::csv::refuse_twins;
use crate::input::headings::{self, Column, OWN, Own, column_of, own_column};
use crate::input::words::Words;
use crate::plain::plain;
use crate::sheet;

/// One row's cells, sorted out.
#[derive(Clone, Default)]
pub struct Cells {
    pub bits: String,
    pub layout: String,
    pub site: String,
    pub card: String,
    pub printed: String,
    pub holder: String,
    pub state: String,
    pub reader: String,
    pub unsure: String,
}

/// The rows of a file, and the lines that are none.
pub struct Lines {
    pub lines: Vec<(u64, Cells)>,
    pub mistakes: Vec<(u64, String)>,
    pub about: Vec<String>,
}

pub fn split(
    host: &dyn Host,
    path: &str,
    choice: Option<&str>,
    words: &Words,
    states: &States,
) -> Result<Lines, Fail> {
    let known = |own: &[String]| columns(&words.headings(own)).is_ok();
    let sheet = sheet::read(host, path, choice, &known)?;
    let own = words.headings(&sheet.headings);
    let missing = words.missing(&sheet.headings).map_or(Ok(()), Err);
    let columns = missing.and_then(|()| columns(&own)).map_err(|why| {
        let line = sheet.header.max(1);
        Fail::said(format!("{}:{line}: {why}", plain(path)))
    })?;
    let mut about = sheet.notes;
    let strangers = columns.iter().zip(&own).filter(|(c, _)| **c == (None, None));
    let strangers = strangers.map(|(_, heading)| heading.as_str());
    if !columns.iter().any(|(column, _)| *column == Some(Column::State)) {
        let unread = (0..own.len()).filter(|at| columns[*at] == (None, None));
        for at in unread {
            let cells = sheet.rows.iter().map(|(line, cells)| (*line, cells[at].as_str()));
            if let Some(why) = says_states(&sheet.headings[at], cells, states) {
                return Err(Fail::said(format!("{}: {why}", plain(path))));
            }
        }
    }
    about.extend(headings::near(strangers, &OWN, headings::map_or_rename));
    about.extend(nameless(&sheet.headings, &sheet.rows));
    let rows = sheet.rows.into_iter().map(|(line, cells)| {
        let mut cells = sorted(&columns, cells);
        cells.layout = words.kind(cells.layout);
        (line, cells)
    });
    Ok(Lines { lines: rows.collect(), mistakes: sheet.mistakes, about })
}

/// Cells that are looked at to tell yes and no from dates. Judgement, no source.
const ASKED: usize = 1000;

/// Why a column that is not read may not be passed over: cards that are to stay shut
/// would be kept.
fn says_states<'c>(
    heading: &str,
    cells: impl Iterator<Item = (u64, &'c str)>,
    states: &States,
) -> Option<String> {
    let heading = plain(heading.trim());
    let mut filled = cells.filter(|(_, cell)| !cell.trim().is_empty()).peekable();
    if !heading.is_empty() && states.of(&heading).is_ok() {
        // "issued" may well have dates.
        let (line, cell) = *filled.peek()?;
        let words: HashSet<&str> = filled.map(|(_, cell)| cell.trim()).take(ASKED).collect();
        let told = |word: &&str| matches!(*word, "0" | "1") || !word.contains(char::is_numeric);
        if words.len() > 2 || !words.iter().all(told) {
            return None;
        }
        return Some(format!(
            "the column {heading:?} says what is to become of cards ({:?} in line {line}), and is not \
             read: add --column \"{heading}=state\", and say under [states] in the site file which \
             of its words mean kept and which blocked",
            plain(cell.trim())
        ));
    }
    let mut shut = None;
    for (line, cell) in filled {
        match states.of(cell) {
            Ok(RowState::Kept) => {}
            Ok(_) => shut = shut.or(Some((line, cell.trim()))),
            Err(_) => return None,
        }
    }
    let (line, cell) = shut?;
    Some(format!(
        "the column {heading:?} has states ({:?} in line {line}), and there is no column state: add \
         --column \"{heading}=state\", or name it so; leave it out where it says something else",
        plain(cell)
    ))
}

/// Columns with cells and no heading, as merged ones are.
fn nameless(headings: &[String], rows: &[(u64, Vec<String>)]) -> Option<String> {
    let filled = |at: &usize| rows.iter().any(|(_, cells)| !cells[*at].trim().is_empty());
    let blank = (0..headings.len()).filter(|at| headings[*at].trim().is_empty());
    let places: Vec<String> = blank.filter(filled).map(|at| (at + 1).to_string()).collect();
    let (column, has) = if places.len() == 1 { ("column", "has") } else { ("columns", "have") };
    (!places.is_empty()).then(|| {
        format!(
            "{column} {} {has} no heading, and {} not read: unmerge the cells of the header, and \
             name each column",
            listed(&places),
            if places.len() == 1 { "is" } else { "are" }
        )
    })
}

type Columns = Vec<(Option<Column>, Option<Own>)>;

fn columns(headings: &[String]) -> Result<Columns, String> {
    let columns: Vec<_> = headings.iter().map(|h| column_of(h)).collect();
    let own: Vec<_> = headings.iter().map(|h| own_column(h)).collect();
    refuse_twins(headings, &columns)?;
    let has = |column| columns.contains(&Some(column));
    let numbers = has(Column::Card) || has(Column::Printed);
    let by_numbers = own.contains(&Some(Own::Layout)) && numbers;
    if !has(Column::Bits) && !by_numbers {
        let shown: Vec<_> = headings.iter().take(12).map(|h| plain(h)).collect();
        let strangers = headings.iter().zip(columns.iter().zip(&own));
        let strangers = strangers.filter(|(_, c)| *c == (&None, &None)).map(|(h, _)| h.as_str());
        let mend = match headings::meant(strangers, &OWN) {
            Some((heading, near)) => {
                format!(
                    "did you mean {near:?} by {heading:?}? Then add --column \"{heading}={near}\""
                )
            }
            None => "name the columns so, or add --column \"YOUR HEADING=bits\"".to_owned(),
        };
        return Err(format!(
            "expected a header with bits, or with layout, site and card, found {}: {mend}",
            shown.join(", ")
        ));
    }
    Ok(columns.into_iter().zip(own).collect())
}

fn sorted(columns: &[(Option<Column>, Option<Own>)], cells: Vec<String>) -> Cells {
    let mut row = Cells::default();
    for (column, cell) in columns.iter().zip(cells) {
        let place = match column {
            (_, Some(Own::Layout)) => &mut row.layout,
            (_, Some(Own::Holder)) => &mut row.holder,
            (Some(Column::State), _) => &mut row.state,
            (Some(Column::Bits), _) => &mut row.bits,
            (Some(Column::Site), _) => &mut row.site,
            (Some(Column::Card), _) => &mut row.card,
            (Some(Column::Printed), _) => &mut row.printed,
            (Some(Column::Reader), _) => &mut row.reader,
            (Some(Column::Unsure), _) => &mut row.unsure,
            (None, None) => continue,
        };
        *place = cell;
    }
    row
}
