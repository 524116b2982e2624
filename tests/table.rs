//! `holdover table`: mistakes with their place, drawings, differences.

use tempfile::tempdir;

use crate::holdover::{file, run};

const GOOD: &str = "[[layout]]\nid = \"mill30\"\nlength = 30\nbasis = \"invented for this test\"\n\
                    [[layout.field]]\nrole = \"site\"\nspan = \"2-9\"\n\
                    [[layout.field]]\nrole = \"card\"\nspan = \"10-29\"\n\
                    [[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-15\"\n\
                    [[layout.check]]\nkind = \"odd\"\nbit = 30\nover = \"16-29\"\n";

#[test]
fn control_characters_of_a_table_are_not_obeyed() {
    let dir = tempfile::tempdir().unwrap();
    let text = "[[layout]]\nid = \"x\"\nfoo = \"\u{9b}31m\u{202e}\"\nb\u{1b}[31mar = 1\n";
    for text in [text, &text[..text.len() - 14]] {
        let path = crate::holdover::file(&dir, "controls.toml", text);
        let run = crate::holdover::run(["table", "lint", path.to_str().unwrap()]);
        assert_eq!(run.code, 2);
        let obeyed = |c: char| c != '\n' && c.is_control() || c == '\u{202e}';
        assert!(!run.stderr.contains(obeyed), "{:?}", run.stderr);
    }
}

#[test]
fn every_kind_of_mistake_has_its_line_and_its_mend() {
    let dir = tempdir().unwrap();
    // (what is replaced, by what, line, message, mend)
    let mistakes = [
        (
            "span = \"2-9\"",
            "span = \"2-31\"",
            7,
            "bit 31 is outside the layout",
            "positions run from 1 to 30",
        ),
        ("over = \"2-15\"", "over = \"1-15\"", 14, "bit 1 is inside its own cover", "leave 1 out"),
        ("length = 30", "length = 0", 3, "a length of 0 is outside", "write 1 to 256"),
        ("length = 30", "length = 300", 3, "a length of 300 is outside", "write 1 to 256"),
        (
            "length = 30",
            "length = \"x\"",
            3,
            "\"length\" is another value",
            "expected a whole number",
        ),
        ("length = 30\n", "", 1, "the layout has no \"length\"", "add length = 26"),
        (
            "basis = \"invented for this test\"\n",
            "",
            1,
            "the layout has no \"basis\"",
            "published source",
        ),
        ("basis", "bassis", 4, "unknown key \"bassis\"", "did you mean \"basis\"?"),
        (
            "kind = \"odd\"",
            "kind = \"ood\"",
            16,
            "kind = \"ood\" is not known",
            "did you mean \"odd\"?",
        ),
        (
            "span = \"10-29\"",
            "span = \"9-29\"",
            10,
            "bits 9 already belong",
            "give each bit to one field",
        ),
        ("span = \"2-9\"", "span = \"0-9\"", 7, "there is no bit 0", "counted from 1"),
        ("span = \"2-9\"", "span = \"2-\"", 7, "expected a bit position", "\"2-9\""),
        ("span = \"2-9\"", "span = 2", 7, "\"span\" is another value", "expected text in quotes"),
        ("span = \"2-9\"", "span = \"2-9,5\"", 7, "bit 5 is named twice", "once"),
        (
            "role = \"site\"",
            "role = \"card\"",
            9,
            "already has a field \"card\"",
            "a name of its own",
        ),
        ("role = \"site\"", "role = \"si te\"", 6, "a role is a short name", "letters"),
        ("id = \"mill30\"", "id = \"Mill 30\"", 2, "cannot be an id", "small letters"),
        (
            "kind = \"odd\"\nbit = 30\nover = \"16-29\"",
            "kind = \"odd\"\nbit = 1\nover = \"2-15\"",
            16,
            "no capture can meet this check and those before it",
            "check the kinds",
        ),
        (
            "kind = \"odd\"\nbit = 30\nover = \"16-29\"",
            "kind = \"fixed\"\nspan = \"29-30\"\nvalue = 4",
            18,
            "4 does not fit the span",
            "the largest value is 3",
        ),
        (
            "kind = \"odd\"\nbit = 30\nover = \"16-29\"",
            "kind = \"lrc\"\ngroup = 4\nover = \"2-15\"\nat = \"27-30\"",
            18,
            "14 bits are no whole number of 4-bit words",
            "a multiple of 4",
        ),
        (
            "kind = \"odd\"\nbit = 30\nover = \"16-29\"",
            "kind = \"lrc\"\ngroup = 4\nover = \"2-17\"\nat = \"17-20\"",
            19,
            "bits 17 of the check word are inside its own cover",
            "before the check word",
        ),
        (
            "role = \"card\"",
            "role = \"card\"\ncode = \"bcd4\"\nserial = true",
            11,
            "a serial number is a binary field",
            "leave serial or code out",
        ),
        (
            "span = \"10-29\"",
            "span = \"10-29\"\ncode = \"bcd\"",
            11,
            "code = \"bcd\" is not known",
            "did you mean",
        ),
        (
            "span = \"10-29\"",
            "span = \"10-28\"\ncode = \"bcd4\"",
            10,
            "no whole number of 4-bit digits",
            "shorten the span to 16 bits",
        ),
        ("length = 30\n", "length = 30\nweight = -1\n", 4, "a weight must be above 0", "1.0"),
        (
            "over = \"2-15\"",
            "over = \"2-15\"\nopen = \"2-9\"",
            15,
            "nothing says that this is not settled",
            "write settled = false",
        ),
        (
            "span = \"2-9\"",
            "span = \"2-9\"\nsettled = true\nopen = \"2\"",
            9,
            "nothing says that this is not settled",
            "leave open out",
        ),
        (
            "over = \"2-15\"",
            "over = \"2-15\"\nsettled = false\nopen = \"2-31\"",
            16,
            "bit 31 is outside the layout",
            "positions run from 1 to 30",
        ),
        (
            "over = \"2-15\"",
            "over = \"2-15\"\nsettled = \"no\"",
            15,
            "\"settled\" is another value",
            "true or false",
        ),
        (
            "over = \"2-15\"",
            "over = \"2-15\"\nsettled = false\nopn = \"2\"",
            16,
            "unknown key \"opn\"",
            "did you mean \"open\"?",
        ),
        (
            "[[layout.field]]\nrole = \"site\"",
            "[[layout.field]\nrole = \"site\"",
            5,
            "",
            "correct the TOML",
        ),
    ];
    for (from, to, line, message, mend) in mistakes {
        let text = GOOD.replacen(from, to, 1);
        assert_ne!(text, GOOD, "{from}");
        let path = file(&dir, "table.toml", &text);
        let run = run(["table", "lint", path.to_str().unwrap()]);
        assert_eq!(run.code, 2, "{to}");
        let place = format!("table.toml:{line}:");
        for part in [place.as_str(), message, mend, "^"] {
            assert!(run.stderr.contains(part), "{to}: {part}\n{}", run.stderr);
        }
    }
}

#[test]
fn duplicates_are_found_in_a_file_and_across_files() {
    let dir = tempdir().unwrap();
    let twice = file(&dir, "twice.toml", format!("{GOOD}\n{GOOD}"));
    let found = run(["table", "lint", twice.to_str().unwrap()]);
    assert_eq!(found.code, 2);
    assert!(
        found.stderr.contains("a layout \"mill30\" is already in the table"),
        "{}",
        found.stderr
    );
    let (a, b) = (file(&dir, "a.toml", GOOD), file(&dir, "b.toml", GOOD));
    let (a, b) = (a.to_str().unwrap(), b.to_str().unwrap());
    let across = run(["read", "0101", "--table", a, "--table", b]);
    assert_eq!(across.code, 2);
    assert!(across.stderr.contains("from a table before"), "{}", across.stderr);
}

#[test]
fn a_good_table_is_linted_listed_shown_and_used() {
    let dir = tempdir().unwrap();
    let path = file(&dir, "mill.toml", GOOD);
    let path = path.to_str().unwrap();
    assert!(run(["table", "lint", path]).stdout.contains("no mistake, 1 layout"));
    assert!(run(["table", "list", "--table", path]).stdout.contains("mill30"));
    let shown = run(["table", "show", "mill30", "--table", path]);
    for part in ["from 1", "from 0", "└─site─┘", "even 1 over 2-15", "20 bits, 0 to 1048575"]
    {
        assert!(shown.stdout.contains(part), "{part}\n{}", shown.stdout);
    }
    let made = run(["compose", "mill30", "site=7", "card=1000000", "--table", path]);
    let read = run(["read", made.stdout.trim(), "--table", path, "--table", "built-in"]);
    assert!(read.stdout.contains("identified: mill30"), "{}", read.stdout);
}

/// What is not settled is kept by every way out, and shown.
#[test]
fn what_is_open_is_linted_drawn_and_listed() {
    let dir = tempdir().unwrap();
    let open = GOOD.replace("over = \"2-15\"", "over = \"2-15\"\nsettled = false\nopen = \"2-9\"");
    let open = open.replace("span = \"10-29\"", "span = \"10-29\"\nsettled = false");
    let path = file(&dir, "open.toml", &open);
    let path = path.to_str().unwrap();
    let lint = run(["table", "lint", path]);
    assert_eq!(lint.code, 0, "{}", lint.stderr);
    for part in [
        "no mistake, 1 layout",
        "mill30: card 10-29 is not settled: read more cards and learn again",
        "mill30: even 1 over 2-15 is not settled; bits 2-9 may be covered or not: read one card \
         of another site code and learn again",
    ] {
        assert!(lint.stdout.replace("\n    ", " ").contains(part), "{part}\n{}", lint.stdout);
    }
    let shown = run(["table", "show", "mill30", "--table", path]);
    for part in [
        "even 1    E????????░░░░░░\n",
        "  even 1 over 2-15  not settled; bits 2-9 may be covered or not\n",
        "0 to 1048575  not settled\n",
        "  odd 30 over 16-29\n",
        "  next  read one card of another site code and learn again\n",
    ] {
        assert!(shown.stdout.contains(part), "{part}\n{}", shown.stdout);
    }
    let listed = &run(["table", "list", "--table", path, "--format", "json"]).json()[0];
    assert_eq!(listed["check"][0]["open"], "2-9");
    assert_eq!(listed["field"][1]["settled"], false);
    assert!(listed["check"][1].get("settled").is_none(), "{listed}");
    let good = file(&dir, "good.toml", GOOD);
    assert_eq!(run(["table", "diff", path, good.to_str().unwrap()]).code, 0);
}

#[test]
fn differences_come_with_an_example_and_a_count() {
    let dir = tempdir().unwrap();
    let old = file(&dir, "old.toml", GOOD);
    let wider = GOOD.replace("over = \"16-29\"", "over = \"15-29\"");
    let moved = GOOD.replace("span = \"10-29\"", "span = \"11-29\"");
    let old = old.to_str().unwrap();
    assert_eq!(run(["table", "diff", old, old]).code, 0);
    let new = file(&dir, "wider.toml", wider);
    let diff = run(["table", "diff", old, new.to_str().unwrap(), "--format", "json"]);
    assert_eq!(diff.code, 1);
    let changes = diff.json();
    assert_eq!(changes[0]["change"], "refused");
    // Half of the 2^28 words: those whose bit 15 is 1.
    assert_eq!(changes[0]["words_log2"], 27.0);
    let example = changes[0]["example"].as_str().unwrap();
    assert_eq!(example.as_bytes()[14], b'1');
    let new = file(&dir, "moved.toml", moved);
    let diff = run(["table", "diff", old, new.to_str().unwrap(), "--format", "json"]);
    let changes = diff.json();
    assert_eq!((changes.len(), changes[0]["change"].as_str()), (1, Some("fields")));
    assert_eq!(changes[0]["words_log2"], 27.0);
    let diff = run(["table", "diff", old, "built-in"]);
    assert!(diff.stdout.contains("mill30  removed"), "{}", diff.stdout);
    assert!(diff.stdout.contains("std26  added"), "{}", diff.stdout);
}

/// A layout of up to 12 bits as a table has it; none that could be found wrong.
fn small(rng: &mut fastrand::Rng, length: usize) -> String {
    let span = |rng: &mut fastrand::Rng, len: usize| {
        let from = rng.usize(1..=length + 1 - len);
        if len == 1 { from.to_string() } else { format!("{from}-{}", from + len - 1) }
    };
    let mut toml = format!(
        "[[layout]]\nid = \"small\"\ntitle = \"an invented one\"\nlength = {length}\n\
         basis = \"invented\"\n"
    );
    let roles = ["card", "site", "issue"];
    let shift = usize::from(rng.u8(..4) == 0);
    for role in &roles[shift..shift + rng.usize(1..=2)] {
        let (code, len) = match rng.u8(..4) {
            0 => ("bcd4", 4),
            1 if length >= 8 => ("bcd4", 8),
            2 if length >= 5 => ("bcd5", 5),
            _ => ("binary", rng.usize(1..=length.min(6))),
        };
        let span = span(rng, len);
        toml +=
            &format!("[[layout.field]]\nrole = \"{role}\"\nspan = \"{span}\"\ncode = \"{code}\"\n");
    }
    for _ in 0..rng.usize(0..=2) {
        let (kind, bit) = (["even", "odd"][rng.usize(..2)], rng.usize(1..=length));
        let len = rng.usize(1..=length / 2);
        let over = span(rng, len);
        toml += &format!("[[layout.check]]\nkind = \"{kind}\"\nbit = {bit}\nover = \"{over}\"\n");
    }
    toml
}

/// Every word of small layouts, decoded under both tables.
#[test]
fn differences_are_those_of_all_words() {
    use holdover::bits::Capture;
    use holdover::decode::Decode;
    use holdover::layout::{Layout, Table};
    let dir = tempdir().unwrap();
    let mut rng = fastrand::Rng::with_seed(12);
    let (mut pairs, mut kinds) = (0, std::collections::BTreeMap::new());
    while pairs < 250 {
        let length = rng.usize(5..=12);
        let texts = [small(&mut rng, length), small(&mut rng, length)];
        let tables = texts.each_ref().map(|text| Table::from_toml(text));
        let [Ok(old), Ok(new)] = &tables else { continue };
        pairs += 1;
        let [old, new] = [old, new].map(|table| table.layout("small").unwrap());
        let said = |layout: &Layout, word: Capture| -> Option<Vec<(String, String)>> {
            let decode = Decode::new(layout, word).filter(Decode::holds)?;
            let mut fields: Vec<(String, String)> =
                decode.fields().map(|(role, value)| (role.to_owned(), value.to_string())).collect();
            fields.sort();
            Some(fields)
        };
        let mut truth = std::collections::BTreeMap::new();
        for number in 0..1u128 << length {
            let word = Capture::from_number(number, length).unwrap();
            let kind = match (said(old, word), said(new, word)) {
                (Some(_), None) => "refused",
                (None, Some(_)) => "admitted",
                (Some(a), Some(b)) if a != b => "fields",
                _ => continue,
            };
            *truth.entry(kind).or_insert(0u32) += 1;
        }
        let old_file = file(&dir, "old.toml", &texts[0]);
        let new_file = file(&dir, "new.toml", &texts[1]);
        let files = [old_file.to_str().unwrap(), new_file.to_str().unwrap()];
        let made = run(["table", "diff", files[0], files[1], "--format", "json"]);
        let changes = made.json();
        let found: Vec<&str> = changes.iter().map(|c| c["change"].as_str().unwrap()).collect();
        let mut expected: Vec<&str> = truth.keys().copied().collect();
        expected
            .sort_by_key(|kind| ["refused", "admitted", "fields"].iter().position(|k| k == kind));
        assert_eq!(found, expected, "{}\n{}", texts[0], texts[1]);
        for change in &changes {
            let kind = change["change"].as_str().unwrap();
            *kinds.entry(kind.to_owned()).or_insert(0) += 1;
            let word: Capture = change["example"].as_str().unwrap().parse().unwrap();
            let (a, b) = (said(old, word), said(new, word));
            let differs = match kind {
                "refused" => a.is_some() && b.is_none(),
                "admitted" => a.is_none() && b.is_some(),
                _ => a.is_some() && b.is_some() && a != b,
            };
            assert!(differs, "{kind} {word}\n{}\n{}", texts[0], texts[1]);
            if let Some(count) = change["words_log2"].as_f64() {
                let words = count.exp2();
                assert!((words - f64::from(truth[kind])).abs() < 0.01, "{kind} {words} {truth:?}");
            }
        }
    }
    assert!(kinds.values().all(|count| *count > 20), "{kinds:?}");
}

#[test]
fn what_is_hardly_meant_is_remarked() {
    let dir = tempdir().unwrap();
    let twice = format!("{GOOD}\n[[layout.check]]\nkind = \"odd\"\nbit = 30\nover = \"16-29\"\n");
    let named = twice.replace("role = \"card\"", "role = \"Card\"\nserial = true");
    let path = file(&dir, "odd.toml", named);
    let made = run(["table", "lint", path.to_str().unwrap()]);
    assert_eq!(made.code, 0, "{}", made.stderr);
    for part in [
        "the role \"Card\" is a name of its own: did you mean \"card\"?",
        "Card is said to be a serial number, and none has 20 bits",
        "the check odd 30 over 16-29 is written twice",
    ] {
        assert!(made.stdout.contains(part), "{part}\n{}", made.stdout);
    }
    let made = run(["table", "lint", "built-in"]);
    assert!(
        !made.stdout.contains("twice") && !made.stdout.contains("is said to be"),
        "{}",
        made.stdout
    );
}
