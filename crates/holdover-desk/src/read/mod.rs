//! `holdover read`: captures in, verdicts out.

pub mod advice;
mod csv;
mod fast;
mod json;
pub mod masked;
pub mod notes;
pub mod page;
mod page_sink;
mod records;
pub mod summary;
mod template;
pub mod text;
pub mod words;

use std::sync::{Arc, LazyLock};

use holdover::rank::{Answer, Batch, Fit, Verdict};
use holdover::site::Site;
use holdover::states::States;
use holdover_signal::Probe;

use self::fast::Fast;
use self::records::{Records, Render};
use crate::fail::{Fail, Outcome};
use crate::host::Host;
use crate::input::words::Words;
use crate::input::{self, Entry, Event, Inputs, Row};
use crate::plain::plain;
use crate::request::{self, Format};
use crate::{answer, files, signal, terminal};
use holdover::say::Gaps;

/// Captures of a live pipe that are answered without waiting for a pause, so
/// that memory stays bounded.
const PENDING_MOST: usize = 1 << 16;

/// Of a stream, captures that are answered at once: at least so many, and an
/// eighth of those seen, so that fitting takes a small part of the time.
const STREAMED: usize = 1 << 10;

/// Readers of a batch at most: the wiring of each is weighed (judgement, no
/// source).
pub const MAX_READERS: usize = 1 << 16;

/// A capture with its answer.
pub struct Answered<'a, 't> {
    pub row: &'a Row,
    pub entry: &'a Entry,
    pub answer: &'a Answer<'t>,
    /// Everything worth saying beside the candidates.
    pub notes: Vec<String>,
    /// Where what differs from capture to capture is to be left open.
    pub gaps: Option<&'a Gaps<'a>>,
}

/// One way to show answers.
trait Report {
    /// Takes the headings of a source's own columns, before what it answers.
    fn headings(&mut self, _: &Arc<Vec<String>>) {}

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

pub fn run(host: &dyn Host, request: &request::Read) -> Result<Outcome, Fail> {
    with_job(host, request, |mut job, inputs| {
        if request.mask && !request.summary {
            return job.show(inputs, &mut masked::Masked::new(host, request));
        }
        match (request.summary, request.format, request.page.html.is_some()) {
            (true, _, _) => job.show(inputs, &mut summary::Summary::new(host, request)),
            (false, Format::Text, _) => job.show(inputs, &mut text::Text::new(host, request)),
            (false, Format::Json, true) => job.show(inputs, &mut Records::new(host, json::Json)),
            (false, Format::Csv, true) => {
                job.show(inputs, &mut Records::new(host, csv::Csv::default()))
            }
            (false, Format::Json, false) => job.records(inputs, json::Json),
            (false, Format::Csv, false) => job.records(inputs, csv::Csv::default()),
        }
    })
}

/// The answers themselves; a page that is asked for is written all the same.
pub fn answers(host: &dyn Host, request: &request::Read) -> Result<Vec<answer::Read>, Fail> {
    let mut answers = Answers { request, all: Vec::new() };
    with_job(host, request, |mut job, inputs| job.show(inputs, &mut answers))?;
    Ok(answers.all)
}

/// Keeps the answers.
struct Answers<'a> {
    request: &'a request::Read,
    all: Vec<answer::Read>,
}

impl Report for Answers<'_> {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        let card = match self.request.mask {
            true => masked::hidden(answered, &self.request.keep_column),
            false => json::card(answered),
        };
        self.all.push(answer::Read::Card(Box::new(card)));
        Ok(())
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        let why = if self.request.mask { masked::NO_CAPTURE } else { why };
        self.all.push(json::invalid(row, why));
        Ok(())
    }

    fn paused(&mut self, _: &Fit<'_, '_>) -> Result<(), Fail> {
        Ok(())
    }
}

/// Reads what is named, and does the job with it.
fn with_job<T>(
    host: &dyn Host,
    request: &request::Read,
    does: impl FnOnce(Job<'_, '_>, &mut Inputs<'_>) -> Result<T, Fail>,
) -> Result<T, Fail> {
    let table = files::tables(host, &request.tables.0)?;
    let site = request.site.as_deref().map(|path| files::site(host, path, &table)).transpose()?;
    let probe =
        Probe::new(signal::options(&request.probe)?).map_err(|e| Fail::said(e.to_string()))?;
    let words = Words::of_columns(&request.columns)?;
    let mut inputs = Inputs::new(host, &request.inputs, request.batch)?.with(words);
    let job = Job {
        host,
        request,
        site: site.as_ref(),
        probe: &probe,
        batch: Batch::new(&table, site.as_ref()),
        any: false,
        outcome: Outcome::Done,
    };
    does(job, &mut inputs)
}

/// What is read, and by what.
struct Job<'a, 't> {
    host: &'a dyn Host,
    request: &'a request::Read,
    site: Option<&'a Site>,
    probe: &'a Probe,
    batch: Batch<'t>,
    /// Whether there was anything in the input.
    any: bool,
    /// What came of the rows' states.
    outcome: Outcome,
}

/// What happens to the input's rows.
type On<'a> = &'a mut dyn FnMut(Event<'_>) -> Result<(), Fail>;

impl Job<'_, '_> {
    /// Whether the input is answered as it comes.
    fn lives(&self, inputs: &Inputs<'_>) -> bool {
        self.request.port.is_some() || self.request.streaming || inputs.live()
    }

    /// Shows every capture to a report, and to the page where there is one.
    fn show(&mut self, inputs: &mut Inputs<'_>, report: &mut dyn Report) -> Result<Outcome, Fail> {
        match page_sink::PageSink::of(self.host, self.request, self.site)? {
            Some(paper) => self.run(inputs, &mut paper.beside(report)),
            None => self.run(inputs, report),
        }
    }

    /// Sees all, then answers all: twice through the input, so that memory
    /// does not grow with it.
    fn run(&mut self, inputs: &mut Inputs<'_>, report: &mut dyn Report) -> Result<Outcome, Fail> {
        if self.lives(inputs) {
            return self.live(inputs, report);
        }
        let read = self.see(inputs, report);
        let fit = self.batch.fit();
        let mut outcome = Outcome::Done;
        let again = inputs.read(self.probe, false, &mut |event| {
            let Event::Rows(rows) = event else { return Ok(()) };
            rows.iter().try_for_each(|row| {
                outcome = outcome.max(self.answer(&fit, row, report)?);
                Ok(())
            })
        });
        // What came before a failure is still answered, and the failure said.
        let failed = again.and(read);
        if let Err(Fail::BrokenPipe) = failed {
            return failed.map(|()| outcome);
        }
        if self.any {
            report.paused(&fit)?;
        }
        report.end()?;
        failed?;
        self.not_empty()?;
        self.say_if_sampled(&fit);
        Ok(outcome.max(self.outcome))
    }

    /// The same for records, plain lines by the block.
    fn records<R: Render>(&mut self, inputs: &mut Inputs<'_>, render: R) -> Result<Outcome, Fail> {
        let mut records = Records::new(self.host, render);
        if self.lives(inputs) {
            return self.live(inputs, &mut records);
        }
        let read = self.see(inputs, &mut records);
        if let Err(Fail::BrokenPipe) = read {
            return Err(Fail::BrokenPipe);
        }
        records.begin()?;
        let fit = self.batch.fit();
        let mut outcome = Outcome::Done;
        let again = {
            let host = self.host;
            let Records { render, out, .. } = &mut records;
            let mut fast = Fast::new(&fit, self.site, &*render);
            inputs.read(self.probe, true, &mut |event| match event {
                Event::Rows(rows) => {
                    let (bytes, worst) = fast.rows(host, &rows);
                    outcome = outcome.max(worst);
                    Ok(std::io::Write::write_all(out, bytes)?)
                }
                Event::Text { source, first_line, plain } => {
                    let write = |bytes: &[u8]| Ok(std::io::Write::write_all(out, bytes)?);
                    let worst = fast.answer::<Fail>(source, first_line, plain, host, write)?;
                    outcome = outcome.max(worst);
                    Ok(())
                }
                Event::Guessed(_) | Event::Pause => Ok(()),
            })
        };
        if let Err(Fail::BrokenPipe) = again {
            return Err(Fail::BrokenPipe);
        }
        records.end()?;
        again.and(read)?;
        self.not_empty()?;
        self.say_if_sampled(&fit);
        Ok(outcome.max(self.outcome))
    }

    /// First time through the input.
    fn see(&mut self, inputs: &mut Inputs<'_>, report: &mut dyn Report) -> Result<(), Fail> {
        let Job { host, batch, any, outcome, site, .. } = self;
        let host = *host;
        let site = *site;
        let mut headings: Option<Arc<Vec<String>>> = None;
        inputs.read(self.probe, true, &mut |event| {
            match event {
                Event::Rows(rows) => {
                    *any |= !rows.is_empty();
                    *outcome =
                        (*outcome).max(see_rows(host, batch, site, &rows, &mut headings, report)?);
                }
                Event::Text { source, first_line, plain } => {
                    *any = true;
                    fast::see(batch, source, first_line, plain);
                }
                Event::Guessed(reader) => batch.guess_lines(&reader),
                Event::Pause => {}
            }
            Ok(())
        })
    }

    /// Answers as it comes: whenever the input pauses, or much is pending, by
    /// all that has been seen.
    fn live(&mut self, inputs: &mut Inputs<'_>, report: &mut dyn Report) -> Result<Outcome, Fail> {
        let mut pending: Vec<Row> = Vec::new();
        let mut outcome = Outcome::Done;
        let mut headings: Option<Arc<Vec<String>>> = None;
        let most = |batch: &Batch<'_>, streaming: bool| match streaming {
            true => (batch.distinct() as usize / 8).clamp(STREAMED, PENDING_MOST),
            false => PENDING_MOST,
        };
        let (host, request, probe) = (self.host, self.request, self.probe);
        let mut on = |event: Event<'_>| match event {
            Event::Rows(rows) => {
                self.any |= !rows.is_empty();
                let seen =
                    see_rows(host, &mut self.batch, self.site, &rows, &mut headings, report)?;
                self.outcome = self.outcome.max(seen);
                pending.extend(rows);
                match pending.len() >= most(&self.batch, request.streaming) {
                    true => self.settle(&mut pending, &mut outcome, report),
                    false => Ok(()),
                }
            }
            Event::Guessed(reader) => {
                self.batch.guess_lines(&reader);
                Ok(())
            }
            Event::Pause => self.settle(&mut pending, &mut outcome, report),
            Event::Text { .. } => Ok(()),
        };
        let on: On<'_> = &mut on;
        let read = match &request.port {
            Some(port) => input::follow(host, port, request.baud, probe, on),
            None => inputs.read(probe, false, on),
        };
        if let Err(Fail::BrokenPipe) = read {
            return Err(Fail::BrokenPipe);
        }
        self.settle(&mut pending, &mut outcome, report)?;
        report.end()?;
        read?;
        self.not_empty()?;
        Ok(outcome.max(self.outcome))
    }

    /// Answers what is pending.
    fn settle(
        &self,
        pending: &mut Vec<Row>,
        outcome: &mut Outcome,
        report: &mut dyn Report,
    ) -> Result<(), Fail> {
        if pending.is_empty() {
            return Ok(());
        }
        let fit = self.batch.fit();
        for row in pending.drain(..) {
            *outcome = (*outcome).max(self.answer(&fit, &row, report)?);
        }
        self.say_if_sampled(&fit);
        report.paused(&fit)
    }

    fn answer(
        &self,
        fit: &Fit<'_, '_>,
        row: &Row,
        report: &mut dyn Report,
    ) -> Result<Outcome, Fail> {
        let entry = match &row.entry {
            Ok(entry) => entry,
            Err(why) => {
                let source = plain(&row.source);
                let said = if self.request.mask { masked::NO_CAPTURE } else { why };
                terminal::complain(self.host, &format!("{source}:{}: {said}", row.line));
                report.invalid(row, why)?;
                return Ok(Outcome::InputWrong);
            }
        };
        let answer = entry.answered_by(fit);
        let taken = taken(row, entry, &answer);
        let row = taken.as_ref().unwrap_or(row);
        let Ok(entry) = &row.entry else { return Ok(Outcome::InputWrong) };
        let notes = notes::of(entry, &answer, self.site, None);
        report.answered(&Answered { row, entry, answer: &answer, notes, gaps: None })?;
        Ok(match answer.verdict {
            Verdict::Identified => Outcome::Done,
            _ => Outcome::CardsWrong,
        })
    }

    fn not_empty(&self) -> Result<(), Fail> {
        match self.any {
            true => Ok(()),
            false => Err(Fail::said(
                "no captures in the input: give bits, a file with one capture a line, or \"-\"",
            )),
        }
    }

    /// A sample is no secret.
    fn say_if_sampled(&self, fit: &Fit<'_, '_>) {
        let (counted, all) = (fit.counted(), self.batch.distinct());
        if counted < all && !self.request.quiet {
            let about = if all > Batch::EXACT as u64 { "about " } else { "" };
            terminal::remark(
                self.host,
                &format!(
                    "of {about}{all} distinct captures, {counted} drawn fairly settle the proportions"
                ),
            );
        }
    }
}

/// Digits of unknown length as the capture that they are taken for; `None` of all
/// else.
fn taken(row: &Row, entry: &Entry, answer: &Answer<'_>) -> Option<Row> {
    entry.digits.as_ref()?;
    let mut entry = entry.clone();
    entry.observation.capture = answer.capture.unwrap_or(entry.observation.capture);
    Some(Row { source: row.source.clone(), line: row.line, entry: Ok(entry) })
}

fn see_rows(
    host: &dyn Host,
    batch: &mut Batch<'_>,
    site: Option<&Site>,
    rows: &[Row],
    headings: &mut Option<Arc<Vec<String>>>,
    report: &mut dyn Report,
) -> Result<Outcome, Fail> {
    let mut outcome = Outcome::Done;
    for row in rows {
        let Ok(entry) = &row.entry else { continue };
        entry.seen_by(batch);
        if let Some(why) = entry.state.as_deref().and_then(|word| states(site).of(word).err()) {
            terminal::complain(host, &format!("{}:{}: {why}", plain(&row.source), row.line));
            outcome = Outcome::InputWrong;
        }
        let own = &entry.carried.headings;
        if !own.is_empty() && !headings.as_ref().is_some_and(|h| Arc::ptr_eq(h, own)) {
            report.headings(own);
            *headings = Some(own.clone());
        }
    }
    match batch.readers() > MAX_READERS {
        true => Err(Fail::said(format!(
            "more than {MAX_READERS} readers: does the column \"reader\" name readers? Else rename it"
        ))),
        false => Ok(outcome),
    }
}

/// The words for states: the site file's own among them.
fn states(site: Option<&Site>) -> &States {
    static FIXED: LazyLock<States> = LazyLock::new(States::default);
    site.map_or(&FIXED, |site| &site.states)
}
