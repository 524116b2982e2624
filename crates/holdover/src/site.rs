//! Site files: the new panel's limits, and the cards the site owns as ranges.

use std::collections::BTreeMap;
use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::file::{FileError, Mistakes, Section, nearest, read};
use crate::layout::{Layout, Part, Table};
use crate::states::{RowState, States};

/// What the panel knows a person by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Identity {
    /// The number the slot yields.
    #[serde(rename = "number")]
    Number,
    /// The site code and that number.
    #[serde(rename = "site+number")]
    SiteAndNumber,
    /// The slot and that number.
    #[serde(rename = "slot+number")]
    SlotAndNumber,
}

/// What becomes of a number with more digits than the panel keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum KeptDigits {
    /// The last.
    Low,
    /// The first.
    High,
    /// All, or none: a number that is too long is refused.
    Refuse,
}

/// The new panel's limits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Panel {
    /// How many slots it has; `None` where nobody said yet, and then nothing can
    /// be planned.
    pub slots: Option<usize>,
    /// What the panel calls the first bit: 0 or 1.
    pub first_bit: usize,
    /// What it knows a person by.
    pub identity: Identity,
    /// Longest capture it takes, bits.
    pub max_length: usize,
    /// Most decimal digits of a number.
    pub max_digits: usize,
    /// What becomes of a number with more digits.
    pub kept_digits: KeptDigits,
    /// Whether it checks parity.
    pub checks_parity: bool,
    /// Whether it checks site codes.
    pub checks_site: bool,
    /// The largest number it takes, where that is less than its digits allow;
    /// a larger one is refused.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_number: Option<u64>,
    /// Whether all slots read the site code in one place, or not at all.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub one_site_place: bool,
}

impl Panel {
    /// The greatest `max_number`: what a number in JSON holds exactly. A panel
    /// that takes more has no such limit worth writing down.
    pub const MAX_NUMBER_MOST: u64 = (1 << 53) - 1;
}

impl Default for Panel {
    fn default() -> Panel {
        Panel {
            slots: None,
            first_bit: 1,
            identity: Identity::Number,
            max_length: 256,
            // What the largest number of 32 bits has.
            max_digits: 10,
            kept_digits: KeptDigits::Low,
            checks_parity: true,
            checks_site: true,
            max_number: None,
            one_site_place: false,
        }
    }
}

/// Whether a batch's cards are with people.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Handed out.
    Issued,
    /// Bought, still to be issued.
    Boxed,
}

/// Cards of one layout and site code with consecutive numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardBatch {
    /// Id of the layout.
    pub layout: String,
    /// Site code; `None` for layouts without one.
    pub site: Option<u128>,
    /// First card number.
    pub first: u128,
    /// Last card number, included.
    pub last: u128,
    /// Issued or boxed.
    pub state: State,
}

/// The job: the panel's limits and the cards the site owns.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Site {
    /// The panel's limits.
    pub panel: Panel,
    /// The batches, in file order.
    pub batches: Vec<CardBatch>,
    /// The site's words for the states of cards.
    pub states: States,
    /// What headings of its rosters mean, by heading: a column's usual name.
    pub columns: BTreeMap<String, String>,
    /// Which layout its words for kinds of cards are, by word: an id.
    pub kinds: BTreeMap<String, String>,
}

const PANEL_KEYS: [&str; 10] = [
    "slots",
    "first_bit",
    "identity",
    "max_length",
    "max_digits",
    "kept_digits",
    "checks_parity",
    "checks_site",
    "max_number",
    "one_site_place",
];

impl Site {
    /// The most batches a site file may hold. Boxed batches may overlap, and
    /// every stretch of a conflict names all of its batches.
    pub const MAX_BATCHES: usize = 1024;

    /// Reads a site file whose batches name layouts of `table`.
    ///
    /// # Errors
    /// Every mistake, each with its bytes and what to write instead: unknown
    /// keys and layouts, impossible limits, numbers too wide for their field,
    /// issued batches that overlap.
    pub fn from_toml(text: &str, table: &Table) -> Result<Site, FileError> {
        read(text, |top, mistakes| {
            top.only("a site file", &["panel", "states", "columns", "kinds", "batch"], mistakes);
            let panel = match top.section("panel", mistakes) {
                Some(section) => read_panel(&section, mistakes),
                None => Panel::default(),
            };
            let mut batches: Vec<(CardBatch, Range<usize>)> = Vec::new();
            let sections = top.sections("batch", "[[batch]]", mistakes);
            if let Some(excess) = sections.get(Site::MAX_BATCHES) {
                let most = format!("more than {} batches", Site::MAX_BATCHES);
                let mend = "join those whose numbers follow one another";
                mistakes.add(excess.bytes.clone(), most, mend);
                return None;
            }
            for section in sections {
                let Some(batch) = read_batch(&section, table, mistakes) else { continue };
                batches.push((batch, section.place("cards")));
            }
            refuse_overlaps(&batches, mistakes);
            let states = top.section("states", mistakes);
            let states = states.map_or_else(States::default, |own| read_states(&own, mistakes));
            let batches = batches.into_iter().map(|(batch, _)| batch).collect();
            let mut words = |name: &str| match top.section(name, mistakes) {
                Some(section) => read_words(&section, mistakes),
                None => Vec::new(),
            };
            let (columns, kinds) = (words("columns"), words("kinds"));
            for (_, id, place) in &kinds {
                if table.layout(id).is_none() {
                    let near = nearest(id, table.layouts().iter().map(Layout::id));
                    let mend = near.map_or_else(
                        || "give its table with --table".to_owned(),
                        |near| format!("did you mean {near:?}?"),
                    );
                    mistakes.add(place.clone(), format!("no layout {id:?} in the table"), mend);
                }
            }
            let plain = |words: Vec<Word>| words.into_iter().map(|(w, means, _)| (w, means));
            let (columns, kinds) = (plain(columns).collect(), plain(kinds).collect());
            Some(Site { panel, batches, states, columns, kinds })
        })
    }
}

fn read_panel(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Panel {
    section.only("the panel", &PANEL_KEYS, mistakes);
    let mut panel = Panel::default();
    let limit = |key: &str, within: std::ops::RangeInclusive<usize>, mistakes: &mut Mistakes| {
        let placed = section.whole(key, mistakes)?;
        let value = usize::try_from(placed.value).ok().filter(|v| within.contains(v));
        if value.is_none() {
            mistakes.add(
                placed.bytes,
                format!("{key} = {} is impossible", placed.value),
                format!("write {} to {}", within.start(), within.end()),
            );
        }
        value
    };
    panel.slots = limit("slots", 1..=1000, mistakes);
    panel.first_bit = limit("first_bit", 0..=1, mistakes).unwrap_or(panel.first_bit);
    panel.max_length = limit("max_length", 1..=256, mistakes).unwrap_or(panel.max_length);
    // 128 bits have 39 digits.
    panel.max_digits = limit("max_digits", 1..=39, mistakes).unwrap_or(panel.max_digits);
    let identities = [
        ("number", Identity::Number),
        ("site+number", Identity::SiteAndNumber),
        ("slot+number", Identity::SlotAndNumber),
    ];
    panel.identity = section.choice("identity", &identities, mistakes).unwrap_or(panel.identity);
    let kept =
        [("low", KeptDigits::Low), ("high", KeptDigits::High), ("refuse", KeptDigits::Refuse)];
    panel.kept_digits = section.choice("kept_digits", &kept, mistakes).unwrap_or(panel.kept_digits);
    let flag = |key, default, mistakes: &mut Mistakes| {
        section.flag(key, mistakes).map_or(default, |flag| flag.value)
    };
    panel.checks_parity = flag("checks_parity", panel.checks_parity, mistakes);
    panel.checks_site = flag("checks_site", panel.checks_site, mistakes);
    panel.one_site_place = flag("one_site_place", panel.one_site_place, mistakes);
    if let Some(placed) = section.whole("max_number", mistakes) {
        let number = u64::try_from(placed.value).ok();
        panel.max_number = number.filter(|n| (1..=Panel::MAX_NUMBER_MOST).contains(n));
        if panel.max_number.is_none() {
            mistakes.add(
                placed.bytes,
                format!("max_number = {} is impossible", placed.value),
                format!("write 1 to {}, or leave it out", Panel::MAX_NUMBER_MOST),
            );
        }
    }
    panel
}

/// A word, what it means, and where that stands.
type Word = (String, String, Range<usize>);

/// The site's own words: `"Badge nr" = "card"`.
fn read_words(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> Vec<Word> {
    let mut words = Vec::new();
    for word in section.keys() {
        let Some(means) = section.text(word, mistakes) else { continue };
        words.push((word.to_owned(), means.value.to_owned(), means.bytes));
    }
    words
}

/// The site's own words for states: `aktiv = "kept"`.
fn read_states(section: &Section<'_, '_>, mistakes: &mut Mistakes) -> States {
    let mut states = States::default();
    let choices = [RowState::Kept, RowState::Boxed, RowState::Blocked].map(|s| (s.word(), s));
    for word in section.keys() {
        let Some(state) = section.choice(word, &choices, mistakes) else { continue };
        if !states.add(word, state) {
            let message = format!("{word:?} has a meaning of its own");
            mistakes.add(section.place(word), message, "leave it out, or use another word");
        }
    }
    states
}

fn read_batch(
    section: &Section<'_, '_>,
    table: &Table,
    mistakes: &mut Mistakes,
) -> Option<CardBatch> {
    section.only("a batch", &["layout", "site", "cards", "state"], mistakes);
    section.require("the batch", "layout", "\"std26\"", mistakes);
    section.require("the batch", "cards", "\"4000-4999\"", mistakes);
    section.require("the batch", "state", "\"issued\" or \"boxed\"", mistakes);
    let id = section.text("layout", mistakes);
    let site = section.whole("site", mistakes);
    let cards = section.text("cards", mistakes);
    let states = [("issued", State::Issued), ("boxed", State::Boxed)];
    let state = section.choice("state", &states, mistakes);
    let id = id?;
    let Some(layout) = table.layout(id.value) else {
        let known = table.layouts().iter().map(Layout::id);
        let mend = nearest(id.value, known).map_or_else(
            || "give its table with --table, or write one of `holdover table list`".to_owned(),
            |near| format!("did you mean {near:?}?"),
        );
        let message = format!("no layout {:?} in the table", crate::file::short(id.value));
        mistakes.add(id.bytes, message, mend);
        return None;
    };
    let (cards, state) = (cards?, state?);
    let number = |text: &str| text.trim().parse::<u128>().ok();
    let (first, last) = cards.value.split_once('-').unwrap_or((cards.value, cards.value));
    let (Some(first), Some(last)) = (number(first), number(last)) else {
        let message = format!("expected card numbers, found {:?}", crate::file::short(cards.value));
        mistakes.add(cards.bytes, message, "write \"4000-4999\" or \"4000\"");
        return None;
    };
    if first > last {
        let mend = format!("write \"{last}-{first}\"");
        mistakes.add(cards.bytes, "the range ends before it begins", mend);
        return None;
    }
    let largest = |part| layout.largest(part);
    match largest(Part::Card) {
        Some(most) if last > most => {
            let message = format!("card {last} does not fit {:?}", layout.id());
            mistakes.add(cards.bytes, message, format!("its largest card number is {most}"));
            return None;
        }
        None => {
            let message = format!("{:?} has no card number", layout.id());
            mistakes.add(id.bytes, message, "batches need a layout with a card field");
            return None;
        }
        _ => {}
    }
    match (site, largest(Part::Site)) {
        (Some(site), Some(most)) if site.value > most => {
            let message = format!("site {} does not fit {:?}", site.value, layout.id());
            mistakes.add(site.bytes, message, format!("its largest site code is {most}"));
            None
        }
        (Some(site), None) if site.value != 0 => {
            let message = format!("{:?} has no site code", layout.id());
            mistakes.add(site.bytes, message, "leave site out, or write 0");
            None
        }
        (None, Some(_)) => {
            let message = format!("{:?} has a site code, and the batch none", layout.id());
            mistakes.add(section.bytes.clone(), message, "add site = …");
            None
        }
        (site, most) => Some(CardBatch {
            layout: id.value.to_owned(),
            site: most.and(site).map(|site| site.value),
            first,
            last,
            state,
        }),
    }
}

fn refuse_overlaps(batches: &[(CardBatch, Range<usize>)], mistakes: &mut Mistakes) {
    let mut issued: Vec<_> =
        batches.iter().filter(|(batch, _)| batch.state == State::Issued).collect();
    issued
        .sort_by(|(a, _), (b, _)| (&a.layout, a.site, a.first).cmp(&(&b.layout, b.site, b.first)));
    for pair in issued.windows(2) {
        let [(a, a_at), (b, b_at)] = pair else { continue };
        if a.layout == b.layout && a.site == b.site && b.first <= a.last {
            let later = a_at.start.max(b_at.start);
            mistakes.add(
                later..later + if later == a_at.start { a_at.len() } else { b_at.len() },
                format!(
                    "cards {} to {} are in two issued batches of {:?}",
                    b.first,
                    a.last.min(b.last),
                    a.layout
                ),
                "list each card once: join the two batches, or end one where the other begins",
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    fn mistakes(text: &str) -> String {
        let error = Site::from_toml(text, builtin()).unwrap_err();
        let lines = error
            .mistakes()
            .iter()
            .map(|m| format!("{}: {}: {}", m.line_and_column(text).0, m.message, m.mend));
        lines.collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn reads_what_the_design_shows() {
        let text = "[panel]\nslots = 4\nfirst_bit = 0\nidentity = \"slot+number\"\nkept_digits = \"high\"\n\
                    [[batch]]\nlayout = \"std26\"\nsite = 65\ncards = \"4000-4999\"\nstate = \"boxed\"\n";
        let site = Site::from_toml(text, builtin()).unwrap();
        assert_eq!((site.panel.slots, site.panel.first_bit), (Some(4), 0));
        assert_eq!(site.panel.max_digits, 10);
        let text = "[panel]\nkept_digits = \"refuse\"\nmax_number = 65535\none_site_place = true\n";
        let panel = Site::from_toml(text, builtin()).unwrap().panel;
        assert_eq!((panel.kept_digits, panel.max_number), (KeptDigits::Refuse, Some(65535)));
        assert!(panel.one_site_place);
        assert!(mistakes("[panel]\nmax_number = 0\n").contains("write 1 to 9007199254740991"));
        assert_eq!((site.batches[0].first, site.batches[0].last), (4000, 4999));
    }

    #[test]
    fn every_mistake_is_named() {
        let text = "[panel]\nslots = 0\nslot = 3\nidentity = \"numbr\"\n[[batch]]\nlayout = \"std62\"\n\
                    cards = \"1-2\"\nstate = \"issued\"\n[[batch]]\nlayout = \"std26\"\nsite = 256\n\
                    cards = \"1-2\"\nstate = \"issued\"\n[[batch]]\nlayout = \"std26\"\nsite = 5\n\
                    cards = \"1-70000\"\nstate = \"issued\"\n[[batch]]\nlayout = \"std26\"\n\
                    cards = \"9-1\"\nstate = \"lost\"\n";
        let found = mistakes(text);
        for wanted in [
            "2: slots = 0 is impossible: write 1 to 1000",
            "3: unknown key \"slot\" in the panel: did you mean \"slots\"?",
            "4: identity = \"numbr\" is not known: did you mean \"number\"?",
            "6: no layout \"std62\" in the table: did you mean \"std26\"?",
            "11: site 256 does not fit \"std26\": its largest site code is 255",
            "17: card 70000 does not fit \"std26\": its largest card number is 65535",
            "state = \"lost\" is not known",
        ] {
            assert!(found.contains(wanted), "{wanted}\n--\n{found}");
        }
    }

    #[test]
    fn issued_batches_may_not_overlap() {
        let batch = |cards: &str, state: &str| {
            format!(
                "[[batch]]\nlayout = \"std26\"\nsite = 5\ncards = \"{cards}\"\nstate = \"{state}\"\n"
            )
        };
        let text = batch("1-10", "issued") + &batch("10-20", "issued");
        assert!(mistakes(&text).contains("cards 10 to 10 are in two issued batches"));
        let text = batch("1-10", "issued") + &batch("10-20", "boxed");
        assert!(Site::from_toml(&text, builtin()).is_ok());
    }
}
