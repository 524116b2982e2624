//! The stages of the library against their oracles, on layouts, cards and
//! sites that the fuzzer draws.

use std::collections::BTreeSet;

use holdover::bits::{Capture, Position, Span, Wide};
use holdover::decode::{Decode, Decoder, Reading};
use holdover::layout::{Check, Code, Field, Layout, LayoutSpec, Role, Table, Value, builtin};
use holdover::learn::{Learnt, Options, Sample, learn as learnt};
use holdover::plan::plan as planned;
use holdover::rank::{Answer, Batch, Known, Observation, Verdict};

use crate::Rng;
use crate::learn_cards::{self, Drawn, Wanted};
use crate::plan_brute::{checks, sites};

fn span(rng: &mut Rng, length: usize) -> Option<Span> {
    let mut offsets: Vec<usize> = Vec::new();
    for _ in 0..rng.usize(1..=3) {
        let (a, b) = (rng.usize(..length), rng.usize(..length));
        let run: Vec<usize> = if a <= b { (a..=b).collect() } else { (b..=a).rev().collect() };
        if run.iter().all(|offset| !offsets.contains(offset)) {
            offsets.extend(run);
        }
    }
    Span::from_offsets(offsets).ok()
}

fn field(rng: &mut Rng, role: &str, length: usize) -> Option<Field> {
    let field = Field::binary(Role::new(role), span(rng, length)?);
    let code = [Code::Binary, Code::Binary, Code::Bcd4, Code::Bcd5][rng.usize(..4)];
    Some(Field { code, ..field })
}

fn check(rng: &mut Rng, length: usize) -> Option<Check> {
    let over = span(rng, length)?;
    Some(match rng.u8(..6) {
        0 => Check::Fixed { value: rng.u128(..) & ((1 << over.len().min(127)) - 1), span: over },
        1 => Check::Lrc { group: rng.usize(1..=8), over, at: span(rng, length)? },
        _ => Check::Parity { odd: rng.bool(), bit: Position::new(rng.usize(1..=length))?, over },
    })
}

/// A table of up to five layouts; those that cannot be are left out.
fn table(rng: &mut Rng, length: usize) -> Table {
    let layouts = (0..rng.usize(1..=5)).filter_map(|nth| {
        let length = (length + [0, 0, 1][rng.usize(..3)]).min(Capture::MAX_BITS);
        let mut fields: Vec<Field> = field(rng, "card", length).into_iter().collect();
        if rng.bool() {
            fields.extend(field(rng, "site", length));
        }
        let checks: Vec<Check> = (0..rng.usize(..=3)).filter_map(|_| check(rng, length)).collect();
        let spec = |checks| LayoutSpec {
            id: format!("l{nth}"),
            title: "invented".into(),
            length,
            basis: "invented".into(),
            weight: 1.0,
            fields: fields.clone(),
            checks,
            unsettled: Vec::new(),
        };
        Layout::new(spec(checks)).or_else(|_| Layout::new(spec(Vec::new()))).ok()
    });
    Table::new(layouts).expect("ids are counted")
}

fn capture(rng: &mut Rng, length: usize) -> Capture {
    let words = [rng.u64(..), rng.u64(..), rng.u64(..), rng.u64(..)];
    Capture::from_wide(Wide(words), length).expect("a length that can be")
}

/// What the columns say of a capture is what each layout's rules say of it,
/// one at a time; what is composed decodes.
pub fn decode(data: &[u8]) {
    let rng = &mut Rng::new(data);
    let length = rng.usize(1..=Capture::MAX_BITS);
    let drawn;
    let table = match rng.u8(..4) {
        0 => builtin(),
        _ => {
            drawn = table(rng, length);
            &drawn
        }
    };
    let readings = if rng.bool() { &Reading::ALL[..] } else { &Reading::WIRING[..] };
    let decoder = Decoder::new(table, length, readings);
    let captures: Vec<Capture> = (0..rng.usize(1..=4)).map(|_| capture(rng, length)).collect();
    let column: Vec<Wide> = captures.iter().map(Capture::wide).collect();
    let mut fits = vec![0; decoder.groups() * column.len()];
    decoder.fits(&column, &mut fits);
    let mut narrow = fits.clone();
    if length <= 64 {
        let column: Vec<u64> = column.iter().map(|wide| wide.0[0]).collect();
        narrow.fill(0);
        decoder.fits(&column, &mut narrow);
    }
    assert_eq!(narrow, fits);
    for (i, capture) in captures.iter().enumerate() {
        let fits = &fits[i * decoder.groups()..][..decoder.groups()];
        let mut views = decoder.views().iter().enumerate();
        for reading in readings {
            for word in reading.words(capture) {
                for layout in table.layouts().iter().filter(|l| l.length() == word.word.len()) {
                    let (v, view) = views.next().expect("a view for each");
                    assert_eq!((view.reading, view.restored), (*reading, word.restored));
                    assert_eq!(decoder.layout(view), layout);
                    assert_eq!(view.word(capture.wide()), word.word.wide());
                    let decode = Decode { layout, word: word.word };
                    assert_eq!(fits[v / 64] >> (v % 64) & 1 == 1, decode.holds());
                    assert_eq!(decode.holds(), decode.outcomes().all(|(_, holds)| holds));
                    for field in layout.fields() {
                        let number = view.extract(&field.span).number(capture.wide());
                        assert_eq!(number, field.span.number(&word.word));
                    }
                    composes(&decode);
                }
            }
        }
        assert!(views.next().is_none());
    }
}

/// The values of a word make a word that holds, and has these values.
fn composes(decode: &Decode<'_>) {
    let values: Vec<(&str, Value)> = decode.fields().collect();
    match decode.layout.compose(values.clone()) {
        Ok(made) => {
            let made = Decode { layout: decode.layout, word: made };
            assert!(made.holds());
            assert_eq!(made.fields().collect::<Vec<_>>(), values);
        }
        // A word that holds has values that can be.
        Err(error) => assert!(!decode.holds(), "{error}: {decode:?}"),
    }
}

/// Answers are shares of one, follow from the set of captures and not from
/// their order or repetition, and their verdicts from the shares.
pub fn rank(data: &[u8]) {
    let rng = &mut Rng::new(data);
    let length = [26, 37, 32, 34, 56, 80, 200, 128][rng.usize(..8)];
    let drawn;
    let table = match rng.bool() {
        true => builtin(),
        false => {
            drawn = table(rng, length);
            &drawn
        }
    };
    let mut seen: Vec<Observation> = Vec::new();
    for _ in 0..rng.usize(1..=16) {
        let layout = match table.layouts() {
            [] => None,
            layouts => Some(&layouts[rng.usize(..layouts.len())]),
        };
        let bits = match layout {
            Some(layout) if rng.u8(..4) > 0 => {
                let random = capture(rng, layout.length());
                let decode = Decode { layout, word: random };
                let values: Vec<(&str, Value)> = decode.fields().collect();
                layout.compose(values).unwrap_or(random)
            }
            _ => {
                let length = rng.usize(1..=Capture::MAX_BITS);
                capture(rng, length)
            }
        };
        let bits = Reading::ALL[rng.usize(..8)].capture_of(&bits, rng.bool()).unwrap_or(bits);
        let printed = (rng.u8(..4) == 0).then(|| rng.u64(..100_000).to_string());
        let reader = ["", "gate", "stair"][rng.usize(..3)].to_owned();
        let known = Known { printed, ..Known::default() };
        seen.push(Observation { capture: bits, reader, known });
    }
    let answers = |order: &mut dyn Iterator<Item = &Observation>| -> Vec<String> {
        let mut batch = Batch::new(table, None);
        order.for_each(|observation| batch.see(observation));
        let fit = batch.fit();
        let answers = seen.iter().map(|observation| {
            let answer = fit.answer(observation);
            shares(&answer);
            format!("{answer:?}")
        });
        answers.collect()
    };
    let wanted = answers(&mut seen.iter());
    assert_eq!(answers(&mut seen.iter().rev()), wanted);
    assert_eq!(answers(&mut seen.iter().chain(&seen)), wanted);
}

fn shares(answer: &Answer<'_>) {
    let shares: Vec<f64> = answer.candidates.iter().map(|c| c.probability).collect();
    let sum = shares.iter().sum::<f64>() + answer.none_probability + answer.other_probability;
    assert!((sum - 1.0).abs() < 1e-9, "{sum}: {answer:?}");
    assert!(shares.iter().all(|share| (0.0..=1.0 + 1e-12).contains(share)), "{answer:?}");
    assert!(shares.windows(2).all(|pair| pair[0] >= pair[1]), "{answer:?}");
    for candidate in &answer.candidates {
        assert!(candidate.evidence_bits().is_finite(), "{answer:?}");
    }
    let best = answer.candidates.first();
    let sure = best.is_some_and(|best| best.probability >= 0.95 && best.holds());
    let none = answer.none_probability >= 0.5;
    let wanted = match (none, sure) {
        (true, _) => Verdict::Unknown,
        (_, true) => Verdict::Identified,
        _ => Verdict::Ambiguous,
    };
    assert_eq!(answer.verdict, wanted, "{answer:?}");
}

/// Of layouts it draws, learning finds what is so: a check that the sample
/// determines is never another one and called settled, and what may be chance
/// is called so only where it promises that chance is next to nothing.
pub fn learn(data: &[u8]) {
    let rng = &mut Rng::new(data);
    let wanted = Wanted {
        checks: rng.usize(..=2),
        filler: rng.bool(),
        covers_other_check: rng.u8(..4) == 0,
    };
    let drawn = learn_cards::draw(rng, wanted);
    let sites: Vec<u64> = (0..rng.usize(1..=6)).map(|_| rng.u64(..1 << drawn.site.len())).collect();
    let way = rng.u8(..6);
    let first = rng.u64(..1 << drawn.card.len());
    let count = rng.usize(4..=80);
    // Which card comes next is chance: a pile that an enemy chose fits anything.
    let mut chance = Rng::with_seed(rng.u64(..));
    let most = 1u64 << drawn.card.len();
    let mut words = Vec::new();
    let samples: Vec<Sample> = (0..count)
        .map(|i| {
            let site = sites[chance.usize(..sites.len())];
            let card = match way {
                0 => (first + i as u64) % most,
                1 => chance.u64(..most.min(3000)),
                _ => chance.u64(..most),
            };
            words.push(drawn.word(site, card));
            match way {
                2 => learn_cards::sample(i + 2, &words[i], format!("{site}-{card:05}")),
                3 => Sample { printed: None, ..learn_cards::sample(i + 2, &words[i], card) },
                _ => learn_cards::sample(i + 2, &words[i], card),
            }
        })
        .collect();
    for kind in learnt(&samples, &Options::default()) {
        right(&drawn, &words, &kind);
        let lines: BTreeSet<usize> =
            kind.good.iter().copied().chain(kind.misread.iter().map(|m| m.line)).collect();
        assert_eq!(lines.len(), kind.samples, "no sample is left out silently");
        if let Some(layout) = &kind.layout {
            let text = layout.to_toml();
            let table = Table::from_toml(&text).unwrap_or_else(|why| panic!("{why}\n{text}"));
            assert_eq!(table.layouts(), std::slice::from_ref(layout));
            for (sample, word) in samples.iter().zip(&words) {
                let word = Capture::from_bits(word.iter().copied()).expect("a card");
                let word = if kind.lines_swapped { word.complement() } else { word };
                assert!(!kind.good.contains(&sample.line) || layout.admits(&word));
            }
        }
    }
}

/// Alarms below this are a promise: nobody meets one by fuzzing.
const NEVER: f64 = 1e-12;

fn right(drawn: &Drawn, words: &[Vec<bool>], kind: &Learnt) {
    if kind.lines_swapped || kind.good.len() < words.len() {
        return;
    }
    let score = learn_cards::score(drawn, words, kind);
    if score.wrongly_settled > 0 {
        let varied = learn_cards::varied(words).len();
        let determined = rank_of(words) >= varied.saturating_sub(drawn.checks.len());
        assert!(
            !determined && kind.false_alarms_expected > NEVER,
            "settled and wrong: {drawn:?} {:?} {:?} {}",
            kind.checks,
            kind.fields,
            kind.false_alarms_expected
        );
    }
}

/// The rank of the cards' differences: what relations can be told apart by.
fn rank_of(words: &[Vec<bool>]) -> usize {
    let wide = |word: &Vec<bool>| Capture::from_bits(word.iter().copied()).expect("a card").wide();
    let first = wide(&words[0]);
    let mut rows: Vec<Wide> = Vec::new();
    for word in words {
        let mut row = wide(word) ^ first;
        for known in &rows {
            if known.first_one().is_some_and(|at| row.bit(at)) {
                row = row ^ *known;
            }
        }
        if !row.is_zero() {
            rows.push(row);
        }
    }
    rows.len()
}

/// A plan of a small site is the best there is by brute force, and what it
/// says of itself is what the panel, simulated, does.
pub fn plan(data: &[u8]) {
    let rng = &mut Rng::new(data);
    let most = if rng.u8(..8) == 0 { 60 } else { 8 };
    let (table, site, roster) = sites::drawn(rng, 3, most);
    checks::is_best(&table, &site, &roster, "drawn");
}

/// Plan and proof never disagree, with more layouts than brute force bears;
/// a plan reads back equal and changes nothing against itself.
pub fn prove(data: &[u8]) {
    let rng = &mut Rng::new(data);
    let (table, site, roster) = sites::drawn(rng, 5, 40);
    checks::proof_agrees(&table, &site, &roster, "drawn");
    let plan = planned(&table, &site, &roster).expect("planned before");
    let text = serde_json::to_string(&plan).expect("a plan is JSON");
    let back: holdover::plan::Plan =
        serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}"));
    assert_eq!(serde_json::to_string(&back).expect("a plan is JSON"), text);
    assert!(back.changes_since(&plan, &roster).is_empty());
    plan.enrolment(&roster, &site.batches).expect("a list of every card");
}
