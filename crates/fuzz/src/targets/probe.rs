//! Probe files.

use holdover_signal::{CardRead, InputKind, Options, Probe, sniff};

use super::choice;
use crate::tool;

/// A value-change dump.
pub fn vcd(data: &[u8]) {
    probe(data);
}

/// A CSV of changes or samples.
pub fn samples(data: &[u8]) {
    probe(data);
}

/// A dump says the same read whole and in pieces, byte for byte; of a table,
/// what its columns are is judged by the bytes at hand.
fn probe(data: &[u8]) {
    let Some((way, rest)) = choice(data, 8) else { return };
    let kind = sniff(rest);
    let mut options = Options::default();
    options.rate_hz = (way == 1).then_some(1e6);
    let probe = Probe::new(options).expect("options that can be");
    let mut whole: Vec<CardRead> = Vec::new();
    let of_whole = probe.read_from(rest, |read| whole.push(read));
    let mut parts: Vec<CardRead> = Vec::new();
    let mut session = probe.session();
    let size = [1, 7, 64, 1000][way % 4];
    let mut pieces = rest.chunks(size);
    let fed = pieces.try_for_each(|piece| session.push(piece, |read| parts.push(read)));
    let of_parts = fed.and_then(|()| session.finish(|read| parts.push(read)));
    if kind == Some(InputKind::ValueChanges) {
        assert_eq!(format!("{whole:?}"), format!("{parts:?}"));
        let said = |result: &Result<_, holdover_signal::SignalError>| match result {
            Ok(summary) => format!("{summary:?}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(said(&of_whole), said(&of_parts));
    }
    if way >= 4 {
        let file = tool::file("probe", rest);
        let page = "page.html".to_owned();
        let words: &[&str] = match way {
            4 => &["signal", &file],
            5 => &["signal", &file, "--format", "json"],
            6 => &["signal", &file, "--html", &page],
            _ => &["read", &file, "--format", "csv"],
        };
        tool::run(words);
    }
}
