//! Holdover identifies access cards from the bits a reader sent.
//!
//! ```text
//! bits → layout → decode → rank → learn, plan, prove
//! ```
//! [`bits`] holds captures and spans, [`layout`] how cards arrange their bits,
//! [`decode`] what a capture says under one layout and one reading of it, and
//! [`rank`] which of them explains it best, and [`say`] puts that in words. The library computes and returns
//! values: it never prints, reads the clock or touches a file.

pub mod bits;
pub mod decode;
pub mod file;
pub mod layout;
pub mod learn;
pub mod plan;
pub mod prove;
pub mod rank;
pub mod say;
pub mod site;
pub mod states;

#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
