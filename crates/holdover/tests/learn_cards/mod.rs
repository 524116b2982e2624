//! Random cards for the tests of learning: layouts drawn and words filled in
//! here, bit by bit, without the library's own layouts. The crate that takes
//! this in says what `Rng` is.

use std::collections::BTreeSet;

use crate::Rng;
use holdover::bits::{Capture, Span};
use holdover::layout::Check;
use holdover::learn::{Learnt, Sample};

/// A check of a drawn layout; offsets from 0.
#[derive(Debug, Clone)]
pub struct Parity {
    pub bit: usize,
    pub cover: BTreeSet<usize>,
    pub odd: bool,
}

/// A drawn layout.
#[derive(Debug, Clone)]
pub struct Drawn {
    pub length: usize,
    pub site: std::ops::Range<usize>,
    pub card: std::ops::Range<usize>,
    pub checks: Vec<Parity>,
    /// Constant bits that are in no field.
    pub filler: Vec<(usize, bool)>,
}

/// What layouts to draw.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wanted {
    pub checks: usize,
    pub filler: bool,
    pub covers_other_check: bool,
}

/// Draws a layout of 26 to 52 bits.
pub fn draw(rng: &mut Rng, wanted: Wanted) -> Drawn {
    loop {
        let (site, card) = (rng.usize(6..=16), rng.usize(14..=34));
        let filler = if wanted.filler { rng.usize(1..=6) } else { 0 };
        let length = site + card + wanted.checks + filler;
        if !(26..=52).contains(&length) {
            continue;
        }
        // Blocks in order: fields, check bits and filler, shuffled around.
        let mut blocks = vec!['s', 'd'];
        if rng.bool() {
            blocks.reverse();
        }
        match rng.usize(0..4) {
            0 | 1 if wanted.checks == 2 => {
                blocks.insert(0, 'c');
                blocks.push('c');
            }
            _ => (0..wanted.checks).for_each(|_| blocks.insert(rng.usize(0..=blocks.len()), 'c')),
        }
        (0..filler).for_each(|_| blocks.insert(rng.usize(0..=blocks.len()), 'f'));
        let (mut at, mut drawn) =
            (0, Drawn { length, site: 0..0, card: 0..0, checks: vec![], filler: vec![] });
        let mut bits = Vec::new();
        for block in blocks {
            let len = match block {
                's' => site,
                'd' => card,
                _ => 1,
            };
            match block {
                's' => drawn.site = at..at + len,
                'd' => drawn.card = at..at + len,
                'c' => bits.push(at),
                _ => drawn.filler.push((at, rng.bool())),
            }
            at += len;
        }
        if rng.bool() {
            bits.reverse();
        }
        for (i, &bit) in bits.iter().enumerate() {
            let others: Vec<usize> = match wanted.covers_other_check {
                // Only the last may cover another, or neither could be filled in.
                true if i + 1 == bits.len() => vec![bit],
                _ => bits.clone(),
            };
            let cover = loop {
                let family = covers(length);
                let cover = &family[rng.usize(0..family.len())];
                let cover: BTreeSet<usize> =
                    cover.iter().copied().filter(|at| !others.contains(at)).collect();
                if cover.len() >= 3 {
                    break cover;
                }
            };
            drawn.checks.push(Parity { bit, cover, odd: rng.bool() });
        }
        return drawn;
    }
}

/// Runs and two-of-three patterns over every stretch.
pub fn covers(length: usize) -> Vec<Vec<usize>> {
    let mut all = Vec::new();
    for start in 0..length {
        for end in start..length {
            for taken in
                [[true, true, true], [true, true, false], [true, false, true], [false, true, true]]
            {
                all.push((start..=end).filter(|at| taken[(at - start) % 3]).collect());
            }
        }
    }
    all
}

impl Drawn {
    /// The word of a card.
    pub fn word(&self, site: u64, card: u64) -> Vec<bool> {
        let mut word = vec![false; self.length];
        for (field, value) in [(&self.site, site), (&self.card, card)] {
            for (i, at) in field.clone().rev().enumerate() {
                word[at] = value >> i & 1 == 1;
            }
        }
        self.filler.iter().for_each(|&(at, bit)| word[at] = bit);
        for check in &self.checks {
            let ones = check.cover.iter().filter(|&&at| word[at]).count();
            word[check.bit] = (ones % 2 == 1) != check.odd;
        }
        word
    }

    pub fn card_span(&self) -> Span {
        Span::run(self.card.start, self.card.len()).unwrap()
    }
}

/// A sample with its number printed.
pub fn sample(line: usize, word: &[bool], printed: impl ToString) -> Sample {
    let capture = Capture::from_bits(word.iter().copied()).unwrap();
    Sample { printed: Some(printed.to_string()), ..Sample::new(line, capture) }
}

/// Offsets that took both values.
pub fn varied(words: &[Vec<bool>]) -> BTreeSet<usize> {
    let first = &words[0];
    (0..first.len()).filter(|&at| words.iter().any(|word| word[at] != first[at])).collect()
}

/// How an answer compares with the layout drawn.
#[derive(Debug, Default, Clone)]
pub struct Score {
    pub card_listed: bool,
    pub card_right: bool,
    pub could_be: usize,
    /// Checks whose cover includes a bit that varied, and how many are right on those bits.
    pub checks: usize,
    pub checks_right: usize,
    /// Of the wrong ones, those that say the same together with the others.
    pub equivalent: usize,
    pub owned_up: usize,
    pub too_many: usize,
    /// What the sample settles, and what is called so.
    pub settleable: usize,
    pub called_settled: usize,
    pub settled: usize,
    pub wrongly_settled: usize,
}

/// Compares an answer with the layout drawn; `words` are the good cards.
pub fn score(drawn: &Drawn, words: &[Vec<bool>], learnt: &Learnt) -> Score {
    let mut score = Score::default();
    let varied = varied(words);
    let truth = drawn.card_span();
    let card = learnt.fields.iter().find(|field| field.role.name() == "card");
    if let Some(card) = card {
        score.card_listed = card.could_be.contains(&truth);
        score.card_right = card.span == truth;
        score.could_be = card.could_be.len();
    }
    // The start is settled where one bit less would lose a number, and one more reads a 1.
    let starts = |at: usize| words.iter().any(|word| word[at]);
    let settles =
        starts(drawn.card.start) && (drawn.card.start == 0 || starts(drawn.card.start - 1));
    score.settleable += usize::from(settles);
    score.called_settled += usize::from(settles && card.is_some_and(|card| card.settled));
    for field in learnt.fields.iter().filter(|field| field.settled) {
        score.settled += 1;
        let right = match field.role.name() {
            "card" => truth.clone(),
            _ => Span::run(drawn.site.start, drawn.site.len()).unwrap(),
        };
        score.wrongly_settled += usize::from(field.span != right);
    }
    let bits: Vec<usize> = drawn.checks.iter().map(|check| check.bit).collect();
    let mut used = 0;
    for check in &drawn.checks {
        let on_varied: BTreeSet<usize> = check.cover.intersection(&varied).copied().collect();
        let found = learnt.checks.iter().find_map(|found| match &found.check {
            Check::Parity { bit, over, odd } if bit.offset() == check.bit => {
                Some((over.offsets().collect::<BTreeSet<usize>>(), *odd, found))
            }
            _ => None,
        });
        used += usize::from(found.is_some());
        // A check bit that never varied is as good as none.
        if on_varied.is_empty() || !varied.contains(&check.bit) {
            score.too_many += usize::from(found.is_some());
            continue;
        }
        score.checks += 1;
        let family = covers(drawn.length);
        let alike = family.iter().all(|cover| {
            let cover: BTreeSet<usize> = cover
                .iter()
                .copied()
                .filter(|at| !bits.contains(at) || check.cover.contains(at) && *at != check.bit)
                .collect();
            let same = cover.intersection(&varied).copied().collect::<BTreeSet<_>>() == on_varied;
            !same || cover == check.cover
        });
        let settles = alike && check.cover.is_subset(&varied);
        score.settleable += usize::from(settles);
        let Some((over, odd, found)) = found else { continue };
        score.called_settled += usize::from(settles && found.settled);
        score.settled += usize::from(found.settled);
        let right = over.intersection(&varied).copied().collect::<BTreeSet<_>>() == on_varied;
        score.checks_right += usize::from(right);
        // On the cards at hand it holds in any case, so that with the other
        // checks it says the same.
        let equivalent = !right && drawn.checks.len() > 1 && {
            let mut sum: BTreeSet<usize> =
                over.symmetric_difference(&check.cover).copied().collect();
            for other in drawn.checks.iter().filter(|other| other.bit != check.bit) {
                if sum.contains(&other.bit) {
                    let mut whole = other.cover.clone();
                    whole.insert(other.bit);
                    sum = sum.symmetric_difference(&whole).copied().collect();
                }
            }
            sum.is_disjoint(&varied)
        };
        score.equivalent += usize::from(equivalent);
        let unsure: BTreeSet<usize> =
            found.undetermined.iter().flat_map(|span| span.offsets()).collect();
        let apart: BTreeSet<usize> = over.symmetric_difference(&check.cover).copied().collect();
        let owned = apart.is_subset(&unsure);
        score.owned_up += usize::from(owned);
        let wrong = !apart.is_empty() || odd != check.odd;
        score.wrongly_settled += usize::from(found.settled && wrong && !equivalent);
    }
    score.too_many += learnt.checks.len() - used;
    score
}
