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

mod settle;

use std::collections::BTreeMap;

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
