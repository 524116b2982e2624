//! Buildings: cards as sites hold them, and captures as readers send them.
//!
//! Nothing here is taken from the model that ranks: how many kinds, codes and
//! boxes there are is drawn evenly, within what a technician may meet. All
//! cards are invented.

mod design;

use fastrand::Rng;
use holdover::bits::Capture;
use holdover::decode::Reading;
use holdover::layout::{Layout, Value, builtin};
use holdover::rank::{Doubt, Known, Observation};

pub use design::Design;

/// Where the numbers of a kind's cards come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Numbers {
    /// Consecutive numbers, a box a site code.
    Boxes,
    /// Any the field holds.
    Random,
    /// Below a hundred thousand.
    Small,
}

impl Numbers {
    pub const ALL: [Numbers; 3] = [Numbers::Boxes, Numbers::Random, Numbers::Small];
}

/// One kind of card of a building.
#[derive(Debug, Clone)]
pub struct Kind {
    /// The layout of the built-in table, or one that is in no table.
    pub of: Of,
    pub numbers: Numbers,
    /// Site codes with the first number of each one's box.
    sites: Vec<(u128, u128)>,
    issues: u128,
    box_size: u128,
}

#[derive(Debug, Clone)]
pub enum Of {
    Known(&'static Layout),
    Unknown(Design),
}

/// A card: its bits, and the number that is its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    pub layout: Option<&'static str>,
    pub word: Capture,
    pub number: u128,
}

/// One capture with the truth behind it.
#[derive(Debug, Clone)]
pub struct Read {
    pub observation: Observation,
    pub card: Card,
    /// What the reader's wiring does.
    pub wiring: Reading,
    /// A bit was lost, gained or flipped.
    pub harmed: bool,
    /// A bit was flipped.
    pub flipped: bool,
}

fn low(number: u128, width: usize) -> u128 {
    number & (u128::MAX >> (128 - width.clamp(1, 128)))
}

impl Kind {
    /// A kind of one to eight site codes.
    pub fn draw(of: Of, numbers: Numbers, rng: &mut Rng) -> Kind {
        let (site_bits, card_bits) = match &of {
            Of::Known(layout) => (
                layout.site_span().map_or(0, |s| s.len()),
                layout.card_span().map_or(16, |s| s.len()),
            ),
            Of::Unknown(design) => (design.site_bits(), design.card_bits()),
        };
        let count = [1, 1, 1, 2, 2, 3, 4, 6, 8][rng.usize(..9)];
        // Codes of one order book are small; others are anything.
        let wide = rng.bool();
        let sites = (0..count)
            .map(|_| {
                let code = if wide { rng.u128(..) } else { rng.u128(1..1000) };
                (low(code.max(1), site_bits), low(rng.u128(..), card_bits))
            })
            .collect();
        Kind { of, numbers, sites, issues: rng.u128(1..4), box_size: rng.u128(50..3000) }
    }

    /// A kind of one of the layouts that are named.
    pub fn known(ids: &[&str], rng: &mut Rng) -> Kind {
        let layout = builtin().layout(ids[rng.usize(..ids.len())]).unwrap();
        let numbers = match layout.serial_field() {
            Some(_) => Numbers::Random,
            None => Numbers::ALL[rng.usize(..3)],
        };
        Kind::draw(Of::Known(layout), numbers, rng)
    }

    /// A kind of a length that no table has.
    pub fn unknown(length: usize, rng: &mut Rng) -> Kind {
        let numbers = Numbers::ALL[rng.usize(..3)];
        Kind::draw(Of::Unknown(Design::draw(length, rng)), numbers, rng)
    }

    pub fn card(&self, rng: &mut Rng) -> Card {
        // The first site of a building has the most cards.
        let at = rng.usize(..self.sites.len()).min(rng.usize(..self.sites.len()));
        let (site, first) = self.sites[at];
        let number = match self.numbers {
            Numbers::Boxes => first.wrapping_add(rng.u128(..self.box_size)),
            Numbers::Random => rng.u128(..),
            Numbers::Small => rng.u128(1..100_000),
        };
        let issue = rng.u128(..self.issues);
        match &self.of {
            Of::Unknown(design) => {
                let (word, number) = design.card(site, number, issue);
                Card { layout: None, word, number }
            }
            Of::Known(layout) => {
                let mut own = 0;
                let word = crate::cards::card(layout, |field| match field.role.name() {
                    "site" => site,
                    "card" => {
                        own = low(number, field.span.len());
                        own
                    }
                    // Decimal ones: an agency has few systems, each many cards.
                    "agency" | "system" | "organisation" => site % 10_000,
                    _ => number % 1_000_000,
                });
                Card { layout: Some(layout.id()), word: word.unwrap(), number: own }
            }
        }
    }
}

/// What goes wrong between card and file, and how often.
#[derive(Debug, Clone, Copy, Default)]
pub struct Faults {
    pub flipped: f64,
    pub lost: f64,
    pub extra: f64,
    /// A pulse too many inside, where the probe file shows two in doubt.
    pub doubled: f64,
    /// Prints that are another card's number.
    pub print_wrong: f64,
    /// Prints that are order numbers, all of a box.
    pub order_numbers: bool,
    /// Cards are printed at all.
    pub printed: bool,
}

/// A capture of a card at a reader.
pub fn read(card: &Card, reader: &str, wiring: Reading, faults: &Faults, rng: &mut Rng) -> Read {
    let mut bits: Vec<bool> = wiring.capture_of(&card.word, false).unwrap().bits().collect();
    let mut doubt = Doubt::default();
    let mut harmed = false;
    let at = rng.usize(..bits.len());
    let first = rng.bool();
    let draw = rng.f64();
    let Faults { flipped, lost, extra, doubled, .. } = *faults;
    if draw < flipped {
        bits[at] = !bits[at];
        harmed = true;
    } else if draw < flipped + lost {
        bits.remove(if first { 0 } else { bits.len() - 1 });
        harmed = true;
    } else if draw < flipped + lost + extra {
        bits.insert(if first { 0 } else { bits.len() }, rng.bool());
        harmed = true;
    } else if draw < flipped + lost + extra + doubled && at > 0 && at + 1 < bits.len() {
        bits.insert(at, rng.bool());
        // Two pulses are too close: either may be the one too many.
        doubt.suspect = vec![at + 1, at + 2];
        harmed = true;
    }
    let printed = faults.printed.then(|| {
        let wrong = rng.f64() < faults.print_wrong;
        let number = match faults.order_numbers {
            true => 700_000 + rng.u128(..9_000),
            false if wrong => card.number ^ (1 << rng.u32(..8)),
            false => card.number,
        };
        number.to_string()
    });
    Read {
        observation: Observation {
            capture: Capture::from_bits(bits).unwrap(),
            reader: reader.to_owned(),
            known: Known { printed, doubt, ..Known::default() },
        },
        card: card.clone(),
        wiring,
        harmed,
        flipped: draw < flipped,
    }
}

/// As many captures of cards of some kinds; each card is met once or again.
pub fn reads(kinds: &[(Kind, f64)], count: usize, faults: &Faults, rng: &mut Rng) -> Vec<Read> {
    let all: f64 = kinds.iter().map(|(_, share)| share).sum();
    let mut cards: Vec<Card> = Vec::new();
    (0..count)
        .map(|_| {
            let again = !cards.is_empty() && rng.u8(..10) == 0;
            let card = if again {
                cards[rng.usize(..cards.len())].clone()
            } else {
                let mut at = rng.f64() * all;
                let kind = kinds.iter().find(|(_, share)| {
                    at -= share;
                    at < 0.0
                });
                kind.unwrap_or(&kinds[0]).0.card(rng)
            };
            cards.push(card.clone());
            read(&card, "", Reading::AsCaptured, faults, rng)
        })
        .collect()
}

/// The same captures as another reader sends them.
pub fn through(reads: &mut [Read], reader: &str, wiring: Reading) {
    for read in reads {
        let capture = wiring.capture_of(&read.observation.capture, false).unwrap();
        read.observation.capture = capture;
        read.observation.reader = reader.to_owned();
        read.wiring = wiring;
    }
}

/// The value a candidate's card number has, where it is no longer than 128 bits.
pub fn number_of(value: &Value) -> Option<u128> {
    value.to_string().parse().ok()
}
