//! Reports that are a record a capture, for programs: rendered to bytes, so
//! that many can be made at once and come out in order.

use std::io::{BufWriter, Write};
use std::sync::Arc;

use holdover::rank::Fit;

use super::{Answered, Report};
use crate::fail::Fail;
use crate::host::Host;
use crate::input::Row;

/// Renders records.
pub trait Render: Sync {
    /// Takes the headings of a source's own columns; all come before any record.
    fn headings(&mut self, host: &dyn Host, headings: &Arc<Vec<String>>);

    /// What stands before the first record.
    fn head(&self, out: &mut Vec<u8>);

    /// A capture and its answer.
    fn answered(&self, answered: &Answered<'_, '_>, out: &mut Vec<u8>);

    /// A line that is no capture.
    fn invalid(&self, row: &Row, why: &str, out: &mut Vec<u8>);
}

/// Prints records to standard output.
pub struct Records<'w, R> {
    host: &'w dyn Host,
    pub render: R,
    pub out: BufWriter<Box<dyn Write>>,
    record: Vec<u8>,
    begun: bool,
}

impl<'w, R: Render> Records<'w, R> {
    pub fn new(host: &'w dyn Host, render: R) -> Records<'w, R> {
        let out = BufWriter::with_capacity(1 << 16, host.out());
        Records { host, render, out, record: Vec::new(), begun: false }
    }

    /// Writes what stands before the first record, once.
    pub fn begin(&mut self) -> Result<(), Fail> {
        if !std::mem::replace(&mut self.begun, true) {
            self.render.head(&mut self.record);
            self.flush_record()?;
        }
        Ok(())
    }

    fn flush_record(&mut self) -> Result<(), Fail> {
        self.out.write_all(&self.record)?;
        self.record.clear();
        Ok(())
    }
}

impl<R: Render> Report for Records<'_, R> {
    fn headings(&mut self, headings: &Arc<Vec<String>>) {
        self.render.headings(self.host, headings);
    }

    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        self.begin()?;
        self.render.answered(answered, &mut self.record);
        self.flush_record()
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        self.begin()?;
        self.render.invalid(row, why, &mut self.record);
        self.flush_record()
    }

    fn paused(&mut self, _: &Fit<'_, '_>) -> Result<(), Fail> {
        self.begin()?;
        self.out.flush()?;
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        self.begin()?;
        self.out.flush()?;
        Ok(())
    }
}
