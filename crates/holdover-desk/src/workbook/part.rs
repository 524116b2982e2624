//! One part of a package as a stream of XML events, bounded in every way.

use std::cell::Cell;
use std::io::{self, BufRead, BufReader, Read};
use std::rc::Rc;

use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

/// Most bytes of one event. A cell holds 32,767 characters at most (common
/// practice of spreadsheets), each at most ten bytes as `&#1234567;`.
pub const MAX_EVENT: usize = 1 << 19;

/// Deepest nesting; a sheet is eight deep (judgement, no source).
pub const MAX_DEPTH: usize = 64;

/// Bytes that may still be unpacked of a package, over all its parts.
pub type Budget = Rc<Cell<u64>>;

/// Counts what is read, and ends the reading where it is too much.
struct Metered<R> {
    from: BufReader<R>,
    since: usize,
    budget: Budget,
    left: u64,
}

impl<R: Read> Read for Metered<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(into)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: Read> BufRead for Metered<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.since > MAX_EVENT {
            return Err(io::Error::other(format!("a text or tag of more than {MAX_EVENT} bytes")));
        }
        if self.budget.get() == 0 || self.left == 0 {
            return Err(io::Error::other("it unpacks to more than a sheet of cards needs"));
        }
        self.from.fill_buf()
    }

    fn consume(&mut self, count: usize) {
        self.since += count;
        self.left = self.left.saturating_sub(count as u64);
        self.budget.set(self.budget.get().saturating_sub(count as u64));
        self.from.consume(count);
    }
}

/// A part being read.
pub struct Part<R: Read> {
    xml: Reader<Metered<R>>,
    buffer: Vec<u8>,
    depth: usize,
}

impl<R: Read> Part<R> {
    /// Reads at most `most` bytes.
    pub fn new(from: R, most: u64, budget: Budget) -> Part<R> {
        let from = BufReader::with_capacity(1 << 16, from);
        let mut xml = Reader::from_reader(Metered { from, since: 0, budget, left: most });
        xml.config_mut().expand_empty_elements = true;
        Part { xml, buffer: Vec::new(), depth: 0 }
    }

    /// The next event.
    pub fn next(&mut self) -> Result<Event<'_>, String> {
        self.xml.get_mut().since = 0;
        self.buffer.clear();
        let event = self
            .xml
            .read_event_into(&mut self.buffer)
            .map_err(|error| format!("it cannot be read: {error}: save it anew"))?;
        match event {
            Event::Start(_) => self.depth += 1,
            Event::End(_) => self.depth = self.depth.saturating_sub(1),
            Event::Eof if self.depth > 0 => {
                return Err("it ends in the middle: save it anew".to_owned());
            }
            _ => {}
        }
        match self.depth > MAX_DEPTH {
            true => Err(format!("it nests deeper than {MAX_DEPTH}: save it anew")),
            false => Ok(event),
        }
    }

    /// All text until the element that has begun ends; that of elements named
    /// `but` is left out.
    pub fn text(&mut self, but: &str) -> Result<String, String> {
        let (outside, mut left_out, mut text) = (self.depth - 1, None, String::new());
        loop {
            let depth = self.depth;
            match self.next()? {
                Event::Start(tag) if left_out.is_none() && tag.local_name().as_ref() == but => {
                    left_out = Some(depth);
                }
                Event::End(_) if depth == outside + 1 => return Ok(text),
                Event::End(_) if left_out.is_some_and(|left_out| depth == left_out + 1) => {
                    left_out = None;
                }
                Event::Text(more) if left_out.is_none() => text.push_str(&more.xml10_content()),
                Event::CData(more) if left_out.is_none() => text.push_str(&more.xml10_content()),
                Event::GeneralRef(name) if left_out.is_none() => {
                    let named = match &*name.xml10_content() {
                        "amp" => Some('&'),
                        "lt" => Some('<'),
                        "gt" => Some('>'),
                        "quot" => Some('"'),
                        "apos" => Some('\''),
                        _ => name.resolve_char_ref().ok().flatten(),
                    };
                    text.push(named.unwrap_or(char::REPLACEMENT_CHARACTER));
                }
                _ => {}
            }
            if text.len() > MAX_EVENT {
                return Err(format!("a cell of more than {MAX_EVENT} bytes"));
            }
        }
    }
}

/// An attribute by its name without prefix.
pub fn attribute(tag: &BytesStart<'_>, name: &str) -> Option<String> {
    let found = tag.attributes().flatten().find(|a| a.key.local_name().as_ref() == name)?;
    found.normalized_value(XmlVersion::Implicit1_0).ok().map(std::borrow::Cow::into_owned)
}
