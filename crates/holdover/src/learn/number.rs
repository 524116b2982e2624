//! A printed number in the bits: the span that reads it, and how often chance
//! gives one as good.

use std::collections::HashMap;

use super::entropy::choices;
use super::print::Facet;
use super::rows::{Columns, Rows, affine_rank};
use super::spans::{Anchor, Fit, Order, Planes};
use crate::bits::Wide;
use crate::layout::{Code, PrintRule};

/// A printed number found in the bits.
pub(super) struct Number {
    pub(super) facet: Facet,
    pub(super) fit: Fit,
    /// Other low bits, orders or codes that fit nearly as many rows.
    pub(super) others: Vec<Fit>,
    /// Rows that have such a number printed.
    pub(super) known: Rows,
    /// Rows in which the bits say the same.
    pub(super) matches: Rows,
    /// How the print follows from the bits' number.
    pub(super) print: PrintRule,
    /// Spans expected to fit as well by accident.
    pub(super) false_alarms: f64,
}

/// Codes a number may be in.
pub(super) const CODES: [Code; 3] = [Code::Binary, Code::Bcd4, Code::Bcd5];

/// The share of printed numbers a span must read to be looked at (judgement,
/// no source): of four kinds in one pile the largest has as many.
const FLOOR: f64 = 0.25;

/// So many of the prints that are not read come with another site code where the
/// print follows a rule that is not known (judgement, no source).
const OTHERS: f64 = 0.6;

/// The share of prints that a span reads where nothing but misprints is wrong
/// with them (judgement, no source).
const MOST: f64 = 0.7;

/// False spans allowed (judgement, no source).
pub(super) const ALLOWED: f64 = 0.01;

/// A span that reads this share fewer rows than the best may be right all the
/// same (judgement, no source).
pub(super) const NEAR: f64 = 0.05;

/// More rows than this add nothing to finding a span; they are checked after.
pub(super) const SEARCHED: usize = 512;

/// Finds the span that reads a facet's numbers as they are.
/// `tries` readings of the print are tried.
pub(super) fn exact(columns: &Columns, rows: &Rows, facet: Facet, tries: usize) -> Option<Number> {
    let known = Rows::of(facet.values.len(), |row| rows.has(row) && facet.values[row].is_some());
    let count = known.count();
    if count < 2 || facet.distinct(known.iter(), 2) < 2 {
        return None;
    }
    let searched: Vec<usize> = known.iter().take(SEARCHED).collect();
    let few = columns.only(&searched);
    let sample = Facet { values: searched.iter().map(|&row| facet.values[row]).collect(), ..facet };
    let all = Rows::all(searched.len());
    let floor = ((searched.len() as f64 * FLOOR) as usize).max(2);
    let mut fits: Vec<Fit> = Vec::new();
    for code in CODES {
        // Numbers of one digit are the same in all codes.
        let fresh = Planes::of(&sample, code).search(&few, &all, floor);
        fits.extend(fresh);
    }
    let usual = |fit: &Fit| (fit.anchor.code != Code::Binary, fit.anchor.order as usize);
    let best =
        *fits.iter().max_by_key(|fit| (fit.matches, std::cmp::Reverse(usual(fit)), fit.width))?;
    let planes = Planes::of(&facet, best.anchor.code);
    let matches = planes.matching(columns, &known, best);
    let tried = (tries * CODES.len() * 4 * columns.length()) as f64;
    let false_alarms = tried * false_alarm(&facet, &planes, &known, &matches);
    if matches.count() < 2 || false_alarms > ALLOWED * tries as f64 {
        return None;
    }
    let near = best.matches - ((best.matches as f64 * NEAR) as usize);
    let others = fits.into_iter().filter(|fit| fit.matches >= near && fit.anchor != best.anchor);
    let (fit, others) = (Fit { matches: matches.count(), ..best }, others.collect());
    Some(Number { facet, fit, others, known, matches, print: PrintRule::default(), false_alarms })
}

/// The least sample that a span is judged by (judgement, no source).
const LEAST_JUDGED: usize = 8;

/// A bound on the chance that a wrong span reads the numbers of `matches` among
/// the rows `known`. Each bit of the number that varies must agree by chance on
/// as many rows as are independent, and which rows those are was chosen after
/// the fact: `2^(n H(k/n))` ways to choose `k` of `n` at most. Rows beyond the
/// number's bits are not independent, but are to be chosen all the same; so
/// samples of several sizes, laid down beforehand, are judged, and the best of
/// them counts (Bonferroni: times how many there are).
pub(super) fn false_alarm(facet: &Facet, planes: &Planes, known: &Rows, matches: &Rows) -> f64 {
    let order: Vec<usize> = known.iter().take(SEARCHED).collect();
    let half = |n: &usize| Some(n / 2).filter(|half| *half >= LEAST_JUDGED);
    let sizes: Vec<usize> = std::iter::successors(Some(order.len()), half).collect();
    let judged = sizes.iter().map(|&n| {
        let read =
            Rows::listed(known.rows(), order[..n].iter().copied().filter(|&row| matches.has(row)));
        let words = read.iter().filter_map(|row| facet.values[row]);
        let words = words.map(|value| Wide([(value >> 64) as u64, value as u64, 0, 0]));
        let rank = affine_rank(words, Wide::ones(128));
        choices(read.count(), n) - (planes.varying(&read) * rank) as f64
    });
    let best = judged.fold(0.0, f64::min);
    ((sizes.len() as f64).log2() + best).min(0.0).exp2()
}

impl Number {
    /// Whether one row alone keeps the span from being wider, which may be a
    /// misreading, or its lowest bit never varied, so that the number may be one
    /// without it and the print a rule of that.
    pub(super) fn weak(&self, columns: &Columns, rows: &Rows) -> bool {
        let rows = rows.and(&self.known);
        let varying = columns.varying(&rows, 1);
        let low = self.fit.anchor.mask(self.fit.anchor.step());
        let planes = Planes::of(&self.facet, self.fit.anchor.code);
        (low & varying).is_zero() || planes.nearly_wider(columns, &rows, self.fit.anchor)
    }

    /// Every low bit and width that reads the number in all of `rows`: the
    /// best low bit first, widths ascending.
    pub(super) fn everywhere(&self, columns: &Columns, rows: &Rows) -> Vec<(Anchor, usize)> {
        let rows = rows.and(&self.known);
        let mut all = Vec::new();
        if !self.as_printed() {
            all.push((self.fit.anchor, self.fit.width));
            return all;
        }
        let anchors = std::iter::once(&self.fit).chain(&self.others).map(|fit| fit.anchor);
        for anchor in anchors {
            let planes = Planes::of(&self.facet, anchor.code);
            let widths = planes.widths(columns, &rows, anchor);
            all.extend(widths.into_iter().map(|width| (anchor, width)));
        }
        all
    }

    /// Whether the print is the bits' number as it is.
    pub(super) fn as_printed(&self) -> bool {
        self.print.as_is()
    }

    /// Whether the bits say the same in most rows.
    pub(super) fn most(&self) -> bool {
        self.matches.count() as f64 >= MOST * self.known.count() as f64
    }

    /// Whether the rows that are not read are other sites': in bits that are the
    /// same in all that are read, several of them differ in one way. Then the print has a rule that is not known, and they are no misprints.
    pub(super) fn of_one_code(&self, columns: &Columns) -> bool {
        let left = self.known.minus(&self.matches);
        let still = Wide::ones(columns.length()) & !columns.varying(&self.matches, 1);
        let Some(reference) = self.matches.iter().next() else { return false };
        let mut codes: HashMap<Wide, usize> = HashMap::new();
        for row in left.iter() {
            let mut moved = Wide::ZERO;
            for at in still.offsets() {
                moved.set(at, columns.at(at).has(row) != columns.at(at).has(reference));
            }
            // All bits at once: the data lines are swapped.
            if !moved.is_zero() && moved != still {
                *codes.entry(moved).or_default() += 1;
            }
        }
        let others: usize = codes.values().filter(|count| **count > 1).sum();
        others >= 2 && others as f64 >= OTHERS * left.count() as f64
    }

    /// True for the usual order: one ascending run.
    pub(super) fn ascending(&self) -> bool {
        self.fit.anchor.order == Order::Ascending
    }
}
