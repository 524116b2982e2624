//! Captures as text, one by one and in files of every form.

use holdover::bits::{Capture, CaptureText, Span};
use holdover_signal::{raw_card_data, to_raw_card_data};
use serde_json::Value;

use super::{FOUND, SITE, choice, objects, records};
use crate::tool;

/// Captures and spans as text, and raw card data: what is read is written so
/// that it reads back equal.
pub fn text(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Ok(read) = text.parse::<CaptureText>() {
        holds(&read.capture);
    }
    if let Ok(span) = text.parse::<Span>() {
        assert_eq!(span.to_string().parse::<Span>().as_ref(), Ok(&span));
        assert_eq!(Span::from_offsets(span.offsets()).as_ref(), Ok(&span));
    }
    if let Ok(read) = raw_card_data(text) {
        let again = raw_card_data(&to_raw_card_data(read.reader, read.format, &read.bits));
        let again = again.expect("a reply of ours");
        assert_eq!((again.bits, again.reader), (read.bits, read.reader));
        assert_eq!(again.format, read.format);
    }
}

/// Hexadecimal, whatever stands behind the prefix.
pub fn hex(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    for text in [format!("0x{text}"), format!("0X{text}/26"), format!("0x{text}/256")] {
        if let Ok(read) = text.parse::<CaptureText>() {
            holds(&read.capture);
        }
    }
}

fn holds(capture: &Capture) {
    assert_eq!(capture.to_string().parse().as_ref(), Ok(capture));
    let hex = format!("0x{}/{}", capture.to_hex(), capture.len());
    assert_eq!(hex.parse().as_ref(), Ok(capture));
    assert_eq!(capture.complement().complement(), *capture);
    assert_eq!(capture.reversed().reversed(), *capture);
    assert_eq!(capture.reversed().complement(), capture.complement().reversed());
}

/// A file of captures, a line each.
pub fn lines(data: &[u8]) {
    let Some((way, rest)) = choice(data, WAYS) else { return };
    // Long enough, it is answered by the block.
    match way {
        0 => read(0, &rest.repeat(20_000 / rest.len().max(1) + 1)),
        _ => read(way, rest),
    }
}

/// A CSV of captures.
pub fn captures_csv(data: &[u8]) {
    let Some((way, rest)) = choice(data, WAYS) else { return };
    read(way, rest);
}

/// JSON Lines of captures.
pub fn json_lines(data: &[u8]) {
    let Some((way, rest)) = choice(data, WAYS) else { return };
    read(way, rest);
}

const WAYS: usize = 10;

/// Runs `read` one of its ways and holds what it says against itself.
pub(super) fn read(way: usize, bytes: &[u8]) {
    let file = tool::file("captures", bytes);
    let page = "page.html".to_owned();
    let own = ["--site", SITE, "--table", "built-in", "--table", FOUND];
    let mut words = vec!["read", file.as_str()];
    match way {
        0 | 1 => words.extend(["--format", "csv"]),
        2 => words.extend(["--format", "json"]),
        3 => {}
        4 => words.extend(["--full", "--mask"]),
        5 => words.push("--summary"),
        6 => words.extend(["--html", &page, "--quiet"]),
        7 => words.extend(["--streaming", "--format", "json"]),
        8 => words.extend(["--format", "json", "--mask"]),
        _ => words.extend(["--html", &page, "--show-numbers"]),
    }
    if way >= 8 {
        words.extend(own);
    }
    let ran = tool::run(&words);
    if words.contains(&"json") {
        let objects = objects(&ran.out);
        // What is hidden has steps for probabilities, and no checks.
        let answered = if words.contains(&"--mask") { hidden } else { answered };
        objects.iter().for_each(answered);
        let invalid = objects.iter().any(|object| object["verdict"] == "invalid");
        assert!(!invalid || ran.code == 2);
        assert!(ran.code != 0 || objects.iter().all(|object| object["verdict"] == "identified"));
    }
    if words.contains(&"csv") && !ran.out.is_empty() {
        let records = records(&ran.out);
        let of_records: Vec<(String, String)> = records[1..]
            .iter()
            .map(|record| (record[0].to_owned(), record[2].to_owned()))
            .collect();
        words.truncate(2);
        words.extend(["--format", "json"]);
        let again = tool::run(&words);
        assert_eq!(again.code, ran.code);
        let of_objects: Vec<(String, String)> = objects(&again.out)
            .iter()
            .map(|object| (object["line"].to_string(), word(&object["verdict"])))
            .collect();
        assert_eq!(of_records, of_objects);
    }
    if words.contains(&"--html") {
        let page = tool::take("page.html");
        assert!(page.is_none_or(|page| page.ends_with(b"</html>\n") || page.ends_with(b"</html>")));
    }
}

fn word(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// Of a card that is hidden no bit is told.
fn hidden(object: &Value) {
    let told = |key: &str| word(&object[key]).contains(['0', '1']);
    assert!(word(&object["verdict"]) == "invalid" || !told("bits"), "{object}");
}

/// An answer's probabilities are shares of one, best first, and its verdict
/// is what they say.
fn answered(object: &Value) {
    let verdict = word(&object["verdict"]);
    assert!(object["line"].as_u64().is_some());
    if verdict == "invalid" {
        assert!(object["error"].is_string());
        return;
    }
    let candidates = object["candidates"].as_array().expect("candidates");
    let share = |value: &Value| value.as_f64().unwrap_or(0.0);
    let shares: Vec<f64> = candidates.iter().map(|c| share(&c["probability"])).collect();
    let none = share(&object["none_probability"]);
    let sum = shares.iter().sum::<f64>() + none + share(&object["other_probability"]);
    assert!((sum - 1.0).abs() < 1e-6, "{sum}");
    assert!(shares.windows(2).all(|pair| pair[0] >= pair[1]), "{shares:?}");
    let best = shares.first().copied().unwrap_or(0.0);
    let holds = candidates.first().is_some_and(|best| {
        let mut checks = best["checks"].as_array().into_iter().flatten();
        checks.all(|check| check["holds"] == true)
    });
    // What is printed is rounded.
    match verdict.as_str() {
        "identified" => assert!(best > 0.949_999 && holds),
        "unknown" => assert!(none > 0.499_999),
        "ambiguous" => assert!(none < 0.500_001 && (best < 0.950_001 || !holds)),
        other => panic!("verdict {other:?}"),
    }
}

/// `compose`: the first line names the layout, the others give values. What it
/// makes is read back.
pub fn compose(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let mut words = text.lines().filter(|word| !word.starts_with('-') && !word.contains('\0'));
    let Some(id) = words.next() else { return };
    let values: Vec<&str> = words.collect();
    // Many cards take long, and all that is said of them is held here: of the
    // ranges, whose product they are, no more than 100,000.
    let ranges = values.iter().filter(|value| value.contains('-'));
    if ranges.flat_map(|range| range.chars()).filter(char::is_ascii_digit).count() > 6 {
        return;
    }
    let ran = tool::run(&[&["compose", id, "--format", "json"], values.as_slice()].concat());
    if ran.code != 0 {
        return;
    }
    let file = tool::file("composed", ran.out.as_bytes());
    let again = tool::run(&["read", &file, "--format", "json"]);
    for (made, read) in objects(&ran.out).iter().zip(objects(&again.out)) {
        assert_eq!(made["bits"], read["bits"]);
    }
    let table = holdover::layout::builtin();
    let layout = table.layout(id).expect("a layout that was composed");
    for made in objects(&ran.out) {
        let capture: Capture = word(&made["bits"]).parse().expect("bits that read back");
        assert!(layout.admits(&capture), "{made}");
    }
}
