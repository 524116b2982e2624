//! Print and bits: rows whose print is not the number of their bits, prints that
//! are crossed, and one print on two cards.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::forms::forms;
use super::roster::{RosterCard, RosterRow};
use crate::bits::Capture;
use crate::decode::Decode;
use crate::layout::{Layout, Part, PrintRule, Table};
use crate::rank::{Known, print_numbers};

/// Rows that disagree before the prints of a layout can be said to be something
/// else than its card numbers. Judgement, no source: of one row or two, each is
/// shown.
const LAYOUT_FROM: usize = 3;

/// Cards of one print from which on it is a label, such as the year of a series,
/// where prints are no card numbers. Judgement, no source.
const LABEL_FROM: usize = 4;

/// What is wrong with the prints of a roster. Rows are indices into it, from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PrintTrouble {
    /// The print says one number and the bits say another, where most prints of
    /// the layout are its numbers: one of the two is wrong.
    Differs {
        /// The row.
        row: usize,
        /// The number of the bits, in the form of the print.
        says: String,
        /// The row of the same layout and site code that has the printed number.
        of: Option<usize>,
    },
    /// Two rows have each other's numbers for prints.
    Crossed {
        /// The rows, ascending.
        rows: [usize; 2],
        /// The number of the bits of each, in the form of the prints.
        says: [String; 2],
    },
    /// One print on cards whose bits differ.
    Shared {
        /// The rows, ascending.
        rows: Vec<usize>,
        /// The number of the bits of each, in the form of the print.
        says: Vec<String>,
        /// The rows among them whose bits say another number.
        wrong: Vec<usize>,
    },
    /// Most prints of a layout are not its card numbers.
    Layout {
        /// Index of the layout in the table, from 0.
        layout: usize,
        /// Rows that disagree.
        differ: usize,
        /// Rows of the layout with a print of digits.
        printed: usize,
    },
}

impl PrintTrouble {
    /// The rows it speaks of; none where a layout's prints are something else.
    pub fn rows(&self) -> &[usize] {
        match self {
            PrintTrouble::Differs { row, .. } => std::slice::from_ref(row),
            PrintTrouble::Crossed { rows, .. } => rows,
            PrintTrouble::Shared { rows, .. } => rows,
            PrintTrouble::Layout { .. } => &[],
        }
    }

    /// Those of them whose print or bits are wrong.
    pub fn wrong(&self) -> &[usize] {
        match self {
            PrintTrouble::Shared { wrong, .. } => wrong,
            other => other.rows(),
        }
    }
}

/// A row with a print of digits.
struct Printed<'r> {
    row: usize,
    from: &'r RosterRow,
    layout: usize,
    rule: PrintRule,
    agrees: bool,
}

impl Printed<'_> {
    fn print(&self) -> &str {
        self.from.printed.as_deref().unwrap_or_default()
    }

    /// Layout, site code and number.
    fn numbers(&self) -> Option<(usize, u128, u128)> {
        numbers(self.from)
    }

    fn bits(&self) -> Option<Capture> {
        match self.from.card {
            RosterCard::Card { bits, .. } => Some(bits),
            RosterCard::Unfit { .. } => None,
        }
    }
}

fn numbers(row: &RosterRow) -> Option<(usize, u128, u128)> {
    match row.card {
        RosterCard::Card { layout, site, number, .. } => Some((layout, site, number)),
        RosterCard::Unfit { .. } => None,
    }
}

/// Looks for prints that are not the numbers of their bits, by row. Time
/// n log n.
///
/// Whether a print agrees is what [`Known::print_agrees`] says. Fewer than half
/// of a layout's prints that disagree are mistakes, each of them.
///
/// # Examples
/// ```
/// use holdover::layout::builtin;
/// use holdover::plan::{PrintTrouble, RosterRow, print_trouble};
/// let row = |line, number, print: &str| {
///     let row = RosterRow::of_numbers(builtin(), line, "std26", 65, number).unwrap();
///     RosterRow { printed: Some(print.to_owned()), ..row }
/// };
/// let roster = [row(2, 7, "00007"), row(3, 6, "00009"), row(4, 8, "00008")];
/// let says = "6".to_owned();
/// let wanted = PrintTrouble::Differs { row: 1, says, of: None };
/// assert_eq!(print_trouble(builtin(), &roster), [wanted]);
/// ```
pub fn print_trouble(table: &Table, roster: &[RosterRow]) -> Vec<PrintTrouble> {
    let rows = || roster.iter().enumerate();
    let mut all: Vec<Printed<'_>> =
        rows().filter_map(|(row, from)| printed(table, row, from)).collect();
    excuse_forms(table, roster, &mut all);
    let wrong: Vec<usize> = (0..all.len()).filter(|i| !all[*i].agrees).collect();
    if wrong.is_empty() {
        return Vec::new();
    }
    let mut by_number: HashMap<(usize, u128, u128), usize> = HashMap::new();
    for (row, from) in rows() {
        if let Some(card) = numbers(from) {
            by_number.entry(card).or_insert(row);
        }
    }
    // Whose number each wrong print is.
    let of = |one: &Printed<'_>| {
        let (layout, site, _) = one.numbers()?;
        let printed = print_numbers(one.print()).into_iter();
        let printed = printed.filter_map(|print| one.rule.number(print));
        let mut found = printed.filter_map(|n| by_number.get(&(layout, site, n)).copied());
        found.find(|row| *row != one.row)
    };
    let whose: BTreeMap<usize, Option<usize>> =
        wrong.iter().map(|i| (all[*i].row, of(&all[*i]))).collect();
    let crossed = |row: usize| {
        let other = whose.get(&row).copied().flatten()?;
        (whose.get(&other).copied().flatten() == Some(row)).then_some(other)
    };
    let mut found: BTreeMap<usize, PrintTrouble> = BTreeMap::new();
    let (layouts, others) = of_layouts(&all, &|row| crossed(row).is_some());
    let shared = shared(&all, &wrong, &others);
    let told: HashSet<usize> = shared.iter().flat_map(|group| group.iter().copied()).collect();
    for i in &wrong {
        let one = &all[*i];
        if let Some(other) = crossed(one.row) {
            let at = all.binary_search_by_key(&other, |pair| pair.row);
            if let Some(pair) = at.ok().map(|at| &all[at]).filter(|_| one.row < other) {
                let says = [says(one), says(pair)];
                found.insert(one.row, PrintTrouble::Crossed { rows: [one.row, other], says });
            }
        } else if !others.contains(&one.layout) && !told.contains(i) {
            let of = whose.get(&one.row).copied().flatten();
            found.insert(one.row, PrintTrouble::Differs { row: one.row, says: says(one), of });
        }
    }
    let shared = shared.into_iter().map(|group| PrintTrouble::Shared {
        rows: group.iter().map(|i| all[*i].row).collect(),
        says: group.iter().map(|i| says(&all[*i])).collect(),
        wrong: group.iter().filter(|i| !all[**i].agrees).map(|i| all[*i].row).collect(),
    });
    let mut out: Vec<PrintTrouble> = found.into_values().chain(shared).collect();
    out.sort_by_key(|trouble| trouble.rows().first().copied());
    layouts.into_iter().chain(out).collect()
}

/// The one card number of a layout that a print stands for, by the layout's rule
/// for prints; `None` where no card has that print, or several could.
///
/// # Examples
/// ```
/// use holdover::layout::builtin;
/// use holdover::plan::number_of_print;
/// let std26 = builtin().layout("std26").unwrap();
/// assert_eq!(number_of_print(std26, "65-04321"), Some(4321));
/// assert_eq!(number_of_print(std26, "70000"), None); // its largest is 65535
/// assert_eq!(number_of_print(std26, "no number"), None);
/// ```
pub fn number_of_print(layout: &Layout, printed: &str) -> Option<u128> {
    let (rule, largest) = (layout.print_rule(), layout.largest(Part::Card)?);
    let numbers = print_numbers(printed).into_iter().filter_map(|print| rule.number(print));
    let mut fits = numbers.filter(|number| *number <= largest);
    let first = fits.next()?;
    fits.all(|other| other == first).then_some(first)
}

/// A row as the checks need it; `None` without a print of digits.
fn printed<'r>(table: &Table, row: usize, from: &'r RosterRow) -> Option<Printed<'r>> {
    let RosterCard::Card { layout, bits, .. } = from.card else { return None };
    let print = from.printed.as_deref()?;
    let decode = Decode::new(table.layouts().get(layout)?, bits)?;
    let known = Known { printed: Some(print.to_owned()), ..Known::default() };
    let agrees = known.print_agrees(&decode)?;
    Some(Printed { row, from, layout, rule: decode.layout.print_rule(), agrees })
}

/// A card in two forms has the print of one of them.
fn excuse_forms(table: &Table, roster: &[RosterRow], all: &mut [Printed<'_>]) {
    if all.iter().all(|one| one.agrees) {
        return;
    }
    let forms = forms(table, roster);
    let form = |one: &Printed<'_>| forms.get(&(one.row as u32)).copied();
    let right: HashSet<u32> = all.iter().filter(|one| one.agrees).filter_map(form).collect();
    for one in all.iter_mut() {
        one.agrees |= form(one).is_some_and(|form| right.contains(&form));
    }
}

/// Layouts most of whose prints are something else, and their indices. Crossed
/// prints are card numbers after all.
fn of_layouts(
    all: &[Printed<'_>],
    crossed: &dyn Fn(usize) -> bool,
) -> (Vec<PrintTrouble>, HashSet<usize>) {
    let mut counts: BTreeMap<usize, (usize, usize)> = BTreeMap::new();
    for one in all {
        let (differ, printed) = counts.entry(one.layout).or_default();
        *differ += usize::from(!one.agrees && !crossed(one.row));
        *printed += 1;
    }
    counts.retain(|_, (differ, printed)| *differ >= LAYOUT_FROM && 2 * *differ >= *printed);
    let others = counts.keys().copied().collect();
    let told = counts.into_iter().map(|(layout, (differ, printed))| PrintTrouble::Layout {
        layout,
        differ,
        printed,
    });
    (told.collect(), others)
}

/// Groups of cards with one print, some of which it does not fit; as indices.
/// Many cards with one print that is no number have a label.
fn shared(all: &[Printed<'_>], wrong: &[usize], others: &HashSet<usize>) -> Vec<Vec<usize>> {
    let plain = |print: &str| print.split_whitespace().collect::<Vec<_>>().join(" ");
    let mut groups: BTreeMap<String, Vec<usize>> =
        wrong.iter().map(|i| (plain(all[*i].print()).to_uppercase(), Vec::new())).collect();
    for (i, one) in all.iter().enumerate() {
        if let Some(group) = groups.get_mut(&plain(one.print()).to_uppercase()) {
            group.push(i);
        }
    }
    let cards = |group: &Vec<usize>| group.iter().map(|i| all[*i].bits()).collect::<HashSet<_>>();
    let label = |group: &Vec<usize>| {
        group.len() >= LABEL_FROM && group.iter().all(|i| others.contains(&all[*i].layout))
    };
    groups.into_values().filter(|group| cards(group).len() > 1 && !label(group)).collect()
}

/// What the bits' number is printed as, in bytes where the print is.
fn says(one: &Printed<'_>) -> String {
    let (print, number) = (one.print(), one.numbers().map_or(0, |(_, _, number)| number));
    let number = one.rule.printed(number).unwrap_or(number);
    let letters = print.bytes().any(|b| b.is_ascii_alphabetic());
    let plain = print.bytes().all(|b| b.is_ascii_hexdigit() || b" :-".contains(&b));
    if !letters || !plain {
        return number.to_string();
    }
    let digits = print.bytes().filter(u8::is_ascii_hexdigit).count();
    let text = format!("{number:0digits$X}");
    let Some(between) = print.trim().chars().find(|c| !c.is_ascii_hexdigit()) else {
        return text;
    };
    let pairs: Vec<String> =
        text.as_bytes().chunks(2).map(|pair| String::from_utf8_lossy(pair).into_owned()).collect();
    pairs.join(&between.to_string())
}

#[cfg(test)]
mod tests {
    use super::PrintTrouble::{Crossed, Differs, Layout, Shared};
    use super::{PrintTrouble, RosterRow, print_trouble};
    use crate::layout::builtin;

    fn of(layout: &str, site: u128, cards: &[(u128, &str)]) -> Vec<PrintTrouble> {
        print_trouble(builtin(), &rows(layout, site, cards))
    }

    fn rows(layout: &str, site: u128, cards: &[(u128, &str)]) -> Vec<RosterRow> {
        let row = |(i, (number, print)): (usize, &(u128, &str))| {
            let row = RosterRow::of_numbers(builtin(), i + 2, layout, site, *number).unwrap();
            let printed = Some((*print).to_owned()).filter(|print| !print.is_empty());
            RosterRow { printed, ..row }
        };
        cards.iter().enumerate().map(row).collect()
    }

    const FINE: [(u128, &str); 4] = [(1, "00001"), (2, "65-00002"), (3, "3"), (4, "B 4")];

    fn beside(cards: &[(u128, &'static str)]) -> Vec<PrintTrouble> {
        of("std26", 65, &[cards, &FINE].concat())
    }

    fn text(number: u128) -> String {
        number.to_string()
    }

    #[test]
    fn a_row_that_disagrees_is_a_mistake_with_both_numbers() {
        assert_eq!(beside(&[(6, "00009")]), [Differs { row: 0, says: text(6), of: None }]);
        assert_eq!(beside(&[(6, "")]), []);
        assert_eq!(beside(&[(6, "blue")]), []);
        // One row alone, too; and the number of another.
        assert_eq!(of("std26", 65, &[(6, "9")]), [Differs { row: 0, says: text(6), of: None }]);
        assert_eq!(beside(&[(6, "9"), (9, "")]), [Differs { row: 0, says: text(6), of: Some(1) }]);
    }

    #[test]
    fn prints_that_are_crossed_are_said_to_be() {
        let crossed = Crossed { rows: [0, 1], says: [text(6), text(9)] };
        assert_eq!(beside(&[(6, "00009"), (9, "00006")]), [crossed]);
    }

    #[test]
    fn one_print_on_two_cards_is_said_once() {
        let says = vec![text(6), text(9)];
        let shared = Shared { rows: vec![0, 1], says, wrong: vec![0] };
        assert_eq!(beside(&[(6, "00009"), (9, "00009")]), [shared]);
        // The same number at two sites is no mistake.
        let mut two = rows("std26", 65, &[(9, "00009")]);
        two.extend(rows("std26", 66, &[(9, "00009")]));
        assert_eq!(print_trouble(builtin(), &two), []);
    }

    #[test]
    fn prints_that_are_something_else_are_said_once() {
        let cards: Vec<(u128, String)> =
            (0..40).map(|i| (i, format!("{}", 7000 + 7 * i))).collect();
        let mut cards: Vec<(u128, &str)> = cards.iter().map(|(n, p)| (*n, p.as_str())).collect();
        (cards[3], cards[4]) = ((3, "3"), (4, "00004"));
        let layout = builtin().index_of("std26").unwrap();
        assert_eq!(of("std26", 65, &cards), [Layout { layout, differ: 38, printed: 40 }]);
    }

    #[test]
    fn serial_numbers_are_said_in_the_form_of_the_print() {
        let cards = [(0xC47A_31D2, "C4 7A 31 D3"), (0x5E90_B86C, "5E90B86C")];
        let says = "C4 7A 31 D2".to_owned();
        assert_eq!(of("serial32", 0, &cards), [Differs { row: 0, says, of: None }]);
        // Read the other way round by another reader, it is the same card.
        let mut two = rows("serial32", 0, &[(0xC47A_31D2, "C4 7A 31 D2")]);
        two.extend(rows("num34", 0, &[(0xD231_7AC4, "C4 7A 31 D2")]));
        two.iter_mut().for_each(|row| row.holder = Some("M. Loom".to_owned()));
        assert_eq!(print_trouble(builtin(), &two), []);
    }
}
