//! `holdover table diff`: which words two tables decode differently.
//!
//! Layouts are paired by id. Checks are relations over GF(2) and decimal digits
//! unions of such, so that the words on which two layouts disagree are counted
//! and an example is found by algebra ([`words`]).

mod words;

use std::collections::BTreeMap;
use std::io::Write;

use holdover::bits::gf2::Relation;
use holdover::bits::{Capture, Span, Wide};
use holdover::decode::Decode;
use holdover::layout::{Field, Layout, Role, Rule, Table};
use serde_json::{Map, json};

use self::words::{Need, Undecided, Words, bits_are};
use crate::fail::{Fail, Outcome};
use crate::formats::write_csv;
use crate::host::Host;
use crate::plain::plain;
use crate::request::Format;
use crate::terminal::{self, BAD, GOOD, STRONG, in_style};

/// One way in which two layouts of an id differ.
struct Change {
    /// "added", "removed", "length", "refused", "admitted", "fields", "undecided".
    kind: &'static str,
    /// In words.
    words: String,
    /// log2 of how many words decode differently, where it can be counted.
    count: Option<f64>,
    /// A word that does.
    example: Option<Capture>,
}

impl Change {
    /// Neither a difference was found nor that there is none.
    fn undecided() -> Change {
        let words = "whether they differ is not known: the decimal digits are too many to search";
        Change { kind: "undecided", words: words.to_owned(), count: None, example: None }
    }
}

pub fn run(
    host: &dyn Host,
    old: (&str, &Table),
    new: (&str, &Table),
    format: Format,
) -> Result<Outcome, Fail> {
    let ids = old.1.layouts().iter().map(Layout::id);
    let added = new.1.layouts().iter().map(Layout::id).filter(|id| old.1.layout(id).is_none());
    let mut out = terminal::Page::of(host, format == Format::Text);
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
            count: Words::of(layout).count(),
            example: Words::of(layout).example(None).ok().flatten(),
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
        .filter_map(|change| change.unwrap_or_else(|Undecided| Some(Change::undecided())))
        .collect(),
        (None, None) => Vec::new(),
    }
}

/// Words that `with` admits and `without` refuses.
fn disagreement(
    kind: &'static str,
    words: &str,
    with: &Layout,
    without: &Layout,
) -> Result<Option<Change>, Undecided> {
    let (all, others) = (Words::of(with), Words::of(without));
    let example = all.example_of(others.needs().map(|need| need.broken()))?;
    Ok(example.map(|example| {
        let count = less(all.count(), all.and(others.needs()).count());
        Change { kind, words: words.to_owned(), count, example: Some(example) }
    }))
}

/// log2 of a difference of two counts.
fn less(all: Option<f64>, shared: Option<f64>) -> Option<f64> {
    let (all, shared) = (all?, shared?);
    Some(all + (1.0 - (shared - all).exp2()).log2())
}

/// How the readings of one role differ.
enum Differ {
    /// In every word that both admit.
    Always,
    /// Where one of these relations does not hold.
    Where(Vec<Relation>),
    /// A decimal field became a binary one, or the other way round.
    Codes(Option<Span>),
}

/// Words both admit that read differently.
fn field_change(old: &Layout, new: &Layout) -> Result<Option<Change>, Undecided> {
    let both = Words::of(old).and(Words::of(new).needs());
    let change = |count, example| Change {
        kind: "fields",
        words: "both admit the word and read it differently".to_owned(),
        count,
        example: Some(example),
    };
    let role = |layout: &Layout, role: &Role| layout.field(role).is_some();
    let renamed = old.fields().iter().any(|field| !role(new, &field.role))
        || new.fields().iter().any(|field| !role(old, &field.role));
    let differ: Vec<Differ> = old
        .fields()
        .iter()
        .filter_map(|field| Some(readings(old, field, new, new.field(&field.role)?)))
        .collect();
    if renamed || differ.iter().any(|differ| matches!(differ, Differ::Always)) {
        return Ok(both.example(None)?.map(|example| change(both.count(), example)));
    }
    let equal: Vec<Relation> = differ
        .iter()
        .filter_map(|differ| match differ {
            Differ::Where(relations) => Some(relations.clone()),
            _ => None,
        })
        .flatten()
        .collect();
    let unequal = equal.iter().map(|relation| Need::Holds(*relation).broken());
    let of_bits = both.example_of(unequal)?;
    let codes: Vec<&Option<Span>> = differ
        .iter()
        .filter_map(|differ| match differ {
            Differ::Codes(span) => Some(span),
            _ => None,
        })
        .collect();
    if codes.is_empty() {
        return Ok(of_bits.map(|example| {
            let same = both.and(equal.iter().map(|relation| Need::Holds(*relation))).count();
            change(less(both.count(), same), example)
        }));
    }
    // A leading digit of 0 is written, of a binary number it is not.
    let differs = |word: &Capture| values(old, word) != values(new, word);
    let written = codes.into_iter().flatten().find_map(|span| {
        let zero = bits_are(span, &[(0, false), (1, false), (2, false), (3, false)]);
        both.and(zero.into_iter().map(Need::Holds)).example(None).ok()?
    });
    let example = of_bits.or(written).or_else(|| both.seek(differs));
    Ok(example.map(|example| change(None, example)))
}

/// How a role's readings in two layouts differ.
fn readings(old: &Layout, a: &Field, new: &Layout, b: &Field) -> Differ {
    let together = |a: Vec<usize>, b: Vec<usize>| -> Vec<Relation> {
        // Bits agree counted from the last; the longer one's further bits are 0.
        let (a, b): (Vec<usize>, Vec<usize>) =
            (a.into_iter().rev().collect(), b.into_iter().rev().collect());
        let each = |i: usize| {
            let mut bits = Wide::ZERO;
            for offset in [a.get(i), b.get(i)].into_iter().flatten() {
                bits.set(*offset, !bits.bit(*offset));
            }
            Relation { bits, constant: false }
        };
        (0..a.len().max(b.len())).map(each).collect()
    };
    let bits = |layout: &Layout, field: &Field| match digits(layout, field) {
        digits if digits.is_empty() => field.span.offsets().collect(),
        digits => digits.iter().flat_map(Span::offsets).collect::<Vec<_>>(),
    };
    match (a.digits(), b.digits()) {
        (Some(a), Some(b)) if a != b => Differ::Always,
        // One digit and its four bits are one number.
        (None | Some(1), None | Some(1)) | (Some(_), Some(_)) => {
            Differ::Where(together(bits(old, a), bits(new, b)))
        }
        (Some(_), None) => Differ::Codes(digits(old, a).into_iter().next()),
        (None, Some(_)) => Differ::Codes(digits(new, b).into_iter().next()),
    }
}

/// The four bits of each digit of a decimal field, the highest first.
fn digits(layout: &Layout, field: &Field) -> Vec<Span> {
    let Some(own) = field.digits() else { return Vec::new() };
    let before = layout.fields().iter().take_while(|other| other.role != field.role);
    let skipped: usize = before.filter_map(Field::digits).sum();
    let all = layout.rules().iter().filter_map(|rule| match rule {
        Rule::Decimal { span, .. } => Some(span.clone()),
        Rule::Relations { .. } => None,
    });
    all.skip(skipped).take(own).collect()
}

/// What a layout reads of a word, as it is written.
fn values(layout: &Layout, word: &Capture) -> BTreeMap<String, String> {
    let decode = Decode { layout, word: *word };
    decode.fields().map(|(role, value)| (role.to_owned(), value.to_string())).collect()
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
