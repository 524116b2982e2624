//! Captures in: numpy arrays, Arrow columns, bytes, lists of text.

use holdover::bits::{Capture, Wide};
use holdover::decode::{Align, ColumnDecoder, DecodedColumns};
use numpy::{
    Element, PyArray1, PyArray2, PyArrayDescrMethods, PyArrayMethods, PyReadonlyArray1,
    PyUntypedArray, PyUntypedArrayMethods,
};
use pyo3::exceptions::{PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyByteArray, PyBytes, PyList, PyString, PyTuple};

use crate::arrow::{self, Chunk};
use crate::fast;

/// What is said of anything else.
const TAKEN: &str = "captures are an array of whole numbers (1-D), an array of bits or of packed \
                     bytes (2-D, uint8), bytes, an Arrow column, or a list of text or numbers";

/// A column of captures of one length.
pub struct Captures<'py> {
    held: Held<'py>,
    align: Align,
    /// Bits a capture has.
    pub length: usize,
}

enum Held<'py> {
    Array32(PyReadonlyArray1<'py, u32>),
    Array64(PyReadonlyArray1<'py, u64>),
    Arrow(Chunk),
    Words(Vec<u64>),
    Wide(Vec<Wide>),
}

/// The same, away from the interpreter.
pub enum Slice<'a> {
    /// Words of 32 bits.
    Words32(&'a [u32], Align),
    /// Words of 64 bits.
    Words64(&'a [u64], Align),
    /// Captures of any length.
    Wide(&'a [Wide]),
}

impl Captures<'_> {
    /// How they lie in memory.
    pub fn slice(&self) -> PyResult<Slice<'_>> {
        let apart = |_| PyValueError::new_err("the array changed while it was read");
        Ok(match &self.held {
            Held::Array32(array) => Slice::Words32(array.as_slice().map_err(apart)?, self.align),
            Held::Array64(array) => Slice::Words64(array.as_slice().map_err(apart)?, self.align),
            Held::Arrow(chunk) => match (chunk.words32(), chunk.words64()) {
                (Some(words), _) => Slice::Words32(words, self.align),
                (_, Some(words)) => Slice::Words64(words, self.align),
                (None, None) => return Err(PyTypeError::new_err(TAKEN)),
            },
            Held::Words(words) => Slice::Words64(words, self.align),
            Held::Wide(wide) => Slice::Wide(wide),
        })
    }
}

impl Slice<'_> {
    /// How many there are.
    pub fn rows(&self) -> usize {
        match self {
            Slice::Words32(words, _) => words.len(),
            Slice::Words64(words, _) => words.len(),
            Slice::Wide(wide) => wide.len(),
        }
    }

    /// What comes of them under one view, in the room of old columns.
    pub fn decode(
        &self,
        narrow: &ColumnDecoder,
        old: DecodedColumns,
    ) -> Result<DecodedColumns, String> {
        let long = |error: holdover::decode::TooLong| {
            format!(
                "{error}: name another length, or align=\"left\" where the first bit is the word's highest"
            )
        };
        match self {
            Slice::Words32(words, align) => fast::decode(narrow, words, *align, old).map_err(long),
            Slice::Words64(words, align) => fast::decode(narrow, words, *align, old).map_err(long),
            Slice::Wide(wide) => {
                let mut columns = narrow.room_in(old, wide.len());
                let size = wide.len().max(1);
                columns.parts(size).iter_mut().for_each(|rows| narrow.fill_wide(wide, rows));
                Ok(columns)
            }
        }
    }
}

/// Reads captures. `length` is what each must have, and can be left out where
/// the captures themselves say it.
pub fn read<'py>(
    given: &Bound<'py, PyAny>,
    length: Option<usize>,
    align: Align,
) -> PyResult<Captures<'py>> {
    if let Some(length) = length
        && !(1..=Capture::MAX_BITS).contains(&length)
    {
        return Err(PyValueError::new_err(format!("a capture has 1 to 256 bits, not {length}")));
    }
    if let Ok(array) = given.cast::<PyUntypedArray>() {
        // The usual words first, whose kind need not be asked for by name.
        if let Some(length) = length
            && let Some(held) = lying(given)?
        {
            return Ok(Captures { held, align, length });
        }
        return of_array(array, length, align);
    }
    if let Ok(bytes) = given.cast::<PyBytes>() {
        return packed(bytes.as_bytes(), said(length)?);
    }
    if let Ok(bytes) = given.cast::<PyByteArray>() {
        return packed(&bytes.to_vec(), said(length)?);
    }
    if given.is_instance_of::<PyList>() || given.is_instance_of::<PyTuple>() {
        return of_list(given, length);
    }
    if let Some(column) = arrow::column(given)? {
        return of_arrow(column, length, align);
    }
    if given.hasattr("__array__")? && !given.is_instance_of::<PyString>() {
        let array = given.py().import("numpy")?.call_method1("asarray", (given,))?;
        if let Ok(array) = array.cast::<PyUntypedArray>() {
            return of_array(array, length, align);
        }
    }
    let name = given.get_type().name()?;
    Err(PyTypeError::new_err(format!("{TAKEN}; this is {name}")))
}

/// The length, where captures do not say it themselves.
fn said(length: Option<usize>) -> PyResult<usize> {
    length.ok_or_else(|| PyValueError::new_err("say how many bits a capture has: length=…"))
}

fn of_array<'py>(
    array: &Bound<'py, PyUntypedArray>,
    length: Option<usize>,
    align: Align,
) -> PyResult<Captures<'py>> {
    let kind = array.dtype().kind();
    match (array.ndim(), kind) {
        (1, b'u' | b'i') => words(array, said(length)?, align),
        (2, b'u' | b'b') => rows(array, length),
        // Text, and objects that may be text.
        (1, b'U' | b'S' | b'O' | b'T') => of_list(&array.call_method0("tolist")?, length),
        (dimensions, _) => Err(PyTypeError::new_err(format!(
            "{TAKEN}; this array is {dimensions}-D, of {}",
            array.dtype()
        ))),
    }
}

/// Words that can be read where they lie.
fn lying<'py>(array: &Bound<'py, PyAny>) -> PyResult<Option<Held<'py>>> {
    if let Ok(array) = array.cast::<PyArray1<u64>>()
        && array.is_c_contiguous()
    {
        return Ok(Some(Held::Array64(array.try_readonly()?)));
    }
    if let Ok(array) = array.cast::<PyArray1<u32>>()
        && array.is_c_contiguous()
    {
        return Ok(Some(Held::Array32(array.try_readonly()?)));
    }
    Ok(None)
}

/// Whole numbers, a capture each.
fn words<'py>(
    array: &Bound<'py, PyUntypedArray>,
    length: usize,
    align: Align,
) -> PyResult<Captures<'py>> {
    // In the machine's own byte order.
    let array = match array.dtype().is_native_byteorder() {
        Some(false) => {
            let own = array.dtype().call_method1("newbyteorder", ("=",))?;
            array.call_method1("astype", (own,))?
        }
        _ => array.clone().into_any(),
    };
    if let Some(held) = lying(&array)? {
        return Ok(Captures { held, align, length });
    }
    macro_rules! other {
        ($($kind:ty),*) => {
            $(if let Ok(array) = array.cast::<PyArray1<$kind>>() {
                let words = of_kind(array, align, <$kind>::BITS)?;
                return Ok(Captures { held: Held::Words(words), align, length });
            })*
        };
    }
    other!(u64, u32, i64, i32, u16, u8, i16, i8);
    Err(PyTypeError::new_err(TAKEN))
}

fn of_kind<T>(array: &Bound<'_, PyArray1<T>>, align: Align, bits: u32) -> PyResult<Vec<u64>>
where
    T: Element + Copy + TryInto<u64>,
{
    moved(array.try_readonly()?.as_array().iter().copied(), align, bits)
}

/// Words of fewer bits as words of 64.
pub(crate) fn moved<T: TryInto<u64>>(
    words: impl Iterator<Item = T>,
    align: Align,
    bits: u32,
) -> PyResult<Vec<u64>> {
    let by = if align == Align::Left { 64 - bits } else { 0 };
    let word = |(row, word): (usize, T)| match word.try_into() {
        Ok(word) => Ok(word << by),
        Err(_) => Err(PyValueError::new_err(format!("row {row}: a capture is no negative number"))),
    };
    words.enumerate().map(word).collect()
}

/// A row a capture: bits, or packed bytes.
fn rows<'py>(array: &Bound<'py, PyUntypedArray>, length: Option<usize>) -> PyResult<Captures<'py>> {
    let width = array.shape()[1];
    let most = Capture::MAX_BITS;
    let length = length.unwrap_or(width);
    let bits = width == length;
    if !(bits || width == length.div_ceil(8)) || !(1..=most).contains(&length) {
        return Err(PyValueError::new_err(format!(
            "rows of {width}: a row has a capture's {length} bits, or they are packed in {} bytes \
             as numpy.packbits does it; at most {most} bits",
            length.div_ceil(8)
        )));
    }
    if let Ok(array) = array.cast::<PyArray2<bool>>() {
        let array = array.try_readonly()?;
        let rows = array.as_array();
        let wide = rows.rows().into_iter().map(|row| of_bits(row.iter().copied())).collect();
        return if bits { Ok(of_wide(wide, length)) } else { Err(PyTypeError::new_err(TAKEN)) };
    }
    let Ok(array) = array.cast::<PyArray2<u8>>() else {
        return Err(PyTypeError::new_err(format!("{TAKEN}; this array is of {}", array.dtype())));
    };
    let array = array.try_readonly()?;
    let rows = array.as_array();
    let mut wide = Vec::with_capacity(rows.nrows());
    for (nth, row) in rows.rows().into_iter().enumerate() {
        if !bits {
            wide.push(of_bytes(row.iter().copied(), length, nth)?);
            continue;
        }
        if let Some(at) = row.iter().position(|bit| *bit > 1) {
            let found = row[at];
            return Err(PyValueError::new_err(format!(
                "row {nth}, bit {}: {found} is no bit, those are 0 and 1",
                at + 1
            )));
        }
        wide.push(of_bits(row.iter().map(|bit| *bit == 1)));
    }
    Ok(of_wide(wide, length))
}

fn of_bits(bits: impl Iterator<Item = bool>) -> Wide {
    let mut wide = Wide::ZERO;
    for (at, bit) in bits.take(Capture::MAX_BITS).enumerate() {
        wide.0[at / 64] |= u64::from(bit) << (63 - at % 64);
    }
    wide
}

/// A capture in bytes, its first bit the highest of the first; zeros behind.
pub(crate) fn of_bytes(
    bytes: impl Iterator<Item = u8>,
    length: usize,
    row: usize,
) -> PyResult<Wide> {
    let mut wide = Wide::ZERO;
    for (at, byte) in bytes.take(Capture::MAX_BITS / 8).enumerate() {
        wide.0[at / 8] |= u64::from(byte) << (56 - 8 * (at % 8));
    }
    if wide & !Wide::ones(length) == Wide::ZERO {
        return Ok(wide);
    }
    Err(PyValueError::new_err(format!(
        "row {row}: there are ones behind its {length} bits; the first bit is the highest of the \
         first byte, as numpy.packbits has it"
    )))
}

/// Bytes, as many a capture as its bits need.
fn packed<'py>(bytes: &[u8], length: usize) -> PyResult<Captures<'py>> {
    let width = length.div_ceil(8);
    if !bytes.len().is_multiple_of(width) {
        return Err(PyValueError::new_err(format!(
            "{} bytes are no whole captures of {width} bytes each",
            bytes.len()
        )));
    }
    let rows = bytes.chunks_exact(width).enumerate();
    let wide: PyResult<Vec<Wide>> =
        rows.map(|(row, bytes)| of_bytes(bytes.iter().copied(), length, row)).collect();
    Ok(of_wide(wide?, length))
}

/// Captures of up to 64 bits are decoded faster as words.
fn of_wide<'py>(wide: Vec<Wide>, length: usize) -> Captures<'py> {
    let held = match length {
        ..=64 => Held::Words(wide.iter().map(|wide| wide.0[0]).collect()),
        _ => Held::Wide(wide),
    };
    Captures { held, align: Align::Left, length }
}

/// Texts as the command line reads them, or numbers whose lowest bit is the last.
fn of_list<'py>(list: &Bound<'py, PyAny>, length: Option<usize>) -> PyResult<Captures<'py>> {
    let mut texts = Texts { length, wide: Vec::new() };
    for item in list.try_iter()? {
        let item = item?;
        let row = texts.wide.len();
        if let Ok(text) = item.cast::<PyString>() {
            texts.add(text.to_cow()?.as_ref())?;
        } else if let Ok(bytes) = item.cast::<PyBytes>() {
            texts.add(&String::from_utf8_lossy(bytes.as_bytes()))?;
        } else if let Ok(number) = item.extract::<u128>() {
            let length = said(texts.length)?;
            let capture = Capture::from_number(number, length)
                .map_err(|error| PyValueError::new_err(format!("row {row}: {error}")))?;
            texts.wide.push(capture.wide());
        } else {
            let name = item.get_type().name()?;
            return Err(PyTypeError::new_err(format!(
                "row {row}: a capture is text or a whole number, this is {name}"
            )));
        }
    }
    texts.done()
}

/// Captures written as text, all of one length.
struct Texts {
    length: Option<usize>,
    wide: Vec<Wide>,
}

impl Texts {
    fn add(&mut self, text: &str) -> PyResult<()> {
        let row = self.wide.len();
        let capture: Capture =
            text.parse().map_err(|error| PyValueError::new_err(format!("row {row}: {error}")))?;
        let length = *self.length.get_or_insert(capture.len());
        if capture.len() != length {
            return Err(PyValueError::new_err(format!(
                "row {row}: {} bits among captures of {length}: a column holds one length",
                capture.len()
            )));
        }
        self.wide.push(capture.wide());
        Ok(())
    }

    fn done<'py>(self) -> PyResult<Captures<'py>> {
        Ok(of_wide(self.wide, said(self.length)?))
    }
}

fn of_arrow<'py>(
    column: Vec<Chunk>,
    length: Option<usize>,
    align: Align,
) -> PyResult<Captures<'py>> {
    // One chunk of words is looked at where it lies.
    if let [chunk] = &column[..]
        && (chunk.words32().is_some() || chunk.words64().is_some())
    {
        let length = said(length)?;
        let held = column.into_iter().next().map_or(Held::Words(Vec::new()), Held::Arrow);
        return Ok(Captures { held, align, length });
    }
    let mut words = Vec::new();
    let mut texts = Texts { length, wide: Vec::new() };
    let mut numbers = false;
    for chunk in &column {
        if let Some(more) = chunk.numbers(align)? {
            numbers = true;
            words.extend(more);
        } else if !chunk.texts(|text| texts.add(text))? {
            let length = said(length)?;
            let width = length.div_ceil(8);
            let Some(bytes) = chunk.packed(width) else {
                return Err(PyTypeError::new_err(format!(
                    "{TAKEN}; this Arrow column is of format {:?}",
                    chunk.format()
                )));
            };
            for bytes in bytes.chunks_exact(width) {
                let row = texts.wide.len();
                texts.wide.push(of_bytes(bytes.iter().copied(), length, row)?);
            }
        }
    }
    match numbers {
        true => Ok(Captures { held: Held::Words(words), align, length: said(length)? }),
        false => texts.done(),
    }
}
