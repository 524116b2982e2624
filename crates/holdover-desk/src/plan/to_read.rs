//! The cards that are still to be read: by door and holder, with what the print
//! alone allows.

use std::collections::HashMap;

use holdover::plan::{CardRef, Enrolment};
use maud::{Markup, html};

use crate::answer;
use crate::html::sheet::{cell, code, left_out, table};
use crate::mask::Shown;
use crate::plain::plain;
use crate::roster::{Roster, ToRead};

/// Cards told one by one in text and on sheets; the rest is counted.
const TOLD: usize = 20;
const ON_PAGE: usize = 200;

/// What to do with them.
pub const MEND: &str = "read what is listed, fill in the bits, and plan again";

/// A card to read, with the panel number it is counted on as.
pub struct Line<'r> {
    card: &'r ToRead,
    panel_number: Option<&'r str>,
    shown: &'r Shown,
}

/// The cards to read, by door and holder.
pub fn lines<'r>(roster: &'r Roster, list: &'r [Enrolment], shown: &'r Shown) -> Vec<Line<'r>> {
    if roster.to_read.is_empty() {
        return Vec::new();
    }
    let numbers: HashMap<usize, &str> = list
        .iter()
        .filter_map(|line| match (line.card, &line.opens) {
            (CardRef::Line(row), Some(opens)) => Some((row, opens.panel_number.as_str())),
            _ => None,
        })
        .collect();
    let number = |card: &ToRead| numbers.get(&card.lines[0]).copied();
    let line = |card| Line { card, panel_number: number(card), shown };
    roster.to_read.iter().map(line).collect()
}

impl Line<'_> {
    fn door(&self) -> String {
        plain(self.card.door.as_deref().unwrap_or("no door named"))
    }

    fn holder(&self) -> String {
        plain(self.card.holder.as_deref().unwrap_or("no holder named"))
    }

    fn print(&self) -> String {
        plain(self.shown.print(&self.card.printed))
    }

    /// What it is counted on as, or why it is not.
    fn by_print(&self) -> String {
        let state = match self.card.state.word() {
            "kept" => String::new(),
            word => format!("{word}, "),
        };
        let what = match (&self.card.by_print, self.panel_number) {
            (Ok(how), Some(number)) => {
                format!("counted on as panel number {} ({how})", self.shown.number(number))
            }
            (Ok(how), None) => format!("counted on ({how})"),
            (Err(why), _) => format!("not planned for: {why}"),
        };
        format!("{state}{what}{}", self.card.others())
    }

    /// One line: "lines 12 and 15, M. Loom, print 04321".
    fn card(&self) -> String {
        let print = match self.card.printed.is_empty() {
            true => String::new(),
            false => format!(", print {}", self.print()),
        };
        format!("{}, {}{print}", self.card.rows(), self.holder())
    }

    fn answer(&self) -> answer::ToRead {
        let (note, counted_on) = match &self.card.by_print {
            Ok(how) => (how, true),
            Err(why) => (why, false),
        };
        answer::ToRead {
            lines: self.card.lines.iter().map(|line| *line as u64).collect(),
            door: self.card.door.clone(),
            holder: self.card.holder.clone(),
            printed: self.shown.print(&self.card.printed).to_owned(),
            state: self.card.state.word().to_owned(),
            counted_on,
            panel_number: self.panel_number.map(|number| self.shown.number(number)),
            note: note.clone(),
        }
    }
}

/// How many there are: "5 cards were not read, 2 counted on by what print or list
/// tell, 3 not planned for".
pub fn sum(roster: &Roster) -> String {
    let all = roster.to_read.len();
    let counted = roster.to_read.iter().filter(|card| card.is_counted_on()).count();
    let cards = if all == 1 { "card was" } else { "cards were" };
    let what = match (counted, all - counted) {
        (0, _) => "not planned for".to_owned(),
        (_, 0) => "counted on by what print or list tell".to_owned(),
        (some, others) => {
            format!("{some} counted on by what print or list tell, {others} not planned for")
        }
    };
    format!("{all} {cards} not read, {what}: {MEND}")
}

/// As paragraphs: the sum, then a card each.
pub fn text(roster: &Roster, list: &[Enrolment], shown: &Shown) -> Vec<String> {
    let lines = lines(roster, list, shown);
    if lines.is_empty() {
        return Vec::new();
    }
    let told = lines.iter().take(TOLD);
    let told = told.map(|line| format!("{}: {}: {}", line.door(), line.card(), line.by_print()));
    let mut out: Vec<String> = [sum(roster)].into_iter().chain(told).collect();
    if lines.len() > TOLD {
        out.push(format!("and {} more; --format json lists them all", lines.len() - TOLD));
    }
    out
}

/// As boxes to tick, under their doors.
pub fn boxes(roster: &Roster, shown: &Shown) -> Vec<String> {
    let mut out = Vec::new();
    let mut door = None;
    for line in lines(roster, &[], shown) {
        if door != Some(line.door()) {
            out.push(format!("    at {}", line.door()));
            door = Some(line.door());
        }
        out.push(format!("    [ ] {}", line.card()));
    }
    out
}

/// As JSON.
pub fn answers(roster: &Roster, list: &[Enrolment], shown: &Shown) -> Vec<answer::ToRead> {
    lines(roster, list, shown).iter().map(Line::answer).collect()
}

/// As a table of the page.
pub fn page(roster: &Roster, list: &[Enrolment], shown: &Shown) -> Markup {
    let lines = lines(roster, list, shown);
    let more = lines.len().saturating_sub(ON_PAGE) as u64;
    let rows = lines.iter().take(ON_PAGE).map(|line| {
        vec![
            html! { span.tickbox {} },
            cell(line.door()),
            cell(line.holder()),
            cell(line.card.rows()),
            code(line.print()),
            cell(line.by_print()),
        ]
    });
    html! {
        p { (sum(roster)) "." }
        (table(
            "Cards that were not read",
            &["read", "door", "holder", "roster", "printed", "until then"],
            rows,
        ))
        (left_out(more, "cards", "--format json lists them all"))
    }
}
