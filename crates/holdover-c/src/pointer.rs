//! Pointers of C: looked at before they are used.

use std::ffi::{CStr, c_char, c_int};

use crate::{
    HOLDOVER_ABSENT, HOLDOVER_LENGTH, HOLDOVER_MEMORY, HOLDOVER_NO_DESK, HOLDOVER_NOT_UTF8,
    HOLDOVER_NULL, HOLDOVER_OK, HoldoverDesk, MARK,
};

/// Why nothing is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    Null,
    Length,
    NotUtf8,
    Absent,
    NoDesk,
    Memory,
}

impl Fault {
    pub fn code(self) -> c_int {
        match self {
            Fault::Null => HOLDOVER_NULL,
            Fault::Length => HOLDOVER_LENGTH,
            Fault::NotUtf8 => HOLDOVER_NOT_UTF8,
            Fault::Absent => HOLDOVER_ABSENT,
            Fault::NoDesk => HOLDOVER_NO_DESK,
            Fault::Memory => HOLDOVER_MEMORY,
        }
    }
}

/// Whether it is a desk as far as can be told: an address that one can have,
/// and the mark there.
///
/// # Safety
/// `desk` is null, or as much as a desk takes can be read there.
unsafe fn marked(desk: *const HoldoverDesk) -> Result<(), Fault> {
    if desk.is_null() {
        return Err(Fault::Null);
    }
    if !desk.is_aligned() {
        return Err(Fault::NoDesk);
    }
    // SAFETY: not null, aligned, and as promised; any eight bytes are a number.
    let mark = unsafe { (&raw const (*desk).mark).read() };
    if mark == MARK { Ok(()) } else { Err(Fault::NoDesk) }
}

/// A desk.
///
/// # Safety
/// `desk` is null or a desk that nobody changes meanwhile. Other memory that
/// can be read is refused, since it has no mark.
pub unsafe fn desk<'d>(desk: *const HoldoverDesk) -> Result<&'d HoldoverDesk, Fault> {
    // SAFETY: as promised.
    unsafe { marked(desk) }?;
    // SAFETY: it has the mark, so it is a desk of ours, and not freed.
    Ok(unsafe { &*desk })
}

/// A desk that is to be changed.
///
/// # Safety
/// As for [`desk`], and nobody else uses it meanwhile.
pub unsafe fn desk_mut<'d>(desk: *mut HoldoverDesk) -> Result<&'d mut HoldoverDesk, Fault> {
    // SAFETY: as promised.
    unsafe { marked(desk) }?;
    // SAFETY: it has the mark, so it is a desk of ours, and not freed; as
    // promised, it is used by nobody else.
    Ok(unsafe { &mut *desk })
}

/// Bytes, or other things in a row. None may be at null.
///
/// # Safety
/// `first` is null, or there are `count` of them.
pub unsafe fn bytes<'b, T>(first: *const T, count: usize) -> Result<&'b [T], Fault> {
    let most = isize::MAX as usize / size_of::<T>();
    match (first.is_null(), count) {
        (_, count) if count > most => Err(Fault::Length),
        (_, 0) => Ok(&[]),
        (true, _) => Err(Fault::Null),
        // No C compiler puts them elsewhere.
        (false, _) if !first.is_aligned() => Err(Fault::Null),
        // SAFETY: not null, aligned, no longer than memory, and as promised.
        (false, count) => Ok(unsafe { std::slice::from_raw_parts(first, count) }),
    }
}

/// A text.
///
/// # Safety
/// `text` is null, or ends with a NUL.
pub unsafe fn text<'t>(text: *const c_char) -> Result<&'t str, Fault> {
    if text.is_null() {
        return Err(Fault::Null);
    }
    // SAFETY: not null, and as promised.
    let text = unsafe { CStr::from_ptr(text) };
    text.to_str().map_err(|_| Fault::NotUtf8)
}

/// Hands out where bytes are and how many.
///
/// # Safety
/// `first` and `length` are null, or can be written.
pub unsafe fn put_out(
    bytes: &[u8],
    first: *mut *const u8,
    length: *mut usize,
) -> Result<c_int, Fault> {
    if first.is_null() || length.is_null() {
        return Err(Fault::Null);
    }
    // SAFETY: not null, and as promised; C may keep them unaligned.
    unsafe {
        first.write_unaligned(bytes.as_ptr());
        length.write_unaligned(bytes.len());
    }
    Ok(HOLDOVER_OK)
}
