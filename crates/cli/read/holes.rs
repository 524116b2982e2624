//! Records with holes: what is the same for all captures of a class is
//! rendered once, and the numbers of each capture are filled in.
//!
//! A record is rendered by the same code either way. With holes, a number
//! comes out as a mark, and the bytes between the marks are kept.

use std::cell::RefCell;

use holdover::decode::Pick;
use holdover::layout::{Code, Field, Part};
use holdover::rank::{Candidate, Signer};

/// What stands before and after the number of a hole: a character no input
/// can hold where holes are used.
const MARK: char = '\u{F8FF}';

/// What goes into a hole.
#[derive(Debug, Clone)]
enum Hole {
    /// The number of the line.
    Line,
    /// The capture as 0 and 1.
    Bits,
    /// A number of the word.
    Number(Pick),
}

/// The holes of a record being rendered.
pub struct Holes<'f> {
    signer: &'f Signer<'f>,
    found: RefCell<Vec<Hole>>,
    /// Something was asked for that no hole holds.
    failed: RefCell<bool>,
}

impl<'f> Holes<'f> {
    /// No hole yet, in the records of captures of one signature.
    pub fn new(signer: &'f Signer<'f>) -> Holes<'f> {
        Holes { signer, found: RefCell::default(), failed: RefCell::default() }
    }

    fn mark(&self, hole: Hole) -> String {
        let mut found = self.found.borrow_mut();
        found.push(hole);
        format!("{MARK}{}{MARK}", found.len() - 1)
    }

    /// A hole for the number of the line.
    pub fn line(&self) -> String {
        self.mark(Hole::Line)
    }

    /// A hole for the capture's bits.
    pub fn bits(&self) -> String {
        self.mark(Hole::Bits)
    }

    /// This record cannot be kept for other captures.
    pub fn refuse(&self) {
        *self.failed.borrow_mut() = true;
    }

    /// A hole for a field of a candidate.
    pub fn field(&self, candidate: &Candidate<'_>, field: &Field) -> String {
        let decoder = self.signer.decoder();
        let view = decoder.views().iter().find(|view| {
            decoder.layout(view).id() == candidate.layout.id()
                && view.reading == candidate.reading
                && view.restored == candidate.restored
        });
        match view {
            // A number that the signature fixes is no hole.
            Some(view) if self.signer.fixes(view, &field.span) => {
                field.value(candidate.word.wide()).to_string()
            }
            Some(view) if field.code == Code::Binary => {
                self.mark(Hole::Number(view.pick(&field.span)))
            }
            _ => {
                self.refuse();
                String::new()
            }
        }
    }

    /// A hole for a candidate's site code or card number.
    pub fn part(&self, candidate: &Candidate<'_>, part: Part) -> Option<String> {
        let mut fields = candidate.layout.fields().iter().filter(|field| field.belongs_to(part));
        let field = fields.next()?;
        if fields.next().is_some() {
            self.refuse();
        }
        Some(self.field(candidate, field))
    }

    /// A record cut at its holes; `None` where it is none that can be kept.
    pub fn cut(self, record: &str) -> Option<Record> {
        if self.failed.into_inner() {
            return None;
        }
        let found = self.found.into_inner();
        let mut pieces: Vec<(Vec<u8>, Option<Hole>)> = Vec::new();
        let mut parts = record.split(MARK);
        loop {
            let text = parts.next()?.as_bytes().to_vec();
            let Some(number) = parts.next() else {
                pieces.push((text, None));
                return Some(Record::new(pieces));
            };
            let hole = found.get(number.parse::<usize>().ok()?)?.clone();
            pieces.push((text, Some(hole)));
        }
    }
}

/// Whether a text can stand in a record with holes.
pub fn unmarked(text: &str) -> bool {
    !text.contains(MARK)
}

/// A record as bytes and holes.
#[derive(Debug)]
pub struct Record {
    /// All text, and padding behind it so that it can be copied by pieces.
    text: Vec<u8>,
    /// How much text, then what.
    pieces: Vec<(u32, Option<Hole>)>,
    /// Bytes that no record of this form exceeds.
    most: usize,
}

/// Bytes copied at once.
const STEP: usize = 64;

/// Bytes that a number of up to 128 bits has at most.
const DIGITS_MOST: usize = 39;

impl Record {
    fn new(parts: Vec<(Vec<u8>, Option<Hole>)>) -> Record {
        let mut text = Vec::new();
        let mut pieces = Vec::new();
        for (bytes, hole) in parts {
            pieces.push((bytes.len() as u32, hole));
            text.extend(bytes);
        }
        let most = text.len() + pieces.len() * STEP + STEP;
        text.resize(text.len() + STEP, 0);
        Record { text, pieces, most }
    }

    /// Writes the record of one capture: `line` its number as digits, `word`
    /// its `length` bits, the first the highest.
    #[inline]
    pub fn fill(&self, out: &mut Room, line: &Counter, word: u64, length: usize) {
        let mut rest = &self.text[..];
        let mut place = out.place(self.most);
        for (count, hole) in &self.pieces {
            let mut left = *count as usize;
            while let Some(step) = rest.first_chunk::<STEP>()
                && left > 0
            {
                let count = STEP.min(left);
                place.put(step, count);
                (rest, left) = (&rest[count..], left - count);
            }
            match hole {
                None => {}
                Some(Hole::Line) => place.put(line.digits(), line.len()),
                Some(Hole::Bits) => place.bits(word, length),
                Some(Hole::Number(pick)) => place.number(pick.number(word)),
            }
        }
        let used = place.used;
        out.used += used;
    }
}

/// The digits of a number below 10^8, the first the lowest byte: two halves
/// of four, each split by multiplication, all eight at once.
#[inline]
fn eight(number: u64) -> u64 {
    let (high, low) = (number / 10_000, number % 10_000);
    let halves = high | low << 32;
    // In each half: hundreds in the lower 16 bits, the rest in the upper.
    let hundreds = ((halves * 10_486) >> 20) & 0x7F_0000_007F;
    let pairs = hundreds | (halves - hundreds * 100) << 16;
    let tens = ((pairs * 103) >> 10) & 0x0F_000F_000F_000F;
    tens | (pairs - tens * 10) << 8
}

/// Numbers written as one group of eight digits.
const EIGHT: u64 = 100_000_000;

const ZEROS: u64 = 0x3030_3030_3030_3030;

/// Bytes being written, with room behind them.
#[derive(Debug, Default)]
pub struct Room {
    bytes: Vec<u8>,
    used: usize,
}

/// Where a record goes.
struct Place<'r> {
    bytes: &'r mut [u8],
    used: usize,
}

impl Place<'_> {
    /// Puts the first `count` of these bytes; those behind are written over.
    #[inline]
    fn put<const N: usize>(&mut self, bytes: &[u8; N], count: usize) {
        if let Some(place) = self.bytes[self.used..].first_chunk_mut::<N>() {
            *place = *bytes;
        }
        self.used += count;
    }

    /// Puts a capture as 0 and 1. Not inlined, or it would be worked out for
    /// records without it too.
    #[inline(never)]
    fn bits(&mut self, word: u64, length: usize) {
        let bits: [u8; 64] = std::array::from_fn(|i| b'0' + (word >> (63 - i) & 1) as u8);
        self.put(&bits, length);
    }

    /// Puts a number in decimal.
    #[inline]
    fn number(&mut self, number: u128) {
        match u64::try_from(number) {
            Ok(number) if number < EIGHT => self.leading(number),
            Ok(number) if number < EIGHT * EIGHT => {
                self.leading(number / EIGHT);
                let digits = eight(number % EIGHT) | ZEROS;
                self.put(&digits.to_le_bytes(), 8);
            }
            _ => self.long(number),
        }
    }

    #[cold]
    fn long(&mut self, number: u128) {
        let text = number.to_string();
        let mut digits = [0; DIGITS_MOST];
        digits[..text.len()].copy_from_slice(text.as_bytes());
        self.put(&digits, text.len());
    }

    /// Puts a number below 10^8 without leading zeros.
    #[inline]
    fn leading(&mut self, number: u64) {
        let digits = eight(number);
        let blank = (digits.trailing_zeros() / 8).min(7);
        let shown = (digits | ZEROS) >> (8 * blank);
        self.put(&shown.to_le_bytes(), 8 - blank as usize);
    }
}

impl Room {
    /// Room for so many bytes.
    #[inline]
    fn place(&mut self, most: usize) -> Place<'_> {
        if self.bytes.len() < self.used + most {
            self.bytes.resize(2 * self.bytes.len() + most, 0);
        }
        Place { bytes: &mut self.bytes[self.used..], used: 0 }
    }

    /// What was written.
    pub fn written(&self) -> &[u8] {
        &self.bytes[..self.used]
    }

    /// Appends what `write` appends.
    pub fn append<T>(&mut self, write: impl FnOnce(&mut Vec<u8>) -> T) -> T {
        self.bytes.truncate(self.used);
        let came = write(&mut self.bytes);
        self.used = self.bytes.len();
        came
    }

    /// Forgets what was written.
    pub fn clear(&mut self) {
        self.used = 0;
    }
}

/// A line number that counts up as digits.
pub struct Counter {
    pub value: u64,
    /// Eight at a time, the last the least.
    digits: [u8; 24],
    count: usize,
}

impl Counter {
    pub fn new(value: u64) -> Counter {
        let mut counter = Counter { value, digits: [0; 24], count: 0 };
        counter.write();
        counter
    }

    fn write(&mut self) {
        let text = self.value.to_string();
        self.count = text.len();
        self.digits[..self.count].copy_from_slice(text.as_bytes());
    }

    #[inline]
    fn digits(&self) -> &[u8; 24] {
        &self.digits
    }

    #[inline]
    fn len(&self) -> usize {
        self.count
    }

    #[inline]
    pub fn next(&mut self) {
        self.value += 1;
        let last = &mut self.digits[self.count - 1];
        *last += 1;
        if *last > b'9' {
            self.write();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counters_count() {
        for from in [1, 8, 98, 999_998] {
            let mut counter = Counter::new(from);
            for value in from..from + 15 {
                let text = value.to_string();
                assert_eq!(&counter.digits()[..counter.len()], text.as_bytes());
                counter.next();
            }
        }
    }

    #[test]
    fn numbers_in_decimal() {
        let some = (0..100_000_000).step_by(997).chain(0..20_000u32).map(u128::from);
        let ends = (0..39).flat_map(|digits| [10u128.pow(digits) - 1, 10u128.pow(digits)]);
        let mut room = Room::default();
        for number in some.chain(ends).chain([u128::MAX]) {
            let mut place = room.place(2 * STEP);
            place.number(number);
            assert_eq!(&place.bytes[..place.used], number.to_string().as_bytes());
        }
    }
}
