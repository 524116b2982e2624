//! Settling the lengths of values in a batch and its fit.

use super::super::batch::Batch;
use super::super::class::Class;
use super::super::fit::Fit;
use super::*;

impl<'t> Batch<'t> {
    /// Adds digits whose bit count is not known; order does not matter.
    pub fn see_digits(&mut self, reader: &str, digits: &Digits, known: &Known) {
        let reader = self.reader_or_new(reader);
        let noted = self.digits.entry(key(reader, digits)).or_default();
        if noted.is_empty() || !known.is_empty() && known < noted {
            *noted = known.clone();
        }
        if self.digits.len() > DIGITS_MOST {
            self.digits.pop_last();
        }
    }

    /// Whether a layout of the table has that length.
    fn has_length(&self, length: usize) -> bool {
        self.by_length.get(length).is_some_and(|kinds| !kinds.is_empty())
    }

    /// Every capture that digits may stand for, of lengths that a card may have.
    fn ways(&self, digits: &Digits) -> Vec<Way> {
        let lengths = (1..=Capture::MAX_BITS)
            .filter(|length| self.has_length(*length) || UNKNOWN_LENGTHS.contains(length));
        lengths.flat_map(|length| digits.ways(length)).collect()
    }

    /// Before any is seen, the share of cards of one length that no layout has.
    pub(in crate::rank) fn unknown_length(&self) -> f64 {
        let lengths = (1..=Capture::MAX_BITS).filter(|length| self.has_length(*length)).count();
        let spread = UNKNOWN_LENGTHS.filter(|length| !self.has_length(*length)).count();
        NONE_SHARE * PSEUDO_COUNT * lengths as f64 / spread.max(1) as f64
    }

    /// The lengths of all values before anything is fitted.
    fn start_digits(&self) -> Settled {
        let unknown = self.unknown_length();
        let start = |(key, _): (&Key, &Known)| {
            let ways = self.ways(&key.2);
            let of = |way: &Way| {
                let share = if self.has_length(way.capture.len()) { 1.0 } else { unknown };
                scale_log2(&NONE, &NONE, way) + share.log2()
            };
            let logs: Vec<f64> = ways.iter().map(of).collect();
            let lengths = ways.into_iter().zip(scaled(&logs));
            let lengths = lengths.map(|(way, weight)| Length { way, weight, class: None });
            let mut lengths: Vec<Length> = lengths.filter(|l| l.weight > WEIGHED).collect();
            let all: f64 = lengths.iter().map(|length| length.weight).sum();
            lengths.iter_mut().for_each(|length| length.weight /= all);
            (key.clone(), Weighed { lengths, styles: NONE })
        };
        Settled { values: self.digits.iter().map(start).collect(), styles: NONE }
    }

    /// Fits, and settles the lengths of values with it; `fit` is what fits, with
    /// these classes beside the captures', and what values are likely taken for.
    ///
    /// The first round counts every length, the others those that are likely
    /// enough to matter. Before the weights count as settled, all are weighed again.
    pub(in crate::rank) fn fit_digits<'b>(
        &'b self,
        counted: usize,
        fit: impl Fn(Vec<Class>, &[Likely]) -> Fit<'b, 't>,
    ) -> Fit<'b, 't> {
        if self.digits.is_empty() {
            return fit(Vec::new(), &[]);
        }
        let mut settled = self.start_digits();
        settled.count(0.0);
        for round in 1.. {
            let classes = self.classes_of(&mut settled, counted);
            let mut fit = fit(classes, &settled.most_likely());
            let mut change = fit.weigh_digits(&mut settled, false);
            let last = round == DIGITS_ROUNDS;
            if change < DIGITS_SETTLED || last {
                change = fit.weigh_digits(&mut settled, true);
            }
            if change < DIGITS_SETTLED || last {
                fit.digits = settled;
                return fit;
            }
            settled.count(LENGTHS_COUNTED);
        }
        unreachable!("a round is the last")
    }

    /// The lengths that count, as classes after so many others.
    fn classes_of(&self, settled: &mut Settled, counted: usize) -> Vec<Class> {
        let mut classes = Vec::new();
        for ((key, value), known) in settled.values.iter_mut().zip(self.digits.values()) {
            for length in value.lengths.iter_mut().filter(|length| length.class.is_some()) {
                length.class = Some(counted + classes.len());
                classes.push(Class {
                    reader: key.1,
                    capture: length.way.capture,
                    known: known.clone(),
                    live: [true; 4],
                    weight: length.weight,
                    count: 1.0,
                });
            }
        }
        classes
    }
}

impl Fit<'_, '_> {
    /// New weights of the lengths that count, or of all, and of the ways to print;
    /// the largest change.
    fn weigh_digits(&self, settled: &mut Settled, all: bool) -> f64 {
        let (mut change, mut styles): (f64, Styles) = (0.0, NONE);
        let before = settled.styles;
        for ((key, value), known) in settled.values.iter_mut().zip(self.batch.digits.values()) {
            let own = std::mem::replace(&mut value.styles, NONE);
            let log = |length: &Length| {
                let capture = &length.way.capture;
                let odds = self.view(Some(key.1), capture, known, length.class, Some(1.0)).all();
                odds.log2() + scale_log2(&before, &own, &length.way)
            };
            let mut weighed: Vec<&mut Length> =
                value.lengths.iter_mut().filter(|length| all || length.class.is_some()).collect();
            let logs: Vec<f64> = weighed.iter().map(|length| log(length)).collect();
            let sum: f64 = scaled(&logs).sum();
            for (length, odds) in weighed.iter_mut().zip(scaled(&logs)) {
                // No weight at all would be divided by.
                let weight = (odds / sum).max(LEAST_WEIGHT);
                change = change.max((length.weight - weight).abs());
                length.weight = weight;
                let chance = chance(&before, &own, &length.way);
                for (style, p) in &length.way.styles {
                    let part = p * share(&before, &own, *style) / chance;
                    value.styles[style.index()] += weight * part;
                }
            }
            styles.iter_mut().zip(&value.styles).for_each(|(all, of)| *all += of);
        }
        settled.styles = styles;
        change
    }

    /// The lengths of digits, each with its chance.
    pub(in crate::rank) fn lengths_of(
        &self,
        reader: Option<u32>,
        digits: &Digits,
    ) -> Vec<Weighable> {
        let counted = reader.and_then(|reader| self.digits.values.get(&key(reader, digits)));
        let ways: Vec<(Way, Option<usize>)> = match counted {
            Some(value) => {
                value.lengths.iter().map(|length| (length.way.clone(), length.class)).collect()
            }
            None => self.batch.ways(digits).into_iter().map(|way| (way, None)).collect(),
        };
        let own = counted.map_or(&NONE, |value| &value.styles);
        let of = |(way, _): &(Way, Option<usize>)| scale_log2(&self.digits.styles, own, way);
        let logs: Vec<f64> = ways.iter().map(of).collect();
        let lengths = ways.into_iter().zip(scaled(&logs));
        lengths
            .filter(|(_, scale)| *scale > WEIGHED)
            .map(|((way, class), scale)| Weighable { capture: way.capture, scale, class })
            .collect()
    }
}
