//! The three structures of the C data interface, as the standard prints them.
#![allow(unsafe_code, reason = "what others gave has to be given back by calling their function")]

use std::ffi::{CStr, c_char, c_int, c_void};
use std::ptr;

/// `struct ArrowSchema`: what kind of column it is.
#[repr(C)]
pub struct ArrowSchema {
    pub format: *const c_char,
    pub name: *const c_char,
    pub metadata: *const c_char,
    pub flags: i64,
    pub n_children: i64,
    pub children: *mut *mut ArrowSchema,
    pub dictionary: *mut ArrowSchema,
    pub release: Option<unsafe extern "C" fn(*mut ArrowSchema)>,
    pub private_data: *mut c_void,
}

/// `struct ArrowArray`: where its values are.
#[repr(C)]
pub struct ArrowArray {
    pub length: i64,
    pub null_count: i64,
    pub offset: i64,
    pub n_buffers: i64,
    pub n_children: i64,
    pub buffers: *mut *const c_void,
    pub children: *mut *mut ArrowArray,
    pub dictionary: *mut ArrowArray,
    pub release: Option<unsafe extern "C" fn(*mut ArrowArray)>,
    pub private_data: *mut c_void,
}

/// `struct ArrowArrayStream`: columns one after the other.
#[repr(C)]
pub struct ArrowArrayStream {
    pub get_schema: Option<unsafe extern "C" fn(*mut ArrowArrayStream, *mut ArrowSchema) -> c_int>,
    pub get_next: Option<unsafe extern "C" fn(*mut ArrowArrayStream, *mut ArrowArray) -> c_int>,
    pub get_last_error: Option<unsafe extern "C" fn(*mut ArrowArrayStream) -> *const c_char>,
    pub release: Option<unsafe extern "C" fn(*mut ArrowArrayStream)>,
    pub private_data: *mut c_void,
}

/// The names of the capsules.
pub const SCHEMA: &CStr = c"arrow_schema";
pub const ARRAY: &CStr = c"arrow_array";
pub const STREAM: &CStr = c"arrow_array_stream";

impl ArrowSchema {
    /// One that is released: nothing is in it.
    pub fn empty() -> ArrowSchema {
        ArrowSchema {
            format: ptr::null(),
            name: ptr::null(),
            metadata: ptr::null(),
            flags: 0,
            n_children: 0,
            children: ptr::null_mut(),
            dictionary: ptr::null_mut(),
            release: None,
            private_data: ptr::null_mut(),
        }
    }
}

impl ArrowArray {
    /// One that is released: nothing is in it.
    pub fn empty() -> ArrowArray {
        ArrowArray {
            length: 0,
            null_count: 0,
            offset: 0,
            n_buffers: 0,
            n_children: 0,
            buffers: ptr::null_mut(),
            children: ptr::null_mut(),
            dictionary: ptr::null_mut(),
            release: None,
            private_data: ptr::null_mut(),
        }
    }
}

impl ArrowArrayStream {
    /// One that is released: nothing is in it.
    pub fn empty() -> ArrowArrayStream {
        ArrowArrayStream {
            get_schema: None,
            get_next: None,
            get_last_error: None,
            release: None,
            private_data: ptr::null_mut(),
        }
    }
}

// What is dropped unreleased is released: whoever moved it out of its place
// left an empty one behind.
macro_rules! released {
    ($($structure:ty),*) => {$(
        impl Drop for $structure {
            fn drop(&mut self) {
                if let Some(release) = self.release {
                    // SAFETY: the standard has the one who owns a structure
                    // call this once; `release` is null once it was called.
                    unsafe { release(self) };
                }
            }
        }

        // SAFETY: the standard lets structures be used and released by any
        // thread, one at a time.
        unsafe impl Send for $structure {}
    )*};
}

released!(ArrowSchema, ArrowArray, ArrowArrayStream);
