//! A batch: the distinct captures of a site, and every guess at each.

use std::collections::{HashMap, HashSet};
use std::sync::OnceLock;

use super::digits;
use super::evidence::{RuleWorth, kept_bits};
use super::guess::{Guess, Kind, wiring};
use super::known::{Doubt, Known, Owned};
use super::mend::{self, Mends};
use super::model::{
    COUNTED_END_LOG2, LONG_SERIAL_BITS, SERIAL_HEAD_BITS, SERIAL_READING_LOG2, SLIP_IN_DOUBT_LOG2,
    SLIP_LOG2,
};
use super::roles::{self, Pair};
use super::sketch::{KEPT_MOST, Sketch};
use super::strange;
use super::word_set::Column;
use crate::bits::{Capture, Span};
use crate::decode::{Decode, Decoder, Reading, Word};
use crate::layout::{Layout, Rule, Table};
use crate::site::Site;

/// One capture as it came, with what is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The bits.
    pub capture: Capture,
    /// The reader it came from; captures of one reader share its wiring.
    pub reader: String,
    /// What is known of the card beforehand.
    pub known: Known,
}

impl From<Capture> for Observation {
    fn from(capture: Capture) -> Observation {
        Observation { capture, reader: String::new(), known: Known::default() }
    }
}

/// The distinct captures seen, each by the reader it came from. A capture
/// seen twice counts once.
///
/// # Examples
/// ```
/// use holdover::layout::builtin;
/// use holdover::rank::{Batch, Observation, Verdict};
/// let mut batch = Batch::new(builtin(), None);
/// let observation = Observation::from("10100000100010000111000011".parse::<holdover::bits::Capture>()?);
/// batch.see(&observation);
/// let answer = batch.fit().answer(&observation);
/// assert_eq!(answer.verdict, Verdict::Identified);
/// assert_eq!(answer.candidates[0].layout.id(), "std26");
/// # Ok::<(), holdover::bits::CaptureError>(())
/// ```
#[derive(Debug)]
pub struct Batch<'t> {
    pub(super) kinds: Vec<Kind<'t>>,
    /// The kinds whose code is in each place.
    pub(super) places: Vec<Vec<u32>>,
    /// Layouts that differ in what they read alone.
    pub(super) pairs: Vec<Pair>,
    /// Kinds by length.
    pub(super) by_length: Vec<Vec<u32>>,
    /// Unknown kinds by length.
    pub(super) strange_by_length: Vec<Vec<u32>>,
    pub(super) readers: Vec<String>,
    /// Readers of whose two lines it was guessed which is which.
    pub(super) guessed: HashSet<String>,
    reader_index: HashMap<String, u32>,
    pub(super) sketch: Sketch,
    /// What is known of captures, where anything is.
    pub(super) known: HashMap<(u32, Capture), Known>,
    /// Digits of unknown length.
    pub(super) digits: digits::Seen,
    pub(super) has_site: bool,
    /// The layouts, and their decoders by length, made when first asked for.
    table: &'t Table,
    decoders: Vec<OnceLock<Decoder<'t>>>,
}

impl<'t> Batch<'t> {
    /// An empty batch. `site` narrows by the codes and ranges the site owns.
    pub fn new(table: &'t Table, site: Option<&Site>) -> Batch<'t> {
        let mut by_length = vec![Vec::new(); Capture::MAX_BITS + 2];
        let mut kinds: Vec<Kind<'t>> = table
            .layouts()
            .iter()
            .enumerate()
            .map(|(i, layout)| {
                by_length[layout.length()].push(i as u32);
                let head = |bits: usize| bits > SERIAL_HEAD_BITS && layout.rank() > 0;
                let serial = layout.serial_field().map(|field| &field.span);
                let serial = serial.filter(|s| head(s.len()) || s.len() >= LONG_SERIAL_BITS);
                let code = match (layout.site_span(), serial) {
                    (Some(site), _) => Some((site.clone(), codes(layout, site))),
                    (None, Some(serial)) => serial
                        .part(0, SERIAL_HEAD_BITS)
                        .map(|head| (head, (SERIAL_HEAD_BITS as f64).exp2())),
                    (None, None) => None,
                };
                Kind {
                    layout,
                    worth: RuleWorth::of(layout),
                    owned: site.map_or_else(Owned::default, |site| Owned::of(layout, site)),
                    code_is_serial: layout.site_span().is_none() && code.is_some(),
                    code,
                    strange: None,
                    place: None,
                    rival: false,
                }
            })
            .collect();
        let mut strange_by_length = vec![Vec::new(); by_length.len()];
        for (of_length, strange) in by_length.iter().zip(&mut strange_by_length) {
            let beside = strange::beside(&kinds, of_length);
            strange.extend((kinds.len() as u32..).take(beside.len()));
            kinds.extend(beside);
        }
        mark_rivals(&mut kinds, &by_length);
        let places = places(&mut kinds);
        let pairs = roles::pairs(&kinds, &by_length);
        Batch {
            kinds,
            places,
            pairs,
            by_length,
            strange_by_length,
            readers: Vec::new(),
            guessed: HashSet::new(),
            reader_index: HashMap::new(),
            sketch: Sketch::new(),
            known: HashMap::new(),
            digits: digits::Seen::new(),
            table,
            decoders: (0..=Capture::MAX_BITS).map(|_| OnceLock::new()).collect(),
            has_site: site.is_some_and(|site| !site.batches.is_empty()),
        }
    }

    /// Forgets all captures and readers; what was made ready for the layouts is
    /// kept, so that the next batch costs little.
    pub fn clear(&mut self) {
        self.readers.clear();
        self.guessed.clear();
        self.reader_index.clear();
        self.sketch = Sketch::new();
        self.known.clear();
    }

    /// Adds a capture to the batch; order does not matter.
    pub fn see(&mut self, observation: &Observation) {
        let reader = self.reader_or_new(&observation.reader);
        let capture = observation.capture;
        self.sketch.see(reader, capture.len(), capture.words());
        if observation.known.is_empty() || self.known.len() >= KEPT_MOST {
            return;
        }
        // Of two notes on one capture, the same one counts in whatever order they came.
        let known = self.known.entry((reader, capture)).or_default();
        if known.is_empty() || observation.known < *known {
            *known = observation.known.clone();
        }
    }

    /// Adds columns of captures of one reader, nothing else known of them. With
    /// the feature `parallel`, all processors take part where there are several.
    ///
    /// # Panics
    /// Where a column has not as many lengths as captures, or one is over 64.
    pub fn see_columns(&mut self, reader: &str, columns: &[Column<'_>]) {
        let reader = self.reader_or_new(reader);
        for Column { lengths, captures } in columns {
            assert_eq!(lengths.len(), captures.len(), "a length for each capture");
            let longest = lengths.iter().max().copied().unwrap_or(0);
            assert!(longest <= 64, "captures of up to 64 bits, not {longest}");
        }
        self.sketch.see_columns(reader, columns);
    }

    pub(super) fn reader_or_new(&mut self, name: &str) -> u32 {
        if let Some(reader) = self.reader_index.get(name) {
            return *reader;
        }
        let reader = self.readers.len() as u32;
        self.readers.push(name.to_owned());
        self.reader_index.insert(name.to_owned(), reader);
        self.sketch.add_reader(name);
        reader
    }

    /// The decoder of a length, all readings in order.
    pub(super) fn decoder(&self, length: usize) -> &Decoder<'t> {
        self.decoders[length].get_or_init(|| Decoder::new(self.table, length, &Reading::ALL))
    }

    /// Which of a reader's two lines is which was guessed: that they are
    /// swapped is likelier than for wires someone has connected.
    pub fn guess_lines(&mut self, reader: &str) {
        self.guessed.insert(reader.to_owned());
    }

    /// How many distinct captures were seen, each reader's counted for itself:
    /// exact up to [`Batch::EXACT`], an estimate beyond (its standard error is
    /// a few thousandths).
    pub fn distinct(&self) -> u64 {
        (self.sketch.count() as u64) << self.sketch.level()
    }

    /// Distinct captures up to which all are weighed; of more, a fair sample of
    /// a hundred thousand is.
    pub const EXACT: usize = KEPT_MOST;

    /// How many readers the captures came by.
    pub fn readers(&self) -> usize {
        self.readers.len()
    }

    /// Index of a reader.
    pub(super) fn reader(&self, name: &str) -> Option<u32> {
        self.reader_index.get(name).copied()
    }

    /// Every layout under every reading of a capture whose wiring is not ruled out.
    pub(super) fn guesses(&self, capture: &Capture, known: &Known, live: [bool; 4]) -> Vec<Guess> {
        let mut guesses = Vec::new();
        let mut mended = match live[0] && !known.doubt.is_empty() {
            true => mend::words(capture, &known.doubt),
            false => Vec::new(),
        };
        for reading in Reading::ALL.into_iter().filter(|r| live[wiring(*r)]) {
            let slip = slip_of(reading, capture, &known.doubt);
            for word in reading.words(capture) {
                // A lost bit is 0 or 1 with equal chance.
                let mut slip = slip - if word.restored.is_some() { 1.0 } else { 0.0 };
                // Where mending inside makes the same word, it is one with the reading.
                if let Some(same) = mended.iter().position(|mended| mended.word == word.word) {
                    slip = mend::sum(slip, mended.swap_remove(same).slip);
                }
                self.guess(&mut guesses, reading, word, slip, None, known);
                if reading.bits_lost() == 0 {
                    self.guess_strange(&mut guesses, reading, word, slip);
                }
            }
        }
        for mended in mended {
            let word = Word { word: mended.word, restored: None };
            let mends = Some(mended.mends);
            self.guess(&mut guesses, Reading::AsCaptured, word, mended.slip, mends, known);
        }
        if live[0] {
            self.guess_serial(&mut guesses, capture, known);
        }
        guesses
    }

    /// The guesses at one word, a layout of its length each.
    fn guess(
        &self,
        guesses: &mut Vec<Guess>,
        reading: Reading,
        word: Word,
        slip: f64,
        mended: Option<Mends>,
        known: &Known,
    ) {
        let Some(kinds) = self.by_length.get(word.word.len()) else { return };
        for &kind in kinds {
            let of = &self.kinds[kind as usize];
            let rules = of.worth.on(of.layout, word.word.wide());
            let decode = Decode { layout: of.layout, word: word.word };
            let noted = if known.is_empty() { 0.0 } else { known.evidence_bits(&decode) };
            let likelihood = (rules.checks + rules.digits + noted + slip).exp2();
            guesses.push(Guess {
                kind,
                reading,
                word: word.word,
                restored: word.restored,
                rules,
                known: noted,
                slip,
                likelihood,
                likelihood_free: likelihood,
                owned: of.owned.likelihood(&decode),
                doubted: !known.doubt.is_empty(),
                mended,
                strange: false,
                fails: !of.layout.admits(&word.word),
                coded: of.layout.site_span().is_some(),
                noted: if known.is_empty() { None } else { known.print_agrees(&decode) },
            });
        }
    }
}

impl Batch<'_> {
    /// Serial numbers in another byte order, or cut: the print alone tells.
    fn guess_serial(&self, guesses: &mut Vec<Guess>, capture: &Capture, known: &Known) {
        let Some(number) = known.number() else { return };
        for reading in Reading::SERIAL {
            // A cut one goes on as the print does.
            let word = match reading.bits_lost() {
                0 => reading.words(capture).next().map(|word| word.word),
                lost => Capture::from_number(number, capture.len() + lost as usize)
                    .ok()
                    // A seven-byte number's first byte is its maker's, never 0.
                    .filter(|word| !word.wide().number(0, 8).eq(&0))
                    .filter(|word| reading.capture_of(word, false).as_ref() == Some(capture)),
            };
            let Some(word) = word else { continue };
            let before = guesses.len();
            let word = Word { word, restored: None };
            self.guess(guesses, reading, word, SERIAL_READING_LOG2, None, known);
            let bare = |guess: &Guess| {
                let layout = self.kinds[guess.kind as usize].layout;
                let whole = layout.serial_field().is_some_and(|f| f.span.len() == layout.length());
                // What was cut off is the print's, and so is no evidence.
                whole && guess.noted == Some(true)
            };
            let mut new = guesses.split_off(before);
            new.retain(bare);
            for guess in &mut new {
                let lost = reading.bits_lost() as f64;
                guess.known -= lost;
                guess.likelihood *= (-lost).exp2();
                guess.likelihood_free = guess.likelihood;
            }
            guesses.extend(new);
        }
    }

    /// The unknown kinds of a word's length.
    fn guess_strange(&self, guesses: &mut Vec<Guess>, reading: Reading, word: Word, slip: f64) {
        let Some(kinds) = self.strange_by_length.get(word.word.len()) else { return };
        for &kind in kinds {
            let of = &self.kinds[kind as usize];
            if let Some(strange) = of.strange.as_ref().filter(|_| !of.is_pattern()) {
                let bits = kept_bits(&strange.keeps, word.word.wide());
                guesses.push(Guess::strange(kind, reading, word.word, (bits + slip).exp2()));
            }
        }
    }
}

/// log2 of the prior chance of a reading's lost or gained bit, or of none.
fn slip_of(reading: Reading, capture: &Capture, doubt: &Doubt) -> f64 {
    let seen = match reading {
        Reading::FirstBitLost => doubt.missing.contains(&1),
        Reading::LastBitLost => doubt.missing.contains(&(capture.len() + 1)),
        Reading::ExtraFirstBit => doubt.suspect.contains(&1),
        Reading::ExtraLastBit => doubt.suspect.contains(&capture.len()),
        _ => return mend::none(doubt, capture.len()),
    };
    let lost = matches!(reading, Reading::FirstBitLost | Reading::LastBitLost);
    if doubt.short == if lost { 1 } else { -1 } {
        return COUNTED_END_LOG2;
    }
    match (seen, doubt.is_empty()) {
        (true, _) => mend::alone(doubt),
        // What is in doubt inside stays as it is.
        (false, false) => SLIP_IN_DOUBT_LOG2 + mend::none(doubt, capture.len()),
        (false, true) => SLIP_LOG2,
    }
}

/// Marks the layouts with site codes that share their checks with another.
fn mark_rivals(kinds: &mut [Kind<'_>], by_length: &[Vec<u32>]) {
    for of_length in by_length {
        for &kind in of_length {
            let layout = kinds[kind as usize].layout;
            let same = |other: &u32| {
                let other = kinds[*other as usize].layout;
                other.id() != layout.id() && other.site_span().is_some() && layout.same_rules(other)
            };
            kinds[kind as usize].rival = layout.site_span().is_some() && of_length.iter().any(same);
        }
    }
}

/// Numbers the places that codes are read from; the kinds of each.
fn places(kinds: &mut [Kind<'_>]) -> Vec<Vec<u32>> {
    let mut known: Vec<(usize, Span)> = Vec::new();
    let mut places: Vec<Vec<u32>> = Vec::new();
    for (kind, i) in kinds.iter_mut().zip(0..) {
        let Some((span, _)) = &kind.code else { continue };
        let of = (kind.layout.length(), span.clone());
        let place = known.iter().position(|other| *other == of).unwrap_or_else(|| {
            known.push(of);
            places.push(Vec::new());
            known.len() - 1
        });
        places[place].push(i);
        kind.place = Some(place as u32);
    }
    places
}

/// How many site codes a layout can carry; of decimal ones only the decimal
/// count, since the digits are evidence already.
fn codes(layout: &Layout, site: &Span) -> f64 {
    let taken = |rule: &&Rule| match rule {
        Rule::Decimal { span, .. } => (span.mask() & !site.mask()).is_zero(),
        Rule::Relations { .. } => false,
    };
    match layout.rules().iter().filter(taken).count() {
        0 => (site.len() as f64).exp2(),
        digits => 10f64.powi(digits as i32),
    }
}
