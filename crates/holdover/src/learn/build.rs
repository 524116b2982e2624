//! From what was found to an answer: spans and covers chosen among those that
//! fit, a layout that decodes every good sample back to its print, and how sure
//! each part is.

use super::advice::{self, Open};
use super::algebra;
use super::answer::{Counter, FoundCheck, FoundField, Learnt};
use super::claim::SETTLED;
use super::clean::Reasons;
use super::codes;
use super::counter::Counting;
use super::entropy::entropy;
use super::fields::SITE_PLACES;
use super::kind::Study;
use super::listed;
use super::made;
use super::number::Number;
use super::print::{self, What};
use super::rows::Rows;
use super::spans::Anchor;
use super::sure;
use crate::bits::{Span, Wide};
use crate::layout::{Code, PrintRule, Role};

/// Spans listed for a field at most (bounds the output).
const LISTED: usize = 64;

/// A field with everything it could be.
struct Choice {
    anchor: Anchor,
    widths: Vec<(Anchor, usize)>,
    chosen: usize,
    /// Others were ruled out by what is not settled itself.
    ruled_out: bool,
}

impl Choice {
    fn mask(&self) -> Wide {
        let (anchor, width) = self.widths[self.chosen];
        anchor.mask(width)
    }

    fn masks(&self) -> Vec<Wide> {
        self.spans().iter().map(Span::mask).collect()
    }

    /// The chosen span first.
    fn spans(&self) -> Vec<Span> {
        let mut spans: Vec<Span> = Vec::new();
        let order = std::iter::once(self.chosen).chain(0..self.widths.len());
        for (anchor, width) in order.map(|i| self.widths[i]) {
            // Spans of another code read the same, but are another field.
            let span = (anchor.code == self.anchor.code).then(|| anchor.span(width)).flatten();
            spans.extend(span.filter(|span| !spans.contains(span)));
        }
        spans.truncate(LISTED);
        spans
    }

    fn found(&self, role: Role, settled: bool, print: PrintRule) -> Option<FoundField> {
        let could_be = self.spans();
        let span = could_be.first()?.clone();
        let alone = self.widths.len() == 1 && !self.ruled_out;
        Some(FoundField {
            role,
            span,
            code: self.anchor.code,
            settled: settled && alone,
            could_be,
            print,
        })
    }
}

/// The answer for one kind of card.
pub(super) fn learnt(study: &Study<'_>, id: String) -> Learnt {
    let matrix = &study.matrix;
    let length = matrix.length;
    let good = &study.good;
    let varied = matrix.columns.varying(good, 1);
    let still = Wide::ones(length) & !varied;
    let mut notes = Vec::new();
    let checks_at = study.covers.chosen.iter().fold(Wide::ZERO, |mut all, hit| {
        all.set(hit.bit, true);
        all
    });
    let (card, site) = choose_fields(study, still, &mut notes);
    let fields_masks: Vec<Wide> = card.iter().chain(&site).map(Choice::mask).collect();
    let (mut fields, false_alarms_of) = found_fields(study, &card, &site, varied);
    let false_alarms = study.covers.false_alarms + false_alarms_of;
    // Without a print any bit of a relation may be the check bit.
    let sure = false_alarms < SETTLED && study.card.is_some();
    let masks: Vec<Wide> = card.iter().chain(&site).flat_map(Choice::masks).collect();
    let (checks, completed) = sure::found(study, &fields_masks, &masks, sure, still, &mut notes);
    if card.is_none()
        && let Some((field, note)) =
            algebra::scattered(&matrix.columns, &print::facets(&matrix.samples))
    {
        fields.extend(field);
        notes.push(note);
    }
    let proposed = propose(study, &checks, &mut fields, &mut notes);
    let (layout, mut failure) = match made::layout(id, length, &fields, &checks, study, good) {
        Ok(layout) => (Some(layout), None),
        Err(why) => (None, Some(why)),
    };
    if matrix.samples.len() == 1 {
        failure = Some("one sample tells nothing: read more cards of this kind".to_owned());
    } else if study.cards(2) == 1 {
        failure = Some("one card, however often it is read, tells nothing".to_owned());
    }
    let reference = good.iter().next().map_or(Wide::ZERO, |row| matrix.capture(row).wide());
    let reasons = Reasons {
        matrix,
        card: study
            .card
            .as_ref()
            .and_then(|c| Some((&c.number, &field(&fields, &Role::Card)?.span))),
        site: study.site.as_ref().and_then(|s| Some((s, &field(&fields, &Role::Site)?.span))),
        layout: layout.as_ref(),
        still: (still, reference),
    };
    let left = matrix.as_given(&Rows::all(good.rows()).minus(good));
    let misread = left.into_iter().map(|row| reasons.of(row)).collect();
    describe(study, still, &mut notes);
    notes.extend(listed::others(study));
    let open = Open {
        checks: &completed.iter().collect::<Vec<_>>(),
        card: &card.as_ref().map_or(Vec::new(), Choice::masks),
        site: &site.as_ref().map_or(proposed, Choice::masks),
        still: still & !checks_at,
        largest: study.card.as_ref().and_then(|card| largest(study, card)),
        length,
    };
    let next_sample = advice::next(study, &open, (&fields, &checks), false_alarms);
    let all = good.count().max(1) as f64;
    let ones = |at| matrix.columns.at(at).common(good) as f64;
    Learnt {
        length,
        samples: matrix.samples.len(),
        fields,
        checks,
        false_alarms_expected: false_alarms,
        misread,
        next_sample,
        layout,
        failure,
        notes,
        entropy: (0..length).map(|at| entropy(ones(at) / all)).collect(),
        never_varied: Span::from_mask(still),
        counters: study.counters.iter().map(|found| found.counter.clone()).collect(),
        good: matrix.as_given(good).into_iter().map(|row| matrix.samples[row].line).collect(),
        lines_swapped: matrix.inverted,
    }
}

/// The fields that are printed, each with whether it is settled, and how many
/// spans are expected to read the number by accident.
fn found_fields(
    study: &Study<'_>,
    card: &Option<Choice>,
    site: &Option<Choice>,
    varied: Wide,
) -> (Vec<FoundField>, f64) {
    let (matrix, good) = (&study.matrix, &study.good);
    let mut fields = Vec::new();
    let mut false_alarms = 0.0;
    // What stands before the end of a longer number shows where it is cut.
    let headed = site.is_some();
    let tail = |n: &Number| matches!(n.facet.what, What::Tail { .. });
    let role = study.card.as_ref().is_some_and(|c| c.role_sure || headed && tail(&c.number));
    // Where nothing separates the two, a bit beside them that never varied may be
    // theirs, and the cut elsewhere.
    let cut = study.card.as_ref().is_some_and(|c| tail(&c.number));
    let taken = card.iter().chain(site).fold(varied, |all, choice| all | choice.mask());
    let apart = |choice: &Choice| {
        let (anchor, width) = choice.widths[choice.chosen];
        (anchor.beyond(width) & Wide::ones(matrix.length) & !taken).is_zero()
    };
    if let (Some(choice), Some(found)) = (site, &study.site) {
        let column = matches!(found.facet.what, What::Site { .. });
        let alone = card.as_ref().is_some_and(|card| card.widths.len() == 1);
        let ends = alone && !(choice.anchor.mask(1) & varied).is_zero() && apart(choice);
        let told = (column || !cut || ends) && !found.weak(&matrix.columns, good);
        let sure = found.false_alarms < SETTLED && (role || column) && told;
        fields.extend(choice.found(Role::Site, sure, PrintRule::default()));
    }
    if let Some(choice) = card {
        let number = study.card.as_ref().map(|card| &card.number);
        let sure = number.is_some_and(|n| {
            let told = n.as_printed() && n.most() && !n.weak(&matrix.columns, good);
            n.false_alarms < SETTLED && told
        });
        let counted = study.counters.first().map_or(0.0, |counting| counting.false_alarms);
        false_alarms += number.map_or(counted, |n| n.false_alarms);
        // A list's number is not what is printed on the card.
        let printed = number.filter(|n| !matches!(n.facet.what, What::Listed { .. }));
        let rule = printed.map_or_else(PrintRule::default, |n| n.print);
        fields.extend(choice.found(Role::Card, sure && role && (!cut || apart(choice)), rule));
    }
    (fields, false_alarms)
}

/// Adds fields that nobody printed, and says of each what would tell; the bits
/// that the site code could be, where it is one of them.
fn propose(
    study: &Study<'_>,
    checks: &[FoundCheck],
    fields: &mut Vec<FoundField>,
    notes: &mut Vec<String>,
) -> Vec<Wide> {
    if study.card.is_none() {
        return Vec::new();
    }
    let checks = checks.iter().fold(Wide::ZERO, |all, found| all | found.check.own_bits());
    let taken = fields.iter().fold(checks, |all, field| all | field.span.mask());
    let cards = study.good.iter().map(|row| study.matrix.capture(row));
    let stretches = codes::find(cards, study.matrix.length, taken, checks);
    let mut site = Vec::new();
    for (nth, stretch) in stretches.iter().enumerate() {
        let codes = nth + usize::from(study.site.is_some());
        let (role, taken_for) = match codes {
            0 => (Role::Site, "the site code, which they may not be"),
            1 => (Role::new("code"), "a code of their own"),
            _ => (Role::new(&format!("code-{codes}")), "a code of their own"),
        };
        let field = stretch.field(role);
        notes.push(format!(
            "bits {} take {} values that nobody printed, and are taken for {taken_for}: one more \
             card of another site code, and one of another issue, with the code noted in a column \
             site, would tell",
            stretch.whole, stretch.values
        ));
        if field.role == Role::Site {
            site = field.could_be.iter().map(Span::mask).collect();
            fields.insert(0, field);
        } else {
            fields.push(field);
        }
    }
    site
}

fn field<'f>(fields: &'f [FoundField], role: &Role) -> Option<&'f FoundField> {
    fields.iter().find(|field| field.role == *role)
}

/// The largest number that fits the bits that varied.
fn largest(study: &Study<'_>, card: &super::fields::CardNumber) -> Option<u128> {
    let good = study.good.and(&card.number.matches);
    let largest = good.iter().filter_map(|row| card.number.facet.values[row]).max()?;
    let bits = 128 - largest.leading_zeros();
    Some(if bits >= 128 { u128::MAX } else { (1 << bits) - 1 })
}

/// Chooses among the spans that read the same.
fn choose_fields(
    study: &Study<'_>,
    still: Wide,
    notes: &mut Vec<String>,
) -> (Option<Choice>, Option<Choice>) {
    let (matrix, good) = (&study.matrix, &study.good);
    let Some(found) = &study.card else {
        return (counted(study, still, notes), None);
    };
    let number = &found.number;
    let mut cards = number.everywhere(&matrix.columns, good);
    if cards.is_empty() {
        cards.push((number.fit.anchor, number.fit.width));
    }
    let mut sites: Vec<(Anchor, usize)> = Vec::new();
    if let Some(site) = &study.site {
        sites.extend(site.fits.iter().map(|fit| (fit.anchor, fit.width)));
        let ends_at =
            |card: &(Anchor, usize), site: &(Anchor, usize)| site.0.low + card.1 == card.0.low;
        if let Some(whole) = &found.whole
            && number.ascending()
            && whole.fit.anchor == number.fit.anchor
        {
            // One printed number holds both: where it is cut, the site code shows.
            let rows: Vec<usize> = good.iter().take(64).collect();
            let cut = |card: &(Anchor, usize)| {
                rows.iter().all(|&row| {
                    let (whole, site) = (whole.facet.values[row], site.facet.values[row]);
                    whole
                        .zip(site)
                        .is_none_or(|(w, s)| w.checked_shr(card.1 as u32).unwrap_or(0) == s)
                })
            };
            keep(&mut cards, cut);
            let cards = cards.clone();
            keep(&mut sites, |site| cards.iter().any(|card| ends_at(card, site)));
        }
        // A card field must leave room for the site code somewhere.
        let told = site.facet.values.iter().flatten().any(|value| *value >= 4);
        if told && sites.len() <= SITE_PLACES {
            let apart = |card: &(Anchor, usize), site: &(Anchor, usize)| {
                (card.0.mask(card.1) & site.0.mask(site.1)).is_zero()
            };
            let places = sites.clone();
            keep(&mut cards, |card| places.iter().any(|site| apart(card, site)));
        }
    }
    let chosen = usual_card(study, &cards, &sites);
    let card = Choice { anchor: cards[chosen].0, chosen, widths: cards, ruled_out: false };
    let mask = card.mask();
    // A place is ruled out by a card number that is settled.
    let apart = |(anchor, width): &(Anchor, usize)| (anchor.mask(*width) & mask).is_zero();
    let before = sites.len();
    sites.retain(apart);
    let ruled_out = before > sites.len() && card.widths.len() > 1;
    if sites.len() > SITE_PLACES {
        // Of very many, those that stand beside the card number.
        let beside = sites.clone();
        let beside: Vec<_> = beside
            .into_iter()
            .filter(|(anchor, width)| touches(anchor.mask(*width), mask))
            .collect();
        sites = beside;
        if sites.len() > SITE_PLACES || sites.is_empty() {
            notes.push("the site code printed could stand in too many places: not told".to_owned());
            sites.clear();
        }
    }
    let listed = matches!(number.facet.what, What::Listed { .. });
    if !number.as_printed() && !listed {
        notes.push(format!(
            "the number printed is {}, where n is the card field: cards decode to n, and the layout \
             says how it is printed",
            number.print
        ));
    }
    if !found.role_sure && !matches!(number.facet.what, What::Tail { .. }) {
        notes.push(
            "the number taken for the card's may be a site code or part of a longer number: \
             another number printed tells the cards apart as well or better, or this one comes back"
                .to_owned(),
        );
    }
    notes.push(match number.facet.what {
        What::Listed { column } => listed_note(study, column, number.print),
        what => format!("the card number is {}", what.text()),
    });
    if sites.is_empty() {
        return (Some(card), None);
    }
    let chosen = usual_site(&sites, mask, still);
    (Some(card), Some(Choice { anchor: sites[chosen].0, chosen, widths: sites, ruled_out }))
}

/// Which column of the old system's list is the card number.
fn listed_note(study: &Study<'_>, column: usize, rule: PrintRule) -> String {
    let names = listed::names(&study.matrix.samples);
    let name = names.get(column).map_or("", |name| name);
    match rule.as_is() {
        true => format!("the card number is the list's column {name:?}"),
        false => format!("the list's column {name:?} is {rule}, where n is the card number"),
    }
}

/// Keeps what passes, or everything where nothing does.
fn keep<T>(list: &mut Vec<T>, pass: impl Fn(&T) -> bool) {
    if list.iter().any(&pass) {
        list.retain(pass);
    }
}

/// Without a print: a counter is a card number, though where it ends among bits
/// that never varied cannot be told.
fn counted(study: &Study<'_>, still: Wide, notes: &mut Vec<String>) -> Option<Choice> {
    let Counting { counter: Counter { span, .. }, anchor, width, .. } = study.counters.first()?;
    notes
        .push(format!("bits {span} count from sample to sample and are taken for the card number"));
    let mut widths = vec![(*anchor, *width)];
    for wider in width + 1..=64 {
        let fresh = anchor.mask(wider) & !anchor.mask(wider - 1);
        if anchor.span(wider).is_none() || fresh.is_zero() || !(fresh & !still).is_zero() {
            break;
        }
        widths.push((*anchor, wider));
    }
    Some(Choice { anchor: *anchor, widths, chosen: 0, ruled_out: false })
}

/// Whether a bit of one stands next to a bit of the other.
fn touches(a: Wide, b: Wide) -> bool {
    let grown = a.towards_front(1) | a.towards_end(1);
    !(grown & b).is_zero()
}

/// The width a designer would give the card number: that of the largest where
/// numbers spread to the top; else the digits printed, or whole bytes.
fn usual_card(study: &Study<'_>, cards: &[(Anchor, usize)], sites: &[(Anchor, usize)]) -> usize {
    let Some(found) = &study.card else { return 0 };
    let number = &found.number;
    let same = |i: &usize| cards[*i].0 == cards[0].0;
    // The site code ends where the card number begins.
    if let [(site, width)] = sites
        && let Some(i) = (0..cards.len())
            .filter(same)
            .find(|&i| touches(site.mask(*width), cards[i].0.mask(cards[i].1)))
    {
        return i;
    }
    let rows: Vec<u128> = study.good.iter().filter_map(|row| number.facet.values[row]).collect();
    let top = cards[0].1.saturating_sub(1) as u32;
    let high = rows.iter().filter(|value| value.checked_shr(top).unwrap_or(0) & 1 == 1).count();
    let low = rows
        .iter()
        .filter(|value| value.checked_shr(top.saturating_sub(1)).unwrap_or(0) == 0)
        .count();
    if high > 0 && low > 0 {
        return 0;
    }
    let digits = |width: usize| (u128::MAX >> (128 - width.clamp(1, 128))).to_string().len();
    let padded = number.facet.padded;
    let fitting = |i: &usize| same(i) && padded.is_none_or(|n| digits(cards[*i].1) == n);
    let mut candidates: Vec<usize> = (0..cards.len()).filter(fitting).collect();
    if candidates.is_empty() {
        candidates = (0..cards.len()).filter(same).collect();
    }
    let bytes = candidates.iter().find(|i| cards[**i].1.is_multiple_of(8));
    bytes
        .or(candidates.last().filter(|_| padded.is_some()))
        .or(candidates.first())
        .copied()
        .unwrap_or(0)
}

/// The site span a designer would draw: all the bits between the card number
/// and whatever comes next, else one that touches the card number, the widest.
fn usual_site(sites: &[(Anchor, usize)], card: Wide, still: Wide) -> usize {
    let price = |i: &usize| {
        let mask = sites[*i].0.mask(sites[*i].1);
        let free = (mask.towards_front(1) | mask.towards_end(1)) & !mask & still & !card;
        let beside = !touches(mask, card);
        (beside, !free.is_zero(), !sites[*i].1.is_multiple_of(8), std::cmp::Reverse(sites[*i].1))
    };
    (0..sites.len()).min_by_key(price).unwrap_or(0)
}

/// What else people should know.
fn describe(study: &Study<'_>, still: Wide, notes: &mut Vec<String>) {
    let matrix = &study.matrix;
    if matrix.inverted {
        notes
            .push("every capture is inverted: the data lines are swapped at the reader".to_owned());
    }
    if let Some(span) = Span::from_mask(still).filter(|_| matrix.samples.len() > 1) {
        notes
            .push(format!("bits {span} were the same in all samples: nothing can be said of them"));
    }
    for Counting { counter, .. } in &study.counters {
        let (span, moves) = (&counter.span, counter.moves);
        let way = if counter.step > 0 { "up" } else { "down" };
        notes
            .push(format!("bits {span} count {way} by one in {moves} moves from sample to sample"));
    }
    if let Some(card) = &study.card
        && card.number.fit.anchor.code != Code::Binary
    {
        notes.push(format!("the card number is coded {}", card.number.fit.anchor.code.name()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_touch_on_either_side_and_between() {
        let mask = |text: &str| text.parse::<Span>().unwrap().mask();
        let card = mask("5-8,10-12");
        for beside in ["4", "13", "9", "1-4", "13-20"] {
            assert!(touches(mask(beside), card) && touches(card, mask(beside)), "{beside}");
        }
        for apart in ["1-3", "14", "20-26"] {
            assert!(!touches(mask(apart), card) && !touches(card, mask(apart)), "{apart}");
        }
    }
}
