//! Regression cases: captures with what they must decode as.

use holdover::bits::{Capture, CaptureError, CaptureErrorKind, What, find_in_cell};
use holdover::decode::Reading;
use holdover::prove::{Case, prove_cases};
use holdover::rank::{Answer, Batch, Observation};
use holdover::states::RowState;

use super::{Proved, Row, Side};
use crate::fail::Fail;
use crate::files;
use crate::formats::write_csv;
use crate::host::Host;
use crate::input::headings;
use crate::input::headings::column_of;
use crate::plain::plain;
use crate::progress::{self, Progress};
use crate::request;
use crate::sheet;
use crate::terminal;

/// The verdict of what is no capture at all.
const INVALID: &str = "invalid";

const HEAD: [&str; 5] = ["bits", "verdict", "layout", "site", "card"];

/// Whether a heading is that column's: of a capture's own columns every name that
/// captures have.
fn is(heading: &str, name: &str) -> bool {
    heading.trim().eq_ignore_ascii_case(name)
        || column_of(heading).is_some() && column_of(heading) == column_of(name)
}

/// Runs each case alone, so that no row's answer depends on another's.
pub fn rows(host: &dyn Host, file: &str, request: &request::Prove) -> Result<Proved, Fail> {
    let table = files::tables(host, &request.tables.0)?;
    let choice = request.sheet.as_deref();
    let named = |headings: &[String]| headings.iter().any(|h| is(h, "bits"));
    let sheet = sheet::read(host, file, choice, &named)?;
    let column = |name: &str| sheet.headings.iter().position(|h| is(h, name));
    let strangers = || {
        let headings = sheet.headings.iter().map(String::as_str);
        headings.filter(|heading| !HEAD.iter().any(|name| is(heading, name)))
    };
    let Some(bits) = column("bits") else {
        return Err(no_header(file, &sheet.headings, strangers()));
    };
    say_what_is_not_read(host, file, &sheet.notes, strangers());
    let (layout, site, card) = (column("layout"), column("site"), column("card"));
    let verdict = column("verdict");
    if layout.is_none() && verdict.is_none() && request.record.is_none() {
        let mend = "add a column layout or verdict, or --record FILE to write today's answers";
        return Err(Fail::said(format!("{}:1: the cases expect nothing: {mend}", plain(file))));
    }
    let mut mistakes = sheet.mistakes;
    let (mut cases, mut recorded) = (Vec::new(), Vec::new());
    let mut batch = Batch::new(&table, None);
    let mut progress = Progress::of_rows(host, "reading the cases", sheet.rows.len());
    for (line, cells) in &sheet.rows {
        progress.add(1);
        let cell = |at: Option<usize>| {
            at.map(|at| cells[at].trim().to_owned()).filter(|cell| !cell.is_empty())
        };
        let read = find_in_cell(&cells[bits]).and_then(|found| match found.what {
            What::Bits(capture) => Ok(capture),
            What::Digits(_) => Err(CaptureErrorKind::NoCount.into()),
        });
        if let Err(error) = &read
            && cell(verdict).as_deref() != Some(INVALID)
        {
            mistakes.push((*line, error.to_string()));
            continue;
        }
        let case = Case {
            line: *line as usize,
            bits: read.clone(),
            layout: cell(layout),
            site: cell(site),
            card: cell(card),
            verdict: cell(verdict),
        };
        if let Some(Err(Fail::Said(why))) = case.layout.as_ref().map(|id| files::layout(&table, id))
        {
            mistakes.push((*line, why));
        }
        cases.push(case);
        if request.record.is_some() {
            recorded.push(answer_today(&mut batch, &cells[bits], &read));
        }
    }
    drop(progress);
    if !mistakes.is_empty() {
        return Err(sheet::refused(file, sheet.rows.len().max(mistakes.len()), mistakes));
    }
    if let Some(path) = &request.record {
        files::write(host, path, &csv_of(&recorded)?)?;
    }
    let proofs = progress::during(host, "proving", || prove_cases(&table, &cases));
    let rows = proofs
        .into_iter()
        .zip(&cases)
        .map(|(proof, case)| {
            let (expected, got) = (Side::Case(proof.expected), Side::Case(proof.got));
            let bits = case.bits.as_ref().ok().copied();
            let number = proof.line as u64;
            let (state, holds) = (RowState::Kept, proof.holds);
            Row { name: "line", number, state, holds, unread: false, expected, got, bits }
        })
        .collect();
    Ok(Proved { rows, table, plan: None, sum: String::new(), notes: Vec::new(), stale: false })
}

/// Today's answer as a case: the layout only where it can be asked for.
fn record(bits: &str, answer: &Answer<'_>) -> [String; 5] {
    let best = answer
        .candidates
        .first()
        .filter(|best| best.holds() && best.reading == Reading::AsCaptured);
    let decode = best.map(|best| best.decode());
    let text =
        |value: Option<holdover::layout::Value>| value.map_or_else(String::new, |v| v.to_string());
    [
        // A minus sign in front separates nothing, and would be made inert.
        bits.trim_end().trim_start_matches(|c: char| c == '-' || c.is_whitespace()).to_owned(),
        answer.verdict.name().to_owned(),
        best.map_or_else(String::new, |best| best.layout.id().to_owned()),
        decode.as_ref().map_or_else(String::new, |d| text(d.site())),
        decode.as_ref().map_or_else(String::new, |d| text(d.card())),
    ]
}

/// Notes of the file, and the columns that cases have no use for.
fn say_what_is_not_read<'h>(
    host: &dyn Host,
    file: &str,
    notes: &[String],
    strangers: impl Iterator<Item = &'h str> + Clone,
) {
    let remark = |note: &str| terminal::remark(host, &format!("{}: {note}", plain(file)));
    let near = headings::near(strangers.clone(), &HEAD, headings::rename);
    notes.iter().cloned().chain(near).for_each(|note| remark(&note));
    let unread: Vec<String> = strangers.map(|heading| format!("{:?}", plain(heading))).collect();
    if !unread.is_empty() {
        let (unread, known) = (unread.join(", "), HEAD.join(", "));
        remark(&format!("not read: {unread}; the columns of cases are {known}"));
    }
}

/// Cases as a CSV, their header first.
fn csv_of(recorded: &[[String; 5]]) -> Result<Vec<u8>, Fail> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    write_csv(&mut csv, &HEAD)?;
    recorded.iter().try_for_each(|cells| write_csv(&mut csv, cells))?;
    csv.into_inner().map_err(|error| Fail::said(format!("cannot write CSV: {error}")))
}

/// A case that expects what the capture is answered with today.
fn answer_today(
    batch: &mut Batch<'_>,
    text: &str,
    read: &Result<Capture, CaptureError>,
) -> [String; 5] {
    match read {
        Ok(capture) => {
            let observation = Observation::from(*capture);
            batch.clear();
            batch.see(&observation);
            record(text, &batch.fit().answer(&observation))
        }
        Err(_) => {
            let mut row = [const { String::new() }; 5];
            (row[0], row[1]) = (text.trim().to_owned(), INVALID.to_owned());
            row
        }
    }
}

/// What to say where no column holds the bits.
fn no_header<'h>(
    file: &str,
    headings: &[String],
    strangers: impl Iterator<Item = &'h str>,
) -> Fail {
    let shown: Vec<String> = headings.iter().take(12).map(|h| plain(h)).collect();
    let mend = match headings::meant(strangers, &HEAD) {
        Some((heading, near)) => format!("did you mean {near:?} by {heading:?}?"),
        None => "name the columns".to_owned(),
    };
    Fail::said(format!(
        "{}:1: expected a header bits,layout,site,card or bits,verdict, found {}: {mend}",
        plain(file),
        shown.join(",")
    ))
}
