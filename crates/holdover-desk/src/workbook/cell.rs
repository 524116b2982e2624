//! What a cell of a workbook says, as the text it stands for.
//!
//! A spreadsheet keeps numbers as binary floating point and shows at most 15
//! digits of them; it drops leading zeros, and makes dates of what looks like
//! one. Where that has spoilt a card's number the cell is refused.

use crate::input::headings::Column;

/// The largest number of 15 digits: what a spreadsheet keeps of a number.
/// Further digits become zeros when they are typed in (ISO/IEC 29500-1 leaves
/// it to the program; 15 digits are common practice, no source). It is below
/// 2^53, up to where a double holds every whole number (IEEE 754-2019, 3.6).
const MOST: f64 = 999_999_999_999_999.0;

/// How a user puts it right.
const AS_TEXT: &str = "format the column as text, then type the value again";

/// What a column is for, as far as it matters here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Means {
    /// Captures.
    Bits,
    /// Numbers of cards: site code, card number, print.
    Number,
    /// Anything else.
    Text,
}

impl Means {
    /// What a column of captures or of rosters is for.
    pub fn of(column: Option<Column>) -> Means {
        match column {
            Some(Column::Bits) => Means::Bits,
            Some(Column::Site | Column::Card | Column::Printed) => Means::Number,
            Some(Column::Reader | Column::Unsure | Column::State) | None => Means::Text,
        }
    }
}

/// What a cell holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// Text.
    Text(String),
    /// A number, as the file writes it.
    Number(String),
    /// A number shown as a date or a time.
    Date(String),
    /// True or false.
    Truth(bool),
    /// An error such as #REF!, of a formula.
    Error(String),
    /// A formula whose value was never worked out.
    Formula,
}

impl Told {
    /// Bytes of text.
    pub fn len(&self) -> usize {
        match self {
            Told::Text(text) | Told::Number(text) | Told::Date(text) | Told::Error(text) => {
                text.len()
            }
            Told::Truth(_) | Told::Formula => 5,
        }
    }

    /// The cell as a heading.
    pub fn shown(&self) -> String {
        self.text(Means::Text).unwrap_or_default()
    }

    /// The text the cell stands for in a column, or why it stands for none.
    pub fn text(&self, means: Means) -> Result<String, String> {
        match (self, means) {
            (Told::Text(text), _) => Ok(text.clone()),
            (Told::Number(number), Means::Bits) => Err(format!(
                "{number} is a number, and a number has no leading zeros and 15 digits at most: \
                 {AS_TEXT}"
            )),
            (Told::Number(number), Means::Number) => whole(number),
            (Told::Number(number), Means::Text) => Ok(whole(number).unwrap_or(number.clone())),
            (Told::Date(_), Means::Bits | Means::Number) => {
                Err(format!("the spreadsheet made a date of it: {AS_TEXT}"))
            }
            (Told::Date(days), Means::Text) => Ok(days.clone()),
            (Told::Truth(_), Means::Bits | Means::Number) => {
                Err(format!("true or false is no number: {AS_TEXT}"))
            }
            (Told::Truth(truth), Means::Text) => Ok(truth.to_string()),
            (Told::Error(error), Means::Bits | Means::Number) => {
                Err(format!("its formula ends in {error}: mend the formula, or type the value"))
            }
            (Told::Error(error), Means::Text) => Ok(error.clone()),
            (Told::Formula, _) => Err("its formula has no value yet: open the workbook in a \
                                       spreadsheet program and save it, or type the value"
                .to_owned()),
        }
    }
}

/// A whole number in digits, whatever the file writes: `4017.0`, `1.2E+4`.
fn whole(number: &str) -> Result<String, String> {
    let value: f64 =
        number.trim().parse().map_err(|_| format!("{number:?} is no number: {AS_TEXT}"))?;
    match value {
        v if !v.is_finite() || v.fract() != 0.0 => {
            Err(format!("{number} is no whole number: {AS_TEXT}"))
        }
        v if v.abs() > MOST => Err(format!(
            "{number} has more than 15 digits, of which a spreadsheet drops the last: {AS_TEXT}"
        )),
        v => Ok(format!("{v:.0}")),
    }
}

/// A cell's place as a spreadsheet names it: column from 0, row from 1.
pub fn place(column: usize, row: u64) -> String {
    let mut letters = Vec::new();
    let mut left = column + 1;
    while left > 0 {
        letters.push(b'A' + ((left - 1) % 26) as u8);
        left = (left - 1) / 26;
    }
    let letters: String = letters.iter().rev().map(|&b| char::from(b)).collect();
    format!("{letters}{row}")
}

/// Column from 0 and row from 1 of a place such as `AB12`.
pub fn parse_place(place: &str) -> Option<(usize, u64)> {
    let letters = place.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (letters, row) = place.split_at(letters);
    let row = row.parse().ok().filter(|row| (1..=MAX_ROWS).contains(row))?;
    let column = letters
        .bytes()
        .try_fold(0_usize, |sum, b| {
            let sum = sum * 26 + usize::from(b.to_ascii_uppercase() - b'A') + 1;
            (sum <= MAX_COLUMNS).then_some(sum)
        })?
        .checked_sub(1)?;
    Some((column, row))
}

/// Rows and columns a sheet can have (common practice of spreadsheets, no
/// clause).
pub const MAX_ROWS: u64 = 1 << 20;
pub const MAX_COLUMNS: usize = 1 << 14;

/// Whether a number format shows a date or a time (ISO/IEC 29500-1, 18.8.30:
/// the numbers of built-in formats, and the letters of a format code).
pub fn shows_date(id: u32, code: Option<&str>) -> bool {
    let Some(code) = code else {
        return matches!(id, 14..=22 | 27..=36 | 45..=47 | 50..=58);
    };
    let mut chars = code.chars();
    while let Some(c) = chars.next() {
        match c {
            '"' => _ = chars.find(|c| *c == '"'),
            '\\' | '_' | '*' => _ = chars.next(),
            // A colour or a condition; but [h] counts hours.
            '[' => {
                let inside: String = chars.by_ref().take_while(|c| *c != ']').collect();
                let first = inside.chars().next().map(|c| c.to_ascii_lowercase());
                let hours = inside.chars().all(|c| Some(c.to_ascii_lowercase()) == first);
                if hours && matches!(first, Some('h' | 'm' | 's')) {
                    return true;
                }
            }
            'd' | 'D' | 'm' | 'M' | 'y' | 'Y' | 'h' | 'H' | 's' | 'S' => return true,
            // "General" has letters and no date.
            'G' | 'g' => {
                let rest = chars.as_str();
                if rest.get(..6).is_some_and(|rest| rest.eq_ignore_ascii_case("eneral")) {
                    _ = chars.nth(5);
                }
            }
            _ => {}
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_read_back() {
        for (column, row, said) in [(0, 1, "A1"), (25, 2, "Z2"), (26, 3, "AA3"), (16383, 9, "XFD9")]
        {
            assert_eq!(place(column, row), said);
            assert_eq!(parse_place(said), Some((column, row)));
        }
        for wrong in ["", "A", "1", "A0", "XFE1", "A1048577", "ZZZZZZZZZZZZZZZZ1", "A-1"] {
            assert_eq!(parse_place(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn numbers_come_out_whole_or_not_at_all() {
        let number = |text: &str| Told::Number(text.to_owned()).text(Means::Number);
        assert_eq!(number("4017.0").as_deref(), Ok("4017"));
        assert_eq!(number("1.23457E+10").as_deref(), Ok("12345700000"));
        assert_eq!(number("999999999999999").as_deref(), Ok("999999999999999"));
        // 2^53 + 1 is no double: the file would say 2^53.
        for spoilt in ["9007199254740992", "1E15", "4017.5", "NaN", "1E400"] {
            assert!(number(spoilt).is_err(), "{spoilt}");
        }
        assert!(Told::Number("101".into()).text(Means::Bits).is_err());
    }

    #[test]
    fn dates_are_told_by_their_format() {
        // Codes of built-in formats: ISO/IEC 29500-1, 18.8.30.
        for (id, code) in [(14, None), (22, None), (164, Some("yyyy-mm-dd")), (165, Some("[h]:mm"))]
        {
            assert!(shows_date(id, code), "{id} {code:?}");
        }
        let none = [
            (0, None),
            (2, None),
            (49, None),
            (164, Some("General")),
            (165, Some("[Red]0.00")),
            (166, Some("00000")),
            (167, Some("0\" days\"")),
        ];
        for (id, code) in none {
            assert!(!shows_date(id, code), "{id} {code:?}");
        }
    }
}
