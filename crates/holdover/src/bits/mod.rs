//! Bits as they were received: captures, the spans that name places in them,
//! the text a probe prints them as, and linear algebra over GF(2) on them.

mod capture;
mod columns;
mod digits;
mod find;
pub mod gf2;
mod span;
mod text;
mod wide;
mod wire;

pub use capture::{Capture, CaptureError, CaptureErrorKind};
pub use columns::BitColumns;
pub use digits::{Digits, Side, Style, Way, Width};
pub use find::{Found, FoundNote, What, find, find_in_cell};
pub use span::{Position, Run, Span, SpanError, SpanErrorKind};
pub use text::{CaptureText, TextNote};
pub use wide::Wide;
