//! Tables as files: what is written reads back equal.

use std::fmt::Write;

use super::{Check, Code, Layout, Part, Table, Unsettled};

impl Table {
    /// The table as a file.
    ///
    /// Law: reading it back gives an equal table.
    pub fn to_toml(&self) -> String {
        let texts: Vec<String> = self.layouts().iter().map(Layout::to_toml).collect();
        texts.join("\n")
    }
}

impl Layout {
    /// The layout as its `[[layout]]` part of a table file.
    pub fn to_toml(&self) -> String {
        let spec = self.spec();
        let mut out = String::from("[[layout]]\n");
        let text = |s: &str| toml::Value::from(s).to_string();
        let mut put = |line: std::fmt::Arguments<'_>| {
            out.write_fmt(line).expect("writing to a string does not fail");
            out.push('\n');
        };
        put(format_args!("id = {}", text(&spec.id)));
        put(format_args!("title = {}", text(&spec.title)));
        put(format_args!("length = {}", spec.length));
        put(format_args!("basis = {}", text(&spec.basis)));
        if spec.weight != 1.0 {
            put(format_args!("weight = {:?}", spec.weight));
        }
        for (index, field) in spec.fields.iter().enumerate() {
            put(format_args!("\n[[layout.field]]"));
            put(format_args!("role = {}", text(field.role.name())));
            put(format_args!("span = \"{}\"", field.span));
            if field.code != Code::Binary {
                put(format_args!("code = \"{}\"", field.code.name()));
            }
            match field.part_of {
                Some(Part::Site) => put(format_args!("part_of = \"site\"")),
                Some(Part::Card) => put(format_args!("part_of = \"card\"")),
                None => {}
            }
            if field.serial {
                put(format_args!("serial = true"));
            }
            if field.print.factor != 1 {
                put(format_args!("factor = {}", field.print.factor));
            }
            if field.print.offset != 0 {
                put(format_args!("offset = {}", field.print.offset));
            }
            put_open(self.unsettled_field(index), &mut put);
        }
        for (index, check) in spec.checks.iter().enumerate() {
            put(format_args!("\n[[layout.check]]\nkind = \"{}\"", check.kind()));
            match check {
                Check::Parity { bit, over, .. } => {
                    put(format_args!("bit = {bit}\nover = \"{over}\""));
                }
                Check::Fixed { span, value } => {
                    put(format_args!("span = \"{span}\""));
                    match i64::try_from(*value) {
                        Ok(_) => put(format_args!("value = 0b{value:0w$b}", w = span.len())),
                        Err(_) => put(format_args!("value = \"0x{value:X}\"")),
                    }
                }
                Check::Lrc { group, over, at } => {
                    put(format_args!("group = {group}\nover = \"{over}\"\nat = \"{at}\""));
                }
            }
            put_open(self.unsettled_check(index), &mut put);
        }
        out
    }
}

/// What is open about a part.
fn put_open(open: Option<&Unsettled>, put: &mut impl FnMut(std::fmt::Arguments<'_>)) {
    let Some(open) = open else { return };
    put(format_args!("settled = false"));
    if let Some(span) = &open.open {
        put(format_args!("open = \"{span}\""));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bits::{Position, Span};
    use crate::layout::{Field, LayoutSpec, PlaceIn, PrintRule, Role};
    use proptest::prelude::*;

    /// Layouts of up to three fields and a check; those that cannot be are none.
    fn layouts() -> impl Strategy<Value = Option<Layout>> {
        let ends = || (1usize..=64, 1usize..=64);
        let spans = proptest::collection::vec(ends(), 1..=3);
        let texts = ("\\PC{0,12}", "[ -~\"\\\\\n\t]{1,12}");
        let codes = proptest::collection::vec(0usize..3, 3);
        (spans, ends(), texts, codes, 0.001f64..1e6, 0usize..4, 0usize..4).prop_map(
            |(spans, over, (title, basis), codes, weight, kind, sure)| {
                let span = |(a, b): (usize, usize)| format!("{a}-{b}").parse::<Span>().ok();
                let roles = ["card", "site", "issue"];
                let rules = [(1, 0), (2, 1), (1, -40), (1000, i64::MIN)];
                let (factor, offset) = rules[kind];
                let fields =
                    spans.into_iter().zip(roles).zip(codes).filter_map(|((ends, role), code)| {
                        let code = [Code::Binary, Code::Bcd4, Code::Bcd5][code];
                        let print = match role {
                            "card" => PrintRule { factor, offset },
                            _ => PrintRule::default(),
                        };
                        Some(Field { code, print, ..Field::binary(Role::new(role), span(ends)?) })
                    });
                let over = span(over)?;
                let checks = match kind {
                    0 => vec![],
                    1 => vec![Check::Fixed { value: 1, span: over }],
                    2 => vec![Check::Lrc { group: 1, over, at: span((65, 65))? }],
                    _ => vec![Check::Parity { odd: true, bit: Position::new(66)?, over }],
                };
                let (id, length) = ("a".to_owned(), 66);
                let fields = fields.collect();
                let mut unsettled = Vec::new();
                if sure & 1 == 1 && !checks.is_empty() {
                    unsettled.push(Unsettled { part: PlaceIn::Check(0), open: span((2, 9)) });
                }
                if sure & 2 == 2 {
                    unsettled.push(Unsettled { part: PlaceIn::Field(0), open: None });
                }
                let spec =
                    LayoutSpec { id, title, length, basis, weight, fields, checks, unsettled };
                Layout::new(spec).ok()
            },
        )
    }

    proptest! {
        #[test]
        fn written_tables_read_back(layout in layouts()) {
            let Some(layout) = layout else { return Ok(()) };
            let table = Table::new([layout]).unwrap();
            let text = table.to_toml();
            let again = Table::from_toml(&text).map_err(|e| TestCaseError::fail(format!("{e}\n{text}")))?;
            prop_assert_eq!(again.to_toml(), text);
            prop_assert_eq!(again, table);
        }
    }
}
