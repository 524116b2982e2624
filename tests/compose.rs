//! `holdover compose`, and back through `read`.

use crate::holdover::{feed, run};

#[test]
fn ranges_make_captures_that_read_back() {
    let made = run(["compose", "std26", "site=65", "card=4000-4019"]);
    assert_eq!(made.code, 0);
    assert_eq!(made.stdout.lines().count(), 20);
    let read = feed(["read", "-", "--format", "csv"], made.stdout.as_bytes());
    assert_eq!(read.code, 0);
    for (i, line) in read.stdout.lines().skip(1).enumerate() {
        let card = 4000 + i;
        assert!(line.contains(&format!("identified,std26,as-captured,65,{card},")), "{line}");
    }
}

#[test]
fn digits_keep_their_zeros() {
    let values = [
        "agency=0032",
        "system=0001",
        "credential=092446",
        "series=0",
        "issue=1",
        "person=1112223333",
        "org_category=1",
        "organisation=1223",
        "association=2",
    ];
    let run = run(["compose", "fascn200", "--hex"].into_iter().chain(values));
    // TIG SCEPACS v2.3, section 6, figures 8 to 10, pp. 32-33.
    assert_eq!(run.stdout, "0xD0439458210C2C19A0846D83685A1082108CE73984108CA3FC/200\n");
}

#[test]
fn readings_can_be_made() {
    let made = run(["compose", "std26", "site=65", "card=1-30", "--reading", "lines-swapped"]);
    let read = feed(["read", "-", "--format", "json"], made.stdout.as_bytes());
    for object in read.json() {
        assert_eq!(object["candidates"][0]["reading"], "lines-swapped");
        assert_eq!(object["verdict"], "identified");
    }
}

#[test]
fn mistakes_say_what_to_do() {
    for (args, message) in [
        (
            vec!["std26", "site=256", "card=1"],
            "256 does not fit \"site\": the largest value is 255",
        ),
        (vec!["std26", "site=5"], "no value for \"card\": add card="),
        (vec!["std26", "site=5", "card=1", "issue=1"], "there is no field \"issue\""),
        (vec!["std26", "site=5", "site=6", "card=1"], "\"site\" is given twice"),
        (vec!["std26", "card"], "expected field=value"),
        (vec!["std26", "site=5", "card=x"], "expected a whole number"),
        (vec!["std26", "site=5", "card=9-1"], "the range ends before it begins"),
        (vec!["std26", "site=0-255", "card=0-65535"], "more than 10000000 captures"),
        (vec!["std62", "site=5", "card=1"], "did you mean \"std26\"?"),
        (vec!["std26", "site=5", "card=1", "--reading", "reverse"], "did you mean \"reversed\"?"),
        (vec!["uuid128", "card=0"], "would fail"),
    ] {
        let run = run(["compose"].into_iter().chain(args));
        assert_eq!(run.code, 2, "{message}");
        assert!(run.stderr.contains(message), "{message}\n{}", run.stderr);
    }
}
