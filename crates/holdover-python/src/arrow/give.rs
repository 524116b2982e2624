//! Columns out. Numbers and text stay where Rust wrote them, and live as long
//! as anyone looks; checks are a byte a row here and a bit a row in Arrow, so
//! those are packed anew.
#![allow(unsafe_code, reason = "the structures hold raw pointers, and come back to us as such")]

use std::ffi::{CString, c_char, c_int, c_void};
use std::ptr;
use std::sync::Arc;

use holdover::decode::Numbers;
use pyo3::prelude::*;
use pyo3::types::PyCapsule;

use super::abi::{ARRAY, ArrowArray, ArrowArrayStream, ArrowSchema, SCHEMA, STREAM};
use crate::columns::{Decoded, Look};

/// What a schema owns.
struct SchemaOwned {
    _format: CString,
    _name: CString,
    children: Vec<*mut ArrowSchema>,
}

fn schema_of(name: &str, format: &str, children: Vec<ArrowSchema>) -> ArrowSchema {
    // Names have no zero byte: they are of letters, digits and a few signs.
    let text = |text: &str| CString::new(text).unwrap_or_default();
    let children = children.into_iter().map(|child| Box::into_raw(Box::new(child))).collect();
    let mut owned = Box::new(SchemaOwned { _format: text(format), _name: text(name), children });
    let mut schema = ArrowSchema::empty();
    schema.format = owned._format.as_ptr();
    schema.name = owned._name.as_ptr();
    schema.n_children = owned.children.len() as i64;
    schema.children = owned.children.as_mut_ptr();
    schema.release = Some(release_schema);
    schema.private_data = Box::into_raw(owned).cast();
    schema
}

unsafe extern "C" fn release_schema(schema: *mut ArrowSchema) {
    // SAFETY: called once, by the owner of a structure that `schema_of` made:
    // `private_data` is its box, and each child is a box of its own, which
    // releases itself unless a consumer has moved it out.
    unsafe {
        let owned = Box::from_raw((*schema).private_data.cast::<SchemaOwned>());
        for child in &owned.children {
            drop(Box::from_raw(*child));
        }
        (*schema).release = None;
    }
}

/// What an array owns; its buffers are in `kept`.
struct ArrayOwned {
    _kept: Kept,
    buffers: Vec<*const c_void>,
    children: Vec<*mut ArrowArray>,
}

enum Kept {
    /// The columns, in which the buffers are.
    Decoded(#[expect(dead_code, reason = "kept alive")] Arc<Decoded>),
    Bits(#[expect(dead_code, reason = "kept alive")] Vec<u8>),
    Offsets(
        #[expect(dead_code, reason = "kept alive")] Arc<Decoded>,
        #[expect(dead_code, reason = "kept alive")] Vec<i32>,
    ),
}

fn array_of(
    rows: usize,
    kept: Kept,
    buffers: Vec<*const c_void>,
    children: Vec<ArrowArray>,
) -> ArrowArray {
    let children = children.into_iter().map(|child| Box::into_raw(Box::new(child))).collect();
    let mut owned = Box::new(ArrayOwned { _kept: kept, buffers, children });
    let mut array = ArrowArray::empty();
    array.length = rows as i64;
    array.n_buffers = owned.buffers.len() as i64;
    array.n_children = owned.children.len() as i64;
    array.buffers = owned.buffers.as_mut_ptr();
    array.children = owned.children.as_mut_ptr();
    array.release = Some(release_array);
    array.private_data = Box::into_raw(owned).cast();
    array
}

unsafe extern "C" fn release_array(array: *mut ArrowArray) {
    // SAFETY: as with schemas. No interpreter is needed for what is dropped.
    unsafe {
        let owned = Box::from_raw((*array).private_data.cast::<ArrayOwned>());
        for child in &owned.children {
            drop(Box::from_raw(*child));
        }
        (*array).release = None;
    }
}

/// The columns' kinds: one structure of all.
fn kinds(decoded: &Decoded) -> ArrowSchema {
    let children = decoded.looks().map(|(name, look)| {
        let format = match look {
            Look::Field(Numbers::U8(_)) => "C".to_owned(),
            Look::Field(Numbers::U16(_)) => "S".to_owned(),
            Look::Field(Numbers::U32(_)) => "I".to_owned(),
            Look::Field(Numbers::U64(_)) => "L".to_owned(),
            Look::Field(Numbers::Bytes { width, .. }) => format!("w:{width}"),
            Look::Field(Numbers::Digits { .. }) => "u".to_owned(),
            Look::Check(_) => "b".to_owned(),
        };
        schema_of(name, &format, Vec::new())
    });
    schema_of("", "+s", children.collect())
}

fn values(decoded: &Arc<Decoded>) -> ArrowArray {
    let rows = decoded.rows;
    let column = |look: Look<'_>| {
        let here = |values: *const c_void| {
            array_of(rows, Kept::Decoded(decoded.clone()), vec![ptr::null(), values], Vec::new())
        };
        match look {
            Look::Field(Numbers::U8(column)) => here(column.as_ptr().cast()),
            Look::Field(Numbers::U16(column)) => here(column.as_ptr().cast()),
            Look::Field(Numbers::U32(column)) => here(column.as_ptr().cast()),
            Look::Field(Numbers::U64(column)) => here(column.as_ptr().cast()),
            Look::Field(Numbers::Bytes { bytes, .. }) => here(bytes.as_ptr().cast()),
            Look::Field(Numbers::Digits { width, digits }) => {
                // `Decoded` holds fewer digits than an offset can count.
                let offsets: Vec<i32> = (0..=rows).map(|row| (row * width) as i32).collect();
                let buffers = vec![ptr::null(), offsets.as_ptr().cast(), digits.as_ptr().cast()];
                array_of(rows, Kept::Offsets(decoded.clone(), offsets), buffers, Vec::new())
            }
            Look::Check(holds) => {
                let bits: Vec<u8> = holds
                    .chunks(8)
                    .map(|rows| {
                        rows.iter().rev().fold(0, |bits, holds| bits << 1 | u8::from(*holds))
                    })
                    .collect();
                let buffers = vec![ptr::null(), bits.as_ptr().cast()];
                array_of(rows, Kept::Bits(bits), buffers, Vec::new())
            }
        }
    };
    let children = decoded.looks().map(|(_, look)| column(look)).collect();
    array_of(rows, Kept::Decoded(decoded.clone()), vec![ptr::null()], children)
}

/// `__arrow_c_schema__`.
pub fn schema<'py>(py: Python<'py>, decoded: &Decoded) -> PyResult<Bound<'py, PyCapsule>> {
    PyCapsule::new_with_value(py, kinds(decoded), SCHEMA)
}

/// `__arrow_c_array__`: the kinds and the values.
pub fn array<'py>(
    py: Python<'py>,
    decoded: &Arc<Decoded>,
) -> PyResult<(Bound<'py, PyCapsule>, Bound<'py, PyCapsule>)> {
    let values = PyCapsule::new_with_value(py, values(decoded), ARRAY)?;
    Ok((schema(py, decoded)?, values))
}

/// What a stream owns: the columns, until they are asked for.
struct StreamOwned {
    decoded: Arc<Decoded>,
    given: bool,
}

/// `__arrow_c_stream__`: all rows at once, then the end.
pub fn stream<'py>(py: Python<'py>, decoded: &Arc<Decoded>) -> PyResult<Bound<'py, PyCapsule>> {
    let owned = Box::new(StreamOwned { decoded: decoded.clone(), given: false });
    let stream = ArrowArrayStream {
        get_schema: Some(get_schema),
        get_next: Some(get_next),
        get_last_error: Some(get_last_error),
        release: Some(release_stream),
        private_data: Box::into_raw(owned).cast(),
    };
    PyCapsule::new_with_value(py, stream, STREAM)
}

unsafe extern "C" fn get_schema(stream: *mut ArrowArrayStream, out: *mut ArrowSchema) -> c_int {
    // SAFETY: the stream is one of `stream`, not yet released; `out` is room
    // for a schema, with nothing in it that had to be released.
    unsafe { out.write(kinds(&(*(*stream).private_data.cast::<StreamOwned>()).decoded)) };
    0
}

unsafe extern "C" fn get_next(stream: *mut ArrowArrayStream, out: *mut ArrowArray) -> c_int {
    // SAFETY: as above; one thread at a time calls this, says the standard.
    unsafe {
        let owned = &mut *(*stream).private_data.cast::<StreamOwned>();
        out.write(match std::mem::replace(&mut owned.given, true) {
            false => values(&owned.decoded),
            true => ArrowArray::empty(),
        });
    }
    0
}

unsafe extern "C" fn get_last_error(_: *mut ArrowArrayStream) -> *const c_char {
    ptr::null()
}

unsafe extern "C" fn release_stream(stream: *mut ArrowArrayStream) {
    // SAFETY: called once, by the owner of a stream of `stream`.
    unsafe {
        drop(Box::from_raw((*stream).private_data.cast::<StreamOwned>()));
        (*stream).release = None;
    }
}
