//! What changes between an earlier plan and this one.

use std::io::Write;

use holdover::plan::{Changes, Opened, PlanSlot};
use serde_json::{Value, json};

use super::worksheet::span;
use crate::fail::Fail;
use crate::mask::Shown;
use crate::plain::plain;
use crate::terminal::{GOOD, Page, in_style};

/// Cards told one by one; the rest is counted.
const TOLD: usize = 20;

pub fn print(out: &mut Page, changes: &Changes, shown: &Shown) -> Result<(), Fail> {
    if changes.is_empty() {
        writeln!(out, "{}", in_style(GOOD, "nothing changed against the earlier plan"))?;
        return Ok(());
    }
    let mut say = |text: String| out.say("changed   ", &text);
    if changes.panel {
        say("the panel's limits are others: see the site file".to_owned())?;
    }
    for slot in &changes.removed {
        say(format!("slot {} ({}) is to be cleared", slot.slot, plain(&slot.name)))?;
    }
    for (was, is) in &changes.changed {
        let place = match was.slot == is.slot {
            true => format!("slot {}", is.slot),
            false => format!("slot {}, now slot {}", was.slot, is.slot),
        };
        say(format!("{place} ({}): {}", plain(&is.name), settings(was, is)))?;
    }
    for slot in &changes.added {
        say(format!("slot {} ({}) is to be keyed in", slot.slot, plain(&slot.name)))?;
    }
    for card in changes.renumbered.iter().take(TOLD) {
        let (was, is) = (opened(&card.before, shown), opened(&card.after, shown));
        say(format!("line {}: was {was}, is now {is}", card.line))?;
    }
    if changes.renumbered.len() > TOLD {
        let more = changes.renumbered.len() - TOLD;
        say(format!("and {more} more cards come up as something else; --format json lists them"))?;
    }
    Ok(())
}

/// The settings that differ, before and after.
fn settings(was: &PlanSlot, is: &PlanSlot) -> String {
    let all = |slot: &PlanSlot| {
        let codes: Vec<String> = slot.sites.iter().map(ToString::to_string).collect();
        [
            ("layouts", slot.layouts.join(" ")),
            ("bits in all", slot.length.to_string()),
            ("card number", span(slot.card)),
            ("site code", slot.site.map_or("none".to_owned(), span)),
            (
                "site codes admitted",
                if codes.is_empty() { "any".to_owned() } else { codes.join(" ") },
            ),
            ("parity", if slot.parity { "checked" } else { "none or off" }.to_owned()),
            ("decimal figures", slot.digits.to_string()),
        ]
    };
    let differ: Vec<String> = all(was)
        .into_iter()
        .zip(all(is))
        .filter(|(was, is)| was != is)
        .map(|((what, was), (_, is))| format!("{what} {was} becomes {is}"))
        .collect();
    match differ.is_empty() {
        true => "the same settings in another place".to_owned(),
        false => plain(&differ.join("; ")),
    }
}

/// What a card opens: "refused", or its number in each slot that admits it.
fn opened(opened: &[Opened], shown: &Shown) -> String {
    let each: Vec<String> = opened
        .iter()
        .map(|one| format!("{} in slot {}", shown.number(&one.panel_number), one.slot))
        .collect();
    if each.is_empty() { "refused".to_owned() } else { each.join(" and ") }
}

/// The difference for programs.
pub fn json(changes: &Changes, shown: &Shown) -> Value {
    let opened = |opened: &[Opened]| -> Vec<Value> {
        let one =
            |o: &Opened| json!({"slot": o.slot, "panel_number": shown.number(&o.panel_number)});
        opened.iter().map(one).collect()
    };
    let renumbered: Vec<Value> = changes
        .renumbered
        .iter()
        .map(|card| {
            let (before, after) = (opened(&card.before), opened(&card.after));
            json!({"line": card.line, "before": before, "after": after})
        })
        .collect();
    let changed: Vec<Value> =
        changes.changed.iter().map(|(was, is)| json!({"before": was, "after": is})).collect();
    json!({
        "panel": changes.panel,
        "added": changes.added,
        "removed": changes.removed,
        "changed": changed,
        "cards": renumbered,
    })
}
