//! Answers as values: what `read --format csv` writes of a capture, once for all
//! captures of a class, for whoever answers columns of them.

use std::fmt::Write;

use super::{Gaps, HIDDEN, masked, notes, tail};
use crate::decode::{BitExtract, Bits, Reading};
use crate::layout::{Part, Value};
use crate::rank::model::{IDENTIFIED, UNKNOWN};
use crate::rank::{Answer, Candidate, Classifier, Observation, Verdict};
use crate::site::Site;

/// What is said of a capture, or of all captures of a class.
///
/// # Examples
/// ```
/// use holdover::bits::Capture;
/// use holdover::layout::builtin;
/// use holdover::rank::{Batch, Observation};
/// use holdover::say::Cells;
/// let mut batch = Batch::new(builtin(), None);
/// let observation = Observation::from("10100000100010000111000011".parse::<Capture>()?);
/// batch.see(&observation);
/// let answer = batch.fit().answer(&observation);
/// let cells = Cells::of(&observation, &answer, None, &[], false);
/// let mut card = String::new();
/// cells.card.unwrap().write(observation.capture.wide(), &mut card);
/// assert_eq!(card, "4321");
/// # Ok::<(), holdover::bits::CaptureError>(())
/// ```
#[derive(Debug, Clone)]
pub struct Cells {
    /// What is settled.
    pub verdict: Verdict,
    /// Id of the best candidate's layout.
    pub layout: Option<String>,
    /// How it is read.
    pub reading: Option<Reading>,
    /// Its site code.
    pub site: Option<Text>,
    /// Its card number.
    pub card: Option<Text>,
    /// Its probability; masked, the one that the verdict stands for.
    pub probability: Option<f64>,
    /// What else is worth saying; empty where nothing is.
    pub note: Text,
}

/// Text with the numbers of a capture in it.
#[derive(Debug, Clone)]
pub struct Text {
    /// Text, and a number behind it.
    pieces: Vec<(String, Option<BitExtract>)>,
    /// The number is hidden but for its last two digits, and has so many.
    hidden: Option<usize>,
}

impl Text {
    fn fixed(text: String) -> Text {
        Text { pieces: vec![(text, None)], hidden: None }
    }

    /// The text, where it is the same for all captures of the class.
    pub fn same(&self) -> Option<&str> {
        match &self.pieces[..] {
            [(text, None)] => Some(text),
            _ => None,
        }
    }

    /// Writes it for a capture of the class.
    pub fn write<B: Bits>(&self, capture: B, out: &mut String) {
        for (text, number) in &self.pieces {
            out.push_str(text);
            let Some(number) = number.as_ref().map(|extract| extract.number(capture)) else {
                continue;
            };
            match self.hidden {
                Some(width) => out.push_str(&masked(&Value::Number(number), width)),
                None => _ = write!(out, "{number}"),
            }
        }
    }
}

impl Cells {
    /// Of one capture; `assumed` is what had to be assumed to read it. With
    /// `mask`, what `read --mask` says of it.
    pub fn of(
        observation: &Observation,
        answer: &Answer<'_>,
        site: Option<&Site>,
        assumed: &[String],
        mask: bool,
    ) -> Cells {
        Cells::with(observation, answer, site, assumed, mask, |_| None)
            .expect("without gaps, nothing is refused")
    }

    /// Of all captures of one's class, of which nothing is known; `None` where
    /// each has to be answered for itself.
    pub fn of_class(
        observation: &Observation,
        answer: &Answer<'_>,
        site: Option<&Site>,
        mask: bool,
        classifier: &Classifier<'_>,
    ) -> Option<Cells> {
        let wide = observation.capture.wide();
        Cells::with(observation, answer, site, &[], mask, |render| {
            let gaps = Gaps::new(classifier, wide);
            let text = render(&gaps);
            Some(gaps.pieces(&text).map(|pieces| Text { pieces, hidden: None }))
        })
    }

    /// `gapped` renders a text with gaps, and says `None` where there are none.
    fn with(
        observation: &Observation,
        answer: &Answer<'_>,
        site: Option<&Site>,
        assumed: &[String],
        mask: bool,
        gapped: impl Fn(&dyn Fn(&Gaps<'_>) -> String) -> Option<Option<Text>>,
    ) -> Option<Cells> {
        let text =
            |render: &dyn Fn(Option<&Gaps<'_>>) -> String| match gapped(&|gaps| render(Some(gaps)))
            {
                Some(text) => text,
                None => Some(Text::fixed(render(None))),
            };
        if mask {
            return Cells::masked(answer, text);
        }
        let note = text(&|gaps| notes(observation, assumed, true, answer, site, gaps).join("; "))?;
        let best = answer.candidates.first();
        let part = |part: Part| match best {
            Some(best) if has(best, part) => text(&|gaps| self::part(best, part, gaps)).map(Some),
            _ => Some(None),
        };
        Some(Cells {
            verdict: answer.verdict,
            layout: best.map(|best| best.layout.id().to_owned()),
            reading: best.map(|best| best.reading),
            site: part(Part::Site)?,
            card: part(Part::Card)?,
            probability: best.map(|best| best.probability),
            note,
        })
    }

    fn masked(
        answer: &Answer<'_>,
        text: impl Fn(&dyn Fn(Option<&Gaps<'_>>) -> String) -> Option<Text>,
    ) -> Option<Cells> {
        let best = sayable(answer);
        let card = match best.filter(|best| has(best, Part::Card)) {
            None => None,
            Some(best) => {
                let hidden = best.layout.largest(Part::Card).map(|most| most.to_string().len());
                let shown = text(&|gaps| self::part(best, Part::Card, gaps))?;
                Some(match shown.same() {
                    Some(_) => Text::fixed(masked_card(best)),
                    None => Text { hidden: hidden.or(Some(0)), ..shown },
                })
            }
        };
        Some(Cells {
            verdict: answer.verdict,
            layout: best.map(|best| best.layout.id().to_owned()),
            reading: best.map(|best| best.reading),
            site: None,
            card,
            probability: Some(masked_probabilities(answer.verdict)[0]),
            note: Text::fixed(String::new()),
        })
    }
}

fn has(best: &Candidate<'_>, part: Part) -> bool {
    best.layout.fields().iter().any(|field| field.belongs_to(part))
}

/// A part of a candidate, or its gap; empty where the layout has none.
pub fn part(best: &Candidate<'_>, part: Part, gaps: Option<&Gaps<'_>>) -> String {
    if let Some(gaps) = gaps {
        return gaps.part(best, part).unwrap_or_default();
    }
    let decode = best.decode();
    let value = match part {
        Part::Site => decode.site(),
        Part::Card => decode.card(),
    };
    value.map_or_else(String::new, |value| value.to_string())
}

/// The candidate that may be spoken of where numbers are hidden.
pub fn sayable<'a, 't>(answer: &'a Answer<'t>) -> Option<&'a Candidate<'t>> {
    answer.candidates.first().filter(|best| {
        answer.verdict != Verdict::Unknown && best.holds() && !mended_is_best(answer)
    })
}

/// Whether a bit mended inside explains the capture better than all else.
pub fn mended_is_best(answer: &Answer<'_>) -> bool {
    answer.mended.as_ref().is_some_and(|m| m.probability >= 0.5 && m.decode.holds())
}

/// The probability that a verdict stands for, of the card and of none.
pub fn masked_probabilities(verdict: Verdict) -> [f64; 2] {
    match verdict {
        Verdict::Identified => [IDENTIFIED, 0.0],
        Verdict::Ambiguous => [0.5, 0.5],
        Verdict::Unknown => [0.0, UNKNOWN],
    }
}

/// The card number but for its last two digits, as long as the layout's largest.
pub fn masked_card(best: &Candidate<'_>) -> String {
    match best.decode().card() {
        None => HIDDEN.to_string(),
        Some(Value::Digits(digits)) => tail(&digits),
        Some(value) => {
            let largest = best.layout.largest(Part::Card).unwrap_or(0);
            masked(&value, largest.to_string().len())
        }
    }
}
