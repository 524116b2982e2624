//! Files as probes and simulators write them: what each form allows, read from
//! text written out here.

mod common;

use common::{Draw, read};
use holdover_signal::compose::{Compose, Form};
use holdover_signal::{Chosen, FindingKind, GapBasis, Idle, InputKind, Options, PairChoice, Probe};

fn bits(options: &Options, file: &str) -> Vec<String> {
    read(options, file.as_bytes()).0.iter().map(|r| r.bits.to_string()).collect()
}

/// Pulses (µs, line) of 50 µs as a dump's changes, for two identifiers.
fn changes(pulses: &[(u64, usize)], ids: [&str; 2]) -> String {
    let one =
        |(at, line): &(u64, usize)| format!("#{at}\n0{id}\n#{}\n1{id}\n", at + 50, id = ids[*line]);
    pulses.iter().map(one).collect()
}

const PULSES: [(u64, usize); 5] = [(10_000, 0), (12_000, 1), (14_000, 1), (16_000, 0), (18_000, 1)];

#[test]
fn identifiers_aliases_scopes_and_sections() {
    let body = changes(&PULSES, ["#", "$"]);
    let file = format!(
        "$date now $end $version none $end\n$comment D0 D1 $end\n$timescale\n1\nus\n$end\n\
         $scope module top $end\n$scope module reader1 $end\n\
         $var wire 1 # D0 $end\n$var wire 1 $ D1 $end\n$upscope $end\n\
         $scope module copy $end\n$var wire 1 # D0 $end\n$var wire 1 $ D1 $end\n$upscope $end\n\
         $var real 64 r volts $end\n$var string 1 s words $end\n$upscope $end\n\
         $enddefinitions $end\n#0\n$dumpvars\n1#\n1$\nr0.0 r\nsnothing s\n$end\n\
         $comment 0# 0$ #99 $end\n{body}#900000\n"
    );
    let (reads, summary) = read(&Options::default(), file.as_bytes());
    assert_eq!(reads.len(), 1);
    assert_eq!(reads[0].bits.to_string(), "01101");
    assert_eq!(reads[0].findings, []);
    assert_eq!(&*reads[0].reader, "reader1");
    // The alias is no second reader.
    assert_eq!(summary.readers.len(), 1);
    assert_eq!(summary.chosen, Chosen::Names);
    assert_eq!(summary.kind, InputKind::ValueChanges);
    assert_eq!(summary.end_us, 900_000.0);
}

#[test]
fn every_command_on_one_line() {
    let body = changes(&PULSES, ["!", "\""]).replace('\n', " ");
    let file = format!(
        "$timescale 1us $end $var wire 1 ! D0 $end $var wire 1 \" D1 $end $enddefinitions $end \
         #0 1! 1\" {body}"
    );
    assert_eq!(bits(&Options::default(), &file), ["01101"]);
    assert_eq!(bits(&Options::default(), &file.replace(' ', "\r\n")), ["01101"]);
}

#[test]
fn a_bit_of_a_vector() {
    let mut file = String::from(
        "$timescale 1 us $end $scope module top $end $var wire 8 % bus [7:0] $end $upscope $end \
         $enddefinitions $end\n#0\nb11111111 %\n",
    );
    for (at, line) in PULSES {
        // Bit 3 is D0, bit 6 is D1; leading zeros are left out, as writers do.
        let low = if line == 0 { "b11110111" } else { "b10111111" };
        file += &format!("#{at}\n{low} %\n#{}\nb11111111 %\n", at + 50);
    }
    let mut options = Options::default();
    options.pairs = vec![PairChoice { reader: None, d0: "top.bus[3]".into(), d1: "bus[6]".into() }];
    assert_eq!(bits(&options, &file), ["01101"]);
    let whole = PairChoice { reader: None, d0: "bus".into(), d1: "bus[6]".into() };
    options.pairs = vec![whole];
    let error = Probe::new(options).unwrap().read_from(file.as_bytes(), |_| {}).unwrap_err();
    assert!(error.to_string().contains("8 bits wide"), "{error}");
}

#[test]
fn short_vectors_extend_to_the_left() {
    // Inverted wiring: `b0` is all low, `b1000` raises bit 3 only.
    let mut file = String::from(
        "$timescale 1 us $end $var wire 8 % bus $end $enddefinitions $end\n#0\nb0 %\n",
    );
    for (at, line) in PULSES {
        let high = if line == 0 { "b1000" } else { "b10000" };
        file += &format!("#{at}\n{high} %\n#{}\nb0 %\n", at + 50);
    }
    file += "#50000\n";
    let mut options = Options::default();
    options.pairs = vec![PairChoice { reader: None, d0: "bus[3]".into(), d1: "bus[4]".into() }];
    let (reads, summary) = read(&options, file.as_bytes());
    assert_eq!(reads[0].bits.to_string(), "01101");
    assert_eq!(summary.readers[0].idle, Idle::Low);
    assert!(summary.notes.iter().any(|n| n.contains("inverted")));
}

#[test]
fn unknown_levels_are_no_edges() {
    let head = "$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 \" D1 $end \
                $enddefinitions $end\n";
    // From x to 1 is no pulse, whenever it comes.
    let body = changes(&PULSES, ["!", "\""]);
    let file = format!("{head}#0\nx!\nx\"\n#500\n1!\n1\"\n{body}#900000\n");
    let (reads, _) = read(&Options::default(), file.as_bytes());
    assert_eq!((reads.len(), reads[0].bits.to_string().as_str()), (1, "01101"));
    assert_eq!(reads[0].findings, []);
    // Through x and back to 1 is no pulse either; through x to 0 may be one.
    let body = body.replace("#12000\n", "#11000\nx!\n#11020\n1!\n#11990\nz\"\n#12000\n");
    let file = format!("{head}#0\n1!\n1\"\n{body}#900000\n");
    let (reads, _) = read(&Options::default(), file.as_bytes());
    assert_eq!(reads[0].bits.to_string(), "01101");
    let kinds: Vec<_> = reads[0].findings.iter().map(|f| (f.kind, f.place.position)).collect();
    assert_eq!(kinds, [(FindingKind::UnsureEdge, Some(2))]);
    assert_eq!(reads[0].unsure.suspect, [2]);
}

#[test]
fn recording_switched_off_cuts() {
    let head = "$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 \" D1 $end \
                $enddefinitions $end\n#0\n1!\n1\"\n";
    let pulses: Vec<(u64, usize)> = (0..12).map(|i| (10_000 + 2_000 * i, 0)).collect();
    let later: Vec<(u64, usize)> = (0..12).map(|i| (500_000 + 2_000 * i, 1)).collect();
    // Off in the middle of a pulse, on again long after.
    let file = format!(
        "{head}{}#34000\n0!\n$dumpoff\nx!\nx\"\n$end\n#400000\n$dumpon\n1!\n1\"\n$end\n{}#900000\n",
        changes(&pulses, ["!", "\""]),
        changes(&later, ["!", "\""])
    );
    let (reads, _) = read(&Options::default(), file.as_bytes());
    assert_eq!(reads.len(), 2);
    assert_eq!(reads[0].bits.len(), 13);
    assert_eq!(reads[0].findings[0].kind, FindingKind::CutAtEnd);
    assert_eq!(reads[0].unsure.missing, [14]);
    assert_eq!(reads[1].bits.to_string(), "111111111111");
    assert_eq!(reads[1].findings, []);
}

#[test]
fn a_recording_that_begins_or_ends_in_a_pulse() {
    let head = "$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 \" D1 $end \
                $enddefinitions $end\n";
    let body = changes(&PULSES, ["!", "\""]);
    let file = format!("{head}#0\n0!\n1\"\n#30\n1!\n{body}#20000\n0!\n");
    let (reads, _) = read(&Options::default(), file.as_bytes());
    assert_eq!(reads.len(), 1);
    let kinds: Vec<_> = reads[0].findings.iter().map(|f| f.kind).collect();
    assert!(kinds.contains(&FindingKind::CutAtStart), "{kinds:?}");
    assert!(kinds.contains(&FindingKind::CutAtEnd), "{kinds:?}");
    assert_eq!(reads[0].unsure.missing[0], 1);
}

#[test]
fn a_last_capture_shorter_than_all_before_is_cut() {
    let mut draw = Draw::new(31);
    let captures: Vec<_> = (0..6)
        .map(|_| {
            loop {
                let c = draw.capture(40);
                if c.len() == 26 {
                    break c;
                }
            }
        })
        .collect();
    let (file, _) = common::write(&Compose::default(), &captures);
    // The file ends after a whole line, a few bits before the last capture's end.
    let text = String::from_utf8(file).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let cut = lines[..lines.len() - 17].join("\n") + "\n";
    let (reads, _) = read(&Options::default(), cut.as_bytes());
    let last = reads.last().unwrap();
    assert_eq!(reads.len(), 6);
    assert!(last.findings.iter().any(|f| f.kind == FindingKind::CutAtEnd));
    assert!(reads[..5].iter().all(|r| r.findings.is_empty()));
}

#[test]
fn tables_of_every_kind() {
    let rows: Vec<(f64, u8, u8)> = std::iter::once((0.0, 1, 1))
        .chain(PULSES.iter().flat_map(|(at, line)| {
            let low = [(*at as f64, u8::from(*line != 0), u8::from(*line != 1))];
            low.into_iter().chain([(*at as f64 + 50.0, 1, 1)])
        }))
        .chain([(400_000.0, 1, 1)])
        .collect();
    let table = |head: &str, row: &dyn Fn(f64, u8, u8) -> String| {
        let rows: String = rows.iter().map(|(t, a, b)| row(*t, *a, *b) + "\n").collect();
        format!("{head}{rows}")
    };
    let files = [
        table("Time [s],D0,D1\n", &|t, a, b| format!("{},{a},{b}", t / 1e6)),
        table("time_us,data_0,data_1\n", &|t, a, b| format!("{t},{a},{b}")),
        table("Time (ms)\tgreen\twhite\n", &|t, a, b| format!("{}\t{a}\t{b}", t / 1e3)),
        table("timestamp_ns;D1;D0\n", &|t, a, b| format!("{};{b};{a}", t * 1e3)),
        table("Time [s];D0;D1\n", &|t, a, b| format!("{};{a};{b}", t / 1e6).replace('.', ",")),
        table("\"Time [s]\",\"D0\",\"D1\"\n", &|t, a, b| {
            format!("\"{}\",\"{a}\",\"{b}\"", t / 1e6)
        }),
        table("# a remark\n\nTime [s], D0, D1\n", &|t, a, b| format!("{:e}, {a}, {b}", t / 1e6)),
        table("\u{FEFF}Time [µs],D0,D1\r\n", &|t, a, b| format!("{t},{a},{b}\r")),
        // Before the trigger, times are negative.
        table("Time [s],D0,D1\n", &|t, a, b| format!("{},{a},{b}", t / 1e6 - 0.02)),
        // No heading: the unit is that in which pulses are pulses.
        table("", &|t, a, b| format!("{},{a},{b}", t / 1e6)),
        table("", &|t, a, b| format!("{t},{a},{b}")),
        // Volts.
        table("Time [s],D0,D1\n", &|t, a, b| {
            format!("{},{},{}", t / 1e6, 0.02 + 4.96 * f64::from(a), 0.05 + 4.9 * f64::from(b))
        }),
        // A column of something else, and separators at the ends of rows.
        table("n,time_us,led,D0,D1,\n", &|t, a, b| format!("7,{t},0,{a},{b},")),
    ];
    for file in &files {
        let (reads, summary) = read(&Options::default(), file.as_bytes());
        assert_eq!(reads.len(), 1, "{file}");
        assert_eq!(reads[0].bits.to_string(), "01101", "{file}");
        assert_eq!(reads[0].findings, [], "{file}");
        assert!((reads[0].width.median_us - 50.0).abs() < 0.01, "{file}");
        assert_eq!(summary.kind, InputKind::CsvChanges);
        let volts = summary.notes.iter().any(|n| n.contains("volts"));
        assert_eq!(volts, file.contains("4.95") || file.contains("4.98"));
    }
}

#[test]
fn columns_by_number() {
    let file =
        "time_us,a,b,c\n0,1,1,0\n1000,1,0,0\n1050,1,1,0\n3000,0,1,0\n3050,1,1,1\n9000,1,1,1\n";
    let mut options = Options::default();
    options.pairs =
        vec![PairChoice { reader: Some("gate".into()), d0: "3".into(), d1: "2".into() }];
    let (reads, summary) = read(&options, file.as_bytes());
    assert_eq!(reads[0].bits.to_string(), "01");
    assert_eq!(&*reads[0].reader, "gate");
    assert_eq!(summary.chosen, Chosen::Caller);
}

#[test]
fn nameless_lines_are_told_by_what_they_do() {
    let mut draw = Draw::new(32);
    let captures = draw.captures(12, 40);
    for idle in [Idle::High, Idle::Low] {
        let mut compose = Compose::default();
        compose.idle = idle;
        compose.jitter = 0.1;
        let (file, _) = common::write(&compose, &captures);
        let text = String::from_utf8(file).unwrap();
        // Two lines without names that tell: only two, so those.
        let two = text.replace(" D0 ", " ch4 ").replace(" D1 ", " ch7 ");
        let (reads, summary) = read(&Options::default(), two.as_bytes());
        assert_eq!(reads.iter().map(|r| r.bits).collect::<Vec<_>>(), captures);
        assert_eq!(summary.chosen, Chosen::OnlyTwo);
        assert!(summary.chosen.is_guess());
        assert!(!summary.notes.is_empty());
        // Among others that do not behave so.
        let clock: String = text
            .lines()
            .map(|l| match l.strip_prefix('#').and_then(|t| t.parse::<u64>().ok()) {
                Some(t) => format!("{l}\n{}c\n{}e\n", t / 1000 % 2, u8::from(t % 3 == 0)),
                None => format!("{l}\n"),
            })
            .collect();
        let many = clock
            .replace("$var wire 1 ! D0 $end", "$var wire 1 c ch0 $end\n$var wire 1 ! ch1 $end")
            .replace("$var wire 1 \" D1 $end", "$var wire 1 e ch2 $end\n$var wire 1 \" ch3 $end");
        let (reads, summary) = read(&Options::default(), many.as_bytes());
        assert_eq!(summary.chosen, Chosen::Behaviour);
        assert_eq!(
            (summary.readers[0].d0.as_str(), summary.readers[0].d1.as_str()),
            ("ch1", "ch3")
        );
        assert_eq!(reads.iter().map(|r| r.bits).collect::<Vec<_>>(), captures);
    }
}

#[test]
fn slow_samples_read_and_are_called_out() {
    let mut draw = Draw::new(33);
    let captures = draw.captures(20, 37);
    for (width, rate) in [(140.0, 50_000.0), (350.0, 20_000.0), (112.0, 62_500.0)] {
        for form in [Form::CsvSamples, Form::ValueChanges] {
            let mut compose = Compose::default();
            compose.form = form;
            compose.width_us = width;
            compose.interval_us = 2_000.0;
            compose.rate_hz = rate;
            compose.jitter = 0.02;
            compose.gap_us = 200_000.0;
            let (mut file, _) = common::write(&compose, &captures);
            if form == Form::ValueChanges {
                // A dump of the same slow samples: every time on a sample.
                let step = (1e9 / rate) as u64;
                let text = String::from_utf8(file).unwrap();
                let lines = text.lines().map(|l| match l.strip_prefix('#') {
                    Some(t) => format!("#{}\n", t.parse::<u64>().unwrap().div_ceil(step) * step),
                    None => format!("{l}\n"),
                });
                file = lines.collect::<String>().into_bytes();
            }
            let (reads, summary) = read(&Options::default(), &file);
            assert_eq!(reads.iter().map(|r| r.bits).collect::<Vec<_>>(), captures);
            let reader = &summary.readers[0];
            let samples = reader.width.unwrap().median_us * rate / 1e6;
            assert!((samples - 7.0).abs() < 0.1, "{samples}");
            let kinds: Vec<_> = reader.findings.iter().map(|f| f.kind).collect();
            assert!(kinds.contains(&FindingKind::PulseWidth), "{form:?} {width} {kinds:?}");
            assert!(kinds.contains(&FindingKind::SlowSampling), "{form:?} {width} {kinds:?}");
            let slow = reader.findings.iter().find(|f| f.kind == FindingKind::SlowSampling);
            assert!(slow.unwrap().what.contains("kHz"));
        }
    }
}

#[test]
fn a_gap_can_be_given_and_too_many_pulses_are_no_capture() {
    let mut draw = Draw::new(34);
    let captures = draw.captures(3, 200);
    let mut compose = Compose::default();
    compose.gap_us = 8_000.0;
    let (file, _) = common::write(&compose, &captures);
    let mut options = Options::default();
    options.gap_us = Some(5_000.0);
    let (reads, summary) = read(&options, &file);
    assert_eq!(reads.iter().map(|r| r.bits).collect::<Vec<_>>(), captures);
    assert_eq!(summary.readers[0].gap, Some(GapBasis::Given));
    // With a gap far too long, they run together.
    options.gap_us = Some(50_000.0);
    let captures = draw.captures(30, 100);
    let (file, _) = common::write(&compose, &captures);
    let (reads, summary) = read(&options, &file);
    assert_eq!(reads, []);
    assert_eq!(summary.readers[0].count(FindingKind::TooManyPulses), 1);
    let total: usize = captures.iter().map(|c| c.len()).sum();
    assert!(summary.readers[0].findings[0].what.starts_with(&total.to_string()));
}

#[test]
fn a_pipe_hands_out_each_read_as_it_is_framed() {
    let mut draw = Draw::new(35);
    let captures: Vec<_> = (0..6)
        .map(|_| {
            loop {
                let c = draw.capture(40);
                if c.len() > 20 {
                    break c;
                }
            }
        })
        .collect();
    let (file, _) = common::write(&Compose::default(), &captures);
    let mut session = Probe::new(Options::default()).unwrap().session();
    let mut seen = Vec::new();
    let mut at_start_of = Vec::new();
    for line in file.split_inclusive(|b| *b == b'\n') {
        let before = seen.len();
        session.push(line, |read| seen.push(read.bits)).unwrap();
        if seen.len() > before {
            at_start_of.push(seen.len());
        }
    }
    // One at a time, each when the next began or time had passed.
    assert_eq!(at_start_of, [1, 2, 3, 4, 5, 6]);
    assert_eq!(seen, captures);
    // A pause does the same where nothing more comes.
    let mut session = Probe::new(Options::default()).unwrap().session();
    let text = String::from_utf8(file).unwrap();
    let end = text.match_indices('#').nth(2 * captures[0].len() + 1).unwrap().0;
    let mut seen = Vec::new();
    session.push(&text.as_bytes()[..end], |read| seen.push(read.bits)).unwrap();
    assert!(seen.is_empty());
    session.pause(|read| seen.push(read.bits));
    assert_eq!(seen, captures[..1]);
}

#[test]
fn records_have_the_keys_and_rows_the_columns() {
    let file = format!(
        "time_us,D0,D1\n0,1,1\n{}90000,1,1\n",
        [(5000, 0), (7000, 1), (11_000, 0), (13_000, 1)]
            .iter()
            .map(|(t, l)| format!("{t},{},{}\n{},1,1\n", l, 1 - l, t + 50))
            .collect::<String>()
    );
    let (reads, summary) = read(&Options::default(), file.as_bytes());
    let json = serde_json::to_value(&reads[0]).unwrap();
    let keys: Vec<&String> = json.as_object().unwrap().keys().collect();
    let mut want = ["bits", "findings", "pulses", "reader", "start_us", "unsure"];
    want.sort_unstable();
    let mut keys: Vec<&str> = keys.iter().map(|k| k.as_str()).collect();
    keys.sort_unstable();
    assert_eq!(keys, want);
    assert_eq!(json["bits"], "0101");
    assert_eq!(
        json["pulses"][1],
        serde_json::json!({"start_us": 7000.0, "width_us": 50.0, "line": "d1"})
    );
    assert_eq!(json["findings"][0]["kind"], "missing-pulse");
    assert_eq!(json["findings"][0]["position"], 3);
    assert_eq!(json["unsure"], serde_json::json!({"missing": [3]}));
    assert_eq!(
        reads[0].csv_row(),
        [
            "0101",
            "reader",
            "5000.000",
            "0@0.000+50.000 1@2000.000+50.000 0@6000.000+50.000 1@8000.000+50.000",
            "missing-pulse@3",
            "missing@3",
        ]
    );
    assert!(serde_json::to_value(&summary).unwrap()["readers"][0]["widths"]["bins"].is_array());
}
