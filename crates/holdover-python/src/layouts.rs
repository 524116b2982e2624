//! Layouts, their fields and checks, as objects.

use std::sync::{Arc, OnceLock};

use holdover::bits::Capture;
use holdover::decode::{Align, Decoder, Reading};
use holdover::layout::{self as library, Table, Value};
use pyo3::exceptions::{PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyString};

use crate::captures;
use crate::columns::{Columns, Seen};
use crate::fault::{refused, working};
use crate::toml::from_text;

/// A layout, and its views once they are asked for.
pub struct Known {
    pub layout: library::Layout,
    views: [OnceLock<Vec<Arc<Seen>>>; Reading::ALL.len()],
}

impl Known {
    pub fn new(layout: library::Layout) -> Arc<Known> {
        Arc::new(Known { layout, views: Default::default() })
    }

    /// Bits a capture has under a reading; none where it would have none.
    pub fn length(&self, reading: Reading) -> Option<usize> {
        self.layout
            .length()
            .checked_add_signed(-reading.bits_lost())
            .filter(|length| (1..=Capture::MAX_BITS).contains(length))
    }

    fn views(&self, reading: Reading) -> &[Arc<Seen>] {
        let nth = Reading::ALL.iter().position(|each| *each == reading).unwrap_or(0);
        self.views[nth].get_or_init(|| {
            let Some(length) = self.length(reading) else { return Vec::new() };
            let table = Table::new([self.layout.clone()]).unwrap_or_default();
            let decoder = Decoder::new(&table, length, &[reading]);
            let views = decoder.views().iter();
            views.map(|v| Seen::new(v.restored, decoder.narrow(v))).collect()
        })
    }

    /// Columns of all views of a reading: two where a bit was lost.
    pub fn decode(
        &self,
        py: Python<'_>,
        captures: &captures::Captures<'_>,
        reading: Reading,
    ) -> PyResult<Vec<Columns>> {
        let slice = captures.slice()?;
        let rows = slice.rows();
        let done = working(py, || {
            let views = self.views(reading).iter();
            views
                .map(|seen| Ok((seen, slice.decode(&seen.narrow, seen.spare())?)))
                .collect::<Result<Vec<_>, String>>()
        })?;
        let done = done.map_err(PyValueError::new_err)?;
        let id = self.layout.id();
        done.into_iter()
            .map(|(seen, columns)| Columns::new(id, reading, seen, columns, rows))
            .collect()
    }
}

/// A reading by its name.
pub fn reading(name: &str) -> PyResult<Reading> {
    Reading::ALL.into_iter().find(|reading| reading.name() == name).ok_or_else(|| {
        let known: Vec<&str> = Reading::ALL.iter().map(|reading| reading.name()).collect();
        PyValueError::new_err(format!("no reading {name:?}: there are {}", known.join(", ")))
    })
}

/// Where a word has its capture's bits.
pub fn align(name: &str) -> PyResult<Align> {
    match name {
        "left" => Ok(Align::Left),
        "right" => Ok(Align::Right),
        _ => Err(PyValueError::new_err(format!("align is \"left\" or \"right\", not {name:?}"))),
    }
}

/// How one kind of card arranges its bits: total length, fields, checks.
///
/// Layouts come out of tables, and are always consistent. Positions count from
/// 1, in the order the bits are received.
#[pyclass(frozen, eq, module = "holdover")]
pub struct Layout {
    known: Arc<Known>,
}

impl PartialEq for Layout {
    fn eq(&self, other: &Layout) -> bool {
        self.known.layout == other.known.layout
    }
}

impl Layout {
    pub fn new(known: Arc<Known>) -> Layout {
        Layout { known }
    }

    pub fn layout(&self) -> &library::Layout {
        &self.known.layout
    }
}

#[pymethods]
impl Layout {
    /// The one layout of a table file's text.
    ///
    /// Raises Refused where the text is no table, or has several layouts.
    #[staticmethod]
    fn from_toml(py: Python<'_>, text: &str) -> PyResult<Layout> {
        let read = from_text(py, text, "the text")?;
        match read.layouts() {
            [layout] => Ok(Layout::new(Known::new(layout.clone()))),
            layouts => Err(refused(format!(
                "{} layouts where one is wanted: read them with Table.from_toml",
                layouts.len()
            ))),
        }
    }

    /// Unique in its table.
    #[getter]
    fn id(&self) -> &str {
        self.layout().id()
    }

    /// What people call it.
    #[getter]
    fn title(&self) -> &str {
        &self.layout().spec().title
    }

    /// All bits, checks included.
    #[getter]
    fn length(&self) -> usize {
        self.layout().length()
    }

    /// A published source, "common practice, no source" or "worked out from
    /// captures".
    #[getter]
    fn basis(&self) -> &str {
        &self.layout().spec().basis
    }

    /// How common it is, relative to others.
    #[getter]
    fn weight(&self) -> f64 {
        self.layout().spec().weight
    }

    /// Independent parity relations among its checks: one random word in
    /// 2**rank meets them all, decimal digits aside.
    #[getter]
    fn rank(&self) -> usize {
        self.layout().rank()
    }

    /// The fields, in the table's order.
    #[getter]
    fn fields(&self) -> Vec<Field> {
        self.layout().fields().iter().map(|field| Field { field: field.clone() }).collect()
    }

    /// The checks, in the table's order.
    #[getter]
    fn checks(&self) -> Vec<Check> {
        self.layout().checks().iter().map(|check| Check { check: check.clone() }).collect()
    }

    /// The layout as its part of a table file.
    fn to_toml(&self) -> String {
        self.layout().to_toml()
    }

    /// The word that carries these values, every check filled in, as text of 0
    /// and 1. Each field needs a value: a whole number, or digits as text.
    ///
    /// Raises Refused where a field has no value, or one that does not fit.
    #[pyo3(signature = (**values))]
    fn compose(&self, values: Option<&Bound<'_, PyDict>>) -> PyResult<String> {
        let mut named = Vec::new();
        for (name, value) in values.into_iter().flatten() {
            let name: String = name.extract()?;
            let value = if let Ok(number) = value.extract::<u128>() {
                Value::Number(number)
            } else if let Ok(digits) = value.cast::<PyString>() {
                Value::Digits(digits.to_cow()?.into_owned())
            } else {
                let kind = value.get_type().name()?;
                return Err(PyTypeError::new_err(format!(
                    "{name}: expected a whole number from 0, or digits as text, found {kind}"
                )));
            };
            named.push((name, value));
        }
        let values: Vec<(&str, Value)> =
            named.iter().map(|(name, value)| (name.as_str(), value.clone())).collect();
        self.layout().compose(values).map(|word| word.to_string()).map_err(refused)
    }

    /// Decodes captures of this layout to columns.
    ///
    /// `captures` is one of
    ///
    /// * a 1-D array of whole numbers, a capture each: `align="right"` has the
    ///   last bit lowest, `align="left"` the first bit highest. `uint32` and
    ///   `uint64` are read where they lie;
    /// * a 2-D array of `uint8` or `bool`, shape (captures, bits);
    /// * a 2-D array of `uint8`, shape (captures, bytes), packed as
    ///   `numpy.packbits` does it; or `bytes` of that;
    /// * an Arrow column (anything with `__arrow_c_stream__` or
    ///   `__arrow_c_array__`) of whole numbers, of text, or of fixed-size bytes;
    /// * a list or tuple of text ("0110…", "0x1A2B3C4/26") or of whole numbers.
    ///
    /// `reading` says what may have happened to all of them; where a bit was
    /// lost, `restored` gives it a value. Works without the interpreter's lock,
    /// on all processors: do not change an array meanwhile.
    ///
    /// Raises ValueError for a capture that is none, with its row counted from
    /// 0, and TypeError for what holds no captures.
    #[pyo3(signature = (captures, *, align="right", reading="as-captured", restored=None))]
    fn decode(
        &self,
        py: Python<'_>,
        captures: &Bound<'_, PyAny>,
        align: &str,
        reading: &str,
        restored: Option<bool>,
    ) -> PyResult<Columns> {
        let reading = self::reading(reading)?;
        let lost = reading.bits_lost() > 0;
        if lost != restored.is_some() {
            return Err(PyValueError::new_err(match lost {
                true => format!("{reading}: say the lost bit's value, restored=False or True"),
                false => format!("{reading}: no bit was lost, so that none is restored"),
            }));
        }
        let length = self.known.length(reading);
        if length.is_none() {
            return Err(PyValueError::new_err(format!("{reading}: no capture is as long as that")));
        }
        let captures = captures::read(captures, length, self::align(align)?)?;
        let columns = self.known.decode(py, &captures, reading)?;
        let mut wanted = columns.into_iter().filter(|columns| columns.lost() == restored);
        wanted.next().ok_or_else(|| PyValueError::new_err("no view of this layout"))
    }

    fn __repr__(&self) -> String {
        format!("<holdover.Layout {:?}, {} bits>", self.id(), self.length())
    }
}

/// A number in a layout.
#[pyclass(frozen, eq, module = "holdover")]
#[derive(PartialEq)]
pub struct Field {
    field: library::Field,
}

#[pymethods]
impl Field {
    /// `site`, `card` or a name of its own.
    #[getter]
    fn role(&self) -> &str {
        self.field.role.name()
    }

    /// Where its bits are, as tables write it: positions from 1, "26-33,18-25".
    #[getter]
    fn span(&self) -> String {
        self.field.span.to_string()
    }

    /// The same as positions from 1, in the order they are read.
    #[getter]
    fn positions(&self) -> Vec<usize> {
        self.field.span.offsets().map(|offset| offset + 1).collect()
    }

    /// How many bits it has.
    #[getter]
    fn bits(&self) -> usize {
        self.field.span.len()
    }

    /// `binary`, `bcd4` or `bcd5`.
    #[getter]
    fn code(&self) -> &'static str {
        self.field.code.name()
    }

    /// `site` or `card`, where it is a part of that; else None.
    #[getter]
    fn part_of(&self) -> Option<&'static str> {
        self.field.part_of.map(|part| match part {
            library::Part::Site => "site",
            library::Part::Card => "card",
        })
    }

    /// True for a contactless card's serial number.
    #[getter]
    fn serial(&self) -> bool {
        self.field.serial
    }

    fn __repr__(&self) -> String {
        format!("<holdover.Field {:?} at {}>", self.role(), self.span())
    }
}

/// A rule that a layout's bits must meet.
#[pyclass(frozen, eq, module = "holdover")]
#[derive(PartialEq)]
pub struct Check {
    check: library::Check,
}

#[pymethods]
impl Check {
    /// `even`, `odd`, `fixed` or `lrc`.
    #[getter]
    fn kind(&self) -> &'static str {
        self.check.kind()
    }

    /// What people read, and the name of its column: "even 1 over 2-13".
    #[getter]
    fn name(&self) -> String {
        self.check.to_string()
    }

    /// The check bit of a parity, from 1; else None.
    #[getter]
    fn bit(&self) -> Option<usize> {
        match &self.check {
            library::Check::Parity { bit, .. } => Some(bit.from_one()),
            _ => None,
        }
    }

    /// What a parity or longitudinal check covers; else None.
    #[getter]
    fn over(&self) -> Option<String> {
        match &self.check {
            library::Check::Parity { over, .. } | library::Check::Lrc { over, .. } => {
                Some(over.to_string())
            }
            library::Check::Fixed { .. } => None,
        }
    }

    /// Where a fixed value is; else None.
    #[getter]
    fn span(&self) -> Option<String> {
        match &self.check {
            library::Check::Fixed { span, .. } => Some(span.to_string()),
            _ => None,
        }
    }

    /// A fixed value; else None.
    #[getter]
    fn value(&self) -> Option<u128> {
        match &self.check {
            library::Check::Fixed { value, .. } => Some(*value),
            _ => None,
        }
    }

    /// Bits a word of a longitudinal check; else None.
    #[getter]
    fn group(&self) -> Option<usize> {
        match &self.check {
            library::Check::Lrc { group, .. } => Some(*group),
            _ => None,
        }
    }

    /// Where the check word of a longitudinal check is; else None.
    #[getter]
    fn at(&self) -> Option<String> {
        match &self.check {
            library::Check::Lrc { at, .. } => Some(at.to_string()),
            _ => None,
        }
    }

    fn __repr__(&self) -> String {
        format!("<holdover.Check {}>", self.name())
    }
}
