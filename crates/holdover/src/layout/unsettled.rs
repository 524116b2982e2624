//! What a layout leaves open. A layout worked out from captures may hold a
//! field or a check that the sample did not settle: what is open about it goes
//! with the layout. It changes nothing in how cards are decoded or ranked.

use super::{Layout, LayoutError, LayoutErrorKind, LayoutSpec, Place, PlaceIn};
use crate::bits::{Span, Wide};

/// A field or a check that is not settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsettled {
    /// The field or the check.
    pub part: PlaceIn,
    /// Bits that may or may not belong to it; `None` where it is not known
    /// which they are.
    pub open: Option<Span>,
}

impl Unsettled {
    /// What is open about it, such as "bits 2-9 may be covered or not".
    pub fn words(&self) -> Option<String> {
        let open = bits(self.open.as_ref()?);
        Some(match self.part {
            PlaceIn::Check(_) => format!("{open} may be covered or not"),
            _ => format!("{open} may belong to it or not"),
        })
    }
}

/// The bits of a span in words.
fn bits(span: &Span) -> String {
    if span.len() == 1 { format!("bit {span}") } else { format!("bits {span}") }
}

/// Fields before checks, each in the layout's order.
fn rank(part: PlaceIn) -> (usize, usize) {
    match part {
        PlaceIn::Layout => (0, 0),
        PlaceIn::Field(index) => (1, index),
        PlaceIn::Check(index) => (2, index),
    }
}

/// Whether what a description leaves open is its own; puts it in order.
pub(super) fn check(spec: &mut LayoutSpec) -> Result<(), LayoutError> {
    spec.unsettled.sort_by_key(|unsettled| rank(unsettled.part));
    let mut before = None;
    for Unsettled { part, open } in &spec.unsettled {
        let fail = |key, kind| Err(LayoutError { place: Place { part: *part, key }, kind });
        let there = match *part {
            PlaceIn::Layout => false,
            PlaceIn::Field(index) => index < spec.fields.len(),
            PlaceIn::Check(index) => index < spec.checks.len(),
        };
        if !there || before == Some(*part) {
            let place = Place { part: PlaceIn::Layout, key: "settled" };
            return Err(LayoutError { place, kind: LayoutErrorKind::UnsettledPart });
        }
        before = Some(*part);
        let length = spec.length;
        if let Some(bit) = open.as_ref().map(Span::furthest).filter(|bit| bit.from_one() > length) {
            return fail("open", LayoutErrorKind::OutsideLength { bit, length });
        }
    }
    Ok(())
}

impl Layout {
    /// The basis of a layout that was learnt.
    pub const WORKED_OUT: &'static str = "worked out from captures";

    /// What is not settled: fields, then checks, in the layout's order.
    ///
    /// # Examples
    /// ```
    /// use holdover::layout::{PlaceIn, Table};
    /// let table = Table::from_toml(r#"
    ///     [[layout]]
    ///     id = "found10"
    ///     length = 10
    ///     basis = "worked out from captures"
    ///     [[layout.field]]
    ///     role = "card"
    ///     span = "4-10"
    ///     [[layout.check]]
    ///     kind = "even"
    ///     bit = 1
    ///     over = "2-10"
    ///     settled = false
    ///     open = "2-3"
    /// "#)?;
    /// let layout = &table.layouts()[0];
    /// let [open] = layout.unsettled() else { unreachable!() };
    /// assert_eq!(layout.part_name(open.part), "even 1 over 2-10");
    /// assert_eq!(open.words().unwrap(), "bits 2-3 may be covered or not");
    /// assert_eq!(layout.settled_by(open), "read one card that differs in bits 2-3 and learn again");
    /// # Ok::<(), holdover::file::FileError>(())
    /// ```
    pub fn unsettled(&self) -> &[Unsettled] {
        &self.spec().unsettled
    }

    /// What is open about the field of that index, from 0; `None`: it is settled.
    pub fn unsettled_field(&self, index: usize) -> Option<&Unsettled> {
        self.unsettled().iter().find(|open| open.part == PlaceIn::Field(index))
    }

    /// What is open about the check of that index, from 0; `None`: it is settled.
    pub fn unsettled_check(&self, index: usize) -> Option<&Unsettled> {
        self.unsettled().iter().find(|open| open.part == PlaceIn::Check(index))
    }

    /// Whether it was worked out from captures: by its basis, or because it
    /// leaves something open.
    pub fn is_worked_out(&self) -> bool {
        self.spec().basis == Self::WORKED_OUT || !self.unsettled().is_empty()
    }

    /// What people call a part: "even 1 over 2-13", "card 10-25".
    pub fn part_name(&self, part: PlaceIn) -> String {
        match part {
            PlaceIn::Field(index) => self
                .fields()
                .get(index)
                .map_or_else(String::new, |field| format!("{} {}", field.role.name(), field.span)),
            PlaceIn::Check(index) => {
                self.checks().get(index).map_or_else(String::new, ToString::to_string)
            }
            PlaceIn::Layout => self.id().to_owned(),
        }
    }

    /// What to do to settle a part, in words: "read one card of another site
    /// code and learn again".
    pub fn settled_by(&self, open: &Unsettled) -> String {
        let Some(span) = &open.open else {
            return "read more cards and learn again".to_owned();
        };
        let site = self.site_span().map_or(Wide::ZERO, Span::mask);
        if !(span.mask() & site).is_zero() {
            return "read one card of another site code and learn again".to_owned();
        }
        format!("read one card that differs in {} and learn again", bits(span))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    #[test]
    fn what_is_open_is_in_order_and_there() {
        let std26 = builtin().layout("std26").unwrap().spec();
        let open = |part, open: &str| Unsettled { part, open: open.parse().ok() };
        let made = |unsettled| Layout::new(LayoutSpec { unsettled, ..std26.clone() });
        let layout =
            made(vec![open(PlaceIn::Check(1), "2-9"), open(PlaceIn::Field(0), "2")]).unwrap();
        assert_eq!(layout.unsettled()[0].part, PlaceIn::Field(0));
        assert_eq!(
            layout.unsettled_field(0).unwrap().words().unwrap(),
            "bit 2 may belong to it or not"
        );
        assert!(layout.unsettled_field(1).is_none() && layout.unsettled_check(0).is_none());
        assert!(layout.same_rules(builtin().layout("std26").unwrap()));
        for wrong in [PlaceIn::Layout, PlaceIn::Field(2), PlaceIn::Check(2)] {
            let error = made(vec![open(wrong, "2")]).unwrap_err();
            assert_eq!(error.kind(), &LayoutErrorKind::UnsettledPart);
        }
        let twice = vec![open(PlaceIn::Check(0), "2"), open(PlaceIn::Check(0), "3")];
        assert_eq!(made(twice).unwrap_err().kind(), &LayoutErrorKind::UnsettledPart);
        let error = made(vec![open(PlaceIn::Check(0), "20-27")]).unwrap_err();
        assert_eq!(error.place(), Place { part: PlaceIn::Check(0), key: "open" });
    }

    #[test]
    fn the_card_that_settles() {
        let std26 = builtin().layout("std26").unwrap();
        let by = |open: &str| {
            std26.settled_by(&Unsettled { part: PlaceIn::Check(0), open: open.parse().ok() })
        };
        assert_eq!(by("5-12"), "read one card of another site code and learn again");
        assert_eq!(by("10-12"), "read one card that differs in bits 10-12 and learn again");
        assert_eq!(by(""), "read more cards and learn again");
    }
}
