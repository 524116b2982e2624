//! The distinct captures of a part of a batch, to be put together with those
//! of other parts: what partitions of a large file, or several machines, have
//! seen of one site.
//!
//! What is kept depends on the set of captures alone: in whatever order and
//! parts they are seen and merged, the same are kept, and their bytes are the
//! same.

use std::collections::{BTreeMap, HashMap};

use thiserror::Error;

use super::batch::Batch;
use super::sketch::{KEPT_MOST, SAMPLE_MOST, Sketch};
use crate::bits::{Capture, Wide};

/// First byte of the form that [`Seen::to_bytes`] writes.
const VERSION: u8 = 1;

/// Distinct captures by the reader they came from: all up to
/// [`Batch::EXACT`], a fair sample of more. A fit needs nothing else.
///
/// # Examples
/// ```
/// use holdover::bits::Capture;
/// use holdover::layout::builtin;
/// use holdover::rank::{Batch, Seen};
/// let capture: Capture = "10100000100010000111000011".parse()?;
/// let (mut gate, mut yard) = (Seen::new(), Seen::new());
/// gate.see("gate", &capture);
/// yard.see("yard", &capture);
/// yard.see("yard", &capture);
/// gate.merge(&yard);
/// assert_eq!(gate.distinct(), 2);
/// let again = Seen::from_bytes(&gate.to_bytes()).unwrap();
/// let mut batch = Batch::new(builtin(), None);
/// batch.see_all(&again);
/// assert_eq!(batch.distinct(), 2);
/// # Ok::<(), holdover::bits::CaptureError>(())
/// ```
#[derive(Debug)]
pub struct Seen {
    sketch: Sketch,
    readers: Vec<String>,
    index: HashMap<String, u32>,
    /// The reader seen last.
    last: usize,
}

impl Default for Seen {
    fn default() -> Seen {
        Seen::new()
    }
}

/// Bytes that are no captures seen.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("byte {at}: {what}")]
pub struct SeenError {
    /// Which byte, from 1.
    at: usize,
    what: &'static str,
}

impl Seen {
    /// None yet.
    pub fn new() -> Seen {
        Seen { sketch: Sketch::new(), readers: Vec::new(), index: HashMap::new(), last: 0 }
    }

    /// Adds a capture of a reader, whose name may be empty; whether it is kept
    /// beside all that were kept before.
    pub fn see(&mut self, reader: &str, capture: &Capture) -> bool {
        let (reader, before) = (self.reader(reader), self.sketch.count());
        self.sketch.see(reader, capture.len(), capture.words());
        self.sketch.count() > before
    }

    fn reader(&mut self, name: &str) -> u32 {
        if self.readers.get(self.last).is_some_and(|last| last == name) {
            return self.last as u32;
        }
        let reader = match self.index.get(name) {
            Some(reader) => *reader,
            None => {
                let reader = self.readers.len() as u32;
                self.readers.push(name.to_owned());
                self.index.insert(name.to_owned(), reader);
                self.sketch.add_reader(name);
                reader
            }
        };
        self.last = reader as usize;
        reader
    }

    /// Adds all that another part has seen.
    pub fn merge(&mut self, other: &Seen) {
        let readers: Vec<u32> = other.readers.iter().map(|name| self.reader(name)).collect();
        self.sketch.merge(&other.sketch, &readers);
    }

    /// How many distinct captures, each reader's counted for itself; see
    /// [`Batch::distinct`].
    pub fn distinct(&self) -> u64 {
        (self.sketch.count() as u64) << self.sketch.level()
    }

    /// How many of them are kept.
    pub fn kept(&self) -> usize {
        self.sketch.count()
    }

    /// The readers, in the order first seen.
    pub fn readers(&self) -> &[String] {
        &self.readers
    }

    /// As bytes, the same for the same set of captures: about a byte for eight
    /// bits of each capture kept, and the names of the readers.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut by_reader: Vec<BTreeMap<usize, Vec<Wide>>> =
            vec![BTreeMap::new(); self.readers.len()];
        for (reader, capture) in self.sketch.iter() {
            by_reader[reader as usize].entry(capture.len()).or_default().push(capture.wide());
        }
        let mut order: Vec<usize> = (0..self.readers.len()).collect();
        order.sort_unstable_by_key(|i| &self.readers[*i]);
        let mut out = vec![VERSION, self.sketch.level() as u8];
        put(&mut out, order.len());
        for i in order {
            let (name, lengths) = (&self.readers[i], &mut by_reader[i]);
            put(&mut out, name.len());
            out.extend_from_slice(name.as_bytes());
            put(&mut out, lengths.len());
            for (length, captures) in lengths {
                captures.sort_unstable();
                put(&mut out, *length);
                put(&mut out, captures.len());
                for capture in captures {
                    let bytes = capture.0.iter().flat_map(|word| word.to_be_bytes());
                    out.extend(bytes.take(length.div_ceil(8)));
                }
            }
        }
        out
    }

    /// What [`Seen::to_bytes`] wrote.
    ///
    /// # Errors
    /// The bytes are cut, damaged, or of another version.
    pub fn from_bytes(bytes: &[u8]) -> Result<Seen, SeenError> {
        let mut from = From { bytes, at: 0 };
        if from.byte()? != VERSION {
            return Err(from.wrong("of another version: fit the captures anew"));
        }
        let level = u32::from(from.byte()?);
        if level > 63 {
            return Err(from.wrong("more halvings than a sample has"));
        }
        let mut seen = Seen::new();
        seen.sketch.keep_below(level);
        let most = if level == 0 { KEPT_MOST } else { SAMPLE_MOST };
        for _ in 0..from.number()? {
            let count = from.number()?;
            let name = std::str::from_utf8(from.take(count)?);
            let Ok(name) = name else { return Err(from.wrong("a reader's name is no UTF-8")) };
            if seen.index.contains_key(name) {
                return Err(from.wrong("a reader comes twice"));
            }
            let reader = seen.reader(name);
            for _ in 0..from.number()? {
                let (length, count) = (from.number()?, from.number()?);
                if !(1..=Capture::MAX_BITS).contains(&length) {
                    return Err(from.wrong("a capture has 1 to 256 bits"));
                }
                for _ in 0..count {
                    let mut padded = [0; Capture::MAX_BITS / 8];
                    padded[..length.div_ceil(8)].copy_from_slice(from.take(length.div_ceil(8))?);
                    let capture = Capture::from_wide(wide(&padded), length)
                        .ok()
                        .filter(|capture| capture.wide() == wide(&padded));
                    let Some(capture) = capture else {
                        return Err(from.wrong("a capture has bits behind its end"));
                    };
                    let before = seen.sketch.count();
                    seen.sketch.see(reader, length, capture.words());
                    if seen.sketch.count() != before + 1 || before == most {
                        return Err(from.wrong("a capture that is not kept, or is kept twice"));
                    }
                }
            }
        }
        if from.at < bytes.len() {
            return Err(from.wrong("more bytes than captures"));
        }
        Ok(seen)
    }
}

impl Batch<'_> {
    /// Adds all captures that were seen elsewhere.
    pub fn see_all(&mut self, seen: &Seen) {
        let readers: Vec<u32> = seen.readers.iter().map(|name| self.reader_or_new(name)).collect();
        self.sketch.merge(&seen.sketch, &readers);
    }
}

fn wide(bytes: &[u8; Capture::MAX_BITS / 8]) -> Wide {
    let mut words = bytes.chunks_exact(8);
    Wide(std::array::from_fn(|_| {
        let word = words.next().and_then(|word| word.try_into().ok());
        word.map_or(0, u64::from_be_bytes)
    }))
}

/// A whole number, seven bits a byte, the lowest first; the highest bit of a byte says
/// that more follow (LEB128, as DWARF 5, 7.6 has it).
fn put(out: &mut Vec<u8>, mut number: usize) {
    while number >= 0x80 {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

struct From<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> From<'a> {
    fn wrong(&self, what: &'static str) -> SeenError {
        SeenError { at: self.at.max(1), what }
    }

    fn take(&mut self, count: usize) -> Result<&'a [u8], SeenError> {
        let rest = &self.bytes[self.at..];
        let Some(taken) = rest.get(..count) else {
            self.at = self.bytes.len();
            return Err(self.wrong("the end is cut off"));
        };
        self.at += count;
        Ok(taken)
    }

    fn byte(&mut self) -> Result<u8, SeenError> {
        Ok(self.take(1)?[0])
    }

    fn number(&mut self) -> Result<usize, SeenError> {
        let mut number = 0;
        for shift in (0..35).step_by(7) {
            let byte = self.byte()?;
            number |= usize::from(byte & 0x7F) << shift;
            if byte & 0x80 == 0 {
                return Ok(number);
            }
        }
        Err(self.wrong("a number is too long"))
    }
}

#[cfg(test)]
mod tests {
    use fastrand::Rng;

    use super::*;
    use crate::layout::builtin;

    fn draw(rng: &mut Rng, values: u64) -> (String, Capture) {
        let reader = ["", "gate", "yard"][rng.usize(..3)];
        let length = [1, 8, 26, 34, 63, 64, 65, 200, 256][rng.usize(..9)];
        let wide = Wide(std::array::from_fn(|_| rng.u64(..values).reverse_bits()));
        (reader.to_owned(), Capture::from_wide(wide & Wide::ones(length), length).unwrap())
    }

    /// Seen in parts, in another order, merged in another order.
    fn in_parts(all: &[(String, Capture)], rng: &mut Rng) -> Seen {
        let mut parts: Vec<Seen> = (0..5).map(|_| Seen::new()).collect();
        let mut all: Vec<_> = all.iter().collect();
        rng.shuffle(&mut all);
        for (reader, capture) in all {
            parts[rng.usize(..5)].see(reader, capture);
        }
        rng.shuffle(&mut parts);
        let mut whole = Seen::new();
        for part in &parts {
            whole.merge(&Seen::from_bytes(&part.to_bytes()).unwrap());
        }
        whole
    }

    #[test]
    fn parts_in_any_order_are_the_whole() {
        let mut rng = Rng::with_seed(1);
        let all: Vec<_> = (0..3_000).map(|_| draw(&mut rng, 64)).collect();
        let mut whole = Seen::new();
        all.iter().for_each(|(reader, capture)| _ = whole.see(reader, capture));
        for _ in 0..5 {
            assert_eq!(in_parts(&all, &mut rng).to_bytes(), whole.to_bytes());
        }
    }

    /// More than are all kept: the sample is the batch's own.
    #[test]
    fn samples_in_any_order_are_the_whole() {
        let mut rng = Rng::with_seed(2);
        let mut word = || rng.u64(..) & !0 << 29;
        let all: Vec<Capture> = (0..KEPT_MOST + KEPT_MOST / 4)
            .map(|_| Capture::from_wide(Wide([word(), 0, 0, 0]), 35).unwrap())
            .collect();
        let mut batch = Batch::new(builtin(), None);
        all.iter().for_each(|capture| batch.see(&(*capture).into()));
        let of = |some: &[Capture]| {
            let mut seen = Seen::new();
            some.iter().for_each(|capture| _ = seen.see("", capture));
            Seen::from_bytes(&seen.to_bytes()).unwrap()
        };
        // One part exact and one sampled; both exact; both sampled alike.
        for at in [KEPT_MOST / 8, KEPT_MOST / 2, KEPT_MOST] {
            let (a, b) = (of(&all[..at]), of(&all[at..]));
            let (mut one, mut other) = (Seen::new(), Seen::new());
            one.merge(&a);
            one.merge(&b);
            other.merge(&b);
            other.merge(&a);
            assert_eq!(one.to_bytes(), other.to_bytes());
            assert_eq!(
                (one.sketch.level(), one.distinct()),
                (batch.sketch.level(), batch.distinct())
            );
            assert!(one.sketch.iter().all(|(_, capture)| batch.sketch.holds(0, &capture)));
        }
        assert!(batch.sketch.level() > 0);
    }

    /// Every byte changed, and every cut: an error, or captures in their one form.
    #[test]
    fn damaged_bytes_are_refused() {
        let mut rng = Rng::with_seed(3);
        let mut seen = Seen::new();
        for _ in 0..40 {
            let (reader, capture) = draw(&mut rng, 1 << 40);
            seen.see(&reader, &capture);
        }
        let bytes = seen.to_bytes();
        for cut in 0..bytes.len() {
            assert!(Seen::from_bytes(&bytes[..cut]).is_err(), "{cut}");
        }
        for at in 0..bytes.len() {
            let mut bytes = bytes.clone();
            bytes[at] ^= 1 << rng.u8(..8);
            if let Ok(seen) = Seen::from_bytes(&bytes) {
                assert_eq!(seen.to_bytes().len(), bytes.len(), "{at}");
            }
        }
        let more = [&bytes[..], &[0]].concat();
        assert_eq!(Seen::from_bytes(&more).unwrap_err().what, "more bytes than captures");
        assert_eq!(
            Seen::from_bytes(&[9]).unwrap_err().to_string(),
            "byte 1: of another version: fit the captures anew"
        );
    }
}
