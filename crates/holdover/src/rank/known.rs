//! What is known of a card beforehand: its print, its codes, its place in the
//! site file.

use super::model::PRINT_DIFFERS;
use crate::decode::Decode;
use crate::layout::{Layout, Part};
use crate::site::Site;

/// What is known of the card behind one capture.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Known {
    /// The site code, as noted.
    pub site: Option<String>,
    /// The card number, as noted.
    pub card: Option<String>,
    /// The number printed on the card.
    pub printed: Option<String>,
    /// What the probe file shows of pulses in doubt.
    pub doubt: Doubt,
}

/// Pulses in doubt, as a probe file shows them.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Doubt {
    /// A bit may be missing before each of these (from 1; one past the last
    /// bit: after it).
    pub missing: Vec<usize>,
    /// These bits (from 1) may not be the card's.
    pub suspect: Vec<usize>,
    /// Something is in doubt, but not where.
    pub somewhere: bool,
    /// So many more bits were counted than came; less than 0: fewer.
    pub short: i32,
}

impl Doubt {
    /// True when nothing is in doubt.
    pub fn is_empty(&self) -> bool {
        *self == Doubt::default()
    }
}

/// Digits a lone group needs before it counts as the print of a whole number.
const WHOLE_NUMBER_DIGITS: usize = 6;

impl Known {
    /// True when nothing is known.
    pub fn is_empty(&self) -> bool {
        *self == Known::default()
    }

    /// log2 of how much better a decode explains the noted numbers than a
    /// random card of its layout would.
    pub(super) fn evidence_bits(&self, decode: &Decode<'_>) -> f64 {
        let matched = |width: usize, matches: bool| match matches {
            true => width as f64 + (1.0 - PRINT_DIFFERS).log2(),
            false => PRINT_DIFFERS.log2(),
        };
        let width = |part| decode.layout.part_width(part);
        let mut bits = 0.0;
        if let (Some(noted), Some(site)) = (&self.site, decode.site()) {
            bits += matched(width(Part::Site), same_number(noted, &site.to_string()));
        }
        if let (Some(agrees), Some(_)) = (self.print_agrees(decode), decode.card()) {
            bits += matched(width(Part::Card), agrees);
        }
        bits
    }

    /// The whole number noted or printed, decimal or hexadecimal.
    pub(super) fn number(&self) -> Option<u128> {
        let text = self.card.as_ref().or(self.printed.as_ref())?;
        if let Some(number) = hexadecimal(text).filter(|_| !lettered(text)) {
            return Some(number);
        }
        let groups = text.split(|c: char| !c.is_ascii_digit()).filter(|g| !g.is_empty());
        groups.max_by_key(|group| group.len()).and_then(|group| group.parse().ok())
    }

    /// Whether the noted card number, or the print, is that of the decode;
    /// `None` where neither is known. A print follows the layout's rule for
    /// prints; a noted number may be the card's or the one printed.
    pub fn print_agrees(&self, decode: &Decode<'_>) -> Option<bool> {
        let number = decode.card()?.to_string();
        let card = match decode.layout.print_rule().as_is() {
            true => number.clone(),
            false => decode.printed().map_or_else(String::new, |printed| printed.to_string()),
        };
        if let Some(noted) = &self.card {
            return Some(same_number(noted, &number) || same_number(noted, &card));
        }
        let printed = self.printed.as_ref()?;
        if let Some(hexadecimal) = hexadecimal(printed) {
            let same = same_number(&hexadecimal.to_string(), &card);
            if same || !lettered(printed) {
                return Some(same);
            }
        }
        let mut groups = printed.split(|c: char| !c.is_ascii_digit()).filter(|g| !g.is_empty());
        let last = groups.clone().next_back()?;
        let whole = groups.any(|g| g.len() >= WHOLE_NUMBER_DIGITS && same_number(g, &card));
        Some(whole || same_number(last, &card))
    }
}

/// The card numbers a print may stand for: a hexadecimal one, or its last group
/// of digits, or a group that is long enough for a whole number. Where a letter may be
/// a mark as well as a digit, both.
pub(crate) fn print_numbers(printed: &str) -> Vec<u128> {
    let hexadecimal = hexadecimal(printed);
    if let Some(number) = hexadecimal.filter(|_| !lettered(printed)) {
        return vec![number];
    }
    let groups = printed.split(|c: char| !c.is_ascii_digit()).filter(|g| !g.is_empty());
    let groups: Vec<&str> = groups.collect();
    let last = groups.last().copied();
    let whole = groups.iter().copied().rev().skip(1).filter(|g| g.len() >= WHOLE_NUMBER_DIGITS);
    let decimal = last.into_iter().chain(whole).filter_map(|group| group.parse().ok());
    hexadecimal.into_iter().chain(decimal).collect()
}

/// Whether the only letters of a print are one or two at one of its ends, as those of
/// a series or a revision are: "A04321", "04321 B".
fn lettered(printed: &str) -> bool {
    let letter = |c: char| c.is_ascii_alphabetic();
    let text = printed.trim();
    let (front, back) = (text.trim_start_matches(letter), text.trim_end_matches(letter));
    let rest = if front.len() < text.len() { front } else { back };
    let letters = text.len() - rest.len();
    (1..=2).contains(&letters) && !rest.contains(letter)
}

/// A print that is hexadecimal, such as "C4 7A 31 D2": no other letters, and
/// long enough to be no word.
fn hexadecimal(printed: &str) -> Option<u128> {
    let digits: String =
        printed.chars().filter(|c| !c.is_whitespace() && !":-".contains(*c)).collect();
    let letters = digits.bytes().any(|b| b.is_ascii_alphabetic());
    let numbers = digits.bytes().any(|b| b.is_ascii_digit());
    let plain = digits.bytes().all(|b| b.is_ascii_hexdigit());
    let whole = digits.len() >= WHOLE_NUMBER_DIGITS && letters && numbers && plain;
    u128::from_str_radix(&digits, 16).ok().filter(|_| whole)
}

/// Whether two texts are one number, leading zeros ignored.
pub(crate) fn same_number(a: &str, b: &str) -> bool {
    let digits = |text: &str| -> Option<String> {
        let text = text.trim();
        let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        plain.then(|| text.trim_start_matches('0').to_owned())
    };
    digits(a).is_some_and(|a| digits(b) == Some(a))
}

/// The cards a site owns, for one layout.
#[derive(Debug, Clone, Default)]
pub(super) struct Owned {
    /// (site, first card, last card), sorted.
    ranges: Vec<(u128, u128, u128)>,
    /// Words of the layout's site and card fields for each owned card.
    words_a_card: f64,
}

impl Owned {
    pub(super) fn of(layout: &Layout, site: &Site) -> Owned {
        let batches = site.batches.iter().filter(|batch| batch.layout == layout.id());
        let mut ranges: Vec<_> = batches.map(|b| (b.site.unwrap_or(0), b.first, b.last)).collect();
        ranges.sort_unstable();
        ranges.dedup();
        let cards: f64 = ranges.iter().map(|(_, first, last)| (last - first) as f64 + 1.0).sum();
        let width = |part| layout.part_width(part) as i32;
        let words = 2f64.powi(width(Part::Site) + width(Part::Card));
        Owned { words_a_card: if cards > 0.0 { words / cards } else { 0.0 }, ranges }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.ranges.is_empty()
    }

    /// How much better "a card of the site file" explains the numbers than a
    /// random card of the layout does; 0 outside its ranges.
    pub(super) fn likelihood(&self, decode: &Decode<'_>) -> f64 {
        if self.ranges.is_empty() {
            return 0.0;
        }
        let number = |value: Option<crate::layout::Value>| match value {
            None => Some(0),
            Some(value) => value.to_string().parse::<u128>().ok(),
        };
        let (Some(site), Some(card)) = (number(decode.site()), number(decode.card())) else {
            return 0.0;
        };
        if self.lists(site, card) { self.words_a_card } else { 0.0 }
    }

    /// Whether a card is in one of the ranges.
    pub(super) fn lists(&self, site: u128, card: u128) -> bool {
        self.ranges.iter().any(|(s, first, last)| *s == site && (*first..=*last).contains(&card))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_compared_without_leading_zeros() {
        assert!(same_number("0042", "42"));
        assert!(same_number("0", "000"));
        assert!(!same_number("42", "142"));
        assert!(!same_number("", "0"));
        assert!(!same_number("4a", "4"));
    }

    #[test]
    fn hexadecimal_prints_are_told_from_words() {
        assert_eq!(hexadecimal("C4 7A 31 D2"), Some(0xC47A_31D2));
        assert_eq!(hexadecimal("0004321"), None);
        assert_eq!(hexadecimal("facade"), None);
        assert_eq!(hexadecimal("rev B 4321"), None);
        // A letter at one end may be a series or a revision.
        for print in ["A04321", "04321A", "04321 B", "C-04321"] {
            assert!(lettered(print), "{print}");
            assert!(print_numbers(print).contains(&4321), "{print}");
        }
        assert!(!lettered("C4 7A 31 D2") && !lettered("04321"));
        assert_eq!(print_numbers("C47A31D2"), [0xC47A_31D2]);
    }
}
