//! Slots with their cards in them: what each card gives in its own slot, and
//! what the other slots of its length make of it.

use std::collections::BTreeSet;
use std::rc::Rc;

use super::affine::Affine;
use super::big::Big;
use super::catalogue::{Catalogue, OWN_SLOT, OwnNumbers, Pieces, Slot};
use super::error::PlanError;
use super::linear::Members;
use super::parts::{CODES_MOST, Chosen, Given, Part, changed, listed, parts};
use super::problem::{Batch, Kind};
use super::segments::{Owner, Single, Tag};
use super::shape::{CardRun, Run, Shape};
use crate::bits::{Capture, Wide};
use crate::site::Identity;

/// Numbers kept for reuse before they are dropped and made anew.
/// Judgement, no source: half a gigabyte.
const KEPT_SINGLES: usize = 8_000_000;

/// What an affine set costs beside a card. Judgement, no source: measured.
const SET_WORK: usize = 100;

impl<'j, 't> Catalogue<'j, 't> {
    /// The slot of a group and a run.
    pub fn slot(&mut self, kinds: Vec<usize>, card: CardRun) -> Result<Slot, PlanError> {
        let problem = self.problem;
        let shape = self.shape(&kinds, card);
        let mut sites = None;
        if let Some(run) = shape.site.filter(|_| problem.panel.checks_site) {
            sites = Some(Rc::new(self.codes_of(&kinds, run)?.into_iter().collect()));
        }
        Ok(Slot { kinds, shape, sites, place: None })
    }

    /// The site codes a run reads of the cards of some kinds.
    pub fn codes_of(&mut self, kinds: &[usize], run: Run) -> Result<BTreeSet<Big>, PlanError> {
        let mut all = BTreeSet::new();
        for kind in kinds {
            all.extend(self.reads(*kind, run)?.iter().copied());
        }
        Ok(all)
    }

    /// The site codes a run reads of a kind's cards.
    fn reads(&mut self, kind: usize, run: Run) -> Result<Rc<Vec<Big>>, PlanError> {
        if let Some(reads) = self.reads.get(&(kind, run)) {
            return Ok(Rc::clone(reads));
        }
        let mut all = BTreeSet::new();
        all.extend(
            self.problem.kinds[kind]
                .listed_cards
                .iter()
                .map(|listed_card| run.value(listed_card.bits.wide())),
        );
        for batch in &self.problem.kinds[kind].batches {
            match batch.members.agreed_value(run) {
                Some(value) => {
                    if !batch.ranges.is_empty() {
                        all.insert(value);
                    }
                }
                None => all.extend(codes_read(batch, run)?),
            }
        }
        let reads = Rc::new(all.into_iter().collect());
        self.reads.insert((kind, run), Rc::clone(&reads));
        Ok(reads)
    }

    /// The numbers of a kind's cards in a slot of that shape.
    pub fn home(&mut self, kind: usize, shape: &Shape) -> Result<Rc<OwnNumbers>, PlanError> {
        let key = (kind, shape.card.run, shape.site);
        if let Some(home) = self.own_numbers.get(&key) {
            return Ok(Rc::clone(home));
        }
        let home = Rc::new(self.make_own_numbers(kind, shape)?);
        if self.kept_singles > KEPT_SINGLES {
            self.own_numbers.clear();
            self.kept_singles = 0;
        }
        self.kept_singles += 2 * home.listed_cards.len();
        self.own_numbers.insert(key, Rc::clone(&home));
        Ok(home)
    }

    fn make_own_numbers(&mut self, kind: usize, shape: &Shape) -> Result<OwnNumbers, PlanError> {
        let problem = self.problem;
        let Kind { listed_cards, batches, .. } = &problem.kinds[kind];
        let mut home = OwnNumbers::default();
        home.listed_cards.reserve_exact(listed_cards.len());
        for listed_card in listed_cards {
            let word = listed_card.bits.wide();
            let number = shape.card.number(word);
            if !shape.card.takes(number) {
                home.leave(listed_card.boxed, 1);
                home.listed_cards.push(None);
                continue;
            }
            home.renumbered += u128::from(!listed_card.boxed && number != listed_card.printed);
            let tag = Tag { boxed: listed_card.boxed, ..Tag::default() };
            let owner = Owner::row(listed_card.row);
            let key = self.key(shape, word);
            let form = problem.form(owner);
            home.listed_cards.push(Some(Single { key, number, tag, owner, stray: 0, form }));
        }
        home.sorted.reserve_exact(home.listed_cards.len());
        home.sorted.extend(home.listed_cards.iter().flatten());
        home.sorted.sort_unstable();
        let slot = Slot { kinds: vec![kind], shape: shape.clone(), sites: None, place: None };
        for batch in batches {
            let own = self.home_batch(&mut home, &slot, batch)?;
            home.batches.push(own);
        }
        Ok(home)
    }

    /// The numbers of a batch in its own slot.
    fn home_batch(
        &mut self,
        home: &mut OwnNumbers,
        slot: &Slot,
        batch: &Batch,
    ) -> Result<Pieces, PlanError> {
        let shape = &slot.shape;
        let mut own = Pieces::default();
        let tag = Tag { boxed: batch.boxed, ..Tag::default() };
        let given = Given { slot, ordinal: OWN_SLOT as usize, tag, known: None };
        let mut renumbered = 0u128;
        let Some(parts) = parts(self, std::slice::from_ref(slot), Some(0), batch)? else {
            for (number, word) in listed(batch, "its cards cannot be told as ranges")? {
                let given = shape.card.number(word);
                if shape.card.takes(given) {
                    renumbered += u128::from(given != number);
                    own.singles.push(self.home_single(slot, OWN_SLOT as usize, batch, word));
                } else {
                    home.leave(batch.boxed, 1);
                }
            }
            home.renumbered += if batch.boxed { 0 } else { renumbered };
            own.singles.sort_unstable();
            return Ok(own);
        };
        for part in &parts {
            if part.home {
                given.put(self, batch, part, &mut own)?;
                if !batch.boxed && shape.card.most.is_some() {
                    let more = changed(batch, &part.members, shape)?;
                    renumbered = renumbered.saturating_add(more);
                }
            } else {
                home.leave(batch.boxed, part.cards());
            }
        }
        if !batch.boxed && shape.card.most.is_none() {
            let whole: Vec<_> = batch.ranges.iter().copied().map(Chosen::Range).collect();
            renumbered = changed(batch, &whole, shape)?;
        }
        home.renumbered = home.renumbered.saturating_add(renumbered);
        own.singles.sort_unstable();
        Ok(own)
    }

    fn home_single(&mut self, slot: &Slot, ordinal: usize, batch: &Batch, word: Wide) -> Single {
        let tag = Tag { boxed: batch.boxed, ..Tag::default() };
        let key = self.key_in(ordinal, slot, word);
        let number = slot.shape.card.number(word);
        let owner = Owner::batch(batch.index);
        let single = Single { key, number, tag, owner, stray: 0, form: 0 };
        self.record(&single, || slot.shape.card.run.value(word));
        single
    }

    /// The numbers of all cards of the slots of one length; the first of them
    /// is the plan's slot `ordinal`, from 0. `strays` are kinds of that length
    /// without a slot.
    pub fn pieces(
        &mut self,
        slots: &[Slot],
        strays: &[usize],
        ordinal: usize,
    ) -> Result<Pieces, PlanError> {
        let by_slot = self.problem.panel.identity == Identity::SlotAndNumber;
        let mut pieces = Pieces::default();
        for (at, slot) in slots.iter().enumerate() {
            let key = by_slot.then_some((ordinal + at) as u32);
            for kind in &slot.kinds {
                let home = self.home(*kind, &slot.shape)?;
                pieces.renumbered = pieces.renumbered.saturating_add(home.renumbered);
                pieces.lost = pieces.lost.saturating_add(home.lost);
                pieces.boxed_lost = pieces.boxed_lost.saturating_add(home.boxed_lost);
                if slots.len() == 1 {
                    pieces.take(&home, key);
                } else {
                    self.beside(&mut pieces, slots, at, *kind, &home, ordinal)?;
                }
            }
        }
        for kind in strays {
            self.stray(&mut pieces, slots, *kind, ordinal)?;
        }
        self.blocked(&mut pieces, slots, ordinal);
        let ranges = pieces.spans.len() + SET_WORK * pieces.sets.len();
        self.looked_at += (pieces.singles.len() + ranges) as u64;
        // Stable sorting merges the runs that are sorted already.
        pieces.singles.sort();
        Ok(pieces)
    }

    /// What the slots make of blocked cards.
    fn blocked(&mut self, pieces: &mut Pieces, slots: &[Slot], ordinal: usize) {
        let length = slots.first().map_or(0, |slot| slot.shape.length);
        let Some(blocked) = self.problem.blocked.get(&length) else { return };
        for (at, slot) in slots.iter().enumerate() {
            for card in blocked.iter().filter(|card| slot.admits(&card.bits)) {
                let word = card.bits.wide();
                let key = self.key_in(ordinal + at, slot, word);
                let number = slot.shape.card.number(word);
                let tag = Tag { foreign: true, blocked: true, ..Tag::default() };
                let owner = Owner::row(card.row);
                pieces.singles.push(Single { key, number, tag, owner, stray: 0, form: 0 });
            }
        }
    }

    /// A kind's numbers where other slots read cards of its length too.
    fn beside(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        at: usize,
        kind: usize,
        home: &OwnNumbers,
        ordinal: usize,
    ) -> Result<(), PlanError> {
        let problem = self.problem;
        let by_slot = problem.panel.identity == Identity::SlotAndNumber;
        let slot_key = |slot: usize, key: u32| if by_slot { (ordinal + slot) as u32 } else { key };
        for (listed_card, own) in problem.kinds[kind].listed_cards.iter().zip(&home.listed_cards) {
            let Some(mut own) = *own else {
                let (owner, tag) = (Owner::row(listed_card.row), stray_tag(listed_card.boxed));
                self.stray_card(pieces, slots, &listed_card.bits, owner, tag, ordinal);
                continue;
            };
            own.key = slot_key(at, own.key);
            self.foreign(pieces, slots, at, &mut own, &listed_card.bits, ordinal);
        }
        for (batch, own) in problem.kinds[kind].batches.iter().zip(&home.batches) {
            let Some(parts) = parts(self, slots, Some(at), batch)? else {
                for (_, word) in listed(batch, "other slots admit some of its cards only")? {
                    let card = slots[at].shape.card;
                    if !card.takes(card.number(word)) {
                        self.stray_words(pieces, slots, batch, vec![word], ordinal);
                        continue;
                    }
                    let mut own = self.home_single(&slots[at], ordinal + at, batch, word);
                    let Ok(bits) = Capture::from_wide(word, slots[at].shape.length) else {
                        continue;
                    };
                    self.foreign(pieces, slots, at, &mut own, &bits, ordinal);
                }
                continue;
            };
            for part in parts.iter().filter(|part| !part.home) {
                self.stray_part(pieces, slots, batch, part, ordinal)?;
            }
            let parts: Vec<_> = parts.into_iter().filter(|part| part.home).collect();
            if parts.len() == 1 {
                // All alike: what was worked out for its own slot stands.
                let doubled = parts.iter().any(|part| !part.admitted.is_empty());
                let key = by_slot.then_some((ordinal + at) as u32);
                pieces.take_batch(own, key, doubled);
            } else {
                for part in &parts {
                    let doubled = !part.admitted.is_empty();
                    let tag = Tag { boxed: batch.boxed, doubled, ..Tag::default() };
                    let given = Given { slot: &slots[at], ordinal: ordinal + at, tag, known: None };
                    given.put(self, batch, part, pieces)?;
                }
            }
            for part in parts.iter().filter(|part| !part.admitted.is_empty()) {
                let count =
                    if batch.boxed { &mut pieces.doubled_boxed } else { &mut pieces.doubled_kept };
                *count = count.saturating_add(part.cards());
                for other in &part.admitted {
                    let tag =
                        Tag { boxed: batch.boxed, foreign: true, doubled: true, ..Tag::default() };
                    let known = Some((&slots[at], ordinal + at));
                    let (slot, ordinal) = (&slots[*other], ordinal + other);
                    Given { slot, ordinal, tag, known }.put(self, batch, part, pieces)?;
                }
            }
        }
        Ok(())
    }

    /// What the slots make of the cards of a kind that has none.
    fn stray(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        kind: usize,
        ordinal: usize,
    ) -> Result<(), PlanError> {
        let problem = self.problem;
        for listed_card in &problem.kinds[kind].listed_cards {
            let (owner, tag) = (Owner::row(listed_card.row), stray_tag(listed_card.boxed));
            self.stray_card(pieces, slots, &listed_card.bits, owner, tag, ordinal);
        }
        for batch in &problem.kinds[kind].batches {
            let Some(parts) = parts(self, slots, None, batch)? else {
                let words = listed(batch, STRAY)?.into_iter().map(|(_, word)| word).collect();
                self.stray_words(pieces, slots, batch, words, ordinal);
                continue;
            };
            for part in &parts {
                self.stray_part(pieces, slots, batch, part, ordinal)?;
            }
        }
        Ok(())
    }

    /// What the slots make of members of a batch that no slot of their own
    /// takes.
    fn stray_part(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        batch: &Batch,
        part: &Part,
        ordinal: usize,
    ) -> Result<(), PlanError> {
        match part.admitted[..] {
            [] => {}
            [at] => {
                let (slot, ordinal) = (&slots[at], ordinal + at);
                let given = Given { slot, ordinal, tag: stray_tag(batch.boxed), known: None };
                let mut own = Pieces::default();
                given.put(self, batch, part, &mut own)?;
                // Listed one by one, each counts for itself.
                for single in &mut own.singles {
                    self.strays = self.strays.wrapping_add(1).max(1);
                    single.stray = self.strays;
                }
                pieces.append(own);
            }
            _ => {
                let numbers = part.numbers(batch, STRAY)?;
                let words = numbers.iter().map(|n| batch.members.word(*n)).collect();
                self.stray_words(pieces, slots, batch, words, ordinal);
            }
        }
        Ok(())
    }

    fn stray_words(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        batch: &Batch,
        words: Vec<Wide>,
        ordinal: usize,
    ) {
        let (owner, tag) = (Owner::batch(batch.index), stray_tag(batch.boxed));
        let length = slots.first().map_or(0, |slot| slot.shape.length);
        for bits in words.into_iter().filter_map(|word| Capture::from_wide(word, length).ok()) {
            self.stray_card(pieces, slots, &bits, owner, tag, ordinal);
        }
    }

    fn stray_card(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        bits: &Capture,
        owner: Owner,
        tag: Tag,
        ordinal: usize,
    ) {
        // Cards are told apart within one evaluation, far fewer than 2^32.
        self.strays = self.strays.wrapping_add(1).max(1);
        let form = self.problem.form(owner);
        for (at, slot) in slots.iter().enumerate().filter(|(_, slot)| slot.admits(bits)) {
            let key = self.key_in(ordinal + at, slot, bits.wide());
            let number = slot.shape.card.number(bits.wide());
            let single = Single { key, number, tag, owner, stray: self.strays, form };
            self.record(&single, || slot.shape.card.run.value(bits.wide()));
            pieces.singles.push(single);
        }
    }

    /// One card, and what the other slots give it.
    fn foreign(
        &mut self,
        pieces: &mut Pieces,
        slots: &[Slot],
        at: usize,
        own: &mut Single,
        bits: &Capture,
        ordinal: usize,
    ) {
        let by_slot = self.problem.panel.identity == Identity::SlotAndNumber;
        for (other, slot) in slots.iter().enumerate() {
            if other == at || !slot.admits(bits) {
                continue;
            }
            own.tag.doubled = true;
            let number = slot.shape.card.number(bits.wide());
            let key = match by_slot {
                true => (ordinal + other) as u32,
                false => self.key(&slot.shape, bits.wide()),
            };
            // Opening its own identity by another slot, it opens no one else's.
            if (key, number) != (own.key, own.number) {
                let tag = Tag { foreign: true, ..own.tag };
                pieces.singles.push(Single { key, number, tag, ..*own });
            }
            if own.owner.which().is_err() {
                let single = Single { key, number, ..*own };
                self.record(&single, || slot.shape.card.run.value(bits.wide()));
            }
        }
        if own.tag.doubled {
            let count =
                if own.tag.boxed { &mut pieces.doubled_boxed } else { &mut pieces.doubled_kept };
            *count = count.saturating_add(1);
        }
        pieces.singles.push(*own);
    }
}

/// Why cards without a slot of their own may have to be listed.
const STRAY: &str = "it has no slot of its own, and several slots admit it";

fn stray_tag(boxed: bool) -> Tag {
    Tag { boxed, foreign: true, stray: true, ..Tag::default() }
}

/// The site codes a run reads of a batch whose members differ in it.
fn codes_read(batch: &Batch, run: Run) -> Result<BTreeSet<Big>, PlanError> {
    let mut codes = BTreeSet::new();
    if matches!(batch.members, Members::Linear { .. }) && run.len <= 128 {
        let blocks = batch.ranges.iter().flat_map(|range| Affine::blocks(*range));
        let mut few = true;
        for block in blocks {
            let (image, _) = batch.members.image(run, &block);
            few = image.size().saturating_add(codes.len() as u128) <= 2 * CODES_MOST;
            if !few {
                break;
            }
            codes.extend(image.members().map(Big::from));
        }
        if few {
            return Ok(codes);
        }
    }
    let words = listed(batch, "its cards differ in what the site run reads")?;
    Ok(words.into_iter().map(|(_, word)| run.value(word)).collect())
}

/// The numbers of slots, a length at a time: those of one length are neighbours.
pub(crate) fn pieces_of(
    catalogue: &mut Catalogue<'_, '_>,
    slots: &[Slot],
) -> Result<Vec<Pieces>, PlanError> {
    let problem = catalogue.problem;
    let mut all = Vec::new();
    let mut ordinal = 0;
    for class in slots.chunk_by(|a, b| a.shape.length == b.shape.length) {
        let length = class[0].shape.length;
        let stray = |(index, kind): (usize, &Kind<'_>)| {
            let out = slots.iter().all(|slot| !slot.kinds.contains(&index));
            (kind.layout.length() == length && out).then_some(index)
        };
        let strays: Vec<usize> = problem.kinds.iter().enumerate().filter_map(stray).collect();
        all.push(catalogue.pieces(class, &strays, ordinal)?);
        ordinal += class.len();
    }
    Ok(all)
}
