//! Decoding: what a capture says under each layout and each reading of it.

mod column_decoder;
mod columns;
mod reading;
pub mod serial;

pub use column_decoder::{
    Align, ColumnDecoder, DecodedColumns, Lane, Numbers, Rows, Source, TooLong,
};
pub use columns::{BitExtract, Bits, Decoder, View};
pub use reading::{Reading, Word};

use crate::bits::Capture;
use crate::layout::{Layout, Value};

/// One capture under one layout: every field's value, every rule's outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct Decode<'t> {
    /// The layout.
    pub layout: &'t Layout,
    /// The word decoded.
    pub word: Capture,
}

impl<'t> Decode<'t> {
    /// Decodes a word; `None` where its length is not the layout's.
    ///
    /// A failed check is not an error: it is one of the outcomes.
    pub fn new(layout: &'t Layout, word: Capture) -> Option<Decode<'t>> {
        (word.len() == layout.length()).then_some(Decode { layout, word })
    }

    /// Each field's role and value, in the table's order.
    pub fn fields(&self) -> impl Iterator<Item = (&'t str, Value)> + '_ {
        let word = self.word.wide();
        self.layout.fields().iter().map(move |field| (field.role.name(), field.value(word)))
    }

    /// Each rule's name and whether it holds.
    pub fn outcomes(&self) -> impl Iterator<Item = (&'t str, bool)> + '_ {
        let word = self.word.wide();
        self.layout.rules().iter().map(move |rule| (rule.name(), rule.holds(word)))
    }

    /// Whether every rule holds.
    pub fn holds(&self) -> bool {
        self.layout.admits(&self.word)
    }

    /// The site code: the field `site`, or the fields that are part of it,
    /// their digits joined.
    pub fn site(&self) -> Option<Value> {
        self.part(crate::layout::Part::Site)
    }

    /// The card number: the field `card`, or the fields that are part of it,
    /// their digits joined.
    pub fn card(&self) -> Option<Value> {
        self.part(crate::layout::Part::Card)
    }

    /// The number printed on the card by the layout's rule for prints; `None`
    /// without a card number, or where no print is that number's.
    pub fn printed(&self) -> Option<u128> {
        self.layout.print_rule().printed(self.card()?.to_string().parse().ok()?)
    }

    fn part(&self, part: crate::layout::Part) -> Option<Value> {
        let word = self.word.wide();
        let mut fields = self.layout.fields().iter().filter(|field| field.belongs_to(part));
        let first = fields.next()?;
        let Some(second) = fields.next() else { return Some(first.value(word)) };
        let joined = [first, second].into_iter().chain(fields).map(|field| {
            format!("{:0>width$}", field.value(word).to_string(), width = field.decimal_width())
        });
        Some(Value::Digits(joined.collect()))
    }
}
