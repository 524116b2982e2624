//! Hostile input is normal input: random bytes, cuts at every byte, changed
//! bytes and reordered lines end in a result or an error, never in a panic, and
//! what came before the damage is kept.

mod common;

use common::{Draw, write};
use holdover::bits::Capture;
use holdover_signal::compose::{Compose, Form, Track};
use holdover_signal::{CardRead, Options, Probe, SignalError, SignalErrorKind, Summary, sniff};
use proptest::prelude::*;

fn options() -> Options {
    let mut options = Options::default();
    options.rate_hz = Some(100_000.0);
    options
}

fn attempt(file: &[u8]) -> (Vec<CardRead>, Result<Summary, SignalError>) {
    let mut reads = Vec::new();
    let end = Probe::new(options()).unwrap().read_from(file, |read| reads.push(read));
    (reads, end)
}

/// The same, handed over in pieces.
fn in_pieces(file: &[u8], pieces: impl Iterator<Item = usize>) -> Vec<Capture> {
    let mut reads = Vec::new();
    let mut session = Probe::new(options()).unwrap().session();
    let mut rest = file;
    for size in pieces {
        let (piece, after) = rest.split_at(size.clamp(1, rest.len().max(1)).min(rest.len()));
        rest = after;
        if session.push(piece, |read| reads.push(read.bits)).is_err() {
            return reads;
        }
        if rest.is_empty() {
            break;
        }
    }
    let _ = session.push(rest, |read| reads.push(read.bits));
    let _ = session.finish(|read| reads.push(read.bits));
    reads
}

fn small(form: Form) -> (Vec<u8>, Vec<Capture>) {
    let mut draw = Draw::new(21);
    let captures = draw.captures(4, 12);
    let mut compose = Compose::default();
    compose.form = form;
    compose.jitter = 0.1;
    compose.gap_us = 120_000.0;
    if form == Form::CsvSamples {
        compose.rate_hz = 40_000.0;
        compose.interval_us = 1_000.0;
        compose.gap_us = 9_000.0;
        compose.time_column = false;
    }
    let captures = if form == Form::CsvSamples { captures[..2].to_vec() } else { captures };
    (write(&compose, &captures).0, captures)
}

#[test]
fn a_cut_anywhere_keeps_what_came_before() {
    for form in [Form::ValueChanges, Form::CsvChanges] {
        let (file, captures) = small(form);
        for cut in 0..file.len() {
            let (reads, end) = attempt(&file[..cut]);
            assert!(reads.len() <= captures.len());
            for (i, read) in reads.iter().enumerate() {
                if i + 1 < reads.len() {
                    assert_eq!(read.bits, captures[i], "cut at {cut}");
                } else {
                    // The last one may be cut; never longer.
                    assert!(captures[i].to_string().starts_with(&read.bits.to_string()));
                }
            }
            if let Err(error) = end {
                assert!(!error.to_string().is_empty());
            }
        }
    }
    let (file, _) = small(Form::CsvSamples);
    for cut in (0..file.len()).step_by(37) {
        let _ = attempt(&file[..cut]);
    }
}

#[test]
fn lines_out_of_order_are_refused_with_their_place() {
    for form in [Form::ValueChanges, Form::CsvChanges] {
        let (file, captures) = small(form);
        let text = String::from_utf8(file).unwrap();
        let mut lines: Vec<&str> = text.lines().collect();
        // A stretch near the end, moved behind the one after it.
        let n = lines.len();
        lines[n - 12..n - 4].rotate_left(4);
        let text = lines.join("\n") + "\n";
        let (reads, end) = attempt(text.as_bytes());
        let error = end.unwrap_err();
        let SignalErrorKind::TimeBackwards { line, byte, .. } = error.kind() else {
            panic!("{error}");
        };
        assert_eq!(text[..*byte as usize].lines().count() as u64 + 1, *line);
        assert!(reads.len() >= captures.len() - 1);
        assert_eq!(reads[0].bits, captures[0]);
        assert_eq!(error.before().unwrap().readers[0].captures, reads.len() as u64);
        assert!(error.to_string().contains(&format!("line {line}")));
    }
}

#[test]
fn empty_binary_and_foreign_files_are_told() {
    let kind = |file: &[u8]| attempt(file).1.unwrap_err().kind().clone();
    assert_eq!(kind(b""), SignalErrorKind::Empty);
    assert_eq!(kind(b" \n\n\t "), SignalErrorKind::Empty);
    let told = |file: &[u8], word: &str| {
        let message = kind(file).to_string();
        assert!(message.contains(word), "{message}");
    };
    told(b"\x7FELF\0\0\0\0", "binary");
    told(b"\xFF\xFET\0i\0m\0e\0", "UTF-16");
    told(b"hello world, this is text\n", "hello");
    told(b"$timescale 1 us $end\n", "$enddefinitions");
    told(b"$var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n", "value changes");
    told(b"$var wire 1 ! led $end $enddefinitions $end\n#0\n1!\n", "two data lines");
    told(b"time_us,D0,D1\n", "time_us");
    told(b"time_us,D0,D1\n0,1,1\n10,0,1\n20,1\n", "line 4");
    told(b"time_us,D0,D1\n0,1,1\n10,0,1\n20,1", "end of the file");
    told(b"time_us,D0,D1\n0,1,1\n10,0,q\n20,1,1\n", "line 3");
}

#[test]
fn zeros_in_the_middle_of_a_file_are_damage() {
    for form in [Form::ValueChanges, Form::CsvChanges] {
        let (mut file, captures) = small(form);
        let from = file.len() * 3 / 4;
        file[from..from + 64].fill(0);
        let (reads, end) = attempt(&file);
        assert!(end.is_err());
        assert_eq!(reads[0].bits, captures[0]);
    }
}

#[test]
fn a_file_without_line_ends_is_not_swallowed_whole() {
    let mut file =
        b"$var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n#0\nb".to_vec();
    file.resize(4 << 20, b'1');
    let error = attempt(&file).1.unwrap_err();
    assert!(matches!(error.kind(), SignalErrorKind::Syntax { .. }), "{error}");
    let table = [b"time_us,D0,D1\n0,1,1\n1,1,1\n".to_vec(), vec![b'1'; 4 << 20]].concat();
    assert!(attempt(&table).1.is_err());
}

/// Wherever the blocks are cut, what a comment holds is passed over.
#[test]
fn control_characters_in_comments_are_passed_over() {
    let file =
        b"$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n\
                 #0 1! 1#\n$comment a\0\x01 b\n\0 $end\n#1000 0! #1050 1! #500000\n";
    let (reads, end) = attempt(file);
    assert!(end.is_ok(), "{end:?}");
    assert_eq!(reads.len(), 1);
    for size in 1..20 {
        let bits: Vec<_> = reads.iter().map(|read| read.bits).collect();
        assert_eq!(in_pieces(file, std::iter::repeat(size)), bits, "{size}");
    }
}

/// A control character elsewhere is damage, wherever the blocks are cut.
#[test]
fn control_characters_between_commands_are_damage() {
    let changes: String = (1..40).map(|i| format!("#{i}000 0! #{i}050 1!\n")).collect();
    for odd in ["\0", "\x12", "\x1b"] {
        let changes = changes.replacen("#9050 1!\n", &format!("#9050 1!{odd}\n"), 1);
        let file = format!(
            "$var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n#0 1! 1#\n{changes}"
        );
        let (reads, end) = attempt(file.as_bytes());
        assert!(end.unwrap_err().to_string().contains("line 11"), "{odd:?}");
        let bits: Vec<_> = reads.iter().map(|read| read.bits).collect();
        for size in 1..20 {
            let parts = in_pieces(file.as_bytes(), std::iter::repeat(size));
            assert_eq!(parts, bits, "{odd:?} {size}");
        }
    }
}

/// A time too late is named where it is used, wherever the blocks are cut.
#[test]
fn a_late_time_is_named_in_its_place() {
    let file = b"$timescale 1 ms $end $var wire 1 ! D0 $end $var wire 1 # D1 $end\n\
                 $enddefinitions $end\n#0\n1!\n1#\n#5\n0!\n1!\n#99999999999999\n0!\n\
                 #99999999999999\n1!\n#99999999999999\n0!\n#99999999999999\n1!\n";
    let message = attempt(file).1.unwrap_err().to_string();
    assert!(message.contains("line 10,"), "{message}");
    for size in 1..20 {
        let mut session = Probe::new(options()).unwrap().session();
        let mut pieces = file.chunks(size);
        let end = pieces.try_for_each(|piece| session.push(piece, drop));
        let end = end.and_then(|()| session.finish(drop).map(drop));
        assert_eq!(end.unwrap_err().to_string(), message, "{size}");
    }
}

/// A dump's changes at random times, some of them together, gaps of every kind
/// among them.
fn dump_of(steps: &[(u8, u32)]) -> String {
    let mut file =
        "$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n\
                    #0 1! 1#\n"
            .to_owned();
    let (mut at, mut high) = (0, [true; 2]);
    for &(kind, by) in steps {
        at += match kind % 8 {
            0 => 0,
            1 | 2 => u64::from(by % 3),
            3..=5 => u64::from(40 + by % 30),
            6 => u64::from(900 + by % 3000),
            _ => u64::from(by % 400_000),
        };
        let line = usize::from(kind >> 7);
        high[line] = !high[line];
        file += &format!("#{at} {}{}\n", u8::from(high[line]), ['!', '#'][line]);
    }
    file + &format!("#{}\n", at + 150_000)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn bytes_of_any_kind(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let _ = sniff(&bytes);
        let _ = attempt(&bytes);
    }

    #[test]
    fn text_that_looks_the_part(
        text in "(\\$(var|scope|end|dumpoff|dumpon|dumpvars|comment|enddefinitions|timescale) ?|#[0-9]{1,20}\n|[01xzbrs]|[!-~]{1,3}|[ \n,;]|D[01]|wire 1 ){0,80}",
    ) {
        for front in ["", "$var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end\n", "time_us,D0,D1\n0,1,1\n5,1,0\n", "D0,D1\n1,1\n1,0\n"] {
            let file = format!("{front}{text}");
            let _ = sniff(file.as_bytes());
            let _ = attempt(file.as_bytes());
        }
    }

    #[test]
    fn a_byte_changed(at in any::<prop::sample::Index>(), byte: u8, form in 0usize..2) {
        let (mut file, _) = small([Form::ValueChanges, Form::CsvChanges][form]);
        let at = at.index(file.len());
        file[at] = byte;
        let _ = attempt(&file);
    }

    #[test]
    fn pieces_say_what_the_whole_says(
        steps in proptest::collection::vec((any::<u8>(), any::<u32>()), 0..120),
        sizes in proptest::collection::vec(1usize..40, 1..30),
        glitch_us in prop::sample::select(vec![0.0, 1.0, 5.0]),
    ) {
        let file = dump_of(&steps);
        let mut options = Options::default();
        options.glitch_us = glitch_us;
        let probe = Probe::new(options).unwrap();
        let mut whole = Vec::new();
        let summary = probe.read_from(file.as_bytes(), |read| whole.push(read)).unwrap();
        let (mut parts, mut session, mut rest) = (Vec::new(), probe.session(), file.as_bytes());
        for size in sizes.iter().cycle() {
            let (piece, after) = rest.split_at(rest.len().min(*size));
            session.push(piece, |read| parts.push(read)).unwrap();
            rest = after;
            if rest.is_empty() { break }
        }
        let of_parts = session.finish(|read| parts.push(read)).unwrap();
        prop_assert_eq!(format!("{:?}", whole), format!("{:?}", parts));
        prop_assert_eq!(format!("{:?}", summary), format!("{:?}", of_parts));
    }

    #[test]
    fn pieces_of_any_size_read_alike(sizes in proptest::collection::vec(1usize..40, 1..30), form in 0usize..3) {
        let (file, captures) = small([Form::ValueChanges, Form::CsvChanges, Form::CsvSamples][form]);
        prop_assert_eq!(in_pieces(&file, sizes.iter().copied().cycle()), captures);
    }
}

#[test]
fn the_generator_refuses_what_cannot_be() {
    let captures = ["01".parse().unwrap()];
    let refused = |change: &dyn Fn(&mut Compose)| {
        let mut compose = Compose::default();
        change(&mut compose);
        compose.write(&[Track::new("", &captures)], Vec::new()).unwrap_err().to_string()
    };
    assert!(refused(&|c| c.width_us = 2_000.0).contains("pulse width"));
    assert!(refused(&|c| c.gap_us = 100.0).contains("gap"));
    assert!(refused(&|c| c.jitter = f64::NAN).contains("jitter"));
    assert!(refused(&|c| c.faults.lost = 1.5).contains("faults"));
    assert!(refused(&|c| c.timescale = (1, holdover_signal::TimeUnit::Millis)).contains("tick"));
    assert!(refused(&|c| c.interval_us = f64::INFINITY).contains("interval"));
}
