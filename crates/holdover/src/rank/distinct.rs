//! The distinct captures of a batch: all of them up to a limit, and a fair
//! sample of them beyond it.
//!
//! A capture is kept while its hash is below a threshold; where there are too
//! many for all, the threshold is halved until few enough are kept. What is kept depends on the set of captures
//! alone, not on their order, and every distinct capture has the same chance
//! to be kept, however often it was seen (a bottom-k sketch). How many there
//! are is the number kept times two to the number of halvings.

use std::hash::BuildHasher;

use super::short::{Column, ODD, SHORT_MOST, Short, fold, short_hash};
use crate::bits::{Capture, Wide};

/// Distinct captures kept at most. Judgement: the proportions of a million
/// are known to a thousandth, and they take 30 MB.
pub const KEPT_MOST: usize = 1 << 20;

/// Distinct captures kept of those that are more. Judgement: the proportions of
/// a hundred thousand are known to a hundredth of any share that matters, and
/// they stay in a processor's cache.
pub const SAMPLE_MOST: usize = 1 << 17;

/// Captures of one length.
#[derive(Debug, Clone, Default)]
struct Lot {
    /// 64-bit words a capture.
    stride: usize,
    words: Vec<u64>,
    readers: Vec<u32>,
    /// Open addressing: index of a capture plus one, 0 where free.
    slots: Vec<u32>,
}

/// The distinct captures, each reader's for itself.
#[derive(Debug)]
pub(super) struct Distinct {
    short: Short,
    /// The reader without a name.
    unnamed: Option<u32>,
    /// All others, by length.
    lots: Vec<Lot>,
    count: usize,
    halvings: u32,
    /// A hash of each reader's name.
    salts: Vec<u64>,
    /// For the places in `slots` alone, so that no input can be made to crowd
    /// them.
    seed: u64,
}

#[inline]
fn hash(salt: u64, words: &[u64]) -> u64 {
    let mixed = words.iter().fold(salt, |hash, word| fold(hash ^ word, ODD[0]) ^ ODD[1]);
    fold(mixed, ODD[2])
}

impl Distinct {
    pub fn new() -> Distinct {
        let lots = (0..=Capture::MAX_BITS)
            .map(|length| Lot { stride: length.div_ceil(64), ..Lot::default() })
            .collect();
        let seed = std::collections::hash_map::RandomState::new().hash_one(0) | 1;
        let salts = Vec::new();
        Distinct { short: Short::new(), unnamed: None, lots, count: 0, halvings: 0, salts, seed }
    }

    /// Adds a reader; readers are numbered as they come.
    pub fn add_reader(&mut self, name: &str) {
        if name.is_empty() {
            self.unnamed = Some(self.salts.len() as u32);
        }
        let words: Vec<u64> = name.bytes().map(u64::from).chain([name.len() as u64]).collect();
        self.salts.push(hash(ODD[1], &words));
    }

    /// How many are kept.
    pub fn count(&self) -> usize {
        self.count
    }

    /// How often the threshold was halved: 0 while every capture is kept.
    pub fn halvings(&self) -> u32 {
        self.halvings
    }

    /// The word of a capture that is one of the short ones.
    #[inline]
    fn short_word(&self, reader: u32, length: usize, words: &[u64]) -> Option<u64> {
        let short = length <= SHORT_MOST && self.unnamed == Some(reader);
        short.then(|| words[0] | 1 << (63 - length))
    }

    /// Whether the hash of a capture is one that is kept.
    #[inline]
    pub fn keeps(&self, reader: u32, length: usize, words: &[u64]) -> bool {
        self.is_below(self.halvings, reader, length, words)
    }

    /// Whether a capture is in the sample that so many halvings leave.
    #[inline]
    pub fn is_below(&self, halvings: u32, reader: u32, length: usize, words: &[u64]) -> bool {
        halvings == 0 || self.hash(reader, length, words) >> (64 - halvings) == 0
    }

    /// The captures that so many halvings leave.
    pub fn below(&self, halvings: u32) -> impl Iterator<Item = (u32, Capture)> + Clone + '_ {
        self.iter().filter(move |(reader, capture)| {
            halvings <= self.halvings
                || self.is_below(halvings, *reader, capture.len(), capture.words())
        })
    }

    #[inline]
    fn hash(&self, reader: u32, length: usize, words: &[u64]) -> u64 {
        match self.short_word(reader, length, words) {
            Some(word) => short_hash(word),
            None => hash(self.salts[reader as usize], words),
        }
    }

    /// Whether a capture was seen and is kept.
    pub fn holds(&self, reader: u32, capture: &Capture) -> bool {
        let words = capture.words();
        if !self.keeps(reader, capture.len(), words) {
            return false;
        }
        if let Some(word) = self.short_word(reader, capture.len(), words) {
            return self.short.holds(word, self.seed);
        }
        let lot = &self.lots[capture.len()];
        !lot.slots.is_empty() && lot.find(place(self.seed, words), reader, words).is_ok()
    }

    /// Takes a capture's words, the first bit the highest, zeros behind.
    pub fn see(&mut self, reader: u32, length: usize, words: &[u64]) {
        if !self.keeps(reader, length, words) {
            return;
        }
        if let Some(word) = self.short_word(reader, length, words) {
            self.count += usize::from(self.short.see(word, self.seed));
        } else {
            let lot = &mut self.lots[length];
            if lot.readers.len() * 2 >= lot.slots.len() {
                lot.grow(self.seed);
            }
            let Err(slot) = lot.find(place(self.seed, words), reader, words) else { return };
            lot.words.extend_from_slice(words);
            lot.readers.push(reader);
            lot.slots[slot] = lot.readers.len() as u32;
            self.count += 1;
        }
        self.thin();
    }

    /// Takes columns of captures of up to 64 bits each; of length 0, none.
    pub fn see_columns(&mut self, reader: u32, columns: &[Column<'_>]) {
        let short = self.unnamed == Some(reader);
        if short {
            self.count += self.short.see_columns(columns, self.halvings, self.seed);
        }
        for Column { lengths, captures } in columns {
            let longest = lengths.iter().max().copied().unwrap_or(0);
            if short && usize::from(longest) <= SHORT_MOST {
                continue;
            }
            for (length, word) in lengths.iter().zip(*captures) {
                let length = usize::from(*length);
                if length > if short { SHORT_MOST } else { 0 } {
                    self.see(reader, length, &[*word]);
                }
            }
        }
        self.thin();
    }

    /// Once not all can be kept, a sample is: the largest that is small enough.
    #[inline]
    fn thin(&mut self) {
        if self.count > if self.halvings == 0 { KEPT_MOST } else { SAMPLE_MOST } {
            self.halve();
        }
    }

    #[cold]
    fn halve(&mut self) {
        // How many would be left by each number of halvings.
        let mut with_zeros = [0usize; 65];
        let short = self.short.words().map(short_hash);
        let long = self.lots.iter().flat_map(|lot| {
            let words = lot.words.chunks_exact(lot.stride.max(1));
            words.zip(&lot.readers).map(|(words, reader)| hash(self.salts[*reader as usize], words))
        });
        short.chain(long).for_each(|hash| with_zeros[hash.leading_zeros() as usize] += 1);
        let mut left = self.count;
        while left > SAMPLE_MOST && self.halvings < 63 {
            left -= with_zeros[self.halvings as usize];
            self.halvings += 1;
        }
        let (shift, salts, seed) = (64 - self.halvings, &self.salts, self.seed);
        self.count = 0;
        self.count += self.short.keep_below(self.halvings, seed);
        for lot in &mut self.lots {
            let stride = lot.stride;
            let mut kept = 0;
            for i in 0..lot.readers.len() {
                let words = &lot.words[i * stride..(i + 1) * stride];
                if hash(salts[lot.readers[i] as usize], words) >> shift != 0 {
                    continue;
                }
                lot.words.copy_within(i * stride..(i + 1) * stride, kept * stride);
                lot.readers[kept] = lot.readers[i];
                kept += 1;
            }
            self.count += kept;
            lot.words.truncate(kept * stride);
            lot.readers.truncate(kept);
            lot.place_all(seed);
        }
    }

    /// The captures kept: reader and bits.
    pub fn iter(&self) -> impl Iterator<Item = (u32, Capture)> + Clone + '_ {
        let unnamed = self.unnamed.unwrap_or(0);
        let short = self.short.words().map(move |word| {
            let length = 63 - word.trailing_zeros() as usize;
            let bits = Wide([word & (word - 1), 0, 0, 0]);
            (unnamed, Capture::from_wide(bits, length).expect("a length of 1 to 63"))
        });
        short.chain(self.long())
    }

    fn long(&self) -> impl Iterator<Item = (u32, Capture)> + Clone + '_ {
        self.lots.iter().enumerate().flat_map(|(length, lot)| {
            let captures = lot.words.chunks_exact(lot.stride.max(1)).map(move |words| {
                let mut wide = Wide::ZERO;
                wide.0[..words.len()].copy_from_slice(words);
                Capture::from_wide(wide, length).expect("a length of 1 to 256")
            });
            lot.readers.iter().copied().zip(captures)
        })
    }

    /// The captures of each reader that has more than `most`: the `most` with
    /// the least hashes. None of a reader that has fewer.
    pub fn sample(&self, most: usize) -> Vec<(u32, Capture)> {
        let mut counts = vec![0usize; self.salts.len()];
        self.lots.iter().flat_map(|lot| &lot.readers).for_each(|r| counts[*r as usize] += 1);
        if let Some(unnamed) = self.unnamed {
            counts[unnamed as usize] += self.short.count();
        }
        if counts.iter().all(|count| *count <= most) {
            return Vec::new();
        }
        // A hash below four times the share wanted is kept: more than needed.
        let mut all: Vec<(u32, u64, Capture)> = Vec::new();
        for (reader, capture) in self.iter() {
            let count = counts[reader as usize];
            if count <= most {
                continue;
            }
            let hash = self.hash(reader, capture.len(), capture.words());
            let share = 4.0 * most as f64 / count as f64;
            let limit = (share.min(1.0) * 2f64.powi(64 - self.halvings as i32)) as u64;
            if hash <= limit {
                all.push((reader, hash, capture));
            }
        }
        all.sort_unstable_by_key(|(reader, hash, capture)| {
            (*reader, *hash, capture.len(), capture.wide())
        });
        let mut taken = vec![0; self.salts.len()];
        all.retain(|(reader, _, _)| {
            taken[*reader as usize] += 1;
            taken[*reader as usize] <= most
        });
        all.into_iter().map(|(reader, _, capture)| (reader, capture)).collect()
    }
}

#[inline]
fn place(seed: u64, words: &[u64]) -> u64 {
    words.iter().fold(seed, |hash, word| fold(hash ^ word, seed ^ ODD[0]))
}

impl Lot {
    /// The slot of a capture, or the free one where it would go.
    #[inline]
    fn find(&self, place: u64, reader: u32, words: &[u64]) -> Result<usize, usize> {
        let mask = self.slots.len() - 1;
        let mut slot = place as usize & mask;
        loop {
            match self.slots[slot] {
                0 => return Err(slot),
                index => {
                    let i = index as usize - 1;
                    let own = &self.words[i * words.len()..(i + 1) * words.len()];
                    if own == words && self.readers[i] == reader {
                        return Ok(slot);
                    }
                }
            }
            slot = (slot + 1) & mask;
        }
    }

    fn grow(&mut self, seed: u64) {
        self.slots = vec![0; (self.slots.len() * 2).max(64)];
        self.place_all(seed);
    }

    fn place_all(&mut self, seed: u64) {
        self.slots.fill(0);
        let mask = self.slots.len().wrapping_sub(1);
        for (i, words) in self.words.chunks_exact(self.stride.max(1)).enumerate() {
            let mut slot = place(seed, words) as usize & mask;
            while self.slots[slot] != 0 {
                slot = (slot + 1) & mask;
            }
            self.slots[slot] = i as u32 + 1;
        }
    }
}
