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
