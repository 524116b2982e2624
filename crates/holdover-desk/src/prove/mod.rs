//! `holdover prove`: every row does what is expected of it, or is shown.

mod cases;
mod page;
mod plan;

use std::io::Write;
use std::path::Path;

use holdover::bits::Capture;
use holdover::layout::Table;
use holdover::plan::Plan;
use holdover::prove as proof;
use holdover::states::RowState;
use serde_json::Value;

use crate::answer::{self, Came, CaseCame, Number, Place, Proof, SlotsCame};
use crate::care;
use crate::fail::{Fail, Outcome};
use crate::files;
use crate::formats::write_csv;
use crate::host::Host;
use crate::html;
use crate::mask;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::terminal::{self, BAD, GOOD, in_style};

/// What came of one row.
pub struct Row {
    /// "line" of the input, or "batch" of the site file.
    pub name: &'static str,
    pub number: u64,
    /// A blocked card is to stay shut.
    pub state: RowState,
    pub holds: bool,
    /// The card was not read: nothing is proved of it, and nothing else is wrong.
    pub unread: bool,
    pub expected: Side,
    pub got: Side,
    /// The card's bits; a batch has none of its own.
    pub bits: Option<Capture>,
}

/// One side of a row, made JSON where it is shown alone: a roster has a million
/// rows, and as JSON each takes ten times as much.
pub enum Side {
    Case(proof::CaseAnswer),
    Card(proof::Outcome),
}

impl Side {
    /// As an answer, without the card numbers where they are to be hidden.
    fn answer(&self, hide: bool) -> Came {
        let shown = |number: &String| match hide {
            true => mask::tail(number),
            false => number.clone(),
        };
        match self {
            Side::Case(case) => Came::Case(CaseCame {
                verdict: case.verdict.clone(),
                layout: case.layout.clone(),
                site: case.site.clone(),
                card: case.card.as_ref().map(shown),
            }),
            Side::Card(card) => Came::Slots(SlotsCame {
                slots: card.slots.iter().map(|slot| *slot as u32).collect(),
                site: card.site.map(Number::from),
                panel_number: card.panel_number.as_ref().map(shown),
                also: card.also.iter().map(|card| answer::CardRef::from(*card)).collect(),
                refused: card.refused.clone(),
            }),
        }
    }

    /// The answer as JSON, whose keys are the words that people read.
    pub fn shown(&self, hide: bool) -> Value {
        // It has names for keys, and nothing in it fails to be JSON.
        serde_json::to_value(self.answer(hide)).unwrap_or_default()
    }
}

impl Row {
    /// As an answer.
    fn answer(&self, hide: bool) -> Proof {
        Proof {
            row: match self.name {
                "batch" => Place::Batch(self.number),
                _ => Place::Line(self.number),
            },
            state: (self.state == RowState::Blocked).then(|| self.state.word().to_owned()),
            holds: self.holds,
            unread: self.unread,
            expected: self.expected.answer(hide),
            got: self.got.answer(hide),
        }
    }

    /// What it should come to, in words.
    pub fn expected(&self, hide: bool) -> String {
        match self.state {
            RowState::Blocked => "stays shut".to_owned(),
            RowState::Kept | RowState::Boxed => words(&self.expected.shown(hide)),
        }
    }

    /// What it comes to, in words.
    pub fn got(&self, hide: bool) -> String {
        let value = self.got.shown(hide);
        let got = words(&value);
        match self.state {
            _ if self.unread => "not read".to_owned(),
            RowState::Blocked if value["slots"].as_array().is_none_or(Vec::is_empty) => {
                "no slot admits it".to_owned()
            }
            RowState::Blocked if self.holds => format!("{got}, which no kept card has"),
            _ => got,
        }
    }
}

/// The rows, and what they were run through.
pub struct Proved {
    pub rows: Vec<Row>,
    /// The layouts.
    pub table: Table,
    /// The plan, where it was one.
    pub plan: Option<Plan>,
    /// The roster's rows by state; nothing for cases.
    pub sum: String,
    /// What there is to say of the files.
    pub notes: Vec<String>,
    /// The roster is not the one that the plan and its sheets were made for.
    pub stale: bool,
}

impl Proved {
    /// Rows that do not hold, and are not merely unread.
    pub fn failed(&self) -> usize {
        self.rows.iter().filter(|row| !row.holds && !row.unread).count()
    }

    /// Cards that were not read.
    pub fn unread(&self) -> usize {
        self.rows.iter().filter(|row| row.unread).count()
    }

    /// Whether no card must open: such a proof of a plan is none.
    pub fn is_empty(&self) -> bool {
        self.plan.is_some() && self.rows.iter().all(|row| row.state != RowState::Kept)
    }

    /// What to do after it.
    pub fn next(&self) -> Option<&'static str> {
        Some(match (&self.plan, self.failed()) {
            (None, 0) => return None,
            (None, _) => {
                "read the rows' cards again, or mend the table; `holdover table diff` says what a \
                 change of it does"
            }
            (Some(_), 0) if self.unread() > 0 => {
                "read these cards (`holdover plan` lists them by door and holder), fill in their bits, \
                 plan again, and prove that plan"
            }
            (Some(_), 0) if self.stale => {
                "plan again with this roster, and write the sheets and the enrolment list anew: \
                 those of this plan are of the roster as it was"
            }
            (Some(_), 0) if self.is_empty() => "fill in the roster: a kept card a row",
            (Some(_), 0) => {
                "key the worksheet in with someone who reads it back, and try a card of each slot at \
                 a door: a proof on paper does not test the wiring"
            }
            (Some(_), _) => {
                "mend these cards in the roster, or the ranges in the site file, and plan again: \
                 nothing is keyed in before"
            }
        })
    }
}

pub fn run(host: &dyn Host, request: &request::Prove) -> Result<Outcome, Fail> {
    let (proved, written) = proved(host, request)?;
    let mut out = terminal::Page::of(host, request.format == Format::Text);
    match request.format {
        Format::Json => {
            for row in &proved.rows {
                let row = row.answer(request.mask);
                writeln!(out, "{}", serde_json::to_string(&row).map_err(answer::no_json)?)?;
            }
        }
        Format::Csv => print_csv(&mut out, &proved.rows, request.mask)?,
        Format::Text => {
            print_text(&mut out, &proved, request)?;
            if let Some(written) = written {
                out.say("written  ", &written)?;
            }
        }
    }
    out.flush()?;
    let all = proved.failed() == 0 && proved.unread() == 0 && !proved.is_empty();
    Ok(if all { Outcome::Done } else { Outcome::CardsWrong })
}

/// The rows themselves; files that are asked for are written all the same.
pub fn answers(host: &dyn Host, request: &request::Prove) -> Result<Vec<Proof>, Fail> {
    let (proved, _) = proved(host, request)?;
    Ok(proved.rows.iter().map(|row| row.answer(request.mask)).collect())
}

/// Proves what is named, once no output would replace any of it, and writes the
/// page; what is written comes with it.
fn proved(host: &dyn Host, request: &request::Prove) -> Result<(Proved, Option<String>), Fail> {
    let inputs = || {
        let own = [request.plan.as_deref(), request.site.as_deref()].into_iter().flatten();
        let named = request
            .roster
            .iter()
            .chain(&request.list)
            .chain(&request.cases)
            .chain(&request.tables.0);
        own.chain(named.map(Path::new))
    };
    files::keep_apart(host, inputs(), &request.record)?;
    let target = html::Target::of(host, &request.page, inputs(), &request.record)?;
    let proved = match (&request.plan, &request.roster, &request.cases) {
        (Some(path), Some(roster), _) => plan::rows(host, path, roster, request)?,
        (_, _, Some(file)) => cases::rows(host, file, request)?,
        _ => return Err(Fail::said("nothing to prove: give --plan and --roster, or --cases")),
    };
    proved.notes.iter().for_each(|note| terminal::remark(host, note));
    if request.format != Format::Text && proved.plan.is_some() {
        terminal::remark(host, &proved.sum);
        if proved.is_empty() {
            terminal::remark(host, NOTHING_PROVED);
        }
        if proved.unread() > 0 {
            terminal::remark(host, &not_proved(proved.unread()));
        }
    }
    let page = |target: &html::Target<'_>| crate::prove::page::page(&proved, request, target.hide);
    let written = target.map(|target| target.write(host, &page(&target))).transpose()?;
    Ok((proved, written))
}

fn print_csv(out: &mut impl Write, rows: &[Row], mask: bool) -> Result<(), Fail> {
    let mut csv = csv::Writer::from_writer(out);
    write_csv(&mut csv, &["row", "holds", "expected", "got"])?;
    for row in rows {
        let row_name = format!("{} {}", row.name, row.number);
        let cells = [row_name, row.holds.to_string(), row.expected(mask), row.got(mask)];
        write_csv(&mut csv, &cells)?;
    }
    Ok(csv.flush()?)
}

fn print_text(
    out: &mut terminal::Page,
    proved: &Proved,
    request: &request::Prove,
) -> Result<(), Fail> {
    let (rows, failed, empty) = (&proved.rows, proved.failed(), proved.is_empty());
    for row in rows.iter().filter(|row| !row.holds && !row.unread) {
        let line = format!("{} {}", row.name, row.number);
        let what = match row.state {
            RowState::Blocked => "is blocked, and opens",
            RowState::Kept | RowState::Boxed => "does not hold",
        };
        writeln!(out, "{line:<10} {}", in_style(BAD, what))?;
        out.say("  expected  ", &row.expected(request.mask))?;
        out.say("  got       ", &row.got(request.mask))?;
    }
    if proved.plan.is_some() {
        out.say("roster  ", &proved.sum)?;
    }
    let (unread, all) = (proved.unread(), rows.len() - proved.unread());
    let verdict = match failed {
        0 if empty => in_style(BAD, NOTHING_PROVED),
        0 if unread > 0 => format!("all {all} other rows hold"),
        0 => in_style(GOOD, &format!("all {all} rows hold")),
        n => in_style(BAD, &format!("{n} of {all} rows do not hold")),
    };
    writeln!(out, "{verdict}")?;
    if unread > 0 {
        writeln!(out, "{}", in_style(BAD, &not_proved(unread)))?;
        let lines: Vec<usize> =
            rows.iter().filter(|row| row.unread).map(|row| row.number as usize).collect();
        out.say("unread  ", &crate::formats::first(&lines))?;
    }
    if let Some(next) = proved.next() {
        out.say("next  ", next)?;
    }
    care::say(out)
}

/// What cards without a read come to.
pub fn not_proved(unread: usize) -> String {
    match unread {
        1 => "1 card was not read, so it is not proved".to_owned(),
        n => format!("{n} cards were not read, so they are not proved"),
    }
}

/// What a roster without a kept card comes to.
pub const NOTHING_PROVED: &str = "no kept card, so nothing is proved";

/// An object as people read it: "layout std26, site 65, card 4321".
pub fn words(value: &Value) -> String {
    match value {
        Value::Object(map) => {
            let parts: Vec<String> = map
                .iter()
                .filter(|(_, value)| {
                    !value.is_null() && value.as_array().is_none_or(|a| !a.is_empty())
                })
                .map(|(key, value)| match (key.as_str(), value) {
                    ("also", Value::Array(cards)) => {
                        let cards: Vec<String> = cards
                            .iter()
                            .map(|card| match card {
                                Value::Number(line) => format!("line {line}"),
                                other => words(other),
                            })
                            .collect();
                        format!("which {} opens too", cards.join(" and "))
                    }
                    ("slots", Value::Array(slots)) if slots.len() == 1 => {
                        format!("slot {}", words(value))
                    }
                    _ => format!("{} {}", key.replace('_', " "), words(value)),
                })
                .collect();
            parts.join(", ")
        }
        Value::Array(list) => list.iter().map(words).collect::<Vec<_>>().join(" and "),
        Value::String(text) => plain(text),
        other => other.to_string(),
    }
}
