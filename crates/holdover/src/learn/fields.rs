//! Which span reads the printed number, and which of the printed numbers is the
//! card number: consensus over the rows, robust to those that are misread.
//! Needs three or more cards whose numbers differ.

use std::collections::{HashMap, HashSet};

use super::entropy::choices;
use super::print::{self, Facet, What};
use super::rows::{Columns, Rows, affine_rank};
use super::spans::{Anchor, Fit, Order, Planes};
use super::{SampleMatrix, offset, rule};
use crate::bits::{Capture, Wide};
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

/// The card number, and a printed number that holds it and more.
pub(super) struct CardNumber {
    pub(super) number: Number,
    pub(super) whole: Option<Number>,
    /// No other number printed is as likely the card's: this one is not a site
    /// code, nor the end of a longer number.
    pub(super) role_sure: bool,
}

/// Codes a number may be in.
const CODES: [Code; 3] = [Code::Binary, Code::Bcd4, Code::Bcd5];

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
const ALLOWED: f64 = 0.01;

/// A span that reads this share fewer rows than the best may be right all the
/// same (judgement, no source).
const NEAR: f64 = 0.05;

/// More rows than this add nothing to finding a span; they are checked after.
const SEARCHED: usize = 512;

/// Finds the card number among `rows`.
pub(super) fn card(matrix: &SampleMatrix<'_>, rows: &Rows) -> Option<CardNumber> {
    let facets = print::facets(&matrix.samples);
    let tries = facets.len();
    let exact = |facet: &Facet| exact(&matrix.columns, rows, facet.clone(), tries);
    let mut found: Vec<Number> = facets.iter().filter_map(exact).collect();
    let mut cut = false;
    if !found.iter().any(Number::most) {
        // A rule of the number beats a span that reads some of the prints.
        let read = found.iter().map(|n| n.matches.count()).max().unwrap_or(0);
        let ruled =
            facets.iter().filter_map(|facet| rule::find(&matrix.columns, rows, facet, tries));
        let ruled: Vec<Number> = ruled.filter(|n| n.most() && n.matches.count() > read).collect();
        if !ruled.is_empty() {
            found = ruled;
        }
    }
    if found.is_empty() {
        // Site code and card number printed without anything between them.
        let cuts = print::cuts(&matrix.samples);
        let tries = cuts.len();
        let cuts = cuts.into_iter();
        found = cuts.filter_map(|facet| self::exact(&matrix.columns, rows, facet, tries)).collect();
        let most = found.iter().map(|n| n.matches.count()).max().unwrap_or(0);
        let tail = |n: &Number| matches!(n.facet.what, What::Tail { .. });
        found.retain(|n| {
            n.matches.count() == most && tail(n) && n.most() && !n.of_one_code(&matrix.columns)
        });
        // Of "6500042" the tail 00042 and the tail 0042 read the same bits.
        found.truncate(1);
        cut = true;
    }
    if found.is_empty() {
        let moved = facets.iter().cloned();
        found = moved.filter_map(|facet| offset::find(&matrix.columns, rows, facet)).collect();
        found.retain(|number| number.most() && !number.of_one_code(&matrix.columns));
        cut = false;
    }
    let column = |n: &Number| matches!(n.facet.what, What::Card { .. });
    if found.iter().any(column) {
        found.retain(column);
    }
    compete(&mut found);
    let mask = |n: &Number| n.fit.anchor.mask(n.fit.width);
    let holds = |a: &Number, b: &Number| mask(a) != mask(b) && mask(b) == (mask(a) & mask(b));
    let whole = (0..found.len()).find(|&i| found.iter().any(|n| holds(&found[i], n)));
    let whole = whole.map(|i| found.swap_remove(i));
    found.retain(|n| whole.as_ref().is_none_or(|w| mask(n) != mask(w)));
    let distinct = |n: &Number| n.facet.distinct(n.matches.iter(), SEARCHED);
    // The likeliest reading comes first; of equals `max_by_key` takes the last.
    found.sort_by_key(|n| order(n.facet.what));
    let number = found.into_iter().rev().max_by_key(|n| distinct(n))?;
    let longest = whole.as_ref().map(|whole| whole.facet.what);
    // Other columns of a list number people, not cards.
    let listed = |facet: &Facet| matches!(facet.what, What::Listed { .. });
    let others = facets.iter().filter(|facet| Some(facet.what) != longest && !listed(facet));
    let of_list = listed(&number.facet);
    let others = others.filter(|_| !of_list);
    let role_sure = !cut && (column(&number) || numbers_cards(matrix, &number, others));
    Some(CardNumber { number, whole, role_sure })
}

/// Of spans over the same bits those that read nearly as many rows as any;
/// decimal digits before the hexadecimal number that has the same bits.
fn compete(found: &mut Vec<Number>) {
    let mask = |n: &Number| n.fit.anchor.mask(n.fit.width);
    let meets = |a: &Number, b: &Number| !(mask(a) & mask(b)).is_zero();
    let fewer = |a: &Number, b: &Number| {
        let most = b.matches.count();
        a.matches.count() + ((most as f64 * NEAR) as usize).max(1) < most
    };
    let decimal = |n: &Number| n.fit.anchor.code != Code::Binary;
    let beaten = |a: &Number, b: &Number| {
        meets(a, b) && (fewer(a, b) || a.facet.what.hex() && decimal(b) && !fewer(b, a))
    };
    let lost: Vec<bool> = found.iter().map(|a| found.iter().any(|b| beaten(a, b))).collect();
    let mut lost = lost.into_iter();
    found.retain(|_| !lost.next().unwrap_or(false));
}

/// Distinct numbers a card number has, of the cards that differ (judgement, no
/// source): fewer are a site code, which comes back.
const DIFFER: f64 = 0.5;

/// A printed number with more distinct values than this of another one is the
/// likelier card number (judgement, no source).
const AS_MANY: f64 = 0.9;

/// Whether a number tells the cards apart, and no other printed one does better.
fn numbers_cards<'f>(
    matrix: &SampleMatrix<'_>,
    number: &Number,
    mut others: impl Iterator<Item = &'f Facet>,
) -> bool {
    let rows = || number.matches.iter().take(SEARCHED);
    let own = number.facet.distinct(rows(), SEARCHED) as f64;
    let cards: HashSet<Capture> = rows().map(|row| matrix.capture(row)).collect();
    let better = |facet: &Facet| {
        let joined = matches!(facet.what, What::Joined { .. });
        !joined && !facet.what.hex() && AS_MANY * facet.distinct(rows(), SEARCHED) as f64 > own
    };
    own >= DIFFER * cards.len() as f64 && !others.any(better)
}

/// Likeliest readings first.
fn order(what: What) -> usize {
    match what {
        What::Card { hex } | What::Site { hex } => usize::from(hex),
        What::Listed { column } => 40 + column,
        What::Group { from_end, hex } => 2 + from_end + 8 * usize::from(hex),
        What::Joined { hex } => 20 + usize::from(hex),
        What::Tail { .. } | What::Head { .. } => 30,
    }
}

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

/// Where the printed site code stands.
pub(super) struct SiteNumber {
    pub(super) facet: Facet,
    /// Every span that reads it in as many rows as any.
    pub(super) fits: Vec<Fit>,
    pub(super) known: Rows,
    pub(super) matches: Rows,
    pub(super) false_alarms: f64,
}

/// The share of printed site codes that must be read (judgement, no source).
const SITE_READ: f64 = 0.6;

/// A site code that could be in more places than this is not told.
pub(super) const SITE_PLACES: usize = 16;

/// Finds the site code printed beside the card number, outside `taken`.
pub(super) fn site(
    matrix: &SampleMatrix<'_>,
    rows: &Rows,
    card: Option<&Number>,
    taken: Wide,
) -> Option<SiteNumber> {
    let mut facets = print::site_columns(&matrix.samples);
    if facets.is_empty() {
        let wanted: &dyn Fn(What) -> bool = match card?.facet.what {
            What::Group { from_end, hex } => &move |what| {
                what == What::Group { from_end: from_end + 1, hex }
                    || from_end > 0 && what == What::Group { from_end: from_end - 1, hex }
            },
            What::Tail { digits } => &move |what| what == What::Head { without: digits },
            _ => return None,
        };
        facets.extend(print::facets(&matrix.samples).into_iter().filter(|f| wanted(f.what)));
        facets.extend(print::cuts(&matrix.samples).into_iter().filter(|f| wanted(f.what)));
    }
    facets.into_iter().find_map(|facet| site_of(&matrix.columns, rows, facet, taken))
}

fn site_of(columns: &Columns, rows: &Rows, facet: Facet, taken: Wide) -> Option<SiteNumber> {
    let known = Rows::of(facet.values.len(), |row| rows.has(row) && facet.values[row].is_some());
    let count = known.count();
    if count < 2 {
        return None;
    }
    let floor = ((count as f64 * SITE_READ) as usize).max(2);
    let outside = |fit: &Fit| (fit.anchor.mask(fit.width) & taken).is_zero();
    let planes = Planes::of(&facet, Code::Binary);
    let mut fits: Vec<Fit> =
        planes.everywhere(columns, &known, floor).into_iter().filter(outside).collect();
    let mut code = Code::Binary;
    if fits.is_empty() {
        for other in CODES {
            let planes = Planes::of(&facet, other);
            fits = planes.search(columns, &known, floor).into_iter().filter(outside).collect();
            code = other;
            if !fits.is_empty() {
                break;
            }
        }
    }
    let most = fits.iter().map(|fit| fit.matches).max()?;
    fits.retain(|fit| fit.matches == most);
    let planes = Planes::of(&facet, code);
    let matches = planes.matching(columns, &known, fits[0]);
    // A code that is the same on all cards is found wherever its bits stand:
    // as many places as its own bits allow.
    let bits = known.iter().next().and_then(|row| facet.values[row]).unwrap_or(0);
    let still = (128 - bits.leading_zeros()) as f64;
    let varying = false_alarm(&facet, &planes, &known, &matches);
    let false_alarms = columns.length() as f64 * varying.min((-still).exp2());
    // What any bit reads as well accuses nobody.
    let told = false_alarms < ALLOWED || matches.count() == count;
    told.then_some(SiteNumber { facet, fits, known, matches, false_alarms })
}

impl SiteNumber {
    /// Whether one row alone keeps the span from being wider, which may be a
    /// misreading.
    pub(super) fn weak(&self, columns: &Columns, rows: &Rows) -> bool {
        let rows = rows.and(&self.known);
        let wider = |fit: &Fit| {
            let planes = Planes::of(&self.facet, fit.anchor.code);
            planes.nearly_wider(columns, &rows, fit.anchor)
        };
        self.fits.iter().any(wider)
    }
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
