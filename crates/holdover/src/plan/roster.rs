//! The roster: the cards to keep, one a row.

use super::error::{PlanError, PlanErrorKind, PlanPlace};
use crate::bits::Capture;
use crate::layout::{Layout, Part, Table, Value};
pub use crate::states::RowState;

/// The card of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RosterCard {
    /// A card of a layout of the table.
    Card {
        /// Index of the layout in the table, from 0.
        layout: usize,
        /// Site code; 0 for layouts without one.
        site: u128,
        /// Card number.
        number: u128,
        /// The bits it sends.
        bits: Capture,
    },
    /// A capture that no layout explains: it is lost, whatever the plan.
    Unfit {
        /// What people are told.
        why: String,
        /// The bits it sends, where they are known.
        bits: Option<Capture>,
    },
}

impl RosterCard {
    /// The bits the card sends, where they are known.
    pub fn bits(&self) -> Option<&Capture> {
        match self {
            RosterCard::Card { bits, .. } => Some(bits),
            RosterCard::Unfit { bits, .. } => bits.as_ref(),
        }
    }
}

/// One row of the roster.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RosterRow {
    /// Its line in the file, the header line 1.
    pub line: usize,
    /// The card.
    pub card: RosterCard,
    /// What is printed on it; its last run of digits is compared.
    pub printed: Option<String>,
    /// Who holds it.
    pub holder: Option<String>,
    /// Kept, boxed or blocked.
    pub state: RowState,
}

impl RosterRow {
    /// A kept row without print and holder, its bits made of the numbers; all
    /// other fields 0, every check filled in.
    ///
    /// # Errors
    /// No such layout, a layout without a card number, a number too large, or
    /// one that the layout's checks exclude.
    ///
    /// # Examples
    /// ```
    /// use holdover::layout::builtin;
    /// use holdover::plan::{RosterCard, RosterRow};
    /// let row = RosterRow::of_numbers(builtin(), 2, "std26", 65, 4321)?;
    /// let RosterCard::Card { bits, .. } = row.card else { unreachable!() };
    /// assert_eq!(bits.to_string(), "10100000100010000111000011");
    /// let wrong = RosterRow::of_numbers(builtin(), 3, "std26", 256, 1).unwrap_err();
    /// assert_eq!(wrong.to_string(), "line 3: site 256 does not fit \"std26\": its largest is 255");
    /// # Ok::<(), holdover::plan::PlanError>(())
    /// ```
    pub fn of_numbers(
        table: &Table,
        line: usize,
        layout: &str,
        site: u128,
        number: u128,
    ) -> Result<RosterRow, PlanError> {
        let place = PlanPlace::Line(line);
        let Some(index) = table.index_of(layout) else {
            let id = layout.chars().take(80).collect();
            return Err(PlanError::new(place, PlanErrorKind::NoSuchLayout { id }));
        };
        let bits = word(&table.layouts()[index], site, number)
            .map_err(|kind| PlanError::new(place, kind))?;
        let card = RosterCard::Card { layout: index, site, number, bits };
        Ok(RosterRow { line, card, printed: None, holder: None, state: RowState::Kept })
    }
}

/// The word of a layout that carries these numbers, other fields 0.
pub(crate) fn word(layout: &Layout, site: u128, number: u128) -> Result<Capture, PlanErrorKind> {
    let id = || layout.id().to_owned();
    match (layout.largest(Part::Site), layout.largest(Part::Card)) {
        (_, None) => return Err(PlanErrorKind::NoCardField { id: id() }),
        (None, _) if site != 0 => return Err(PlanErrorKind::SiteField { id: id(), has: false }),
        (Some(largest), _) if site > largest => {
            let part = "site";
            return Err(PlanErrorKind::TooLarge { id: id(), part, number: site, largest });
        }
        (_, Some(largest)) if number > largest => {
            return Err(PlanErrorKind::TooLarge { id: id(), part: "card", number, largest });
        }
        _ => {}
    }
    let mut values: Vec<(&str, Value)> = Vec::with_capacity(layout.fields().len());
    for (part, number) in [(Part::Site, site), (Part::Card, number)] {
        let fields: Vec<_> = layout.fields().iter().filter(|f| f.belongs_to(part)).collect();
        if let [field] = fields[..]
            && field.digits().is_none()
        {
            values.push((field.role.name(), Value::Number(number)));
            continue;
        }
        // Of several fields, or decimal ones, the digits are joined.
        let width: usize = fields.iter().map(|field| field.decimal_width()).sum();
        let digits = format!("{number:0>width$}");
        let mut rest = digits.as_str();
        for field in fields {
            let (own, after) = rest.split_at(field.decimal_width().min(rest.len()));
            values.push((field.role.name(), Value::Digits(own.to_owned())));
            rest = after;
        }
    }
    let others =
        layout.fields().iter().filter(|f| !f.belongs_to(Part::Site) && !f.belongs_to(Part::Card));
    values.extend(others.map(|field| (field.role.name(), Value::Digits("0".to_owned()))));
    layout.compose(values).map_err(|error| PlanErrorKind::Impossible {
        id: id(),
        number,
        why: error.to_string(),
    })
}

/// The number printed on a card: the last run of digits, leading zeros
/// ignored; `None` where there is no digit. A number over 128 bits is no
/// panel's: it counts as the largest.
pub(crate) fn printed_number(text: &str) -> Option<u128> {
    let mut runs = text.split(|c: char| !c.is_ascii_digit());
    let last = runs.rfind(|run| !run.is_empty())?;
    Some(last.parse().unwrap_or(u128::MAX))
}

/// The numbers a word carries, as the layout joins them; `None` where they
/// are no numbers of up to 128 bits.
pub(crate) fn numbers(layout: &Layout, bits: &Capture) -> Option<(u128, u128)> {
    let number = |part| {
        let mut fields = layout.fields().iter().filter(|f| f.belongs_to(part));
        match (fields.next(), fields.next()) {
            (None, _) => Some(0),
            (Some(field), None) if field.digits().is_none() => Some(field.span.number(bits)),
            _ => {
                let decode = crate::decode::Decode::new(layout, *bits)?;
                let value = if part == Part::Site { decode.site() } else { decode.card() };
                value?.to_string().parse().ok()
            }
        }
    };
    Some((number(Part::Site)?, number(Part::Card)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    #[test]
    fn numbers_of_several_fields_are_their_digits_joined() {
        let row = RosterRow::of_numbers(builtin(), 2, "fascn200", 1234_5678, 901_234).unwrap();
        let RosterCard::Card { layout, bits, .. } = row.card else { panic!() };
        let layout = &builtin().layouts()[layout];
        assert!(layout.admits(&bits));
        assert_eq!(numbers(layout, &bits), Some((1234_5678, 901_234)));
    }

    #[test]
    fn printed_numbers_are_the_last_digits() {
        assert_eq!(printed_number("0065-04321"), Some(4321));
        assert_eq!(printed_number("B 12 rev C"), Some(12));
        assert_eq!(printed_number("none"), None);
        assert_eq!(printed_number(&"9".repeat(60)), Some(u128::MAX));
    }
}
