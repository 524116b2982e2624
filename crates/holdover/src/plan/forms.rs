//! One card in two forms: the serial number of one holder's card, as readers of
//! two kinds send it. Its forms are enrolled side by side and are no conflict
//! with one another; those of different holders are.

use std::collections::HashMap;

use super::roster::{RosterCard, RosterRow, RowState};
use crate::decode::serial::SerialNumber;
use crate::layout::Table;

/// Bytes to which readers cut longer serial numbers: the shortest number of
/// ISO/IEC 14443-3:2018, 6.5.4 (from memory).
const CUT: usize = 4;

/// A holder's serial number: how many bytes, and the lesser of its two byte
/// orders.
type Key<'r> = (&'r str, usize, u128);

/// The rows, by their index, that are forms of one card, each with the first
/// of them; that one too. Rows without company are left out.
///
/// Kept rows of one holder are one card where their serial numbers are the
/// same, in either byte order, or where one of four bytes is the first or the
/// last four of a longer one. Linear in the rows.
pub(crate) fn forms(table: &Table, roster: &[RosterRow]) -> HashMap<u32, u32> {
    let mut class: HashMap<Key<'_>, u32> = HashMap::new();
    let mut longer: Vec<(u32, &str, u128, usize)> = Vec::new();
    let mut rows: Vec<(u32, Key<'_>)> = Vec::new();
    for (row, from) in roster.iter().enumerate() {
        let holder = from.holder.as_deref().map_or("", str::trim);
        let Some(serial) = serial(table, from).filter(|_| !holder.is_empty()) else { continue };
        let (row, len, number) = (row as u32, serial.bytes().len(), serial.number());
        let key = (holder, len, either_order(len, number));
        class.entry(key).or_insert(row);
        rows.push((row, key));
        if len > CUT {
            longer.push((row, holder, number, len));
        }
    }
    // A number and what it was cut to become one: by the first row of each.
    let mut joined: HashMap<u32, u32> = HashMap::new();
    for (row, holder, number, len) in longer {
        let last = number & ((1 << (8 * CUT)) - 1);
        for part in [number >> (8 * (len - CUT)), last] {
            let Some(cut) = class.get(&(holder, CUT, either_order(CUT, part))) else { continue };
            let (a, b) = (first(&joined, row), first(&joined, *cut));
            if a != b {
                joined.insert(a.max(b), a.min(b));
            }
        }
        let (a, b) = (first(&joined, row), class[&(holder, len, either_order(len, number))]);
        let b = first(&joined, b);
        if a != b {
            joined.insert(a.max(b), a.min(b));
        }
    }
    let mut found: HashMap<u32, u32> = HashMap::new();
    let mut alone: HashMap<u32, u32> = HashMap::new();
    for (row, key) in rows {
        let of = first(&joined, class[&key]);
        match alone.insert(of, row) {
            None => {}
            Some(earlier) => {
                found.insert(earlier, of);
                found.insert(row, of);
            }
        }
    }
    found
}

/// The serial number of a kept row.
fn serial(table: &Table, row: &RosterRow) -> Option<SerialNumber> {
    let RosterCard::Card { layout, bits, .. } = &row.card else { return None };
    let layout = table.layouts().get(*layout)?;
    if row.state != RowState::Kept || bits.len() != layout.length() {
        return None;
    }
    SerialNumber::of(layout, bits)
}

fn either_order(len: usize, number: u128) -> u128 {
    number.min(number.swap_bytes() >> (128 - 8 * len.clamp(1, 16)))
}

/// The first row of those joined with it.
fn first(joined: &HashMap<u32, u32>, mut row: u32) -> u32 {
    while let Some(earlier) = joined.get(&row) {
        row = *earlier;
    }
    row
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    fn row(line: usize, layout: &str, number: u128, holder: &str) -> RosterRow {
        let row = RosterRow::of_numbers(builtin(), line, layout, 0, number).unwrap();
        RosterRow { holder: Some(holder.to_owned()), ..row }
    }

    fn of(rows: &[RosterRow]) -> Vec<(u32, u32)> {
        let mut found: Vec<(u32, u32)> = forms(builtin(), rows).into_iter().collect();
        found.sort_unstable();
        found
    }

    #[test]
    fn one_number_of_one_holder_is_one_card() {
        let a = row(2, "serial32", 0xC47A_31D2, "M. Loom");
        assert_eq!(of(&[a.clone(), row(3, "num34", 0xC47A_31D2, " M. Loom ")]), [(0, 0), (1, 0)]);
        // The other byte order, and a longer number of which it is a part.
        assert_eq!(of(&[a.clone(), row(3, "num34", 0xD231_7AC4, "M. Loom")]), [(0, 0), (1, 0)]);
        for longer in [0x00C4_7A31_D204_0506, 0x0004_0506_C47A_31D2] {
            let longer = row(4, "serial56", longer, "M. Loom");
            assert_eq!(of(&[a.clone(), longer]), [(0, 0), (1, 0)]);
        }
        // Another holder's, no one's, another number, a blocked card.
        let blocked =
            RosterRow { state: RowState::Blocked, ..row(3, "num34", 0xC47A_31D2, "M. Loom") };
        let no_one = RosterRow { holder: None, ..row(3, "num34", 0xC47A_31D2, "") };
        for other in [
            row(3, "num34", 0xC47A_31D2, "N. Treadle"),
            row(3, "num34", 0xC47A_31D3, "M. Loom"),
            blocked,
            no_one,
        ] {
            assert_eq!(of(&[a.clone(), other]), []);
        }
    }

    #[test]
    fn two_longer_numbers_meet_in_what_they_are_cut_to() {
        let rows = [
            row(2, "serial56", 0x04_1122_3344_5566, "M. Loom"),
            row(3, "serial56", 0x04_1122_33AA_BBCC, "M. Loom"),
        ];
        assert_eq!(of(&rows), []);
        let cut = row(4, "serial32", 0x0411_2233, "M. Loom");
        let [a, b] = rows;
        assert_eq!(of(&[a, b, cut]), [(0, 0), (1, 0), (2, 0)]);
    }
}
