//! CSV: one record a capture, columns fixed by the design, the input's own
//! columns behind them.

use std::io::{BufWriter, Stdout};
use std::sync::Arc;

use holdover::layout::{Part, Value};
use holdover::rank::{Candidate, Fit};

use super::json::carried;
use super::{Answered, Report};
use crate::fail::Fail;
use crate::formats::write_csv;
use crate::input::{Carried, Row};
use crate::mask;

const HEAD: [&str; 9] =
    ["line", "source", "verdict", "layout", "reading", "site", "card", "probability", "note"];

/// A record held back until the columns of the whole input are known.
struct Record {
    cells: Vec<String>,
    carried: Carried,
}

pub struct Csv {
    out: csv::Writer<BufWriter<Stdout>>,
    hide: bool,
    /// Carried columns of the header, once it is written.
    columns: Option<Vec<String>>,
    held: Vec<Record>,
}

impl Csv {
    pub fn new(hide: bool) -> Csv {
        let out =
            csv::WriterBuilder::new().flexible(true).from_writer(BufWriter::new(std::io::stdout()));
        Csv { out, hide, columns: None, held: Vec::new() }
    }

    /// The header is written with the first answers: it has the columns of
    /// every source seen by then.
    fn head(&mut self) -> Result<(), Fail> {
        if self.columns.is_some() {
            return Ok(());
        }
        let mut columns: Vec<String> = Vec::new();
        let mut before: Option<Arc<Vec<String>>> = None;
        for record in &self.held {
            let headings = &record.carried.headings;
            if before.as_ref().is_some_and(|before| Arc::ptr_eq(before, headings)) {
                continue;
            }
            before = Some(headings.clone());
            for heading in headings.iter() {
                if !columns.contains(heading) {
                    columns.push(heading.clone());
                }
            }
        }
        // The input's "site" and the answer's are two things.
        let named = columns.iter().map(|column| match HEAD.contains(&column.as_str()) {
            true => format!("given_{column}"),
            false => column.clone(),
        });
        let head: Vec<String> = HEAD.iter().map(|h| (*h).to_owned()).chain(named).collect();
        write_csv(&mut self.out, &head)?;
        self.columns = Some(columns);
        Ok(())
    }

    fn release(&mut self) -> Result<(), Fail> {
        self.head()?;
        let columns = self.columns.clone().unwrap_or_default();
        for mut record in self.held.drain(..) {
            for column in &columns {
                let cell = record.carried.cell(column).unwrap_or_default();
                record.cells.push(carried(column, cell, self.hide));
            }
            write_csv(&mut self.out, &record.cells)?;
        }
        self.out.flush()?;
        Ok(())
    }
}

impl Report for Csv {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        let Answered { row, entry, answer, notes } = answered;
        let best = answer.candidates.first();
        let part = |part| best.map_or_else(String::new, |best| value(best, part, self.hide));
        let cells = vec![
            row.line.to_string(),
            row.source.to_string(),
            answer.verdict.name().to_owned(),
            best.map_or_else(String::new, |best| best.layout.id().to_owned()),
            best.map_or_else(String::new, |best| best.reading.name().to_owned()),
            part(Part::Site),
            part(Part::Card),
            best.map_or_else(String::new, |best| format!("{:.6}", best.probability)),
            notes.join("; "),
        ];
        self.held.push(Record { cells, carried: entry.carried.clone() });
        Ok(())
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        let mut cells = vec![String::new(); HEAD.len()];
        cells[0] = row.line.to_string();
        cells[1] = row.source.to_string();
        cells[2] = "invalid".to_owned();
        cells[8] = why.to_owned();
        self.held.push(Record { cells, carried: Carried::default() });
        Ok(())
    }

    fn paused(&mut self, _: &Fit<'_, '_>) -> Result<(), Fail> {
        self.release()
    }

    fn end(&mut self) -> Result<(), Fail> {
        self.release()
    }
}

fn value(best: &Candidate<'_>, part: Part, hide: bool) -> String {
    let decode = best.decode();
    let value = match part {
        Part::Site => decode.site(),
        Part::Card => decode.card(),
    };
    let Some(value) = value else { return String::new() };
    match (hide, part) {
        (true, Part::Card) => {
            let width = match &value {
                Value::Digits(digits) => digits.len(),
                Value::Number(_) => best.layout.largest(Part::Card).unwrap_or(0).to_string().len(),
            };
            mask::number(&value, width)
        }
        _ => value.to_string(),
    }
}
