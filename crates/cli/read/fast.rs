//! Blocks of plain lines: parsed, decoded and printed in columns, a record of
//! each class rendered once.

use std::ops::Range;
use std::sync::Arc;

use holdover::bits::{Capture, Wide};
use holdover::rank::{Batch, Fit, Sighting, Signatures, Signer, Verdict};
use holdover::site::Site;
use rayon::prelude::*;

use super::holes::{Counter, Holes, Record, Room, unmarked};
use super::records::Render;
use super::{Answered, notes};
use crate::fail::Outcome;
use crate::input::plain::{MOST_BITS, Plain};
use crate::input::{Carried, Entry, Row, text_row};
use crate::screen;

/// Classes kept of one length; beyond, all are rendered anew.
const KEPT_MOST: usize = 1 << 17;

/// Bytes that are worth another thread.
const CHUNK: usize = 1 << 18;

/// Cuts a block of whole lines into a chunk for each thread.
fn chunks(block: &[u8]) -> Vec<Range<usize>> {
    let count = (block.len() / CHUNK).clamp(1, rayon::current_num_threads());
    let mut chunks = Vec::with_capacity(count);
    let mut from = 0;
    for i in 1..=count {
        let wanted = block.len() * i / count;
        let to = match memchr::memchr(b'\n', &block[wanted.saturating_sub(1).max(from)..]) {
            Some(at) if i < count => wanted.saturating_sub(1).max(from) + at + 1,
            _ => block.len(),
        };
        if to > from {
            chunks.push(from..to);
        }
        from = to;
    }
    chunks
}

/// Parses the chunks of a block, one a thread.
#[derive(Default)]
pub struct Parsed {
    chunks: Vec<Range<usize>>,
    plain: Vec<Plain>,
}

impl Parsed {
    pub fn read(&mut self, block: &[u8]) {
        self.chunks = chunks(block);
        self.plain.resize_with(self.chunks.len().max(self.plain.len()), Plain::default);
        let read = |(plain, chunk): (&mut Plain, &Range<usize>)| plain.read(&block[chunk.clone()]);
        match &self.chunks[..] {
            [chunk] => read((&mut self.plain[0], chunk)),
            chunks => self.plain.par_iter_mut().zip(chunks).for_each(read),
        }
    }

    /// Each chunk with what was read of it.
    fn iter(&self) -> impl Iterator<Item = (&Range<usize>, &Plain)> {
        self.chunks.iter().zip(&self.plain)
    }
}

/// Sees every capture of a block; the lines it has.
pub fn see(
    parsed: &mut Parsed,
    batch: &mut Batch<'_>,
    source: &Arc<str>,
    first_line: u64,
    block: &[u8],
) -> u64 {
    parsed.read(block);
    let mut line = first_line;
    for (chunk, plain) in parsed.iter() {
        let mut other = plain.other.iter();
        batch.see_column("", &plain.lengths, &plain.words);
        for (i, _) in plain.lengths.iter().enumerate().filter(|(_, bits)| **bits == 0) {
            let Some(range) = other.next() else { break };
            let bytes = &block[chunk.clone()][range.clone()];
            if let Some(Row { entry: Ok(entry), .. }) = text_row(source, line + i as u64, bytes) {
                batch.see(&entry.sighting);
            }
        }
        line += plain.lengths.len() as u64;
    }
    line - first_line
}

/// What is kept of a class.
enum Kept {
    Record(Record, Outcome),
    /// Its captures are rendered each for itself.
    Each,
}

/// The classes of one length.
struct Lane<'f> {
    signer: Signer<'f>,
    signatures: Signatures,
    kept: Vec<Kept>,
    signature: Vec<u64>,
    /// The last signatures of one word, by hash, and what is kept of them.
    last: Vec<(u64, u32)>,
}

/// Signatures of one word that are found at once. Judgement: a site has a few
/// codes, each a few signatures.
const LAST: usize = 256;

impl<'f> Lane<'f> {
    /// The class of a capture; a new one is kept first.
    #[inline]
    fn class(&mut self, word: u64, keep: impl FnOnce(&Signer<'f>) -> Kept) -> usize {
        if !self.signer.is_short() {
            self.signer.sign(word, &mut self.signature);
            return self.find(keep);
        }
        let signature = self.signer.short(word);
        let at = signature.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 56;
        let at = at as usize % LAST;
        let (own, class) = self.last[at];
        if own == signature && class != u32::MAX {
            return class as usize;
        }
        self.signature[0] = signature;
        let class = self.find(keep);
        self.last[at] = (signature, class as u32);
        class
    }

    #[inline(never)]
    fn find(&mut self, keep: impl FnOnce(&Signer<'f>) -> Kept) -> usize {
        if let Some(class) = self.signatures.find(&self.signature) {
            return class;
        }
        if self.kept.len() >= KEPT_MOST {
            self.signatures.clear();
            self.kept.clear();
            self.last.fill((0, u32::MAX));
        }
        self.kept.push(keep(&self.signer));
        self.signatures.number(&self.signature)
    }
}

/// One thread's classes, by length.
type Lanes<'f> = Vec<Option<Lane<'f>>>;

/// Answers blocks by a fit.
pub struct Fast<'f, 't, R> {
    fit: &'f Fit<'f, 't>,
    site: Option<&'f Site>,
    render: &'f R,
    parsed: Parsed,
    /// Records name their source: those kept are of this one.
    source: Option<Arc<str>>,
    lanes: Vec<Lanes<'f>>,
    outs: Vec<Out>,
}

/// One chunk of a block.
struct Task<'a, 'f> {
    lanes: &'a mut Lanes<'f>,
    out: &'a mut Out,
    first_line: u64,
    bytes: &'a [u8],
    plain: &'a Plain,
}

/// What one chunk came to.
#[derive(Default)]
struct Out {
    bytes: Room,
    complaints: Vec<String>,
    outcome: Option<Outcome>,
}

impl<'f, 't, R: Render> Fast<'f, 't, R> {
    pub fn new(fit: &'f Fit<'f, 't>, site: Option<&'f Site>, render: &'f R) -> Self {
        let (parsed, lanes, outs) = (Parsed::default(), Vec::new(), Vec::new());
        Fast { fit, site, render, parsed, source: None, lanes, outs }
    }

    /// Answers a block: its records go to `write`, in order. The lines it has,
    /// and the worst that came of them.
    pub fn answer<E>(
        &mut self,
        source: &Arc<str>,
        first_line: u64,
        block: &[u8],
        mut write: impl FnMut(&[u8]) -> Result<(), E>,
    ) -> Result<(u64, Outcome), E> {
        if self.source.as_ref() != Some(source) {
            self.source = Some(source.clone());
            self.lanes.clear();
        }
        let mut parsed = std::mem::take(&mut self.parsed);
        parsed.read(block);
        let mut line = first_line;
        let lines: Vec<u64> = parsed
            .iter()
            .map(|(_, plain)| {
                let first = line;
                line += plain.lengths.len() as u64;
                first
            })
            .collect();
        let count = lines.len();
        let mut lanes = std::mem::take(&mut self.lanes);
        lanes.resize_with(count.max(lanes.len()), || (0..=MOST_BITS).map(|_| None).collect());
        let mut outs = std::mem::take(&mut self.outs);
        outs.resize_with(count.max(outs.len()), Out::default);
        let tasks = lanes.iter_mut().zip(&mut outs).zip(parsed.iter().zip(lines));
        let mut tasks: Vec<Task<'_, 'f>> = tasks
            .map(|((lanes, out), ((chunk, plain), first_line))| Task {
                lanes,
                out,
                first_line,
                bytes: &block[chunk.clone()],
                plain,
            })
            .collect();
        match &mut tasks[..] {
            [task] => self.chunk(task, source),
            tasks => tasks.par_iter_mut().for_each(|task| self.chunk(task, source)),
        }
        drop(tasks);
        let mut outcome = Outcome::Done;
        for out in &mut outs[..count] {
            out.complaints.drain(..).for_each(|complaint| screen::complain(&complaint));
            outcome = outcome.max(out.outcome.take().unwrap_or(Outcome::Done));
            let written = write(out.bytes.written());
            out.bytes.clear();
            written?;
        }
        (self.parsed, self.lanes, self.outs) = (parsed, lanes, outs);
        Ok((line - first_line, outcome))
    }

    /// Answers rows of other sources.
    pub fn rows(&mut self, rows: &[Row]) -> (&[u8], Outcome) {
        let mut outs = std::mem::take(&mut self.outs);
        outs.resize_with(outs.len().max(1), Out::default);
        let out = &mut outs[0];
        out.bytes.clear();
        let mut worst = Outcome::Done;
        for row in rows {
            worst = worst.max(self.row(row, out));
            out.complaints.drain(..).for_each(|complaint| screen::complain(&complaint));
        }
        self.outs = outs;
        (self.outs[0].bytes.written(), worst)
    }

    fn chunk(&self, task: &mut Task<'_, 'f>, source: &Arc<str>) {
        let Task { lanes, out, first_line, bytes, plain } = task;
        out.bytes.clear();
        let mut number = Counter::new(*first_line);
        let mut other = plain.other.iter();
        let mut worst = Outcome::Done;
        for (word, length) in plain.words.iter().zip(&plain.lengths) {
            if *length > 0 {
                let length = usize::from(*length);
                worst =
                    worst.max(self.plain(lanes, &mut out.bytes, source, &number, *word, length));
            } else if let Some(range) = other.next()
                && let Some(row) = text_row(source, number.value, &bytes[range.clone()])
            {
                worst = worst.max(self.row(&row, out));
            }
            number.next();
        }
        out.outcome = Some(worst);
    }

    #[inline]
    fn plain(
        &self,
        lanes: &mut Lanes<'f>,
        out: &mut Room,
        source: &Arc<str>,
        number: &Counter,
        word: u64,
        length: usize,
    ) -> Outcome {
        let lane = match &mut lanes[length] {
            Some(lane) => lane,
            none => match self.fit.signer("", length) {
                Some(signer) => none.insert(Lane {
                    signature: vec![0; if signer.is_short() { 1 } else { signer.stride() }],
                    signatures: Signatures::new(if signer.is_short() {
                        1
                    } else {
                        signer.stride()
                    }),
                    last: vec![(0, u32::MAX); LAST],
                    signer,
                    kept: Vec::new(),
                }),
                None => return self.each(out, source, number.value, word, length),
            },
        };
        let class = lane.class(word, |signer| self.keep(signer, source, word, length));
        match &lane.kept[class] {
            Kept::Record(record, outcome) => {
                record.fill(out, number, word, length);
                *outcome
            }
            Kept::Each => self.each(out, source, number.value, word, length),
        }
    }

    fn keep(&self, signer: &Signer<'f>, source: &Arc<str>, word: u64, length: usize) -> Kept {
        let row = plain_row(source, 0, word, length);
        // A hole would show what a mask hides.
        if self.render.hides() || !unmarked(source) {
            return Kept::Each;
        }
        let holes = Holes::new(signer);
        let mut bytes = Vec::new();
        let outcome = self.render_row(&row, Some(&holes), &mut bytes);
        match String::from_utf8(bytes).ok().and_then(|text| holes.cut(&text)) {
            Some(record) => Kept::Record(record, outcome),
            None => Kept::Each,
        }
    }

    fn each(
        &self,
        out: &mut Room,
        source: &Arc<str>,
        line: u64,
        word: u64,
        length: usize,
    ) -> Outcome {
        out.append(|out| self.render_row(&plain_row(source, line, word, length), None, out))
    }

    fn row(&self, row: &Row, out: &mut Out) -> Outcome {
        match &row.entry {
            Ok(_) => out.bytes.append(|out| self.render_row(row, None, out)),
            Err(why) => {
                let source = screen::plain(&row.source);
                out.complaints.push(format!("{source}:{}: {why}", row.line));
                out.bytes.append(|out| self.render.invalid(row, why, out));
                Outcome::InputWrong
            }
        }
    }

    fn render_row(&self, row: &Row, holes: Option<&Holes<'_>>, out: &mut Vec<u8>) -> Outcome {
        let Ok(entry) = &row.entry else { return Outcome::InputWrong };
        let answer = self.fit.answer(&entry.sighting);
        let notes = notes::of(entry, &answer, self.site, self.render.hides(), holes);
        self.render.answered(&Answered { row, entry, answer: &answer, notes, holes }, out);
        match answer.verdict {
            Verdict::Identified => Outcome::Done,
            _ => Outcome::CardsWrong,
        }
    }
}

fn plain_row(source: &Arc<str>, line: u64, word: u64, length: usize) -> Row {
    let capture = Capture::from_wide(Wide([word, 0, 0, 0]), length).expect("1 to 64 bits");
    let entry =
        Entry { sighting: Sighting::from(capture), notes: Vec::new(), carried: Carried::default() };
    Row { source: source.clone(), line, entry: Ok(entry) }
}

#[cfg(test)]
mod tests {
    use super::super::{csv::Csv, json::Json};
    use super::*;
    use holdover::decode::Reading;
    use holdover::layout::{Table, builtin};
    use holdover::site::{CardBatch, State};

    #[test]
    fn chunks_end_with_lines() {
        let block = "0101\n".repeat(300_000).into_bytes();
        let cut = chunks(&block);
        assert_eq!(cut.iter().map(|chunk| chunk.len()).sum::<usize>(), block.len());
        assert!(cut.iter().all(|chunk| block[chunk.end - 1] == b'\n'));
    }

    /// Lines of captures: every layout under every reading, random bits, and
    /// lines that are no plain captures.
    fn lines(table: &Table, count: usize, seed: u64) -> String {
        let mut rng = fastrand::Rng::with_seed(seed);
        let mut text = String::new();
        for _ in 0..count {
            let layout = &table.layouts()[rng.usize(..table.layouts().len())];
            let length = layout.length();
            let word = Wide(std::array::from_fn(|_| rng.u64(..)));
            let mut word = Capture::from_wide(word, length).unwrap();
            match rng.u8(..10) {
                0 => {}
                1 => text += ["# remark\n", "\n", "0x1A2B3C4/26\n"][rng.usize(..3)],
                _ => {
                    // A site code that comes back, and checks that hold.
                    let mut wide = word.wide();
                    if let Some(site) = layout.site_span().filter(|_| rng.u8(..4) > 0) {
                        site.offsets().for_each(|at| wide.set(at, at % 3 == 0));
                    }
                    wide = layout.system().complete(wide);
                    word = Capture::from_wide(wide, length).unwrap();
                }
            }
            let reading = match rng.u8(..8) {
                0 => Reading::ALL[rng.usize(..8)],
                _ => Reading::AsCaptured,
            };
            let capture = reading.capture_of(&word, rng.bool()).unwrap_or(word);
            text += &format!("{capture}\n");
        }
        text
    }

    /// The same lines, one at a time, no record kept.
    fn slowly<R: Render>(fast: &Fast<'_, '_, R>, source: &Arc<str>, text: &str) -> Vec<u8> {
        let mut out = Out::default();
        for (line, number) in text.lines().zip(1..) {
            if let Some(row) = text_row(source, number, line.as_bytes()) {
                fast.row(&row, &mut out);
            }
        }
        out.bytes.written().to_vec()
    }

    fn same<R: Render>(text: &str, render: &R, site: Option<&Site>) {
        let source: Arc<str> = "captures.txt".into();
        let mut batch = Batch::new(builtin(), site);
        let mut parsed = Parsed::default();
        see(&mut parsed, &mut batch, &source, 1, text.as_bytes());
        let mut one_by_one = Batch::new(builtin(), site);
        for line in text.lines() {
            if let Some(Row { entry: Ok(entry), .. }) = text_row(&source, 1, line.as_bytes()) {
                one_by_one.see(&entry.sighting);
            }
        }
        let (fit, plain_fit) = (batch.fit(), one_by_one.fit());
        let mut fast = Fast::new(&fit, site, render);
        let mut bytes = Vec::new();
        // The beginning comes as rows, the rest as blocks.
        let head: usize = text.lines().take(50).map(|line| line.len() + 1).sum();
        let rows: Vec<Row> = (text.lines().take(50).zip(1..))
            .filter_map(|(line, number)| text_row(&source, number, line.as_bytes()))
            .collect();
        bytes.extend_from_slice(fast.rows(&rows).0);
        let half = head + text[head..].len() / 2;
        let half = half + text[half..].find('\n').unwrap() + 1;
        let mut line = 51;
        for block in [&text[head..half], &text[half..]] {
            let written = fast.answer::<()>(&source, line, block.as_bytes(), |more| {
                bytes.extend_from_slice(more);
                Ok(())
            });
            line += written.unwrap().0;
        }
        assert_eq!(line, text.lines().count() as u64 + 1);
        let slow = slowly(&Fast::new(&plain_fit, site, render), &source, text);
        let mut records = bytes.split(|b| *b == b'\n').zip(slow.split(|b| *b == b'\n'));
        if let Some((fast, slow)) = records.find(|(fast, slow)| fast != slow) {
            panic!("{}\n{}", String::from_utf8_lossy(fast), String::from_utf8_lossy(slow));
        }
        assert_eq!(bytes.len(), slow.len());
    }

    fn site() -> Site {
        let batch = |layout: &str, site, first, last| CardBatch {
            layout: layout.to_owned(),
            site,
            first,
            last,
            state: State::Issued,
        };
        let batches = vec![
            batch("std26", Some(73), 0, 30_000),
            batch("site37", Some(18724), 5, 200_000),
            batch("num34", None, 0, 1 << 30),
        ];
        Site { batches, ..Site::default() }
    }

    #[test]
    fn blocks_and_lines_get_the_same_answers() {
        let text = lines(builtin(), 20_000, 1);
        same(&text, &Csv::new(false), None);
        same(&text, &Json::new(false), None);
        same(&lines(builtin(), 5_000, 2), &Csv::new(false), Some(&site()));
        same(&lines(builtin(), 300, 3), &Json::new(false), Some(&site()));
        same(&lines(builtin(), 3_000, 4), &Csv::new(true), None);
    }

    /// Run once in a while: minutes.
    #[test]
    #[ignore = "minutes"]
    fn a_million_captures_get_the_same_answers() {
        let text = lines(builtin(), 1_000_000, 5);
        same(&text, &Csv::new(false), None);
        same(&text, &Json::new(false), None);
    }
}
