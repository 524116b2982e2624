//! Every limit of an input, in one list; each constant stands where it is
//! applied, with its reason. The guide has them as a table, and a test holds
//! the two together.

pub use holdover::bits::Capture;
pub use holdover::layout::{MAX_CHECKS, Table};
pub use holdover::site::Site;
pub use holdover_signal::limits::{COLUMNS, LONGEST, MOST_READERS, REMEMBERED};

pub use crate::compose::MOST as COMPOSED;
pub use crate::host::MAX_OUTPUT;
pub use crate::input::csv::{MAX_COLUMNS, MAX_QUOTED_LINES};
pub use crate::input::lines::MAX_LINE;
pub use crate::learn::MOST as LEARNT;
pub use crate::plan::file::{MAX_PLAN_BYTES, MAX_PLAN_VALUES};
pub use crate::read::MAX_READERS;
pub use crate::read::summary::{MAX_CARDS, MAX_KINDS};
pub use crate::rows::{MAX_CELLS, MAX_ROWS, MAX_TEXT};
pub use crate::workbook::limits::*;
