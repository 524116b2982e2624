//! Answers: candidates with their evidence, and the verdict.

use super::batch::Observation;
use super::fit::{Fit, Own};
use super::guess::{Guess, Kind};
use super::known::{Doubt, Known};
use super::mend::{self, Mend};
use super::model::{IDENTIFIED, LISTED, LISTED_MOST, NEAR_MISSES, UNKNOWN};
use crate::bits::{Capture, Digits};
use crate::decode::{Decode, Reading};
use crate::layout::Layout;

/// Parts of the evidence that round to nothing are left out, but not checks.
const WORTH_NAMING: f64 = 0.05;

/// What is settled about a capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The best candidate has probability 0.95 or more and all its checks hold.
    Identified,
    /// None of the table's layouts: probability 0.5 or more.
    Unknown,
    /// All else.
    Ambiguous,
}

impl Verdict {
    /// The name as output writes it.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Identified => "identified",
            Verdict::Unknown => "unknown",
            Verdict::Ambiguous => "ambiguous",
        }
    }
}

/// Where a part of the evidence comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Parity, fixed values, longitudinal checks.
    Checks,
    /// Decimal digits that are digits.
    Digits,
    /// A site code that comes back in the batch.
    SiteCode,
    /// The first byte of serial numbers that comes back in the batch.
    SerialHead,
    /// How site codes and numbers of all cards behave that two layouts explain
    /// alike.
    Role,
    /// The cards the site file lists.
    SiteFile,
    /// A noted or printed number.
    Noted,
    /// What the reader's other captures say of its wiring.
    Wiring,
    /// A bit lost or gained.
    Slip,
}

impl Why {
    /// The name as output writes it.
    pub fn name(self) -> &'static str {
        match self {
            Why::Checks => "checks",
            Why::Digits => "decimal digits",
            Why::SiteCode => "site code",
            Why::SerialHead => "serial number's first byte",
            Why::Role => "site code or number",
            Why::SiteFile => "site file",
            Why::Noted => "printed number",
            Why::Wiring => "wiring",
            Why::Slip => "bit lost or gained",
        }
    }
}

/// One part of a candidate's evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Where it comes from.
    pub why: Why,
    /// log2 of how much better it explains the bits than chance does.
    pub bits: f64,
    /// The same in words.
    pub words: String,
}

/// One layout under one reading, with its evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate<'t> {
    /// The layout.
    pub layout: &'t Layout,
    /// What happened between card and file.
    pub reading: Reading,
    /// The capture that it explains: of digits of unknown length, one of several.
    pub capture: Capture,
    /// The word the card sent, under this reading.
    pub word: Capture,
    /// The value given to a lost bit.
    pub restored: Option<bool>,
    /// The parts of the evidence.
    pub evidence: Vec<Evidence>,
    /// Probability, all candidates and "none of these" together 1.
    pub probability: f64,
}

impl<'t> Candidate<'t> {
    /// The word under the layout.
    pub fn decode(&self) -> Decode<'t> {
        Decode { layout: self.layout, word: self.word }
    }

    /// The evidence added up, in bits.
    pub fn evidence_bits(&self) -> f64 {
        self.evidence.iter().fold(0.0, |sum, part| sum + part.bits)
    }

    /// Whether every rule holds.
    pub fn holds(&self) -> bool {
        self.layout.admits(&self.word)
    }
}

/// The answer to one capture.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer<'t> {
    /// What is settled.
    pub verdict: Verdict,
    /// The capture: of digits of unknown length, the best candidate's, or the
    /// likeliest; `None` where no length holds them.
    pub capture: Option<Capture>,
    /// The candidates, best first; near misses included.
    pub candidates: Vec<Candidate<'t>>,
    /// Probability that no layout of the table made this capture.
    pub none_probability: f64,
    /// Probability of all that is not listed.
    pub other_probability: f64,
    /// The best explanation that mends a bit inside the capture, where the
    /// probe file shows one in doubt.
    pub mended: Option<Mended<'t>>,
}

/// A word with one bit or two mended inside: no reading names that.
#[derive(Debug, Clone, PartialEq)]
pub struct Mended<'t> {
    /// The word under its layout.
    pub decode: Decode<'t>,
    /// The bit mended, and the second one where there are two.
    pub first: Mend,
    /// See there.
    pub second: Option<Mend>,
    /// Its probability, part of the answer's `other_probability`.
    pub probability: f64,
}

impl<'t> Answer<'t> {
    /// The best candidate, where "none of these" is not likelier than it.
    pub fn best(&self) -> Option<&Candidate<'t>> {
        match self.verdict {
            Verdict::Unknown => None,
            _ => self.candidates.first(),
        }
    }
}

/// Everything that may explain one capture, each with its odds.
pub(super) struct View {
    capture: Capture,
    guesses: Vec<Guess>,
    own: Vec<Own>,
    /// Of each guess.
    odds: Vec<f64>,
    role_bits: Vec<f64>,
    none: f64,
    /// Harmed beyond telling.
    beyond: f64,
    wiring: [f64; 4],
}

impl View {
    /// The odds of all of it together.
    pub(super) fn all(&self) -> f64 {
        let known = self.guesses.iter().zip(&self.odds).filter(|(guess, _)| !guess.strange);
        self.none + self.beyond + known.map(|(_, odds)| odds).sum::<f64>()
    }
}

impl<'t> Fit<'_, 't> {
    /// Ranks one capture of the batch against everything the batch showed.
    ///
    /// A capture that was never [seen](super::Batch::see) is ranked by the
    /// batch's proportions, without having been counted.
    pub fn answer(&self, observation: &Observation) -> Answer<'t> {
        let Observation { capture, reader, known } = observation;
        let reader = self.batch.reader(reader);
        let class = self.class_of(reader, capture);
        self.assemble(&[self.view(reader, capture, known, class, None)])
    }

    /// Ranks digits of unknown length over all lengths that they may be of.
    ///
    /// Each candidate has a capture of its own, and so has the answer: the best
    /// candidate's, or the likeliest where there is none.
    pub fn answer_digits(&self, reader: &str, digits: &Digits, known: &Known) -> Answer<'t> {
        let reader = self.batch.reader(reader);
        let lengths = self.lengths_of(reader, digits).into_iter();
        let views: Vec<View> = lengths
            .map(|of| self.view(reader, &of.capture, known, of.class, Some(of.scale)))
            .collect();
        self.assemble(&views)
    }

    /// Weighs everything that explains a capture; of digits of unknown length, one
    /// that they may be, `of_digits` so likely.
    pub(super) fn view(
        &self,
        reader: Option<u32>,
        capture: &Capture,
        known: &Known,
        class: Option<usize>,
        of_digits: Option<f64>,
    ) -> View {
        let (guesses, own, own_none) = self.guesses_of(reader, capture, known, class);
        let weighed = self.weigh(reader, capture.len(), own_none, &guesses, &own);
        let mut odds: Vec<f64> = (guesses.iter().zip(&own))
            .map(|(guess, own)| weighed.wiring[guess.wiring()] * self.part(guess, own))
            .collect();
        let role_bits = self.by_role(&guesses, &mut odds);
        let suspect = self.by_suspicion(&guesses, &mut odds);
        let strange = guesses.iter().zip(&odds).filter(|(guess, _)| guess.strange);
        let unlikely = of_digits.map_or(0.0, |_| self.unlikely_length(capture.len()));
        let scale = of_digits.unwrap_or(1.0);
        let none = (weighed.none - unlikely).max(weighed.none * 1e-9);
        let none = none + suspect + strange.map(|(_, odds)| odds).sum::<f64>();
        let beyond =
            self.beyond(capture.len(), &known.doubt) + self.harmed(reader, capture, &guesses);
        odds.iter_mut().for_each(|odds| *odds *= scale);
        View {
            capture: *capture,
            none: scale * none,
            beyond: scale * beyond,
            wiring: weighed.wiring,
            guesses,
            own,
            odds,
            role_bits,
        }
    }

    /// The answer that comes of everything that may be behind a capture.
    fn assemble(&self, views: &[View]) -> Answer<'t> {
        let none: f64 = views.iter().map(|view| view.none).sum();
        let beyond: f64 = views.iter().map(|view| view.beyond).sum();
        let mut odds: Vec<(f64, usize, usize)> = Vec::new();
        for (v, view) in views.iter().enumerate() {
            let of_table = view.odds.iter().enumerate().filter(|(i, _)| !view.guesses[*i].strange);
            odds.extend(of_table.map(|(i, odds)| (*odds, v, i)));
        }
        let all = none + beyond + odds.iter().map(|(odds, ..)| odds).sum::<f64>();
        // Ties keep the order of the readings and of the table.
        odds.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        let none_probability = none / all;
        let guess = |v: usize, i: usize| &views[v].guesses[i];
        // Where nothing fits, the nearest misses say why, whatever the reading.
        let near = |rank: usize, guess: &Guess| {
            rank < NEAR_MISSES
                && (none_probability >= UNKNOWN || guess.reading == Reading::AsCaptured)
        };
        let listed: Vec<(f64, usize, usize)> = odds
            .iter()
            .copied()
            .enumerate()
            .filter(|(_, (_, v, i))| guess(*v, *i).mended.is_none())
            .filter(|(rank, (odds, v, i))| odds / all >= LISTED || near(*rank, guess(*v, *i)))
            .take(LISTED_MOST)
            .map(|(_, of)| of)
            .collect();
        let candidate = |&(odds, v, i): &(f64, usize, usize)| {
            let (view, guess) = (&views[v], guess(v, i));
            let wiring = view.wiring[guess.wiring()];
            Candidate {
                layout: self.batch.kinds[guess.kind as usize].layout,
                reading: guess.reading,
                capture: view.capture,
                word: guess.word,
                restored: guess.restored,
                evidence: self.evidence(guess, &view.own[i], wiring, view.role_bits[i]),
                probability: odds / all,
            }
        };
        let candidates: Vec<Candidate<'t>> = listed.iter().map(candidate).collect();
        let named: f64 = candidates.iter().map(|c| c.probability).sum();
        let other_probability = match listed.len() == odds.len() && beyond == 0.0 {
            true => 0.0,
            false => (1.0 - named - none_probability).max(0.0),
        };
        let verdict = match candidates.first() {
            Some(best) if best.probability >= IDENTIFIED && best.holds() => Verdict::Identified,
            _ if none_probability >= UNKNOWN => Verdict::Unknown,
            _ => Verdict::Ambiguous,
        };
        let mended = odds.iter().find_map(|&(odds, v, i)| {
            let guess = guess(v, i);
            let mends = guess.mended?;
            let layout = self.batch.kinds[guess.kind as usize].layout;
            Some(Mended {
                first: mends.first,
                second: mends.second,
                decode: Decode { layout, word: guess.word },
                probability: odds / all,
            })
        });
        let likeliest = views.iter().max_by(|a, b| a.all().total_cmp(&b.all()));
        let best = candidates.first().filter(|_| verdict != Verdict::Unknown);
        let capture = best.map(|best| best.capture).or(likeliest.map(|view| view.capture));
        Answer { verdict, capture, candidates, none_probability, other_probability, mended }
    }

    /// The mixture's part for a capture harmed beyond mending, as one of the
    /// kinds near its length may be.
    fn beyond(&self, length: usize, doubt: &Doubt) -> f64 {
        let Some(harmed) = mend::beyond(doubt, length) else { return 0.0 };
        let near = (length.saturating_sub(2)..=length + 2)
            .filter_map(|length| self.batch.by_length.get(length))
            .flatten()
            .map(|kind| &self.shares[*kind as usize]);
        harmed.exp2() * near.map(|s| s.free + s.owned + s.repeating).sum::<f64>()
    }

    /// Gives what a pair of layouts explains together to each of them as the whole
    /// batch says; log2 of how much more each has then.
    fn by_role(&self, guesses: &[Guess], odds: &mut [f64]) -> Vec<f64> {
        let mut bits = vec![0.0; guesses.len()];
        for roles in &self.roles {
            for (site, number) in roles.pair.guesses(guesses) {
                let both = odds[site] + odds[number];
                let share = roles.has_code(roles.pair.code.number(&guesses[site].word));
                for (i, share) in [(site, share), (number, 1.0 - share)] {
                    let now = both * share.max(f64::MIN_POSITIVE);
                    bits[i] = (now / odds[i].max(f64::MIN_POSITIVE)).max(f64::MIN_POSITIVE).log2();
                    odds[i] = now;
                }
            }
        }
        bits
    }

    /// Takes from suspect kinds what may be another's; how much that is.
    fn by_suspicion(&self, guesses: &[Guess], odds: &mut [f64]) -> f64 {
        let mut taken = 0.0;
        for (guess, odds) in guesses.iter().zip(odds) {
            if let Some(suspicion) = self.suspects.get(&(guess.kind, guess.wiring())) {
                taken += *odds * suspicion;
                *odds *= 1.0 - suspicion;
            }
        }
        taken
    }

    /// The named parts of a guess's evidence; they add up.
    fn evidence(&self, guess: &Guess, own: &Own, wiring: f64, role: f64) -> Vec<Evidence> {
        let kind = &self.batch.kinds[guess.kind as usize];
        let mut parts = Vec::new();
        let mut part = |why, bits: f64, words: String| {
            if bits.abs() >= WORTH_NAMING || why == Why::Checks {
                parts.push(Evidence { why, bits, words });
            }
        };
        let decode = Decode { layout: kind.layout, word: guess.word };
        let failed = decode.outcomes().filter(|(_, holds)| !holds).count();
        if kind.layout.rank() > 0 {
            part(Why::Checks, guess.rules.checks, checks_in_words(kind.layout, failed));
        }
        part(Why::Digits, guess.rules.digits, digits_in_words(&decode));
        part(Why::Noted, guess.known, noted_in_words(guess.known));
        let (code_bits, file_bits) = self.code_bits(guess, own);
        let why = if kind.code_is_serial { Why::SerialHead } else { Why::SiteCode };
        part(why, code_bits, self.code_in_words(kind, guess, own.promised, code_bits));
        let words = match kind.layout.site_span() {
            Some(_) => "site codes of this batch: few that come back, or many",
            None => "numbers of this batch: of one code or of many",
        };
        part(Why::Role, role, words.to_owned());
        if self.batch.has_site && !kind.owned.is_empty() {
            let words = match guess.owned > 0.0 {
                true => "the site file lists this card".to_owned(),
                false => "the site file lists other cards of this layout, not this one".to_owned(),
            };
            part(Why::SiteFile, file_bits, words);
        }
        let words = match guess.wiring() {
            0 => "other captures of this reader hint at another wiring".to_owned(),
            _ if wiring < 0.5 => format!("few readers are wired this way: {}", percent(wiring)),
            _ => "the other captures of this reader came this way".to_owned(),
        };
        part(Why::Wiring, wiring.log2(), words);
        let words = match (guess.reading, guess.restored) {
            (Reading::BytesReversed, _) => "few readers send the bytes in reverse order",
            (Reading::FirstFourBytes | Reading::LastFourBytes, _) => "few readers cut the number",
            (reading, _) if reading.bits_lost() == 0 => "the probe file shows a pulse in doubt",
            (_, Some(_)) => "few captures lose a bit, and the lost bit is a guess",
            (_, None) => "few captures gain a bit",
        };
        part(Why::Slip, guess.slip, words.to_owned());
        parts
    }

    fn code_in_words(&self, kind: &Kind<'_>, guess: &Guess, promised: f64, bits: f64) -> String {
        let Some((span, _)) = &kind.code else { return String::new() };
        let what = if kind.code_is_serial { "first byte" } else { "site code" };
        let code = match kind.code_is_serial {
            true => format!("0x{:02X}", span.number(&guess.word)),
            false => Decode { layout: kind.layout, word: guess.word }
                .site()
                .map_or_else(String::new, |site| site.to_string()),
        };
        // The promise is a mean, drawn towards none: a number only where there are several.
        match (promised * (self.total + 1.0)).round() {
            _ if bits < 0.0 => format!("{what} {code} does not come back in this batch"),
            n if n < 2.0 => format!("{what} {code} comes back in this batch"),
            n => format!("{what} {code} came in about {n} other captures"),
        }
    }
}

fn percent(p: f64) -> String {
    format!("{:.2} %", 100.0 * p)
}

fn checks_in_words(layout: &Layout, failed: usize) -> String {
    let rank = layout.rank();
    match failed {
        0 => match rank {
            1..=40 => format!("all hold; 1 random capture in {} does that", 1u64 << rank),
            _ => format!("all hold; 1 random capture in 2^{rank} does that"),
        },
        1 => "1 check fails, which 1 card in 4096 does".to_owned(),
        n => format!("{n} checks fail"),
    }
}

fn digits_in_words(decode: &Decode<'_>) -> String {
    let digits = |rule: &&crate::layout::Rule| matches!(rule, crate::layout::Rule::Decimal { .. });
    let all = decode.layout.rules().iter().filter(digits);
    let count = all.clone().count();
    let failed = all.filter(|rule| !rule.holds(decode.word.wide())).count();
    match failed {
        0 => format!("{count} digits are decimal; by chance each is in 5 of 8"),
        failed => format!("{failed} of {count} digits are no decimal digit"),
    }
}

fn noted_in_words(bits: f64) -> String {
    match bits > 0.0 {
        true => "the noted number comes out".to_owned(),
        false => "the noted number does not come out".to_owned(),
    }
}
