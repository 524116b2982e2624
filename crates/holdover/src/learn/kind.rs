//! One kind of card: its fields, then its checks, then the rows that agree with
//! neither; and the kinds a pile of one length holds.

use super::claim::{Claim, Known, few};
use super::clean::{Outliers, belongs, outliers};
use super::counter::{self, Counting};
use super::cover::{self, Covers, Ground, Hit};
use super::fields::{self, CardNumber, SiteNumber};
use super::lrc::{self, Words};
use super::rows::{Columns, Rows, affine_rank};
use super::settle;
use super::spans::Fit;
use super::{Given, Options, SampleMatrix, null_space};
use crate::bits::gf2::Relation;
use crate::bits::{Capture, Wide};
use crate::layout::Code;

/// Rows another kind of card needs to be one (judgement, no source).
const LEAST_KIND: usize = 6;

/// Accidents allowed in finding another kind (judgement, no source).
const KIND_ALLOWED: f64 = 1e-6;

/// Distinct rows in which checks are looked for: more add nothing.
const SEARCHED: usize = 512;

/// Rows by which checks are weighed before rows are left out for breaking them:
/// a fair sample of more.
const WEIGHED: usize = 4096;

/// All that was found of one kind.
pub(super) struct Study<'s> {
    pub(super) matrix: SampleMatrix<'s>,
    pub(super) good: Rows,
    pub(super) card: Option<CardNumber>,
    pub(super) site: Option<SiteNumber>,
    pub(super) counters: Vec<Counting>,
    pub(super) words: Option<Words>,
    pub(super) covers: Covers,
    pub(super) sieve: Sieve,
}

impl<'s> Study<'s> {
    pub(super) fn of(samples: Vec<Given<'s>>, length: usize, options: &Options) -> Study<'s> {
        let rows = samples.len();
        let mut matrix = SampleMatrix::of(samples, length, false);
        let mut card = fields::card(&matrix, &Rows::all(rows));
        if card.is_none()
            && matrix
                .samples
                .iter()
                .any(|s| s.printed.is_some() || s.card.is_some() || !s.listed.is_empty())
        {
            let inverted = SampleMatrix::of(matrix.samples.clone(), length, true);
            card = fields::card(&inverted, &Rows::all(rows));
            if card.is_some() {
                matrix = inverted;
            }
        }
        let mut good = Rows::all(rows);
        if let Some(card) = &card {
            good = card.number.matches.or(&good.minus(&card.number.known));
        }
        let counters = match options.in_order {
            true => counter::find(&matrix.columns, &matrix.as_given(&good)),
            false => Vec::new(),
        };
        let mut study = Study {
            sieve: Sieve::default(),
            site: None,
            words: None,
            covers: Covers::default(),
            matrix,
            good,
            card,
            counters,
        };
        study.find_site();
        study.find_checks();
        study
    }

    /// Rows whose prints another rule gives than the others' are no misprints:
    /// their prints are as good as unknown.
    pub(super) fn keep_other_codes(&mut self) {
        let Some(card) = &mut self.card else { return };
        if !card.number.of_one_code(&self.matrix.columns) {
            return;
        }
        card.role_sure = false;
        let number = &mut card.number;
        for row in number.known.minus(&number.matches).iter() {
            number.facet.values[row] = None;
        }
        number.known = number.matches.clone();
        self.good = Rows::all(self.good.rows());
        self.find_site();
        self.find_checks();
    }

    /// How many different captures there are, counted up to `most`.
    pub(super) fn cards(&self, most: usize) -> usize {
        let mut seen = std::collections::HashSet::new();
        let mut rows = 0..self.matrix.samples.len();
        rows.find(|row| {
            seen.insert(self.matrix.capture(*row));
            seen.len() >= most
        });
        seen.len()
    }

    /// Whether any card has its number noted or printed.
    pub(super) fn printed(&self) -> bool {
        self.matrix.samples.iter().any(|sample| sample.printed.is_some() || sample.card.is_some())
    }

    /// Bits that are the card number's in any case.
    pub(super) fn card_bits(&self) -> Wide {
        match (&self.card, self.counters.first()) {
            (Some(card), _) => card.number.fit.anchor.mask(card.number.fit.width),
            (None, Some(counting)) => counting.mask(),
            (None, None) => Wide::ZERO,
        }
    }

    /// Bits that all choices of the site field share.
    fn site_bits(&self) -> Wide {
        self.site.as_ref().map_or(Wide::ZERO, |site| {
            site.fits.iter().fold(Wide::ones(256), |all, fit| all & fit.anchor.mask(fit.width))
        })
    }

    fn find_site(&mut self) {
        let card = self.card.as_ref().map(|card| &card.number);
        self.site = fields::site(&self.matrix, &self.good, card, self.card_bits());
        if let Some(site) = &self.site {
            self.good = self.good.minus(&site.known.minus(&site.matches));
        }
    }

    fn find_checks(&mut self) {
        let fields = self.card_bits() | self.site_bits();
        let outliers = match self.card {
            Some(_) => outliers(&self.matrix.columns, &self.good, fields),
            None => Outliers { bits: Wide::ZERO, lone: Vec::new(), by_right: true },
        };
        let lone = Rows::listed(self.good.rows(), outliers.lone.iter().map(|(row, _)| *row));
        let first = self.good.minus(&lone);
        self.sieve = Sieve::of(&self.matrix, &first, fields, outliers.bits);
        let limit = (self.sieve.columns.rows() as f64 * cover::VIOLATED) as usize;
        self.search(limit);
        let columns = &self.matrix.columns;
        // So many broken are no misreadings.
        let few = |words: &Words| few(words.violators(columns).common(&first), first.count());
        self.words = self.words.take().filter(few);
        let (fits, mut bad) = self.accused(&first);
        if let Some(words) = &self.words {
            bad = bad.or(&words.violators(columns).and(&first));
        }
        for (row, bits) in &outliers.lone {
            // One bit flipped that a check may cover, and that none answers.
            let breaks = |(hit, covers): &(Hit, Vec<Wide>)| {
                let odd = columns.parity(hit.bits());
                let usual =
                    |row: usize| odd.has(row) != cover::violators(columns, &first, hit).has(row);
                let reference = first.iter().next().is_some_and(usual);
                let may = covers.iter().any(|cover| !(*cover & *bits).is_zero());
                (odd.has(*row) != reference, may)
            };
            let told: Vec<(bool, bool)> = fits.iter().map(breaks).collect();
            let printed = self.card.as_ref().is_some_and(|c| c.number.known.has(*row));
            let answered = told.iter().any(|(answers, _)| *answers);
            let may = told.iter().any(|(_, may)| *may);
            let proven = self.site.as_ref().is_some_and(|site| site.matches.has(*row));
            if may && !proven && !outliers.by_right && !belongs(*bits, printed, answered) {
                bad.insert(*row);
            }
        }
        self.good = self.good.minus(&bad);
        if bad.is_empty()
            && outliers.lone.is_empty()
            && fits.iter().all(|(hit, _)| hit.violations == 0)
        {
            self.covers.chosen = fits.into_iter().map(|(hit, _)| hit).collect();
            return;
        }
        // Once more on good rows alone, for the checks found already.
        let before: Vec<usize> = fits.iter().map(|(hit, _)| hit.bit).collect();
        let alarms = self.covers.false_alarms;
        let words = self.words.take();
        let strange = outliers.bits & !self.matrix.columns.varying(&self.good, 2);
        let first = self.good.minus(&lone);
        let kept = if first.count() * 2 > self.good.count() { &first } else { &self.good };
        self.sieve = Sieve::of(&self.matrix, kept, fields, outliers.bits | strange);
        self.search(0);
        let known = |hit: &Hit| before.contains(&hit.bit);
        self.covers.chosen.retain(known);
        self.covers.rivals.retain(known);
        self.covers.false_alarms = self.covers.false_alarms.max(alarms);
        self.words = self.words.take().filter(|_| words.is_some());
        let good = self.good.clone();
        let lasting: Vec<usize> = self.accused(&good).0.iter().map(|(hit, _)| hit.bit).collect();
        self.covers.chosen.retain(|hit| lasting.contains(&hit.bit));
    }

    /// The checks found that are no accident, each with all covers that fit as
    /// well, and the rows that break one in whatever way it is completed.
    fn accused(&self, first: &Rows) -> (Vec<(Hit, Vec<Wide>)>, Rows) {
        let columns = &self.matrix.columns;
        let mut hits = self.covers.chosen.clone();
        let known = self.known([self.site_bits(), self.card_bits()].into_iter());
        loop {
            let broken: Vec<Rows> =
                hits.iter().map(|hit| cover::violators(columns, first, hit)).collect();
            let rest = broken.iter().fold(first.clone(), |rest, broken| rest.minus(broken));
            let captures: Vec<Capture> =
                rest.iter().take(WEIGHED).map(|row| self.matrix.capture(row)).collect();
            let claim = |(hit, broken): (&Hit, &Rows)| Claim {
                bit: hit.bit,
                cover: hit.cover,
                violations: broken.count(),
            };
            let claims: Vec<Claim> = hits.iter().zip(&broken).map(claim).collect();
            let mut likely = settle::likely(&captures, &claims, &known).into_iter();
            hits.retain(|_| likely.next().unwrap_or(false));
            if hits.len() < claims.len() {
                continue;
            }
            if claims.is_empty() {
                return (Vec::new(), Rows::none(first.rows()));
            }
            let borne_out = settle::BorneOut { rows: captures, doubtful: Vec::new() };
            let standings = settle::weigh(&borne_out, &claims, &known).standings;
            let mut bad = Rows::none(first.rows());
            let mut fits = Vec::new();
            for ((hit, broken), standing) in hits.iter().zip(&broken).zip(standings) {
                let mut left = broken.clone();
                for rival in &standing.fits {
                    let rival = Hit { cover: *rival, ..*hit };
                    left = left.and(&cover::violators(columns, first, &rival));
                }
                bad = bad.or(&left);
                fits.push((*hit, standing.fits));
            }
            return (fits, bad);
        }
    }

    /// Finds checks in the sieve's rows.
    fn search(&mut self, limit: usize) {
        let sieve = &self.sieve;
        self.words = lrc::find(&sieve.columns, sieve.varying, sieve.candidates, limit);
        let mut known: Vec<Relation> = self.digit_parities();
        let mut candidates = sieve.candidates;
        if let Some(words) = &self.words {
            known.extend(words.check().iter().flat_map(|check| check.relations()));
            candidates = candidates & !words.own();
        }
        self.covers = cover::find(&sieve.ground(candidates, &known), limit);
        if let Some(words) = &self.words {
            self.covers.false_alarms += words.false_alarms;
        }
    }

    /// The relations that the card number's code brings with it.
    fn digit_parities(&self) -> Vec<Relation> {
        let Some(card) = &self.card else { return Vec::new() };
        let fit = card.number.fit;
        let digits = match fit.anchor.code {
            Code::Bcd5 => fit.width / 5,
            _ => 0,
        };
        let upto = |digits: usize| fit.anchor.mask(5 * digits);
        let relation = |digit| Relation { bits: upto(digit + 1) & !upto(digit), constant: true };
        (0..digits).map(relation).collect()
    }

    /// What is known beside the checks; `fields` are the spans fields could have.
    pub(super) fn known(&self, fields: impl Iterator<Item = Wide>) -> Known {
        let end = |mask: Wide| 256 - mask.reversed().first_one().unwrap_or(0);
        let masks: Vec<Wide> = fields.collect();
        let borders = masks.iter().filter_map(|mask| Some([mask.first_one()?, end(*mask)]));
        let fields = masks.iter().fold(Wide::ZERO, |all, mask| all | *mask);
        let span = match (&self.card, self.counters.first()) {
            (Some(card), _) => card.number.fit.anchor.span(card.number.fit.width),
            (None, Some(counting)) => counting.anchor.span(counting.width),
            (None, None) => None,
        };
        let card = span.map_or(Vec::new(), |span| span.offsets().collect());
        Known {
            card,
            borders: borders.flatten().collect(),
            fields,
            published: false,
            relations: self.digit_parities(),
        }
    }

    /// Rows left out whose prints agree on another span, ascending.
    pub(super) fn another_kind(&self, length: usize) -> Option<Vec<usize>> {
        let card = self.card.as_ref()?;
        let left: Vec<usize> = card.number.known.minus(&card.number.matches).iter().collect();
        if left.len() < LEAST_KIND {
            return None;
        }
        let samples = left.iter().map(|&row| self.matrix.samples[row]).collect();
        let matrix = SampleMatrix::of(samples, length, false);
        let other = fields::card(&matrix, &Rows::all(left.len()))?;
        // The site code beside a misprint is no other kind's card number.
        let number = other.number;
        let mask = |fit: &Fit| fit.anchor.mask(fit.width);
        let site = |site: &SiteNumber| {
            let meets = |fit: &Fit| !(mask(fit) & mask(&number.fit)).is_zero();
            site.facet.what == number.facet.what && site.fits.iter().any(meets)
        };
        if self.site.as_ref().is_some_and(site) {
            return None;
        }
        let enough = number.fit.matches >= LEAST_KIND && number.false_alarms < KIND_ALLOWED;
        (other.role_sure && enough && number.as_printed())
            .then(|| number.matches.iter().map(|row| left[row]).collect())
    }
}

/// Bits of lower rank than this among themselves are those of a few site codes
/// that keep coming back, not check bits (judgement, no source): a random bit
/// follows 2^16 covers by accident.
const LOW_RANK: usize = 16;

/// So few bits outside the known fields may all be check bits (judgement, no
/// source).
const FEW_BITS: u32 = 4;

/// Relations between bits outside the known fields that hold because only a
/// few codes occur.
fn repeating(words: &[Wide], outside: Wide, length: usize) -> Vec<Relation> {
    let masked = words.iter().filter_map(|word| Capture::from_wide(*word & outside, length).ok());
    let space = null_space(&masked.collect::<Vec<_>>());
    if space.rank() >= LOW_RANK {
        return Vec::new();
    }
    space.relations().iter().filter(|r| r.bits.count_ones() > 1).copied().collect()
}

/// The rows in which checks are looked for, and what varies in them.
#[derive(Debug, Clone)]
pub(super) struct Sieve {
    pub(super) columns: Columns,
    pub(super) varying: Wide,
    pub(super) candidates: Wide,
    repeating: Vec<Relation>,
    words: Vec<Wide>,
}

impl Default for Sieve {
    fn default() -> Sieve {
        let columns = Columns::of([].iter(), 0);
        Sieve {
            columns,
            varying: Wide::ZERO,
            candidates: Wide::ZERO,
            repeating: Vec::new(),
            words: Vec::new(),
        }
    }
}

impl Sieve {
    /// Distinct captures among `rows`: a fair sample where there are very many.
    fn of(matrix: &SampleMatrix<'_>, rows: &Rows, fields: Wide, strange: Wide) -> Sieve {
        let mut seen = std::collections::HashSet::new();
        let distinct = rows.iter().filter(|&row| seen.insert(matrix.capture(row)));
        let looked: Vec<usize> = distinct.take(SEARCHED).collect();
        let columns = matrix.columns.only(&looked);
        let all = Rows::all(looked.len());
        // In a sample of three, what differs once differs enough.
        let varying = columns.varying(&all, if looked.len() < 4 { 1 } else { 2 });
        let words: Vec<Wide> = looked.iter().map(|&row| matrix.capture(row).wide()).collect();
        let outside = varying & !fields & !strange;
        let repeating = repeating(&words, outside, matrix.length);
        let mut candidates = outside;
        if outside.count_ones() > FEW_BITS {
            repeating.iter().for_each(|relation| candidates = candidates & !relation.bits);
        }
        Sieve { columns, varying, candidates, repeating, words }
    }

    /// What the search for checks goes by.
    pub(super) fn ground<'a>(&'a self, candidates: Wide, known: &'a [Relation]) -> Ground<'a> {
        let rank = |mask| affine_rank(self.words.iter().copied(), mask);
        Ground {
            columns: &self.columns,
            varying: self.varying,
            candidates,
            rank: rank(self.varying & !self.candidates),
            candidate_rank: rank(self.candidates),
            known,
            repeating: &self.repeating,
        }
    }
}
