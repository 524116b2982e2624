//! Columns in: whole numbers, text, bytes. Words of 32 and 64 bits are looked
//! at where they lie.
#![allow(unsafe_code, reason = "what others made is raw pointers, which only they can vouch for")]

use std::ffi::{CStr, c_int, c_void};
use std::slice;

use holdover::decode::Align;
use pyo3::exceptions::{PyImportError, PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyCapsule, PyCapsuleMethods, PyTuple};

use super::abi::{ARRAY, ArrowArray, ArrowArrayStream, ArrowSchema, SCHEMA, STREAM};
use crate::captures::moved;

/// A part of a column, and who made it.
pub struct Chunk {
    format: String,
    array: ArrowArray,
}

/// The column that an object offers, if it offers any.
pub fn column(given: &Bound<'_, PyAny>) -> PyResult<Option<Vec<Chunk>>> {
    for (method, stream) in [(c"__arrow_c_stream__", true), (c"__arrow_c_array__", false)] {
        let method = method.to_string_lossy();
        if !given.hasattr(&*method)? {
            continue;
        }
        let capsules = match given.call_method0(&*method) {
            Ok(capsules) => capsules,
            // pandas offers it and then lacks pyarrow; its values come as numpy.
            Err(error) if error.is_instance_of::<PyImportError>(given.py()) => return Ok(None),
            Err(error) => return Err(error),
        };
        return match stream {
            true => of_stream(&capsules).map(Some),
            false => of_array(&capsules).map(Some),
        };
    }
    Ok(None)
}

/// Takes a structure out of its capsule, and leaves an empty one behind.
fn moved_out<T>(capsule: &Bound<'_, PyAny>, name: &'static CStr, empty: T) -> PyResult<T> {
    let capsule = capsule.cast::<PyCapsule>().map_err(|_| {
        PyTypeError::new_err(format!("expected a capsule {name:?}, found another object"))
    })?;
    let place = capsule.pointer_checked(Some(name))?.cast::<T>();
    if !place.is_aligned() {
        return Err(PyValueError::new_err(format!("the capsule {name:?} holds no structure")));
    }
    // SAFETY: a capsule of this name holds this structure, says the standard,
    // and one who takes it leaves it released.
    Ok(unsafe { place.replace(empty) })
}

fn of_array(capsules: &Bound<'_, PyAny>) -> PyResult<Vec<Chunk>> {
    let pair = capsules.cast::<PyTuple>().ok().filter(|pair| pair.len() == 2);
    let pair = pair.ok_or_else(|| PyTypeError::new_err("__arrow_c_array__ gives two capsules"))?;
    let schema = moved_out(&pair.get_item(0)?, SCHEMA, ArrowSchema::empty())?;
    let array = moved_out(&pair.get_item(1)?, ARRAY, ArrowArray::empty())?;
    let format = format(&schema)?;
    Ok(vec![Chunk::new(format, array, 0)?])
}

fn of_stream(capsule: &Bound<'_, PyAny>) -> PyResult<Vec<Chunk>> {
    let mut stream = moved_out(capsule, STREAM, ArrowArrayStream::empty())?;
    let (Some(get_schema), Some(get_next), Some(_)) =
        (stream.get_schema, stream.get_next, stream.release)
    else {
        return Err(PyValueError::new_err("the Arrow stream was used up before"));
    };
    let mut schema = ArrowSchema::empty();
    // SAFETY: the stream is not released, and is ours; there is room for what
    // it writes.
    let code = unsafe { get_schema(&mut stream, &mut schema) };
    failed(&mut stream, code)?;
    let format = format(&schema)?;
    let mut chunks = Vec::new();
    let mut rows = 0;
    loop {
        let mut array = ArrowArray::empty();
        // SAFETY: as above.
        let code = unsafe { get_next(&mut stream, &mut array) };
        failed(&mut stream, code)?;
        if array.release.is_none() {
            return Ok(chunks);
        }
        let chunk = Chunk::new(format.clone(), array, rows)?;
        rows += chunk.rows();
        chunks.push(chunk);
    }
}

fn failed(stream: &mut ArrowArrayStream, code: c_int) -> PyResult<()> {
    if code == 0 {
        return Ok(());
    }
    // SAFETY: the stream is not released; what it says is null or text that
    // lasts until the next call.
    let said = stream.get_last_error.map(|said| unsafe { said(stream) }).filter(|p| !p.is_null());
    // SAFETY: as above.
    let said = said.map(|said| unsafe { CStr::from_ptr(said) }.to_string_lossy().into_owned());
    let said = said.unwrap_or_default();
    Err(PyValueError::new_err(format!("the Arrow stream failed with {code}: {said}")))
}

fn format(schema: &ArrowSchema) -> PyResult<String> {
    if schema.release.is_none() || schema.format.is_null() {
        return Err(PyValueError::new_err("the Arrow schema was used up before"));
    }
    if !schema.dictionary.is_null() {
        return Err(PyTypeError::new_err(
            "the Arrow column is by dictionary: cast it to its values",
        ));
    }
    // SAFETY: a schema that is not released has a text as its format.
    let format = unsafe { CStr::from_ptr(schema.format) }.to_string_lossy().into_owned();
    if format.starts_with('+') {
        return Err(PyTypeError::new_err(
            "a column of captures is wanted, and this is a whole table: name one column of it",
        ));
    }
    Ok(format)
}

impl Chunk {
    fn new(format: String, array: ArrowArray, before: usize) -> PyResult<Chunk> {
        let fits = |n: i64| (0..=i64::MAX / 64).contains(&n);
        if array.release.is_none() || !fits(array.length) || !fits(array.offset) {
            return Err(PyValueError::new_err("the Arrow array was used up before, or is broken"));
        }
        let chunk = Chunk { format, array };
        if let Some(row) = chunk.first_null() {
            return Err(PyValueError::new_err(format!(
                "row {}: no capture; leave such rows out",
                before + row
            )));
        }
        Ok(chunk)
    }

    /// The standard's word for its kind.
    pub fn format(&self) -> &str {
        &self.format
    }

    fn rows(&self) -> usize {
        self.array.length as usize
    }

    fn offset(&self) -> usize {
        self.array.offset as usize
    }

    fn buffer(&self, nth: usize) -> Option<*const c_void> {
        if nth as i64 >= self.array.n_buffers || self.array.buffers.is_null() {
            return None;
        }
        // SAFETY: there are `n_buffers` of them.
        let buffer = unsafe { *self.array.buffers.add(nth) };
        (!buffer.is_null()).then_some(buffer)
    }

    /// Values of `T` in a buffer, from the `from`th on.
    fn values<T>(&self, nth: usize, from: usize, count: usize) -> Option<&[T]> {
        if count == 0 {
            return Some(&[]);
        }
        let buffer = self.buffer(nth)?.cast::<T>();
        if !buffer.is_aligned() {
            return None;
        }
        // SAFETY: whoever made the array vouches for as many values as it
        // says; they stay until it is released, which dropping `self` does.
        Some(unsafe { slice::from_raw_parts(buffer.add(from), count) })
    }

    fn first_null(&self) -> Option<usize> {
        if self.array.null_count == 0 || self.rows() == 0 || self.format == "n" {
            return (self.format == "n" && self.rows() > 0).then_some(0);
        }
        let bytes = (self.offset() + self.rows()).div_ceil(8);
        let bits: &[u8] = self.buffer(0).and_then(|_| self.values(0, 0, bytes))?;
        (0..self.rows()).find(|row| {
            let at = self.offset() + row;
            bits[at / 8] >> (at % 8) & 1 == 0
        })
    }

    fn column<T>(&self) -> Option<&[T]> {
        self.values(1, self.offset(), self.rows())
    }

    /// Words of 32 bits.
    pub fn words32(&self) -> Option<&[u32]> {
        if self.format == "I" { self.column() } else { None }
    }

    /// Words of 64 bits.
    pub fn words64(&self) -> Option<&[u64]> {
        if self.format == "L" { self.column() } else { None }
    }

    /// Whole numbers as words of 64 bits; none where they are something else.
    pub fn numbers(&self, align: Align) -> PyResult<Option<Vec<u64>>> {
        macro_rules! each {
            ($($format:literal $kind:ty),*) => {
                match self.format.as_str() {
                    $($format => {
                        let column: &[$kind] = self.column().ok_or_else(broken)?;
                        moved(column.iter().copied(), align, <$kind>::BITS).map(Some)
                    })*
                    _ => Ok(None),
                }
            };
        }
        each!("C" u8, "S" u16, "I" u32, "L" u64, "c" i8, "s" i16, "i" i32, "l" i64)
    }

    /// Each text in turn; false where they are something else.
    pub fn texts(&self, mut each: impl FnMut(&str) -> PyResult<()>) -> PyResult<bool> {
        let mut text = |bytes: &[u8]| {
            each(
                std::str::from_utf8(bytes)
                    .map_err(|error| PyValueError::new_err(error.to_string()))?,
            )
        };
        match self.format.as_str() {
            "u" => self.joined::<i32>(&mut text)?,
            "U" => self.joined::<i64>(&mut text)?,
            "vu" => self.views(&mut text)?,
            _ => return Ok(false),
        }
        Ok(true)
    }

    /// Texts one behind the other, with offsets.
    fn joined<O: Copy + TryInto<usize>>(
        &self,
        each: &mut impl FnMut(&[u8]) -> PyResult<()>,
    ) -> PyResult<()> {
        if self.rows() == 0 {
            return Ok(());
        }
        let offsets: &[O] = self.values(1, self.offset(), self.rows() + 1).ok_or_else(broken)?;
        for pair in offsets.windows(2) {
            let (Ok(from), Ok(to)) = (pair[0].try_into(), pair[1].try_into()) else {
                return Err(broken());
            };
            let count = to.checked_sub(from).ok_or_else(broken)?;
            each(self.values(2, from, count).ok_or_else(broken)?)?;
        }
        Ok(())
    }

    /// Texts as views: up to twelve bytes in the view, more in buffers behind.
    fn views(&self, each: &mut impl FnMut(&[u8]) -> PyResult<()>) -> PyResult<()> {
        let views: &[u8] =
            self.values(1, 16 * self.offset(), 16 * self.rows()).ok_or_else(broken)?;
        // The last buffer holds the sizes of those between.
        let buffers = (self.array.n_buffers - 3).max(0) as usize;
        let sizes: &[i64] = match buffers {
            0 => &[],
            _ => self.values(2 + buffers, 0, buffers).ok_or_else(broken)?,
        };
        for view in views.as_chunks::<16>().0 {
            let [a, b, c, d] = [0, 4, 8, 12]
                .map(|at| i32::from_le_bytes([view[at], view[at + 1], view[at + 2], view[at + 3]]));
            let count = usize::try_from(a).map_err(|_| broken())?;
            if count <= 12 {
                each(&view[4..4 + count])?;
                continue;
            }
            let _prefix = b;
            let (Ok(buffer), Ok(from)) = (usize::try_from(c), usize::try_from(d)) else {
                return Err(broken());
            };
            let size = sizes.get(buffer).and_then(|size| usize::try_from(*size).ok());
            if size.is_none_or(|size| from + count > size) {
                return Err(broken());
            }
            each(self.values(2 + buffer, from, count).ok_or_else(broken)?)?;
        }
        Ok(())
    }

    /// Bytes of so many each, one behind the other.
    pub fn packed(&self, width: usize) -> Option<&[u8]> {
        match self.format.strip_prefix("w:")?.parse() == Ok(width) {
            true => self.values(1, self.offset() * width, self.rows() * width),
            false => None,
        }
    }
}

fn broken() -> PyErr {
    PyValueError::new_err("the Arrow array is broken: a buffer is missing or too short")
}
