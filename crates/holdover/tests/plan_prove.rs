//! Plans as JSON, and proofs: what is planned is what the panel does.

use std::collections::BTreeSet;

use crate::plan_brute::checks::proof_agrees;
use crate::plan_brute::{self, sites};
use crate::whole::some;
use holdover::plan::{Plan, RowState, plan};

#[test]
fn json_reads_back_equal() {
    for seed in 0..some(1500) {
        let (table, site, roster) = sites::site(seed, 5);
        let plan = plan(&table, &site, &roster).unwrap();
        let text = serde_json::to_string(&plan).unwrap();
        let back: Plan = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{seed}: {e}"));
        assert_eq!(serde_json::to_string(&back).unwrap(), text, "seed {seed}");
        assert_eq!(back.slots(), plan.slots());
        assert_eq!(back.table(), plan.table());
        assert!(back.changes_since(&plan, &roster).is_empty());
    }
}

#[test]
fn keys_are_the_ones_other_programs_read() {
    let (table, site, roster) = sites::site(26, 5);
    let plan = plan(&table, &site, &roster).unwrap();
    let value = serde_json::to_value(&plan).unwrap();
    let keys = |value: &serde_json::Value| -> BTreeSet<String> {
        value.as_object().unwrap().keys().cloned().collect()
    };
    let set = |names: &str| names.split(' ').map(str::to_owned).collect::<BTreeSet<_>>();
    let all = "slots panel table batches kept boxed blocked lost conflicts exposure objective gap cautions";
    assert_eq!(keys(&value), set(all));
    let text = serde_json::to_string(&plan).unwrap();
    let places: Vec<usize> =
        all.split(' ').map(|key| text.find(&format!("\"{key}\":")).unwrap()).collect();
    assert!(places[0] < places[1] && places.last() == places.iter().max());
    let slot = "slot name layouts length site card digits parity sites";
    assert_eq!(keys(&value["slots"][0]), set(slot));
    assert_eq!(keys(&value["slots"][0]["card"]), set("start length"));
    let exposure = "slot admitted_patterns opening_patterns stranger_opens";
    assert_eq!(keys(&value["exposure"][0]), set(exposure));
    let objective =
        "lost in_conflict blocked_open renumbered boxed_lost boxed_in_conflict exposure slots";
    assert_eq!(keys(&value["objective"]), set(objective));
}

#[test]
fn plans_that_contradict_themselves_are_refused() {
    let (table, site, roster) = sites::site(26, 5);
    let plan = plan(&table, &site, &roster).unwrap();
    let value = serde_json::to_value(&plan).unwrap();
    let refused = |change: &dyn Fn(&mut serde_json::Value), why: &str| {
        let mut changed = value.clone();
        change(&mut changed);
        let error = serde_json::from_value::<Plan>(changed).unwrap_err().to_string();
        assert!(error.contains(why), "{error}");
    };
    refused(&|v| v["more"] = 1.into(), "unknown field");
    refused(&|v| v["slots"][0]["more"] = 1.into(), "unknown field");
    refused(&|v| v["slots"][0]["slot"] = 7.into(), "expected its number");
    refused(&|v| v["slots"][0]["layouts"][0] = "other".into(), "not in the plan's table");
    refused(&|v| v["slots"][0]["digits"] = 30.into(), "digits");
    refused(&|v| v["slots"][0]["card"]["start"] = 250.into(), "leaves the");
    refused(&|v| v["slots"][0]["card"]["start"] = u64::MAX.into(), "leaves the");
    refused(&|v| v["panel"]["slots"] = 0.into(), "impossible");
    refused(&|v| v["exposure"][0]["admitted_patterns"] = 3.into(), "admits");
    refused(&|v| v["exposure"][0]["opening_patterns"] = "99999999999".into(), "more patterns");
    refused(&|v| v["kept"] = (-1).into(), "");
    refused(&|v| v["table"] = serde_json::json!([]), "not in the plan's table");
    refused(
        &|v| {
            v["conflicts"] = serde_json::json!([
                {"kind": "two-slots", "panel_number": "1", "cards": [2], "what_to_do": "x"}
            ]);
        },
        "two-slots",
    );
}

fn agree(seed: u64) -> usize {
    let (table, site, roster) = sites::site(seed, 5);
    proof_agrees(&table, &site, &roster, &format!("seed {seed}"))
}

#[test]
fn plan_and_proof_never_disagree() {
    let failing: usize = (0..some(2500)).map(agree).sum();
    assert!(failing as u64 > some(1000), "{failing}");
}

#[test]
fn plan_and_proof_never_disagree_on_cards_in_two_forms() {
    for seed in 0..some(1000) {
        let (table, site, roster) = sites::site_of_serials(seed);
        proof_agrees(&table, &site, &roster, &format!("serials, seed {seed}"));
    }
}

#[test]
fn opens_is_what_the_simulation_reads() {
    for seed in 0..some(800) {
        let (table, site, roster) = sites::site(seed, 5);
        let plan = plan(&table, &site, &roster).unwrap();
        let (cards, _) = plan_brute::cards(&table, &site, &roster);
        let slots = plan_brute::slots_of(&table, &site.panel, &cards, &plan);
        for card in &cards {
            let opened = plan.opens(&card.bits);
            let slow: Vec<(usize, u128)> = slots
                .iter()
                .enumerate()
                .filter(|(_, slot)| slot.admits(&card.bits, &site.panel))
                .map(|(i, slot)| (i + 1, slot.number(&card.bits, &site.panel)))
                .collect();
            let fast: Vec<(usize, u128)> =
                opened.iter().map(|o| (o.slot, o.panel_number.parse().unwrap())).collect();
            assert_eq!(fast, slow, "seed {seed}");
            for (opened, (slot, _)) in opened.iter().zip(&slow) {
                assert_eq!(opened.panel_number.len(), plan.slots()[slot - 1].digits);
            }
        }
    }
}

#[test]
fn the_enrolment_list_is_every_card() {
    for seed in 0..some(800) {
        let (table, site, roster) = sites::site(seed, 5);
        let plan = plan(&table, &site, &roster).unwrap();
        let list = plan.enrolment(&roster, &site.batches).unwrap();
        let renumbered: u128 = list
            .iter()
            .filter(|line| line.renumbered && line.state == RowState::Kept)
            .filter(|line| line.opens.is_some())
            .map(|line| line.numbers.map_or(1, |(first, last)| last - first + 1))
            .sum();
        let repeats = plan.cautions().iter().filter(|c| c.contains("for one holder")).count();
        if repeats == 0 {
            assert_eq!(renumbered, plan.objective().renumbered, "seed {seed}");
        }
        let rows = roster.iter().filter(|row| row.state != RowState::Blocked).count();
        assert_eq!(list.iter().filter(|line| line.numbers.is_none()).count(), rows);
    }
}
