//! What had to be assumed of a roster's rows, the same of several rows said
//! once, with the first lines and the count.

use std::collections::BTreeMap;

use crate::formats::{FIRST, first};
use crate::mask::Shown;

/// Something to say of rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Note {
    /// Rows taken as a layout that is not sure.
    Unsure { layout: String, lines: Vec<usize> },
    /// Rows that several layouts explain, all taken as one of them; the others
    /// with the site codes the rows would have there.
    OneKind { layout: String, others: Vec<(String, usize)>, lines: Vec<usize> },
    /// A row whose number is not the one its bits say: which, and both.
    Told { line: usize, what: &'static str, told: String, read: String },
}

/// Notes as people read them, by line.
pub fn said(notes: &[Note], shown: &Shown) -> Vec<String> {
    let mut out: Vec<(usize, String)> = Vec::new();
    let mut unsure: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut told: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for note in notes {
        match note {
            Note::Unsure { layout, lines } => unsure.entry(layout).or_default().extend(lines),
            Note::OneKind { layout, others, lines } => {
                out.push((lines[0], one_kind(layout, others, lines)));
            }
            Note::Told { line, what, told: card, read } => {
                let lines = told.entry(what).or_default();
                lines.push(*line);
                if lines.len() <= FIRST {
                    let (card, read) = match *what {
                        "site" => (card.clone(), read.clone()),
                        _ => (shown.print(card).to_owned(), shown.number(read)),
                    };
                    let text = format!(
                        "line {line}: the row says {what} {card}, its bits say {read}, and the \
                         bits are taken: read the card again"
                    );
                    out.push((*line, text));
                }
            }
        }
    }
    for (layout, mut lines) in unsure {
        lines.sort_unstable();
        let text = format!(
            "{}: taken as {layout}, which is not sure: name the layout in a column \"layout\", or \
             read more cards of its kind",
            first(&lines)
        );
        out.push((lines[0], text));
    }
    for (what, lines) in told.into_iter().filter(|(_, lines)| lines.len() > FIRST) {
        let more = &lines[FIRST..];
        let text = format!("{}: another {what} than their bits say, too", first(more));
        out.push((more[0], text));
    }
    out.sort();
    out.into_iter().map(|(_, text)| text).collect()
}

fn one_kind(layout: &str, others: &[(String, usize)], lines: &[usize]) -> String {
    let codes = |(id, codes): &(String, usize)| match codes {
        0 => format!("{id} as well"),
        1 => format!("{id} as well, of 1 site code"),
        codes => format!("{id} as well, of {codes} site codes"),
    };
    let others: Vec<String> = others.iter().map(codes).collect();
    format!(
        "{} are of one kind, and all taken as {layout}: they could be {}; if that is what they are, \
         name it in a column \"layout\"",
        first(lines),
        others.join(", or ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Shown = Shown { mask: false, mark: String::new() };

    #[test]
    fn the_same_is_said_once() {
        let unsure = |line| Note::Unsure { layout: "std26".to_owned(), lines: vec![line] };
        let notes: Vec<Note> = [9, 2, 5, 12, 20].into_iter().map(unsure).collect();
        let said = said(&notes, &PLAIN);
        assert_eq!(said.len(), 1);
        assert!(said[0].starts_with("lines 2, 5, 9 and 2 more: taken as std26"), "{said:?}");
        assert_eq!(first(&[4]), "line 4");
        assert_eq!(first(&[4, 7]), "lines 4 and 7");
        assert_eq!(first(&[4, 7, 9]), "lines 4, 7 and 9");
    }

    #[test]
    fn card_numbers_are_hidden_and_lines_are_not() {
        let told = |what, card: &str| Note::Told {
            line: 1234,
            what,
            told: card.to_owned(),
            read: "04805".to_owned(),
        };
        let shown = &Shown { mask: true, mark: String::new() };
        let text = said(&[told("card", "04801")], shown).join("");
        assert!(text.starts_with("line 1234: the row says card ***, its bits say ***05"));
    }
}
