//! The worksheet: one block a slot, with the facts a panel asks for and a
//! sign-off line for each. In which order they are keyed in is the panel's
//! affair.

use std::fmt::Write;

use holdover::plan::{Enrolment, PanelCheck, PanelRun, Parity, Plan, WorksheetBlock};
use holdover::site::Panel;

use crate::mask::Shown;
use crate::terminal;

/// Cards to try at each slot.
pub const TRIED: usize = 3;

/// Columns of the page, and of the place for a value.
const WIDTH: usize = 78;
const PLACE: usize = 29;

pub fn sheet(plan: &Plan, list: &[Enrolment], shown: &Shown) -> String {
    let mut out = String::new();
    let mut line = |text: std::fmt::Arguments<'_>| {
        out.write_fmt(text).expect("writing to a string does not fail");
        out.push('\n');
    };
    let panel = plan.panel();
    line(format_args!("WORKSHEET: THE NEW PANEL'S SLOTS{:>46}", format!("plan {}", shown.mark)));
    line(format_args!(""));
    line(format_args!(
        "Panel ______________________   Keyed by ______________________   Date __________"
    ));
    line(format_args!("{KEY_IN}"));
    line(format_args!("Bits are counted from {}, as this panel counts them.", panel.first_bit));
    for block in plan.worksheet() {
        let slot = block.slot;
        line(format_args!("\n{}", "-".repeat(WIDTH)));
        line(format_args!("SLOT {}, for cards of {}\n", slot.slot, slot.layouts.join(", ")));
        for (what, value) in settings(panel, &block) {
            // What is too long for its place goes on below it.
            let mut parts = terminal::wrap(&value, PLACE).into_iter();
            let first = parts.next().unwrap_or_default();
            let boxes = "[ ] keyed [ ] read back";
            line(format_args!("  {what:<20} {first:<PLACE$} {boxes}"));
            parts.for_each(|part| line(format_args!("  {:<20} {part}", "")));
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
    for caution in cautions(plan) {
        line(format_args!("{caution}"));
    }
    out
}

/// What to do with a slot's facts.
pub const KEY_IN: &str = "Key in, in your panel's order; someone else reads it back before the next \
                          slot.";

/// A slot's facts: what it is called here comes last.
pub fn settings(panel: &Panel, block: &WorksheetBlock<'_>) -> Vec<(&'static str, String)> {
    let slot = block.slot;
    let run = |run: PanelRun| run_words(run, panel.first_bit);
    let codes: Vec<String> = slot.sites.iter().map(ToString::to_string).collect();
    let codes = match (codes.is_empty(), slot.site.is_some()) {
        (false, _) => codes.join(", "),
        (true, true) => "any: the panel does not check them".to_owned(),
        (true, false) => "none: this slot reads no site code".to_owned(),
    };
    let mut facts = vec![
        ("bits in all", slot.length.to_string()),
        ("card number", run(slot.card)),
        ("site code", slot.site.map_or("none".to_owned(), run)),
        ("site codes admitted", codes),
    ];
    facts.extend(parity(panel, block).into_iter().map(|words| ("parity", words)));
    facts.push(("decimal figures", slot.digits.to_string()));
    facts.push(("label", slot.name.clone()));
    facts
}

/// What to key in for parity, a line a check. A panel told to check parity on
/// cards that have none refuses them all.
fn parity(panel: &Panel, block: &WorksheetBlock<'_>) -> Vec<String> {
    match block.parity() {
        Parity::None => vec!["none on this card".to_owned()],
        Parity::Off if panel.checks_parity => {
            vec!["off: its cards have different checks".to_owned()]
        }
        Parity::Unsettled if panel.checks_parity => {
            vec!["off: its checks are not settled".to_owned()]
        }
        Parity::Off | Parity::Unsettled => vec!["off: this panel checks none".to_owned()],
        Parity::Checked(checks) => checks.iter().map(check_words).collect(),
    }
}

/// The parity of a slot in a word or two.
pub fn parity_briefly(block: &WorksheetBlock<'_>) -> String {
    match block.parity() {
        Parity::None => "none on this card".to_owned(),
        Parity::Off | Parity::Unsettled => "off".to_owned(),
        Parity::Checked([check]) => format!("{} {}", kind(check), check.bit),
        Parity::Checked([first, second]) => {
            format!("{} {}, {} {}", kind(first), first.bit, kind(second), second.bit)
        }
        Parity::Checked(checks) => format!("{} checks", checks.len()),
    }
}

/// A run in the panel's own counting, both ways that a panel may ask for it.
pub fn run_words(run: PanelRun, first_bit: usize) -> String {
    let bits = if run.length == 1 { "bit" } else { "bits" };
    format!(
        "{bits} {} counted from {first_bit} (start {}, {} {bits})",
        span(run),
        run.start,
        run.length
    )
}

/// First and last bit of a run.
pub fn span(run: PanelRun) -> String {
    match run.length {
        1 => run.start.to_string(),
        length => format!("{}-{}", run.start, run.start + length - 1),
    }
}

fn kind(check: &PanelCheck) -> &'static str {
    if check.odd { "odd" } else { "even" }
}

/// A check as it is keyed where the panel asks for one.
fn check_words(check: &PanelCheck) -> String {
    let run = |&(a, b): &(usize, usize)| if a == b { a.to_string() } else { format!("{a}-{b}") };
    let over: Vec<String> = check.over.iter().map(run).collect();
    let bits = if matches!(check.over[..], [(a, b)] if a == b) { "bit" } else { "bits" };
    format!("{}: bit {} over {bits} {}", kind(check), check.bit, over.join(", "))
}

/// The cautions in lines of the page's width.
pub fn cautions(plan: &Plan) -> Vec<String> {
    let mut lines = Vec::new();
    for caution in plan.cautions() {
        for (i, text) in terminal::wrap(caution, WIDTH - 2).iter().enumerate() {
            lines.push(format!("{} {text}", if i == 0 { '-' } else { ' ' }));
        }
    }
    lines
}
