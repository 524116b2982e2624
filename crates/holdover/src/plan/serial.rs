//! Trouble with serial numbers across a roster (ISO/IEC 14443-3:2018, 6.5.4): one card in
//! two byte orders, or whole and cut, fragments, and random numbers.

use std::collections::HashSet;

use super::roster::{RosterCard, RosterRow, RowState};
use crate::decode::serial::{CASCADE_TAG, RANDOM_TAG, SerialNumber};
use crate::layout::Table;

/// Bytes of the shortest serial number, to which longer ones are cut.
const SHORT: usize = 4;

/// What is wrong with serial numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum TroubleKind {
    /// The same bytes in the other order: readers disagree.
    ByteOrder,
    /// The first four bytes of a longer number.
    Cut,
    /// Begins with the cascade tag: a fragment.
    Fragment,
    /// A random number, new at each read.
    Random,
}

/// Serial numbers that cannot be relied upon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// What is wrong.
    pub kind: TroubleKind,
    /// The roster lines, ascending.
    pub lines: Vec<usize>,
    /// What is wrong, in words.
    pub what: String,
    /// What to do about it.
    pub mend: &'static str,
}

/// A serial number: how many bytes, and the bytes as a number, the first the
/// most significant.
type Serial = (usize, u128);

/// Looks for one card under two numbers, and for numbers that are none.
/// Time n log n.
pub fn serial_trouble(table: &Table, roster: &[RosterRow]) -> Vec<Trouble> {
    let mut numbers: Vec<(Serial, usize)> = Vec::new();
    for row in roster {
        let RosterCard::Card { layout, bits, .. } = &row.card else { continue };
        let Some(layout) = table.layouts().get(*layout) else { continue };
        if bits.len() != layout.length() {
            continue;
        }
        if let Some(number) = SerialNumber::of(layout, bits) {
            numbers.push(((number.bytes().len(), number.number()), row.line));
        }
    }
    numbers.sort_unstable();
    let mut found = Vec::new();
    let mut put = |kind, mut at: Vec<usize>| {
        at.sort_unstable();
        at.dedup();
        let list: Vec<String> = at.iter().map(usize::to_string).collect();
        let (what, mend) = words(kind);
        let what = format!("{} {}: {what}", plural(&at), list.join(", "));
        found.push(Trouble { kind, lines: at, what, mend });
    };
    // Each number once, with what else it might be read as.
    let mut distinct: Vec<Serial> = numbers.iter().map(|(serial, _)| *serial).collect();
    distinct.dedup();
    let turned = |(len, number): Serial| (len, number.swap_bytes() >> (128 - 8 * len.clamp(1, 16)));
    let mut other: Vec<(Serial, Serial)> = distinct.iter().map(|s| (turned(*s), *s)).collect();
    other.retain(|(turned, own)| own < turned);
    for (other, own) in meet(other, &distinct) {
        put(TroubleKind::ByteOrder, [lines_of(&numbers, own), lines_of(&numbers, other)].concat());
    }
    let mut short: Vec<(Serial, Serial)> = Vec::new();
    for (len, number) in distinct.iter().filter(|(len, _)| *len > SHORT) {
        let head = (SHORT, number >> (8 * (len - SHORT)));
        // After the cascade tag there is room for three bytes.
        let tagged = (SHORT, u128::from(CASCADE_TAG) << 24 | head.1 >> 8);
        short.extend([head, turned(head), tagged].map(|short| (short, (*len, *number))));
    }
    let mut cut = meet(short, &distinct);
    cut.sort_unstable_by_key(|(short, own)| (*own, *short));
    for same in cut.chunk_by(|a, b| a.1 == b.1) {
        let short = same.iter().map(|(short, _)| lines_of(&numbers, *short));
        put(TroubleKind::Cut, short.chain([lines_of(&numbers, same[0].1)]).flatten().collect());
    }
    // Four bytes alone: a longer number may begin with either by chance.
    let four = || numbers.iter().filter(|((len, _), _)| *len == SHORT);
    for (tag, kind) in [(CASCADE_TAG, TroubleKind::Fragment), (RANDOM_TAG, TroubleKind::Random)] {
        let tagged = four().filter(|((_, number), _)| number >> 24 == u128::from(tag));
        let lines: Vec<usize> = tagged.map(|(_, line)| *line).collect();
        if !lines.is_empty() {
            put(kind, lines);
        }
    }
    found.sort_by(|a, b| (a.kind, &a.lines).cmp(&(b.kind, &b.lines)));
    found
}

/// Cards that one row keeps and another blocks, because readers send their serial
/// number in two ways: the lines that keep them, and those that block them.
pub(crate) fn kept_and_blocked(
    troubles: &[Trouble],
    roster: &[RosterRow],
) -> Vec<(Vec<usize>, Vec<usize>)> {
    let twice = [TroubleKind::ByteOrder, TroubleKind::Cut];
    let twice = troubles.iter().filter(|trouble| twice.contains(&trouble.kind));
    let mut twice = twice.peekable();
    if twice.peek().is_none() {
        return Vec::new();
    }
    let of = |state| roster.iter().filter(move |row| row.state == state).map(|row| row.line);
    let kept: HashSet<usize> = of(RowState::Kept).collect();
    let blocked: HashSet<usize> = of(RowState::Blocked).collect();
    let both = twice.map(|trouble| {
        let lines = |of: &HashSet<usize>| {
            trouble.lines.iter().copied().filter(|line| of.contains(line)).collect::<Vec<_>>()
        };
        (lines(&kept), lines(&blocked))
    });
    both.filter(|(kept, blocked)| !kept.is_empty() && !blocked.is_empty()).collect()
}

/// The pairs whose first is among the numbers, which come ascending.
fn meet(mut pairs: Vec<(Serial, Serial)>, numbers: &[Serial]) -> Vec<(Serial, Serial)> {
    pairs.sort_unstable();
    pairs.dedup();
    let mut at = 0;
    pairs.retain(|(wanted, _)| {
        while numbers.get(at).is_some_and(|number| number < wanted) {
            at += 1;
        }
        numbers.get(at) == Some(wanted)
    });
    pairs
}

fn lines_of(numbers: &[(Serial, usize)], serial: Serial) -> Vec<usize> {
    let from = numbers.partition_point(|(other, _)| *other < serial);
    let same = numbers[from..].iter().take_while(|(other, _)| *other == serial);
    same.map(|(_, line)| *line).collect()
}

fn plural(lines: &[usize]) -> &'static str {
    if lines.len() == 1 { "line" } else { "lines" }
}

fn words(kind: TroubleKind) -> (&'static str, &'static str) {
    match kind {
        TroubleKind::ByteOrder => (
            "one serial number in two byte orders, so readers disagree",
            "set all readers to one byte order, read the card again, and enrol it once",
        ),
        TroubleKind::Cut => (
            "a serial number, and what a reader sends that cuts it to four bytes",
            "set all readers to send the whole number, read the card again, and enrol it once",
        ),
        TroubleKind::Fragment => (
            "first byte 0x88 is a cascade tag, so this is a fragment that two cards may share",
            "set the reader to send the whole number, and read these cards again",
        ),
        TroubleKind::Random => (
            "first byte 0x08 means a random number, new at each read",
            "do not enrol it: give its holder a card whose number stays",
        ),
    }
}
