//! Cards with a print and no read: a list, and no obstacle.

use holdover_desk::Desk;
use serde_json::{Value, json};

use crate::proof::{SITE, desk, plan, prove, text};

/// An invented roster: two cards read, five that were not, one of them blocked.
const ROSTER: &str = "\
bits,layout,site,printed,holder,state,reader
10100000100010000111000011,,,04321,Ada Dyer,,lobby
0xC47A31D2/32,,,C4 7A 31 D2,Bo Weaver,,lobby
,,,04500,Cy Fuller,,gate
,site34,1180,20335,Di Carder,,gate
,,,X 77120,Ed Warper,,lobby
,,,X 77120,Ed Warper,,lobby
,,,99001,Ada Dyer,,
,,,04777,Flo Reeder,lost,
";

fn planned(roster: &str) -> Value {
    let made = plan(&mut desk(SITE, roster), &["--format", "json"]);
    assert!(made.code < 2, "{}", made.said);
    serde_json::from_slice(&made.output).unwrap()
}

#[test]
fn they_are_listed_by_door_and_holder_and_the_others_planned() {
    let to_read = planned(ROSTER)["to_read"].clone();
    let lines: Vec<Value> =
        to_read.as_array().unwrap().iter().map(|card| card["lines"].clone()).collect();
    assert_eq!(lines, [json!([4]), json!([5]), json!([6, 7]), json!([8]), json!([9])]);
    let at = |i: usize, key: &str| to_read[i][key].clone();
    // The batch tells layout and site code, or the row does.
    assert_eq!((at(0, "panel_number"), at(0, "counted_on")), (json!("04500"), json!(true)));
    assert_eq!(at(0, "note"), "std26, batch 1");
    assert_eq!((at(1, "panel_number"), at(1, "door")), (json!("20335"), json!("gate")));
    // Nothing tells what these are.
    assert_eq!((at(2, "panel_number"), at(2, "counted_on")), (Value::Null, json!(false)));
    assert_eq!(at(3, "door"), Value::Null);
    // Blocked: it stays shut, if its print tells the truth.
    assert_eq!((at(4, "state"), at(4, "counted_on")), (json!("blocked"), json!(true)));
}

#[test]
fn text_page_and_sheets_say_so() {
    let mut desk = desk(SITE, ROSTER);
    let more = ["--html", "plan.html", "--cutover", "day.txt", "--enrolment", "list.csv"];
    let made = plan(&mut desk, &more);
    assert_eq!(made.code, 0, "{}{}", text(&made.output), made.said);
    let out = text(&made.output);
    let out = out.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "8 rows: 2 kept, 0 boxed, 0 blocked, 6 to read",
        "some are still to be read",
        "5 cards were not read, 3 counted on by what print or list tell, 2 not planned for",
        "gate: line 4, Cy Fuller, print 04500: counted on as panel number 04500",
        "lobby: lines 6 and 7, Ed Warper, print X 77120: not planned for: no layout is named",
        "no door named: line 8, Ada Dyer, print 99001",
        "its holder has line 2, too",
        "blocked, counted on (std26, batch 1)",
    ] {
        assert!(out.contains(part), "{part}\n{out}");
    }
    let file = |desk: &Desk, name: &str| text(desk.get(name).unwrap());
    assert!(file(&desk, "plan.html").contains("Cards that were not read"));
    let day = file(&desk, "day.txt");
    assert!(day.contains("at gate\n    [ ] line 4, Cy Fuller, print 04500"), "{day}");
    let list = file(&desk, "list.csv");
    assert!(
        list.contains("line 4,Cy Fuller,04500,1 std26,04500,not read: the number is"),
        "{list}"
    );
    assert!(list.contains("lines 6 and 7,Ed Warper,,,X 77120,not read: no number yet"), "{list}");
    // A copy that hides cards names no print of theirs.
    let hidden = plan(&mut desk, &["--mask"]);
    assert!(!text(&hidden.output).contains("77120"), "{}", text(&hidden.output));
}

#[test]
fn nothing_is_proved_of_them() {
    let mut desk = desk(SITE, ROSTER);
    plan(&mut desk, &["-q"]);
    let proved = prove(&mut desk, &[]);
    let out = text(&proved.output);
    assert_eq!(proved.code, 1, "{out}");
    for part in [
        "8 rows: 2 kept, 0 boxed, 0 blocked, 6 to read",
        "all 3 other rows hold",
        "6 cards were not read, so they are not proved",
        "lines 4, 5, 6 and 3 more",
    ] {
        assert!(out.contains(part), "{part}\n{out}");
    }
    assert!(!out.contains("does not hold"), "{out}");
    let rows = prove(&mut desk, &["--format", "json"]);
    let rows: Vec<Value> =
        text(&rows.output).lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let unread = rows.iter().filter(|row| row["unread"] == true);
    assert_eq!(unread.filter(|row| row["holds"] == false).count(), 6);
    // Another card to read is another roster.
    desk.put("roster.csv", ROSTER.replace("99001", "99002"));
    assert!(prove(&mut desk, &[]).said.contains("is not the roster that plan.json was made for"));
}

/// What is read of a card settles it: as if the row had not asked for it.
#[test]
fn reading_them_ends_it() {
    let read = ROSTER.replace(",,,04500", "10100000100100011001010001,,,04500");
    assert_eq!(planned(&read)["to_read"].as_array().unwrap().len(), 4);
}

#[test]
fn what_a_print_does_not_tell_is_not_counted_on() {
    let of = |row: &str| {
        let head = "bits,layout,site,printed,holder\n10100000100010000111000011,,,04321,Ada\n";
        let to_read = planned(&format!("{head}{row}\n"))["to_read"].clone();
        assert_eq!(to_read.as_array().unwrap().len(), 1, "{row}");
        (to_read[0]["counted_on"] == true, to_read[0]["note"].as_str().unwrap().to_owned())
    };
    let (no, why) = of(",site34,,20335,Bo");
    assert!(!no && why == "site34 has a site code, and the row names none", "{why}");
    let (no, why) = of(",std26,65,no number,Bo");
    assert!(!no && why == "its print tells no one number of std26", "{why}");
    let (no, why) = of(",std26,300,4001,Bo");
    assert!(!no && why == "no card of std26 has that site code and number", "{why}");
    assert!(of(",serial32,,C4 7A 31 D3,Bo").0);
}

/// Prints that are something else on the cards that were read tell nothing of
/// those that were not.
#[test]
fn prints_that_are_no_numbers_tell_none() {
    let mut roster = "layout,site,card,printed,holder\n".to_owned();
    for i in 0..6 {
        roster += &format!("std26,65,{},{},P{i}\n", 4000 + i, 9000 + 7 * i);
    }
    let to_read = planned(&format!("{roster}std26,65,,9100,Bo\n"))["to_read"].clone();
    assert_eq!(to_read[0]["counted_on"], false);
    assert_eq!(to_read[0]["note"], "the prints of std26 are not its card numbers");
    // Of one site code, where they are its numbers, all others are taken to be.
    let roster = roster.replace(",90", ",40");
    let numbers: String = (0..4).map(|i| format!("std26,71,{i},{i},Q{i}\n")).collect();
    let head = roster.lines().next().unwrap();
    let to_read = planned(&format!("{head}\n{numbers}std26,,,9,Bo\n"))["to_read"].clone();
    assert_eq!(to_read[0]["note"], "std26, of site 71 as all its read cards");
}

/// The same holder and print: the card was read elsewhere, or is listed twice.
#[test]
fn two_rows_of_one_card_are_one() {
    let again = planned(&format!("{ROSTER},,,04321,ada dyer,,gate\n"));
    assert_eq!(again["to_read"].as_array().unwrap().len(), 5);
    assert_eq!(again["kept"], planned(ROSTER)["kept"]);
    let cautions = |plan: &Value| plan["cautions"].to_string();
    let twice = "10100000100010000111000011,,,04321,Ada Dyer,,gate\n";
    let twice = planned(&format!("{ROSTER}{twice}"));
    assert!(cautions(&twice).contains("lines 2 and 10 are one card"), "{}", cautions(&twice));
}

#[test]
fn a_holder_of_two_cards_is_named_by_lines() {
    let head = "layout,site,card,holder,state\n";
    let rows = "std26,65,4001,Ada,\nstd26,65,4002,Bo,\nstd26,65,4003,Ada,\nstd26,65,4004,Bo,lost\n";
    let plan = planned(&format!("{head}{rows}"));
    let cautions = plan["cautions"].to_string();
    assert!(
        cautions.contains("1 holder has more than one card to keep (lines 2 and 4)"),
        "{cautions}"
    );
}

#[test]
fn refused_rows_are_counted_against_all() {
    let made = plan(&mut desk(SITE, &format!("{ROSTER}2,,,1,,,\n")), &[]);
    assert_eq!(made.code, 2);
    assert!(made.said.contains("9 rows: 1 refused, 8 read"), "{}", made.said);
    let made = plan(&mut desk(SITE, &format!("{ROSTER},stt26,,1,,,\n")), &[]);
    assert!(made.code == 2 && made.said.contains("did you mean \"std26\"?"), "{}", made.said);
}

/// The old panel's list tells the numbers of cards that were not read, once the read
/// ones have shown which of its columns is theirs; nobody of it is dropped in silence.
#[test]
fn the_old_panels_list_tells_what_the_print_does_not() {
    let names = ["Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus", "Hal"];
    let number = |i: usize| 4000 + 37 * i * i % 997;
    let mut list = "Id;Name;Internal no\n".to_owned();
    for (i, name) in names.iter().enumerate() {
        list += &format!("{};{name};{}\n", i + 1, number(i) + 500_000);
    }
    list += "9;Mo;504000\n";
    let mut roster = "layout,site,card,printed,holder\n".to_owned();
    for (i, name) in names[..6].iter().enumerate() {
        roster += &format!("std26,65,{},M-{i},{name}\n", number(i));
    }
    roster += ",65,,M-77,Gus\n,65,,,Hal\n";
    let mut desk = desk(SITE, &roster);
    desk.put("list.csv", list.as_str());
    let made = plan(&mut desk, &["--format", "json", "--list", "list.csv"]);
    let json: Value = serde_json::from_slice(&made.output).unwrap();
    let of =
        |i: usize| (json["to_read"][i]["panel_number"].clone(), json["to_read"][i]["note"].clone());
    let how = json!("std26 by the list's column \"Internal no\"");
    assert_eq!(of(0), (json!(format!("{:05}", number(6))), how.clone()), "{}", made.said);
    assert_eq!(of(1), (json!(format!("{:05}", number(7))), how));
    assert!(
        made.said
            .contains("of list.csv, 1 of 9 rows are matched with no row of the roster (line 10)"),
        "{}",
        made.said
    );
    // The proof takes the same list, and proves nothing of them.
    let proved = prove(&mut desk, &["--list", "list.csv"]);
    assert!(text(&proved.output).contains("2 cards were not read"), "{}", text(&proved.output));
    assert!(!proved.said.contains("is not the roster"), "{}", proved.said);
    // A list whose numbers are of something else tells nothing.
    let other: String =
        list.lines().map(|line| line.rsplit_once(';').unwrap().0.to_owned() + "\n").collect();
    desk.put("list.csv", other);
    let made = plan(&mut desk, &["--format", "json", "--list", "list.csv"]);
    let json: Value = serde_json::from_slice(&made.output).unwrap();
    assert_eq!(json["to_read"][0]["counted_on"], false, "{}", json["to_read"]);
}

/// Numbers of two kinds begin anew: one print on two cards of one holder.
#[test]
fn one_print_on_cards_of_two_kinds_is_two_cards() {
    let roster = "bits,layout,site,printed,holder\n\
                  10100000100010000111000011,,,04321,Ada\n,site34,1180,04321,Ada\n\
                  ,std26,65,04500,Ada\n,site34,1180,04500,Ada\n,std26,65,04321,Ada\n";
    let to_read = planned(roster)["to_read"].clone();
    let lines: Vec<Value> =
        to_read.as_array().unwrap().iter().map(|card| card["lines"].clone()).collect();
    // The last row is the card that was read: the same kind, site code, holder and print.
    assert_eq!(lines, [json!([3]), json!([4]), json!([5])]);
}
