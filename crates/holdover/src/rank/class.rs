//! Classes: captures that ranking cannot tell apart.
//!
//! What ranking looks at is which rules hold in each view of a capture, which
//! site code each view carries, and whether the site file lists the card. The
//! *signature* of a capture is that and nothing else, so that captures of one
//! reader, length and signature have the same answer but for their numbers.

use std::collections::{HashMap, HashSet};

use super::batch::Batch;
use super::guess::{Kind, wiring};
use super::known::{Known, Owned};
use super::sketch::Sketch;
use crate::bits::{Capture, Span, Wide};
use crate::decode::{BitExtract, Bits, Decoder, View};
use crate::layout::{Code, Part};

/// Makes signatures of captures of one length and one reader.
#[derive(Debug, Clone)]
pub struct Classifier<'f> {
    decoder: &'f Decoder<'f>,
    /// Relations of views whose wiring is not ruled out.
    mask: Vec<u64>,
    /// Bits that a code of such a view is read from.
    codes: Wide,
    /// Of these, bits that tell whether a capture is like the others.
    common: Wide,
    owned: Vec<Listed<'f>>,
    /// Keys as a table row for each byte of a capture; none where no word holds
    /// them.
    keys: Vec<[u64; 256]>,
    /// For a sample of a large batch.
    sample: Option<Sample<'f>>,
}

/// What tells the captures of a sample from others, and codes that it knows.
#[derive(Debug, Clone)]
struct Sample<'f> {
    sketch: &'f Sketch,
    level: u32,
    reader: u32,
    /// A code that no capture of the sample carries is as good as any other.
    codes: Vec<CodeOf<'f>>,
}

impl Sample<'_> {
    #[inline]
    fn counts(&self, length: usize, words: &[u64]) -> bool {
        self.sketch.is_below(self.level, self.reader, length, words)
    }
}

/// The code that a view carries.
#[derive(Debug, Clone)]
struct CodeOf<'f> {
    extract: BitExtract,
    /// Its bits in the capture.
    bits: Wide,
    known: &'f KnownCodes,
}

/// The codes of one layout that some capture of the sample carries.
#[derive(Debug, Clone)]
pub(super) enum KnownCodes {
    /// A bit a number.
    Few(Vec<u64>),
    Many(HashSet<u128>),
}

/// Longest codes that are looked up by number: 8 kB.
const FEW: usize = 16;

impl KnownCodes {
    pub fn of(length: usize, codes: impl Iterator<Item = u128>) -> KnownCodes {
        if length > FEW {
            return KnownCodes::Many(codes.collect());
        }
        let mut bits = vec![0u64; (1usize << length).div_ceil(64)];
        codes.for_each(|code| bits[code as usize / 64] |= 1 << (code % 64));
        KnownCodes::Few(bits)
    }

    #[inline]
    fn has(&self, code: u128) -> bool {
        match self {
            KnownCodes::Few(bits) => bits[code as usize / 64] >> (code % 64) & 1 == 1,
            KnownCodes::Many(codes) => codes.contains(&code),
        }
    }
}

/// Whether the site file lists a card, as one view reads it.
#[derive(Debug, Clone)]
struct Listed<'f> {
    owned: &'f Owned,
    site: Option<BitExtract>,
    card: BitExtract,
}

impl<'f> Classifier<'f> {
    /// `live` says which states of the wiring are not ruled out, `known` which
    /// codes of each kind a sample has, `common` which bits tell whether a
    /// capture is like the others of its length.
    pub(super) fn new(
        decoder: &'f Decoder<'f>,
        kinds: &'f [Kind<'_>],
        live: [bool; 4],
        common: Wide,
        sample: Option<(&'f Sketch, u32, u32, &'f [Option<KnownCodes>])>,
    ) -> Classifier<'f> {
        let mut views = vec![0u64; decoder.groups()];
        let mut codes = common;
        let mut owned = Vec::new();
        let mut of_views = Vec::new();
        for (v, view) in decoder.views().iter().enumerate() {
            if !live[wiring(view.reading)] {
                continue;
            }
            views[v / 64] |= 1 << (v % 64);
            let kind = &kinds[view.layout];
            if let Some((span, _)) = &kind.code {
                codes = codes | view.sources(span.mask());
                if let Some((.., known)) = sample
                    && let Some(known) = &known[view.layout]
                {
                    let (extract, bits) = (view.extract(span), view.sources(span.mask()));
                    of_views.push(CodeOf { extract, bits, known });
                }
            }
            if !kind.owned.is_empty() {
                match kind.layout.card_span() {
                    Some(card) if plain(kind) => owned.push(Listed {
                        owned: &kind.owned,
                        site: kind.layout.site_span().map(|span| view.extract(span)),
                        card: view.extract(card),
                    }),
                    // Numbers of several or decimal fields: all their bits tell.
                    _ => {
                        for part in [kind.layout.site_span(), kind.layout.card_span()] {
                            let bits = part.map_or(Wide::ZERO, |span| span.mask());
                            codes = codes | view.sources(bits);
                        }
                    }
                }
            }
        }
        let mask = decoder.syndrome_mask(&views);
        let sample = sample.map(|(sketch, level, reader, _)| Sample {
            sketch,
            level,
            reader,
            codes: of_views,
        });
        let mut classifier =
            Classifier { decoder, mask, codes, common, owned, keys: Vec::new(), sample };
        classifier.keys = classifier.key_rows().unwrap_or_default();
        classifier
    }

    /// Syndromes and bits of codes are linear over GF(2), and so is moving bits:
    /// where the syndromes fit behind the capture, they and its codes are the
    /// XOR of one word a byte. The lowest bit is left for what is counted.
    fn key_rows(&self) -> Option<Vec<[u64; 256]>> {
        let length = self.decoder.length();
        let live: Vec<(usize, u32)> = (self.mask.iter().enumerate())
            .flat_map(|(word, mask)| {
                (0..64).filter(move |bit| mask >> bit & 1 == 1).map(move |bit| (word, bit))
            })
            .collect();
        let linear = self.owned.is_empty() && self.decoder.decimal_words() == 0;
        if !linear || length + live.len() >= 64 {
            return None;
        }
        let mut syndrome = vec![0; self.decoder.stride()];
        let mut of = |word: u64| {
            self.decoder.syndrome(word, &mut syndrome);
            let fails =
                live.iter().zip(1..).map(|((at, bit), to)| (syndrome[*at] >> bit & 1) << to);
            fails.fold(word & self.codes.0[0], |all, fail| all | fail)
        };
        let zero = of(0);
        let rows = (0..length.div_ceil(8)).map(|byte| {
            std::array::from_fn(|value| {
                let row = of((value as u64) << (56 - 8 * byte)) ^ zero;
                // What a capture of zeros has goes with the first byte.
                if byte == 0 { row ^ zero } else { row }
            })
        });
        Some(rows.collect())
    }

    /// Whether [`Classifier::key`] tells captures apart.
    pub fn has_keys(&self) -> bool {
        !self.keys.is_empty()
    }

    /// One word that says at least as much as the signature: captures of equal
    /// keys have equal signatures. Only where [`Classifier::has_keys`].
    #[inline]
    pub fn key(&self, capture: u64) -> u64 {
        let key = self
            .keys
            .iter()
            .enumerate()
            .fold(0, |all, (byte, row)| all ^ row[usize::from(Bits::byte(capture, byte))]);
        match &self.sample {
            None => key,
            Some(sample) => key | u64::from(sample.counts(self.decoder.length(), &[capture])),
        }
    }

    /// The decoder of the captures' length, all readings in order.
    pub fn decoder(&self) -> &'f Decoder<'f> {
        self.decoder
    }

    /// Whether all captures of this one's signature have the same number in a
    /// span of a view's word.
    pub fn fixes(&self, view: &View, span: &Span, capture: Wide) -> bool {
        let bits = view.sources(span.mask());
        match &self.sample {
            None => (bits & !self.codes).is_zero(),
            // A code that the sample knows is told from all others.
            Some(sample) => sample.codes.iter().any(|code| {
                (bits & !code.bits).is_zero() && code.known.has(code.extract.number(capture))
            }),
        }
    }

    /// Words of a signature.
    pub fn stride(&self) -> usize {
        let words = self.decoder.length().div_ceil(64);
        self.decoder.stride() + self.decoder.decimal_words() + words + self.tail()
    }

    /// Words for what is counted and listed.
    fn tail(&self) -> usize {
        let codes = self.sample.as_ref().map_or(0, |sample| 2 * sample.codes.len());
        codes + (1 + self.owned.len()).div_ceil(64)
    }

    /// Writes the signature of a capture to `out` of [`Classifier::stride`] words.
    #[inline]
    pub fn sign<B: Bits>(&self, capture: B, out: &mut [u64]) {
        let stride = self.decoder.stride();
        let (syndrome, rest) = out.split_at_mut(stride);
        self.decoder.syndrome(capture, syndrome);
        syndrome.iter_mut().zip(&self.mask).for_each(|(word, mask)| *word &= mask);
        let (digits, rest) = rest.split_at_mut(self.decoder.decimal_words());
        if !digits.is_empty() {
            self.decoder.digits(capture, digits);
        }
        let (codes, tail) = rest.split_at_mut(rest.len() - self.tail());
        tail.iter_mut().for_each(|word| *word = 0);
        match &self.sample {
            None => {
                for (i, word) in codes.iter_mut().enumerate() {
                    *word = capture.word(i) & self.codes.0[i];
                }
            }
            // Code by code, since views may share bits; unknown ones are alike.
            Some(sample) => {
                for (i, word) in codes.iter_mut().enumerate() {
                    *word = capture.word(i) & self.common.0[i];
                }
                let words = capture.wide().0;
                let length = self.decoder.length();
                let own = tail.len() - 2 * sample.codes.len();
                tail[0] = u64::from(sample.counts(length, &words[..length.div_ceil(64)]));
                for (code, words) in sample.codes.iter().zip(tail[own..].chunks_exact_mut(2)) {
                    let number = code.extract.number(capture);
                    // A number of 128 bits leaves no room for a mark.
                    let shown = if code.known.has(number) { number } else { u128::MAX };
                    words[0] = (shown >> 64) as u64;
                    words[1] = shown as u64;
                }
            }
        }
        for (i, listed) in self.owned.iter().enumerate() {
            let site = listed.site.as_ref().map_or(0, |extract| extract.number(capture));
            let lists = listed.owned.lists(site, listed.card.number(capture));
            tail[(i + 1) / 64] |= u64::from(lists) << ((i + 1) % 64);
        }
    }
}

/// Tells captures of one reader and length apart, whoever else sent them and
/// whether they were seen or not.
#[derive(Debug, Clone)]
pub struct Teller<'f> {
    /// Makes their signatures.
    pub classifier: Classifier<'f>,
    sketch: &'f Sketch,
    classes: &'f Classes<'f>,
    reader: u32,
}

impl Teller<'_> {
    /// How many readers sent a capture that is counted; 0 where it is not.
    /// Captures of one signature for which this is the same have the same
    /// answer but for their numbers.
    pub fn readers(&self, capture: &Capture) -> u32 {
        self.classes.readers_of(self.sketch, self.reader, capture)
    }
}

/// Whether a kind's numbers are one binary field each.
fn plain(kind: &Kind<'_>) -> bool {
    [Part::Site, Part::Card].into_iter().all(|part| {
        let mut fields = kind.layout.fields().iter().filter(|field| field.belongs_to(part));
        let one = fields.next().is_none_or(|field| field.code == Code::Binary);
        one && fields.next().is_none()
    })
}

/// A class of the captures that are counted.
#[derive(Debug, Clone)]
pub(super) struct Class {
    pub reader: u32,
    /// One of them.
    pub capture: Capture,
    pub known: Known,
    /// States of the reader's wiring that are not ruled out.
    pub live: [bool; 4],
    /// A capture that several readers sent is one card: its share of it.
    pub weight: f64,
    /// How many captures.
    pub count: f64,
}

/// The classes of one reader and length.
#[derive(Debug, Clone)]
struct Sorter<'f> {
    classifier: Classifier<'f>,
    /// ClassIndex, how many readers share the capture behind each.
    class_index: ClassIndex,
    classes: Vec<u32>,
}

/// The classes of a batch, in an order that does not depend on how its
/// captures came, so that sums over them are the same to the last bit.
#[derive(Debug, Clone)]
pub(super) struct Classes<'f> {
    all: Vec<Class>,
    live: Vec<[bool; 4]>,
    /// Bits by length that tell whether a capture is like the others.
    common: HashMap<usize, Wide>,
    /// Halvings that leave the captures that are counted.
    level: u32,
    sorters: HashMap<(u32, usize), Sorter<'f>>,
    /// Captures of which something is known have a class of their own.
    known: HashMap<(u32, Capture), u32>,
    /// Captures that more than one reader sent, and how many.
    shared: HashMap<Capture, u32>,
}

impl<'f> Classes<'f> {
    /// The classes of some of a batch's captures; `None` where there are more
    /// than `most`.
    pub fn of(
        batch: &'f Batch<'_>,
        items: impl Iterator<Item = (u32, Capture)> + Clone,
        live: &[[bool; 4]],
        common: &HashMap<usize, Wide>,
        level: u32,
        most: usize,
    ) -> Option<Classes<'f>> {
        let mut classes = Classes {
            all: Vec::new(),
            common: common.clone(),
            live: live.to_vec(),
            level,
            sorters: HashMap::new(),
            known: HashMap::new(),
            shared: HashMap::new(),
        };
        if live.len() > 1 {
            for (_, capture) in items.clone() {
                *classes.shared.entry(capture).or_default() += 1;
            }
            classes.shared.retain(|_, readers| *readers > 1);
        }
        // (reader, length), signature, known capture: what a class is sorted by.
        let mut keys: Vec<(u32, usize, Vec<u64>, Option<Capture>)> = Vec::new();
        let (mut last, mut sorter) = (None, None);
        let mut signature = Vec::new();
        for (reader, capture) in items {
            let length = capture.len();
            if last != Some((reader, length)) {
                if let (Some(at), Some(sorter)) = (last, sorter.take()) {
                    classes.sorters.insert(at, sorter);
                }
                last = Some((reader, length));
                let before = classes.sorters.remove(&(reader, length));
                let common = common.get(&length).copied().unwrap_or(Wide::ZERO);
                let live = live[reader as usize];
                sorter = Some(before.unwrap_or_else(|| Sorter::new(batch, length, live, common)));
            }
            let Some(sorter) = &mut sorter else { continue };
            let readers = classes.shared.get(&capture).copied().unwrap_or(1);
            let class = |known: &Known| Class {
                reader,
                capture,
                known: known.clone(),
                live: live[reader as usize],
                weight: 1.0 / f64::from(readers),
                count: 1.0,
            };
            if let Some(known) = batch.known.get(&(reader, capture)) {
                classes.known.insert((reader, capture), classes.all.len() as u32);
                classes.all.push(class(known));
                keys.push((reader, length, Vec::new(), Some(capture)));
            } else {
                signature.resize(sorter.classifier.stride() + 1, 0);
                sorter.sign(&capture, readers, &mut signature);
                let number = sorter.class_index.number(&signature);
                match sorter.classes.get(number) {
                    Some(class) => classes.all[*class as usize].count += 1.0,
                    None => {
                        sorter.classes.push(classes.all.len() as u32);
                        classes.all.push(class(&Known::default()));
                        keys.push((reader, length, signature.clone(), None));
                    }
                }
            }
            if classes.all.len() > most {
                return None;
            }
        }
        if let (Some(at), Some(sorter)) = (last, sorter) {
            classes.sorters.insert(at, sorter);
        }
        classes.sort(batch, &keys);
        Some(classes)
    }

    fn sort(&mut self, batch: &Batch<'_>, keys: &[(u32, usize, Vec<u64>, Option<Capture>)]) {
        let mut order: Vec<u32> = (0..keys.len() as u32).collect();
        order.sort_unstable_by_key(|i| {
            let (reader, length, signature, known) = &keys[*i as usize];
            (
                &batch.readers[*reader as usize],
                *length,
                signature,
                known.map(|capture| capture.wide()),
            )
        });
        let mut place = vec![0; order.len()];
        order.iter().zip(0..).for_each(|(from, to)| place[*from as usize] = to);
        self.all = order.iter().map(|i| self.all[*i as usize].clone()).collect();
        let classes = self.sorters.values_mut().flat_map(|sorter| &mut sorter.classes);
        classes.chain(self.known.values_mut()).for_each(|class| *class = place[*class as usize]);
    }

    /// The same with classes behind them that no capture is looked up in.
    pub fn with(mut self, more: Vec<Class>) -> Classes<'f> {
        self.all.extend(more);
        self
    }

    pub fn iter(&self) -> impl Iterator<Item = &Class> + '_ {
        self.all.iter()
    }

    pub fn len(&self) -> usize {
        self.all.len()
    }

    pub fn at(&self, i: usize) -> &Class {
        &self.all[i]
    }

    pub fn live(&self, reader: u32) -> [bool; 4] {
        self.live[reader as usize]
    }

    /// The class of a capture; `None` where it is not counted.
    pub fn find(&self, batch: &Batch<'_>, reader: u32, capture: &Capture) -> Option<usize> {
        if let Some(class) = self.known.get(&(reader, *capture)) {
            return Some(*class as usize);
        }
        let readers = self.readers_of(&batch.sketch, reader, capture);
        if readers == 0 {
            return None;
        }
        let sorter = self.sorters.get(&(reader, capture.len()))?;
        let mut signature = vec![0; sorter.classifier.stride() + 1];
        sorter.sign(capture, readers, &mut signature);
        let number = sorter.class_index.find(&signature)?;
        Some(sorter.classes[number] as usize)
    }

    /// `known` are the codes of each kind that the counted captures carry.
    pub fn classifier(
        &'f self,
        batch: &'f Batch<'_>,
        known: &'f [Option<KnownCodes>],
        reader: u32,
        length: usize,
    ) -> Classifier<'f> {
        let sample = (self.level > 0).then_some((&batch.sketch, self.level, reader, known));
        let (live, common) = (self.live[reader as usize], self.common.get(&length).copied());
        let common = common.unwrap_or(Wide::ZERO);
        Classifier::new(batch.decoder(length), &batch.kinds, live, common, sample)
    }

    /// See [`Teller`].
    pub fn teller(
        &'f self,
        batch: &'f Batch<'_>,
        known: &'f [Option<KnownCodes>],
        reader: u32,
        length: usize,
    ) -> Teller<'f> {
        let classifier = self.classifier(batch, known, reader, length);
        Teller { classifier, sketch: &batch.sketch, classes: self, reader }
    }

    /// How many readers sent a capture that is counted; 0 where it is not.
    fn readers_of(&self, sketch: &Sketch, reader: u32, capture: &Capture) -> u32 {
        let counted = sketch.is_below(self.level, reader, capture.len(), capture.words())
            && sketch.holds(reader, capture);
        match counted {
            true => self.shared.get(capture).copied().unwrap_or(1),
            false => 0,
        }
    }

    /// Whether some captures are not counted.
    pub fn is_sample(&self) -> bool {
        self.level > 0
    }
}

impl<'f> Sorter<'f> {
    fn new(batch: &'f Batch<'_>, length: usize, live: [bool; 4], common: Wide) -> Sorter<'f> {
        let classifier = Classifier::new(batch.decoder(length), &batch.kinds, live, common, None);
        let class_index = ClassIndex::new(classifier.stride() + 1);
        Sorter { classifier, class_index, classes: Vec::new() }
    }

    fn sign(&self, capture: &Capture, readers: u32, out: &mut [u64]) {
        let (last, signature) = out.split_last_mut().expect("a word for the readers");
        self.classifier.sign(capture.wide(), signature);
        *last = u64::from(readers);
    }
}

/// Numbers signatures as they come.
#[derive(Debug, Clone)]
pub struct ClassIndex {
    stride: usize,
    words: Vec<u64>,
    /// Open addressing: number of a signature plus one, 0 where free.
    slots: Vec<u32>,
}

impl ClassIndex {
    /// None yet, of `stride` words each.
    pub fn new(stride: usize) -> ClassIndex {
        ClassIndex { stride: stride.max(1), words: Vec::new(), slots: vec![0; 64] }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.words.len() / self.stride
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.words.is_empty()
    }

    /// The number of a signature, if it has one.
    #[inline]
    pub fn find(&self, signature: &[u64]) -> Option<usize> {
        self.slot(signature).ok()
    }

    /// The number of a signature; a new one gets the next.
    pub fn number(&mut self, signature: &[u64]) -> usize {
        match self.slot(signature) {
            Ok(number) => number,
            Err(slot) => {
                let number = self.len();
                self.words.extend_from_slice(signature);
                self.slots[slot] = number as u32 + 1;
                if 2 * (number + 1) > self.slots.len() {
                    self.grow();
                }
                number
            }
        }
    }

    /// Forgets all, so that memory stays bounded.
    pub fn clear(&mut self) {
        self.words.clear();
        self.slots.fill(0);
    }

    #[inline]
    fn slot(&self, signature: &[u64]) -> Result<usize, usize> {
        let mask = self.slots.len() - 1;
        let mut slot = mix(signature) & mask;
        loop {
            match self.slots[slot] {
                0 => return Err(slot),
                number => {
                    let from = (number as usize - 1) * self.stride;
                    let own = &self.words[from..from + self.stride];
                    // A few words: no call is worth comparing them.
                    if own.iter().zip(signature).all(|(a, b)| a == b) {
                        return Ok(number as usize - 1);
                    }
                }
            }
            slot = (slot + 1) & mask;
        }
    }

    fn grow(&mut self) {
        self.slots = vec![0; 2 * self.slots.len()];
        let mask = self.slots.len() - 1;
        for (i, words) in self.words.chunks_exact(self.stride).enumerate() {
            let mut slot = mix(words) & mask;
            while self.slots[slot] != 0 {
                slot = (slot + 1) & mask;
            }
            self.slots[slot] = i as u32 + 1;
        }
    }
}

#[inline]
fn mix(words: &[u64]) -> usize {
    let mut hash = 0u64;
    for word in words {
        hash = (hash.rotate_left(5) ^ word).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }
    (hash >> 32) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;
    use crate::rank::Observation;

    /// Long codes are kept as a set: by number they would need 2^length bits.
    #[test]
    fn known_codes_are_those_given() {
        for length in [1, FEW, FEW + 1, 64, 128] {
            let last = u128::MAX >> (128 - length);
            let codes = KnownCodes::of(length, [1, last].into_iter());
            assert_eq!(matches!(codes, KnownCodes::Few(_)), length <= FEW);
            assert!(codes.has(1) && codes.has(last), "{length}");
            assert!(!codes.has(0) && (length == 1 || !codes.has(last - 1)), "{length}");
        }
    }

    /// Captures of five lengths have five classes, however often each came.
    #[test]
    fn no_more_classes_than_are_allowed() {
        let mut batch = Batch::new(builtin(), None);
        let lengths = [30, 31, 32, 33, 34, 34, 30];
        let captures = lengths.map(|length| Capture::from_bits((0..length).map(|_| true)).unwrap());
        captures.iter().for_each(|capture| batch.see(&Observation::from(*capture)));
        let items = captures.iter().map(|capture| (0, *capture));
        let of = |most| Classes::of(&batch, items.clone(), &[[true; 4]], &HashMap::new(), 0, most);
        assert_eq!(of(5).map(|classes| classes.len()), Some(5));
        assert!(of(4).is_none());
    }
}
