//! `read --mask`: what may be said of a card whose numbers are hidden, and no
//! more, in every form.
//!
//! Its length, the verdict, and where it is no stranger the layout, the reading,
//! the last two digits of the card number, with the probability that the verdict
//! stands for: a finer one tells how usual its site code is.
//! Bits, site codes, checks, evidence and other candidates are functions of the
//! number, and columns of the input's own may hold it in any form: a column is
//! shown only where it is named.

use std::io::Write;

use holdover::decode::Reading;
use holdover::rank::{Fit, Verdict};
use holdover::say;
use indexmap::IndexMap;

use super::advice::Advice;
use super::csv::{HEAD, given};
use super::text::{place, verdict};
use super::{Answered, Report, json};
use crate::answer::{self, Card, Number};
use crate::fail::Fail;
use crate::formats::write_csv;
use crate::host::Host;
use crate::input::Row;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::terminal;
use crate::{care, mask};

/// What stands for why a line is no capture: the reason quotes the line.
pub const NO_CAPTURE: &str = "no capture; leave out --mask to see why";

/// What may be said of one capture.
pub struct Sayable {
    pub verdict: Verdict,
    /// Layout, reading and card number of what it is, or may be.
    pub card: Option<(String, Reading, String)>,
    /// Columns that were named.
    pub kept: Vec<(String, String)>,
}

impl Sayable {
    pub fn of(answered: &Answered<'_, '_>, keep: &[String]) -> Sayable {
        let answer = answered.answer;
        let best = say::sayable(answer);
        let cells = keep.iter().map(|name| {
            let cell = answered.entry.carried.cell(name).unwrap_or_default();
            (name.clone(), cell.to_owned())
        });
        Sayable {
            verdict: answer.verdict,
            card: best
                .map(|best| (best.layout.id().to_owned(), best.reading, say::masked_card(best))),
            kept: cells.collect(),
        }
    }

    /// "std26, lines-swapped, card ***21", or that it is none.
    pub fn words(&self) -> String {
        match &self.card {
            None if self.verdict == Verdict::Unknown => "none of these".to_owned(),
            None => "not settled".to_owned(),
            Some((layout, reading, card)) => {
                let reading = match reading {
                    Reading::AsCaptured => String::new(),
                    reading => format!(", {reading}"),
                };
                format!("{layout}{reading}, card {card}")
            }
        }
    }

    pub fn percent(&self) -> &'static str {
        match self.verdict {
            Verdict::Identified => "95 % or more",
            Verdict::Ambiguous => "under 95 %",
            Verdict::Unknown => "50 % or more",
        }
    }

    /// The columns that were named, where they say anything.
    pub fn beside(&self) -> String {
        let cells = self.kept.iter().filter(|(_, cell)| !cell.trim().is_empty());
        let cells: Vec<String> =
            cells.map(|(name, cell)| format!("{} {}", plain(name), plain(cell))).collect();
        cells.join(", ")
    }
}

pub struct Masked<'a> {
    host: &'a dyn Host,
    request: &'a request::Read,
    advice: Advice,
    begun: bool,
}

impl<'a> Masked<'a> {
    pub fn new(host: &'a dyn Host, request: &'a request::Read) -> Masked<'a> {
        Masked { host, request, advice: Advice::new(true), begun: false }
    }

    fn write(&mut self, line: &[u8]) -> Result<(), Fail> {
        let mut out = terminal::Page::of(self.host, self.request.format == Format::Text);
        if !std::mem::replace(&mut self.begun, true) && self.request.format == Format::Csv {
            let kept = self.request.keep_column.iter().map(|column| given(column));
            out.write_all(&record(HEAD.map(str::to_owned).into_iter().chain(kept))?)?;
        }
        out.write_all(line)?;
        Ok(out.flush()?)
    }
}

fn record(cells: impl IntoIterator<Item = String>) -> Result<Vec<u8>, Fail> {
    let mut bytes = Vec::new();
    write_csv(&mut csv::Writer::from_writer(&mut bytes), &cells.into_iter().collect::<Vec<_>>())?;
    Ok(bytes)
}

/// The capture with what is hidden empty.
pub fn hidden(answered: &Answered<'_, '_>, keep: &[String]) -> Card {
    let said = Sayable::of(answered, keep);
    let length = answered.entry.observation.capture.len();
    let [probability, none_probability] = say::masked_probabilities(said.verdict);
    let candidates = said.card.into_iter().map(|(layout, reading, card)| answer::Candidate {
        layout,
        reading: reading.into(),
        fields: [("card".to_owned(), Number::Text(card))].into(),
        checks: Vec::new(),
        evidence: Vec::new(),
        evidence_bits: 0.0,
        probability,
        length: None,
    });
    let kept = said.kept.into_iter().map(|(heading, cell)| (heading, cell.into()));
    let carried: IndexMap<_, _> = kept.collect();
    Card {
        line: answered.row.line,
        source: answered.row.source.to_string(),
        bits: mask::bits(length),
        length: length as u16,
        given: None,
        verdict: said.verdict.into(),
        candidates: candidates.collect(),
        none_probability,
        other_probability: None,
        notes: Vec::new(),
        reader: None,
        carried: Some(carried).filter(|carried| !carried.is_empty()),
    }
}

impl Report for Masked<'_> {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        let said = Sayable::of(answered, &self.request.keep_column);
        let row = answered.row;
        let line = match self.request.format {
            Format::Json => json::line(&hidden(answered, &self.request.keep_column)),
            Format::Csv => {
                let (layout, reading, card) = match &said.card {
                    Some((layout, reading, card)) => {
                        (layout.clone(), reading.name().to_owned(), card.clone())
                    }
                    None => Default::default(),
                };
                let own = [
                    row.line.to_string(),
                    row.source.to_string(),
                    said.verdict.name().to_owned(),
                    layout,
                    reading,
                    String::new(),
                    card,
                    said.percent().to_owned(),
                    String::new(),
                ];
                record(own.into_iter().chain(said.kept.into_iter().map(|(_, cell)| cell)))?
            }
            Format::Text => {
                self.advice.add(answered);
                let bits = answered.entry.observation.capture.len();
                let beside = said.beside();
                let beside = if beside.is_empty() { beside } else { format!("  {beside}") };
                let (place, verdict) = (place(row), verdict(said.verdict));
                let (words, percent) = (plain(&said.words()), said.percent());
                format!("{place:<16} {bits:>3} bits  {verdict}  {words}  {percent}{beside}\n")
                    .into_bytes()
            }
        };
        self.write(&line)
    }

    fn invalid(&mut self, row: &Row, _: &str) -> Result<(), Fail> {
        let line = match self.request.format {
            Format::Json => json::line(&json::invalid(row, NO_CAPTURE)),
            Format::Csv => {
                let (line, source) = (row.line.to_string(), row.source.to_string());
                let empty = vec![String::new(); HEAD.len() - 3 + self.request.keep_column.len()];
                record([line, source, "invalid".to_owned()].into_iter().chain(empty))?
            }
            Format::Text => format!("{:<16} {NO_CAPTURE}\n", place(row)).into_bytes(),
        };
        self.write(&line)
    }

    fn paused(&mut self, fit: &Fit<'_, '_>) -> Result<(), Fail> {
        self.write(b"")?;
        if self.request.format == Format::Text && !self.request.quiet {
            let mut out = terminal::Page::new(self.host);
            self.advice
                .lines(fit, out.width)
                .iter()
                .try_for_each(|line| writeln!(out, "{line}"))?;
            out.flush()?;
        }
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        self.write(b"")?;
        if self.request.format == Format::Text && !self.request.quiet {
            let mut out = terminal::Page::new(self.host);
            care::say(&mut out)?;
            out.flush()?;
        }
        Ok(())
    }
}
