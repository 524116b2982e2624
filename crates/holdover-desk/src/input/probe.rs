//! Probe files as a source of captures.

use std::sync::Arc;

use holdover::rank::{Doubt, Known, Observation};
use holdover_signal::{CardRead, Probe, Session};

use super::{Carried, Entry, Row};
use crate::plain::plain;

/// A probe file being read.
pub struct ProbeFile {
    name: Arc<str>,
    /// `None` once the file is found damaged.
    session: Option<Session>,
    headings: Arc<Vec<String>>,
    count: u64,
}

impl ProbeFile {
    pub fn new(name: &Arc<str>, probe: &Probe) -> ProbeFile {
        let headings = ["reader", "start_us"].map(str::to_owned).to_vec();
        ProbeFile {
            name: name.clone(),
            session: Some(probe.session()),
            headings: Arc::new(headings),
            count: 0,
        }
    }

    /// Takes bytes; captures that are certainly over become rows.
    pub fn feed(&mut self, bytes: &[u8], rows: &mut Vec<Row>) {
        let Some(mut session) = self.session.take() else { return };
        let mut reads = Vec::new();
        let result = session.push(bytes, |read| reads.push(read));
        rows.extend(reads.into_iter().map(|read| self.row(read)));
        match result {
            Ok(()) => self.session = Some(session),
            Err(error) => rows.push(self.damage(&error)),
        }
    }

    /// The file pauses: what was seen is handed out.
    pub fn pause(&mut self, rows: &mut Vec<Row>) {
        let Some(mut session) = self.session.take() else { return };
        let mut reads = Vec::new();
        session.pause(|read| reads.push(read));
        rows.extend(reads.into_iter().map(|read| self.row(read)));
        self.session = Some(session);
    }

    /// The end of the file; names the readers of whose lines it was guessed
    /// which is which.
    pub fn end(&mut self, rows: &mut Vec<Row>) -> Vec<String> {
        let Some(session) = self.session.take() else { return Vec::new() };
        let mut reads = Vec::new();
        let result = session.finish(|read| reads.push(read));
        rows.extend(reads.into_iter().map(|read| self.row(read)));
        let summary = match &result {
            Ok(summary) => Some(summary),
            Err(error) => {
                rows.push(self.damage(error));
                error.before()
            }
        };
        let guessed = summary.filter(|summary| summary.chosen.is_guess());
        let readers = guessed.into_iter().flat_map(|summary| &summary.readers);
        readers.map(|reader| reader.reader.clone()).collect()
    }

    fn damage(&mut self, error: &holdover_signal::SignalError) -> Row {
        self.count += 1;
        let why = plain(&error.to_string());
        Row { source: self.name.clone(), line: self.count, entry: Err(why) }
    }

    fn row(&mut self, read: CardRead) -> Row {
        self.count += 1;
        let unsure = read.unsure;
        let doubt = Doubt { missing: unsure.missing, suspect: unsure.suspect, ..Doubt::default() };
        let mut notes: Vec<String> =
            read.findings.iter().map(|f| format!("{}: {}", f.kind.name(), f.what)).collect();
        notes.extend(super::doubt_note(&doubt));
        let known = Known { doubt, ..Known::default() };
        let reader = read.reader.to_string();
        let cells = vec![reader.clone(), format!("{:.1}", read.start_us)];
        let observation = Observation { capture: read.bits, reader, known };
        let carried = Carried { headings: self.headings.clone(), cells, ..Carried::default() };
        let entry = Ok(Entry { notes, carried, ..observation.into() });
        Row { source: self.name.clone(), line: self.count, entry }
    }
}
