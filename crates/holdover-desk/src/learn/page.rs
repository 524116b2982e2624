//! What was learnt on paper: the layout drawn, the samples as a raster, how
//! sure each part is.

use holdover::learn::{Learnt, Sample};
use maud::{Markup, html};

use crate::host::Host;
use crate::html::layout::{BOTH, Drawing, fields};
use crate::html::raster::Batch;
use crate::html::sheet::{
    Own, Sheet, Stand, cell, code, count, facts, left_out, list, named, section, stand, table,
};
use crate::mask;
use crate::{care, request};

/// Cards left out told one by one; the rest is counted.
const TOLD: usize = 100;

/// The page of what was learnt.
pub fn page(
    host: &dyn Host,
    learnt: &[Learnt],
    samples: &[Sample],
    request: &request::Learn,
    hide: bool,
) -> String {
    let found = learnt.iter().filter(|kind| kind.layout.is_some()).count();
    let kinds = count(learnt.len() as u64, "kind of card", "kinds of card");
    let verdict = match found == learnt.len() {
        true => stand(Stand::Good, "a layout for each"),
        false => stand(Stand::Bad, &format!("a layout for {found} of them")),
    };
    let sheet = Sheet {
        kind: "Layouts learnt",
        verdict: html! {
            (count(samples.len() as u64, "capture", "captures")) " of " (kinds) ": " (verdict)
        },
        made_of: vec![("made of", named(host, &request.inputs, hide))],
        hide,
    };
    sheet.page(html! {
        @for kind in learnt { (section(&title(kind), one(kind, samples, hide))) }
        (section("Cautions", html! {
            div.caution {
                (list([
                    "what is not settled may be wrong: the card named as next would settle most",
                    "try the table on cards that are not in the sample before relying on it, and \
                     one card at the door before that",
                    care::DOORS,
                ]))
            }
        }))
    })
}

fn title(kind: &Learnt) -> String {
    match &kind.layout {
        Some(layout) => format!("{} bits: {}", kind.length, layout.id()),
        None => format!("{} bits: no layout found", kind.length),
    }
}

fn settled(settled: bool) -> Markup {
    match settled {
        true => stand(Stand::Good, "settled"),
        false => stand(Stand::Open, "not settled"),
    }
}

fn one(kind: &Learnt, samples: &[Sample], hide: bool) -> Markup {
    if hide && kind.samples < mask::ENOUGH {
        return html! {
            p {
                (count(kind.samples as u64, "card", "cards")) ": fewer than " (mask::ENOUGH)
                " are not described where numbers are hidden, since what they have in common would \
                 give one away; --show-numbers describes them."
            }
        };
    }
    let alarms = match kind.false_alarms_expected {
        n if n >= 0.001 => format!("{n:.3}"),
        n if n > 0.0 => format!("{n:.0e}"),
        _ => "0".to_owned(),
    };
    let left = kind.misread.len().saturating_sub(TOLD) as u64;
    html! {
        (facts([
            ("cards", html! { (kind.samples) }),
            ("left out", html! { (kind.misread.len()) }),
            ("relations expected to hold by accident, among all tried", html! { (alarms) }),
        ]))
        @if let Some(failure) = &kind.failure {
            p { (stand(Stand::Bad, "no layout")) ": " (Own(failure)) }
        }
        @if let Some(next) = &kind.next_sample { p.todo { b { "Next: " } (Own(next)) } }
        @if let Some(layout) = &kind.layout {
            (Drawing::of(layout, BOTH).figure(html! {}))
        }
        @if !hide { (raster(kind, samples)) }
        @if !kind.fields.is_empty() || !kind.checks.is_empty() { (parts(kind)) }
        @if kind.lines_swapped {
            p { "The data lines are swapped at this reader: the layout is that of the inverted captures." }
        }
        @if !kind.notes.is_empty() { h3 { "Notes" } (list(&kind.notes)) }
        @if !kind.misread.is_empty() {
            (table(
                "Cards left out: they disagree with all others",
                &["line", "why"],
                kind.misread.iter().take(TOLD).map(|misread| vec![
                    html! { (misread.line) }, cell(crate::learn::why(misread, hide)),
                ]),
            ))
            (left_out(left, "cards left out", "--format json names all their lines"))
        }
    }
}

/// Fields and checks, with how sure each is.
fn parts(kind: &Learnt) -> Markup {
    let fields = kind.fields.iter().map(|field| {
        let others: Vec<String> =
            field.could_be.iter().skip(1).take(6).map(ToString::to_string).collect();
        vec![
            cell(field.role.name()),
            code(field.span.to_string()),
            settled(field.settled),
            html! {
                @if !others.is_empty() { "could be " (others.join(", ")) " as well" }
                @if !others.is_empty() && !field.print.as_is() { "; " }
                @if !field.print.as_is() { "printed as " (field.print) ", where n is the number" }
            },
        ]
    });
    let checks = kind.checks.iter().map(|check| {
        vec![
            html! { "check" },
            code(check.check.to_string()),
            settled(check.settled),
            html! {
                @if let Some(span) = &check.undetermined {
                    "bits " (span.to_string()) " may be covered or not"
                }
            },
        ]
    });
    table(
        "How sure each part is",
        &["part", "bits, counted from 1", "stands", "what is open"],
        fields.chain(checks),
    )
}

/// The samples the layout explains, or all of the kind where there is none.
fn raster(kind: &Learnt, samples: &[Sample]) -> Markup {
    let mut batch = Batch::new(kind.length);
    let good = |line: usize| kind.good.is_empty() || kind.good.binary_search(&line).is_ok();
    for sample in samples {
        if sample.capture.len() == kind.length && good(sample.line) {
            let word = match kind.lines_swapped {
                true => sample.capture.complement(),
                false => sample.capture,
            };
            batch.add(|| format!("line {}", sample.line), word.wide());
        }
    }
    let brackets = kind.layout.as_ref().map(fields).unwrap_or_default();
    html! {
        @if batch.total() > 0 {
            (batch.figure("The samples, bit by bit", &brackets, BOTH))
        }
    }
}
