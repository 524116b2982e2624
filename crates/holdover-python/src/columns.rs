//! What decoding gives: columns that numpy and Arrow look at where they are.

use std::sync::{Arc, Mutex, OnceLock};

use holdover::decode::{ColumnDecoder, DecodedColumns, Numbers, Reading};
use numpy::ndarray::{ArrayView1, ArrayView2};
use numpy::{Element, PyArray, PyArray1, PyArray2, PyArrayMethods};
use pyo3::exceptions::{PyAttributeError, PyKeyError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyCapsule, PyDict};

use crate::arrow;

/// The most bytes of columns that are kept, once nobody looks at them any more,
/// for the next captures of their layout: asking the system for memory anew
/// takes longer than decoding into it. Judgement: a table of a million rows.
const SPARE_MOST: usize = 32 << 20;

/// One view of a layout: what its columns are called, how they are filled.
pub struct Seen {
    pub restored: Option<bool>,
    pub narrow: ColumnDecoder,
    fields: Vec<String>,
    checks: Vec<String>,
    /// Columns that nobody looks at any more.
    spare: Mutex<Option<DecodedColumns>>,
}

impl Seen {
    pub fn new(restored: Option<bool>, narrow: ColumnDecoder) -> Arc<Seen> {
        let fields = narrow.fields().map(str::to_owned).collect();
        let checks = narrow.checks().map(str::to_owned).collect();
        Arc::new(Seen { restored, narrow, fields, checks, spare: Mutex::new(None) })
    }

    /// Room to decode in.
    pub fn spare(&self) -> DecodedColumns {
        self.spare.lock().ok().and_then(|mut spare| spare.take()).unwrap_or_default()
    }
}

/// Columns, and what they are of.
pub struct Decoded {
    pub rows: usize,
    seen: Arc<Seen>,
    columns: DecodedColumns,
    holds: OnceLock<Vec<bool>>,
}

impl Drop for Decoded {
    fn drop(&mut self) {
        let columns = std::mem::take(&mut self.columns);
        let digits = |column: &Numbers| match column {
            Numbers::U8(column) => column.capacity(),
            Numbers::U16(column) => 2 * column.capacity(),
            Numbers::U32(column) => 4 * column.capacity(),
            Numbers::U64(column) => 8 * column.capacity(),
            Numbers::Bytes { bytes: column, .. } | Numbers::Digits { digits: column, .. } => {
                column.capacity()
            }
        };
        let fields: usize = columns.fields.iter().map(digits).sum();
        let checks: usize = columns.checks.iter().map(Vec::capacity).sum();
        if fields + checks <= SPARE_MOST
            && let Ok(mut spare) = self.seen.spare.try_lock()
        {
            *spare = Some(columns);
        }
    }
}

/// One of the columns.
#[derive(Clone, Copy)]
pub enum Look<'a> {
    Field(&'a Numbers),
    Check(&'a [bool]),
}

impl Decoded {
    /// Decimal columns are refused where an offset of Arrow, 32 bits, could
    /// not count their digits.
    fn new(seen: &Arc<Seen>, columns: DecodedColumns, rows: usize) -> PyResult<Decoded> {
        for (name, column) in seen.fields.iter().zip(&columns.fields) {
            if let Numbers::Digits { digits, .. } = column
                && digits.len() > i32::MAX as usize
            {
                return Err(PyValueError::new_err(format!(
                    "{rows} captures are too many at once for the digits of {name:?}: take them in parts"
                )));
            }
        }
        Ok(Decoded { rows, seen: seen.clone(), columns, holds: OnceLock::new() })
    }

    fn fields(&self) -> impl Iterator<Item = (&str, &Numbers)> {
        self.seen.fields.iter().map(String::as_str).zip(&self.columns.fields)
    }

    fn checks(&self) -> impl Iterator<Item = (&str, &Vec<bool>)> {
        self.seen.checks.iter().map(String::as_str).zip(&self.columns.checks)
    }

    /// Whether all checks hold.
    fn holds(&self) -> &[bool] {
        self.holds.get_or_init(|| {
            let mut all = vec![true; self.rows];
            for check in &self.columns.checks {
                all.iter_mut().zip(check).for_each(|(all, holds)| *all &= holds);
            }
            all
        })
    }

    /// All columns: fields, then `holds`, then the checks.
    pub fn looks(&self) -> impl Iterator<Item = (&str, Look<'_>)> {
        let fields = self.fields().map(|(name, column)| (name, Look::Field(column)));
        let checks = self.checks().map(|(name, holds)| (name, Look::Check(holds)));
        fields.chain([("holds", Look::Check(self.holds()))]).chain(checks)
    }
}

/// Decoded captures of one layout, a column a field and a column a check.
///
/// `columns["card"]` is a numpy array, one value a capture, read-only since it
/// is the memory that Arrow sees as well:
///
/// * binary fields: `uint8`, `uint16`, `uint32` or `uint64`, the narrowest that
///   holds the field; of more than 64 bits, rows of bytes (`uint8`, 2-D), the
///   most significant first;
/// * decimal fields: ASCII digits with their leading zeros (`S4` for four), `?`
///   for one that is no digit;
/// * checks: `bool`, whether each holds. `holds` is all of them together.
///
/// A failed check is a value, not an error. pandas, polars and pyarrow take the
/// object as it is: `pyarrow.table(columns)`, `polars.DataFrame(columns)`,
/// `pandas.DataFrame.from_arrow(columns)`.
#[pyclass(frozen, module = "holdover")]
pub struct Columns {
    decoded: Arc<Decoded>,
    /// Id of the layout.
    #[pyo3(get)]
    layout: String,
    reading: Reading,
    /// The value given to a bit that was not caught; None where none was lost.
    #[pyo3(get)]
    restored: Option<bool>,
    /// Bits a capture has.
    #[pyo3(get)]
    length: usize,
}

impl Columns {
    /// The columns of `rows` captures.
    pub fn new(
        layout: &str,
        reading: Reading,
        seen: &Arc<Seen>,
        columns: DecodedColumns,
        rows: usize,
    ) -> PyResult<Columns> {
        let decoded = Arc::new(Decoded::new(seen, columns, rows)?);
        let (layout, length) = (layout.to_owned(), seen.narrow.length());
        Ok(Columns { decoded, layout, reading, restored: seen.restored, length })
    }

    /// The value given to a bit that was not caught.
    pub fn lost(&self) -> Option<bool> {
        self.restored
    }

    /// A numpy array on the column's own memory.
    fn array<'py>(slf: &Bound<'py, Self>, look: Look<'_>) -> PyResult<Bound<'py, PyAny>> {
        let owner = slf.as_any();
        match look {
            Look::Check(column) => lent(column, owner),
            Look::Field(Numbers::U8(column)) => lent(column, owner),
            Look::Field(Numbers::U16(column)) => lent(column, owner),
            Look::Field(Numbers::U32(column)) => lent(column, owner),
            Look::Field(Numbers::U64(column)) => lent(column, owner),
            Look::Field(Numbers::Bytes { width, bytes }) => lent_rows(bytes, *width, owner),
            Look::Field(Numbers::Digits { width, digits }) => {
                let rows = lent_rows(digits, *width, owner)?;
                let text = rows.call_method1("view", (format!("S{width}"),))?;
                text.call_method1("reshape", (-1,))
            }
        }
    }
}

#[pymethods]
impl Columns {
    /// The reading that the captures were decoded under.
    #[getter]
    fn reading(&self) -> &'static str {
        self.reading.name()
    }

    /// Names of the fields.
    #[getter]
    fn fields(&self) -> Vec<&str> {
        self.decoded.fields().map(|(name, _)| name).collect()
    }

    /// Whether each check holds, by its name: bool arrays, one value a capture.
    #[getter]
    fn checks<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyDict>> {
        let checks = PyDict::new(slf.py());
        for (name, holds) in slf.get().decoded.checks() {
            checks.set_item(name, Columns::array(slf, Look::Check(holds))?)?;
        }
        Ok(checks)
    }

    /// Whether all checks hold: a bool array, one value a capture.
    #[getter]
    fn holds<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        Columns::array(slf, Look::Check(slf.get().decoded.holds()))
    }

    /// The site codes. AttributeError where the layout has none.
    #[getter]
    fn site<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        Columns::named(slf, "site")
    }

    /// The card numbers. AttributeError where the layout has none.
    #[getter]
    fn card<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        Columns::named(slf, "card")
    }

    /// Names of all columns: the fields, `holds`, the checks.
    fn keys(&self) -> Vec<&str> {
        self.decoded.looks().map(|(name, _)| name).collect()
    }

    /// A column by its name.
    fn __getitem__<'py>(slf: &Bound<'py, Self>, name: &str) -> PyResult<Bound<'py, PyAny>> {
        let decoded = &slf.get().decoded;
        let found = decoded.looks().find(|(each, _)| *each == name);
        let Some((_, look)) = found else {
            let known: Vec<&str> = decoded.looks().map(|(name, _)| name).collect();
            let known = known.join(", ");
            return Err(PyKeyError::new_err(format!("no column {name:?}: there are {known}")));
        };
        Columns::array(slf, look)
    }

    fn __iter__<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        let keys = slf.get().keys().into_pyobject(slf.py())?;
        keys.call_method0("__iter__")
    }

    fn __contains__(&self, name: &str) -> bool {
        self.decoded.looks().any(|(each, _)| each == name)
    }

    /// Captures decoded.
    fn __len__(&self) -> usize {
        self.decoded.rows
    }

    fn __repr__(&self) -> String {
        let names: Vec<&str> = self.keys();
        format!(
            "<holdover.Columns of {} captures: {} {}; {}>",
            self.decoded.rows,
            self.layout,
            self.reading,
            names.join(", ")
        )
    }

    /// The kinds of the columns, as Arrow's PyCapsule interface passes them.
    fn __arrow_c_schema__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyCapsule>> {
        arrow::schema(py, &self.decoded)
    }

    /// All columns as one structure array. Numbers are not copied.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_array__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<(Bound<'py, PyCapsule>, Bound<'py, PyCapsule>)> {
        // The interface lets what cannot be had as wished be given as it is.
        let _ = requested_schema;
        arrow::array(py, &self.decoded)
    }

    /// All columns as a stream of one batch. Numbers are not copied.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        let _ = requested_schema;
        arrow::stream(py, &self.decoded)
    }
}

impl Columns {
    fn named<'py>(slf: &Bound<'py, Self>, name: &str) -> PyResult<Bound<'py, PyAny>> {
        let columns = slf.get();
        match columns.decoded.fields().find(|(each, _)| *each == name) {
            Some((_, column)) => Columns::array(slf, Look::Field(column)),
            None => Err(PyAttributeError::new_err(format!(
                "layout {:?} has no field {name:?}: it has {}",
                columns.layout,
                columns.fields().join(", ")
            ))),
        }
    }
}

/// A read-only array of memory that `owner` keeps.
#[allow(unsafe_code, reason = "an array that does not own its values can only be made so")]
fn lent<'py, T: Element>(column: &[T], owner: &Bound<'py, PyAny>) -> PyResult<Bound<'py, PyAny>> {
    let view = ArrayView1::from(column);
    // SAFETY: `column` is in the `Decoded` of `owner`, behind a shared
    // pointer: it is never moved or changed, and the array keeps `owner`.
    read_only(unsafe { PyArray1::borrow_from_array(&view, owner.clone()) })
}

/// The same of rows of bytes.
#[allow(unsafe_code, reason = "an array that does not own its values can only be made so")]
fn lent_rows<'py>(
    bytes: &[u8],
    width: usize,
    owner: &Bound<'py, PyAny>,
) -> PyResult<Bound<'py, PyAny>> {
    let shape = (bytes.len().checked_div(width).unwrap_or(0), width);
    let view = ArrayView2::from_shape(shape, bytes)
        .map_err(|error| PyValueError::new_err(error.to_string()))?;
    // SAFETY: as above.
    read_only(unsafe { PyArray2::borrow_from_array(&view, owner.clone()) })
}

fn read_only<T: Element, D: numpy::ndarray::Dimension>(
    array: Bound<'_, PyArray<T, D>>,
) -> PyResult<Bound<'_, PyAny>> {
    array.try_readwrite()?.make_nonwriteable();
    Ok(array.into_any())
}
