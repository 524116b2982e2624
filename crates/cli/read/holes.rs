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
const STEP: usize = 32;

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
        let most = text.len() + pieces.len() * 64 + STEP;
        text.resize(text.len() + STEP, 0);
        Record { text, pieces, most }
    }

    /// Writes the record of one capture: `line` its number as digits, `word`
    /// its `length` bits, the first the highest.
    #[inline]
    pub fn fill(&self, out: &mut Room, line: &Counter, word: u64, length: usize) {
        out.reserve(self.most);
        let mut from = 0;
        for (count, hole) in &self.pieces {
            let to = from + *count as usize;
            while from < to {
                let count = STEP.min(to - from);
                out.put(self.text[from..].first_chunk::<STEP>(), count);
                from += count;
            }
            match hole {
                None => {}
                Some(Hole::Line) => out.put(Some(line.digits()), line.len()),
                Some(Hole::Bits) => {
                    let bits: [u8; 64] =
                        std::array::from_fn(|i| b'0' + (word >> (63 - i) & 1) as u8);
                    out.put(Some(&bits), length);
                }
                Some(Hole::Number(pick)) => match pick.number(word) {
                    small if small < 100_000_000 => {
                        let (digits, count) = eight(small as u32);
                        out.put(Some(&digits), count);
                    }
                    large => {
                        let text = large.to_string();
                        let mut digits = [0; DIGITS_MOST];
                        digits[..text.len()].copy_from_slice(text.as_bytes());
                        out.put(Some(&digits), text.len());
                    }
                },
            }
        }
    }
}

/// The digits of a number below 10^8 in front, and how many: two halves of
/// four, each split by multiplication, all eight at once.
#[inline]
fn eight(number: u32) -> ([u8; 8], usize) {
    let number = u64::from(number);
    let (high, low) = (number / 10_000, number % 10_000);
    let halves = high | low << 32;
    // In each half: hundreds in the lower 16 bits, the rest in the upper.
    let hundreds = ((halves * 10_486) >> 20) & 0x7F_0000_007F;
    let pairs = hundreds | (halves - hundreds * 100) << 16;
    let tens = ((pairs * 103) >> 10) & 0x0F_000F_000F_000F;
    let each = tens | (pairs - tens * 10) << 8;
    let blank = (each.trailing_zeros() / 8).min(7);
    let digits = (each | ZEROS) >> (8 * blank);
    (digits.to_le_bytes(), 8 - blank as usize)
}

const ZEROS: u64 = 0x3030_3030_3030_3030;

/// Bytes being written, with room behind them.
#[derive(Debug, Default)]
pub struct Room {
    bytes: Vec<u8>,
    used: usize,
}

impl Room {
    /// Sees to it that so many bytes can be put.
    #[inline]
    fn reserve(&mut self, most: usize) {
        if self.bytes.len() < self.used + most + 64 {
            self.bytes.resize(2 * self.bytes.len() + most + 64, 0);
        }
    }

    /// Puts the first `count` of these bytes; those behind are written over.
    #[inline]
    fn put<const N: usize>(&mut self, bytes: Option<&[u8; N]>, count: usize) {
        let place = self.bytes.get_mut(self.used..).and_then(|rest| rest.first_chunk_mut::<N>());
        if let (Some(place), Some(bytes)) = (place, bytes) {
            *place = *bytes;
        }
        self.used += count;
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
    fn eight_digits() {
        let some =
            (0..100_000_000).step_by(997).chain(0..20_000).chain([9_999, 10_000, 99_999_999]);
        for number in some {
            let (digits, count) = eight(number);
            assert_eq!(&digits[..count], number.to_string().as_bytes());
        }
    }
}
