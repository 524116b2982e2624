//! Fits settled from their bytes, and what was answered by them: kept, so that a
//! fit is settled once in a process, however many rows have it.
//!
//! A fit borrows its batch, and what tells captures apart borrows the fit;
//! self_cell holds each with what it borrows.
#![allow(unsafe_code)]

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use datafusion::common::exec_err;
use datafusion::error::{DataFusionError, Result};
use holdover::bits::{Capture, Wide};
use holdover::rank::{Batch, ClassIndex, Fit, Observation, Teller};
use holdover::say::Cells;
use holdover::site::Site;
use self_cell::self_cell;

use crate::bits::Read;
use crate::frame::{self, Digest};
use crate::given;

/// Captures of all fits kept together; a fit counts as some more. Beyond, all are
/// settled anew. Judgement: a gigabyte.
const KEPT_MOST: usize = 1 << 22;
const FIT_COUNTS: usize = 1 << 11;

type Settled<'b> = Fit<'b, 'static>;

self_cell!(
    struct Owned {
        owner: Batch<'static>,
        #[covariant]
        dependent: Settled,
    }
);

self_cell!(
    /// What one thread has answered by a fit.
    struct Answered {
        owner: Arc<Owned>,
        #[not_covariant]
        dependent: Lanes,
    }
);

/// A fit, settled.
pub struct Fitted {
    owned: Arc<Owned>,
    site: Option<Arc<Site>>,
    /// The names of its readers.
    pub readers: Vec<String>,
    /// What threads answered before, while none is at it: plain, and masked.
    idle: [Mutex<Vec<Answered>>; 2],
}

/// A fit, once somebody has settled it; or why it is none.
type Slot = Arc<OnceLock<std::result::Result<Arc<Fitted>, String>>>;

/// The fits of this process.
#[derive(Default)]
struct Known {
    fits: HashMap<Digest, Slot>,
    /// What they count together.
    count: usize,
}

/// The fit of these bytes.
///
/// # Errors
/// They are none.
pub fn of(bytes: &[u8]) -> Result<Arc<Fitted>> {
    static KNOWN: Mutex<Option<Known>> = Mutex::new(None);
    let digest = frame::named(bytes)?;
    let slot = {
        let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        let known = known.get_or_insert_default();
        if known.count > KEPT_MOST {
            *known = Known::default();
        }
        if !known.fits.contains_key(&digest) {
            // A capture takes a byte or more.
            known.count += FIT_COUNTS + bytes.len() / 4;
        }
        known.fits.entry(digest).or_default().clone()
    };
    let fitted = slot.get_or_init(|| Fitted::new(bytes).map_err(|error| error.to_string()));
    fitted.clone().map_err(DataFusionError::Execution)
}

impl Fitted {
    fn new(bytes: &[u8]) -> Result<Arc<Fitted>> {
        let frame = frame::read(bytes)?;
        let table = given::table(frame.table)?;
        let site = given::site(frame.site, table)?;
        let seen = frame::seen(&frame)?;
        let mut batch = Batch::new(table, site.as_deref());
        batch.see_all(&seen);
        Ok(Arc::new(Fitted {
            owned: Arc::new(Owned::new(batch, |batch| batch.fit())),
            site,
            readers: seen.readers().to_vec(),
            idle: Default::default(),
        }))
    }

    /// Starts to answer rows.
    pub fn answering(self: &Arc<Fitted>, mask: bool) -> Answering {
        let mut idle = self.idle[usize::from(mask)].lock().unwrap_or_else(PoisonError::into_inner);
        let answered = idle.pop();
        drop(idle);
        let answered =
            answered.unwrap_or_else(|| Answered::new(self.owned.clone(), |_| Lanes::default()));
        Answering { fitted: self.clone(), answered: Some(answered), mask }
    }
}

/// One thread's way through rows of a fit; what it answered is kept for the next.
pub struct Answering {
    pub fitted: Arc<Fitted>,
    answered: Option<Answered>,
    mask: bool,
}

impl Drop for Answering {
    fn drop(&mut self) {
        if let Some(answered) = self.answered.take() {
            let idle = &self.fitted.idle[usize::from(self.mask)];
            idle.lock().unwrap_or_else(PoisonError::into_inner).push(answered);
        }
    }
}

impl Answering {
    /// Answers a capture of a reader, or of the only one; its cells' number among
    /// those of `out`.
    ///
    /// # Errors
    /// It must be said which reader's it is.
    pub fn answer(&mut self, reader: Option<&str>, read: &Read, out: &mut Shown) -> Result<u32> {
        let reader = match (reader, &self.fitted.readers[..]) {
            (Some(reader), _) => reader,
            (None, []) => "",
            (None, [only]) => only,
            (None, several) => {
                return exec_err!(
                    "card_answer: the fit has {} readers, and each its wiring: say whose capture \
                     it is, card_answer(bits, fit, reader), or fit without readers",
                    several.len()
                );
            }
        };
        let (site, mask) = (self.fitted.site.as_deref(), self.mask);
        let answered = self.answered.as_mut().expect("there until it is dropped");
        Ok(answered.with_dependent_mut(|owned, lanes| {
            let by = By { fit: owned.borrow_dependent(), site, mask };
            lanes.answer(&by, reader, read, out)
        }))
    }
}

/// The cells that the rows of a block have, each once.
#[derive(Default)]
pub struct Shown {
    /// Which block it is.
    pub block: u64,
    /// Cells; of a row that is no capture, why.
    pub cells: Vec<std::result::Result<Arc<Cells>, String>>,
}

impl Shown {
    /// Adds cells; their number.
    pub fn add(&mut self, cells: std::result::Result<Arc<Cells>, String>) -> u32 {
        self.cells.push(cells);
        self.cells.len() as u32 - 1
    }
}

/// What answers come from.
struct By<'f, 'x> {
    fit: &'f Settled<'f>,
    site: Option<&'x Site>,
    mask: bool,
}

impl By<'_, '_> {
    fn cells(&self, reader: &str, read: &Read) -> Cells {
        let observation = Observation { reader: reader.to_owned(), ..read.capture.into() };
        let answer = self.fit.answer(&observation);
        Cells::of(&observation, &answer, self.site, read.assumed.as_slice(), self.mask)
    }
}

/// The classes of a fit, by reader and length.
#[derive(Default)]
struct Lanes<'f> {
    readers: HashMap<String, usize>,
    /// The reader of the last row, and its number.
    last: (String, usize),
    of: Vec<Vec<Option<Lane<'f>>>>,
    /// Answers of captures that have no class, each for itself.
    each: HashMap<(usize, Capture), Arc<Cells>>,
}

/// Captures without a class that are kept.
const EACH_MOST: usize = 1 << 16;

/// Classes kept of one length and reader; beyond, all are answered anew.
const CLASSES_MOST: usize = 1 << 15;

/// log2 of how many keys are found at once.
const LAST_LOG2: u32 = 9;

/// The classes of one reader and length.
struct Lane<'f> {
    teller: Teller<'f>,
    index: ClassIndex,
    signature: Vec<u64>,
    kept: Vec<Kept>,
    /// The last keys, by hash: how many readers sent the capture, and its class.
    last: Vec<(u64, u32, u32)>,
}

/// A class.
struct Kept {
    /// None where its captures are answered each for itself.
    cells: Option<Arc<Cells>>,
    /// In which block it was shown last, and its number there.
    shown: (u64, u32),
}

impl<'f> Lanes<'f> {
    fn reader(&mut self, name: &str) -> usize {
        if self.last.0 != name || self.of.is_empty() {
            let number = match self.readers.get(name) {
                Some(number) => *number,
                None => {
                    self.of.push(Vec::new());
                    self.readers.insert(name.to_owned(), self.of.len() - 1);
                    self.of.len() - 1
                }
            };
            self.last = (name.to_owned(), number);
        }
        self.last.1
    }

    fn answer(&mut self, by: &By<'f, '_>, name: &str, read: &Read, out: &mut Shown) -> u32 {
        let reader = self.reader(name);
        let (lanes, length) = (&mut self.of[reader], read.capture.len());
        if lanes.len() <= length {
            lanes.resize_with(length + 1, || None);
        }
        if lanes[length].is_none() {
            lanes[length] = by.fit.teller(name, length).map(Lane::new);
        }
        if let (Some(lane), None) = (&mut lanes[length], &read.assumed) {
            let class = lane.class(by, name, &read.capture);
            let kept = &mut lane.kept[class];
            if kept.shown.0 == out.block {
                return kept.shown.1;
            }
            if let Some(cells) = &kept.cells {
                kept.shown = (out.block, out.add(Ok(cells.clone())));
                return kept.shown.1;
            }
        }
        out.add(Ok(self.one(by, reader, name, read)))
    }

    #[cold]
    fn one(&mut self, by: &By<'f, '_>, reader: usize, name: &str, read: &Read) -> Arc<Cells> {
        if read.assumed.is_some() {
            return Arc::new(by.cells(name, read));
        }
        if self.each.len() >= EACH_MOST {
            self.each.clear();
        }
        let cells = self.each.entry((reader, read.capture));
        cells.or_insert_with(|| Arc::new(by.cells(name, read))).clone()
    }
}

impl<'f> Lane<'f> {
    fn new(teller: Teller<'f>) -> Lane<'f> {
        let stride = teller.classifier.stride() + 1;
        Lane {
            index: ClassIndex::new(stride),
            signature: vec![0; stride],
            kept: Vec::new(),
            last: vec![
                (0, 0, u32::MAX);
                if teller.classifier.has_keys() { 1 << LAST_LOG2 } else { 0 }
            ],
            teller,
        }
    }

    /// The number of a capture's class.
    #[inline]
    fn class(&mut self, by: &By<'f, '_>, reader: &str, capture: &Capture) -> usize {
        let readers = self.teller.readers(capture);
        if self.last.is_empty() {
            return self.find(by, reader, capture, readers);
        }
        let key = self.teller.classifier.key(capture.wide().0[0]);
        let hash = (key ^ u64::from(readers)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let at = (hash >> (64 - LAST_LOG2)) as usize;
        match self.last[at] {
            (own, sent, class) if own == key && sent == readers && class != u32::MAX => {
                class as usize
            }
            _ => {
                let class = self.find(by, reader, capture, readers);
                self.last[at] = (key, readers, class as u32);
                class
            }
        }
    }

    #[inline(never)]
    fn find(&mut self, by: &By<'f, '_>, reader: &str, capture: &Capture, readers: u32) -> usize {
        let (last, signature) = self.signature.split_last_mut().expect("a word for the readers");
        match capture.len() {
            ..=64 => self.teller.classifier.sign(capture.wide().0[0], signature),
            _ => self.teller.classifier.sign::<Wide>(capture.wide(), signature),
        }
        *last = u64::from(readers);
        if let Some(class) = self.index.find(&self.signature) {
            return class;
        }
        if self.kept.len() >= CLASSES_MOST {
            self.index.clear();
            self.kept.clear();
            self.last.fill((0, 0, u32::MAX));
        }
        let observation = Observation { reader: reader.to_owned(), ..(*capture).into() };
        let answer = by.fit.answer(&observation);
        let classifier = &self.teller.classifier;
        let cells = Cells::of_class(&observation, &answer, by.site, by.mask, classifier);
        self.kept.push(Kept { cells: cells.map(Arc::new), shown: (0, 0) });
        self.index.number(&self.signature)
    }
}
