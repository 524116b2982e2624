//! Tables as files: what is written reads back equal.

use std::fmt::Write;

use super::{Check, Code, Layout, Part, Table};

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
        for field in &spec.fields {
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
        }
        for check in &spec.checks {
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
        }
        out
    }
}
