//! Random small sites, from a seed or from what a fuzzer draws: the crate
//! that takes this in says what `Rng` is.

use crate::Rng;
use holdover::bits::{Capture, Position, Span};
use holdover::layout::{Check, Code, Field, Layout, LayoutSpec, Role, Table};
use holdover::plan::{RosterCard, RosterRow, RowState};
use holdover::site::{CardBatch, Identity, KeptDigits, Panel, Site, State};

/// Lengths are few so that layouts often share one.
const LENGTHS: [usize; 4] = [9, 11, 12, 13];

fn layout(rng: &mut Rng, id: usize, length: usize) -> Layout {
    let checked = rng.u8(0..4);
    // Offsets from 0; a parity bit at either end where there are any.
    let (low, high) = if checked == 0 { (0, length) } else { (1, length - 1) };
    let room = high - low;
    let mut sites = if rng.u8(0..5) == 0 { 0 } else { rng.usize(1..=3) };
    let card_bits = rng.usize(3..=(room - sites).min(7));
    let gap = room - sites - card_bits;
    let mut bits: Vec<usize> = (low..high).collect();
    // Spare bits in front, in the middle, or behind.
    for _ in 0..gap {
        let at = match rng.u8(0..3) {
            0 => 0,
            1 => sites.min(bits.len() - 1),
            _ => bits.len() - 1,
        };
        bits.remove(at);
    }
    let (mut site, mut card) = (bits[..sites].to_vec(), bits[sites..].to_vec());
    match rng.u8(0..8) {
        0 => {
            // Card before site.
            card = bits[..card_bits].to_vec();
            site = bits[card_bits..].to_vec();
        }
        1 => card.reverse(),
        2 => {
            let by = rng.usize(1..card.len());
            card.rotate_left(by);
        }
        3 if sites > 0 => {
            // A piece of the card in front of the site code.
            let mut all = bits.clone();
            all.rotate_left(1);
            site = all[..sites].to_vec();
            card = all[sites..].to_vec();
        }
        4 if sites > 1 => site.reverse(),
        _ => {}
    }
    sites = site.len();
    let span = |offsets: &[usize]| Span::from_offsets(offsets.iter().copied()).unwrap();
    let mut fields = Vec::new();
    if sites > 0 {
        fields.push(Field::binary(Role::Site, span(&site)));
    }
    fields.push(Field::binary(Role::Card, span(&card)));
    let middle = length / 2;
    let at = |offset: usize| Position::new(offset + 1).unwrap();
    let parity = |odd, bit, from: usize, to: usize| Check::Parity {
        odd,
        bit: at(bit),
        over: Span::run(from, to - from).unwrap(),
    };
    let mut checks = match checked {
        0 => Vec::new(),
        1 | 2 => vec![parity(false, 0, 1, middle), parity(true, length - 1, middle, length - 1)],
        _ => vec![parity(true, 0, 1, length - 1)],
    };
    // A check bit inside what a wide run reads.
    let spare = (low..high).find(|bit| !site.contains(bit) && !card.contains(bit));
    if let Some(bit) = spare.filter(|_| rng.u8(0..4) == 0) {
        checks.insert(0, Check::Parity { odd: rng.bool(), bit: at(bit), over: span(&card) });
    }
    Layout::new(LayoutSpec {
        id: format!("l{id}"),
        title: "invented".into(),
        length,
        basis: "invented for tests".into(),
        weight: 1.0,
        fields,
        checks,
        unsettled: Vec::new(),
    })
    .unwrap()
}

/// A site with up to so many layouts, its batches of up to a dozen cards.
pub fn site(seed: u64, most_layouts: usize) -> (Table, Site, Vec<RosterRow>) {
    site_with(seed, most_layouts, 12)
}

/// A site whose batches have up to so many cards.
pub fn site_with(
    seed: u64,
    most_layouts: usize,
    most_cards: u128,
) -> (Table, Site, Vec<RosterRow>) {
    drawn(&mut Rng::with_seed(seed), most_layouts, most_cards)
}

/// A site of cards whose numbers are stored as decimal digits, some of them: no
/// linear map leads from such a number to its bits.
pub fn site_of_digits(seed: u64) -> (Table, Site, Vec<RosterRow>) {
    draw(&mut Rng::with_seed(seed), 4, 12, in_digits)
}

/// The layout with its card number in one digit of four or five bits, where it
/// has as many.
fn in_digits(rng: &mut Rng, layout: Layout) -> Layout {
    let code = match layout.card_span().unwrap().len() {
        4 => Code::Bcd4,
        5 => Code::Bcd5,
        _ => return layout,
    };
    if rng.u8(0..4) == 0 {
        return layout;
    }
    let mut spec = layout.spec().clone();
    spec.fields.iter_mut().filter(|field| field.role == Role::Card).for_each(|f| f.code = code);
    Layout::new(spec).unwrap()
}

/// A site of cards with serial numbers of eight bits, some of them in two forms
/// for one holder.
pub fn site_of_serials(seed: u64) -> (Table, Site, Vec<RosterRow>) {
    let rng = &mut Rng::with_seed(seed);
    let (table, site, mut roster) = draw(rng, 4, 12, with_serial);
    for at in 1..roster.len() {
        let earlier = roster[rng.usize(..at)].clone();
        let RosterCard::Card { layout: of, .. } = roster[at].card else { continue };
        let RosterCard::Card { layout: other, number, .. } = earlier.card else { continue };
        let serial = |index: usize| table.layouts()[index].serial_field().is_some();
        if serial(of) && serial(other) && rng.bool() {
            let id = table.layouts()[of].id();
            let row = RosterRow::of_numbers(&table, roster[at].line, id, 0, number).unwrap();
            let holder = if rng.u8(0..4) > 0 { earlier.holder } else { row.holder.clone() };
            let state = roster[at].state;
            roster[at] = RosterRow { holder, state, ..row };
        }
    }
    (table, site, roster)
}

/// The layout with a serial number of eight bits for its only field, where it
/// has room for one.
fn with_serial(rng: &mut Rng, layout: Layout) -> Layout {
    let mut spec = layout.spec().clone();
    let check = usize::from(!spec.checks.is_empty());
    let Some(room) = (spec.length - 2 * check).checked_sub(8) else { return layout };
    let span = Span::run(check + rng.usize(0..=room), 8).unwrap();
    spec.fields = vec![Field { serial: true, ..Field::binary(Role::Card, span.clone()) }];
    spec.checks.retain(|check| match check {
        Check::Parity { bit, .. } => !span.offsets().any(|offset| offset == bit.offset()),
        _ => true,
    });
    Layout::new(spec).unwrap_or(layout)
}

/// The highest card number.
fn most(layout: &Layout) -> u128 {
    let card = layout.fields().iter().find(|field| field.role == Role::Card).unwrap();
    match card.digits() {
        Some(digits) => 10u128.pow(digits as u32) - 1,
        None => (1 << card.span.len()) - 1,
    }
}

/// The same as [`site_with`], drawn from whatever draws.
pub fn drawn(
    rng: &mut Rng,
    most_layouts: usize,
    most_cards: u128,
) -> (Table, Site, Vec<RosterRow>) {
    draw(rng, most_layouts, most_cards, |_, layout| layout)
}

fn draw(
    rng: &mut Rng,
    most_layouts: usize,
    most_cards: u128,
    change: impl Fn(&mut Rng, Layout) -> Layout,
) -> (Table, Site, Vec<RosterRow>) {
    let lengths = &LENGTHS[..rng.usize(1..=LENGTHS.len())];
    let count = rng.usize(1..=most_layouts);
    let layouts: Vec<Layout> = (0..count)
        .map(|id| {
            let length = lengths[rng.usize(..lengths.len())];
            let layout = layout(rng, id, length);
            change(rng, layout)
        })
        .collect();
    let table = Table::new(layouts).unwrap();
    let identities = [Identity::Number, Identity::SiteAndNumber, Identity::SlotAndNumber];
    let mut panel = Panel {
        slots: Some(rng.usize(1..=4)),
        first_bit: rng.usize(0..=1),
        identity: identities[rng.usize(..3)],
        max_length: if rng.u8(0..6) == 0 { 11 } else { 256 },
        max_digits: if rng.bool() { rng.usize(1..=3) } else { rng.usize(1..=10) },
        kept_digits: if rng.bool() { KeptDigits::Low } else { KeptDigits::High },
        checks_parity: rng.u8(0..4) > 0,
        checks_site: rng.u8(0..4) > 0,
        ..Panel::default()
    };
    let mut batches: Vec<CardBatch> = Vec::new();
    for _ in 0..rng.usize(0..=3) {
        let layout = &table.layouts()[rng.usize(..count)];
        let most = most(layout);
        let code = layout.site_span().map(|s| rng.u128(..(1 << s.len().min(2))));
        let first = rng.u128(0..=most);
        let last = (first + rng.u128(0..most_cards)).min(most);
        let state = if rng.bool() { State::Issued } else { State::Boxed };
        let id = layout.id().to_owned();
        let clash = |other: &CardBatch| {
            (other.layout == id && other.site == code)
                && (other.state, state) == (State::Issued, State::Issued)
                && other.first <= last
                && first <= other.last
        };
        if !batches.iter().any(clash) {
            batches.push(CardBatch { layout: id, site: code, first, last, state });
        }
    }
    let mut roster: Vec<RosterRow> = Vec::new();
    let boxed_one_in = rng.u8(2..8);
    // Some layouts may hold boxed cards only.
    let boxed_only = rng.usize(0..2 * count);
    for i in 0..rng.usize(0..=22) {
        if i > 0 && rng.u8(0..12) == 0 {
            let mut twice = roster[rng.usize(..roster.len())].clone();
            twice.line = i + 2;
            roster.push(twice);
            continue;
        }
        let at = rng.usize(..count);
        let layout = &table.layouts()[at];
        let number = rng.u128(..=most(layout));
        let code = layout.site_span().map_or(0, |s| rng.u128(..1 << s.len().min(2)));
        let mut row = RosterRow::of_numbers(&table, i + 2, layout.id(), code, number).unwrap();
        if at == boxed_only || rng.u8(0..boxed_one_in) == 0 {
            row.state = RowState::Boxed;
        }
        row.printed = match rng.u8(0..4) {
            0 => Some(format!("{code}-{number:05}")),
            1 => Some(format!("no. {}", rng.u128(0..100))),
            _ => None,
        };
        row.holder = (rng.u8(0..3) > 0).then(|| format!("holder {}", rng.u8(0..6)));
        if rng.u8(0..40) == 0 {
            row.card = RosterCard::Unfit { why: "fits no layout".into(), bits: None };
        }
        roster.push(row);
    }
    block(rng, &table, &batches, &mut roster);
    limit(rng, &mut panel);
    (table, Site { panel, batches, ..Site::default() }, roster)
}

/// Some panels have more limits.
fn limit(rng: &mut Rng, panel: &mut Panel) {
    if rng.u8(0..4) == 0 {
        panel.max_number = Some(rng.u64(1..=130));
    }
    if rng.u8(0..4) == 0 {
        panel.kept_digits = KeptDigits::Refuse;
    }
    panel.one_site_place = rng.u8(0..4) == 0;
}

/// Blocks some cards: of the roster's own, of those in batches, and some that
/// differ from a kept card in nothing but bits that no field has.
fn block(rng: &mut Rng, table: &Table, batches: &[CardBatch], roster: &mut Vec<RosterRow>) {
    if rng.bool() {
        return;
    }
    for row in roster.iter_mut() {
        if rng.u8(0..8) == 0 {
            row.state = RowState::Blocked;
        }
    }
    let mut line = roster.len() + 2;
    for batch in batches {
        for number in batch.first..=batch.last {
            if rng.u8(0..6) == 0 {
                let code = batch.site.unwrap_or(0);
                let row = RosterRow::of_numbers(table, line, &batch.layout, code, number).unwrap();
                roster.push(RosterRow { state: RowState::Blocked, ..row });
                line += 1;
            }
        }
    }
    for at in 0..roster.len() {
        if rng.u8(0..6) == 0
            && let Some(card) = other_issue(rng, table, &roster[at].card)
        {
            let row = roster[at].clone();
            roster.push(RosterRow { line, card, state: RowState::Blocked, ..row });
            line += 1;
        }
    }
}

/// The same card with other bits where no field is, its checks mended.
fn other_issue(rng: &mut Rng, table: &Table, card: &RosterCard) -> Option<RosterCard> {
    let RosterCard::Card { layout, site, number, bits } = card else { return None };
    let of = &table.layouts()[*layout];
    let taken = |offset: usize| of.fields().iter().any(|f| f.span.offsets().any(|o| o == offset));
    let free: Vec<usize> = (0..of.length()).filter(|offset| !taken(*offset)).collect();
    for _ in 0..8 {
        let mut word = bits.wide();
        for offset in &free {
            word.set(*offset, rng.bool());
        }
        let other = Capture::from_wide(word, of.length()).ok()?;
        if other != *bits && of.admits(&other) {
            let (layout, site, number) = (*layout, *site, *number);
            return Some(RosterCard::Card { layout, site, number, bits: other });
        }
    }
    None
}
