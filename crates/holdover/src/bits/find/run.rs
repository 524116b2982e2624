//! Runs of bits: words of 0 and 1, or the names of the two data lines.

use std::ops::Range;

use super::super::{Capture, CaptureError, CaptureErrorKind};
use super::count::{Count, Kind, counts};
use super::words::Word;
use super::{Found, What, taken};

/// Bits that a run needs where nothing else speaks for it: no card that is in use
/// has fewer than 26 (common practice, no source), and few numbers of 0 and 1
/// alone are so long.
const ALONE: usize = 20;

/// The same where a number beside it is their count.
const COUNTED: usize = 16;

/// The same where all words beside it are of cards and captures.
const LABELLED: usize = 8;

/// The same where a count with a name agrees: readers with keys send four bits a
/// key.
const NAMED: usize = 4;

/// Fields that a capture with named ones has at least: a parity bit, and two more.
const FIELDS: usize = 3;

/// Bits by which a count may be off and still be theirs.
const SHORT_MOST: i32 = 3;

/// A run of bits, and the words it is of.
#[derive(Debug, Clone)]
struct Run {
    of: Range<usize>,
    bits: Vec<bool>,
    /// A count that agrees, or one that does not and is meant for it.
    count: Option<Count>,
    agrees: bool,
}

/// Whether a text of bits begins with the number of its line: "1: 0110…".
pub(super) fn is_numbered(text: &str) -> bool {
    let text = text.trim();
    let Some((number, rest)) = text.split_once(": ") else { return false };
    let bits = rest.bytes().filter(|b| b"01".contains(b)).count();
    let plain = number.len() <= 3 && !number.starts_with('0');
    plain && number.bytes().all(|b| b.is_ascii_digit()) && !rest.contains(':') && bits >= COUNTED
}

/// A text of nothing but one capture, again and again: that, and how often. Bits in
/// groups are shorter, or differ.
pub(super) fn repeated(text: &str) -> Option<(&str, usize)> {
    let parts = text.split(|c: char| c.is_whitespace() || ",;|/".contains(c));
    let mut parts = parts.filter(|part| !part.is_empty());
    let first = parts.next().filter(|part| one_card(part))?;
    let mut times = 1;
    let same = parts.all(|part| {
        times += 1;
        part == first
    });
    (same && times > 1).then_some((first, times))
}

/// Bits as long as a card's that are not all the same.
fn one_card(text: &str) -> bool {
    let bits = text.bytes().all(|b| b"01".contains(&b));
    bits && text.len() >= ALONE && text.contains('0') && text.contains('1')
}

/// The run of bits of a line, if there is one.
pub(super) fn find(words: &[Word]) -> Result<Option<Found>, CaptureError> {
    let mut runs: Vec<Run> = runs(words).into_iter().map(|run| counted(words, run)).collect();
    runs.retain(|run| accepted(words, run));
    if runs.iter().any(|run| run.agrees) {
        runs.retain(|run| run.agrees);
    }
    if let Some(fields) = fields(words) {
        runs = vec![fields];
    }
    let Some(run) = runs.first() else { return Ok(None) };
    if let Some(other) = runs.iter().find(|other| other.bits != run.bits) {
        let columns = [run, other].map(|run| words[run.of.start].column);
        return Err(CaptureErrorKind::Several { columns }.into());
    }
    let capture = Capture::from_bits(run.bits.iter().copied())?;
    let count = run.count.map(|count| (count.value, run.agrees));
    let short =
        count.filter(|(_, agrees)| !agrees).map_or(0, |(n, _)| n as i32 - run.bits.len() as i32);
    let note = taken(words, run.of.clone(), format!("{} bits", run.bits.len()), count);
    Ok(Some(Found { what: What::Bits(capture), notes: note.into_iter().collect(), short }))
}

/// What may stand between the words of one run.
fn joins(gap: &str) -> bool {
    gap.chars().count() <= 8 && gap.chars().all(|c| " \t,;|_-:/[](){}'\"\\".contains(c))
}

fn runs(words: &[Word]) -> Vec<Run> {
    let mut runs = Vec::new();
    for bits in [Word::bits as fn(&Word) -> Option<Vec<bool>>, |word| Some(vec![word.line()?])] {
        let mut at = 0;
        while at < words.len() {
            let Some(first) = bits(&words[at]) else {
                at += 1;
                continue;
            };
            let (from, mut all) = (at, first);
            at += 1;
            while let Some(more) = words.get(at).filter(|word| joins(&word.gap)).and_then(bits) {
                all.extend(more);
                at += 1;
            }
            let texts = || words[from..at].iter().map(|word| word.text.as_str());
            if at > from + 1
                && one_card(texts().next().unwrap_or_default())
                && texts().all(|text| text == words[from].text)
            {
                // The same capture, more than once.
                all.truncate(words[from].text.len());
                runs.push(Run { of: from..from + 1, bits: all, count: None, agrees: false });
                continue;
            }
            runs.push(Run { of: from..at, bits: all, count: None, agrees: false });
        }
    }
    runs.into_iter().map(|run| without_number(words, run)).collect()
}

/// Fields of a capture with the name of each between them, parity named too, in the
/// order they stand in: "P 1 FC 01000001 CN 0001000011100001 P 1".
fn fields(words: &[Word]) -> Option<Run> {
    let is_bits = |word: &Word| word.bits().is_some();
    let all = words.iter().all(|word| is_bits(word) || word.is_field());
    let parity = words.iter().any(|word| word.is_parity());
    let bits: Vec<bool> = words.iter().filter_map(Word::bits).flatten().collect();
    let parted = words.iter().filter(|word| is_bits(word)).count() >= FIELDS;
    let of = words.iter().position(is_bits)?..words.iter().rposition(is_bits)? + 1;
    let whole = all && parity && parted && bits.len() >= ALONE;
    whole.then_some(Run { of, bits, count: None, agrees: false })
}

/// A number of 0 and 1 before the bits or behind them is their count, or a
/// number of the line: "10: 0110101101", "1) 0011…".
fn without_number(words: &[Word], run: Run) -> Run {
    let number = |at: usize| {
        let text = &words[at].text;
        let plain = text.len() <= 3 && !text.starts_with('0');
        words[at].number().filter(|_| plain).map(|n| (n as usize, text.len()))
    };
    let Range { start, end } = run.of;
    if end - start < 2 || words[start].line().is_some() {
        return run;
    }
    // Where the rest is one word, or has gaps of another kind, the first is apart.
    let apart = |at: usize, gap: &str, rest: Range<usize>| {
        let inner = words[rest.start + 1..rest.end].iter().map(|word| word.gap.as_str());
        let other = inner.clone().all(|of| of != gap);
        other && (!gap.trim().is_empty() || rest.len() == 1 && words[at].text.len() == 2)
    };
    let cut = |of: Range<usize>, bits: &[bool]| Run {
        of,
        bits: bits.to_vec(),
        count: None,
        agrees: false,
    };
    if let Some((n, digits)) = number(start) {
        let rest = cut(start + 1..end, &run.bits[digits..]);
        let long = rest.bits.len() >= COUNTED;
        let numbered = words[start].gap.ends_with(['#', '№']);
        let apart = numbered || apart(start, &words[start + 1].gap, rest.of.clone());
        if n == rest.bits.len() || long && apart {
            return rest;
        }
    }
    if let Some((n, digits)) = number(end - 1) {
        let rest = cut(start..end - 1, &run.bits[..run.bits.len() - digits]);
        let long = rest.bits.len() >= COUNTED;
        if n == rest.bits.len() || long && apart(end - 1, &words[end - 1].gap, rest.of.clone()) {
            return rest;
        }
    }
    run
}

/// A run with the number that counts it.
fn counted(words: &[Word], run: Run) -> Run {
    let all = counts(words, &run.of);
    let bits = run.bits.len();
    let agrees =
        all.iter().copied().filter(|count| count.value == bits).max_by_key(|count| count.kind);
    let meant = all.iter().copied().find(|count| {
        let off = (count.value as i32 - bits as i32).abs();
        count.kind > Kind::Bare && off <= SHORT_MOST
    });
    Run { count: agrees.or(meant), agrees: agrees.is_some(), ..run }
}

fn accepted(words: &[Word], run: &Run) -> bool {
    let bits = run.bits.len();
    if !(1..=Capture::MAX_BITS).contains(&bits) {
        return false;
    }
    // Bits alone, and marked as such, are a capture of any length.
    if run.of == (0..words.len()) && words[0].is_binary() {
        return true;
    }
    let kind = run.count.map(|count| count.kind);
    let named = kind > Some(Kind::Bare);
    if named && bits >= if run.agrees { NAMED } else { LABELLED } {
        return true;
    }
    let rest = || words.iter().enumerate().filter(|(at, _)| !run.of.contains(at)).map(|(_, w)| w);
    let card = rest().any(Word::is_card);
    // Behind the bits it tells of them only right beside them.
    let near = &words[..(run.of.end + 1).min(words.len())];
    if near.iter().any(Word::is_other) && !card {
        return false;
    }
    if run.agrees && bits >= COUNTED {
        return true;
    }
    let known = rest().all(|word| word.is_known() || word.number().is_some_and(|n| n < 1_000));
    // A lone mask of zeros or ones is one of a thousand things.
    let varied = run.bits.iter().any(|bit| *bit != run.bits[0]);
    bits >= ALONE && (varied || card) || bits >= LABELLED && card && known
}
