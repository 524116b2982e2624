//! Limits of the inputs: the guide's table says what the code does, what is
//! beyond is refused with what to do, and hostile input costs little.

use std::fmt::Write;
use std::io::Write as _;
use std::time::Instant;

use holdover_desk::limits as of;
#[cfg(target_os = "linux")]
use rustix::process::{Resource, Rlimit, prlimit};
use tempfile::{TempDir, tempdir};

use crate::holdover::{Run, command, feed, file, root, run};

/// The guide's table, its numbers as numbers.
fn stated() -> Vec<(String, String)> {
    let page = std::fs::read_to_string(root().join("crates/cli/guide/limits.md")).unwrap();
    let rows = page.lines().filter(|line| line.starts_with("| ")).skip(2);
    rows.map(|row| {
        let mut cells = row.trim_matches('|').split('|').map(|cell| cell.trim().to_owned());
        (cells.next().unwrap(), cells.next().unwrap())
    })
    .collect()
}

/// A number as the guide writes it.
fn written(number: u128) -> String {
    let digits = number.to_string();
    let groups: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().map(|g| str::from_utf8(g).unwrap()).collect();
    groups.join(",")
}

#[test]
fn the_guide_states_every_limit() {
    let plain = |n: usize| written(n as u128);
    let bytes = |n: usize| format!("{} bytes", plain(n));
    let mib = |n: usize| format!("{} MiB", n >> 20);
    let any = "any number, memory stays the same".to_owned();
    let size = "any size, memory stays the same".to_owned();
    // Those of TOML and of JSON are the crates' own, held by a test below.
    let expected = [
        ("a capture", format!("{} bits", of::Capture::MAX_BITS)),
        ("a line of text, CSV or JSON", bytes(of::MAX_LINE)),
        ("a quoted cell of a CSV", format!("{} lines", of::MAX_QUOTED_LINES)),
        ("columns of a sheet, and of all records of one command", plain(of::MAX_COLUMNS)),
        ("nesting of JSON", "127".to_owned()),
        ("nesting of TOML", "80".to_owned()),
        ("captures of `read`", any),
        ("readers among them", plain(of::MAX_READERS)),
        ("kinds that `--summary` tells apart, by place", plain(of::MAX_KINDS)),
        ("cards that `--summary` counts", plain(of::MAX_CARDS)),
        ("captures of `learn`", plain(of::LEARNT)),
        ("captures of `compose`", written(of::COMPOSED)),
        ("a table or site file", mib(of::Table::MAX_BYTES)),
        ("layouts of the tables together", plain(of::Table::MAX_LAYOUTS)),
        ("layouts of one length", plain(of::Table::MAX_OF_LENGTH)),
        ("checks of a layout", plain(of::MAX_CHECKS)),
        ("batches of a site file", plain(of::Site::MAX_BATCHES)),
        ("rows of a roster or of cases", plain(of::MAX_ROWS)),
        ("cells of the same", plain(of::MAX_CELLS)),
        ("text of the same", mib(of::MAX_TEXT)),
        ("a plan file", mib(of::MAX_PLAN_BYTES)),
        ("values in it", plain(of::MAX_PLAN_VALUES)),
        ("a workbook", mib(of::WORKBOOK_BYTES)),
        ("a workbook unpacked", format!("{} GiB", of::MAX_UNPACKED >> 30)),
        ("files in a workbook", plain(of::MAX_FILES)),
        ("sheets in a workbook", plain(of::MAX_SHEETS)),
        ("nesting in a workbook", plain(of::MAX_DEPTH)),
        ("a cell of a workbook", bytes(of::MAX_EVENT)),
        ("a probe file", size),
        ("a word or a row of a probe file", mib(of::LONGEST)),
        (
            "signals of a value-change dump",
            format!("{}; beyond, those that `--d0` and `--d1` name", plain(of::REMEMBERED)),
        ),
        ("columns of a probe CSV", format!("{}; none is read beyond", plain(of::COLUMNS))),
        ("readers in a probe file", format!("{}; the others are passed over", of::MOST_READERS)),
        (
            "output of a command inside another program",
            format!("{} MiB; 512 MiB where memory has 32 bits", plain(of::MAX_OUTPUT >> 20)),
        ),
    ];
    let expected: Vec<(String, String)> =
        expected.into_iter().map(|(what, most)| (what.to_owned(), most)).collect();
    assert_eq!(stated(), expected);
}

/// Refused, by name and with what to do.
fn refused(run: &Run, message: &str) {
    assert_eq!(run.code, 2, "{message}: {}", run.stderr);
    assert!(run.stderr.contains(message), "{message}: {}", run.stderr);
    assert!(!run.stderr.contains("panicked"));
}

/// Layouts, each of the length given, all of which could be cards.
fn layouts(lengths: impl Iterator<Item = usize>) -> String {
    let mut text = String::new();
    for (i, length) in lengths.enumerate() {
        let cover = 2 + i % (length - 3);
        write!(
            text,
            "[[layout]]\nid = \"l{i}\"\nlength = {length}\nbasis = \"invented\"\n\
             [[layout.field]]\nrole = \"site\"\nspan = \"2-9\"\n\
             [[layout.field]]\nrole = \"card\"\nspan = \"10-{}\"\n\
             [[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-{cover}\"\n",
            length - 1
        )
        .unwrap();
    }
    text
}

fn with(dir: &TempDir, verb: &[&str], name: &str, text: &str) -> Run {
    let path = file(dir, name, text);
    run(verb.iter().copied().chain([path.to_str().unwrap()]))
}

#[test]
fn what_is_beyond_a_limit_is_refused_with_what_to_do() {
    let dir = tempdir().unwrap();
    let lint = |text: &str| with(&dir, &["table", "lint"], "table.toml", text);
    let most = of::Table::MAX_LAYOUTS;
    let mend = "leave out those that no card here can have";
    let many = lint(&layouts((0..10_000).map(|i| 20 + i % 200)));
    refused(&many, &format!("more than {most} layouts"));
    refused(&many, mend);
    let same = lint(&layouts((0..of::Table::MAX_OF_LENGTH + 1).map(|_| 26)));
    refused(&same, "more than 256 layouts of 26 bits");
    assert_eq!(lint(&layouts((0..of::Table::MAX_OF_LENGTH).map(|_| 26))).code, 0);
    refused(&lint(&"# nothing\n".repeat(500_000)), "larger than 4 MiB: is it the right file?");
    // Two tables, each within the limit.
    let half = |n: usize| layouts((0..200).map(|_| 26)).replace("\"l", &format!("\"m{n}"));
    let (a, b) = (file(&dir, "a.toml", half(1)), file(&dir, "b.toml", half(2)));
    let both = run(["read", "01", "--table", a.to_str().unwrap(), "--table", b.to_str().unwrap()]);
    refused(&both, "the tables hold more than 256 layouts of 26 bits: name fewer tables");

    let batch = "[[batch]]\nlayout = \"std26\"\nsite = 1\ncards = \"1-9\"\nstate = \"boxed\"\n";
    let site = batch.repeat(of::Site::MAX_BATCHES + 1);
    let site = with(&dir, &["plan", "--site"], "site.toml", &site);
    refused(&site, "more than 1024 batches");
    refused(&site, "join those whose numbers follow one another");

    let bits = "10100000100010000111000011";
    let wide = format!("bits{}\n{bits}{}\n", ",x".repeat(1024), ",".repeat(1024));
    refused(&with(&dir, &["read"], "wide.csv", &wide), "1025 columns, more than 1024: leave out");
    let keys: Vec<String> = (0..1025).map(|i| format!("\"k{i}\":1")).collect();
    let wide = format!("{{\"bits\":\"{bits}\",{}}}\n", keys.join(","));
    refused(&with(&dir, &["read"], "wide.jsonl", &wide), "1025 columns, more than 1024");

    let mut readers = "bits,reader\n".to_owned();
    (0..=of::MAX_READERS).for_each(|i| writeln!(readers, "{bits},r{i}").unwrap());
    let readers = with(&dir, &["read"], "readers.csv", &readers);
    refused(&readers, "more than 65536 readers");
    let mut doors = "bits,door\n".to_owned();
    (0..=of::MAX_KINDS).for_each(|i| writeln!(doors, "{bits},d{i}").unwrap());
    let doors = with(&dir, &["read", "--summary"], "doors.csv", &doors);
    refused(&doors, "more than 65536 kinds of captures to sum up: leave out --summary");

    let rows = format!("bits\n{}", "01\n".repeat(of::MAX_ROWS + 1));
    let rows = with(
        &dir,
        &["prove", "--cases"],
        "rows.csv",
        &format!("layout,{rows}").replace("\n01", "\n,01"),
    );
    refused(&rows, "more than 1048576 rows: split the file");
    let plan = format!("{{\"slots\":[{}0]}}", "0,".repeat(of::MAX_PLAN_VALUES));
    let plan = with(&dir, &["prove", "--roster", "rows.csv", "--plan"], "plan.json", &plan);
    refused(&plan, "more than 4194304 values: mend the conflicts, and plan again");
    let captures = "01\n".repeat(of::LEARNT + 1);
    refused(&with(&dir, &["learn"], "many.txt", &captures), "more than 1048576 captures");
}

#[test]
fn nesting_is_refused_not_followed() {
    let deep = |n: usize| format!("{{\"bits\":\"01\",\"a\":{}{}}}\n", "[".repeat(n), "]".repeat(n));
    assert_eq!(feed(["read", "-", "--format", "csv"], deep(126).as_bytes()).code, 1);
    for n in [127, 30_000] {
        refused(&feed(["read", "-"], deep(n).as_bytes()), "recursion limit exceeded");
    }
    let dir = tempdir().unwrap();
    let lint = |text: &str| with(&dir, &["table", "lint"], "deep.toml", text);
    let deep = |n: usize| format!("a = {}{}\n", "[".repeat(n), "]".repeat(n));
    // Within the limit, it is the key that is wrong.
    refused(&lint(&deep(80)), "unknown key");
    for n in [81, 1_000_000] {
        refused(&lint(&deep(n)), "leave the brackets out");
    }
    refused(&lint(&format!("{} = 1\n", ["a"; 500_000].join("."))), "1 mistake");
    let plan = format!("{{\"slots\":{}", "[".repeat(1_000_000));
    let plan = file(&dir, "plan.json", plan);
    let roster = root().join("fixtures/mill/roster.csv");
    let prove = ["prove", "--plan", plan.to_str().unwrap(), "--roster", roster.to_str().unwrap()];
    refused(&run(prove), "no plan");
}

/// Runs with a limit on memory, in MiB, and a minute of one processor, however
/// busy the machine is.
#[cfg(target_os = "linux")]
fn bounded(mib: u64, args: &[&str], input: &[u8]) {
    let mut child = command()
        .args(args)
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let pid = rustix::process::Pid::from_raw(child.id() as i32);
    for (resource, most) in [(Resource::As, mib << 20), (Resource::Cpu, 60)] {
        prlimit(pid, resource, Rlimit { current: Some(most), maximum: Some(most) }).unwrap();
    }
    _ = child.stdin.take().unwrap().write_all(input);
    let output = child.wait_with_output().unwrap();
    let stderr = String::from_utf8(output.stderr).unwrap();
    // Whatever it says, it ends by itself: no abort, no signal.
    assert!(output.status.code().is_some_and(|code| code <= 2), "{args:?}: {stderr}");
    assert!(!stderr.contains("panicked") && !stderr.contains("memory"), "{args:?}: {stderr}");
}

/// The small versions of inputs that once took long, or might. What each takes
/// here is a fraction of its bound.
#[cfg(target_os = "linux")]
#[test]
fn hostile_input_costs_little() {
    let dir = tempdir().unwrap();
    let of_file = |name: &str, text: &str| file(&dir, name, text).to_str().unwrap().to_owned();
    let bits = "10100000100010000111000011";
    let mut rng = fastrand::Rng::with_seed(21);
    let random: String = (0..100).map(|_| format!("{:026b}\n", rng.u32(..1 << 26))).collect();
    // As many layouts of one length as there may be.
    let same = of_file("same.toml", &layouts((0..256).map(|_| 26)));
    bounded(1024, &["read", "-", "--table", &same, "--format", "csv"], random.as_bytes());
    bounded(1024, &["table", "lint", &same], b"");
    // A roster of one card, a hundred thousand times.
    let site = of_file("site.toml", "[panel]\nslots = 8\n");
    let roster = format!("bits,printed\n{}", format!("{bits},4321\n").repeat(100_000));
    bounded(1024, &["plan", "--site", &site, "--roster", "-"], roster.as_bytes());
    bounded(1024, &["learn", "-"], roster.as_bytes());
    // As many batches as there may be, each within the one before.
    let mut nest = String::new();
    for i in 0..of::Site::MAX_BATCHES {
        let (first, last) = (i, 60_000 - i);
        write!(
            nest,
            "[[batch]]\nlayout = \"std26\"\nsite = 1\ncards = \"{first}-{last}\"\nstate = \"boxed\"\n"
        )
        .unwrap();
    }
    let nest = of_file("nest.toml", &nest);
    bounded(1024, &["plan", "--site", &nest], b"");
    // A span of a million parts, mistakes by the hundred thousand.
    let span: Vec<String> = (0..1_000_000).map(|i| (i % 256 + 1).to_string()).collect();
    let span = of_file("span.toml", &layouts([26].into_iter()).replace("2-9", &span.join(",")));
    bounded(1024, &["table", "lint", &span], b"");
    let wrong = of_file("wrong.toml", &"x\n".repeat(1_000_000));
    bounded(1024, &["table", "lint", &wrong], b"");
    // Wide sheets, a column of its own for every line, a million signals.
    let wide = format!(
        "bits{}\n{}",
        ",c".repeat(1023),
        format!("{bits}{}\n", ",".repeat(1023)).repeat(300)
    );
    bounded(512, &["read", "-", "--batch", "--format", "csv"], wide.as_bytes());
    let keys: String =
        (0..3_000).map(|i| format!("{{\"bits\":\"{bits}\",\"k{i}\":1}}\n")).collect();
    bounded(512, &["read", "-", "--batch", "--format", "csv"], keys.as_bytes());
    let columns = format!("bits{}\n", ",c".repeat(1_000_000));
    bounded(512, &["read", "-", "--batch"], columns.as_bytes());
    let mut signals = "$timescale 1us $end\n".to_owned();
    (0..300_000).for_each(|i| writeln!(signals, "$var wire 1 s{i} n{i} $end").unwrap());
    signals += "$enddefinitions $end\n#0\n1s1\n#5\n0s1\n";
    bounded(512, &["signal", &of_file("signals.vcd", &signals)], b"");
}

/// A line of bits for a number, as wide as asked.
fn bits_of(number: u128, width: usize) -> String {
    format!("{number:0width$b}")
}

/// As many layouts of one length as there may be, captures that each have a
/// class of their own, and all at once: what is kept of them is bounded.
#[cfg(target_os = "linux")]
#[test]
fn captures_that_have_nothing_in_common_cost_no_more() {
    let dir = tempdir().unwrap();
    let same = file(&dir, "same.toml", layouts((0..256).map(|_| 26)));
    let mut rng = fastrand::Rng::with_seed(22);
    let lines = |rng: &mut fastrand::Rng, n: usize| -> String {
        (0..n).map(|_| bits_of(rng.u32(..1 << 26).into(), 26) + "\n").collect()
    };
    let captures = lines(&mut rng, 300);
    let args = ["read", "-", "--format", "csv", "--table", same.to_str().unwrap()];
    bounded(768, &args, captures.as_bytes());
    // All layouts there may be, over the lengths that can have them.
    let all = file(&dir, "all.toml", layouts((0..4096).map(|i| 20 + i % 100)));
    let args = ["read", "-", "--format", "csv", "--table", all.to_str().unwrap()];
    bounded(768, &args, &captures.as_bytes()[..27 * 100]);
    // One card at as many readers as there may be.
    let mut readers = "bits,reader\n".to_owned();
    (0..3_000).for_each(|i| writeln!(readers, "10100000100010000111000011,r{i}").unwrap());
    bounded(768, &["read", "-", "--format", "csv"], readers.as_bytes());
}

/// Cards of layouts of one length, so many of each: a layout checks bit 1 over a
/// stretch of its own.
fn cards_of(lengths: &[usize], each: usize) -> String {
    let mut rng = fastrand::Rng::with_seed(23);
    let mut rows = "layout,bits\n".to_owned();
    for (i, length) in lengths.iter().enumerate() {
        for _ in 0..each {
            let rest = bits_of(rng.u128(..1 << (length - 1)), length - 1);
            let over = rest.bytes().take(1 + i % (length - 3)).filter(|bit| *bit == b'1').count();
            writeln!(rows, "l{i},{}{rest}", over % 2).unwrap();
        }
    }
    rows
}

/// Many layouts of one length can be put together in more ways than can be
/// looked at: the search ends by its own count, and keeps a bounded part.
#[cfg(target_os = "linux")]
#[test]
fn plans_for_many_layouts_of_one_length_are_bounded() {
    let dir = tempdir().unwrap();
    let path = |name: &str, text: &str| file(&dir, name, text).to_str().unwrap().to_owned();
    for (count, slots) in [(14, 8), (64, 50)] {
        let lengths: Vec<usize> = vec![26; count];
        let table = path("table.toml", &layouts(lengths.iter().copied()));
        let site = path("site.toml", &format!("[panel]\nslots = {slots}\n"));
        let roster = path("roster.csv", &cards_of(&lengths, 2));
        let plan = ["plan", "--site", &site, "--roster", &roster, "--table", &table];
        bounded(1024, &plan, b"");
    }
}

/// The worst that each row of the table allows, as far as it was found, beside
/// those of the tests above. What is held: 2 GiB of addresses, and a minute.
#[cfg(target_os = "linux")]
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn the_worst_within_each_limit_is_held() {
    let dir = tempdir().unwrap();
    let path = |name: &str, text: String| file(&dir, name, text).to_str().unwrap().to_owned();
    let bits = "10100000100010000111000011";
    let mut rng = fastrand::Rng::with_seed(24);
    let measured = |what: &str, args: &[&str], input: &[u8]| {
        let began = Instant::now();
        bounded(2048, args, input);
        eprintln!("{what}: {:.1} s", began.elapsed().as_secs_f64());
    };
    // Rows of a roster, one card: planned, then proved.
    let card = format!("bits\n{}", format!("{bits}\n").repeat(of::MAX_ROWS));
    let card = path("card.csv", card);
    let site = path("site.toml", "[panel]\nslots = 8\n".to_owned());
    let plan = dir.path().join("plan.json");
    let plan = plan.to_str().unwrap();
    let planned = ["plan", "--site", &site, "--roster", &card, "-o", plan, "--format", "json"];
    measured("one card in every row, planned", &planned, b"");
    let proved = ["prove", "--plan", plan, "--roster", &card, "--format", "csv"];
    measured("one card in every row, proved", &proved, b"");
    let other = path("one.csv", format!("bits\n{bits}\n"));
    let again = ["plan", "--site", &site, "--roster", &other, "-o", plan, "--format", "json"];
    bounded(2048, &again, b"");
    // As much text as rows may have, in as many cells.
    let most = of::MAX_TEXT / of::MAX_ROWS - 60;
    let mut text = "bits,printed,holder,a,b,c,d,e\n".to_owned();
    for i in 0..of::MAX_ROWS {
        writeln!(text, "{bits},{i},{i:0most$},,,,,").unwrap();
    }
    let text = path("text.csv", text);
    measured(
        "text and cells of a roster",
        &["prove", "--plan", plan, "--roster", &text, "--format", "csv"],
        b"",
    );
    // Captures to learn from.
    let captures: String =
        (0..of::LEARNT).map(|_| bits_of(rng.u64(..1 << 37).into(), 37) + "\n").collect();
    measured("captures of learn", &["learn", "-"], captures.as_bytes());
    measured("captures of read", &["read", "-", "--format", "csv"], captures.as_bytes());
    let cards: String =
        (0..of::MAX_CARDS).map(|_| bits_of(rng.u64(..1 << 37).into(), 37) + "\n").collect();
    measured("cards of --summary", &["read", "-", "--summary"], cards.as_bytes());
    drop(cards);
    // Readers, doors, one capture each.
    for (column, verb) in
        [("reader", vec!["read", "-", "--format", "csv"]), ("door", vec!["read", "-", "--summary"])]
    {
        let mut rows = format!("bits,{column}\n");
        (0..of::MAX_READERS).for_each(|i| writeln!(rows, "{bits},r{i}").unwrap());
        measured(&format!("{column}s"), &verb, rows.as_bytes());
    }
    // Layouts of one length and of all; checks of all of them.
    let same = path("same.toml", layouts((0..256).map(|_| 26)));
    let few: String = (0..10_000).map(|_| bits_of(rng.u32(..1 << 26).into(), 26) + "\n").collect();
    measured(
        "layouts of one length",
        &["read", "-", "--table", &same, "--format", "csv"],
        few.as_bytes(),
    );
    let lengths: Vec<usize> = (0..of::Table::MAX_LAYOUTS).map(|i| 20 + i % 100).collect();
    let all = path("all.toml", layouts(lengths.iter().copied()));
    measured(
        "layouts together",
        &["read", "-", "--table", &all, "--format", "csv"],
        few.as_bytes(),
    );
    measured("layouts together, linted", &["table", "lint", &all], b"");
    let many: Vec<usize> = lengths[..1024].to_vec();
    let roster = path("many.csv", cards_of(&many, 2));
    let slots = path("slots.toml", "[panel]\nslots = 1000\n".to_owned());
    let plans = ["plan", "--site", &slots, "--roster", &roster, "--table", &all];
    measured("a slot for each of a thousand layouts", &plans, b"");
    // A plan file as long as it may be, of numbers alone.
    let long = format!("{{\"slots\":[{}0]}}", "0,".repeat(of::MAX_PLAN_BYTES / 2 - 20));
    let long = path("long.json", long);
    measured("a plan file", &["prove", "--plan", &long, "--roster", &other], b"");
    // A probe file and lines, none of which ends.
    let line = "x".repeat(of::LONGEST + 1);
    measured("words of a probe file", &["signal", &path("long.vcd", line.repeat(64))], b"");
    let line = format!("{}\n", "x".repeat(of::MAX_LINE));
    measured("lines", &["read", "-", "--format", "csv"], line.repeat(2_000).as_bytes());
    let sets = ["compose", "std26", "site=0-152", "card=0-65359", "--format", "csv"];
    measured("captures of compose", &sets, b"");
}
