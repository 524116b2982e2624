//! `card_decode(bits, layout, table)`: the fields and checks of one layout.
//!
//! A struct of the layout's fields, each as narrow as its values, `holds` (whether
//! all checks hold), the checks by their names, and `note`: where a row is no
//! capture of the layout's length, why, and all else is null. A null is null.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use datafusion::arrow::array::{
    Array, ArrayRef, BooleanArray, FixedSizeBinaryArray, StringViewBuilder, StructArray,
    UInt8Array, UInt16Array, UInt32Array, UInt64Array,
};
use datafusion::arrow::buffer::{BooleanBuffer, Buffer, NullBuffer};
use datafusion::arrow::datatypes::{DataType, Field, FieldRef, Fields};
use datafusion::error::Result;
use datafusion::logical_expr::simplify::{ExprSimplifyResult, SimplifyContext};
use datafusion::logical_expr::{
    ColumnarValue, Expr, ReturnFieldArgs, ScalarFunctionArgs, ScalarUDFImpl, Signature,
};
use holdover::bits::Wide;
use holdover::decode::{ColumnDecoder, DecodedColumns, Decoder, Numbers, Reading};

use crate::given::{self, wrong};
use crate::{bits, literal};

/// The function.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct CardDecode {
    signature: Signature,
}

impl Default for CardDecode {
    fn default() -> CardDecode {
        CardDecode { signature: literal::signature(&["bits", "layout", "table"]) }
    }
}

impl ScalarUDFImpl for CardDecode {
    fn name(&self) -> &str {
        "card_decode"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, types: &[DataType]) -> Result<Vec<DataType>> {
        if !(2..=3).contains(&types.len()) {
            return Err(wrong(
                "card_decode takes bits, a layout and perhaps a table: \
                              card_decode(bits, 'std26')",
            ));
        }
        literal::texts("card_decode", types)
    }

    fn return_type(&self, _: &[DataType]) -> Result<DataType> {
        Err(wrong(CONSTANT))
    }

    fn return_field_from_args(&self, args: ReturnFieldArgs) -> Result<FieldRef> {
        let id = literal::of(args.scalar_arguments, 1)?.ok_or_else(|| wrong(CONSTANT))?;
        let table = literal::of(args.scalar_arguments, 2)?.unwrap_or_default();
        let columns = columns(&id, &table)?;
        Ok(Arc::new(Field::new(self.name(), DataType::Struct(columns.fields.clone()), true)))
    }

    /// Whoever plans the query has the file; whoever runs it may not.
    fn simplify(&self, args: Vec<Expr>, _: &SimplifyContext) -> Result<ExprSimplifyResult> {
        literal::in_text(args, &[2]).map(ExprSimplifyResult::Original)
    }

    fn invoke_with_args(&self, args: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let id = literal::value(&args.args, 1)?.ok_or_else(|| wrong(CONSTANT))?;
        let table = literal::value(&args.args, 2)?.unwrap_or_default();
        let columns = columns(&id, &table)?;
        let array = args.args[0].to_array(args.number_rows)?;
        Ok(ColumnarValue::Array(Arc::new(columns.decode(&array)?)))
    }
}

const CONSTANT: &str = "card_decode: give the layout and the table as text constants: \
                        card_decode(bits, 'std26')";

/// The columns that come of one layout.
struct Columns {
    decoder: ColumnDecoder,
    fields: Fields,
}

/// Those of a layout, made once.
fn columns(id: &str, table: &str) -> Result<Arc<Columns>> {
    type Known = HashMap<(String, String), Arc<Columns>>;
    static KNOWN: Mutex<Option<Known>> = Mutex::new(None);
    let key = (given::text(table)?, id.to_owned());
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    let known = known.get_or_insert_default();
    if let Some(columns) = known.get(&key) {
        return Ok(columns.clone());
    }
    let table = given::table(table)?;
    let layout = given::layout(table, id)?;
    let decoder = Decoder::new(table, layout.length(), &[Reading::AsCaptured]);
    let view = decoder.views().iter().find(|view| decoder.layout(view).id() == id);
    let view = view.ok_or_else(|| wrong(format!("card_decode: no layout '{id}'")))?;
    let decoder = decoder.narrow(view);
    let fields = fields(&decoder)?;
    let columns = Arc::new(Columns { decoder, fields });
    known.insert(key, columns.clone());
    Ok(columns)
}

fn fields(decoder: &ColumnDecoder) -> Result<Fields> {
    let kinds = decoder.room(0).fields;
    let numbers = decoder.fields().zip(&kinds).map(|(name, numbers)| {
        let kind = match numbers {
            Numbers::U8(_) => DataType::UInt8,
            Numbers::U16(_) => DataType::UInt16,
            Numbers::U32(_) => DataType::UInt32,
            Numbers::U64(_) => DataType::UInt64,
            Numbers::Bytes { width, .. } => DataType::FixedSizeBinary(*width as i32),
            Numbers::Digits { .. } => DataType::Utf8View,
        };
        Field::new(name, kind, true)
    });
    let checks = decoder.checks().map(|name| Field::new(name, DataType::Boolean, true));
    let fields: Vec<Field> = numbers
        .chain([Field::new("holds", DataType::Boolean, true)])
        .chain(checks)
        .chain([Field::new("note", DataType::Utf8View, true)])
        .collect();
    for (i, field) in fields.iter().enumerate() {
        if fields[..i].iter().any(|before| before.name() == field.name()) {
            let name = field.name();
            return Err(wrong(format!(
                "card_decode: the layout has two columns '{name}': give its field another role"
            )));
        }
    }
    Ok(fields.into())
}

impl Columns {
    fn decode(&self, array: &ArrayRef) -> Result<StructArray> {
        let text = bits::column(array)?;
        let (rows, length) = (text.len(), self.decoder.length());
        let mut captures = vec![Wide::ZERO; rows];
        let mut valid = vec![false; rows];
        let mut notes = StringViewBuilder::with_capacity(rows);
        for row in 0..rows {
            let Some(text) = bits::at(&text, row) else {
                notes.append_null();
                continue;
            };
            match bits::read(text) {
                Ok(read) if read.capture.len() == length => {
                    captures[row] = read.capture.wide();
                    valid[row] = true;
                    notes.append_option(read.assumed);
                }
                Ok(read) => notes
                    .append_value(format!("expected {length} bits, found {}", read.capture.len())),
                Err(why) => notes.append_value(why),
            }
        }
        let mut decoded = self.decoder.room(rows);
        for part in &mut decoded.parts(rows) {
            match length {
                ..=64 => {
                    let words: Vec<u64> = captures.iter().map(|wide| wide.0[0]).collect();
                    let align = holdover::decode::Align::Left;
                    self.decoder
                        .fill::<false, u64>(&words, align, part)
                        .map_err(|error| wrong(error.to_string()))?;
                }
                _ => self.decoder.fill_wide(&captures, part),
            }
        }
        let nulls = NullBuffer::new(BooleanBuffer::from(valid));
        let mut arrays = arrays(decoded, rows, &nulls)?;
        arrays.push(Arc::new(notes.finish()));
        Ok(StructArray::try_new(self.fields.clone(), arrays, text.nulls().cloned())?)
    }
}

/// The columns decoded, null where there is no capture.
fn arrays(decoded: DecodedColumns, rows: usize, nulls: &NullBuffer) -> Result<Vec<ArrayRef>> {
    let nulls = || Some(nulls.clone());
    let mut arrays: Vec<ArrayRef> = Vec::new();
    for numbers in decoded.fields {
        arrays.push(match numbers {
            Numbers::U8(column) => Arc::new(UInt8Array::new(column.into(), nulls())),
            Numbers::U16(column) => Arc::new(UInt16Array::new(column.into(), nulls())),
            Numbers::U32(column) => Arc::new(UInt32Array::new(column.into(), nulls())),
            Numbers::U64(column) => Arc::new(UInt64Array::new(column.into(), nulls())),
            Numbers::Bytes { width, bytes } => {
                let bytes = Buffer::from_vec(bytes);
                Arc::new(FixedSizeBinaryArray::try_new(width as i32, bytes, nulls())?)
            }
            Numbers::Digits { width, digits } => {
                let mut text = StringViewBuilder::with_capacity(rows);
                let each = digits.chunks(width.max(1)).map(std::str::from_utf8);
                for (row, digits) in each.enumerate() {
                    let digits = digits.ok().filter(|_| nulls().is_some_and(|n| n.is_valid(row)));
                    text.append_option(digits);
                }
                Arc::new(text.finish())
            }
        });
    }
    let mut holds = BooleanBuffer::new_set(rows);
    let checks: Vec<BooleanBuffer> = decoded.checks.into_iter().map(BooleanBuffer::from).collect();
    checks.iter().for_each(|check| holds = &holds & check);
    for column in [holds].into_iter().chain(checks) {
        arrays.push(Arc::new(BooleanArray::new(column, nulls())));
    }
    Ok(arrays)
}
