//! Holdover identifies access cards from the bits a reader sent.

pub mod bits;
pub mod decode;
pub mod file;
pub mod layout;
