//! A proof on paper: what does not hold, expected beside got.

use std::collections::BTreeMap;

use holdover::layout::Layout;
use holdover::states::RowState;
use maud::{Markup, html};
use serde_json::Value;

use crate::html::layout::{BOTH, Drawing, fields};
use crate::html::raster::Batch;
use crate::html::sheet::{
    Own, Sheet, Stand, cell, count, facts, grouped, left_out, list, section, stand, table,
};
use crate::plan::page::{slot_drawing, slot_raster};
use crate::prove::{NOTHING_PROVED, Proved, Row, Side, not_proved, words};
use crate::{care, request};

/// Rows shown side by side, and rows listed that hold; the rest is counted.
const SIDES: usize = 100;
const HELD: usize = 60;

/// The page of a proof.
pub fn page(proved: &Proved, request: &request::Prove, hide: bool) -> String {
    let (failed, unread) = (proved.failed() as u64, proved.unread());
    let all = (proved.rows.len() - unread) as u64;
    let verdict = match failed {
        0 if proved.is_empty() => stand(Stand::Bad, NOTHING_PROVED),
        0 if unread > 0 => stand(Stand::Bad, &not_proved(unread)),
        0 => stand(Stand::Good, &format!("all {} hold", count(all, "row", "rows"))),
        _ => stand(
            Stand::Bad,
            &format!("{} of {} do not hold", grouped(failed), count(all, "row", "rows")),
        ),
    };
    let path = |path: &std::path::Path| path.display().to_string();
    let made_of = [
        ("plan", request.plan.as_deref().map(path)),
        ("roster", request.roster.clone()),
        ("site file", request.site.as_deref().map(path)),
        ("cases", request.cases.clone()),
        ("tables", request.plan.is_none().then(|| request.tables.0.join(", "))),
    ];
    let sheet = Sheet {
        kind: if proved.plan.is_some() { "Proof of the takeover" } else { "Proof of a table" },
        verdict,
        made_of: made_of.into_iter().filter_map(|(what, name)| Some((what, name?))).collect(),
        hide,
    };
    let failing = proved.rows.iter().filter(|row| !row.holds && !row.unread);
    let holding = proved.rows.iter().filter(|row| row.holds);
    sheet.page(html! {
        (section("What was run", html! {
            (facts([
                ("rows", html! { (grouped(all)) }),
                ("hold", html! { (grouped(all - failed)) }),
                ("do not hold", html! {
                    @if failed > 0 { (stand(Stand::Bad, &grouped(failed))) } @else { "0" }
                }),
            ]))
            @if unread > 0 { p { (stand(Stand::Bad, &not_proved(unread))) } }
            @if !proved.sum.is_empty() { p { (proved.sum) } }
            p {
                @match proved.next() {
                    Some(next) => { "Next: " (next) "." }
                    None => { "Every case comes out as it did before." }
                }
            }
        }))
        @if failed > 0 {
            (section("Rows that do not hold", html! {
                @for row in failing.take(SIDES) { (sides(row, hide)) }
                (left_out(
                    failed.saturating_sub(SIDES as u64),
                    "rows that do not hold",
                    "--format csv lists them all",
                ))
            }))
        }
        @if all > failed {
            (section("Rows that hold", html! {
                (table(
                    "Rows that came out as expected",
                    &["row", "comes out as"],
                    holding.take(HELD).map(|row| vec![
                        cell(name(row)), cell(row.got(hide)),
                    ]),
                ))
                (left_out(
                    (all - failed).saturating_sub(HELD as u64),
                    "rows that hold",
                    "--format csv lists them all",
                ))
            }))
        }
        (section("The cards, bit by bit", pictures(proved, failed > 0, hide)))
        (section("Cautions", html! { div.caution { (cautions(proved)) } }))
    })
}

fn name(row: &Row) -> String {
    format!("{} {}", row.name, row.number)
}

/// What was expected beside what came.
fn sides(row: &Row, hide: bool) -> Markup {
    let (expected, got) = (row.expected.shown(hide), row.got.shown(hide));
    html! {
        article.sides {
            h3 { (stand(Stand::Bad, &name(row))) }
            div {
                div {
                    h4 { "expected" }
                    @if row.state == RowState::Blocked { p { (row.expected(hide)) } }
                    @else { (side(&expected, &got)) }
                }
                div { h4 { "got" } (side(&got, &expected)) }
            }
        }
    }
}

/// One side; what the other side has otherwise is marked.
fn side(value: &Value, other: &Value) -> Markup {
    let Value::Object(map) = value else { return cell(words(value)) };
    let said: Vec<_> = map.iter().filter(|(_, value)| !value.is_null()).collect();
    html! {
        @if said.is_empty() { p { "nothing" } }
        dl.facts {
            @for (key, value) in said {
                div class=[(other.get(key) != Some(value)).then_some("differs")] {
                    dt { (Own(label(key))) }
                    dd { (Own(told(key, value))) }
                }
            }
        }
    }
}

fn label(key: &str) -> String {
    match key {
        "also" => "opened too by".to_owned(),
        key => key.replace('_', " "),
    }
}

fn told(key: &str, value: &Value) -> String {
    match (key, value) {
        ("also", Value::Array(cards)) => {
            let cards = cards.iter().map(|card| match card {
                Value::Number(line) => format!("line {line}"),
                other => words(other),
            });
            cards.collect::<Vec<_>>().join(" and ")
        }
        (_, Value::Array(items)) if items.is_empty() => "none".to_owned(),
        (_, value) => words(value),
    }
}

/// The cards over what reads them: those that do not hold, or all where all do.
fn pictures(proved: &Proved, any_failed: bool, hide: bool) -> Markup {
    let drawn = || proved.rows.iter().filter(|row| row.holds != any_failed);
    let what = if any_failed { "rows that do not hold" } else { "all rows" };
    if let Some(plan) = &proved.plan {
        return html! {
            @for block in plan.worksheet() {
                @let batch = gather(block.slot.length, drawn().filter(|row| {
                    matches!(&row.expected, Side::Card(side) if side.slots.contains(&block.slot.slot))
                }));
                h3 { "Slot " (block.slot.slot) ", " (Own(&block.slot.name)) ": " (what) }
                @if batch.total() > 0 {
                    @if !hide { (slot_raster(plan, block.slot, &batch)) }
                } @else {
                    p { "None of them is in this slot." }
                }
                @for layout in block.layouts.iter().take(2) {
                    (slot_drawing(plan, block.slot, layout))
                }
            }
        };
    }
    let mut kinds: BTreeMap<(Option<&str>, usize), Vec<&Row>> = BTreeMap::new();
    for row in drawn() {
        let Some(bits) = &row.bits else { continue };
        let id = |side: &'_ Side| {
            let Side::Case(answer) = side else { return None };
            let id = answer.layout.as_deref()?;
            proved.table.layout(id).filter(|layout| layout.length() == bits.len()).map(Layout::id)
        };
        let layout = id(&row.got).or_else(|| id(&row.expected));
        kinds.entry((layout, bits.len())).or_default().push(row);
    }
    html! {
        @for ((id, length), rows) in kinds.iter().take(12) {
            @let layout = id.and_then(|id| proved.table.layout(id));
            @let batch = gather(*length, rows.iter().copied());
            h3 { @if let Some(id) = id { (Own(id)) } @else { (length) " bits" } ": " (what) }
            @if let Some(layout) = layout {
                (Drawing::of(layout, BOTH).figure(html! { p { (Own(&layout.spec().title)) } }))
            }
            @let brackets = layout.map(fields).unwrap_or_default();
            @if !hide {
                (batch.figure(&format!("Cases of {length} bits, bit by bit"), &brackets, BOTH))
            }
        }
        (left_out(kinds.len().saturating_sub(12) as u64, "kinds of card", "--format csv lists all rows"))
    }
}

fn gather<'r>(length: usize, rows: impl Iterator<Item = &'r Row>) -> Batch {
    let mut batch = Batch::new(length);
    for row in rows {
        if let Some(bits) = row.bits.filter(|bits| bits.len() == length) {
            batch.add(|| name(row), bits.wide());
        }
    }
    batch
}

fn cautions(proved: &Proved) -> Markup {
    let own = [
        "a proof on paper does not test the wiring: try a card of each slot at a door",
        "these are static numbers: whoever reads a card can copy it",
    ];
    match &proved.plan {
        Some(plan) => html! { (list([own[0]])) (list(plan.cautions())) },
        None => html! { (list(own)) (list([care::DOORS])) },
    }
}
