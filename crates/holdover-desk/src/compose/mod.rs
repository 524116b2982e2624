//! `holdover compose`: field values to captures, or to a probe file of them.

mod probe;

use std::io::Write;
use std::path::Path;

use holdover::bits::Capture;
use holdover::decode::Reading;
use holdover::file::nearest;
use holdover::layout::{Layout, Value};

use crate::answer::{Composed, Number};
use crate::fail::{Fail, Outcome};
use crate::formats::write_csv;
use crate::host::Host;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::{files, input};

/// Captures made in one go at most; a slip of the pen in a range should not
/// fill a disk.
pub const MOST: u128 = 10_000_000;

/// A field and the values it takes.
struct Range {
    role: String,
    first: Value,
    count: u128,
}

pub fn run(host: &dyn Host, request: &request::Compose) -> Result<Outcome, Fail> {
    let reading = reading(&request.reading)?;
    let mut out = std::io::BufWriter::new(host.out());
    if let Some(file) = &request.captures {
        keep_apart(host, request)?;
        let captures = captures(host, file)?;
        let captures = captures.iter().map(|capture| read_as(reading, capture));
        let captures = captures.collect::<Result<Vec<_>, _>>()?;
        match request.timing.probe {
            Some(form) => probe::write(host, &mut out, &request.timing, form, &captures)?,
            None => captures.iter().try_for_each(|c| writeln!(out, "{}", bits(c, request.hex)))?,
        }
        out.flush()?;
        return Ok(Outcome::Done);
    }
    let cards = Cards::of(host, request)?;
    if let Some(form) = request.timing.probe {
        let captures = cards.made().map(|made| made.map(|(capture, _)| capture));
        let captures = captures.collect::<Result<Vec<_>, _>>()?;
        probe::write(host, &mut out, &request.timing, form, &captures)?;
    } else {
        if request.format == Format::Csv {
            let mut csv = csv::Writer::from_writer(&mut out);
            let fields = cards.layout.fields().iter().map(|field| field.role.name());
            let head: Vec<&str> = ["bits", "layout"].into_iter().chain(fields).collect();
            write_csv(&mut csv, &head)?;
            csv.flush()?;
        }
        for made in cards.made() {
            let (capture, values) = made?;
            write(&mut out, request, &cards.layout, &capture, &values)?;
        }
    }
    out.flush()?;
    Ok(Outcome::Done)
}

/// The captures with their fields.
pub fn answers(host: &dyn Host, request: &request::Compose) -> Result<Vec<Composed>, Fail> {
    let cards = Cards::of(host, request)?;
    let answer = |(capture, values): (Capture, Values<'_>)| {
        composed(&cards.layout, bits(&capture, request.hex), &values)
    };
    cards.made().map(|made| made.map(answer)).collect()
}

/// A field's role and its value, a field each.
type Values<'r> = Vec<(&'r str, Value)>;

/// The cards asked for, not made yet.
struct Cards {
    layout: Layout,
    reading: Reading,
    ranges: Vec<Range>,
    count: u128,
}

impl Cards {
    fn of(host: &dyn Host, request: &request::Compose) -> Result<Cards, Fail> {
        keep_apart(host, request)?;
        let reading = reading(&request.reading)?;
        let table = files::tables(host, &request.tables.0)?;
        let layout = files::layout(&table, request.layout.as_deref().unwrap_or_default())?.clone();
        let ranges =
            request.values.iter().map(|text| range(text)).collect::<Result<Vec<_>, _>>()?;
        let count = ranges.iter().try_fold(1u128, |count, range| count.checked_mul(range.count));
        let count = count.filter(|count| *count <= MOST).ok_or_else(|| {
            Fail::said(format!("the ranges make more than {MOST} captures: shorten one"))
        })?;
        Ok(Cards { layout, reading, ranges, count })
    }

    fn made(&self) -> impl Iterator<Item = Result<(Capture, Values<'_>), Fail>> {
        (0..self.count).map(|i| {
            let values = nth(&self.ranges, i);
            let word = self
                .layout
                .compose(values.clone())
                .map_err(|error| Fail::said(format!("{}: {error}", self.layout.id())))?;
            Ok((read_as(self.reading, &word)?, values))
        })
    }
}

/// No output replaces what is read.
fn keep_apart(host: &dyn Host, request: &request::Compose) -> Result<(), Fail> {
    let named = request.captures.iter().chain(&request.tables.0).map(Path::new);
    files::keep_apart(host, named, &request.timing.faults)
}

/// What a reader captures of a word.
fn read_as(reading: Reading, word: &Capture) -> Result<Capture, Fail> {
    reading
        .capture_of(word, false)
        .ok_or_else(|| Fail::said(format!("{} bits leave no capture under {reading}", word.len())))
}

/// The captures of a file, all of them good.
fn captures(host: &dyn Host, file: &str) -> Result<Vec<Capture>, Fail> {
    let probe = holdover_signal::Probe::new(holdover_signal::Options::default())
        .map_err(|error| Fail::said(error.to_string()))?;
    let mut captures = Vec::new();
    input::read(host, &[file.to_owned()], &probe, true, |event| {
        let input::Event::Rows(rows) = event else { return Ok(()) };
        for row in rows {
            let source = plain(&row.source);
            let entry = row.entry.and_then(input::Entry::counted);
            let entry = entry.map_err(|why| Fail::said(format!("{source}:{}: {why}", row.line)))?;
            if captures.len() as u128 == MOST {
                return Err(Fail::said(format!("{source}: more than {MOST} captures: split it")));
            }
            captures.push(entry.observation.capture);
        }
        Ok(())
    })?;
    Ok(captures)
}

fn bits(capture: &Capture, hex: bool) -> String {
    match hex {
        true => format!("0x{}/{}", capture.to_hex(), capture.len()),
        false => capture.to_string(),
    }
}

fn reading(name: &str) -> Result<Reading, Fail> {
    let all = || Reading::ALL.into_iter().chain(Reading::SERIAL);
    let names: Vec<&str> = all().map(Reading::name).collect();
    all().find(|reading| reading.name() == name).ok_or_else(|| {
        let mend = match nearest(name, names.iter().copied()) {
            Some(near) => format!("did you mean {near:?}?"),
            None => format!("expected one of {}", names.join(", ")),
        };
        Fail::said(format!("no reading {:?}: {mend}", plain(name)))
    })
}

fn range(text: &str) -> Result<Range, Fail> {
    let shown = plain(text);
    let (role, value) = text
        .split_once('=')
        .ok_or_else(|| Fail::said(format!("{shown}: expected field=value, such as card=4321")))?;
    let (first, last) = value.split_once('-').unwrap_or((value, value));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    if !digits(first) || !digits(last) {
        return Err(Fail::said(format!(
            "{shown}: expected a whole number or a range, such as card=4321 or card=1-20"
        )));
    }
    let number = |text: &str| {
        text.parse::<u128>()
            .map_err(|_| Fail::said(format!("{shown}: the number is over 128 bits")))
    };
    let (low, high) = (number(first)?, number(last)?);
    if low > high {
        return Err(Fail::said(format!("{shown}: the range ends before it begins")));
    }
    Ok(Range {
        role: role.trim().to_owned(),
        first: Value::Digits(first.to_owned()),
        count: (high - low).saturating_add(1),
    })
}

/// The values of the `i`th capture; the last range runs fastest.
fn nth(ranges: &[Range], mut i: u128) -> Values<'_> {
    let mut values = Vec::with_capacity(ranges.len());
    for range in ranges.iter().rev() {
        let step = i % range.count;
        i /= range.count;
        let first = range.first.to_string();
        // The first value keeps its leading zeros: it may be decimal digits.
        let value = match (step, first.parse::<u128>()) {
            (1.., Ok(number)) => Value::Digits(format!("{:0>w$}", number + step, w = first.len())),
            _ => Value::Digits(first),
        };
        values.push((range.role.as_str(), value));
    }
    values.reverse();
    values
}

fn write(
    out: &mut impl Write,
    request: &request::Compose,
    layout: &Layout,
    capture: &Capture,
    values: &[(&str, Value)],
) -> Result<(), Fail> {
    let bits = bits(capture, request.hex);
    match request.format {
        Format::Text => writeln!(out, "{bits}")?,
        Format::Csv => {
            let fields = layout.fields().iter().map(|field| text_of(values, field.role.name()));
            let cells: Vec<String> =
                [bits, layout.id().to_owned()].into_iter().chain(fields).collect();
            let mut csv = csv::Writer::from_writer(&mut *out);
            write_csv(&mut csv, &cells)?;
            csv.flush()?;
        }
        Format::Json => {
            let composed = composed(layout, bits, values);
            serde_json::to_writer(&mut *out, &composed).map_err(std::io::Error::from)?;
            writeln!(out)?;
        }
    }
    Ok(())
}

/// The value of a role, as it was given.
fn text_of(values: &[(&str, Value)], role: &str) -> String {
    values.iter().find(|(name, _)| *name == role).map_or_else(String::new, |v| v.1.to_string())
}

fn composed(layout: &Layout, bits: String, values: &[(&str, Value)]) -> Composed {
    let fields = layout.fields().iter().map(|field| {
        let text = text_of(values, field.role.name());
        let small = text.parse::<u64>().ok().filter(|n| *n < 1 << 53 && field.digits().is_none());
        (field.role.name().to_owned(), small.map_or(Number::Text(text), Number::Exact))
    });
    Composed { bits, layout: layout.id().to_owned(), fields: fields.collect() }
}
