//! Rosters: the cards to keep, one a row, as captures or as numbers.

mod columns;
mod kinds;
mod notes;
mod prints;
mod unread;
mod wiring;

use std::collections::{HashMap, HashSet};

use holdover::bits::Capture;
use holdover::decode::serial::{RANDOM_TAG, SerialNumber};
use holdover::decode::{Decode, Reading};
use holdover::layout::{Layout, Table, Value};
use holdover::plan::{PrintTrouble, RosterCard, RosterRow, RowState, print_trouble};
use holdover::rank::model::IDENTIFIED;
use holdover::rank::{Answer, Batch, Candidate, Fit, Known, Observation, Verdict};
use holdover::site::Site;

use self::columns::{Cells, Lines, split};
use self::kinds::{KindOf, Kinds};
use self::notes::Note;
use self::prints::Prints;
pub use self::unread::ToRead;
use self::unread::Unread;
use self::wiring::Wiring;
use crate::fail::Fail;
use crate::host::Host;
use crate::input::csv::spoilt;
pub use crate::input::words::Words;
use crate::input::{Entry, pasted};
use crate::list::List;
use crate::mask::Shown;
use crate::plain::plain;
use crate::progress::{self, Progress};
use crate::{list, request, sheet, terminal};

/// A roster as it was read.
#[derive(Default)]
pub struct Roster {
    /// The rows, in file order.
    pub rows: Vec<RosterRow>,
    /// The cards with a print and no read, by door and holder. Those that are
    /// counted on have a row, too.
    pub to_read: Vec<ToRead>,
    /// What had to be assumed.
    notes: Vec<Note>,
    /// What there is to say of the file: its sheet, its headings.
    pub about: Vec<String>,
    /// What readers do to the bits of the cards.
    pub wiring: Vec<String>,
    /// Lines that name numbers, and have no bits.
    numbered: HashSet<usize>,
    /// What is wrong with its prints, once they are checked.
    prints: Vec<PrintTrouble>,
}

impl Roster {
    fn push(&mut self, line: u64, cells: Cells, state: RowState, card: RosterCard) {
        self.rows.push(RosterRow {
            line: line as usize,
            card,
            printed: Some(cells.printed).filter(|cell| !cell.trim().is_empty()),
            holder: Some(cells.holder.trim().to_owned()).filter(|cell| !cell.is_empty()),
            state,
        });
    }

    /// Holds the prints against the bits.
    pub fn check_prints(&mut self, table: &Table) {
        self.prints = print_trouble(table, &self.rows);
    }

    /// What there is to say of its rows: what readers do to them, what is wrong with
    /// their prints, and what had to be assumed.
    pub fn said(&self, table: &Table, shown: &Shown) -> Vec<String> {
        let (rows, numbered) = (&self.rows[..], &self.numbered);
        let prints = Prints { table, rows, numbered, shown }.said(&self.prints);
        let assumed = notes::said(&self.notes, shown);
        self.wiring.iter().cloned().chain(prints).chain(assumed).collect()
    }

    /// Lines of whose print and bits one is wrong.
    pub fn misprinted(&self) -> HashSet<usize> {
        let rows = self.prints.iter().flat_map(PrintTrouble::wrong);
        rows.filter_map(|row| self.rows.get(*row)).map(|row| row.line).collect()
    }

    /// How many rows there are of each state: "77 rows: 70 kept, 4 boxed, 3 blocked",
    /// and how many are to be read first.
    pub fn sum(&self) -> String {
        let unread = self.unread();
        let read = || self.rows.iter().filter(|row| !unread.contains(&row.line));
        let of = |state| read().filter(|row| row.state == state).count();
        let (kept, boxed, blocked) =
            (of(RowState::Kept), of(RowState::Boxed), of(RowState::Blocked));
        let all = kept + boxed + blocked + unread.len();
        let rows = if all == 1 { "row" } else { "rows" };
        let to_read = match unread.len() {
            0 => String::new(),
            more => format!(", {more} to read"),
        };
        format!("{all} {rows}: {kept} kept, {boxed} boxed, {blocked} blocked{to_read}")
    }

    /// Calls every holder by a number, in the order in which they come.
    pub fn rename_holders(&mut self) {
        let mut known: HashMap<String, usize> = HashMap::new();
        let of_rows = self.rows.iter_mut().map(|row| &mut row.holder);
        let of_unread = self.to_read.iter_mut().map(|card| &mut card.holder);
        for holder in of_rows.chain(of_unread).filter_map(Option::as_mut) {
            let next = known.len() + 1;
            let number = *known.entry(std::mem::take(holder)).or_insert(next);
            *holder = format!("person {number}");
        }
    }
}

/// What to say of a capture that its reading marked unsure.
const UNSURE: &str = "a pulse of this capture is in doubt, so a bit may be lost or gained: read the \
                      card again";

/// A site's own words, and the old system's list where one is named.
pub fn words_and_list(
    host: &dyn Host,
    own: &request::Words,
    path: Option<&str>,
    (site, table): (&Site, &Table),
) -> Result<(Words, Option<List>), Fail> {
    let mut words = Words::of(site, own, table)?;
    let Some(path) = path else { return Ok((words, None)) };
    // A heading may be the list's alone.
    words.anywhere();
    let (list, notes) = list::read(host, path, &words)?;
    notes.iter().for_each(|note| terminal::remark(host, note));
    Ok((words, Some(list)))
}

/// Reads a roster.
///
/// Of a workbook it is the sheet of the `choice`, or the first with a header
/// of rosters. The old system's list tells numbers of cards that were not read.
pub fn read(
    host: &dyn Host,
    path: &str,
    choice: Option<&str>,
    (words, list): (&Words, Option<&List>),
    table: &Table,
    site: &Site,
) -> Result<Roster, Fail> {
    let Lines { lines, mut mistakes, about } = split(host, path, choice, words, &site.states)?;
    let all = lines.len() + mistakes.len();
    let (rows, refused) = with_states(lines, site);
    mistakes.extend(refused);
    // Captures are told apart by all of them together.
    let mut batch = Batch::new(table, Some(site));
    let mut entries: Vec<Option<Entry>> = Vec::with_capacity(rows.len());
    let mut observations: Vec<Option<Observation>> = Vec::with_capacity(rows.len());
    for (line, cells, _) in &rows {
        let entry = entry(cells).unwrap_or_else(|why| {
            mistakes.push((*line, why));
            None
        });
        entry.iter().for_each(|entry| entry.seen_by(&mut batch));
        entries.push(entry);
    }
    let fit = progress::during(host, "weighing the captures", || batch.fit());
    for ((line, ..), entry) in rows.iter().zip(entries) {
        let observation = entry.map(|entry| counted(entry, &fit)).transpose();
        observations.push(observation.unwrap_or_else(|why| {
            mistakes.push((*line, why));
            None
        }));
    }
    let mut progress = Progress::of_rows(host, "reading the cards", rows.len());
    let mut kinds = Kinds::new(table);
    let mut wiring = Wiring::default();
    let mut taken = Vec::with_capacity(rows.len());
    for ((line, cells, _), observation) in rows.iter().zip(&observations) {
        progress.add(1);
        taken.push(observation.as_ref().map(|observation| {
            let answer = fit.answer(observation);
            wiring.add(&observation.reader, &answer);
            by_capture(*line, cells, table, observation, &answer, &mut kinds)
        }));
    }
    let decided = kinds.decide();
    let wiring = wiring.said();
    let mut roster = Roster { notes: kinds.notes(), about, wiring, ..Roster::default() };
    let mut unread: Vec<Unread> = Vec::new();
    for (((line, cells, state), observation), taken) in
        rows.into_iter().zip(&observations).zip(taken)
    {
        let decode: Result<Option<Decode<'_>>, String> = match (taken, observation) {
            (Some(Ok(Taken::Kind(kind))), Some(observation)) => {
                let layout = decided.get(&kind);
                Ok(layout.and_then(|layout| Decode::new(layout, observation.capture)))
            }
            (Some(Ok(Taken::Card(decode))), _) => Ok(decode),
            (Some(Err(why)), _) => Err(why),
            (None, _) if cells.bits.trim().is_empty() && Unread::is(&cells, list) => {
                unread.push(Unread { line, cells, state });
                continue;
            }
            (None, _) if cells.bits.trim().is_empty() => {
                match by_numbers(&cells, line, table) {
                    Ok(card) => {
                        roster.numbered.insert(line as usize);
                        roster.push(line, cells, state, card);
                    }
                    Err(why) => mistakes.push((line, why)),
                }
                continue;
            }
            // Said already.
            _ => continue,
        };
        if state == RowState::Blocked && matches!(decode, Ok(None)) {
            unread.push(Unread { line, cells: cells.clone(), state });
        }
        let capture = observation.as_ref().map(|observation| observation.capture);
        let card = decode.and_then(|decode| match decode {
            None => Ok(unfit(cells.layout.trim(), table, capture)),
            Some(decode) if state != RowState::Blocked && is_random(&decode) => {
                Ok(RosterCard::Unfit { why: RANDOM.to_owned(), bits: capture })
            }
            Some(decode) => {
                roster.notes.extend(told(line, &cells, &decode));
                of_word(table, &decode)
            }
        });
        match card {
            Ok(card) => roster.push(line, cells, state, card),
            Err(why) => mistakes.push((line, why)),
        }
    }
    mistakes.extend(roster.take_unread(unread, (table, site), list));
    if !mistakes.is_empty() {
        return Err(sheet::refused(path, all, mistakes));
    }
    Ok(roster)
}

/// Something said of a line.
type Said = (u64, String);

/// The rows with their states, and what is wrong with the others.
fn with_states(lines: Vec<(u64, Cells)>, site: &Site) -> (Vec<(u64, Cells, RowState)>, Vec<Said>) {
    let (mut rows, mut mistakes) = (Vec::with_capacity(lines.len()), Vec::new());
    for (line, cells) in lines {
        let numbers = [&cells.site, &cells.card, &cells.printed];
        if let Some(why) = numbers.into_iter().find_map(|cell| spoilt(cell)) {
            mistakes.push((line, why));
            continue;
        }
        match site.states.of(&cells.state) {
            Ok(_) if !cells.unsure.trim().is_empty() => mistakes.push((line, UNSURE.to_owned())),
            Ok(state) => rows.push((line, cells, state)),
            Err(why) => mistakes.push((line, why.to_string())),
        }
    }
    (rows, mistakes)
}

/// A card of no layout, or of one that has to be learnt again.
fn unfit(layout: &str, table: &Table, capture: Option<Capture>) -> RosterCard {
    let why = capture.and_then(|capture| learn_again(layout, table, capture));
    let why = why.unwrap_or_else(|| "fits no layout".to_owned());
    RosterCard::Unfit { why, bits: capture }
}

/// The capture of a row, with what is known of it; `None` of a row without bits.
fn entry(cells: &Cells) -> Result<Option<Entry>, String> {
    let bits = cells.bits.trim();
    if bits.is_empty() {
        return Ok(None);
    }
    let read = pasted::cell(bits)?;
    let filled = |cell: &str| Some(cell.trim().to_owned()).filter(|c| !c.is_empty());
    let known = Known {
        site: filled(&cells.site),
        card: filled(&cells.card),
        printed: filled(&cells.printed),
        ..Known::default()
    };
    let mut entry = read.entry(bits, known);
    if !cells.reader.trim().is_empty() {
        entry.observation.reader = cells.reader.trim().to_owned();
    }
    Ok(Some(entry))
}

/// A row's capture; digits without a bit count where all rows together settle it.
fn counted(mut entry: Entry, fit: &Fit<'_, '_>) -> Result<Observation, String> {
    if entry.digits.is_none() {
        return Ok(entry.observation);
    }
    let answer = entry.answered_by(fit);
    let Some(capture) = answer.capture else { return entry.counted().map(|e| e.observation) };
    let same = answer.candidates.iter().filter(|c| c.capture == capture);
    if same.map(|c| c.probability).sum::<f64>() < IDENTIFIED {
        return entry.counted().map(|entry| entry.observation);
    }
    entry.observation.capture = capture;
    Ok(entry.observation)
}

/// What a capture is taken as.
enum Taken<'t> {
    /// A card of that layout; `None`: of no layout.
    Card(Option<Decode<'t>>),
    /// Whatever the rows of its kind are.
    Kind(KindOf),
}

/// What a capture is: of the layout the row names, else of the best there is;
/// where that is not settled, of its kind.
fn by_capture<'t>(
    line: u64,
    cells: &Cells,
    table: &'t Table,
    observation: &Observation,
    answer: &Answer<'t>,
    kinds: &mut Kinds<'t>,
) -> Result<Taken<'t>, String> {
    // A reader that turns or cuts serial numbers goes on doing so: the panel gets
    // what it sends.
    let serial = |c: &Candidate<'_>| Reading::SERIAL.contains(&c.reading);
    let identified =
        answer.verdict == Verdict::Identified && !answer.candidates.first().is_some_and(serial);
    let fits = |c: &&Candidate<'_>| {
        c.holds() && !serial(c) && (identified || c.reading == Reading::AsCaptured)
    };
    let mut candidates = answer.candidates.iter().filter(fits);
    let id = cells.layout.trim();
    if id.is_empty() && !identified {
        let kind = kinds.add(line, answer, observation.capture);
        return Ok(kind.map_or(Taken::Card(None), Taken::Kind));
    }
    let found = if id.is_empty() {
        candidates.next().map(Candidate::decode)
    } else {
        let layout = layout_of(table, id)?;
        let other = candidates.clone().next();
        let own = candidates.find(|c| c.layout.id() == id).map(Candidate::decode);
        let as_captured = || Decode::new(layout, observation.capture).filter(Decode::holds);
        match (own.or_else(as_captured), other) {
            (None, Some(other)) => {
                let other = other.layout.id();
                let why = "correct one of them";
                return Err(format!("named {:?}, but its bits are {other}: {why}", plain(id)));
            }
            (own, _) => own,
        }
    };
    Ok(Taken::Card(found))
}

/// Numbers that a row says and its bits do not.
fn told(line: u64, cells: &Cells, found: &Decode<'_>) -> Vec<Note> {
    let mut notes = Vec::new();
    for (what, cell, value) in
        [("site", &cells.site, found.site()), ("card", &cells.card, found.card())]
    {
        let (told, read) = (cell.trim(), value.map(|value| value.to_string()));
        if let (Ok(told), Some(Ok(read))) =
            (told.parse::<u128>(), read.map(|read| read.parse::<u128>()))
            && told != read
        {
            let (told, read) = (told.to_string(), read.to_string());
            notes.push(Note::Told { line: line as usize, what, told, read });
        }
    }
    notes
}

/// Failed checks that a reason names; the rest is counted.
const FAILED_NAMED: usize = 3;

/// Why a capture is none of a layout that was worked out from captures, where
/// the row names it, or names none and the length is its own: it may be the
/// layout that is wrong, and not the card.
fn learn_again(id: &str, table: &Table, capture: Capture) -> Option<String> {
    let worked_out =
        |layout: &&Layout| layout.is_worked_out() && (id.is_empty() || layout.id() == id);
    // Of several layouts, the one with the fewest checks that fail.
    let near = table.layouts().iter().filter(worked_out).filter_map(|layout| {
        let decode = Decode::new(layout, capture)?;
        let failed = decode.outcomes().filter(|(_, holds)| !holds);
        let failed: Vec<String> = failed.map(|(check, _)| check.to_owned()).collect();
        Some((failed, layout)).filter(|(failed, _)| !failed.is_empty())
    });
    let (mut failed, layout) = near.min_by_key(|(failed, _)| failed.len())?;
    let more = failed.len().saturating_sub(FAILED_NAMED);
    failed.truncate(FAILED_NAMED);
    if more > 0 {
        failed.push(format!("{more} more"));
    }
    Some(format!(
        "its bits fail {} of {}, a layout worked out from captures: learn again with these cards",
        failed.join(" and "),
        layout.id()
    ))
}

fn layout_of<'t>(table: &'t Table, id: &str) -> Result<&'t Layout, String> {
    table.layout(id).ok_or_else(|| {
        let known = table.layouts().iter().map(Layout::id);
        let mend = match holdover::file::nearest(id, known) {
            Some(near) => {
                format!(
                    "did you mean {near:?}? Then write it, or add --kind \"{}={near}\"",
                    plain(id)
                )
            }
            None => format!(
                "give its table with --table, or say which layout of it that is: --kind \"{}=ID\"",
                plain(id)
            ),
        };
        format!("no layout {:?} in the table: {mend}", plain(id))
    })
}

fn by_numbers(cells: &Cells, line: u64, table: &Table) -> Result<RosterCard, String> {
    let number = |name: &str, cell: &str| match cell.trim() {
        "" => Ok(None),
        cell => cell
            .parse::<u128>()
            .map(Some)
            .map_err(|_| format!("{name} {:?} is no whole number: write digits only", plain(cell))),
    };
    let id = cells.layout.trim();
    if id.is_empty() {
        return Err("neither bits nor a print nor a layout: fill in one of them".to_owned());
    }
    let layout = layout_of(table, id)?;
    let card = number("card", &cells.card)?.ok_or("no card number: fill in card")?;
    let site = match number("site", &cells.site)? {
        Some(site) => site,
        None if layout.site_span().is_none() => 0,
        None => return Err(format!("{id} has a site code, and the row none: fill in site")),
    };
    RosterRow::of_numbers(table, line as usize, id, site, card)
        .map(|row| row.card)
        .map_err(|error| error.kind().to_string())
}

/// Why a card cannot be kept that sends another number at each read.
const RANDOM: &str = "its number is random, new at each read: give its holder a card whose number \
                      stays";

/// Whether it is a serial number of ISO/IEC 14443-3:2018, 6.5.4, that is random: four
/// bytes, of which the first says so.
fn is_random(decode: &Decode<'_>) -> bool {
    let serial = SerialNumber::of(decode.layout, &decode.word);
    serial.is_some_and(|serial| matches!(serial.bytes(), [RANDOM_TAG, _, _, _]))
}

/// The card of a decoded capture.
fn of_word(table: &Table, decode: &Decode<'_>) -> Result<RosterCard, String> {
    let id = decode.layout.id();
    let number = |value: Option<Value>| value.and_then(|value| value.to_string().parse().ok());
    let (Some(layout), Some(card)) = (table.index_of(id), number(decode.card())) else {
        return Err(format!("{id} has no card number that is a whole number: name another layout"));
    };
    let site = number(decode.site()).unwrap_or(0);
    Ok(RosterCard::Card { layout, site, number: card, bits: decode.word })
}
