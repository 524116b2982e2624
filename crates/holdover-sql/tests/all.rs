//! The functions against the library, and the binary as people run it.

mod answers;
mod cluster;
mod mistakes;
mod session;
