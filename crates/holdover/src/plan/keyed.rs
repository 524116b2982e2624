//! A plan as the panel uses it: what a capture opens, the list of people to
//! enrol, and the blocks of the worksheet.

use super::big::Big;
use super::error::PlanError;
use super::linear::LISTED_MOST;
use super::parts::{Chosen, Part, joined, taken};
use super::pieces::number_ranges;
use super::problem::Problem;
use super::range::Range;
use super::roster::{RosterCard, RosterRow, RowState, printed_number};
use super::shape::{CardRun, Run, Shape};
use super::value::{CardRef, PanelRun, Plan, PlanSlot};
use crate::bits::Capture;
use crate::layout::{Check, Layout, Table};
use crate::site::{CardBatch, Identity, Panel, Site};

/// What a capture comes up as in one slot.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Opened {
    /// The slot, from 1.
    pub slot: usize,
    /// The site code read, where the panel knows people by it; 0 where the
    /// slot reads none.
    pub site: Option<Big>,
    /// The number as the panel shows it, zeros in front.
    pub panel_number: String,
}

/// One line of the enrolment list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enrolment {
    /// The roster line, or the batch.
    pub card: CardRef,
    /// For batches, the card numbers, ends included.
    pub numbers: Option<(u128, u128)>,
    /// Who holds it.
    pub holder: Option<String>,
    /// The layout.
    pub layout: Option<String>,
    /// What it comes up as; `None` for a lost card, and for a batch whose
    /// numbers do not go up with its cards. For a range of cards, the first.
    pub opens: Option<Opened>,
    /// For a range of cards, the panel number of the last.
    pub last_panel_number: Option<String>,
    /// What is printed on it.
    pub printed: Option<String>,
    /// The panel number is not the number printed.
    pub renumbered: bool,
    /// Kept or boxed.
    pub state: RowState,
}

/// A slot with what there is to know of it to key it in, as the panel counts.
#[derive(Debug, Clone, PartialEq)]
pub struct WorksheetBlock<'p> {
    /// The slot.
    pub slot: &'p PlanSlot,
    /// The even and odd checks to key, where the slot checks parity: whether
    /// odd, the check bit, and the bits covered, as runs.
    pub checks: Vec<PanelCheck>,
    /// The layouts.
    pub layouts: Vec<&'p Layout>,
}

/// What a slot is to do about parity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Parity<'b> {
    /// Its cards have no even or odd check: a panel told to check one would
    /// refuse every card.
    None,
    /// Its cards have checks that the slot leaves out.
    Off,
    /// Its cards have checks that are not settled, and the slot leaves them out.
    Unsettled,
    /// These are checked.
    Checked(&'b [PanelCheck]),
}

impl WorksheetBlock<'_> {
    /// What the slot is to do about parity.
    pub fn parity(&self) -> Parity<'_> {
        let parity = |check: &Check| matches!(check, Check::Parity { .. });
        if !self.layouts.iter().any(|layout| layout.checks().iter().any(parity)) {
            return Parity::None;
        }
        match self.slot.parity {
            true => Parity::Checked(&self.checks),
            false if super::unsettled::left_out(&self.layouts) => Parity::Unsettled,
            false => Parity::Off,
        }
    }
}

/// An even or odd check as the panel counts bits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PanelCheck {
    /// True for odd parity.
    pub odd: bool,
    /// Place of the check bit.
    pub bit: usize,
    /// Places of the bits covered, first and last of each run.
    pub over: Vec<(usize, usize)>,
}

/// A slot ready to read captures.
struct Keyed {
    slot: usize,
    shape: Shape,
    sites: Vec<Big>,
    layouts: Vec<usize>,
}

/// A plan's slots, ready to read captures.
pub struct Reader {
    slots: Vec<Keyed>,
    identity: Identity,
}

impl Reader {
    /// Every slot that admits a capture, with what it comes up as there.
    pub fn opens(&self, bits: &Capture) -> Vec<Opened> {
        let admitting = self.slots.iter().filter(|slot| slot.admits(bits));
        admitting.map(|slot| slot.opened(bits, self.identity)).collect()
    }
}

/// What a slot as it is keyed amounts to; `None` where no panel could key it.
pub(crate) fn keyed_shape(slot: &PlanSlot, panel: &Panel, table: &Table) -> Option<Shape> {
    let run =
        |run: PanelRun| Run { start: run.start.saturating_sub(panel.first_bit), len: run.length };
    let card = CardRun::new(run(slot.card), panel)?;
    let layouts: Vec<&Layout> = slot.layouts.iter().filter_map(|id| table.layout(id)).collect();
    let panel = Panel { checks_parity: slot.parity, ..panel.clone() };
    let mut shape = Shape::new(layouts.into_iter(), card, &panel);
    shape.site = slot.site.map(run);
    Some(shape)
}

impl Keyed {
    fn of(plan: &Plan) -> Vec<Keyed> {
        let table = &plan.table;
        let one = |slot: &PlanSlot| {
            let shape = keyed_shape(slot, &plan.panel, table)?;
            let layouts: Vec<usize> =
                slot.layouts.iter().filter_map(|id| table.index_of(id)).collect();
            let mut sites = slot.sites.clone();
            sites.sort_unstable();
            Some(Keyed { slot: slot.slot, shape, sites, layouts })
        };
        plan.slots.iter().filter_map(one).collect()
    }

    fn admits(&self, bits: &Capture) -> bool {
        let site = || self.shape.site_read(bits.wide());
        self.shape.fits(bits)
            && (self.sites.is_empty() || self.sites.binary_search(&site()).is_ok())
    }

    fn opened(&self, bits: &Capture, identity: Identity) -> Opened {
        let number = self.shape.card.number(bits.wide());
        Opened {
            slot: self.slot,
            site: (identity == Identity::SiteAndNumber).then(|| self.shape.site_read(bits.wide())),
            panel_number: self.text(number),
        }
    }

    fn text(&self, number: u128) -> String {
        format!("{number:0>width$}", width = self.shape.card.digits)
    }
}

impl Plan {
    /// What the panel makes of a capture: every slot that admits it, with
    /// what it comes up as there.
    pub fn opens(&self, bits: &Capture) -> Vec<Opened> {
        self.reader().opens(bits)
    }

    /// The slots made ready to read many captures.
    pub fn reader(&self) -> Reader {
        Reader { slots: Keyed::of(self), identity: self.panel.identity }
    }

    /// The slots, each with its checks as the panel counts.
    pub fn worksheet(&self) -> Vec<WorksheetBlock<'_>> {
        let place = |offset: usize| offset + self.panel.first_bit;
        let mut blocks = Vec::with_capacity(self.slots.len());
        for slot in &self.slots {
            let layouts: Vec<&Layout> =
                slot.layouts.iter().filter_map(|id| self.table.layout(id)).collect();
            let checks = layouts.first().filter(|_| slot.parity).map_or(&[][..], |l| l.checks());
            let checks = checks.iter().filter_map(|check| match check {
                Check::Parity { odd, bit, over } => {
                    let ends = |run: &crate::bits::Run| {
                        let (a, b) = (run.first.offset(), run.last.offset());
                        (place(a.min(b)), place(a.max(b)))
                    };
                    let over = over.runs().iter().map(ends).collect();
                    Some(PanelCheck { odd: *odd, bit: place(bit.offset()), over })
                }
                _ => None,
            });
            let checks = checks.collect();
            blocks.push(WorksheetBlock { slot, checks, layouts });
        }
        blocks
    }

    /// Everyone to enrol: the roster's kept and boxed rows in their order, then
    /// the batches as ranges, the cards that the roster lists taken out: what
    /// it blocks is a hole between two ranges.
    ///
    /// # Errors
    /// A row or a batch that contradicts the plan's layouts, as
    /// [`plan`](super::plan) has them.
    pub fn enrolment(
        &self,
        roster: &[RosterRow],
        batches: &[CardBatch],
    ) -> Result<Vec<Enrolment>, PlanError> {
        let slots = Keyed::of(self);
        let rows = roster.iter().filter(|row| row.state != RowState::Blocked);
        let mut list: Vec<Enrolment> = rows.map(|row| self.enrol(&slots, row)).collect();
        let site = Site { panel: self.panel.clone(), batches: batches.to_vec(), ..Site::default() };
        let problem = Problem::new(&self.table, &site, roster)?;
        for kind in &problem.kinds {
            let slot = slots.iter().find(|slot| slot.layouts.contains(&kind.index));
            for batch in &kind.batches {
                let state = if batch.boxed { RowState::Boxed } else { RowState::Kept };
                let line = |first, last| Enrolment {
                    card: CardRef::Batch(super::value::BatchRef { batch: batch.index + 1 }),
                    numbers: Some((first, last)),
                    holder: None,
                    layout: Some(kind.layout.id().to_owned()),
                    opens: None,
                    last_panel_number: None,
                    printed: None,
                    renumbered: false,
                    state,
                };
                let Some(slot) = slot else {
                    list.extend(batch.ranges.iter().map(|range| line(range.first, range.last)));
                    continue;
                };
                for range in &batch.ranges {
                    let (taken, others) = slot.taken(batch, *range)?;
                    for range in taken {
                        slot.enrol_range(batch, range, self.panel.identity, &line, &mut list);
                    }
                    list.extend(others.iter().map(|range| line(range.first, range.last)));
                }
            }
        }
        Ok(list)
    }

    fn enrol(&self, slots: &[Keyed], row: &RosterRow) -> Enrolment {
        let mut enrolment = Enrolment {
            card: CardRef::Line(row.line),
            numbers: None,
            holder: row.holder.clone(),
            layout: None,
            opens: None,
            last_panel_number: None,
            printed: row.printed.clone(),
            renumbered: false,
            state: row.state,
        };
        let RosterCard::Card { layout, number, bits, .. } = &row.card else { return enrolment };
        enrolment.layout = self.table.layouts().get(*layout).map(|layout| layout.id().to_owned());
        let home = slots.iter().find(|slot| slot.layouts.contains(layout));
        if let Some(home) = home.filter(|home| home.shape.fits(bits)) {
            let printed = row.printed.as_deref().and_then(printed_number).unwrap_or(*number);
            enrolment.renumbered = home.shape.card.number(bits.wide()) != printed;
            enrolment.opens = Some(home.opened(bits, self.panel.identity));
        }
        enrolment
    }
}

impl Keyed {
    /// The cards of a range whose number the slot takes, and the others.
    fn taken(
        &self,
        batch: &super::problem::Batch,
        range: Range,
    ) -> Result<(Vec<Range>, Vec<Range>), PlanError> {
        if self.shape.card.most.is_none() {
            return Ok((vec![range], Vec::new()));
        }
        let ranges = |members: Vec<Chosen>| {
            let part = Part { members, home: false, admitted: Vec::new() };
            part.ranges(batch, "its numbers do not follow the card run, and some are too large")
        };
        match taken(vec![Chosen::Range(range)], batch, &self.shape)? {
            Some((inside, outside)) => Ok((ranges(inside)?, ranges(outside)?)),
            None => {
                let card = self.shape.card;
                let takes = |number: &u128| card.takes(card.number(batch.members.word(*number)));
                let (inside, outside) = (range.first..=range.last).partition(takes);
                Ok((joined(inside), joined(outside)))
            }
        }
    }

    fn enrol_range(
        &self,
        batch: &super::problem::Batch,
        range: Range,
        identity: Identity,
        line: &dyn Fn(u128, u128) -> Enrolment,
        list: &mut Vec<Enrolment>,
    ) {
        let opened = |number: u128| {
            let bits = Capture::from_wide(batch.members.word(number), self.shape.length).ok()?;
            Some(self.opened(&bits, identity))
        };
        let put = |first: u128, last: u128, list: &mut Vec<Enrolment>| {
            let mut enrolment = line(first, last);
            enrolment.opens = opened(first);
            let number = enrolment.opens.as_ref().map_or("", |opens| opens.panel_number.as_str());
            enrolment.renumbered = number.parse() != Ok(first);
            enrolment.last_panel_number = opened(last).map(|opened| opened.panel_number);
            list.push(enrolment);
        };
        let plain = batch.members.plain(self.shape.card.run);
        let parts = plain.map(|plain| number_ranges(range, plain, self.shape.card.cut));
        match parts {
            Some(parts) if parts.iter().all(|part| part.card_less.is_some()) => {
                for part in parts {
                    let card = |number: u128| number.wrapping_add(part.card_less.unwrap_or(0));
                    put(card(part.from), card(part.to), list);
                }
            }
            _ if range.last - range.first < LISTED_MOST => {
                (range.first..=range.last).for_each(|number| put(number, number, list));
            }
            _ => {
                let mut enrolment = line(range.first, range.last);
                enrolment.renumbered = true;
                list.push(enrolment);
            }
        }
    }
}
