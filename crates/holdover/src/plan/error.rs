//! What can be wrong with a problem, and where.

use std::fmt;

use thiserror::Error;

/// Where in the problem a mistake is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanPlace {
    /// A line of the roster, as the row gives it.
    Line(usize),
    /// A batch of the site file, from 1.
    Batch(usize),
    /// The panel's limits.
    Panel,
}

impl fmt::Display for PlanPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PlanPlace::Line(line) => write!(f, "line {line}"),
            PlanPlace::Batch(batch) => write!(f, "batch {batch}"),
            PlanPlace::Panel => f.write_str("panel"),
        }
    }
}

/// Why a problem cannot be planned.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{place}: {kind}")]
pub struct PlanError {
    place: PlanPlace,
    kind: PlanErrorKind,
}

impl PlanError {
    pub(crate) fn new(place: PlanPlace, kind: PlanErrorKind) -> PlanError {
        PlanError { place, kind }
    }

    pub(crate) fn batch(index: usize, kind: PlanErrorKind) -> PlanError {
        PlanError::new(PlanPlace::Batch(index + 1), kind)
    }

    /// The same mistake in a batch, from 1.
    pub(crate) fn in_batch(self, batch: usize) -> PlanError {
        PlanError { place: PlanPlace::Batch(batch), ..self }
    }

    /// Which mistake it is.
    pub fn kind(&self) -> &PlanErrorKind {
        &self.kind
    }

    /// Where it is.
    pub fn place(&self) -> PlanPlace {
        self.place
    }
}

/// The mistakes a problem can hold.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PlanErrorKind {
    /// A limit no panel can have.
    #[error("{limit} = {found} is impossible: write {from} to {to}")]
    Limit {
        /// The limit.
        limit: &'static str,
        /// What it is.
        found: usize,
        /// Least.
        from: usize,
        /// Most.
        to: usize,
    },
    /// Nobody said how many slots the panel has.
    #[error(
        "slots is missing: write slots = and how many card formats the new panel holds at once; \
         its manual says so where it describes card formats, or count the places for them on the \
         screen where a format is entered"
    )]
    SlotsMissing,
    /// A layout the table does not have.
    #[error("no layout {id:?} in the table: add its table, or correct the layout")]
    NoSuchLayout {
        /// The id, or the index.
        id: String,
    },
    /// A layout no card can be named in.
    #[error("{id:?} has no card number: name a layout with a card field, or give the bits")]
    NoCardField {
        /// The layout.
        id: String,
    },
    /// A site code for a layout without one, or none for one with.
    #[error("{id:?} has {}", if *.has { "a site code: add it" } else { "no site code: leave it out, or write 0" })]
    SiteField {
        /// The layout.
        id: String,
        /// Whether the layout has a site field.
        has: bool,
    },
    /// A number that does not fit.
    #[error("{part} {number} does not fit {id:?}: its largest is {largest}")]
    TooLarge {
        /// The layout.
        id: String,
        /// `site` or `card`.
        part: &'static str,
        /// What was given.
        number: u128,
        /// The largest that fits.
        largest: u128,
    },
    /// Numbers the layout's own checks exclude.
    #[error("card {number} cannot be made in {id:?}: {why}; correct the number or the layout")]
    Impossible {
        /// The layout.
        id: String,
        /// The card number.
        number: u128,
        /// What composing says.
        why: String,
    },
    /// Bits that are not those of the row's layout, site code and number.
    #[error("the bits are not site {site}, card {number} of {id:?}: correct one of them")]
    OtherCard {
        /// The layout.
        id: String,
        /// The site code given.
        site: u128,
        /// The number given.
        number: u128,
    },
    /// A range that ends before it begins.
    #[error("the range ends before it begins: write \"{last}-{first}\"")]
    Backwards {
        /// First number.
        first: u128,
        /// Last number.
        last: u128,
    },
    /// Two issued batches with the same cards.
    #[error("cards {first} to {last} are in issued batch {other} too: list each card once")]
    IssuedTwice {
        /// First card in both.
        first: u128,
        /// Last card in both.
        last: u128,
        /// The other batch, from 1.
        other: usize,
    },
    /// A batch that would have to be listed card by card, and is too long.
    #[error(
        "its {cards} cards would have to be listed one by one, and {most} is the most: {why}; \
         split the batch, or enter as issued only the cards that are"
    )]
    TooLong {
        /// Cards in the batch.
        cards: u128,
        /// The most that are listed.
        most: u128,
        /// Why they would have to be listed.
        why: &'static str,
    },
    /// More roster rows than can be told apart.
    #[error("more than {most} rows: split the roster")]
    TooManyRows {
        /// The most.
        most: usize,
    },
}
