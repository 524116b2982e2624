//! Hiding card numbers: the last two digits stay.

use holdover::bits::Wide;
use holdover::layout::{Check, Field, Layout, Part, Value};

/// What stands for a hidden digit or bit.
pub const HIDDEN: char = '*';

/// Digits that stay.
const KEPT: usize = 2;

/// A number with all but its last two digits hidden; padded first to `width`
/// digits, so that its size shows nothing either.
pub fn number(value: &Value, width: usize) -> String {
    digits(&format!("{:0>width$}", value.to_string()))
}

fn digits(text: &str) -> String {
    let hidden = text.chars().count().saturating_sub(KEPT);
    text.chars().enumerate().map(|(i, c)| if i < hidden { HIDDEN } else { c }).collect()
}

/// A field's value as masked output shows it: site codes stay, the rest goes.
pub fn field(field: &Field, value: &Value) -> Option<String> {
    (!field.belongs_to(Part::Site)).then(|| number(value, field.decimal_width()))
}

/// A text of the technician's own: numbers in it are hidden like card numbers.
pub fn text(text: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    for c in text.chars().chain(['\0']) {
        if c.is_ascii_hexdigit() {
            run.push(c);
            continue;
        }
        // Words of letters alone are no numbers.
        match run.bytes().any(|b| b.is_ascii_digit()) {
            true => out.push_str(&digits(&run)),
            false => out.push_str(&run),
        }
        run.clear();
        out.push(c);
    }
    out.pop();
    out
}

/// What to do about a conflict, with numbers and prints hidden.
pub fn advice(text: &str) -> String {
    self::text(&prints(text))
}

/// The same, the prints alone hidden: an advice has them in brackets, "(M. Loom,
/// print C4 7A 31 D2)".
pub fn prints(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(PRINT) {
        let (own, after) = after.split_at(after.find(')').unwrap_or(after.len()));
        out = out + before + PRINT + &print(own);
        rest = after;
    }
    out + rest
}

/// What stands before a print in an advice.
const PRINT: &str = "print ";

/// A sentence of ours: numbers that stand alone are hidden like card numbers;
/// counts of two digits and names such as `found30` stay.
pub fn standing(text: &str) -> String {
    let part_of_name = |c: char| c.is_alphanumeric() || c == '_';
    text.split_inclusive(|c| !part_of_name(c))
        .map(|piece| {
            let word = piece.trim_end_matches(|c| !part_of_name(c));
            match !word.is_empty() && word.bytes().all(|b| b.is_ascii_digit()) {
                true => digits(word) + &piece[word.len()..],
                false => piece.to_owned(),
            }
        })
        .collect()
}

/// Bits that may be shown where card numbers are hidden: those of site codes
/// and fixed values that no other field reads. A parity bit speaks of the bits
/// it covers, so it is hidden with them.
pub fn open_bits(layout: &Layout) -> Wide {
    let (mut open, mut secret) = (Wide::ZERO, Wide::ZERO);
    for field in layout.fields() {
        match field.belongs_to(Part::Site) {
            true => open = open | field.span.mask(),
            false => secret = secret | field.span.mask(),
        }
    }
    for check in layout.checks() {
        if let Check::Fixed { span, .. } = check {
            open = open | span.mask();
        }
    }
    open & !secret
}

/// What is printed on a card: all but its last two letters and digits hidden,
/// whatever parts them.
pub fn print(text: &str) -> String {
    let count = text.chars().filter(|c| c.is_alphanumeric()).count();
    let mut seen = 0;
    text.chars()
        .map(|c| {
            seen += usize::from(c.is_alphanumeric());
            if c.is_alphanumeric() && seen + KEPT <= count { HIDDEN } else { c }
        })
        .collect()
}

/// Bits, all hidden.
pub fn bits(len: usize) -> String {
    HIDDEN.to_string().repeat(len)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_stay() {
        assert_eq!(number(&Value::Number(4321), 5), "***21");
        assert_eq!(number(&Value::Number(7), 5), "***07");
        assert_eq!(text("loft 3, card 0004321 blue"), "loft 3, card *****21 blue");
        assert_eq!(text("0x1A2B3C"), "0x****3C");
        assert_eq!(
            standing("line 5: taken as found30, card 04017; 4000–4999"),
            "line 5: taken as found30, card ***17; **00–**99"
        );
        assert_eq!(print("C4 7A 31 D2"), "** ** ** D2");
        assert_eq!(
            advice("reissue lines 6 (E. Warper, print C4 7A 31 D2), 9 (print 04805)"),
            "reissue lines 6 (E. Warper, print ** ** ** D2), 9 (print ***05)"
        );
    }
}
