//! Holdover for C: `holdover.h` declares what is here.
//!
//! Nothing panics into C, no pointer is used that is null, and no length that
//! no memory can have. What C must promise is written at each function.
//!
//! Memory is asked for in a way that can be refused wherever C says how much.
//! What a command needs while it works is not: Rust ends the process where its
//! allocator fails, so that some is asked for and given back before it begins.

mod memory;
mod pointer;

use std::ffi::{c_char, c_int};
use std::panic::{AssertUnwindSafe, catch_unwind};

use holdover_desk::Desk;

use memory::{ROOM, asked, boxed, with_nul, with_room};
use pointer::{Fault, bytes, desk, desk_mut, put_out, text};

/// The version of what goes in and comes out: the JSON, the schema files, and
/// these functions.
pub const HOLDOVER_SCHEMA: u32 = 2;

/// Done.
pub const HOLDOVER_OK: c_int = 0;
/// A pointer is null that must not be, or is not aligned.
pub const HOLDOVER_NULL: c_int = -1;
/// A length is more than memory holds.
pub const HOLDOVER_LENGTH: c_int = -2;
/// A text is no UTF-8.
pub const HOLDOVER_NOT_UTF8: c_int = -3;
/// There is no such file, or no file of that index.
pub const HOLDOVER_ABSENT: c_int = -4;
/// What is given as a desk is none.
pub const HOLDOVER_NO_DESK: c_int = -5;
/// A fault of the library itself; the desk can be used on.
pub const HOLDOVER_FAULT: c_int = -6;
/// Memory is short; the desk can be used on.
pub const HOLDOVER_MEMORY: c_int = -7;

/// Bytes that must be free before a command begins, and as many times those of
/// the files on the desk. Judgement, no source: what commands on small files
/// take, and on large ones that are not held whole.
const COMMAND: usize = 32 << 20;
const COMMAND_EACH: usize = 4;

/// Tells a desk from other memory.
const MARK: u64 = u64::from_be_bytes(*b"holdover");

/// Files by name, in memory, and what the last command printed.
pub struct HoldoverDesk {
    /// [`MARK`]: what is given as a desk may be something else.
    mark: u64,
    inner: Box<Inner>,
}

/// What C does not see. Texts have a NUL behind them, which is not counted.
#[derive(Default)]
struct Inner {
    desk: Desk,
    names: Vec<Vec<u8>>,
    output: Vec<u8>,
    said: Vec<u8>,
}

impl Inner {
    /// The files changed: their names are gathered anew when asked for.
    fn changed(&mut self) {
        self.names.clear();
    }

    fn names(&mut self) -> Result<&[Vec<u8>], Fault> {
        if self.names.is_empty() {
            let mut names = with_room(self.desk.names().count())?;
            for name in self.desk.names() {
                let mut own = with_room(name.len() + 1)?;
                own.extend_from_slice(name.as_bytes());
                names.push(with_nul(own)?);
            }
            self.names = names;
        }
        Ok(&self.names)
    }

    /// Bytes of all files together.
    fn bytes(&self) -> usize {
        let of = |name| self.desk.get(name).map_or(0, <[u8]>::len);
        self.desk.names().map(of).fold(0, usize::saturating_add)
    }
}

/// Does it, and makes a code of whatever stops it.
fn guarded(does: impl FnOnce() -> Result<c_int, Fault>) -> c_int {
    match catch_unwind(AssertUnwindSafe(does)) {
        Ok(Ok(code)) => code,
        Ok(Err(fault)) => fault.code(),
        Err(_) => HOLDOVER_FAULT,
    }
}

/// HOLDOVER_SCHEMA of the library in use; compare it with the header's.
#[unsafe(no_mangle)]
pub extern "C" fn holdover_schema() -> u32 {
    const { assert!(HOLDOVER_SCHEMA == holdover_desk::SCHEMA) };
    HOLDOVER_SCHEMA
}

/// What a code means, in English; never null, and not to be freed.
#[unsafe(no_mangle)]
pub extern "C" fn holdover_message(code: c_int) -> *const c_char {
    let text = match code {
        HOLDOVER_OK => c"done",
        1 => c"done, and something is wrong with the cards",
        2 => c"the command, a file or a line of it is wrong: holdover_desk_said() says what",
        HOLDOVER_NULL => c"a pointer is null that must not be, or is not aligned",
        HOLDOVER_LENGTH => c"a length is more than memory holds",
        HOLDOVER_NOT_UTF8 => c"a text is no UTF-8",
        HOLDOVER_ABSENT => c"there is no such file on the desk",
        HOLDOVER_NO_DESK => c"what is given as a desk is none",
        HOLDOVER_FAULT => c"a fault of the library itself: please report it",
        HOLDOVER_MEMORY => c"memory is short: free some, or use a process of its own",
        _ => c"no code of this library",
    };
    text.as_ptr()
}

/// A new, empty desk; null where there is no memory for one. Free it with
/// holdover_desk_free().
#[unsafe(no_mangle)]
pub extern "C" fn holdover_desk_new() -> *mut HoldoverDesk {
    let new = || {
        asked(ROOM)?;
        boxed(HoldoverDesk { mark: MARK, inner: boxed(Inner::default())? })
    };
    match catch_unwind(new) {
        Ok(Ok(desk)) => Box::into_raw(desk),
        _ => std::ptr::null_mut(),
    }
}

/// Frees a desk and all that it gave out. Null is none, and left alone.
///
/// # Safety
/// `desk` is null, or from `holdover_desk_new` and not freed yet.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_free(desk: *mut HoldoverDesk) {
    guarded(|| {
        // SAFETY: the caller promises a desk or null; nobody else uses it.
        unsafe { desk_mut(desk) }?;
        // SAFETY: it is a desk, so it came from `Box::into_raw`, once.
        drop(unsafe { Box::from_raw(desk) });
        Ok(HOLDOVER_OK)
    });
}

/// Puts a file on the desk, in the place of one of that name; its bytes are
/// copied. The name "-" is standard input. `bytes` may be null where `length`
/// is 0. HOLDOVER_MEMORY where there is no memory for the copy: the desk is as
/// it was.
///
/// # Safety
/// `desk` is null or a desk; `name` is null or ends with a NUL; `bytes` is
/// null or has `length` bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_put(
    desk: *mut HoldoverDesk,
    name: *const c_char,
    bytes: *const u8,
    length: usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        let inner = unsafe { &mut desk_mut(desk)?.inner };
        // SAFETY: as promised to this function.
        let (name, bytes) = unsafe { (text(name)?, self::bytes(bytes, length)?) };
        let mut own = with_room(bytes.len())?;
        asked(ROOM.saturating_add(name.len()))?;
        own.extend_from_slice(bytes);
        inner.changed();
        inner.desk.put(name, own);
        Ok(HOLDOVER_OK)
    })
}

/// A file's bytes. They are the desk's, and stay until it is changed, run or
/// freed.
///
/// # Safety
/// `desk` is null or a desk; `name` is null or ends with a NUL; `bytes` and
/// `length` are null or can be written.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_get(
    desk: *const HoldoverDesk,
    name: *const c_char,
    bytes: *mut *const u8,
    length: *mut usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        let (inner, name) = unsafe { (&self::desk(desk)?.inner, text(name)?) };
        let file = inner.desk.get(name).ok_or(Fault::Absent)?;
        // SAFETY: as promised to this function.
        unsafe { put_out(file, bytes, length) }
    })
}

/// Takes a file from the desk.
///
/// # Safety
/// `desk` is null or a desk; `name` is null or ends with a NUL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_remove(
    desk: *mut HoldoverDesk,
    name: *const c_char,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        let (inner, name) = unsafe { (&mut desk_mut(desk)?.inner, text(name)?) };
        inner.desk.take(name).ok_or(Fault::Absent)?;
        inner.changed();
        Ok(HOLDOVER_OK)
    })
}

/// The name of the file at an index, from 0, in the order of the names' bytes;
/// HOLDOVER_ABSENT past the last. It has a NUL behind it, which `length` does
/// not count, and stays until the desk is changed, run or freed.
///
/// # Safety
/// `desk` is null or a desk; `name` and `length` are null or can be written.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_name(
    desk: *mut HoldoverDesk,
    index: usize,
    name: *mut *const c_char,
    length: *mut usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        let inner = unsafe { &mut desk_mut(desk)?.inner };
        let found = inner.names()?.get(index).ok_or(Fault::Absent)?;
        // SAFETY: as promised to this function; `c_char` is a byte.
        unsafe { put_out(&found[..found.len() - 1], name.cast(), length) }
    })
}

/// Runs a command: its words as after the program's name, `count` of them.
/// Returns what the binary's exit code would be, 0, 1 or 2 (see
/// holdover_message()), or a code below 0. Files that the command writes are
/// on the desk afterwards.
///
/// HOLDOVER_MEMORY where 32 MiB and four times the bytes of the files cannot be
/// had before it begins, or what it printed cannot be kept. A command that finds
/// no memory while it works ends the process, this function alone: run what may
/// need more than there is in a process of its own.
///
/// # Safety
/// `desk` is null or a desk; `words` is null or has `count` pointers, each null
/// or to a text that ends with a NUL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_run(
    desk: *mut HoldoverDesk,
    words: *const *const c_char,
    count: usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        let (inner, words) = unsafe { (&mut desk_mut(desk)?.inner, bytes(words, count)?) };
        asked(COMMAND.saturating_add(inner.bytes().saturating_mul(COMMAND_EACH)))?;
        // SAFETY: as promised to this function.
        let words = words.iter().map(|word| unsafe { text(*word) });
        let words = words.collect::<Result<Vec<&str>, Fault>>()?;
        inner.changed();
        // Were it to panic, nothing of the run before would be left.
        (inner.output, inner.said) = (Vec::new(), Vec::new());
        let ran = holdover_args::run(&mut inner.desk, &words);
        (inner.output, inner.said) = (with_nul(ran.output)?, with_nul(ran.said.into_bytes())?);
        Ok(c_int::from(ran.code))
    })
}

/// What the last command printed to standard output; empty before the first.
/// It has a NUL behind it, which `length` does not count, and stays until the
/// desk is run or freed.
///
/// # Safety
/// `desk` is null or a desk; `bytes` and `length` are null or can be written.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_output(
    desk: *const HoldoverDesk,
    bytes: *mut *const u8,
    length: *mut usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function.
        unsafe { put_out(printed(&self::desk(desk)?.inner.output), bytes, length) }
    })
}

/// What the last command printed to standard error, without colour: what is
/// wrong, where, and how to mend it. As holdover_desk_output() otherwise.
///
/// # Safety
/// `desk` is null or a desk; `text` and `length` are null or can be written.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn holdover_desk_said(
    desk: *const HoldoverDesk,
    text: *mut *const c_char,
    length: *mut usize,
) -> c_int {
    guarded(|| {
        // SAFETY: as promised to this function; `c_char` is a byte.
        unsafe { put_out(printed(&self::desk(desk)?.inner.said), text.cast(), length) }
    })
}

/// Without its NUL; the desk may not have run yet.
fn printed(text: &[u8]) -> &[u8] {
    match text {
        [text @ .., 0] => text,
        // Its first byte is a NUL all the same.
        _ => &[0][..0],
    }
}
