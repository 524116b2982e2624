//! JSON Lines: one object a capture, keys fixed by the design.

use std::sync::Arc;

use holdover::layout::{Code, Field, Value};
use holdover::rank;
use serde::Serialize;

use super::Answered;
use super::records::Render;
use crate::answer::{Candidate, Card, Evidence, Held, Invalid, InvalidWord, Number, Read};
use crate::host::Host;
use crate::input::Row;
use holdover::say::Gaps;

/// Largest binary field written as a JSON number, in bits: what a double holds.
const EXACT_BITS: usize = 53;

/// What stands around the mark of a gap that is a number, not a string.
const BARE: char = '\u{F8FE}';

pub struct Json;

impl Render for Json {
    fn headings(&mut self, _: &dyn Host, _: &Arc<Vec<String>>) {}

    fn head(&self, _: &mut Vec<u8>) {}

    fn answered(&self, answered: &Answered<'_, '_>, out: &mut Vec<u8>) {
        let line = line(&card(answered));
        match answered.gaps {
            Some(gaps) => out.extend_from_slice(open(&line, gaps).as_bytes()),
            None => out.extend_from_slice(&line),
        }
    }

    fn invalid(&self, row: &Row, why: &str, out: &mut Vec<u8>) {
        out.extend_from_slice(&line(&invalid(row, why)));
    }
}

/// An answer as a line of JSON; there is none that JSON cannot hold.
pub fn line(answer: &impl Serialize) -> Vec<u8> {
    let mut line = serde_json::to_vec(answer).unwrap_or_default();
    line.push(b'\n');
    line
}

/// A line whose numbers are marks: those that are no strings stand bare.
fn open(line: &[u8], gaps: &Gaps<'_>) -> String {
    let line = String::from_utf8_lossy(line);
    let line = line.replacen("{\"line\":0,", &format!("{{\"line\":{},", gaps.line()), 1);
    line.replace(&format!("\"{BARE}"), "").replace(&format!("{BARE}\""), "")
}

/// A line that is no capture, as an answer.
pub fn invalid(row: &Row, why: &str) -> Read {
    Read::Invalid(Invalid {
        line: row.line,
        source: row.source.to_string(),
        verdict: InvalidWord::Invalid,
        error: why.to_owned(),
    })
}

/// A capture with its answer. With gaps, its bits and fields are marks, and its line
/// is 0.
pub fn card(answered: &Answered<'_, '_>) -> Card {
    let Answered { row, entry, answer, notes, gaps } = answered;
    let observation = &entry.observation;
    let candidates = answer.candidates.iter().map(|candidate| {
        let length = entry.given.is_some().then_some(candidate.capture.len() as u16);
        Candidate { length, ..self::candidate(candidate, *gaps) }
    });
    let other = answer.other_probability;
    Card {
        line: if gaps.is_some() { 0 } else { row.line },
        source: row.source.to_string(),
        bits: gaps.map_or_else(|| observation.capture.to_string(), Gaps::bits),
        length: observation.capture.len() as u16,
        given: entry.given.clone(),
        verdict: answer.verdict.into(),
        candidates: candidates.collect(),
        none_probability: rounded(answer.none_probability, 9),
        other_probability: (other > 0.0).then(|| rounded(other, 9)),
        notes: notes.clone(),
        reader: Some(observation.reader.clone()).filter(|reader| !reader.is_empty()),
        carried: (!entry.carried.cells.is_empty())
            .then(|| entry.carried.json().into_iter().collect()),
    }
}

fn candidate(candidate: &rank::Candidate<'_>, gaps: Option<&Gaps<'_>>) -> Candidate {
    let word = candidate.word.wide();
    let fields = candidate.layout.fields().iter().map(|field| {
        let value = match gaps.map(|gaps| gaps.field(candidate, field)) {
            Some(mark) if exact(field) => Number::Text(format!("{BARE}{mark}{BARE}")),
            Some(mark) => Number::Text(mark),
            None => number(field, &field.value(word)),
        };
        (field.role.name().to_owned(), value)
    });
    let decode = candidate.decode();
    let checks = decode.outcomes().map(|(check, holds)| Held { check: check.to_string(), holds });
    let evidence = candidate
        .evidence
        .iter()
        .map(|part| Evidence { what: part.why.name().to_owned(), bits: rounded(part.bits, 3) });
    Candidate {
        layout: candidate.layout.id().to_owned(),
        reading: candidate.reading.into(),
        fields: fields.collect(),
        checks: checks.collect(),
        evidence: evidence.collect(),
        evidence_bits: rounded(candidate.evidence_bits(), 3),
        probability: rounded(candidate.probability, 9),
        length: None,
    }
}

fn rounded(number: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (number * scale).round() / scale
}

/// Whether a double holds every number of the field.
fn exact(field: &Field) -> bool {
    field.code == Code::Binary && field.span.len() <= EXACT_BITS
}

/// Decimal digits and numbers over 53 bits are strings.
fn number(field: &Field, value: &Value) -> Number {
    match value {
        Value::Number(number) if exact(field) => Number::Exact(*number as u64),
        other => Number::Text(other.to_string()),
    }
}
