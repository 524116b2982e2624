//! `--summary`: which kinds of card were met where, how many, and what is
//! still unclear.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::sync::Arc;

use holdover::bits::Capture;
use holdover::rank::{Fit, Verdict, Wiring};
use serde_json::{Map, Value, json};

use super::advice::{Miswired, miswired};
use super::words::percent;
use super::{Answered, Report};
use crate::care;
use crate::fail::Fail;
use crate::formats::{Grid, write_csv};
use crate::host::Host;
use crate::input::Row;
use crate::mask;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::terminal::{self, Page, STRONG, in_style};

/// Columns of the technician's own that say where a capture was made.
const PLACES: [&str; 3] = ["building", "door", "reader"];

/// Lines named of what is unclear, for each place.
const LINES: usize = 8;

/// Kinds, by place, and cards that are summed up at most (judgement, no
/// source): more are no summary, and memory is bounded.
pub const MAX_KINDS: usize = 1 << 16;
/// Cards.
pub const MAX_CARDS: usize = 1 << 22;

/// What was met: a kind under a reading, or what is unclear.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Met {
    place: [String; 3],
    verdict: &'static str,
    layout: String,
    reading: &'static str,
    site: String,
    length: usize,
}

#[derive(Debug, Default)]
struct Count {
    captures: usize,
    cards: BTreeSet<String>,
    lines: Vec<(Arc<str>, u64)>,
}

pub struct Summary<'a> {
    host: &'a dyn Host,
    request: &'a request::Read,
    met: BTreeMap<Met, Count>,
    cards: usize,
    wiring: Vec<Wiring>,
    sources: BTreeSet<Arc<str>>,
    invalid: usize,
}

impl<'a> Summary<'a> {
    pub fn new(host: &'a dyn Host, request: &'a request::Read) -> Summary<'a> {
        Summary {
            host,
            request,
            met: BTreeMap::new(),
            cards: 0,
            wiring: Vec::new(),
            sources: BTreeSet::new(),
            invalid: 0,
        }
    }
}

impl Report for Summary<'_> {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        let Answered { row, entry, answer, .. } = answered;
        self.sources.insert(row.source.clone());
        // A column may hold the card, and a site code be a part of its number.
        let hide = self.request.mask;
        let kept =
            |place: &str| self.request.keep_column.iter().any(|k| k.eq_ignore_ascii_case(place));
        let cell = |place: &str| match !hide || kept(place) {
            true => entry.carried.cell(place).unwrap_or("").trim().to_owned(),
            false => String::new(),
        };
        let place = PLACES.map(cell);
        let best = answer.candidates.first().filter(|_| answer.verdict != Verdict::Unknown);
        let met = Met {
            place,
            verdict: answer.verdict.name(),
            layout: best.map_or_else(String::new, |best| best.layout.id().to_owned()),
            reading: best.map_or("", |best| best.reading.name()),
            site: best
                .filter(|_| answer.verdict == Verdict::Identified && !hide)
                .and_then(|best| best.decode().site())
                .map_or_else(String::new, |site| site.to_string()),
            length: entry.observation.capture.len(),
        };
        if self.met.len() >= MAX_KINDS && !self.met.contains_key(&met) {
            return Err(Fail::said(format!(
                "more than {MAX_KINDS} kinds of captures to sum up: leave out --summary, or the \
                 columns building, door and reader where they name something else"
            )));
        }
        let count = self.met.entry(met).or_default();
        count.captures += 1;
        let capture: &Capture = &entry.observation.capture;
        let new = count
            .cards
            .insert(best.map_or_else(|| capture.to_string(), |best| best.word.to_string()));
        self.cards += usize::from(new);
        if self.cards > MAX_CARDS {
            return Err(Fail::said(format!(
                "more than {MAX_CARDS} cards to sum up: leave out --summary, or split the input"
            )));
        }
        if answer.verdict != Verdict::Identified && count.lines.len() < LINES {
            count.lines.push((row.source.clone(), row.line));
        }
        Ok(())
    }

    fn invalid(&mut self, _: &Row, _: &str) -> Result<(), Fail> {
        self.invalid += 1;
        Ok(())
    }

    fn paused(&mut self, fit: &Fit<'_, '_>) -> Result<(), Fail> {
        self.wiring = fit.wiring();
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        let mut out = terminal::Page::of(self.host, self.request.format == Format::Text);
        match self.request.format {
            Format::Text => self.text(&mut out),
            Format::Json => self.json(&mut out),
            Format::Csv => self.csv(&mut out),
        }
    }
}

fn print(out: &mut Page, grid: &Grid) -> Result<(), Fail> {
    grid.print(out)
}

impl Summary<'_> {
    /// The lines of what is unclear; their source too where there are several.
    fn lines(&self, count: &Count) -> Vec<String> {
        let several = self.sources.len() > 1;
        let line = |(source, line): &(Arc<str>, u64)| match several {
            true => format!("{source}:{line}"),
            false => line.to_string(),
        };
        count.lines.iter().map(line).collect()
    }

    fn clear(&self) -> impl Iterator<Item = (&Met, &Count)> {
        self.met.iter().filter(|(met, _)| met.verdict == "identified")
    }

    fn unclear(&self) -> impl Iterator<Item = (&Met, &Count)> {
        self.met.iter().filter(|(met, _)| met.verdict != "identified")
    }

    fn miswired(&self) -> impl Iterator<Item = Miswired<'_>> {
        self.wiring.iter().flat_map(miswired)
    }

    fn text(&self, out: &mut Page) -> Result<(), Fail> {
        let used: Vec<usize> = (0..PLACES.len())
            .filter(|i| self.met.keys().any(|met| !met.place[*i].is_empty()))
            .collect();
        let places = |met: &Met| used.iter().map(|i| plain(&met.place[*i])).collect::<Vec<_>>();
        let head = |rest: &[&str]| -> Vec<String> {
            used.iter().map(|i| PLACES[*i]).chain(rest.iter().copied()).map(str::to_owned).collect()
        };
        writeln!(out, "{}", in_style(STRONG, "cards met"))?;
        let mut met_grid = Grid::new(head(&["layout", "site", "cards", "captures", "reading"]));
        for (met, count) in self.clear() {
            let mut cells = places(met);
            cells.extend([
                plain(&met.layout),
                met.site.clone(),
                count.cards.len().to_string(),
                count.captures.to_string(),
                met.reading.to_owned(),
            ]);
            met_grid.row(cells);
        }
        print(out, &met_grid)?;
        if self.unclear().next().is_some() {
            writeln!(out, "\n{}", in_style(STRONG, "still unclear"))?;
            let mut open = Grid::new(head(&["verdict", "bits", "nearest", "captures", "lines"]));
            for (met, count) in self.unclear() {
                let mut cells = places(met);
                let more = if count.captures > count.lines.len() { ", …" } else { "" };
                cells.extend([
                    met.verdict.to_owned(),
                    met.length.to_string(),
                    plain(&met.layout),
                    count.captures.to_string(),
                    plain(&self.lines(count).join(", ")) + more,
                ]);
                open.row(cells);
            }
            print(out, &open)?;
        }
        if self.invalid > 0 {
            let lines = if self.invalid == 1 {
                "1 line is"
            } else {
                &format!("{} lines are", self.invalid)
            };
            writeln!(out, "\n{lines} no capture")?;
        }
        for Miswired { wiring, state, p } in self.miswired() {
            let reader = if wiring.reader.is_empty() { "the reader" } else { &wiring.reader };
            let of = if wiring.mixed { " of the captures" } else { "" };
            writeln!(
                out,
                "\n{}  {}: {state} ({}{of})",
                in_style(STRONG, "wiring"),
                plain(reader),
                if self.request.mask { mask::percent(p).to_owned() } else { percent(p) }
            )?;
        }
        let lengths: BTreeSet<usize> = self
            .unclear()
            .filter(|(met, _)| met.verdict == "unknown")
            .map(|(met, _)| met.length)
            .collect();
        for length in lengths {
            writeln!(
                out,
                "\n{}  {length} bits: collect ten cards with their printed numbers, then `holdover learn`",
                in_style(STRONG, "next")
            )?;
        }
        care::say(out)?;
        out.flush()?;
        Ok(())
    }

    fn json(&self, out: &mut Page) -> Result<(), Fail> {
        let place = |met: &Met, object: &mut Map<String, Value>| {
            for (name, value) in PLACES.iter().zip(&met.place) {
                if !value.is_empty() {
                    object.insert((*name).into(), value.clone().into());
                }
            }
        };
        let kinds: Vec<Value> = self
            .clear()
            .map(|(met, count)| {
                let mut object = Map::new();
                place(met, &mut object);
                object.insert("layout".into(), met.layout.clone().into());
                object.insert("reading".into(), met.reading.into());
                object.insert("site".into(), met.site.clone().into());
                object.insert("cards".into(), count.cards.len().into());
                object.insert("captures".into(), count.captures.into());
                Value::Object(object)
            })
            .collect();
        let unclear: Vec<Value> = self
            .unclear()
            .map(|(met, count)| {
                let mut object = Map::new();
                place(met, &mut object);
                object.insert("verdict".into(), met.verdict.into());
                object.insert("length".into(), met.length.into());
                object.insert("nearest".into(), met.layout.clone().into());
                object.insert("captures".into(), count.captures.into());
                object.insert("lines".into(), self.lines(count).into());
                Value::Object(object)
            })
            .collect();
        let wiring: Vec<Value> = self
            .miswired()
            .map(|Miswired { wiring, state, p }| {
                let p_is = if wiring.mixed { "share" } else { "probability" };
                json!({"reader": wiring.reader, "wiring": state.name(), p_is: p})
            })
            .collect();
        let object = json!({
            "kinds": kinds, "unclear": unclear, "wiring": wiring, "invalid": self.invalid,
        });
        writeln!(out, "{object}")?;
        Ok(())
    }

    fn csv(&self, out: &mut Page) -> Result<(), Fail> {
        let mut csv = csv::Writer::from_writer(out);
        let head = PLACES
            .into_iter()
            .chain(["verdict", "layout", "reading", "site", "length", "cards", "captures"]);
        write_csv(&mut csv, &head.collect::<Vec<_>>())?;
        for (met, count) in &self.met {
            let mut cells = met.place.to_vec();
            cells.extend([
                met.verdict.to_owned(),
                met.layout.clone(),
                met.reading.to_owned(),
                met.site.clone(),
                met.length.to_string(),
                count.cards.len().to_string(),
                count.captures.to_string(),
            ]);
            write_csv(&mut csv, &cells)?;
        }
        csv.flush()?;
        Ok(())
    }
}
