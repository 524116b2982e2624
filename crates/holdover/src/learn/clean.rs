//! Rows that disagree with all others: which they are, and why. Needs a
//! majority that agrees; a row is called a misreading only for a reason that can
//! be named.

use super::SampleMatrix;
use super::answer::{Misread, Why};
use super::fields::SiteNumber;
use super::number::Number;
use super::rows::{Columns, Rows};
use crate::bits::{Capture, Position, Span, Wide};
use crate::layout::{Code, Field, Layout, PrintRule, Role};

/// A bit that differs in no more than this share of the rows is one that
/// should not vary (judgement, no source).
const RARE: f64 = 0.12;

/// So many strange bits at once are another site's card rather than a
/// misreading (judgement, no source).
const ANOTHER_SITE: u32 = 2;

/// With more bits than this that vary outside the known fields, some are a
/// field's and not a check's (judgement, no source).
const CHECKS: u32 = 4;

/// Bits that hardly vary, and rows that alone differ in them.
pub(super) struct Outliers {
    /// The bits that hardly vary.
    pub(super) bits: Wide,
    /// Rows that differ in some of them as no other row does (or one other, in
    /// one bit).
    pub(super) lone: Vec<(usize, Wide)>,
    /// Other fields vary too, so that rare bits are no sign of a misreading.
    pub(super) by_right: bool,
}

/// Looks for rows that differ in bits, outside `fields`, that hardly vary.
pub(super) fn outliers(columns: &Columns, good: &Rows, fields: Wide) -> Outliers {
    let count = good.count();
    let limit = ((count as f64 * RARE) as usize).max(1);
    let mut bits = Wide::ZERO;
    let mut moved: std::collections::BTreeMap<usize, Wide> = std::collections::BTreeMap::new();
    if count < 4 {
        return Outliers { bits, lone: Vec::new(), by_right: true };
    }
    for at in (0..columns.length()).filter(|&at| !fields.bit(at)) {
        let ones = columns.at(at).and(good);
        let rarer = if 2 * ones.count() > count { good.minus(&ones) } else { ones };
        if (1..=limit).contains(&rarer.count()) {
            bits.set(at, true);
            rarer.iter().for_each(|row| moved.entry(row).or_insert(Wide::ZERO).set(at, true));
        }
    }
    // Beside fields that nobody printed, bits may be rare by right.
    let varying = columns.varying(good, 1) & !fields & !bits;
    if varying.count_ones() > CHECKS {
        let once = bits & !columns.varying(good, 2);
        let lone = moved.into_iter().map(|(row, bits)| (row, bits & once));
        let lone = lone.filter(|(_, bits)| !bits.is_zero()).collect();
        return Outliers { bits: Wide::ZERO, lone, by_right: true };
    }
    let mut seen: std::collections::HashMap<Wide, usize> = std::collections::HashMap::new();
    moved.values().for_each(|bits| *seen.entry(*bits).or_default() += 1);
    // Two rows may have lost the same bit; two that differ in several alike are
    // cards of another site.
    let alone = |bits: &Wide| seen[bits] == 1 || seen[bits] == 2 && bits.count_ones() == 1;
    let lone = moved.into_iter().filter(|(_, bits)| alone(bits)).collect();
    Outliers { bits, lone, by_right: false }
}

/// Whether a lone row is a card after all: either it differs in so many bits
/// that it is another site's, or a check bit answers to the difference, as it
/// would not to a misreading of one bit.
pub(super) fn belongs(bits: Wide, printed: bool, checks_answer: bool) -> bool {
    printed && (bits.count_ones() >= ANOTHER_SITE || checks_answer)
}

/// What the rows left out are left out for.
pub(super) struct Reasons<'a> {
    pub(super) matrix: &'a SampleMatrix<'a>,
    pub(super) card: Option<(&'a Number, &'a Span)>,
    pub(super) site: Option<(&'a SiteNumber, &'a Span)>,
    pub(super) layout: Option<&'a Layout>,
    /// Bits that never varied in the good rows, and what they are.
    pub(super) still: (Wide, Wide),
}

impl Reasons<'_> {
    /// Why one row is left out.
    pub(super) fn of(&self, row: usize) -> Misread {
        let line = self.matrix.samples[row].line;
        Misread { line, why: self.why(row) }
    }

    fn why(&self, row: usize) -> Why {
        let capture = self.matrix.capture(row);
        if let Some((number, span)) = self.card
            && let Some(printed) = number.facet.values[row]
            && !number.matches.has(row)
        {
            if self.reads(&capture.complement(), printed) {
                return Why::LinesSwapped;
            }
            let field =
                Field { code: number.fit.anchor.code, ..Field::binary(Role::Card, span.clone()) };
            return differs(&field, &capture, printed, number.print);
        }
        if let Some((number, _)) = self.card
            && number.known.has(row)
            && number.facet.values[row].is_none()
        {
            return Why::OffRule;
        }
        if let Some((site, span)) = self.site
            && let Some(printed) = site.facet.values[row]
            && !site.matches.has(row)
        {
            let field =
                Field { code: site.fits[0].anchor.code, ..Field::binary(Role::Site, span.clone()) };
            return differs(&field, &capture, printed, PrintRule::default());
        }
        let word = capture.wide();
        let rules = self.layout.map_or(&[][..], Layout::rules);
        let broken = rules.iter().filter(|rule| !rule.holds(word));
        let checks: Vec<String> = broken.map(|rule| rule.name().to_owned()).collect();
        let moved = (word ^ self.still.1) & self.still.0;
        match Span::from_mask(moved) {
            Some(bits) if checks.is_empty() || moved.count_ones() == 1 => Why::Differs { bits },
            _ if checks.is_empty() => {
                Why::ChecksFail { checks: vec!["a check the others meet".to_owned()] }
            }
            _ => Why::ChecksFail { checks },
        }
    }

    /// Whether the card number reads `printed` in a capture.
    fn reads(&self, capture: &Capture, printed: u128) -> bool {
        self.card.is_some_and(|(number, span)| {
            let field =
                Field { code: number.fit.anchor.code, ..Field::binary(Role::Card, span.clone()) };
            field.value(capture.wide()).to_string().parse() == Ok(printed)
        })
    }
}

/// `rule`: by what the bits' number is multiplied, and what is added.
fn differs(field: &Field, capture: &Capture, printed: u128, rule: PrintRule) -> Why {
    let value = field.value(capture.wide()).to_string();
    let mut transposed = false;
    let mut bit = None;
    if let Ok(read) = value.parse::<u128>() {
        let digits = printed.max(read).to_string().len();
        let text = |n: u128| format!("{n:0>digits$}").into_bytes();
        let (a, mut b) = (text(printed), text(read));
        for i in 1..digits {
            b.swap(i - 1, i);
            transposed |= a == b && printed != read;
            b.swap(i - 1, i);
        }
        let moved = read ^ printed;
        if field.code == Code::Binary && moved.is_power_of_two() {
            let from_low = moved.trailing_zeros() as usize;
            let place = field.span.len().checked_sub(1 + from_low);
            bit = place
                .and_then(|place| field.span.offsets().nth(place))
                .and_then(|at| Position::new(at + 1));
        }
    }
    let printed = rule.printed(printed).unwrap_or(printed);
    let bits = match value.parse::<u128>() {
        Ok(value) => rule.printed(value).unwrap_or(value).to_string(),
        Err(_) => value,
    };
    Why::PrintDiffers { printed, bits, transposed, bit }
}
