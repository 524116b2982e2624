//! What people must know before they key a plan in, as sentences.

use std::collections::{BTreeMap, HashSet};

use super::problem::Problem;
use super::report::Report;
use super::roster::RowState;
use super::serial::Trouble;
use super::shape::{digits_needed, parities};
use super::unsettled;
use super::value::PlanSlot;
use crate::bits::Capture;
use crate::layout::{Check, Layout, Table};
use crate::site::KeptDigits;

/// The caution that goes with all work on doors; the last of every plan's.
pub const LIFE_SAFETY: &str = "doors are life safety: changes to release, egress and fire interfaces \
                               follow the local code and the authority having jurisdiction, and are \
                               made by licensed people";

/// Lines or pairs named in one caution before the rest is only counted.
/// Judgement, no source: what still fits a sentence.
const NAMED_MOST: usize = 10;

/// A stranger's chance from which on a slot is called out.
/// Judgement, no source: a visitor with a pocketful of old cards tries dozens.
const HIGH_CHANCE: f64 = 1e-3;

pub(crate) fn cautions(
    table: &Table,
    problem: &Problem<'_>,
    report: &Report,
    troubles: &[Trouble],
) -> Vec<String> {
    let mut out = Vec::new();
    for slot in &report.slots {
        of_slot(table, problem, slot, &mut out);
    }
    of_chances(report, &mut out);
    of_cards(problem, report, &mut out);
    of_layouts(table, problem, &mut out);
    out.extend(troubles.iter().take(NAMED_MOST).map(|t| format!("{}; {}", t.what, t.mend)));
    if troubles.len() > NAMED_MOST {
        let more = troubles.len() - NAMED_MOST;
        out.push(format!("{more} more cases of serial numbers that cannot be relied upon"));
    }
    if !report.proved {
        out.push(
            "the search was ended with the best plan so far, and a better one may exist: the gap \
             says how much better at most"
                .to_owned(),
        );
    }
    if !report.slots.is_empty() {
        out.push(
            "these are static numbers: whoever reads a card can copy it, and a takeover that keeps \
             them keeps that weakness"
                .to_owned(),
        );
    }
    out.push(LIFE_SAFETY.to_owned());
    out
}

fn of_slot(table: &Table, problem: &Problem<'_>, slot: &PlanSlot, out: &mut Vec<String>) {
    let number = slot.slot;
    let layouts = || slot.layouts.iter().filter_map(|id| table.layout(id));
    let panel = problem.panel;
    let shared = slot.layouts.len() > 1;
    let has_site = layouts().any(|layout| layout.site_span().is_some());
    let meets = |layout: &Layout| {
        let run =
            super::shape::Run { start: slot.card.start - panel.first_bit, len: slot.card.length };
        layout.site_span().is_some_and(|site| !(site.mask() & run.mask()).is_zero())
    };
    if has_site && slot.site.is_none() {
        out.push(match (layouts().any(meets), shared) {
            (true, _) => format!(
                "slot {number}: the card run takes in the site code, which is checked only as part \
                 of the panel number"
            ),
            (false, true) => format!(
                "slot {number}: its layouts have the site code in different places, so it is not \
                 checked: a card of another site with the same number opens"
            ),
            (false, false) if panel.one_site_place => format!(
                "slot {number}: the panel reads the site code in one place for all slots, and here \
                 it is elsewhere, so it is not checked: a card of another site with the same \
                 number opens"
            ),
            (false, false) => format!(
                "slot {number}: the site code cannot be read beside the card run, so it is not \
                 checked"
            ),
        });
    } else if has_site && slot.sites.is_empty() {
        out.push(format!(
            "slot {number}: the panel checks no site codes: a card of another site with the same \
             number opens"
        ));
    }
    let need = digits_needed(slot.card.length);
    if need > slot.digits {
        let kept = slot.digits;
        out.push(match panel.kept_digits {
            KeptDigits::Low => format!(
                "slot {number}: of {need} digits the last {kept} are kept: numbers that differ by \
                 a multiple of 1{} become one",
                "0".repeat(kept)
            ),
            KeptDigits::High => format!(
                "slot {number}: of {need} digits the first {kept} are kept: up to 1{} neighbouring \
                 numbers become one",
                "0".repeat(need - kept)
            ),
            KeptDigits::Refuse => {
                format!("slot {number}: numbers of more than {kept} digits are refused")
            }
        });
    }
    of_parity(table, problem, slot, out);
    let other = |check: &Check| !matches!(check, Check::Parity { .. });
    if layouts().any(|layout| layout.checks().iter().any(other)) {
        out.push(format!(
            "slot {number}: fixed values and longitudinal checks of its cards are not checked by a \
             panel"
        ));
    }
}

fn of_parity(table: &Table, problem: &Problem<'_>, slot: &PlanSlot, out: &mut Vec<String>) {
    let (number, panel) = (slot.slot, problem.panel);
    let layouts: Vec<&Layout> = slot.layouts.iter().filter_map(|id| table.layout(id)).collect();
    let any_parity = layouts.iter().any(|layout| !parities(layout).is_empty());
    if any_parity && !slot.parity && !panel.checks_parity {
        out.push(format!(
            "slot {number}: the panel checks no parity: a misread card may come up as another \
             number"
        ));
    } else if any_parity && !slot.parity && !unsettled::left_out(&layouts) {
        out.push(format!(
            "slot {number}: its layouts have different checks, so parity is not checked: a \
             misread card may come up as another number"
        ));
    }
    out.extend(unsettled::cautions(table, panel, slot));
}

fn of_chances(report: &Report, out: &mut Vec<String>) {
    for exposure in &report.exposure {
        if exposure.stranger_opens >= HIGH_CHANCE {
            let one_in = (1.0 / exposure.stranger_opens).round();
            let slot = exposure.slot;
            out.push(format!(
                "slot {slot}: one in {one_in} cards of strangers opens, if it has that length and \
                 meets those checks"
            ));
        }
    }
    let opening = report.exposure.iter().map(|exposure| exposure.opening_patterns);
    let admitted = report.risks.iter().map(|risk| format!("2^{}", risk.length_and_parity_bits));
    if !report.slots.is_empty() {
        let admitted: Vec<String> = admitted.collect();
        let opening: Vec<String> = opening.map(|opening| opening.to_string()).collect();
        out.push(format!(
            "a reader that opens on length and parity alone lets in everyone whose card has the \
             right length: {} captures by slot, instead of the {} patterns that open as planned; \
             see that no door is left so, not even while the old panel goes dark",
            admitted.join(", "),
            opening.join(", ")
        ));
    }
}

fn of_cards(problem: &Problem<'_>, report: &Report, out: &mut Vec<String>) {
    let objective = &report.objective;
    if objective.renumbered > 0 {
        out.push(format!(
            "{} kept cards get a panel number that is not the number printed on them: enrol from \
             the list, not from the print",
            objective.renumbered
        ));
    }
    if objective.boxed_lost > 0 {
        out.push(format!(
            "{} boxed cards have no slot: do not hand them out",
            objective.boxed_lost
        ));
    }
    if problem.unfit_blocked > 0 {
        out.push(format!(
            "the bits of {} blocked rows are not known, so whether they open is not known either: try \
             these cards at a door",
            problem.unfit_blocked
        ));
    }
    out.extend(report.as_boxed.iter().take(NAMED_MOST).cloned());
    if report.as_boxed.len() > NAMED_MOST {
        let more = report.as_boxed.len() - NAMED_MOST;
        out.push(format!("{more} more blocked cards would open as boxed ones"));
    }
    of_forms(problem, out);
    of_holders(problem, out);
    let kept = |row: &u32| problem.roster[*row as usize].state == RowState::Kept;
    let mut repeats: Vec<_> = problem.repeats.keys().copied().filter(kept).collect();
    repeats.sort_unstable();
    for row in repeats.iter().take(NAMED_MOST) {
        let lines: Vec<String> = problem.lines(*row).map(|line| line.to_string()).collect();
        out.push(format!(
            "lines {} are one card, listed more than once for one holder: confirm that it was \
             reissued, and delete the others",
            lines.join(" and ")
        ));
    }
    if repeats.len() > NAMED_MOST {
        let more = repeats.len() - NAMED_MOST;
        out.push(format!("{more} more cards are listed more than once for one holder"));
    }
}

/// Holders of several kept cards: one may have replaced the other.
fn of_holders(problem: &Problem<'_>, out: &mut Vec<String>) {
    let mut cards: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut known: HashSet<(&str, Option<&Capture>)> = HashSet::new();
    for (at, row) in problem.roster.iter().enumerate() {
        let holder = row.holder.as_deref().map_or("", str::trim);
        let other_form = problem.forms.get(&(at as u32)).is_some_and(|of| *of != at as u32);
        if holder.is_empty() || row.state != RowState::Kept || other_form {
            continue;
        }
        if known.insert((holder, row.card.bits())) {
            cards.entry(holder).or_default().push(row.line);
        }
    }
    let mut several: Vec<String> = Vec::new();
    for lines in cards.values().filter(|lines| lines.len() > 1) {
        let more = if lines.len() > NAMED_MOST { ", …" } else { "" };
        let lines: Vec<String> = lines.iter().take(NAMED_MOST).map(usize::to_string).collect();
        several.push(format!("lines {}{more}", lines.join(" and ")));
    }
    if several.is_empty() {
        return;
    }
    let (count, named) = (several.len(), several.iter().take(NAMED_MOST).cloned());
    let named = named.collect::<Vec<_>>().join("; ");
    let more = if count > NAMED_MOST { "; …" } else { "" };
    let have = if count == 1 { "1 holder has" } else { &format!("{count} holders have") };
    out.push(format!(
        "{have} more than one card to keep ({named}{more}): where one replaced the other, give that \
         one the state \"blocked\""
    ));
}

/// Cards that two readers send in two forms.
fn of_forms(problem: &Problem<'_>, out: &mut Vec<String>) {
    let mut cards: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    let listed_cards = problem.kinds.iter().flat_map(|kind| &kind.listed_cards);
    let rows = listed_cards
        .filter_map(|listed_card| Some((*problem.forms.get(&listed_card.row)?, listed_card.row)));
    rows.for_each(|(first, row)| cards.entry(first).or_default().push(row));
    let several: Vec<Vec<u32>> = cards.into_values().filter(|rows| rows.len() > 1).collect();
    for rows in several.iter().take(NAMED_MOST) {
        let mut lines: Vec<usize> =
            rows.iter().map(|row| problem.roster[*row as usize].line).collect();
        lines.sort_unstable();
        let lines: Vec<String> = lines.iter().map(usize::to_string).collect();
        out.push(format!(
            "lines {} are one card in {} forms: readers send its serial number in different ways, \
             and each form is enrolled for its holder",
            lines.join(" and "),
            if rows.len() == 2 { "two".to_owned() } else { rows.len().to_string() }
        ));
    }
    if several.len() > NAMED_MOST {
        let more = several.len() - NAMED_MOST;
        out.push(format!("{more} more cards are listed in two forms for one holder"));
    }
}

fn of_layouts(table: &Table, problem: &Problem<'_>, out: &mut Vec<String>) {
    let mut named = 0;
    for kind in &problem.kinds {
        let alike = |other: &&Layout| {
            other.id() != kind.layout.id()
                && other.length() == kind.layout.length()
                && kind.layout.same_rules(other)
        };
        let others: Vec<&str> = table.layouts().iter().filter(alike).map(Layout::id).collect();
        if others.is_empty() || named == NAMED_MOST {
            continue;
        }
        named += 1;
        out.push(format!(
            "cards of {} fit {} as well: one read cannot tell them apart, and the roster's word was \
             taken; read one card whose print is known",
            kind.layout.id(),
            others.iter().take(NAMED_MOST).copied().collect::<Vec<_>>().join(" and ")
        ));
    }
}
