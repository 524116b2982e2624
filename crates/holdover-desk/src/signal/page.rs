//! A line's health on paper: timing against the usual limits, what is
//! wrong and what to check, the captures.

use std::collections::BTreeMap;

use holdover_signal::{
    CardRead, FindingKind, Idle, PULSE_INTERVAL_US, PULSE_WIDTH_US, ReaderSummary, Spread, Summary,
};
use maud::{Markup, html};

use crate::care;
use crate::formats::time;
use crate::html::histogram;
use crate::html::raster::{self, Batch};
use crate::html::sheet::{
    Own, Sheet, Stand, cell, code, count, facts, grouped, left_out, list, section, stand, table,
};

/// Findings of one kind told with their place, and captures listed.
const TOLD: usize = 4;
const LISTED: usize = 60;

/// Kinds of capture drawn as rasters.
const RASTERS: usize = 12;

/// What a page needs of probe files, gathered as they are read.
pub struct Page {
    hide: bool,
    inputs: Vec<String>,
    files: Vec<Markup>,
    /// Files that could not be read to their end.
    broken: Vec<Markup>,
    readers: u64,
    faulty: u64,
    captures: u64,
    listed: Vec<Vec<Markup>>,
    findings: BTreeMap<(String, FindingKind), Vec<String>>,
    batches: BTreeMap<(String, usize), Batch>,
}

impl Page {
    pub fn new(hide: bool) -> Page {
        Page {
            hide,
            inputs: Vec::new(),
            files: Vec::new(),
            broken: Vec::new(),
            readers: 0,
            faulty: 0,
            captures: 0,
            listed: Vec::new(),
            findings: BTreeMap::new(),
            batches: BTreeMap::new(),
        }
    }

    /// A capture of the file being read.
    pub fn read(&mut self, read: &CardRead) {
        self.captures += 1;
        let reader = read.reader.to_string();
        for finding in &read.findings {
            let key = (finding.place.reader.to_string(), finding.kind);
            let told = self.findings.entry(key).or_default();
            if told.len() < TOLD {
                told.push(finding.what.clone());
            }
        }
        if self.listed.len() < LISTED {
            let mut kinds: Vec<&str> = read.findings.iter().map(|f| f.kind.name()).collect();
            kinds.dedup();
            let bits = match self.hide {
                true => html! { "hidden" },
                false => code(read.bits.to_string()),
            };
            self.listed.push(vec![
                cell(&reader),
                html! { (read.number) },
                html! { (read.bits.len()) },
                bits,
                html! {
                    @if kinds.is_empty() { (stand(Stand::Good, "clean")) }
                    @else { (stand(Stand::Bad, &kinds.join(", "))) }
                },
            ]);
        }
        let batch = self
            .batches
            .entry((reader, read.bits.len()))
            .or_insert_with(|| Batch::new(read.bits.len()));
        batch.add(|| format!("capture {}", read.number), read.bits.wide());
    }

    /// The end of a file, and what it tells as a whole.
    pub fn summary(&mut self, input: &str, summary: &Summary) {
        self.inputs.push(input.to_owned());
        self.readers += summary.readers.len() as u64;
        self.faulty += summary.readers.iter().filter(|r| !r.counts.is_empty()).count() as u64;
        let listed = std::mem::take(&mut self.listed);
        let batches = std::mem::take(&mut self.batches);
        let more = self.captures.saturating_sub(listed.len() as u64);
        self.captures = 0;
        let readers: Vec<Markup> =
            summary.readers.iter().map(|reader| self.reader(reader)).collect();
        self.findings.clear();
        let batches = if self.hide { BTreeMap::new() } else { batches };
        let drawn = batches.len().saturating_sub(RASTERS) as u64;
        self.files.push(html! {
            section {
                h2 { (Own(input)) }
                p { (summary.chosen) "." }
                @if !summary.notes.is_empty() { (list(&summary.notes)) }
                @for reader in readers { (reader) }
                @if !listed.is_empty() {
                    (table("Captures", &["reader", "no.", "bits", "read", "stands"], listed))
                    (left_out(more, "captures", "--format csv lists them all"))
                }
                @for ((reader, length), batch) in batches.iter().take(RASTERS) {
                    h3 { (Own(reader)) ": captures of " (length) " bits" }
                    (raster::plain(batch, &format!("Captures of {length} bits")))
                }
                (left_out(drawn, "kinds of capture", "--format csv lists all captures"))
            }
        });
    }

    fn reader(&self, reader: &ReaderSummary) -> Markup {
        let clean = match reader.clean {
            0 if reader.captures == 0 => html! { "nothing to judge" },
            clean if clean == reader.captures => stand(Stand::Good, "all clean"),
            clean => html! { (grouped(clean)) " clean" },
        };
        let lines = html! { "D0 " (Own(&reader.d0)) ", D1 " (Own(&reader.d1)) };
        let idle = if reader.idle == Idle::High { "high" } else { "low (inverted)" };
        let mut about = vec![
            ("lines", lines),
            ("rest", html! { (idle) }),
            ("captures", html! { (grouped(reader.captures)) ", " (clean) }),
        ];
        if let Some(gap) = reader.gap_us {
            about.push(("spacing that ends a capture", html! { (time(gap)) }));
        }
        if let Some(sample) = reader.sample_us {
            about.push(("steps of the times", html! { (time(sample)) }));
        }
        for (name, spread, limits) in [
            ("pulse width", reader.width, PULSE_WIDTH_US),
            ("interval", reader.interval, PULSE_INTERVAL_US),
        ] {
            about.extend(spread.map(|spread| (name, within(spread, limits))));
        }
        html! {
            h3 { "Reader " (Own(&reader.reader)) }
            (facts(about))
            (histogram::figure("pulse width", &reader.widths, reader.width, PULSE_WIDTH_US))
            (histogram::figure("interval", &reader.intervals, reader.interval, PULSE_INTERVAL_US))
            @for (kind, count) in &reader.counts { (self.finding(reader, *kind, *count)) }
        }
    }

    fn finding(&self, reader: &ReaderSummary, kind: FindingKind, times: u64) -> Markup {
        let inside = self.findings.get(&(reader.reader.clone(), kind));
        let own = reader.findings.iter().filter(|finding| finding.kind == kind);
        let told: Vec<&String> =
            inside.into_iter().flatten().chain(own.map(|f| &f.what)).take(TOLD).collect();
        let times_said =
            if times == 1 { "once".to_owned() } else { format!("{} times", grouped(times)) };
        html! {
            div.todo {
                p { (stand(Stand::Bad, kind.name())) ", " (times_said) }
                (list(&told))
                @if !told.is_empty() {
                    (left_out(times.saturating_sub(told.len() as u64), "of them", "--format json tells all"))
                }
                dl {
                    div { dt { "cause" } dd { (kind.cause()) } }
                    div { dt { "check" } dd { (kind.check()) } }
                    div { dt { "done" } dd { span.tickbox {} } }
                }
            }
        }
    }

    /// A file that could not be read to its end.
    pub fn failed(&mut self, input: &str, why: &str) {
        self.broken.push(html! { p { (stand(Stand::Bad, "not read to its end")) ": " (Own(input)) ": " (Own(why)) } });
    }

    /// The page; none where no file could be read.
    pub fn page(&self) -> Option<String> {
        if self.files.is_empty() {
            return None;
        }
        let readers = count(self.readers, "reader", "readers");
        let verdict = match self.faulty {
            _ if !self.broken.is_empty() => stand(Stand::Bad, "not all could be read"),
            0 => stand(Stand::Good, "nothing found wrong"),
            faulty => stand(Stand::Bad, &format!("something is wrong at {faulty} of them")),
        };
        let sheet = Sheet {
            kind: "Line health",
            verdict: html! { (readers) ": " (verdict) },
            made_of: vec![("made of", self.inputs.join(", "))],
            hide: self.hide,
        };
        Some(sheet.page(html! {
            @if !self.broken.is_empty() {
                (section("Not read", html! { @for broken in &self.broken { (broken) } }))
            }
            @for file in &self.files { (file) }
            (section("Cautions", html! {
                div.caution {
                    (list([
                        "the limits are the usual ones: common practice, no source",
                        "a first or last pulse lost whole leaves no trace between the edges",
                        "a probe on live wires can disturb a door: see that the way out stays \
                         open, and take it off when done",
                        care::DOORS,
                    ]))
                }
            }))
        }))
    }
}

fn within(spread: Spread, limits: [f64; 2]) -> Markup {
    let inside = (limits[0]..=limits[1]).contains(&spread.median_us);
    let verdict = match inside {
        true => stand(Stand::Good, "within limits"),
        false => stand(Stand::Bad, "out of range"),
    };
    html! {
        (time(spread.min_us)) " to " (time(spread.max_us)) ", median " (time(spread.median_us))
        "; " (verdict) " (" (time(limits[0])) " to " (time(limits[1])) ")"
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use holdover_signal::{Options, Probe};

    #[test]
    fn masked_bits_are_nowhere() {
        let mut page = Page::new(true);
        let dump = include_str!("../../../../fixtures/mill/gate.vcd");
        let probe = Probe::new(Options::default()).unwrap();
        let mut bits = Vec::new();
        let summary = probe
            .read_from(dump.as_bytes(), &mut |read: CardRead| {
                page.read(&read);
                bits.push(read.bits.to_string());
            })
            .unwrap();
        page.summary("gate.vcd", &summary);
        let page = page.page().unwrap();
        assert!(!bits.is_empty());
        assert!(bits.iter().all(|bits| !page.contains(bits)));
    }
}
