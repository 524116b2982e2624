//! `holdover table diff`: which words two tables decode differently.
//!
//! Layouts are paired by id. Checks are relations over GF(2), so the words on
//! which two layouts disagree are counted and an example is found by algebra;
//! only where decimal digits take part is the example sought by trial.

use std::io::Write;

use holdover::bits::gf2::{Added, Relation, System};
use holdover::bits::{Capture, Wide};
use holdover::decode::Decode;
use holdover::layout::{Code, Layout, Rule, Table, Value};
use serde_json::{Map, json};

use crate::args::Format;
use crate::fail::{Fail, Outcome};
use crate::formats::write_csv;
use crate::screen::{self, BAD, GOOD, STRONG, in_style, plain};

/// Words tried where algebra does not reach.
const TRIALS: u64 = 4096;

/// One way in which two layouts of an id differ.
struct Change {
    /// "added", "removed", "length", "refused", "admitted", "fields".
    kind: &'static str,
    /// In words.
    words: String,
    /// log2 of how many words decode differently, where it can be counted.
    count: Option<f64>,
    /// A word that does.
    example: Option<Capture>,
}

pub fn run(old: (&str, &Table), new: (&str, &Table), format: Format) -> Result<Outcome, Fail> {
    let ids = old.1.layouts().iter().map(Layout::id);
    let added = new.1.layouts().iter().map(Layout::id).filter(|id| old.1.layout(id).is_none());
    let mut out = screen::output(format == Format::Text);
    let mut differ = false;
    if format == Format::Csv {
        let mut csv = csv::Writer::from_writer(&mut out);
        write_csv(&mut csv, &["layout", "change", "words_log2", "example", "old", "new"])?;
        csv.flush()?;
    }
    for id in ids.chain(added) {
        let (before, after) = (old.1.layout(id), new.1.layout(id));
        for change in changes(before, after) {
            differ = true;
            show(&mut out, format, id, before, after, &change)?;
        }
    }
    if !differ && format == Format::Text {
        let good = in_style(GOOD, "no word decodes differently");
        writeln!(out, "{}, {}: {good}", plain(old.0), plain(new.0))?;
    }
    Ok(if differ { Outcome::CardsWrong } else { Outcome::Done })
}

fn changes(old: Option<&Layout>, new: Option<&Layout>) -> Vec<Change> {
    let whole = |kind, words: &str, layout: &Layout| {
        vec![Change {
            kind,
            words: words.to_owned(),
            count: counted(layout).then(|| (layout.length() - layout.rank()) as f64),
            example: any_word(layout, 0),
        }]
    };
    match (old, new) {
        (Some(old), None) => whole("removed", "only the old table has it", old),
        (None, Some(new)) => whole("added", "only the new table has it", new),
        (Some(old), Some(new)) if old.length() != new.length() => {
            let words = format!("{} bits became {}", old.length(), new.length());
            whole("length", &words, new)
        }
        (Some(old), Some(new)) => [
            disagreement("refused", "the new table refuses words that the old admits", old, new),
            disagreement("admitted", "the new table admits words that the old refuses", new, old),
            field_change(old, new),
        ]
        .into_iter()
        .flatten()
        .collect(),
        (None, None) => Vec::new(),
    }
}

/// Whether algebra counts all words of a layout: no decimal digit takes part.
fn counted(layout: &Layout) -> bool {
    !layout.rules().iter().any(|rule| matches!(rule, Rule::Decimal { .. }))
}

fn relations(layout: &Layout) -> impl Iterator<Item = Relation> + '_ {
    layout
        .rules()
        .iter()
        .flat_map(|rule| match rule {
            Rule::Relations { relations, .. } => relations.as_slice(),
            Rule::Decimal { .. } => &[],
        })
        .copied()
}

/// Words that `with` admits and `without` refuses.
fn disagreement(
    kind: &'static str,
    words: &str,
    with: &Layout,
    without: &Layout,
) -> Option<Change> {
    let change = |count, example| {
        Some(Change { kind, words: words.to_owned(), count, example: Some(example) })
    };
    let exact = counted(with) && counted(without);
    let mut both = with.system().clone();
    let mut compatible = true;
    let mut broken = None;
    for relation in relations(without) {
        // The first relation that does not follow can be broken.
        if broken.is_none() {
            let mut system = with.system().clone();
            let opposite = Relation { constant: !relation.constant, ..relation };
            if system.add(opposite) != Added::Contradiction {
                broken = Some(system);
            }
        }
        compatible &= both.add(relation) != Added::Contradiction;
    }
    if let (true, Some(system)) = (exact, &broken) {
        let free = with.length() as f64;
        let all = free - with.rank() as f64;
        let shared = if compatible { (free - both.rank() as f64 - all).exp2() } else { 0.0 };
        let example = Capture::from_wide(system.complete(Wide::ZERO), with.length()).ok()?;
        return change(Some(all + (1.0 - shared).log2()), example);
    }
    if exact {
        return None;
    }
    let broken = broken.unwrap_or_else(|| with.system().clone());
    let found = (0..TRIALS)
        .filter_map(|trial| {
            let free = noise(trial);
            let word = Capture::from_wide(broken.complete(free), with.length()).ok()?;
            // Decimal digits rarely come by chance: make them, then try.
            let made = any_word(with, trial)?;
            [word, made].into_iter().find(|word| with.admits(word) && !without.admits(word))
        })
        .next()?;
    change(None, found)
}

/// Words both admit that read differently.
fn field_change(old: &Layout, new: &Layout) -> Option<Change> {
    let names = |layout: &Layout| -> Vec<String> {
        layout.fields().iter().map(|f| f.role.name().to_owned()).collect()
    };
    let differs = |word: &Capture| values(old, word) != values(new, word);
    let words = "both admit the word and read it differently".to_owned();
    let binary = |layout: &Layout| layout.fields().iter().all(|f| f.code == Code::Binary);
    let same_names = {
        let (mut a, mut b) = (names(old), names(new));
        a.sort();
        b.sort();
        a == b
    };
    if !(same_names && binary(old) && binary(new) && counted(old) && counted(new)) {
        let made = (0..TRIALS).filter_map(|trial| any_word(old, trial));
        let example = made.into_iter().find(|word| new.admits(word) && differs(word))?;
        return Some(Change { kind: "fields", words, count: None, example: Some(example) });
    }
    // The numbers agree where their bits do, counted from the last, and the
    // longer one's further bits are 0.
    let mut admitted = old.system().clone();
    if relations(new).any(|relation| admitted.add(relation) == Added::Contradiction) {
        return None;
    }
    let mut agree = admitted.clone();
    let mut consistent = true;
    let mut broken: Option<System> = None;
    for field in old.fields() {
        let other = new.field(&field.role)?;
        let last_first = |span: &holdover::bits::Span| {
            let mut offsets: Vec<usize> = span.offsets().collect();
            offsets.reverse();
            offsets
        };
        let (a, b) = (last_first(&field.span), last_first(&other.span));
        for i in 0..a.len().max(b.len()) {
            let mut bits = Wide::ZERO;
            for offset in [a.get(i), b.get(i)].into_iter().flatten() {
                bits.set(*offset, !bits.bit(*offset));
            }
            let relation = Relation { bits, constant: false };
            if broken.is_none() {
                let mut system = admitted.clone();
                if system.add(Relation { constant: true, ..relation }) != Added::Contradiction {
                    broken = Some(system);
                }
            }
            consistent &= agree.add(relation) != Added::Contradiction;
        }
    }
    let system = broken?;
    let all = (old.length() - admitted.rank()) as f64;
    let alike =
        if consistent { (old.length() as f64 - agree.rank() as f64 - all).exp2() } else { 0.0 };
    let example = Capture::from_wide(system.complete(Wide::ZERO), old.length()).ok()?;
    Some(Change {
        kind: "fields",
        words,
        count: Some(all + (1.0 - alike).log2()),
        example: Some(example),
    })
}

fn values(layout: &Layout, word: &Capture) -> Vec<(String, Value)> {
    let decode = Decode { layout, word: *word };
    let mut values: Vec<_> =
        decode.fields().map(|(role, value)| (role.to_owned(), value)).collect();
    values.sort_by(|a, b| a.0.cmp(&b.0));
    values
}

/// A word the layout admits; another one for each trial.
fn any_word(layout: &Layout, trial: u64) -> Option<Capture> {
    let noise = noise(trial);
    let values: Vec<(&str, Value)> = layout
        .fields()
        .iter()
        .map(|field| {
            let value = match field.digits() {
                Some(digits) => {
                    let digit =
                        |i: usize| char::from(b'0' + (noise.number(5 * i % 200, 16) % 10) as u8);
                    Value::Digits((0..digits).map(digit).collect())
                }
                None => Value::Number(field.span.number(&Capture::from_wide(noise, 256).ok()?)),
            };
            Some((field.role.name(), value))
        })
        .collect::<Option<_>>()?;
    layout.compose(&values).ok()
}

/// Well-mixed bits, the same for the same trial; none for the first.
fn noise(trial: u64) -> Wide {
    // Mixed as SplitMix64 mixes (Steele, Lea and Flood, "Fast splittable
    // pseudorandom number generators", OOPSLA 2014, with the mixing called
    // Stafford's variant 13; from memory).
    let mix = |i: u64| {
        let mut z = (4 * trial + i).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    };
    if trial == 0 { Wide::ZERO } else { Wide(std::array::from_fn(|i| mix(i as u64))) }
}

/// What a table says of a word, in a line.
fn reading(layout: Option<&Layout>, word: &Capture) -> String {
    let Some(layout) = layout else { return "no such layout".to_owned() };
    let Some(decode) = Decode::new(layout, *word) else {
        return format!("{} bits are another length", word.len());
    };
    if let Some((check, _)) = decode.outcomes().find(|(_, holds)| !holds) {
        return format!("refused: {check} fails");
    }
    let fields: Vec<String> =
        decode.fields().map(|(role, value)| format!("{role} {value}")).collect();
    fields.join(", ")
}

fn show(
    out: &mut impl Write,
    format: Format,
    id: &str,
    old: Option<&Layout>,
    new: Option<&Layout>,
    change: &Change,
) -> Result<(), Fail> {
    let example = change.example.map_or_else(String::new, |word| word.to_string());
    let said = |layout| change.example.map_or_else(String::new, |word| reading(layout, &word));
    let (before, after) = (said(old), said(new));
    match format {
        Format::Text => {
            let count = match change.count {
                Some(log) if log <= 40.0 => format!(" ({} words)", log.exp2().round()),
                Some(log) => format!(" (2^{log:.1} words)"),
                None => String::new(),
            };
            let kind = in_style(BAD, change.kind);
            writeln!(out, "{}  {kind}: {}{count}", in_style(STRONG, id), change.words)?;
            if !example.is_empty() {
                writeln!(out, "  for example  {example}")?;
                writeln!(out, "    old        {before}")?;
                writeln!(out, "    new        {after}")?;
            }
        }
        Format::Json => {
            let mut object = Map::new();
            object.insert("layout".into(), id.into());
            object.insert("change".into(), change.kind.into());
            if let Some(count) = change.count {
                object.insert("words_log2".into(), json!((count * 1e6).round() / 1e6));
            }
            object.insert("example".into(), example.into());
            object.insert("old".into(), before.into());
            object.insert("new".into(), after.into());
            writeln!(out, "{}", serde_json::Value::Object(object))?;
        }
        Format::Csv => {
            let count = change.count.map_or_else(String::new, |count| format!("{count:.3}"));
            let mut csv = csv::Writer::from_writer(&mut *out);
            write_csv(&mut csv, &[id, change.kind, &count, &example, &before, &after])?;
            csv.flush()?;
        }
    }
    Ok(())
}
