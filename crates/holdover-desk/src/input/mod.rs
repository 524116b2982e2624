//! Captures from arguments, files and pipes, told apart by their content.

mod blocks;
pub mod csv;
pub mod encoding;
pub mod headings;
mod json;
pub mod lines;
pub mod pasted;
mod probe;
mod source;
pub mod words;

use std::collections::{HashMap, hash_map};
use std::io::{self, Read, Seek};
use std::sync::Arc;
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, SystemTime};

use holdover::bits::{BitColumns, CaptureText, Digits};
use holdover::rank::{Answer, Batch, Doubt, Fit, Known, Observation};
use holdover_signal::Probe;
use serde_json::Value;

use crate::fail::Fail;
use crate::host::{Blocks, File, Host, Lasting};
use crate::plain::plain;
use crate::progress::Counted;
use crate::workbook;
use crate::{progress, terminal};
use blocks::{Kept, Parser};
pub use json::rows as object_rows;
pub use source::{HELD_MOST, Source, passed_over, text_row};
use words::Words;

/// A pipe that is silent this long is answered (fixed by the design).
const PAUSE: Duration = Duration::from_millis(200);

/// Bytes read at once.
const BLOCK: usize = 1 << 16;

/// One line of input, read or not.
#[derive(Debug, Clone)]
pub struct Row {
    /// File name, "-" for standard input, "argument" for the command line.
    pub source: Arc<str>,
    /// Line of the source, from 1; of arguments, which one.
    pub line: u64,
    /// The capture, or why it is none.
    pub entry: Result<Entry, String>,
}

/// A capture with all that came beside it.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The capture and what is known of it.
    pub observation: Observation,
    /// Digits whose bit count is not known; the observation has them as they stand.
    pub digits: Option<Digits>,
    /// The same as text, as it was given.
    pub given: Option<String>,
    /// What is to become of the card, in the input's word.
    pub state: Option<String>,
    /// What had to be assumed to read it.
    pub notes: Vec<String>,
    /// Why numbers that stand beside it are not used.
    pub unused: Vec<String>,
    /// Columns to carry through to the output.
    pub carried: Carried,
}

impl From<Observation> for Entry {
    fn from(observation: Observation) -> Entry {
        Entry {
            observation,
            digits: None,
            given: None,
            state: None,
            notes: Vec::new(),
            unused: Vec::new(),
            carried: Carried::default(),
        }
    }
}

impl Entry {
    /// Leaves out numbers that a spreadsheet has rounded.
    fn leave_out_rounded(&mut self) {
        let known = &mut self.observation.known;
        for number in [&mut known.site, &mut known.card, &mut known.printed] {
            if let Some(why) = number.as_deref().and_then(csv::spoilt) {
                self.unused.push(format!("{why}; it is not used"));
                *number = None;
            }
        }
    }

    /// Adds it to a batch.
    pub fn seen_by(&self, batch: &mut Batch<'_>) {
        let Observation { reader, known, .. } = &self.observation;
        match &self.digits {
            Some(digits) => batch.see_digits(reader, digits, known),
            None => batch.see(&self.observation),
        }
    }

    /// Its answer; of digits, over all lengths.
    pub fn answered_by<'t>(&self, fit: &Fit<'_, 't>) -> Answer<'t> {
        let Observation { reader, known, .. } = &self.observation;
        match &self.digits {
            Some(digits) => fit.answer_digits(reader, digits, known),
            None => fit.answer(&self.observation),
        }
    }

    /// Refuses digits of unknown length, where bits are needed.
    pub fn counted(self) -> Result<Entry, String> {
        match self.given {
            None => Ok(self),
            Some(_) => Err("no bit count is given: write 0x…/bits; `holdover read` says what it \
                            could be"
                .to_owned()),
        }
    }
}

/// Columns beside the bits, as the input has them.
#[derive(Debug, Clone, Default)]
pub struct Carried {
    /// Their headings.
    pub headings: Arc<Vec<String>>,
    /// Their cells, one a heading.
    pub cells: Vec<String>,
    /// The same as JSON has them, of their own types; nothing where they came as text.
    pub values: Vec<Value>,
}

impl Carried {
    /// Heading and cell, in the input's order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (&str, &str)> {
        self.headings.iter().map(String::as_str).zip(self.cells.iter().map(String::as_str))
    }

    /// Heading and value, as they go into JSON.
    pub fn json(&self) -> serde_json::Map<String, Value> {
        let value = |(at, (heading, cell)): (usize, (&str, &str))| {
            let value = self.values.get(at).cloned();
            (heading.to_owned(), value.unwrap_or_else(|| cell.into()))
        };
        self.iter().enumerate().map(value).collect()
    }

    /// The cell under a heading.
    pub fn cell(&self, heading: &str) -> Option<&str> {
        self.iter().find(|(h, _)| h.eq_ignore_ascii_case(heading)).map(|(_, cell)| cell)
    }
}

/// What happens while input is read.
pub enum Event<'e> {
    /// Lines came.
    Rows(Vec<Row>),
    /// Many lines of captures came, the first of that number.
    Text { source: &'e Arc<str>, first_line: u64, plain: &'e [BitColumns] },
    /// Which of a reader's lines is which was guessed.
    Guessed(String),
    /// A live pipe paused.
    Pause,
}

/// Reads every input in turn and hands on what comes; `wait` makes a pipe
/// count as a whole file.
pub fn read(
    host: &dyn Host,
    inputs: &[String],
    probe: &Probe,
    wait: bool,
    mut on: impl FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    Inputs::new(host, inputs, wait)?.read(probe, false, &mut on)
}

/// The same of whole files, with the sheet that is meant where an input is a
/// workbook, and what its headings mean.
pub fn read_sheets(
    host: &dyn Host,
    inputs: &[String],
    (choice, words): (Option<&str>, &Arc<Words>),
    probe: &Probe,
    mut on: impl FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    let words = words.clone();
    let mut inputs = Inputs { choice, words, ..Inputs::new(host, inputs, true)? };
    inputs.read(probe, false, &mut on)
}

/// The inputs of a command, which can be read more than once if none is live.
pub struct Inputs<'a> {
    host: &'a dyn Host,
    names: &'a [String],
    wait: bool,
    /// The sheet that is meant of a workbook.
    choice: Option<&'a str>,
    /// What headings mean.
    words: Arc<Words>,
    /// Standard input as a file, and where it began: its own, or a private
    /// copy of a pipe.
    stdin: Option<(File, u64)>,
    /// Private copies of what can be read only once, by name.
    copies: HashMap<String, File>,
    /// Each file as it was when it was first opened.
    seen: HashMap<String, Stamp>,
    /// What was parsed of each, and the bytes of memory that takes.
    kept: HashMap<String, Kept>,
    taken: usize,
}

/// What changes when a file does.
#[derive(PartialEq, Eq)]
struct Stamp {
    bytes: u64,
    modified: Option<SystemTime>,
}

impl<'a> Inputs<'a> {
    /// Captures, names of files, and "-" for standard input.
    pub fn new(host: &'a dyn Host, names: &'a [String], wait: bool) -> Result<Inputs<'a>, Fail> {
        if names.iter().filter(|input| *input == "-").count() > 1 {
            return Err(Fail::said("standard input is named twice: write \"-\" once"));
        }
        Ok(Inputs {
            host,
            names,
            wait,
            choice: None,
            words: Arc::default(),
            stdin: None,
            copies: HashMap::new(),
            seen: HashMap::new(),
            kept: HashMap::new(),
            taken: 0,
        })
    }

    /// The same, with what the command line says of headings.
    pub fn with(self, words: Words) -> Inputs<'a> {
        Inputs { words: Arc::new(words), ..self }
    }

    /// Whether there is a pipe among them that is not waited for.
    pub fn live(&self) -> bool {
        !self.wait && self.names.iter().any(|name| name == "-") && self.host.stdin_file().is_none()
    }

    /// Reads every input in turn and hands on what comes; `blocks` asks for
    /// lines of captures as they are.
    pub fn read(
        &mut self,
        probe: &Probe,
        blocks: bool,
        on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
    ) -> Result<(), Fail> {
        for (i, input) in self.names.iter().enumerate() {
            if input == "-" {
                match self.live() {
                    true => {
                        live(self.host, ("-", &self.words), self.host.stdin_blocks(), probe, on)?
                    }
                    false => {
                        let file = self.stdin()?;
                        let again = self.unchanged("-", &file)?;
                        let from = file.try_clone().map_err(|error| Fail::file("-", &error))?;
                        let counted = progress::counted(self.host, "-", from, None);
                        self.whole("-", counted, probe, blocks, on)?;
                        if again {
                            self.unchanged("-", &file)?;
                        }
                    }
                }
            } else if input.parse::<CaptureText>().is_ok() {
                on(Event::Rows(vec![argument(i, input)]))?;
            } else if self.host.exists(input) {
                let file = self.file(input)?;
                let again = self.unchanged(input, &file)?;
                match workbook(input, &file)? {
                    Some(bytes) => sheet(self.host, input, bytes, (self.choice, &self.words), on)?,
                    None => {
                        let total = file.stamp().ok().map(|(bytes, _)| bytes);
                        let from = file.try_clone().map_err(|error| Fail::file(input, &error))?;
                        let counted = progress::counted(self.host, input, from, total);
                        self.whole(input, counted, probe, blocks, on)?;
                    }
                }
                // What grows while it is read once does no harm.
                if again {
                    self.unchanged(input, &file)?;
                }
            } else if looks_like_a_capture(input) || pasted::line(input).is_ok() {
                on(Event::Rows(vec![argument(i, input)]))?;
            } else {
                let input = plain(input);
                let message =
                    format!("{input}: no such file, and no capture of 0 and 1: check the name");
                return Err(Fail::said(message));
            }
        }
        Ok(())
    }

    /// Reads a source to its end.
    fn whole(
        &mut self,
        name: &str,
        from: Counted<File>,
        probe: &Probe,
        blocks: bool,
        on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
    ) -> Result<(), Fail> {
        let parser = blocks.then(|| {
            let kept = self.kept.entry(name.to_owned()).or_default();
            Parser::new(kept, &mut self.taken)
        });
        whole(self.host, (name, &self.words), from, probe, parser, on)
    }

    /// Refuses a file that is not what it was when it was first opened: its
    /// captures would be answered by others. Whether it was opened before.
    fn unchanged(&mut self, name: &str, file: &File) -> Result<bool, Fail> {
        let (bytes, modified) = file.stamp().map_err(|error| Fail::file(name, &error))?;
        let now = Stamp { bytes, modified };
        match self.seen.entry(name.to_owned()) {
            hash_map::Entry::Occupied(before) if *before.get() != now => Err(Fail::said(format!(
                "{}: the file changed while it was read: run it again",
                plain(name)
            ))),
            hash_map::Entry::Occupied(_) => Ok(true),
            hash_map::Entry::Vacant(place) => {
                place.insert(now);
                Ok(false)
            }
        }
    }

    /// A file from its start, or the copy of a pipe, which opens only once.
    fn file(&mut self, name: &str) -> Result<File, Fail> {
        let failed = |error: io::Error| Fail::file(name, &error);
        if let Some(copy) = self.copies.get_mut(name) {
            copy.rewind().map_err(failed)?;
            return copy.try_clone().map_err(failed);
        }
        match self.host.open(name).and_then(|file| self.host.lasting(file)).map_err(failed)? {
            Lasting::Itself(file) => Ok(file),
            Lasting::Copy(copy) => {
                self.copies.insert(name.to_owned(), copy);
                self.file(name)
            }
            Lasting::Directory => {
                Err(Fail::said(format!("{name}: is a directory: name a file in it")))
            }
        }
    }

    /// Standard input from where it began. A pipe is kept in a file without a
    /// name, which nobody else can open and which is gone with the command.
    fn stdin(&mut self) -> Result<File, Fail> {
        let failed = |error: io::Error| Fail::file("-", &error);
        if self.stdin.is_none() {
            self.stdin = Some(match self.host.stdin_file() {
                Some(mut file) => {
                    let at = file.stream_position().map_err(failed)?;
                    (file, at)
                }
                None => (self.host.stdin_copy().map_err(failed)?, 0),
            });
        }
        let Some((file, at)) = &mut self.stdin else { return Err(Fail::said("-: not read")) };
        file.seek(io::SeekFrom::Start(*at)).map_err(failed)?;
        file.try_clone().map_err(failed)
    }
}

fn argument(i: usize, text: &str) -> Row {
    let entry = pasted::line(text).map(|pasted| pasted.entry(text, Known::default()));
    Row { source: "argument".into(), line: i as u64 + 1, entry }
}

/// A capture as a cell of a table has it.
pub fn captures_text(entry: &Entry) -> String {
    entry.given.clone().unwrap_or_else(|| entry.observation.capture.to_string())
}

/// What to say of a capture with a pulse in doubt.
fn doubt_note(doubt: &Doubt) -> Option<String> {
    (!doubt.is_empty())
        .then(|| "the probe file shows a pulse in doubt: a bit may be lost or gained".to_owned())
}

/// Digits and separators only: meant as a capture, not as a file's name.
fn looks_like_a_capture(text: &str) -> bool {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    let first = digits.starts_with(|c: char| c.is_ascii_hexdigit());
    (first || text.starts_with("0x"))
        && digits.chars().all(|c| c.is_ascii_hexdigit() || " _-:/".contains(c))
        && digits.chars().any(|c| c.is_ascii_digit())
}

/// The bytes of a file that is a workbook. Only what can be read again from
/// its start is looked at; a pipe is none.
fn workbook(name: &str, mut file: &File) -> Result<Option<Vec<u8>>, Fail> {
    if !file.is_file() {
        return Ok(None);
    }
    let failed = |error| Fail::file(name, &error);
    let mut head = Vec::new();
    file.take(8).read_to_end(&mut head).map_err(failed)?;
    match workbook::told_by(&head) {
        Some(_) => workbook::bytes(name, head, file).map(Some),
        None => {
            file.rewind().map_err(failed)?;
            Ok(None)
        }
    }
}

/// Hands on the rows of a workbook's sheet.
fn sheet(
    host: &dyn Host,
    name: &str,
    bytes: Vec<u8>,
    (choice, words): (Option<&str>, &Words),
    on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    let known = |headings: &[String]| csv::Sheet::of_cells(headings, words).is_ok();
    let read = progress::during(host, name, || workbook::read(name, bytes, choice, &known))?;
    let captures = csv::Sheet::of_cells(&read.headings, words).map_err(Fail::Said)?;
    let shown = plain(name);
    let notes = read.notes.into_iter().chain(captures.near());
    notes.for_each(|note| terminal::remark(host, &format!("{shown}: {note}")));
    let source: Arc<str> = name.into();
    let good = read.rows.into_iter().map(|(line, cells)| (line, captures.entry(Ok(cells))));
    let bad = read.mistakes.into_iter().map(|(line, why)| (line, Err(why)));
    let mut rows: Vec<Row> =
        good.chain(bad).map(|(line, entry)| Row { source: source.clone(), line, entry }).collect();
    rows.sort_by_key(|row| row.line);
    on(Event::Rows(rows))
}

/// Hands on lines that come after so many others.
fn hand_on(
    source: &Arc<str>,
    before: &mut u64,
    plain: &[BitColumns],
    on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    on(Event::Text { source, first_line: *before + 1, plain })?;
    *before += plain.iter().map(BitColumns::count).sum::<u64>();
    Ok(())
}

/// Reads a source to its end. A parser takes lines of captures by the block.
fn whole(
    host: &dyn Host,
    (name, words): (&str, &Arc<Words>),
    mut from: Counted<File>,
    probe: &Probe,
    mut parser: Option<Parser<'_>>,
    on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    let failed = |error| Fail::file(name, &error);
    let mut source = Source::new(host, name, probe).with(words);
    let mut block = vec![0; if parser.is_some() { blocks::BLOCK } else { BLOCK }];
    let mut rows = Vec::new();
    // Bytes that were looked at, and those of a line that the last block began.
    let (mut done, mut begun) = (0, 0);
    let mut most = if parser.is_some() { blocks::FIRST_BLOCK } else { BLOCK };
    loop {
        if let Some(parser) = &mut parser
            && let Some((source, before)) = source.whole_lines()
            && let Some((groups, bytes)) = parser.known(done)
        {
            groups.iter().try_for_each(|plain| hand_on(source, before, plain, on))?;
            from.skip(bytes - begun as u64).map_err(failed)?;
            (done, begun) = (done + bytes, 0);
        }
        let count = match blocks::fill(&mut from, &mut block[begun..most]).map_err(failed)? {
            0 => break,
            count => begun + count,
        };
        most = block.len();
        begun = 0;
        // One line that fills the block is too long, and said to be.
        let end = memchr::memrchr(b'\n', &block[..count]).map_or(count, |at| at + 1);
        match (source.whole_lines(), &mut parser) {
            (Some((source, before)), Some(parser)) if block[end - 1] == b'\n' => {
                hand_on(source, before, parser.parse(done, &block[..end]), on)?;
            }
            _ => {
                source.feed(&block[..end], &mut rows);
                on(Event::Rows(std::mem::take(&mut rows)))?;
            }
        }
        if parser.is_some() && source.whole_lines().is_some() {
            // What is left goes in front of the next block.
            block.copy_within(end..count, 0);
            begun = count - end;
        } else {
            source.feed(&block[end..count], &mut rows);
            on(Event::Rows(std::mem::take(&mut rows)))?;
        }
        done += (count - begun) as u64;
    }
    source.feed(&block[..begun], &mut rows);
    let guessed = source.end(&mut rows);
    on(Event::Rows(rows))?;
    guessed.into_iter().try_for_each(|reader| on(Event::Guessed(reader)))
}

/// Follows a serial port that prints a capture a line, until it is stopped.
pub fn follow(
    host: &dyn Host,
    port: &str,
    baud: u32,
    probe: &Probe,
    on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    live(host, (port, &Arc::default()), host.port(port, baud)?, probe, on)
}

/// Hands on what comes live, and each pause.
fn live(
    host: &dyn Host,
    (name, words): (&str, &Arc<Words>),
    blocks: Blocks,
    probe: &Probe,
    on: &mut dyn FnMut(Event<'_>) -> Result<(), Fail>,
) -> Result<(), Fail> {
    let mut source = Source::new(host, name, probe).with(words);
    let mut rows = Vec::new();
    loop {
        match blocks.recv_timeout(PAUSE) {
            Ok(Ok(block)) => {
                source.feed(&block, &mut rows);
                on(Event::Rows(std::mem::take(&mut rows)))?;
            }
            Ok(Err(error)) => return Err(Fail::file(name, &error)),
            Err(RecvTimeoutError::Timeout) => {
                source.pause(&mut rows);
                on(Event::Rows(std::mem::take(&mut rows)))?;
                on(Event::Pause)?;
            }
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    let guessed = source.end(&mut rows);
    on(Event::Rows(rows))?;
    guessed.into_iter().try_for_each(|reader| on(Event::Guessed(reader)))
}
