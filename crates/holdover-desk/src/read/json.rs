//! JSON Lines: one object a capture, keys fixed by the design.

use std::sync::Arc;

use holdover::layout::{Code, Field, Value};
use holdover::rank::Candidate;
use serde_json::{Map, Value as Any, json};

use super::Answered;
use super::records::Render;
use super::template::Gaps;
use crate::host::Host;
use crate::input::Row;

/// Largest binary field written as a JSON number, in bits: what a double holds.
const EXACT_BITS: usize = 53;

/// What stands around the mark of a hole that is a number, not a string.
const BARE: char = '\u{F8FE}';

pub struct Json;

impl Render for Json {
    fn headings(&mut self, _: &dyn Host, _: &Arc<Vec<String>>) {}

    fn head(&self, _: &mut Vec<u8>) {}

    fn answered(&self, answered: &Answered<'_, '_>, out: &mut Vec<u8>) {
        let Answered { row, entry, answer, notes, gaps } = answered;
        let capture = &entry.observation.capture;
        let bits = gaps.map_or_else(|| capture.to_string(), Gaps::bits);
        let line = gaps.map_or_else(|| row.line.into(), |gaps| bare(&gaps.line()));
        let candidates = answer.candidates.iter().map(|candidate| {
            let mut object = object(candidate, *gaps);
            if entry.given.is_some() {
                object.insert("length".into(), candidate.capture.len().into());
            }
            Any::Object(object)
        });
        let candidates: Vec<Any> = candidates.collect();
        let mut object = Map::new();
        object.insert("line".into(), line);
        object.insert("source".into(), (*row.source).into());
        object.insert("bits".into(), bits.into());
        object.insert("length".into(), capture.len().into());
        if let Some(given) = &entry.given {
            object.insert("given".into(), given.clone().into());
        }
        object.insert("verdict".into(), answer.verdict.name().into());
        object.insert("candidates".into(), candidates.into());
        object.insert("none_probability".into(), rounded(answer.none_probability, 9));
        if answer.other_probability > 0.0 {
            object.insert("other_probability".into(), rounded(answer.other_probability, 9));
        }
        object.insert("notes".into(), notes.clone().into());
        if !entry.observation.reader.is_empty() {
            object.insert("reader".into(), entry.observation.reader.clone().into());
        }
        if !entry.carried.cells.is_empty() {
            object.insert("carried".into(), Any::Object(entry.carried.json()));
        }
        let text = Any::Object(object).to_string();
        match gaps {
            Some(_) => {
                let open = text.replace(&format!("\"{BARE}"), "");
                out.extend_from_slice(open.replace(&format!("{BARE}\""), "").as_bytes());
            }
            None => out.extend_from_slice(text.as_bytes()),
        }
        out.push(b'\n');
    }

    fn invalid(&self, row: &Row, why: &str, out: &mut Vec<u8>) {
        let object =
            json!({"line": row.line, "source": *row.source, "verdict": "invalid", "error": why});
        out.extend_from_slice(object.to_string().as_bytes());
        out.push(b'\n');
    }
}

/// A hole without the quotes of a string.
fn bare(mark: &str) -> Any {
    Any::String(format!("{BARE}{mark}{BARE}"))
}

fn rounded(number: f64, digits: i32) -> Any {
    let scale = 10f64.powi(digits);
    json!((number * scale).round() / scale)
}

fn object(candidate: &Candidate<'_>, gaps: Option<&Gaps<'_>>) -> Map<String, Any> {
    let decode = candidate.decode();
    let word = candidate.word.wide();
    let fields = candidate.layout.fields().iter().map(|field| {
        if let Some(gaps) = gaps {
            let hole = gaps.field(candidate, field);
            let value = if exact(field) { bare(&hole) } else { Any::String(hole) };
            return (field.role.name().to_owned(), value);
        }
        let value = field.value(word);
        (field.role.name().to_owned(), number(field, &value))
    });
    let checks: Vec<Any> =
        decode.outcomes().map(|(check, holds)| json!({"check": check, "holds": holds})).collect();
    let evidence: Vec<Any> = candidate
        .evidence
        .iter()
        .map(|part| json!({"what": part.why.name(), "bits": rounded(part.bits, 3)}))
        .collect();
    let mut object = Map::new();
    object.insert("layout".into(), candidate.layout.id().into());
    object.insert("reading".into(), candidate.reading.name().into());
    object.insert("fields".into(), Any::Object(fields.collect()));
    object.insert("checks".into(), checks.into());
    object.insert("evidence".into(), evidence.into());
    object.insert("evidence_bits".into(), rounded(candidate.evidence_bits(), 3));
    object.insert("probability".into(), rounded(candidate.probability, 9));
    object
}

/// Whether a double holds every number of the field.
fn exact(field: &Field) -> bool {
    field.code == Code::Binary && field.span.len() <= EXACT_BITS
}

/// Decimal digits and numbers over 53 bits are strings.
fn number(field: &Field, value: &Value) -> Any {
    match value {
        Value::Number(number) if exact(field) => json!(*number as u64),
        other => Any::String(other.to_string()),
    }
}
