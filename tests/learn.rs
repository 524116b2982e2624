//! `holdover learn`: drawers of cards to tables.

use fastrand::Rng;
use tempfile::tempdir;

use crate::holdover::{feed, file, root, run};

/// An invented layout: the mill's 30 bits, site 2-9, card 10-29, even parity
/// over the first half, odd over the second.
pub fn mill30(site: u32, card: u32) -> String {
    let data = format!("{site:08b}{card:020b}");
    let ones = |text: &str| text.matches('1').count() % 2;
    format!("{}{data}{}", ones(&data[..14]), 1 - ones(&data[14..]))
}

fn drawer(rng: &mut Rng, count: usize) -> Vec<(String, String)> {
    (0..count)
        .map(|_| {
            let card = rng.u32(..1 << 20);
            (mill30(19, card), format!("19-{card:07}"))
        })
        .collect()
}

fn csv(rows: &[(String, String)]) -> String {
    let rows: Vec<String> = rows.iter().map(|(bits, print)| format!("{bits},{print}")).collect();
    format!("bits,printed\n{}\n", rows.join("\n"))
}

#[test]
fn a_drawer_becomes_a_table_that_read_takes() {
    let dir = tempdir().unwrap();
    let rows = drawer(&mut Rng::with_seed(1), 24);
    let cards = file(&dir, "drawer.csv", csv(&rows));
    let table = dir.path().join("mill.toml");
    let (cards, table) = (cards.to_str().unwrap(), table.to_str().unwrap());
    let learnt = run(["learn", cards, "-o", table]);
    assert_eq!(learnt.code, 0, "{}{}", learnt.stdout, learnt.stderr);
    for part in ["found30", "varied", "settled", "not settled", "next"] {
        assert!(learnt.stdout.contains(part), "{part}\n{}", learnt.stdout);
    }
    assert_eq!(run(["table", "lint", table]).code, 0);
    let text = std::fs::read_to_string(table).unwrap();
    // The site code never varied; until it does, one check could be that of
    // everything, and the other makes up for it.
    assert!(text.contains("over = \"2-15\"\nsettled = false\nopen = \"2-9,16-30\"\n"), "{text}");
    assert_eq!(text.matches("settled = false").count(), 3, "{text}");
    let read = run(["read", cards, "--table", table, "--format", "csv"]);
    assert_eq!(read.code, 0);
    for ((_, print), line) in rows.iter().zip(read.stdout.lines().skip(1)) {
        let card: u32 = print[3..].parse().unwrap();
        assert!(line.contains(&format!("identified,found30,as-captured,19,{card},")), "{line}");
    }
}

#[test]
fn json_has_the_shape_the_design_fixes() {
    let rows = drawer(&mut Rng::with_seed(2), 24);
    let learnt = feed(["learn", "-", "--format", "json"], csv(&rows).as_bytes());
    let objects = learnt.json();
    assert_eq!(objects.len(), 1);
    let keys: Vec<&String> = objects[0].as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        [
            "length",
            "samples",
            "fields",
            "checks",
            "false_alarms_expected",
            "misread",
            "next_sample",
            "layout",
            "reading",
            "notes",
            "left_out",
            "failure",
        ]
    );
    let card = objects[0]["fields"].as_array().unwrap().iter().find(|f| f["role"] == "card");
    let could_be = card.unwrap()["could_be"].as_array().unwrap();
    assert!(could_be.iter().any(|span| span == "10-29"), "{could_be:?}");
    let checks = objects[0]["checks"].as_array().unwrap();
    assert_eq!(checks[1]["bit"], 30);
    assert_eq!(checks[1]["over"], "16-29");
    assert_eq!(checks[1]["settled"], false);
    assert_eq!(checks[1]["undetermined"], "1-15");
    assert_eq!(checks[0]["undetermined"], "2-9,16-30");
}

#[test]
fn bad_rows_are_named_and_left_out() {
    let mut rows = drawer(&mut Rng::with_seed(3), 40);
    // Two digits swapped in one print, a bit flipped in one capture, a stranger.
    let print = rows[4].1.clone().into_bytes();
    let swap = (3..9).find(|i| print[*i] != print[i + 1]).unwrap();
    let mut print = print;
    print.swap(swap, swap + 1);
    rows[4].1 = String::from_utf8(print).unwrap();
    let flipped = if &rows[9].0[14..15] == "0" { "1" } else { "0" };
    rows[9].0.replace_range(14..15, flipped);
    rows[20].0 = "110010101011110000110101010011".to_owned();
    let learnt = feed(["learn", "-", "--format", "json"], csv(&rows).as_bytes());
    assert_eq!(learnt.code, 1);
    assert_eq!(learnt.json()[0]["misread"].to_string(), "[6,11,22]");
    let text = feed(["learn", "-"], csv(&rows).as_bytes());
    assert!(text.stdout.contains("line 6:"), "{}", text.stdout);
}

#[test]
fn several_kinds_in_one_pile_are_answered_each() {
    let mut rng = Rng::with_seed(4);
    let mut rows = drawer(&mut rng, 20);
    for _ in 0..20 {
        let card = rng.u32(..65536);
        let made = run(["compose", "std26", "site=65", &format!("card={card}")]);
        rows.push((made.stdout.trim().to_owned(), format!("{card}")));
    }
    rng.shuffle(&mut rows);
    let learnt = feed(["learn", "-", "--format", "json"], csv(&rows).as_bytes());
    let lengths: Vec<u64> = learnt.json().iter().map(|o| o["length"].as_u64().unwrap()).collect();
    assert_eq!(lengths.len(), 2, "{}", learnt.stdout);
    assert!(lengths.contains(&26) && lengths.contains(&30));
}

#[test]
fn what_cannot_be_learnt_is_said() {
    let dir = tempdir().unwrap();
    let table = dir.path().join("none.toml");
    let one = run(["learn", "0110", "-o", table.to_str().unwrap()]);
    assert_eq!(one.code, 2);
    assert!(one.stdout.contains("no layout found"), "{}", one.stdout);
    assert!(one.stderr.contains("not written"), "{}", one.stderr);
    assert!(!table.exists());
    assert_eq!(run(["learn", "0110"]).code, 1);
    assert_eq!(feed(["learn", "-"], b"").code, 2);
    assert_eq!(feed(["learn", "-"], b"bits,printed\n01x,4\n").code, 2);
    assert_eq!(run(["learn", "0110", "--format", "csv"]).code, 2);
}

/// The number printed is 1000 more than the bits' number, or twice it and one.
#[test]
fn prints_by_a_rule_come_back_as_printed() {
    let dir = tempdir().unwrap();
    let mut rng = Rng::with_seed(6);
    for (factor, offset, keys) in
        [(1, 1000, "offset = 1000\n"), (2, 1, "factor = 2\noffset = 1\n"), (3, 0, "factor = 3\n")]
    {
        let numbers: Vec<u32> = (0..40).map(|_| rng.u32(..1 << 20)).collect();
        let print = |n: u32| (factor * n + offset).to_string();
        let rows: Vec<_> = numbers.iter().map(|n| (mill30(19, *n), print(*n))).collect();
        let cards = file(&dir, "drawer.csv", csv(&rows));
        let table = dir.path().join("mill.toml");
        let (cards, table) = (cards.to_str().unwrap(), table.to_str().unwrap());
        let learnt = run(["learn", cards, "-o", table, "--format", "json"]);
        assert_eq!(learnt.code, 0, "{}{}", learnt.stdout, learnt.stderr);
        let field = &learnt.json()[0]["fields"][0];
        assert_eq!((&field["factor"], &field["offset"]), (&factor.into(), &offset.into()));
        let text = std::fs::read_to_string(table).unwrap();
        assert!(text.contains(keys), "{text}");
        let read = run(["read", cards, "--table", table, "--format", "csv"]);
        assert_eq!(read.code, 0, "{}{}", read.stdout, read.stderr);
        for (n, line) in numbers.iter().zip(read.stdout.lines().skip(1)) {
            assert!(line.contains(&format!(",{n},")), "{line}");
            assert!(line.contains(&format!("of its number: {}", print(*n))), "{line}");
        }
        // A card whose print is another number is told, with what it should be.
        let other = [(rows[0].0.clone(), print(numbers[1]))];
        let read = feed(["read", "-", "--table", table], csv(&other).as_bytes());
        let expected = format!("which is printed as {}", print(numbers[0]));
        assert!(read.stdout.replace("\n        ", " ").contains(&expected), "{}", read.stdout);
    }
}

/// What cannot teach is told what would.
#[test]
fn samples_that_cannot_teach_get_advice_that_fits() {
    let mut rng = Rng::with_seed(7);
    let next = |rows: &[(String, String)]| {
        let learnt = feed(["learn", "-", "--format", "json"], csv(rows).as_bytes());
        let kind = &learnt.json()[0];
        (kind["failure"].to_string(), kind["next_sample"].to_string())
    };
    let card = drawer(&mut rng, 1);
    let (failure, advice) = next(&vec![card[0].clone(); 12]);
    assert!(failure.contains("one card, however often"), "{failure}");
    assert!(advice.contains("all samples are one card"), "{advice}");
    let mut unrelated = drawer(&mut rng, 30);
    unrelated.iter_mut().for_each(|row| row.1 = rng.u32(..1 << 20).to_string());
    let (failure, advice) = next(&unrelated);
    assert!(failure.contains("no number printed comes out"), "{failure}");
    assert!(advice.contains("beside the bits of its own card"), "{advice}");
    let (_, advice) = next(&drawer(&mut rng, 8));
    assert!(advice.contains("another site code") || advice.contains("further cards"), "{advice}");
    // No part is left open without a next step.
    for count in [4, 8, 16, 40] {
        let rows: Vec<_> = (0..count)
            .map(|_| {
                let (site, card) = (rng.u32(..256), rng.u32(..1 << 20));
                (mill30(site, card), format!("{site}-{card:07}"))
            })
            .collect();
        let learnt = feed(["learn", "-", "--format", "json"], csv(&rows).as_bytes());
        let kind = &learnt.json()[0];
        let open = |part: &str| {
            kind[part].as_array().unwrap().iter().any(|found| found["settled"] == false)
        };
        let open = open("fields") || open("checks");
        assert!(!open || kind["next_sample"].is_string(), "{kind}");
    }
}

/// A code by polynomial is named by its polynomial; with its bits in another order
/// it is no check that is known, which is said.
#[test]
fn checks_of_a_kind_that_is_not_known_are_said_to_be_there() {
    let mut rng = Rng::with_seed(8);
    // Remainder of division by x^4 + x + 1, by long division.
    let code = |data: u32, turned: bool| {
        let rest = (4..24).rev().fold(data << 4, |rest, at| match rest >> at & 1 {
            1 => rest ^ 0b1_0011 << (at - 4),
            _ => rest,
        });
        let rest = if turned { rest.reverse_bits() >> 28 } else { rest };
        format!("{data:020b}{rest:04b}")
    };
    let mut told = |turned: bool| {
        let cards = (0..80).map(|_| rng.u32(..1 << 20));
        let rows: Vec<_> = cards.map(|card| (code(card, turned), format!("{card:07}"))).collect();
        let learnt = feed(["learn", "-"], csv(&rows).as_bytes());
        learnt.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let said = told(false);
    assert!(said.contains("by the polynomial x^4 + x + 1: found by algebra alone"), "{said}");
    let said = told(true);
    assert!(said.contains("a kind of check that is not known here is at work"), "{said}");
    let plain = feed(["learn", "-"], csv(&drawer(&mut rng, 80)).as_bytes());
    let said = plain.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!said.contains("not known here"), "{said}");
}

/// Site codes 65 and 66 that nobody printed, and cards numbered alike at both: the
/// code is proposed, the table says that it is not settled, and the plan keeps the
/// two holders of card 1234 apart (one card number, two people; worked out by
/// hand).
#[test]
fn two_sites_people_with_one_number_stay_two() {
    let dir = tempdir().unwrap();
    let mut rng = Rng::with_seed(11);
    let drawn: Vec<(u32, u32)> = (0..40).map(|_| (rng.u32(65..=66), rng.u32(1..65_536))).collect();
    let cards = drawn.into_iter().chain([(65, 1234), (66, 1234)]);
    let rows: Vec<_> = cards.map(|(site, card)| (mill30(site, card), card.to_string())).collect();
    let pile = file(&dir, "pile.csv", csv(&rows));
    let table = dir.path().join("table.toml");
    let (pile, table) = (pile.to_str().unwrap(), table.to_str().unwrap());
    let learnt = run(["learn", pile, "-o", table]);
    assert_eq!(learnt.code, 0, "{}{}", learnt.stdout, learnt.stderr);
    assert!(learnt.stdout.contains("nobody printed"), "{}", learnt.stdout);
    let holders = rows.iter().zip(1..).map(|((bits, card), nth)| format!("{bits},{card},{nth}\n"));
    let roster = format!("bits,printed,holder\n{}", holders.collect::<String>());
    let roster = file(&dir, "roster.csv", roster);
    let site = file(&dir, "site.toml", "[panel]\nslots = 2\nmax_digits = 8\n");
    let (roster, site) = (roster.to_str().unwrap(), site.to_str().unwrap());
    let planned =
        run(["plan", "--roster", roster, "--site", site, "--table", table, "--format", "json"]);
    assert_eq!(planned.code, 0, "{}{}", planned.stdout, planned.stderr);
    let plan = &planned.json()[0];
    assert_eq!((plan["kept"].as_u64(), &plan["conflicts"]), (Some(42), &serde_json::json!([])));
    let cautions = plan["cautions"].to_string();
    assert!(cautions.contains("site") && cautions.contains("not settled"), "{cautions}");
}

/// The old panel's list tells the number where the print does not, by holder, by
/// print, or by the numbers alone; and says where it does not.
#[test]
fn the_old_panels_list_is_read_beside_captures() {
    let cards = std::fs::read_to_string(root().join("fixtures/mill/store-room.csv")).unwrap();
    let list = std::fs::read_to_string(root().join("fixtures/mill/old-panel.csv")).unwrap();
    let learn = |cards: &str, list: &str| {
        let mut desk = holdover_desk::Desk::new();
        desk.put("cards.csv", cards);
        desk.put("list.csv", list);
        let words = ["learn", "cards.csv", "--list", "list.csv", "--format", "json"];
        let ran = holdover_args::run(&mut desk, &words);
        let line: serde_json::Value = serde_json::from_slice(&ran.output).unwrap();
        let found = line["fields"].as_array().unwrap().iter().find(|f| f["role"] == "card");
        let field = found.map(|field| (field["span"].clone(), field["settled"] == true));
        (field, line["notes"].to_string())
    };
    let number = Some((serde_json::Value::from("10-26"), true));
    let (field, notes) = learn(&cards, &list);
    assert_eq!(field, number, "{notes}");
    assert!(notes.contains("20 of 21 captures have their row in list.csv, found by holder"));
    assert!(notes.contains("the card number is the list's column \\\"Internal no\\\""), "{notes}");
    let (field, notes) = learn(&cards, &list.replace("Badge", "Printed").replace("Name", "Who"));
    assert_eq!(field, number);
    assert!(notes.contains("found by print"), "{notes}");
    let bits: String =
        cards.lines().map(|l| l.split(',').next().unwrap().to_owned() + "\n").collect();
    let (field, notes) = learn(&bits, &list);
    assert_eq!(field, number);
    assert!(notes.contains("bits 10-26 are in the column"), "{notes}");
    let mut desk = holdover_desk::Desk::new();
    desk.put("cards.csv", cards.replace("holder", "Who"));
    desk.put("list.csv", list.replace("Name", "Who"));
    let words = ["learn", "cards.csv", "--list", "list.csv", "--column", "Who=holder"];
    let text = String::from_utf8(holdover_args::run(&mut desk, &words).output).unwrap();
    assert!(text.contains("by holder"), "{text}");
    // A constant is found as well, and is no rule of the print.
    let moved: String = list
        .lines()
        .map(|line| {
            let mut cells: Vec<String> = line.split(';').map(str::to_owned).collect();
            if let Ok(number) = cells[3].parse::<u64>() {
                cells[3] = (number + 5_000_000).to_string();
            }
            cells.join(";") + "\n"
        })
        .collect();
    for cards in [&cards, &bits] {
        // Bits of the site code never varied: they may be the constant's, or the number's.
        let (field, notes) = learn(cards, &moved);
        let (span, settled) = field.unwrap();
        assert!(span.as_str().is_some_and(|span| span.ends_with("-26")) && !settled, "{notes}");
        assert!(notes.contains("\"Internal no\\\" is n + "), "{notes}");
    }
    // Of people numbered from 1 on nothing is claimed.
    let people: String = list
        .lines()
        .map(|l| l.rsplit_once(';').unwrap().0.rsplit_once(';').unwrap().0.to_owned() + "\n")
        .collect();
    let (_, notes) = learn(&bits, &people);
    assert!(notes.contains("no row of it is known to be a capture's"), "{notes}");
    let mut desk = holdover_desk::Desk::new();
    desk.put("cards.csv", cards);
    desk.put("list.csv", "Name,Card\nAda,1.2E+09\n");
    let ran = holdover_args::run(&mut desk, &["learn", "cards.csv", "--list", "list.csv"]);
    assert!(ran.code == 2 && ran.said.contains("no column of whole numbers"), "{}", ran.said);
}
