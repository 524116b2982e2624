//! Rosters as people send them: titles, empty rows, other encodings, own words.

use std::fs;

use tempfile::tempdir;

use crate::holdover::run;

/// A roster of a spreadsheet with titles and a hall's own words. Invented.
const KEYS: &str = "Keys of the mill;;;\n;;;\nArt;Site;Badge nr;Name\nharbour;65;4321;Zoë\n;;;\n\
                    harbour;65;4322;Ada\nquay;65;4323;Bo\n";

const WORDS: [&str; 8] = [
    "--column",
    "Art=layout",
    "--column",
    "Badge nr=card",
    "--kind",
    "harbour=std26",
    "--kind",
    "quay=std26",
];

#[test]
fn a_roster_is_read_in_every_encoding() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    fs::write(at("site.toml"), "[panel]\nslots = 4\n").unwrap();
    let wide = |unit: fn(u16) -> [u8; 2]| -> Vec<u8> {
        format!("\u{feff}{KEYS}").encode_utf16().flat_map(unit).collect()
    };
    // In Windows-1252 as in Latin-1, ë is 0xEB (RFC 1345).
    let narrow = KEYS.chars().map(|c| c as u8).collect();
    for (form, bytes, said) in [
        ("utf-8", KEYS.as_bytes().to_vec(), "the header is here"),
        ("little", wide(u16::to_le_bytes), "read as UTF-16"),
        ("big", wide(u16::to_be_bytes), "read as UTF-16"),
        ("narrow", narrow, "read as Windows-1252"),
    ] {
        fs::write(at("keys.csv"), bytes).unwrap();
        let (site, roster) = (at("site.toml"), at("keys.csv"));
        let args = ["plan", "--site", &site, "--roster", &roster, "--format", "csv"];
        let out = run(args.into_iter().chain(WORDS));
        assert_eq!(out.code, 0, "{form}: {}", out.stderr);
        assert!(out.stderr.contains(said), "{form}: {}", out.stderr);
        assert!(out.stdout.contains("line 4,Zoë,04321"), "{form}: {}", out.stdout);
        assert_eq!(out.stdout.lines().count(), 4, "{form}: {}", out.stdout);
    }
}

#[test]
fn words_of_the_site_file_count_as_well() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let site = "[panel]\nslots = 4\n[columns]\nArt = \"layout\"\n\"Badge nr\" = \"card\"\n\
                [kinds]\nharbour = \"std26\"\nquay = \"std26\"\n";
    fs::write(at("site.toml"), site).unwrap();
    fs::write(at("keys.csv"), KEYS).unwrap();
    let out = run(["plan", "--site", &at("site.toml"), "--roster", &at("keys.csv"), "-q"]);
    assert_eq!(out.code, 0, "{}", out.stderr);
    fs::write(at("site.toml"), site.replacen("std26", "sdt26", 1)).unwrap();
    let out = run(["plan", "--site", &at("site.toml"), "--roster", &at("keys.csv"), "-q"]);
    assert!(out.code == 2 && out.stderr.contains("did you mean \"std26\"?"), "{}", out.stderr);
}

#[test]
fn what_is_not_known_comes_with_its_mapping() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    fs::write(at("site.toml"), "[panel]\nslots = 4\n").unwrap();
    fs::write(at("keys.csv"), KEYS.replace("harbour", "std 26")).unwrap();
    let (site, roster) = (at("site.toml"), at("keys.csv"));
    let plan = |words: &[&str]| {
        let args = ["plan", "--site", &site, "--roster", &roster, "-q"];
        let out = run(args.into_iter().chain(words.iter().copied()));
        assert_eq!(out.code, 2, "{}", out.stdout);
        out.stderr
    };
    let columns = &WORDS[..4];
    let said = plan(columns);
    // One message for the same mistake, with its rows.
    assert!(said.contains("(row 6 too)"), "{said}");
    assert!(said.contains("--kind \"std 26=std26\""), "{said}");
    assert!(said.contains("--kind \"quay=ID\""), "{said}");
    assert!(plan(&[]).contains("keys.csv:3: expected a header"));
    for (words, message) in [
        (["--column", "Art"], "write --column \"Art=card\""),
        (["--column", "Art=colour"], "a heading may mean bits, layout"),
        (["--column", "Kind=layout"], "no column \"Kind\", found Art"),
        (["--kind", "quay=std25"], "no layout \"std25\" in the table: did you mean \"std26\"?"),
    ] {
        let said = plan(&[columns, &words].concat());
        assert!(said.contains(message), "{said}");
    }
}

/// What a desk says of files: the JSON lines, and what is said beside them.
fn read(files: &[(&str, &str)], more: &[&str]) -> (Vec<serde_json::Value>, String) {
    let mut desk = holdover_desk::Desk::new();
    files.iter().for_each(|(name, text)| desk.put(*name, *text));
    let names = files.iter().map(|(name, _)| *name);
    let words: Vec<&str> = ["read"]
        .into_iter()
        .chain(names)
        .chain(["--format", "json"])
        .chain(more.iter().copied())
        .collect();
    let ran = holdover_args::run(&mut desk, &words);
    let text = String::from_utf8(ran.output).unwrap();
    (text.lines().map(|line| serde_json::from_str(line).unwrap()).collect(), ran.said)
}

const CARD: &str = "10100000100010000111000011";

/// Values of every type of JSON (RFC 8259, section 3) are carried as they are.
#[test]
fn carried_values_keep_their_type() {
    let carried = serde_json::json!({
        "badge": 4321, "share": 0.25, "spare": false, "left": null, "doors": ["lobby", 2],
        "by": {"name": "Ada"}, "text": "007"
    });
    let mut object = carried.clone();
    object["bits"] = CARD.into();
    let (lines, said) = read(&[("cards.jsonl", &object.to_string())], &[]);
    assert_eq!(lines[0]["carried"], carried, "{said}");
    // In CSV they are text.
    let mut desk = holdover_desk::Desk::new();
    desk.put("cards.jsonl", object.to_string());
    let ran = holdover_args::run(&mut desk, &["read", "cards.jsonl", "--format", "csv"]);
    let text = String::from_utf8(ran.output).unwrap();
    assert!(text.contains(",4321,0.25,false,,\"[\"\"lobby\"\",2]\""), "{text}");
}

#[test]
fn captures_inside_an_object_are_read() {
    let inside = format!(
        "{{\"door\":\"gate\",\"reads\":[{{\"bits\":\"{CARD}\",\"holder\":\"Ada\"}},{{\"bits\":\"01\",\"holder\":\"Bo\"}}]}}\n\
         {{\"event\":{{\"bits\":\"{CARD}\"}},\"door\":\"lobby\"}}\n"
    );
    let (lines, said) = read(&[("log.jsonl", &inside)], &[]);
    assert_eq!(lines.len(), 3, "{said}");
    assert_eq!(lines[0]["bits"], CARD);
    assert_eq!(lines[0]["carried"], serde_json::json!({"door": "gate", "holder": "Ada"}));
    assert_eq!((&lines[1]["line"], &lines[1]["bits"]), (&1.into(), &"01".into()));
    assert_eq!((&lines[2]["line"], &lines[2]["carried"]["door"]), (&2.into(), &"lobby".into()));
    // A roster has the same cards.
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    fs::write(at("site.toml"), "[panel]\nslots = 4\n").unwrap();
    fs::write(at("log.jsonl"), inside.replace(",{\"bits\":\"01\",\"holder\":\"Bo\"}", "")).unwrap();
    let out =
        run(["plan", "--site", &at("site.toml"), "--roster", &at("log.jsonl"), "--format", "csv"]);
    assert!(out.stdout.contains("line 1,Ada,04321"), "{}{}", out.stdout, out.stderr);
}

#[test]
fn one_capture_said_twice_is_one() {
    for line in [
        format!("{CARD} {CARD}"),
        format!("{CARD}, {CARD}"),
        format!("{CARD} | {CARD} | {CARD}"),
        format!("card: {CARD} {CARD}"),
        format!("D0/D1 bits {CARD} and again {CARD}"),
    ] {
        let (lines, said) = read(&[("log.txt", &format!("{line}\n"))], &[]);
        assert_eq!((lines.len(), &lines[0]["bits"]), (1, &CARD.into()), "{line}: {said}");
    }
    // Groups of one capture that happen to be alike, and two cards, are not.
    let (lines, _) = read(&[("log.txt", "1010 1010 1010 1010 1010 1010 10\n")], &[]);
    assert_eq!(lines[0]["length"], 26);
    let other = CARD.replace("11", "10");
    let (lines, _) = read(&[("log.txt", &format!("{CARD} and then {other}\n"))], &[]);
    assert_eq!(lines[0]["verdict"], "invalid");
}

#[test]
fn numbers_that_a_spreadsheet_rounded_are_not_used() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    for (name, cards) in [
        ("cards.csv", format!("bits,printed\n{CARD},4.3E+03\n")),
        ("cards.jsonl", format!("{{\"bits\":\"{CARD}\",\"printed\":\"4.3E+03\"}}\n")),
    ] {
        let (lines, _) = read(&[(name, &cards)], &[]);
        assert_eq!(lines[0]["verdict"], "identified");
        assert!(lines[0]["notes"].to_string().contains("what a spreadsheet made of a long number"));
        assert_eq!(lines[0]["carried"]["printed"], "4.3E+03");
        fs::write(at(name), cards).unwrap();
        let out = run(["learn", &at(name)]);
        assert!(out.stderr.contains("what a spreadsheet made of a long number"), "{}", out.stderr);
    }
    fs::write(at("site.toml"), "[panel]\nslots = 4\n").unwrap();
    for rows in [
        format!("bits,printed\n{CARD},4,3E+03\n").replace(",4,", ",4."),
        "layout,site,card\nstd26,65,4.3E+03\n".to_owned(),
    ] {
        fs::write(at("keys.csv"), rows).unwrap();
        let out = run(["plan", "--site", &at("site.toml"), "--roster", &at("keys.csv"), "-q"]);
        assert_eq!(out.code, 2, "{}", out.stdout);
        assert!(out.stderr.contains("what a spreadsheet made of a long number"), "{}", out.stderr);
    }
}

#[test]
fn merged_and_doubled_headings_are_shown() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    fs::write(at("site.toml"), "[panel]\nslots = 4\n").unwrap();
    let plan = |text: &str| {
        fs::write(at("keys.csv"), text).unwrap();
        run(["plan", "--site", &at("site.toml"), "--roster", &at("keys.csv")])
    };
    let out = plan(&format!("bits,holder,,\n{CARD},Ada,Dyer,2\n"));
    let text = out.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("columns 3 and 4 have no heading, and are not read"), "{text}");
    let out = plan(&format!("bits,Card No,Card Number\n{CARD},4321,4321\n"));
    let said = "two columns mean the same, 2 (\"Card No\") and 3 (\"Card Number\"): leave one out";
    assert!(out.code == 2 && out.stderr.contains(said), "{}", out.stderr);
}

/// `read` and `learn` take the words of `--column` as the roster's verbs do.
#[test]
fn headings_of_captures_are_mapped() {
    let cards = format!("Keys;;\nTag;Badge nr;Who\n{CARD};4321;Ada\n");
    let mapped = ["--column", "Tag=bits", "--column", "Badge nr=printed"];
    let (lines, said) = read(&[("cards.csv", &cards)], &mapped);
    assert_eq!(lines[0]["bits"], CARD, "{said}");
    let evidence = lines[0]["candidates"][0]["evidence"].to_string();
    assert!(evidence.contains("known numbers") || evidence.contains("print"), "{evidence}");
    assert_eq!(lines[0]["carried"], serde_json::json!({"Badge nr": "4321", "Who": "Ada"}));
    let object = format!("{{\"Tag\":\"{CARD}\",\"Badge nr\":4321}}\n");
    let (lines, _) = read(&[("cards.jsonl", &object)], &mapped);
    assert_eq!(lines[0]["bits"], CARD);
    assert_eq!(lines[0]["carried"], serde_json::json!({"Badge nr": 4321}));
    // One column, and a heading that is not there.
    let (lines, _) = read(&[("one.csv", &format!("Tag\n{CARD}\n"))], &mapped[..2]);
    assert_eq!(lines[0]["bits"], CARD);
    let (_, said) = read(&[("cards.csv", &cards)], &["--column", "Tap=bits"]);
    assert!(said.contains("--column: no column \"Tap\""), "{said}");
    let (_, said) = read(&[("cards.csv", &cards)], &["--column", "Tag=bites"]);
    assert!(said.contains("is no column: a heading may mean bits"), "{said}");
    // Without the words the mend is shown in full.
    let (_, said) = read(&[("cards.csv", &cards.replace("Tag", "bist"))], &[]);
    assert!(said.contains("did you mean \"bits\""), "{said}");
    let mut desk = holdover_desk::Desk::new();
    let drawer =
        fs::read_to_string(crate::holdover::root().join("fixtures/mill/drawer.csv")).unwrap();
    desk.put("drawer.csv", drawer.replace("bits", "Tag").replace("printed", "Nr"));
    let words = ["learn", "drawer.csv", "--column", "Tag=bits", "--column", "Nr=printed"];
    let ran = holdover_args::run(&mut desk, &words);
    let text = String::from_utf8(ran.output).unwrap();
    assert!(text.contains("card     10-29          settled"), "{text}{}", ran.said);
}
