//! A proof that passes must mean it: states, blocked cards, plans changed by
//! hand, and site files of another panel.

use holdover_desk::Desk;
use serde_json::Value;

use crate::holdover::root;

pub const SITE: &str = "[panel]\nslots = 4\n[[batch]]\nlayout = \"std26\"\nsite = 65\n\
                    cards = \"4000-4999\"\nstate = \"issued\"\n";

pub fn desk(site: &str, roster: &str) -> Desk {
    let mut desk = Desk::new();
    desk.put("site.toml", site);
    desk.put("roster.csv", roster);
    desk
}

pub fn plan(desk: &mut Desk, more: &[&str]) -> holdover_desk::Ran {
    let words = ["plan", "--site", "site.toml", "--roster", "roster.csv", "-o", "plan.json"];
    holdover_args::run(desk, &[&words[..], more].concat())
}

pub fn prove(desk: &mut Desk, more: &[&str]) -> holdover_desk::Ran {
    let words = ["prove", "--plan", "plan.json", "--roster", "roster.csv"];
    holdover_args::run(desk, &[&words[..], more].concat())
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn states_are_the_words_there_are_in_rosters_of_every_head() {
    for (head, word, sum) in [
        ("state", "Kept", "2 rows: 2 kept, 0 boxed, 0 blocked"),
        ("status", " ACTIVE ", "2 rows: 2 kept, 0 boxed, 0 blocked"),
        ("Card status", "issued", "2 rows: 2 kept, 0 boxed, 0 blocked"),
        ("state", "boxed", "2 rows: 1 kept, 1 boxed, 0 blocked"),
        ("card_state", "Stolen", "2 rows: 1 kept, 0 boxed, 1 blocked"),
        ("state", "expired", "2 rows: 1 kept, 0 boxed, 1 blocked"),
    ] {
        let roster = format!("layout,site,card,{head}\nstd26,1,5,\nstd26,1,6,{word}\n");
        let mut desk = desk("[panel]\nslots = 1\n", &roster);
        for more in [&["-q"][..], &[]] {
            let made = plan(&mut desk, more);
            assert_eq!(made.code, 0, "{}", text(&made.output));
            assert!(text(&made.output).contains(sum), "{head} {word}: {}", text(&made.output));
        }
        let proved = prove(&mut desk, &[]);
        assert_eq!(proved.code, 0, "{}", text(&proved.output));
        assert!(text(&proved.output).contains(sum), "{}", text(&proved.output));
        // In JSON the sum is said beside it.
        assert!(prove(&mut desk, &["--format", "json"]).said.contains(sum));
    }
}

#[test]
fn any_other_state_is_an_error_with_its_line_and_the_nearest_word() {
    for (word, near) in [
        ("isued", "did you mean \"issued\"?"),
        ("bloked", "did you mean \"blocked\"?"),
        ("los", "did you mean \"lost\"?"),
        ("aktiv", "did you mean \"active\"?"),
        ("xyzzy", "[states]"),
        ("kept?", "did you mean \"kept\"?"),
        ("no", "[states]"),
    ] {
        let roster = format!("layout,site,card,state\nstd26,1,5,\nstd26,1,6,{word}\n");
        let mut desk = desk("[panel]\nslots = 1\n", &roster);
        let made = plan(&mut desk, &[]);
        assert_eq!(made.code, 2, "{word}");
        for part in ["roster.csv:3:", word, near, "blocked, lost, stolen"] {
            assert!(made.said.contains(part), "{word} {part}: {}", made.said);
        }
        assert!(desk.get("plan.json").is_none());
        // In a survey the captures are answered, and the word is refused.
        let bits = "10100000100010000111000011";
        desk.put("survey.csv", format!("bits,state\n{bits},{word}\n"));
        let read = holdover_args::run(&mut desk, &["read", "survey.csv", "--format", "csv"]);
        assert_eq!(read.code, 2);
        assert!(read.said.contains("survey.csv:2:") && read.said.contains(word), "{}", read.said);
        assert!(text(&read.output).contains("4321"));
    }
    // A site's own words, once for all.
    let own = "[panel]\nslots = 1\n[states]\naktiv = \"kept\"\nweg = \"blocked\"\n";
    let mut desk = desk(own, "layout,site,card,state\nstd26,1,5,Aktiv\nstd26,1,6,weg\n");
    let made = plan(&mut desk, &[]);
    assert!(text(&made.output).contains("2 rows: 1 kept, 0 boxed, 1 blocked"), "{}", made.said);
    let proved = prove(&mut desk, &["--site", "site.toml"]);
    assert_eq!(proved.code, 0, "{}", proved.said);
    // A word with a meaning of its own keeps it.
    desk.put("site.toml", "[panel]\nslots = 1\n[states]\nlost = \"kept\"\n");
    assert!(plan(&mut desk, &[]).said.contains("has a meaning of its own"));
    // Two columns of states are one too many.
    desk.put("site.toml", "[panel]\nslots = 1\n");
    desk.put("roster.csv", "layout,site,card,state,status\nstd26,1,5,,\n");
    assert!(plan(&mut desk, &[]).said.contains("two columns mean the same"));
}

/// The replacement has the same site code and number, and another issue code
/// that the panel does not read.
#[test]
fn a_blocked_card_that_opens_as_a_kept_one_is_shown_by_plan_and_proof() {
    let table = "[[layout]]\nid = \"own30\"\ntitle = \"invented\"\nlength = 30\nbasis = \"invented\"\n\
                 [[layout.field]]\nrole = \"site\"\nspan = \"2-9\"\n\
                 [[layout.field]]\nrole = \"card\"\nspan = \"10-25\"\n\
                 [[layout.field]]\nrole = \"issue\"\nspan = \"26-29\"\n\
                 [[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-15\"\n\
                 [[layout.check]]\nkind = \"odd\"\nbit = 30\nover = \"16-29\"\n";
    let mut desk = desk("[panel]\nslots = 1\n", "");
    desk.put("own.toml", table);
    let tables = ["--table", "own.toml"];
    let bits = |desk: &mut Desk, card: &str, issue: &str| {
        let words = ["compose", "own30", "site=7", card, issue];
        text(&holdover_args::run(desk, &[&words[..], &tables].concat()).output).trim().to_owned()
    };
    let (old, new) =
        (bits(&mut desk, "card=812", "issue=1"), bits(&mut desk, "card=812", "issue=2"));
    let other = bits(&mut desk, "card=813", "issue=1");
    let roster = |blocked: &str| {
        format!(
            "bits,layout,holder,state\n{new},own30,A. Dyer,kept\n{blocked},own30,A. Dyer,lost\n"
        )
    };
    desk.put("roster.csv", roster(&old));
    let made = plan(&mut desk, &tables);
    let said = text(&made.output);
    assert_eq!(made.code, 1, "{said}{}", made.said);
    for part in ["blocked-opens", "line 2", "line 3", "1 kept, 0 boxed, 1 blocked"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let file: Value = serde_json::from_slice(desk.get("plan.json").unwrap()).unwrap();
    assert_eq!(file["objective"]["blocked_open"], 1);
    assert_eq!(file["conflicts"][0]["kind"], "blocked-opens");
    let proved = prove(&mut desk, &["--format", "json"]);
    assert_eq!(proved.code, 1);
    let lines = text(&proved.output);
    let rows: Vec<Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(rows.len(), 2);
    assert!(rows.iter().all(|row| row["holds"] == false), "{lines}");
    assert_eq!((&rows[1]["state"], &rows[1]["got"]["also"][0]), (&"blocked".into(), &2.into()));
    // With a number of its own it stays shut, and that is proved.
    desk.put("roster.csv", roster(&other));
    assert_eq!(plan(&mut desk, &tables).code, 0);
    let proved = prove(&mut desk, &[]);
    assert_eq!(proved.code, 0, "{}", text(&proved.output));
    assert!(text(&proved.output).contains("all 2 rows hold"));
    // The day's sheet has it tried at a door.
    plan(&mut desk, &[&tables[..], &["--cutover", "day.txt"]].concat());
    let day = text(desk.get("day.txt").unwrap());
    assert!(day.contains("roster line 3") && day.contains("must stay shut"), "{day}");
}

/// A lost card within an issued range is a hole in it everywhere.
#[test]
fn a_blocked_card_is_cut_out_of_its_batch() {
    let mut desk = desk(SITE, "layout,site,card,state\nstd26,65,4901,lost\nstd26,65,4000,kept\n");
    let made = plan(&mut desk, &["--format", "json", "--enrolment", "list.csv"]);
    assert_eq!(made.code, 0, "{}", made.said);
    let file: Value = serde_json::from_str(&text(&made.output)).unwrap();
    assert_eq!((&file["kept"], &file["blocked"]), (&999.into(), &1.into()));
    assert_eq!(file["exposure"][0]["opening_patterns"], 999);
    let list = text(desk.get("list.csv").unwrap());
    for part in ["cards 4001 to 4900", "cards 4902 to 4999"] {
        assert!(list.contains(part), "{list}");
    }
    assert!(!list.contains("4901"), "{list}");
    let proved = prove(&mut desk, &[]);
    assert_eq!(proved.code, 0, "{}{}", text(&proved.output), proved.said);
}

/// Every change of a leaf of what is keyed in is noticed, and an edited plan is
/// taken only where that was meant.
#[test]
fn every_change_of_one_leaf_is_noticed() {
    fn leaves(value: &Value, at: String, out: &mut Vec<String>) {
        match value {
            Value::Object(map) => {
                map.iter().for_each(|(key, value)| leaves(value, format!("{at}/{key}"), out));
            }
            Value::Array(list) if !list.is_empty() => {
                let each = list.iter().enumerate();
                each.for_each(|(i, value)| leaves(value, format!("{at}/{i}"), out));
            }
            _ => out.push(at),
        }
    }
    let mut desk = Desk::new();
    for name in ["mill.toml", "reissued.csv", "found.toml"] {
        desk.put(name, std::fs::read(root().join("fixtures/mill").join(name)).unwrap());
    }
    let words = ["plan", "--site", "mill.toml", "--roster", "reissued.csv"];
    let tables = ["--table", "built-in", "--table", "found.toml", "-o", "plan.json"];
    assert_eq!(holdover_args::run(&mut desk, &[&words[..], &tables].concat()).code, 0);
    let whole: Value = serde_json::from_slice(desk.get("plan.json").unwrap()).unwrap();
    let words = ["prove", "--plan", "plan.json", "--roster", "reissued.csv"];
    assert_eq!(holdover_args::run(&mut desk, &words).code, 0);
    let mut changed = 0;
    for part in ["slots", "panel", "table", "batches"] {
        let mut places = Vec::new();
        leaves(&whole[part], format!("/{part}"), &mut places);
        for place in places {
            let mut plan = whole.clone();
            let leaf = plan.pointer_mut(&place).unwrap();
            *leaf = match &*leaf {
                Value::Number(n) => (n.as_u64().unwrap() + 1).into(),
                Value::Bool(flag) => (!flag).into(),
                Value::String(text) => format!("{text}x").into(),
                Value::Array(_) => Value::from(vec![1]),
                Value::Null | Value::Object(_) => serde_json::json!({"start": 2, "length": 8}),
            };
            desk.put("plan.json", plan.to_string());
            let proved = holdover_args::run(&mut desk, &words);
            assert_eq!(proved.code, 2, "{place}: {}", text(&proved.output));
            changed += 1;
        }
    }
    assert!(changed > 200, "{changed}");
    // Moved by one and meant: the rows fail, since the number is not the card's.
    let mut plan = whole.clone();
    let start = plan["slots"][1]["card"]["start"].as_u64().unwrap();
    plan["slots"][1]["card"]["start"] = (start - 1).into();
    desk.put("plan.json", plan.to_string());
    let proved = holdover_args::run(&mut desk, &[&words[..], &["--edited"]].concat());
    assert_eq!(proved.code, 1, "{}", proved.said);
    assert!(proved.said.contains("slot 2 reads the card number at 17-32"), "{}", proved.said);
    // What is only laid out anew is the same plan.
    desk.put("plan.json", serde_json::to_string_pretty(&whole).unwrap());
    assert_eq!(holdover_args::run(&mut desk, &words).code, 0);
}

#[test]
fn a_proof_is_of_this_site_of_kept_cards_and_of_a_whole_plan() {
    let mut desk = desk(SITE, "layout,site,card,holder\nstd26,65,4000,A. Dyer\n");
    assert_eq!(plan(&mut desk, &[]).code, 0);
    assert_eq!(prove(&mut desk, &["--site", "site.toml"]).code, 0);
    for (from, to, told) in [
        ("slots = 4", "slots = 5", "slots is 5 here and 4 in the plan"),
        ("slots = 4", "slots = 4\nfirst_bit = 0", "first_bit is 0 here and 1 in the plan"),
        ("4000-4999", "4000-4998", "cards 4000-4998 here and std26, site 65, cards 4000-4999"),
        ("issued", "boxed", "batch 1"),
    ] {
        desk.put("site.toml", SITE.replace(from, to));
        let proved = prove(&mut desk, &["--site", "site.toml"]);
        assert_eq!(proved.code, 2, "{told}: {}", text(&proved.output));
        assert!(proved.said.contains(told), "{told}: {}", proved.said);
    }
    // Nothing kept, nothing proved.
    desk.put("site.toml", "[panel]\nslots = 1\n");
    desk.put("roster.csv", "layout,site,card,state\nstd26,65,4000,boxed\n");
    assert_eq!(plan(&mut desk, &[]).code, 0);
    let proved = prove(&mut desk, &[]);
    assert_eq!(proved.code, 1);
    assert!(text(&proved.output).contains("nothing is proved"), "{}", text(&proved.output));
    // Copies are for reading.
    desk.put("roster.csv", "layout,site,card,holder\nstd26,65,4000,A. Dyer\n");
    for hide in ["--mask", "--pseudonyms"] {
        assert_eq!(plan(&mut desk, &[hide]).code, 0);
        let proved = prove(&mut desk, &[]);
        assert_eq!(proved.code, 2);
        assert!(proved.said.contains("a copy that hides cards or people"), "{}", proved.said);
    }
}

/// Sheets of one plan carry one mark, and sheets of two plans two.
#[test]
fn sheets_carry_the_mark_of_their_plan() {
    let marks = |roster: &str| {
        let mut desk = desk("[panel]\nslots = 2\n", roster);
        let sheets = ["--worksheet", "w.txt", "--enrolment", "e.csv", "--cutover", "c.txt"];
        plan(&mut desk, &sheets);
        let file: Value = serde_json::from_slice(desk.get("plan.json").unwrap()).unwrap();
        let mark = file["mark"].as_str().unwrap().to_owned();
        for sheet in ["w.txt", "e.csv", "c.txt"] {
            assert!(text(desk.get(sheet).unwrap()).contains(&mark), "{sheet} {mark}");
        }
        // A copy shows the half that says what is keyed in.
        plan(&mut desk, &["--mask", "--worksheet", "w.txt"]);
        let copy = text(desk.get("w.txt").unwrap());
        let (keyed, cards) = mark.split_once('-').unwrap();
        assert!(copy.contains(keyed) && !copy.contains(&format!("{keyed}-{cards}")), "{copy}");
        mark
    };
    let first = marks("layout,site,card\nstd26,1,5\n");
    assert_eq!(first, marks("layout,site,card\nstd26,1,5\n"));
    let other = marks("layout,site,card\nstd26,1,6\n");
    assert_ne!(first, other);
    assert_eq!(first[..4], other[..4], "what is keyed in is the same");
}

/// Where a few cards make many people's numbers change, the plan shows the other
/// way too, and it is one: with those cards reissued the others keep their print.
#[test]
fn the_other_way_has_its_price() {
    let rows = (0..40).map(|i| format!("std26,65,{},{0}\n", 4000 + i));
    let twins = ["std26,71,4003,4003\n", "std26,71,4017,4017\n"].map(str::to_owned);
    let roster = |rows: Vec<String>| "layout,site,card,printed\n".to_owned() + &rows.concat();
    let rows: Vec<String> = rows.collect();
    let mut desk = desk("[panel]\nslots = 1\n", &roster([&rows[..], &twins].concat()));
    let made = plan(&mut desk, &["--format", "json"]);
    let answer: Value = serde_json::from_slice(&made.output).unwrap();
    assert_eq!(answer["objective"]["renumbered"], 42);
    assert_eq!(answer["alternative"]["reissue"], serde_json::json!([42, 43]));
    assert_eq!(answer["alternative"]["keep_print"], 40);
    let shown = text(&plan(&mut desk, &[]).output);
    assert!(shown.contains("reissue 2 cards with other numbers"), "{shown}");
    desk.put("roster.csv", roster(rows));
    let made = plan(&mut desk, &["--format", "json"]);
    let answer: Value = serde_json::from_slice(&made.output).unwrap();
    assert_eq!((made.code, &answer["objective"]["renumbered"]), (0, &0.into()));
    assert!(answer.get("alternative").is_none());
}

/// What is keyed in stays, and what is new goes beside it.
#[test]
fn an_earlier_plan_is_kept() {
    let mut desk = desk("[panel]\nslots = 2\n", "layout,site,card\nstd26,65,4000\nstd26,66,4000\n");
    plan(&mut desk, &[]);
    let first: Value = serde_json::from_slice(desk.get("plan.json").unwrap()).unwrap();
    desk.put("before.json", desk.get("plan.json").unwrap().to_vec());
    // Alone, the card of site 65 would be read by its number.
    desk.put("roster.csv", "layout,site,card\nstd26,65,4000\nserial32,,3296342482\n");
    let made = plan(&mut desk, &["--keep", "before.json", "--format", "json"]);
    assert_eq!(made.code, 0, "{}", made.said);
    let kept: Value = serde_json::from_slice(&made.output).unwrap();
    assert_eq!(kept["slots"][0]["card"], first["slots"][0]["card"]);
    assert_eq!(kept["slots"][1]["layouts"][0], "serial32");
    desk.put("site.toml", "[panel]\nslots = 1\nidentity = \"slot+number\"\n");
    let shown = plan(&mut desk, &["--keep", "before.json"]);
    assert!(text(&shown.output).contains("not kept  slot 1 (std26)"), "{}", text(&shown.output));
}

/// A blocked card whose bits fit no layout may open all the same, where the
/// panel does not look at what is wrong with them.
#[test]
fn a_blocked_card_that_fits_no_layout_is_tried_too() {
    let mut desk = Desk::new();
    let made = holdover_args::run(&mut desk, &["compose", "std26", "site=65", "card=4000"]);
    let bits = text(&made.output).trim().to_owned();
    let flipped = if bits.starts_with('0') { "1" } else { "0" };
    let misread = format!("{flipped}{}", &bits[1..]);
    desk.put("roster.csv", format!("bits,layout,state\n{bits},std26,\n{misread},std26,lost\n"));
    for (checks, code) in [(true, 0), (false, 1)] {
        desk.put("site.toml", format!("[panel]\nslots = 1\nchecks_parity = {checks}\n"));
        let made = plan(&mut desk, &[]);
        assert_eq!(made.code, code, "{}", text(&made.output));
        assert_eq!(text(&made.output).contains("blocked-opens"), !checks);
        let said = text(&made.output).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains("its bits fit no layout"), "{said}");
        // Shut to those bits, and to the card nobody knows.
        let proved = prove(&mut desk, &[]);
        assert_eq!(proved.code, 1, "{}", text(&proved.output));
        assert_eq!(text(&proved.output).contains("1 card was not read"), checks);
        let shown = text(&proved.output);
        assert_eq!(shown.contains("is blocked, and opens"), !checks, "{shown}");
    }
}

fn bits(site: u32, card: u32) -> String {
    let words = ["compose", "std26", &format!("site={site}"), &format!("card={card}")];
    text(&holdover_args::run(&mut Desk::new(), &words).output).trim().to_owned()
}

/// The same with one bit wrong.
fn flipped(bits: &str, at: usize) -> String {
    let flip = |(i, bit)| if i + 1 == at { if bit == '0' { '1' } else { '0' } } else { bit };
    bits.chars().enumerate().map(flip).collect()
}

#[test]
fn a_blocked_card_that_was_misread_is_cut_out_by_its_print() {
    let misread = flipped(&bits(65, 4500), 16);
    let roster = format!(
        "bits,printed,holder,state\n{},04321,Ada Dyer,kept\n{misread},04500,Bo Weaver,stolen\n",
        bits(65, 4321)
    );
    let mut desk = desk(SITE, &roster);
    let made = plan(&mut desk, &["--enrolment", "list.csv"]);
    let said = text(&made.output);
    assert!(said.contains("line 3, Bo Weaver, print 04500: blocked"), "{said}");
    let list = text(desk.get("list.csv").unwrap());
    assert!(list.contains("cards 4322 to 4499") && list.contains("cards 4501 to 4999"), "{list}");
    let proved = prove(&mut desk, &[]);
    assert_eq!(proved.code, 1, "{}", text(&proved.output));
    assert!(text(&proved.output).contains("unread  line 3"), "{}", text(&proved.output));
    // Of a length that nothing kept has, and without a print, it opens nothing.
    let other = roster.replace(&format!("{misread},04500"), "0x1A2B3C4D5/37,");
    desk.put("roster.csv", other);
    assert_eq!(plan(&mut desk, &[]).code, 0);
    assert_eq!(prove(&mut desk, &[]).code, 0);
}

/// ISO/IEC 14443-3:2018, 6.5.4: four bytes, which readers send in either order, and
/// 08 in front of a random number (from memory).
#[test]
fn one_serial_number_kept_and_blocked_opens_and_a_random_one_never_does() {
    let roster = |state: &str| {
        format!(
            "bits,layout,holder,state\n0x3C6DA5D7/32,serial32,Ada Dyer,kept\n\
             0xD7A56D3C/32,serial32,Ada Dyer,{state}\n0x5BD3EF92/32,serial32,Cy Fuller,kept\n"
        )
    };
    let mut desk = desk("[panel]\nslots = 4\nmax_digits = 10\n", &roster("stolen"));
    let made = plan(&mut desk, &[]);
    let said = text(&made.output);
    assert!(made.code == 1 && said.contains("blocked-opens"), "{said}");
    assert!(said.contains("line 3 is blocked and line 2 kept, and they are one card"), "{said}");
    let proved = prove(&mut desk, &[]);
    assert!(proved.code == 1, "{}", proved.said);
    assert!(text(&proved.output).contains("is blocked, and opens"), "{}", text(&proved.output));
    desk.put("roster.csv", roster("kept"));
    assert_eq!(plan(&mut desk, &[]).code, 0);
    assert_eq!(prove(&mut desk, &[]).code, 0);
    desk.put("roster.csv", roster("kept").replace("0x5BD3EF92", "0x08D3EF92"));
    let made = plan(&mut desk, &[]);
    assert!(made.code == 1 && text(&made.output).contains("its number is random"), "{}", made.said);
    assert_eq!(prove(&mut desk, &[]).code, 1);
}

#[test]
fn what_a_reader_does_to_its_bits_is_said_before_the_cut_over() {
    let inverted = |card: u32| -> String {
        bits(65, card).chars().map(|bit| if bit == '0' { '1' } else { '0' }).collect()
    };
    let rows: String =
        (4321..4325).map(|card| format!("{},0{card},gate\n", inverted(card))).collect();
    let mut desk = desk(SITE, &format!("bits,printed,reader\n{rows}"));
    let made = plan(&mut desk, &["--cutover", "day.txt"]);
    let said = "reader gate sends every bit inverted";
    assert!(text(&made.output).contains(said), "{}", text(&made.output));
    assert!(text(desk.get("day.txt").unwrap()).contains(said));
    let proved = prove(&mut desk, &[]);
    assert!(proved.said.contains(said), "{}", proved.said);
    // One of several doors, and nobody noted which.
    let rows: String = (4300..4316)
        .map(|card| format!("{}\n", if card % 4 == 0 { inverted(card) } else { bits(65, card) }))
        .collect();
    desk.put("roster.csv", format!("bits\n{rows}"));
    let made = plan(&mut desk, &["--format", "json"]);
    assert!(made.said.contains("a reader sends every bit inverted"), "{}", made.said);
    assert!(made.said.contains("4 of 16 captures"), "{}", made.said);
}

#[test]
fn a_blocked_card_with_the_number_of_a_boxed_one_is_said() {
    let card = |site, card, state: &str| format!("{},{state}\n", bits(site, card));
    let roster = ["bits,state\n".to_owned(), card(65, 4321, "kept"), card(66, 4322, "kept")];
    let roster = roster.concat() + &card(66, 5005, "stolen") + &card(65, 5005, "boxed");
    let made = plan(&mut desk("[panel]\nslots = 4\n", &roster), &[]);
    let said = text(&made.output).split_whitespace().collect::<Vec<_>>().join(" ");
    let part = "line 4 is blocked, and would open as the boxed card of panel number 05005";
    assert!(said.contains(part), "{said}");
}

#[test]
fn columns_that_say_states_are_not_passed_over() {
    let (ada, bo) = (bits(65, 4321), bits(65, 4322));
    for (heading, words) in [("Zustand", ["", "lost"]), ("active", ["TRUE", "FALSE"])] {
        let [first, second] = words;
        let roster = format!("bits,{heading}\n{ada},{first}\n{bo},{second}\n");
        let mut desk = desk(SITE, &roster);
        let made = plan(&mut desk, &[]);
        assert!(made.code == 2, "{}", text(&made.output));
        assert!(made.said.contains(&format!("--column \"{heading}=state\"")), "{}", made.said);
        // What is said mends it.
        let states = "[states]\ntrue = \"kept\"\nfalse = \"blocked\"\n";
        desk.put("site.toml", format!("{SITE}{states}"));
        let made = plan(&mut desk, &["--column", &format!("{heading}=state")]);
        assert!(text(&made.output).contains("1 kept, 0 boxed, 1 blocked"), "{}", made.said);
    }
    // Dates are none, and neither are remarks.
    let dates = format!("bits,issued\n{ada},2024-05-01\n{bo},2025-02-11\n");
    let made = plan(&mut desk(SITE, &dates), &[]);
    assert_eq!(made.code, 0, "{}", made.said);
    let made = plan(&mut desk(SITE, &format!("bits,remark\n{ada},lost\n{bo},at the gate\n")), &[]);
    assert_eq!(made.code, 0, "{}", made.said);
    // Never the opposite of what is written.
    let made = plan(&mut desk(SITE, &format!("bits,state\n{ada},inactive\n")), &[]);
    assert!(made.code == 2 && !made.said.contains("did you mean"), "{}", made.said);
    let made = plan(&mut desk(SITE, &format!("bits,state\n{ada},llost\n")), &[]);
    assert!(made.said.contains("did you mean \"lost\""), "{}", made.said);
}

#[test]
fn a_json_list_is_refused_without_the_bits_in_it() {
    let card = bits(65, 4321);
    let made = plan(&mut desk(SITE, &format!("[{{\"bits\":\"{card}\"}}]\n")), &[]);
    assert!(made.code == 2 && made.said.contains("one object a line"), "{}", made.said);
    assert!(!made.said.contains(&card), "{}", made.said);
}

#[test]
fn a_changed_roster_is_planned_again() {
    let roster = format!("bits,state\n{},kept\n{},kept\n", bits(65, 4321), bits(65, 4322));
    let mut desk = desk(SITE, &roster);
    plan(&mut desk, &[]);
    let changed = roster.rsplit_once("kept").unwrap().0.to_owned() + "stolen\n";
    desk.put("roster.csv", changed);
    let shown = text(&prove(&mut desk, &[]).output);
    assert!(shown.contains("plan again with this roster"), "{shown}");
}
