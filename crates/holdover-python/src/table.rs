//! Tables as objects.

use std::path::PathBuf;
use std::sync::Arc;

use holdover::decode::Reading;
use holdover::layout as library;
use pyo3::exceptions::{PyKeyError, PyValueError};
use pyo3::prelude::*;

use crate::captures;
use crate::columns::Columns;
use crate::fault::refused;
use crate::layouts::{self, Known, Layout};
use crate::toml::from_text;

/// A set of layouts, ids unique, in the order given.
///
/// `Table([layout, …])` makes one of layouts; `Table.builtin()`,
/// `Table.from_toml(text)` and `Table.from_file(path)` read them.
#[pyclass(frozen, eq, module = "holdover")]
pub struct Table {
    table: library::Table,
    known: Vec<Arc<Known>>,
}

impl PartialEq for Table {
    fn eq(&self, other: &Table) -> bool {
        self.table == other.table
    }
}

impl Table {
    fn of(table: library::Table) -> Table {
        let known = table.layouts().iter().map(|layout| Known::new(layout.clone())).collect();
        Table { table, known }
    }
}

#[pymethods]
impl Table {
    #[new]
    fn new(layouts: Vec<PyRef<'_, Layout>>) -> PyResult<Table> {
        let layouts = layouts.iter().map(|layout| layout.layout().clone());
        let table = library::Table::new(layouts).map_err(refused)?;
        match table.excess() {
            Some(excess) => Err(refused(excess)),
            None => Ok(Table::of(table)),
        }
    }

    /// The table that ships: what a published source or common practice gives.
    #[staticmethod]
    fn builtin() -> Table {
        Table::of(library::builtin().clone())
    }

    /// Reads a table file's text.
    ///
    /// Raises Refused with every mistake: line, column, what to write instead.
    #[staticmethod]
    fn from_toml(py: Python<'_>, text: &str) -> PyResult<Table> {
        from_text(py, text, "the text").map(Table::of)
    }

    /// Reads a table file.
    ///
    /// Raises OSError where it cannot be read, Refused with every mistake in it.
    #[staticmethod]
    fn from_file(py: Python<'_>, path: PathBuf) -> PyResult<Table> {
        let size = std::fs::metadata(&path)?.len();
        let (name, most) = (path.display(), library::Table::MAX_BYTES);
        if size > most as u64 {
            return Err(refused(format!("{name}: {size} bytes, a table has at most {most}")));
        }
        let text = String::from_utf8(std::fs::read(&path)?)
            .map_err(|_| refused(format!("{name}: not text in UTF-8: save it as that")))?;
        from_text(py, &text, &name.to_string()).map(Table::of)
    }

    /// The table as a file's text; reading it back gives an equal table.
    fn to_toml(&self) -> String {
        self.table.to_toml()
    }

    /// The layouts, in the order given.
    #[getter]
    fn layouts(&self) -> Vec<Layout> {
        self.known.iter().cloned().map(Layout::new).collect()
    }

    /// The layout of an id.
    fn __getitem__(&self, id: &str) -> PyResult<Layout> {
        match self.table.index_of(id) {
            Some(nth) => Ok(Layout::new(self.known[nth].clone())),
            None => {
                let known: Vec<&str> = self.table.layouts().iter().map(|l| l.id()).collect();
                let known = known.join(", ");
                Err(PyKeyError::new_err(format!("no layout {id:?}: there are {known}")))
            }
        }
    }

    fn __contains__(&self, id: &str) -> bool {
        self.table.index_of(id).is_some()
    }

    fn __iter__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        self.layouts().into_pyobject(py)?.call_method0("__iter__")
    }

    fn __len__(&self) -> usize {
        self.known.len()
    }

    fn __repr__(&self) -> String {
        format!("<holdover.Table of {} layouts>", self.known.len())
    }

    /// Decodes captures of one length under every layout that could be theirs:
    /// one `Columns` a layout and reading, by reading, then in the table's order
    /// (where a bit was lost, one for each value of it).
    ///
    /// `captures` and `align` are as for `Layout.decode`. `length` is how many
    /// bits a capture has; captures that are words need it said. `readings`
    /// names what may have happened to them.
    ///
    /// Which layout explains a capture best is not asked here: `holdover.read`
    /// weighs that.
    #[pyo3(signature = (captures, length=None, *, align="right", readings=vec!["as-captured".to_owned()]))]
    fn decode(
        &self,
        py: Python<'_>,
        captures: &Bound<'_, PyAny>,
        length: Option<usize>,
        align: &str,
        readings: Vec<String>,
    ) -> PyResult<Vec<Columns>> {
        let readings: Vec<Reading> =
            readings.iter().map(|name| layouts::reading(name)).collect::<PyResult<_>>()?;
        if readings.len() > Reading::ALL.len() {
            return Err(PyValueError::new_err("a reading is named twice"));
        }
        let captures = captures::read(captures, length, layouts::align(align)?)?;
        let mut all = Vec::new();
        for reading in readings {
            let of_length = |known: &&Arc<Known>| known.length(reading) == Some(captures.length);
            for known in self.known.iter().filter(of_length) {
                all.extend(known.decode(py, &captures, reading)?);
            }
        }
        Ok(all)
    }
}
