//! What comes out: columns as narrow as their values.

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
pub struct DecodedColumns {
    /// In the order of [`ColumnDecoder::fields`](super::ColumnDecoder::fields).
    pub fields: Vec<Numbers>,
    /// Whether each check holds, in the order of [`ColumnDecoder::checks`](super::ColumnDecoder::checks).
    pub checks: Vec<Vec<bool>>,
}

/// Some rows of [`DecodedColumns`], to be filled.
#[derive(Debug)]
pub struct Rows<'a> {
    pub(super) fields: Vec<Slice<'a>>,
    pub(super) checks: Vec<&'a mut [bool]>,
}

#[derive(Debug)]
pub(super) enum Slice<'a> {
    U8(&'a mut [u8]),
    U16(&'a mut [u16]),
    U32(&'a mut [u32]),
    U64(&'a mut [u64]),
    Bytes(usize, &'a mut [u8]),
    Digits(usize, &'a mut [u8]),
}

impl DecodedColumns {
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

/// A column of that length, in the room of an old one where that is about right.
pub(super) fn again<T: Copy + Default>(mut old: Vec<T>, len: usize) -> Vec<T> {
    match old.capacity() {
        room if room >= len && room / 4 <= len => {
            old.resize(len, T::default());
            old
        }
        _ => vec![T::default(); len],
    }
}
