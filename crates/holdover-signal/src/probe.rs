//! A probe file from its first byte to its last capture: what it is, which
//! lines are meant, and the reads as they come.

use std::io::Read;

use crate::csv::{Layout, Look, Table};
use crate::error::{Fault, SignalError, SignalErrorKind, listed, shown};
use crate::lines::{self, Candidate, Choice, Pairing, Pick};
use crate::options::Options;
use crate::read::CardRead;
use crate::sniff::{InputKind, is_dump, looks_binary};
use crate::stream::{BLOCK, Window, read_block, rows, to_line_end, words};
use crate::summary::{Chosen, Summary};
use crate::track::Tracker;
use crate::vcd::{self, Dump};

/// Reads probe files with one set of options.
///
/// Memory is bounded by a constant, whatever the file's size; reads are handed
/// out as soon as they are framed.
///
/// # Examples
/// ```
/// use holdover_signal::{Options, Probe};
/// let file = "time_us,D0,D1\n0,1,1\n1000,0,1\n1050,1,1\n3000,1,0\n3050,1,1\n500000,1,1\n";
/// let mut bits = Vec::new();
/// let summary = Probe::new(Options::default())?
///     .read_from(file.as_bytes(), |read| bits.push(read.bits.to_string()))?;
/// assert_eq!(bits, ["01"]);
/// assert_eq!(summary.readers[0].width.unwrap().median_us, 50.0);
/// # Ok::<(), holdover_signal::SignalError>(())
/// ```
#[derive(Debug, Clone)]
pub struct Probe {
    options: Options,
}

impl Probe {
    /// A probe with these options.
    ///
    /// # Errors
    /// An option that cannot be.
    pub fn new(options: Options) -> Result<Probe, SignalError> {
        Ok(Probe { options: options.checked()? })
    }

    /// Reads a whole file, handing each read to `on_read` as it is framed.
    ///
    /// # Errors
    /// A file that is none, or damaged; what came before the damage has been
    /// handed out.
    pub fn read_from(
        &self,
        mut input: impl Read,
        mut on_read: impl FnMut(CardRead),
    ) -> Result<Summary, SignalError> {
        let mut session = self.session();
        let mut block = vec![0; BLOCK];
        loop {
            match read_block(&mut input, &mut block) {
                Ok([]) => return session.finish(on_read),
                Ok(bytes) => session.push(bytes, &mut on_read)?,
                Err(error) => return Err(session.fail(error, &mut on_read)),
            }
        }
    }

    /// A session that is fed byte by byte, for a pipe.
    pub fn session(&self) -> Session {
        Session { options: self.options.clone(), window: Window::new(), stage: Stage::Look }
    }
}

/// A probe file as it arrives.
#[derive(Debug)]
pub struct Session {
    options: Options,
    window: Window,
    stage: Stage,
}

#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "one a session")]
enum Stage {
    /// What it is, is not known yet.
    Look,
    /// A dump, among its declarations.
    Declaring(Dump),
    /// Lines are followed.
    Following { source: Source, tracker: Tracker, notes: Vec<String> },
    /// Nothing more is read after damage.
    Failed,
}

#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "one a session")]
enum Source {
    Dump(Dump),
    Table(Table),
}

impl Source {
    fn now(&self) -> i64 {
        match self {
            Source::Dump(dump) => dump.now(),
            Source::Table(table) => table.now(),
        }
    }
}

impl Session {
    /// Takes in bytes, cut anywhere; reads that are certainly over are handed
    /// out.
    ///
    /// # Errors
    /// As [`Probe::read_from`]; after one, nothing more is read.
    pub fn push(
        &mut self,
        bytes: &[u8],
        mut on_read: impl FnMut(CardRead),
    ) -> Result<(), SignalError> {
        let mut rest = bytes;
        while !rest.is_empty() {
            let block = &rest[..rest.len().min(BLOCK)];
            let mut taken = 0;
            if self.window.bytes().is_empty() {
                taken = match self.in_place(block) {
                    Ok(taken) => taken,
                    Err(error) => return Err(self.fail(error, &mut on_read)),
                };
            }
            if taken == 0 {
                taken = match self.stage {
                    Stage::Following { .. } => to_line_end(block),
                    _ => block.len(),
                };
                self.window.push(&block[..taken]);
                self.work(false, &mut on_read)?;
            } else {
                self.hand_out(&mut on_read);
            }
            rest = &rest[taken..];
        }
        Ok(())
    }

    /// Scans bytes where they are; returns how many are done with.
    fn in_place(&mut self, block: &[u8]) -> Result<usize, SignalError> {
        match &mut self.stage {
            Stage::Following { source: Source::Dump(dump), tracker, .. } => {
                let words = words(block);
                self.window.count(words, dump.scan(words, false, tracker))
            }
            Stage::Following { source: Source::Table(table), tracker, .. } => {
                let rows = rows(block);
                self.window.count(rows, table.scan(rows, false, tracker))
            }
            _ => Ok(0),
        }
    }

    /// Hands out what is certainly over.
    fn hand_out(&mut self, on_read: &mut dyn FnMut(CardRead)) {
        if let Stage::Following { source, tracker, .. } = &mut self.stage {
            tracker.tick(source.now());
            tracker.drain(on_read);
        }
    }

    /// Nothing has come for a while: what was seen is framed and handed out,
    /// the gap, the idle level and the lines being settled by it. For pipes;
    /// the caller has the clock.
    pub fn pause(&mut self, mut on_read: impl FnMut(CardRead)) {
        if let Stage::Following { source, tracker, .. } = &mut self.stage {
            tracker.pause(source.now());
            tracker.drain(&mut on_read);
        }
    }

    /// The end of the file.
    ///
    /// # Errors
    /// As [`Probe::read_from`].
    pub fn finish(mut self, mut on_read: impl FnMut(CardRead)) -> Result<Summary, SignalError> {
        self.work(true, &mut on_read)?;
        match std::mem::replace(&mut self.stage, Stage::Failed) {
            Stage::Following { source, mut tracker, notes } => {
                let (end, step) = match &source {
                    Source::Dump(dump) => (dump.now(), None),
                    Source::Table(table) => (table.now() + table.step().unwrap_or(0), table.step()),
                };
                tracker.finish(end, false, step);
                tracker.drain(&mut on_read);
                Ok(tracker.summary(kind(&source), notes, end))
            }
            Stage::Look | Stage::Declaring(_) | Stage::Failed => Err(SignalErrorKind::Empty.into()),
        }
    }

    /// Scans what the window holds.
    fn work(&mut self, last: bool, on_read: &mut dyn FnMut(CardRead)) -> Result<(), SignalError> {
        match self.try_work(last) {
            Ok(()) => {
                self.hand_out(on_read);
                Ok(())
            }
            Err(error) => Err(self.fail(error, on_read)),
        }
    }

    /// Hands out what came before the damage.
    fn fail(&mut self, error: SignalError, on_read: &mut dyn FnMut(CardRead)) -> SignalError {
        match std::mem::replace(&mut self.stage, Stage::Failed) {
            Stage::Following { source, mut tracker, notes } => {
                let end = source.now();
                tracker.finish(end, true, None);
                tracker.drain(on_read);
                error.with_summary(Some(tracker.summary(kind(&source), notes, end)))
            }
            _ => error,
        }
    }

    fn try_work(&mut self, last: bool) -> Result<(), SignalError> {
        let unended = last && self.window.bytes().last().is_some_and(|b| *b != b'\n');
        if unended || last && matches!(self.stage, Stage::Declaring(_)) {
            self.window.push(b"\n");
        }
        if matches!(self.stage, Stage::Look) {
            self.look(last)?;
        }
        if matches!(self.stage, Stage::Declaring(_)) {
            self.declare(last)?;
        }
        match &mut self.stage {
            Stage::Following { source: Source::Dump(dump), tracker, .. } => {
                let done = dump.scan(words(self.window.bytes()), last, tracker);
                self.window.advance(done)
            }
            Stage::Following { source: Source::Table(table), tracker, .. } => {
                let done = table.scan(rows(self.window.bytes()), unended, tracker);
                self.window.advance(done)?;
                match table.finish(self.window.bytes().len()) {
                    Err(fault) if last => self.window.advance(Err(fault)),
                    _ => Ok(()),
                }
            }
            _ => Ok(()),
        }
    }

    /// Finds out what the file is.
    fn look(&mut self, last: bool) -> Result<(), SignalError> {
        let bytes = self.window.bytes();
        let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
        if text.trim_ascii_start().is_empty() {
            let blank = bytes.len();
            return match last {
                true => Err(SignalErrorKind::Empty.into()),
                // Blank lines in front are passed over, but counted.
                false => self.window.advance(Ok(if text.len() == blank { blank } else { 0 })),
            };
        }
        if is_dump(bytes) {
            let mark = bytes.len() - text.len();
            self.window.advance(Ok(mark))?;
            self.stage = Stage::Declaring(Dump::new());
            return Ok(());
        }
        let not = |found: String| SignalError::from(SignalErrorKind::NotAProbeFile { found });
        if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
            return Err(not("UTF-16 text: save it as UTF-8".to_owned()));
        }
        if looks_binary(bytes) {
            return Err(not("binary data".to_owned()));
        }
        if !last && bytes == b"$" {
            return Ok(());
        }
        match Layout::look(bytes, last, &self.options)? {
            Look::More => Ok(()),
            Look::No => {
                let line = text.split(|b| *b == b'\n').next().unwrap_or_default();
                Err(not(shown(line.trim_ascii())))
            }
            Look::Yes(layout) => {
                self.window.advance(Ok(layout.start))?;
                self.follow_table(Table::new(layout))
            }
        }
    }

    fn follow_table(&mut self, mut table: Table) -> Result<(), SignalError> {
        let mut asked = self.options.pairs.clone();
        for pair in &mut asked {
            for name in [&mut pair.d0, &mut pair.d1] {
                if let Some(column) = table.column_named(name) {
                    *name = column;
                }
            }
        }
        let candidates = table.candidates();
        let choice = lines::choose(&asked, &candidates)?;
        let (picks, tracker) = self.tracker(choice, &candidates, table.layout.step.unwrap_or(0));
        table.follow(&picks);
        let notes = table.layout.notes.clone();
        self.stage = Stage::Following { source: Source::Table(table), tracker, notes };
        Ok(())
    }

    fn declare(&mut self, last: bool) -> Result<(), SignalError> {
        let Stage::Declaring(dump) = &mut self.stage else { return Ok(()) };
        let asked = &self.options.pairs;
        let wanted = |name: &str| {
            lines::telling(name)
                || asked.iter().any(|p| lines::fits(&p.d0, name) || lines::fits(&p.d1, name))
        };
        let done = dump.declare(words(self.window.bytes()), &wanted);
        self.window.advance(done)?;
        let Some(header) = vcd::declared(dump) else {
            return match last {
                true => {
                    let fault: Fault = Dump::truncated(self.window.bytes().len());
                    self.window.advance(Err(fault))
                }
                false => Ok(()),
            };
        };
        let candidates = vcd::candidates(header);
        let mut notes = Vec::new();
        if header.passed_over > 0 {
            notes.push(format!(
                "{} variables were passed over: there are too many to watch; name the lines to be \
                 sure",
                header.passed_over
            ));
        }
        let choice = lines::choose(&self.options.pairs, &candidates)?;
        let tick = vcd::scale(dump).map_or(0, |scale| crate::time::nanos(scale.tick_us()));
        let (picks, tracker) = self.tracker(choice, &candidates, tick);
        let Stage::Declaring(dump) = &mut self.stage else { return Ok(()) };
        if !dump.follow(&picks) {
            return Err(SignalErrorKind::NoPair { known: listed(std::iter::empty()) }.into());
        }
        let dump = std::mem::replace(dump, Dump::new());
        self.stage = Stage::Following { source: Source::Dump(dump), tracker, notes };
        Ok(())
    }

    /// The lines to follow, in order, and who takes their changes.
    fn tracker(
        &self,
        choice: Choice,
        candidates: &[Candidate],
        period: i64,
    ) -> (Vec<Pick>, Tracker) {
        let pairing = |reader: String, a: usize, b: usize| Pairing {
            reader,
            picks: [Pick { line: a, bit: 0 }, Pick { line: b, bit: 0 }],
            names: [candidates[a].name.clone(), candidates[b].name.clone()],
        };
        match choice {
            Choice::Pairs(pairs) => {
                let chosen =
                    if self.options.pairs.is_empty() { Chosen::Names } else { Chosen::Caller };
                let picks = pairs.iter().flat_map(|p| p.picks).collect();
                (picks, Tracker::following(&self.options, pairs, chosen, period))
            }
            Choice::Watch(watched) if watched.len() == 2 => {
                let pair = pairing(lines::DEFAULT_READER.to_owned(), watched[0], watched[1]);
                let picks = pair.picks.to_vec();
                (picks, Tracker::following(&self.options, vec![pair], Chosen::OnlyTwo, period))
            }
            Choice::Watch(watched) => {
                let picks = watched.iter().map(|&line| Pick { line, bit: 0 }).collect();
                let names = watched.iter().map(|&l| candidates[l].name.clone()).collect();
                (picks, Tracker::watching(&self.options, names, period))
            }
        }
    }
}

fn kind(source: &Source) -> InputKind {
    match source {
        Source::Dump(_) => InputKind::ValueChanges,
        Source::Table(table) if table.step().is_some() => InputKind::CsvSamples,
        Source::Table(_) => InputKind::CsvChanges,
    }
}
