//! Rosters, case files and drawers of cards, through the command line.

use std::str::from_utf8;

use holdover::layout::Table;
use serde_json::Value;

use super::{FOUND, SITE, choice, objects, records};
use crate::tool;

/// A roster: what is planned of it proves, and what is written reads back.
pub fn roster(data: &[u8]) {
    let Some((way, rest)) = choice(data, 5) else { return };
    planned(way, &tool::file("roster.csv", rest));
}

/// Plans a roster one of five ways.
pub(super) fn planned(way: usize, roster: &str) {
    let plan = "plan.json".to_owned();
    let (list, sheet, day) =
        ("enrolment.csv".to_owned(), "worksheet.txt".to_owned(), "cutover.txt".to_owned());
    let page = "page.html".to_owned();
    let more: &[&str] = match way {
        0 => &["-o", &plan],
        1 => &["--format", "csv", "--mask", "--pseudonyms"],
        2 => &["--format", "json"],
        3 => &["--enrolment", &list, "--worksheet", &sheet, "--cutover", &day],
        _ => &["--html", &page],
    };
    let words = ["plan", "--site", SITE, "--roster", roster];
    let ran = tool::run(&[&words[..], &["--table", "built-in", "--table", FOUND], more].concat());
    match way {
        0 if ran.code < 2 => {
            let made = tool::take("plan.json").expect("a plan that is written");
            let plan = tool::file("made.json", &made);
            let words = ["prove", "--plan", &plan, "--roster", roster, "--site", SITE];
            let proved = tool::run(&[&words[..], &["--format", "json"]].concat());
            // A clean plan proves, but for cards nobody read; proving never refuses
            // what was planned.
            assert!(proved.code < 2, "{}", proved.said);
            let rows = objects(&proved.out);
            let fails = rows.iter().any(|row| row["holds"] == false);
            assert_eq!(fails, proved.code == 1);
            let holds = |row: &Value| row["holds"] == true || row["unread"] == true;
            assert!(ran.code == 1 || rows.iter().all(holds), "{}", proved.out);
        }
        1 if ran.code < 2 => _ = records(&ran.out),
        2 if ran.code < 2 => assert_eq!(objects(&ran.out).len(), 1),
        3 => {
            let list = tool::take("enrolment.csv");
            assert_eq!(list.is_some(), ran.code < 2);
            list.iter().for_each(|list| _ = records(from_utf8(list).expect("UTF-8")));
        }
        _ => {}
    }
    for name in ["plan.json", "enrolment.csv", "worksheet.txt", "cutover.txt", "page.html"] {
        tool::take(name);
    }
}

/// Cases: today's answers, recorded, hold today.
pub fn cases(data: &[u8]) {
    let file = tool::file("cases.csv", data);
    tool::run(&["prove", "--cases", &file, "--format", "csv"]);
    let record = "recorded.csv".to_owned();
    let ran = tool::run(&["prove", "--cases", &file, "--record", &record]);
    if let Some(recorded) = tool::take("recorded.csv") {
        assert!(ran.code < 2);
        let recorded = tool::file("again.csv", &recorded);
        let again = tool::run(&["prove", "--cases", &recorded, "--record", &record]);
        assert_eq!(again.code, 0, "{}{}", again.out, again.said);
        let twice = tool::take("recorded.csv").expect("cases that are written");
        assert_eq!(twice, tool::take("again.csv").expect("the cases"));
    }
}

/// A drawer of cards: the table made of it reads back, and reads the cards.
pub fn found(data: &[u8]) {
    let file = tool::file("drawer.csv", data);
    let table = "found.toml".to_owned();
    let ran = tool::run(&["learn", &file, "-o", &table, "--format", "json"]);
    for kind in objects(&ran.out) {
        assert!(kind["length"].is_u64() && kind["samples"].is_u64(), "{kind}");
    }
    let Some(made) = tool::take("found.toml") else { return };
    let text = from_utf8(&made).expect("UTF-8");
    let read = Table::from_toml(text).unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert_eq!(read.to_toml(), text);
    let table = tool::file("again.toml", &made);
    let again = tool::run(&["read", &file, "--table", &table, "--format", "json"]);
    assert!(ran.code == 2 || again.code < 2, "{}", again.said);
}
