//! Many captures of one length at once: columns in, columns out.
//!
//! Parity is linear over GF(2). A *syndrome* holds one bit for each relation of
//! each view: bit v of plane j says that view v fails its j-th relation. It is
//! the XOR of one table row per byte of the capture, whatever the number of
//! layouts; complement is a constant, reversed and lost-bit readings are other
//! views. Nothing is allocated per capture.

use super::Reading;
use super::column_decoder::ColumnDecoder;
use crate::bits::{Capture, Span, Wide};
use crate::layout::{Layout, Rule, Table};

/// A capture's bits in a column: the first received is the highest bit, zeros
/// behind. `u64` holds captures of up to 64 bits, [`Wide`] all.
pub trait Bits: Copy {
    /// 64-bit words.
    const WORDS: usize;

    /// Bits 8·i to 8·i + 7, the first the highest.
    fn byte(self, i: usize) -> u8;

    /// The i-th word.
    fn word(self, i: usize) -> u64;

    /// The 64 bits from `first`, zeros behind the last.
    fn window(self, first: u32) -> u64;

    /// The same as 256 bits.
    fn wide(self) -> Wide;
}

impl Bits for u64 {
    const WORDS: usize = 1;

    #[inline]
    fn byte(self, i: usize) -> u8 {
        (self >> (56 - 8 * i)) as u8
    }

    #[inline]
    fn word(self, _: usize) -> u64 {
        self
    }

    #[inline]
    fn window(self, first: u32) -> u64 {
        self << first
    }

    #[inline]
    fn wide(self) -> Wide {
        Wide([self, 0, 0, 0])
    }
}

impl Bits for Wide {
    const WORDS: usize = 4;

    #[inline]
    fn byte(self, i: usize) -> u8 {
        (self.0[i / 8] >> (56 - 8 * (i % 8))) as u8
    }

    #[inline]
    fn word(self, i: usize) -> u64 {
        self.0[i]
    }

    #[inline]
    fn window(self, first: u32) -> u64 {
        let at = first as usize / 64;
        let next = self.0.get(at + 1).copied().unwrap_or(0);
        self.0[at] << (first % 64) | next >> 1 >> (63 - first % 64)
    }

    #[inline]
    fn wide(self) -> Wide {
        self
    }
}

/// One layout under one reading; a lost bit has a view for each value.
#[derive(Debug, Clone)]
pub struct View {
    /// Index of the layout in its table.
    pub layout: usize,
    /// The reading.
    pub reading: Reading,
    /// The value given to a lost bit.
    pub restored: Option<bool>,
    /// Where each bit of the capture goes in the word, by offset.
    places: Vec<Option<u8>>,
    /// Bits to invert, and a restored one, in the word.
    base: Wide,
}

impl View {
    /// The word the card sent.
    pub fn word(&self, capture: Wide) -> Wide {
        let mut word = self.base;
        for (from, to) in self.places.iter().enumerate() {
            if let Some(to) = to
                && capture.bit(from)
            {
                let to = usize::from(*to);
                word.set(to, !word.bit(to));
            }
        }
        word
    }

    /// The capture's bits that a set of the word's bits comes from.
    pub fn sources(&self, word: Wide) -> Wide {
        let mut sources = Wide::ZERO;
        for (from, to) in self.places.iter().enumerate() {
            sources.set(from, to.is_some_and(|to| word.bit(usize::from(to))));
        }
        sources
    }

    /// Where each bit of a span of the word comes from, in the order it is
    /// read, and whether it is inverted (or the value of a restored one).
    pub(super) fn sources_of(&self, span: &Span) -> Vec<(Option<usize>, bool)> {
        let from = |to: usize| self.places.iter().position(|p| *p == Some(to as u8));
        span.offsets().map(|to| (from(to), self.base.bit(to))).collect()
    }

    /// The word's bits that are inverted, and a restored one that is 1.
    pub(super) fn restored_and_inverted(&self) -> Wide {
        self.base
    }

    /// A span of the word as captures hold it.
    pub fn extract(&self, span: &Span) -> BitExtract {
        let bits = self.sources_of(span);
        let (first, flip) = bits[0];
        let run = bits.len() <= 64
            && bits.iter().enumerate().all(|(i, (at, inverted))| {
                at.is_some() && *at == first.map(|first| first + i) && *inverted == flip
            });
        match first {
            Some(first) if run => BitExtract::Run {
                flip: if flip { u64::MAX } else { 0 },
                left: first as u32,
                right: 64 - bits.len() as u32,
            },
            _ => BitExtract::Spread(bits),
        }
    }
}

/// Where a number stands in captures.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum BitExtract {
    /// One run of up to 64 bits, perhaps inverted.
    Run {
        /// All ones where the bits are inverted.
        flip: u64,
        /// Bits in front of the number.
        left: u32,
        /// 64 less the number's bits.
        right: u32,
    },
    /// Bit by bit, the most significant first: where from (none: a restored
    /// bit), and whether inverted (or the restored value).
    Spread(Vec<(Option<usize>, bool)>),
}

impl BitExtract {
    /// The number in a capture; of more than 128 bits, the last 128.
    #[inline]
    pub fn number<B: Bits>(&self, bits: B) -> u128 {
        match self {
            BitExtract::Run { flip, left, right } => {
                u128::from((bits.window(*left) ^ flip) >> right)
            }
            BitExtract::Spread(spread) => {
                let wide = bits.wide();
                spread.iter().fold(0, |n, (at, flip)| {
                    n << 1 | u128::from(at.is_some_and(|at| wide.bit(at)) != *flip)
                })
            }
        }
    }

    /// The numbers of a column, of up to 64 bits each.
    pub fn numbers<B: Bits>(&self, captures: &[B], out: &mut Vec<u64>) {
        out.clear();
        match self {
            BitExtract::Run { flip, left, right } => {
                out.extend(captures.iter().map(|b| (b.window(*left) ^ flip) >> right));
            }
            BitExtract::Spread(_) => out.extend(captures.iter().map(|b| self.number(*b) as u64)),
        }
    }
}

/// Every layout of a table under the readings asked for, for captures of one
/// length.
///
/// # Examples
/// ```
/// use holdover::decode::{Decoder, Reading};
/// use holdover::layout::builtin;
/// let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
/// let column = [0b1010_0000_1000_1000_0111_0000_11u64 << 38, 0];
/// let mut fits = [0; 2];
/// decoder.fits(&column, &mut fits);
/// assert_eq!(fits, [1, 0]);
/// let (mut cards, view) = (Vec::new(), &decoder.views()[0]);
/// let layout = &builtin().layouts()[view.layout];
/// view.extract(layout.card_span().unwrap()).numbers(&column[..1], &mut cards);
/// assert_eq!(cards, [4321]);
/// ```
#[derive(Debug, Clone)]
pub struct Decoder<'t> {
    table: &'t Table,
    length: usize,
    views: Vec<View>,
    /// Words a plane has: a bit a view.
    groups: usize,
    /// Words a syndrome has: planes × groups.
    stride: usize,
    /// One syndrome a value of each byte of the capture.
    rows: Vec<u64>,
    /// The syndrome of a capture of zeros.
    constant: Vec<u64>,
    /// Views with decimal digits, which are no linear rule.
    decimal: Vec<(usize, Vec<BitExtract>)>,
}

impl<'t> Decoder<'t> {
    /// A decoder for captures of `length` bits (1 to 256).
    pub fn new(table: &'t Table, length: usize, readings: &[Reading]) -> Decoder<'t> {
        let views = views(table, length, readings);
        let groups = views.len().div_ceil(64);
        let relations = |view: &View| -> Vec<crate::bits::gf2::Relation> {
            let rules = table.layouts()[view.layout].rules().iter();
            rules
                .flat_map(|rule| match rule {
                    Rule::Relations { relations, .. } => relations.clone(),
                    Rule::Decimal { .. } => Vec::new(),
                })
                .collect()
        };
        let planes = views.iter().map(|view| relations(view).len()).max().unwrap_or(0);
        let stride = planes * groups;
        // A column of the parity-check matrix for each bit of the capture.
        let mut columns = vec![0u64; length * stride];
        let mut constant = vec![0u64; stride];
        for (v, view) in views.iter().enumerate() {
            for (plane, relation) in relations(view).into_iter().enumerate() {
                let (word, bit) = (plane * groups + v / 64, 1u64 << (v % 64));
                for from in view.sources(relation.bits).offsets() {
                    columns[from * stride + word] |= bit;
                }
                if !relation.holds(view.base) {
                    constant[word] |= bit;
                }
            }
        }
        let bytes = length.div_ceil(8);
        let mut rows = vec![0u64; bytes * 256 * stride];
        for byte in 0..bytes {
            for value in 1..256usize {
                let lowest = value.trailing_zeros() as usize;
                let from = 8 * byte + 7 - lowest;
                for word in 0..stride {
                    let rest = rows[(byte * 256 + (value & (value - 1))) * stride + word];
                    let own = columns.get(from * stride + word).copied().unwrap_or(0);
                    rows[(byte * 256 + value) * stride + word] = rest ^ own;
                }
            }
        }
        let decimal = views.iter().enumerate().filter_map(|(v, view)| {
            let rules = table.layouts()[view.layout].rules().iter();
            let extracts: Vec<BitExtract> = rules
                .filter_map(|rule| match rule {
                    Rule::Decimal { span, .. } => Some(view.extract(span)),
                    Rule::Relations { .. } => None,
                })
                .collect();
            (!extracts.is_empty()).then_some((v, extracts))
        });
        let decimal: Vec<(usize, Vec<BitExtract>)> = decimal.collect();
        Decoder { table, length, views, groups, stride, rows, constant, decimal }
    }

    /// The views, in the order of the readings, then of the table.
    pub fn views(&self) -> &[View] {
        &self.views
    }

    /// The layout of a view.
    pub fn layout(&self, view: &View) -> &'t Layout {
        &self.table.layouts()[view.layout]
    }

    /// A view's fields and checks, a narrow column each.
    pub fn narrow(&self, view: &View) -> ColumnDecoder {
        ColumnDecoder::new(self.layout(view), view, self.length)
    }

    /// Bits of the captures.
    pub fn length(&self) -> usize {
        self.length
    }

    /// Words of a mask of views.
    pub fn groups(&self) -> usize {
        self.groups
    }

    /// Words of a syndrome.
    pub fn stride(&self) -> usize {
        self.stride
    }

    /// The words of a syndrome that belong to views: bit v of `views` kept.
    pub fn syndrome_mask(&self, views: &[u64]) -> Vec<u64> {
        let planes = self.stride.checked_div(self.groups).unwrap_or(0);
        (0..planes).flat_map(|_| views.iter().copied()).collect()
    }

    /// The syndrome of a capture, written to `out` of [`Decoder::stride`] words.
    #[inline]
    pub fn syndrome<B: Bits>(&self, capture: B, out: &mut [u64]) {
        match self.stride {
            0 => {}
            // The usual sizes, kept in registers.
            1 => out[0] = self.small::<1, B>(capture)[0],
            2 => out.copy_from_slice(&self.small::<2, B>(capture)),
            4 => out.copy_from_slice(&self.small::<4, B>(capture)),
            stride => {
                out.copy_from_slice(&self.constant);
                for byte in 0..self.length.div_ceil(8) {
                    let row = (byte * 256 + usize::from(capture.byte(byte))) * stride;
                    for (out, row) in out.iter_mut().zip(&self.rows[row..row + stride]) {
                        *out ^= row;
                    }
                }
            }
        }
    }

    /// A syndrome of `N` words.
    #[inline]
    fn small<const N: usize, B: Bits>(&self, capture: B) -> [u64; N] {
        let mut sum: [u64; N] = std::array::from_fn(|i| self.constant[i]);
        let mut from = 0;
        for byte in 0..self.length.div_ceil(8) {
            let row = from + usize::from(capture.byte(byte)) * N;
            let row: &[u64] = &self.rows[row..row + N];
            for i in 0..N {
                sum[i] ^= row[i];
            }
            from += 256 * N;
        }
        sum
    }

    /// Which views' rules all hold: bit v of `groups` words a capture.
    ///
    /// # Panics
    /// Where `out` has not [`Decoder::groups`] words for each capture.
    pub fn fits<B: Bits>(&self, captures: &[B], out: &mut [u64]) {
        let groups = self.groups;
        assert_eq!(out.len(), captures.len() * groups, "a mask of views for each capture");
        let mut syndrome = vec![0; self.stride];
        let last = match self.views.len() % 64 {
            0 => u64::MAX,
            rest => (1 << rest) - 1,
        };
        for (capture, out) in captures.iter().zip(out.chunks_exact_mut(groups.max(1))) {
            self.syndrome(*capture, &mut syndrome);
            out.fill(0);
            for plane in syndrome.chunks_exact(groups) {
                out.iter_mut().zip(plane).for_each(|(out, fails)| *out |= fails);
            }
            out.iter_mut().for_each(|out| *out = !*out);
            if let Some(out) = out.last_mut() {
                *out &= last;
            }
            for (v, extracts) in &self.decimal {
                if out[v / 64] >> (v % 64) & 1 == 1
                    && extracts.iter().any(|extract| extract.number(*capture) > 9)
                {
                    out[v / 64] &= !(1 << (v % 64));
                }
            }
        }
    }

    /// Which decimal digits of which views are none: bits in the order of the
    /// views, [`Decoder::decimal_words`] words.
    pub fn digits<B: Bits>(&self, capture: B, out: &mut [u64]) {
        out.fill(0);
        let extracts = self.decimal.iter().flat_map(|(_, extracts)| extracts);
        for (i, extract) in extracts.enumerate() {
            out[i / 64] |= u64::from(extract.number(capture) > 9) << (i % 64);
        }
    }

    /// Words that [`Decoder::digits`] writes.
    pub fn decimal_words(&self) -> usize {
        self.decimal.iter().map(|(_, extracts)| extracts.len()).sum::<usize>().div_ceil(64)
    }
}

/// Each reading's words, found by what they make of single bits: readings move
/// bits, invert all, or put one in.
fn views(table: &Table, length: usize, readings: &[Reading]) -> Vec<View> {
    let capture = |bits| Capture::from_wide(bits, length).ok();
    let unit = |at: usize| {
        let mut bits = Wide::ZERO;
        bits.set(at, true);
        bits
    };
    let mut views = Vec::new();
    for reading in readings {
        let Some(zero) = capture(Wide::ZERO) else { continue };
        for (nth, base) in reading.words(&zero).enumerate() {
            let fitting = table.layouts().iter().enumerate();
            let mut fitting = fitting.filter(|(_, l)| l.length() == base.word.len()).peekable();
            if fitting.peek().is_none() {
                continue;
            }
            let places: Vec<Option<u8>> = (0..length)
                .map(|at| {
                    let word = capture(unit(at)).and_then(|one| reading.words(&one).nth(nth))?;
                    (word.word.wide() ^ base.word.wide()).first_one().map(|to| to as u8)
                })
                .collect();
            views.extend(fitting.map(|(layout, _)| View {
                layout,
                reading: *reading,
                restored: base.restored,
                places: places.clone(),
                base: base.word.wide(),
            }));
        }
    }
    views
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Decode;
    use crate::layout::builtin;
    use proptest::prelude::*;

    proptest! {
        /// The columns say what each layout's rules say, one capture at a time.
        #[test]
        fn columns_agree_with_rules(words: [u64; 4], length in 1usize..=256) {
            let decoder = Decoder::new(builtin(), length, &Reading::ALL);
            let capture = Capture::from_wide(Wide(words), length).unwrap();
            let mut fits = vec![0; decoder.groups()];
            decoder.fits(&[capture.wide()], &mut fits);
            if length <= 64 {
                let mut narrow = vec![0; decoder.groups()];
                decoder.fits(&[capture.wide().0[0]], &mut narrow);
                prop_assert_eq!(&narrow, &fits);
            }
            let mut views = decoder.views().iter().enumerate();
            for reading in Reading::ALL {
                for word in reading.words(&capture) {
                    for layout in builtin().layouts() {
                        if layout.length() != word.word.len() {
                            continue;
                        }
                        let (v, view) = views.next().unwrap();
                        prop_assert_eq!((view.reading, view.restored), (reading, word.restored));
                        prop_assert_eq!(decoder.layout(view).id(), layout.id());
                        prop_assert_eq!(view.word(capture.wide()), word.word.wide());
                        let decode = Decode { layout, word: word.word };
                        prop_assert_eq!(fits[v / 64] >> (v % 64) & 1 == 1, decode.holds());
                        for field in layout.fields() {
                            let number = view.extract(&field.span).number(capture.wide());
                            prop_assert_eq!(number, field.span.number(&word.word));
                        }
                    }
                }
            }
            prop_assert!(views.next().is_none());
        }

        /// A syndrome is linear in the capture, up to that of a capture of zeros.
        #[test]
        fn syndromes_are_linear(a: [u64; 4], b: [u64; 4], length in 1usize..=256) {
            let decoder = Decoder::new(builtin(), length, &Reading::ALL);
            let syndrome = |wide: Wide| {
                let mut out = vec![0; decoder.stride()];
                decoder.syndrome(Capture::from_wide(wide, length).unwrap().wide(), &mut out);
                out
            };
            let sum = syndrome(Wide(a) ^ Wide(b));
            let parts = [syndrome(Wide(a)), syndrome(Wide(b)), syndrome(Wide::ZERO)];
            for (i, word) in sum.iter().enumerate() {
                prop_assert_eq!(*word, parts.iter().fold(0, |sum, part| sum ^ part[i]));
            }
        }
    }
}
