//! One view of a column of captures: every field and every check as a column
//! of its own, each as narrow as its values.
//!
//! Captures of up to 64 bits are taken a block at a time, one plain loop a
//! column, which compilers turn into vector instructions. Parity over a run of
//! bits is the difference of two sums from the first bit on, and those sums
//! are made once for all checks.

mod lane;
mod out;
mod sums;

pub use lane::{Align, Lane, Source};
pub use out::{DecodedColumns, Numbers, Rows};
use out::{Slice, again};
use sums::{Checked, Piece, balance, from_first, number, take};

use super::{BitExtract, View};
use crate::bits::gf2::Relation;
use crate::bits::{Span, Wide};
use crate::layout::{Code, Field, Layout, Part, Rule};

/// Captures a block. Measured: small enough that what comes next is fetched from
/// memory meanwhile, and a column of them is in a processor's nearest cache.
const BLOCK: usize = 256;

/// Room for what is between captures and columns, made once for all blocks.
struct Room<L> {
    words: [L; BLOCK],
    sums: [L; BLOCK],
    wrong: [L; BLOCK],
}

impl<L: Lane> Room<L> {
    fn new() -> Room<L> {
        let none = [L::ZERO; BLOCK];
        Room { words: none, sums: none, wrong: none }
    }
}

/// How a field's number is had.
#[derive(Debug, Clone)]
enum Take {
    /// From pieces of up to 64 bits, and bits to invert.
    Pieces(Vec<Piece>, u64),
    /// Bit by bit.
    Spread(BitExtract),
    /// One digit each.
    Digits(Vec<BitExtract>),
}

#[derive(Debug, Clone)]
struct Column {
    name: String,
    bits: usize,
    take: Take,
}

impl Column {
    /// Bytes, or digits, a number of it takes where it is of those.
    fn width(&self) -> usize {
        match &self.take {
            Take::Digits(extracts) => extracts.len(),
            _ => self.bits.div_ceil(8),
        }
    }
}

/// One layout under one reading, ready to cut columns of captures into columns
/// of values.
///
/// # Examples
/// ```
/// use holdover::decode::{Align, Decoder, Numbers, Reading};
/// use holdover::layout::builtin;
/// let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
/// let narrow = decoder.narrow(&decoder.views()[0]);
/// let columns = narrow.decode(&[0b10_1000_0010_0010_0001_1100_0011u32, 0], Align::Right)?;
/// assert_eq!(columns.fields[0], Numbers::U8(vec![65, 0]));
/// assert_eq!(columns.fields[1], Numbers::U16(vec![4321, 0]));
/// assert_eq!(columns.checks, [[true, true], [true, false]]);
/// # Ok::<(), holdover::decode::TooLong>(())
/// ```
#[derive(Debug, Clone)]
pub struct ColumnDecoder {
    length: usize,
    columns: Vec<Column>,
    checks: Vec<Checked>,
    /// Whether any check needs sums from the first bit on.
    sums: bool,
    /// Whether there are numbers of more than 64 bits, or decimal ones.
    wide: bool,
}

/// A word with bits where its capture has none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("row {row}: the word holds more than {length} bits")]
pub struct TooLong {
    /// The row, from 0.
    pub row: usize,
    /// Bits a capture has.
    pub length: usize,
}

impl ColumnDecoder {
    pub(super) fn new(layout: &Layout, view: &View, length: usize) -> ColumnDecoder {
        let mut columns: Vec<Column> =
            layout.fields().iter().map(|field| column(field, view, length)).collect();
        for (part, name) in [(Part::Site, "site"), (Part::Card, "card")] {
            columns.extend(joined(layout, part, name, view));
        }
        let rules = layout.rules().iter();
        let mut checks: Vec<Checked> = layout
            .checks()
            .iter()
            .map(|check| {
                let relations = check.relations().iter().map(|r| seen(r, view)).collect();
                Checked::new(check.to_string(), relations, Vec::new(), length)
            })
            .collect();
        let (mut parities, mut decimal) = (Vec::new(), Vec::new());
        for rule in rules {
            match rule {
                Rule::Relations { check: None, relations, .. } => {
                    parities.extend(relations.iter().map(|r| seen(r, view)));
                }
                Rule::Relations { .. } => {}
                Rule::Decimal { span, .. } => decimal.push(view.extract(span)),
            }
        }
        if !decimal.is_empty() {
            checks.push(Checked::new("decimal digits".to_owned(), parities, decimal, length));
        }
        let wide =
            length > 64 || columns.iter().any(|column| !matches!(column.take, Take::Pieces(..)));
        let balances = checks.iter().flat_map(|check| &check.balances);
        let terms = balances.filter_map(|balance| balance.terms.as_ref());
        let sums = terms.into_iter().any(|terms| !terms.sums.is_empty());
        ColumnDecoder { length, columns, checks, sums, wide }
    }

    /// Bits a capture has.
    pub fn length(&self) -> usize {
        self.length
    }

    /// Names of the fields in the order of the table; then `site` and `card`,
    /// where they are joined of decimal fields.
    pub fn fields(&self) -> impl ExactSizeIterator<Item = &str> {
        self.columns.iter().map(|column| column.name.as_str())
    }

    /// Names of the checks in the order of the table; then "decimal digits",
    /// where there are any: their values and their own parities.
    pub fn checks(&self) -> impl ExactSizeIterator<Item = &str> {
        self.checks.iter().map(|check| check.name.as_str())
    }

    /// Room for so many captures.
    pub fn room(&self, rows: usize) -> DecodedColumns {
        self.room_in(DecodedColumns::default(), rows)
    }

    /// The same in columns that nobody needs any more, of this view: neither
    /// asked of the system again nor cleared where they are about as long.
    /// What they held is still in them until they are filled.
    pub fn room_in(&self, old: DecodedColumns, rows: usize) -> DecodedColumns {
        let mut olds = old.fields.into_iter();
        let field = |column: &Column| {
            let old = olds.next();
            let width = column.width();
            match (&column.take, column.bits, old) {
                (Take::Digits(_), _, Some(Numbers::Digits { digits, .. })) => {
                    Numbers::Digits { width, digits: again(digits, rows * width) }
                }
                (Take::Digits(_), ..) => {
                    Numbers::Digits { width, digits: again(Vec::new(), rows * width) }
                }
                (_, ..=8, Some(Numbers::U8(old))) => Numbers::U8(again(old, rows)),
                (_, ..=8, _) => Numbers::U8(again(Vec::new(), rows)),
                (_, ..=16, Some(Numbers::U16(old))) => Numbers::U16(again(old, rows)),
                (_, ..=16, _) => Numbers::U16(again(Vec::new(), rows)),
                (_, ..=32, Some(Numbers::U32(old))) => Numbers::U32(again(old, rows)),
                (_, ..=32, _) => Numbers::U32(again(Vec::new(), rows)),
                (_, ..=64, Some(Numbers::U64(old))) => Numbers::U64(again(old, rows)),
                (_, ..=64, _) => Numbers::U64(again(Vec::new(), rows)),
                (_, _, Some(Numbers::Bytes { bytes, .. })) => {
                    Numbers::Bytes { width, bytes: again(bytes, rows * width) }
                }
                _ => Numbers::Bytes { width, bytes: again(Vec::new(), rows * width) },
            }
        };
        let fields = self.columns.iter().map(field).collect();
        let mut olds = old.checks.into_iter();
        let checks = self.checks.iter().map(|_| again(olds.next().unwrap_or_default(), rows));
        DecodedColumns { fields, checks: checks.collect() }
    }

    /// The columns of captures of up to 64 bits, a word each.
    ///
    /// # Errors
    /// A word with more bits than a capture has.
    pub fn decode<S: Source>(
        &self,
        captures: &[S],
        align: Align,
    ) -> Result<DecodedColumns, TooLong> {
        let mut columns = self.room(captures.len());
        for mut rows in columns.parts(captures.len()) {
            self.fill::<false, S>(captures, align, &mut rows)?;
        }
        Ok(columns)
    }

    /// The same, into room made before. Inlined, so that a caller who knows
    /// more of the machine has it compiled for that; `COUNTS` says that the
    /// machine counts the ones of whole vectors of words in one step.
    ///
    /// # Errors
    /// A word with more bits than a capture has.
    #[inline(always)]
    pub fn fill<const COUNTS: bool, S: Source>(
        &self,
        captures: &[S],
        align: Align,
        rows: &mut Rows<'_>,
    ) -> Result<(), TooLong> {
        let length = self.length as u32;
        if length > S::BITS {
            // Bits that are not there are zeros in front; on the left, none are.
            return match (align, captures.is_empty()) {
                (_, true) => Ok(()),
                (Align::Left, false) => Err(TooLong { row: 0, length: S::BITS as usize }),
                (Align::Right, false) => {
                    let words: Vec<Wide> =
                        captures.iter().map(|c| self.wide(c.shifted::<u64>(0))).collect();
                    self.fill_wide(&words, rows);
                    Ok(())
                }
            };
        }
        let held = u64::MAX >> (64 - length);
        let (by, held) = match align {
            Align::Left => (S::BITS - length, held << (S::BITS - length)),
            Align::Right => (0, held),
        };
        let none = S::of(!held);
        match (self.wide, length <= 32) {
            (true, _) => {
                for (nth, block) in captures.chunks(BLOCK).enumerate() {
                    self.bounded(block, none, nth * BLOCK)?;
                    let words: Vec<Wide> =
                        block.iter().map(|c| self.wide(c.shifted::<u64>(by))).collect();
                    self.fill_wide_at(&words, nth * BLOCK, rows);
                }
                Ok(())
            }
            (false, true) => self.blocks::<COUNTS, S, u32>(captures, by, none, rows),
            (false, false) => self.blocks::<COUNTS, S, u64>(captures, by, none, rows),
        }
    }

    /// All blocks. No closures here: those are not inlined for certain.
    #[inline(always)]
    fn blocks<const COUNTS: bool, S: Source, L: Lane>(
        &self,
        captures: &[S],
        by: u32,
        none: S,
        rows: &mut Rows<'_>,
    ) -> Result<(), TooLong> {
        let mut room = Room::<L>::new();
        for (nth, block) in captures.chunks(BLOCK).enumerate() {
            let mut surplus = S::ZERO;
            let words = room.words.iter_mut().zip(block);
            if self.sums && !COUNTS {
                for ((word, from), sum) in words.zip(&mut room.sums) {
                    surplus |= *from & none;
                    *word = from.shifted(by);
                    *sum = from_first(*word);
                }
            } else {
                for (word, from) in words {
                    surplus |= *from & none;
                    *word = from.shifted(by);
                }
            }
            if surplus != S::ZERO {
                self.bounded(block, none, nth * BLOCK)?;
            }
            self.block::<COUNTS, L>(block.len(), nth * BLOCK, &mut room, rows);
        }
        Ok(())
    }

    /// Whether no word has bits of `none`.
    fn bounded<S: Source>(&self, block: &[S], none: S, first: usize) -> Result<(), TooLong> {
        match block.iter().position(|word| *word & none != S::ZERO) {
            Some(row) => Err(TooLong { row: first + row, length: self.length }),
            None => Ok(()),
        }
    }

    /// A capture of up to 64 bits whose last bit is the lowest.
    fn wide(&self, right: u64) -> Wide {
        match self.length {
            64.. => Wide([0, 0, 0, right]).towards_front(256 - self.length),
            length => Wide([right << (64 - length), 0, 0, 0]),
        }
    }

    /// One block, every column its loop.
    #[inline(always)]
    fn block<const COUNTS: bool, L: Lane>(
        &self,
        len: usize,
        first: usize,
        room: &mut Room<L>,
        rows: &mut Rows<'_>,
    ) {
        let words = &room.words[..len];
        let at = first..first + len;
        for (column, out) in self.columns.iter().zip(&mut rows.fields) {
            let Take::Pieces(pieces, flip) = &column.take else { continue };
            let flip = L::of(*flip);
            match out {
                Slice::U8(out) => take(words, pieces, flip, &mut out[at.clone()], L::low8),
                Slice::U16(out) => take(words, pieces, flip, &mut out[at.clone()], L::low16),
                Slice::U32(out) => take(words, pieces, flip, &mut out[at.clone()], L::low32),
                Slice::U64(out) => take(words, pieces, flip, &mut out[at.clone()], L::low64),
                Slice::Bytes(..) | Slice::Digits(..) => {}
            }
        }
        for (check, out) in self.checks.iter().zip(&mut rows.checks) {
            let out = &mut out[at.clone()];
            let (sums, wrong) = (&room.sums[..len], &mut room.wrong[..len]);
            balance::<COUNTS, L>(words, sums, &check.balances, wrong, out);
        }
    }

    /// The columns of captures of any length, into room made before.
    pub fn fill_wide(&self, captures: &[Wide], rows: &mut Rows<'_>) {
        self.fill_wide_at(captures, 0, rows);
    }

    fn fill_wide_at(&self, captures: &[Wide], first: usize, rows: &mut Rows<'_>) {
        let at = first..first + captures.len();
        for (column, out) in self.columns.iter().zip(&mut rows.fields) {
            let number = |wide: &Wide| match &column.take {
                Take::Pieces(pieces, flip) => {
                    let word = wide.0[0] >> (64 - self.length.min(64));
                    u128::from(number(word, pieces, *flip))
                }
                Take::Spread(extract) => extract.number(*wide),
                Take::Digits(_) => 0,
            };
            let all = captures.iter();
            match out {
                Slice::U8(out) => {
                    out[at.clone()].iter_mut().zip(all).for_each(|(o, c)| *o = number(c) as u8)
                }
                Slice::U16(out) => {
                    out[at.clone()].iter_mut().zip(all).for_each(|(o, c)| *o = number(c) as u16)
                }
                Slice::U32(out) => {
                    out[at.clone()].iter_mut().zip(all).for_each(|(o, c)| *o = number(c) as u32)
                }
                Slice::U64(out) => {
                    out[at.clone()].iter_mut().zip(all).for_each(|(o, c)| *o = number(c) as u64)
                }
                Slice::Bytes(width, out) => {
                    let out = &mut out[at.start * *width..at.end * *width];
                    for (out, capture) in out.chunks_exact_mut(*width).zip(all) {
                        out.copy_from_slice(&number(capture).to_be_bytes()[16 - *width..]);
                    }
                }
                Slice::Digits(width, out) => {
                    let Take::Digits(extracts) = &column.take else { continue };
                    let out = &mut out[at.start * *width..at.end * *width];
                    for (out, capture) in out.chunks_exact_mut((*width).max(1)).zip(all) {
                        for (out, extract) in out.iter_mut().zip(extracts) {
                            *out = match extract.number(*capture) {
                                digit @ 0..=9 => b'0' + digit as u8,
                                _ => b'?',
                            };
                        }
                    }
                }
            }
        }
        for (check, out) in self.checks.iter().zip(&mut rows.checks) {
            for (out, capture) in out[at.clone()].iter_mut().zip(captures) {
                *out = check.relations.iter().all(|relation| relation.holds(*capture))
                    && check.decimal.iter().all(|extract| extract.number(*capture) <= 9);
            }
        }
    }
}

/// A field's column.
fn column(field: &Field, view: &View, length: usize) -> Column {
    let name = field.role.name().to_owned();
    let bits = field.span.len();
    if field.code != Code::Binary {
        return Column { name, bits, take: Take::Digits(digits(field, view)) };
    }
    let take = match bits <= 64 && length <= 64 {
        true => pieces(&view.sources_of(&field.span), length),
        false => Take::Spread(view.extract(&field.span)),
    };
    Column { name, bits, take }
}

/// Each digit's four data bits, the most significant first.
fn digits(field: &Field, view: &View) -> Vec<BitExtract> {
    let width = field.code.digit_bits().unwrap_or(1);
    let digit = |at: usize| {
        let mut offsets: Vec<usize> = field.span.offsets().skip(at).take(4).collect();
        if field.code == Code::Bcd5 {
            offsets.reverse();
        }
        Span::from_offsets(offsets).ok().map(|span| view.extract(&span))
    };
    (0..field.span.len()).step_by(width).filter_map(digit).collect()
}

/// The site code or card number that is joined of decimal fields.
fn joined(layout: &Layout, part: Part, name: &str, view: &View) -> Option<Column> {
    let parts: Vec<&Field> = layout.fields().iter().filter(|f| f.part_of == Some(part)).collect();
    let decimal = parts.iter().all(|field| field.code != Code::Binary);
    if parts.is_empty() || !decimal {
        return None;
    }
    let extracts: Vec<BitExtract> = parts.iter().flat_map(|field| digits(field, view)).collect();
    Some(Column { name: name.to_owned(), bits: 4 * extracts.len(), take: Take::Digits(extracts) })
}

/// A number's bits, the most significant first, as runs: where from, and
/// whether inverted (or the value of one that was not caught).
fn pieces(bits: &[(Option<usize>, bool)], length: usize) -> Take {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut flip = 0u64;
    for (i, (from, inverted)) in bits.iter().rev().enumerate() {
        flip |= u64::from(*inverted) << i;
        let Some(from) = from else { continue };
        let right = (length - 1 - from) as u32;
        let last = pieces.last_mut().filter(|last| {
            let bits = last.mask.count_ones();
            last.right + bits == right && last.left + bits == i as u32
        });
        match last {
            Some(last) => last.mask = last.mask << 1 | 1,
            None => pieces.push(Piece { right, left: i as u32, mask: 1 }),
        }
    }
    Take::Pieces(pieces, flip)
}

/// A relation of the word as one of the capture.
fn seen(relation: &Relation, view: &View) -> Relation {
    let base = view.restored_and_inverted() & relation.bits;
    Relation { bits: view.sources(relation.bits), constant: relation.constant ^ base.parity() }
}

#[cfg(test)]
mod tests;
