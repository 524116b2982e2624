//! Short captures of the reader without a name, which are most of a large
//! file: each is one word, a 1 behind its last bit. They are sorted by hash
//! into parts that fit a processor's cache, so that a block of them costs a
//! few nanoseconds each, however many are kept.

#[cfg(feature = "parallel")]
use rayon::prelude::*;

/// log2 of the number of parts.
const PARTS_LOG2: u32 = 6;
const PARTS: usize = 1 << PARTS_LOG2;

/// Places of a part looked at at once. Judgement: more than memory answers at once.
const AT_ONCE: usize = 32;

/// The longest capture that is one word with a 1 behind it.
pub const SHORT_MOST: usize = 63;

/// Odd words of well-mixed bits: the first is 2^64 over the golden ratio, the
/// others are from memory, no source.
pub const ODD: [u64; 3] = [0x9E37_79B9_7F4A_7C15, 0xD6E8_FEB8_6659_FD93, 0xA076_1D64_78BD_642F];

/// Both halves of a product, folded: each bit of it depends on all of both.
#[inline]
pub fn fold(a: u64, b: u64) -> u64 {
    let product = u128::from(a) * u128::from(b);
    product as u64 ^ (product >> 64) as u64
}

/// Captures of up to 64 bits, one behind the other.
#[derive(Debug, Clone, Copy)]
pub struct Column<'a> {
    /// How many bits; where 0, there is no capture.
    pub lengths: &'a [u8],
    /// Their bits, the first the highest, zeros behind: as many as lengths.
    pub captures: &'a [u64],
}

/// The short captures that are kept.
#[derive(Debug, Clone)]
pub struct WordSet {
    parts: Vec<Part>,
    /// Room for each column's.
    sorted: Vec<Sorted>,
}

/// A slot without a capture: a capture of no bits. Not 0, for memory that is
/// asked for as zeros is handed out twice, when it is first read and when it is
/// first written, and the second time stops all threads.
const FREE: u64 = 1 << 63;

/// Open addressing; [`FREE`] where there is none.
#[derive(Debug, Clone, Default)]
struct Part {
    slots: Vec<u64>,
    count: usize,
}

/// The short captures of a column by part.
#[derive(Debug, Clone, Default)]
struct Sorted {
    /// Those that are kept, and the part of each.
    kept: Vec<u64>,
    part_of: Vec<u8>,
    words: Vec<u64>,
    /// Where each part's words end.
    ends: Vec<usize>,
}

impl WordSet {
    pub fn new() -> WordSet {
        WordSet { parts: vec![Part::default(); PARTS], sorted: Vec::new() }
    }

    /// How many are kept.
    pub fn count(&self) -> usize {
        self.parts.iter().map(|part| part.count).sum()
    }

    /// Those that are kept, in no order.
    pub fn words(&self) -> impl Iterator<Item = u64> + Clone + '_ {
        self.parts.iter().flat_map(|part| &part.slots).copied().filter(|word| *word != FREE)
    }

    pub fn holds(&self, word: u64, seed: u64) -> bool {
        let hash = short_hash(word);
        self.parts[part_of(hash)].find(word, fold(hash, seed)).is_ok()
    }

    /// Keeps a word; whether it is new.
    pub fn see(&mut self, word: u64, seed: u64) -> bool {
        let hash = short_hash(word);
        self.parts[part_of(hash)].see(word, fold(hash, seed), seed)
    }

    /// Keeps the short captures of columns whose hash is below the threshold;
    /// how many are new.
    pub fn see_columns(&mut self, columns: &[Column<'_>], level: u32, seed: u64) -> usize {
        let most = if level == 0 { u64::MAX } else { (1 << (64 - level)) - 1 };
        self.sorted.resize_with(columns.len().max(self.sorted.len()), Sorted::default);
        let sorted = &mut self.sorted[..columns.len()];
        each(sorted, columns, |sorted, column| sorted.sort(column, most));
        let numbers: [usize; PARTS] = std::array::from_fn(|i| i);
        let before = self.count();
        each(&mut self.parts, &numbers, |part, i| {
            for column in &self.sorted[..columns.len()] {
                part.see_all(column.part(*i), seed);
            }
        });
        self.count() - before
    }

    /// Keeps those below the threshold alone; how many are left.
    pub fn keep_below(&mut self, level: u32, seed: u64) -> usize {
        for part in &mut self.parts {
            let all = std::mem::take(part).slots;
            for word in all.into_iter().filter(|word| *word != FREE) {
                let hash = short_hash(word);
                if hash >> (64 - level) == 0 {
                    part.see(word, fold(hash, seed), seed);
                }
            }
        }
        self.count()
    }
}

/// Does something to each with its other, on all processors where that is
/// asked for.
fn each<A: Send, B: Sync>(some: &mut [A], others: &[B], what: impl Fn(&mut A, &B) + Sync) {
    #[cfg(feature = "parallel")]
    some.par_iter_mut().zip(others).for_each(|(one, other)| what(one, other));
    #[cfg(not(feature = "parallel"))]
    some.iter_mut().zip(others).for_each(|(one, other)| what(one, other));
}

impl Sorted {
    fn sort(&mut self, column: &Column<'_>, most: u64) {
        let Column { lengths, captures } = column;
        self.kept.resize(lengths.len().max(self.kept.len()), 0);
        self.part_of.resize(lengths.len().max(self.part_of.len()), 0);
        let mut count = 0;
        let mut ends = [0; PARTS + 1];
        for (length, word) in lengths.iter().zip(*captures) {
            let short = (1..=SHORT_MOST as u8).contains(length);
            let word = word | 1 << (63 - (length & 63));
            let hash = short_hash(word);
            let part = part_of(hash);
            // Written in any case, and written over where it is not kept.
            let keep = usize::from(short & (hash <= most));
            self.kept[count] = word;
            self.part_of[count] = part as u8;
            ends[part + 1] += keep;
            count += keep;
        }
        for i in 1..ends.len() {
            ends[i] += ends[i - 1];
        }
        self.words.resize(count.max(self.words.len()), 0);
        let mut next = ends;
        for (word, part) in self.kept[..count].iter().zip(&self.part_of[..count]) {
            let next = &mut next[usize::from(*part)];
            self.words[*next] = *word;
            *next += 1;
        }
        self.ends.clear();
        self.ends.extend(ends);
    }

    fn part(&self, i: usize) -> &[u64] {
        &self.words[self.ends[i]..self.ends[i + 1]]
    }
}

/// The hash of a short capture. Its highest bits say whether it is kept, those
/// in the middle which part it is in.
#[inline]
pub fn short_hash(word: u64) -> u64 {
    fold(word ^ ODD[1], ODD[0])
}

#[inline]
fn part_of(hash: u64) -> usize {
    (hash >> 24) as usize & ((1 << PARTS_LOG2) - 1)
}

impl Part {
    #[inline]
    fn find(&self, word: u64, place: u64) -> Result<usize, usize> {
        let Some(mask) = self.slots.len().checked_sub(1) else { return Err(0) };
        let mut slot = place as usize & mask;
        loop {
            match self.slots[slot] {
                FREE => return Err(slot),
                own if own == word => return Ok(slot),
                _ => slot = (slot + 1) & mask,
            }
        }
    }

    /// Adds a word; whether it is new.
    #[inline]
    fn see(&mut self, word: u64, place: u64, seed: u64) -> bool {
        match self.find(word, place) {
            Ok(_) => false,
            Err(slot) if 8 * self.count < 5 * self.slots.len() => {
                self.slots[slot] = word;
                self.count += 1;
                true
            }
            Err(_) => {
                self.grow(seed);
                self.see(word, place, seed)
            }
        }
    }

    /// Adds words; how many are new. Most are not and are where they are looked
    /// for first: so many of those places are looked at before any is judged,
    /// and are on their way from memory at once.
    fn see_all(&mut self, words: &[u64], seed: u64) -> usize {
        let before = self.count;
        for some in words.chunks(AT_ONCE) {
            let mask = self.slots.len().wrapping_sub(1);
            let mut first = [0; AT_ONCE];
            for (first, word) in first.iter_mut().zip(some) {
                let place = fold(short_hash(*word), seed) as usize & mask;
                *first = self.slots.get(place).copied().unwrap_or(FREE);
            }
            for (first, word) in first.iter().zip(some) {
                if first != word {
                    self.see(*word, fold(short_hash(*word), seed), seed);
                }
            }
        }
        self.count - before
    }

    #[cold]
    fn grow(&mut self, seed: u64) {
        let more = vec![FREE; (self.slots.len() * 2).max(8)];
        let all = std::mem::replace(&mut self.slots, more);
        for word in all.into_iter().filter(|word| *word != FREE) {
            if let Err(slot) = self.find(word, fold(short_hash(word), seed)) {
                self.slots[slot] = word;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers in a row, the first bits alike: the parts have as many each.
    #[test]
    fn parts_are_even() {
        let mut short = WordSet::new();
        let words = (0..64_000u64).map(|n| n << 38 | 1 << 37);
        assert!(words.clone().all(|word| short.see(word, 12345)));
        assert!(!words.clone().any(|word| short.see(word, 12345)));
        assert!(short.parts.iter().all(|part| (800..1200).contains(&part.count)));
        assert_eq!(short.count(), 64_000);
        // What is kept is sampled evenly too.
        let left = short.keep_below(3, 12345);
        assert!((7_500..8_500).contains(&left), "{left}");
        assert_eq!(short.words().count(), left);
    }
}
