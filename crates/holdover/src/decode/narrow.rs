//! One view of a column of captures: every field and every check as a column
//! of its own, each as narrow as its values.
//!
//! Captures of up to 64 bits are taken a block at a time, one plain loop a
//! column, which compilers turn into vector instructions. Parity over a run of
//! bits is the difference of two sums from the first bit on, and those sums
//! are made once for all checks.

use std::ops::{BitAnd, BitOr, BitOrAssign, BitXor, Not, Shl, Shr};

use super::{Pick, View};
use crate::bits::gf2::Relation;
use crate::bits::{Span, Wide};
use crate::layout::{Code, Field, Layout, Part, Rule};

/// Captures a block. Measured: small enough that what comes next is fetched from
/// memory meanwhile, and a column of them is in a processor's nearest cache.
const BLOCK: usize = 256;

/// Terms up to which a sum is made of sums from the first bit on: folding 32
/// bits takes 11 steps, a term two.
const TERMS_MOST: usize = 5;

/// Numbers, a column of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Numbers {
    /// Of up to 8 bits.
    U8(Vec<u8>),
    /// Of up to 16.
    U16(Vec<u16>),
    /// Of up to 32.
    U32(Vec<u32>),
    /// Of up to 64.
    U64(Vec<u64>),
    /// Of more: `width` bytes each, the most significant first.
    Bytes {
        /// Bytes a number.
        width: usize,
        /// All of them, one after the other.
        bytes: Vec<u8>,
    },
    /// Decimal: `width` ASCII digits each, `?` for one that is no digit.
    Digits {
        /// Digits a number.
        width: usize,
        /// All of them, one after the other.
        digits: Vec<u8>,
    },
}

/// What comes of a column of captures under one view.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Narrowed {
    /// In the order of [`Narrow::fields`].
    pub fields: Vec<Numbers>,
    /// Whether each check holds, in the order of [`Narrow::checks`].
    pub checks: Vec<Vec<bool>>,
}

/// Some rows of [`Narrowed`], to be filled.
#[derive(Debug)]
pub struct Rows<'a> {
    fields: Vec<Slice<'a>>,
    checks: Vec<&'a mut [bool]>,
}

#[derive(Debug)]
enum Slice<'a> {
    U8(&'a mut [u8]),
    U16(&'a mut [u16]),
    U32(&'a mut [u32]),
    U64(&'a mut [u64]),
    Bytes(usize, &'a mut [u8]),
    Digits(usize, &'a mut [u8]),
}

impl Narrowed {
    /// All rows, `rows` at a time, so that each part can be filled for itself.
    pub fn parts(&mut self, rows: usize) -> Vec<Rows<'_>> {
        let rows = rows.max(1);
        let mut parts: Vec<Rows<'_>> = Vec::new();
        fn deal<'a, T>(
            parts: &mut Vec<Rows<'a>>,
            slices: impl Iterator<Item = T>,
            put: impl Fn(&mut Rows<'a>, T),
        ) {
            for (i, slice) in slices.enumerate() {
                if parts.len() <= i {
                    parts.push(Rows { fields: Vec::new(), checks: Vec::new() });
                }
                put(&mut parts[i], slice);
            }
        }
        for field in &mut self.fields {
            macro_rules! each {
                ($column:expr, $size:expr, $slice:expr) => {
                    deal(&mut parts, $column.chunks_mut($size), |part, slice| {
                        part.fields.push($slice(slice))
                    })
                };
            }
            match field {
                Numbers::U8(column) => each!(column, rows, Slice::U8),
                Numbers::U16(column) => each!(column, rows, Slice::U16),
                Numbers::U32(column) => each!(column, rows, Slice::U32),
                Numbers::U64(column) => each!(column, rows, Slice::U64),
                Numbers::Bytes { width, bytes } => {
                    each!(bytes, rows * *width, |slice| Slice::Bytes(*width, slice))
                }
                Numbers::Digits { width, digits } => {
                    each!(digits, rows * *width, |slice| Slice::Digits(*width, slice))
                }
            }
        }
        for check in &mut self.checks {
            deal(&mut parts, check.chunks_mut(rows), |part, slice| part.checks.push(slice));
        }
        parts
    }
}

/// Where a word has its capture's bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The first bit is the word's highest.
    Left,
    /// The last bit is the word's lowest.
    Right,
}

/// A word that holds a capture: `u32` or `u64`.
pub trait Source: Copy + BitAnd<Output = Self> + BitOrAssign + PartialEq {
    /// Bits a word.
    const BITS: u32;
    /// No bit.
    const ZERO: Self;
    /// A word of 64 bits, its highest left out where this one is shorter.
    fn of(word: u64) -> Self;
    /// The word shifted right, its highest bits left out where `L` is shorter.
    fn shifted<L: Lane>(self, by: u32) -> L;
}

/// A word that is calculated with.
pub trait Lane:
    Copy
    + BitAnd<Output = Self>
    + BitOr<Output = Self>
    + BitXor<Output = Self>
    + Not<Output = Self>
    + Shl<u32, Output = Self>
    + Shr<u32, Output = Self>
    + PartialEq
{
    /// Bits a word.
    const BITS: u32;
    /// No bit.
    const ZERO: Self;
    /// The lowest bit.
    const ONE: Self;
    /// The lowest bits of a word of 64.
    fn of(word: u64) -> Self;
    /// How many bits are 1.
    fn ones(self) -> Self;
    /// The lowest 8 bits.
    fn low8(self) -> u8;
    /// The lowest 16.
    fn low16(self) -> u16;
    /// The lowest 32.
    fn low32(self) -> u32;
    /// As 64.
    fn low64(self) -> u64;
}

macro_rules! words {
    ($($word:ty),*) => {$(
        impl Source for $word {
            const BITS: u32 = <$word>::BITS;
            const ZERO: Self = 0;
            #[inline(always)]
            fn of(word: u64) -> Self {
                word as $word
            }
            #[inline(always)]
            fn shifted<L: Lane>(self, by: u32) -> L {
                L::of((self >> by).into())
            }
        }

        impl Lane for $word {
            const BITS: u32 = <$word>::BITS;
            const ZERO: Self = 0;
            const ONE: Self = 1;
            #[inline(always)]
            fn of(word: u64) -> Self {
                word as $word
            }
            #[inline(always)]
            fn ones(self) -> Self {
                self.count_ones().into()
            }
            #[inline(always)]
            fn low8(self) -> u8 {
                self as u8
            }
            #[inline(always)]
            fn low16(self) -> u16 {
                self as u16
            }
            #[inline(always)]
            fn low32(self) -> u32 {
                self as u32
            }
            #[inline(always)]
            fn low64(self) -> u64 {
                self.into()
            }
        }
    )*};
}

words!(u32, u64);

/// A run of a number's bits: right of it `right` bits of the capture, and
/// `left` of the number.
#[derive(Debug, Clone, Copy)]
struct Piece {
    right: u32,
    left: u32,
    mask: u64,
}

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
    Spread(Pick),
    /// A digit a pick.
    Digits(Vec<Pick>),
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
            Take::Digits(picks) => picks.len(),
            _ => self.bits.div_ceil(8),
        }
    }
}

/// A column of that length, in the room of an old one where that is about right.
fn again<T: Copy + Default>(mut old: Vec<T>, len: usize) -> Vec<T> {
    match old.capacity() {
        room if room >= len && room / 4 <= len => {
            old.resize(len, T::default());
            old
        }
        _ => vec![T::default(); len],
    }
}

/// Bits of captures of up to 64 that have an even, or odd, sum where a rule
/// holds.
#[derive(Debug, Clone)]
struct Balance {
    mask: u64,
    odd: bool,
    /// The same sum as one of sums from the first bit on, and of single bits:
    /// how far right of the lowest bit each is. None where that takes longer.
    terms: Option<Terms>,
}

#[derive(Debug, Clone)]
struct Terms {
    sums: Vec<u32>,
    bits: Vec<u32>,
}

#[derive(Debug, Clone)]
struct Checked {
    name: String,
    relations: Vec<Relation>,
    balances: Vec<Balance>,
    /// Four bits each that must be a decimal digit.
    decimal: Vec<Pick>,
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
pub struct Narrow {
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

impl Narrow {
    pub(super) fn new(layout: &Layout, view: &View, length: usize) -> Narrow {
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
                Rule::Decimal { span, .. } => decimal.push(view.pick(span)),
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
        Narrow { length, columns, checks, sums, wide }
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
    pub fn room(&self, rows: usize) -> Narrowed {
        self.room_in(Narrowed::default(), rows)
    }

    /// The same in columns that nobody needs any more, of this view: neither
    /// asked of the system again nor cleared where they are about as long.
    /// What they held is still in them until they are filled.
    pub fn room_in(&self, old: Narrowed, rows: usize) -> Narrowed {
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
        Narrowed { fields, checks: checks.collect() }
    }

    /// The columns of captures of up to 64 bits, a word each.
    ///
    /// # Errors
    /// A word with more bits than a capture has.
    pub fn decode<S: Source>(&self, captures: &[S], align: Align) -> Result<Narrowed, TooLong> {
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
                Take::Spread(pick) => pick.number(*wide),
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
                    let Take::Digits(picks) = &column.take else { continue };
                    let out = &mut out[at.start * *width..at.end * *width];
                    for (out, capture) in out.chunks_exact_mut((*width).max(1)).zip(all) {
                        for (out, pick) in out.iter_mut().zip(picks) {
                            *out = match pick.number(*capture) {
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
                    && check.decimal.iter().all(|pick| pick.number(*capture) <= 9);
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
        false => Take::Spread(view.pick(&field.span)),
    };
    Column { name, bits, take }
}

/// Each digit's four data bits, the most significant first.
fn digits(field: &Field, view: &View) -> Vec<Pick> {
    let width = field.code.digit_bits().unwrap_or(1);
    let digit = |at: usize| {
        let mut offsets: Vec<usize> = field.span.offsets().skip(at).take(4).collect();
        if field.code == Code::Bcd5 {
            offsets.reverse();
        }
        Span::from_offsets(offsets).ok().map(|span| view.pick(&span))
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
    let picks: Vec<Pick> = parts.iter().flat_map(|field| digits(field, view)).collect();
    Some(Column { name: name.to_owned(), bits: 4 * picks.len(), take: Take::Digits(picks) })
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

impl Checked {
    fn new(name: String, relations: Vec<Relation>, decimal: Vec<Pick>, length: usize) -> Checked {
        let balances = match length <= 64 {
            true => relations.iter().map(|relation| Balance::of(relation, length)).collect(),
            false => Vec::new(),
        };
        Checked { name, relations, balances, decimal }
    }
}

impl Balance {
    fn of(relation: &Relation, length: usize) -> Balance {
        let right = |offset: usize| (length - 1 - offset) as u32;
        let (mut sums, mut bits) = (Vec::new(), Vec::new());
        let runs = Span::from_mask(relation.bits);
        for run in runs.iter().flat_map(|span| span.runs()) {
            let (first, last) = (run.first.offset(), run.last.offset());
            if first == last {
                bits.push(right(first));
                continue;
            }
            sums.push(right(last));
            if first > 0 {
                sums.push(right(first - 1));
            }
        }
        let few = sums.len() + bits.len() <= TERMS_MOST;
        Balance {
            mask: relation.bits.0[0] >> (64 - length),
            odd: relation.constant,
            terms: few.then_some(Terms { sums, bits }),
        }
    }
}

/// The number in a word whose last bit is the lowest.
#[inline(always)]
fn number<L: Lane>(word: L, pieces: &[Piece], flip: L) -> L {
    let piece = |p: &Piece| (word >> p.right & L::of(p.mask)) << p.left;
    pieces.iter().fold(L::ZERO, |all, p| all | piece(p)) ^ flip
}

#[inline(always)]
fn take<L: Lane, T>(
    words: &[L],
    pieces: &[Piece],
    flip: L,
    out: &mut [T],
    low: impl Fn(L) -> T + Copy,
) {
    match pieces {
        [Piece { right, left: 0, mask }] => {
            let (right, mask) = (*right, L::of(*mask));
            let all = out.iter_mut().zip(words);
            all.for_each(|(out, word)| *out = low((*word >> right & mask) ^ flip));
        }
        _ => {
            let all = out.iter_mut().zip(words);
            all.for_each(|(out, word)| *out = low(number(*word, pieces, flip)));
        }
    }
}

/// Whether all sums are as they should be.
#[inline(always)]
fn balance<const COUNTS: bool, L: Lane>(
    words: &[L],
    sums: &[L],
    balances: &[Balance],
    wrong: &mut [L],
    out: &mut [bool],
) {
    // Of the usual checks, one loop each.
    if let [Balance { mask, odd, terms }] = balances {
        let (mask, odd) = (L::of(*mask), if *odd { L::ONE } else { L::ZERO });
        let all = out.iter_mut().zip(words);
        match terms {
            _ if COUNTS => {
                return all.for_each(|(out, w)| *out = (*w & mask).ones() & L::ONE == odd);
            }
            Some(Terms { sums: terms, bits }) if bits.is_empty() => match terms[..] {
                [a] => {
                    let all = out.iter_mut().zip(sums);
                    return all.for_each(|(out, s)| *out = *s >> a & L::ONE == odd);
                }
                [a, b] => {
                    let all = out.iter_mut().zip(sums);
                    return all.for_each(|(out, s)| *out = (*s >> a ^ *s >> b) & L::ONE == odd);
                }
                _ => {}
            },
            _ => {}
        }
    }
    wrong.fill(L::ZERO);
    for Balance { mask, odd, terms } in balances {
        let (mask, odd) = (L::of(*mask), if *odd { L::ONE } else { L::ZERO });
        let all = wrong.iter_mut().zip(words);
        match terms {
            _ if COUNTS => {
                all.for_each(|(wrong, w)| *wrong = *wrong | ((*w & mask).ones() ^ odd));
            }
            Some(terms) => {
                for ((wrong, word), sum) in all.zip(sums) {
                    *wrong = *wrong | (terms.sum(*word, *sum) ^ odd);
                }
            }
            None => all.for_each(|(wrong, w)| *wrong = *wrong | (folded(*w & mask) ^ odd)),
        }
    }
    out.iter_mut().zip(&*wrong).for_each(|(out, wrong)| *out = *wrong & L::ONE == L::ZERO);
}

impl Terms {
    /// The sum, as the lowest bit.
    #[inline(always)]
    fn sum<L: Lane>(&self, word: L, from_first: L) -> L {
        let sum = self.sums.iter().fold(L::ZERO, |sum, by| sum ^ from_first >> *by);
        self.bits.iter().fold(sum, |sum, by| sum ^ word >> *by)
    }
}

/// For each bit, the sum of it and all in front of it.
#[inline(always)]
fn from_first<L: Lane>(mut word: L) -> L {
    for by in [1, 2, 4, 8, 16] {
        word = word ^ word >> by;
    }
    if L::BITS == 64 {
        word = word ^ word >> (L::BITS / 2);
    }
    word
}

/// The sum of all bits, as the lowest.
#[inline(always)]
fn folded<L: Lane>(mut word: L) -> L {
    if L::BITS == 64 {
        word = word ^ word >> (L::BITS / 2);
    }
    for by in [16, 8, 4, 2, 1] {
        word = word ^ word >> by;
    }
    word
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bits::Capture;
    use crate::decode::{Decode, Decoder, Reading};
    use crate::layout::{Table, Value, builtin};
    use proptest::prelude::*;

    /// A row of a column as the value that decoding gives.
    fn value(column: &Numbers, row: usize) -> Value {
        match column {
            Numbers::U8(column) => Value::Number(column[row].into()),
            Numbers::U16(column) => Value::Number(column[row].into()),
            Numbers::U32(column) => Value::Number(column[row].into()),
            Numbers::U64(column) => Value::Number(column[row].into()),
            Numbers::Bytes { width, bytes } => {
                let bytes = &bytes[row * width..][..*width];
                Value::Number(bytes.iter().fold(0, |n, byte| n << 8 | u128::from(*byte)))
            }
            Numbers::Digits { width, digits } => {
                let digits = digits[row * width..][..*width].to_vec();
                Value::Digits(String::from_utf8(digits).unwrap())
            }
        }
    }

    /// Whether each row is what decoding it alone says.
    fn agree(decoder: &Decoder<'_>, view: &View, captures: &[Capture], columns: &Narrowed) {
        let layout = decoder.layout(view);
        let narrow = decoder.narrow(view);
        for (row, capture) in captures.iter().enumerate() {
            let word = Capture::from_wide(view.word(capture.wide()), layout.length()).unwrap();
            let decode = Decode { layout, word };
            let expected: Vec<(&str, Value)> = decode.fields().collect();
            let fields = narrow.fields().zip(&columns.fields);
            let got: Vec<(&str, Value)> = fields.map(|(n, c)| (n, value(c, row))).collect();
            assert_eq!(got[..expected.len()], expected);
            for (name, joined) in &got[expected.len()..] {
                let expected = if *name == "site" { decode.site() } else { decode.card() };
                assert_eq!(Some(joined), expected.as_ref());
            }
            for (name, column) in narrow.checks().zip(&columns.checks) {
                let mut rules = decode.outcomes();
                let holds = match rules.find(|(rule, _)| *rule == name) {
                    Some((_, holds)) => holds,
                    None => (layout.rules().iter())
                        .filter(|r| !matches!(r, Rule::Relations { check: Some(_), .. }))
                        .all(|rule| rule.holds(word.wide())),
                };
                assert_eq!(column[row], holds, "{name}");
            }
            let all = columns.checks.iter().all(|column| column[row]);
            assert_eq!(all, decode.holds());
        }
    }

    fn of(table: &Table, length: usize, words: &[[u64; 4]]) {
        let decoder = Decoder::new(table, length, &Reading::ALL);
        let captures: Vec<Capture> =
            words.iter().map(|word| Capture::from_wide(Wide(*word), length).unwrap()).collect();
        let wide: Vec<Wide> = captures.iter().map(|capture| capture.wide()).collect();
        for view in decoder.views() {
            let narrow = decoder.narrow(view);
            let mut columns = narrow.room(wide.len());
            narrow.fill_wide(&wide, &mut columns.parts(wide.len())[0]);
            agree(&decoder, view, &captures, &columns);
            if length <= 64 {
                let left: Vec<u64> = wide.iter().map(|wide| wide.0[0]).collect();
                assert_eq!(narrow.decode(&left, Align::Left).unwrap(), columns);
                let right: Vec<u64> = left.iter().map(|word| word >> (64 - length)).collect();
                assert_eq!(narrow.decode(&right, Align::Right).unwrap(), columns);
                // In parts, which are filled on their own, in the room of others.
                let mut others = narrow.room(right.len() + 2);
                others.fields.reverse();
                let mut apart = narrow.room_in(others, right.len());
                for (part, rows) in right.chunks(3).zip(&mut apart.parts(3)) {
                    narrow.fill::<true, u64>(part, Align::Right, rows).unwrap();
                }
                assert_eq!(apart, columns);
            }
            if length <= 32 {
                let left: Vec<u32> = wide.iter().map(|wide| (wide.0[0] >> 32) as u32).collect();
                assert_eq!(narrow.decode(&left, Align::Left).unwrap(), columns);
                let right: Vec<u32> = left.iter().map(|word| word >> (32 - length)).collect();
                assert_eq!(narrow.decode(&right, Align::Right).unwrap(), columns);
            }
        }
    }

    proptest! {
        /// Every layout that ships, under every reading.
        #[test]
        fn columns_agree_with_decoding(words: [[u64; 4]; 5], which in any::<prop::sample::Index>(), off in -1isize..=1) {
            let length = which.get(builtin().layouts()).length().wrapping_add_signed(off);
            of(builtin(), length, &words);
        }

        /// Layouts of random spans and covers.
        #[test]
        fn random_layouts_agree_with_decoding(
            words: [[u64; 4]; 5],
            length in 1usize..=256,
            order in any::<[u16; 32]>(),
            cover: [u64; 4],
            group in 1usize..9,
        ) {
            let span = |offsets: Vec<usize>| Span::from_offsets(offsets).ok().map(|s| s.to_string());
            let mut spread: Vec<usize> = order.iter().map(|o| usize::from(*o) % length).collect();
            let mut seen = std::collections::HashSet::new();
            spread.retain(|offset| seen.insert(*offset));
            let mut text = format!(
                "[[layout]]\nid = \"a\"\ntitle = \"a\"\nlength = {length}\nbasis = \"invented\"\n\
                 [[layout.field]]\nrole = \"card\"\nspan = \"{}\"\n",
                span(spread).unwrap(),
            );
            let mut covered: Vec<usize> = Wide(cover).offsets().filter(|o| *o < length).collect();
            if covered.len() > 1 {
                let bit = covered.remove(covered.len() / 2) + 1;
                let over = span(covered).unwrap();
                text += &format!("[[layout.check]]\nkind = \"odd\"\nbit = {bit}\nover = \"{over}\"\n");
            }
            let groups = (length / group).saturating_sub(1);
            if groups > 0 {
                let over = span((0..groups * group).collect()).unwrap();
                let at = span((groups * group..(groups + 1) * group).collect()).unwrap();
                text += &format!(
                    "[[layout.check]]\nkind = \"lrc\"\ngroup = {group}\nover = \"{over}\"\nat = \"{at}\"\n"
                );
            }
            // The two checks may contradict each other: then there is no layout.
            if let Ok(table) = Table::from_toml(&text) {
                of(&table, length, &words);
            }
        }
    }

    #[test]
    fn words_with_too_many_bits_are_refused() {
        let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
        let narrow = decoder.narrow(&decoder.views()[0]);
        let mut words = vec![0u64; 3000];
        words[2500] = 1 << 26;
        let refused = narrow.decode(&words, Align::Right).unwrap_err();
        assert_eq!(refused, TooLong { row: 2500, length: 26 });
        words[2500] = 1 << 37;
        assert_eq!(narrow.decode(&words, Align::Left).unwrap_err().row, 2500);
        assert!(narrow.decode::<u64>(&[], Align::Left).unwrap().checks[0].is_empty());
    }
}
