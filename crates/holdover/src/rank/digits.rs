//! Values of unknown length: digits printed without a bit count.
//!
//! What makes such digits is a card of some length, and a program that prints
//! its bits in one of several ways ([`Digits::ways`]). A length ℓ has the
//! mixture's share of that length, the chance 2^−ℓ of just these bits, the
//! evidence of its layouts, and the chance that its way to print was used. The
//! ways are one program's for the whole batch: their shares are learnt from all
//! values, from a Dirichlet prior.
//!
//! In the fit a value is a capture of each of its lengths, so much of one as the
//! length is likely ([`Class::weight`](super::class::Class)); fit and weights
//! are settled in turn. Where a value is weighed, its own part is left out of
//! what it is weighed by.

use std::collections::BTreeMap;

use super::batch::Batch;
use super::class::Class;
use super::fit::Fit;
use super::known::Known;
use super::model::{
    DIGITS_MOST, DIGITS_ROUNDS, DIGITS_SETTLED, LENGTHS_COUNTED, LENGTHS_WEIGHED as WEIGHED,
    NONE_SHARE, PRINTS_HEXADECIMAL, PRINTS_RIGHT, PRINTS_STYLE_PRIOR, PRINTS_WIDE, PSEUDO_COUNT,
    UNKNOWN_LENGTHS,
};
use super::word_set::{ODD, fold};
use crate::bits::{Capture, Digits, Side, Style, Way};

/// A value by its hash and the reader it came from: in an order that is none, so
/// that the first of many are a fair sample.
type Key = (u64, u32, Digits);

/// The values of a batch.
pub(super) type Seen = BTreeMap<Key, Known>;

fn key(reader: u32, digits: &Digits) -> Key {
    let hash =
        digits.bytes().fold(0, |hash: u64, byte| fold(hash ^ u64::from(byte) ^ ODD[1], ODD[0]));
    (hash, reader, digits.clone())
}

/// A length is no less of a value than this.
const LEAST_WEIGHT: f64 = 1e-12;

/// A share for each way to print.
type Styles = [f64; Style::COUNT];

/// The values of a batch, settled.
#[derive(Debug, Default)]
pub(super) struct Settled {
    values: BTreeMap<Key, Weighed>,
    /// Expected values printed in each way.
    styles: Styles,
}

/// One value.
#[derive(Debug, Clone)]
struct Weighed {
    lengths: Vec<Length>,
    /// What it takes of each way to print.
    styles: Styles,
}

/// A capture that a value may be.
#[derive(Debug, Clone)]
pub(super) struct Length {
    pub way: Way,
    /// How likely, all those of the value together 1.
    weight: f64,
    /// Its class in the fit; `None` where it is too unlikely to be counted.
    class: Option<usize>,
}

/// One length of a value, to be weighed.
#[derive(Debug, Clone)]
pub(super) struct Weighable {
    pub capture: Capture,
    /// Chance that the card's bits are just these and were printed so, on a scale
    /// that all lengths of the value share.
    pub scale: f64,
    /// Its class, where the value is counted.
    pub class: Option<usize>,
}

/// Prior of the ways to print.
fn prior(style: Style) -> f64 {
    let base = if style.decimal { 1.0 - PRINTS_HEXADECIMAL } else { PRINTS_HEXADECIMAL };
    let side = match style.side {
        Side::Right => PRINTS_RIGHT,
        Side::Left => 1.0 - PRINTS_RIGHT,
    };
    base * side * PRINTS_WIDE[style.width as usize]
}

/// The chance of a way to print, as all values but one tell.
fn share(all: &Styles, own: &Styles, style: Style) -> f64 {
    let others = (all[style.index()] - own[style.index()]).max(0.0);
    let count = (all.iter().sum::<f64>() - own.iter().sum::<f64>()).max(0.0);
    (PRINTS_STYLE_PRIOR * prior(style) + others) / (PRINTS_STYLE_PRIOR + count)
}

/// The chance that a capture is printed as these digits.
fn chance(all: &Styles, own: &Styles, way: &Way) -> f64 {
    way.styles.iter().map(|(style, chance)| chance * share(all, own, *style)).sum()
}

/// log2 of the chance that a card of that length has just these bits and is
/// printed so.
fn scale_log2(all: &Styles, own: &Styles, way: &Way) -> f64 {
    chance(all, own, way).log2() - way.capture.len() as f64
}

/// Nothing taken of any way.
const NONE: Styles = [0.0; Style::COUNT];

/// Powers of two of these logarithms, the greatest 1.
fn scaled(logs: &[f64]) -> impl Iterator<Item = f64> + '_ {
    let most = logs.iter().copied().fold(f64::MIN, f64::max);
    logs.iter().map(move |log| (log - most).exp2())
}

impl Settled {
    /// Which lengths count from now on: those of at least this weight.
    fn count(&mut self, least: f64) {
        for length in self.values.values_mut().flat_map(|value| &mut value.lengths) {
            length.class = (length.weight >= least).then_some(0);
        }
    }

    /// Counts the lengths that mattered before, and no others; all those of a value
    /// are 1 together again.
    fn count_as(&mut self, before: &Settled) {
        for (value, before) in self.values.values_mut().zip(before.values.values()) {
            let pairs = value.lengths.iter_mut().zip(&before.lengths);
            let mut all = 0.0;
            for (length, before) in pairs {
                let counts = before.weight >= LENGTHS_COUNTED;
                length.class = counts.then_some(0);
                all += if counts { length.weight } else { 0.0 };
            }
            for length in value.lengths.iter_mut().filter(|length| length.class.is_some()) {
                length.weight /= all;
            }
        }
    }

    /// What its values are most likely taken for.
    pub(super) fn likely(&self) -> Vec<(u32, Capture)> {
        self.most_likely().iter().map(|of| (of.reader, of.capture)).collect()
    }

    fn most_likely(&self) -> Vec<Likely> {
        let values = self.values.iter().flat_map(|((_, reader, _), value)| {
            let likely = value.lengths.iter().filter(|length| length.weight > 0.5);
            likely.filter_map(|length| {
                Some(Likely { reader: *reader, capture: length.way.capture, class: length.class? })
            })
        });
        values.collect()
    }
}

/// The capture that digits are most likely taken for, where one is likelier than
/// all others.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likely {
    pub reader: u32,
    pub capture: Capture,
    pub class: usize,
}

impl<'t> Batch<'t> {
    /// Adds digits whose bit count is not known; order does not matter.
    pub fn see_digits(&mut self, reader: &str, digits: &Digits, known: &Known) {
        let reader = self.reader_or_new(reader);
        let noted = self.digits.entry(key(reader, digits)).or_default();
        if noted.is_empty() || !known.is_empty() && known < noted {
            *noted = known.clone();
        }
        if self.digits.len() > DIGITS_MOST {
            self.digits.pop_last();
        }
    }

    /// Whether a layout of the table has that length.
    fn has_length(&self, length: usize) -> bool {
        self.by_length.get(length).is_some_and(|kinds| !kinds.is_empty())
    }

    /// Every capture that digits may stand for, of lengths that a card may have.
    fn ways(&self, digits: &Digits) -> Vec<Way> {
        let lengths = (1..=Capture::MAX_BITS)
            .filter(|length| self.has_length(*length) || UNKNOWN_LENGTHS.contains(length));
        lengths.flat_map(|length| digits.ways(length)).collect()
    }

    /// Before any is seen, the share of cards of one length that no layout has.
    pub(super) fn unknown_length(&self) -> f64 {
        let lengths = (1..=Capture::MAX_BITS).filter(|length| self.has_length(*length)).count();
        let spread = UNKNOWN_LENGTHS.filter(|length| !self.has_length(*length)).count();
        NONE_SHARE * PSEUDO_COUNT * lengths as f64 / spread.max(1) as f64
    }

    /// The lengths of all values before anything is fitted.
    fn start_digits(&self) -> Settled {
        let unknown = self.unknown_length();
        let start = |(key, _): (&Key, &Known)| {
            let ways = self.ways(&key.2);
            let of = |way: &Way| {
                let share = if self.has_length(way.capture.len()) { 1.0 } else { unknown };
                scale_log2(&NONE, &NONE, way) + share.log2()
            };
            let logs: Vec<f64> = ways.iter().map(of).collect();
            let lengths = ways.into_iter().zip(scaled(&logs));
            let lengths = lengths.map(|(way, weight)| Length { way, weight, class: None });
            let mut lengths: Vec<Length> = lengths.filter(|l| l.weight > WEIGHED).collect();
            let all: f64 = lengths.iter().map(|length| length.weight).sum();
            lengths.iter_mut().for_each(|length| length.weight /= all);
            (key.clone(), Weighed { lengths, styles: NONE })
        };
        Settled { values: self.digits.iter().map(start).collect(), styles: NONE }
    }

    /// Fits, and settles the lengths of values with it; `fit` is what fits, with
    /// these classes beside the captures', and what values are likely taken for.
    ///
    /// The first round counts every length, or those that mattered when they were
    /// settled `before`; the others those that are likely enough to matter. Before the
    /// weights count as settled, all are weighed again.
    pub(super) fn fit_digits<'b>(
        &'b self,
        counted: usize,
        before: Option<&Settled>,
        fit: impl Fn(Vec<Class>, &[Likely]) -> Fit<'b, 't>,
    ) -> Fit<'b, 't> {
        if self.digits.is_empty() {
            return fit(Vec::new(), &[]);
        }
        let mut settled = self.start_digits();
        match before {
            Some(before) => settled.count_as(before),
            None => settled.count(0.0),
        }
        for round in 1.. {
            let classes = self.classes_of(&mut settled, counted);
            let mut fit = fit(classes, &settled.most_likely());
            let mut change = fit.weigh_digits(&mut settled, false);
            let last = round == DIGITS_ROUNDS;
            if change < DIGITS_SETTLED || last {
                change = fit.weigh_digits(&mut settled, true);
            }
            if change < DIGITS_SETTLED || last {
                fit.digits = settled;
                return fit;
            }
            settled.count(LENGTHS_COUNTED);
        }
        unreachable!("a round is the last")
    }

    /// The lengths that count, as classes after so many others.
    fn classes_of(&self, settled: &mut Settled, counted: usize) -> Vec<Class> {
        let mut classes = Vec::new();
        for ((key, value), known) in settled.values.iter_mut().zip(self.digits.values()) {
            for length in value.lengths.iter_mut().filter(|length| length.class.is_some()) {
                length.class = Some(counted + classes.len());
                classes.push(Class {
                    reader: key.1,
                    capture: length.way.capture,
                    known: known.clone(),
                    live: [true; 4],
                    weight: length.weight,
                    count: 1.0,
                });
            }
        }
        classes
    }
}

impl Fit<'_, '_> {
    /// New weights of the lengths that count, or of all, and of the ways to print;
    /// the largest change.
    fn weigh_digits(&self, settled: &mut Settled, all: bool) -> f64 {
        let (mut change, mut styles): (f64, Styles) = (0.0, NONE);
        let before = settled.styles;
        for ((key, value), known) in settled.values.iter_mut().zip(self.batch.digits.values()) {
            let own = std::mem::replace(&mut value.styles, NONE);
            let log = |length: &Length| {
                let capture = &length.way.capture;
                let odds = self.view(Some(key.1), capture, known, length.class, Some(1.0)).all();
                odds.log2() + scale_log2(&before, &own, &length.way)
            };
            let mut weighed: Vec<&mut Length> =
                value.lengths.iter_mut().filter(|length| all || length.class.is_some()).collect();
            let logs: Vec<f64> = weighed.iter().map(|length| log(length)).collect();
            let sum: f64 = scaled(&logs).sum();
            for (length, odds) in weighed.iter_mut().zip(scaled(&logs)) {
                // No weight at all would be divided by.
                let weight = (odds / sum).max(LEAST_WEIGHT);
                change = change.max((length.weight - weight).abs());
                length.weight = weight;
                let chance = chance(&before, &own, &length.way);
                for (style, p) in &length.way.styles {
                    let part = p * share(&before, &own, *style) / chance;
                    value.styles[style.index()] += weight * part;
                }
            }
            styles.iter_mut().zip(&value.styles).for_each(|(all, of)| *all += of);
        }
        settled.styles = styles;
        change
    }

    /// The lengths of digits, each with its chance.
    pub(super) fn lengths_of(&self, reader: Option<u32>, digits: &Digits) -> Vec<Weighable> {
        let counted = reader.and_then(|reader| self.digits.values.get(&key(reader, digits)));
        let ways: Vec<(Way, Option<usize>)> = match counted {
            Some(value) => {
                value.lengths.iter().map(|length| (length.way.clone(), length.class)).collect()
            }
            None => self.batch.ways(digits).into_iter().map(|way| (way, None)).collect(),
        };
        let own = counted.map_or(&NONE, |value| &value.styles);
        let of = |(way, _): &(Way, Option<usize>)| scale_log2(&self.digits.styles, own, way);
        let logs: Vec<f64> = ways.iter().map(of).collect();
        let lengths = ways.into_iter().zip(scaled(&logs));
        lengths
            .filter(|(_, scale)| *scale > WEIGHED)
            .map(|((way, class), scale)| Weighable { capture: way.capture, scale, class })
            .collect()
    }
}
