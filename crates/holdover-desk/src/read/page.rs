//! Captures on paper: which cards they are, each kind drawn and as a raster,
//! what is unclear and why.

use std::collections::{BTreeMap, HashSet};

use holdover::bits::Wide;
use holdover::layout::Layout;
use holdover::rank::{Fit, Verdict};
use holdover::say::mended_is_best;
use holdover::site::Site;
use maud::{Markup, html};

use crate::host::Host;
use crate::html::layout::{BOTH, Bracket, Drawing, fields as brackets};
use crate::html::raster::Batch;
use crate::html::sheet::{
    Own, Sheet, Stand, cell, count, facts, grouped, left_out, list, named, section, stand, table,
};
use crate::input::Row;
use crate::read::advice::Advice;
use crate::read::masked::{NO_CAPTURE, Sayable};
use crate::read::text::{fields, lost, place, reading};
use crate::read::words::percent;
use crate::read::{Answered, notes};
use crate::{care, request};

/// Captures drawn one by one, captures listed, unclear ones listed first.
const DRAWN: usize = 8;
const LISTED: usize = 60;

/// Kinds of card drawn, and site codes named of one.
const KINDS: usize = 16;
const CODES: usize = 8;

/// Cards of one layout under one reading, or of one length where none fits.
struct Kind {
    layout: Option<Layout>,
    captures: u64,
    /// Site codes of those identified, with how many captures.
    sites: BTreeMap<String, u64>,
    words: HashSet<Wide>,
    batch: Batch,
    unclear: u64,
}

/// What a page needs, gathered as captures are answered.
pub struct Page<'a> {
    host: &'a dyn Host,
    request: &'a request::Read,
    site: Option<&'a Site>,
    hide: bool,
    captures: u64,
    verdicts: [u64; 3],
    invalid: u64,
    broken: Vec<Vec<Markup>>,
    kinds: BTreeMap<(usize, String, &'static str), Kind>,
    drawn: Vec<Markup>,
    unclear_drawn: Vec<Markup>,
    listed: Vec<Vec<Markup>>,
    unclear: Vec<Vec<Markup>>,
    advice: Advice,
    said: Vec<String>,
}

impl<'a> Page<'a> {
    pub fn new(
        host: &'a dyn Host,
        request: &'a request::Read,
        site: Option<&'a Site>,
        hide: bool,
    ) -> Page<'a> {
        Page {
            host,
            request,
            site,
            hide,
            captures: 0,
            verdicts: [0; 3],
            invalid: 0,
            broken: Vec::new(),
            kinds: BTreeMap::new(),
            drawn: Vec::new(),
            unclear_drawn: Vec::new(),
            listed: Vec::new(),
            unclear: Vec::new(),
            advice: Advice::new(hide),
            said: Vec::new(),
        }
    }

    /// A line that is no capture.
    pub fn invalid(&mut self, row: &Row, why: &str) {
        self.invalid += 1;
        if self.broken.len() < LISTED {
            let why = if self.hide { NO_CAPTURE } else { why };
            self.broken.push(vec![cell(self.place(row)), cell(why)]);
        }
    }

    /// A capture and its answer.
    pub fn answered(&mut self, answered: &Answered<'_, '_>) {
        let Answered { row, entry, answer, .. } = answered;
        self.captures += 1;
        self.advice.add(answered);
        let identified = answer.verdict == Verdict::Identified;
        self.verdicts[match answer.verdict {
            Verdict::Identified => 0,
            Verdict::Ambiguous => 1,
            Verdict::Unknown => 2,
        }] += 1;
        let best = answer.candidates.first();
        let fits = best.filter(|_| answer.verdict != Verdict::Unknown && !mended_is_best(answer));
        let capture = entry.observation.capture;
        let word = fits.map_or(capture, |best| best.word);
        let key = (
            word.len(),
            fits.map_or_else(String::new, |best| best.layout.id().to_owned()),
            fits.map_or("", |best| best.reading.name()),
        );
        let kind = self.kinds.entry(key).or_insert_with(|| Kind {
            layout: fits.map(|best| best.layout.clone()),
            captures: 0,
            sites: BTreeMap::new(),
            words: HashSet::new(),
            batch: Batch::new(word.len()),
            unclear: 0,
        });
        kind.captures += 1;
        kind.unclear += u64::from(!identified);
        kind.words.insert(word.wide());
        kind.batch.add(|| place_short(row), word.wide());
        if let Some(site) =
            fits.filter(|_| identified && !self.hide).and_then(|best| best.decode().site())
        {
            *kind.sites.entry(site.to_string()).or_default() += 1;
        }
        // Bits and evidence give the number away.
        if !self.hide && self.drawn.len() < DRAWN {
            let drawn = self.draw(answered);
            self.drawn.push(drawn);
        }
        if !self.hide && !identified && self.unclear_drawn.len() < DRAWN {
            let drawn = self.draw(answered);
            self.unclear_drawn.push(drawn);
        }
        if self.listed.len() < LISTED {
            let listed = self.list(answered);
            self.listed.push(listed);
        }
        if !identified && self.unclear.len() < LISTED {
            let listed = self.list(answered);
            self.unclear.push(listed);
        }
    }

    /// All that has come so far is answered.
    pub fn paused(&mut self, fit: &Fit<'_, '_>) {
        self.said = self.advice.said(fit);
    }

    fn carried(&self, answered: &Answered<'_, '_>) -> String {
        let cells = answered.entry.carried.iter().filter(|(_, cell)| !cell.trim().is_empty());
        let cells: Vec<String> = cells.map(|(heading, cell)| format!("{heading} {cell}")).collect();
        cells.join(", ")
    }

    /// Where a row came from; the file's name only where there are several.
    fn place(&self, row: &Row) -> String {
        match &*row.source {
            "argument" => place(row),
            _ if self.request.inputs.len() > 1 => place(row),
            _ => place_short(row),
        }
    }

    fn notes(&self, answered: &Answered<'_, '_>) -> Vec<String> {
        notes::of(answered.entry, answered.answer, self.site, None)
    }

    /// A capture in a row of a table.
    fn list(&self, answered: &Answered<'_, '_>) -> Vec<Markup> {
        let Answered { row, answer, .. } = answered;
        if self.hide {
            let said = Sayable::of(answered, &self.request.keep_column);
            return vec![
                cell(self.place(row)),
                verdict(said.verdict),
                html! { (Own(said.words())) },
                html! {},
                html! { span.whole { (said.percent()) } },
                html! { (Own(said.beside())) },
                html! {},
            ];
        }
        let best = answer.candidates.first().filter(|_| answer.verdict != Verdict::Unknown);
        let carried = self.carried(answered);
        let probability = best.map_or(answer.none_probability, |best| best.probability);
        vec![
            cell(self.place(row)),
            verdict(answer.verdict),
            html! {
                @match best {
                    _ if mended_is_best(answer) => "a bit inside is in doubt",
                    Some(best) => { (Own(best.layout.id())) (reading(best)) }
                    None => "none of these",
                }
            },
            html! {
                @if let Some(best) = best.filter(|_| !mended_is_best(answer)) {
                    (Own(fields(best)))
                }
            },
            html! { span.whole { (percent(probability)) } },
            html! { @if !carried.is_empty() { (Own(carried)) } },
            html! { @for note in self.notes(answered) { p { (Own(note)) } } },
        ]
    }

    /// A capture drawn over its layout, and why it is taken for that.
    fn draw(&self, answered: &Answered<'_, '_>) -> Markup {
        let Answered { row, entry, answer, .. } = answered;
        let capture = &entry.observation.capture;
        let mended = mended_is_best(answer);
        let best = answer.candidates.first().filter(|_| !mended);
        let unknown = answer.verdict == Verdict::Unknown;
        let drawing = match best {
            Some(best) => Drawing::word(best.layout, &best.word, lost(best)),
            None => Drawing::bits(capture, None),
        };
        html! {
            h3 { (Own(self.place(row))) ": " (capture.len()) " bits, " (verdict(answer.verdict)) }
            @if let Some(best) = best {
                p {
                    @if unknown { "Nearest: " }
                    b { (Own(best.layout.id())) } (reading(best))
                    @if !unknown { ", " (Own(fields(best))) ", " (percent(best.probability)) }
                }
            }
            (drawing.figure(html! {}))
            @if let Some(best) = best {
                (table(
                    "Evidence: log2 of how much better this explains it than chance",
                    &["what", "bits", "in words"],
                    best.evidence.iter().map(|part| vec![
                        cell(part.why.name()),
                        html! { (format!("{:+.1}", part.bits)) },
                        cell(&part.words),
                    ]),
                ))
            }
            @let others: Vec<String> = answer.candidates.iter().skip(1).take(4).map(|other| {
                let (id, reading, fields) = (other.layout.id(), reading(other), fields(other));
                format!("{id}{reading}, {fields}  {}", percent(other.probability))
            }).chain([format!("none of these  {}", percent(answer.none_probability))]).collect();
            p { "Or: " (Own(others.join("; "))) "." }
            @let notes = self.notes(answered);
            @if !notes.is_empty() { (list(notes)) }
        }
    }

    /// The page.
    pub fn page(&self) -> String {
        let [identified, ambiguous, unknown] = self.verdicts;
        let verdict = match (self.captures - identified, self.invalid) {
            (0, 0) if self.captures == 0 => stand(Stand::Open, "nothing to read"),
            (0, 0) => stand(Stand::Good, "all identified"),
            (0, broken) => {
                let before = if self.captures == 0 { "" } else { "all identified, but " };
                let broken = count(broken, "line is no capture", "lines are no captures");
                stand(Stand::Bad, &format!("{before}{broken}"))
            }
            (open, _) => stand(Stand::Bad, &format!("{} not identified", grouped(open))),
        };
        let mut made_of = match &self.request.port {
            Some(port) => vec![("serial port", port.clone())],
            None => vec![("made of", named(self.host, &self.request.inputs, self.hide))],
        };
        made_of.push(("tables", self.request.tables.0.join(", ")));
        made_of
            .extend(self.request.site.iter().map(|path| ("site file", path.display().to_string())));
        let sheet = Sheet {
            kind: "Captures read",
            verdict: html! { (count(self.captures, "capture", "captures")) ": " (verdict) },
            made_of,
            hide: self.hide,
        };
        let few = self.captures <= DRAWN as u64;
        let drawn = if few { &self.drawn } else { &self.unclear_drawn };
        sheet.page(html! {
            (section("What was met", html! {
                (facts([
                    ("captures", html! { (grouped(self.captures)) }),
                    ("identified", html! { (grouped(identified)) }),
                    ("ambiguous", html! { (grouped(ambiguous)) }),
                    ("unknown", html! { (grouped(unknown)) }),
                    ("lines that are no capture", html! { (grouped(self.invalid)) }),
                ]))
                (self.met())
            }))
            @if !self.said.is_empty() {
                (section("What to do next", html! {
                    ul.try { @for said in &self.said { li { span.tickbox {} " " (Own(said)) } } }
                }))
            }
            @if !drawn.is_empty() {
                (section(if few { "The captures" } else { "Unclear captures" }, html! {
                    @for drawn in drawn { div.drawn { (drawn) } }
                    (left_out(
                        if few { 0 } else { (ambiguous + unknown).saturating_sub(drawn.len() as u64) },
                        "unclear captures",
                        "--full draws every capture",
                    ))
                }))
            }
            @if self.captures > 1 { (section("Kinds of card, bit by bit", self.rasters())) }
            (section("Captures in order", self.tables(few)))
            (section("Cautions", html! {
                div.caution {
                    (list([
                        "the most likely answer is not always the true one: try a card at the \
                         door before relying on it",
                        "a static card number can be copied by anyone who reads the card or the \
                         wires once",
                        care::DOORS,
                    ]))
                }
            }))
        })
    }

    fn met(&self) -> Markup {
        table(
            "Kinds of card",
            &["layout", "bits", "reading", "site codes", "cards", "captures", "unclear"],
            self.kinds.iter().map(|((length, id, reading), kind)| {
                let codes: Vec<String> = kind.sites.keys().take(CODES).cloned().collect();
                let more = if kind.sites.len() > CODES { ", …" } else { "" };
                vec![
                    html! { @if id.is_empty() { "none of these" } @else { (Own(id)) } },
                    html! { (length) },
                    html! { (reading) },
                    html! { (Own(codes.join(", "))) (more) },
                    html! { (grouped(kind.words.len() as u64)) },
                    html! { (grouped(kind.captures)) },
                    html! { (grouped(kind.unclear)) },
                ]
            }),
        )
    }

    /// The kinds met most, drawn, each with its cards as a raster.
    fn rasters(&self) -> Markup {
        let mut kinds: Vec<_> = self.kinds.iter().collect();
        kinds.sort_by_key(|(_, kind)| std::cmp::Reverse(kind.captures));
        let more = kinds.len().saturating_sub(KINDS) as u64;
        html! {
            @for ((length, id, reading), kind) in kinds.into_iter().take(KINDS) {
                h3 {
                    @if id.is_empty() { (length) " bits that nothing explains" }
                    @else { (Own(id)) @if *reading != "as-captured" { ", " (reading) } }
                    ": " (count(kind.captures, "capture", "captures"))
                }
                @if let Some(layout) = &kind.layout {
                    (Drawing::of(layout, BOTH).figure(html! { p { (Own(&layout.spec().title)) } }))
                }
                @if !self.hide {
                    @let named: Vec<Bracket> = kind.layout.as_ref().map(brackets).unwrap_or_default();
                    (kind.batch.figure(
                        &format!("Captures of {length} bits, bit by bit"),
                        &named,
                        BOTH,
                    ))
                }
            }
            (left_out(more, "kinds of card", "--summary counts them all"))
        }
    }

    fn tables(&self, few: bool) -> Markup {
        let unclear = self.verdicts[1] + self.verdicts[2];
        let whole = "--format csv lists them all";
        let all_listed = self.captures <= LISTED as u64;
        html! {
            @if !few && !all_listed && unclear > 0 {
                (listed("Not identified", &self.unclear))
                (left_out(unclear.saturating_sub(LISTED as u64), "unclear captures", whole))
            }
            @if self.captures > 0 {
                (listed(if all_listed { "All captures" } else { "The first captures" }, &self.listed))
                (left_out(self.captures.saturating_sub(LISTED as u64), "captures", whole))
            }
            @if !self.broken.is_empty() {
                (table("Lines that are no capture", &["line", "why"], self.broken.iter().cloned()))
                (left_out(self.invalid.saturating_sub(LISTED as u64), "such lines", whole))
            }
        }
    }
}

/// A table of captures, without the columns that are empty in all rows.
fn listed(caption: &str, rows: &[Vec<Markup>]) -> Markup {
    let head = ["line", "verdict", "layout", "numbers", "probability", "beside it", "notes"];
    let used: Vec<usize> =
        (0..head.len()).filter(|at| rows.iter().any(|row| !row[*at].0.is_empty())).collect();
    let head: Vec<&str> = used.iter().map(|at| head[*at]).collect();
    let rows = rows.iter().map(|row| used.iter().map(|at| row[*at].clone()).collect());
    table(caption, &head, rows)
}

/// A row's name in the margin of a raster.
fn place_short(row: &Row) -> String {
    format!("line {}", row.line)
}

fn verdict(verdict: Verdict) -> Markup {
    let how = match verdict {
        Verdict::Identified => Stand::Good,
        Verdict::Ambiguous => Stand::Open,
        Verdict::Unknown => Stand::Bad,
    };
    stand(how, verdict.name())
}
