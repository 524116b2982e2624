//! CSV: one record a capture, columns fixed by the design, the input's own
//! columns behind them.

use std::collections::HashMap;
use std::sync::Arc;

use holdover::layout::Part;

use super::Answered;
use super::records::Render;
use crate::formats::write_csv;
use crate::host::Host;
use crate::input::csv::MAX_COLUMNS;
use crate::input::{Carried, Row};
use crate::terminal;
use holdover::say::{self, Gaps};

pub const HEAD: [&str; 9] =
    ["line", "source", "verdict", "layout", "reading", "site", "card", "probability", "note"];

#[derive(Default)]
pub struct Csv {
    /// The input's own columns, of every source.
    columns: Vec<String>,
}

impl Csv {
    fn record(&self, mut cells: Vec<String>, own: &Carried, out: &mut Vec<u8>) {
        if own.headings[..] == self.columns[..] {
            cells.extend(own.iter().map(|(_, cell)| cell.to_owned()));
        } else {
            // The first of a heading counts.
            let named = own.iter().map(|(column, cell)| (column.to_ascii_lowercase(), cell));
            let named: HashMap<String, &str> = named.rev().collect();
            cells.extend(self.columns.iter().map(|column| {
                named.get(&column.to_ascii_lowercase()).copied().unwrap_or_default().to_owned()
            }));
        }
        write(&cells, out);
    }
}

/// The heading of an own column: the input's "site" and the answer's are two things.
pub fn given(column: &str) -> String {
    match HEAD.contains(&column) {
        true => format!("given_{column}"),
        false => column.to_owned(),
    }
}

fn write(cells: &[String], out: &mut Vec<u8>) {
    let mut csv = csv::WriterBuilder::new().buffer_capacity(512).from_writer(out);
    write_csv(&mut csv, cells).expect("memory takes every record");
}

impl Render for Csv {
    fn headings(&mut self, host: &dyn Host, headings: &Arc<Vec<String>>) {
        for heading in headings.iter() {
            if self.columns.len() == MAX_COLUMNS {
                terminal::remark(
                    host,
                    &format!(
                        "the input has more than {MAX_COLUMNS} different columns: the others are left \
                     out"
                    ),
                );
                return;
            }
            if !self.columns.contains(heading) {
                self.columns.push(heading.clone());
            }
        }
    }

    fn head(&self, out: &mut Vec<u8>) {
        let named = self.columns.iter().map(|column| given(column));
        write(&HEAD.iter().map(|h| (*h).to_owned()).chain(named).collect::<Vec<_>>(), out);
    }

    fn answered(&self, answered: &Answered<'_, '_>, out: &mut Vec<u8>) {
        let Answered { row, entry, answer, notes, gaps } = answered;
        let best = answer.candidates.first();
        let part = |part| best.map_or_else(String::new, |b| say::part(b, part, *gaps));
        let cells = vec![
            gaps.map_or_else(|| row.line.to_string(), Gaps::line),
            row.source.to_string(),
            answer.verdict.name().to_owned(),
            best.map_or_else(String::new, |best| best.layout.id().to_owned()),
            best.map_or_else(String::new, |best| best.reading.name().to_owned()),
            part(Part::Site),
            part(Part::Card),
            best.map_or_else(String::new, |best| format!("{:.6}", best.probability)),
            notes.join("; "),
        ];
        self.record(cells, &entry.carried, out);
    }

    fn invalid(&self, row: &Row, why: &str, out: &mut Vec<u8>) {
        let mut cells = vec![String::new(); HEAD.len()];
        cells[0] = row.line.to_string();
        cells[1] = row.source.to_string();
        cells[2] = "invalid".to_owned();
        cells[8] = why.to_owned();
        self.record(cells, &Carried::default(), out);
    }
}
