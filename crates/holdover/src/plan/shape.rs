//! What the panel is told of a slot, and what follows from it: runs, digits,
//! which captures are admitted and what number comes of them.

use super::big::Big;
use crate::bits::gf2::Relation;
use crate::bits::{Capture, Span, Wide};
use crate::layout::{Check, Layout};
use crate::site::{KeptDigits, Panel};

/// One ascending run of bits, offset from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Run {
    pub start: usize,
    pub len: usize,
}

impl Run {
    /// The least run holding the bits of `mask`.
    pub fn hull(mask: Wide) -> Option<Run> {
        let start = mask.first_one()?;
        let last = 255 - mask.reversed().first_one()?;
        Some(Run { start, len: last + 1 - start })
    }

    pub fn mask(self) -> Wide {
        Wide::ones(self.len).towards_end(self.start)
    }

    pub fn meets(self, other: Run) -> bool {
        self.start < other.start + other.len && other.start < self.start + self.len
    }

    pub fn value(self, word: Wide) -> Big {
        Big::of_run(word, self.start, self.len)
    }

    fn last(self, bits: usize) -> Run {
        Run { start: self.start + self.len - bits, len: bits }
    }
}

/// Decimal digits of the largest value of `bits` bits.
pub(crate) fn digits_needed(bits: usize) -> usize {
    // No power of 2 is a power of 10, and up to 256 bits none comes close
    // enough to one for the rounding to matter.
    (bits as f64 * std::f64::consts::LOG10_2).floor() as usize + 1
}

/// The most bits whose values all fit so many digits; 128 at most, since a
/// panel number has no more.
fn bits_within(digits: usize) -> usize {
    (1..=128).rev().find(|bits| Big::power_of_two(*bits) <= Big::power_of_ten(digits)).unwrap_or(1)
}

/// How a run's value becomes a panel number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    /// All digits are kept.
    None,
    /// The last digits: the remainder by this power of ten.
    Low(u128),
    /// The first digits: the quotient by this power of ten.
    High(Big),
}

impl Cut {
    pub fn number(self, value: Big) -> u128 {
        match self {
            Cut::None => value.saturated(),
            Cut::Low(modulus) => match value.small() {
                Some(value) => value % modulus,
                None => value.div_rem(Big::from(modulus)).1.saturated(),
            },
            Cut::High(divisor) => match (value.small(), divisor.small()) {
                (Some(value), Some(divisor)) => value / divisor,
                _ => value.div_rem(divisor).0.saturated(),
            },
        }
    }
}

/// A card run with its digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CardRun {
    pub run: Run,
    pub digits: usize,
    pub cut: Cut,
    /// The largest panel number, where the run can give larger ones: those are
    /// not taken.
    pub most: Option<u128>,
}

impl CardRun {
    /// `None` where the panel number could exceed 128 bits: 39 digits of a run
    /// over 128 bits, which no panel keys.
    pub fn new(run: Run, panel: &Panel) -> Option<CardRun> {
        let need = digits_needed(run.len);
        let digits = need.min(panel.max_digits);
        let cut = match panel.kept_digits {
            _ if digits == need => Cut::None,
            KeptDigits::Refuse => Cut::None,
            KeptDigits::Low => Cut::Low(Big::power_of_ten(digits).small()?),
            KeptDigits::High => {
                // The quotient is below 10^digits.
                Big::power_of_ten(digits).small()?;
                Cut::High(Big::power_of_ten(need - digits))
            }
        };
        if digits == need && run.len > 128 {
            return None;
        }
        let largest = Big::power_of_two(run.len).sub(Big::ONE);
        let (largest, mut most) = match cut {
            Cut::None if digits < need => {
                let beyond = Big::power_of_ten(digits).small()?;
                (Big::from(beyond - 1), Some(beyond - 1))
            }
            Cut::None => (largest, None),
            Cut::Low(modulus) => (Big::from(modulus - 1), None),
            Cut::High(divisor) => (largest.div_rem(divisor).0, None),
        };
        let panels = panel.max_number.map(u128::from);
        if let Some(number) = panels.filter(|number| Big::from(*number) < largest) {
            most = Some(number);
        }
        Some(CardRun { run, digits, cut, most })
    }

    /// Whether the panel takes a number of this run.
    pub fn takes(&self, number: u128) -> bool {
        self.most.is_none_or(|most| number <= most)
    }

    pub fn number(&self, word: Wide) -> u128 {
        if self.run.len <= 128 {
            let value = word.number(self.run.start, self.run.len);
            return match self.cut {
                Cut::None => value,
                Cut::Low(modulus) => value % modulus,
                Cut::High(_) => self.cut.number(Big::from(value)),
            };
        }
        self.cut.number(self.run.value(word))
    }

    /// The runs a slot for these layouts may read: each card field, site code
    /// and card number together, and the last bits of either where it needs
    /// more digits than the panel keys. The plainest come first.
    pub fn candidates<'t>(
        layouts: impl Iterator<Item = &'t Layout> + Clone,
        panel: &Panel,
    ) -> Vec<CardRun> {
        let mut whole: Vec<Run> = Vec::new();
        let masks = layouts.filter_map(|layout| {
            let card = layout.card_span()?.mask();
            let site = layout.site_span().map_or(Wide::ZERO, Span::mask);
            Some((card, site | card))
        });
        whole.extend(masks.clone().filter_map(|(card, _)| Run::hull(card)));
        whole.extend(masks.filter_map(|(_, both)| Run::hull(both)));
        let fits = bits_within(panel.max_digits);
        let too_wide = |run: &&Run| digits_needed(run.len) > panel.max_digits;
        let cut: Vec<Run> = whole.iter().filter(too_wide).map(|run| run.last(fits)).collect();
        whole.extend(cut);
        let mut runs: Vec<CardRun> = Vec::new();
        for run in whole {
            if let Some(run) = CardRun::new(run, panel)
                && !runs.contains(&run)
            {
                runs.push(run);
            }
        }
        runs
    }
}

/// The even and odd checks of a layout as relations, in an order of their own.
pub(crate) fn parities(layout: &Layout) -> Vec<Relation> {
    let parity = |check: &&Check| matches!(check, Check::Parity { .. });
    let mut relations: Vec<Relation> =
        layout.checks().iter().filter(parity).flat_map(Check::relations).collect();
    relations.sort_by_key(|relation| (relation.bits, relation.constant));
    relations.dedup();
    relations
}

/// What a group of layouts of one length and a card run amount to; the
/// allow-list follows from the cards and is kept beside it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shape {
    pub length: usize,
    pub card: CardRun,
    pub site: Option<Run>,
    pub parity: bool,
    pub checks: Vec<Relation>,
}

impl Shape {
    pub fn new<'t>(
        layouts: impl Iterator<Item = &'t Layout> + Clone,
        card: CardRun,
        panel: &Panel,
    ) -> Shape {
        let length = layouts.clone().next().map_or(0, Layout::length);
        let agree = |runs: Vec<Option<Run>>| match runs.split_first() {
            Some((first, rest)) if rest.iter().all(|run| run == first) => *first,
            _ => None,
        };
        let hulls = layouts.clone().map(|l| l.site_span().and_then(|s| Run::hull(s.mask())));
        let site = agree(hulls.collect()).filter(|site| !site.meets(card.run));
        let mut all = layouts.map(parities);
        let first = all.next().unwrap_or_default();
        // Without a check there is none to key in: a panel told to check parity on
        // such cards refuses every one of them.
        let parity = panel.checks_parity && !first.is_empty() && all.all(|other| other == first);
        Shape { length, card, site, parity, checks: if parity { first } else { Vec::new() } }
    }

    /// Checks no parity any more.
    pub fn leave_parity_out(&mut self) {
        self.parity = false;
        self.checks.clear();
    }

    /// What the slot reads as the site code; 0 without a site run.
    pub fn site_read(&self, word: Wide) -> Big {
        self.site.map_or(Big::ZERO, |run| run.value(word))
    }

    /// Whether length and checks hold, and the number is taken; the allow-list
    /// is left to the caller.
    pub fn fits(&self, bits: &Capture) -> bool {
        bits.len() == self.length
            && self.checks.iter().all(|check| check.holds(bits.wide()))
            && (self.card.most.is_none() || self.card.takes(self.card.number(bits.wide())))
    }

    /// Bits of the site run; 0 without one.
    pub fn site_bits(&self) -> usize {
        self.site.map_or(0, |run| run.len)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_those_of_the_largest_value() {
        for bits in 1..=256 {
            let largest = Big::power_of_two(bits).sub(Big::ONE);
            assert_eq!(digits_needed(bits), largest.to_string().len(), "{bits}");
        }
        assert_eq!([16, 24, 31, 32].map(digits_needed), [5, 8, 10, 10]);
        assert_eq!([1, 4, 10, 38, 39].map(bits_within), [3, 13, 33, 126, 128]);
    }
}
