//! Numbers and probabilities as people read them.

use crate::decode::Decode;

/// A probability people can read: never 100 % where something is left.
pub fn percent(p: f64) -> String {
    match p {
        p if p >= 0.99995 => "over 99.99 %".to_owned(),
        p if p >= 0.99 => format!("{:.2} %", 100.0 * p),
        p if p >= 0.001 => format!("{:.1} %", 100.0 * p),
        p if p > 0.0 => "under 0.1 %".to_owned(),
        _ => "0 %".to_owned(),
    }
}

/// Site and card number as people write them.
pub fn numbers(decode: &Decode<'_>) -> String {
    match (decode.site(), decode.card()) {
        (Some(site), Some(card)) => format!("{site} {card}"),
        (None, Some(card)) => card.to_string(),
        _ => {
            let fields: Vec<_> = decode.fields().map(|(role, v)| format!("{role} {v}")).collect();
            fields.join(", ")
        }
    }
}
