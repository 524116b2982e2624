//! What is printed on a card, as numbers: every group of digits, decimal or
//! hexadecimal, is one reading of the print. Which of them the card carries is
//! for the captures to say.

use super::Given;

/// One way to read a number off each card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    /// The column for the card number; hexadecimal or not.
    Card { hex: bool },
    /// The column for the site code; hexadecimal or not.
    Site { hex: bool },
    /// A column of the old system's list.
    Listed { column: usize },
    /// A group of digits of the print, counted from its end.
    Group { from_end: usize, hex: bool },
    /// All digits of the print, what separates them left out.
    Joined { hex: bool },
    /// The last digits of the print's last group.
    Tail { digits: usize },
    /// All but the last digits of the print's last group.
    Head { without: usize },
}

impl What {
    /// Whether the digits are taken as hexadecimal.
    pub(super) fn hex(self) -> bool {
        match self {
            What::Card { hex } | What::Site { hex } | What::Joined { hex } => hex,
            What::Group { hex, .. } => hex,
            What::Tail { .. } | What::Head { .. } | What::Listed { .. } => false,
        }
    }

    /// In words, to follow "the card number is …".
    pub(super) fn text(self) -> String {
        let base = |hex| if hex { ", hexadecimal" } else { "" };
        match self {
            What::Card { hex } => format!("the card column{}", base(hex)),
            What::Site { hex } => format!("the site column{}", base(hex)),
            What::Listed { column } => format!("column {} of the list", column + 1),
            What::Group { from_end: 0, hex } => format!("the last number printed{}", base(hex)),
            What::Group { from_end, hex } => {
                format!("printed number {} from the end{}", from_end + 1, base(hex))
            }
            What::Joined { hex } => format!("all digits printed, joined{}", base(hex)),
            What::Tail { digits } => format!("the last {digits} digits printed"),
            What::Head { without } => format!("the digits printed before the last {without}"),
        }
    }
}

/// A number read off each sample, where there is one.
#[derive(Debug, Clone)]
pub(super) struct Facet {
    pub(super) what: What,
    pub(super) values: Vec<Option<u128>>,
    /// Digits it is printed with, where that is the same on all cards and some
    /// number has leading zeros.
    pub(super) padded: Option<usize>,
}

impl Facet {
    /// How many different numbers `rows` have, counted up to `most`.
    pub(super) fn distinct(&self, rows: impl Iterator<Item = usize>, most: usize) -> usize {
        let mut seen = std::collections::HashSet::new();
        rows.filter_map(|row| self.values[row]).find(|value| {
            seen.insert(*value);
            seen.len() >= most
        });
        seen.len()
    }
}

/// Of a print, only so many characters from its end are read: a number a card
/// can carry has at most 39 digits (judgement, no source).
const PRINT_READ: usize = 160;

/// Groups of digits read from the end of a print (judgement, no source).
const GROUPS: usize = 4;

/// The readings of the prints and columns, likeliest first; those that say the
/// same as one before are left out.
pub(super) fn facets(samples: &[Given<'_>]) -> Vec<Facet> {
    let mut facets: Vec<Facet> = Vec::new();
    for hex in [false, true] {
        add(&mut facets, What::Card { hex }, samples, |s| whole(s.card.as_deref()?, hex));
    }
    let columns = samples.iter().map(|sample| sample.listed.len()).max().unwrap_or(0);
    for column in 0..columns {
        add(&mut facets, What::Listed { column }, samples, |s| {
            whole(&s.listed.get(column)?.number, false)
        });
    }
    for hex in [false, true] {
        let groups: Vec<Vec<&str>> = samples
            .iter()
            .map(|s| s.printed.as_deref().map_or(Vec::new(), |p| split(p, hex)))
            .collect();
        let most = groups.iter().map(Vec::len).max().unwrap_or(0);
        for from_end in 0..most.min(GROUPS) {
            let mut row = 0..;
            add(&mut facets, What::Group { from_end, hex }, samples, |_| {
                groups[row.next()?].iter().rev().nth(from_end).map(|g| (*g).to_owned())
            });
        }
        if most > 1 {
            let mut row = 0..;
            add(&mut facets, What::Joined { hex }, samples, |_| {
                let joined = groups[row.next()?].concat();
                (!joined.is_empty()).then_some(joined)
            });
        }
    }
    facets
}

/// The site codes in their column.
pub(super) fn site_columns(samples: &[Given<'_>]) -> Vec<Facet> {
    let mut facets = Vec::new();
    for hex in [false, true] {
        add(&mut facets, What::Site { hex }, samples, |s| whole(s.site.as_deref()?, hex));
    }
    facets
}

/// The last group of digits cut in two at every place, for prints whose site
/// code and card number nothing separates.
pub(super) fn cuts(samples: &[Given<'_>]) -> Vec<Facet> {
    let last: Vec<Option<&str>> = samples
        .iter()
        .map(|s| s.printed.as_deref().and_then(|p| split(p, false).last().copied()))
        .collect();
    let longest = last.iter().flatten().map(|g| g.len()).max().unwrap_or(0).min(39);
    let mut facets = Vec::new();
    for digits in (1..longest).rev() {
        let mut row = 0..;
        add(&mut facets, What::Tail { digits }, samples, |_| {
            let group = last[row.next()?]?;
            (group.len() > digits).then(|| group[group.len() - digits..].to_owned())
        });
        let mut row = 0..;
        add(&mut facets, What::Head { without: digits }, samples, |_| {
            let group = last[row.next()?]?;
            (group.len() > digits).then(|| group[..group.len() - digits].to_owned())
        });
    }
    facets
}

fn add(
    facets: &mut Vec<Facet>,
    what: What,
    samples: &[Given<'_>],
    mut digits: impl FnMut(&Given<'_>) -> Option<String>,
) {
    let hex = what.hex();
    let mut lengths = (usize::MAX, 0);
    let mut zeros = false;
    let values: Vec<Option<u128>> = samples
        .iter()
        .map(|sample| {
            let digits = digits(sample)?;
            lengths = (lengths.0.min(digits.len()), lengths.1.max(digits.len()));
            zeros |= digits.len() > 1 && digits.starts_with('0');
            u128::from_str_radix(&digits, if hex { 16 } else { 10 }).ok()
        })
        .collect();
    if values.iter().all(Option::is_none) || facets.iter().any(|before| before.values == values) {
        return;
    }
    let padded = (zeros && lengths.0 == lengths.1 && !hex).then_some(lengths.0);
    facets.push(Facet { what, values, padded });
}

/// A column that holds one number and nothing else.
fn whole(text: &str, hex: bool) -> Option<String> {
    let text = text.trim();
    let digits = match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) if hex => digits,
        Some(_) => return None,
        None => text,
    };
    let is = |b: u8| if hex { b.is_ascii_hexdigit() } else { b.is_ascii_digit() };
    (!digits.is_empty() && digits.len() <= 64 && digits.bytes().all(is)).then(|| digits.to_owned())
}

/// The groups of digits near the end of a print.
fn split(print: &str, hex: bool) -> Vec<&str> {
    let mut from = print.len().saturating_sub(PRINT_READ);
    while !print.is_char_boundary(from) {
        from += 1;
    }
    let is = |c: char| if hex { c.is_ascii_hexdigit() } else { c.is_ascii_digit() };
    print[from..].split(|c| !is(c)).filter(|group| !group.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::learn::Sample;

    fn given(samples: &[Sample]) -> Vec<Given<'_>> {
        samples.iter().enumerate().map(|(nth, sample)| Given { sample, nth }).collect()
    }

    fn sample(printed: &str) -> Sample {
        Sample { printed: Some(printed.to_owned()), ..Sample::new(1, "01".parse().unwrap()) }
    }

    #[test]
    fn groups_count_from_the_end() {
        let samples = [sample("0004259882 065,00042"), sample("0004259883 065,00043")];
        let refs = given(&samples);
        let facets = facets(&refs);
        let group = |from_end| {
            facets.iter().find(|f| f.what == What::Group { from_end, hex: false }).unwrap()
        };
        assert_eq!(group(0).values, [Some(42), Some(43)]);
        assert_eq!(group(0).padded, Some(5));
        assert_eq!(group(1).values, [Some(65), Some(65)]);
        assert_eq!(group(2).values, [Some(4_259_882), Some(4_259_883)]);
    }

    #[test]
    fn long_prints_are_read_from_the_end() {
        let samples = [sample(&("é".repeat(5000) + " 77"))];
        let refs = given(&samples);
        assert_eq!(facets(&refs)[0].values, [Some(77)]);
        let samples = [sample(&"9".repeat(10_000))];
        let refs = given(&samples);
        assert!(facets(&refs).is_empty());
    }
}
