//! Reading TOML files so that every mistake has its place and its mend.

use std::fmt;
use std::ops::Range;

use thiserror::Error;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One mistake in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// Bytes of the file it is about.
    pub bytes: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub mend: String,
}

impl Mistake {
    /// Line and column of its first byte in `text`, both from 1.
    pub fn line_and_column(&self, text: &str) -> (usize, usize) {
        let before = &text.as_bytes()[..self.bytes.start.min(text.len())];
        let line_start = before.iter().rposition(|&b| b == b'\n').map_or(0, |at| at + 1);
        let line = before.iter().filter(|&&b| b == b'\n').count() + 1;
        (line, String::from_utf8_lossy(&before[line_start..]).chars().count() + 1)
    }
}

/// A file with mistakes: all that were found, in file order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub struct FileError {
    mistakes: Vec<Mistake>,
}

impl FileError {
    /// The mistakes, at least one, in file order.
    pub fn mistakes(&self) -> &[Mistake] {
        &self.mistakes
    }
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let first = &self.mistakes[0];
        write!(f, "{}: {}", first.message, first.mend)?;
        match self.mistakes.len() - 1 {
            0 => Ok(()),
            more => write!(f, " (and {more} more)"),
        }
    }
}

/// Parses `text` and hands its top table to `read`; the result counts only
/// when no mistake was found.
pub(crate) fn read<T>(
    text: &str,
    read: impl FnOnce(Section<'_, '_>, &mut Mistakes) -> Option<T>,
) -> Result<T, FileError> {
    let (document, errors) = DeTable::parse_recoverable(text);
    let mut mistakes = Mistakes::default();
    for error in errors {
        let bytes = error.span().unwrap_or(0..0);
        let message = error.message().lines().next().unwrap_or("not TOML").to_owned();
        let mend = match message.contains("recursion") {
            true => "values nest two deep at most: leave the brackets out",
            false => "correct the TOML here: key = value, text in quotes",
        };
        mistakes.add(bytes, message, mend);
    }
    let result = match mistakes.0.is_empty() {
        true => read(Section { table: document.get_ref(), bytes: 0..0 }, &mut mistakes),
        false => None,
    };
    match result {
        Some(result) if mistakes.0.is_empty() => Ok(result),
        _ => {
            let mut mistakes = mistakes.0;
            mistakes.sort_by_key(|m| m.bytes.start);
            Err(FileError { mistakes })
        }
    }
}

/// Mistakes found so far.
#[derive(Default)]
pub(crate) struct Mistakes(Vec<Mistake>);

impl Mistakes {
    pub(crate) fn add(
        &mut self,
        bytes: Range<usize>,
        message: impl Into<String>,
        mend: impl Into<String>,
    ) {
        self.0.push(Mistake { bytes, message: message.into(), mend: mend.into() });
    }

    pub(crate) fn count(&self) -> usize {
        self.0.len()
    }
}

/// One table of the file.
#[derive(Clone)]
pub(crate) struct Section<'a, 'i> {
    table: &'a DeTable<'i>,
    /// Where its heading is.
    pub(crate) bytes: Range<usize>,
}

/// A value with its place.
pub(crate) struct Placed<T> {
    pub(crate) value: T,
    pub(crate) bytes: Range<usize>,
}

impl<'a> Section<'a, '_> {
    /// Reports keys outside `known`, with the nearest one.
    pub(crate) fn only(&self, what: &str, known: &[&str], mistakes: &mut Mistakes) {
        for (key, _) in self.table.iter() {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let near = nearest(name, known.iter().copied());
            let mend = near.map_or_else(
                || format!("{what} has the keys {}", known.join(", ")),
                |near| format!("did you mean {near:?}?"),
            );
            mistakes.add(key.span(), format!("unknown key {name:?} in {what}"), mend);
        }
    }

    /// The keys, in the file's order of names.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &str> {
        self.table.iter().map(|(key, _)| -> &str { key.get_ref() })
    }

    /// Where the value of a key is; the heading where it is absent.
    pub(crate) fn place(&self, key: &str) -> Range<usize> {
        self.table.get(key).map_or(self.bytes.clone(), Spanned::span)
    }

    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    fn value<T>(
        &self,
        key: &str,
        expected: &str,
        mistakes: &mut Mistakes,
        read: impl FnOnce(&'a DeValue<'_>) -> Option<T>,
    ) -> Option<Placed<T>> {
        let entry = self.table.get(key)?;
        let value = read(entry.get_ref());
        if value.is_none() {
            let found = match entry.get_ref() {
                DeValue::Array(_) | DeValue::Table(_) => entry.get_ref().type_str(),
                _ => "another value",
            };
            mistakes.add(
                entry.span(),
                format!("{key:?} is {found}"),
                format!("expected {expected}"),
            );
        }
        Some(Placed { value: value?, bytes: entry.span() })
    }

    pub(crate) fn text(&self, key: &str, mistakes: &mut Mistakes) -> Option<Placed<&'a str>> {
        let expected = "text in quotes";
        self.value(key, expected, mistakes, |value| match value {
            DeValue::String(text) => Some(&**text),
            _ => None,
        })
    }

    /// A whole number from 0; also as text, decimal or `0x…`, for those over 63 bits.
    pub(crate) fn whole(&self, key: &str, mistakes: &mut Mistakes) -> Option<Placed<u128>> {
        self.value(key, "a whole number from 0", mistakes, |value| match value {
            DeValue::Integer(number) => {
                let digits = number.as_str().replace('_', "");
                let digits = digits.trim_start_matches('+');
                u128::from_str_radix(digits, number.radix()).ok()
            }
            DeValue::String(text) => match text.strip_prefix("0x") {
                Some(hex) => u128::from_str_radix(hex, 16).ok(),
                None => text.parse().ok(),
            },
            _ => None,
        })
    }

    pub(crate) fn signed(&self, key: &str, mistakes: &mut Mistakes) -> Option<Placed<i64>> {
        self.value(key, "a whole number of at most 63 bits", mistakes, |value| match value {
            DeValue::Integer(number) => {
                let digits = number.as_str().replace('_', "");
                i64::from_str_radix(&digits, number.radix()).ok()
            }
            _ => None,
        })
    }

    pub(crate) fn number(&self, key: &str, mistakes: &mut Mistakes) -> Option<Placed<f64>> {
        self.value(key, "a number", mistakes, |value| match value {
            DeValue::Float(number) => number.as_str().replace('_', "").parse().ok(),
            DeValue::Integer(number) => number.as_str().replace('_', "").parse().ok(),
            _ => None,
        })
    }

    pub(crate) fn flag(&self, key: &str, mistakes: &mut Mistakes) -> Option<Placed<bool>> {
        self.value(key, "true or false", mistakes, |value| value.as_bool())
    }

    /// One of a few words.
    pub(crate) fn choice<T: Copy>(
        &self,
        key: &str,
        choices: &[(&str, T)],
        mistakes: &mut Mistakes,
    ) -> Option<T> {
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        let text = self.text(key, mistakes)?;
        let found = choices.iter().find(|(name, _)| *name == text.value).map(|(_, value)| *value);
        if found.is_none() {
            let mend = nearest(text.value, names.iter().copied()).map_or_else(
                || format!("expected one of {}", names.join(", ")),
                |near| format!("did you mean {near:?}?"),
            );
            mistakes.add(text.bytes, format!("{key} = {:?} is not known", short(text.value)), mend);
        }
        found
    }

    /// Reports a key that must be there and is not.
    pub(crate) fn require(&self, what: &str, key: &str, example: &str, mistakes: &mut Mistakes) {
        if !self.has(key) {
            mistakes.add(
                self.bytes.clone(),
                format!("{what} has no {key:?}"),
                format!("add {key} = {example}"),
            );
        }
    }

    /// The tables of an array of tables `[[…key]]`.
    pub(crate) fn sections(&self, key: &str, heading: &str, mistakes: &mut Mistakes) -> Vec<Self> {
        let Some(entry) = self.table.get(key) else { return Vec::new() };
        let wrong = |bytes, mistakes: &mut Mistakes| {
            mistakes.add(
                bytes,
                format!("{key:?} is no list of tables"),
                format!("write {heading}"),
            );
        };
        let DeValue::Array(array) = entry.get_ref() else {
            wrong(entry.span(), mistakes);
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in array.iter() {
            match item.get_ref() {
                DeValue::Table(table) => sections.push(Section { table, bytes: item.span() }),
                _ => wrong(item.span(), mistakes),
            }
        }
        sections
    }

    /// The table `[key]`.
    pub(crate) fn section(&self, key: &str, mistakes: &mut Mistakes) -> Option<Self> {
        let entry = self.table.get(key)?;
        match entry.get_ref() {
            DeValue::Table(table) => Some(Section { table, bytes: entry.span() }),
            _ => {
                mistakes.add(
                    entry.span(),
                    format!("{key:?} is no table"),
                    format!("write [{key}]"),
                );
                None
            }
        }
    }
}

/// A text short enough for a message.
pub(crate) fn short(text: &str) -> String {
    let mut short: String = text.chars().take(40).collect();
    if text.chars().nth(40).is_some() {
        short.push('…');
    }
    short
}

/// The nearest of `known`, if it is near enough to be a slip of the pen.
pub fn nearest<'k>(name: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    // A name longer than any key is no slip; and the distance costs its square.
    if name.len() > 64 {
        return None;
    }
    let near = known
        .into_iter()
        .map(|k| (strsim::damerau_levenshtein(&name.to_lowercase(), &k.to_lowercase()), k))
        .min_by_key(|(distance, _)| *distance)?;
    // Judgement, no source: a third of the letters may be wrong.
    (near.0 <= near.1.len().max(3) / 3).then_some(near.1)
}
