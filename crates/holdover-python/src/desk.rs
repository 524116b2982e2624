//! The command line at work on files by value.

use std::sync::{Mutex, MutexGuard, PoisonError};

use holdover_desk as library;
use pyo3::prelude::*;
use pyo3::types::PyBytes;

use crate::fault::{refused, working};

/// Files by name, in memory, and the commands of `holdover` at work on them.
///
/// What a command prints and writes is, byte for byte, what the binary prints
/// and writes. No disk, clock, environment or terminal is read. A desk may be
/// shared by threads, which then wait for each other; two desks know nothing of
/// each other.
#[pyclass(frozen, module = "holdover")]
#[derive(Default)]
pub struct Desk {
    desk: Mutex<library::Desk>,
}

impl Desk {
    fn desk(&self) -> MutexGuard<'_, library::Desk> {
        // A command that stopped in its middle leaves the files as they were.
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Works on the desk without the interpreter's lock.
    fn works<T: Send>(
        &self,
        py: Python<'_>,
        work: impl FnOnce(&mut library::Desk) -> T + Send,
    ) -> PyResult<T> {
        working(py, || work(&mut self.desk()))
    }
}

#[pymethods]
impl Desk {
    #[new]
    fn new() -> Desk {
        Desk::default()
    }

    /// Puts a file on the desk, in the place of one of that name; `-` is
    /// standard input.
    fn put(&self, py: Python<'_>, name: String, content: Vec<u8>) {
        py.detach(|| self.desk().put(name, content));
    }

    /// A file's bytes; None where there is no such file.
    fn get<'py>(&self, py: Python<'py>, name: &str) -> Option<Bound<'py, PyBytes>> {
        let content = py.detach(|| self.desk().get(name).map(<[u8]>::to_vec));
        content.map(|content| PyBytes::new(py, &content))
    }

    /// Takes a file from the desk; None where there is no such file.
    fn take<'py>(&self, py: Python<'py>, name: &str) -> Option<Bound<'py, PyBytes>> {
        let content = py.detach(|| self.desk().take(name));
        content.map(|content| PyBytes::new(py, &content))
    }

    /// The names of the files on the desk, in the order of their bytes.
    fn names(&self, py: Python<'_>) -> Vec<String> {
        py.detach(|| self.desk().names().map(str::to_owned).collect())
    }

    /// Runs a command: its words as after the program's name, as in
    /// `["read", "captures.csv", "--format", "json"]`. Files that it writes are
    /// on the desk afterwards, all of them or none.
    ///
    /// Nothing is raised where the command is refused: see `code` and `said`.
    fn run(&self, py: Python<'_>, words: Vec<String>) -> PyResult<Ran> {
        self.works(py, |desk| Ran::of(holdover_args::run(desk, &words)))
    }

    /// Runs a verb for its JSON; the words are those after the verb.
    ///
    /// Raises Refused, with the command's own words, where one of them or a
    /// file is wrong.
    fn json(&self, py: Python<'_>, verb: &str, words: Vec<String>) -> PyResult<Ran> {
        self.works(py, |desk| holdover_args::json(desk, verb, &words))?
            .map(Ran::of)
            .map_err(refused)
    }
}

/// What a command printed, and how it ended.
#[pyclass(frozen, module = "holdover")]
pub struct Ran {
    /// The binary's exit code: 0 done; 1 done, and something is wrong with the
    /// cards; 2 the command, a file or a line of it is wrong.
    #[pyo3(get)]
    code: u8,
    output: Vec<u8>,
    /// What the binary prints to standard error, without colour.
    #[pyo3(get)]
    said: String,
}

impl Ran {
    fn of(ran: library::Ran) -> Ran {
        let library::Ran { code, output, said, .. } = ran;
        Ran { code, output, said }
    }
}

#[pymethods]
impl Ran {
    /// What the binary prints to standard output.
    #[getter]
    fn output<'py>(&self, py: Python<'py>) -> Bound<'py, PyBytes> {
        PyBytes::new(py, &self.output)
    }

    fn __repr__(&self) -> String {
        format!("<holdover.Ran: code {}, {} bytes>", self.code, self.output.len())
    }
}
