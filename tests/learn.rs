//! `holdover learn`: drawers of cards to tables.

use fastrand::Rng;
use tempfile::tempdir;

use crate::holdover::{feed, file, run};

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
