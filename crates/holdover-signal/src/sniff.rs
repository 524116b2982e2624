//! What kind of probe file the first few kilobytes are of.

use serde::Serialize;

use crate::csv::{Layout, Look};
use crate::options::Options;

/// The kinds of probe files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum InputKind {
    /// A value-change dump, IEEE 1364-2005 clause 18.
    ValueChanges,
    /// A table with a row a change.
    CsvChanges,
    /// A table with a row a sample, at equal steps.
    CsvSamples,
}

/// Which kind of probe file begins with these bytes; `None`: none.
///
/// A few kilobytes are enough: a dump begins with a `$` keyword, a table with
/// rows of numbers of one count, a time or levels among them.
///
/// # Examples
/// ```
/// use holdover_signal::{InputKind, sniff};
/// assert_eq!(sniff(b"$timescale 1 us $end\n"), Some(InputKind::ValueChanges));
/// assert_eq!(sniff(b"time_us,D0,D1\n0,1,1\n1000,0,1\n"), Some(InputKind::CsvChanges));
/// assert_eq!(sniff(b"bits,site,card\n0110,1,2\n"), None);
/// ```
pub fn sniff(bytes: &[u8]) -> Option<InputKind> {
    if is_dump(bytes) {
        return Some(InputKind::ValueChanges);
    }
    if looks_binary(bytes) {
        return None;
    }
    // The rate only matters once levels are timed.
    let options = Options { rate_hz: Some(1e6), ..Options::default() };
    let complete = !bytes.contains(&b'\n');
    let look = match Layout::look(bytes, complete, &options).ok()? {
        Look::More => Layout::look(bytes, true, &options).ok()?,
        look => look,
    };
    let Look::Yes(layout) = look else { return None };
    let timed = layout.time_column().is_some();
    // Without a time, only columns of levels are a table of samples.
    let lines = layout.names.iter().filter(|n| crate::lines::telling(n)).count();
    let numbered = layout.names.iter().all(|n| n.starts_with("column "));
    if !timed && lines < 2 && !numbered || foreign(&layout.names) {
        return None;
    }
    // Captures may stand in a table without a header, and are no times.
    if timed && numbered && bytes.split(|byte| *byte == b'\n').take(8).any(begins_with_capture) {
        return None;
    }
    Some(match layout.step {
        Some(_) => InputKind::CsvSamples,
        None => InputKind::CsvChanges,
    })
}

/// Headings of a table of captures or cards, which is no probe file.
fn foreign(names: &[String]) -> bool {
    ["bits", "card", "site", "printed", "layout", "holder"]
        .iter()
        .any(|word| names.iter().any(|n| n.trim().eq_ignore_ascii_case(word)))
}

/// Whether a row's first cell is a capture: as a time it would be years away, or
/// begin with zeros.
fn begins_with_capture(row: &[u8]) -> bool {
    let cell = row.split(|byte| b",;\t".contains(byte)).next().unwrap_or_default().trim_ascii();
    cell.len() >= 16 && cell.iter().all(|byte| b"01".contains(byte))
}

/// Whether the first word is a dump's.
pub(crate) fn is_dump(bytes: &[u8]) -> bool {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let word = bytes.trim_ascii_start();
    match word {
        [b'$', first, ..] => first.is_ascii_lowercase(),
        _ => false,
    }
}

/// Bytes that tell text from other data; zeros further on are damage in a text,
/// and what comes before them is read (judgement, no source).
const FRONT: usize = 256;

/// Whether a file that begins so is no text: a zero byte, or many that print
/// nothing.
pub(crate) fn looks_binary(bytes: &[u8]) -> bool {
    let bytes = &bytes[..bytes.len().min(FRONT)];
    let control = |b: &&u8| **b < b' ' && !b"\t\n\r\x0b\x0c".contains(b) || **b == 0x7F;
    let odd = bytes.iter().filter(control).count();
    bytes.contains(&0) || odd * 20 > bytes.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contents_tell_the_kind() {
        let samples: String = (0..20).map(|i| format!("{}.0,1,{}\n", i * 10, i % 2)).collect();
        for (text, kind) in [
            ("\n  $date x $end", Some(InputKind::ValueChanges)),
            ("$comment hi $end\n", Some(InputKind::ValueChanges)),
            ("time_us,D0,D1\n0,1,1\n1000,0,1\n1050,1,1\n", Some(InputKind::CsvChanges)),
            (&format!("Time [us],D0,D1\n{samples}"), Some(InputKind::CsvSamples)),
            ("D0,D1\n1,1\n1,1\n1,0\n", Some(InputKind::CsvSamples)),
            ("sample,D0,D1\n0,1,1\n1,1,0\n2,1,1\n", Some(InputKind::CsvSamples)),
            ("0110\n1010\n", None),
            ("12 cards\n10100000100010000111000011,4321\n10100000100010000111000101,4322\n", None),
            ("12 cards\n10100000100010000111000011,65,1\n10100000100010000111000101,65,0\n", None),
            ("bits\n0110\n", None),
            ("layout,site,card\nstd26,65,4321\n", None),
            ("", None),
            ("hello", None),
            ("\0\u{1}\u{2}\u{3}", None),
        ] {
            assert_eq!(sniff(text.as_bytes()), kind, "{text}");
        }
    }
}
