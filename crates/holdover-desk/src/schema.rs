//! The JSON Schema files (draft 2020-12) of what is printed with
//! `--format json`: one for each type of [`answer`](crate::answer) that is a
//! whole line. They are in `schema/` beside this crate's sources, and in here.

use schemars::{JsonSchema, Schema, schema_for};

use crate::SCHEMA;
use crate::answer::{Composed, Layout, Learned, Plan, Proof, Read};

/// Name and text of every file, as it is in `schema/`.
pub const FILES: [(&str, &str); 6] = [
    ("read", include_str!("../schema/read.json")),
    ("learn", include_str!("../schema/learn.json")),
    ("plan", include_str!("../schema/plan.json")),
    ("prove", include_str!("../schema/prove.json")),
    ("compose", include_str!("../schema/compose.json")),
    ("layout", include_str!("../schema/layout.json")),
];

/// Name and text of every file, made of the types anew.
pub fn generated() -> [(&'static str, String); 6] {
    [
        ("read", text::<Read>()),
        ("learn", text::<Learned>()),
        ("plan", text::<Plan>()),
        ("prove", text::<Proof>()),
        ("compose", text::<Composed>()),
        ("layout", text::<Layout>()),
    ]
}

fn text<T: JsonSchema>() -> String {
    let mut schema: Schema = schema_for!(T);
    schema.insert("$comment".to_owned(), format!("schema {SCHEMA}").into());
    format!("{:#}\n", schema.to_value())
}
