//! What is demanded of every plan of a small site.

use std::collections::BTreeSet;

use holdover::bits::Capture;
use holdover::layout::Table;
use holdover::plan::{
    CardRef, Effort, Plan, PlanOptions, RosterCard, RosterRow, RowState, plan, plan_with,
};
use holdover::prove::prove;
use holdover::site::{CardBatch, Site};

use super::{Card, Held, best, cards, conflicts, conflicts_of, head, opening, simulate, slots_of};

/// A plan is the best there is, and says of itself what the panel would do.
/// `which` names the site; the answer is how many plans were weighed.
pub fn is_best(table: &Table, site: &Site, roster: &[RosterRow], which: &str) -> usize {
    let plan = plan(table, site, roster).unwrap_or_else(|e| panic!("{which}: {e}"));
    let (cards, unfit) = cards(table, site, roster);
    let panel = &site.panel;
    let (wanted, weighed) = best(table, panel, &cards, unfit);
    let objective = plan.objective();
    let head_of_plan = [
        objective.lost,
        objective.in_conflict,
        objective.blocked_open,
        objective.renumbered,
        objective.boxed_lost,
        objective.boxed_in_conflict,
    ];
    let exposure = wanted.1 as f64 / (1u128 << 64) as f64;
    assert_eq!(
        (head_of_plan, objective.exposure, objective.slots),
        (wanted.0, exposure, wanted.2),
        "{which}: {panel:?}"
    );
    let count = |of: &dyn Fn(&&Card) -> bool| cards.iter().filter(of).count() as u128;
    let kept = count(&|card| !card.boxed && !card.blocked);
    assert_eq!(
        [plan.kept(), plan.boxed(), plan.blocked()],
        [kept + unfit[0], count(&|c| c.boxed) + unfit[1], count(&|c| c.blocked) + unfit[2]]
    );
    assert!(plan.is_proved_best());
    // The search over options of lengths finds a plan as good.
    let mut effort = Effort::default();
    effort.exact_layouts = 0;
    let options = PlanOptions { effort, ..PlanOptions::default() };
    let other = plan_with(table, site, roster, options).unwrap();
    assert_eq!(other.objective(), plan.objective(), "{which}: {panel:?}");
    let lost: u128 = plan.lost().iter().map(|lost| lost.cards).sum();
    assert_eq!(lost, objective.lost, "{which}");
    // What the plan says of its own slots.
    let slots = slots_of(table, panel, &cards, &plan);
    let simulated = simulate(&slots, &cards, panel);
    let mut own = head(&simulated, &slots, &cards, panel);
    own[0] += unfit[0];
    own[4] += unfit[1];
    assert_eq!(own, head_of_plan, "{which}");
    assert_eq!(conflicts_of(&plan), conflicts(&simulated, &cards), "{which}: {panel:?}");
    for (exposure, (admitted, opening)) in
        plan.exposure().iter().zip(opening(&simulated, &slots, panel, &mut Held::new()))
    {
        assert_eq!(exposure.admitted_patterns.small(), Some(admitted));
        assert_eq!(exposure.opening_patterns.small(), Some(opening), "{which}");
        assert_eq!(exposure.stranger_opens, opening as f64 / admitted as f64);
    }
    weighed
}

/// Whether the slot made for a layout takes a card.
fn opens_by(plan: &Plan, id: &str, bits: &Capture) -> bool {
    let own = plan.slots().iter().find(|slot| slot.layouts.iter().any(|layout| layout == id));
    own.is_some_and(|own| plan.opens(bits).iter().any(|opened| opened.slot == own.slot))
}

/// Whether some card of a batch that no row lists is lost.
fn lost_of(plan: &Plan, table: &Table, roster: &[RosterRow], batch: &CardBatch) -> bool {
    let code = batch.site.unwrap_or(0);
    let layout = table.index_of(&batch.layout).unwrap();
    (batch.first..=batch.last).any(|number| {
        let listed = |row: &RosterRow| match &row.card {
            RosterCard::Card { layout: of, site, number: own, .. } => {
                row.state != RowState::Boxed && (*of, *site, *own) == (layout, code, number)
            }
            RosterCard::Unfit { .. } => false,
        };
        let row = RosterRow::of_numbers(table, 0, &batch.layout, code, number).unwrap();
        let RosterCard::Card { bits, .. } = &row.card else { unreachable!() };
        !roster.iter().any(listed) && !opens_by(plan, &batch.layout, bits)
    })
}

/// A kept card in no conflict and not lost holds; all others do not.
/// The answer is how many cards do not hold.
pub fn proof_agrees(table: &Table, site: &Site, roster: &[RosterRow], which: &str) -> usize {
    let plan = plan(table, site, roster).unwrap_or_else(|e| panic!("{which}: {e}"));
    let proofs = prove(&plan, roster).unwrap();
    let mut wrong: BTreeSet<CardRef> = BTreeSet::new();
    for conflict in plan.conflicts() {
        wrong.extend(&conflict.cards);
    }
    let planned = |id: &str| plan.slots().iter().any(|slot| slot.layouts.iter().any(|l| l == id));
    let mut rows = roster.iter().filter(|row| row.state != RowState::Boxed);
    for proof in &proofs {
        let lost = match proof.card {
            CardRef::Line(line) => {
                let row = rows.next().unwrap();
                assert_eq!((row.line, row.state), (line, proof.state));
                match &row.card {
                    // A blocked card is to open nothing of a kept one's.
                    card if row.state == RowState::Blocked => card.bits().is_none(),
                    // What has no slot, or a number its slot does not take.
                    RosterCard::Card { layout, bits, .. } => {
                        let id = table.layouts()[*layout].id();
                        !opens_by(&plan, id, bits)
                    }
                    RosterCard::Unfit { .. } => true,
                }
            }
            CardRef::Batch(batch) => {
                let batch = &site.batches[batch.batch - 1];
                // Where every card of a batch is listed, the rows speak for it.
                !planned(&batch.layout)
                    || plan.lost().iter().any(|lost| lost.layout.as_deref() == Some(&batch.layout))
                        && lost_of(&plan, table, roster, batch)
            }
        };
        let fine = !lost && !wrong.contains(&proof.card);
        assert_eq!(proof.holds, fine, "{which}: {proof:#?}\n{:#?}", plan.conflicts());
        if proof.holds && proof.state == RowState::Kept {
            assert_eq!(proof.expected, proof.got);
        }
        let text = serde_json::to_string(proof).unwrap();
        assert!(text.starts_with("{\"line\":") || text.starts_with("{\"batch\":"), "{text}");
    }
    assert!(rows.next().is_none());
    proofs.iter().filter(|proof| !proof.holds).count()
}
