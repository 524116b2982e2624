//! Drives the binary and the library's public interface, a module a topic.

mod as_they_come;
mod blocks;
mod calls;
mod cases;
mod compose;
mod faults;
mod forms;
mod garbage;
mod habits;
mod holdover;
mod laws;
mod learn;
mod limits;
mod mask;
mod own;
mod pages;
mod plan;
mod proof;
mod read;
mod readme;
mod schemas;
mod signal;
mod supply;
mod table;
mod widths;
mod workbook;
