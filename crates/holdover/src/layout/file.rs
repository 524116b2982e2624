//! Table files: TOML to layouts, every mistake with its place and its mend.

use super::{
    Check, Code, Field, Layout, LayoutError, LayoutErrorKind, LayoutSpec, Part, PlaceIn, PrintRule,
    Role, Table, Unsettled,
};
use crate::bits::{Position, Span};
use crate::file::{FileError, Mistakes, Placed, Section, read};

const LAYOUT_KEYS: [&str; 7] = ["id", "title", "length", "basis", "weight", "field", "check"];
const FIELD_KEYS: [&str; 9] =
    ["role", "span", "code", "part_of", "serial", "factor", "offset", SETTLED, OPEN];

/// What fields and checks say of how sure they are.
const SETTLED: &str = "settled";
const OPEN: &str = "open";
const CODES: [(&str, Code); 3] =
    [("binary", Code::Binary), ("bcd4", Code::Bcd4), ("bcd5", Code::Bcd5)];
const PARTS: [(&str, Part); 2] = [("site", Part::Site), ("card", Part::Card)];

#[derive(Clone, Copy)]
enum Kind {
    Even,
    Odd,
    Fixed,
    Lrc,
}

const KINDS: [(&str, Kind); 4] =
    [("even", Kind::Even), ("odd", Kind::Odd), ("fixed", Kind::Fixed), ("lrc", Kind::Lrc)];

/// Any whole number that fits nothing: `Layout::new` names the right limit.
const TOO_LARGE: usize = usize::MAX;

/// What to do about a table of too many layouts.
const FEWER: &str = "leave out those that no card here can have";

impl Table {
    /// The most bytes a table or site file may have; larger ones are refused
    /// unread. A kilobyte for each layout there may be.
    pub const MAX_BYTES: usize = 4 << 20;

    /// Reads a table file.
    ///
    /// # Errors
    /// Every mistake in the file, each with its bytes and what to write instead.
    pub fn from_toml(text: &str) -> Result<Table, FileError> {
        read(text, |top, mistakes| {
            top.only("a table file", &["layout"], mistakes);
            let sections = top.sections("layout", "[[layout]]", mistakes);
            if sections.is_empty() && mistakes.count() == 0 {
                mistakes.add(0..0, "the file holds no layout", "add a [[layout]]");
            }
            let mut table = Table::default();
            if sections.len() > Table::MAX_LAYOUTS {
                let most = format!("more than {} layouts", Table::MAX_LAYOUTS);
                let excess = sections[Table::MAX_LAYOUTS].bytes.clone();
                mistakes.add(excess, most, FEWER);
                return None;
            }
            for section in sections {
                if let Some(layout) = read_layout(&section, mistakes) {
                    let place = section.place("id");
                    if let Err(duplicate) = table.add(layout) {
                        let mend = "give each layout an id of its own";
                        mistakes.add(place, duplicate.to_string(), mend);
                    }
                }
            }
            if let Some(excess) = table.excess() {
                mistakes.add(0..0, excess, FEWER);
            }
            Some(table)
        })
    }
}

fn read_layout(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Option<Layout> {
    let before = mistakes.count();
    section.only("a layout", &LAYOUT_KEYS, mistakes);
    section.require("the layout", "id", "\"…\"", mistakes);
    section.require("the layout", "length", "26", mistakes);
    section.require(
        "the layout",
        "basis",
        "a published source, \"common practice, no source\" or \"worked out from captures\"",
        mistakes,
    );
    let text = |key, mistakes: &mut Mistakes| {
        section.text(key, mistakes).map(|text| text.value.to_owned())
    };
    let id = text("id", mistakes);
    let title = text("title", mistakes);
    let basis = text("basis", mistakes);
    let length = section.whole("length", mistakes);
    let weight = section.number("weight", mistakes);
    let field_sections = section.sections("field", "[[layout.field]]", mistakes);
    let check_sections = section.sections("check", "[[layout.check]]", mistakes);
    let fields: Vec<_> = field_sections.iter().filter_map(|s| read_field(s, mistakes)).collect();
    let checks: Vec<_> = check_sections.iter().filter_map(|s| read_check(s, mistakes)).collect();
    let mut unsettled = read_unsettled(&field_sections, PlaceIn::Field, mistakes);
    unsettled.extend(read_unsettled(&check_sections, PlaceIn::Check, mistakes));
    if mistakes.count() > before {
        return None;
    }
    let id = id?;
    let spec = LayoutSpec {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        length: length.map_or(TOO_LARGE, |l| usize::try_from(l.value).unwrap_or(TOO_LARGE)),
        basis: basis.unwrap_or_default(),
        weight: weight.map_or(1.0, |w| w.value),
        fields,
        checks,
        unsettled,
    };
    match Layout::new(spec) {
        Ok(layout) => Some(layout),
        Err(error) => {
            let LayoutError { place, kind } = &error;
            let at = match place.part {
                PlaceIn::Layout => section.place(place.key),
                PlaceIn::Field(i) => field_sections[i].place(place.key),
                PlaceIn::Check(i) => check_sections[i].place(place.key),
            };
            let mend = match kind {
                LayoutErrorKind::BadLength { .. } => "write 1 to 256".to_owned(),
                kind => kind.mend(),
            };
            mistakes.add(at, error.to_string(), mend);
            None
        }
    }
}

/// Which of the fields, or of the checks, are not settled.
fn read_unsettled(
    sections: &[Section<'_, '_>],
    part: impl Fn(usize) -> PlaceIn,
    mistakes: &mut Mistakes,
) -> Vec<Unsettled> {
    let mut unsettled = Vec::new();
    for (index, section) in sections.iter().enumerate() {
        let settled = section.flag(SETTLED, mistakes).is_none_or(|flag| flag.value);
        let open = section.has(OPEN).then(|| read_span(section, OPEN, mistakes)).flatten();
        if !settled {
            unsettled.push(Unsettled { part: part(index), open });
        } else if section.has(OPEN) {
            mistakes.add(
                section.place(OPEN),
                "bits are open, and nothing says that this is not settled",
                "write settled = false beside it, or leave open out",
            );
        }
    }
    unsettled
}

fn read_field(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Option<Field> {
    section.only("a field", &FIELD_KEYS, mistakes);
    section.require("the field", "role", "\"site\", \"card\" or a name of its own", mistakes);
    section.require("the field", "span", "\"2-9\"", mistakes);
    let role = section.text("role", mistakes);
    let span = read_span(section, "span", mistakes);
    let code = match section.has("code") {
        true => section.choice("code", &CODES, mistakes),
        false => Some(Code::Binary),
    };
    let part_of = section.choice("part_of", &PARTS, mistakes);
    let serial = section.flag("serial", mistakes).is_some_and(|flag| flag.value);
    let factor = match section.has("factor") {
        true => section.whole("factor", mistakes).map(|n| u64::try_from(n.value).unwrap_or(0)),
        false => Some(1),
    };
    let offset = match section.has("offset") {
        true => section.signed("offset", mistakes).map(|n| n.value),
        false => Some(0),
    };
    let print = PrintRule { factor: factor?, offset: offset? };
    Some(Field { role: Role::new(role?.value), span: span?, code: code?, part_of, serial, print })
}

fn read_check(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Option<Check> {
    section.require("the check", "kind", "\"even\", \"odd\", \"fixed\" or \"lrc\"", mistakes);
    let kind = section.choice("kind", &KINDS, mistakes)?;
    match kind {
        Kind::Even | Kind::Odd => {
            section.only("a parity check", &["kind", "bit", "over", SETTLED, OPEN], mistakes);
            section.require("the parity check", "bit", "1", mistakes);
            section.require("the parity check", "over", "\"2-13\"", mistakes);
            let bit = read_bit(section, mistakes);
            let over = read_span(section, "over", mistakes);
            Some(Check::Parity { odd: matches!(kind, Kind::Odd), bit: bit?, over: over? })
        }
        Kind::Fixed => {
            section.only("a fixed check", &["kind", "span", "value", SETTLED, OPEN], mistakes);
            section.require("the fixed check", "span", "\"1-5\"", mistakes);
            section.require("the fixed check", "value", "0b11010", mistakes);
            let span = read_span(section, "span", mistakes);
            let value = section.whole("value", mistakes);
            Some(Check::Fixed { span: span?, value: value?.value })
        }
        Kind::Lrc => {
            let known = ["kind", "group", "over", "at", SETTLED, OPEN];
            section.only("a longitudinal check", &known, mistakes);
            section.require("the longitudinal check", "group", "5", mistakes);
            section.require("the longitudinal check", "over", "\"1-195\"", mistakes);
            section.require("the longitudinal check", "at", "\"196-200\"", mistakes);
            let group = section.whole("group", mistakes);
            let over = read_span(section, "over", mistakes);
            let at = read_span(section, "at", mistakes);
            let group = usize::try_from(group?.value).unwrap_or(TOO_LARGE);
            Some(Check::Lrc { group, over: over?, at: at? })
        }
    }
}

/// A span is text; a lone bit may also be a plain number.
fn read_span(section: &Section<'_, '_>, key: &str, mistakes: &mut Mistakes) -> Option<Span> {
    let Placed { value, bytes } = section.text(key, mistakes)?;
    match value.parse::<Span>() {
        Ok(span) => Some(span),
        Err(error) => {
            let (message, mend) = split_mend(&error.to_string());
            mistakes.add(bytes, message, mend);
            None
        }
    }
}

fn read_bit(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Option<Position> {
    let Placed { value, bytes } = section.whole("bit", mistakes)?;
    let position = usize::try_from(value).ok().and_then(Position::new);
    if position.is_none() {
        mistakes.add(bytes, format!("there is no bit {value}"), "bits are counted from 1 to 256");
    }
    position
}

/// Messages of the form "what: how to mend it".
fn split_mend(message: &str) -> (String, String) {
    let (what, mend) =
        message.split_once(": ").unwrap_or((message, "name each bit once, from 1 to 256"));
    (what.to_owned(), mend.to_owned())
}
