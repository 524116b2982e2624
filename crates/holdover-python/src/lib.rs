//! Holdover from Python: the module `holdover._native`, on which the package in
//! `python/` stands.
//!
//! Values go in and come out; what is decoded stays in the vectors that Rust
//! wrote, and numpy and Arrow look at them there. The interpreter's lock is
//! released while anything is computed, and no panic crosses into Python
//! (`fault.rs`, `working`).
//!
//! It is compiled for the stable interface of Python 3.11, which needs no Python
//! to build; nothing of it runs without one, so its tests are pytest's, in a
//! clean environment with the wheel installed (`check`).
//!
//! Columns are written once, in Rust. numpy and Arrow look at them there,
//! read-only; what nobody looks at any more is written over by the next call of
//! the same layout (up to 32 MB a layout). `unsafe` is denied but in `arrow/` (the
//! structures are raw pointers), `fast.rs` (functions compiled for some
//! processors) and two functions of `columns.rs` (arrays that borrow).

mod arrow;
mod captures;
mod columns;
mod desk;
mod fast;
mod fault;
mod layouts;
mod table;
mod toml;

use pyo3::prelude::*;

/// The module.
#[pymodule]
mod _native {
    #[pymodule_export]
    use crate::columns::Columns;
    #[pymodule_export]
    use crate::desk::{Desk, Ran};
    #[pymodule_export]
    use crate::layouts::{Check, Field, Layout};
    #[pymodule_export]
    use crate::table::Table;

    use super::*;

    /// What a module has beside its classes.
    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("Refused", module.py().get_type::<crate::fault::Refused>())?;
        module.add("SCHEMA", holdover_desk::SCHEMA)?;
        module.add("__version__", env!("CARGO_PKG_VERSION"))
    }
}
