//! Slots with their cards in them: what each card gives in its own slot, and
//! what the other slots of its length make of it.

use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;

use super::affine::Affine;
use super::big::Big;
use super::error::PlanError;
use super::linear::Members;
use super::parts::{CODES_MOST, Chosen, Given, Part, changed, listed, parts};
use super::problem::{Batch, Kind, Problem};
use super::shape::{CardRun, Run, Shape};
use super::sweep::{Owner, Set, Single, Span, Tag};
use crate::bits::{Capture, Wide};
use crate::site::Identity;

/// A slot that may become part of a plan.
#[derive(Debug, Clone)]
pub(crate) struct Slot {
    /// Indices of its layouts among the problem's kinds, ascending.
    pub kinds: Vec<usize>,
    pub shape: Shape,
    /// Site codes admitted, ascending; `None` where any is.
    pub sites: Option<Rc<Vec<Big>>>,
    /// Its number in an earlier plan, from 1, where it is to stay as it was.
    pub place: Option<usize>,
}

impl Slot {
    pub fn admits(&self, bits: &Capture) -> bool {
        self.shape.fits(bits) && self.allows(&self.shape.site_read(bits.wide()))
    }

    pub fn allows(&self, site: &Big) -> bool {
        self.sites.as_ref().is_none_or(|sites| sites.binary_search(site).is_ok())
    }
}

/// The numbers of one kind's cards in their own slot.
#[derive(Debug, Default)]
pub(crate) struct OwnNumbers {
    /// Listed cards, in the order of the kind's units; `None` for those whose
    /// number the slot does not take.
    listed_cards: Vec<Option<Single>>,
    /// The same sorted by key and number.
    sorted: Vec<Single>,
    batches: Vec<Pieces>,
    pub renumbered: u128,
    /// Kept cards whose number the slot does not take.
    pub lost: u128,
    /// Boxed cards likewise.
    pub boxed_lost: u128,
}

impl OwnNumbers {
    fn leave(&mut self, boxed: bool, cards: u128) {
        let count = if boxed { &mut self.boxed_lost } else { &mut self.lost };
        *count = count.saturating_add(cards);
    }
}

/// The numbers of the cards of the slots of one length.
#[derive(Debug, Default, Clone)]
pub(crate) struct Pieces {
    pub singles: Vec<Single>,
    pub spans: Vec<Span>,
    pub sets: Vec<Set>,
    pub renumbered: u128,
    /// Kept cards whose number their own slot does not take.
    pub lost: u128,
    /// Boxed cards likewise.
    pub boxed_lost: u128,
    /// Kept cards that two slots admit.
    pub doubled_kept: u128,
    /// Boxed cards that two slots admit.
    pub doubled_boxed: u128,
}

type HomeKey = (usize, Run, Option<Run>);

/// Numbers kept for reuse before they are dropped and made anew.
/// Judgement, no source: half a gigabyte.
const KEPT_SINGLES: usize = 8_000_000;

/// What an affine set costs beside a card. Judgement, no source: measured.
const SET_WORK: usize = 100;

/// The key of a card's own slot while its place in the plan is not known.
pub(crate) const OWN_SLOT: u32 = u32::MAX;

/// Slots of a problem, with what was worked out for them.
pub(crate) struct Catalogue<'j, 't> {
    pub problem: &'j Problem<'t>,
    /// Where slots may read the site code: `Some(None)` for nowhere.
    pub site_place: Option<Option<Run>>,
    /// Slots that are keyed in already, and stay.
    pub pinned: Vec<Slot>,
    own_numbers: HashMap<HomeKey, Rc<OwnNumbers>>,
    kept_singles: usize,
    reads: HashMap<(usize, Run), Rc<Vec<Big>>>,
    keys: HashMap<Big, u32>,
    codes: Vec<Big>,
    strays: u32,
    recorded: Option<Values>,
    /// Cards, ranges and sets looked at to make numbers.
    pub looked_at: u64,
}

/// The run values behind listed numbers, by what they open.
pub(crate) type Values = HashMap<(Owner, u32, u128), BTreeSet<Big>>;

impl<'j, 't> Catalogue<'j, 't> {
    pub fn new(problem: &'j Problem<'t>) -> Catalogue<'j, 't> {
        let (keys, codes) = (HashMap::from([(Big::ZERO, 0)]), vec![Big::ZERO]);
        Catalogue {
            problem,
            site_place: None,
            pinned: Vec::new(),
            own_numbers: HashMap::new(),
            kept_singles: 0,
            reads: HashMap::new(),
            keys,
            codes,
            strays: 0,
            recorded: None,
            looked_at: 0,
        }
    }

    /// The site code behind a key, where identities are by site code.
    pub fn code(&self, key: u32) -> Big {
        self.codes.get(key as usize).copied().unwrap_or_default()
    }

    /// The key of a card in the plan's slot `ordinal`, from 0.
    pub fn key_in(&mut self, ordinal: usize, slot: &Slot, word: Wide) -> u32 {
        match self.problem.panel.identity {
            Identity::SlotAndNumber => ordinal as u32,
            _ => self.key(&slot.shape, word),
        }
    }

    /// From now on remembers the run values of batch cards that are listed.
    pub fn start_recording(&mut self) {
        self.own_numbers.clear();
        self.recorded = Some(Values::new());
    }

    pub fn record(&mut self, single: &Single, value: impl FnOnce() -> Big) {
        if let Some(values) = &mut self.recorded {
            let key = (single.owner, single.key, single.number);
            values.entry(key).or_default().insert(value());
        }
    }

    pub fn take_recorded(&mut self) -> Values {
        self.recorded.take().unwrap_or_default()
    }

    fn key(&mut self, shape: &Shape, word: Wide) -> u32 {
        match self.problem.panel.identity {
            Identity::SiteAndNumber => self.key_of(shape.site_read(word)),
            _ => 0,
        }
    }

    fn key_of(&mut self, code: Big) -> u32 {
        let next = self.codes.len() as u32;
        let key = *self.keys.entry(code).or_insert(next);
        if key == next {
            self.codes.push(code);
        }
        key
    }

    /// The shape of a group and a run.
    pub fn shape(&self, kinds: &[usize], card: CardRun) -> Shape {
        let layouts = kinds.iter().map(|kind| self.problem.kinds[*kind].layout);
        let mut shape = Shape::new(layouts, card, self.problem.panel);
        if let Some(place) = self.site_place {
            shape.site = shape.site.filter(|run| Some(*run) == place);
        }
        shape
    }

    /// The places of the site code to plan with, one after the other; one that
    /// leaves them open where slots may differ.
    pub fn site_places(&self) -> Vec<Option<Option<Run>>> {
        if !self.problem.panel.one_site_place {
            return vec![None];
        }
        if let Some(place) = self.pinned.iter().find_map(|slot| slot.shape.site) {
            return vec![Some(Some(place))];
        }
        let spans = self.problem.kinds.iter().filter_map(|kind| kind.layout.site_span());
        let places: BTreeSet<Run> = spans.filter_map(|span| Run::hull(span.mask())).collect();
        places.into_iter().map(Some).chain([None]).map(Some).collect()
    }

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

impl Pieces {
    /// Takes over a kind's numbers as they are.
    pub fn take(&mut self, home: &OwnNumbers, key: Option<u32>) {
        let keyed = |single: &Single| Single { key: key.unwrap_or(single.key), ..*single };
        self.singles.extend(home.sorted.iter().map(keyed));
        home.batches.iter().for_each(|batch| self.take_batch(batch, key, false));
    }

    fn take_batch(&mut self, batch: &Pieces, key: Option<u32>, doubled: bool) {
        let set = |tag: Tag| Tag { doubled, ..tag };
        let single = |s: &Single| Single { key: key.unwrap_or(s.key), tag: set(s.tag), ..*s };
        self.singles.extend(batch.singles.iter().map(single));
        let span = |s: &Span| Span { key: key.unwrap_or(s.key), tag: set(s.tag), ..*s };
        self.spans.extend(batch.spans.iter().map(span));
        let one = |s: &Set| Set { key: key.unwrap_or(s.key), tag: set(s.tag), ..s.clone() };
        self.sets.extend(batch.sets.iter().map(one));
    }

    /// Takes over all numbers of others.
    pub fn append(&mut self, mut other: Pieces) {
        self.singles.append(&mut other.singles);
        self.spans.append(&mut other.spans);
        self.sets.append(&mut other.sets);
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
