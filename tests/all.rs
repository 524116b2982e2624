//! Drives the binary and the library's public interface, a module a topic.

mod blocks;
mod calibration;
mod calls;
mod cases;
mod compose;
mod exhaustive;
mod faults;
mod garbage;
mod habits;
mod holdover;
mod laws;
mod learn;
mod limits;
mod own;
mod pages;
mod plan;
mod read;
mod readme;
mod schemas;
mod signal;
mod supply;
mod table;
mod widths;
mod workbook;
