//! Records with gaps: what is the same for all captures of a class is
//! rendered once, and the numbers of each capture are filled in.
//!
//! A record is rendered by the same code either way. With gaps, a number
//! comes out as a mark, and the bytes between the marks are kept.

use holdover::decode::BitExtract;
use holdover::say::{Gaps, Hole};

/// A record as bytes and gaps.
#[derive(Debug)]
pub struct Record {
    /// All text, and padding behind it so that it can be copied by steps.
    text: Vec<u8>,
    steps: Vec<Step>,
    /// Bytes that no record of this form exceeds.
    most: usize,
}

/// Perhaps a number, then some text.
#[derive(Debug)]
struct Step {
    what: What,
    from: u32,
    /// Up to [`STEP`].
    count: u8,
}

/// What stands before the text of a step.
#[derive(Debug)]
enum What {
    Nothing,
    Line,
    Bits,
    /// A run of the word's bits, perhaps inverted.
    Run {
        flip: u64,
        left: u8,
        right: u8,
    },
    Spread(BitExtract),
}

/// Bytes copied at once; of short texts, fewer.
const STEP: usize = 64;
const SHORT_STEP: usize = 16;

impl Record {
    /// What it takes beside itself, in bytes.
    pub fn bytes(&self) -> usize {
        self.text.capacity() + self.steps.capacity() * size_of::<Step>()
    }

    /// A record cut at its gaps; `None` where it is none that can be kept.
    pub fn cut(gaps: Gaps<'_>, record: &str) -> Option<Record> {
        gaps.holes(record).map(Record::new)
    }

    fn new(parts: Vec<(&str, Option<Hole>)>) -> Record {
        let mut text = Vec::new();
        let mut steps = Vec::new();
        let mut what = What::Nothing;
        for (bytes, hole) in parts {
            for some in bytes.as_bytes().chunks(STEP) {
                let before = std::mem::replace(&mut what, What::Nothing);
                steps.push(Step { what: before, from: text.len() as u32, count: some.len() as u8 });
                text.extend(some);
            }
            // Two gaps may have nothing between them.
            if !matches!(what, What::Nothing) {
                steps.push(Step { what, from: text.len() as u32, count: 0 });
            }
            what = match hole {
                None => What::Nothing,
                Some(Hole::Line) => What::Line,
                Some(Hole::Bits) => What::Bits,
                Some(Hole::Number(BitExtract::Run { flip, left, right })) => {
                    What::Run { flip, left: left as u8, right: right as u8 }
                }
                Some(Hole::Number(extract)) => What::Spread(extract),
            };
        }
        let most = text.len() + (steps.len() + 1) * STEP;
        text.resize(text.len() + STEP, 0);
        Record { text, steps, most }
    }

    /// Writes the record of one capture: `line` its number as digits, `word`
    /// its `length` bits, the first the highest.
    #[inline]
    pub fn fill(&self, out: &mut Room, line: &Counter, word: u64, length: usize) {
        let mut place = out.place(self.most);
        for step in &self.steps {
            match &step.what {
                What::Nothing => {}
                What::Line => line.put(&mut place),
                What::Run { flip, left, right } => place.number((word << left ^ flip) >> right),
                What::Bits => place.put_by(|room| bits(room, word, length)),
                What::Spread(extract) => place.put_by(|room| long(room, extract.number(word))),
            }
            let (text, count) = (&self.text[step.from as usize..], usize::from(step.count));
            match count <= SHORT_STEP {
                true => place.put_first::<SHORT_STEP>(text, count),
                false => place.put_first::<STEP>(text, count),
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
    #[inline(always)]
    fn put<const N: usize>(&mut self, bytes: &[u8; N], count: usize) {
        if let Some(place) = self.bytes[self.used..].first_chunk_mut::<N>() {
            *place = *bytes;
        }
        self.used += count;
    }

    /// The same of text that has so many and more behind it.
    #[inline(always)]
    fn put_first<const N: usize>(&mut self, text: &[u8], count: usize) {
        if let Some(text) = text.first_chunk::<N>() {
            self.put(text, count);
        }
    }

    /// Puts what a function writes, given all the room there is. A function
    /// that is not inlined gets no more of a place than that: how much of it is
    /// used stays in a register.
    #[inline(always)]
    fn put_by(&mut self, write: impl FnOnce(&mut [u8]) -> usize) {
        self.used += write(&mut self.bytes[self.used..]);
    }

    /// Puts a number in decimal.
    #[inline(always)]
    fn number(&mut self, number: u64) {
        match number < EIGHT {
            true => self.leading(number),
            false => self.put_by(|room| large(room, number)),
        }
    }

    /// Puts a number below 10^8 without leading zeros.
    #[inline(always)]
    fn leading(&mut self, number: u64) {
        let digits = eight(number);
        let blank = (digits.trailing_zeros() / 8).min(7);
        let shown = (digits | ZEROS) >> (8 * blank);
        self.put(&shown.to_le_bytes(), 8 - blank as usize);
    }
}

/// Writes a capture as 0 and 1; how many bytes. Not inlined, or it would be
/// worked out for records without it too; so are the next ones.
#[inline(never)]
fn bits(room: &mut [u8], word: u64, length: usize) -> usize {
    let mut place = Place { bytes: room, used: 0 };
    let bits: [u8; 64] = std::array::from_fn(|i| b'0' + (word >> (63 - i) & 1) as u8);
    place.put(&bits, length);
    place.used
}

/// Writes a number of more than eight digits; how many bytes.
#[inline(never)]
fn large(room: &mut [u8], number: u64) -> usize {
    if number >= EIGHT * EIGHT {
        return long(room, number.into());
    }
    let mut place = Place { bytes: room, used: 0 };
    match number / EIGHT {
        few @ 0..10 => place.put(&[b'0' + few as u8], 1),
        more => place.leading(more),
    }
    let digits = eight(number % EIGHT) | ZEROS;
    place.put(&digits.to_le_bytes(), 8);
    place.used
}

/// Writes any number; how many bytes.
#[cold]
fn long(room: &mut [u8], number: u128) -> usize {
    let text = number.to_string();
    room[..text.len()].copy_from_slice(text.as_bytes());
    text.len()
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

    /// Appends what `write` writes.
    pub fn append<T>(&mut self, write: impl FnOnce(&mut Vec<u8>) -> T) -> T {
        let mut more = Vec::new();
        let came = write(&mut more);
        self.place(more.len()).bytes[..more.len()].copy_from_slice(&more);
        self.used += more.len();
        came
    }

    /// Forgets what was written.
    pub fn clear(&mut self) {
        self.used = 0;
    }
}

/// Writes what stands before the last eight digits of a number; how many bytes.
#[cold]
#[inline(never)]
fn above_eight(room: &mut [u8], number: u64) -> usize {
    let mut place = Place { bytes: room, used: 0 };
    place.number(number / EIGHT);
    place.used
}

/// A line number that counts up as digits.
pub struct Counter {
    pub value: u64,
    /// Its last eight digits, the first the lowest byte.
    last: u64,
    /// Zeros in front of it.
    blank: u32,
}

impl Counter {
    pub fn new(value: u64) -> Counter {
        let digits = eight(value % EIGHT);
        let blank = if value < EIGHT { (digits.trailing_zeros() / 8).min(7) } else { 0 };
        Counter { value, last: digits | ZEROS, blank }
    }

    #[inline(always)]
    fn put(&self, place: &mut Place<'_>) {
        if self.value >= EIGHT {
            place.put_by(|room| above_eight(room, self.value));
        }
        let shown = self.last >> (8 * self.blank);
        place.put(&shown.to_le_bytes(), 8 - self.blank as usize);
    }

    #[inline]
    pub fn next(&mut self) {
        self.last += 1 << 56;
        self.value += 1;
        if self.last >> 56 > u64::from(b'9') {
            *self = Counter::new(self.value);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counters_count() {
        let mut room = Room::default();
        for from in [1, 8, 98, 999_998, EIGHT - 5, 12 * EIGHT - 5] {
            let mut counter = Counter::new(from);
            for value in from..from + 15 {
                let mut place = room.place(2 * STEP);
                counter.put(&mut place);
                assert_eq!(&place.bytes[..place.used], value.to_string().as_bytes());
                counter.next();
            }
        }
    }

    #[test]
    fn numbers_in_decimal() {
        let some = (0..100_000_000).step_by(997).chain(0..20_000u64);
        let ends = (0..20).flat_map(|digits| [10u64.pow(digits) - 1, 10u64.pow(digits)]);
        let mut room = Room::default();
        for number in some.chain(ends).chain([u64::MAX]) {
            let mut place = room.place(2 * STEP);
            place.number(number);
            assert_eq!(&place.bytes[..place.used], number.to_string().as_bytes());
        }
    }
}
