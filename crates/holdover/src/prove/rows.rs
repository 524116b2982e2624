//! Every kept card of a roster through the slots, and every issued batch.

use std::collections::{BTreeSet, HashMap};

use serde::{Serialize, Serializer, ser::SerializeMap};

use super::simulate::{Reading, Simulation};
use crate::plan::{
    Big, CardRef, Conflict, Plan, PlanError, PlanSlot, RosterCard, RosterRow, RowState,
    conflicts_of, forms, kept_and_blocked, serial_trouble,
};
use crate::site::{CardBatch, Identity, KeptDigits, State};

/// Other cards that a proof names. Judgement, no source: with more than that,
/// it is the number that is wrong.
const NAMED_MOST: usize = 100;

/// Other cards that the proofs of a whole roster name, each its share of them.
/// Judgement, no source: an eighth of a gigabyte.
const NAMED_ALL: usize = 1 << 23;

/// Other cards that each proof of a roster names.
fn named(rows: usize) -> usize {
    (NAMED_ALL / rows.max(1)).clamp(1, NAMED_MOST)
}

/// What a card comes up as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Default)]
pub struct Outcome {
    /// The slots that admit it, from 1.
    pub slots: Vec<usize>,
    /// The site code the panel knows it by, where it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub site: Option<Big>,
    /// The number the panel shows; for a range, of its first and last card.
    pub panel_number: Option<String>,
    /// Other cards that open the same identity; a hundred lines of the roster
    /// at most, and fewer of a roster of more than 83,886 rows, so that all proofs
    /// name 2^23 together.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<CardRef>,
    /// Why it is refused, slot by slot.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub refused: Vec<String>,
}

/// Whether a kept card opens as itself and only as itself, or a blocked one
/// stays shut.
///
/// As JSON `{"line":2,"holds":true,"expected":…,"got":…}`; a batch has
/// `"batch":1` in place of the line, a blocked card `"state":"blocked"` behind
/// it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proof {
    /// The roster line or the batch.
    pub card: CardRef,
    /// Kept, or blocked.
    pub state: RowState,
    /// Whether it does.
    pub holds: bool,
    /// What it should come up as.
    pub expected: Outcome,
    /// What it does come up as.
    pub got: Outcome,
}

impl Serialize for Proof {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        match self.card {
            CardRef::Line(line) => map.serialize_entry("line", &line)?,
            CardRef::Batch(batch) => map.serialize_entry("batch", &batch.batch)?,
        }
        if self.state == RowState::Blocked {
            map.serialize_entry("state", self.state.word())?;
        }
        map.serialize_entry("holds", &self.holds)?;
        map.serialize_entry("expected", &self.expected)?;
        map.serialize_entry("got", &self.got)?;
        map.end()
    }
}

/// What a row comes to in the simulation.
struct Seen<'r> {
    row: &'r RosterRow,
    /// The slot made for its layout, from 1.
    home: Option<usize>,
    readings: Vec<Reading>,
    refused: Vec<String>,
    /// The same for all rows of one card.
    card: usize,
}

/// Proves every kept and every blocked row, in the roster's order, and then
/// every issued batch.
///
/// The roster names layouts of the plan's own table. What a row should come to
/// is worked out from the roster, the batches and the table, never taken from
/// the plan's word: where a slot reads a run that its layouts do not give, the
/// number expected is the card's own.
///
/// # Errors
/// A row or a batch that contradicts the plan's layouts, or a batch that
/// would have to be listed card by card and is too long.
pub fn prove(plan: &Plan, roster: &[RosterRow]) -> Result<Vec<Proof>, PlanError> {
    let batches = plan.batches();
    let simulation = Simulation::new(plan);
    let seen = simulate(&simulation, plan, roster);
    let most = named(roster.len());
    let mut openers: HashMap<(&Big, &str), Vec<usize>> = HashMap::new();
    for (i, one) in seen.iter().enumerate() {
        for reading in &one.readings {
            let cards = openers.entry(identity(reading)).or_default();
            let known = |other: &usize| seen[*other].card == one.card;
            if cards.len() <= most && !cards.iter().any(known) {
                cards.push(i);
            }
        }
    }
    // Numbers that kept cards have, with their lines.
    let mut own_numbers: HashMap<(&Big, &str), Vec<usize>> = HashMap::new();
    for one in seen.iter().filter(|one| one.row.state == RowState::Kept) {
        for own in one.readings.iter().filter(|own| Some(own.slot) == one.home) {
            let lines = own_numbers.entry(identity(own)).or_default();
            if lines.len() < most {
                lines.push(one.row.line);
            }
        }
    }
    let astray: Vec<bool> = plan.slots().iter().map(|slot| plan.reads_astray(slot.slot)).collect();
    // Conflicts in which ranges take part, by the lines and batches in them.
    let conflicts = match batches {
        [] => Vec::new(),
        _ => conflicts_of(plan, roster, batches)?,
    };
    let ranges = Ranges::new(&conflicts);
    // Lines that keep a card which the line blocks in another form.
    let troubles = match roster.iter().any(|row| row.state == RowState::Blocked) {
        true => serial_trouble(plan.table(), roster),
        false => Vec::new(),
    };
    let mut elsewhere: HashMap<usize, Vec<usize>> = HashMap::new();
    for (kept, blocked) in kept_and_blocked(&troubles, roster) {
        blocked.iter().for_each(|line| elsewhere.entry(*line).or_default().extend(&kept));
    }
    let mut proofs = Vec::with_capacity(roster.len());
    for one in &seen {
        match one.row.state {
            RowState::Kept => {
                let astray = one.home.is_some_and(|home| astray[home - 1]);
                proofs.push(proof((plan, astray), one, &seen, &openers, &ranges));
            }
            RowState::Blocked => {
                let elsewhere = elsewhere.get(&one.row.line).map_or(&[][..], Vec::as_slice);
                proofs.push(shut(one, &own_numbers, &ranges, elsewhere));
            }
            RowState::Boxed => {}
        }
    }
    let listed: BTreeSet<(usize, u128, u128)> = match batches {
        [] => BTreeSet::new(),
        _ => roster.iter().filter_map(numbers).collect(),
    };
    let refused = not_taken(plan, roster, batches)?;
    for (index, batch) in batches.iter().enumerate() {
        if batch.state == State::Issued {
            // What the roster lists is proved there.
            let layout = plan.table().index_of(&batch.layout).unwrap_or(usize::MAX);
            let in_roster =
                |card: &u128| listed.contains(&(layout, batch.site.unwrap_or(0), *card));
            let first = (batch.first..=batch.last).find(|card| !in_roster(card));
            let last = (batch.first..=batch.last).rev().find(|card| !in_roster(card));
            let ends = first.zip(last);
            let number = index + 1;
            let mut proof = batch_proof(plan, &simulation, (batch, number), ends, &ranges)?;
            if let Some(why) = refused.get(&number) {
                proof.got.refused.extend_from_slice(why);
                proof.holds = false;
            }
            proofs.push(proof);
        }
    }
    Ok(proofs)
}

/// Where a panel has a largest number: the cards of batches, from 1, whose
/// number it does not take, a few stretches of them named.
fn not_taken(
    plan: &Plan,
    roster: &[RosterRow],
    batches: &[CardBatch],
) -> Result<HashMap<usize, Vec<String>>, PlanError> {
    let panel = plan.panel();
    let mut refused: HashMap<usize, Vec<String>> = HashMap::new();
    if batches.is_empty() || panel.max_number.is_none() && panel.kept_digits != KeptDigits::Refuse {
        return Ok(refused);
    }
    for line in plan.enrolment(roster, batches)? {
        let (CardRef::Batch(batch), Some((first, last))) = (line.card, line.numbers) else {
            continue;
        };
        let own = |slot: &PlanSlot| slot.layouts.iter().any(|id| Some(id) == line.layout.as_ref());
        let has_slot = plan.slots().iter().any(own);
        if has_slot && line.opens.is_none() && !line.renumbered {
            let why = refused.entry(batch.batch).or_default();
            if why.len() < NAMED_MOST {
                why.push(format!("cards {first} to {last}: the panel does not take their numbers"));
            }
        }
    }
    Ok(refused)
}

/// What the panel knows a person by: two slots may show one number with more
/// or fewer zeros in front.
fn identity(reading: &Reading) -> (&Big, &str) {
    (&reading.key, reading.panel_number.trim_start_matches('0'))
}

/// Layout, site code and number of a row that a batch leaves out.
fn numbers(row: &RosterRow) -> Option<(usize, u128, u128)> {
    match &row.card {
        RosterCard::Card { layout, site, number, .. } if row.state != RowState::Boxed => {
            Some((*layout, *site, *number))
        }
        _ => None,
    }
}

fn simulate<'r>(
    simulation: &Simulation<'_>,
    plan: &Plan,
    roster: &'r [RosterRow],
) -> Vec<Seen<'r>> {
    let mut same: HashMap<(usize, crate::bits::Capture, &str), usize> = HashMap::new();
    let forms = forms(plan.table(), roster);
    let mut seen = Vec::with_capacity(roster.len());
    for (i, row) in roster.iter().enumerate() {
        let mut one = Seen { row, home: None, readings: Vec::new(), refused: Vec::new(), card: i };
        match &row.card {
            RosterCard::Unfit { why, bits } => {
                one.refused.push(why.clone());
                // A blocked card must stay shut, whatever it is.
                if let (Some(bits), RowState::Blocked) = (bits, row.state) {
                    let slots = 1..=plan.slots().len();
                    one.readings.extend(slots.filter_map(|slot| simulation.read(slot, bits).ok()));
                }
            }
            RosterCard::Card { layout, bits, .. } => {
                let layout_of = plan.table().layouts().get(*layout);
                one.home = layout_of.and_then(|layout| simulation.slot_for(layout.id()));
                if one.home.is_none() {
                    one.refused.push("no slot was made for its layout".to_owned());
                }
                for slot in 1..=plan.slots().len() {
                    match simulation.read(slot, bits) {
                        Ok(reading) => one.readings.push(reading),
                        Err(why) if one.home == Some(slot) => one.refused.push(why),
                        Err(_) => {}
                    }
                }
                // A card listed twice for one holder is one card.
                let holder = row.holder.as_deref().map_or("", str::trim);
                if !holder.is_empty() && row.state == RowState::Kept {
                    one.card = *same.entry((*layout, *bits, holder)).or_insert(i);
                }
                // So is one that is listed in two forms.
                if let Some(first) = forms.get(&(i as u32)) {
                    one.card = *first as usize;
                }
            }
        }
        seen.push(one);
    }
    seen
}

fn proof(
    (plan, astray): (&Plan, bool),
    one: &Seen<'_>,
    seen: &[Seen<'_>],
    openers: &HashMap<(&Big, &str), Vec<usize>>,
    ranges: &Ranges,
) -> Proof {
    let site = |reading: &Reading| {
        (plan.panel().identity == Identity::SiteAndNumber).then_some(reading.key)
    };
    let own = one.readings.iter().find(|reading| Some(reading.slot) == one.home);
    let mut got = Outcome {
        slots: one.readings.iter().map(|reading| reading.slot).collect(),
        refused: one.refused.clone(),
        ..Outcome::default()
    };
    let shown = own.or(one.readings.first());
    got.site = shown.and_then(site);
    got.panel_number = shown.map(|reading| reading.panel_number.clone());
    let mut also: BTreeSet<CardRef> = BTreeSet::new();
    if let Some(own) = own {
        let others = openers.get(&identity(own)).into_iter().flatten();
        let others = others.map(|i| &seen[*i]).filter(|other| other.card != one.card);
        also.extend(others.map(|other| CardRef::Line(other.row.line)));
        also.extend(ranges.batches_with(one.row.line, &own.panel_number));
    }
    got.also = also.into_iter().collect();
    let mut expected = Outcome {
        slots: one.home.into_iter().collect(),
        site: own.and_then(site),
        panel_number: own.map(|own| own.panel_number.clone()).or_else(|| one.row.printed.clone()),
        ..Outcome::default()
    };
    if let (RosterCard::Card { number, .. }, true) = (&one.row.card, astray) {
        expected.panel_number = Some(number.to_string());
    }
    let holds = own.is_some() && !astray && got == expected;
    let card = CardRef::Line(one.row.line);
    Proof { card, state: RowState::Kept, holds, expected, got }
}

/// A blocked card: no slot admits it to a number that a kept card has, and no line
/// keeps it in another form. Of one whose bits nobody knows that cannot be said.
fn shut(
    one: &Seen<'_>,
    own_numbers: &HashMap<(&Big, &str), Vec<usize>>,
    ranges: &Ranges,
    elsewhere: &[usize],
) -> Proof {
    let mut also: BTreeSet<CardRef> = elsewhere.iter().copied().map(CardRef::Line).collect();
    let mut open: Option<&Reading> = None;
    for reading in &one.readings {
        let known = also.len();
        let kept = own_numbers.get(&identity(reading)).into_iter().flatten();
        also.extend(kept.map(|line| CardRef::Line(*line)));
        also.extend(ranges.batches_with(one.row.line, &reading.panel_number));
        if also.len() > known {
            open = open.or(Some(reading));
        }
    }
    let shown = open.or(one.readings.first());
    let refused = if one.readings.is_empty() { one.refused.clone() } else { Vec::new() };
    let got = Outcome {
        slots: one.readings.iter().map(|reading| reading.slot).collect(),
        site: None,
        panel_number: shown.map(|reading| reading.panel_number.clone()),
        also: also.into_iter().collect(),
        refused,
    };
    let holds = got.also.is_empty() && one.row.card.bits().is_some();
    let card = CardRef::Line(one.row.line);
    Proof { card, state: RowState::Blocked, holds, expected: Outcome::default(), got }
}

/// Conflicts by the cards in them.
struct Ranges {
    #[allow(clippy::type_complexity, reason = "a conflict taken apart, used here alone")]
    conflicts: Vec<(Option<(String, String)>, Vec<usize>, Vec<CardRef>)>,
    lines: HashMap<usize, Vec<usize>>,
    batches: HashMap<usize, Vec<usize>>,
}

impl Ranges {
    fn new(conflicts: &[Conflict]) -> Ranges {
        let mut ranges =
            Ranges { conflicts: Vec::new(), lines: HashMap::new(), batches: HashMap::new() };
        for conflict in conflicts {
            let batch = |card: &CardRef| matches!(card, CardRef::Batch(_));
            if !conflict.cards.iter().any(batch) {
                continue;
            }
            let at = ranges.conflicts.len();
            for card in &conflict.cards {
                match card {
                    CardRef::Line(line) => ranges.lines.entry(*line).or_default().push(at),
                    CardRef::Batch(batch) => {
                        ranges.batches.entry(batch.batch).or_default().push(at);
                    }
                }
            }
            let ends = conflict.panel_number.as_deref().map(|text| {
                let (from, to) = text.split_once('-').unwrap_or((text, text));
                (from.to_owned(), to.to_owned())
            });
            let slots = conflict.slots.clone().unwrap_or_default();
            ranges.conflicts.push((ends, slots, conflict.cards.clone()));
        }
        ranges
    }

    /// Batches that open the number of a listed card.
    fn batches_with(&self, line: usize, number: &str) -> impl Iterator<Item = CardRef> {
        let number = order(number);
        let at = self.lines.get(&line).into_iter().flatten().map(|at| &self.conflicts[*at]);
        at.filter(move |(ends, _, _)| {
            ends.as_ref().is_some_and(|(from, to)| order(from) <= number && number <= order(to))
        })
        .flat_map(|(_, _, cards)| cards.iter().copied())
        .filter(|card| matches!(card, CardRef::Batch(_)))
    }
}

/// Digits in the order of the numbers they are, leading zeros ignored.
fn order(digits: &str) -> (usize, String) {
    let plain = digits.trim_start_matches('0');
    (plain.len(), plain.to_owned())
}

/// An issued batch: what the sweep says of it, and its ends bit by bit.
fn batch_proof(
    plan: &Plan,
    simulation: &Simulation<'_>,
    (batch, number): (&CardBatch, usize),
    ends: Option<(u128, u128)>,
    ranges: &Ranges,
) -> Result<Proof, PlanError> {
    let home = simulation.slot_for(&batch.layout);
    let site = batch.site.unwrap_or(0);
    let mut got = Outcome::default();
    let mut shown: Vec<Reading> = Vec::new();
    let mut slots: BTreeSet<usize> = BTreeSet::new();
    for end in ends.into_iter().flat_map(|(first, last)| [first, last]) {
        let row = RosterRow::of_numbers(plan.table(), 0, &batch.layout, site, end)
            .map_err(|error| error.in_batch(number))?;
        let RosterCard::Card { bits, .. } = &row.card else { continue };
        for slot in 1..=plan.slots().len() {
            match simulation.read(slot, bits) {
                Ok(reading) => {
                    slots.insert(slot);
                    shown.extend((home == Some(slot)).then_some(reading));
                }
                Err(why) if home == Some(slot) => got.refused.push(format!("card {end}: {why}")),
                Err(_) => {}
            }
        }
    }
    if home.is_none() {
        got.refused.push("no slot was made for its layout".to_owned());
    }
    let conflicts = ranges.batches.get(&number).into_iter().flatten();
    let this = CardRef::Batch(crate::plan::BatchRef { batch: number });
    let mut also: BTreeSet<CardRef> = BTreeSet::new();
    let mut within = false;
    for (ends, doubled, cards) in conflicts.map(|at| &ranges.conflicts[*at]) {
        slots.extend(doubled);
        also.extend(cards.iter().filter(|card| **card != this && ends.is_some()));
        // Numbers that only the batch's own cards share.
        within |= ends.is_some() && cards.len() == 1;
    }
    also.extend(within.then_some(this));
    if ends.is_none() {
        slots.extend(home);
    }
    got.slots = slots.into_iter().collect();
    let by_site = plan.panel().identity == Identity::SiteAndNumber;
    got.site = shown.first().filter(|_| by_site).map(|reading| reading.key);
    got.panel_number = match &shown[..] {
        [first, last] => Some(format!("{}-{}", first.panel_number, last.panel_number)),
        _ => None,
    };
    got.also = also.into_iter().collect();
    let expected = Outcome {
        slots: home.into_iter().collect(),
        site: got.site,
        panel_number: got.panel_number.clone(),
        ..Outcome::default()
    };
    let holds = home.is_some() && got == expected;
    Ok(Proof { card: this, state: RowState::Kept, holds, expected, got })
}
