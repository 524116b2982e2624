//! Cards with a print and no read. They do not stop a plan: they are listed to
//! be read, and counted on where the print alone tells their number.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use holdover::bits::Capture;
use holdover::layout::{Layout, Part, Table};
use holdover::plan::{
    PrintTrouble, RosterCard, RosterRow, RowState, number_of_print, print_trouble,
};
use holdover::site::Site;

use super::notes::first;
use super::{Cells, Roster, layout_of};

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

/// A row with a print, and neither a capture nor a card number of a layout.
pub struct Unread {
    pub line: u64,
    pub cells: Cells,
    pub state: RowState,
}

impl Unread {
    /// Whether a row without a capture is one.
    pub fn is(cells: &Cells) -> bool {
        let filled = |cell: &str| !cell.trim().is_empty();
        filled(&cells.printed) && !(filled(&cells.layout) && filled(&cells.card))
    }

    /// Holder and print, by which two rows are one card; nothing without a holder.
    fn key(&self) -> Option<(String, String)> {
        key(&self.cells.holder, &self.cells.printed)
    }
}

fn key(holder: &str, printed: &str) -> Option<(String, String)> {
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let key = (words(holder), words(printed));
    (!key.0.is_empty()).then_some(key)
}

impl Roster {
    /// Sorts out the rows that were not read.
    ///
    /// # Errors
    /// Lines that name a layout that is not there, or a site code that is no number.
    pub(super) fn take_unread(
        &mut self,
        unread: Vec<Unread>,
        table: &Table,
        site: &Site,
    ) -> Vec<(u64, String)> {
        if unread.is_empty() {
            return Vec::new();
        }
        let told = Told::of(&self.rows, table, site);
        let mut read: HashMap<(String, String), Vec<usize>> = HashMap::new();
        let mut known: HashSet<((String, String), Option<Capture>)> = HashSet::new();
        for (at, row) in self.rows.iter().enumerate() {
            let holder = row.holder.as_deref().unwrap_or_default();
            if let Some(key) = key(holder, row.printed.as_deref().unwrap_or_default())
                && known.insert((key.clone(), row.card.bits().copied()))
            {
                read.entry(key).or_default().push(at);
            }
        }
        let mut mistakes = Vec::new();
        let mut seen: HashMap<((String, String), RowState), usize> = HashMap::new();
        for one in unread {
            let (key, line) = (one.key(), one.line as usize);
            // A row that was read has the same holder and print: it is that card.
            let cards = key.as_ref().and_then(|key| read.get(key));
            if let Some([at]) = cards.map(Vec::as_slice) {
                let RosterRow { card, holder, .. } = self.rows[*at].clone();
                let cells = Cells { holder: holder.unwrap_or_default(), ..one.cells };
                self.push(one.line, cells, one.state, card);
                continue;
            }
            let place = key.map(|key| (key, one.state));
            if let Some(at) = place.as_ref().and_then(|place| seen.get(place)) {
                self.to_read[*at].lines.push(line);
                continue;
            }
            let by_print = match told.card(&one.cells) {
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
            if let Ok((_, card)) = by_print {
                self.push(one.line, one.cells, one.state, card);
            }
        }
        self.rows.sort_by_key(|row| row.line);
        self.name_others();
        self.to_read.sort_by(|a, b| a.order().cmp(&b.order()));
        mistakes
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

/// What prints tell in this building.
struct Told<'r> {
    table: &'r Table,
    site: &'r Site,
    /// Layouts whose prints are not their card numbers.
    strange: BTreeSet<usize>,
    /// The read cards' site codes, by layout, with how many cards have each.
    codes: BTreeMap<usize, BTreeMap<u128, usize>>,
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
        Told { table, site, strange: strange.collect(), codes }
    }

    /// What a row's print tells of its card.
    fn card(&self, cells: &Cells) -> Result<ByPrint, String> {
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
        Ok(self.by_row(named, code, &cells.printed))
    }

    fn by_row(&self, named: Option<&Layout>, code: Option<u128>, printed: &str) -> ByPrint {
        if let Some(layout) = named {
            let id = layout.id();
            let number = self.number(layout, printed)?;
            let bare = layout.largest(Part::Site).is_none();
            if let Some(code) = code.or(bare.then_some(0)) {
                return self.made(layout, code, number, id.to_owned());
            }
        }
        if let Some((batch, layout, code, number)) = self.batch(named, code, printed) {
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
                let number = self.number(layout, printed)?;
                let how = format!("{id}, of site {code} as all its read cards");
                self.made(layout, **code, number, how)
            }
            _ => Err(format!("{id} has a site code, and the row names none")),
        }
    }

    /// The number of a print under a layout.
    fn number(&self, layout: &Layout, printed: &str) -> Result<u128, String> {
        let id = layout.id();
        let index = self.table.index_of(id);
        if index.is_some_and(|index| self.strange.contains(&index)) {
            return Err(format!("the prints of {id} are not its card numbers"));
        }
        number_of_print(layout, printed)
            .ok_or_else(|| format!("its print tells no one number of {id}"))
    }

    /// The one batch that has the printed number, from 1.
    fn batch(
        &self,
        named: Option<&Layout>,
        code: Option<u128>,
        printed: &str,
    ) -> Option<(usize, &'r Layout, u128, u128)> {
        let batches = self.site.batches.iter().enumerate();
        let mut found = batches.filter_map(|(at, batch)| {
            let layout = self.table.layout(&batch.layout)?;
            let own = batch.site.unwrap_or(0);
            let fits = named.is_none_or(|named| named.id() == layout.id())
                && code.is_none_or(|code| code == own);
            let number = self.number(layout, printed).ok().filter(|_| fits)?;
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
