//! The problem as the planner sees it: cards by layout, each once, batches as
//! ranges with the roster's own cards taken out.

use std::collections::{BTreeMap, HashMap};

use super::error::{PlanError, PlanErrorKind, PlanPlace};
use super::forms::forms;
use super::linear::Members;
use super::range::Range;
use super::roster::{RosterCard, RosterRow, RowState, numbers, printed_number};
use super::segments::Owner;
use crate::bits::Capture;
use crate::layout::{Layout, Part, Table};
use crate::site::{Panel, Site, State};

/// Rows are counted in 32 bits, half of which name batches.
const MOST_ROWS: usize = 1 << 30;

/// A card the roster lists.
#[derive(Debug, Clone)]
pub(crate) struct ListedCard {
    /// Index of its row.
    pub row: u32,
    pub number: u128,
    /// The number printed on it, or else its own.
    pub printed: u128,
    pub boxed: bool,
    pub bits: Capture,
}

/// A card that must stay shut.
#[derive(Debug, Clone)]
pub(crate) struct Blocked {
    /// Index of its first row.
    pub row: u32,
    pub bits: Capture,
}

/// A batch, the cards that the roster lists too taken out.
#[derive(Debug, Clone)]
pub(crate) struct Batch {
    /// Index in the site file, from 0.
    pub index: usize,
    pub boxed: bool,
    pub ranges: Vec<Range>,
    pub members: Members,
}

impl Batch {
    /// How many cards are left in it.
    pub fn cards(&self) -> u128 {
        let count = |range: &Range| (range.last - range.first).saturating_add(1);
        self.ranges.iter().map(count).fold(0, u128::saturating_add)
    }
}

/// The cards of one layout.
#[derive(Debug, Clone)]
pub(crate) struct Kind<'t> {
    pub layout: &'t Layout,
    /// Index in the table.
    pub index: usize,
    pub listed_cards: Vec<ListedCard>,
    pub batches: Vec<Batch>,
    pub kept: u128,
    pub boxed: u128,
    /// Why no slot can ever hold it.
    pub barred: Option<String>,
}

impl Kind<'_> {
    /// How many things have to be looked at to look at all its cards.
    pub fn weight(&self) -> usize {
        self.listed_cards.len() + self.batches.iter().map(|batch| batch.ranges.len()).sum::<usize>()
    }
}

/// A card by its layout's index, site code and number.
type Numbered = (usize, u128, u128);

/// Everything there is to plan.
#[derive(Debug)]
pub(crate) struct Problem<'t> {
    pub panel: &'t Panel,
    /// How many slots the panel has.
    pub slots: usize,
    pub roster: &'t [RosterRow],
    pub site: &'t Site,
    /// Layouts with kept or boxed cards, in table order.
    pub kinds: Vec<Kind<'t>>,
    /// Kept cards of no layout, by why.
    pub unfit: BTreeMap<String, u128>,
    pub unfit_boxed: u128,
    pub kept: u128,
    pub boxed: u128,
    /// Blocked cards, each once, by the length of their captures.
    pub blocked: BTreeMap<usize, Vec<Blocked>>,
    /// Blocked rows without bits: whether they open is not known.
    pub unfit_blocked: u128,
    /// Rows that are forms of one card, with the first of them.
    pub forms: HashMap<u32, u32>,
    /// Further lines of a card listed twice for one holder, or blocked twice,
    /// by its row.
    pub repeats: HashMap<u32, Vec<usize>>,
}

/// What people are told of a card whose bits break its layout's checks.
const CHECKS_FAIL: &str = "its checks fail";

impl<'t> Problem<'t> {
    pub fn new(
        table: &'t Table,
        site: &'t Site,
        roster: &'t [RosterRow],
    ) -> Result<Problem<'t>, PlanError> {
        let panel = &site.panel;
        check_panel(panel)?;
        let slots = slots_of(panel)?;
        if roster.len() > MOST_ROWS {
            let kind = PlanErrorKind::TooManyRows { most: MOST_ROWS };
            return Err(PlanError::new(PlanPlace::Line(roster[MOST_ROWS].line), kind));
        }
        let mut kinds: Vec<Kind<'t>> = table
            .layouts()
            .iter()
            .enumerate()
            .map(|(index, layout)| Kind {
                layout,
                index,
                listed_cards: Vec::new(),
                batches: Vec::new(),
                kept: 0,
                boxed: 0,
                barred: barred(layout, panel),
            })
            .collect();
        let mut problem = Problem {
            panel,
            slots,
            roster,
            site,
            kinds: Vec::new(),
            unfit: BTreeMap::new(),
            unfit_boxed: 0,
            kept: 0,
            boxed: 0,
            blocked: BTreeMap::new(),
            unfit_blocked: 0,
            forms: forms(table, roster),
            repeats: HashMap::new(),
        };
        let cut_out = problem.block(&kinds)?;
        let mut sites: Vec<Vec<u128>> = vec![Vec::new(); kinds.len()];
        let rows = roster.iter().enumerate();
        for (row, roster_row) in rows.filter(|(_, row)| row.state != RowState::Blocked) {
            problem.row(row as u32, roster_row, &mut kinds, &mut sites)?;
        }
        for kind in &mut kinds {
            problem.merge_repeats(kind, &mut sites[kind.index]);
        }
        add_batches(table, site, &mut kinds, &sites, &cut_out)?;
        for kind in &mut kinds {
            let boxed_units =
                kind.listed_cards.iter().filter(|listed_card| listed_card.boxed).count();
            kind.boxed = boxed_units as u128;
            kind.kept = (kind.listed_cards.len() - boxed_units) as u128;
            for batch in &kind.batches {
                let count = if batch.boxed { &mut kind.boxed } else { &mut kind.kept };
                *count = count.saturating_add(batch.cards());
            }
            problem.kept = problem.kept.saturating_add(kind.kept);
            problem.boxed = problem.boxed.saturating_add(kind.boxed);
        }
        problem.boxed = problem.boxed.saturating_add(problem.unfit_boxed);
        kinds.retain(|kind| kind.kept > 0 || kind.boxed > 0);
        problem.kinds = kinds;
        Ok(problem)
    }

    /// Takes the blocked rows, each card once: a card is its bits. The answer
    /// is what they cut out of batches, ascending: layout, site code, number.
    fn block(&mut self, kinds: &[Kind<'t>]) -> Result<Vec<Numbered>, PlanError> {
        let mut cut_out = Vec::new();
        let mut first: HashMap<Capture, u32> = HashMap::new();
        for (row, from) in self.roster.iter().enumerate() {
            if from.state != RowState::Blocked {
                continue;
            }
            let Some(&bits) = from.card.bits() else {
                self.unfit_blocked += 1;
                continue;
            };
            if let RosterCard::Card { layout, site, number, .. } = from.card
                && fits(kinds, from)?.0
            {
                cut_out.push((layout, site, number));
            }
            let row = row as u32;
            let earlier = *first.entry(bits).or_insert(row);
            if earlier == row {
                self.blocked.entry(bits.len()).or_default().push(Blocked { row, bits });
            } else {
                self.repeats.entry(earlier).or_default().push(from.line);
            }
        }
        cut_out.sort_unstable();
        cut_out.dedup();
        Ok(cut_out)
    }

    /// How many cards are blocked.
    pub fn blocked_cards(&self) -> u128 {
        let listed = self.blocked.values().map(|cards| cards.len() as u128);
        listed.sum::<u128>().saturating_add(self.unfit_blocked)
    }

    fn row(
        &mut self,
        row: u32,
        from: &RosterRow,
        kinds: &mut [Kind<'t>],
        sites: &mut [Vec<u128>],
    ) -> Result<(), PlanError> {
        let boxed = from.state == RowState::Boxed;
        let mut unfit = |why: &str| match boxed {
            true => self.unfit_boxed += 1,
            false => {
                *self.unfit.entry(why.to_owned()).or_default() += 1;
                self.kept += 1;
            }
        };
        let (layout, site, number, bits) = match &from.card {
            RosterCard::Unfit { why, .. } => {
                unfit(why);
                return Ok(());
            }
            RosterCard::Card { layout, site, number, bits } => (*layout, *site, *number, *bits),
        };
        let (fits, at) = fits(kinds, from)?;
        if !fits {
            unfit(CHECKS_FAIL);
            return Ok(());
        }
        let kind = &mut kinds[at];
        let printed = from.printed.as_deref().and_then(printed_number).unwrap_or(number);
        kind.listed_cards.push(ListedCard { row, number, printed, boxed, bits });
        sites[layout].push(site);
        Ok(())
    }

    /// A card listed twice for one holder is one card.
    fn merge_repeats(&mut self, kind: &mut Kind<'t>, sites: &mut Vec<u128>) {
        let mut first: HashMap<(Capture, &str), u32> = HashMap::new();
        let mut kept = Vec::with_capacity(kind.listed_cards.len());
        for listed_card in &kind.listed_cards {
            let row = &self.roster[listed_card.row as usize];
            let holder = row.holder.as_deref().map_or("", str::trim);
            let earlier = match holder.is_empty() || listed_card.boxed {
                true => listed_card.row,
                false => *first.entry((listed_card.bits, holder)).or_insert(listed_card.row),
            };
            kept.push(earlier == listed_card.row);
            if earlier != listed_card.row {
                self.repeats.entry(earlier).or_default().push(row.line);
            }
        }
        let mut keep = kept.iter();
        kind.listed_cards.retain(|_| keep.next().copied().unwrap_or(true));
        let mut keep = kept.iter();
        sites.retain(|_| keep.next().copied().unwrap_or(true));
    }

    /// Which of the kinds a card is of.
    pub fn kind_of(&self, owner: Owner) -> Option<usize> {
        let index = match owner.which() {
            Ok(row) => match &self.roster[row as usize].card {
                RosterCard::Card { layout, .. } => *layout,
                RosterCard::Unfit { .. } => return None,
            },
            Err(batch) => {
                let id = &self.site.batches[batch].layout;
                return self.kinds.iter().position(|kind| kind.layout.id() == id);
            }
        };
        self.kinds.binary_search_by_key(&index, |kind| kind.index).ok()
    }

    /// What the forms of one card share, and no other card has; 0 for a card of
    /// one form.
    pub fn form(&self, owner: Owner) -> u32 {
        let first = owner.which().ok().and_then(|row| self.forms.get(&row));
        first.map_or(0, |first| first + 1)
    }

    /// The lines of a listed card.
    pub fn lines(&self, row: u32) -> impl Iterator<Item = usize> + '_ {
        let more = self.repeats.get(&row).map_or(&[][..], Vec::as_slice);
        std::iter::once(self.roster[row as usize].line).chain(more.iter().copied())
    }
}

/// How many slots the panel has.
pub(crate) fn slots_of(panel: &Panel) -> Result<usize, PlanError> {
    panel.slots.ok_or_else(|| PlanError::new(PlanPlace::Panel, PlanErrorKind::SlotsMissing))
}

/// Whether a row's bits meet the checks of its layout, and the layout's index.
///
/// # Errors
/// No such layout, or bits that are not of the row's numbers.
fn fits(kinds: &[Kind<'_>], row: &RosterRow) -> Result<(bool, usize), PlanError> {
    let fail = |kind| Err(PlanError::new(PlanPlace::Line(row.line), kind));
    let RosterCard::Card { layout: at, site, number, bits } = row.card else {
        return Ok((false, 0));
    };
    let Some(kind) = kinds.get(at) else {
        return fail(PlanErrorKind::NoSuchLayout { id: format!("of index {at}") });
    };
    let layout = kind.layout;
    let whole = bits.len() == layout.length();
    if whole && !layout.admits(&bits) {
        return Ok((false, at));
    }
    let read = whole.then(|| numbers(layout, &bits)).flatten();
    if read != Some((site, number)) {
        return fail(PlanErrorKind::OtherCard { id: layout.id().to_owned(), site, number });
    }
    Ok((true, at))
}

/// The limits `Site::from_toml` holds panels to, for those built otherwise.
pub(crate) fn check_panel(panel: &Panel) -> Result<(), PlanError> {
    let limits = [
        ("slots", slots_of(panel)?, 1, 1000),
        ("first_bit", panel.first_bit, 0, 1),
        ("max_length", panel.max_length, 1, 256),
        ("max_digits", panel.max_digits, 1, 39),
    ];
    for (limit, found, from, to) in limits {
        if !(from..=to).contains(&found) {
            let kind = PlanErrorKind::Limit { limit, found, from, to };
            return Err(PlanError::new(PlanPlace::Panel, kind));
        }
    }
    if panel.max_number == Some(0) {
        let (from, to) = (1, Panel::MAX_NUMBER_MOST as usize);
        let kind = PlanErrorKind::Limit { limit: "max_number", found: 0, from, to };
        return Err(PlanError::new(PlanPlace::Panel, kind));
    }
    Ok(())
}

fn barred(layout: &Layout, panel: &Panel) -> Option<String> {
    if layout.card_span().is_none() {
        return Some("its layout has no card number".to_owned());
    }
    (layout.length() > panel.max_length).then(|| {
        let (length, most) = (layout.length(), panel.max_length);
        format!("{length} bits, and the panel reads {most} at most")
    })
}

fn add_batches<'t>(
    table: &'t Table,
    site: &'t Site,
    kinds: &mut [Kind<'t>],
    sites: &[Vec<u128>],
    cut_out: &[Numbered],
) -> Result<(), PlanError> {
    // Kept and blocked cards of the roster.
    let mut listed: Vec<Numbered> = Vec::new();
    let mut issued: Vec<(usize, u128, u128, u128, usize)> = Vec::new();
    let mut placed = Vec::new();
    for (index, batch) in site.batches.iter().enumerate() {
        let fail = |kind| Err(PlanError::batch(index, kind));
        let Some(at) = table.index_of(&batch.layout) else {
            return fail(PlanErrorKind::NoSuchLayout {
                id: batch.layout.chars().take(80).collect(),
            });
        };
        let layout = &table.layouts()[at];
        let id = layout.id().to_owned();
        if batch.first > batch.last {
            let (first, last) = (batch.first, batch.last);
            return fail(PlanErrorKind::Backwards { first, last });
        }
        let code = match (batch.site, layout.largest(Part::Site)) {
            (None, Some(_)) => return fail(PlanErrorKind::SiteField { id, has: true }),
            (Some(code), None) if code != 0 => {
                return fail(PlanErrorKind::SiteField { id, has: false });
            }
            (code, _) => code.unwrap_or(0),
        };
        let members = Members::new(layout, code, batch.first, batch.last)
            .map_err(|kind| PlanError::batch(index, kind))?;
        if batch.state == State::Issued {
            issued.push((at, code, batch.first, batch.last, index));
        }
        placed.push((at, code, members));
    }
    issued.sort_unstable();
    for pair in issued.windows(2) {
        let [a, b] = pair else { continue };
        if (a.0, a.1) == (b.0, b.1) && b.2 <= a.3 {
            let (later, other) = (a.4.max(b.4), a.4.min(b.4) + 1);
            let kind = PlanErrorKind::IssuedTwice { first: b.2, last: a.3.min(b.3), other };
            return Err(PlanError::batch(later, kind));
        }
    }
    if !issued.is_empty() {
        for kind in kinds.iter() {
            let listed_cards = kind
                .listed_cards
                .iter()
                .zip(&sites[kind.index])
                .filter(|(listed_card, _)| !listed_card.boxed);
            listed.extend(
                listed_cards.map(|(listed_card, site)| (kind.index, *site, listed_card.number)),
            );
        }
        listed.extend_from_slice(cut_out);
        listed.sort_unstable();
        listed.dedup();
    }
    for (index, (at, code, members)) in placed.into_iter().enumerate() {
        let batch = &site.batches[index];
        let boxed = batch.state == State::Boxed;
        let whole = Range { first: batch.first, last: batch.last };
        let taken = if boxed { cut_out } else { &listed[..] };
        let from = taken.partition_point(|card| *card < (at, code, batch.first));
        let to = taken.partition_point(|card| *card <= (at, code, batch.last));
        let taken = taken[from..to].iter().map(|card| Range { first: card.2, last: card.2 });
        let ranges = whole.without(&taken.collect::<Vec<_>>());
        kinds[at].batches.push(Batch { index, boxed, ranges, members });
    }
    Ok(())
}
