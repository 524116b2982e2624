//! Workbooks.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::captures::read;
use super::choice;
use super::sheets::planned;
use crate::tool;

/// A workbook as it is, or its parts as text, which are packed first: each
/// begins with a line `=== name`. It is read as a roster or as captures.
pub fn workbook(data: &[u8]) {
    let Some((way, rest)) = choice(data, 4) else { return };
    let packed = match rest.starts_with(b"=== ") {
        true => pack(rest),
        false => rest.to_vec(),
    };
    match way {
        0 => planned(2, &tool::file("roster.xlsx", &packed)),
        1 => planned(3, &tool::file("roster.xlsx", &packed)),
        2 => read(2, &packed),
        _ => {
            let file = tool::file("cards.xlsx", &packed);
            tool::run(&["learn", &file, "--sheet", "2"]);
        }
    }
}

fn pack(parts: &[u8]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut open = false;
    for line in parts.split_inclusive(|byte| *byte == b'\n') {
        match line.strip_prefix(b"=== ") {
            Some(name) => {
                let name = String::from_utf8_lossy(name.trim_ascii_end()).into_owned();
                // A name twice is refused by the packer.
                open = zip.start_file(name, options).is_ok();
            }
            None if open => zip.write_all(line).expect("memory takes it"),
            None => {}
        }
    }
    zip.finish().map(Cursor::into_inner).unwrap_or_default()
}
