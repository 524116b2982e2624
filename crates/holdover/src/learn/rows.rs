//! Sets of rows as bitsets, and a sample turned on its side: for each bit
//! position the set of rows in which it is 1.

use crate::bits::{Capture, Wide};

/// A set of rows, one bit a row.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Rows {
    words: Vec<u64>,
    len: usize,
}

impl Rows {
    /// No row of `len`.
    pub(super) fn none(len: usize) -> Rows {
        Rows { words: vec![0; len.div_ceil(64)], len }
    }

    /// Every row of `len`.
    pub(super) fn all(len: usize) -> Rows {
        let mut rows = Rows { words: vec![u64::MAX; len.div_ceil(64)], len };
        if let (Some(last), over @ 1..) = (rows.words.last_mut(), len % 64) {
            *last = (1 << over) - 1;
        }
        rows
    }

    /// The rows of `len` for which `keep` says so.
    pub(super) fn of(len: usize, mut keep: impl FnMut(usize) -> bool) -> Rows {
        Rows::listed(len, (0..len).filter(|&row| keep(row)))
    }

    /// The rows of `len` that are listed.
    pub(super) fn listed(len: usize, listed: impl Iterator<Item = usize>) -> Rows {
        let mut rows = Rows::none(len);
        listed.for_each(|row| rows.insert(row));
        rows
    }

    /// How many rows there are to be in or out.
    pub(super) fn rows(&self) -> usize {
        self.len
    }

    pub(super) fn insert(&mut self, row: usize) {
        self.words[row / 64] |= 1 << (row % 64);
    }

    pub(super) fn has(&self, row: usize) -> bool {
        self.words[row / 64] >> (row % 64) & 1 == 1
    }

    pub(super) fn count(&self) -> usize {
        self.words.iter().map(|w| w.count_ones() as usize).sum()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.words.iter().all(|&w| w == 0)
    }

    /// Which of the first 64 rows are in it, a bit each: looked at before the rest.
    pub(super) fn first(&self) -> u64 {
        self.words.first().copied().unwrap_or(0)
    }

    /// The rows in it, ascending.
    pub(super) fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        self.words.iter().enumerate().flat_map(|(i, &word)| {
            let mut rest = word;
            std::iter::from_fn(move || {
                let bit = (rest != 0).then(|| rest.trailing_zeros() as usize)?;
                rest &= rest - 1;
                Some(64 * i + bit)
            })
        })
    }

    fn with(&self, other: &Rows, join: impl Fn(u64, u64) -> u64) -> Rows {
        let words = self.words.iter().zip(&other.words).map(|(&a, &b)| join(a, b)).collect();
        Rows { words, len: self.len }
    }

    pub(super) fn and(&self, other: &Rows) -> Rows {
        self.with(other, |a, b| a & b)
    }

    pub(super) fn or(&self, other: &Rows) -> Rows {
        self.with(other, |a, b| a | b)
    }

    pub(super) fn minus(&self, other: &Rows) -> Rows {
        self.with(other, |a, b| a & !b)
    }

    /// How many rows are in both.
    pub(super) fn common(&self, other: &Rows) -> usize {
        self.words.iter().zip(&other.words).map(|(a, b)| (a & b).count_ones() as usize).sum()
    }

    /// Toggles the rows of `other`.
    pub(super) fn toggle(&mut self, other: &Rows) {
        self.words.iter_mut().zip(&other.words).for_each(|(a, b)| *a ^= b);
    }

    /// Keeps the rows in which `a` and `b` say the same.
    pub(super) fn keep_equal(&mut self, a: &Rows, b: &Rows) {
        let pairs = a.words.iter().zip(&b.words);
        self.words.iter_mut().zip(pairs).for_each(|(keep, (a, b))| *keep &= !(a ^ b));
    }

    /// Empties it without giving its memory back.
    pub(super) fn clear(&mut self) {
        self.words.fill(0);
    }

    /// The number of rows in which `self` and `other` differ.
    pub(super) fn distance(&self, other: &Rows) -> usize {
        self.words.iter().zip(&other.words).map(|(a, b)| (a ^ b).count_ones() as usize).sum()
    }
}

/// A sample turned on its side: for each bit position the rows in which it is 1.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    rows: usize,
    columns: Vec<Rows>,
}

impl Columns {
    /// The columns of captures that all have `length` bits.
    pub(super) fn of<'c>(
        captures: impl ExactSizeIterator<Item = &'c Capture>,
        length: usize,
    ) -> Columns {
        let rows = captures.len();
        let mut columns = vec![Rows::none(rows); length];
        for (row, capture) in captures.enumerate() {
            for (i, word) in capture.wide().0.into_iter().enumerate() {
                let mut rest = word;
                while rest != 0 {
                    let bit = rest.leading_zeros() as usize;
                    columns[64 * i + bit].insert(row);
                    rest ^= 1 << (63 - bit);
                }
            }
        }
        Columns { rows, columns }
    }

    pub(super) fn length(&self) -> usize {
        self.columns.len()
    }

    pub(super) fn rows(&self) -> usize {
        self.rows
    }

    pub(super) fn at(&self, offset: usize) -> &Rows {
        &self.columns[offset]
    }

    /// In how many of `rows` the bit has its rarer value.
    pub(super) fn rarer(&self, offset: usize, rows: &Rows) -> usize {
        let ones = self.columns[offset].common(rows);
        ones.min(rows.count() - ones)
    }

    /// The bits whose rarer value is in at least `least` of `rows`.
    pub(super) fn varying(&self, rows: &Rows, least: usize) -> Wide {
        let mut bits = Wide::ZERO;
        for offset in 0..self.length() {
            bits.set(offset, self.rarer(offset, rows) >= least.max(1));
        }
        bits
    }

    /// The parity of the bits in `mask`, row by row.
    pub(super) fn parity(&self, mask: Wide) -> Rows {
        let mut parity = Rows::none(self.rows);
        mask.offsets()
            .filter(|&at| at < self.length())
            .for_each(|at| parity.toggle(&self.columns[at]));
        parity
    }

    /// The columns of some of the rows only, in their order.
    pub(super) fn only(&self, rows: &[usize]) -> Columns {
        let columns =
            self.columns.iter().map(|column| Rows::of(rows.len(), |i| column.has(rows[i])));
        Columns { rows: rows.len(), columns: columns.collect() }
    }
}

/// The rank of the rows once the first is taken from all, over the bits in
/// `mask`: how many bits of a row are free, as far as linear relations tell.
pub(super) fn affine_rank(captures: impl Iterator<Item = Wide>, mask: Wide) -> usize {
    let mut first = None;
    let mut basis: Vec<Wide> = Vec::new();
    let full = mask.count_ones() as usize;
    for word in captures {
        if basis.len() >= full {
            break;
        }
        let mut rest = (word ^ *first.get_or_insert(word)) & mask;
        for held in &basis {
            if held.first_one().is_some_and(|lead| rest.bit(lead)) {
                rest = rest ^ *held;
            }
        }
        if !rest.is_zero() {
            basis.push(rest);
        }
    }
    basis.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_of_rows_add_up() {
        for len in [0, 1, 63, 64, 65, 200] {
            let odd = Rows::of(len, |row| row % 2 == 1);
            assert_eq!(Rows::all(len).count(), len);
            assert_eq!(odd.count(), len / 2);
            assert_eq!(
                Rows::all(len).minus(&odd).iter().collect::<Vec<_>>(),
                (0..len).step_by(2).collect::<Vec<_>>()
            );
        }
    }

    #[test]
    fn rank_of_rows() {
        let words = ["1100", "1010", "0110", "0000"].map(|t| t.parse::<Capture>().unwrap().wide());
        assert_eq!(affine_rank(words.into_iter(), Wide::ones(4)), 2);
    }
}
