//! What is worth saying of one capture beside its candidates.

use super::Gaps;
use super::words::{numbers, percent};
use crate::decode::Reading;
use crate::decode::serial::SerialNumber;
use crate::layout::{Layout, Part, Rule, Unsettled, Value};
use crate::rank::{Answer, Candidate, Mend, Mended, Observation, Verdict};
use crate::site::Site;

/// Candidates from this probability on have their serial numbers looked at.
const WORTH_A_NOTE: f64 = 0.05;

/// A reading is spoken of as what happened from this probability on.
const LIKELY: f64 = 0.5;

/// All notes on one capture: `assumed` is what had to be assumed to read it, and
/// `counted` is false for digits whose bit count nobody gave.
///
/// With gaps, numbers of the capture come out as gaps.
pub fn notes(
    observation: &Observation,
    assumed: &[String],
    counted: bool,
    answer: &Answer<'_>,
    site: Option<&Site>,
    gaps: Option<&Gaps<'_>>,
) -> Vec<String> {
    let mut notes = assumed.to_vec();
    if !counted {
        notes.extend(lengths(answer));
    }
    notes.extend(answer.mended.as_ref().and_then(mend));
    if let Some(best) = answer.best() {
        notes.extend(reading(best).filter(|_| best.probability >= LIKELY));
        notes.extend(twins(answer, gaps));
        notes.extend(print(observation, best, gaps));
        notes.extend(site.and_then(|site| ownership(best, answer, site)));
    }
    notes.extend(unsettled(answer));
    for candidate in answer.candidates.iter().filter(|c| c.probability >= WORTH_A_NOTE) {
        let serial = serial(candidate);
        if let (Some(gaps), false) = (gaps, serial.is_empty()) {
            gaps.refuse();
        }
        for note in serial {
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
    }
    notes
}

/// Which length digits were taken for, and which others they could have.
fn lengths(answer: &Answer<'_>) -> Option<String> {
    let taken = answer.capture?.len();
    let mut others: Vec<(usize, f64)> = Vec::new();
    for candidate in answer.candidates.iter().filter(|c| c.capture.len() != taken) {
        let length = candidate.capture.len();
        match others.iter_mut().find(|(of, _)| *of == length) {
            Some((_, sum)) => *sum += candidate.probability,
            None => others.push((length, candidate.probability)),
        }
    }
    others.retain(|(_, sum)| *sum >= LENGTH_NAMED);
    let others: Vec<String> =
        others.iter().map(|(length, p)| format!("{length} ({})", percent(*p))).collect();
    Some(match others.is_empty() {
        true => format!("taken as {taken} bits"),
        false => format!("taken as {taken} bits; could be {} too", others.join(", ")),
    })
}

/// Another length of digits is named from this probability on.
const LENGTH_NAMED: f64 = 0.01;

/// What the capture would be with the bits in doubt mended.
fn mend(mended: &Mended<'_>) -> Option<String> {
    if mended.probability < WORTH_A_NOTE || !mended.decode.holds() {
        return None;
    }
    let one = |mend: Mend| match mend.put_in {
        true => format!("a bit put in before bit {}", mend.at),
        false => format!("bit {} left out", mend.at),
    };
    let how = match mended.second {
        Some(second) => format!("{} and {}", one(mended.first), one(second)),
        None => one(mended.first),
    };
    Some(format!(
        "with {how}, where the probe file shows a pulse in doubt, this is {} {} ({}); read \
         the card again to be sure",
        mended.decode.layout.id(),
        numbers(&mended.decode),
        percent(mended.probability)
    ))
}

/// What is not settled of the layout that explains a capture best: where its
/// checks hold, what the answer rests on; where none but such checks fail, that
/// the card itself tells more of them.
fn unsettled(answer: &Answer<'_>) -> Option<String> {
    let best = answer.candidates.first()?;
    let layout = best.layout;
    if layout.unsettled().is_empty() {
        return None;
    }
    if best.holds() {
        answer.best()?;
        let open: Vec<&Unsettled> = layout.unsettled().iter().collect();
        let mut mends: Vec<String> = Vec::new();
        for mend in open.iter().map(|open| layout.settled_by(open)) {
            if mends.len() < OPEN_NAMED && !mends.contains(&mend) {
                mends.push(mend);
            }
        }
        let (names, is) = named(layout, &open);
        let id = layout.id();
        return Some(format!("of {id}, {names} {is} not settled: {}", mends.join("; ")));
    }
    if best.reading.bits_lost() != 0 {
        return None;
    }
    let mut failed = Vec::new();
    for rule in layout.rules().iter().filter(|rule| !rule.holds(best.word.wide())) {
        // A check that is settled and fails speaks for a bad read.
        let Rule::Relations { check: Some(index), .. } = rule else { return None };
        failed.push(layout.unsettled_check(*index)?);
    }
    let (names, is) = named(layout, &failed);
    let fails = if failed.len() == 1 { "fails" } else { "fail" };
    Some(format!("{names} {fails}, and {is} not settled: learn again with this card"))
}

/// Parts of a layout that one note names; the rest is counted.
const OPEN_NAMED: usize = 4;

/// The names of what is open, and "is" or "are".
fn named(layout: &Layout, open: &[&Unsettled]) -> (String, &'static str) {
    let (told, more) = open.split_at(open.len().min(OPEN_NAMED));
    let mut names: Vec<String> = told.iter().map(|open| layout.part_name(open.part)).collect();
    if !more.is_empty() {
        names.push(format!("{} more", more.len()));
    }
    (names.join(" and "), if open.len() == 1 { "is" } else { "are" })
}

fn reading(best: &Candidate<'_>) -> Option<String> {
    let note = match best.reading {
        Reading::AsCaptured => return None,
        Reading::LinesSwapped => "the two data lines are swapped: every bit is inverted",
        Reading::Reversed => "the bits came in reverse order",
        Reading::LinesSwappedReversed => {
            "the two data lines are swapped and the bits came in reverse order"
        }
        Reading::FirstBitLost => "the first bit was not caught; the one shown is worked out",
        Reading::LastBitLost => "the last bit was not caught; the one shown is worked out",
        Reading::ExtraFirstBit => "the first bit caught is not the card's",
        Reading::ExtraLastBit => "the last bit caught is not the card's",
        Reading::BytesReversed => {
            "the reader sends the bytes of the serial number in reverse order: the print tells"
        }
        Reading::FirstFourBytes => {
            "the reader sends the first four bytes of seven: the others are from the print"
        }
        Reading::LastFourBytes => {
            "the reader sends the last four bytes of seven: the others are from the print"
        }
    };
    Some(note.to_owned())
}

/// Layouts with the same checks: what each would make of the same bits.
fn twins(answer: &Answer<'_>, gaps: Option<&Gaps<'_>>) -> Option<String> {
    let best = answer.candidates.first()?;
    let twins: Vec<_> = answer
        .candidates
        .iter()
        .filter(|c| c.reading == best.reading && c.word == best.word)
        .filter(|c| c.layout.same_rules(best.layout))
        .collect();
    if twins.len() < 2 {
        return None;
    }
    let ids: Vec<_> = twins.iter().map(|c| c.layout.id()).collect();
    let note = format!("{} have the same bits and checks", ids.join(" and "));
    let mut readings: Vec<_> = twins.iter().map(|c| numbers(&c.decode())).collect();
    readings.dedup();
    if let Some(gaps) = gaps {
        let spans =
            |c: &Candidate<'_>| (c.layout.site_span().cloned(), c.layout.card_span().cloned());
        let same = twins.iter().all(|c| spans(c) == spans(best));
        // Of two, one with a site code and one without never read alike.
        let apart = |a: &Candidate<'_>, b: &Candidate<'_>| {
            a.layout.site_span().is_some() != b.layout.site_span().is_some()
        };
        if !same {
            if !matches!(twins[..], [a, b] if apart(a, b)) {
                gaps.refuse();
            }
            readings = twins.iter().map(|c| in_holes(c, gaps)).collect();
        }
    }
    if readings.len() == 1 {
        return Some(format!("{note}, and read the same numbers"));
    }
    Some(format!("{note}; the card's print tells which it is: {}", readings.join(" or ")))
}

/// What [`numbers`] says, with gaps.
fn in_holes(candidate: &Candidate<'_>, gaps: &Gaps<'_>) -> String {
    match (gaps.part(candidate, Part::Site), gaps.part(candidate, Part::Card)) {
        (Some(site), Some(card)) => format!("{site} {card}"),
        (None, Some(card)) => card,
        _ => {
            gaps.refuse();
            String::new()
        }
    }
}

/// Numbers noted that are not the card's; and what is printed on a card whose
/// number is printed by a rule.
fn print(
    observation: &Observation,
    best: &Candidate<'_>,
    gaps: Option<&Gaps<'_>>,
) -> Option<String> {
    let decode = best.decode();
    let known = &observation.known;
    let noted = known.site.as_ref().zip(decode.site().map(|site| site.to_string()));
    if let Some((noted, site)) = noted
        && noted.trim_start_matches('0') != site.trim_start_matches('0')
    {
        return Some(format!("site code noted as {noted}, but the card sends {site}"));
    }
    let rule = decode.layout.print_rule();
    let printed = (!rule.as_is()).then(|| decode.printed()).flatten();
    if let (Some(gaps), false) = (gaps, rule.as_is()) {
        gaps.refuse();
    }
    if known.print_agrees(&decode) != Some(false) {
        return Some(format!("printed on this card, as {rule} of its number: {}", printed?));
    }
    let noted = known.card.as_ref().or(known.printed.as_ref())?;
    let card = decode.card()?;
    let by_rule = printed.map(|print| format!(", which is printed as {print}"));
    let by_rule = by_rule.unwrap_or_default();
    Some(format!("noted as {noted}, but the card sends {card}{by_rule}: look at the print again"))
}

fn ownership(best: &Candidate<'_>, answer: &Answer<'_>, site: &Site) -> Option<String> {
    if answer.verdict != Verdict::Identified || site.batches.is_empty() {
        return None;
    }
    let number = |value: Option<Value>| value.and_then(|v| v.to_string().parse::<u128>().ok());
    let decode = best.decode();
    let (code, card) = (number(decode.site()).unwrap_or(0), number(decode.card())?);
    let of_layout = || site.batches.iter().filter(|batch| batch.layout == best.layout.id());
    let of_code = || of_layout().filter(|batch| batch.site.unwrap_or(0) == code);
    if of_code().any(|batch| (batch.first..=batch.last).contains(&card)) {
        return None;
    }
    Some(match (of_layout().next(), of_code().next()) {
        (None, _) => format!("the site file has no batch of {}", best.layout.id()),
        (_, None) => format!("site code {code} is not in the site file"),
        _ => "the card number is outside the batches of the site file".to_owned(),
    })
}

fn serial(candidate: &Candidate<'_>) -> Vec<String> {
    let Some(serial) = SerialNumber::of(candidate.layout, &candidate.word) else {
        return Vec::new();
    };
    let mut notes: Vec<String> = serial.notes().iter().map(|n| n.text().to_owned()).collect();
    let bytes: Vec<String> = serial.bytes().iter().map(|b| format!("{b:02X}")).collect();
    notes.push(format!(
        "as a serial number: bytes {}; a reader that sends them in the other order gives {}",
        bytes.join(" "),
        serial.other_order()
    ));
    notes
}
