//! What to do next, for a batch as a whole.

use std::collections::BTreeMap;

use holdover::decode::Reading;
use holdover::rank::{Fit, Verdict, Wiring};

use super::Answered;
use super::words::percent;
use crate::mask;
use crate::plain::plain;
use crate::terminal::{self, STRONG, in_style};

/// A reader's wiring, or a bit lost, is named from this probability on.
const NAMED: f64 = 0.5;

/// Of captures by several readers, a wiring is named from this share on.
const SHARE_NAMED: f64 = 0.02;

/// What came of a batch, counted.
#[derive(Default)]
pub struct Advice {
    /// Card numbers are hidden: how likely the wiring is is told in steps.
    hide: bool,
    captures: usize,
    identified: BTreeMap<String, usize>,
    /// Ambiguous captures by the layouts that fit.
    twins: BTreeMap<String, usize>,
    failing: usize,
    slipped: usize,
    weak: BTreeMap<String, usize>,
    unknown: BTreeMap<usize, usize>,
    mismatched: usize,
    /// Digits whose length is not settled.
    uncounted: usize,
}

/// Candidates from this probability on count as fitting.
const FITS: f64 = 0.05;

impl Advice {
    pub fn new(hide: bool) -> Advice {
        Advice { hide, ..Advice::default() }
    }

    pub fn add(&mut self, answered: &Answered<'_, '_>) {
        let Answered { entry, answer, .. } = answered;
        self.captures += 1;
        if entry.given.is_some() && answer.verdict != Verdict::Identified {
            self.uncounted += 1;
        }
        let Some(best) = answer.candidates.first() else {
            *self.unknown.entry(entry.observation.capture.len()).or_default() += 1;
            return;
        };
        if entry.observation.known.print_agrees(&best.decode()) == Some(false) {
            self.mismatched += 1;
        }
        match answer.verdict {
            Verdict::Identified => {
                *self.identified.entry(best.layout.id().to_owned()).or_default() += 1;
            }
            Verdict::Unknown => {
                *self.unknown.entry(entry.observation.capture.len()).or_default() += 1;
            }
            Verdict::Ambiguous => {
                let mut fit: Vec<&str> = answer
                    .candidates
                    .iter()
                    .filter(|c| c.probability >= FITS)
                    .map(|c| c.layout.id())
                    .collect();
                fit.dedup();
                if answer.mended.as_ref().is_some_and(|mended| mended.probability >= NAMED) {
                    // Told with those that lost or gained a bit.
                } else if !best.holds() {
                    self.failing += 1;
                } else if fit.len() > 1 {
                    fit.sort_unstable();
                    fit.dedup();
                    *self.twins.entry(fit.join(" and ")).or_default() += 1;
                } else if best.layout.rank() == 0 {
                    *self.weak.entry(best.layout.id().to_owned()).or_default() += 1;
                } else {
                    *self.twins.entry(best.layout.id().to_owned()).or_default() += 1;
                }
            }
        }
        let slipped = best.reading.slipped() && best.probability >= NAMED;
        if slipped || answer.mended.as_ref().is_some_and(|mended| mended.probability >= NAMED) {
            self.slipped += 1;
        }
    }

    /// What to do about a reader that is wired wrong.
    fn rewire(&self, Miswired { wiring, state, p }: Miswired<'_>) -> String {
        let reader = match wiring.reader.as_str() {
            "" => "this reader".to_owned(),
            name => format!("reader {}", plain(name)),
        };
        let p = if self.hide { mask::percent(p).to_owned() } else { percent(p) };
        match state {
            _ if wiring.mixed => format!(
                "{reader}: {p} of the captures came {}, the others did not: they are of several \
                 readers. Give each capture its reader's name (a column \"reader\"), and the \
                 wiring of each is told",
                match state {
                    Reading::LinesSwapped => "with D0 and D1 swapped",
                    Reading::Reversed => "with their bits in reverse order",
                    _ => "with D0 and D1 swapped and their bits in reverse order",
                }
            ),
            Reading::LinesSwapped if wiring.guessed => format!(
                "{reader}: the guess which line is D0 was wrong ({p}): the captures are read \
                 the other way round. Name the lines with --d0 and --d1"
            ),
            Reading::LinesSwapped => format!(
                "{reader}: D0 and D1 are swapped ({p}). Swap the two data wires at the reader, \
                 then read one card again"
            ),
            Reading::Reversed => format!(
                "{reader}: the bits come in reverse order ({p}). Look at the reader's output \
                 setting, then read one card again"
            ),
            _ => format!(
                "{reader}: D0 and D1 are swapped and the bits come in reverse order ({p}). Swap \
                 the two data wires at the reader and look at its output setting"
            ),
        }
    }

    /// The advice, in the order things are done.
    pub fn said(&self, fit: &Fit<'_, '_>) -> Vec<String> {
        let mut said: Vec<String> = Vec::new();
        said.extend(fit.wiring().iter().flat_map(miswired).map(|found| self.rewire(found)));
        if self.uncounted > 0 {
            said.push(format!(
                "{} without a bit count. Have the program print the count, or the bits, or read a \
                 second card of this kind: digits printed alike tell their length together",
                captures(self.uncounted)
            ));
        }
        if self.slipped > 0 {
            said.push(format!(
                "{} lost or gained a bit. Read the card again, slowly; if it stays, look at the \
                 cable, the common ground and the probe's sampling rate",
                captures(self.slipped)
            ));
        }
        if self.failing > 0 {
            said.push(format!(
                "{} with a failed check. Read the card again: a second read that differs is a bad \
                 read, one that repeats is another layout or a card made wrong",
                captures(self.failing)
            ));
        }
        for (ids, count) in &self.twins {
            let several = ids.contains(" and ");
            let which = match several {
                true => format!("{ids} fit"),
                false => format!("only {ids} fits, but not surely"),
            };
            said.push(format!(
                "{}: {which}. Read three more cards of this batch, or compare one card's print \
                 with its number",
                captures(*count)
            ));
        }
        for (id, count) in &self.weak {
            said.push(format!(
                "{}: {id} has no check, so any capture of that length fits it. Read the card at \
                 another reader, or compare the number with its print",
                captures(*count)
            ));
        }
        for (length, count) in &self.unknown {
            said.push(format!(
                "{} of {length} bits: no layout fits. Collect ten cards of this kind with their \
                 printed numbers, then `holdover learn`; first read one card twice, to be sure of \
                 the bits",
                captures(*count)
            ));
        }
        if self.mismatched > 2 && self.mismatched * 2 > self.captures {
            said.push(format!(
                "{} whose noted number differs from the card's, most of the batch: they may be of \
                 another layout, or the prints no card numbers. `holdover learn` with these prints \
                 says which; rely on neither before",
                captures(self.mismatched)
            ));
        } else if self.mismatched > 0 {
            said.push(format!(
                "{} whose noted number differs from the card's. Look at those prints again before \
                 relying on either",
                captures(self.mismatched)
            ));
        }
        if said.is_empty() && !self.identified.is_empty() {
            let kinds: Vec<String> =
                self.identified.iter().map(|(id, count)| format!("{count} {id}")).collect();
            said.push(match self.captures {
                1 => "compare the number with the card's print; then list the card in the roster, \
                      with its holder"
                    .to_owned(),
                _ => format!(
                    "all identified ({}): compare two numbers with the cards' prints, then list \
                     the cards in the roster",
                    kinds.join(", ")
                ),
            });
        }
        said
    }

    /// The same in lines for the terminal.
    pub fn lines(&self, fit: &Fit<'_, '_>, width: usize) -> Vec<String> {
        let mut lines = Vec::new();
        for text in self.said(fit) {
            for (i, line) in terminal::wrap(&text, width - 6).into_iter().enumerate() {
                lines.push(match i {
                    0 => format!("{}  {line}", in_style(STRONG, "next")),
                    _ => format!("      {line}"),
                });
            }
        }
        lines
    }
}

/// A reader that is wired wrongly.
pub struct Miswired<'w> {
    pub wiring: &'w Wiring,
    pub state: Reading,
    /// How sure that is; of mixed readers, the share of the captures.
    pub p: f64,
}

/// The wiring a reader most likely has where that is not the right one; of
/// mixed readers, each that a share worth naming came by.
pub fn miswired(wiring: &Wiring) -> impl Iterator<Item = Miswired<'_>> {
    let named = if wiring.mixed { SHARE_NAMED } else { NAMED };
    let states = Reading::WIRING.into_iter().zip(wiring.probability).skip(1);
    states.filter(move |(_, p)| *p >= named).map(move |(state, p)| Miswired { wiring, state, p })
}

fn captures(count: usize) -> String {
    if count == 1 { "1 capture".to_owned() } else { format!("{count} captures") }
}
