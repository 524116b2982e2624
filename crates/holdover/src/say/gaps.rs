//! Texts with gaps: what is the same for all captures of a class is written
//! once, and the numbers of each capture are filled in.
//!
//! A text is written by the same code either way. With gaps, a number comes out
//! as a mark, and the text is cut at the marks.

use std::cell::RefCell;

use crate::bits::Wide;
use crate::decode::BitExtract;
use crate::layout::{Code, Field, Part};
use crate::rank::{Candidate, Classifier};

/// What stands before and after the number of a hole: a character no input
/// can hold where gaps are used.
const MARK: char = '\u{F8FF}';

/// What goes into a hole.
#[derive(Debug, Clone)]
pub enum Hole {
    /// The number of the line.
    Line,
    /// The capture as 0 and 1.
    Bits,
    /// A number of the word.
    Number(BitExtract),
}

/// The gaps of a record being rendered.
#[derive(Debug)]
pub struct Gaps<'f> {
    classifier: &'f Classifier<'f>,
    /// The capture whose record is rendered.
    capture: Wide,
    found: RefCell<Vec<Hole>>,
    /// Something was asked for that no hole holds.
    failed: RefCell<bool>,
}

impl<'f> Gaps<'f> {
    /// No hole yet, in the record of a capture and of all of its signature.
    pub fn new(classifier: &'f Classifier<'f>, capture: Wide) -> Gaps<'f> {
        Gaps { classifier, capture, found: RefCell::default(), failed: RefCell::default() }
    }

    fn mark(&self, hole: Hole) -> String {
        let mut found = self.found.borrow_mut();
        found.push(hole);
        format!("{MARK}{}{MARK}", found.len() - 1)
    }

    /// A hole for the number of the line.
    pub fn line(&self) -> String {
        self.mark(Hole::Line)
    }

    /// A hole for the capture's bits.
    pub fn bits(&self) -> String {
        self.mark(Hole::Bits)
    }

    /// This record cannot be kept for other captures.
    pub fn refuse(&self) {
        *self.failed.borrow_mut() = true;
    }

    /// A hole for a field of a candidate.
    pub fn field(&self, candidate: &Candidate<'_>, field: &Field) -> String {
        let decoder = self.classifier.decoder();
        let view = decoder.views().iter().find(|view| {
            decoder.layout(view).id() == candidate.layout.id()
                && view.reading == candidate.reading
                && view.restored == candidate.restored
        });
        match view {
            // A number that the signature fixes is no hole.
            Some(view) if self.classifier.fixes(view, &field.span, self.capture) => {
                field.value(candidate.word.wide()).to_string()
            }
            Some(view) if field.code == Code::Binary => {
                self.mark(Hole::Number(view.extract(&field.span)))
            }
            _ => {
                self.refuse();
                String::new()
            }
        }
    }

    /// A hole for a candidate's site code or card number.
    pub fn part(&self, candidate: &Candidate<'_>, part: Part) -> Option<String> {
        let mut fields = candidate.layout.fields().iter().filter(|field| field.belongs_to(part));
        let field = fields.next()?;
        if fields.next().is_some() {
            self.refuse();
        }
        Some(self.field(candidate, field))
    }

    /// A text cut at the numbers in it; `None` where it is no other capture's.
    pub(super) fn pieces(self, text: &str) -> Option<Vec<(String, Option<BitExtract>)>> {
        let pieces = self.holes(text)?.into_iter().map(|(text, hole)| match hole {
            None => Some((text.to_owned(), None)),
            Some(Hole::Number(extract)) => Some((text.to_owned(), Some(extract))),
            Some(Hole::Line | Hole::Bits) => None,
        });
        pieces.collect()
    }

    /// Pieces of a text, each with the hole behind it, none behind the last; `None`
    /// where it cannot stand for other captures.
    pub fn holes(self, text: &str) -> Option<Vec<(&str, Option<Hole>)>> {
        if self.failed.into_inner() {
            return None;
        }
        let found = self.found.into_inner();
        let mut pieces = Vec::new();
        let mut parts = text.split(MARK);
        loop {
            let text = parts.next()?;
            let Some(number) = parts.next() else {
                pieces.push((text, None));
                return Some(pieces);
            };
            let hole = found.get(number.parse::<usize>().ok()?)?.clone();
            pieces.push((text, Some(hole)));
        }
    }
}

/// Whether a text can stand in a record with gaps.
pub fn unmarked(text: &str) -> bool {
    !text.contains(MARK)
}
