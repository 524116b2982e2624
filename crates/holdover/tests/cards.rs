//! Cards of any layout, for all tests.

use holdover::bits::Capture;
use holdover::layout::{Field, Layout, Value};

/// A card with a number for each field, of which it takes the low bits or
/// decimal digits that have room; `None` where its checks cannot hold.
pub fn card(layout: &Layout, mut number: impl FnMut(&Field) -> u128) -> Option<Capture> {
    let values: Vec<(&str, Value)> = (layout.fields().iter())
        .map(|field| {
            let number = number(field);
            let value = match field.digits() {
                Some(digits) => {
                    let text = format!("{number:0digits$}");
                    Value::Digits(text[text.len() - digits..].into())
                }
                None => Value::Number(number & (u128::MAX >> (128 - field.span.len()))),
            };
            (field.role.name(), value)
        })
        .collect();
    layout.compose(values).ok()
}
