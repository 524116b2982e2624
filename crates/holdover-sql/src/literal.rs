//! Arguments of the functions: text columns, and constants among them.

use datafusion::arrow::datatypes::DataType;
use datafusion::common::ScalarValue;
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, Expr, Signature, Volatility, lit};

use crate::given::{self, wrong};

/// A signature of these names, the last of which may be left out.
pub fn signature(names: &[&str]) -> Signature {
    let signature = Signature::user_defined(Volatility::Immutable);
    signature.with_parameter_names(names.to_vec()).expect("names differ")
}

fn is_text(kind: &DataType) -> bool {
    matches!(kind, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View)
}

/// The kinds that arguments are taken as, all of them text.
///
/// # Errors
/// One is no text.
pub fn texts(function: &str, kinds: &[DataType]) -> Result<Vec<DataType>> {
    kinds.iter().enumerate().map(|(i, kind)| text(function, i, kind)).collect()
}

/// The same of one argument.
///
/// # Errors
/// It is no text.
pub fn text(function: &str, i: usize, kind: &DataType) -> Result<DataType> {
    match kind {
        // Constants stay what they are, so that they are still seen to be constants.
        kind if is_text(kind) => Ok(kind.clone()),
        DataType::Null => Ok(DataType::Utf8View),
        DataType::Dictionary(_, value) if is_text(value) => Ok(DataType::Utf8View),
        kind => Err(wrong(format!(
            "{function}: argument {} is {kind}: give text; of bits read as a number, the zeros in \
             front are lost already",
            i + 1
        ))),
    }
}

/// A text constant among arguments of a plan; none where it is left out or null.
///
/// # Errors
/// It is no constant.
pub fn of(arguments: &[Option<&ScalarValue>], i: usize) -> Result<Option<String>> {
    match arguments.get(i) {
        None => Ok(None),
        Some(None) => {
            Err(wrong(format!("argument {} differs from row to row: give a constant", i + 1)))
        }
        Some(Some(value)) => Ok(value.try_as_str().flatten().map(str::to_owned)),
    }
}

/// The same among arguments of a run.
///
/// # Errors
/// It is no constant.
pub fn value(arguments: &[ColumnarValue], i: usize) -> Result<Option<String>> {
    let scalars: Vec<Option<&ScalarValue>> = arguments
        .iter()
        .map(|argument| match argument {
            ColumnarValue::Scalar(value) => Some(value),
            ColumnarValue::Array(_) => None,
        })
        .collect();
    of(&scalars, i)
}

/// Arguments of which these, where they are paths, are the texts of the files.
///
/// # Errors
/// A file cannot be read.
pub fn in_text(mut arguments: Vec<Expr>, which: &[usize]) -> Result<Vec<Expr>> {
    for i in which {
        if let Some(Expr::Literal(value, _)) = arguments.get(*i)
            && let Some(given) = value.try_as_str().flatten()
        {
            let text = given::text(given)?;
            if text != given {
                arguments[*i] = lit(text);
            }
        }
    }
    Ok(arguments)
}
