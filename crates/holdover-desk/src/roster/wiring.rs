//! What readers do to their cards' bits. A plan counts on the cards as they are;
//! a panel gets what the reader sends.

use std::collections::BTreeMap;

use holdover::decode::Reading;
use holdover::rank::{Answer, Verdict};

use crate::plain::plain;

/// The captures of each reader, by what happened to them on the way.
#[derive(Default)]
pub struct Wiring {
    readers: BTreeMap<String, BTreeMap<&'static str, usize>>,
}

impl Wiring {
    /// Counts a capture, where what happened to it is known.
    pub fn add(&mut self, reader: &str, answer: &Answer<'_>) {
        let best = answer.candidates.first().filter(|_| answer.verdict == Verdict::Identified);
        let Some(best) = best else { return };
        let reader = reader.trim();
        if !self.readers.contains_key(reader) {
            self.readers.insert(reader.to_owned(), BTreeMap::new());
        }
        let Some(readings) = self.readers.get_mut(reader) else { return };
        *readings.entry(does(best.reading)).or_default() += 1;
    }

    /// The readers that harm more than half of what they send. Where none is named, one
    /// of several may: two captures alike are no slip (judgement, no source).
    pub fn said(&self) -> Vec<String> {
        let mut said = Vec::new();
        for (reader, readings) in &self.readers {
            let all: usize = readings.values().sum();
            let harm = readings.iter().filter(|(does, _)| !does.is_empty());
            let unnamed = reader.is_empty();
            let told = |count: usize| count * 2 > all || unnamed && count > 1;
            for (does, count) in harm.filter(|(_, count)| told(**count)) {
                let (who, which) = match unnamed {
                    true => ("a reader".to_owned(), "; a column \"reader\" would tell which"),
                    false => (format!("reader {}", plain(reader)), ""),
                };
                said.push(format!(
                    "{who} {does} ({count} of {all} captures{which}): a panel that gets such bits opens \
                     for none of these cards; mend the wiring, or the probe's where it was at fault, \
                     and read a card there again before the cut-over"
                ));
            }
        }
        said
    }
}

/// What a reader does; nothing where it sends the card as it is, or a serial number in
/// its own way.
fn does(reading: Reading) -> &'static str {
    match reading {
        Reading::LinesSwapped => "sends every bit inverted, as with swapped data lines",
        Reading::Reversed => "sends the bits in reverse order",
        Reading::LinesSwappedReversed => "sends every bit inverted, and in reverse order",
        Reading::FirstBitLost => "loses the first bit",
        Reading::LastBitLost => "loses the last bit",
        Reading::ExtraFirstBit => "sends a bit too many in front",
        Reading::ExtraLastBit => "sends a bit too many behind",
        _ => "",
    }
}
