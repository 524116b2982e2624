//! Which lines are D0 and D1: named by the caller, or by the names in the file.
//!
//! Names: `D0` and `D1`, `DATA0` and `DATA1`, `data_0`, `data[0]`; green is D0
//! and white is D1 (common practice, no source). What else a name holds tells
//! the readers of one file apart.

use crate::error::{SignalErrorKind, listed};
use crate::options::{MOST_READERS, PairChoice};

/// A line, or a vector of them, that a file offers.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    /// The whole name.
    pub(crate) name: String,
    /// Bits; 1 for a line.
    pub(crate) width: u32,
    pub(crate) range: (i64, i64),
    /// What tells aliases: two candidates with the same key are one line.
    pub(crate) key: Vec<u8>,
}

impl Candidate {
    /// A column of a table.
    pub(crate) fn column(name: String, index: usize) -> Candidate {
        Candidate { name, width: 1, range: (0, 0), key: index.to_le_bytes().to_vec() }
    }

    fn place(&self, index: i64) -> Option<u32> {
        let (left, right) = self.range;
        let inside = (left.min(right)..=left.max(right)).contains(&index);
        let place = u32::try_from(index.abs_diff(right)).ok()?;
        (inside && place < self.width).then_some(place)
    }
}

/// One line picked: a candidate and a bit of it, from the right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pick {
    pub(crate) line: usize,
    pub(crate) bit: u32,
}

/// D0 and D1 of one reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Pairing {
    pub(crate) reader: String,
    pub(crate) picks: [Pick; 2],
    pub(crate) names: [String; 2],
}

/// What the names say.
#[derive(Debug)]
pub(crate) enum Choice {
    /// These are the pairs.
    Pairs(Vec<Pairing>),
    /// Nothing: behaviour must tell, among these lines.
    Watch(Vec<usize>),
}

/// Whether a name asked for may mean `name`.
pub(crate) fn fits(asked: &str, name: &str) -> bool {
    let asked = bare(asked).map_or(asked, |(vector, _)| vector);
    ends_with(name, asked) || ends_with(bare(name).map_or(name, |(vector, _)| vector), asked)
}

/// Whether a name would be taken for D0 or D1.
pub(crate) fn telling(name: &str) -> bool {
    role(name).is_some()
}

fn ends_with(name: &str, end: &str) -> bool {
    let cut = name.len().checked_sub(end.len());
    cut.is_some_and(|cut| {
        name.get(cut..).is_some_and(|tail| tail.eq_ignore_ascii_case(end))
            && (cut == 0 || name.as_bytes()[cut - 1] == b'.')
    })
}

/// A name's vector and index, where it ends in one.
fn bare(name: &str) -> Option<(&str, i64)> {
    let (vector, index) = name.strip_suffix(']')?.rsplit_once('[')?;
    Some((vector.trim_end(), index.trim().parse().ok()?))
}

/// The line a caller's name means.
pub(crate) fn resolve(name: &str, all: &[Candidate]) -> Result<Pick, SignalErrorKind> {
    let whole = find(name, name, all)?;
    if let Some(line) = whole.filter(|&line| all[line].width == 1) {
        return Ok(Pick { line, bit: 0 });
    }
    if let Some((vector, index)) = bare(name)
        && let Some(line) = find(vector, name, all)?
        && let Some(bit) = all[line].place(index)
    {
        return Ok(Pick { line, bit });
    }
    if let Some(line) = whole {
        return Err(SignalErrorKind::WholeVector { name: name.to_owned(), width: all[line].width });
    }
    Err(SignalErrorKind::NoSuchLine {
        name: name.to_owned(),
        known: listed(all.iter().map(|c| c.name.as_str())),
    })
}

/// The candidate a name means: exactly, or in other case, or as the end of a
/// longer name.
fn find(name: &str, asked: &str, all: &[Candidate]) -> Result<Option<usize>, SignalErrorKind> {
    let tests: [&dyn Fn(&str) -> bool; 3] =
        [&|c| c == name, &|c| c.eq_ignore_ascii_case(name), &|c| ends_with(c, name)];
    for test in tests {
        let mut hits = (0..all.len()).filter(|&i| test(&all[i].name));
        let Some(first) = hits.next() else { continue };
        // Aliases are one line under several names.
        let others: Vec<usize> = hits.filter(|&i| all[i].key != all[first].key).collect();
        if others.is_empty() {
            return Ok(Some(first));
        }
        let known = std::iter::once(first).chain(others).map(|i| all[i].name.as_str());
        return Err(SignalErrorKind::AmbiguousLine {
            name: asked.to_owned(),
            known: listed(known),
        });
    }
    Ok(None)
}

/// Chooses the pairs: those asked for, else those the names tell, else none.
pub(crate) fn choose(asked: &[PairChoice], all: &[Candidate]) -> Result<Choice, SignalErrorKind> {
    if !asked.is_empty() {
        return asked_for(asked, all).map(Choice::Pairs);
    }
    let pairs = by_name(all);
    if !pairs.is_empty() {
        return Ok(Choice::Pairs(pairs));
    }
    let mut watch: Vec<usize> = Vec::new();
    for (i, candidate) in all.iter().enumerate() {
        let alias = watch.iter().any(|&w| all[w].key == candidate.key);
        if candidate.width == 1 && !alias && watch.len() < 2 * MOST_READERS {
            watch.push(i);
        }
    }
    if watch.len() < 2 {
        let known = listed(all.iter().map(|c| c.name.as_str()));
        return Err(SignalErrorKind::NoPair { known });
    }
    Ok(Choice::Watch(watch))
}

fn asked_for(asked: &[PairChoice], all: &[Candidate]) -> Result<Vec<Pairing>, SignalErrorKind> {
    let mut pairs = Vec::new();
    for (place, choice) in asked.iter().enumerate() {
        let picks = [resolve(&choice.d0, all)?, resolve(&choice.d1, all)?];
        let same = all[picks[0].line].key == all[picks[1].line].key;
        if same && picks[0].bit == picks[1].bit {
            return Err(SignalErrorKind::BadOption {
                option: "d0 and d1",
                expected: "two lines".to_owned(),
                found: format!("one, {:?}", all[picks[0].line].name),
            });
        }
        let reader = match (&choice.reader, asked.len()) {
            (Some(reader), _) => reader.clone(),
            (None, 1) => DEFAULT_READER.to_owned(),
            (None, _) => format!("{DEFAULT_READER}{}", place + 1),
        };
        let names = [choice.d0.clone(), choice.d1.clone()];
        pairs.push(Pairing { reader, picks, names });
    }
    Ok(pairs)
}

/// What a reader is called where nothing names it.
pub(crate) const DEFAULT_READER: &str = "reader";

fn by_name(all: &[Candidate]) -> Vec<Pairing> {
    let mut found: Vec<(Role, usize)> = Vec::new();
    for (i, candidate) in all.iter().enumerate().filter(|(_, c)| c.width == 1) {
        if let Some(role) = role(&candidate.name) {
            found.push((role, i));
        }
    }
    let mut pairs: Vec<(Role, Pairing)> = Vec::new();
    for (zero, i) in found.iter().filter(|(role, _)| !role.one) {
        let partner = found.iter().find(|(one, _)| one.one && one.whose() == zero.whose());
        let Some((_, j)) = partner else { continue };
        let alias = pairs.iter().any(|(_, p)| {
            all[p.picks[0].line].key == all[*i].key && all[p.picks[1].line].key == all[*j].key
        });
        if alias || pairs.len() == MOST_READERS {
            continue;
        }
        let picks = [Pick { line: *i, bit: 0 }, Pick { line: *j, bit: 0 }];
        let names = [all[*i].name.clone(), all[*j].name.clone()];
        pairs.push((zero.clone(), Pairing { reader: zero.short(), picks, names }));
    }
    let shorts: Vec<String> = pairs.iter().map(|(_, p)| p.reader.clone()).collect();
    for (role, pairing) in &mut pairs {
        if shorts.iter().filter(|s| **s == pairing.reader).count() > 1 {
            pairing.reader = role.long();
        }
    }
    pairs.into_iter().map(|(_, pairing)| pairing).collect()
}

/// What a name tells: D0 or D1, and of which reader.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Role {
    one: bool,
    scope: String,
    /// The name without what says D0 or D1.
    rest: String,
}

impl Role {
    fn whose(&self) -> (String, String) {
        (self.scope.to_lowercase(), self.rest.to_lowercase())
    }

    /// The shortest telling name of the reader.
    fn short(&self) -> String {
        let last = self.scope.rsplit('.').next().unwrap_or_default();
        let name = if self.rest.is_empty() { last } else { &self.rest };
        if name.is_empty() { DEFAULT_READER.to_owned() } else { name.to_owned() }
    }

    /// The whole name of the reader.
    fn long(&self) -> String {
        let parts = [self.scope.as_str(), self.rest.as_str()];
        let whole = parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(".");
        if whole.is_empty() { DEFAULT_READER.to_owned() } else { whole }
    }
}

/// Words of the common wire colours (common practice, no source).
const GREEN: [&str; 2] = ["green", "grn"];
const WHITE: [&str; 2] = ["white", "wht"];

fn role(name: &str) -> Option<Role> {
    let (scope, leaf) = name.rsplit_once('.').unwrap_or(("", name));
    let words = words(leaf);
    let is = |i: usize, set: &[&str]| {
        words.get(i).is_some_and(|(_, w)| set.iter().any(|s| w.eq_ignore_ascii_case(s)))
    };
    let colour = |i: usize| is(i, &GREEN) || is(i, &WHITE);
    let data = |i: usize| is(i, &["d", "data", "dat"]) && (is(i + 1, &["0"]) || is(i + 1, &["1"]));
    let (one, told): (bool, Vec<usize>) = match (0..words.len()).rev().find(|&i| data(i)) {
        Some(i) => {
            let colours = (0..words.len()).filter(|&c| colour(c));
            (is(i + 1, &["1"]), [i, i + 1].into_iter().chain(colours).collect())
        }
        None => {
            let i = (0..words.len()).rev().find(|&i| colour(i))?;
            (is(i, &WHITE), vec![i])
        }
    };
    let mut rest = String::new();
    let mut cut = false;
    for (i, &(at, word)) in words.iter().enumerate() {
        if told.contains(&i) {
            cut = true;
            continue;
        }
        // Separators between the words kept stay as they were written.
        let before = leaf[..at]
            .rfind(|c: char| c.is_alphanumeric())
            .map_or(0, |p| p + leaf[p..].chars().next().map_or(1, char::len_utf8));
        if !rest.is_empty() {
            rest.push_str(if cut { "_" } else { &leaf[before..at] });
        }
        cut = false;
        rest.push_str(word);
    }
    Some(Role { one, scope: scope.to_owned(), rest })
}

/// Runs of letters and runs of digits, with their offsets; a capital after a
/// small letter begins a new word.
fn words(text: &str) -> Vec<(usize, &str)> {
    let mut words = Vec::new();
    let mut start = None;
    let mut last = ' ';
    for (i, c) in text.char_indices() {
        let parts = !c.is_alphanumeric()
            || c.is_numeric() != last.is_numeric()
            || c.is_uppercase() && last.is_lowercase();
        if let Some(s) = start.filter(|_| parts) {
            words.push((s, &text[s..i]));
            start = None;
        }
        if c.is_alphanumeric() && start.is_none() {
            start = Some(i);
        }
        last = c;
    }
    if let Some(s) = start {
        words.push((s, &text[s..]));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(names: &[&str]) -> Vec<(String, String, String)> {
        let all: Vec<_> =
            names.iter().enumerate().map(|(i, n)| Candidate::column((*n).to_owned(), i)).collect();
        by_name(&all)
            .into_iter()
            .map(|p| {
                let [d0, d1] = p.names;
                (p.reader, d0, d1)
            })
            .collect()
    }

    #[test]
    fn names_tell_the_lines() {
        for [d0, d1, reader] in [
            ["D0", "D1", "reader"],
            ["d0", "d1", "reader"],
            ["DATA0", "DATA1", "reader"],
            ["data_0", "data_1", "reader"],
            ["Data 0", "Data 1", "reader"],
            ["data[0]", "data[1]", "reader"],
            ["green", "white", "reader"],
            ["D0 (green)", "D1 (white)", "reader"],
            ["reader1_D0", "reader1_D1", "reader1"],
            ["Reader2D0", "Reader2D1", "Reader2"],
            ["door2.D0", "door2.D1", "door2"],
            ["top.door3.data0", "top.door3.data1", "door3"],
            ["D0_front", "D1_front", "front"],
            ["back door green", "back door white", "back door"],
            ["2-D0", "2-D1", "2"],
        ] {
            // The order in the file does not matter.
            let want = vec![(reader.to_owned(), d0.to_owned(), d1.to_owned())];
            assert_eq!(pairs(&[d0, d1, "clk"]), want);
            assert_eq!(pairs(&["led", d1, d0]), want);
        }
    }

    #[test]
    fn other_names_tell_nothing() {
        for name in ["D10", "led0", "card1", "CH0", "D2", "clock", "0", "", "ad0"] {
            assert!(role(name).is_none(), "{name}");
        }
        assert_eq!(pairs(&["D0", "led"]), []);
    }

    #[test]
    fn several_readers() {
        let found =
            pairs(&["r1_D0", "r2_D0", "r2_D1", "r1_D1", "a.x.D0", "a.x.D1", "b.x.D0", "b.x.D1"]);
        let readers: Vec<_> = found.iter().map(|(r, ..)| r.as_str()).collect();
        assert_eq!(readers, ["r1", "r2", "a.x", "b.x"]);
    }

    #[test]
    fn a_caller_names_a_bit() {
        let bus = Candidate { name: "top.bus".into(), width: 8, range: (7, 0), key: vec![1] };
        let up = Candidate { name: "top.up".into(), width: 4, range: (0, 3), key: vec![2] };
        let bit = Candidate { name: "top.x[3]".into(), width: 1, range: (0, 0), key: vec![3] };
        let alias =
            Candidate { name: "top.dut.x[3]".into(), width: 1, range: (0, 0), key: vec![3] };
        let all = [bus, up, bit, alias];
        assert_eq!(resolve("top.bus[3]", &all).unwrap(), Pick { line: 0, bit: 3 });
        assert_eq!(resolve("BUS[7]", &all).unwrap(), Pick { line: 0, bit: 7 });
        assert_eq!(resolve("up[0]", &all).unwrap(), Pick { line: 1, bit: 3 });
        assert_eq!(resolve("x[3]", &all).unwrap(), Pick { line: 2, bit: 0 });
        assert!(matches!(resolve("bus", &all), Err(SignalErrorKind::WholeVector { width: 8, .. })));
        assert!(matches!(resolve("bus[8]", &all), Err(SignalErrorKind::NoSuchLine { .. })));
        assert!(matches!(resolve("nothing", &all), Err(SignalErrorKind::NoSuchLine { .. })));
    }
}
