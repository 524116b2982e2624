//! Records with holes: what is the same for all captures of a class is
//! rendered once, and the numbers of each capture are filled in.
//!
//! A record is rendered by the same code either way. With holes, a number
//! comes out as a mark, and the bytes between the marks are kept.

use std::cell::RefCell;

use holdover::decode::{Decoder, Pick};
use holdover::layout::{Code, Field, Part};
use holdover::rank::Candidate;

/// What stands before and after the number of a hole: a character no input
/// can hold where holes are used.
const MARK: char = '\u{F8FF}';

/// What goes into a hole.
#[derive(Debug, Clone)]
enum Hole {
    /// The number of the line.
    Line,
    /// The capture as 0 and 1.
    Bits,
    /// A number of the word.
    Number(Pick),
}

/// The holes of a record being rendered.
pub struct Holes<'f> {
    decoder: &'f Decoder<'f>,
    found: RefCell<Vec<Hole>>,
    /// Something was asked for that no hole holds.
    failed: RefCell<bool>,
}

impl<'f> Holes<'f> {
    /// No hole yet, in the records of captures of a decoder's length.
    pub fn new(decoder: &'f Decoder<'f>) -> Holes<'f> {
        Holes { decoder, found: RefCell::default(), failed: RefCell::default() }
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
        let view = self.decoder.views().iter().find(|view| {
            self.decoder.layout(view).id() == candidate.layout.id()
                && view.reading == candidate.reading
                && view.restored == candidate.restored
        });
        match view {
            Some(view) if field.code == Code::Binary => {
                self.mark(Hole::Number(view.pick(&field.span)))
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

    /// A record cut at its holes; `None` where it is none that can be kept.
    pub fn cut(self, record: &str) -> Option<Record> {
        if self.failed.into_inner() {
            return None;
        }
        let found = self.found.into_inner();
        let mut pieces: Vec<(Vec<u8>, Option<Hole>)> = Vec::new();
        let mut parts = record.split(MARK);
        loop {
            let text = parts.next()?.as_bytes().to_vec();
            let Some(number) = parts.next() else {
                pieces.push((text, None));
                return Some(Record { pieces });
            };
            let hole = found.get(number.parse::<usize>().ok()?)?.clone();
            pieces.push((text, Some(hole)));
        }
    }
}

/// Whether a text can stand in a record with holes.
pub fn unmarked(text: &str) -> bool {
    !text.contains(MARK)
}

/// A record as bytes and holes.
#[derive(Debug)]
pub struct Record {
    pieces: Vec<(Vec<u8>, Option<Hole>)>,
}

impl Record {
    /// Writes the record of one capture: `line` its number as digits, `word`
    /// its `length` bits, the first the highest.
    #[inline]
    pub fn fill(&self, out: &mut Vec<u8>, line: &[u8], word: u64, length: usize) {
        for (text, hole) in &self.pieces {
            out.extend_from_slice(text);
            match hole {
                None => {}
                Some(Hole::Line) => out.extend_from_slice(line),
                Some(Hole::Bits) => {
                    let bits: [u8; 64] =
                        std::array::from_fn(|i| b'0' + (word >> (63 - i) & 1) as u8);
                    out.extend_from_slice(&bits[..length]);
                }
                Some(Hole::Number(pick)) => {
                    let number = pick.number(word);
                    match u64::try_from(number) {
                        Ok(number) => {
                            out.extend_from_slice(itoa::Buffer::new().format(number).as_bytes());
                        }
                        Err(_) => out.extend_from_slice(number.to_string().as_bytes()),
                    }
                }
            }
        }
    }
}
