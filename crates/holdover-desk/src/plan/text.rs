//! A plan for people.

use std::io::Write;

use holdover::plan::{
    Alternative, CardRef, Enrolment, Lost, Objective, Plan, RosterCard, RowState, WorksheetBlock,
};

use super::enrol::card;
use super::to_read;
use super::worksheet::{parity_briefly, span};
use crate::fail::Fail;
use crate::formats::Grid;
use crate::mask::Shown;
use crate::plain::plain;
use crate::roster::Roster;
use crate::terminal::{BAD, GOOD, OPEN, Page, STRONG, in_style};
use crate::{care, request};

/// Conflicts told one by one; the rest is counted.
const TOLD: usize = 20;

/// Cards to reissue named by their lines; the rest is counted.
const NAMED: usize = 12;

/// What is said of a plan without a fault where cards are still to be read.
pub const UNREAD: &str = "all is well with the cards that were read, and some are still to be read";

pub fn print(
    out: &mut Page,
    plan: &Plan,
    roster: &Roster,
    list: &[Enrolment],
    shown: &Shown,
    quiet: bool,
) -> Result<(), Fail> {
    let count = plan.slots().len();
    let slots = if count == 1 { "1 slot".to_owned() } else { format!("{count} slots") };
    let cards =
        if plan.kept() == 1 { "1 card".to_owned() } else { format!("{} cards", plan.kept()) };
    let verdict = match plan.is_clean() {
        true if !roster.to_read.is_empty() => in_style(OPEN, UNREAD),
        true if plan.kept() == 0 => in_style(OPEN, "so nothing is planned for yet"),
        true => in_style(GOOD, "every kept card has its slot, none is in a conflict"),
        false => in_style(BAD, "not all is well"),
    };
    writeln!(out, "{}, {verdict}\n", in_style(STRONG, &format!("{slots} for {cards} to keep")))?;
    if !roster.rows.is_empty() {
        out.say("roster    ", &roster.sum())?;
    }
    if !plan.slots().is_empty() {
        let mut grid = Grid::new(HEAD);
        plan.worksheet().iter().for_each(|block| grid.row(row(block)));
        grid.print(out)?;
        let first = plan.panel().first_bit;
        writeln!(out, "bits are counted from {first}, as this panel counts them\n")?;
    }
    if !quiet && !plan.slots().is_empty() {
        let mark = format!("{}, on every sheet of this plan", shown.mark);
        out.say("mark      ", &mark)?;
    }
    for lost in plan.lost() {
        let what = lost.layout.as_deref().unwrap_or("captures");
        let lines = lost_lines(lost, roster, list);
        let text = format!("{} of {}{lines}: {}", lost.cards, plain(what), lost.why);
        out.say("lost      ", &text)?;
    }
    for card in to_read::text(roster, list, shown) {
        out.say("to read   ", &card)?;
    }
    conflicts(out, plan, shown)?;
    for slot in plan.not_kept() {
        let text = format!("slot {} ({}): {}", slot.slot.slot, plain(&slot.slot.name), slot.why);
        out.say("not kept  ", &text)?;
    }
    if !plan.is_proved_best() {
        out.say("search    ", &how_far(plan.gap()))?;
    }
    counted(out, plan)?;
    if quiet {
        out.say("caution   ", care::DOORS)?;
        return Ok(());
    }
    for (exposure, risk) in plan.exposure().iter().zip(plan.risks()) {
        let text = format!(
            "slot {}: a stranger's card of that kind opens {}; without its site codes {}; any \
             bits of that length {}, without parity {}",
            exposure.slot,
            chance(exposure.stranger_opens),
            chance(risk.without_site),
            chance(risk.any_bits),
            chance(risk.any_bits_without_parity)
        );
        out.say("exposure  ", &text)?;
    }
    for note in roster.about.iter().cloned().chain(roster.said(plan.table(), shown)) {
        out.say("note      ", &note)?;
    }
    for caution in plan.cautions() {
        out.say("caution   ", caution)?;
    }
    Ok(())
}

/// What the plan costs, aim by aim.
fn counted(out: &mut Page, plan: &Plan) -> Result<(), Fail> {
    let objective = plan.objective();
    let counted = [
        ("kept", "lost", objective.lost),
        ("kept", "in a conflict", objective.in_conflict),
        ("blocked", "that would open", objective.blocked_open),
        ("kept", "whose panel number is not the printed one", objective.renumbered),
        ("boxed", "lost", objective.boxed_lost),
        ("boxed", "in a conflict", objective.boxed_in_conflict),
    ];
    for (state, what, count) in counted.into_iter().filter(|(_, _, count)| *count > 0) {
        let cards = if count == 1 { "card" } else { "cards" };
        out.say("counted   ", &format!("{count} {state} {cards} {what}"))?;
    }
    Ok(())
}

/// The first conflicts, each with what to do; the rest is counted.
fn conflicts(out: &mut Page, plan: &Plan, shown: &Shown) -> Result<(), Fail> {
    for conflict in plan.conflicts().iter().take(TOLD) {
        let cards: Vec<String> = conflict.cards.iter().take(8).map(|c| card(*c)).collect();
        let more = if conflict.cards.len() > 8 { ", …" } else { "" };
        let what = match (&conflict.panel_number, &conflict.slots) {
            (Some(number), _) => format!("panel number {}", shown.number(number)),
            (None, Some(slots)) => {
                let slots: Vec<String> = slots.iter().map(usize::to_string).collect();
                format!("slots {}", slots.join(" and "))
            }
            (None, None) => String::new(),
        };
        let kind = conflict.kind;
        let todo = shown.advice(&conflict.what_to_do);
        out.say("conflict  ", &format!("{kind}, {what}: {}{more}", cards.join(", ")))?;
        out.say("          ", todo)?;
    }
    if plan.conflicts().len() > TOLD {
        let more = plan.conflicts().len() - TOLD;
        out.say("conflict  ", &format!("and {more} more; --format json lists them all"))?;
    }
    Ok(())
}

/// How much better the best plan could be, where the search was ended before it
/// was known.
pub fn how_far(gap: &Objective) -> String {
    let aims = [
        ("lost", gap.lost),
        ("in a conflict", gap.in_conflict),
        ("blocked and open", gap.blocked_open),
        ("with another number than the print", gap.renumbered),
        ("boxed and lost", gap.boxed_lost),
        ("boxed and in a conflict", gap.boxed_in_conflict),
    ];
    let first = aims.into_iter().find(|(_, cards)| *cards > 0);
    let how_far = match first {
        Some((what, cards)) => format!("at most {cards} fewer cards {what}"),
        None => "a little less exposure, or fewer slots".to_owned(),
    };
    format!(
        "ended before the best plan was known: a better one could have {how_far}; give it more time \
         with --time-limit"
    )
}

/// The other way out of the conflicts, with its price.
pub fn other(other: &Alternative) -> String {
    let lines: Vec<String> = other.reissue.iter().take(NAMED).map(usize::to_string).collect();
    let more = match other.reissue.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let keep = format!("and {} others keep the number on their print", other.keep_print);
    match other.reissue.len() {
        1 => format!(
            "reissue the card of roster line {} with another number, {keep}: change that row, or \
             take it out, and plan again",
            lines.join(", ")
        ),
        cards => format!(
            "reissue {cards} cards with other numbers (roster lines {}{more}), {keep}: change those \
             rows, or take them out, and plan again",
            lines.join(", ")
        ),
    }
}

/// Lines told one by one; of more the first.
const LINES: usize = 8;

/// The roster's lines of cards that are lost: ", lines 7, 12"; nothing where
/// only batches hold them.
pub fn lost_lines(lost: &Lost, roster: &Roster, list: &[Enrolment]) -> String {
    let unfit = roster.rows.iter().filter(|row| {
        let same = matches!(&row.card, RosterCard::Unfit { why, .. } if *why == lost.why);
        same && row.state == RowState::Kept && lost.layout.is_none()
    });
    let refused = list
        .iter()
        .filter(|line| line.opens.is_none() && lost.layout.is_some() && line.layout == lost.layout);
    let refused = refused.filter_map(|line| match line.card {
        CardRef::Line(line) => Some(line),
        CardRef::Batch(_) => None,
    });
    let lines: Vec<usize> = unfit.map(|row| row.line).chain(refused).take(LINES + 1).collect();
    let told: Vec<String> = lines.iter().take(LINES).map(usize::to_string).collect();
    match lines.len() {
        0 => String::new(),
        1 => format!(", line {}", told.join(", ")),
        2..=LINES => format!(", lines {}", told.join(", ")),
        _ => format!(", lines {}, …", told.join(", ")),
    }
}

/// What to do with the plan next.
pub fn next(
    out: &mut Page,
    plan: &Plan,
    roster: &Roster,
    request: &request::Plan,
) -> Result<(), Fail> {
    let next = match (plan.is_clean(), &request.output) {
        (true, _) if !roster.to_read.is_empty() => {
            "read the cards listed above, fill in their bits in the roster, then plan again: until \
             then they are not proved"
        }
        (true, _) if plan.kept() == 0 => &fill_in(request),
        (false, _) => {
            "mend the conflicts and the lost cards in the roster or the site file, or read a lost \
             card once more; then plan again"
        }
        (true, None) => "write the plan with -o plan.json, then `holdover prove` it on the roster",
        (true, Some(path)) => &format!(
            "`holdover prove --plan {} --roster {}` runs every card through the slots; key the \
             worksheet in with someone who reads it back",
            plain(&path.display().to_string()),
            plain(request.roster.as_deref().unwrap_or("…"))
        ),
    };
    out.say("next      ", next)?;
    Ok(())
}

/// What is to be filled in where no card is kept.
fn fill_in(request: &request::Plan) -> String {
    let roster = match request.roster.as_deref() {
        None => "give a roster with --roster".to_owned(),
        Some(roster) => format!(
            "fill in {}: a card a row, with bits as they were read or layout, site and card, and \
             the holder",
            plain(roster)
        ),
    };
    format!(
        "{roster}; list ranges of issued and boxed cards in {}, and check the panel's limits \
         there; then plan again",
        plain(&request.site.display().to_string())
    )
}

/// One in how many; people read that better than a small number.
pub fn chance(share: f64) -> String {
    match share {
        s if s <= 0.0 => "never".to_owned(),
        s if s >= 0.5 => format!("{:.0} times in 100", 100.0 * s),
        s if s >= 1e-9 => format!("once in {:.0}", 1.0 / s),
        s => format!("once in 2^{:.0}", -s.log2()),
    }
}

/// The worksheet's facts in its order, in a word each.
const HEAD: [&str; 8] = ["slot", "bits", "card", "site", "admitted", "parity", "figures", "label"];

/// A slot's facts under their heads.
fn row(block: &WorksheetBlock<'_>) -> [String; 8] {
    let slot = block.slot;
    let codes: Vec<String> = slot.sites.iter().take(6).map(ToString::to_string).collect();
    let codes = match slot.sites.len() {
        0 => "any".to_owned(),
        n if n > 6 => format!("{}, and {} more", codes.join(", "), n - 6),
        _ => codes.join(", "),
    };
    [
        slot.slot.to_string(),
        slot.length.to_string(),
        span(slot.card),
        slot.site.map_or("none".to_owned(), span),
        codes,
        parity_briefly(block),
        slot.digits.to_string(),
        plain(&slot.name),
    ]
}
