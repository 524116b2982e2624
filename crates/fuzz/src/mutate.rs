//! New inputs from old ones, without a fuzzer's feedback.

use fastrand::Rng;

/// Longest input that is made.
const MOST: usize = 1 << 14;

/// Pieces that the formats are made of, and numbers at their edges.
const PIECES: [&str; 44] = [
    "0",
    "1",
    "-",
    ",",
    "\n",
    "\r\n",
    "\"",
    "\"\"",
    "#",
    "=",
    "[",
    "]",
    "{",
    "}",
    ":",
    ";",
    "/",
    "0x",
    "256",
    "257",
    "65536",
    "-1",
    "1e9",
    "99999999999999999999",
    "340282366920938463463374607431768211456",
    "[[layout]]\n",
    "[[layout.check]]\n",
    "kind = \"odd\"\n",
    "kind = \"lrc\"\n",
    "code = \"bcd5\"\n",
    "span = \"1-8\"\n",
    "[panel]\n",
    "[[batch]]\n",
    "null",
    "true",
    "\u{feff}",
    "\u{202e}",
    "\0",
    "é",
    "$var wire 1 ! D0 $end\n",
    "$end\n",
    "#100\n",
    "b101 !\n",
    "std26",
];

/// Changes an input in one to four places; `others` lend parts of theirs.
pub fn mutated(rng: &mut Rng, input: &[u8], others: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = input.to_vec();
    for _ in 0..rng.usize(1..=4) {
        let at = rng.usize(..=bytes.len());
        let end = (at + rng.usize(1..=24)).min(bytes.len());
        match rng.u8(..9) {
            0 if at < bytes.len() => bytes[at] = rng.u8(..),
            1 if at < bytes.len() => bytes[at] ^= 1 << rng.u8(..8),
            2 => _ = bytes.drain(at..end),
            3 => _ = bytes.splice(at..at, [rng.u8(..)]),
            4 => {
                let piece = PIECES[rng.usize(..PIECES.len())];
                _ = bytes.splice(at..at, piece.bytes());
            }
            5 => {
                let part = bytes[at..end].to_vec();
                let to = rng.usize(..=bytes.len());
                _ = bytes.splice(to..to, part);
            }
            6 => {
                // A line once more, or gone.
                let start = bytes[..at].iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
                let stop = bytes[at..].iter().position(|b| *b == b'\n');
                let line = bytes[start..stop.map_or(bytes.len(), |i| at + i + 1)].to_vec();
                match rng.bool() {
                    true => _ = bytes.splice(start..start, line),
                    false => _ = bytes.drain(start..start + line.len()),
                }
            }
            7 if !others.is_empty() => {
                let other = &others[rng.usize(..others.len())];
                let from = rng.usize(..=other.len());
                let to = (from + rng.usize(1..=200)).min(other.len());
                _ = bytes.splice(at..end, other[from..to].iter().copied());
            }
            _ => {
                // One digit is another.
                let digits: Vec<usize> =
                    (0..bytes.len()).filter(|i| bytes[*i].is_ascii_digit()).collect();
                if let Some(at) = rng.choice(digits) {
                    bytes[at] = b'0' + rng.u8(..10);
                }
            }
        }
    }
    bytes.truncate(MOST);
    bytes
}
