//! CSV files and workbooks read whole, row by row, each bad row with its line.

mod forms;

use std::collections::HashMap;
use std::io::Read;

use crate::fail::Fail;
use crate::host::Host;
use crate::input::csv::{Records, says_nothing};
use crate::input::encoding;
use crate::input::lines::{Line, Lines, MAX_LINE};
use crate::input::{HELD_MOST, passed_over};
use crate::plain::plain;
use crate::progress;
use crate::rows::{MAX_TEXT, Sheet};
use crate::workbook;

/// Mistakes shown of one file; the rest is counted.
const SHOWN: usize = 20;

/// Reads a sheet; "-" is standard input. Of a workbook it is the sheet of the
/// `choice`, or the first whose header is `known`.
pub fn read(
    host: &dyn Host,
    path: &str,
    choice: Option<&str>,
    known: &dyn Fn(&[String]) -> bool,
) -> Result<Sheet, Fail> {
    let mut file: Box<dyn Read> = match path {
        "-" => Box::new(progress::counted(host, "standard input", host.stdin(), None)),
        path => Box::new(progress::open(host, path).map_err(|error| Fail::file(path, &error))?),
    };
    let mut head = head(path, &mut file)?;
    if workbook::told_by(&head).is_some() {
        let bytes = workbook::bytes(path, head, file)?;
        return progress::during(host, path, || workbook::read(path, bytes, choice, known));
    }
    if choice.is_some() {
        let mend = "leave --sheet out, or name a workbook (.xlsx)";
        return Err(Fail::said(format!(
            "{}: no workbook, so it has no sheets: {mend}",
            plain(path)
        )));
    }
    match forms::sheet(host, path, &mut head, &mut file, known)? {
        Some(sheet) => Ok(sheet),
        None => csv(path, head, file, known),
    }
}

/// The first bytes, as many as tell a workbook.
fn head(path: &str, file: &mut impl Read) -> Result<Vec<u8>, Fail> {
    let mut head = Vec::new();
    file.take(8).read_to_end(&mut head).map_err(|error| Fail::file(path, &error))?;
    Ok(head)
}

fn csv(
    path: &str,
    head: Vec<u8>,
    rest: impl Read,
    known: &dyn Fn(&[String]) -> bool,
) -> Result<Sheet, Fail> {
    let mut wide = encoding::Wide::of_mark(&head);
    let is_wide = wide.is_some();
    let mut lines = Lines::default();
    let mut reading = Reading::of(known);
    let mut bytes = 0;
    let said = |why: String| Fail::said(format!("{}:{why}", plain(path)));
    each_block(path, head.as_slice().chain(rest), |block| {
        bytes += block.len();
        let text = wide.as_mut().map(|wide| wide.text(block));
        let block = text.as_ref().map_or(block, |text| text.as_bytes());
        lines.feed(block, |line| reading.line(line));
        if bytes > MAX_TEXT {
            let most = MAX_TEXT >> 20;
            return Err(said(format!(" larger than {most} MiB: split it, or leave columns out")));
        }
        reading.failed.take().map_or(Ok(()), |why| Err(said(why)))
    })?;
    if let Some(line) = lines.end() {
        reading.line(line);
    }
    reading.give_up();
    if let Some(why) = reading.failed {
        return Err(said(why));
    }
    let narrow = reading.narrow.then_some(encoding::NARROW_READ);
    let notes = is_wide.then_some(encoding::WIDE_READ).into_iter().chain(narrow);
    let notes: Vec<String> = notes.map(str::to_owned).collect();
    let Some((mut sheet, mut records)) = reading.sheet else {
        return Err(said(" the file is empty: write a header, then one card a line".to_owned()));
    };
    records.end().into_iter().for_each(|split| sheet.add(split));
    sheet.notes.extend(notes);
    Ok(sheet)
}

/// Hands on a file block by block.
fn each_block(
    path: &str,
    mut file: impl Read,
    mut on: impl FnMut(&[u8]) -> Result<(), Fail>,
) -> Result<(), Fail> {
    let mut block = vec![0; 1 << 16];
    loop {
        match file.read(&mut block) {
            Ok(0) => return Ok(()),
            Ok(count) => on(&block[..count])?,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(Fail::file(path, &error)),
        }
    }
}

/// A sheet of CSV being read.
struct Reading<'k> {
    /// Whether headings are those that are looked for.
    known: &'k dyn Fn(&[String]) -> bool,
    /// Lines above the header: titles.
    held: Vec<(u64, String)>,
    /// A line was no UTF-8.
    narrow: bool,
    number: u64,
    sheet: Option<(Sheet, Records)>,
    /// Its line, and why the file is not read on.
    failed: Option<String>,
}

impl<'k> Reading<'k> {
    fn of(known: &'k dyn Fn(&[String]) -> bool) -> Reading<'k> {
        Reading { known, held: Vec::new(), narrow: false, number: 0, sheet: None, failed: None }
    }

    fn line(&mut self, line: Line) {
        self.number += 1;
        let number = self.number;
        let text = text(line, number, &mut self.narrow);
        match (&mut self.sheet, text) {
            // One failure is enough.
            _ if self.failed.is_some() => {}
            (Some((sheet, records)), Ok(text)) => {
                records.line(number, &text).into_iter().for_each(|split| sheet.add(split));
                self.failed = sheet.excess().map(|why| format!("{number}: {why}: split the file"));
            }
            (Some((sheet, _)), Err(why)) => {
                sheet.mistakes.push((number, why));
                self.failed = sheet.excess().map(|why| format!("{number}: {why}: split the file"));
            }
            (None, Ok(text)) if says_nothing(&text) => {}
            (None, Ok(text)) => match Records::of_header(&text) {
                Ok((headings, records)) if (self.known)(&headings) => {
                    let titles = self.held.len();
                    let above =
                        (titles > 0).then(|| format!("line {number}: {}", passed_over(titles)));
                    let notes = above.into_iter().collect();
                    self.sheet = Some((
                        Sheet { headings, header: number, notes, ..Sheet::default() },
                        records,
                    ));
                }
                Err(why) if self.held.is_empty() => self.failed = Some(format!("{number}: {why}")),
                _ if self.held.len() < HELD_MOST => self.held.push((number, text)),
                _ => self.give_up(),
            },
            (None, Err(why)) => self.failed = Some(format!("{number}: {why}")),
        }
    }

    /// Where no line is the header that is looked for, the first of those with most
    /// cells is taken for it: what is wrong with it is said.
    fn give_up(&mut self) {
        if self.sheet.is_some() || self.failed.is_some() {
            return;
        }
        let cells = |text: &str| {
            text.split([',', ';', '\t']).filter(|cell| !cell.trim().is_empty()).count()
        };
        let most = self.held.iter().map(|(_, text)| cells(text)).max();
        let Some((number, text)) = self.held.iter().find(|(_, text)| Some(cells(text)) == most)
        else {
            return;
        };
        match Records::of_header(text) {
            Ok((headings, records)) => {
                let sheet = Sheet { headings, header: *number, ..Sheet::default() };
                self.sheet = Some((sheet, records));
            }
            Err(why) => self.failed = Some(format!("{number}: {why}")),
        }
    }
}

fn text(line: Line, number: u64, narrow: &mut bool) -> Result<String, String> {
    match line {
        Line::Whole(bytes) => {
            let text = encoding::text(&bytes);
            *narrow |= matches!(text, std::borrow::Cow::Owned(_));
            let text = text.into_owned();
            Ok(if number == 1 { text.trim_start_matches('\u{feff}').to_owned() } else { text })
        }
        Line::TooLong(length) => {
            Err(format!("the line has {length} bytes, more than {MAX_LINE}: one card a line"))
        }
    }
}

/// Stretches of rows that are named; the rest is left to the count.
const STRETCHES: usize = 12;

/// Ascending lines, those that follow one another as a stretch: "3-9, 12".
fn stretches(lines: &[u64]) -> String {
    let runs = lines.chunk_by(|a, b| *b == *a + 1);
    let run = |run: &[u64]| match run {
        [one] => one.to_string(),
        [first, .., last] => format!("{first}-{last}"),
        [] => String::new(),
    };
    let mut shown: Vec<String> = runs.clone().take(STRETCHES).map(run).collect();
    if runs.count() > STRETCHES {
        shown.push("…".to_owned());
    }
    shown.join(", ")
}

/// All mistakes of a file of so many rows: half a file is not worked on.
pub fn refused(path: &str, all: usize, mut mistakes: Vec<(u64, String)>) -> Fail {
    mistakes.sort();
    let count = mistakes.len();
    // The same mistake on many rows is one to mend.
    let mut of_why: Vec<(String, Vec<u64>)> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for (line, why) in mistakes {
        let at = *place.entry(why).or_insert_with_key(|why| {
            of_why.push((why.clone(), Vec::new()));
            of_why.len() - 1
        });
        of_why[at].1.push(line);
    }
    let said = |(why, lines): &(String, Vec<u64>)| {
        let again = match lines[1..] {
            [] => String::new(),
            [other] => format!(" (row {other} too)"),
            ref others => format!(" ({} rows more: {})", others.len(), stretches(others)),
        };
        format!("{}:{}: {}{again}", plain(path), lines[0], plain(why))
    };
    let mut shown: Vec<String> = of_why.iter().take(SHOWN).map(said).collect();
    let more: usize = of_why.iter().skip(SHOWN).map(|(_, lines)| lines.len()).sum();
    if more > 0 {
        shown.push(format!("and {more} more"));
    }
    if all > count {
        shown.push(format!("{all} rows: {count} refused, {} read", all - count));
    }
    let rows = if count == 1 { "1 row is".to_owned() } else { format!("{count} rows are") };
    Fail::said(format!(
        "{rows} wrong, and nothing is done before they are mended:\n{}",
        shown.join("\n")
    ))
}
