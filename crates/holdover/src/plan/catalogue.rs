//! Slots of a problem, and what is worked out for them once.

use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;

use super::big::Big;
use super::problem::Problem;
use super::segments::{Owner, Set, Single, Span, Tag};
use super::shape::{CardRun, Run, Shape};
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
    pub listed_cards: Vec<Option<Single>>,
    /// The same sorted by key and number.
    pub sorted: Vec<Single>,
    pub batches: Vec<Pieces>,
    pub renumbered: u128,
    /// Kept cards whose number the slot does not take.
    pub lost: u128,
    /// Boxed cards likewise.
    pub boxed_lost: u128,
}

impl OwnNumbers {
    pub fn leave(&mut self, boxed: bool, cards: u128) {
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

pub(crate) type HomeKey = (usize, Run, Option<Run>);

/// The key of a card's own slot while its place in the plan is not known.
pub(crate) const OWN_SLOT: u32 = u32::MAX;

/// Slots of a problem, with what was worked out for them.
pub(crate) struct Catalogue<'j, 't> {
    pub problem: &'j Problem<'t>,
    /// Where slots may read the site code: `Some(None)` for nowhere.
    pub site_place: Option<Option<Run>>,
    /// Slots that are keyed in already, and stay.
    pub pinned: Vec<Slot>,
    pub own_numbers: HashMap<HomeKey, Rc<OwnNumbers>>,
    pub kept_singles: usize,
    pub reads: HashMap<(usize, Run), Rc<Vec<Big>>>,
    keys: HashMap<Big, u32>,
    codes: Vec<Big>,
    pub strays: u32,
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

    pub fn key(&mut self, shape: &Shape, word: Wide) -> u32 {
        match self.problem.panel.identity {
            Identity::SiteAndNumber => self.key_of(shape.site_read(word)),
            _ => 0,
        }
    }

    pub fn key_of(&mut self, code: Big) -> u32 {
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
}

impl Pieces {
    /// Takes over a kind's numbers as they are.
    pub fn take(&mut self, home: &OwnNumbers, key: Option<u32>) {
        let keyed = |single: &Single| Single { key: key.unwrap_or(single.key), ..*single };
        self.singles.extend(home.sorted.iter().map(keyed));
        home.batches.iter().for_each(|batch| self.take_batch(batch, key, false));
    }

    pub fn take_batch(&mut self, batch: &Pieces, key: Option<u32>, doubled: bool) {
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

/// By the first layout's place in the table, slots of one length together.
pub(crate) fn sort_slots(slots: &mut [Slot]) {
    let mut first: HashMap<usize, usize> = HashMap::new();
    for slot in slots.iter() {
        let kind = slot.kinds.first().copied().unwrap_or(0);
        let least = first.entry(slot.shape.length).or_insert(kind);
        *least = kind.min(*least);
    }
    slots.sort_by_key(|slot| (first[&slot.shape.length], slot.kinds.first().copied()));
}
