//! Captures as a column of text holds them.

use datafusion::arrow::array::{Array, ArrayRef, StringViewArray};
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::DataType;
use datafusion::common::cast::as_string_view_array;
use datafusion::error::Result;
use holdover::bits::{Capture, CaptureText, TextNote, Wide};

/// A capture, and what had to be assumed to read it.
pub struct Read {
    pub capture: Capture,
    pub assumed: Option<String>,
}

/// One row: as `holdover read` takes it, where it has a bit count.
///
/// # Errors
/// Why it is none, and how to mend it.
#[inline]
pub fn read(text: &str) -> std::result::Result<Read, String> {
    match plain(text.as_bytes()) {
        Some((word, length)) => {
            let capture = Capture::from_wide(Wide([word, 0, 0, 0]), length);
            Ok(Read { capture: capture.map_err(|error| error.to_string())?, assumed: None })
        }
        None => other(text),
    }
}

#[cold]
fn other(text: &str) -> std::result::Result<Read, String> {
    let CaptureText { capture, note } = text.parse().map_err(|error| format!("{error}"))?;
    match note {
        Some(TextNote::CountAssumed { .. }) => Err("no bit count is given: write 0x…/bits; \
                                                    `holdover read` says what it could be"
            .to_owned()),
        note => Ok(Read { capture, assumed: note.map(|note| note.to_string()) }),
    }
}

/// Up to 64 characters that are nothing but `0` and `1`, as a word, the first the
/// highest bit; eight at a time, whose lowest bits one product gathers.
#[inline]
fn plain(text: &[u8]) -> Option<(u64, usize)> {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const GATHER: u64 = 0x8040_2010_0804_0201;
    if text.is_empty() || text.len() > 64 {
        return None;
    }
    let mut word = 0;
    let mut shift = 64;
    for some in text.chunks(8) {
        let mut eight = [b'0'; 8];
        eight[..some.len()].copy_from_slice(some);
        let digits = u64::from_le_bytes(eight) ^ ZEROS;
        if digits & !0x0101_0101_0101_0101 != 0 {
            return None;
        }
        shift -= 8;
        word |= (digits.wrapping_mul(GATHER) >> 56) << shift;
    }
    Some((word, text.len()))
}

/// A column of text, whatever kind of text it was.
///
/// # Errors
/// It is no text.
pub fn column(array: &ArrayRef) -> Result<StringViewArray> {
    match array.data_type() {
        DataType::Utf8View => Ok(as_string_view_array(array)?.clone()),
        _ => Ok(as_string_view_array(&cast(array, &DataType::Utf8View)?)?.clone()),
    }
}

/// The text of a row; none where it is null.
#[inline]
pub fn at(column: &StringViewArray, row: usize) -> Option<&str> {
    column.is_valid(row).then(|| column.value(row))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the library's own parser reads them.
    #[test]
    fn plain_text_is_read_as_the_library_reads_it() {
        let mut rng = fastrand::Rng::with_seed(1);
        for length in 1..=70 {
            for _ in 0..50 {
                let text: String =
                    (0..length).map(|_| if rng.bool() { '1' } else { '0' }).collect();
                assert_eq!(read(&text).ok().unwrap().capture, text.parse().unwrap());
                let at = rng.usize(..length);
                let wrong = ["2", "x", "/", "\0", "ü"][rng.usize(..5)];
                let text = format!("{}{wrong}{}", &text[..at], &text[at + 1..]);
                assert!(read(&text).is_err(), "{text}");
            }
        }
        let same = ["1010 0000", "0x1A2B3C4/26", "0b", "", " 101"];
        for text in same {
            let ours = read(text).ok().map(|read| read.capture);
            assert_eq!(ours, text.parse::<Capture>().ok(), "{text}");
        }
        assert!(read("0x1A2B").err().unwrap().contains("no bit count"));
        assert!(read(&"1".repeat(300)).is_err());
    }
}
