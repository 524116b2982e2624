//! A layout drawn: a ruler in two countings, bits, fields as named brackets
//! under them, covers of checks as hatching.

use holdover::bits::Capture;
use holdover::layout::Layout;
use holdover::plan::PlanSlot;
use maud::{Markup, html};

use super::sheet::Own;
use super::svg::{Anchor, Picture, Pieces, n, path, rect, spread, text};
use crate::draw::{self, COVERED, FAULT, Kind, Row};

/// Size of a bit's cell, and of the columns beside the bits.
pub const CELL: f64 = 15.0;
pub const LABEL: f64 = 62.0;
const TAIL: f64 = 38.0;

/// Bits in a row of the picture, as wide as the page; a few more where they
/// are the last.
const ROW: usize = 40;
const SPILL: usize = 4;

/// Rows as high as their contents.
const RULER: f64 = 14.0;
const BITS: f64 = 20.0;
const FIELDS: f64 = 24.0;
const CHECK: f64 = 17.0;
const GAP: f64 = 14.0;

/// Width of a letter of a field's name, a judgement for the fonts at hand.
const LETTER: f64 = 6.8;

/// A counting of bits: its name, and the first bit's number.
pub type Counting = (&'static str, usize);

/// From 1, as published layouts are numbered, and from 0.
pub const BOTH: [Counting; 2] = [("from 1", 1), ("from 0", 0)];

/// The panel's own counting first.
pub fn countings(first_bit: usize) -> [Counting; 2] {
    match first_bit {
        0 => [("panel: 0 …", 0), ("from 1", 1)],
        _ => [("panel: 1 …", 1), ("from 0", 0)],
    }
}

/// Neighbouring bits with a name.
#[derive(Debug, Clone)]
pub struct Bracket {
    pub low: usize,
    pub len: usize,
    pub name: String,
}

/// The fields of a layout; an arrow where a run reads towards the front.
pub fn fields(layout: &Layout) -> Vec<Bracket> {
    let mut brackets = Vec::new();
    for field in layout.fields_in_order() {
        for run in field.span.runs() {
            let arrow = if run.last < run.first { "← " } else { "" };
            brackets.push(Bracket {
                low: run.first.offset().min(run.last.offset()),
                len: run.len(),
                name: format!("{arrow}{}", field.role.name()),
            });
        }
    }
    brackets
}

/// What a slot reads of the bits.
pub fn slot_runs(slot: &PlanSlot, first_bit: usize) -> Vec<Bracket> {
    let run = |run: holdover::plan::PanelRun, name: &str| Bracket {
        low: run.start.saturating_sub(first_bit),
        len: run.length,
        name: name.to_owned(),
    };
    let site = slot.site.map(|site| run(site, "site code"));
    site.into_iter().chain([run(slot.card, "card number")]).collect()
}

/// What is drawn, row by row.
pub struct Drawing {
    title: String,
    length: usize,
    countings: [Counting; 2],
    /// The bits of a word, `*` where they are hidden; none for a layout alone.
    bits: Vec<char>,
    brackets: Vec<(&'static str, Vec<Bracket>)>,
    checks: Vec<Row>,
}

impl Drawing {
    /// A layout without a word.
    pub fn of(layout: &Layout, countings: [Counting; 2]) -> Drawing {
        Drawing {
            title: format!("Layout {}, {} bits", layout.id(), layout.length()),
            length: layout.length(),
            countings,
            bits: vec!['·'; layout.length()],
            brackets: vec![("field", fields(layout))],
            checks: draw::checks(layout, None),
        }
    }

    /// A word over its layout.
    pub fn word(layout: &Layout, word: &Capture, restored: Option<usize>) -> Drawing {
        let mut drawing = Drawing::bits(word, restored);
        drawing.title = format!("Capture over layout {}", layout.id());
        drawing.brackets = vec![("field", fields(layout))];
        drawing.checks = draw::checks(layout, Some(word.wide()));
        drawing
    }

    /// Bits that no layout explains.
    pub fn bits(word: &Capture, restored: Option<usize>) -> Drawing {
        let bit = |offset: usize| match (restored == Some(offset), word.wide().bit(offset)) {
            (true, _) => '?',
            (false, true) => '1',
            (false, false) => '0',
        };
        Drawing {
            title: "Capture".to_owned(),
            length: word.len(),
            countings: BOTH,
            bits: (0..word.len()).map(bit).collect(),
            brackets: Vec::new(),
            checks: Vec::new(),
        }
    }

    /// A further row of brackets, such as what a panel's slot reads.
    pub fn with(mut self, label: &'static str, brackets: Vec<Bracket>) -> Drawing {
        self.brackets.push((label, brackets));
        self
    }

    /// What the picture tells, in sentences.
    fn desc(&self) -> String {
        let first = self.countings[0].1;
        let mut said = Vec::new();
        for (label, brackets) in &self.brackets {
            for bracket in brackets {
                let (from, to) = (bracket.low + first, bracket.low + first + bracket.len - 1);
                said.push(format!("{label} {}: bits {from} to {to}", bracket.name));
            }
        }
        for check in &self.checks {
            said.push(match check.kind {
                Kind::Check { holds: Some(true) } => format!("check {} holds", check.label),
                Kind::Check { holds: Some(false) } => format!("check {} fails", check.label),
                _ => format!("check {}", check.label),
            });
        }
        format!("{} bits, counted from {first}. {}.", self.length, said.join("; "))
    }

    /// The picture, and below it the names that found no room in it.
    pub fn figure(self, caption: Markup) -> Markup {
        let mut keys = Keys::default();
        let mut pieces = Pieces::default();
        let mut y = 0.0;
        let mut from = 0;
        let mut width: f64 = 0.0;
        while from < self.length {
            let to = if self.length - from <= ROW + SPILL { self.length } else { from + ROW };
            y = self.block(&mut pieces, &mut keys, y, from, to);
            width = width.max(LABEL + (to - from) as f64 * CELL + TAIL);
            from = to;
            if from < self.length {
                y += GAP;
            }
        }
        let desc = self.desc();
        let picture =
            Picture { title: self.title, desc, width, height: y + 2.0, body: pieces.markup() };
        let caption = html! { (caption) (keys.legend()) };
        picture.figure(caption)
    }

    fn block(&self, out: &mut Pieces, keys: &mut Keys, mut y: f64, from: usize, to: usize) -> f64 {
        let x = |offset: usize| LABEL + (offset - from) as f64 * CELL;
        let middle = |offset: usize| x(offset) + CELL / 2.0;
        for (label, first) in self.countings {
            let base = y + RULER - 3.0;
            out.add(text(0.0, base, Anchor::Start, "s", label));
            for offset in from..to {
                let number = offset + first;
                if offset == from || number.is_multiple_of(5) && offset > from + 1 {
                    out.add(text(middle(offset), base, Anchor::Middle, "s", &number.to_string()));
                }
            }
            y += RULER;
        }
        // A rule with a tick at every bit, a longer one where a number stands.
        let mut ticks = format!("M{} {}H{}", n(x(from)), n(y), n(x(to)));
        for offset in from..to {
            let long = (offset + self.countings[0].1).is_multiple_of(5);
            let tick = if long { 4.0 } else { 2.0 };
            ticks += &format!("M{} {}v-{}", n(middle(offset)), n(y), n(tick));
        }
        out.add(path(&ticks, "hair"));
        let base = y + BITS - 5.0;
        for offset in (from..to).filter(|offset| self.bits[*offset] == '*') {
            out.add(rect(x(offset) + 1.0, y + 3.0, CELL - 2.0, BITS - 6.0, "hid"));
        }
        let shown = |offset: &usize| self.bits[*offset] != '*';
        let characters: String = (from..to).filter(shown).map(|offset| self.bits[offset]).collect();
        out.add(spread((from..to).filter(shown).map(middle), base, "b", &characters));
        y += BITS;
        for (label, brackets) in &self.brackets {
            let here = |b: &&Bracket| b.low < to && b.low + b.len > from;
            let mut here = brackets.iter().filter(here).peekable();
            if here.peek().is_none() {
                continue;
            }
            out.add(text(0.0, y + 17.0, Anchor::Start, "s", label));
            for bracket in here {
                out.add(drawn(bracket, keys, y, from, to));
            }
            y += FIELDS;
        }
        for row in &self.checks {
            if row.cells[from..to].iter().all(|cell| *cell == ' ') && to != self.length {
                continue;
            }
            out.add(check(row, y, from, to, to == self.length));
            y += CHECK;
        }
        y
    }
}

/// A bracket under its bits, open where it goes on in another row.
fn drawn(bracket: &Bracket, keys: &mut Keys, y: f64, from: usize, to: usize) -> Markup {
    let end = bracket.low + bracket.len;
    let (low, high) = (bracket.low.max(from), end.min(to));
    let (x0, x1) =
        (LABEL + (low - from) as f64 * CELL + 1.5, LABEL + (high - from) as f64 * CELL - 1.5);
    let left = if low == bracket.low { "v5" } else { "m0 5" };
    let right = if high == end { "v-5" } else { "" };
    let line = format!("M{} {}{left}H{}{right}", n(x0), n(y + 1.0), n(x1));
    let name = keys.name(&bracket.name, x1 - x0);
    html! {
        (path(&line, "ink"))
        (text((x0 + x1) / 2.0, y + 17.0, Anchor::Middle, "f", &name))
    }
}

/// A row of a check: hatching, and a letter on the check's own bits.
fn check(row: &Row, y: f64, from: usize, to: usize, last: bool) -> Markup {
    let mut out = Pieces::default();
    out.add(text(0.0, y + 12.0, Anchor::Start, "s", &row.label));
    let mut offset = from;
    while offset < to {
        let cell = row.cells[offset];
        let same = row.cells[offset..to].iter().take_while(|other| **other == cell).count();
        let x = LABEL + (offset - from) as f64 * CELL;
        match cell {
            ' ' => {}
            COVERED => {
                out.add(rect(x + 0.5, y + 3.0, same as f64 * CELL - 1.0, CHECK - 6.0, "cov"));
            }
            letter => {
                for i in 0..same {
                    let x = x + i as f64 * CELL;
                    let class = if letter == FAULT { "box bad" } else { "box" };
                    out.add(rect(x + 1.0, y + 1.5, CELL - 2.0, CHECK - 3.0, class));
                    let middle = x + CELL / 2.0;
                    out.add(text(middle, y + 12.5, Anchor::Middle, "l", &letter.to_string()));
                }
            }
        }
        offset += same;
    }
    if let (Kind::Check { holds: Some(holds) }, true) = (row.kind, last) {
        let x = LABEL + (to - from) as f64 * CELL + 5.0;
        let (class, words) = if holds { ("s", "holds") } else { ("f bad", "FAILS") };
        out.add(text(x, y + 12.0, Anchor::Start, class, words));
    }
    out.markup()
}

/// Letters that stand for names too long for their bracket.
#[derive(Default)]
pub struct Keys(Vec<String>);

impl Keys {
    /// The name, or the letter that stands for it.
    pub fn name(&mut self, name: &str, room: f64) -> String {
        if name.chars().count() as f64 * LETTER <= room {
            return name.to_owned();
        }
        let at = self.0.iter().position(|known| known == name).unwrap_or_else(|| {
            self.0.push(name.to_owned());
            self.0.len() - 1
        });
        key(at)
    }

    /// What the letters stand for.
    pub fn legend(&self) -> Markup {
        html! {
            @if !self.0.is_empty() {
                p.key {
                    @for (at, name) in self.0.iter().enumerate() {
                        @if at > 0 { ", " }
                        b { (key(at)) } " " (Own(name))
                    }
                }
            }
        }
    }
}

fn key(at: usize) -> String {
    let letter = char::from(b'a' + (at % 26) as u8);
    if at < 26 { letter.to_string() } else { format!("{letter}{}", at / 26) }
}
