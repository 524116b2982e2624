//! Which further card would settle most: for each kind of card one could still
//! read, how many bits of information about what is open it is expected to
//! give. Where no card would tell, or the sample cannot teach, what to do instead.

use super::answer::{FoundCheck, FoundField};
use super::claim::SETTLED;
use super::complete::Completed;
use super::entropy::entropy;
use super::kind::Study;
use super::print::What;
use crate::bits::{Span, Wide};
use crate::layout::Role;

/// What is open.
pub(super) struct Open<'a> {
    pub(super) checks: &'a [&'a Completed],
    /// Every set of bits the card field could be, the chosen one first.
    pub(super) card: &'a [Wide],
    /// Every set of bits the site field could be.
    pub(super) site: &'a [Wide],
    /// Bits that never varied.
    pub(super) still: Wide,
    /// The largest number the sample's bits allow below the open ones.
    pub(super) largest: Option<u128>,
    pub(super) length: usize,
}

/// Cards imagined of each kind.
const IMAGINED: usize = 64;

/// Fewer different cards than this cannot tell where a number stands (judgement,
/// no source).
const CARDS: usize = 10;

/// What to do next; `None` where all that was found is settled.
pub(super) fn next(
    study: &Study<'_>,
    open: &Open<'_>,
    found: (&[FoundField], &[FoundCheck]),
    false_alarms: f64,
) -> Option<String> {
    let cards = study.cards(CARDS);
    if cards == 1 && study.matrix.samples.len() > 1 {
        return Some("cards with other numbers, ten or more: all samples are one card".to_owned());
    }
    let Some(card) = &study.card else {
        if !study.printed() {
            let prints = "what is printed on the cards would settle most: note it beside the bits";
            return Some(prints.to_owned());
        }
        return Some(match cards < CARDS {
            true => "cards with other numbers, until there are ten or more: these are too few to \
                     tell where a printed number stands"
                .to_owned(),
            false => "the prints once more: see that each stands beside the bits of its own card; \
                      if so, note the number that the old system shows for each card"
                .to_owned(),
        });
    };
    if let Some(next) = next_sample(open) {
        return Some(next);
    }
    if false_alarms >= SETTLED {
        // A further card halves the relations that hold by accident.
        let more = ((false_alarms / SETTLED).log2().ceil() as usize + 1).max(2);
        let more = format!("about {more} further cards with other numbers");
        return Some(format!("{more}: the sample is too small to be sure"));
    }
    let (fields, checks) = found;
    let tail = matches!(card.number.facet.what, What::Tail { .. });
    let open = fields.iter().find(|field| !field.settled);
    Some(match (open.map(|field| &field.role), checks.iter().find(|check| !check.settled)) {
        (Some(Role::Card), _) if !card.role_sure && !tail => {
            "which of the numbers printed is the card's would settle most: note that alone, in a \
             column card"
                .to_owned()
        }
        (Some(Role::Card), _) if !card.number.as_printed() => {
            "the number that the old system shows for one card would settle most: the print \
             follows a rule"
                .to_owned()
        }
        (Some(Role::Site), _) => "one card of another site code would settle most, its code noted \
                                  in a column site: where the site code stands"
            .to_owned(),
        (Some(_), _) => "cards with much larger and much smaller numbers would settle most: where \
                         the number begins and ends"
            .to_owned(),
        (None, Some(check)) => format!(
            "ten further cards, of other site codes where there are any, would settle most: {}",
            check.check
        ),
        (None, None) => return None,
    })
}

/// The further card that would settle most; `None` where none is expected to
/// tell anything.
fn next_sample(open: &Open<'_>) -> Option<String> {
    let undetermined = open.checks.iter().fold(Wide::ZERO, |all, check| all | check.undetermined);
    let leading = open.card.iter().fold(Wide::ZERO, |all, mask| all | (*mask & !open.card[0]));
    let within = open.card.first().copied().unwrap_or(Wide::ZERO);
    let site = open.still & !within & Wide::ones(open.length);
    let number = open.still & (within | leading);
    // Bits of another site code, and bits of a larger card number.
    let by_site = information(open, site);
    let by_number = information(open, number);
    if by_site.max(by_number) < 0.05 {
        return None;
    }
    let settles = |bits: Wide| {
        let about = (undetermined | leading | spread(open.site)) & bits;
        Span::from_mask(about).map_or("the rest".to_owned(), |span| format!("bits {span}"))
    };
    if by_site >= by_number {
        Some(format!("one card of another site code would settle most: {}", settles(site)))
    } else {
        let over =
            open.largest.map_or("a larger number".to_owned(), |n| format!("a number over {n}"));
        Some(format!("a card with {over} would settle most: {}", settles(number)))
    }
}

fn spread(masks: &[Wide]) -> Wide {
    let any = masks.iter().fold(Wide::ZERO, |any, mask| any | *mask);
    let every = masks.iter().fold(Wide::ones(256), |every, mask| every & *mask);
    any & !every
}

/// Bits of information that a card with random values in `bits` is expected
/// to give: for each open part the entropy of what it would show, over the
/// choices taken as equally likely.
fn information(open: &Open<'_>, bits: Wide) -> f64 {
    if bits.is_zero() {
        return 0.0;
    }
    // Drawn by xorshift (Marsaglia, "Xorshift RNGs", Journal of Statistical
    // Software 8(14), 2003, shifts 13, 7, 17; from memory).
    let mut seed = 0x9E37_79B9_7F4A_7C15u64;
    let mut sum = 0.0;
    for _ in 0..IMAGINED {
        let moved = Wide(std::array::from_fn(|_| {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            seed
        })) & bits;
        for check in open.checks {
            let odd = check.could_be.iter().filter(|cover| (**cover & moved).parity()).count();
            sum += entropy(odd as f64 / check.could_be.len().max(1) as f64);
        }
        for masks in [open.card, open.site] {
            // A bit that moves tells the choices with it from those without.
            let mut seen: Vec<(Wide, usize)> = Vec::new();
            for mask in masks {
                let shows = *mask & moved;
                match seen.iter_mut().find(|(known, _)| *known == shows) {
                    Some((_, n)) => *n += 1,
                    None => seen.push((shows, 1)),
                }
            }
            let all = masks.len() as f64;
            sum += seen.iter().map(|(_, n)| *n as f64 / all).map(|p| -p * p.log2()).sum::<f64>();
        }
    }
    sum / IMAGINED as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two choices, told apart by one bit that a random card sets half the
    /// time: half a bit is expected (the entropy of a fair coin is one).
    #[test]
    fn information_is_expected_entropy() {
        let bit = |at| Wide::ones(1).towards_end(at);
        let card = [Wide::ones(8), Wide::ones(8) ^ bit(3)];
        let open = Open {
            checks: &[],
            card: &card,
            site: &card[..1],
            still: Wide::ZERO,
            largest: None,
            length: 26,
        };
        assert_eq!(information(&open, Wide::ZERO), 0.0);
        assert_eq!(information(&open, bit(5)), 0.0, "a bit that both have");
        let expected = information(&open, bit(3));
        assert!((0.3..0.7).contains(&expected), "{expected} bits");
    }
}
