//! Layouts as objects, keys as in the table file: what plans and programs
//! carry. What is written reads back equal; an inconsistent one is refused.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use super::{Check, Code, Field, Layout, LayoutSpec, Part, PlaceIn, PrintRule, Role, Unsettled};
use crate::bits::{Position, Span};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Wire {
    id: String,
    #[serde(default)]
    title: String,
    length: usize,
    basis: String,
    #[serde(default = "usual", skip_serializing_if = "is_usual")]
    weight: f64,
    #[serde(default)]
    field: Vec<WireField>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    check: Vec<WireRule>,
}

fn usual() -> f64 {
    1.0
}

fn is_usual(weight: &f64) -> bool {
    *weight == 1.0
}

fn is_false(flag: &bool) -> bool {
    !flag
}

fn once() -> u64 {
    1
}

fn is_once(factor: &u64) -> bool {
    *factor == 1
}

fn is_zero(offset: &i64) -> bool {
    *offset == 0
}

fn yes() -> bool {
    true
}

fn is_true(flag: &bool) -> bool {
    *flag
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct WireField {
    role: String,
    span: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    code: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    part_of: Option<String>,
    #[serde(default, skip_serializing_if = "is_false")]
    serial: bool,
    #[serde(default = "once", skip_serializing_if = "is_once")]
    factor: u64,
    #[serde(default, skip_serializing_if = "is_zero")]
    offset: i64,
    #[serde(default = "yes", skip_serializing_if = "is_true")]
    settled: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    open: Option<String>,
}

/// A check of a layout, and whether it is settled. What is no key of its own
/// is left to the check, which refuses what it does not know.
#[derive(Serialize, Deserialize)]
struct WireRule {
    #[serde(flatten)]
    check: WireCheck,
    #[serde(default = "yes", skip_serializing_if = "is_true")]
    settled: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    open: Option<String>,
}

/// A check as an object.
#[derive(Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub(crate) enum WireCheck {
    Even { bit: usize, over: String },
    Odd { bit: usize, over: String },
    Fixed { span: String, value: WireNumber },
    Lrc { group: usize, over: String, at: String },
}

/// A number, as text where a signed number of 64 bits cannot hold it.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
pub(crate) enum WireNumber {
    Small(i64),
    Large(String),
}

impl From<&Check> for WireCheck {
    fn from(check: &Check) -> WireCheck {
        match check {
            Check::Parity { odd: false, bit, over } => {
                WireCheck::Even { bit: bit.from_one(), over: over.to_string() }
            }
            Check::Parity { odd: true, bit, over } => {
                WireCheck::Odd { bit: bit.from_one(), over: over.to_string() }
            }
            Check::Fixed { span, value } => WireCheck::Fixed {
                span: span.to_string(),
                value: match i64::try_from(*value) {
                    Ok(small) => WireNumber::Small(small),
                    Err(_) => WireNumber::Large(format!("0x{value:X}")),
                },
            },
            Check::Lrc { group, over, at } => {
                WireCheck::Lrc { group: *group, over: over.to_string(), at: at.to_string() }
            }
        }
    }
}

impl Serialize for Layout {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let spec = self.spec();
        let open = |unsettled: Option<&Unsettled>| {
            let span = unsettled.and_then(|unsettled| unsettled.open.as_ref());
            (unsettled.is_none(), span.map(Span::to_string))
        };
        let field = |(index, field): (usize, &Field)| {
            let (settled, open) = open(self.unsettled_field(index));
            WireField { settled, open, ..WireField::of(field) }
        };
        let rule = |(index, check): (usize, &Check)| {
            let (settled, open) = open(self.unsettled_check(index));
            WireRule { check: WireCheck::from(check), settled, open }
        };
        let wire = Wire {
            id: spec.id.clone(),
            title: spec.title.clone(),
            length: spec.length,
            basis: spec.basis.clone(),
            weight: spec.weight,
            field: spec.fields.iter().enumerate().map(field).collect(),
            check: spec.checks.iter().enumerate().map(rule).collect(),
        };
        wire.serialize(serializer)
    }
}

impl WireField {
    /// A settled field.
    fn of(field: &Field) -> WireField {
        WireField {
            role: field.role.name().to_owned(),
            span: field.span.to_string(),
            code: (field.code != Code::Binary).then(|| field.code.name().to_owned()),
            part_of: field.part_of.map(|part| match part {
                Part::Site => "site".to_owned(),
                Part::Card => "card".to_owned(),
            }),
            serial: field.serial,
            factor: field.print.factor,
            offset: field.print.offset,
            settled: true,
            open: None,
        }
    }
}

impl<'de> Deserialize<'de> for Layout {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Layout, D::Error> {
        let wire = Wire::deserialize(deserializer)?;
        let spec = spec(wire).map_err(D::Error::custom)?;
        Layout::new(spec).map_err(|e| D::Error::custom(format!("{e}: {}", e.kind().mend())))
    }
}

fn spec(wire: Wire) -> Result<LayoutSpec, String> {
    let fields = wire.field.iter().enumerate();
    let fields = fields.map(|(i, f)| unsettled(PlaceIn::Field(i), f.settled, f.open.as_deref()));
    let checks = wire.check.iter().enumerate();
    let checks = checks.map(|(i, c)| unsettled(PlaceIn::Check(i), c.settled, c.open.as_deref()));
    let unsettled = fields.chain(checks).filter_map(Result::transpose);
    Ok(LayoutSpec {
        unsettled: unsettled.collect::<Result<_, String>>()?,
        title: if wire.title.is_empty() { wire.id.clone() } else { wire.title },
        id: wire.id,
        length: wire.length,
        basis: wire.basis,
        weight: wire.weight,
        fields: wire.field.into_iter().map(field).collect::<Result<_, String>>()?,
        checks: wire.check.into_iter().map(|rule| check(rule.check)).collect::<Result<_, _>>()?,
    })
}

fn span(text: &str) -> Result<Span, String> {
    text.parse::<Span>().map_err(|e| format!("span {text:?}: {e}"))
}

fn unsettled(
    part: PlaceIn,
    settled: bool,
    open: Option<&str>,
) -> Result<Option<Unsettled>, String> {
    let open = open.map(span).transpose()?;
    if settled && let Some(open) = open {
        return Err(format!(
            "bits {open} are open, and nothing says that this is not settled: write \"settled\": \
             false beside it, or leave \"open\" out"
        ));
    }
    Ok((!settled).then_some(Unsettled { part, open }))
}

fn field(field: WireField) -> Result<Field, String> {
    Ok(Field {
        role: Role::new(&field.role),
        span: span(&field.span)?,
        code: match field.code.as_deref() {
            None | Some("binary") => Code::Binary,
            Some("bcd4") => Code::Bcd4,
            Some("bcd5") => Code::Bcd5,
            Some(other) => return Err(format!("code {other:?} is not known")),
        },
        part_of: match field.part_of.as_deref() {
            None => None,
            Some("site") => Some(Part::Site),
            Some("card") => Some(Part::Card),
            Some(other) => return Err(format!("part_of {other:?} is not known")),
        },
        serial: field.serial,
        print: PrintRule { factor: field.factor, offset: field.offset },
    })
}

fn check(check: WireCheck) -> Result<Check, String> {
    let bit = |bit| Position::new(bit).ok_or_else(|| format!("there is no bit {bit}"));
    let number = |number: WireNumber| match number {
        WireNumber::Small(small) => u128::try_from(small).map_err(|_| "a value below 0".to_owned()),
        WireNumber::Large(text) => {
            let digits = text.strip_prefix("0x").unwrap_or(&text);
            u128::from_str_radix(digits, 16).map_err(|_| format!("value {text:?} is no 0x number"))
        }
    };
    Ok(match check {
        WireCheck::Even { bit: at, over } => {
            Check::Parity { odd: false, bit: bit(at)?, over: span(&over)? }
        }
        WireCheck::Odd { bit: at, over } => {
            Check::Parity { odd: true, bit: bit(at)?, over: span(&over)? }
        }
        WireCheck::Fixed { span: at, value } => {
            Check::Fixed { span: span(&at)?, value: number(value)? }
        }
        WireCheck::Lrc { group, over, at } => {
            Check::Lrc { group, over: span(&over)?, at: span(&at)? }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    #[test]
    fn objects_read_back_equal() {
        for layout in builtin().layouts() {
            let text = serde_json::to_string(layout).unwrap();
            assert_eq!(&serde_json::from_str::<Layout>(&text).unwrap(), layout);
        }
        let wrong = r#"{"id":"a","length":4,"basis":"x","field":[{"role":"card","span":"1-9"}]}"#;
        let error = serde_json::from_str::<Layout>(wrong).unwrap_err().to_string();
        assert!(error.contains("bit 9 is outside the layout"), "{error}");
    }

    #[test]
    fn what_is_open_reads_back_and_nothing_else_is_let_in() {
        let text = |check: &str| {
            format!(
                r#"{{"id":"a","title":"a","length":4,"basis":"x","field":[{{"role":"card","span":"2-4","settled":false}}],"check":[{{"kind":"even","bit":1,"over":"2-4"{check}}}]}}"#
            )
        };
        let open = text(r#","settled":false,"open":"2-3""#);
        let layout: Layout = serde_json::from_str(&open).unwrap();
        assert_eq!(layout.unsettled().len(), 2);
        assert_eq!(serde_json::to_string(&layout).unwrap(), open);
        assert!(serde_json::from_str::<Layout>(&text(r#","settled":true"#)).is_ok());
        for (wrong, said) in [
            (r#","open":"2-3""#, "write \"settled\": false"),
            (r#","settled":true,"open":"2-3""#, "write \"settled\": false"),
            (r#","settled":false,"open":"2-5""#, "bit 5 is outside the layout"),
            (r#","settled":false,"open":"none""#, "span \"none\""),
            (r#","sure":false"#, "unknown field `sure`"),
            (r#","value":3"#, "unknown field `value`"),
            (r#","settled":false,"settled":false"#, "duplicate field"),
        ] {
            let error = serde_json::from_str::<Layout>(&text(wrong)).unwrap_err().to_string();
            assert!(error.contains(said), "{error}");
        }
    }
}
