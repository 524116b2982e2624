//! Blocks of plain lines: parsed, decoded and printed in columns, a record of
//! each class rendered once.

use std::sync::{Arc, Mutex, PoisonError};

use holdover::bits::{BitColumns, Capture, Wide};
use holdover::decode::Bits;
use holdover::rank::{Batch, ClassIndex, Classifier, Column, Fit, Observation, Verdict};
use holdover::say::{Gaps, unmarked};
use holdover::site::Site;
use rayon::prelude::*;

use super::records::Render;
use super::template::{Counter, Record, Room};
use super::{Answered, notes};
use crate::fail::Outcome;
use crate::host::Host;
use crate::input::{Entry, Row, text_row};
use crate::plain::plain;
use crate::terminal;

/// Classes kept of one length; beyond, all are rendered anew.
const KEPT_MOST: usize = 1 << 17;

/// Bytes that all threads keep of classes; beyond, a thread's are rendered
/// anew. Judgement, no source: some thousand times what a site's classes take.
const BYTES_MOST: usize = 1 << 28;

/// Sees every capture of a block.
pub fn see(batch: &mut Batch<'_>, source: &Arc<str>, first_line: u64, plain: &[BitColumns]) {
    let columns: Vec<Column<'_>> =
        plain.iter().map(|p| Column { lengths: &p.lengths, captures: &p.words }).collect();
    batch.see_columns("", &columns);
    let mut line = first_line;
    for plain in plain {
        let lines = (line..).zip(&plain.lengths).filter(|(_, bits)| **bits == 0);
        for ((line, _), bytes) in lines.zip(plain.other()) {
            if let Some(Row { entry: Ok(entry), .. }) = text_row(source, line, bytes) {
                entry.seen_by(batch);
            }
        }
        line += plain.count();
    }
}

/// What is kept of a class.
enum KeptClass {
    Record(Record, Outcome),
    /// Its captures are rendered each for itself.
    Each,
}

impl KeptClass {
    fn bytes(&self) -> usize {
        let record = if let KeptClass::Record(record, _) = self { record.bytes() } else { 0 };
        size_of::<KeptClass>() + record
    }
}

/// The classes of one length.
struct Lane<'f> {
    classifier: Classifier<'f>,
    class_index: ClassIndex,
    kept: Vec<KeptClass>,
    /// What they take, in bytes.
    bytes: usize,
    signature: Vec<u64>,
    /// The last keys, by hash, and the class of each.
    last: Vec<(u64, u32)>,
}

/// log2 of how many keys are found at once. Judgement: a site has a few codes,
/// each a few keys, and strays must not push them out.
const LAST_LOG2: u32 = 12;

/// No class.
const NONE: u32 = u32::MAX;

impl<'f> Lane<'f> {
    fn new(classifier: Classifier<'f>) -> Lane<'f> {
        Lane {
            bytes: 0,
            class_index: ClassIndex::new(classifier.stride()),
            kept: Vec::new(),
            signature: vec![0; classifier.stride()],
            last: vec![(0, NONE); if classifier.has_keys() { 1 << LAST_LOG2 } else { 0 }],
            classifier,
        }
    }

    /// The class of a capture; a new one is kept first.
    #[inline]
    fn class(&mut self, word: u64, keep: impl FnOnce(&Classifier<'f>) -> KeptClass) -> usize {
        if !self.classifier.has_keys() {
            return self.find(word, keep);
        }
        let key = self.classifier.key(word);
        let at = (key.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> (64 - LAST_LOG2)) as usize;
        match self.last[at] {
            (own, class) if own == key && class != NONE => class as usize,
            _ => {
                let class = self.find(word, keep);
                self.last[at] = (key, class as u32);
                class
            }
        }
    }

    #[inline(never)]
    fn find(&mut self, word: u64, keep: impl FnOnce(&Classifier<'f>) -> KeptClass) -> usize {
        self.classifier.sign(word, &mut self.signature);
        if let Some(class) = self.class_index.find(&self.signature) {
            return class;
        }
        if self.kept.len() >= KEPT_MOST {
            self.clear();
        }
        let kept = keep(&self.classifier);
        self.bytes += kept.bytes() + size_of_val(&self.signature[..]);
        self.kept.push(kept);
        self.class_index.number(&self.signature)
    }

    /// Forgets all classes, and gives their memory back.
    fn clear(&mut self) {
        self.class_index = ClassIndex::new(self.classifier.stride());
        self.kept = Vec::new();
        self.last.fill((0, NONE));
        self.bytes = 0;
    }
}

/// One thread's classes, by length.
#[derive(Default)]
struct Lanes<'f> {
    of: Vec<Option<Lane<'f>>>,
    /// What all of them take, in bytes.
    bytes: usize,
}

impl Lanes<'_> {
    /// Takes note of what a lane took before and takes now; beyond what a thread
    /// may keep, all is forgotten.
    #[cold]
    fn note(&mut self, before: usize, now: usize) {
        self.bytes = self.bytes + now - before;
        if self.bytes > BYTES_MOST / rayon::current_num_threads() {
            self.of.iter_mut().flatten().for_each(Lane::clear);
            self.bytes = 0;
        }
    }
}

/// Answers blocks by a fit.
pub struct Fast<'f, 't, R> {
    fit: &'f Fit<'f, 't>,
    site: Option<&'f Site>,
    render: &'f R,
    /// Records name their source: those kept are of this one.
    source: Option<Arc<str>>,
    /// Of each thread.
    lanes: Vec<Mutex<Lanes<'f>>>,
    outs: Vec<Out>,
}

/// What one chunk came to.
#[derive(Default)]
struct Out {
    first_line: u64,
    bytes: Room,
    complaints: Vec<String>,
    outcome: Option<Outcome>,
}

impl<'f, 't, R: Render> Fast<'f, 't, R> {
    pub fn new(fit: &'f Fit<'f, 't>, site: Option<&'f Site>, render: &'f R) -> Self {
        Fast { fit, site, render, source: None, lanes: Vec::new(), outs: Vec::new() }
    }

    /// Answers a block: its records go to `write`, in order. The worst that
    /// came of them.
    pub fn answer<E>(
        &mut self,
        source: &Arc<str>,
        first_line: u64,
        block: &[BitColumns],
        host: &dyn Host,
        mut write: impl FnMut(&[u8]) -> Result<(), E>,
    ) -> Result<Outcome, E> {
        if self.source.as_ref() != Some(source) {
            self.source = Some(source.clone());
            self.lanes.clear();
        }
        let mut outs = std::mem::take(&mut self.outs);
        outs.resize_with(block.len().max(outs.len()), Out::default);
        self.lanes.resize_with(rayon::current_num_threads(), Mutex::default);
        let mut line = first_line;
        for (out, plain) in outs.iter_mut().zip(block) {
            out.first_line = line;
            line += plain.count();
        }
        outs.par_iter_mut().zip(block).for_each(|(out, plain)| {
            // A thread has its own; nobody waits.
            let own = rayon::current_thread_index().unwrap_or(0);
            let mut lanes = self.lanes[own].lock().unwrap_or_else(PoisonError::into_inner);
            self.chunk(&mut lanes, out, plain, source);
        });
        let mut outcome = Outcome::Done;
        for out in &mut outs[..block.len()] {
            out.complaints.drain(..).for_each(|complaint| terminal::complain(host, &complaint));
            outcome = outcome.max(out.outcome.take().unwrap_or(Outcome::Done));
            write(out.bytes.written())?;
        }
        self.outs = outs;
        Ok(outcome)
    }

    /// Answers rows of other sources.
    pub fn rows(&mut self, host: &dyn Host, rows: &[Row]) -> (&[u8], Outcome) {
        let mut outs = std::mem::take(&mut self.outs);
        outs.resize_with(outs.len().max(1), Out::default);
        let out = &mut outs[0];
        out.bytes.clear();
        let mut worst = Outcome::Done;
        for row in rows {
            worst = worst.max(self.row(row, out));
            out.complaints.drain(..).for_each(|complaint| terminal::complain(host, &complaint));
        }
        self.outs = outs;
        (self.outs[0].bytes.written(), worst)
    }

    fn chunk(&self, lanes: &mut Lanes<'f>, out: &mut Out, plain: &BitColumns, source: &Arc<str>) {
        lanes.of.resize_with(BitColumns::MOST_BITS + 1, || None);
        out.bytes.clear();
        let mut number = Counter::new(out.first_line);
        let mut other = plain.other();
        let mut worst = Outcome::Done;
        for (word, length) in plain.words.iter().zip(&plain.lengths) {
            if *length > 0 {
                let length = usize::from(*length);
                worst =
                    worst.max(self.plain(lanes, &mut out.bytes, source, &number, *word, length));
            } else if let Some(bytes) = other.next()
                && let Some(row) = text_row(source, number.value, bytes)
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
        let lane = match &mut lanes.of[length] {
            Some(lane) => lane,
            none => match self.fit.classifier("", length) {
                Some(classifier) => none.insert(Lane::new(classifier)),
                None => return self.each(out, source, number.value, word, length),
            },
        };
        let before = lane.bytes;
        let class = lane.class(word, |classifier| self.keep(classifier, source, word, length));
        let now = lane.bytes;
        let outcome = match &lane.kept[class] {
            KeptClass::Record(record, outcome) => {
                record.fill(out, number, word, length);
                *outcome
            }
            KeptClass::Each => self.each(out, source, number.value, word, length),
        };
        if now != before {
            lanes.note(before, now);
        }
        outcome
    }

    fn keep(
        &self,
        classifier: &Classifier<'f>,
        source: &Arc<str>,
        word: u64,
        length: usize,
    ) -> KeptClass {
        let row = plain_row(source, 0, word, length);
        if !unmarked(source) {
            return KeptClass::Each;
        }
        let gaps = Gaps::new(classifier, word.wide());
        let mut bytes = Vec::new();
        let outcome = self.render_row(&row, Some(&gaps), &mut bytes);
        match String::from_utf8(bytes).ok().and_then(|text| Record::cut(gaps, &text)) {
            Some(record) => KeptClass::Record(record, outcome),
            None => KeptClass::Each,
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
                let source = plain(&row.source);
                out.complaints.push(format!("{source}:{}: {why}", row.line));
                out.bytes.append(|out| self.render.invalid(row, why, out));
                Outcome::InputWrong
            }
        }
    }

    fn render_row(&self, row: &Row, gaps: Option<&Gaps<'_>>, out: &mut Vec<u8>) -> Outcome {
        let Ok(entry) = &row.entry else { return Outcome::InputWrong };
        let answer = entry.answered_by(self.fit);
        let taken = super::taken(row, entry, &answer);
        let row = taken.as_ref().unwrap_or(row);
        let Ok(entry) = &row.entry else { return Outcome::InputWrong };
        let notes = notes::of(entry, &answer, self.site, gaps);
        self.render.answered(&Answered { row, entry, answer: &answer, notes, gaps }, out);
        match answer.verdict {
            Verdict::Identified => Outcome::Done,
            _ => Outcome::CardsWrong,
        }
    }
}

fn plain_row(source: &Arc<str>, line: u64, word: u64, length: usize) -> Row {
    let capture = Capture::from_wide(Wide([word, 0, 0, 0]), length).expect("1 to 64 bits");
    let entry = Entry::from(Observation::from(capture));
    Row { source: source.clone(), line, entry: Ok(entry) }
}

#[cfg(test)]
mod tests {
    use super::super::{csv::Csv, json::Json};
    use super::*;
    use crate::host::Memory;
    use holdover::decode::Reading;
    use holdover::layout::{Table, builtin};
    use holdover::site::{CardBatch, State};

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

    /// A block of a few chunks.
    fn parsed(text: &str) -> Vec<BitColumns> {
        let lines: Vec<&str> = text.split_inclusive('\n').collect();
        let chunks = lines.chunks(1_000).map(|lines| {
            let mut plain = BitColumns::default();
            plain.read(lines.concat().as_bytes());
            plain
        });
        chunks.collect()
    }

    fn same<R: Render>(text: &str, render: &R, site: Option<&Site>) {
        let source: Arc<str> = "captures.txt".into();
        let mut batch = Batch::new(builtin(), site);
        see(&mut batch, &source, 1, &parsed(text));
        let mut one_by_one = Batch::new(builtin(), site);
        for line in text.lines() {
            if let Some(Row { entry: Ok(entry), .. }) = text_row(&source, 1, line.as_bytes()) {
                entry.seen_by(&mut one_by_one);
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
        bytes.extend_from_slice(fast.rows(&Memory::default(), &rows).0);
        let half = head + text[head..].len() / 2;
        let half = half + text[half..].find('\n').unwrap() + 1;
        let mut line = 51;
        for block in [&text[head..half], &text[half..]] {
            let plain = parsed(block);
            let written = fast.answer::<()>(&source, line, &plain, &Memory::default(), |more| {
                bytes.extend_from_slice(more);
                Ok(())
            });
            written.unwrap();
            line += plain.iter().map(BitColumns::count).sum::<u64>();
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
            batch("site34", Some(18724), 5, 60_000),
            batch("num34", None, 0, 1 << 30),
        ];
        Site { batches, ..Site::default() }
    }

    #[test]
    fn blocks_and_lines_get_the_same_answers() {
        let text = lines(builtin(), 20_000, 1);
        same(&text, &Csv::default(), None);
        same(&text, &Json, None);
        same(&lines(builtin(), 5_000, 2), &Csv::default(), Some(&site()));
        same(&lines(builtin(), 300, 3), &Json, Some(&site()));
    }

    /// Run once in a while: minutes.
    #[test]
    #[ignore = "minutes"]
    fn a_million_captures_get_the_same_answers() {
        let text = lines(builtin(), 1_000_000, 5);
        same(&text, &Csv::default(), None);
        same(&text, &Json, None);
    }
}
