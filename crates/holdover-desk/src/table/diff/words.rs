//! Sets of words told by relations over GF(2) and by groups of four bits that
//! are decimal digits: whether one is empty, a word of it, how many there are.
//!
//! A digit is 0xxx, 1000 or 1001, and no digit 11xx, 1010 or 1011: each of the
//! two is a union of two pieces that relations tell. So a set is a union of such
//! pieces, sought depth first; what no relation joins is counted apart.

use holdover::bits::gf2::{Added, Relation, System};
use holdover::bits::{Capture, Span, Wide};
use holdover::layout::{Layout, Rule};

/// Pieces that are counted at most; of more, how many words there are stays open.
const PIECES: usize = 1 << 16;

/// Steps of one search (a second or two); what takes more stays undecided.
const NODES: usize = 1 << 18;

/// A search was given up before it was known whether there is such a word.
#[derive(Debug)]
pub struct Undecided;

/// Words of a length that meet all relations and have decimal digits in all
/// groups.
#[derive(Debug, Clone)]
pub struct Words {
    length: usize,
    relations: Vec<Relation>,
    /// Groups of four bits, and whether they are a digit or none.
    groups: Vec<(Span, bool)>,
}

/// What is required of a word beside others.
#[derive(Debug, Clone)]
pub enum Need {
    /// A relation.
    Holds(Relation),
    /// A decimal digit.
    Digit(Span),
    /// Four bits that are none.
    NoDigit(Span),
}

impl Need {
    /// What the words need that do not meet it.
    pub fn broken(&self) -> Need {
        match self {
            Need::Holds(relation) => {
                Need::Holds(Relation { constant: !relation.constant, ..*relation })
            }
            Need::Digit(span) => Need::NoDigit(span.clone()),
            Need::NoDigit(span) => Need::Digit(span.clone()),
        }
    }
}

/// That bits of a span, by their place in it, have these values.
pub fn bits_are(span: &Span, ones: &[(usize, bool)]) -> Vec<Relation> {
    let offsets: Vec<usize> = span.offsets().collect();
    let one = |(at, value): &(usize, bool)| Relation {
        bits: Wide::ones(1).towards_end(offsets[*at]),
        constant: *value,
    };
    ones.iter().map(one).collect()
}

/// The two pieces of the digits, and of what is none.
fn pieces(span: &Span, digit: bool) -> [Vec<Relation>; 2] {
    match digit {
        true => {
            [bits_are(span, &[(0, false)]), bits_are(span, &[(0, true), (1, false), (2, false)])]
        }
        false => [
            bits_are(span, &[(0, true), (1, true)]),
            bits_are(span, &[(0, true), (1, false), (2, true)]),
        ],
    }
}

fn with(system: &System, relations: &[Relation]) -> Option<System> {
    let mut system = system.clone();
    let fits = relations.iter().all(|relation| system.add(*relation) != Added::Contradiction);
    fits.then_some(system)
}

/// Tells the pieces of a union, depth first, until it is told to stop.
fn each(
    system: &System,
    groups: &[(Span, bool)],
    left: &mut usize,
    tell: &mut dyn FnMut(&System) -> bool,
) -> bool {
    *left = left.saturating_sub(1);
    if *left == 0 {
        return false;
    }
    let Some(((span, digit), rest)) = groups.split_first() else { return tell(system) };
    let both = pieces(span, *digit);
    let mut fitting = both.iter().filter_map(|piece| with(system, piece));
    fitting.all(|system| each(&system, rest, left, tell))
}

impl Words {
    /// The words that a layout admits.
    pub fn of(layout: &Layout) -> Words {
        let (mut relations, mut groups) = (Vec::new(), Vec::new());
        for rule in layout.rules() {
            match rule {
                Rule::Relations { relations: own, .. } => relations.extend(own),
                Rule::Decimal { span, .. } => groups.push((span.clone(), true)),
            }
        }
        Words { length: layout.length(), relations, groups }
    }

    /// Those of them that meet more.
    pub fn and(&self, needs: impl IntoIterator<Item = Need>) -> Words {
        let mut words = self.clone();
        for need in needs {
            match need {
                Need::Holds(relation) => words.relations.push(relation),
                Need::Digit(span) => words.groups.push((span, true)),
                Need::NoDigit(span) => words.groups.push((span, false)),
            }
        }
        words
    }

    /// What a word must meet to be one of these.
    pub fn needs(&self) -> impl Iterator<Item = Need> + '_ {
        let relations = self.relations.iter().map(|relation| Need::Holds(*relation));
        relations.chain(self.groups.iter().map(|(span, digit)| match digit {
            true => Need::Digit(span.clone()),
            false => Need::NoDigit(span.clone()),
        }))
    }

    /// A word that meets one thing more, if there is any.
    pub fn example(&self, more: Option<&Need>) -> Result<Option<Capture>, Undecided> {
        let mut found = None;
        let searched = self.pieces(more, &mut |system| {
            found = Capture::from_wide(system.complete(Wide::ZERO), self.length).ok();
            found.is_none()
        });
        if found.is_none() && !searched { Err(Undecided) } else { Ok(found) }
    }

    /// A word that meets one of some things more, if there is any.
    pub fn example_of(
        &self,
        needs: impl Iterator<Item = Need>,
    ) -> Result<Option<Capture>, Undecided> {
        let mut none = Ok(None);
        for need in needs {
            match self.example(Some(&need)) {
                Ok(None) => {}
                Ok(found) => return Ok(found),
                Err(undecided) => none = Err(undecided),
            }
        }
        none
    }

    /// Words of each piece, until one is as wanted; few of each.
    pub fn seek(&self, wanted: impl Fn(&Capture) -> bool) -> Option<Capture> {
        let (mut found, mut told) = (None, 0);
        self.pieces(None, &mut |system| {
            let mut free = vec![Wide::ZERO, Wide::ones(self.length)];
            for i in 0..self.length {
                let one = Wide::ones(1).towards_end(i);
                free.extend([one, free[1] ^ one]);
            }
            let words = free.into_iter().map(|free| system.complete(free));
            let captures = words.filter_map(|word| Capture::from_wide(word, self.length).ok());
            found = captures.into_iter().find(|word| wanted(word));
            told += 1;
            found.is_none() && told < PIECES / 16
        });
        found
    }

    /// Tells the pieces until it is told to stop; whether there were steps left.
    fn pieces(&self, more: Option<&Need>, tell: &mut dyn FnMut(&System) -> bool) -> bool {
        let all = self.and(more.cloned());
        // What is wanted beside the digits settles more, and comes first; then
        // what shares bits with it.
        let wanted = match more {
            Some(Need::Holds(relation)) => relation.bits,
            Some(Need::Digit(span) | Need::NoDigit(span)) => span.mask(),
            None => Wide::ZERO,
        };
        let mut groups: Vec<(Span, bool)> = all.groups.into_iter().rev().collect();
        groups.sort_by_key(|(span, digit)| (*digit, (span.mask() & wanted).is_zero()));
        let relations = all.relations;
        let mut left = NODES;
        if let Some(system) = with(&System::new(), &relations) {
            each(&system, &groups, &mut left, tell);
        }
        left > 0
    }

    /// log2 of how many there are; `None` where that takes too long to count.
    pub fn count(&self) -> Option<f64> {
        let mut parts = Vec::<(Wide, Words)>::new();
        for need in self.needs() {
            let mut bits = match &need {
                Need::Holds(relation) => relation.bits,
                Need::Digit(span) | Need::NoDigit(span) => span.mask(),
            };
            // A relation of no bits is met by all words or by none.
            if bits.is_zero() {
                if let Need::Holds(Relation { constant: true, .. }) = need {
                    return Some(f64::NEG_INFINITY);
                }
                continue;
            }
            let mut words = Words { length: 0, relations: Vec::new(), groups: Vec::new() };
            words = words.and([need]);
            while let Some(at) = parts.iter().position(|(other, _)| !(*other & bits).is_zero()) {
                let (other, joined) = parts.swap_remove(at);
                bits = bits | other;
                words = words.and(joined.needs());
            }
            parts.push((bits, words));
        }
        let mut log = self.length as f64;
        for (_, words) in parts {
            let (mut sum, mut told) = (0.0, 0);
            let searched = words.pieces(None, &mut |system| {
                sum += (-(system.rank() as f64)).exp2();
                told += 1;
                told < PIECES
            });
            if !searched || told == PIECES {
                return None;
            }
            log += sum.log2();
        }
        Some(log)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_counted_and_found() {
        let span = |from: usize| Span::from_offsets(from..from + 4).unwrap();
        let any = Words { length: 12, relations: Vec::new(), groups: Vec::new() };
        assert_eq!(any.count(), Some(12.0));
        let digits = any.and([Need::Digit(span(0)), Need::Digit(span(8))]);
        assert!((digits.count().unwrap() - 1600f64.log2()).abs() < 1e-9);
        let relation = |bits: &[usize], constant| {
            let mut wide = Wide::ZERO;
            bits.iter().for_each(|bit| wide.set(*bit, true));
            Need::Holds(Relation { bits: wide, constant })
        };
        // Both digits are 8 or 9: the bit before the last is 0.
        let high = digits.and([relation(&[0], true), relation(&[8], true)]);
        assert_eq!(high.count(), Some(6.0));
        assert!(high.example(Some(&relation(&[1], true))).unwrap().is_none());
        assert_eq!(
            high.example(Some(&relation(&[3], true))).unwrap().unwrap().to_string(),
            "100100001000"
        );
        assert!(digits.example(Some(&Need::NoDigit(span(4)))).unwrap().is_some());
        assert!(digits.example(Some(&Need::NoDigit(span(0)))).unwrap().is_none());
    }
}
