//! Sites of many layouts: what a building has that took in others over the
//! years, more layouts than are searched step by step.

use std::time::Instant;

use fastrand::Rng;
use holdover::bits::{Position, Span};
use holdover::layout::{Check, Field, Layout, LayoutSpec, Role, Table};
use holdover::plan::{Effort, PlanOptions, RosterRow, plan_with};
use holdover::site::{CardBatch, Panel, Site, State};

/// A site of so many layouts, one to three a length, its cards and a few
/// ranges; slots fewer or more than lengths.
pub fn site(seed: u64, count: usize) -> (Table, Site, Vec<RosterRow>) {
    let mut rng = Rng::with_seed(seed);
    let mut layouts: Vec<Layout> = Vec::new();
    let mut length = 24;
    while layouts.len() < count {
        length += rng.usize(1..=2);
        let alike = rng.usize(1..=3).min(count - layouts.len());
        for _ in 0..alike {
            let id = layouts.len();
            layouts.push(layout(&mut rng, id, length));
        }
    }
    let mut lengths: Vec<usize> = layouts.iter().map(Layout::length).collect();
    lengths.dedup();
    let lengths = lengths.len();
    let table = Table::new(layouts).unwrap();
    let slots = match rng.u8(0..3) {
        0 => lengths - lengths / 5,
        1 => lengths,
        _ => lengths + lengths / 4 + 1,
    };
    let max_digits = [5, 6, 8, 10][rng.usize(..4)];
    let panel = Panel { slots: Some(slots), max_digits, ..Panel::default() };
    let mut roster: Vec<RosterRow> = Vec::new();
    let mut batches = Vec::new();
    for layout in table.layouts() {
        let bits = layout.card_span().unwrap().len();
        let code = rng.u128(1..64);
        // Numbers of one order come out of one box.
        let base = rng.u128(..1 << bits.min(16)) / 2;
        for _ in 0..rng.usize(3..60) {
            let number = (base + rng.u128(..4000)) % (1 << bits);
            let line = roster.len() + 2;
            let row = RosterRow::of_numbers(&table, line, layout.id(), code, number).unwrap();
            roster.push(row);
        }
        if rng.u8(..8) == 0 {
            let first = rng.u128(..1 << (bits - 1));
            let last = first + rng.u128(..200);
            let (layout, site) = (layout.id().to_owned(), Some(code));
            batches.push(CardBatch { layout, site, first, last, state: State::Boxed });
        }
    }
    (table, Site { panel, batches, ..Site::default() }, roster)
}

fn layout(rng: &mut Rng, id: usize, length: usize) -> Layout {
    let site = rng.usize(6..=8);
    let card = rng.usize(12..=16).min(length - 2 - site);
    let start = 2 + rng.usize(..=(length - 2 - site - card).min(3));
    let run = |from: usize, len: usize| Span::run(from - 1, len).unwrap();
    let at = |place: usize| Position::new(place).unwrap();
    let checks = vec![Check::Parity {
        odd: rng.bool(),
        bit: at(1),
        over: run(2, length / 2 + rng.usize(..3)),
    }];
    Layout::new(LayoutSpec {
        id: format!("l{id}"),
        title: "invented".into(),
        length,
        basis: "invented for tests".into(),
        weight: 1.0,
        fields: vec![
            Field::binary(Role::Site, run(start, site)),
            Field::binary(Role::Card, run(start + site, card)),
        ],
        checks,
        unsettled: Vec::new(),
    })
    .unwrap()
}

/// How many of some sites are proved, with the time of each.
fn proved(count: usize, seeds: std::ops::Range<u64>, work: Option<u64>) -> usize {
    let mut done = 0;
    for seed in seeds {
        let (table, site, roster) = site(seed, count);
        let mut effort = Effort::default();
        effort.work = work.unwrap_or(effort.work);
        let start = Instant::now();
        let options = PlanOptions { effort, ..PlanOptions::default() };
        let made = plan_with(&table, &site, &roster, options).unwrap();
        done += usize::from(made.is_proved_best());
        let objective = made.objective();
        if std::env::var_os("PLAN_SHOW").is_some() {
            eprintln!(
                "{count} layouts, seed {seed}, {} slots, {} digits: {:.1} s, lost {}, in conflict \
                 {}, renumbered {}; gap {:?}",
                site.panel.slots.unwrap_or_default(),
                site.panel.max_digits,
                start.elapsed().as_secs_f64(),
                objective.lost,
                objective.in_conflict,
                objective.renumbered,
                made.gap(),
            );
        }
        // The same input gives the same plan.
        if work.is_some() {
            let options = PlanOptions { effort, ..PlanOptions::default() };
            assert_eq!(plan_with(&table, &site, &roster, options).unwrap(), made);
        }
        let mut no = || false;
        let options = PlanOptions { go_on: Some(&mut no), ..PlanOptions::default() };
        let stopped = plan_with(&table, &site, &roster, options).unwrap();
        let least = |made: &holdover::plan::Plan| {
            let objective = made.objective();
            (objective.lost, objective.in_conflict, objective.renumbered)
        };
        assert!(!made.is_proved_best() || least(&stopped) >= least(&made));
        assert!(stopped.objective().lost - stopped.gap().lost <= made.objective().lost);
    }
    done
}

#[test]
fn twenty_layouts_are_proved() {
    assert_eq!(proved(20, 0..6, Some(2_000_000_000)), 6);
}

/// What the records tell: minutes.
#[test]
#[ignore = "minutes"]
fn sites_of_many_layouts() {
    for count in [20, 40, 70, 100] {
        let done = proved(count, 100..112, None);
        eprintln!("{count} layouts: {done} of 12 proved");
    }
}

/// Slots that are keyed in stay, and what is new gets slots beside them.
#[test]
fn slots_that_are_keyed_in_stay() {
    for seed in 0..40 {
        let (table, site, roster) = site(seed, 8);
        let before = roster.iter().filter(|row| row.line % 3 > 0).cloned().collect::<Vec<_>>();
        let first = plan_with(&table, &site, &before, PlanOptions::default()).unwrap();
        for exact_layouts in [16, 0] {
            let mut effort = Effort::default();
            effort.exact_layouts = exact_layouts;
            let options = PlanOptions { keep: Some(&first), effort, ..PlanOptions::default() };
            let next = plan_with(&table, &site, &roster, options).unwrap();
            assert!(next.not_kept().is_empty(), "{:?}", next.not_kept());
            for (was, is) in first.slots().iter().zip(next.slots()) {
                assert!(was.sites.iter().all(|site| is.sites.contains(site)));
                let same = holdover::plan::PlanSlot { sites: was.sites.clone(), ..is.clone() };
                assert_eq!(*was, same, "seed {seed}");
            }
            assert!(next.changes_since(&first, &before).removed.is_empty());
            let text = serde_json::to_string(&next).unwrap();
            serde_json::from_str::<holdover::plan::Plan>(&text).unwrap();
        }
    }
}
