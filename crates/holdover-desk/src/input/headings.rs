//! What columns are called, and what was meant by a heading that is close.

use crate::plain::plain;

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    Bits,
    Site,
    Card,
    Printed,
    Reader,
    Unsure,
    State,
}

/// Headings a column goes by, in small letters, words joined by one space.
/// Names beside the first are common practice, no source.
pub const HEADINGS: [(Column, &[&str]); 7] = [
    (Column::Bits, &["bits", "bit", "raw", "raw bits", "capture", "wiegand", "binary"]),
    (Column::Site, &["site", "site code", "facility code", "facility", "company code", "fc"]),
    (Column::Card, &["card", "card no", "card number", "card num", "id number", "number"]),
    (Column::Printed, &["printed", "print", "printed number"]),
    (Column::Reader, &["reader", "reader name"]),
    (Column::Unsure, &["unsure"]),
    (
        Column::State,
        &["state", "status", "card state", "card status", "credential state", "credential status"],
    ),
];

/// Headings of rosters alone: the layout, and who holds the card.
pub const OWN: [&str; 4] = ["layout", "holder", "name", "person"];

/// What a roster's own columns are for, beside those of captures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Own {
    Layout,
    Holder,
}

/// What a heading of a roster alone means.
pub fn own_column(heading: &str) -> Option<Own> {
    match heading.trim().to_lowercase().as_str() {
        "layout" => Some(Own::Layout),
        "holder" | "name" | "person" => Some(Own::Holder),
        _ => None,
    }
}

/// Whether a column says who holds a card.
pub fn is_holder(heading: &str) -> bool {
    own_column(heading) == Some(Own::Holder)
}

/// A heading in small letters, words joined by one space, full stops left out.
pub fn normal(heading: &str) -> String {
    let spaced = heading.trim().to_lowercase().replace(['_', '-', '.'], " ");
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What a heading means to a sheet of captures.
pub fn column_of(heading: &str) -> Option<Column> {
    let name = normal(heading);
    HEADINGS.iter().find(|(_, names)| names.contains(&name.as_str())).map(|(column, _)| *column)
}

/// Headings shorter than this have too many neighbours to guess by.
const SHORTEST: usize = 4;

/// A heading that is close to a known one, and that one. Typing errors are
/// rarely in the first letter: without that, "member" would be "number"
/// (judgement, no source).
fn nearest<'k>(heading: &str, own: &[&'k str]) -> Option<&'k str> {
    let heading = normal(heading);
    let count = heading.chars().count();
    if !(SHORTEST..=64).contains(&count) {
        return None;
    }
    let slips = if count < 8 { 1 } else { 2 };
    let known = HEADINGS.iter().flat_map(|(_, names)| names.iter().copied());
    own.iter()
        .copied()
        .chain(known)
        .filter(|name| name.len() >= SHORTEST && name.get(..1) == heading.get(..1))
        .map(|name| (strsim::damerau_levenshtein(&heading, name), name))
        .filter(|(distance, _)| (1..=slips).contains(distance))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// The first of some unknown headings that is close to a known one, or to one
/// of the sheet's `own`.
pub fn meant<'h, 'k>(
    strangers: impl IntoIterator<Item = &'h str>,
    own: &[&'k str],
) -> Option<(String, &'k str)> {
    strangers
        .into_iter()
        .find_map(|heading| nearest(heading, own).map(|near| (plain(heading.trim()), near)))
}

/// What mends a heading that cannot be mapped.
pub fn rename(_: &str, _: &str) -> String {
    "Then rename it".to_owned()
}

/// What mends a heading that is close to a known one.
pub fn map_or_rename(heading: &str, near: &str) -> String {
    format!("Then add --column \"{heading}={near}\", or rename it")
}

/// A note on each unknown heading that is close to a known one: it is not
/// taken for that, since a guess at a column is a guess at every card.
/// `mend` says how to say that it is meant.
pub fn near<'h>(
    strangers: impl IntoIterator<Item = &'h str>,
    own: &[&str],
    mend: impl Fn(&str, &str) -> String,
) -> Vec<String> {
    let note = |heading: &'h str| {
        let near = nearest(heading, own)?;
        let heading = plain(heading.trim());
        let mend = mend(&heading, near);
        Some(format!("the column {heading:?} is not read: did you mean {near:?}? {mend}"))
    };
    strangers.into_iter().filter_map(note).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_seen_and_other_words_left_alone() {
        let own = ["holder", "state"];
        for (slip, meant) in [
            ("fasility code", "facility code"),
            ("priinted", "printed"),
            ("crad", "card"),
            ("Card_Nr", "card no"),
            ("holdr", "holder"),
        ] {
            assert_eq!(nearest(slip, &own), Some(meant), "{slip}");
        }
        for other in ["member", "building", "door", "note", "date", "fx", "card type", "ärger"] {
            assert_eq!(nearest(other, &own), None, "{other}");
        }
    }
}
