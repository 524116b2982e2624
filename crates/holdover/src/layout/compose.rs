//! Composing: field values to bits, checks filled in; the inverse of decoding.

use thiserror::Error;

use super::field::digit_bits;
use super::{Code, Layout, Value};
use crate::bits::{Capture, Wide};

impl Layout {
    /// The word that carries these values, every check filled in. Each field
    /// needs a value; bits that no field reads and no check sets are 0, unless
    /// the checks cannot hold without them.
    ///
    /// Law: decoding the word gives the values back and every rule holds.
    ///
    /// # Errors
    /// A field without a value or unknown, a value that does not fit, or
    /// values under which the checks cannot hold.
    ///
    /// # Examples
    /// ```
    /// let std26 = holdover::layout::builtin().layout("std26").unwrap();
    /// let word = std26.compose([("site", 65), ("card", 4321)])?;
    /// assert_eq!(word.to_string(), "10100000100010000111000011");
    /// # Ok::<(), holdover::layout::ComposeError>(())
    /// ```
    pub fn compose<N: AsRef<str>, V: Into<Value>>(
        &self,
        values: impl IntoIterator<Item = (N, V)>,
    ) -> Result<Capture, ComposeError> {
        let values: Vec<(N, Value)> =
            values.into_iter().map(|(name, value)| (name, value.into())).collect();
        let values: Vec<(&str, &Value)> =
            values.iter().map(|(name, value)| (name.as_ref(), value)).collect();
        self.composed(&values)
    }

    fn composed(&self, values: &[(&str, &Value)]) -> Result<Capture, ComposeError> {
        let mut word = Wide::ZERO;
        for (name, _) in values {
            if !self.fields().iter().any(|field| field.role.name() == *name) {
                let known = self.fields().iter().map(|f| f.role.name().to_owned()).collect();
                let role = (*name).to_owned();
                return Err(ComposeErrorKind::NoSuchField { role, known }.into());
            }
        }
        let mut read = Wide::ZERO;
        for field in self.fields() {
            let role = || field.role.name().to_owned();
            let mut given = values.iter().filter(|(name, _)| *name == field.role.name());
            let Some((_, value)) = given.next() else {
                return Err(ComposeErrorKind::Missing { role: role() }.into());
            };
            if given.next().is_some() {
                return Err(ComposeErrorKind::Twice { role: role() }.into());
            }
            match field.code {
                Code::Binary => {
                    let number = match value {
                        Value::Number(number) => Some(*number),
                        Value::Digits(digits) => digits.parse().ok(),
                    };
                    let width = field.span.len();
                    match number {
                        Some(number) if width >= 128 || number >> width == 0 => {
                            field.span.place(number, &mut word);
                        }
                        _ => {
                            let largest = u128::MAX >> (128 - width.min(128));
                            let (value, largest) = (value.to_string(), largest.to_string());
                            let role = role();
                            return Err(ComposeErrorKind::TooLarge { role, value, largest }.into());
                        }
                    }
                }
                code => {
                    let width = field.digits().unwrap_or(0);
                    let digits = format!("{:0>width$}", value.to_string());
                    let decimal = digits.bytes().all(|b| b.is_ascii_digit());
                    if !decimal || digits.len() > width {
                        let (value, largest) = (value.to_string(), "9".repeat(width));
                        return Err(
                            ComposeErrorKind::TooLarge { role: role(), value, largest }.into()
                        );
                    }
                    let bits = digits.bytes().flat_map(|b| digit_bits(code, b - b'0'));
                    for (offset, bit) in field.span.offsets().zip(bits) {
                        word.set(offset, bit);
                    }
                }
            }
            read = read | field.span.mask();
        }
        let filled = self.system.complete(word);
        if (filled ^ word) & read != Wide::ZERO {
            let failed = self.rules().iter().find(|rule| {
                // The checks that cannot be met by filling in bits of their own.
                !rule.holds(word) && (rule.bits() & !read).is_zero()
            });
            let check = failed.map_or("its checks".to_owned(), |rule| rule.name().to_owned());
            return Err(ComposeErrorKind::ChecksCannotHold { check }.into());
        }
        Ok(Capture::from_wide(filled, self.length()).expect("a layout has 1 to 256 bits"))
    }
}

/// Why values cannot be composed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(transparent)]
pub struct ComposeError(#[from] ComposeErrorKind);

impl ComposeError {
    /// Which mistake it is.
    pub fn kind(&self) -> &ComposeErrorKind {
        &self.0
    }
}

/// The mistakes composing can meet.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ComposeErrorKind {
    /// A field without a value.
    #[error("no value for {role:?}: add {role}=…")]
    Missing {
        /// The field.
        role: String,
    },
    /// A field with two values.
    #[error("{role:?} is given twice")]
    Twice {
        /// The field.
        role: String,
    },
    /// A value for a field the layout does not have.
    #[error("there is no field {role:?}: the layout has {}", known.join(", "))]
    NoSuchField {
        /// The name given.
        role: String,
        /// The fields there are.
        known: Vec<String>,
    },
    /// A value that does not fit.
    #[error("{value} does not fit {role:?}: the largest value is {largest}")]
    TooLarge {
        /// The field.
        role: String,
        /// The value.
        value: String,
        /// The largest that fits.
        largest: String,
    },
    /// The layout's checks restrict its fields, and these values break one.
    #[error("no card of this layout can carry these values: {check} would fail")]
    ChecksCannotHold {
        /// The check.
        check: String,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::Decode;
    use crate::layout::builtin;
    use proptest::prelude::*;

    /// Two checks that cover each other leave a bit of neither to be filled in.
    #[test]
    fn bits_that_nobody_reads_let_checks_hold() {
        let text = "[[layout]]\nid = \"a\"\ntitle = \"a\"\nlength = 6\nbasis = \"invented\"\n\
                    [[layout.field]]\nrole = \"card\"\nspan = \"1-3\"\n\
                    [[layout.check]]\nkind = \"even\"\nbit = 5\nover = \"1-3,6\"\n\
                    [[layout.check]]\nkind = \"even\"\nbit = 6\nover = \"4,5\"\n";
        let table = crate::layout::Table::from_toml(text).unwrap();
        let layout = &table.layouts()[0];
        for card in 0..8 {
            let values = [("card", Value::Number(card))];
            let word = layout.compose(values).unwrap();
            let decode = Decode { layout, word };
            assert!(decode.holds());
            assert_eq!(decode.card(), Some(Value::Number(card)));
        }
    }

    proptest! {
        /// What is composed decodes to the values it was composed of, every
        /// rule holds, and composing those values again makes the same word.
        #[test]
        fn decoding_inverts_composing(which in any::<prop::sample::Index>(), words: [u64; 4]) {
            let layout = which.get(builtin().layouts());
            // Values that the checks allow, where a check fixes bits of a field.
            let any = layout.system().complete(Wide(words));
            let any = Capture::from_wide(any, layout.length()).unwrap();
            let values: Vec<(&str, Value)> = Decode { layout, word: any }
                .fields()
                .map(|(role, value)| (role, match value {
                    // A digit that is none becomes one.
                    Value::Digits(digits) => Value::Digits(digits.replace('?', "7")),
                    number => number,
                }))
                .collect();
            let word = layout.compose(values.clone()).unwrap();
            let decode = Decode { layout, word };
            prop_assert!(decode.holds());
            prop_assert_eq!(decode.fields().collect::<Vec<_>>(), values.clone());
            prop_assert_eq!(layout.compose(values).unwrap(), word);
        }
    }
}
