//! `holdover signal`: a probe file to captures, and whether the line is healthy.

mod page;

use std::collections::BTreeMap;
use std::io::{self, Read, Write};

use holdover_signal::{
    CardRead, FindingKind, Histogram, Idle, Options, PULSE_INTERVAL_US, PULSE_WIDTH_US, PairChoice,
    Probe, ReaderSummary, Spread, Summary, TimeUnit,
};

use crate::care;
use crate::fail::{Fail, Outcome};
use crate::formats::{time, write_csv};
use crate::host::Host;
use crate::html;
use crate::plain::plain;
use crate::progress;
use crate::request::{self, Format};
use crate::terminal::{self, BAD, FAINT, GOOD, OPEN, Page, STRONG, in_style};

/// Findings of one kind told with their place; the rest is counted.
const TOLD: usize = 4;

/// Captures listed as text; the rest is counted.
const LISTED: usize = 40;

pub fn run(host: &dyn Host, request: &request::Signal) -> Result<Outcome, Fail> {
    if request.mask && request.format != Format::Text {
        return Err(Fail::said(
            "captures for `holdover read` hold every bit: --mask goes with --format text",
        ));
    }
    let probe = Probe::new(options(&request.probe)?).map_err(|e| Fail::said(e.to_string()))?;
    let files = request.inputs.iter().map(std::path::Path::new);
    let target = html::Target::of(host, &request.page, files, [])?;
    let mut page = target.as_ref().map(|target| crate::signal::page::Page::new(target.hide));
    let outcome = health(host, request, &probe, &mut page);
    // A reader of the text that has had enough still gets the page.
    if let (Some(target), Some(page)) = (target, page.and_then(|page| page.page())) {
        let written = target.write(host, &page)?;
        if request.format == Format::Text && outcome.is_ok() {
            terminal::Page::new(host).say("written  ", &written)?;
        }
    }
    outcome
}

/// Reads and reports each input.
fn health(
    host: &dyn Host,
    request: &request::Signal,
    probe: &Probe,
    page: &mut Option<crate::signal::page::Page>,
) -> Result<Outcome, Fail> {
    let mut out = terminal::Page::of(host, request.format == Format::Text);
    let mut report = Report::new(request);
    report.head(&mut out)?;
    let mut outcome = Outcome::Done;
    let mut named = false;
    for input in &request.inputs {
        let mut failed = None;
        let mut on = |read: CardRead| {
            if let Some(page) = page.as_mut() {
                page.read(&read);
            }
            if failed.is_none() {
                failed = report.read(&mut out, read).err();
            }
        };
        let result = match input.as_str() {
            "-" => from_pipe(host, probe, &mut on),
            name => match opened(host, name, request.format) {
                Ok(file) => probe.read_from(file, &mut on),
                Err(error) => return Err(Fail::file(name, &error)),
            },
        };
        let summary = match &result {
            Ok(summary) => Some(summary),
            Err(error) => error.before(),
        };
        if let (Some(summary), Some(page)) = (summary, page.as_mut()) {
            page.summary(input, summary);
        }
        if let Some(fail) = failed {
            return Err(fail);
        }
        if let Some(summary) = summary {
            report.summary(&mut out, input, summary)?;
            named |= summary.readers.iter().any(|reader| reader.captures > 0);
            if summary.readers.iter().any(|reader| !reader.counts.is_empty()) {
                outcome = outcome.max(Outcome::CardsWrong);
            }
        }
        if let Err(error) = &result {
            out.flush()?;
            // The error quotes the file's own names.
            let message = plain(&error.to_string());
            let options = match () {
                () if message.contains("no time") => " (--rate, --time-unit)",
                () if message.contains("data lines") => " (--d0, --d1)",
                () => "",
            };
            terminal::complain(host, &format!("{}: {message}{options}", plain(input)));
            if let Some(page) = page.as_mut() {
                page.failed(input, &message);
            }
            outcome = Outcome::InputWrong;
        }
    }
    if named && request.format == Format::Text && !request.quiet {
        care::say(&mut out)?;
    }
    out.flush()?;
    Ok(outcome)
}

/// A file, its bytes counted; not where captures come out beside the bar.
fn opened(host: &dyn Host, name: &str, format: Format) -> io::Result<Box<dyn Read>> {
    match format == Format::Text || !host.output_is_watched() {
        true => Ok(Box::new(progress::open(host, name)?)),
        false => Ok(Box::new(host.open(name)?)),
    }
}

/// A pipe is read as it comes, whatever its pauses.
fn from_pipe(
    host: &dyn Host,
    probe: &Probe,
    on: &mut dyn FnMut(CardRead),
) -> Result<Summary, holdover_signal::SignalError> {
    probe.read_from(host.stdin(), on)
}

/// The options a command line gives.
pub fn options(request: &request::ProbeOptions) -> Result<Options, Fail> {
    let mut options = Options::default();
    match (&request.d0[..], &request.d1[..]) {
        (d0, d1) if d0.len() != d1.len() => {
            return Err(Fail::said(format!(
                "--d0 is given {} times and --d1 {}: give both for each reader",
                d0.len(),
                d1.len()
            )));
        }
        (d0, d1) => {
            options.pairs = d0
                .iter()
                .zip(d1)
                .map(|(d0, d1)| PairChoice { reader: None, d0: d0.clone(), d1: d1.clone() })
                .collect();
        }
    }
    options.gap_us = request.gap;
    if let Some(glitch) = request.glitch {
        options.glitch_us = glitch;
    }
    options.rate_hz = request.rate;
    options.threshold_v = request.threshold;
    options.idle = request.idle.map(|idle| match idle {
        request::IdleLevel::High => Idle::High,
        request::IdleLevel::Low => Idle::Low,
    });
    options.time_unit = match &request.time_unit {
        None => None,
        Some(name) => Some(TimeUnit::named(name).ok_or_else(|| {
            Fail::said(format!("no unit of time {:?}: write s, ms, us or ns", plain(name)))
        })?),
    };
    Ok(options)
}

/// What is printed of probe files.
struct Report<'a> {
    request: &'a request::Signal,
    listed: Vec<String>,
    more: usize,
    /// Findings inside captures, by reader and kind: the first few and how many.
    findings: BTreeMap<(String, FindingKind), (Vec<String>, usize)>,
}

impl<'a> Report<'a> {
    fn new(request: &'a request::Signal) -> Report<'a> {
        Report { request, listed: Vec::new(), more: 0, findings: BTreeMap::new() }
    }

    fn head(&self, out: &mut Page) -> Result<(), Fail> {
        if self.request.format == Format::Csv && !self.request.summary {
            let mut csv = csv::Writer::from_writer(&mut *out);
            write_csv(&mut csv, &CardRead::CSV_HEADER)?;
            csv.flush()?;
        }
        Ok(())
    }

    fn read(&mut self, out: &mut Page, read: CardRead) -> Result<(), Fail> {
        match self.request.format {
            _ if self.request.summary => {}
            Format::Json => {
                let line = serde_json::to_string(&read)
                    .map_err(|error| Fail::said(format!("cannot write JSON: {error}")))?;
                writeln!(out, "{line}")?;
            }
            Format::Csv => {
                let mut csv = csv::Writer::from_writer(&mut *out);
                write_csv(&mut csv, &read.csv_row())?;
                csv.flush()?;
            }
            Format::Text => {
                if self.listed.len() < LISTED {
                    self.listed.push(listed(&read, self.request.mask));
                } else {
                    self.more += 1;
                }
            }
        }
        for finding in read.findings {
            let key = (finding.place.reader.to_string(), finding.kind);
            let (told, count) = self.findings.entry(key).or_default();
            *count += 1;
            if told.len() < TOLD {
                told.push(finding.what);
            }
        }
        Ok(())
    }

    fn summary(&mut self, out: &mut Page, input: &str, summary: &Summary) -> Result<(), Fail> {
        if self.request.format == Format::Json && self.request.summary {
            let mut object = serde_json::to_value(summary)
                .map_err(|error| Fail::said(format!("cannot write JSON: {error}")))?;
            object["source"] = input.into();
            writeln!(out, "{object}")?;
        }
        if self.request.format != Format::Text {
            return Ok(());
        }
        writeln!(out, "{}", in_style(STRONG, &plain(input)))?;
        writeln!(out, "  {}", summary.chosen)?;
        for note in &summary.notes {
            out.say("  note  ", note)?;
        }
        for reader in &summary.readers {
            writeln!(out)?;
            self.reader(out, reader)?;
        }
        if !self.listed.is_empty() {
            writeln!(out, "\n{}", in_style(STRONG, "captures"))?;
            for line in self.listed.drain(..) {
                writeln!(out, "{line}")?;
            }
            if self.more > 0 {
                writeln!(out, "  and {} more; --format csv lists them all", self.more)?;
            }
        }
        self.more = 0;
        if !self.request.quiet {
            writeln!(out)?;
            let readable = summary.readers.iter().any(|reader| reader.captures > 0);
            let next = match readable {
                true => format!("`holdover read {}` says which cards these are", plain(input)),
                false => "no capture in the file: check the clips on D0 and D1 and the common \
                          ground, start the recording, then show a card"
                    .to_owned(),
            };
            out.say("next  ", &next)?;
        }
        Ok(())
    }

    fn reader(&mut self, out: &mut Page, reader: &ReaderSummary) -> Result<(), Fail> {
        let clean = match reader.clean {
            0 if reader.captures == 0 => in_style(OPEN, "nothing to judge"),
            clean if clean == reader.captures => in_style(GOOD, "all clean"),
            clean => in_style(OPEN, &format!("{clean} clean")),
        };
        writeln!(
            out,
            "{}  D0 {}, D1 {}, idle {}: {} captures, {clean}",
            in_style(STRONG, &plain(&reader.reader)),
            plain(&reader.d0),
            plain(&reader.d1),
            if reader.idle == Idle::High { "high" } else { "low (inverted)" },
            reader.captures
        )?;
        if let Some(gap) = reader.gap_us {
            writeln!(out, "  a spacing of {} ends a capture", time(gap))?;
        }
        if let Some(sample) = reader.sample_us {
            writeln!(out, "  times come in steps of {}", time(sample))?;
        }
        spread(out, "pulse width", reader.width, PULSE_WIDTH_US)?;
        spread(out, "interval", reader.interval, PULSE_INTERVAL_US)?;
        if !self.request.quiet {
            histogram(out, "pulse width", &reader.widths, PULSE_WIDTH_US)?;
            histogram(out, "interval", &reader.intervals, PULSE_INTERVAL_US)?;
        }
        for (kind, count) in &reader.counts {
            let key = (reader.reader.clone(), *kind);
            let (mut told, inside) = self.findings.remove(&key).unwrap_or_default();
            let own = reader.findings.iter().filter(|finding| finding.kind == *kind);
            told.extend(own.map(|f| f.what.clone()).take(TOLD.saturating_sub(told.len())));
            let times = if *count == 1 { "once".to_owned() } else { format!("{count} times") };
            let captures = if inside > 0 { ", in captures" } else { "" };
            writeln!(out, "  {} {times}{captures}", in_style(BAD, kind.name()))?;
            let shown = told.len();
            for what in told {
                out.say("    ", &what)?;
            }
            if *count as usize > shown && shown > 0 {
                let more = format!("    and {} more", *count as usize - shown);
                writeln!(out, "{}", in_style(FAINT, &more))?;
            }
            out.say("    cause  ", kind.cause())?;
            out.say("    check  ", kind.check())?;
        }
        Ok(())
    }
}

/// A capture in a line.
fn listed(read: &CardRead, hide: bool) -> String {
    let bits = match hide {
        true => crate::mask::bits(read.bits.len()),
        false => read.bits.to_string(),
    };
    let mut kinds: Vec<&str> = read.findings.iter().map(|finding| finding.kind.name()).collect();
    kinds.dedup();
    let line = format!("  {} {}  {bits}  {}", plain(&read.reader), read.number, kinds.join(", "));
    line.trim_end().to_owned()
}

fn spread(
    out: &mut Page,
    name: &str,
    spread: Option<Spread>,
    limits: [f64; 2],
) -> Result<(), Fail> {
    let Some(spread) = spread else { return Ok(()) };
    let inside = (limits[0]..=limits[1]).contains(&spread.median_us);
    let verdict = match inside {
        true => in_style(GOOD, "within limits"),
        false => in_style(BAD, "OUT OF RANGE"),
    };
    writeln!(
        out,
        "  {name:<12} {} to {}, median {}  {verdict} ({} to {})",
        time(spread.min_us),
        time(spread.max_us),
        time(spread.median_us),
        time(limits[0]),
        time(limits[1])
    )?;
    Ok(())
}

/// Rows of a histogram drawn at most; neighbouring bins are joined to fit.
const ROWS: usize = 12;

/// A histogram, a row a range, the rows within the limits marked.
fn histogram(
    out: &mut Page,
    name: &str,
    histogram: &Histogram,
    limits: [f64; 2],
) -> Result<(), Fail> {
    if histogram.bins.is_empty() {
        return Ok(());
    }
    let joined = histogram.bins.len().div_ceil(ROWS);
    let rows: Vec<(f64, f64, u64)> = histogram
        .bins
        .chunks(joined)
        .map(|bins| {
            let count = bins.iter().map(|bin| bin.count).sum();
            (bins[0].from_us, bins[bins.len() - 1].to_us, count)
        })
        .collect();
    let most = rows.iter().map(|row| row.2).max().unwrap_or(1).max(1);
    let room = out.width.saturating_sub(44).clamp(10, 50);
    writeln!(out, "  {}", in_style(FAINT, &format!("{name}, `|` within the limits")))?;
    let mut skipped = false;
    for (i, (from, to, count)) in rows.iter().copied().enumerate() {
        // A long stretch of nothing is told once.
        let empty = |i: usize| rows.get(i).is_none_or(|row| row.2 == 0);
        if count == 0 && empty(i + 1) && i > 0 && empty(i - 1) {
            if !skipped {
                writeln!(out, "  {:>22}", "…")?;
            }
            skipped = true;
            continue;
        }
        skipped = false;
        let bar = (count as f64 / most as f64 * room as f64).ceil() as usize;
        let within = if to > limits[0] && from < limits[1] { '|' } else { ' ' };
        let range = format!("{} to {}", time(from), time(to));
        writeln!(out, "  {range:>22} {within} {} {count}", "█".repeat(bar))?;
    }
    Ok(())
}
