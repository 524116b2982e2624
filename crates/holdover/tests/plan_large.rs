//! Large and hostile jobs: ranges stay ranges, and nothing is refused that
//! need not be.

use crate::whole::some;
use holdover::bits::{Position, Span};
use holdover::layout::{Check, Field, Layout, LayoutSpec, Role, Table, builtin};
use holdover::plan::{
    CardRef, ConflictKind, Effort, PlanErrorKind, PlanOptions, RosterCard, RosterRow, RowState,
    TroubleKind, plan, plan_with, serial_trouble,
};
use holdover::prove::prove;
use holdover::site::{CardBatch, Identity, KeptDigits, Panel, Site, State};

fn layout(
    id: &str,
    length: usize,
    site: Option<&str>,
    card: &str,
    checks: &[(bool, &str)],
) -> Layout {
    let mut fields = Vec::new();
    if let Some(site) = site {
        fields.push(Field::binary(Role::Site, site.parse().unwrap()));
    }
    fields.push(Field::binary(Role::Card, card.parse().unwrap()));
    let check = |(odd, text): &(bool, &str)| {
        let (bit, over) = text.split_once(' ').unwrap();
        let bit = Position::new(bit.parse().unwrap()).unwrap();
        Check::Parity { odd: *odd, bit, over: over.parse::<Span>().unwrap() }
    };
    Layout::new(LayoutSpec {
        id: id.into(),
        title: "invented".into(),
        length,
        basis: "invented for tests".into(),
        weight: 1.0,
        fields,
        checks: checks.iter().map(check).collect(),
        unsettled: Vec::new(),
    })
    .unwrap()
}

fn batch(layout: &str, site: Option<u128>, first: u128, last: u128, state: State) -> CardBatch {
    CardBatch { layout: layout.into(), site, first, last, state }
}

/// A panel with room for what is tried here.
fn panel() -> Panel {
    Panel { slots: Some(8), ..Panel::default() }
}

fn site(panel: Panel, batches: Vec<CardBatch>) -> Site {
    Site { panel, batches, ..Site::default() }
}

/// The checks of a slot as the panel counts bits, from 1 unless it says: even
/// over bits 2 to 13 in bit 1, odd over 14 to 25 in bit 26 (the 26-bit layout
/// of SIA AC-01-1996.10).
#[test]
fn worksheets_have_the_checks_to_key_in() {
    for (first_bit, checks_parity) in [(1, true), (0, true), (1, false)] {
        let panel = Panel { first_bit, checks_parity, ..panel() };
        let cards = vec![batch("std26", Some(65), 1, 99, State::Issued)];
        let made = plan(builtin(), &site(panel, cards), &[]).unwrap();
        let blocks = made.worksheet();
        assert_eq!(blocks.len(), 1);
        let off = 1 - first_bit;
        let checks: Vec<_> =
            blocks[0].checks.iter().map(|c| (c.odd, c.bit, c.over.clone())).collect();
        let expected = vec![
            (false, 1 - off, vec![(2 - off, 13 - off)]),
            (true, 26 - off, vec![(14 - off, 25 - off)]),
        ];
        assert_eq!(checks, if checks_parity { expected } else { Vec::new() });
    }
}

#[test]
fn nothing_at_all() {
    let made = plan(builtin(), &site(panel(), Vec::new()), &[]).unwrap();
    assert!(made.slots().is_empty() && made.is_clean());
    assert_eq!(made.objective().exposure, 0.0);
    assert!(prove(&made, &[]).unwrap().is_empty());
    let none = Table::default();
    assert!(plan(&none, &site(panel(), Vec::new()), &[]).unwrap().slots().is_empty());
}

#[test]
fn four_thousand_million_cards_cost_nothing() {
    let most = (1u128 << 32) - 1;
    let batches = vec![
        batch("num34", None, 0, most, State::Issued),
        batch("std26", Some(65), 4000, 4999, State::Boxed),
        batch("std26", Some(65), 100, 199, State::Issued),
    ];
    let roster = [RosterRow::of_numbers(builtin(), 2, "num34", 0, 4_000_000_000).unwrap()];
    let made = plan(builtin(), &site(panel(), batches.clone()), &roster).unwrap();
    assert_eq!(made.kept(), most + 1 + 100);
    // Issued cards 100 to 199 of one layout are cards of the other, too.
    let boxed = made.conflicts().iter().find(|c| c.kind == ConflictKind::RangeOverlap).unwrap();
    assert!(boxed.what_to_do.contains("boxed range 4000–4999"), "{}", boxed.what_to_do);
    let proofs = prove(&made, &roster).unwrap();
    assert_eq!(proofs.len(), 3);
    // All of them but the hundred are alone.
    let by_slot = Panel { identity: Identity::SlotAndNumber, ..panel() };
    let made = plan(builtin(), &site(by_slot, batches.clone()), &roster).unwrap();
    assert!(made.is_clean(), "{:?}", made.conflicts());
    assert!(prove(&made, &roster).unwrap().iter().all(|proof| proof.holds));
    let list = made.enrolment(&roster, &batches).unwrap();
    let last = list.iter().find(|line| line.numbers == Some((0, 3_999_999_999))).unwrap();
    assert_eq!(last.last_panel_number.as_deref(), Some("3999999999"));
}

#[test]
fn boxed_ranges_are_moved_to_a_free_one() {
    let batches = vec![
        batch("std26", Some(65), 4000, 4999, State::Boxed),
        batch("std26", Some(65), 4500, 5499, State::Issued),
    ];
    let made = plan(builtin(), &site(panel(), batches), &[]).unwrap();
    let [conflict] = made.conflicts() else { panic!("{:?}", made.conflicts()) };
    assert_eq!(conflict.panel_number.as_deref(), Some("04500-04999"));
    assert_eq!(
        conflict.what_to_do,
        "move boxed range 4000–4999 (batch 1) to 6000–6999, or do not hand it out"
    );
    assert_eq!((made.objective().in_conflict, made.objective().boxed_in_conflict), (500, 500));
}

#[test]
fn a_batch_of_two_to_the_hundred() {
    let wide = layout("wide", 101, None, "1-100", &[(false, "101 1-100")]);
    let table = Table::new([wide]).unwrap();
    let most = (1u128 << 100) - 1;
    let batches = vec![batch("wide", None, 0, most, State::Issued)];
    for max_digits in [1, 10, 31, 39] {
        for kept_digits in [KeptDigits::Low, KeptDigits::High] {
            let panel = Panel { max_digits, kept_digits, ..panel() };
            let made = plan(&table, &site(panel, batches.clone()), &[]).unwrap();
            assert_eq!(made.kept(), 1 << 100);
            let all = if max_digits >= 31 { 0 } else { 1 << 100 };
            assert_eq!(made.objective().in_conflict, all, "{max_digits} {kept_digits:?}");
            assert_eq!(made.exposure()[0].stranger_opens, 1.0);
            let text = serde_json::to_string(&made).unwrap();
            assert!(text.contains("\"kept\":\"1267650600228229401496703205376\""));
            let back = serde_json::from_str(&text).unwrap();
            assert_eq!(made.conflicts(), holdover::plan::Plan::conflicts(&back));
        }
    }
}

#[test]
fn narrow_and_wide_runs() {
    let one = layout("one", 1, None, "1", &[]);
    let all = layout("all", 128, None, "1-128", &[]);
    let apart = layout("apart", 256, Some("1-16"), "200-256", &[]);
    let table = Table::new([one, all, apart]).unwrap();
    let batches = vec![
        batch("one", None, 0, 1, State::Issued),
        batch("all", None, 0, u128::MAX, State::Issued),
        batch("apart", Some(9), 5, 5000, State::Issued),
    ];
    for max_digits in [1, 5, 38, 39] {
        for identity in [Identity::Number, Identity::SiteAndNumber, Identity::SlotAndNumber] {
            for kept_digits in [KeptDigits::Low, KeptDigits::High] {
                let panel = Panel { max_digits, identity, kept_digits, ..panel() };
                let job = site(panel, batches.clone());
                let made = plan(&table, &job, &[]).unwrap();
                assert_eq!(made.lost().len(), 0);
                let text = serde_json::to_string(&made).unwrap();
                let back: holdover::plan::Plan = serde_json::from_str(&text).unwrap();
                assert_eq!(serde_json::to_string(&back).unwrap(), text);
                prove(&back, &[]).unwrap();
            }
        }
    }
    let short = Panel { max_length: 1, ..panel() };
    let made = plan(&table, &site(short.clone(), batches[1..].to_vec()), &[]).unwrap();
    assert!(made.slots().is_empty());
    assert_eq!(made.lost()[0].why, "128 bits, and the panel reads 1 at most");
    for (panel, limit) in [
        (Panel { max_digits: 0, ..short.clone() }, "max_digits"),
        (Panel { max_length: 0, ..short.clone() }, "max_length"),
        (Panel { slots: Some(0), ..short.clone() }, "slots"),
        (Panel { first_bit: 2, ..short }, "first_bit"),
    ] {
        let error = plan(&table, &site(panel, Vec::new()), &[]).unwrap_err();
        assert!(error.to_string().starts_with(&format!("panel: {limit} = ")), "{error}");
    }
}

#[test]
fn the_same_card_a_hundred_thousand_times() {
    let row = RosterRow::of_numbers(builtin(), 2, "std26", 65, 4321).unwrap();
    let many = |holder: Option<&str>| -> Vec<RosterRow> {
        let holder = holder.map(str::to_owned);
        (2..100_002).map(|line| RosterRow { line, holder: holder.clone(), ..row.clone() }).collect()
    };
    let made = plan(builtin(), &site(panel(), Vec::new()), &many(None)).unwrap();
    assert_eq!(made.objective().in_conflict, 100_000);
    let [conflict] = made.conflicts() else { panic!() };
    assert_eq!((conflict.kind, conflict.cards.len()), (ConflictKind::SamePanelNumber, 100_000));
    let roster = many(Some("R. Weaver"));
    let made = plan(builtin(), &site(panel(), Vec::new()), &roster).unwrap();
    assert_eq!((made.kept(), made.is_clean()), (1, true));
    assert!(made.cautions().iter().any(|caution| caution.contains("for one holder")));
    assert!(prove(&made, &roster).unwrap().iter().all(|proof| proof.holds));
}

#[test]
fn three_hundred_layouts() {
    let mut rng = fastrand::Rng::with_seed(26);
    for same_length in [false, true] {
        let table = Table::new((0..300).map(|i| {
            let length = if same_length { 40 } else { 20 + i % 150 };
            let at = if same_length { 2 + i % 7 } else { 5 };
            layout(&format!("l{i}"), length, Some("2"), &format!("{}-{}", at + 1, at + 11), &[])
        }))
        .unwrap();
        let roster: Vec<RosterRow> = (0..900)
            .map(|i| {
                let (id, number) = (format!("l{}", i % 300), rng.u128(0..2048));
                RosterRow::of_numbers(&table, i + 2, &id, 1, number).unwrap()
            })
            .collect();
        let mut effort = Effort::default();
        effort.work = some(100_000_000);
        let options = PlanOptions { effort, ..PlanOptions::default() };
        let made = plan_with(&table, &site(panel(), Vec::new()), &roster, options).unwrap();
        assert!(!made.slots().is_empty());
        let gap = made.gap();
        assert!(gap.lost <= made.objective().lost && gap.renumbered <= made.objective().renumbered);
        assert_eq!(made.objective().lost, made.lost().iter().map(|lost| lost.cards).sum::<u128>());
    }
}

#[test]
fn sixteen_layouts_are_exact() {
    let mut rng = fastrand::Rng::with_seed(16);
    let table =
        Table::new((0..16).map(|i| {
            layout(&format!("l{i}"), 26 + 2 * i, Some("2-9"), "10-25", &[(false, "1 2-25")])
        }))
        .unwrap();
    let roster: Vec<RosterRow> = (0..4000)
        .map(|i| {
            let (id, number) = (format!("l{}", i % 16), rng.u128(0..65_536));
            RosterRow::of_numbers(&table, i + 2, &id, 65, number).unwrap()
        })
        .collect();
    for slots in [8, 16] {
        let panel = Panel { slots: Some(slots), ..panel() };
        let made = plan(&table, &site(panel, Vec::new()), &roster).unwrap();
        assert!(made.is_proved_best());
        assert_eq!(made.slots().len(), slots);
    }
}

#[test]
fn mistakes_name_their_place() {
    let error = |batches: Vec<CardBatch>, roster: &[RosterRow]| {
        plan(builtin(), &site(panel(), batches), roster).unwrap_err().to_string()
    };
    let issued = |first, last| batch("std26", Some(65), first, last, State::Issued);
    assert_eq!(
        error(vec![issued(1, 10), issued(10, 20)], &[]),
        "batch 2: cards 10 to 10 are in issued batch 1 too: list each card once"
    );
    assert_eq!(
        error(vec![issued(1, 70_000)], &[]),
        "batch 1: card 70000 does not fit \"std26\": its largest is 65535"
    );
    assert!(error(vec![issued(9, 1)], &[]).contains("write \"1-9\""));
    assert!(error(vec![batch("std62", None, 1, 2, State::Boxed)], &[]).contains("no layout"));
    assert!(error(vec![batch("std26", None, 1, 2, State::Boxed)], &[]).contains("site code"));
    let long = vec![batch("fascn200", Some(1234), 0, 900_000, State::Issued)];
    let refused = plan(builtin(), &site(panel(), long), &[]).unwrap_err();
    assert!(matches!(refused.kind(), PlanErrorKind::TooLong { cards: 900_001, .. }), "{refused}");
    let mut row = RosterRow::of_numbers(builtin(), 7, "std26", 65, 4321).unwrap();
    if let RosterCard::Card { number, .. } = &mut row.card {
        *number = 5;
    }
    assert!(error(vec![], &[row.clone()]).starts_with("line 7: the bits are not site 65, card 5"));
    row.card = RosterCard::Unfit { why: "fits no layout".into(), bits: None };
    let made = plan(
        builtin(),
        &site(panel(), Vec::new()),
        &[row.clone(), RosterRow { line: 8, state: RowState::Boxed, ..row }],
    );
    let made = made.unwrap();
    assert_eq!((made.objective().lost, made.objective().boxed_lost), (1, 1));
    assert_eq!(
        (made.lost()[0].layout.as_deref(), made.lost()[0].why.as_str()),
        (None, "fits no layout")
    );
}

#[test]
fn serial_numbers_that_cannot_be_relied_upon() {
    let row = |line, id, number| RosterRow::of_numbers(builtin(), line, id, 0, number).unwrap();
    let roster = [
        row(2, "serial32", 0x1122_3344),
        row(3, "serial32", 0x4433_2211),
        row(4, "serial56", 0x0004_A1B2_C3D4_E5F6),
        row(5, "serial32", 0x04A1_B2C3),
        row(6, "serial32", 0x88A1_B2C3),
        row(7, "serial32", 0x0811_1111),
        row(8, "serial32", 0x7777_0001),
        row(9, "serial32", 0x8804_A1B2),
    ];
    let found = serial_trouble(builtin(), &roster);
    let said: Vec<(TroubleKind, &[usize])> =
        found.iter().map(|trouble| (trouble.kind, &trouble.lines[..])).collect();
    assert_eq!(
        said,
        [
            (TroubleKind::ByteOrder, &[2, 3][..]),
            (TroubleKind::Cut, &[4, 5, 9]),
            (TroubleKind::Fragment, &[6, 9]),
            (TroubleKind::Random, &[7]),
        ]
    );
    let made = plan(builtin(), &site(panel(), Vec::new()), &roster).unwrap();
    assert!(made.cautions().iter().any(|c| c.starts_with("lines 2, 3: one serial number")));
}

#[test]
fn conflicts_name_the_mend() {
    let row =
        |line, site, number| RosterRow::of_numbers(builtin(), line, "std26", site, number).unwrap();
    // Two sites' card 1234 stay two people over site and card.
    let roster = [row(2, 65, 1234), row(17, 66, 1234)];
    let made = plan(builtin(), &site(panel(), Vec::new()), &roster).unwrap();
    assert!(made.is_clean());
    assert_eq!(made.slots()[0].digits, 8);
    let two = Panel { max_digits: 2, kept_digits: KeptDigits::High, ..panel() };
    let made = plan(builtin(), &site(two, Vec::new()), &roster).unwrap();
    let [conflict] = made.conflicts() else { panic!() };
    assert_eq!(conflict.cards, [CardRef::Line(2), CardRef::Line(17)]);
    assert!(
        conflict.what_to_do.starts_with("reissue line 17; a panel that keys 8 digits"),
        "{}",
        conflict.what_to_do
    );
}

#[test]
fn ranges_that_other_slots_split_stay_ranges() {
    // Three kinds of 36 bits: other checks, card before site, a reversed card.
    let table = Table::new([
        layout("a", 36, Some("2-5"), "6-35", &[(false, "1 2-18"), (true, "36 19-35")]),
        layout("b", 36, Some("32-35"), "2-31", &[(false, "1 2-35")]),
        layout("c", 36, Some("2-5"), "35-6", &[(true, "1 3-20")]),
    ])
    .unwrap();
    let million = 1_000_000u128;
    let ways = some(3) as usize;
    for identity in [Identity::Number, Identity::SiteAndNumber, Identity::SlotAndNumber] {
        for (slots, checks_site) in [(3, false), (1, true), (3, true)].into_iter().take(ways) {
            let panel =
                Panel { identity, slots: Some(slots), checks_site, max_digits: 11, ..panel() };
            let batches = vec![
                batch("a", Some(3), 100, 300 * million, State::Issued),
                batch("b", Some(4), 77, 200 * million, State::Boxed),
                batch("c", Some(3), 5, 100 * million, State::Issued),
            ];
            let job = site(panel, batches.clone());
            let roster = [
                RosterRow::of_numbers(&table, 2, "a", 3, 50).unwrap(),
                RosterRow::of_numbers(&table, 3, "a", 3, 500 * million).unwrap(),
                RosterRow::of_numbers(&table, 4, "c", 3, 77).unwrap(),
            ];
            let made = plan(&table, &job, &roster).unwrap();
            assert_eq!(made.objective().lost, 0);
            assert_eq!(made.kept(), 300 * million - 99 + 100 * million - 4 + 2);
            let proofs = prove(&made, &roster).unwrap();
            let holds = proofs.iter().all(|proof| proof.holds);
            assert_eq!(holds, made.objective().in_conflict == 0);
            made.enrolment(&roster, &batches).unwrap();
        }
    }
}

#[test]
fn a_thousand_ranges_of_two_kinds_of_one_length() {
    let table = Table::new([
        layout("a", 36, Some("2-5"), "6-35", &[(false, "1 2-18"), (true, "36 19-35")]),
        layout("b", 36, None, "2-35", &[(false, "1 2-35")]),
    ])
    .unwrap();
    let mut rng = fastrand::Rng::with_seed(26);
    let batches: Vec<CardBatch> = (0..1000)
        .map(|i| {
            let first = u128::from(rng.u32(..1 << 20)) + (i << 20);
            let last = first + rng.u128(0..1 << 18);
            let state = if i % 3 == 0 { State::Boxed } else { State::Issued };
            match i % 2 {
                0 => batch(
                    "a",
                    Some(i % 16),
                    first % (1 << 30),
                    last.min((1 << 30) - 1).max(first % (1 << 30)),
                    state,
                ),
                _ => batch("b", None, first, last, State::Issued),
            }
        })
        .collect();
    let mut kept: Vec<CardBatch> = Vec::new();
    for batch in batches {
        let clash = |other: &CardBatch| {
            other.layout == batch.layout
                && other.site == batch.site
                && (other.state, batch.state) == (State::Issued, State::Issued)
                && other.first <= batch.last
                && batch.first <= other.last
        };
        if !kept.iter().any(clash) {
            kept.push(batch);
        }
    }
    let made = plan(&table, &site(Panel { max_digits: 11, ..panel() }, kept), &[]).unwrap();
    assert_eq!(made.objective().lost, 0);
}

#[test]
fn sixteen_layouts_of_one_length() {
    for (count, same_checks) in [(8, true), (12, false), (16, true)] {
        let mut rng = fastrand::Rng::with_seed(count);
        let table = Table::new((0..count).map(|i| {
            let (id, at) = (format!("l{i}"), 6 + i % 8);
            let check = if same_checks { "1 2-30".to_owned() } else { format!("1 2-{}", 12 + i) };
            layout(&id, 32, Some("2-5"), &format!("{at}-{}", at + 12), &[(false, &check)])
        }))
        .unwrap();
        let row = |i: u64, rng: &mut fastrand::Rng| {
            let (id, site) = (format!("l{}", i % count), u128::from(i % count % 3));
            let number = rng.u128(0..1 << 13);
            RosterRow::of_numbers(&table, i as usize + 2, &id, site, number).unwrap()
        };
        let roster: Vec<RosterRow> = (0..40).map(|i| row(i, &mut rng)).collect();
        let panel = Panel { slots: Some(4), ..panel() };
        let made = plan(&table, &site(panel, Vec::new()), &roster).unwrap();
        assert!(made.is_proved_best());
        assert_eq!((made.objective().lost, made.objective().in_conflict), (0, 0));
    }
}

/// One blocked card in a hundred and sixty of a batch of 2^24, and one row
/// that is a batch's card and blocked.
#[test]
fn a_hundred_thousand_holes_in_one_batch() {
    let table = Table::new([layout("a", 34, Some("2-9"), "10-33", &[(false, "1 2-33")])]).unwrap();
    let most = (1u128 << 24) - 1;
    let batches =
        vec![batch("a", Some(3), 0, most, State::Issued), batch("a", Some(4), 5, 8, State::Boxed)];
    let blocked = |line, site, number| RosterRow {
        state: RowState::Blocked,
        ..RosterRow::of_numbers(&table, line, "a", site, number).unwrap()
    };
    let mut roster: Vec<RosterRow> =
        (0..100_000).map(|i| blocked(i + 2, 3, i as u128 * 160 + 7)).collect();
    roster.push(blocked(100_002, 4, 6));
    let by_site = Panel { identity: Identity::SiteAndNumber, ..panel() };
    let made = plan(&table, &site(by_site, batches.clone()), &roster).unwrap();
    assert_eq!((made.kept(), made.boxed(), made.blocked()), (most + 1 - 100_000, 3, 100_001));
    assert!(made.is_clean(), "{:?}", made.conflicts().first());
    assert_eq!(made.exposure()[0].opening_patterns.small(), Some(most + 1 - 100_000));
    let list = made.enrolment(&roster, &batches).unwrap();
    let ranges: Vec<_> = list.iter().filter_map(|line| line.numbers).collect();
    assert_eq!(ranges[..3], [(0, 6), (8, 166), (168, 326)]);
    assert_eq!(ranges[ranges.len() - 2..], [(5, 5), (7, 8)]);
    assert_eq!(ranges.len(), 100_003);
    assert!(prove(&made, &roster).unwrap().iter().all(|proof| proof.holds));
}

#[test]
fn blocked_cards_that_open_are_named() {
    let table = Table::new([layout("a", 30, Some("2-5"), "6-25", &[(false, "1 2-29")])]).unwrap();
    let kept = RosterRow::of_numbers(&table, 2, "a", 3, 77).unwrap();
    // The same site code and number, another issue code.
    let RosterCard::Card { layout, site: code, number, bits } = kept.card else { panic!() };
    let mut word = bits.wide();
    [26, 27].iter().for_each(|offset| word.set(*offset, true));
    let bits = holdover::bits::Capture::from_wide(word, 30).unwrap();
    let card = RosterCard::Card { layout, site: code, number, bits };
    let lost = RosterRow { line: 3, card, state: RowState::Blocked, ..kept.clone() };
    let batches = vec![batch("a", Some(3), 70, 99, State::Issued)];
    let job = site(panel(), batches.clone());
    let made = plan(&table, &job, &[kept.clone(), lost.clone()]).unwrap();
    assert_eq!((made.kept(), made.blocked(), made.objective().blocked_open), (30, 1, 1));
    let [conflict] = made.conflicts() else { panic!("{:?}", made.conflicts()) };
    assert_eq!(conflict.kind, ConflictKind::BlockedOpens);
    assert_eq!(conflict.panel_number.as_deref(), Some("0000077"));
    assert_eq!(conflict.cards, [CardRef::Line(2), CardRef::Line(3)]);
    assert_eq!(
        conflict.what_to_do,
        "line 3 is blocked, but the panel would open it by the number of line 2: reissue line 2 \
         with another number"
    );
    // Without the card that takes its place it is a hole, and shut.
    let made = plan(&table, &job, std::slice::from_ref(&lost)).unwrap();
    assert!(made.is_clean());
    assert_eq!(made.kept(), 29);
    // The very same bits, kept and blocked.
    let twin = RosterRow { line: 3, state: RowState::Blocked, ..kept.clone() };
    let made = plan(&table, &site(panel(), Vec::new()), &[kept, twin]).unwrap();
    assert_eq!(made.objective().blocked_open, 1);
    assert!(!made.is_clean());
    assert!(made.conflicts()[0].what_to_do.contains("the bits are the same"));
}
