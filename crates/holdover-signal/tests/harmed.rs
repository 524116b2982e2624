//! Captures harmed by pulses too many, doubled or lost, from the probe file to
//! the answer: none is answered with another card, and whole ones are
//! identified.

mod common;

use common::Draw;
use common::recording::Recording;
use holdover::bits::Capture;
use holdover::layout::{Table, Value, builtin};
use holdover::rank::{Answer, Batch, Doubt, Known, Observation, model};
use holdover_signal::{CardRead, Options};

/// A pulse: when it falls and rises, in ns, and on which line.
type Pulse = (i64, i64, usize);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Harm {
    /// A pulse at a random time on a random line.
    Extra,
    /// Two of them.
    Extras,
    /// A pulse comes twice.
    Doubled,
    /// The other line pulses with a pulse.
    Crosstalk,
    Lost,
    TwoLost,
    LostAndExtra,
}

const HARMS: [Harm; 7] = [
    Harm::Extra,
    Harm::Extras,
    Harm::Doubled,
    Harm::Crosstalk,
    Harm::Lost,
    Harm::TwoLost,
    Harm::LostAndExtra,
];

fn harm(pulses: &mut Vec<Pulse>, harm: Harm, draw: &mut Draw) {
    let inside = |draw: &mut Draw, len: usize| 1 + draw.below(len as u64 - 2) as usize;
    let len = pulses.len();
    let (first, last) = (pulses[0].0, pulses[len - 1].0);
    let width = pulses[0].1 - first;
    match harm {
        Harm::Extra => loop {
            let at = first + draw.below((last - first) as u64) as i64;
            let line = draw.below(2) as usize;
            // Clear of the line's own pulses: it would only widen one of them.
            let clear = |p: &Pulse| p.2 != line || at > p.1 + 10_000 || at + width + 10_000 < p.0;
            if pulses.iter().all(clear) {
                pulses.push((at, at + width, line));
                break;
            }
        },
        Harm::Extras => (0..2).for_each(|_| self::harm(pulses, Harm::Extra, draw)),
        Harm::Doubled => {
            let (start, end, line) = pulses[draw.below(len as u64) as usize];
            let after = end - start + 20_000 + draw.below(100_000) as i64;
            pulses.push((start + after, end + after, line));
        }
        Harm::Crosstalk => {
            let (start, end, line) = pulses[draw.below(len as u64) as usize];
            let after = (end - start) / 3;
            pulses.push((start + after, end + after, 1 - line));
        }
        Harm::Lost => drop(pulses.remove(inside(draw, len))),
        Harm::TwoLost => (0..2).for_each(|_| self::harm(pulses, Harm::Lost, draw)),
        Harm::LostAndExtra => {
            self::harm(pulses, Harm::Lost, draw);
            self::harm(pulses, Harm::Extra, draw);
        }
    }
    pulses.sort_unstable();
}

/// A probe file of cards, some of them harmed; lines rest high.
fn recording(cards: &[(Capture, Option<Harm>)], draw: &mut Draw) -> Recording {
    let interval = draw.log(500.0, 5_000.0) * 1000.0;
    let width = draw.log(30.0, 100.0) * 1000.0;
    let mut edges: Vec<(i64, bool, usize)> = Vec::new();
    let mut at = 5e8;
    for (card, kind) in cards {
        let mut pulses: Vec<Pulse> = Vec::new();
        for bit in card.bits() {
            let jitter = 0.95 + 0.1 * draw.unit();
            pulses.push((at as i64, (at + width * jitter) as i64, usize::from(bit)));
            at += interval * (0.95 + 0.1 * draw.unit());
        }
        if let Some(kind) = kind {
            harm(&mut pulses, *kind, draw);
        }
        edges.extend(pulses.iter().flat_map(|p| [(p.0, false, p.2), (p.1, true, p.2)]));
        at += 5e8;
    }
    edges.sort_unstable();
    let mut levels = [true; 2];
    let mut states = vec![(0, levels)];
    for (time, high, line) in edges {
        levels[line] = high;
        states.push((time, levels));
    }
    Recording { states, end: at as i64 }
}

/// What came of captures: how many, identified as another card, as the card,
/// and taken for another card or the card if mended.
#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    all: usize,
    wrong: usize,
    right: usize,
    mended_wrong: usize,
    mended_right: usize,
}

impl Tally {
    fn add(&mut self, other: Tally) {
        self.all += other.all;
        self.wrong += other.wrong;
        self.right += other.right;
        self.mended_wrong += other.mended_wrong;
        self.mended_right += other.mended_right;
    }

    fn count(&mut self, answer: &Answer<'_>, card: &Capture) {
        self.all += 1;
        // Layouts with the same checks share the word that the card sent: which of
        // them it is of, a box of numbers does not tell, and no pulse does.
        let word = answer.candidates.first().map(|best| best.word);
        let of_word = answer.candidates.iter().filter(|c| Some(c.word) == word && c.holds());
        if of_word.map(|c| c.probability).sum::<f64>() >= model::IDENTIFIED {
            let same = word == Some(*card);
            self.right += usize::from(same);
            self.wrong += usize::from(!same);
        } else if let Some(mended) = &answer.mended
            && mended.probability >= 0.5
        {
            let same = mended.decode.word == *card;
            self.mended_right += usize::from(same);
            self.mended_wrong += usize::from(!same);
        }
    }
}

/// Reads a file and answers its captures by what the table knows.
fn answers<'t>(table: &'t Table, file: &str) -> Vec<Answer<'t>> {
    let (reads, _) = common::read(&Options::default(), file.as_bytes());
    let observation = |read: &CardRead| {
        let unsure = read.unsure.clone();
        let doubt = Doubt { missing: unsure.missing, suspect: unsure.suspect, ..Doubt::default() };
        let known = Known { doubt, ..Known::default() };
        Observation { capture: read.bits, reader: String::new(), known }
    };
    let seen: Vec<Observation> = reads.iter().map(observation).collect();
    let mut batch = Batch::new(table, None);
    seen.iter().for_each(|observation| batch.see(observation));
    let fit = batch.fit();
    seen.iter().map(|observation| fit.answer(observation)).collect()
}

/// Lengths that one bit too many or too few turns into each other.
fn neighbours() -> Table {
    let layout = |id: &str, length: usize| {
        let half = length / 2;
        format!(
            "[[layout]]\nid = \"{id}\"\nlength = {length}\nbasis = \"invented\"\n\
             [[layout.field]]\nrole = \"site\"\nspan = \"2-9\"\n\
             [[layout.field]]\nrole = \"card\"\nspan = \"10-{}\"\n\
             [[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-{half}\"\n\
             [[layout.check]]\nkind = \"odd\"\nbit = {length}\nover = \"{}-{}\"\n",
            length - 1,
            half + 1,
            length - 1
        )
    };
    let text: String = [25, 26, 27, 28].map(|n| layout(&format!("own{n}"), n)).concat();
    Table::from_toml(&text).unwrap()
}

/// A site's cards: one to three layouts, a few site codes, numbers in a box.
fn cards(table: &Table, ids: &[&str], count: usize, draw: &mut Draw) -> Vec<Capture> {
    let codes: Vec<u128> = (0..3).map(|_| u128::from(draw.below(255)) + 1).collect();
    let first = u128::from(draw.below(30_000));
    (0..count)
        .map(|_| {
            let id = ids[draw.below(ids.len() as u64) as usize];
            let layout = table.layouts().iter().find(|l| l.id() == id).unwrap();
            let number = first + u128::from(draw.below(2_000));
            let values: Vec<(&str, Value)> = layout
                .fields()
                .iter()
                .map(|field| match field.role.name() {
                    "site" => ("site", Value::Number(codes[draw.below(3) as usize])),
                    name => (name, Value::Number(number)),
                })
                .collect();
            layout.compose(values).unwrap()
        })
        .collect()
}

/// The sites tried: a table, the layouts met, and cards a file.
fn sites(own: &Table) -> Vec<(&Table, &'static [&'static str], usize)> {
    let kinds: [(&Table, &[&str]); 6] = [
        (builtin(), &["std26"]),
        (builtin(), &["std26", "site34"]),
        (builtin(), &["serial58", "std26", "site34"]),
        (own, &["own26"]),
        (own, &["own26", "own27"]),
        (own, &["own25", "own26", "own27", "own28"]),
    ];
    kinds.into_iter().flat_map(|(table, ids)| [8, 60].map(|count| (table, ids, count))).collect()
}

#[test]
fn a_harmed_capture_is_not_answered_with_another_card() {
    let own = neighbours();
    let mut draw = Draw::new(53);
    let mut by_kind = [Tally::default(); HARMS.len()];
    for (table, ids, count) in sites(&own) {
        let (mut harmed, mut whole) = (Tally::default(), Tally::default());
        for _ in 0..1800 / count {
            let cards = cards(table, ids, count, &mut draw);
            // One in six is harmed.
            let mut harm = || {
                let kind = HARMS[draw.below(HARMS.len() as u64) as usize];
                (draw.below(6) == 0).then_some(kind)
            };
            let cards: Vec<_> = cards.into_iter().map(|card| (card, harm())).collect();
            let answers = answers(table, &recording(&cards, &mut draw).table());
            assert_eq!(answers.len(), cards.len());
            for (answer, (card, kind)) in answers.iter().zip(&cards) {
                match HARMS.iter().position(|k| Some(*k) == *kind) {
                    None => whole.count(answer, card),
                    Some(slot) => {
                        harmed.count(answer, card);
                        by_kind[slot].count(answer, card);
                    }
                }
            }
        }
        println!("{ids:?} {count}: harmed {harmed:?}, whole {whole:?}");
        assert!(100 * harmed.wrong <= harmed.all, "{ids:?} {count}: {harmed:?}");
        assert_eq!(whole.wrong, 0, "{ids:?} {count}");
        // Two check bits and a few cards tell neighbours apart less often.
        let least = if count == 60 || ids.len() == 1 { 98 } else { 75 };
        assert!(100 * whole.right >= least * whole.all, "{ids:?} {count}: {whole:?}");
    }
    let mut all = Tally::default();
    for (kind, tally) in HARMS.iter().zip(by_kind) {
        println!("{kind:?}: {tally:?}");
        all.add(tally);
    }
    // What is named as the card if mended mostly is.
    assert!(all.mended_right > all.all / 3, "{all:?}");
    assert!(20 * all.mended_wrong <= all.mended_right, "{all:?}");
}

#[test]
fn a_capture_the_recording_cut_is_not_answered_with_another_card() {
    let own = neighbours();
    let mut draw = Draw::new(52);
    let mut all = Tally::default();
    for (table, ids, count) in sites(&own) {
        for _ in 0..if count == 8 { 80 } else { 12 } {
            let cards = cards(table, ids, count, &mut draw);
            let cards: Vec<_> = cards.into_iter().map(|card| (card, None)).collect();
            let whole = recording(&cards, &mut draw);
            let falls = whole.falls();
            let (first, last) = (cards[0].0.len(), cards[count - 1].0.len());
            let between = |draw: &mut Draw, a: i64, b: i64| a + draw.below((b - a) as u64) as i64;
            let from = between(&mut draw, falls[0], falls[first - 1]);
            let to = between(&mut draw, falls[falls.len() - last], falls[falls.len() - 1]);
            let answers = answers(table, &whole.between(from, to).table());
            assert_eq!(answers.len(), count);
            all.count(&answers[0], &cards[0].0);
            all.count(&answers[count - 1], &cards[count - 1].0);
        }
    }
    println!("{all:?}");
    assert!(100 * all.wrong <= all.all, "{all:?}");
}
