//! Drives the binary and the library's public interface, a module a topic.

mod calibration;
