//! The takeover on paper: a key-in card a slot, conflicts with what to do,
//! exposure, and who gets which number.

use holdover::layout::Layout;
use holdover::plan::{
    Alternative, CardRef, Conflict, ConflictKind, Enrolment, Plan, PlanSlot, RosterCard, RosterRow,
    RowState, WorksheetBlock,
};
use holdover::site::{Identity, KeptDigits};
use maud::{Markup, html};

use crate::html::layout::{Drawing, countings, slot_runs};
use crate::html::raster::Batch;
use crate::html::sheet::{
    Own, Sheet, Stand, cell, code, count, facts, grouped, left_out, list, section, sheet_section,
    stand, table,
};
use crate::mask::Shown;
use crate::plan::enrol;
use crate::plan::enrol::card;
use crate::plan::text::{UNREAD, chance, how_far, lost_lines};
use crate::plan::to_read;
use crate::plan::worksheet::{KEY_IN, TRIED, parity_briefly, settings, span};
use crate::request;
use crate::roster::Roster;

/// Conflicts and lines of the enrolment list on the page; the rest is counted.
const CONFLICTS: usize = 100;
const ENROLLED: usize = 200;

/// Cards of a conflict named.
const NAMED: usize = 12;

/// Layouts of a shared slot drawn.
const DRAWN: usize = 4;

/// The page of a plan.
pub fn page(
    plan: &Plan,
    roster: &Roster,
    list: &[Enrolment],
    other: Option<&Alternative>,
    shown: &Shown,
    request: &request::Plan,
) -> String {
    let slots = count(plan.slots().len() as u64, "slot", "slots");
    let cards = count(plan.kept(), "card", "cards");
    let verdict = match plan.is_clean() {
        true if !roster.to_read.is_empty() => stand(Stand::Open, UNREAD),
        true => stand(Stand::Good, "every kept card has its slot, none is in a conflict"),
        false => stand(Stand::Bad, "not all is well: mend the cards below, then plan again"),
    };
    let mut made_of = vec![("site file", request.site.display().to_string())];
    made_of.push(("plan", shown.mark.clone()));
    made_of.extend(request.roster.iter().map(|path| ("roster", path.clone())));
    let sheet = Sheet {
        kind: "Takeover worksheet",
        verdict: html! { (slots) " for " (cards) " to keep: " (verdict) },
        made_of,
        hide: shown.mask,
    };
    let said = roster.said(plan.table(), shown);
    sheet.page(html! {
        (section("What comes of it", html! {
            (summary(plan, roster))
            @if let Some(other) = other { p { "Or " (crate::plan::text::other(other)) "." } }
        }))
        @if !plan.conflicts().is_empty() || !plan.lost().is_empty() {
            (section("Mend these first", troubles(plan, roster, list, shown)))
        }
        @if !roster.to_read.is_empty() {
            (sheet_section("Read these cards", to_read::page(roster, list, shown)))
        }
        (sheet_section("What to key in", html! {
            p {
                (KEY_IN) " Bits are counted from " (plan.panel().first_bit) ", as this panel \
                 counts them."
            }
            div.sign {
                span { "panel" i {} } span { "keyed in by" i {} } span { "date" i {} }
            }
            @for block in plan.worksheet() { (key_in_card(plan, &block, list, shown)) }
        }))
        (sheet_section("Who gets which number", enrolment(enrol::rows(plan, list, roster, shown))))
        (section("Exposure", exposure(plan)))
        @if !roster.rows.is_empty() && !shown.mask {
            (section("The roster's cards, bit by bit", rasters(plan, &roster.rows)))
        }
        @if !said.is_empty() {
            (section("Notes on the roster", notes(&said)))
        }
        (section("Cautions", html! { div.caution { (self::list(plan.cautions())) } }))
    })
}

fn summary(plan: &Plan, roster: &Roster) -> Markup {
    let objective = plan.objective();
    let panel = plan.panel();
    let known = match panel.identity {
        Identity::Number => "the number alone",
        Identity::SiteAndNumber => "site code and number",
        Identity::SlotAndNumber => "slot and number",
    };
    let kept = match panel.kept_digits {
        KeptDigits::Low => "last ones are kept",
        KeptDigits::High => "first ones are kept",
        KeptDigits::Refuse => "longer ones are refused",
    };
    let counted = [
        ("kept cards", plan.kept(), false),
        ("kept cards lost", objective.lost, true),
        ("kept cards in a conflict", objective.in_conflict, true),
        (
            "kept cards whose number on the panel is not the printed one",
            objective.renumbered,
            false,
        ),
        ("blocked cards that open", objective.blocked_open, true),
        ("boxed cards lost", objective.boxed_lost, true),
        ("boxed cards in a conflict", objective.boxed_in_conflict, true),
    ];
    let rows = counted.into_iter().map(|(what, count, bad)| {
        let value = match bad && count > 0 {
            true => stand(Stand::Bad, &grouped(count)),
            false => html! { (grouped(count)) },
        };
        (what, value)
    });
    let panel_is = format!(
        "{} slots, bits counted from {}, people known by {known}, at most {} digits \
         ({kept}), parity {}, site codes {}",
        panel.slots.unwrap_or_default(),
        panel.first_bit,
        panel.max_digits,
        if panel.checks_parity { "checked" } else { "not checked" },
        if panel.checks_site { "checked" } else { "not checked" },
    );
    html! {
        (facts(rows.chain([
            ("roster", html! { (roster.sum()) }),
            ("the new panel", html! { (panel_is) }),
        ])))
        (table(
            "The slots at a glance",
            &["slot", "bits", "card number", "site code", "admitted", "parity", "figures", "label"],
            plan.worksheet().iter().map(|block| {
                let slot = block.slot;
                let codes: Vec<String> = slot.sites.iter().take(12).map(|s| s.to_string()).collect();
                let more = if slot.sites.len() > codes.len() { ", …" } else { "" };
                vec![
                    html! { (slot.slot) },
                    html! { (slot.length) },
                    code(span(slot.card)),
                    code(slot.site.map_or("none".to_owned(), span)),
                    html! { @if codes.is_empty() { "any" } @else { (codes.join(", ")) (more) } },
                    html! { (parity_briefly(block)) },
                    html! { (slot.digits) },
                    cell(&slot.name),
                ]
            }),
        ))
        @if !plan.is_proved_best() { p { (stand(Stand::Open, "search")) " " (how_far(plan.gap())) } }
        @for slot in plan.not_kept() {
            p { (stand(Stand::Bad, "not kept")) " slot " (slot.slot.slot) ", " (Own(&slot.why)) }
        }
        p.more { "Bits are counted from " (panel.first_bit) ", as this panel counts them." }
    }
}

fn troubles(plan: &Plan, roster: &Roster, list: &[Enrolment], shown: &Shown) -> Markup {
    let more = plan.conflicts().len().saturating_sub(CONFLICTS) as u64;
    html! {
        @for lost in plan.lost() {
            div.todo {
                p {
                    (stand(Stand::Bad, "lost")) ": " (count(lost.cards, "kept card", "kept cards"))
                    @if let Some(layout) = &lost.layout { " of " (Own(layout)) }
                    (lost_lines(lost, roster, list)) ": " (Own(&lost.why))
                }
            }
        }
        @for conflict in plan.conflicts().iter().take(CONFLICTS) { (told(conflict, shown)) }
        (left_out(more, "conflicts", "--format json lists them all"))
    }
}

fn told(conflict: &Conflict, shown: &Shown) -> Markup {
    let cards: Vec<String> = conflict.cards.iter().take(NAMED).map(|c| card(*c)).collect();
    let more = conflict.cards.len().saturating_sub(NAMED);
    let what_to_do = shown.advice(&conflict.what_to_do);
    let kind = match conflict.kind {
        ConflictKind::RangeOverlap => "a boxed card would open as another card",
        ConflictKind::SamePanelNumber => "cards with one and the same number",
        ConflictKind::DigitsCut => "cards whose numbers are the same once digits are cut",
        ConflictKind::TwoSlots => "cards that two slots admit",
        ConflictKind::BlockedOpens => "a blocked card would open as a kept card",
    };
    html! {
        div.todo {
            p { (stand(Stand::Bad, &conflict.kind.to_string())) ": " (kind) }
            dl {
                @if let Some(number) = &conflict.panel_number {
                    div { dt { "panel number" } dd { (code(shown.number(number))) } }
                }
                @if let Some(slots) = &conflict.slots {
                    @let slots: Vec<String> = slots.iter().map(usize::to_string).collect();
                    div { dt { "slots" } dd { (slots.join(" and ")) } }
                }
                div {
                    dt { "cards" }
                    dd { (cards.join(", ")) @if more > 0 { ", and " (more) " more" } }
                }
                div { dt { "what to do" } dd { (Own(what_to_do)) } }
                div { dt { "done" } dd { span.tickbox {} } }
            }
        }
    }
}

fn key_in_card(
    plan: &Plan,
    block: &WorksheetBlock<'_>,
    list: &[Enrolment],
    shown: &Shown,
) -> Markup {
    let WorksheetBlock { slot, layouts, .. } = block;
    let boxes = |_: ()| html! { span.tickbox {} };
    html! {
        div.one-slot {
        article.slot {
            h3 { span.no { "Slot " (slot.slot) } span { "for cards of " (Own(slot.layouts.join(", "))) } }
            table {
                thead {
                    tr {
                        th scope="col" { "fact" }
                        th scope="col" { "key in" }
                        th.tick scope="col" { "keyed" }
                        th.tick scope="col" { "read back" }
                    }
                }
                tbody {
                    @for (what, value) in settings(plan.panel(), block) {
                        tr {
                            td { (what) }
                            td.value.words[value.contains(' ')] { (Own(&value)) }
                            td { (boxes(())) }
                            td { (boxes(())) }
                        }
                    }
                }
            }
            @let tried: Vec<_> = enrol::of_slot(list, slot.slot).take(TRIED).collect();
            @if !tried.is_empty() {
                ul.try {
                    @for (row, number) in tried {
                        li {
                            span.tickbox {} " try the card of roster line " (row)
                            ": the panel shows " b { (code(shown.number(number))) }
                        }
                    }
                }
            }
            div.sign { span { "signed" i {} } span { "time" i {} } }
        }
        @for layout in layouts.iter().take(DRAWN) { (slot_drawing(plan, slot, layout)) }
            (left_out(
                layouts.len().saturating_sub(DRAWN) as u64,
                "layouts of this slot",
                "`holdover table show` draws them",
            ))
        }
    }
}

/// The cards of each slot as a raster.
fn rasters(plan: &Plan, rows: &[RosterRow]) -> Markup {
    let gathered = plan.worksheet().into_iter().map(|block| {
        let mut batch = Batch::new(block.slot.length);
        for row in rows.iter().filter(|row| row.state == RowState::Kept) {
            let RosterCard::Card { layout, bits, .. } = &row.card else { continue };
            let served = plan.table().layouts().get(*layout);
            if served.is_some_and(|served| block.slot.layouts.iter().any(|id| id == served.id())) {
                batch.add(|| card(CardRef::Line(row.line)), bits.wide());
            }
        }
        (block, batch)
    });
    html! {
        @for (block, batch) in gathered.filter(|(_, batch)| batch.total() > 0) {
            h3 { "Slot " (block.slot.slot) ", " (Own(&block.slot.name)) }
            (slot_raster(plan, block.slot, &batch))
        }
    }
}

/// A layout of a slot, with what the panel reads of it.
pub fn slot_drawing(plan: &Plan, slot: &PlanSlot, layout: &Layout) -> Markup {
    let first_bit = plan.panel().first_bit;
    Drawing::of(layout, countings(first_bit))
        .with("panel reads", slot_runs(slot, first_bit))
        .figure(html! { p { "Slot " (slot.slot) ", layout " (Own(layout.id())) ": " (Own(&layout.spec().title)) } })
}

/// Cards of a slot as a raster over what the panel reads.
pub fn slot_raster(plan: &Plan, slot: &PlanSlot, batch: &Batch) -> Markup {
    let first_bit = plan.panel().first_bit;
    let title = format!("Roster cards of slot {}, bit by bit", slot.slot);
    let runs = slot_runs(slot, first_bit);
    batch.figure(&title, &runs, countings(first_bit))
}

fn enrolment(rows: impl Iterator<Item = [String; 7]>) -> Markup {
    let mut rows: Vec<_> = rows.collect();
    let count = rows.len();
    rows.truncate(ENROLLED);
    let more = count.saturating_sub(ENROLLED) as u64;
    html! {
        @if count == 0 { p { "No card is listed." } } @else {
            (table(
                "Kept cards, with the number each comes up as",
                &["card", "holder", "number on the panel", "slot", "printed", "note"],
                rows.into_iter().map(|[card, holder, number, slot, printed, note, _]| vec![
                    cell(card), cell(holder), code(number), cell(slot), code(printed), cell(note),
                ]),
            ))
            (left_out(more, "lines", "--enrolment FILE writes the whole list as CSV"))
        }
    }
}

fn exposure(plan: &Plan) -> Markup {
    let rows = plan.exposure().iter().zip(plan.risks());
    html! {
        (table(
            "How often a read opens that nobody planned",
            &[
                "slot",
                "a stranger's card of that kind",
                "without its site codes",
                "any bits of that length",
                "any bits, without parity",
            ],
            rows.map(|(exposure, risk)| vec![
                html! { (exposure.slot) },
                cell(chance(exposure.stranger_opens)),
                cell(chance(risk.without_site)),
                cell(chance(risk.any_bits)),
                cell(chance(risk.any_bits_without_parity)),
            ]),
        ))
    }
}

fn notes(said: &[String]) -> Markup {
    let more = said.len().saturating_sub(CONFLICTS) as u64;
    html! {
        (list(said.iter().take(CONFLICTS)))
        (left_out(more, "notes", "the command prints them all"))
    }
}
