//! Rows of one kind, decided together: those that the same layouts could
//! explain, none of them settled, are all of one layout.
//!
//! A serial number of four bytes between two parity bits fits a layout with a
//! site code as well. Row by row some would be taken so and some so; yet the
//! cards of a kind come from one box or two.

use std::collections::{BTreeMap, HashMap, HashSet};

use holdover::bits::Capture;
use holdover::decode::{Decode, Reading};
use holdover::layout::{Layout, Table};
use holdover::rank::{Answer, model};

use super::notes::Note;

/// How much likelier a layout must be than one before it in the table: a box of
/// numbers tells next to nothing, and then the table's order is the usual one.
const LIKELIER: f64 = 8.0;

/// The layouts that could explain rows, by index in the table, ascending.
type Set = Vec<usize>;

/// Rows of one kind.
struct Kind {
    lines: Vec<usize>,
    /// For each layout of the set: its log-probability, summed over the rows.
    /// The ranking judges them together, so that their mean is what it says.
    logs: Vec<f64>,
    /// For each layout of the set: the site codes the rows would have.
    codes: Vec<HashSet<u128>>,
}

/// The rows of a roster, by kind.
pub struct Kinds<'t> {
    table: &'t Table,
    kinds: BTreeMap<Set, Kind>,
}

/// A kind of rows: what [`Kinds::add`] says of a row, to be asked for again.
pub type KindOf = Set;

impl<'t> Kinds<'t> {
    pub fn new(table: &'t Table) -> Kinds<'t> {
        Kinds { table, kinds: BTreeMap::new() }
    }

    /// A row whose layout is not settled; `None` where no layout explains it as
    /// it was captured.
    pub fn add(&mut self, line: u64, answer: &Answer<'_>, capture: Capture) -> Option<KindOf> {
        let decode = |layout| Decode::new(layout, capture).filter(Decode::holds);
        let layouts = self.table.layouts().iter().enumerate();
        let fits: Vec<(usize, Decode<'_>)> =
            layouts.filter_map(|(index, layout)| Some((index, decode(layout)?))).collect();
        let set: Set = fits.iter().map(|(index, _)| *index).collect();
        if set.is_empty() {
            return None;
        }
        let kind = self.kinds.entry(set.clone()).or_insert_with(|| Kind {
            lines: Vec::new(),
            logs: vec![0.0; set.len()],
            codes: vec![HashSet::new(); set.len()],
        });
        kind.lines.push(line as usize);
        for (i, (_, decode)) in fits.iter().enumerate() {
            let own = answer.candidates.iter().find(|candidate| {
                candidate.reading == Reading::AsCaptured
                    && candidate.layout.id() == decode.layout.id()
            });
            // What is too unlikely to be listed is at most so likely.
            let probability = own.map_or(0.0, |own| own.probability).max(model::LISTED);
            kind.logs[i] += probability.ln();
            kind.codes[i].extend(code(decode));
        }
        Some(set)
    }

    /// What each kind is, by its set.
    pub fn decide(&self) -> HashMap<&Set, &'t Layout> {
        let mut decided = HashMap::new();
        for (set, kind) in &self.kinds {
            let mut best: Option<(f64, usize)> = None;
            for (i, layout) in set.iter().enumerate() {
                let mean = kind.logs[i] / kind.lines.len() as f64;
                if best.is_none_or(|(most, _)| mean > most + LIKELIER.ln()) {
                    best = Some((mean, *layout));
                }
            }
            if let Some((_, index)) = best {
                decided.insert(set, &self.table.layouts()[index]);
            }
        }
        decided
    }

    /// What there is to say of the decisions.
    pub fn notes(&self) -> Vec<Note> {
        let decided = self.decide();
        let mut notes = Vec::new();
        for (set, kind) in &self.kinds {
            let Some(layout) = decided.get(set) else { continue };
            let (layout, lines) = (layout.id().to_owned(), kind.lines.clone());
            if lines.len() == 1 || set.len() == 1 {
                notes.push(Note::Unsure { layout, lines });
                continue;
            }
            let ids = set.iter().map(|index| self.table.layouts()[*index].id());
            let codes = kind.codes.iter().map(HashSet::len);
            let others = ids.zip(codes).filter(|(id, _)| *id != layout);
            let others = others.map(|(id, codes)| (id.to_owned(), codes)).collect();
            notes.push(Note::OneKind { layout, others, lines });
        }
        notes
    }
}

/// The site code of a decode, where its layout has one.
fn code(decode: &Decode<'_>) -> Option<u128> {
    decode.site()?.to_string().parse().ok()
}

#[cfg(test)]
mod tests {
    use holdover::layout::{Value, builtin};
    use holdover::rank::{Batch, Known, Observation, Verdict};

    use super::*;

    /// How many captures come out as each layout.
    fn counts(captures: &[Capture]) -> BTreeMap<String, usize> {
        let seen = |capture: &Capture| Observation {
            capture: *capture,
            reader: String::new(),
            known: Known::default(),
        };
        let mut batch = Batch::new(builtin(), None);
        captures.iter().for_each(|capture| batch.see(&seen(capture)));
        let fit = batch.fit();
        let mut kinds = Kinds::new(builtin());
        let mut counts = BTreeMap::new();
        let mut open = Vec::new();
        for (i, capture) in captures.iter().enumerate() {
            let answer = fit.answer(&seen(capture));
            match answer.candidates.first().filter(|_| answer.verdict == Verdict::Identified) {
                Some(best) => {
                    *counts.entry(best.layout.id().to_owned()).or_insert(0) += 1;
                }
                None => open.extend(kinds.add(i as u64 + 2, &answer, *capture)),
            }
        }
        let decided = kinds.decide();
        for kind in open {
            *counts.entry(decided[&kind].id().to_owned()).or_insert(0) += 1;
        }
        counts
    }

    fn word(layout: &str, site: Option<u32>, number: u32) -> Capture {
        let layout = builtin().layout(layout).unwrap();
        let site = site.map(|site| ("site", Value::Number(site.into())));
        let card = ("card", Value::Number(number.into()));
        layout.compose(site.into_iter().chain([card])).unwrap()
    }

    /// A building of cards with site codes: a few codes, the first the most
    /// usual, and visitors one in twenty; the numbers out of a box each.
    fn with_codes(rng: &mut fastrand::Rng, cards: usize) -> Vec<Capture> {
        let codes: Vec<(u32, u32)> =
            (0..rng.usize(1..=4)).map(|_| (rng.u32(0..1 << 16), rng.u32(0..60_000))).collect();
        let card = |_| {
            if rng.u8(0..20) == 0 {
                return word("site34", Some(rng.u32(0..1 << 16)), rng.u32(0..1 << 16));
            }
            let at = (0..codes.len() - 1).find(|_| rng.u8(0..3) > 0).unwrap_or(codes.len() - 1);
            let (code, first) = codes[at];
            word("site34", Some(code), first + rng.u32(0..2000))
        };
        (0..cards).map(card).collect()
    }

    #[test]
    fn a_building_is_of_one_kind() {
        let (mut rows, mut wrong) = (0, 0);
        let mut mixed = [0; 2];
        for seed in 0..60 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let cards = rng.usize(5..60);
            let (captures, truth) = match seed % 2 {
                0 => (with_codes(&mut rng, cards), "site34"),
                _ => ((0..cards).map(|_| word("num34", None, rng.u32(..))).collect(), "num34"),
            };
            let counts = counts(&captures);
            rows += cards;
            let missed = cards - counts.get(truth).copied().unwrap_or(0);
            wrong += missed;
            mixed[seed as usize % 2] += usize::from(missed > 0 && missed < cards);
        }
        assert!(wrong * 50 <= rows, "{wrong} of {rows} rows");
        // By chance a pair of random numbers shares a code; and a visitor's card
        // beside those that are settled may be of the other kind.
        assert!(mixed[1] <= 1 && mixed[0] <= 10, "{mixed:?} of 30 and 30 buildings");
    }

    #[test]
    fn fifty_random_numbers_are_one_kind_and_thirty_cards_of_two_codes_another() {
        for seed in 0..5 {
            let mut rng = fastrand::Rng::with_seed(1000 + seed);
            let random: Vec<Capture> = (0..50).map(|_| word("num34", None, rng.u32(..))).collect();
            assert_eq!(counts(&random), BTreeMap::from([("num34".to_owned(), 50)]));
            for codes in [1, 2] {
                let card = |i: u32| word("site34", Some(300 + i % codes), rng.u32(0..1 << 16));
                let coded: Vec<Capture> = (0..30).map(card).collect();
                assert_eq!(counts(&coded), BTreeMap::from([("site34".to_owned(), 30)]));
            }
        }
    }
}
