//! Drives the binary and the library's public interface, a module a topic.

mod blocks;
mod calibration;
mod cases;
mod compose;
mod exhaustive;
mod garbage;
mod habits;
mod holdover;
mod laws;
mod learn;
mod pages;
mod plan;
mod read;
mod readme;
mod signal;
mod table;
mod widths;
mod workbook;
