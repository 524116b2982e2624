//! Spans that read a printed number: grown from their low bit, in every bit
//! order, byte order and code, as long as enough rows agree. Needs numbers
//! that differ from card to card.

use super::print::Facet;
use super::rows::{Columns, Rows};
use crate::bits::{Span, Wide};
use crate::layout::Code;

/// The order in which the bits of a number stand in the capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// Most significant first.
    Ascending,
    /// Least significant first.
    Descending,
    /// Groups (bytes, digits) least significant first, bits in them most
    /// significant first.
    GroupsSwapped,
    /// Groups most significant first, bits in them least significant first.
    BitsSwapped,
}

/// A code, an order and the place of the low bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Anchor {
    pub(super) code: Code,
    pub(super) order: Order,
    pub(super) low: usize,
}

impl Anchor {
    fn group(self) -> usize {
        self.code.digit_bits().unwrap_or(8)
    }

    /// Widths come in steps of so many bits.
    pub(super) fn step(self) -> usize {
        match (self.code.digit_bits(), self.order) {
            (Some(bits), _) => bits,
            (None, Order::Ascending | Order::Descending) => 1,
            (None, _) => 8,
        }
    }

    /// The least width worth a name of its own: swapped groups need two.
    fn least(self) -> usize {
        match self.order {
            Order::Ascending | Order::Descending => self.step(),
            _ => 2 * self.step(),
        }
    }

    /// Where the `j`th bit from the low end stands.
    fn offset(self, j: usize) -> Option<usize> {
        let group = self.group();
        let (groups, bits) = (group * (j / group), j % group);
        match self.order {
            Order::Ascending => self.low.checked_sub(j),
            Order::Descending => Some(self.low + j),
            Order::GroupsSwapped => (self.low + groups).checked_sub(bits),
            Order::BitsSwapped => (self.low + bits).checked_sub(groups),
        }
    }

    /// The span of that width.
    pub(super) fn span(self, width: usize) -> Option<Span> {
        let offsets: Option<Vec<usize>> = (0..width).rev().map(|j| self.offset(j)).collect();
        Span::from_offsets(offsets?).ok()
    }

    /// The bits that would make a field of that width wider by a step, at either end.
    pub(super) fn beyond(self, width: usize) -> Wide {
        let above = self.mask(width + self.step()) & !self.mask(width);
        let below = match self.order {
            Order::Descending | Order::GroupsSwapped => self.mask(1).towards_front(1),
            _ => self.mask(1).towards_end(1),
        };
        above | below
    }

    /// The bits of that width, as a set.
    pub(super) fn mask(self, width: usize) -> Wide {
        let mut mask = Wide::ZERO;
        (0..width).filter_map(|j| self.offset(j)).for_each(|at| mask.set(at, true));
        mask
    }
}

/// A span that reads the number in some rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Fit {
    pub(super) anchor: Anchor,
    pub(super) width: usize,
    /// In how many rows.
    pub(super) matches: usize,
}

/// A facet's numbers turned on their side, in one code: the bits from the low
/// end, as a capture would hold them.
pub(super) struct Planes {
    code: Code,
    planes: Vec<Rows>,
    /// What planes above the highest hold: rows in which a leading zero is 1
    /// (the parity of a five-bit digit).
    none: Rows,
    all: Rows,
    /// For each width in planes, the rows whose number needs no more.
    within: Vec<Rows>,
}

impl Planes {
    pub(super) fn of(facet: &Facet, code: Code) -> Planes {
        let rows = facet.values.len();
        let unit = code.digit_bits().unwrap_or(1);
        let words: Vec<Option<(u128, usize)>> =
            facet.values.iter().map(|value| coded((*value)?, code)).collect();
        let most = words.iter().flatten().map(|(_, width)| *width).max().unwrap_or(0);
        let mut planes = vec![Rows::none(rows); most];
        let mut within = vec![Rows::none(rows); most / unit + 1];
        for (row, word) in words.iter().enumerate() {
            let Some((word, width)) = word else { continue };
            for (j, plane) in planes.iter_mut().enumerate() {
                let bit = word >> j & 1 == 1 || j >= *width && code == Code::Bcd5 && j % 5 == 0;
                if bit {
                    plane.insert(row);
                }
            }
            within[width / unit].insert(row);
        }
        for i in 1..within.len() {
            within[i] = within[i].or(&within[i - 1]);
        }
        Planes { code, planes, none: Rows::none(rows), all: Rows::all(rows), within }
    }

    fn plane(&self, j: usize) -> &Rows {
        match self.planes.get(j) {
            Some(plane) => plane,
            None if self.code == Code::Bcd5 && j.is_multiple_of(5) => &self.all,
            None => &self.none,
        }
    }

    /// The rows whose number fits in `width` bits.
    fn within(&self, width: usize) -> &Rows {
        let unit = self.code.digit_bits().unwrap_or(1);
        &self.within[(width / unit).min(self.within.len() - 1)]
    }

    /// How many planes vary among `rows`.
    pub(super) fn varying(&self, rows: &Rows) -> usize {
        let count = rows.count();
        let varies =
            |plane: &&Rows| !matches!(plane.common(rows), 0) && plane.common(rows) != count;
        self.planes.iter().filter(varies).count()
    }

    /// Every span of `rows` that reads the number in at least `floor` of them;
    /// for each low bit the best width, the least of equals.
    pub(super) fn search(&self, columns: &Columns, rows: &Rows, floor: usize) -> Vec<Fit> {
        let mut fits: Vec<Fit> = Vec::new();
        self.grow(columns, rows, floor, &ORDERS, |fit| match fits.last_mut() {
            Some(last) if last.anchor == fit.anchor => {
                if fit.matches > last.matches {
                    *last = fit;
                }
                // Wider ones can only lose rows once every number fits.
                fit.width < self.planes.len()
            }
            _ => {
                fits.push(fit);
                fit.width < self.planes.len()
            }
        });
        fits
    }

    /// Every ascending span, leading zeros and all, that reads the number in at
    /// least `floor` of `rows`.
    pub(super) fn everywhere(&self, columns: &Columns, rows: &Rows, floor: usize) -> Vec<Fit> {
        let mut fits = Vec::new();
        self.grow(columns, rows, floor, &[Order::Ascending], |fit| {
            fits.push(fit);
            true
        });
        fits
    }

    /// Grows a span from every low bit; `take` says whether to go on with it.
    fn grow(
        &self,
        columns: &Columns,
        rows: &Rows,
        floor: usize,
        orders: &[Order],
        mut take: impl FnMut(Fit) -> bool,
    ) {
        let mut alive = rows.clone();
        for &order in orders {
            for low in 0..columns.length() {
                let anchor = Anchor { code: self.code, order, low };
                alive.clone_from(rows);
                for j in 0..columns.length().min(MAX_WIDTH) {
                    let Some(at) = anchor.offset(j).filter(|at| *at < columns.length()) else {
                        break;
                    };
                    alive.keep_equal(columns.at(at), self.plane(j));
                    if alive.count() < floor {
                        break;
                    }
                    let width = j + 1;
                    if !width.is_multiple_of(anchor.step()) || width < anchor.least() {
                        continue;
                    }
                    let matches = alive.common(self.within(width));
                    if matches >= floor && !take(Fit { anchor, width, matches }) {
                        break;
                    }
                }
            }
        }
    }

    /// The rows of `rows` in which the span reads the number.
    pub(super) fn matching(&self, columns: &Columns, rows: &Rows, fit: Fit) -> Rows {
        let mut alive = rows.and(self.within(fit.width));
        for j in 0..fit.width {
            if let Some(at) = fit.anchor.offset(j).filter(|at| *at < columns.length()) {
                alive.keep_equal(columns.at(at), self.plane(j));
            }
        }
        alive
    }

    /// The widths under which the span reads the number in all of `rows`,
    /// ascending: leading zeros may or may not belong to it.
    pub(super) fn widths(&self, columns: &Columns, rows: &Rows, anchor: Anchor) -> Vec<usize> {
        let mut widths = Vec::new();
        let all = rows.count();
        let mut alive = rows.clone();
        for j in 0..columns.length().min(MAX_WIDTH) {
            let Some(at) = anchor.offset(j).filter(|at| *at < columns.length()) else { break };
            alive.keep_equal(columns.at(at), self.plane(j));
            if alive.count() < all {
                break;
            }
            let width = j + 1;
            let whole = width.is_multiple_of(anchor.step()) && width >= anchor.least();
            if whole && rows.common(self.within(width)) == all {
                widths.push(width);
            }
        }
        widths
    }

    /// Whether a wider span reads the number in all of `rows` but one, or one in
    /// thirty (judgement, no source): those may be misreadings.
    pub(super) fn nearly_wider(&self, columns: &Columns, rows: &Rows, anchor: Anchor) -> bool {
        let all = rows.count();
        let mut alive = rows.clone();
        for j in 0..columns.length().min(MAX_WIDTH) {
            let Some(at) = anchor.offset(j).filter(|at| *at < columns.length()) else { break };
            alive.keep_equal(columns.at(at), self.plane(j));
            if alive.count() + (all / 30).max(1) < all {
                break;
            }
            let width = j + 1;
            let whole = width.is_multiple_of(anchor.step()) && width >= anchor.least();
            if whole && alive.count() < all && rows.common(self.within(width)) == all {
                return true;
            }
        }
        false
    }
}

/// All orders, the usual one first.
const ORDERS: [Order; 4] =
    [Order::Ascending, Order::Descending, Order::GroupsSwapped, Order::BitsSwapped];

/// The widest field a layout takes.
const MAX_WIDTH: usize = 128;

/// A number as a capture holds it in `code`, the low end at bit 0, and how
/// many bits it needs; `None` where it does not fit in 128.
fn coded(value: u128, code: Code) -> Option<(u128, usize)> {
    let Some(unit) = code.digit_bits() else {
        return Some((value, 128 - value.leading_zeros() as usize));
    };
    let (mut rest, mut word, mut width) = (value, 0u128, 0);
    while rest > 0 {
        let digit = rest % 10;
        let bits = match code {
            // Read order is 1, 2, 4, 8, parity: from the low end, backwards.
            Code::Bcd5 => {
                let parity = u128::from(digit.count_ones() % 2 == 0);
                let reversed = (digit & 1) << 3 | (digit & 2) << 1 | (digit & 4) >> 1 | digit >> 3;
                reversed << 1 | parity
            }
            _ => digit,
        };
        if width + unit > 128 {
            return None;
        }
        word |= bits << width;
        width += unit;
        rest /= 10;
    }
    Some((word, width))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bits::Capture;
    use crate::layout::{Field, Role};
    use crate::learn::print::What;

    #[test]
    fn planes_are_what_a_field_reads() {
        let mut next = 12345u64;
        for code in [Code::Binary, Code::Bcd4, Code::Bcd5] {
            for order in
                [Order::Ascending, Order::Descending, Order::GroupsSwapped, Order::BitsSwapped]
            {
                let anchor = Anchor { code, order, low: 60 };
                let width = if code == Code::Bcd5 { 30 } else { 24 };
                let span = anchor.span(width).unwrap();
                let field = Field { code, ..Field::binary(Role::Card, span.clone()) };
                let mut captures = Vec::new();
                let mut values = Vec::new();
                for _ in 0..30 {
                    next = next.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    let value = u128::from(next >> 40) % 900_000;
                    let mut word = Wide([next, next.rotate_left(17), 0, 0]);
                    let (bits, _) = coded(value, code).unwrap();
                    let zeros = (0..width).filter(|j| code == Code::Bcd5 && j % 5 == 0);
                    let all = zeros.fold(0u128, |all, j| all | 1 << j);
                    let high = 128 - bits.leading_zeros() as usize;
                    let high = high.div_ceil(5) * 5;
                    let bits = bits | if high < 128 { all >> high << high } else { 0 };
                    span.place(bits, &mut word);
                    let read = field.value(word).to_string();
                    assert_eq!(read.parse::<u128>().unwrap(), value, "{code:?} {order:?}");
                    captures.push(Capture::from_wide(word, 128).unwrap());
                    values.push(Some(value));
                }
                let columns = Columns::of(captures.iter(), 128);
                let what = What::Group { from_end: 0, hex: false };
                let facet = Facet { what, values, padded: None };
                let planes = Planes::of(&facet, code);
                let fits = planes.search(&columns, &Rows::all(30), 30);
                assert!(fits.iter().any(|fit| fit.anchor == anchor), "{code:?} {order:?}");
            }
        }
    }
}
