//! JSON Lines: one object a capture, keys fixed by the design.

use std::io::{BufWriter, Stdout, Write};

use holdover::layout::{Field, Value};
use holdover::rank::{Candidate, Fit};
use serde_json::{Map, Value as Any, json};

use super::{Answered, Report};
use crate::fail::Fail;
use crate::input::Row;
use crate::mask;

/// Largest binary field written as a JSON number, in bits: what a double holds.
const EXACT_BITS: usize = 53;

pub struct Json {
    out: BufWriter<Stdout>,
    hide: bool,
}

impl Json {
    pub fn new(hide: bool) -> Json {
        Json { out: BufWriter::new(std::io::stdout()), hide }
    }
}

impl Report for Json {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        let Answered { row, entry, answer, notes } = answered;
        let capture = &entry.sighting.capture;
        let bits = match self.hide {
            true => mask::bits(capture.len()),
            false => capture.to_string(),
        };
        let candidates: Vec<Any> = answer
            .candidates
            .iter()
            .enumerate()
            .map(|(rank, candidate)| object(candidate, self.hide, rank == 0))
            .collect();
        let mut object = Map::new();
        object.insert("line".into(), row.line.into());
        object.insert("source".into(), (*row.source).into());
        object.insert("bits".into(), bits.into());
        object.insert("length".into(), capture.len().into());
        object.insert("verdict".into(), answer.verdict.name().into());
        object.insert("candidates".into(), candidates.into());
        object.insert("none_probability".into(), rounded(answer.none_probability, 9));
        if answer.other_probability > 0.0 {
            object.insert("other_probability".into(), rounded(answer.other_probability, 9));
        }
        object.insert("notes".into(), notes.clone().into());
        if !entry.sighting.reader.is_empty() {
            object.insert("reader".into(), entry.sighting.reader.clone().into());
        }
        if !entry.carried.cells.is_empty() {
            let cells = entry.carried.iter().map(|(heading, cell)| {
                (heading.to_owned(), carried(heading, cell, self.hide).into())
            });
            object.insert("carried".into(), Any::Object(cells.collect()));
        }
        writeln!(self.out, "{}", Any::Object(object))?;
        Ok(())
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        let object =
            json!({"line": row.line, "source": *row.source, "verdict": "invalid", "error": why});
        writeln!(self.out, "{object}")?;
        Ok(())
    }

    fn paused(&mut self, _: &Fit<'_, '_>) -> Result<(), Fail> {
        self.out.flush()?;
        Ok(())
    }
}

/// A carried cell; under a mask, numbers in it are hidden, but not where it
/// says a place.
pub fn carried(heading: &str, cell: &str, hide: bool) -> String {
    let place = ["building", "door", "reader", "site"];
    let is_place = place.iter().any(|place| heading.eq_ignore_ascii_case(place));
    let number = ["printed", "card"].iter().any(|name| heading.eq_ignore_ascii_case(name));
    match (hide && !is_place, number) {
        (false, _) => cell.to_owned(),
        (true, true) => mask::print(cell),
        (true, false) => mask::text(cell),
    }
}

fn rounded(number: f64, digits: i32) -> Any {
    let scale = 10f64.powi(digits);
    json!((number * scale).round() / scale)
}

fn object(candidate: &Candidate<'_>, hide: bool, best: bool) -> Any {
    let decode = candidate.decode();
    let word = candidate.word.wide();
    let fields = candidate.layout.fields().iter().map(|field| {
        let value = field.value(word);
        // Another layout's site code can be this one's card number.
        let hidden = match (hide, best) {
            (false, _) => None,
            (true, true) => mask::field(field, &value),
            (true, false) => Some(mask::bits(field.decimal_width())),
        };
        let value = hidden.map_or_else(|| number(field, &value), Any::String);
        (field.role.name().to_owned(), value)
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
    Any::Object(object)
}

/// Decimal digits and numbers over 53 bits are strings.
fn number(field: &Field, value: &Value) -> Any {
    match value {
        Value::Number(number) if field.span.len() <= EXACT_BITS => json!(*number as u64),
        other => Any::String(other.to_string()),
    }
}
