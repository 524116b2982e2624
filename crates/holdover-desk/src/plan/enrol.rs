//! The enrolment list: what the panel will know each person by.

use holdover::plan::{CardRef, Enrolment, Plan, RosterRow, RowState};
use holdover::site::CardBatch;

use crate::fail::Fail;
use crate::formats::write_csv;
use crate::mask::Shown;
use crate::roster::Roster;

const HEAD: [&str; 7] = ["card", "holder", "panel_number", "slot", "printed", "note", "plan"];

/// The kept cards, each with what it comes up as.
pub fn list(
    plan: &Plan,
    rows: &[RosterRow],
    batches: &[CardBatch],
) -> Result<Vec<Enrolment>, Fail> {
    let list = plan.enrolment(rows, batches).map_err(|error| Fail::said(error.to_string()))?;
    Ok(list.into_iter().filter(|line| line.state == RowState::Kept).collect())
}

/// The roster lines a slot serves, with their panel numbers.
pub fn of_slot(list: &[Enrolment], slot: usize) -> impl Iterator<Item = (usize, &str)> {
    list.iter().filter_map(move |line| {
        let CardRef::Line(row) = line.card else { return None };
        let opens = line.opens.as_ref().filter(|opens| opens.slot == slot)?;
        Some((row, opens.panel_number.as_str()))
    })
}

/// The list's rows, as [`HEAD`] names their cells: a kept row a record, then the
/// issued batches as ranges, then the cards that are to be read first.
pub fn rows<'l>(
    plan: &'l Plan,
    list: &'l [Enrolment],
    roster: &'l Roster,
    shown: &'l Shown,
) -> impl Iterator<Item = [String; 7]> + 'l {
    let (wrong, unread) = (roster.misprinted(), roster.unread());
    let listed = in_order(list, shown).into_iter().map(move |line| {
        let holder = line.holder.as_deref().unwrap_or_default();
        let number = match (&line.opens, &line.last_panel_number) {
            (Some(_), Some(_)) if shown.mask => String::new(),
            (Some(opens), Some(last)) if opens.panel_number != *last => {
                format!("{} to {}", shown.number(&opens.panel_number), shown.number(last))
            }
            (Some(opens), _) => shown.number(&opens.panel_number),
            (None, _) => String::new(),
        };
        let card = match (line.card, line.numbers) {
            (CardRef::Batch(batch), Some((first, last))) if !shown.mask => {
                format!("batch {}, cards {first} to {last}", batch.batch)
            }
            (CardRef::Batch(batch), _) if shown.mask => format!("batch {}", batch.batch),
            (card, _) => self::card(card),
        };
        let note = match (&line.opens, line.renumbered) {
            (None, _) => "no slot reads this card, or its numbers do not go up with its cards",
            _ if matches!(line.card, CardRef::Line(row) if unread.contains(&row)) => BY_PRINT,
            (Some(_), true) if matches!(line.card, CardRef::Line(row) if wrong.contains(&row)) => {
                "print and bits disagree: check this card"
            }
            // Of a card without a number on it there is nothing to tell.
            (Some(_), true) if line.numbers.is_none() && !has_number(line) => "",
            (Some(_), true) => "not the number printed on the card: tell the holder",
            (Some(_), false) => "",
        };
        let slot = line.opens.as_ref().and_then(|o| plan.slots().get(o.slot.wrapping_sub(1)));
        [
            card,
            holder.to_owned(),
            number,
            slot.map_or_else(String::new, |slot| format!("{} {}", slot.slot, slot.name)),
            shown.print(line.printed.as_deref().unwrap_or_default()).to_owned(),
            note.to_owned(),
            shown.mark.clone(),
        ]
    });
    let to_read = roster.to_read.iter();
    listed.chain(to_read.filter(|c| !c.is_counted_on() && c.state == RowState::Kept).map(|card| {
        let holder = card.holder.clone().unwrap_or_default();
        let printed = shown.print(&card.printed).to_owned();
        let (none, mark) = (String::new, shown.mark.clone());
        [card.rows(), holder, none(), none(), printed, NOT_READ.to_owned(), mark]
    }))
}

/// What there is to say of cards that were not read: of those that are counted
/// on, and of the others.
const BY_PRINT: &str = "not read: the number is what print or list tell";
const NOT_READ: &str = "not read: no number yet";

/// The lines in the list's order; in a copy that hides numbers in the roster's,
/// a batch once: order and gaps tell of numbers.
fn in_order<'l>(list: &'l [Enrolment], shown: &Shown) -> Vec<&'l Enrolment> {
    let mut lines: Vec<&Enrolment> = list.iter().collect();
    if shown.mask {
        let place = |line: &Enrolment| match line.card {
            CardRef::Line(row) => (0, row),
            CardRef::Batch(batch) => (1, batch.batch),
        };
        lines.sort_by_key(|line| place(line));
        lines.dedup_by_key(|line| place(line));
    }
    lines
}

/// Whether a number is printed on the card.
fn has_number(line: &Enrolment) -> bool {
    line.printed.as_ref().is_some_and(|printed| printed.bytes().any(|b| b.is_ascii_digit()))
}

/// The list as CSV.
pub fn csv(records: &[[String; 7]]) -> Result<String, Fail> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    write_csv(&mut csv, &HEAD)?;
    records.iter().try_for_each(|record| write_csv(&mut csv, record))?;
    let bytes =
        csv.into_inner().map_err(|error| Fail::said(format!("cannot write CSV: {error}")))?;
    String::from_utf8(bytes).map_err(|error| Fail::said(format!("cannot write CSV: {error}")))
}

/// The list as a workbook.
pub fn workbook(records: &[[String; 7]]) -> Result<Vec<u8>, Fail> {
    let widths = [14, 24, 16, 16, 18, 50, 12];
    crate::workbook::write("enrolment", &HEAD, &widths, records)
        .map_err(|why| Fail::said(format!("the enrolment list: {why}")))
}

/// A card of a conflict: its roster line, or its batch.
pub fn card(card: CardRef) -> String {
    match card {
        CardRef::Line(line) => format!("line {line}"),
        CardRef::Batch(batch) => format!("batch {}", batch.batch),
    }
}
