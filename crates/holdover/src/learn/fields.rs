//! Which span reads the printed number, and which of the printed numbers is the
//! card number: consensus over the rows, robust to those that are misread.
//! Needs three or more cards whose numbers differ.

use std::collections::HashSet;

use super::number::{ALLOWED, CODES, NEAR, Number, SEARCHED, exact, false_alarm};
use super::print::{self, Facet, What};
use super::rows::{Columns, Rows};
use super::spans::{Fit, Planes};
use super::{SampleMatrix, number, offset, rule};
use crate::bits::{Capture, Wide};
use crate::layout::Code;

/// The card number, and a printed number that holds it and more.
pub(super) struct CardNumber {
    pub(super) number: Number,
    pub(super) whole: Option<Number>,
    /// No other number printed is as likely the card's: this one is not a site
    /// code, nor the end of a longer number.
    pub(super) role_sure: bool,
}

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
        found =
            cuts.filter_map(|facet| number::exact(&matrix.columns, rows, facet, tries)).collect();
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
