//! What masked output tells of a card: its length, its verdict, its layout and
//! two digits. An attacker who has every output and every layout tries all
//! numbers; what comes out byte for byte alike cannot be told apart.

use std::fs;
use std::path::Path;

use holdover::bits::Capture;
use holdover::layout::{Layout, Table, Value, builtin};
use tempfile::tempdir;

use crate::holdover::{feed, run};

/// Everything that `read` says of an input: text, records, the page.
fn read(dir: &Path, text: &str, table: Option<&str>) -> String {
    let (file, page) = (dir.join("in.csv"), dir.join("page.html"));
    fs::write(&file, text).unwrap();
    let (file, page) = (file.to_str().unwrap(), page.to_str().unwrap());
    let tables: Vec<&str> = table.iter().flat_map(|table| ["--table", table]).collect();
    let mut all = String::new();
    for format in ["text", "json", "csv"] {
        let args = ["read", file, "--mask", "--format", format];
        let made = run(args.iter().chain(&tables));
        all += &made.stdout;
        all += &made.stderr;
    }
    let args = ["read", file, "--quiet", "--html", page];
    run(args.iter().chain(&tables));
    all + &fs::read_to_string(page).unwrap()
}

fn card(layout: &Layout, site: u128, number: u128) -> Capture {
    made(layout, site, number).unwrap()
}

/// A card of a number, where the layout's fixed bits admit it.
fn made(layout: &Layout, site: u128, number: u128) -> Option<Capture> {
    let site = layout.site_span().is_some().then_some(("site", Value::Number(site)));
    let card = ("card", Value::Number(number));
    layout.compose(site.into_iter().chain([card])).ok()
}

/// A card's number in the forms that columns of people have it in.
fn forms(number: u128, bits: &Capture) -> [String; 6] {
    let hex = format!("{number:08X}");
    let bytes: Vec<&str> = (0..4).map(|i| &hex[2 * i..2 * i + 2]).collect();
    let digits = number.to_string();
    let wide = digits.chars().map(|c| char::from_u32(c as u32 + 0xFEE0).unwrap());
    [
        bytes.join(" "),
        bytes.join(":"),
        hex.clone(),
        bytes.join("-"),
        wide.collect(),
        bits.to_string(),
    ]
}

#[test]
fn cards_of_the_same_two_digits_are_not_told_apart() {
    let dir = tempdir().unwrap();
    let mut rng = fastrand::Rng::with_seed(23);
    let numbered = |layout: &&Layout| layout.fields().iter().any(|f| f.role.name() == "card");
    for layout in builtin().layouts().iter().filter(numbered) {
        let Some(most) = layout.largest(holdover::layout::Part::Card) else { continue };
        let mut seen: Vec<(String, String)> = Vec::new();
        let tail = rng.u128(0..100);
        for _ in 0..12 {
            let number = rng.u128(0..=most.min(u128::from(u64::MAX)) / 100 - 1) * 100 + tail;
            let Some(bits) = made(layout, rng.u128(1..200), number) else { continue };
            let own = forms(number, &bits).join(",");
            let text = format!("bits,a,b,c,d,e,printed\n{bits},{own}\n");
            let row = feed(["read", "-", "--mask", "--format", "csv"], text.as_bytes()).stdout;
            let what = row.lines().nth(1).unwrap().to_owned();
            seen.push((what, read(dir.path(), &text, None)));
        }
        for (what, all) in &seen {
            let same = seen.iter().filter(|(other, _)| other == what);
            for (_, other) in same {
                assert_eq!(all, other, "{} {what}", layout.id());
            }
        }
    }
}

/// Layouts small enough that all numbers are tried: those that come out as the
/// card does are as many as have its two digits.
#[test]
fn every_number_of_two_digits_is_left() {
    let dir = tempdir().unwrap();
    let toml = |card: &str, check: &str| {
        format!(
            "[[layout]]\nid = \"own\"\nlength = 14\ntitle = \"an invented one\"\n\
                 basis = \"invented\"\n{card}\n{check}"
        )
    };
    let whole = "[[layout.field]]\nrole = \"card\"\nspan = \"2-13\"";
    let parts = "[[layout.field]]\nrole = \"card\"\nspan = \"8-13,2-7\"";
    let check = "[[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-13\"\n\
                 [[layout.check]]\nkind = \"odd\"\nbit = 14\nover = \"2-13\"";
    for (i, (card_field, check)) in
        [(whole, check), (parts, check), (whole, "")].into_iter().enumerate()
    {
        let text = toml(card_field, check);
        let Ok(table) = Table::from_toml(&text) else { panic!("{text}") };
        let path = dir.path().join("own.toml");
        fs::write(&path, &text).unwrap();
        let layout = table.layout("own").unwrap();
        let said = |number: u128| {
            let bits = card(layout, 0, number);
            read(dir.path(), &format!("bits\n{bits}\n"), path.to_str())
        };
        let own = said(1234);
        let alike = (34..4096).step_by(100).filter(|number| said(*number) == own).count();
        assert_eq!(alike, 41, "layout {i}");
    }
}

#[test]
fn a_column_is_shown_only_where_it_is_named() {
    let bits = "10100000100010000111000011";
    let text = format!("bits,door,note\n{bits},loft,C4 7A 31 D2\n");
    for format in ["text", "json", "csv"] {
        let args = ["read", "-", "--mask", "--format", format, "--keep-column", "door"];
        let made = feed(args, text.as_bytes());
        assert!(made.stdout.contains("loft"), "{}", made.stdout);
        assert!(!made.stdout.contains("C4"), "{}", made.stdout);
    }
    // What is no capture quotes its line, and so it is not said why.
    let made = feed(["read", "-", "--mask"], b"0x7Q1234\n");
    assert!(!made.stdout.contains("7Q") && !made.stderr.contains("7Q"), "{}", made.stderr);
    assert_eq!(made.code, 2);
}

/// The card that a colleague holds is not worked out from his own and what the
/// samples have in common.
#[test]
fn of_few_samples_nothing_is_learnt_that_gives_them_away() {
    let std26 = builtin().layout("std26").unwrap();
    let two = |other: u128| {
        let cards = [card(std26, 65, 4321), card(std26, 65, other)];
        cards.map(|card| format!("{card}\n")).concat()
    };
    let said = |other| {
        let made = feed(["learn", "-", "--mask"], two(other).as_bytes());
        made.stdout + &made.stderr
    };
    assert_eq!(said(17), said(60_000));
}

/// A copy of a plan tells two digits of each card, whatever the others are.
#[test]
fn copies_of_a_plan_tell_two_digits_of_each_card() {
    let dir = tempdir().unwrap();
    let site = dir.path().join("site.toml");
    fs::write(&site, "[panel]\nslots = 2\nmax_digits = 10\n").unwrap();
    let std26 = builtin().layout("std26").unwrap();
    let mut rng = fastrand::Rng::with_seed(2);
    let tails: Vec<u128> = (0..15).map(|_| rng.u128(0..100)).collect();
    let copies = |seed| {
        let mut rng = fastrand::Rng::with_seed(seed);
        let mut roster = "bits,holder,printed,state\n".to_owned();
        for (i, tail) in tails.iter().enumerate() {
            let number = (100 + 20 * i as u128 + rng.u128(0..20)) * 100 + tail;
            let bits = card(std26, 65, number);
            let print = if i % 2 == 0 { number.to_string() } else { format!("{number:X}") };
            let state = if i == 14 { "blocked" } else { "issued" };
            roster += &format!("{bits},person {i},{print},{state}\n");
        }
        let path = dir.path().join("roster.csv");
        fs::write(&path, roster).unwrap();
        let names = ["list.csv", "sheet.txt", "day.txt", "plan.json", "page.html"];
        let files = names.map(|name| dir.path().join(name));
        let [list, sheet, day, plan, page] = files.each_ref().map(|file| file.to_str().unwrap());
        let own = [site.to_str().unwrap(), path.to_str().unwrap()];
        let made = run([
            "plan",
            "--site",
            own[0],
            "--roster",
            own[1],
            "--mask",
            "--enrolment",
            list,
            "--worksheet",
            sheet,
            "--cutover",
            day,
            "-o",
            plan,
            "--html",
            page,
        ]);
        assert!(made.code < 2, "{}", made.stderr);
        let written: String = files.iter().map(|file| fs::read_to_string(file).unwrap()).collect();
        made.stdout + &made.stderr + &written
    };
    assert_eq!(copies(1), copies(1));
    let (one, other) = (copies(1), copies(7));
    for (a, b) in one.lines().zip(other.lines()) {
        assert_eq!(a, b);
    }
    assert_eq!(one, other);
}

/// A summary names no card; a site code may be the head of a number, and a
/// column the card.
#[test]
fn a_summary_shows_no_site_code_of_a_card() {
    let text = "bits,door,building\n10100000100010000111000011,C47A31D2,mill\n";
    for format in ["text", "json", "csv"] {
        let args =
            ["read", "-", "--summary", "--mask", "--keep-column", "building", "--format", format];
        let made = feed(args, text.as_bytes());
        assert!(made.stdout.contains("std26") && made.stdout.contains("mill"), "{}", made.stdout);
        assert!(!made.stdout.contains("65") && !made.stdout.contains("C47A"), "{}", made.stdout);
    }
}
