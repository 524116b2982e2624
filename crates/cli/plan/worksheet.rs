//! The worksheet: one block a slot, in the order it is keyed in, with a
//! sign-off line for each.

use std::fmt::Write;

use holdover::plan::{Enrolment, PanelCheck, PanelRun, Plan, PlanSlot, WorksheetBlock};

use super::Shown;
use crate::screen;

/// Cards to try at each slot.
pub const TRIED: usize = 3;

/// Columns of the page, and of the place for a value.
const WIDTH: usize = 78;
const PLACE: usize = 24;

pub fn sheet(plan: &Plan, list: &[Enrolment], shown: Shown) -> String {
    let mut out = String::new();
    let mut line = |text: std::fmt::Arguments<'_>| {
        out.write_fmt(text).expect("writing to a string does not fail");
        out.push('\n');
    };
    let panel = plan.panel();
    line(format_args!("WORKSHEET: FORMAT SLOTS OF THE NEW PANEL"));
    line(format_args!(""));
    line(format_args!(
        "Panel ______________________   Keyed by ______________________   Date __________"
    ));
    line(format_args!(
        "Positions are counted from {}, as this panel counts them.",
        panel.first_bit
    ));
    line(format_args!(
        "Key in every line in order; someone else reads it back before the next slot."
    ));
    for WorksheetBlock { slot, checks, .. } in plan.worksheet() {
        line(format_args!("\n{}", "-".repeat(WIDTH)));
        line(format_args!("SLOT {}   {}", slot.slot, slot.name));
        line(format_args!("serves {}\n", slot.layouts.join(", ")));
        for (i, (what, value)) in settings(slot).iter().enumerate() {
            // What is too long for its place goes on below it.
            let mut parts = screen::wrap(value, PLACE).into_iter();
            let first = parts.next().unwrap_or_default();
            let boxes = "[ ] keyed [ ] read back";
            line(format_args!("  {}  {what:<22} {first:<PLACE$} {boxes}", i + 1));
            parts.for_each(|part| line(format_args!("     {:<22} {part}", "")));
        }
        for check in &checks {
            line(format_args!("     {}", check_words(check)));
        }
        for (row, number) in super::enrol::of_slot(list, slot.slot).take(TRIED) {
            let number = shown.number(number);
            line(format_args!(
                "  try roster line {row}: the panel shows {number}   [ ] opened as itself"
            ));
        }
        line(format_args!("\n  signed ______________________   time __________"));
    }
    line(format_args!("\n{}", "-".repeat(WIDTH)));
    line(format_args!("CAUTIONS"));
    for caution in cautions(plan, shown) {
        line(format_args!("{caution}"));
    }
    out
}

/// A slot's settings in the order they are keyed.
pub fn settings(slot: &PlanSlot) -> [(&'static str, String); 9] {
    let site = |of: fn(&PanelRun) -> usize| {
        slot.site.as_ref().map_or("none".to_owned(), |run| of(run).to_string())
    };
    let codes: Vec<String> = slot.sites.iter().map(ToString::to_string).collect();
    let codes = match (codes.is_empty(), slot.site.is_some()) {
        (false, _) => codes.join(", "),
        (true, true) => "any: the panel does not check them".to_owned(),
        (true, false) => "none: this slot reads no site code".to_owned(),
    };
    [
        ("name", slot.name.clone()),
        ("total bits", slot.length.to_string()),
        ("site code starts at", site(|run| run.start)),
        ("site code length", site(|run| run.length)),
        ("card number starts at", slot.card.start.to_string()),
        ("card number length", slot.card.length.to_string()),
        ("digits", slot.digits.to_string()),
        ("parity", if slot.parity { "checked" } else { "not checked" }.to_owned()),
        ("site codes to allow", codes),
    ]
}

/// A check as it is keyed where the panel asks for one.
pub fn check_words(check: &PanelCheck) -> String {
    let runs: Vec<String> = check.over.iter().map(|(a, b)| format!("{a}-{b}")).collect();
    let kind = if check.odd { "odd" } else { "even" };
    format!("{kind} check at {}, over {}", check.bit, runs.join(","))
}

/// The cautions in lines of the page's width.
pub fn cautions(plan: &Plan, shown: Shown) -> Vec<String> {
    let mut lines = Vec::new();
    for caution in plan.cautions() {
        for (i, text) in screen::wrap(&shown.number(caution), WIDTH - 2).iter().enumerate() {
            lines.push(format!("{} {text}", if i == 0 { '-' } else { ' ' }));
        }
    }
    lines
}
