//! The planning model written out the slow way: card by card, every grouping,
//! every card run, every pattern counted. It shares nothing with the planner
//! but the layouts.

pub mod checks;
pub mod sites;

use std::collections::{BTreeMap, BTreeSet};

use holdover::bits::{Capture, Wide};
use holdover::layout::{Check, Layout, Table};
use holdover::plan::{CardRef, ConflictKind, PanelRun, Plan, RosterCard, RosterRow, RowState};
use holdover::site::{Identity, KeptDigits, Panel, Site, State};

#[derive(Clone, Debug)]
pub struct Card {
    pub layout: usize,
    pub bits: Capture,
    pub printed: u128,
    pub boxed: bool,
    /// To stay shut: no home, and no one else's conflict.
    pub blocked: bool,
    /// The same for all forms of one card.
    pub form: usize,
    pub refs: Vec<CardRef>,
}

/// Every card once, and how many kept, boxed and blocked ones fit no layout.
pub fn cards(table: &Table, site: &Site, roster: &[RosterRow]) -> (Vec<Card>, [u128; 3]) {
    let mut cards: Vec<(Card, u128, Option<String>)> = Vec::new();
    let mut unfit = [0; 3];
    for row in roster {
        let RosterCard::Card { layout, site, number, bits } = &row.card else {
            unfit[row.state as usize] += 1;
            continue;
        };
        let digits = row.printed.as_deref().unwrap_or("");
        let last = digits.split(|c: char| !c.is_ascii_digit()).rfind(|g| !g.is_empty());
        let card = Card {
            layout: *layout,
            bits: *bits,
            printed: last.map_or(*number, |g| g.parse().unwrap()),
            boxed: row.state == RowState::Boxed,
            blocked: row.state == RowState::Blocked,
            form: 0,
            refs: vec![CardRef::Line(row.line)],
        };
        let twin = cards.iter_mut().find(|(other, _, holder)| {
            let kept = |card: &Card| !card.boxed && !card.blocked;
            other.bits == card.bits
                && (other.blocked && card.blocked
                    || other.layout == card.layout
                        && kept(other)
                        && kept(&card)
                        && holder.is_some()
                        && *holder == row.holder)
        });
        match twin {
            Some((twin, _, _)) => twin.refs.push(CardRef::Line(row.line)),
            None => cards.push((card, *site, row.holder.clone())),
        }
    }
    let numbers_of = |blocked: bool| -> Vec<(usize, u128, u128)> {
        let mut numbers = Vec::new();
        for row in roster {
            let RosterCard::Card { layout, site, number, .. } = &row.card else { continue };
            let counts = match row.state {
                RowState::Kept => !blocked,
                RowState::Boxed => false,
                RowState::Blocked => blocked,
            };
            if counts {
                numbers.push((*layout, *site, *number));
            }
        }
        numbers
    };
    let (rows, cut_out) = (numbers_of(false), numbers_of(true));
    let holders: Vec<Option<String>> = cards.iter().map(|(_, _, h)| h.clone()).collect();
    let mut cards: Vec<Card> = cards.into_iter().map(|(card, _, _)| card).collect();
    for (i, batch) in site.batches.iter().enumerate() {
        let layout = table.index_of(&batch.layout).unwrap();
        let code = batch.site.unwrap_or(0);
        for number in batch.first..=batch.last {
            let boxed = batch.state == State::Boxed;
            let this = (layout, code, number);
            if !boxed && rows.contains(&this) || cut_out.contains(&this) {
                continue;
            }
            let row = RosterRow::of_numbers(table, 0, &batch.layout, code, number).unwrap();
            let RosterCard::Card { bits, .. } = row.card else { unreachable!() };
            let batch = holdover::plan::BatchRef { batch: i + 1 };
            let refs = vec![CardRef::Batch(batch)];
            let blocked = false;
            cards.push(Card { layout, bits, printed: number, boxed, blocked, form: 0, refs });
        }
    }
    forms(table, &mut cards, &holders);
    (cards, unfit)
}

/// Numbers the cards, the forms of one card alike: kept cards of one holder
/// with one serial number. Small sites have none that could be cut or turned.
fn forms(table: &Table, cards: &mut [Card], holders: &[Option<String>]) {
    let serial = |card: &Card| {
        let layout = &table.layouts()[card.layout];
        let field = layout.serial_field().filter(|field| field.span.len() == 8)?;
        Some(field.span.number(&card.bits))
    };
    for i in 0..cards.len() {
        let card = &cards[i];
        let kept = |card: &Card| !card.boxed && !card.blocked;
        let same = |other: usize| {
            let (serial, earlier) = (serial(card), serial(&cards[other]));
            kept(card) && kept(&cards[other]) && serial.is_some() && serial == earlier
        };
        let listed = holders.get(i).is_some_and(|holder| holder.is_some());
        let twin = (0..i).find(|other| listed && holders[*other] == holders[i] && same(*other));
        cards[i].form = twin.map_or(i, |twin| cards[twin].form);
    }
}

#[derive(Clone, Debug)]
pub struct Slot {
    pub group: Vec<usize>,
    pub length: usize,
    pub card: (usize, usize),
    pub site: Option<(usize, usize)>,
    pub digits: usize,
    pub checks: Vec<(bool, Wide)>,
    pub list: Option<BTreeSet<u128>>,
    pub most: u128,
}

/// Where slots may read the site code; `None`: anywhere.
pub type Place = Option<Option<(usize, usize)>>;

fn digits_of(bits: usize) -> usize {
    ((1u128 << bits) - 1).to_string().len()
}

fn hull(mask: Wide) -> (usize, usize) {
    let offsets: Vec<usize> = mask.offsets().collect();
    let (first, last) = (offsets[0], *offsets.last().unwrap());
    (first, last + 1 - first)
}

fn value(bits: &Capture, (start, len): (usize, usize)) -> u128 {
    (start..start + len).fold(0, |n, at| n << 1 | u128::from(bits.bit(at).unwrap()))
}

fn parities(layout: &Layout) -> BTreeSet<(bool, [u64; 4])> {
    let mut all = BTreeSet::new();
    for check in layout.checks() {
        if let Check::Parity { odd, bit, over } = check {
            let mut mask = over.mask();
            mask.set(bit.offset(), true);
            all.insert((*odd, mask.0));
        }
    }
    all
}

impl Slot {
    pub fn new(
        table: &Table,
        panel: &Panel,
        cards: &[Card],
        group: &[usize],
        card: (usize, usize),
        place: Place,
    ) -> Slot {
        let layouts: Vec<&Layout> = group.iter().map(|l| &table.layouts()[*l]).collect();
        let hulls: Vec<_> = layouts.iter().map(|l| l.site_span().map(|s| hull(s.mask()))).collect();
        let apart = |site: (usize, usize)| site.0 + site.1 <= card.0 || card.0 + card.1 <= site.0;
        let agreed = hulls.iter().all(|h| *h == hulls[0]);
        let site = hulls[0].filter(|site| agreed && apart(*site));
        let site = site.filter(|site| place.is_none_or(|place| place == Some(*site)));
        let same = layouts.iter().all(|l| parities(l) == parities(layouts[0]));
        let checks = match panel.checks_parity && same {
            true => parities(layouts[0]).into_iter().map(|(odd, mask)| (odd, Wide(mask))).collect(),
            false => Vec::new(),
        };
        let own = cards.iter().filter(|c| !c.blocked && group.contains(&c.layout));
        let list = site
            .filter(|_| panel.checks_site)
            .map(|site| own.map(|c| value(&c.bits, site)).collect());
        let digits = digits_of(card.1).min(panel.max_digits);
        let most = u128::from(panel.max_number.unwrap_or(u64::MAX));
        Slot {
            group: group.to_vec(),
            length: layouts[0].length(),
            card,
            site,
            digits,
            checks,
            list,
            most,
        }
    }

    pub fn site_read(&self, bits: &Capture) -> u128 {
        self.site.map_or(0, |site| value(bits, site))
    }

    pub fn admits(&self, bits: &Capture, panel: &Panel) -> bool {
        bits.len() == self.length
            && self.checks.iter().all(|(odd, mask)| (bits.wide() & *mask).parity() == *odd)
            && self.list.as_ref().is_none_or(|list| list.contains(&self.site_read(bits)))
            && self.takes(value(bits, self.card), panel)
    }

    /// Whether the panel takes the number of a value: it is no larger than the
    /// largest, and where numbers are refused rather than cut, not too long.
    pub fn takes(&self, value: u128, panel: &Panel) -> bool {
        let refused =
            panel.kept_digits == KeptDigits::Refuse && value >= 10u128.pow(panel.max_digits as u32);
        !refused && self.number_of(value, panel) <= self.most
    }

    pub fn number_of(&self, value: u128, panel: &Panel) -> u128 {
        let need = digits_of(self.card.1);
        let text = format!("{value:0>need$}");
        let kept = match panel.kept_digits {
            KeptDigits::Refuse => &text[..],
            KeptDigits::Low => &text[need - self.digits..],
            KeptDigits::High => &text[..self.digits],
        };
        kept.parse().unwrap()
    }

    pub fn number(&self, bits: &Capture, panel: &Panel) -> u128 {
        self.number_of(value(bits, self.card), panel)
    }
}

pub fn runs(table: &Table, panel: &Panel, group: &[usize]) -> Vec<(usize, usize)> {
    let fits = (1..100).rev().find(|q| 1u128 << q <= 10u128.pow(panel.max_digits as u32)).unwrap();
    let mut runs = BTreeSet::new();
    for layout in group.iter().map(|l| &table.layouts()[*l]) {
        let card = layout.card_span().unwrap().mask();
        let site = layout.site_span().map_or(Wide::ZERO, |s| s.mask());
        for (start, len) in [hull(card), hull(card | site)] {
            runs.insert((start, len));
            if digits_of(len) > panel.max_digits {
                runs.insert((start + len - fits, fits));
            }
        }
    }
    runs.into_iter().collect()
}

type Id = (u128, u128);

fn identity(slots: &[Slot], at: usize, bits: &Capture, panel: &Panel) -> Id {
    let key = match panel.identity {
        Identity::Number => 0,
        Identity::SiteAndNumber => slots[at].site_read(bits),
        Identity::SlotAndNumber => at as u128,
    };
    (key, slots[at].number(bits, panel))
}

/// What the panel does, card by card.
pub struct Simulated {
    pub homes: Vec<Option<usize>>,
    home_ids: Vec<Option<Id>>,
    pub admitting: Vec<Vec<usize>>,
    /// Known identities with all cards that open them, and by which values.
    pub known: BTreeMap<Id, (BTreeSet<usize>, BTreeSet<u128>)>,
    enrolled: BTreeSet<Id>,
    /// Identities of kept cards that blocked cards open, with those.
    pub blocked_open: BTreeMap<Id, BTreeSet<usize>>,
}

/// Whether cards that open one identity are more than forms of one card.
fn several(opens: &BTreeSet<usize>, cards: &[Card]) -> bool {
    opens.iter().map(|i| cards[*i].form).collect::<BTreeSet<_>>().len() > 1
}

pub fn simulate(slots: &[Slot], cards: &[Card], panel: &Panel) -> Simulated {
    let mut known = BTreeMap::new();
    let mut enrolled = BTreeSet::new();
    let mut blocked_open: BTreeMap<Id, BTreeSet<usize>> = BTreeMap::new();
    let mut homes = Vec::new();
    let mut home_ids = Vec::new();
    let mut admitting = Vec::new();
    for card in cards {
        let home = slots.iter().position(|slot| slot.group.contains(&card.layout));
        let home = home.filter(|home| {
            !card.blocked && slots[*home].takes(value(&card.bits, slots[*home].card), panel)
        });
        if let Some(home) = home {
            let id = identity(slots, home, &card.bits, panel);
            known.insert(id, (BTreeSet::new(), BTreeSet::new()));
            if !card.boxed {
                enrolled.insert(id);
            }
        }
        home_ids.push(home.map(|home| identity(slots, home, &card.bits, panel)));
        homes.push(home);
        let admits = |slot: &usize| slots[*slot].admits(&card.bits, panel);
        admitting.push((0..slots.len()).filter(admits).collect::<Vec<_>>());
    }
    for (i, card) in cards.iter().enumerate() {
        for slot in &admitting[i] {
            let id = identity(slots, *slot, &card.bits, panel);
            if card.blocked {
                if enrolled.contains(&id) {
                    blocked_open.entry(id).or_default().insert(i);
                }
            } else if let Some(opens) = known.get_mut(&id) {
                opens.0.insert(i);
                opens.1.insert(value(&card.bits, slots[*slot].card));
            }
        }
    }
    Simulated { homes, home_ids, admitting, known, enrolled, blocked_open }
}

/// The objective without exposure and slots.
type Head = [u128; 6];

pub fn head(simulated: &Simulated, slots: &[Slot], cards: &[Card], panel: &Panel) -> Head {
    let mut in_conflict: BTreeSet<usize> = BTreeSet::new();
    for (opens, _) in simulated.known.values().filter(|(opens, _)| several(opens, cards)) {
        in_conflict.extend(opens);
    }
    for i in 0..cards.len() {
        if simulated.homes[i].is_some() && simulated.admitting[i].len() > 1 {
            in_conflict.insert(i);
        }
    }
    let mut head = [0; 6];
    head[2] = simulated.blocked_open.values().flatten().collect::<BTreeSet<_>>().len() as u128;
    for (i, card) in cards.iter().enumerate().filter(|(_, card)| !card.blocked) {
        let conflict = u128::from(in_conflict.contains(&i));
        match (card.boxed, simulated.homes[i]) {
            (false, None) => head[0] += 1,
            (true, None) => head[4] += 1,
            (false, Some(home)) => {
                head[3] += u128::from(slots[home].number(&card.bits, panel) != card.printed);
            }
            (true, Some(_)) => {}
        }
        head[if card.boxed { 5 } else { 1 }] += conflict;
    }
    head
}

/// The values that the runs of a slot hold in words that meet its checks, every
/// word tried.
fn held(slot: &Slot) -> BTreeSet<(u128, u128)> {
    let masks: Vec<(bool, u64)> =
        slot.checks.iter().map(|(odd, mask)| (*odd, mask.0[0] >> (64 - slot.length))).collect();
    let read = |word: u64, (start, len): (usize, usize)| {
        u128::from(word >> (slot.length - start - len) & ((1 << len) - 1))
    };
    let meets = |word: &u64| {
        masks.iter().all(|(odd, mask)| (word & mask).count_ones() % 2 == u32::from(*odd))
    };
    let words = (0..1u64 << slot.length).filter(meets);
    words
        .map(|word| (slot.site.map_or(0, |site| read(word, site)), read(word, slot.card)))
        .collect()
}

/// What the runs of slots hold, each worked out once.
pub type Held = BTreeMap<String, std::rc::Rc<BTreeSet<(u128, u128)>>>;

/// Admitted and opening patterns of each slot, every pattern tried.
pub fn opening(
    simulated: &Simulated,
    slots: &[Slot],
    panel: &Panel,
    known: &mut Held,
) -> Vec<(u128, u128)> {
    let of_slot = |(at, slot): (usize, &Slot)| {
        let name = format!("{:?} {} {:?} {:?}", slot.checks, slot.length, slot.site, slot.card);
        let held = known.entry(name).or_insert_with(|| std::rc::Rc::new(held(slot)));
        let opens = |(site, value): &&(u128, u128)| {
            let key = match panel.identity {
                Identity::Number => 0,
                Identity::SiteAndNumber => *site,
                Identity::SlotAndNumber => at as u128,
            };
            slot.list.as_ref().is_none_or(|list| list.contains(site))
                && slot.takes(*value, panel)
                && simulated.enrolled.contains(&(key, slot.number_of(*value, panel)))
        };
        (held.len() as u128, held.iter().filter(opens).count() as u128)
    };
    slots.iter().enumerate().map(of_slot).collect()
}

/// Exposure in units of 2^-64.
pub fn share(opening: &[(u128, u128)]) -> u128 {
    opening.iter().map(|(admitted, opening)| opening * ((1 << 64) / admitted)).sum()
}

/// The least objective of all groupings and runs, with its exposure in units
/// of 2^-64, and how many plans were weighed.
pub fn best(
    table: &Table,
    panel: &Panel,
    cards: &[Card],
    unfit: [u128; 3],
) -> ((Head, u128, usize), usize) {
    let used: BTreeSet<usize> =
        cards.iter().filter(|card| !card.blocked).map(|card| card.layout).collect();
    let mut groupings: Vec<Vec<Vec<usize>>> = vec![Vec::new()];
    for layout in used {
        let this = &table.layouts()[layout];
        let mut more = groupings.clone();
        if this.length() <= panel.max_length && this.card_span().is_some() {
            for grouping in &groupings {
                for at in 0..grouping.len() {
                    if table.layouts()[grouping[at][0]].length() == this.length() {
                        let mut grown = grouping.clone();
                        grown[at].push(layout);
                        more.push(grown);
                    }
                }
                if panel.slots.is_some_and(|slots| grouping.len() < slots) {
                    let mut grown = grouping.clone();
                    grown.push(vec![layout]);
                    more.push(grown);
                }
            }
        }
        groupings = more;
    }
    let lost = |grouping: &Vec<Vec<usize>>| {
        cards
            .iter()
            .filter(|c| {
                !c.boxed && !c.blocked && !grouping.iter().flatten().any(|l| *l == c.layout)
            })
            .count()
    };
    let least = groupings.iter().map(lost).min().unwrap();
    // Where numbers can be too large, what is lost depends on the runs too.
    let limited = panel.max_number.is_some() || panel.kept_digits == KeptDigits::Refuse;
    let mut places: Vec<Place> = vec![None];
    if panel.one_site_place {
        let hulls = table.layouts().iter().filter_map(|l| l.site_span().map(|s| hull(s.mask())));
        let hulls: BTreeSet<_> = hulls.collect();
        places = hulls.into_iter().map(Some).chain([None]).map(Some).collect();
    }
    let mut best: Option<(Head, u128, usize)> = None;
    let mut weighed = 0;
    let mut held = Held::new();
    let searched = groupings.iter().filter(|grouping| limited || lost(grouping) == least);
    for (grouping, place) in searched.flat_map(|g| places.iter().map(move |place| (g, *place))) {
        let mut choices: Vec<Vec<Slot>> = vec![Vec::new()];
        for group in grouping {
            let slots: Vec<Slot> = runs(table, panel, group)
                .into_iter()
                .map(|run| Slot::new(table, panel, cards, group, run, place))
                .collect();
            let grown = choices.iter().flat_map(|choice| {
                slots.iter().map(|slot| [&choice[..], std::slice::from_ref(slot)].concat())
            });
            choices = grown.collect();
        }
        for slots in choices {
            weighed += 1;
            let simulated = simulate(&slots, cards, panel);
            let mut head = head(&simulated, &slots, cards, panel);
            head[0] += unfit[0];
            head[4] += unfit[1];
            if best.is_some_and(|(best, _, _)| best < head) {
                continue;
            }
            let score = (head, share(&opening(&simulated, &slots, panel, &mut held)), slots.len());
            if best.is_none_or(|best| score < best) {
                best = Some(score);
            }
        }
    }
    (best.unwrap(), weighed)
}

/// The slots of a plan as this model has them.
pub fn slots_of(table: &Table, panel: &Panel, cards: &[Card], plan: &Plan) -> Vec<Slot> {
    let run = |run: PanelRun| (run.start - panel.first_bit, run.length);
    let place = plan.slots().iter().find_map(|slot| slot.site.map(run));
    let place = panel.one_site_place.then_some(place);
    plan.slots()
        .iter()
        .map(|slot| {
            let group: Vec<usize> =
                slot.layouts.iter().map(|id| table.index_of(id).unwrap()).collect();
            let card = (slot.card.start - panel.first_bit, slot.card.length);
            let mut same = Slot::new(table, panel, cards, &group, card, place);
            // The plan says nothing else than what follows from the model.
            let site = slot.site.map(run);
            assert_eq!((same.site, same.digits, same.length), (site, slot.digits, slot.length));
            let sites: BTreeSet<u128> = slot.sites.iter().map(|s| s.small().unwrap()).collect();
            assert_eq!(same.list.clone().unwrap_or_default(), sites);
            // Checks that are not settled may be left out.
            let settled = group.iter().all(|l| table.layouts()[*l].unsettled().is_empty());
            assert!(slot.parity != same.checks.is_empty() || !slot.parity && !settled);
            if !slot.parity {
                same.checks.clear();
            }
            same
        })
        .collect()
}

pub type Found = BTreeSet<(u128, ConflictKind, BTreeSet<CardRef>, usize)>;

/// Conflicts as a set; equal ones (of two site codes) are numbered.
pub fn conflicts(
    simulated: &Simulated,
    cards: &[Card],
) -> (Found, BTreeMap<Vec<usize>, BTreeSet<CardRef>>) {
    let mut found = BTreeMap::new();
    for ((_, number), (opens, values)) in &simulated.known {
        if !several(opens, cards) {
            continue;
        }
        let kind = match (opens.iter().any(|i| cards[*i].boxed), values.len()) {
            (true, _) => ConflictKind::RangeOverlap,
            (false, 1) => ConflictKind::SamePanelNumber,
            (false, _) => ConflictKind::DigitsCut,
        };
        let refs: BTreeSet<CardRef> = opens.iter().flat_map(|i| cards[*i].refs.clone()).collect();
        *found.entry((*number, kind, refs)).or_insert(0) += 1;
    }
    for (id, blocked) in &simulated.blocked_open {
        let home = |i: &usize| {
            let card = &cards[*i];
            !card.boxed && simulated.homes[*i].is_some() && simulated.home_ids[*i] == Some(*id)
        };
        let known = (0..cards.len()).filter(home);
        let refs = known.chain(blocked.iter().copied()).flat_map(|i| cards[i].refs.clone());
        let key = (id.1, ConflictKind::BlockedOpens, refs.collect());
        *found.entry(key).or_insert(0) += 1;
    }
    let mut doubled: BTreeMap<Vec<usize>, BTreeSet<CardRef>> = BTreeMap::new();
    for (i, card) in cards.iter().enumerate() {
        if simulated.homes[i].is_some() && simulated.admitting[i].len() > 1 {
            let slots = simulated.admitting[i].iter().map(|slot| slot + 1).collect();
            doubled.entry(slots).or_default().extend(&card.refs);
        }
    }
    (numbered(found), doubled)
}

fn numbered(found: BTreeMap<(u128, ConflictKind, BTreeSet<CardRef>), usize>) -> Found {
    found.into_iter().map(|((number, kind, refs), times)| (number, kind, refs, times)).collect()
}

/// A plan's conflicts in the same form, stretches written out.
pub fn conflicts_of(plan: &Plan) -> (Found, BTreeMap<Vec<usize>, BTreeSet<CardRef>>) {
    let mut found = BTreeMap::new();
    let mut doubled = BTreeMap::new();
    for conflict in plan.conflicts() {
        let refs: BTreeSet<CardRef> = conflict.cards.iter().copied().collect();
        assert_eq!(refs.len(), conflict.cards.len());
        assert!(!conflict.what_to_do.is_empty());
        if let Some(slots) = &conflict.slots {
            assert!(doubled.insert(slots.clone(), refs).is_none());
            continue;
        }
        let text = conflict.panel_number.as_ref().unwrap();
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        for number in first.parse::<u128>().unwrap()..=last.parse().unwrap() {
            *found.entry((number, conflict.kind, refs.clone())).or_insert(0) += 1;
        }
    }
    (numbered(found), doubled)
}
