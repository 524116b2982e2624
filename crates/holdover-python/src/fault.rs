//! How a call ends that does not end well: an exception, always.

use std::panic::{AssertUnwindSafe, catch_unwind};

use pyo3::create_exception;
use pyo3::exceptions::{PyRuntimeError, PyValueError};
use pyo3::prelude::*;

create_exception!(
    holdover,
    Refused,
    PyValueError,
    "What was given is wrong: the message says what, where, and how to mend it."
);

/// What is wrong with what was given.
pub fn refused(message: impl std::fmt::Display) -> PyErr {
    Refused::new_err(message.to_string())
}

/// Works without the interpreter's lock; a panic, which is a mistake of ours,
/// becomes an ordinary error and not one that no `except` clause catches.
pub fn working<T: Send>(py: Python<'_>, work: impl FnOnce() -> T + Send) -> PyResult<T> {
    py.detach(|| catch_unwind(AssertUnwindSafe(work))).map_err(|panic| {
        let said = (panic.downcast_ref::<String>().map(String::as_str))
            .or(panic.downcast_ref::<&str>().copied());
        let said = said.unwrap_or("no word of it");
        PyRuntimeError::new_err(format!("a mistake in holdover, please report it: {said}"))
    })
}
