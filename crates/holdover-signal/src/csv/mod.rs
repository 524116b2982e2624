//! Tables of levels: a row a change, or a row a sample; one column a line.

mod cell;
mod layout;

use crate::change::{Changes, Level};
use crate::error::{Fault, FaultWhat};
use crate::lines::{Candidate, Pick};
use crate::time::LATEST;
use cell::{Decimal, Levels, level, trimmed};
use layout::{Clock, cells, is_remark};

pub use layout::COLUMNS;
pub(crate) use layout::{Layout, Look};

/// A table being read.
#[derive(Debug)]
pub(crate) struct Table {
    pub(crate) layout: Layout,
    /// Column of each line followed.
    followed: Vec<usize>,
    levels: Vec<Option<Level>>,
    row: u64,
    now: Option<i64>,
    first: i64,
    /// The last row's text past its time, to pass over rows that repeat it.
    last_row: Vec<u8>,
    /// The same step between all rows so far, in ns.
    step: Option<i64>,
    even: bool,
}

impl Table {
    pub(crate) fn new(layout: Layout) -> Table {
        Table {
            layout,
            followed: Vec::new(),
            levels: Vec::new(),
            row: 0,
            now: None,
            first: 0,
            last_row: Vec::new(),
            step: None,
            even: true,
        }
    }

    /// The lines the table offers; the time is none.
    pub(crate) fn candidates(&self) -> Vec<Candidate> {
        let time = self.layout.time_column();
        let names = self.layout.names.iter().enumerate();
        names
            .filter(|(i, _)| Some(*i) != time)
            .map(|(i, n)| Candidate::column(n.clone(), i))
            .collect()
    }

    /// The name of a column given by its number, from 1.
    pub(crate) fn column_named(&self, name: &str) -> Option<String> {
        let number: usize = name.trim().parse().ok()?;
        let taken = self.layout.names.iter().any(|n| n == name);
        self.layout.names.get(number.checked_sub(1)?).filter(|_| !taken).cloned()
    }

    /// Follows the lines picked among the candidates, in that order.
    pub(crate) fn follow(&mut self, picks: &[Pick]) {
        let time = self.layout.time_column();
        let columns: Vec<usize> = (0..self.layout.columns).filter(|i| Some(*i) != time).collect();
        self.followed = picks.iter().filter_map(|p| columns.get(p.line).copied()).collect();
        self.levels = vec![None; self.followed.len()];
        let volts = self.followed.iter().filter_map(|c| match self.layout.levels.get(*c)? {
            Levels::Bits => None,
            Levels::Volts(low, high) => {
                let name = &self.layout.names[*c];
                Some(format!(
                    "{name}: numbers taken as volts, low below {low:.2} and high from {high:.2}"
                ))
            }
        });
        let volts: Vec<String> = volts.collect();
        self.layout.notes.extend(volts);
    }

    /// The last time seen, in ns.
    pub(crate) fn now(&self) -> i64 {
        self.now.unwrap_or(0)
    }

    /// The step between all rows, in ns, where it is one.
    pub(crate) fn step(&self) -> Option<i64> {
        match self.layout.clock {
            Clock::Column { .. } => {
                let steps = i64::try_from(self.row.checked_sub(1)?).ok()?;
                let mean = (self.now? - self.first).checked_div(steps)?;
                (self.even && steps >= 8).then_some(mean)
            }
            Clock::Count { rate_hz, .. } | Clock::Rows { rate_hz } => Some((1e9 / rate_hz) as i64),
        }
    }

    /// Reads whole rows from `buffer`; returns how many bytes are done with.
    /// `unended`: the last row's line end is not the file's own.
    pub(crate) fn scan(
        &mut self,
        buffer: &[u8],
        unended: bool,
        out: &mut impl Changes,
    ) -> Result<usize, Fault> {
        let mut at = 0;
        while let Some(len) = memchr::memchr(b'\n', &buffer[at..]) {
            let line = &buffer[at..at + len];
            let final_row = unended && at + len + 1 >= buffer.len();
            if final_row && line.ends_with(&[self.layout.separator]) {
                let expected = "as many cells as in the rows before";
                return Err(Fault { at: at + len, what: FaultWhat::Truncated { expected } });
            }
            self.row(line, out).map_err(|fault| {
                let at = at + fault.at;
                match fault.what {
                    FaultWhat::Syntax { expected, .. } if final_row => {
                        Fault { at, what: FaultWhat::Truncated { expected } }
                    }
                    what => Fault { at, what },
                }
            })?;
            at += len + 1;
        }
        Ok(at)
    }

    /// Whether the table may end here.
    pub(crate) fn finish(&self, at: usize) -> Result<(), Fault> {
        let expected = "rows of times and levels";
        if self.row == 0 {
            Err(Fault { at, what: FaultWhat::Truncated { expected } })
        } else {
            Ok(())
        }
    }

    #[inline]
    fn row(&mut self, line: &[u8], out: &mut impl Changes) -> Result<(), Fault> {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        // Rows that repeat the levels before them are passed over quickly:
        // samples mostly do.
        let rest = match self.layout.clock {
            Clock::Rows { .. } => Some((0, line)),
            Clock::Column { index: 0, .. } | Clock::Count { index: 0, .. } => {
                memchr::memchr(self.layout.separator, line).map(|i| (i, &line[i..]))
            }
            _ => None,
        };
        let repeats = rest.is_some_and(|(_, rest)| self.row > 0 && rest == self.last_row);
        if !repeats && is_remark(line, self.layout.separator) {
            return Ok(());
        }
        if repeats {
            let time = rest.map_or(&line[..0], |(i, _)| &line[..i]);
            let at = self.time(time, 0)?;
            return self.step_to(at, out);
        }
        self.whole_row(line, out)?;
        self.last_row.clear();
        if let Some((_, rest)) = rest {
            self.last_row.extend_from_slice(rest);
        }
        Ok(())
    }

    fn whole_row(&mut self, line: &[u8], out: &mut impl Changes) -> Result<(), Fault> {
        let separator = self.layout.separator;
        let comma = separator != b',';
        let count = cells(line, separator).count();
        // A separator at the end of every row is common.
        let surplus = count.saturating_sub(self.layout.columns);
        if count < self.layout.columns || surplus > 1 {
            return Err(Fault::syntax(line.len(), "as many cells as in the rows before", line));
        }
        let offset = |cell: &[u8]| cell.as_ptr() as usize - line.as_ptr() as usize;
        let at = match self.layout.time_column() {
            Some(index) => {
                let cell = cells(line, separator).nth(index).unwrap_or_default();
                self.time(cell, offset(cell))?
            }
            None => self.time(&[], 0)?,
        };
        // Every level is read before any is told, so a damaged row tells none.
        let mut read = [None; 2 * crate::options::MOST_READERS];
        for (i, cell) in cells(line, separator).enumerate() {
            // A cell past the columns can only be the empty one at a row's end.
            let followed = self.followed.iter().enumerate().filter(|(_, c)| **c == i);
            for (k, _) in followed {
                let text = trimmed(cell);
                let Some(level) = level(text, self.layout.levels[i], comma) else {
                    return Err(Fault::syntax(offset(cell), "a level, 0 or 1 or volts", text));
                };
                read[k] = level;
            }
        }
        self.step_to(at, out)?;
        for (k, level) in read.iter().take(self.followed.len()).enumerate() {
            if let Some(level) = *level
                && self.levels[k] != Some(level)
            {
                self.levels[k] = Some(level);
                out.change(at, k as u16, level);
            }
        }
        Ok(())
    }

    /// The time of a row, in ns.
    #[inline]
    fn time(&self, cell: &[u8], offset: usize) -> Result<i64, Fault> {
        let comma = self.layout.separator != b',';
        let expected = "a time";
        let number = |cell: &[u8]| {
            let text = trimmed(cell);
            Decimal::read(text, comma).ok_or_else(|| Fault::syntax(offset, expected, text))
        };
        let too_large = Fault { at: offset, what: FaultWhat::TimeTooLarge };
        match self.layout.clock {
            Clock::Column { unit, .. } => number(cell)?.nanos(unit).ok_or(too_large),
            Clock::Count { rate_hz, .. } => {
                let count = number(cell)?;
                let count = count
                    .whole()
                    .ok_or_else(|| Fault::syntax(offset, "a sample number", trimmed(cell)))?;
                sample_time(count, rate_hz).ok_or(too_large)
            }
            Clock::Rows { rate_hz } => sample_time(self.row, rate_hz).ok_or(too_large),
        }
    }

    #[inline]
    fn step_to(&mut self, at: i64, out: &mut impl Changes) -> Result<(), Fault> {
        match self.now {
            None => {
                self.first = at;
                out.on(at);
            }
            Some(before) if at < before => {
                return Err(Fault { at: 0, what: FaultWhat::TimeBackwards { before, found: at } });
            }
            Some(before) => {
                let step = *self.step.get_or_insert(at - before);
                // As written times are rounded.
                self.even &= (at - before - step).abs() <= 2 + step / 8;
            }
        }
        self.now = Some(at);
        self.row += 1;
        Ok(())
    }
}

/// When a sample was taken, in ns.
#[inline]
fn sample_time(count: u64, rate_hz: f64) -> Option<i64> {
    // A float holds whole numbers to 2^53; a sample's number stays below.
    let nanos = (count as f64 * (1e9 / rate_hz)).round();
    (nanos <= LATEST as f64).then_some(nanos as i64)
}
