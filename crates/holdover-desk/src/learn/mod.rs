//! `holdover learn`: the layout of cards nobody documented.

mod page;

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use holdover::learn::{Learnt, Misread, Options, Sample, learn};
use holdover_signal::Probe;

use crate::answer::{self, Learned};
use crate::fail::{Fail, Outcome};
use crate::host::{Host, Readers};
use crate::input::headings::is_holder;
use crate::input::words::Words;
use crate::input::{self, Entry, Event};
use crate::plain::plain;
use crate::request::{self, Format};
use crate::terminal::{self, BAD, FAINT, GOOD, OPEN, Page, STRONG, in_style};
use crate::{care, draw, files, html, list, mask, progress, signal};

/// Cards left out, and numbers not used, told one by one; the rest is counted.
const TOLD: usize = 20;

/// Captures that are learnt from at most: half a kilobyte of memory each.
pub const MOST: usize = 1 << 20;

/// What was worked out, and what of.
struct Worked<'r> {
    kinds: Vec<Learnt>,
    samples: Vec<Sample>,
    page: Option<html::Target<'r>>,
    outcome: Outcome,
}

pub fn run(host: &dyn Host, request: &request::Learn) -> Result<Outcome, Fail> {
    let worked = worked(host, request)?;
    // What is written does not hang on who reads what is printed.
    let written = write_files(host, &worked, request);
    let mut out = terminal::Page::of(host, request.format == Format::Text);
    for kind in &worked.kinds {
        match request.format {
            Format::Json => {
                let line = serde_json::to_string(kind).map_err(answer::no_json)?;
                writeln!(out, "{line}")?;
            }
            _ => text(&mut out, kind, request)?,
        }
    }
    out.flush()?;
    drop(out);
    written?;
    if request.format == Format::Text {
        let mut out = terminal::Page::new(host);
        if let Some(path) = &request.output {
            let name = plain(&path.display().to_string());
            let next = format!(
                "{name} is written: `holdover read --table {name} --table built-in …` takes it as \
                 it is"
            );
            out.say("next  ", &next)?;
        }
        if let Some(target) = &worked.page {
            let name = target.path().display().to_string();
            out.say("written  ", &name)?;
        }
        care::say(&mut out)?;
        out.flush()?;
    }
    Ok(worked.outcome)
}

/// The kinds of card themselves; a table and a page that are asked for are written
/// all the same.
pub fn answers(host: &dyn Host, request: &request::Learn) -> Result<Vec<Learned>, Fail> {
    let worked = worked(host, request)?;
    write_files(host, &worked, request)?;
    worked.kinds.iter().map(answer::of).collect()
}

/// Works out the layouts of what is named, once no output would replace any of it.
fn worked<'r>(host: &dyn Host, request: &'r request::Learn) -> Result<Worked<'r>, Fail> {
    if request.format == Format::Csv {
        return Err(Fail::said("a layout is no CSV: use --format text or json"));
    }
    if request.mask && (request.format != Format::Text || request.output.is_some()) {
        return Err(Fail::said(
            "a table and JSON say what all samples have in common: --mask goes with --format text \
             alone",
        ));
    }
    let inputs = || request.inputs.iter().chain(&request.list).map(Path::new);
    files::keep_apart(host, inputs(), &request.output)?;
    let page = html::Target::of(host, &request.page, inputs(), &request.output)?;
    let probe =
        Probe::new(signal::options(&request.probe)?).map_err(|e| Fail::said(e.to_string()))?;
    let mut words = Words::of_columns(&request.columns)?;
    if request.list.is_some() {
        // A heading may be the list's alone.
        words.anywhere();
    }
    let words = Arc::new(words);
    let (mut samples, holders, mut outcome) = samples(host, request, &words, &probe)?;
    if samples.is_empty() {
        return Err(Fail::said(
            "no captures in the input: give a CSV with the columns bits and printed, one card a line",
        ));
    }
    let options = Options { id: request.id.clone(), in_order: !request.shuffled };
    let joined = joined(host, request, &words, (&mut samples, &holders))?;
    let mut kinds = progress::during(host, "working out layouts", || learn(&samples, &options));
    for kind in &mut kinds {
        kind.false_alarms_expected += joined.false_alarms;
        kind.notes.extend(joined.notes.iter().cloned());
    }
    if kinds.iter().any(|kind| kind.layout.is_none() || !kind.misread.is_empty()) {
        outcome = outcome.max(Outcome::CardsWrong);
    }
    Ok(Worked { kinds, samples, page, outcome })
}

/// Gives the samples their rows of the old system's list, where one is named.
fn joined(
    host: &dyn Host,
    request: &request::Learn,
    words: &Words,
    (samples, holders): (&mut [Sample], &[Option<String>]),
) -> Result<list::Joined, Fail> {
    let Some(path) = &request.list else { return Ok(list::Joined::default()) };
    let (list, notes) = list::read(host, path, words)?;
    notes.iter().for_each(|note| terminal::remark(host, note));
    Ok(progress::during(host, path, || list.join(samples, holders)))
}

/// Who holds each sample's card, where the input says so.
type Holders = Vec<Option<String>>;

/// The captures of the input, and who holds them; a line that is none is complained of.
fn samples(
    host: &dyn Host,
    request: &request::Learn,
    words: &Arc<Words>,
    probe: &Probe,
) -> Result<(Vec<Sample>, Holders, Outcome), Fail> {
    let (mut samples, mut holders) = (Vec::new(), Vec::new());
    let mut outcome = Outcome::Done;
    let mut unused = 0;
    let sheet = (request.sheet.as_deref(), words);
    input::read_sheets(host, &request.inputs, sheet, probe, |event| {
        let Event::Rows(rows) = event else { return Ok(()) };
        for row in rows {
            match row.entry.and_then(Entry::counted) {
                Ok(_) if samples.len() == MOST => {
                    return Err(Fail::said(format!(
                        "more than {MOST} captures: a thousand cards of each length tell as much"
                    )));
                }
                Ok(entry) => {
                    for why in &entry.unused {
                        unused += 1;
                        if unused <= TOLD {
                            let place = format!("{}:{}", plain(&row.source), row.line);
                            terminal::remark(host, &format!("{place}: {why}"));
                        }
                    }
                    let mut columns = entry.carried.iter();
                    let holder = columns.find(|(heading, _)| is_holder(words.means(heading)));
                    holders.push(holder.map(|(_, cell)| cell.to_owned()));
                    samples.push(Sample {
                        printed: entry.observation.known.printed,
                        site: entry.observation.known.site,
                        card: entry.observation.known.card,
                        reader: Some(entry.observation.reader).filter(|r| !r.is_empty()),
                        ..Sample::new(row.line as usize, entry.observation.capture)
                    });
                }
                Err(why) => {
                    outcome = Outcome::InputWrong;
                    terminal::complain(
                        host,
                        &format!("{}:{}: {why}", plain(&row.source), row.line),
                    );
                }
            }
        }
        Ok(())
    })?;
    if unused > TOLD {
        terminal::remark(host, &format!("and {} more numbers are not used", unused - TOLD));
    }
    Ok((samples, holders, outcome))
}

/// Writes the layouts found as a table file, and the page.
fn write_files(host: &dyn Host, worked: &Worked<'_>, request: &request::Learn) -> Result<(), Fail> {
    let Worked { kinds, samples, page, .. } = worked;
    let page = page.as_ref().map(|target| {
        (target.path(), crate::learn::page::page(host, kinds, samples, request, target.hide))
    });
    let tables: Vec<String> =
        kinds.iter().filter_map(|kind| kind.layout.as_ref()).map(|l| l.to_toml()).collect();
    let table = request.output.as_deref().map(|path| (path, tables.join("\n")));
    let none = table.as_ref().filter(|_| tables.is_empty()).map(|(path, _)| path.display());
    let none = none.map(|name| plain(&name.to_string()));
    let files: Vec<_> = table.into_iter().filter(|_| none.is_none()).chain(page).collect();
    files::put(host, &files, Readers::Owner)?;
    match none {
        Some(name) => Err(Fail::said(format!("{name}: not written, since no layout was found"))),
        None => Ok(()),
    }
}

fn settled(settled: bool) -> String {
    if settled { in_style(GOOD, "settled") } else { in_style(OPEN, "not settled") }
}

fn text(out: &mut Page, kind: &Learnt, request: &request::Learn) -> Result<(), Fail> {
    let width = out.width;
    let cards = |n: usize| if n == 1 { "1 card".to_owned() } else { format!("{n} cards") };
    let left_out = match kind.misread.len() {
        0 => String::new(),
        n => format!(", {n} left out"),
    };
    let head = format!("{} bits: {}{left_out}", kind.length, cards(kind.samples));
    let title = match (&kind.layout, &kind.failure) {
        (Some(layout), _) => {
            format!("{}, {}", in_style(STRONG, &head), in_style(GOOD, layout.id()))
        }
        _ => format!("{}, {}", in_style(STRONG, &head), in_style(BAD, "no layout found")),
    };
    writeln!(out, "{title}\n")?;
    if request.mask && kind.samples < mask::ENOUGH {
        let most = mask::ENOUGH;
        let why = format!(
            "with --mask, fewer than {most} cards are not described: what they have in common would \
             give one away"
        );
        out.say("  hidden  ", &why)?;
        return Ok(());
    }
    let pictures = draw::learnt(kind.layout.as_ref(), &kind.entropy, width.saturating_sub(2));
    for line in pictures {
        writeln!(out, "  {}", line.trim_end())?;
    }
    writeln!(out)?;
    parts(out, kind)?;
    let alarms = match kind.false_alarms_expected {
        n if n >= 0.001 => format!("{n:.3}"),
        n if n > 0.0 => format!("{n:.0e}"),
        _ => "0".to_owned(),
    };
    writeln!(
        out,
        "  {}",
        in_style(
            FAINT,
            &format!("relations expected to hold by accident, among all tried: {alarms}")
        )
    )?;
    let mut say = |head: &str, text: &str| out.say(head, text);
    if kind.lines_swapped {
        say(
            "  note  ",
            "the data lines are swapped at this reader: the layout is that of the inverted captures",
        )?;
    }
    for note in &kind.notes {
        say("  note  ", note)?;
    }
    for misread in kind.misread.iter().take(TOLD) {
        let why = why(misread, request.mask);
        say("  left out  ", &format!("line {}: {why}", misread.line))?;
    }
    if kind.misread.len() > TOLD {
        say("  left out  ", &format!("and {} more", kind.misread.len() - TOLD))?;
    }
    if let Some(failure) = &kind.failure {
        say("  failed  ", failure)?;
    }
    if let Some(next) = &kind.next_sample {
        say("next  ", next)?;
    }
    Ok(())
}

/// Fields and checks, and how sure each is.
fn parts(out: &mut Page, kind: &Learnt) -> Result<(), Fail> {
    for field in &kind.fields {
        let others: Vec<String> =
            field.could_be.iter().skip(1).take(6).map(ToString::to_string).collect();
        let others = match others.is_empty() {
            true => String::new(),
            false => format!("; could be {} as well", others.join(", ")),
        };
        let print = match field.print.as_is() {
            true => String::new(),
            false => format!("; printed as {}, where n is the number", field.print),
        };
        writeln!(
            out,
            "  {:<8} {:<14} {}{others}{print}",
            plain(field.role.name()),
            field.span.to_string(),
            settled(field.settled)
        )?;
    }
    for check in &kind.checks {
        let open = match &check.undetermined {
            Some(span) => format!("; bits {span} may be covered or not"),
            None => String::new(),
        };
        writeln!(out, "  {:<23} {}{open}", check.check.to_string(), settled(check.settled))?;
    }
    Ok(())
}

/// Why a card is left out, in a word where its numbers are hidden.
pub fn why(misread: &Misread, hide: bool) -> String {
    match hide {
        true => "it disagrees with all others".to_owned(),
        false => misread.why.to_string(),
    }
}
