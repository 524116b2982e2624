//! Hexadecimal and decimal digits in a line.

use std::ops::Range;

use super::super::{CaptureError, CaptureErrorKind, CaptureText, Digits};
use super::count::{Count, Kind, counts};
use super::stamp;
use super::words::Word;
use super::{Found, FoundNote, What, taken};

/// Digits that bare hexadecimal and decimal need to be no small number of
/// something else; fewer than 20 bits are no card. In a cell of captures, fewer do.
const HEXADECIMAL: usize = 6;
const DECIMAL: usize = 6;
const IN_CELL: usize = 4;

/// Digits that hexadecimal needs that is marked `0x`.
const MARKED: usize = 5;

/// Bytes that a list of them has at least.
const BYTES: usize = 3;

/// Digits that are bits with a slip, where nearly all are 0 or 1: of a number drawn
/// at random one in a hundred million would be (16 digits, at most two others).
const SLIP_OF: usize = 16;

/// Digits in a line.
#[derive(Debug, Clone)]
struct Value {
    of: Range<usize>,
    /// Without marks and separators.
    text: String,
    sort: Sort,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sort {
    Hexadecimal,
    Decimal,
    Either,
}

/// The digits of a line, if all else in it speaks for them; `told` that the text
/// is a capture's.
pub(super) fn find(words: &[Word], told: bool) -> Result<Option<Found>, CaptureError> {
    let values = merged(values(words, told));
    let mut good = values.iter().filter_map(|value| {
        let count = explained(words, value, &values, told)?;
        Some((value, count))
    });
    let Some((value, count)) = good.next() else { return Ok(None) };
    if let Some((other, _)) = good.next() {
        let columns = [value, other].map(|value| words[value.of.start].column);
        return Err(CaptureErrorKind::Several { columns }.into());
    }
    let digits = value.text.len();
    let what = match value.sort {
        Sort::Hexadecimal => format!("{digits} hexadecimal digits"),
        Sort::Decimal | Sort::Either => format!("{digits} digits"),
    };
    if let Some(count) = count.filter(|_| value.sort != Sort::Decimal) {
        let read = format!("0x{}/{}", value.text, count.value).parse::<CaptureText>()?;
        let note = taken(words, value.of.clone(), what, None);
        let more = FoundNote::Taken {
            what: format!("{} bits by the count", count.value),
            column: words[count.at].column,
            count: None,
        };
        let notes = note.into_iter().chain([more]).chain(read.note.map(FoundNote::Text));
        return Ok(Some(Found {
            what: What::Bits(read.capture),
            notes: notes.collect(),
            short: 0,
        }));
    }
    let read = match value.sort {
        Sort::Hexadecimal => Digits::hexadecimal(&value.text),
        Sort::Decimal => Digits::decimal(&value.text),
        Sort::Either => Digits::either(&value.text),
    };
    let Some(read) = read else { return Err(CaptureErrorKind::TooManyBits.into()) };
    if let (Some(count), Sort::Decimal) = (count, value.sort) {
        let way = read.ways(count.value).into_iter().next();
        let Some(way) = way else {
            return Err(CaptureErrorKind::Surplus { digits, bits: count.value }.into());
        };
        let notes = taken(words, value.of.clone(), what, None).into_iter().collect();
        return Ok(Some(Found { what: What::Bits(way.capture), notes, short: 0 }));
    }
    let note = taken(words, value.of.clone(), what, None);
    let notes = note.into_iter().chain([FoundNote::NoCount]).collect();
    Ok(Some(Found { what: What::Digits(read), notes, short: 0 }))
}

/// A number that a spreadsheet made of digits: 1.2E+25.
pub(super) fn is_spreadsheet_number(text: &str) -> bool {
    let Some((number, exponent)) = text.split_once(['E', 'e']) else { return false };
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let number = number.replacen([',', '.'], "", 1);
    digits(&number) && exponent.strip_prefix('+').is_some_and(digits)
}

/// Digits with marks: `0x…`, `…h`, `16#…`; endings that C gives numbers are left out.
fn marked(text: &str) -> Option<String> {
    let text = text.trim_end_matches(['U', 'L', 'u', 'l']);
    let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    let hex = hex.or_else(|| {
        let body = text.strip_suffix(['h', 'H'])?;
        body.starts_with(|c: char| c.is_ascii_digit()).then_some(body)
    })?;
    let digits: String = hex.chars().filter(|c| *c != '_').collect();
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_hexdigit());
    plain.then_some(digits)
}

/// Bits with a slip: hardly any number has so many digits, and nearly all 0 or 1.
fn mistyped(text: &str) -> bool {
    let text = text.trim_start_matches('0');
    let others = text.bytes().filter(|b| !b"01".contains(b)).count();
    text.len() >= SLIP_OF && 8 * others <= text.len()
}

fn is_hexadecimal(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_hexdigit()) && text.bytes().any(|b| b.is_ascii_digit())
}

fn values(words: &[Word], told: bool) -> Vec<Value> {
    let mut values = Vec::new();
    let mut at = 0;
    while at < words.len() {
        let value = listed(words, at).or_else(|| single(words, at, told));
        at = value.as_ref().map_or(at + 1, |value| value.of.end);
        values.extend(value);
    }
    values
}

/// Bytes or words, one after the other, with the same gap between them.
fn listed(words: &[Word], from: usize) -> Option<Value> {
    let digits = |word: &Word| match marked(&word.text) {
        Some(digits) => Some((digits, true)),
        None => {
            let plain = word.text.bytes().all(|b| b.is_ascii_hexdigit());
            plain.then(|| (word.text.clone(), false))
        }
    };
    let (first, mark) = digits(&words[from])?;
    let mut parts = vec![first];
    let mut gap: Option<String> = None;
    let mut at = from + 1;
    while let Some(word) = words.get(at) {
        // A list may go over a line's indent.
        let own = word.gap.trim().to_owned();
        let joins = matches!(own.as_str(), "" | "," | ":" | "-" | ";") && word.gap.len() <= 3;
        let Some((part, marks)) = digits(word).filter(|_| joins) else { break };
        if marks != mark || *gap.get_or_insert_with(|| own.clone()) != own {
            break;
        }
        parts.push(part);
        at += 1;
    }
    let widths: Vec<usize> = parts.iter().map(String::len).collect();
    let bytes = parts.len() >= BYTES && widths.iter().all(|w| *w <= 2) && widths.contains(&2);
    // 8-4-4-4-12 (RFC 9562).
    let uuid = widths == [8, 4, 4, 4, 12] && gap.as_deref() == Some("-");
    let groups =
        parts.len() >= 2 && [4, 8].contains(&widths[0]) && widths.iter().all(|w| *w == widths[0]);
    let shown = mark || parts.iter().any(|part| part.bytes().any(|b| b.is_ascii_digit()));
    if !(bytes || uuid || groups && shown) || gap.as_deref() == Some(";") && !bytes {
        return None;
    }
    let text: String = match bytes {
        true => parts.iter().map(|part| format!("{part:0>2}")).collect(),
        false => parts.concat(),
    };
    let small = text.len() <= super::super::Capture::MAX_BITS / 4;
    small.then_some(Value { of: from..at, text, sort: Sort::Hexadecimal })
}

fn single(words: &[Word], at: usize, told: bool) -> Option<Value> {
    let word = &words[at];
    let of = at..at + 1;
    if let Some(text) = marked(&word.text) {
        let alone = words.len() == 1;
        return (text.len() >= MARKED || alone || told).then_some(Value {
            of,
            text,
            sort: Sort::Hexadecimal,
        });
    }
    let text = word.text.clone();
    let named = |names: &[&str]| {
        let before = at.checked_sub(1).map(|at| words[at].text.to_ascii_lowercase());
        before.is_some_and(|before| names.contains(&before.as_str()))
    };
    let least = |usual: usize| if told { IN_CELL } else { usual };
    if mistyped(&text) || word.is_binary() {
        return None;
    }
    if word.number().is_some() {
        let date = stamp::is_date(&text.chars().collect::<Vec<_>>()) && !named(&["hex", "raw"]);
        let sort = match (named(&["hex", "hexadecimal", "uid"]), named(&["dec", "decimal"])) {
            (true, _) => Sort::Hexadecimal,
            (_, true) => Sort::Decimal,
            _ => Sort::Either,
        };
        return (text.len() >= least(DECIMAL) && !date).then_some(Value { of, text, sort });
    }
    let hex = is_hexadecimal(&text) && text.len() >= least(HEXADECIMAL);
    hex.then_some(Value { of, text, sort: Sort::Hexadecimal })
}

/// A number printed in both ways is one: the hexadecimal digits say more.
fn merged(values: Vec<Value>) -> Vec<Value> {
    let number = |value: &Value| match value.sort {
        Sort::Hexadecimal => u128::from_str_radix(&value.text, 16).ok(),
        Sort::Decimal | Sort::Either => value.text.parse().ok(),
    };
    let same = |value: &Value, kept: &Value| {
        kept.sort == Sort::Hexadecimal && number(kept).is_some() && number(kept) == number(value)
    };
    let keeps = |value: &Value| {
        value.sort == Sort::Hexadecimal || !values.iter().any(|other| same(value, other))
    };
    values.iter().filter(|value| keeps(value)).cloned().collect()
}

/// Whether everything else in the line speaks for these digits, or at least not
/// against them; with the count of their bits, if there is one.
fn explained(words: &[Word], value: &Value, values: &[Value], told: bool) -> Option<Option<Count>> {
    let counts = counts(words, &value.of);
    let fits = |count: &Count| {
        let held = 4 * value.text.len();
        // Digits of a number whose zeros were dropped hold fewer.
        count.value >= 8
            && count.value <= held + 32
            && (value.sort != Sort::Hexadecimal || count.value + 40 > held)
    };
    let named = counts.iter().copied().find(|count| count.kind > Kind::Bare && fits(count));
    let beside = |count: &Count| count.at + 1 == value.of.start || count.at == value.of.end;
    let whole = |count: &Count| count.value >= 20 && 4 * value.text.len() >= count.value;
    let bare = counts.iter().copied().find(|count| beside(count) && whole(count) && fits(count));
    let count = named.or(bare);
    let mut card = told;
    let mut others = false;
    for (at, word) in words.iter().enumerate() {
        let ours = value.of.contains(&at) || count.is_some_and(|count| count.at == at);
        // The same number, printed in the other way.
        let again = word.number().is_some()
            && word.text.len() >= DECIMAL
            && !values.iter().any(|value| value.of.contains(&at));
        if ours || again {
            continue;
        }
        if word.number().is_some() || word.bits().is_some() {
            // The number of a line, of a door, of a channel.
            let small = word.text.len() <= 3 && word.number().is_some();
            let after_word = at.checked_sub(1).is_some_and(|at| words[at].is_word());
            let index = at == 0 && !word.after.trim().is_empty();
            if !(small && (after_word || index)) {
                return None;
            }
            continue;
        }
        if !word.is_known() {
            return None;
        }
        card |= word.is_card();
        others = true;
    }
    let prices = |c: char| "$€£¥%°+~@/\\=?&".contains(c);
    let first = &words[value.of.start];
    let after = words[value.of.end - 1].after.as_str();
    // "28221C3/26", as after 0x.
    let slashed = after == "/" && count.is_some_and(|count| count.at == value.of.end);
    let around = first.gap.chars().rev().take(2).any(|c| prices(c) && c != '=' && c != '/')
        || after.starts_with(['.', '%', '°', '€', '$', '/', '@']) && !slashed;
    // A number in front of a date, an address or a rule is the time in seconds.
    let closes = |c: char| c.is_whitespace() || "\"'`)]}>|,;:!".contains(c);
    let last = value.of.end == words.len();
    let closed = card || !after.contains(stamp::MARK) && (!last || after.chars().all(closes));
    let marked_count = count.is_some_and(|count| count.kind > Kind::Bare);
    let free = !others || card || marked_count;
    (free && closed && !around).then_some(count)
}
