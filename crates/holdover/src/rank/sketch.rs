//! The distinct captures of a batch: all of them up to a limit, and a fair
//! sample of them beyond it.
//!
//! A capture is kept while its hash is below a threshold; where there are too
//! many for all, the threshold is halved until few enough are kept. What is kept
//! depends on the set of captures alone, not on their order, and every distinct
//! capture has the same chance to be kept, however often it was seen (a bottom-k
//! sketch). How many there are is the number kept times two to the number of
//! levels.

use std::hash::BuildHasher;

use super::word_set::{Column, ODD, SHORT_MOST, WordSet, fold, short_hash};
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
pub(super) struct Sketch {
    word_set: WordSet,
    /// The reader without a name.
    unnamed: Option<u32>,
    /// All others, by length up to the longest seen.
    lots: Vec<Lot>,
    count: usize,
    level: u32,
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

impl Sketch {
    pub fn new() -> Sketch {
        let lots = Vec::new();
        let seed = std::collections::hash_map::RandomState::new().hash_one(0) | 1;
        let salts = Vec::new();
        Sketch { word_set: WordSet::new(), unnamed: None, lots, count: 0, level: 0, salts, seed }
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
    pub fn level(&self) -> u32 {
        self.level
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
        self.is_below(self.level, reader, length, words)
    }

    /// Whether a capture is in the sample that so many levels leave.
    #[inline]
    pub fn is_below(&self, level: u32, reader: u32, length: usize, words: &[u64]) -> bool {
        level == 0 || self.hash(reader, length, words) >> (64 - level) == 0
    }

    /// The captures that so many levels leave.
    pub fn below(&self, level: u32) -> impl Iterator<Item = (u32, Capture)> + Clone + '_ {
        self.iter().filter(move |(reader, capture)| {
            level <= self.level || self.is_below(level, *reader, capture.len(), capture.words())
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
            return self.word_set.holds(word, self.seed);
        }
        let lot = self.lots.get(capture.len()).filter(|lot| !lot.slots.is_empty());
        lot.is_some_and(|lot| lot.find(place(self.seed, reader, words), reader, words).is_ok())
    }

    /// Takes a capture's words, the first bit the highest, zeros behind.
    pub fn see(&mut self, reader: u32, length: usize, words: &[u64]) {
        if !self.keeps(reader, length, words) {
            return;
        }
        if let Some(word) = self.short_word(reader, length, words) {
            self.count += usize::from(self.word_set.see(word, self.seed));
        } else {
            for length in self.lots.len()..=length {
                self.lots.push(Lot { stride: length.div_ceil(64), ..Lot::default() });
            }
            let lot = &mut self.lots[length];
            if lot.readers.len() * 2 >= lot.slots.len() {
                lot.grow(self.seed);
            }
            let Err(slot) = lot.find(place(self.seed, reader, words), reader, words) else {
                return;
            };
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
            self.count += self.word_set.see_columns(columns, self.level, self.seed);
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
        if self.count > if self.level == 0 { KEPT_MOST } else { SAMPLE_MOST } {
            self.halve();
        }
    }

    #[cold]
    fn halve(&mut self) {
        // How many would be left by each level.
        let mut with_zeros = [0usize; 65];
        let short = self.word_set.words().map(short_hash);
        let long = self.lots.iter().flat_map(|lot| {
            let words = lot.words.chunks_exact(lot.stride.max(1));
            words.zip(&lot.readers).map(|(words, reader)| hash(self.salts[*reader as usize], words))
        });
        short.chain(long).for_each(|hash| with_zeros[hash.leading_zeros() as usize] += 1);
        let (mut left, mut level) = (self.count, self.level);
        while left > SAMPLE_MOST && level < 63 {
            left -= with_zeros[level as usize];
            level += 1;
        }
        self.keep_below(level);
    }

    /// Keeps the captures that so many levels leave, from now on too.
    pub fn keep_below(&mut self, level: u32) {
        self.level = level;
        if level == 0 || self.count == 0 {
            return;
        }
        let (shift, salts, seed) = (64 - self.level, &self.salts, self.seed);
        self.count = 0;
        self.count += self.word_set.keep_below(self.level, seed);
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

    /// Takes all that another keeps; `readers` are its readers, as numbered here.
    pub fn merge(&mut self, other: &Sketch, readers: &[u32]) {
        if other.level > self.level {
            self.keep_below(other.level);
        }
        for (reader, capture) in other.iter() {
            self.see(readers[reader as usize], capture.len(), capture.words());
        }
        self.thin();
    }

    /// The captures kept: reader and bits.
    pub fn iter(&self) -> impl Iterator<Item = (u32, Capture)> + Clone + '_ {
        let unnamed = self.unnamed.unwrap_or(0);
        let short = self.word_set.words().map(move |word| {
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

    /// How many captures of each reader are kept.
    pub fn counts(&self) -> Vec<usize> {
        let mut counts = vec![0usize; self.salts.len()];
        self.lots.iter().flat_map(|lot| &lot.readers).for_each(|r| counts[*r as usize] += 1);
        if let Some(unnamed) = self.unnamed {
            counts[unnamed as usize] += self.word_set.count();
        }
        counts
    }

    /// Up to `most` captures of each reader, those with the least hashes, and
    /// in the order of these.
    pub fn sample(&self, most: usize) -> Vec<(u32, Capture)> {
        let counts = self.counts();
        // A hash below four times the share wanted is kept: more than needed.
        let mut all: Vec<(u32, u64, Capture)> = Vec::new();
        for (reader, capture) in self.iter() {
            let count = counts[reader as usize];
            let hash = self.hash(reader, capture.len(), capture.words());
            let share = 4.0 * most as f64 / count as f64;
            let limit = (share.min(1.0) * 2f64.powi(64 - self.level as i32)) as u64;
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
fn place(seed: u64, reader: u32, words: &[u64]) -> u64 {
    let start = fold(seed ^ u64::from(reader), seed ^ ODD[2]);
    words.iter().fold(start, |hash, word| fold(hash ^ word, seed ^ ODD[0]))
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
        let captures = self.words.chunks_exact(self.stride.max(1)).zip(&self.readers);
        for (i, (words, reader)) in captures.enumerate() {
            let mut slot = place(seed, *reader, words) as usize & mask;
            while self.slots[slot] != 0 {
                slot = (slot + 1) & mask;
            }
            self.slots[slot] = i as u32 + 1;
        }
    }
}

#[cfg(test)]
mod tests {
    //! Against the standard library's sets.

    use std::collections::{BTreeMap, BTreeSet};

    use fastrand::Rng;

    use super::*;

    type Seen = (u32, usize, Wide);

    const READERS: [&str; 4] = ["gate", "", "yard", "lift"];

    fn new() -> Sketch {
        let mut sketch = Sketch::new();
        READERS.iter().for_each(|name| sketch.add_reader(name));
        sketch
    }

    fn see(sketch: &mut Sketch, (reader, length, bits): &Seen) {
        sketch.see(*reader, *length, &bits.0[..length.div_ceil(64)]);
    }

    fn is_below(sketch: &Sketch, level: u32, (reader, length, bits): &Seen) -> bool {
        sketch.is_below(level, *reader, *length, &bits.0[..length.div_ceil(64)])
    }

    fn all(sketch: &Sketch) -> BTreeSet<Seen> {
        let all: Vec<Seen> = sketch.iter().map(|(r, c)| (r, c.len(), c.wide())).collect();
        let set: BTreeSet<Seen> = all.iter().copied().collect();
        assert_eq!((set.len(), all.len()), (sketch.count(), sketch.count()));
        set
    }

    fn draw(rng: &mut Rng, lengths: &[usize], values: u64) -> Seen {
        let length = lengths[rng.usize(..lengths.len())];
        let bits = Wide(std::array::from_fn(|_| rng.u64(..values).reverse_bits()));
        (rng.u32(..4), length, bits & Wide::ones(length))
    }

    #[test]
    fn each_is_kept_once() {
        let mut rng = Rng::with_seed(1);
        let lengths = [1, 2, 5, 26, 62, 63, 64, 65, 128, 200, 256];
        let mut sketch = new();
        let mut set = BTreeSet::new();
        for _ in 0..20_000 {
            let seen = draw(&mut rng, &lengths, 64);
            let held = sketch.holds(seen.0, &Capture::from_wide(seen.2, seen.1).unwrap());
            assert_eq!(held, !set.insert(seen));
            see(&mut sketch, &seen);
            assert_eq!(sketch.count(), set.len());
        }
        assert_eq!(all(&sketch), set);
        assert!((5_000..19_000).contains(&set.len()), "{}", set.len());
    }

    #[test]
    fn columns_are_seen_as_one_by_one() {
        let mut rng = Rng::with_seed(2);
        for longest in [63, 64] {
            let mut columns: Vec<(Vec<u8>, Vec<u64>)> = Vec::new();
            for _ in 0..5 {
                let rows = rng.usize(..3000);
                let lengths: Vec<u8> = (0..rows).map(|_| rng.u8(0..=longest)).collect();
                let words = lengths.iter().map(|length| match length {
                    0 => 0,
                    _ => rng.u64(..64).reverse_bits() & (u64::MAX << (64 - length)),
                });
                columns.push((lengths.clone(), words.collect()));
            }
            let views: Vec<Column<'_>> =
                columns.iter().map(|(lengths, captures)| Column { lengths, captures }).collect();
            for reader in [0, 1] {
                let (mut at_once, mut singly) = (new(), new());
                at_once.see_columns(reader, &views);
                at_once.see_columns(reader, &views[..2]);
                for (length, word) in columns.iter().flat_map(|(l, w)| l.iter().zip(w)) {
                    if *length > 0 {
                        singly.see(reader, usize::from(*length), &[*word]);
                    }
                }
                assert_eq!(all(&at_once), all(&singly));
            }
        }
    }

    /// More than are kept: what is left are those with the least hashes, as
    /// many as there is room for, in whatever order they came.
    #[test]
    fn of_too_many_a_sample_is_kept() {
        let mut rng = Rng::with_seed(3);
        let many = KEPT_MOST + KEPT_MOST / 16;
        let mut set: Vec<Seen> =
            (0..many).map(|_| draw(&mut rng, &[40, 63, 64, 128], u64::MAX)).collect();
        let mut sketch = new();
        set[..KEPT_MOST].iter().for_each(|seen| see(&mut sketch, seen));
        assert_eq!((sketch.count(), sketch.level()), (KEPT_MOST, 0));
        set[KEPT_MOST..].iter().for_each(|seen| see(&mut sketch, seen));

        let level = sketch.level();
        assert!((3..=4).contains(&level), "{level}");
        let left = |level: u32, set: &[Seen]| -> BTreeSet<Seen> {
            set.iter().copied().filter(|seen| is_below(&sketch, level, seen)).collect()
        };
        let kept = left(level, &set);
        assert!(kept.len() <= SAMPLE_MOST && kept.len() > SAMPLE_MOST * 3 / 8, "{}", kept.len());
        assert_eq!(all(&sketch), kept);
        let half: BTreeSet<Seen> =
            sketch.below(level + 1).map(|(r, c)| (r, c.len(), c.wide())).collect();
        assert_eq!(half, left(level + 1, &set));
        let share = half.len() as f64 / kept.len() as f64;
        assert!((0.49..0.51).contains(&share), "{share}");
        for seen in &set[..2000] {
            let held = sketch.holds(seen.0, &Capture::from_wide(seen.2, seen.1).unwrap());
            assert_eq!(held, kept.contains(seen));
        }

        rng.shuffle(&mut set);
        let mut other = new();
        let (lengths, words): (Vec<u8>, Vec<u64>) =
            set.iter().map(|(_, length, bits)| (*length as u8, bits.0[0])).unzip();
        let is_word = |i: &usize| lengths[*i] <= 64;
        for reader in 0..4 {
            let of_reader: Vec<usize> =
                (0..many).filter(is_word).filter(|i| set[*i].0 == reader).collect();
            for some in of_reader.chunks(10_000) {
                let lengths: Vec<u8> = some.iter().map(|i| lengths[*i]).collect();
                let captures: Vec<u64> = some.iter().map(|i| words[*i]).collect();
                let column = Column { lengths: &lengths, captures: &captures };
                other.see_columns(reader, &[column]);
            }
        }
        set.iter().filter(|seen| seen.1 > 64).for_each(|seen| see(&mut other, seen));
        // A second time changes nothing.
        set[..1000].iter().for_each(|seen| see(&mut other, seen));
        assert_eq!(other.level(), level);
        assert_eq!(all(&other), kept);
    }

    #[test]
    fn a_sample_has_the_least_hashes_of_each_reader() {
        let mut rng = Rng::with_seed(4);
        let mut sketch = new();
        for i in 0..9000u64 {
            let mut seen = draw(&mut rng, &[26, 63, 64, 100], u64::MAX);
            // Few of the gate, many without a name.
            seen.0 = [0, 1, 1, 1, 2, 2, 3, 3][i as usize % 8];
            if seen.0 != 0 || i < 800 {
                see(&mut sketch, &seen);
            }
        }
        // Where there are no more, all are.
        assert_eq!(sketch.sample(100_000).len(), sketch.count());
        let most = 500;
        let mut least: BTreeMap<u32, Vec<(u64, Seen)>> = BTreeMap::new();
        for seen in all(&sketch) {
            let hash = sketch.hash(seen.0, seen.1, &seen.2.0[..seen.1.div_ceil(64)]);
            least.entry(seen.0).or_default().push((hash, seen));
        }
        let mut expected = Vec::new();
        let counts: Vec<usize> = least.values().map(Vec::len).collect();
        assert_eq!(sketch.counts(), counts);
        for (_, mut some) in least {
            some.sort_unstable();
            expected.extend(some.into_iter().take(most).map(|(_, seen)| seen));
        }
        assert_eq!(expected.len(), 3 * most + counts[0].min(most));
        let sample: Vec<Seen> =
            sketch.sample(most).iter().map(|(r, c)| (*r, c.len(), c.wide())).collect();
        assert_eq!(sample, expected);
    }

    /// The sample is the same in every version, so answers are: values as kept.
    #[test]
    fn hashes_are_as_kept() {
        assert_eq!(fold(u64::MAX, u64::MAX), u64::MAX);
        assert_eq!(fold(1 << 40, 1 << 30), 1 << 6);
        assert_eq!(fold(3, 5), 15);
        let sketch = new();
        let hashes = [(0, 26), (1, 26), (1, 64), (3, 64)]
            .map(|(reader, length)| sketch.hash(reader, length, &[0x8123_4567_0000_0000]));
        let long = sketch.hash(1, 128, &[0x8123_4567_0000_0000, 7]);
        let kept = [
            2_520_617_585_634_135_642,
            10_361_190_138_950_352_962,
            9_882_070_069_472_528_948,
            13_717_645_061_119_302_797,
        ];
        assert_eq!((hashes, long), (kept, 4_442_711_883_387_128_149));
    }
}
