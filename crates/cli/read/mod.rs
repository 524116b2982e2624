//! `holdover read`: captures in, verdicts out.

pub mod advice;
mod csv;
pub mod json;
pub mod notes;
mod summary;
pub mod text;
pub mod words;

use std::path::Path;

use holdover::layout::Table;
use holdover::rank::{Answer, Batch, Fit, Verdict};
use holdover::site::Site;
use holdover_signal::Probe;

use crate::args::{self, Format};
use crate::fail::{Fail, Outcome};
use crate::input::{self, Entry, Event, Row};
use crate::{files, html, screen, signal};

/// A capture with its answer.
pub struct Answered<'a, 't> {
    pub row: &'a Row,
    pub entry: &'a Entry,
    pub answer: &'a Answer<'t>,
    /// Everything worth saying beside the candidates.
    pub notes: Vec<String>,
}

/// One way to show answers.
trait Report {
    /// A capture and its answer.
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail>;

    /// A line that is no capture.
    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail>;

    /// All that has come so far is answered: what the batch says as a whole.
    fn paused(&mut self, fit: &Fit<'_, '_>) -> Result<(), Fail>;

    /// The end of the input.
    fn end(&mut self) -> Result<(), Fail> {
        Ok(())
    }
}

/// What is read, and what has been found so far.
struct Job<'a, 't> {
    args: &'a args::Read,
    site: Option<&'a Site>,
    batch: Batch<'t>,
    pending: Vec<Row>,
    outcome: Outcome,
    report: Box<dyn Report + 'a>,
    /// The page, where one is asked for.
    page: Option<(html::Target<'a>, html::read::Page<'a>)>,
}

pub fn run(args: &args::Read) -> Result<Outcome, Fail> {
    let table = files::tables(&args.tables.tables)?;
    let site = args.site.as_deref().map(|path| files::site(path, &table)).transpose()?;
    let report: Box<dyn Report + '_> = match (args.summary, args.format) {
        (true, format) => Box::new(summary::Summary::new(format, args.mask)),
        (false, Format::Text) => Box::new(text::Text::new(args)),
        (false, Format::Json) => Box::new(json::Json::new(args.mask)),
        (false, Format::Csv) => Box::new(csv::Csv::new(args.mask)),
    };
    let probe = Probe::new(signal::options(&args.probe)?).map_err(|e| Fail::said(e.to_string()))?;
    job(args, &table, site.as_ref(), &probe, report)
}

fn job<'a>(
    args: &'a args::Read,
    table: &'a Table,
    site: Option<&'a Site>,
    probe: &Probe,
    report: Box<dyn Report + 'a>,
) -> Result<Outcome, Fail> {
    let mut job = Job {
        args,
        site,
        batch: Batch::new(table, site),
        pending: Vec::new(),
        outcome: Outcome::Done,
        report,
        page: page(args, site)?,
    };
    // What came before a failure is still answered.
    let mut any = false;
    let mut on = |event| match event {
        Event::Rows(rows) => {
            any |= !rows.is_empty();
            let entries = rows.iter().filter_map(|row| row.entry.as_ref().ok());
            entries.for_each(|entry| job.batch.see(&entry.sighting));
            job.pending.extend(rows);
            Ok(())
        }
        Event::Guessed(reader) => {
            job.batch.guess_lines(&reader);
            Ok(())
        }
        Event::Pause => job.answer(),
    };
    let read = match &args.port {
        Some(port) => input::follow(port, args.baud, probe, &mut on),
        None => input::read(&args.inputs, probe, args.batch, &mut on),
    };
    if let Err(Fail::BrokenPipe) = read {
        return Err(Fail::BrokenPipe);
    }
    // A reader of the text that has had enough still gets the page.
    let answered = job.answer().and_then(|()| job.report.end());
    if any && let Some((target, page)) = &job.page {
        let written = target.write(&page.page())?;
        if args.format == Format::Text && answered.is_ok() {
            screen::say(&mut anstream::stdout().lock(), "written  ", &written)?;
        }
    }
    answered?;
    read?;
    if !any {
        let mend = "give bits, a file with one capture a line, or \"-\"";
        return Err(Fail::said(format!("no captures in the input: {mend}")));
    }
    Ok(job.outcome)
}

/// The page asked for; it replaces no file that is read.
fn page<'a>(
    args: &'a args::Read,
    site: Option<&'a Site>,
) -> Result<Option<(html::Target<'a>, html::read::Page<'a>)>, Fail> {
    let named = args.inputs.iter().chain(&args.tables.tables).map(Path::new);
    let target = html::Target::of(&args.page, named.chain(args.site.as_deref()), [])?;
    Ok(target.map(|target| {
        let page = html::read::Page::new(args, site, target.hide);
        (target, page)
    }))
}

impl Job<'_, '_> {
    /// Answers what is pending, by all that has been seen.
    fn answer(&mut self) -> Result<(), Fail> {
        if self.pending.is_empty() {
            return Ok(());
        }
        let fit = self.batch.fit();
        for row in self.pending.drain(..) {
            let entry = match &row.entry {
                Ok(entry) => entry,
                Err(why) => {
                    self.outcome = Outcome::InputWrong;
                    let source = screen::plain(&row.source);
                    screen::complain(&format!("{source}:{}: {why}", row.line));
                    self.report.invalid(&row, why)?;
                    if let Some((_, page)) = &mut self.page {
                        page.invalid(&row, why);
                    }
                    continue;
                }
            };
            let answer = fit.answer(&entry.sighting);
            if answer.verdict != Verdict::Identified {
                self.outcome = self.outcome.max(Outcome::CardsWrong);
            }
            let notes = notes::of(entry, &answer, self.site, self.args.mask);
            let answered = Answered { row: &row, entry, answer: &answer, notes };
            self.report.answered(&answered)?;
            if let Some((_, page)) = &mut self.page {
                page.answered(&answered);
            }
        }
        if let Some((_, page)) = &mut self.page {
            page.paused(&fit);
        }
        self.report.paused(&fit)?;
        // A port has no end: the page stands at every pause.
        if self.args.port.is_some()
            && let Some((target, page)) = &self.page
        {
            target.write(&page.page())?;
        }
        Ok(())
    }
}
