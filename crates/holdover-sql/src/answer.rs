//! `card_answer(bits, fit, reader, mask)`: what each capture is, by a fit.
//!
//! A struct of what `holdover read --format csv` writes: `verdict`, `layout`,
//! `reading`, `site`, `card`, `probability`, `note`. A row that is no capture is null
//! but for its note; a null is null. `reader` is needed where the fit has several
//! readers: the wiring of each is its own. The last two arguments are told by their
//! kinds: text is the reader, a Boolean says whether to mask.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use datafusion::arrow::array::{
    Array, ArrayRef, BinaryViewArray, Float64Array, StringViewBuilder, StructArray, UInt32Array,
};
use datafusion::arrow::compute::take;
use datafusion::arrow::datatypes::{DataType, Field, Fields};
use datafusion::common::ScalarValue;
use datafusion::common::cast::as_binary_view_array;
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarFunctionArgs, ScalarUDFImpl, Signature};
use holdover::bits::Wide;
use holdover::say::{Cells, Text};

use crate::bits::{self, Read};
use crate::fit::reader;
use crate::fitted::{self, Answering, Shown};
use crate::given::wrong;
use crate::literal;

/// The function.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct CardAnswer {
    signature: Signature,
}

impl Default for CardAnswer {
    fn default() -> CardAnswer {
        CardAnswer { signature: literal::signature(&["bits", "fit", "mask", "reader"]) }
    }
}

/// What an answer has.
fn fields() -> Fields {
    let text = |name: &str| Field::new(name, DataType::Utf8View, true);
    let probability = Field::new("probability", DataType::Float64, true);
    let texts = ["verdict", "layout", "reading", "site", "card"].map(text);
    texts.into_iter().chain([probability, text("note")]).collect()
}

impl ScalarUDFImpl for CardAnswer {
    fn name(&self) -> &str {
        "card_answer"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, types: &[DataType]) -> Result<Vec<DataType>> {
        if !(2..=4).contains(&types.len()) {
            return Err(wrong(
                "card_answer takes bits, a fit, and perhaps a reader and a mask: \
                              card_answer(bits, fit, door)",
            ));
        }
        let each = types.iter().enumerate().map(|(i, kind)| match (i, kind) {
            (
                1,
                DataType::Binary | DataType::LargeBinary | DataType::BinaryView | DataType::Null,
            ) => Ok(DataType::BinaryView),
            (1, kind) => {
                Err(wrong(format!("card_answer: argument 2 is {kind}: give what card_fit gave")))
            }
            (2.., DataType::Boolean) => Ok(DataType::Boolean),
            (_, kind) => literal::text("card_answer", i, kind),
        });
        each.collect()
    }

    fn return_type(&self, _: &[DataType]) -> Result<DataType> {
        Ok(DataType::Struct(fields()))
    }

    fn invoke_with_args(&self, args: ScalarFunctionArgs) -> Result<ColumnarValue> {
        let rows = args.number_rows;
        let (mut readers, mut mask) = (None, false);
        for argument in &args.args[2..] {
            match argument {
                ColumnarValue::Scalar(ScalarValue::Boolean(value)) => mask = value.unwrap_or(true),
                ColumnarValue::Array(array) if array.data_type() == &DataType::Boolean => {
                    return Err(wrong(
                        "card_answer: mask differs from row to row: give a constant",
                    ));
                }
                argument => readers = Some(bits::column(&argument.to_array(rows)?)?),
            }
        }
        let text = bits::column(&args.args[0].to_array(rows)?)?;
        let mut answers = Answers::new(rows, mask);
        let mut fits = Fits::new(&args.args[1], rows, mask)?;
        for row in 0..rows {
            let Some(text) = bits::at(&text, row) else {
                answers.nothing();
                continue;
            };
            match (bits::read(text), fits.at(row)?) {
                (Err(why), _) => answers.wrong(why),
                (Ok(_), None) => answers.wrong("no fit for this row".to_owned()),
                (Ok(read), Some(fit)) => {
                    let name = readers.as_ref().map(|_| reader(readers.as_ref(), row));
                    answers.answer(fit, name, &read)?;
                }
            }
        }
        let nulls = text.nulls().cloned();
        let columns = answers.columns()?;
        Ok(ColumnarValue::Array(Arc::new(StructArray::try_new(fields(), columns, nulls)?)))
    }
}

/// The fits of a block, each looked for once.
struct Fits {
    array: BinaryViewArray,
    /// The same for all rows.
    scalar: bool,
    mask: bool,
    /// By view: where the bytes are, not what they are.
    by_view: HashMap<u128, usize>,
    /// The view of the row before.
    last: Option<(u128, usize)>,
    fits: Vec<Answering>,
}

impl Fits {
    fn new(argument: &ColumnarValue, rows: usize, mask: bool) -> Result<Fits> {
        let scalar = matches!(argument, ColumnarValue::Scalar(_));
        let array = argument.to_array(if scalar { 1 } else { rows })?;
        let array = as_binary_view_array(&array)?.clone();
        let (by_view, fits) = (HashMap::new(), Vec::new());
        Ok(Fits { array, scalar, mask, by_view, last: None, fits })
    }

    /// That of a row; none where it is null.
    #[inline]
    fn at(&mut self, row: usize) -> Result<Option<&mut Answering>> {
        let row = if self.scalar { 0 } else { row };
        if self.array.is_null(row) {
            return Ok(None);
        }
        let view = self.array.views()[row];
        let number = match self.last {
            Some((last, number)) if last == view => number,
            _ => self.find(view, row)?,
        };
        self.last = Some((view, number));
        Ok(self.fits.get_mut(number))
    }

    fn find(&mut self, view: u128, row: usize) -> Result<usize> {
        if let Some(number) = self.by_view.get(&view) {
            return Ok(*number);
        }
        let fitted = fitted::of(self.array.value(row))?;
        let same = self.fits.iter().position(|other| Arc::ptr_eq(&other.fitted, &fitted));
        let number = same.unwrap_or(self.fits.len());
        if same.is_none() {
            self.fits.push(fitted.answering(self.mask));
        }
        self.by_view.insert(view, number);
        Ok(number)
    }
}

/// What is said of the rows of a block.
struct Answers {
    shown: Shown,
    /// The cells of each row.
    numbers: Vec<u32>,
    captures: Vec<Wide>,
    mask: bool,
}

impl Answers {
    fn new(rows: usize, mask: bool) -> Answers {
        static BLOCKS: AtomicU64 = AtomicU64::new(1);
        let block = BLOCKS.fetch_add(1, Ordering::Relaxed);
        Answers {
            shown: Shown { block, cells: Vec::new() },
            numbers: Vec::with_capacity(rows),
            captures: Vec::with_capacity(rows),
            mask,
        }
    }

    fn push(&mut self, number: u32, capture: Wide) {
        self.numbers.push(number);
        self.captures.push(capture);
    }

    fn answer(&mut self, fit: &mut Answering, reader: Option<&str>, read: &Read) -> Result<()> {
        let number = fit.answer(reader, read, &mut self.shown)?;
        self.push(number, read.capture.wide());
        Ok(())
    }

    fn wrong(&mut self, why: String) {
        // The reason may quote the row.
        let why = if self.mask { "no capture; leave out mask to see why".to_owned() } else { why };
        let number = self.shown.add(Err(why));
        self.push(number, Wide::ZERO);
    }

    fn nothing(&mut self) {
        let number = self.shown.add(Err(String::new()));
        self.push(number, Wide::ZERO);
    }

    fn columns(self) -> Result<Vec<ArrayRef>> {
        let numbers = UInt32Array::from(self.numbers.clone());
        let of = |get: fn(&Cells) -> Option<Cell<'_>>| self.column(&numbers, get);
        let probability: Float64Array = self
            .shown
            .cells
            .iter()
            .map(|cells| cells.as_ref().ok().and_then(|cells| cells.probability))
            .collect();
        let notes = self.column_with(&numbers, |cells| match cells {
            Ok(cells) => Some(Cell::Text(&cells.note)),
            Err(why) => Some(Cell::Fixed(why)),
        })?;
        Ok(vec![
            of(|cells| Some(Cell::Fixed(cells.verdict.name())))?,
            of(|cells| cells.layout.as_deref().map(Cell::Fixed))?,
            of(|cells| cells.reading.map(|reading| Cell::Fixed(reading.name())))?,
            of(|cells| cells.site.as_ref().map(Cell::Text))?,
            of(|cells| cells.card.as_ref().map(Cell::Text))?,
            take(&probability, &numbers, None)?,
            notes,
        ])
    }

    fn column(
        &self,
        numbers: &UInt32Array,
        get: fn(&Cells) -> Option<Cell<'_>>,
    ) -> Result<ArrayRef> {
        self.column_with(numbers, |cells| cells.as_ref().ok().and_then(|cells| get(cells)))
    }

    /// A column of text: what is the same for all rows of the same cells is written
    /// once, and the rows point at it.
    fn column_with<'a>(
        &'a self,
        numbers: &UInt32Array,
        get: impl Fn(&'a std::result::Result<Arc<Cells>, String>) -> Option<Cell<'a>>,
    ) -> Result<ArrayRef> {
        let cells: Vec<Option<Cell<'a>>> = self.shown.cells.iter().map(get).collect();
        let fixed = |cell: &Cell<'a>| match cell {
            Cell::Fixed(text) => Some(*text),
            Cell::Text(text) => text.same(),
        };
        let named = |text: &&str| !text.is_empty();
        if cells.iter().flatten().all(|cell| fixed(cell).is_some()) {
            let mut once = StringViewBuilder::with_capacity(cells.len());
            for cell in &cells {
                once.append_option(cell.as_ref().and_then(fixed).filter(named));
            }
            return Ok(take(&once.finish(), numbers, None)?);
        }
        let mut out = StringViewBuilder::with_capacity(self.numbers.len());
        let mut room = String::new();
        for (number, capture) in self.numbers.iter().zip(&self.captures) {
            match &cells[*number as usize] {
                None => out.append_null(),
                Some(Cell::Fixed(text)) => out.append_option(Some(*text).filter(named)),
                Some(Cell::Text(text)) => {
                    room.clear();
                    text.write(*capture, &mut room);
                    out.append_option(Some(&room[..]).filter(named));
                }
            }
        }
        Ok(Arc::new(out.finish()))
    }
}

/// The text of a cell.
enum Cell<'a> {
    Fixed(&'a str),
    Text(&'a Text),
}
