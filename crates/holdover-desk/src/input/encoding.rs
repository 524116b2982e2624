//! Text that is not UTF-8: UTF-16 by its mark, and Windows-1252 by its bytes.

use std::borrow::Cow;

/// What to say of a file in UTF-16, and of one in Windows-1252.
pub const WIDE_READ: &str = "read as UTF-16 text";
pub const NARROW_READ: &str = "read as Windows-1252 text: it is no UTF-8";

/// The characters that bytes 0x80 to 0x9F are in Windows-1252; five are none
/// (the index of the Encoding Standard of WHATWG, windows-1252, from memory).
const HIGH: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}',
    '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

/// The text of a line: UTF-8, else Windows-1252, which every byte is.
pub fn text(bytes: &[u8]) -> Cow<'_, str> {
    let narrow = |byte: &u8| match byte {
        0x80..=0x9f => HIGH[usize::from(byte - 0x80)],
        byte => char::from(*byte),
    };
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().map(narrow).collect()),
    }
}

/// UTF-16 as it comes, block by block.
#[derive(Debug)]
pub struct Wide {
    big: bool,
    /// Bytes of a character that the last block began.
    left: Vec<u8>,
}

impl Wide {
    /// By the mark at the beginning of a file.
    pub fn of_mark(head: &[u8]) -> Option<Wide> {
        match head {
            [0xff, 0xfe, ..] => Some(Wide { big: false, left: Vec::new() }),
            [0xfe, 0xff, ..] => Some(Wide { big: true, left: Vec::new() }),
            _ => None,
        }
    }

    /// The text of one more block; what is no character is shown as one.
    pub fn text(&mut self, block: &[u8]) -> String {
        let mut bytes = std::mem::take(&mut self.left);
        bytes.extend_from_slice(block);
        let unit = |pair: &[u8]| match self.big {
            true => u16::from_be_bytes([pair[0], pair[1]]),
            false => u16::from_le_bytes([pair[0], pair[1]]),
        };
        let mut whole = bytes.len() / 2 * 2;
        // The first half of a pair waits for the second.
        let last = bytes[..whole].chunks_exact(2).next_back().map(unit);
        if last.is_some_and(|unit| (0xd800..0xdc00).contains(&unit)) {
            whole -= 2;
        }
        let units = bytes[..whole].chunks_exact(2).map(unit);
        let text = char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER));
        let text = text.collect();
        self.left = bytes[whole..].to_vec();
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Rust's own encoder of UTF-16.
    #[test]
    fn utf_16_comes_out_however_it_is_cut() {
        let text = "\u{feff}bits,holder\r\n0110,Zoë 🚪\r\n";
        for big in [false, true] {
            let units = text.encode_utf16();
            let bytes: Vec<u8> = units
                .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
                .collect();
            for size in 1..8 {
                let mut wide = Wide::of_mark(&bytes).unwrap();
                let read: String = bytes.chunks(size).map(|block| wide.text(block)).collect();
                assert_eq!(read, text);
            }
        }
    }

    #[test]
    fn bytes_that_are_no_utf_8_are_windows_1252() {
        assert_eq!(text(b"Zo\xeb \x80 5"), "Zoë € 5");
        assert_eq!(text("Zoë".as_bytes()), "Zoë");
    }
}
