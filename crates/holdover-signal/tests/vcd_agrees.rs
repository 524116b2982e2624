//! The scanner against the crate `vcd`: the same text, the same changes.

use holdover_signal::{Level, vcd as ours};
use proptest::prelude::*;
use vcd::{Command, Parser, Value};

/// What the crate says of the variables named, in our terms; `None` where it
/// refuses the text.
fn theirs(text: &[u8], names: &[&str]) -> Option<Vec<(i64, usize, Level)>> {
    let mut parser = Parser::new(text);
    let header = parser.parse_header().ok()?;
    let codes: Vec<_> = names
        .iter()
        .map(|name| {
            let (name, bit) = match name.strip_suffix(']').and_then(|n| n.split_once('[')) {
                Some((name, bit)) => (name, bit.parse::<usize>().unwrap()),
                None => (*name, 0),
            };
            (header.find_var(&["top", name]).unwrap().code, bit)
        })
        .collect();
    let level = |value: Value| match value {
        Value::V0 => Level::Low,
        Value::V1 => Level::High,
        Value::Z => Level::Released,
        Value::X => Level::Unknown,
    };
    let mut now = 0;
    let mut seen = Vec::new();
    for command in parser {
        match command.ok()? {
            Command::Timestamp(t) => now = t as i64 * 1000,
            Command::ChangeScalar(code, value) => {
                for (line, _) in codes.iter().enumerate().filter(|(_, c)| c.0 == code) {
                    seen.push((now, line, level(value)));
                }
            }
            Command::ChangeVector(code, value) => {
                for (line, (_, bit)) in codes.iter().enumerate().filter(|(_, c)| c.0 == code) {
                    let value: Vec<Value> = value.iter().collect();
                    let at = match value.len().checked_sub(bit + 1) {
                        Some(i) => value[i],
                        // IEEE 1364-2005 clause 18.2.1, left extension.
                        None if value[0] == Value::V1 => Value::V0,
                        None => value[0],
                    };
                    seen.push((now, line, level(at)));
                }
            }
            _ => {}
        }
    }
    Some(seen)
}

fn mine(text: &[u8], names: &[&str]) -> Option<Vec<(i64, usize, Level)>> {
    let mut seen = Vec::new();
    ours::scan(text, names, |c| seen.push((c.time_ns, c.line, c.level))).ok()?;
    Some(seen)
}

const NAMES: [&str; 5] = ["a", "b", "c", "bus[2]", "bus[7]"];

fn dump(ids: &[String], commands: &[(u8, u8, u32)]) -> String {
    let mut text = String::from("$timescale 1 us $end\n$scope module top $end\n");
    for (name, id) in ["a", "b", "c"].iter().zip(ids) {
        text += &format!("$var wire 1 {id} {name} $end\n");
    }
    text += &format!("$var wire 8 {} bus $end\n$var wire 1 {} other $end\n", ids[3], ids[4]);
    text += "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n$end\n";
    let mut now = 0u64;
    for (kind, which, number) in commands {
        let id = &ids[usize::from(*which) % 5];
        let value = ['0', '1', 'x', 'z'][*number as usize % 4];
        match kind % 6 {
            0 | 1 => {
                now += u64::from(*number) * u64::from(*number % 3);
                text += &format!("#{now}\n");
            }
            2 | 3 if *id != ids[3] => text += &format!("{value}{id}\n"),
            4 => text += &format!("$comment 0{id} #5 {number} $end\n"),
            _ => {
                let digits: String = (0..1 + number % 8)
                    .map(|i| ['0', '1', 'x', 'z'][(*number >> (2 * i)) as usize % 4])
                    .collect();
                text += &format!("b{digits} {}\n", ids[3]);
            }
        }
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, ..ProptestConfig::default() })]

    #[test]
    fn the_same_changes(
        ids in proptest::collection::hash_set("[!-~]{1,4}", 5),
        commands in proptest::collection::vec((any::<u8>(), any::<u8>(), any::<u32>()), 0..200),
    ) {
        let ids: Vec<String> = ids.into_iter().collect();
        // The crate takes such a word for the end of a declaration.
        prop_assume!(ids.iter().all(|id| id != "$end"));
        let text = dump(&ids, &commands);
        let theirs = theirs(text.as_bytes(), &NAMES);
        prop_assert!(theirs.is_some(), "{}", text);
        prop_assert_eq!(mine(text.as_bytes(), &NAMES), theirs, "{}", text);
    }

    #[test]
    fn a_byte_changed_is_refused_by_both_or_read_alike(
        commands in proptest::collection::vec((any::<u8>(), any::<u8>(), any::<u32>()), 1..40),
        at in any::<prop::sample::Index>(),
        byte in any::<u8>(),
    ) {
        let ids: Vec<String> = ["!", "#", "ab", "$", "xyz"].map(String::from).into();
        let mut text = dump(&ids, &commands).into_bytes();
        let body = text.windows(9).position(|w| w == b"$dumpvars").unwrap() + 15;
        let at = body.min(text.len() - 1) + at.index((text.len() - body).max(1));
        let at = at.min(text.len() - 1);
        // The crate ends a section at the letters, we at the word.
        prop_assume!(!text[at + 1..].starts_with(b"$end") && !text[..at].ends_with(b"$end"));
        text[at] = byte;
        // Where both read it, they read the same; where one refuses, the other
        // may be more lenient.
        if let (Some(a), Some(b)) = (mine(&text, &NAMES), theirs(&text, &NAMES)) {
            prop_assert_eq!(a, b, "{}", String::from_utf8_lossy(&text));
        }
    }
}
