//! Columns to and from Arrow, through its C data interface and the capsules
//! that Python passes it in: <https://arrow.apache.org/docs/format/CDataInterface.html>
//! and CDataInterface/PyCapsuleInterface.html beside it.
//!
//! The interface is three structures that never change; here they are written
//! down, since the crates that have them bring a whole engine along.

mod abi;
mod give;
mod take;

pub use give::{array, schema, stream};
pub use take::{Chunk, column};
