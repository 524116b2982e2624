//! What a batch becomes under a slot: stretches of panel numbers, each with
//! how many cards give every number in it.

use super::big::Big;
use super::linear::Plain;
use super::range::Range;
use super::shape::Cut;

/// Panel numbers `from` to `to`, each given by `each` cards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NumberRange {
    pub from: u128,
    pub to: u128,
    pub each: u128,
    /// Card number less panel number (wrapping), where `each` is 1.
    pub card_less: Option<u128>,
    /// Run value less panel number (wrapping below 2^384), where all cards of
    /// a panel number have one value.
    pub value_less: Option<Big>,
}

/// Run values `from` to `to`, each of `each` cards.
struct Values {
    from: Big,
    to: Big,
    each: u128,
    /// Card number less run value, wrapping, where `each` is 1.
    card_less: Option<Big>,
}

/// The panel numbers of a range whose run follows the card number plainly.
pub(crate) fn number_ranges(range: Range, plain: Plain, cut: Cut) -> Vec<NumberRange> {
    let mut out = Vec::new();
    for values in values(range, plain) {
        match cut {
            Cut::None => uncut(&values, &mut out),
            Cut::Low(modulus) => low(&values, modulus, &mut out),
            Cut::High(divisor) => high(&values, divisor, &mut out),
        }
    }
    out
}

/// The values a range's cards have in the run.
fn values(range: Range, plain: Plain) -> Vec<Values> {
    let Plain { base, bits, whole } = plain;
    let low = |number: u128| if bits >= 128 { number } else { number & ((1 << bits) - 1) };
    let at = |number: u128| base.add(Big::from(low(number)));
    let one = |from: u128, to: u128| Values {
        from: at(from),
        to: at(to),
        each: 1,
        card_less: Some(Big::from(from).sub(at(from))),
    };
    if whole {
        return vec![one(range.first, range.last)];
    }
    // Some bits that vary are not read: values come round again.
    let round = Big::power_of_two(bits);
    let cards = Big::from(range.last - range.first).add(Big::ONE);
    let (rounds, rest) = cards.div_rem(round);
    let mut out = Vec::new();
    let mut start = range.first;
    match rounds.small() {
        Some(0) => {}
        Some(1) => {
            // One whole round is two arcs, so that each value keeps its card.
            let end = start | ((1 << bits) - 1);
            out.push(one(start, end));
            if low(start) != 0 {
                out.push(one(end + 1, start + ((1 << bits) - 1)));
            }
            start = start.wrapping_add(1 << bits);
        }
        _ => {
            let to = base.add(round).sub(Big::ONE);
            out.push(Values { from: base, to, each: rounds.saturated(), card_less: None });
            start = range.last.wrapping_sub(rest.saturated()).wrapping_add(1);
        }
    }
    if let Some(rest) = rest.small().filter(|rest| *rest > 0) {
        let end = start | ((1 << bits) - 1);
        let last = start + (rest - 1);
        out.push(one(start, last.min(end)));
        if last > end {
            out.push(one(end + 1, last));
        }
    }
    out
}

/// `card − panel number` of `card − value` and `value − panel number`.
fn card_less(values: &Values, value_less: Big) -> Option<u128> {
    // Both are numbers of 128 bits, so the low words of the difference say it.
    let sum = values.card_less?.add(value_less);
    Some(sum.sub(sum.shr(128).shl(128)).saturated())
}

fn uncut(values: &Values, out: &mut Vec<NumberRange>) {
    out.push(NumberRange {
        from: values.from.saturated(),
        to: values.to.saturated(),
        each: values.each,
        card_less: card_less(values, Big::ZERO),
        value_less: Some(Big::ZERO),
    });
}

fn low(values: &Values, modulus: u128, out: &mut Vec<NumberRange>) {
    let round = Big::from(modulus);
    let (rounds, rest) = values.to.sub(values.from).add(Big::ONE).div_rem(round);
    let mut start = values.from;
    let mut arc = |start: Big, len: u128| {
        let (_, at) = start.div_rem(round);
        let from = at.saturated();
        let here = len.min(modulus - from);
        let mut put = |from: u128, len: u128, value_less: Big| {
            out.push(NumberRange {
                from,
                to: from + (len - 1),
                each: values.each,
                card_less: card_less(values, value_less),
                value_less: Some(value_less),
            });
        };
        put(from, here, start.sub(at));
        if len > here {
            put(0, len - here, start.sub(at).add(round));
        }
    };
    match rounds.small() {
        Some(0) => {}
        Some(1) => {
            arc(start, modulus);
            start = start.add(round);
        }
        _ => {
            start = start.add(rounds.mul(round));
        }
    }
    if rest != Big::ZERO {
        arc(start, rest.saturated());
    }
    if rounds > Big::ONE {
        let each = rounds.mul(Big::from(values.each)).saturated();
        let to = modulus - 1;
        out.push(NumberRange { from: 0, to, each, card_less: None, value_less: None });
    }
}

fn high(values: &Values, divisor: Big, out: &mut Vec<NumberRange>) {
    let (first, last) = (values.from.div_rem(divisor).0, values.to.div_rem(divisor).0);
    let mut block = |number: Big, from: Big, to: Big| {
        let width = to.sub(from).add(Big::ONE);
        let value_less = (width == Big::ONE).then(|| from.sub(number));
        out.push(NumberRange {
            from: number.saturated(),
            to: number.saturated(),
            each: width.mul(Big::from(values.each)).saturated(),
            card_less: value_less.and_then(|less| card_less(values, less)),
            value_less,
        });
    };
    if first == last {
        return block(first, values.from, values.to);
    }
    block(first, values.from, first.add(Big::ONE).mul(divisor).sub(Big::ONE));
    block(last, last.mul(divisor), values.to);
    if last.sub(first) > Big::ONE {
        out.push(NumberRange {
            from: first.add(Big::ONE).saturated(),
            to: last.sub(Big::ONE).saturated(),
            each: divisor.mul(Big::from(values.each)).saturated(),
            card_less: None,
            value_less: None,
        });
    }
}

/// The cards of a range whose panel number is at most `most`, as ranges;
/// `None` where values come round again, or in more ranges than are listed.
pub(crate) fn below(range: Range, plain: Plain, cut: Cut, most: u128) -> Option<Vec<Range>> {
    let mut out = Vec::new();
    for Values { from, to, card_less, .. } in values(range, plain) {
        let card_less = card_less?;
        let mut put = |from: Big, to: Big| {
            let card = |value: Big| {
                let sum = value.add(card_less);
                sum.sub(sum.shr(128).shl(128)).saturated()
            };
            out.push(Range { first: card(from), last: card(to) });
        };
        match cut {
            Cut::None => {
                if from <= Big::from(most) {
                    put(from, to.min(Big::from(most)));
                }
            }
            Cut::High(divisor) => {
                let end = Big::from(most).add(Big::ONE).mul(divisor);
                if from < end {
                    put(from, to.min(end.sub(Big::ONE)));
                }
            }
            Cut::Low(modulus) => {
                let modulus = Big::from(modulus);
                let rounds = to.div_rem(modulus).0.sub(from.div_rem(modulus).0);
                if rounds > Big::from(super::linear::LISTED_MOST) {
                    return None;
                }
                let mut base = from.sub(from.div_rem(modulus).1);
                while base <= to {
                    let (first, last) = (base.max(from), base.add(Big::from(most)).min(to));
                    if first <= last {
                        put(first, last);
                    }
                    base = base.add(modulus);
                }
            }
        }
    }
    out.sort_unstable_by_key(|range| range.first);
    Some(out)
}

/// How many cards of a range have a panel number that is not their own number.
pub(crate) fn renumbered(range: Range, plain: Plain, cut: Cut) -> u128 {
    let Plain { base, bits, whole } = plain;
    let cards = (range.last - range.first).saturating_add(1);
    let low = |number: u128| if bits >= 128 { number } else { number & ((1 << bits) - 1) };
    let top = range.first - low(range.first);
    // Numbers go by rounds of 2^bits; within one, value − number is the same.
    // A number can be its own value in few rounds only.
    let round = |from: Big, limit: Option<u128>| {
        let from = from.small()?;
        if low(from) != 0 || whole && from != top {
            return None;
        }
        let span = if bits >= 128 { u128::MAX } else { (1 << bits) - 1 };
        let mut to = from.saturating_add(span).min(range.last);
        if let Some(limit) = limit {
            to = to.min(limit.checked_sub(1)?);
        }
        let from = from.max(range.first);
        (from <= to).then(|| (to - from).saturating_add(1))
    };
    let same = match cut {
        Cut::None => round(base, None),
        Cut::Low(modulus) => {
            // Below the modulus the rounds that fit are its remainder's alone,
            // whatever round the value is in.
            let at = base.div_rem(Big::from(modulus)).1;
            round(at, Some(modulus))
        }
        Cut::High(divisor) => Some(quotients(range, plain, divisor, top)),
    };
    cards - same.unwrap_or(0).min(cards)
}

/// How many numbers are the quotient of their own value: in a round that
/// begins at `h`, low·(D−1) lies in (base − hD − D, base − hD], and only two
/// rounds have such a low part.
fn quotients(range: Range, plain: Plain, divisor: Big, top: u128) -> u128 {
    let Plain { base, bits, whole } = plain;
    let round = Big::power_of_two(bits);
    let last = base.div_rem(divisor).0.shr(bits).shl(bits);
    let tops = match whole {
        true => vec![Big::from(top)],
        false if last >= round => vec![last.sub(round), last],
        false => vec![last],
    };
    let mut same = 0;
    for top in tops {
        let least = top.mul(divisor);
        if least > base {
            continue;
        }
        let low = base.sub(least).div_rem(divisor.sub(Big::ONE)).0;
        let before = (low > Big::ZERO).then(|| low.sub(Big::ONE));
        for low in before.into_iter().chain([low]).filter(|low| *low < round) {
            let number = top.add(low);
            let own = base.add(low).div_rem(divisor).0 == number;
            let inside = Big::from(range.first) <= number && number <= Big::from(range.last);
            same += u128::from(own && inside);
        }
    }
    same
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::HashMap;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        /// Card by card against the stretches.
        #[test]
        fn number_ranges_are_the_cards(
            first in 0u128..600, len in 1u128..400, bits in 1usize..10, above in 0u128..40,
            whole: bool, cut in 0usize..3, power in 1usize..3,
        ) {
            let last = first + len - 1;
            let varying = 128 - (first ^ last).leading_zeros() as usize;
            let bits = if whole { varying } else { bits };
            if !whole && bits >= varying {
                return Ok(());
            }
            let plain = Plain { base: Big::from(above << bits), bits, whole };
            let ten = 10u128.pow(power as u32);
            let cut = [Cut::None, Cut::Low(ten), Cut::High(Big::from(ten))][cut];
            let value = |n: u128| (above << bits) + (n & ((1 << bits) - 1));
            let number = |n: u128| cut.number(Big::from(value(n)));
            let mut slow: HashMap<u128, Vec<u128>> = HashMap::new();
            (first..=last).for_each(|n| slow.entry(number(n)).or_default().push(n));
            let mut fast: HashMap<u128, u128> = HashMap::new();
            let range = Range { first, last };
            for number_range in number_ranges(range, plain, cut) {
                for u in number_range.from..=number_range.to {
                    *fast.entry(u).or_default() += number_range.each;
                    if let Some(less) = number_range.card_less {
                        prop_assert_eq!(number_range.each, 1);
                        prop_assert!(slow[&u].contains(&u.wrapping_add(less)));
                    }
                    if let Some(less) = number_range.value_less {
                        let with = Big::from(u).add(less).saturated();
                        prop_assert!(slow[&u].iter().any(|n| value(*n) == with));
                    }
                }
            }
            prop_assert_eq!(slow.len(), fast.len());
            for (u, cards) in &slow {
                prop_assert_eq!(fast.get(u), Some(&(cards.len() as u128)));
            }
            let own = (first..=last).filter(|n| number(*n) != *n).count() as u128;
            prop_assert_eq!(renumbered(range, plain, cut), own);
        }
    }
}
