//! `holdover plan` and `holdover prove`, from the site file to the proof.

use serde_json::Value;
use tempfile::tempdir;

use crate::holdover::{file, root, run};

const DEMO: [&str; 8] = [
    "--site",
    "fixtures/mill/mill.toml",
    "--roster",
    "fixtures/mill/roster.csv",
    "--table",
    "built-in",
    "--table",
    "fixtures/mill/found.toml",
];

fn demo(more: &[&str]) -> crate::holdover::Run {
    run(["plan"].iter().chain(&DEMO).chain(more))
}

#[test]
fn the_demo_is_planned_and_proved() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let outputs = [at("plan.json"), at("sheet.txt"), at("list.csv"), at("day.txt")];
    let made = demo(&[
        "-o",
        &outputs[0],
        "--worksheet",
        &outputs[1],
        "--enrolment",
        &outputs[2],
        "--cutover",
        &outputs[3],
    ]);
    // One card is listed for two people: the demo's conflict.
    assert_eq!(made.code, 1, "{}", made.stderr);
    for part in ["same-panel-number", "line 5, line 6", "reissue", "caution", "static numbers"] {
        assert!(made.stdout.contains(part), "{part}\n{}", made.stdout);
    }
    let sheet = std::fs::read_to_string(&outputs[1]).unwrap();
    assert_eq!(sheet.matches("signed ____").count(), sheet.matches("\nSLOT ").count());
    assert!(sheet.contains("counted from 1"), "{sheet}");
    let day = std::fs::read_to_string(&outputs[3]).unwrap();
    for part in ["SAVE FROM THE OLD PANEL", "HOW TO GO BACK", "licensed people"] {
        assert!(day.contains(part), "{part}");
    }
    let list = std::fs::read_to_string(&outputs[2]).unwrap();
    assert!(list.contains("line 8,G. Spinner,20335,"), "{list}");
    let proof = run([
        "prove",
        "--plan",
        &outputs[0],
        "--roster",
        "fixtures/mill/roster.csv",
        "--format",
        "json",
    ]);
    assert_eq!(proof.code, 1);
    let failed: Vec<u64> = proof
        .json()
        .iter()
        .filter(|row| row["holds"] == false)
        .map(|row| row["line"].as_u64().unwrap())
        .collect();
    assert_eq!(failed, [5, 6]);
    // Nothing changed against itself.
    let again = demo(&["--against", &outputs[0]]);
    assert!(again.stdout.contains("nothing changed"), "{}", again.stdout);
}

/// Labels of a worksheet's block, in order, a label of several lines once.
fn facts(block: &str) -> Vec<&str> {
    let mut labels: Vec<&str> = block
        .lines()
        .filter(|line| line.contains("[ ] keyed"))
        .map(|line| line[2..22].trim())
        .collect();
    labels.dedup();
    labels
}

/// The worksheet's order is its own, parity is said check by check, and no
/// panel is told to check parity on cards that have none: it would refuse them.
#[test]
fn the_worksheet_says_what_a_panel_asks_for_and_no_parity_where_there_is_none() {
    let dir = tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let (sheet, page) = (at("sheet.txt"), at("sheet.html"));
    let made = demo(&["--worksheet", &sheet, "--html", &page]);
    let sheet = std::fs::read_to_string(&sheet).unwrap();
    assert!(sheet.contains("Key in, in your panel's order"), "{sheet}");
    let blocks: Vec<&str> = sheet.split("\nSLOT ").skip(1).collect();
    assert_eq!(blocks.len(), 4);
    for block in &blocks {
        let wanted = [
            "bits in all",
            "card number",
            "site code",
            "site codes admitted",
            "parity",
            "decimal figures",
            "label",
        ];
        assert_eq!(facts(block), wanted, "{block}");
    }
    assert!(blocks[1].contains("bits 18-33 counted from 1"), "{}", blocks[1]);
    assert!(blocks[1].contains("(start 18, 16 bits)"), "{}", blocks[1]);
    assert!(blocks[1].contains("even: bit 1 over bits 2-17 "), "{}", blocks[1]);
    assert!(blocks[1].contains("odd: bit 34 over bits 18-33 "), "{}", blocks[1]);
    let serial = blocks.iter().find(|block| block.contains("cards of serial32")).unwrap();
    assert!(serial.contains("parity               none on this card "), "{serial}");
    assert!(!serial.contains("even:") && !serial.contains("odd:"), "{serial}");
    // The same in the other outputs.
    let row = made.stdout.lines().find(|line| line.contains("serial32")).unwrap();
    assert!(row.contains("none on this card"), "{row}");
    let page = std::fs::read_to_string(&page).unwrap();
    let card = page.split("for cards of").find(|part| part.contains("serial32</bdi>")).unwrap();
    assert!(card.contains("none on this card"), "{card}");
    let plan = &demo(&["--format", "json"]).json()[0];
    let slots = plan["slots"].as_array().unwrap();
    let parity = |id: &str| {
        let slot = slots.iter().find(|slot| slot["layouts"][0] == id).unwrap();
        slot["parity"].as_bool().unwrap()
    };
    assert!(parity("site34") && !parity("serial32"));
}

/// Serial numbers beside a kind of 32 bits with parity, in one slot or in two.
#[test]
fn no_grouping_tells_a_panel_to_check_parity_on_serial_numbers() {
    let dir = tempdir().unwrap();
    let own = "[[layout]]\nid = \"own32\"\ntitle = \"invented\"\nlength = 32\nbasis = \"invented\"\n\
               [[layout.field]]\nrole = \"card\"\nspan = \"2-32\"\n\
               [[layout.check]]\nkind = \"even\"\nbit = 1\nover = \"2-32\"\n";
    let table = file(&dir, "own.toml", own);
    let roster =
        file(&dir, "roster.csv", "layout,site,card\nserial32,,3296342482\nown32,,77123456\n");
    for slots in [1, 2] {
        for checks in [true, false] {
            let site = format!("[panel]\nslots = {slots}\nchecks_parity = {checks}\n");
            let site = file(&dir, "site.toml", site);
            let sheet = dir.path().join("sheet.txt");
            let made = run([
                "plan",
                "--site",
                site.to_str().unwrap(),
                "--roster",
                roster.to_str().unwrap(),
                "--table",
                "built-in",
                "--table",
                table.to_str().unwrap(),
                "--format",
                "json",
                "--worksheet",
                sheet.to_str().unwrap(),
            ]);
            assert!(made.code < 2, "{}", made.stderr);
            for slot in made.json()[0]["slots"].as_array().unwrap() {
                let serial = slot["layouts"].to_string().contains("serial32");
                assert!(!serial || slot["parity"] == false, "{slot}");
            }
            let sheet = std::fs::read_to_string(&sheet).unwrap();
            for block in sheet.split("\nSLOT ").skip(1).filter(|b| b.contains("serial32")) {
                let wanted = if block.contains("own32") { "off: " } else { "none on this card" };
                assert!(block.contains(&format!("parity               {wanted}")), "{block}");
                assert!(!block.contains("even:"), "{block}");
            }
        }
    }
}

/// A layout worked out from cards of one site code: whether the check bit
/// covers the site code is not settled, and the cards of another site code show
/// that it does.
const WORKED_OUT: &str = "[[layout]]\nid = \"mill30\"\nlength = 30\n\
                          basis = \"worked out from captures\"\n\
                          [[layout.field]]\nrole = \"site\"\nspan = \"2-9\"\n\
                          [[layout.field]]\nrole = \"card\"\nspan = \"10-29\"\n\
                          [[layout.check]]\nkind = \"odd\"\nbit = 1\nover = \"10-15\"\n\
                          settled = false\nopen = \"2-9\"\n\
                          [[layout.check]]\nkind = \"odd\"\nbit = 30\nover = \"16-29\"\n";

#[test]
fn cards_that_an_open_check_refuses_are_shown_with_their_lines() {
    let dir = tempdir().unwrap();
    let table = file(&dir, "mill.toml", WORKED_OUT);
    let site = file(&dir, "site.toml", "[panel]\nslots = 2\n");
    let bits = |site, card| crate::learn::mill30(site, card);
    let rows = [
        format!("{},A. Dyer,", bits(19, 345_648)),
        format!("{},B. Weaver,mill30", bits(19, 495_028)),
        format!("{},C. Fuller,mill30", bits(20, 139_492)),
        format!("{},D. Carder,", bits(20, 636_063)),
        format!("{},E. Warper,", &bits(20, 1)[..29]),
    ];
    let text = format!("bits,holder,layout\n{}\n", rows.join("\n"));
    let roster = file(&dir, "roster.csv", text);
    let (sheet, page) = (dir.path().join("sheet.txt"), dir.path().join("plan.html"));
    let at = |path: &std::path::Path| path.to_str().unwrap().to_owned();
    let own = at(&table);
    let tables = ["--table", "built-in", "--table", &own];
    let words = ["plan", "--site", &at(&site), "--roster", &at(&roster)].map(str::to_owned);
    let outputs = ["--worksheet", &at(&sheet), "--html", &at(&page)].map(str::to_owned);
    let made = run(words
        .iter()
        .map(String::as_str)
        .chain(tables)
        .chain(outputs.iter().map(String::as_str)));
    assert_eq!(made.code, 1, "{}", made.stderr);
    let said = made.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "2 of captures, lines 4, 5: its bits fail odd 1 over 10-15 of mill30, a layout worked out \
         from captures: learn again with these cards",
        "1 of captures, line 6: fits no layout",
        "slot 1: of mill30, odd 1 over 10-15 (bits 2-9 may be covered or not) is not settled, so \
         parity is not checked: a misread card may come up as another number; read one card of \
         another site code and learn again",
    ] {
        assert!(said.contains(part), "{part}\n{}", made.stdout);
    }
    let sheet = std::fs::read_to_string(sheet).unwrap();
    assert!(sheet.contains("off: its checks are not"), "{sheet}");
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains(", lines 4, 5: ") && page.contains(", line 6: "), "{page}");
    let note = |bits: &str| {
        let words = ["read", bits, "--format", "json"];
        run(words.into_iter().chain(tables)).json()[0]["notes"].to_string()
    };
    let fails = note(&bits(20, 139_492));
    assert!(
        fails.contains("odd 1 over 10-15 fails, and is not settled: learn again with this card"),
        "{fails}"
    );
    let holds = note(&bits(19, 139_492));
    assert!(holds.contains("of mill30, odd 1 over 10-15 is not settled: read one card"), "{holds}");
}

/// Where the check that is not settled is all that keeps two kinds apart, it is
/// keyed in, and said.
#[test]
fn an_open_check_that_the_aims_need_is_kept_and_said() {
    let dir = tempdir().unwrap();
    let open = WORKED_OUT.replace("over = \"10-15\"", "over = \"2-15\"");
    let other = WORKED_OUT.replace("mill30", "annex30").replace(
        "kind = \"odd\"\nbit = 1\nover = \"10-15\"\nsettled = false\nopen = \"2-9\"",
        "kind = \"even\"\nbit = 1\nover = \"2-15\"",
    );
    let table = file(&dir, "mill.toml", format!("{open}{other}"));
    let site = file(&dir, "site.toml", "[panel]\nslots = 2\nidentity = \"slot+number\"\n");
    let roster = file(&dir, "roster.csv", "layout,site,card\nmill30,19,7\nannex30,19,7\n");
    let made = run([
        "plan",
        "--site",
        site.to_str().unwrap(),
        "--roster",
        roster.to_str().unwrap(),
        "--table",
        table.to_str().unwrap(),
    ]);
    assert_eq!(made.code, 0, "{}{}", made.stdout, made.stderr);
    let said = made.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let part = "slot 1: of mill30, odd 1 over 2-15 (bits 2-9 may be covered or not) is not \
                settled: the panel may refuse cards that it should open; read one card of another \
                site code and learn again";
    assert!(said.contains(part), "{}", made.stdout);
    assert!(said.contains("odd 1, odd 30"), "{}", made.stdout);
}

#[test]
fn json_has_the_shape_the_design_fixes() {
    let made = demo(&["--format", "json"]);
    let plan: Value = serde_json::from_str(&made.stdout).unwrap();
    let keys: Vec<&String> = plan.as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        [
            "slots",
            "panel",
            "table",
            "batches",
            "kept",
            "boxed",
            "blocked",
            "lost",
            "conflicts",
            "exposure",
            "objective",
            "gap",
            "cautions",
            "roster",
            "schema",
            "mark",
            "digest",
            "alternative",
        ]
    );
    let keys: Vec<&String> = plan["slots"][0].as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        ["slot", "layouts", "length", "card", "site", "sites", "parity", "digits", "name"]
    );
    let keys: Vec<&String> = plan["objective"].as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        [
            "lost",
            "in_conflict",
            "blocked_open",
            "renumbered",
            "boxed_lost",
            "boxed_in_conflict",
            "exposure",
            "slots",
        ]
    );
    assert_eq!(plan["objective"]["in_conflict"], 2);
    assert_eq!(plan["conflicts"][0]["cards"].to_string(), "[5,6]");
}

#[test]
fn copies_that_leave_the_office_name_nobody() {
    let copy = demo(&["--format", "csv", "--mask", "--pseudonyms"]);
    for secret in ["Spinner", "Weaver", "20335", "04017", "C4 7A"] {
        assert!(!copy.stdout.contains(secret), "{secret}\n{}", copy.stdout);
    }
    assert!(copy.stdout.contains("person 1"));
}

#[test]
fn a_bad_row_leaves_nothing_written() {
    let dir = tempdir().unwrap();
    let out = dir.path().join("plan.json");
    let text = "layout,site,card\nstd26,65,4017\nstd26,65,70000\nstd62,65,1\nstd26,65,x\n";
    let roster = file(&dir, "roster.csv", text);
    let made = run([
        "plan",
        "--site",
        "fixtures/mill/mill.toml",
        "--roster",
        roster.to_str().unwrap(),
        "--table",
        "built-in",
        "--table",
        "fixtures/mill/found.toml",
        "-o",
        out.to_str().unwrap(),
    ]);
    assert_eq!(made.code, 2);
    for part in
        ["roster.csv:3:", "65535", "roster.csv:4:", "did you mean \"std26\"", "roster.csv:5:"]
    {
        assert!(made.stderr.contains(part), "{part}\n{}", made.stderr);
    }
    assert!(!out.exists());
}

/// What a file says does not reach the terminal as it is.
#[test]
fn a_plan_that_is_none_is_quoted_safely() {
    let dir = tempdir().unwrap();
    let plan = file(&dir, "plan.json", "{\"slots\":[],\"\\u001b[31m\\u202e\":1}");
    let words = ["prove", "--plan", plan.to_str().unwrap(), "--roster", "fixtures/mill/roster.csv"];
    let proved = run(words);
    assert_eq!(proved.code, 2);
    assert!(proved.stderr.contains("\\u{1b}[31m\\u{202e}"), "{}", proved.stderr);
    assert!(!proved.stderr.contains(['\u{1b}', '\u{202e}']), "{:?}", proved.stderr);
}

#[test]
fn cases_are_recorded_and_hold_until_the_table_changes() {
    let dir = tempdir().unwrap();
    let made = run(["compose", "std26", "site=65", "card=4000-4019", "--format", "csv"]);
    let captures = file(&dir, "captures.csv", &made.stdout);
    let cases = dir.path().join("cases.csv");
    let (captures, cases) = (captures.to_str().unwrap(), cases.to_str().unwrap());
    let recorded = run(["prove", "--cases", captures, "--record", cases]);
    assert_eq!(recorded.code, 0, "{}{}", recorded.stdout, recorded.stderr);
    assert_eq!(run(["prove", "--cases", cases]).code, 0);
    let table = include_str!("../crates/holdover/src/layout/builtin.toml");
    let moved = file(&dir, "moved.toml", table.replacen("span = \"10-25\"", "span = \"11-25\"", 1));
    let changed = run(["prove", "--cases", cases, "--table", moved.to_str().unwrap()]);
    assert_eq!(changed.code, 0, "cards below 32768 read the same");
    let wrong = file(
        &dir,
        "wrong.csv",
        "bits,layout,site,card\n10100000100010000111000011,std26,65,4322\n",
    );
    let shown = run(["prove", "--cases", wrong.to_str().unwrap()]);
    assert_eq!(shown.code, 1);
    assert!(shown.stdout.contains("card 4322") && shown.stdout.contains("card 4321"));
}

/// No cell that is written begins like a formula, and bits may: with a minus
/// sign that separates nothing.
#[test]
fn recorded_bits_with_a_minus_sign_in_front_are_read_back() {
    let dir = tempdir().unwrap();
    let bits = "10100000100010000111000011";
    for front in ["-", "--", " - ", "-\t-", "-\u{a0}-", "_-"] {
        let cases = file(&dir, "cases.csv", format!("bits,verdict\n{front}{bits},identified\n"));
        let [first, second] = ["first.csv", "second.csv"].map(|name| dir.path().join(name));
        let record = |from: &std::path::Path, to: &std::path::Path| {
            let (from, to) = (from.to_str().unwrap(), to.to_str().unwrap());
            let run = run(["prove", "--cases", from, "--record", to]);
            assert_eq!(run.code, 0, "{front:?}: {}{}", run.stdout, run.stderr);
            std::fs::read_to_string(to).unwrap()
        };
        assert_eq!(record(&cases, &first), record(&first, &second), "{front:?}");
    }
}

#[test]
fn the_roster_of_the_demo_is_invented_and_says_so() {
    let about = std::fs::read_to_string(root().join("fixtures/README.md")).unwrap();
    assert!(about.contains("invented"));
}

/// A site file of a usual panel, and a roster; what `plan` says of them.
fn planned(roster: &str, more: &[&str]) -> crate::holdover::Run {
    let dir = tempdir().unwrap();
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n");
    let roster = file(&dir, "roster.csv", roster);
    let (site, roster) = (site.to_str().unwrap(), roster.to_str().unwrap());
    run(["plan", "--site", site, "--roster", roster].iter().chain(more))
}

/// A 32-bit number between its two parity bits.
fn num34(number: u32) -> String {
    let even = (number >> 16).count_ones() % 2;
    let odd = 1 - (number & 0xFFFF).count_ones() % 2;
    format!("{even}{number:032b}{odd}")
}

#[test]
fn rows_of_one_kind_are_decided_together() {
    let mut rng = fastrand::Rng::with_seed(20);
    let numbers: String = (0..50).map(|_| num34(rng.u32(..)) + "\n").collect();
    let made = planned(&format!("bits\n{numbers}"), &["--format", "json"]);
    let plan = &made.json()[0];
    assert_eq!(plan["slots"][0]["layouts"], serde_json::json!(["num34"]), "{}", made.stderr);
    assert_eq!((plan["slots"].as_array().unwrap().len(), &plan["kept"]), (1, &50.into()));
    let made = planned(&format!("bits\n{numbers}"), &[]);
    let words = made.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.matches("taken as").count() <= 1, "{words}");
    let coded: String =
        (0..30).map(|i| num34((300 + i % 2) << 16 | rng.u32(0..1 << 16)) + "\n").collect();
    let made = planned(&format!("bits\n{coded}"), &["--format", "json"]);
    let plan = &made.json()[0];
    assert_eq!(plan["slots"][0]["layouts"], serde_json::json!(["site34"]));
    assert_eq!(plan["kept"], 30);
}

#[test]
fn one_card_in_two_forms_is_no_conflict() {
    let roster = |other: &str| {
        let (bare, framed) = (format!("{:032b}", 0xC47A_31D2u32), num34(0xC47A_31D2));
        format!("bits,layout,holder\n{bare},serial32,M. Loom\n{framed},num34,{other}\n")
    };
    let dir = tempdir().unwrap();
    let output = dir.path().join("plan.json");
    let output = output.to_str().unwrap();
    let made = planned(&roster("M. Loom"), &["-o", output]);
    assert_eq!(made.code, 0, "{}", made.stdout);
    let words = made.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("lines 2 and 3 are one card in two forms"), "{words}");
    let list = file(&dir, "roster.csv", roster("M. Loom"));
    let proof = run(["prove", "--plan", output, "--roster", list.to_str().unwrap()]);
    assert_eq!(proof.code, 0, "{}", proof.stdout);
    let made = planned(&roster("N. Treadle"), &["--format", "json"]);
    assert_eq!(made.code, 1);
    let conflict = &made.json()[0]["conflicts"][0];
    assert_eq!(conflict["cards"], serde_json::json!([2, 3]));
    let todo = conflict["what_to_do"].as_str().unwrap();
    assert!(todo.contains("reissue line 3 (N. Treadle)"), "{todo}");
}

#[test]
fn prints_that_are_wrong_are_shown_with_their_bits() {
    let roster = "layout,site,card,printed,holder\n\
        std26,65,1,00001,A. Dyer\n\
        std26,65,2,00002,B. Weaver\n\
        std26,65,3,,C. Fuller\n\
        std26,65,1234,01239,D. Carder\n\
        std26,65,4017,04330,E. Warper\n\
        std26,65,4330,04017,F. Reeder\n\
        std26,65,7,00002,G. Spinner\n\
        std26,65,8,00008,H. Bobbin\n\
        std26,65,9,00009,I. Skein\n\
        std26,65,10,00010,J. Hank\n";
    let words =
        |made: &crate::holdover::Run| made.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let made = planned(roster, &[]);
    assert_eq!(made.code, 0);
    let said = words(&made);
    for part in [
        "line 5: the print says 01239, the row's number is 1234: correct one of them",
        "lines 6 and 7: their prints are crossed: the prints say 04330 and 04017",
        "lines 3 and 8: one print, 00002, on different cards (B. Weaver, G. Spinner)",
    ] {
        assert!(said.contains(part), "{part}\n{said}");
    }
    assert!(!said.contains("line 4:") && !said.contains("line 2:"), "{said}");
    let masked = words(&planned(roster, &["--mask"]));
    for part in ["the print says ***, the row's number is ***", "lines 6 and 7"] {
        assert!(masked.contains(part), "{part}\n{masked}");
    }
    let list = planned(roster, &["--format", "csv"]).stdout;
    let of = |line: &str| list.lines().find(|l| l.starts_with(line)).unwrap().to_owned();
    assert!(of("line 5,").contains(",print and bits disagree: check this card,"), "{list}");
    assert!(of("line 4,").contains(",,"), "{list}");
    // One print on two cards: one of them has it rightly.
    assert!(of("line 3,").contains(",,"), "{list}");
    assert!(of("line 8,").contains(",print and bits disagree: check this card,"), "{list}");
}

#[test]
fn who_is_to_get_another_card_is_named_and_hidden() {
    let roster = "layout,site,card,printed,holder\n\
        std26,65,4805,04805,D. Carder\n\
        std26,65,4805,04805,E. Warper\n\
        serial32,,3296342482,C4 7A 31 D2,M. Loom\n\
        serial32,,3296342482,C4 7A 31 D2,N. Treadle\n";
    let todos = |more: &[&str]| -> Vec<String> {
        let made = planned(roster, &[&["--format", "json"], more].concat());
        let made = made.json();
        let conflicts = made[0]["conflicts"].as_array().unwrap();
        conflicts.iter().map(|c| c["what_to_do"].as_str().unwrap().to_owned()).collect()
    };
    let plain = todos(&[]).join("\n");
    assert!(plain.contains("reissue line 3 (E. Warper, print 04805)"), "{plain}");
    assert!(plain.contains("reissue line 5 (N. Treadle, print C4 7A 31 D2)"), "{plain}");
    let masked = todos(&["--mask"]).join("\n");
    assert!(!masked.contains("05") && !masked.contains("D2"), "{masked}");
    assert!(masked.contains("what to do is in the plan itself"), "{masked}");
}
