//! How a table is laid out, seen from its first lines: what parts its cells,
//! its heading, where the time is and in what unit, and how levels are written.

use super::cell::{Decimal, Levels, trimmed, word};
use crate::error::SignalErrorKind;
use crate::finding::PULSE_WIDTH_US;
use crate::options::Options;
use crate::time::TimeUnit;

/// The most bytes looked at before a layout is settled (judgement, no source).
const LOOK: usize = 64 << 10;

/// Columns read at most (judgement, no source: more is no table of lines).
pub const COLUMNS: usize = 256;

/// Rows that make equal steps in time a sample rate (judgement, no source).
const ENOUGH_ROWS: usize = 8;

/// Volts above which a cell is no 0 or 1 (judgement, no source).
const VOLTS_FROM: f64 = 1.2;

/// Volts low and high, as shares of the highest seen: the band between keeps
/// noise on an edge from being several (judgement, no source).
const BAND: [f64; 2] = [0.4, 0.6];

/// Where a row's time comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Clock {
    /// A column, in a power of ten of a second.
    Column { index: usize, unit: i32 },
    /// A column that counts samples.
    Count { index: usize, rate_hz: f64 },
    /// The row's own number.
    Rows { rate_hz: f64 },
}

/// A table's layout.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub(crate) separator: u8,
    pub(crate) columns: usize,
    /// Headings, or `column 2` and so on.
    pub(crate) names: Vec<String>,
    pub(crate) clock: Clock,
    /// How each column's levels are written.
    pub(crate) levels: Vec<Levels>,
    /// Bytes up to the first row of numbers.
    pub(crate) start: usize,
    /// Equal steps in the first rows, in ns.
    pub(crate) step: Option<i64>,
    /// What was taken for granted.
    pub(crate) notes: Vec<String>,
}

/// Whether a line is a remark, or blank.
pub(crate) fn is_remark(line: &[u8], separator: u8) -> bool {
    let line = line.trim_ascii();
    match line.first() {
        None | Some(b'#' | b'%') => true,
        Some(b';') => separator != b';',
        Some(b'/') => line.starts_with(b"//"),
        _ => line.iter().all(|b| *b == separator),
    }
}

/// Cells of a row, as they stand; a separator inside quotes parts none.
pub(crate) fn cells(line: &[u8], separator: u8) -> impl Iterator<Item = &[u8]> {
    let mut rest = Some(line);
    std::iter::from_fn(move || {
        let text = rest?;
        let mut quoted = false;
        let end = text.iter().position(|&b| {
            quoted ^= b == b'"';
            b == separator && !quoted
        });
        match end {
            Some(end) => {
                rest = text.get(end + 1..);
                text.get(..end)
            }
            None => rest.take(),
        }
    })
}

/// What the first bytes of a table tell.
#[derive(Debug)]
pub(crate) enum Look {
    /// More is needed.
    More,
    /// No table.
    No,
    /// This.
    Yes(Layout),
}

struct Row<'a> {
    start: usize,
    cells: Vec<&'a [u8]>,
}

impl Layout {
    /// Looks at the front of a file: whole lines, all of them if `complete`.
    pub(crate) fn look(
        bytes: &[u8],
        complete: bool,
        options: &Options,
    ) -> Result<Look, SignalErrorKind> {
        let text = &bytes[..bytes.len().min(LOOK)];
        let complete = complete && text.len() == bytes.len() || text.len() == LOOK;
        let end = memchr::memrchr(b'\n', text).map_or(0, |i| i + 1);
        let text = if complete && end == 0 { text } else { &text[..end] };
        let Some((separator, heading, rows)) = find_rows(text) else {
            return Ok(if complete { Look::No } else { Look::More });
        };
        let columns = rows.first().map_or(0, |r| r.cells.len());
        let start = rows.first().map_or(0, |r| r.start);
        let comma = separator != b',';
        let mut notes = Vec::new();
        let names: Vec<String> = match &heading {
            Some(cells) => cells.iter().enumerate().map(|(i, c)| name(trimmed(c), i)).collect(),
            None => (0..columns).map(|i| format!("column {}", i + 1)).collect(),
        };
        let titled = names.iter().filter(|_| heading.is_some());
        let timed = titled_time(titled.map(|name| time_heading(name)));
        if timed.is_none() && !complete && rows.len() < ENOUGH_ROWS {
            return Ok(Look::More);
        }
        // Without a heading that says so: a first column of other numbers than
        // levels that never falls.
        let falls = || bare(&rows, 0, comma) || !rising(&rows, 0, comma);
        let column = timed.or_else(|| (columns > 1 && !falls()).then_some(0));
        let written = timed.and_then(|i| time_heading(&names[i])).flatten();
        let clock = match (column, written, options.time_unit) {
            (None, ..) => Clock::Rows { rate_hz: rate(options, "")? },
            (Some(index), Some(Heading::Unit(unit)), _) | (Some(index), None, Some(unit)) => {
                Clock::Column { index, unit: unit.exponent() }
            }
            (Some(index), Some(Heading::Count), _) => {
                Clock::Count { index, rate_hz: rate(options, " but a sample number")? }
            }
            (Some(index), None, None) => {
                let short = !complete && text.len() < LOOK / 2;
                match without_unit(&rows, index, comma, complete, short) {
                    None => return Ok(Look::More),
                    Some(Untold::Count) => {
                        Clock::Count { index, rate_hz: rate(options, " but a sample number")? }
                    }
                    Some(Untold::Time(unit)) => {
                        notes.push(format!(
                            "the time column has no unit: taken as {}, which gives pulses their \
                             usual width",
                            unit.name()
                        ));
                        Clock::Column { index, unit: unit.exponent() }
                    }
                }
            }
        };
        let time = match clock {
            Clock::Column { index, .. } | Clock::Count { index, .. } => Some(index),
            Clock::Rows { .. } => None,
        };
        let mut levels = Vec::with_capacity(columns);
        for column in 0..columns {
            let found = column_levels(&rows, column, comma, complete, options.threshold_v);
            // The time is read otherwise.
            let Some(found) = found.or((Some(column) == time).then_some(Levels::Bits)) else {
                return Ok(Look::More);
            };
            levels.push(found);
        }
        let step = match clock {
            Clock::Column { index, unit } => equal_steps(&rows, index, unit, comma),
            Clock::Count { rate_hz, .. } | Clock::Rows { rate_hz } => Some((1e9 / rate_hz) as i64),
        };
        Ok(Look::Yes(Layout { separator, columns, names, clock, levels, start, step, notes }))
    }

    /// The time column, if there is one.
    pub(crate) fn time_column(&self) -> Option<usize> {
        match self.clock {
            Clock::Column { index, .. } | Clock::Count { index, .. } => Some(index),
            Clock::Rows { .. } => None,
        }
    }
}

/// The column whose heading is a time; a time says more than a count beside it.
fn titled_time(heads: impl Iterator<Item = Option<Option<Heading>>>) -> Option<usize> {
    let heads: Vec<_> = heads.collect();
    let time = heads.iter().position(|h| matches!(h, Some(None | Some(Heading::Unit(_)))));
    time.or_else(|| heads.iter().position(Option::is_some))
}

/// Whether a column is levels and nothing else.
fn bare(rows: &[Row<'_>], column: usize, comma: bool) -> bool {
    rows.iter().all(|row| {
        let cell = row.cells.get(column).map(|c| trimmed(c)).unwrap_or_default();
        let number = || Decimal::read(trimmed(cell), comma);
        word(cell).is_some() || number().is_some_and(|n| matches!(n.whole(), Some(0 | 1)))
    })
}

/// Whether a column is numbers that never fall.
fn rising(rows: &[Row<'_>], column: usize, comma: bool) -> bool {
    let number = |row: &Row<'_>| Decimal::read(trimmed(row.cells.get(column)?), comma);
    let all: Vec<f64> = rows.iter().filter_map(|row| number(row).map(Decimal::value)).collect();
    all.len() == rows.len() && all.windows(2).all(|w| w[0] <= w[1])
}

/// What a time column without a unit is.
enum Untold {
    /// Numbers of samples.
    Count,
    Time(TimeUnit),
}

/// What a column of times without a unit is; `None` where more rows tell.
fn without_unit(
    rows: &[Row<'_>],
    column: usize,
    comma: bool,
    complete: bool,
    short: bool,
) -> Option<Untold> {
    if !complete && rows.len() < ENOUGH_ROWS {
        return None;
    }
    let whole = |row: &Row<'_>| Decimal::read(trimmed(row.cells.get(column)?), comma)?.whole();
    let all: Option<Vec<u64>> = rows.iter().map(whole).collect();
    let counts = all.is_some_and(|all| all.len() > 1 && all.windows(2).all(|w| w[1] == w[0] + 1));
    if counts && rows.len() >= ENOUGH_ROWS {
        return Some(Untold::Count);
    }
    // A pulse tells the unit; none may have been seen yet.
    let told = !short || shortest(rows, column, comma).is_some();
    told.then(|| Untold::Time(guess_unit(rows, column, comma)))
}

/// How a column's levels are written; `None`: more must be seen.
fn column_levels(
    rows: &[Row],
    column: usize,
    comma: bool,
    complete: bool,
    threshold: Option<f64>,
) -> Option<Levels> {
    let mut highest = f64::NEG_INFINITY;
    let mut exact = true;
    for cell in rows.iter().filter_map(|r| r.cells.get(column)) {
        if let Some(value) = Decimal::read(trimmed(cell), comma) {
            highest = highest.max(value.value());
            exact &= matches!(value.whole(), Some(0 | 1));
        }
    }
    match threshold {
        Some(volts) => Some(Levels::Volts(volts, volts)),
        None if exact => Some(Levels::Bits),
        None if highest < VOLTS_FROM => complete.then_some(Levels::Bits),
        None => Some(Levels::Volts(BAND[0] * highest, BAND[1] * highest)),
    }
}

fn rate(options: &Options, column: &str) -> Result<f64, SignalErrorKind> {
    options.rate_hz.ok_or(SignalErrorKind::RateNeeded { column: column.to_owned() })
}

/// The separator, the heading and the rows of numbers.
type Front<'a> = (u8, Option<Vec<&'a [u8]>>, Vec<Row<'a>>);

/// Finds them, by the first separator that parts rows of numbers.
fn find_rows(text: &[u8]) -> Option<Front<'_>> {
    // A byte-order mark is no part of the text.
    let skip = if text.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
    for separator in *b"\t;," {
        let comma = separator != b',';
        let mut rows: Vec<Row> = Vec::new();
        let mut before: Option<Vec<&[u8]>> = None;
        let mut heading = None;
        let mut at = skip;
        for line in text[skip..].split_inclusive(|b| *b == b'\n') {
            let start = at;
            at += line.len();
            if is_remark(line, separator) {
                continue;
            }
            let cells: Vec<&[u8]> = cells(line.trim_ascii_end(), separator).take(COLUMNS).collect();
            let level = |c: &&[u8]| {
                let c = trimmed(c);
                Decimal::read(c, comma).is_some() || word(c).is_some()
            };
            let numbers = cells.len() > 1
                && cells.iter().all(level)
                && cells.iter().any(|c| Decimal::read(trimmed(c), comma).is_some());
            match (numbers, rows.first().map(|r| r.cells.len())) {
                (true, None) => {
                    heading = before.take().filter(|h| h.len() == cells.len());
                    rows.push(Row { start, cells });
                }
                (true, Some(columns)) if columns == cells.len() => rows.push(Row { start, cells }),
                (false, None) => before = Some(cells),
                // Damage, or the end of the table: the scan will say.
                _ => break,
            }
        }
        if !rows.is_empty() {
            return Some((separator, heading, rows));
        }
    }
    None
}

/// A heading as text; Latin-1 where it is no UTF-8 (µ is common there).
fn name(cell: &[u8], index: usize) -> String {
    let text = match std::str::from_utf8(cell) {
        Ok(text) => text.to_owned(),
        Err(_) => cell.iter().map(|b| char::from(*b)).collect(),
    };
    if text.is_empty() { format!("column {}", index + 1) } else { text }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Heading {
    Unit(TimeUnit),
    Count,
}

/// What a heading says of time: `None`: nothing; `Some(None)`: time without a
/// unit.
fn time_heading(name: &str) -> Option<Option<Heading>> {
    let lower = name.to_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| !c.is_alphanumeric() && c != '#').filter(|w| !w.is_empty()).collect();
    let unit = words.iter().rev().find_map(|w| TimeUnit::named(w));
    let is = |set: &[&str]| words.iter().any(|w| set.contains(w));
    if is(&["time", "timestamp", "t"]) || words.iter().any(|w| w.starts_with("time")) {
        return Some(unit.map(Heading::Unit));
    }
    if is(&["sample", "samples", "index", "#"]) || lower == "n" {
        return Some(Some(Heading::Count));
    }
    // A heading that is a unit and nothing else.
    if words.len() == 1 && unit.is_some() {
        return Some(unit.map(Heading::Unit));
    }
    None
}

/// The shortest stay at a level that was both entered and left, in the time
/// column's own numbers.
fn shortest(rows: &[Row], time: usize, comma: bool) -> Option<f64> {
    let columns = rows.first()?.cells.len();
    let mut stays: Vec<f64> = Vec::new();
    for column in (0..columns).filter(|c| *c != time) {
        let mut entered: Option<f64> = None;
        let mut before: Option<&[u8]> = None;
        for row in rows {
            let (Some(cell), Some(at)) = (row.cells.get(column), row.cells.get(time)) else {
                continue;
            };
            let Some(at) = Decimal::read(trimmed(at), comma) else { continue };
            if before.is_some_and(|b| b != *cell) {
                stays.extend(entered.map(|from| at.value() - from).filter(|stay| *stay > 0.0));
                entered = Some(at.value());
            }
            before = Some(cell);
        }
    }
    // A tenth from the least: glitches are fewer.
    let tenth = stays.len() / 10;
    stays.sort_unstable_by(f64::total_cmp);
    stays.get(tenth).copied()
}

/// The unit in which the shortest stays are pulses; seconds where none fits.
fn guess_unit(rows: &[Row], time: usize, comma: bool) -> TimeUnit {
    let units = [TimeUnit::Seconds, TimeUnit::Millis, TimeUnit::Micros, TimeUnit::Nanos];
    let Some(shortest) = shortest(rows, time, comma) else { return TimeUnit::Seconds };
    let middle = (PULSE_WIDTH_US[0] * PULSE_WIDTH_US[1]).sqrt();
    let off = |unit: &TimeUnit| {
        let us = shortest * 10f64.powi(unit.exponent() + 6);
        (us / middle).ln().abs()
    };
    units.into_iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(TimeUnit::Seconds)
}

/// The step between rows, in ns, where it is the same all along.
fn equal_steps(rows: &[Row], time: usize, unit: i32, comma: bool) -> Option<i64> {
    let times: Option<Vec<i64>> = rows
        .iter()
        .map(|r| Decimal::read(trimmed(r.cells.get(time)?), comma)?.nanos(unit))
        .collect();
    let times = times.filter(|t| t.len() >= ENOUGH_ROWS)?;
    let (first, last) = (*times.first()?, *times.last()?);
    let step = (last - first) / (times.len() as i64 - 1);
    // Written times are rounded: to a ns here, in the file perhaps to more.
    let even = times.windows(2).all(|w| (w[1] - w[0] - step).abs() <= 2 + step / 8);
    (step > 0 && even).then_some(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(text: &str, options: &Options) -> Layout {
        match Layout::look(text.as_bytes(), true, options).unwrap() {
            Look::Yes(layout) => layout,
            other => panic!("{other:?}: {text}"),
        }
    }

    #[test]
    fn headings_and_units() {
        for (heading, unit) in [
            ("Time [s]", 0),
            ("time_us", -6),
            ("Time (ms)", -3),
            ("\"Time\u{b5}s\"", 0),
            ("time/µs", -6),
            ("t_ns", -9),
            ("Timestamp (microseconds)", -6),
            ("s", 0),
        ] {
            let text = format!("{heading},D0,D1\n0,1,1\n0.001,0,1\n0.00105,1,1\n");
            let layout = look(&text, &Options::default());
            assert_eq!(layout.names[1..], ["D0", "D1"]);
            if heading != "\"Time\u{b5}s\"" {
                assert_eq!(layout.clock, Clock::Column { index: 0, unit }, "{heading}");
            }
        }
    }

    #[test]
    fn separators_quotes_remarks_and_preambles() {
        let text =
            "# made by hand\n\nprobe;7\n\"Time [s]\";\"D0\";\"D1\"\n0,000100;1;\"1\"\n0,0002;0;1\n";
        let layout = look(text, &Options::default());
        assert_eq!((layout.separator, layout.columns), (b';', 3));
        assert_eq!(layout.names, ["Time [s]", "D0", "D1"]);
        assert_eq!(&text[layout.start..layout.start + 8], "0,000100");
    }

    #[test]
    fn samples_need_a_rate() {
        let mut options = Options::default();
        for text in ["D0,D1\n1,1\n1,0\n", "sample,D0,D1\n0,1,1\n1,1,0\n"] {
            let wrong = Layout::look(text.as_bytes(), true, &options).unwrap_err();
            assert!(matches!(wrong, SignalErrorKind::RateNeeded { .. }));
        }
        options.rate_hz = Some(1e6);
        assert_eq!(look("D0,D1\n1,1\n1,0\n", &options).clock, Clock::Rows { rate_hz: 1e6 });
        assert_eq!(look("1,1\n1,0\n", &options).step, Some(1000));
    }

    #[test]
    fn a_unit_is_guessed_from_the_pulses_and_said() {
        let text = "0,1,1\n2000,0,1\n2050,1,1\n4000,1,0\n4050,1,1\n6000,0,1\n6050,1,1\n9999,1,1\n";
        let layout = look(text, &Options::default());
        assert_eq!(layout.clock, Clock::Column { index: 0, unit: -6 });
        assert_eq!(layout.notes.len(), 1);
    }

    #[test]
    fn volts_are_told_and_said() {
        let text = "time_us,D0,D1\n0,4.98,5.01\n100,0.03,4.97\n150,4.9,5\n";
        let layout = look(text, &Options::default());
        assert!(matches!(layout.levels[1], Levels::Volts(low, high) if low < 2.5 && high > 2.5));
    }

    #[test]
    fn no_table() {
        for text in ["hello world\n", "a,b\nc,d\n", "0110\n1010\n", "{\"bits\":\"01\"}\n"] {
            assert!(matches!(
                Layout::look(text.as_bytes(), true, &Options::default()),
                Ok(Look::No)
            ));
        }
        assert!(matches!(
            Layout::look(b"time_us,D0,D1\n", false, &Options::default()),
            Ok(Look::More)
        ));
    }
}
