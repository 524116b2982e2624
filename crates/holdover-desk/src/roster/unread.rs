//! Cards with a print and no read. They do not stop a plan: they are listed to
//! be read, and counted on where the print alone tells their number.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use holdover::bits::Capture;
use holdover::decode::Decode;
use holdover::layout::{Layout, Part, Table};
use holdover::learn::ListColumn;
use holdover::plan::{
    PrintTrouble, RosterCard, RosterRow, RowState, number_of_print, print_trouble,
};
use holdover::site::Site;

use super::{Cells, Roster, layout_of};
use crate::formats::first;
use crate::list::List;

/// Read cards of a kind from which on their one site code is taken for the
/// unread ones. Judgement, no source: two may be of one site by chance.
const ONE_SITE_FROM: usize = 3;

/// Rows of a holder's other cards that are named. Judgement, no source.
const OTHERS: usize = 3;

/// A card that is still to be read.
pub struct ToRead {
    /// Its rows, ascending: several that say the same are one card.
    pub lines: Vec<usize>,
    /// What is printed on it.
    pub printed: String,
    /// Who holds it.
    pub holder: Option<String>,
    /// The reader its row names: where its holder is met.
    pub door: Option<String>,
    /// What is to become of it.
    pub state: RowState,
    /// As what it is counted on; else why it is not.
    pub by_print: Result<String, String>,
    /// Rows of the holder's other cards, the first few.
    pub others: Vec<usize>,
}

/// A row with a print, and neither a capture nor a card number of a layout; or a
/// blocked card whose capture is none of any layout.
pub struct Unread {
    pub line: u64,
    pub cells: Cells,
    pub state: RowState,
}

/// What is said of a blocked card that was read, and badly. What its bits would open
/// says nothing of what the card opens.
const MISREAD: &str = "its bits fit no layout";

impl Unread {
    /// Whether a row without a capture is one: it has a print, or a holder whose
    /// card a list may tell.
    pub fn is(cells: &Cells, list: Option<&List>) -> bool {
        let filled = |cell: &str| !cell.trim().is_empty();
        let known = filled(&cells.printed) || list.is_some() && filled(&cells.holder);
        known && !(filled(&cells.layout) && filled(&cells.card))
    }

    /// Whether it was read, but not as any card.
    fn misread(&self) -> bool {
        !self.cells.bits.trim().is_empty()
    }

    /// Holder and print, by which two rows are one card; nothing without a holder.
    fn key(&self) -> Option<Key> {
        key(&self.cells.holder, &self.cells.printed)
    }
}

/// Holder and print, however they are spaced.
type Key = (String, String);

fn key(holder: &str, printed: &str) -> Option<Key> {
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let key = (words(holder), words(printed));
    (!key.0.is_empty()).then_some(key)
}

/// Whether a row that was not read may be the card of these bits: it names no other
/// layout and no other site code.
fn agrees(cells: &Cells, bits: Option<&Capture>, table: &Table) -> bool {
    let (layout, site) = (cells.layout.trim(), cells.site.trim());
    if layout.is_empty() && site.is_empty() {
        return true;
    }
    let decode = bits.zip(table.layout(layout)).and_then(|(bits, l)| Decode::new(l, *bits));
    let digits = |text: &str| text.trim_start_matches('0').to_owned();
    decode.is_some_and(|decode| {
        let own = decode.site().map_or_else(String::new, |own| digits(&own.to_string()));
        decode.holds() && (site.is_empty() || own == digits(site))
    })
}

impl Roster {
    /// Sorts out the rows that were not read.
    ///
    /// # Errors
    /// Lines that name a layout that is not there, or a site code that is no number.
    pub(super) fn take_unread(
        &mut self,
        unread: Vec<Unread>,
        (table, site): (&Table, &Site),
        list: Option<&List>,
    ) -> Vec<(u64, String)> {
        let listed = list.map(|list| self.listed(&unread, list));
        if unread.is_empty() {
            return Vec::new();
        }
        let told = Told { listed, ..Told::of(&self.rows, table, site) };
        let mut read: HashMap<Key, Vec<usize>> = HashMap::new();
        let mut known: HashSet<(Key, Option<Capture>)> = HashSet::new();
        for (at, row) in self.rows.iter().enumerate() {
            let holder = row.holder.as_deref().unwrap_or_default();
            if let Some(key) = key(holder, row.printed.as_deref().unwrap_or_default())
                && known.insert((key.clone(), row.card.bits().copied()))
            {
                read.entry(key).or_default().push(at);
            }
        }
        // Of those that were misread.
        let misread: HashSet<u64> =
            unread.iter().filter(|one| one.misread()).map(|one| one.line).collect();
        let rows = self.rows.iter().enumerate().map(|(at, row)| (row.line, at));
        let rows = rows.filter(|(line, _)| misread.contains(&(*line as u64)));
        let rows: HashMap<usize, usize> = rows.collect();
        let lengths = self.lengths(table, site);
        let mut mistakes = Vec::new();
        let mut seen: HashMap<(Key, [String; 2], RowState), usize> = HashMap::new();
        for (at_list, one) in unread.into_iter().enumerate() {
            let (key, line) = (one.key(), one.line as usize);
            let misread = rows.get(&line).copied();
            if let Some(at) = misread
                && one.cells.printed.trim().is_empty()
                && !self.rows[at].card.bits().is_some_and(|bits| lengths.contains(&bits.len()))
            {
                // Of another length than all that is kept: no slot admits it.
                continue;
            }
            // A row that was read has the same holder and print: it is that card.
            let cards = key.as_ref().and_then(|key| read.get(key));
            if let Some([at]) = cards.map(Vec::as_slice)
                && misread.is_none()
                && agrees(&one.cells, self.rows[*at].card.bits(), table)
            {
                let RosterRow { card, holder, .. } = self.rows[*at].clone();
                let cells = Cells { holder: holder.unwrap_or_default(), ..one.cells };
                self.push(one.line, cells, one.state, card);
                continue;
            }
            let kind = [&one.cells.layout, &one.cells.site].map(|cell| cell.trim().to_owned());
            let place = key.map(|key| (key, kind, one.state));
            if let Some(at) = place.as_ref().and_then(|place| seen.get(place)) {
                self.to_read[*at].lines.push(line);
                continue;
            }
            let by_print = match told.card(at_list, &one.cells) {
                Ok(by_print) if misread.is_some() => by_print
                    .map(|(how, card)| (format!("{MISREAD}; by its print, {how}"), card))
                    .map_err(|why| format!("{MISREAD}, and {why}")),
                Ok(by_print) => by_print,
                Err(why) => {
                    mistakes.push((one.line, why));
                    continue;
                }
            };
            seen.extend(place.map(|place| (place, self.to_read.len())));
            let filled = |cell: &str| Some(cell.trim().to_owned()).filter(|c| !c.is_empty());
            self.to_read.push(ToRead {
                lines: vec![line],
                printed: one.cells.printed.trim().to_owned(),
                holder: filled(&one.cells.holder),
                door: filled(&one.cells.reader),
                state: one.state,
                by_print: by_print.as_ref().map(|(how, _)| how.clone()).map_err(Clone::clone),
                others: Vec::new(),
            });
            match (by_print, misread) {
                (Ok((_, card)), Some(at)) => self.rows[at].card = card,
                (Ok((_, card)), None) => self.push(one.line, one.cells, one.state, card),
                (Err(_), _) => {}
            }
        }
        self.rows.sort_by_key(|row| row.line);
        self.name_others();
        self.to_read.sort_by(|a, b| a.order().cmp(&b.order()));
        mistakes
    }

    /// Bits of what is kept, and one more and one less: what may be lost or gained.
    fn lengths(&self, table: &Table, site: &Site) -> HashSet<usize> {
        let kept = self.rows.iter().filter(|row| row.state != RowState::Blocked);
        let rows = kept.filter_map(|row| Some(row.card.bits()?.len()));
        let batches =
            site.batches.iter().filter_map(|batch| Some(table.layout(&batch.layout)?.length()));
        rows.chain(batches).flat_map(|bits| bits - 1..=bits + 1).collect()
    }

    /// What the old system's list tells of the rows that were not read.
    fn listed(&mut self, unread: &[Unread], list: &List) -> Listed {
        let filled = |cell: &'_ str| !cell.trim().is_empty();
        let of_rows = self.rows.iter().map(|row| (row.holder.as_deref(), row.printed.as_deref()));
        let of_unread = unread.iter().map(|one| {
            let cell = |cell: &'_ str| filled(cell);
            let (holder, printed) = (one.cells.holder.as_str(), one.cells.printed.as_str());
            (Some(holder).filter(|c| cell(c)), Some(printed).filter(|c| cell(c)))
        });
        let (holders, prints): (Vec<_>, Vec<_>) = of_rows.chain(of_unread).unzip();
        let Some((rows, _)) = list.rows(&holders, &prints) else {
            self.about.push(list.strange());
            return Listed::default();
        };
        let left_over = list.left_over(&rows);
        let (read, others) = rows.split_at(self.rows.len());
        let columns = columns_of(&self.rows, read, list.columns());
        let numbers = |row: &Option<usize>| -> Vec<Option<u128>> {
            let number = |row: usize| list.columns().iter().map(move |c| c.numbers[row]).collect();
            row.map_or_else(Vec::new, number)
        };
        let listed = Listed {
            names: list.columns().iter().map(|column| column.name.to_string()).collect(),
            columns,
            numbers: others.iter().map(numbers).collect(),
        };
        self.about.extend(left_over);
        listed
    }

    /// Finds the other cards of each holder with a card to read.
    fn name_others(&mut self) {
        let mut lines: BTreeMap<String, BTreeSet<usize>> = BTreeMap::new();
        let of_row = self.rows.iter().map(|row| (row.holder.as_ref(), row.line));
        let of_list = self.to_read.iter().map(|card| (card.holder.as_ref(), card.lines[0]));
        for (holder, line) in of_row.chain(of_list) {
            holder.iter().for_each(|holder| {
                lines.entry(holder.to_lowercase()).or_default().insert(line);
            });
        }
        for card in &mut self.to_read {
            let all = card.holder.as_ref().and_then(|holder| lines.get(&holder.to_lowercase()));
            let others = all.into_iter().flatten().copied();
            card.others = others.filter(|line| !card.lines.contains(line)).take(OTHERS).collect();
        }
    }

    /// Lines of cards that are still to be read.
    pub fn unread(&self) -> HashSet<usize> {
        self.to_read.iter().flat_map(|card| card.lines.iter().copied()).collect()
    }
}

impl ToRead {
    /// By door, then by holder; who has none comes last.
    fn order(&self) -> (bool, &Option<String>, bool, &Option<String>, &[usize]) {
        (self.door.is_none(), &self.door, self.holder.is_none(), &self.holder, &self.lines)
    }

    /// Whether it is counted on.
    pub fn is_counted_on(&self) -> bool {
        self.by_print.is_ok()
    }

    /// Its rows: "line 12", "lines 12 and 15".
    pub fn rows(&self) -> String {
        first(&self.lines)
    }

    /// The holder's other cards, in words; nothing where there is none.
    pub fn others(&self) -> String {
        if self.others.is_empty() {
            return String::new();
        }
        format!("; its holder has {}, too", first(&self.others))
    }
}

/// What may tell the number of an unread row: the list, by which of them it is, and
/// its print.
#[derive(Clone, Copy)]
struct Tells<'c> {
    at: usize,
    printed: &'c str,
}

/// What prints tell in this building.
struct Told<'r> {
    table: &'r Table,
    site: &'r Site,
    /// Layouts whose prints are not their card numbers.
    strange: BTreeSet<usize>,
    /// The read cards' site codes, by layout, with how many cards have each.
    codes: BTreeMap<usize, BTreeMap<u128, usize>>,
    /// What the old system's list tells.
    listed: Option<Listed>,
}

/// What a list tells of the unread rows.
#[derive(Default)]
struct Listed {
    /// Its columns' names.
    names: Vec<String>,
    /// For a layout: the column that has its card numbers, and what it adds to them.
    columns: BTreeMap<usize, (usize, i128)>,
    /// For each unread row: its numbers, column by column.
    numbers: Vec<Vec<Option<u128>>>,
}

/// What a column must tell beyond accident, bits: fewer than one in a thousand.
const SURE: f64 = 10.0;

/// For each layout of the rows that were read: the column of a list that has their
/// card numbers, up to a constant. A column of many numbers has just the card's
/// once in so many; the constant costs one row, and each row that differs what
/// choosing it does.
fn columns_of(
    rows: &[RosterRow],
    listed: &[Option<usize>],
    columns: &[ListColumn],
) -> BTreeMap<usize, (usize, i128)> {
    let mut cards: BTreeMap<usize, BTreeMap<u128, usize>> = BTreeMap::new();
    for (row, at) in rows.iter().zip(listed) {
        if let (RosterCard::Card { layout, number, .. }, Some(at)) = (&row.card, at) {
            cards.entry(*layout).or_default().insert(*number, *at);
        }
    }
    let mut found = BTreeMap::new();
    for (layout, cards) in cards {
        let mut best: Option<(f64, (usize, i128))> = None;
        for (at, column) in columns.iter().enumerate() {
            let distinct = column.numbers.iter().flatten().collect::<BTreeSet<_>>().len();
            let mut offsets: BTreeMap<i128, usize> = BTreeMap::new();
            for (number, row) in &cards {
                let told = column.numbers[*row].and_then(|told| i128::try_from(told).ok());
                if let (Some(told), Ok(number)) = (told, i128::try_from(*number)) {
                    *offsets.entry(told - number).or_default() += 1;
                }
            }
            let worth = |(offset, hits): (&i128, &usize)| {
                let (all, missed) = (cards.len() as f64, (cards.len() - hits) as f64);
                let told = (*hits - usize::from(*offset != 0)) as f64;
                let bits = told * (distinct.max(1) as f64).log2() - missed * all.log2();
                (bits - (columns.len() as f64).log2(), (at, *offset))
            };
            let tells = offsets.iter().map(worth).max_by(|a, b| a.0.total_cmp(&b.0));
            if let Some(told) = tells.filter(|told| best.is_none_or(|best| told.0 > best.0)) {
                best = Some(told);
            }
        }
        if let Some((_, column)) = best.filter(|(bits, _)| *bits >= SURE) {
            found.insert(layout, column);
        }
    }
    found
}

/// What a row is counted on as, with the card; else why not.
type ByPrint = Result<(String, RosterCard), String>;

impl<'r> Told<'r> {
    fn of(rows: &[RosterRow], table: &'r Table, site: &'r Site) -> Told<'r> {
        let strange = print_trouble(table, rows).into_iter();
        let strange = strange.filter_map(|trouble| match trouble {
            PrintTrouble::Layout { layout, .. } => Some(layout),
            _ => None,
        });
        let mut codes: BTreeMap<usize, BTreeMap<u128, usize>> = BTreeMap::new();
        for row in rows {
            if let RosterCard::Card { layout, site, .. } = &row.card {
                *codes.entry(*layout).or_default().entry(*site).or_default() += 1;
            }
        }
        Told { table, site, strange: strange.collect(), codes, listed: None }
    }

    /// What a row's print tells of its card.
    fn card(&self, at: usize, cells: &Cells) -> Result<ByPrint, String> {
        let (id, code) = (cells.layout.trim(), cells.site.trim());
        let code = match code.parse::<u128>() {
            Ok(code) => Some(code),
            Err(_) if code.is_empty() => None,
            Err(_) => return Err(format!("site {code:?} is no whole number: write digits only")),
        };
        let named = match id {
            "" => None,
            id => Some(layout_of(self.table, id)?),
        };
        // Where all that the list tells of is one kind, it is that.
        let only = self.listed.as_ref().and_then(|listed| {
            let mut kinds = listed.columns.keys();
            let (only, more) = (kinds.next(), kinds.next());
            let known = listed.numbers.get(at).is_some_and(|numbers| !numbers.is_empty());
            only.filter(|_| more.is_none() && known)
        });
        let named = named.or_else(|| self.table.layouts().get(*only?));
        Ok(self.by_row(named, code, Tells { at, printed: &cells.printed }))
    }

    fn by_row(&self, named: Option<&Layout>, code: Option<u128>, tells: Tells<'_>) -> ByPrint {
        if let Some(layout) = named {
            let id = layout.id();
            let (number, by) = self.number(layout, tells)?;
            let bare = layout.largest(Part::Site).is_none();
            if let Some(code) = code.or(bare.then_some(0)) {
                return self.made(layout, code, number, format!("{id}{by}"));
            }
        }
        if let Some((batch, layout, code, number)) = self.batch(named, code, tells) {
            return self.made(layout, code, number, format!("{}, batch {batch}", layout.id()));
        }
        let Some(layout) = named else {
            return Err(
                "no layout is named, and no one batch of the site file has its number".to_owned()
            );
        };
        let (id, index) = (layout.id(), self.table.index_of(layout.id()));
        let codes = index.and_then(|index| self.codes.get(&index));
        match codes.map(|codes| codes.iter().collect::<Vec<_>>()).as_deref() {
            Some([(code, cards)]) if **cards >= ONE_SITE_FROM => {
                let (number, by) = self.number(layout, tells)?;
                let how = format!("{id}{by}, of site {code} as all its read cards");
                self.made(layout, **code, number, how)
            }
            _ => Err(format!("{id} has a site code, and the row names none")),
        }
    }

    /// The card number under a layout, by the list or by the print, and by which in
    /// words.
    fn number(&self, layout: &Layout, tells: Tells<'_>) -> Result<(u128, String), String> {
        let id = layout.id();
        let index = self.table.index_of(id);
        if let (Some(listed), Some(index)) = (&self.listed, index)
            && let Some((column, offset)) = listed.columns.get(&index)
            && let Some(Some(told)) = listed.numbers[tells.at].get(*column)
            && let Some(number) = told.checked_add_signed(-offset)
        {
            return Ok((number, format!(" by the list's column {:?}", listed.names[*column])));
        }
        if index.is_some_and(|index| self.strange.contains(&index)) {
            return Err(format!("the prints of {id} are not its card numbers"));
        }
        number_of_print(layout, tells.printed)
            .map(|number| (number, String::new()))
            .ok_or_else(|| format!("its print tells no one number of {id}"))
    }

    /// The one batch that has the printed number, from 1.
    fn batch(
        &self,
        named: Option<&Layout>,
        code: Option<u128>,
        tells: Tells<'_>,
    ) -> Option<(usize, &'r Layout, u128, u128)> {
        let batches = self.site.batches.iter().enumerate();
        let mut found = batches.filter_map(|(at, batch)| {
            let layout = self.table.layout(&batch.layout)?;
            let own = batch.site.unwrap_or(0);
            let fits = named.is_none_or(|named| named.id() == layout.id())
                && code.is_none_or(|code| code == own);
            let (number, _) = self.number(layout, tells).ok().filter(|_| fits)?;
            let holds = (batch.first..=batch.last).contains(&number);
            holds.then_some((at + 1, layout, own, number))
        });
        let first = found.next()?;
        found.next().is_none().then_some(first)
    }

    fn made(&self, layout: &Layout, code: u128, number: u128, how: String) -> ByPrint {
        let row = RosterRow::of_numbers(self.table, 0, layout.id(), code, number);
        row.map(|row| (how, row.card))
            .map_err(|_| format!("no card of {} has that site code and number", layout.id()))
    }
}
