//! Text for people: the capture drawn over its layout, the verdict, why, and
//! what to do next.

use std::io::Write;

use holdover::bits::Capture;
use holdover::decode::Reading;
use holdover::rank::{Answer, Candidate, Fit, Verdict};
use holdover::say::mended_is_best;

use super::advice::Advice;
use super::words::{numbers, percent};
use super::{Answered, Report};
use crate::fail::Fail;
use crate::host::Host;
use crate::input::Row;
use crate::plain::plain;
use crate::request;
use crate::terminal::{self, BAD, FAINT, GOOD, OPEN, STRONG, in_style};
use crate::{care, draw};

/// Captures drawn in full; of a larger batch, each has one line and only
/// those not identified are drawn.
const DRAWN: usize = 8;

/// A capture's block and its line, until it is known which is shown.
struct Held {
    block: Vec<String>,
    line: String,
    identified: bool,
}

pub struct Text<'a> {
    host: &'a dyn Host,
    request: &'a request::Read,
    advice: Advice,
    held: Vec<Held>,
    /// Captures have their lines since the last pause.
    listed: bool,
    /// Drawings of those that are not identified, and how many more there are.
    unclear: Vec<Vec<String>>,
    left: usize,
    /// Any card was named.
    named: bool,
}

impl<'a> Text<'a> {
    pub fn new(host: &'a dyn Host, request: &'a request::Read) -> Text<'a> {
        Text {
            host,
            request,
            advice: Advice::default(),
            held: Vec::new(),
            listed: false,
            unclear: Vec::new(),
            left: 0,
            named: false,
        }
    }
}

pub fn verdict(verdict: Verdict) -> String {
    let style = match verdict {
        Verdict::Identified => GOOD,
        Verdict::Ambiguous => OPEN,
        Verdict::Unknown => BAD,
    };
    in_style(style, verdict.name())
}

/// The fields of a candidate in a line.
pub fn fields(candidate: &Candidate<'_>) -> String {
    let word = candidate.word.wide();
    let fields = candidate.layout.fields().iter();
    let fields: Vec<String> =
        fields.map(|field| format!("{} {}", field.role.name(), field.value(word))).collect();
    fields.join(", ")
}

pub fn place(row: &Row) -> String {
    match &*row.source {
        "argument" => format!("capture {}", row.line),
        "-" => format!("line {}", row.line),
        source => format!("{}:{}", plain(source), row.line),
    }
}

pub fn reading(candidate: &Candidate<'_>) -> String {
    match candidate.reading {
        Reading::AsCaptured => String::new(),
        reading => format!(", {reading}"),
    }
}

/// The bit of the word that was lost, as an offset.
pub fn lost(candidate: &Candidate<'_>) -> Option<usize> {
    match candidate.reading {
        Reading::FirstBitLost => Some(0),
        Reading::LastBitLost => Some(candidate.word.len() - 1),
        _ => None,
    }
}

impl Text<'_> {
    fn block(&self, answered: &Answered<'_, '_>) -> Vec<String> {
        let Answered { row, entry, answer, notes, .. } = answered;
        let width = terminal::width(self.host);
        let capture = &entry.observation.capture;
        let mut lines = Vec::new();
        let head = format!("{}: {} bits", place(row), capture.len());
        let carried: Vec<String> = entry
            .carried
            .iter()
            .filter(|(_, cell)| !cell.trim().is_empty())
            .map(|(heading, cell)| format!("{} {}", plain(heading), plain(cell)))
            .collect();
        let head = in_style(STRONG, &head);
        lines.push(match carried.is_empty() {
            true => head,
            false => format!("{head}  {}", in_style(FAINT, &carried.join(", "))),
        });
        lines.extend(verdict_lines(answer, capture, width));
        if !self.request.quiet {
            lines.extend(why_lines(answer, width));
        }
        for note in notes {
            let wrapped = terminal::wrap(&plain(note), width - 8);
            for (i, line) in wrapped.iter().enumerate() {
                let head = if i == 0 { "  note  " } else { "        " };
                lines.push(format!("{head}{line}"));
            }
        }
        lines.push(String::new());
        lines
    }

    fn line(&self, answered: &Answered<'_, '_>) -> String {
        let Answered { row, entry, answer, .. } = answered;
        let bits = entry.observation.capture.len();
        let best = answer.candidates.first();
        let what = match (answer.verdict, best) {
            _ if mended_is_best(answer) => match &answer.mended {
                Some(m) => format!(
                    "{} {} if {}  {}",
                    m.decode.layout.id(),
                    numbers(&m.decode),
                    match m.second {
                        Some(second) => {
                            format!("bits are mended at bits {} and {}", m.first.at, second.at)
                        }
                        None => format!("a bit is mended at bit {}", m.first.at),
                    },
                    percent(m.probability)
                ),
                None => "a bit inside is in doubt".to_owned(),
            },
            (Verdict::Unknown, _) | (_, None) => {
                format!("none of these  {}", percent(answer.none_probability))
            }
            (_, Some(best)) => format!(
                "{}{}  {}  {}",
                best.layout.id(),
                reading(best),
                fields(best),
                percent(best.probability)
            ),
        };
        format!("{:<16} {bits:>3} bits  {}  {what}", place(row), verdict(answer.verdict))
    }
}

/// The verdict, and the capture drawn over its layout.
fn verdict_lines(answer: &Answer<'_>, capture: &Capture, width: usize) -> Vec<String> {
    let drawn =
        |best: &Candidate<'_>| indent(draw::word(best.layout, &best.word, lost(best), width - 2));
    let mut lines = Vec::new();
    let best = answer.candidates.first();
    match (answer.verdict, best) {
        _ if mended_is_best(answer) => {
            lines.push(format!("  {}: a bit inside is in doubt", verdict(answer.verdict)));
            lines.push(String::new());
            lines.extend(indent(draw::bits(capture, width - 2)));
        }
        (Verdict::Unknown, best) => {
            lines.push(format!(
                "  {}: no layout of the table explains it ({})",
                verdict(answer.verdict),
                percent(answer.none_probability)
            ));
            lines.push(String::new());
            match best {
                Some(best) => {
                    let near = format!("nearest: {}{}", best.layout.id(), reading(best));
                    lines.push(format!("  {}", in_style(FAINT, &near)));
                    lines.extend(drawn(best));
                }
                None => lines.extend(indent(draw::bits(capture, width - 2))),
            }
        }
        (_, Some(best)) => {
            lines.push(format!(
                "  {}: {}{}  {}",
                verdict(answer.verdict),
                in_style(STRONG, best.layout.id()),
                reading(best),
                percent(best.probability)
            ));
            for line in terminal::wrap(&fields(best), width - 4) {
                lines.push(format!("    {}", in_style(STRONG, &line)));
            }
            lines.push(String::new());
            lines.extend(drawn(best));
        }
        (_, None) => lines.extend(indent(draw::bits(capture, width - 2))),
    }
    lines
}

/// Why, and what else it could be.
fn why_lines(answer: &Answer<'_>, width: usize) -> Vec<String> {
    let Some(best) = answer.candidates.first() else { return Vec::new() };
    let mut lines = vec![String::new()];
    if !mended_is_best(answer) {
        lines.extend(evidence(best, width));
    }
    for other in answer.candidates.iter().skip(1).take(4) {
        let failed = other.decode().outcomes().filter(|(_, holds)| !holds).count();
        let why = match failed {
            0 => String::new(),
            1 => ": 1 check fails".to_owned(),
            n => format!(": {n} checks fail"),
        };
        lines.push(format!(
            "  or {}{}, {}  {}{why}",
            other.layout.id(),
            reading(other),
            fields(other),
            percent(other.probability)
        ));
    }
    if answer.verdict != Verdict::Unknown {
        lines.push(format!("  or none of these  {}", percent(answer.none_probability)));
    }
    lines
}

fn indent(lines: Vec<String>) -> impl Iterator<Item = String> {
    lines.into_iter().map(|line| if line.is_empty() { line } else { format!("  {line}") })
}

/// The evidence, a line a part, and the sum.
fn evidence(best: &Candidate<'_>, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    // Room for the bits, and in a wide window for the words.
    let name = width.saturating_sub(16).min(28);
    for part in &best.evidence {
        let line = format!("  {:<name$}{:>+7.1} bits  {}", part.why.name(), part.bits, part.words);
        lines.push(line.trim_end().to_owned());
    }
    if best.evidence.len() > 1 {
        lines.push(format!("  {:<name$}{:>+7.1} bits", "evidence", best.evidence_bits()));
    }
    lines
}

impl Text<'_> {
    /// Takes a capture: drawn, or held until there are too many to draw, or a
    /// line at once.
    fn take(&mut self, held: Held) -> Result<(), Fail> {
        if self.request.full {
            return self.print(&held.block);
        }
        self.held.push(held);
        if self.large() {
            for held in std::mem::take(&mut self.held) {
                self.print(&[held.line])?;
                match held.identified {
                    true => {}
                    false if self.unclear.len() < DRAWN => self.unclear.push(held.block),
                    false => self.left += 1,
                }
            }
        }
        Ok(())
    }

    /// Whether each capture has its line, and few are drawn.
    fn large(&self) -> bool {
        self.request.quiet || self.listed || self.held.len() > DRAWN
    }

    fn print(&mut self, lines: &[String]) -> Result<(), Fail> {
        self.listed = !self.request.full;
        let mut out = terminal::Page::new(self.host);
        lines.iter().try_for_each(|line| writeln!(out, "{}", line.trim_end()))?;
        out.flush()?;
        Ok(())
    }

    /// Whether a capture's drawing may be shown.
    fn draws(&self, identified: bool) -> bool {
        self.request.full || !self.large() || !identified && self.unclear.len() < DRAWN
    }
}

impl Report for Text<'_> {
    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        self.named = true;
        self.advice.add(answered);
        let identified = answered.answer.verdict == Verdict::Identified;
        let block = if self.draws(identified) { self.block(answered) } else { Vec::new() };
        self.take(Held { block, line: self.line(answered), identified })
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        let line =
            format!("{:<16}           {}: {}", place(row), in_style(BAD, "no capture"), plain(why));
        self.take(Held { block: vec![line.clone(), String::new()], line, identified: true })
    }

    fn paused(&mut self, fit: &Fit<'_, '_>) -> Result<(), Fail> {
        for held in std::mem::take(&mut self.held) {
            let mut out = terminal::Page::new(self.host);
            held.block.iter().try_for_each(|line| writeln!(out, "{}", line.trim_end()))?;
            out.flush()?;
        }
        let mut out = terminal::Page::new(self.host);
        if self.listed && !self.request.quiet {
            writeln!(out)?;
            for block in self.unclear.drain(..) {
                block.iter().try_for_each(|line| writeln!(out, "{}", line.trim_end()))?;
            }
            let left = std::mem::take(&mut self.left);
            if left > 0 {
                let more = format!("{left} more are not identified; --full draws every capture");
                writeln!(out, "{}\n", in_style(FAINT, &more))?;
            }
        }
        self.listed = false;
        if !self.request.quiet {
            for line in self.advice.lines(fit, out.width) {
                writeln!(out, "{line}")?;
            }
        }
        out.flush()?;
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        if !self.named || self.request.quiet {
            return Ok(());
        }
        let mut out = terminal::Page::new(self.host);
        care::say(&mut out)?;
        out.flush()?;
        Ok(())
    }
}
