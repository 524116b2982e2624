//! A line as words and numbers, and what words say of the numbers beside them.

use super::stamp;

/// A run of letters, digits and `_`.
#[derive(Debug, Clone)]
pub(super) struct Word {
    pub text: String,
    /// Column of its first character, from 1.
    pub column: usize,
    /// What stands between the word before and this one.
    pub gap: String,
    /// What stands behind it.
    pub after: String,
}

impl Word {
    /// Its bits, where it is nothing but bits: `0110`, `0b0110`, `01_10`.
    pub fn bits(&self) -> Option<Vec<bool>> {
        let text = self.text.strip_prefix("0b").or_else(|| self.text.strip_prefix("0B"));
        let text = text.unwrap_or(&self.text);
        let plain = text.chars().all(|c| "01_".contains(c)) && text.contains(['0', '1']);
        plain.then(|| text.chars().filter(|c| *c != '_').map(|c| c == '1').collect())
    }

    /// Whether it is marked as bits: `0b0110`.
    pub fn is_binary(&self) -> bool {
        self.text.starts_with(['0'])
            && self.text[1..].starts_with(['b', 'B'])
            && self.bits().is_some()
    }

    /// The data line it names, where it names one: `D0` or `D1`.
    pub fn line(&self) -> Option<bool> {
        match self.text.to_ascii_lowercase().as_str() {
            "d0" | "data0" => Some(false),
            "d1" | "data1" => Some(true),
            _ => None,
        }
    }

    /// Its number, where it is decimal digits.
    pub fn number(&self) -> Option<u64> {
        let plain = !self.text.is_empty() && self.text.bytes().all(|b| b.is_ascii_digit());
        plain.then(|| self.text.parse().unwrap_or(u64::MAX))
    }

    /// Whether it is a word, not a number: it has letters, and is no hexadecimal.
    pub fn is_word(&self) -> bool {
        !self.text.starts_with(|c: char| c.is_ascii_digit())
            && self.text.chars().any(char::is_alphabetic)
    }

    pub fn is_card(&self) -> bool {
        is_one_of(&self.text, CARD)
    }

    pub fn is_known(&self) -> bool {
        self.is_card() || is_one_of(&self.text, BESIDE)
    }

    pub fn is_parity(&self) -> bool {
        is_one_of(&self.text, PARITY)
    }

    /// Whether it may name a field of a capture.
    pub fn is_field(&self) -> bool {
        self.is_parity() || is_one_of(&self.text, FIELD)
    }

    pub fn is_other(&self) -> bool {
        is_one_of(&self.text, OTHER)
    }
}

/// Whether a word, or all its parts, are of a list: `card_raw`, `cardData`.
fn is_one_of(word: &str, list: &[&str]) -> bool {
    let small = word.to_lowercase();
    let small = small.trim_end_matches(|c: char| c.is_ascii_digit());
    if list.contains(&small) {
        return true;
    }
    let parts = small.split('_').filter(|part| !part.is_empty());
    let parts: Vec<&str> =
        parts.map(|part| part.trim_end_matches(|c: char| c.is_ascii_digit())).collect();
    parts.len() > 1
        && parts.iter().any(|part| list.contains(part))
        && parts
            .iter()
            .all(|part| list.contains(part) || CARD.contains(part) || BESIDE.contains(part))
}

/// Words of cards and captures: digits beside one of them, and nothing beside
/// them unknown, are a card's. Common practice, no source.
const CARD: &[&str] = &[
    "card",
    "cards",
    "wiegand",
    "wieg",
    "wg",
    "w",
    "tag",
    "uid",
    "csn",
    "badge",
    "credential",
    "fob",
    "raw",
    "capture",
    "captured",
    "bits",
    "bit",
    "hex",
    "hexadecimal",
    "decimal",
    "binary",
    "swipe",
    "cardid",
    "cardno",
    "cardnumber",
    "cardcode",
    "carddata",
    "rawbits",
    "rawhex",
    "rawdata",
    "cardraw",
    "keycard",
    "karte",
    "carte",
    "tarjeta",
];

/// Words that may stand beside a capture and say nothing against it.
const BESIDE: &[&str] = &[
    "read", "reads", "reader", "data", "value", "val", "code", "id", "scan", "scanned", "got",
    "received", "recv", "rx", "in", "from", "at", "the", "a", "is", "was", "of", "and", "new",
    "number", "num", "no", "nr", "n", "len", "length", "count", "size", "info", "debug", "notice",
    "trace", "log", "door", "gate", "event", "ch", "channel", "lane", "msb", "lsb", "first",
    "last", "parity", "ok", "on", "serial", "line", "sample", "frame", "message", "msg", "output",
    "out", "bytes", "byte", "facility", "site", "format", "type", "dec", "bin", "b", "x", "h", "t",
    "ts", "am", "pm", "utc", "gmt", "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep",
    "oct", "nov", "mon", "tue", "wed", "thu", "fri", "sat", "sun", "const", "static", "unsigned",
    "long", "int", "char", "bool", "uint", "uint_t", "printed", "user", "access", "granted",
    "denied", "d", "ms", "fc", "cn", "cc",
];

/// Names of a parity bit.
const PARITY: &[&str] = &["p", "ep", "op", "parity", "even", "odd"];

/// Names of the other fields of a capture.
const FIELD: &[&str] = &[
    "fc", "cn", "cc", "sc", "facility", "site", "company", "issue", "card", "code", "number", "no",
    "nr", "id", "bit", "bits", "start", "stop", "first", "last",
];

/// Words of other things that have bits.
const OTHER: &[&str] = &[
    "mask", "netmask", "register", "reg", "regs", "status", "flags", "flag", "gpio", "port", "irq",
    "config", "cfg", "crc", "checksum", "ip", "addr", "address", "memory", "mem", "pin", "pins",
    "duty", "pwm", "firmware", "version", "build", "baud", "affinity", "cpu", "cpus", "bitmap",
    "mode", "state", "error", "err", "errno", "test", "led", "leds", "relay", "relays", "inputs",
    "outputs", "dip", "switch", "switches",
];

/// The words of a line; escape codes, stamps and fractions are gaps.
pub(super) fn words(text: &str) -> Vec<Word> {
    let chars: Vec<(usize, char)> = visible(text);
    let plain: Vec<char> = chars.iter().map(|(_, c)| *c).collect();
    let mut words: Vec<Word> = Vec::new();
    let (mut at, mut gap) = (0, String::new());
    while at < plain.len() {
        let before = at.checked_sub(1).map(|i| plain[i]);
        let stamp = stamp::length(&plain[at..], before);
        if stamp > 0 {
            gap.push(stamp::MARK);
            at += stamp;
            continue;
        }
        let inside = |c: char| c.is_alphanumeric() || c == '_';
        let count = plain[at..].iter().take_while(|c| inside(**c)).count();
        if count == 0 {
            gap.push(plain[at]);
            at += 1;
            continue;
        }
        if let Some(last) = words.last_mut() {
            last.after.clone_from(&gap);
        }
        let word: String = plain[at..at + count].iter().collect();
        words.push(Word {
            text: word,
            column: chars[at].0,
            gap: std::mem::take(&mut gap),
            after: String::new(),
        });
        at += count;
    }
    if let Some(last) = words.last_mut() {
        last.after = gap;
    }
    words.into_iter().flat_map(apart).collect()
}

/// "26bits" as two words; "26b" only in brackets, since it is hexadecimal too.
fn apart(word: Word) -> Vec<Word> {
    let digits = word.text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, unit) = word.text.split_at(digits);
    let unit_is = unit.to_ascii_lowercase();
    let bracketed = word.gap.ends_with(['(', '[']) && word.after.starts_with([')', ']']);
    let named = ["bit", "bits"].contains(&unit_is.as_str()) || unit_is == "b" && bracketed;
    if digits == 0 || !named {
        return vec![word];
    }
    let unit = Word {
        text: unit.to_owned(),
        column: word.column + digits,
        gap: String::new(),
        after: word.after,
    };
    vec![
        Word { text: number.to_owned(), column: word.column, gap: word.gap, after: String::new() },
        unit,
    ]
}

/// Characters with their columns, escape codes and marks left out.
fn visible(text: &str) -> Vec<(usize, char)> {
    let chars: Vec<char> = text.chars().collect();
    let (mut seen, mut at) = (Vec::with_capacity(chars.len()), 0);
    while at < chars.len() {
        // As it is, as some terminals show it, and as programs write it.
        let escape =
            [&['\u{1b}'][..], &['^', '['][..]].into_iter().find(|e| chars[at..].starts_with(e));
        let escape = escape.filter(|e| chars.get(at + e.len()) == Some(&'['));
        if let Some(escape) = escape {
            let body = &chars[at + escape.len() + 1..];
            let length = body.iter().take_while(|c| "0123456789;:?<=>".contains(**c)).count();
            at += escape.len() + 1 + length + usize::from(length < body.len());
            continue;
        }
        match chars[at] {
            '\u{1b}' | '\u{feff}' | '\u{200b}' => {}
            c if c.is_control() => seen.push((at + 1, ' ')),
            c => seen.push((at + 1, c)),
        }
        at += 1;
    }
    seen
}
