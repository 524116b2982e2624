//! Pages: whole, self-contained, the same every time, and silent about card
//! numbers unless told otherwise. `tests/browser` opens them in a browser.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::{TempDir, tempdir};

use crate::holdover::{Run, file, root, run};

const SITE: &str = "fixtures/mill/mill.toml";
const ROSTER: &str = "fixtures/mill/roster.csv";
const FOUND: &str = "fixtures/mill/found.toml";

/// A page opens at once up to this size (judgement, no source).
const MOST_BYTES: usize = 600_000;

/// Elements that have no end tag (HTML living standard, 13.1.2).
const VOID: [&str; 3] = ["meta", "br", "input"];

/// The verbs with the mill's demo, `plan` before `prove`.
fn mill(dir: &Path) -> Vec<(&'static str, Vec<String>)> {
    let plan = dir.join("plan.json").display().to_string();
    let words = |words: &[&str]| words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
    vec![
        ("read", words(&["read", "fixtures/mill/survey.csv", "--site", SITE])),
        ("signal", words(&["signal", "fixtures/mill/gate.vcd"])),
        ("learn", words(&["learn", "fixtures/mill/drawer.csv"])),
        (
            "plan",
            words(&[
                "plan", "--site", SITE, "--roster", ROSTER, "--table", "built-in", "--table",
                FOUND, "-o", &plan,
            ]),
        ),
        ("prove", words(&["prove", "--plan", &plan, "--roster", ROSTER, "--site", SITE])),
    ]
}

/// Runs with a page; the page and what was printed.
fn page(dir: &Path, args: &[String], more: &[&str]) -> (String, Run) {
    let path = dir.join("page.html");
    _ = fs::remove_file(&path);
    let own = ["--html".to_owned(), path.display().to_string()];
    let args: Vec<String> =
        args.iter().cloned().chain(own).chain(more.iter().map(|m| (*m).to_owned())).collect();
    let run = run(&args);
    assert!(run.code < 2 || args[0] == "read", "{args:?}: {}", run.stderr);
    (fs::read_to_string(&path).expect("a page is written"), run)
}

/// The tags of a page, each with what follows it up to the next.
fn tags(page: &str) -> impl Iterator<Item = (&str, &str)> {
    page.split('<').skip(1).map(|piece| piece.split_once('>').expect("a tag ends"))
}

/// What people read: the text between the tags, entities undone.
fn text(page: &str) -> String {
    let body = &page[page.find("<body").unwrap()..];
    let text: String = tags(body).map(|(_, text)| text).collect();
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

/// Holds a page to what every page is.
fn hold(name: &str, page: &str) {
    assert!(page.starts_with("<!DOCTYPE html><html lang=\"en\">"), "{name}");
    assert!(page.len() < MOST_BYTES, "{name}: {} bytes", page.len());
    assert!(page.contains("default-src 'none'"), "{name}");
    // Neither a tag nor the style sheet asks for anything; texts may say what
    // they like.
    for (tag, text) in tags(page) {
        let style = if tag == "style" { text } else { "" };
        for asks in
            ["http:", "https:", "src=", "href=", "script", "link", "@import", "url(h", "onload"]
        {
            assert!(!tag.contains(asks) && !style.contains(asks), "{name}: <{tag}>: {asks}");
        }
    }
    let mut open: Vec<&str> = Vec::new();
    let mut counted = [0; 3];
    for (tag, _) in tags(page) {
        let element = tag.split_whitespace().next().unwrap();
        match element.strip_prefix('/') {
            Some(ended) => assert_eq!(open.pop(), Some(ended), "{name}: </{ended}>"),
            None if VOID.contains(&element) || element.starts_with('!') => {}
            None => open.push(element),
        }
        counted[0] += usize::from(element == "h1");
        counted[1] += usize::from(tag.starts_with("svg role=\"img\""));
        counted[2] += usize::from(element == "desc");
    }
    assert!(open.is_empty(), "{name}: {open:?}");
    assert_eq!(counted[0], 1, "{name}: one first heading");
    assert!(counted[1] > 0, "{name}: pictures");
    assert_eq!(counted[1], counted[2], "{name}: every picture has its description");
}

#[test]
fn every_verb_writes_a_page_and_prints_as_before() {
    let dir = tempdir().unwrap();
    for (verb, args) in mill(dir.path()) {
        let (first, printed) = page(dir.path(), &args, &[]);
        hold(verb, &first);
        let (second, _) = page(dir.path(), &args, &[]);
        assert_eq!(first, second, "{verb}: the same input makes the same page");
        let without = run(&args);
        let written = printed.stdout.lines().filter(|line| line.starts_with("written"));
        assert!(written.clone().any(|line| line.ends_with("page.html")), "{verb}");
        let same = |out: &str| {
            let lines = out.lines().filter(|line| !line.starts_with("written"));
            lines.map(str::to_owned).collect::<Vec<_>>()
        };
        assert_eq!(same(&printed.stdout), same(&without.stdout), "{verb}");
        assert_eq!(printed.code, without.code, "{verb}");
    }
}

/// Card numbers of the mill, with the panel numbers the plan makes of them, as
/// prints, hexadecimal and bits.
fn secrets(dir: &Path) -> Vec<String> {
    let mut secrets: Vec<String> = Vec::new();
    for name in ["roster.csv", "drawer.csv"] {
        let text = fs::read_to_string(root().join("fixtures/mill").join(name)).unwrap();
        for cell in text.lines().skip(1).flat_map(|line| line.split(',')) {
            secrets.extend(cell.split(['-', '/']).map(|part| part.replace(' ', "")));
        }
    }
    let survey = fs::read_to_string(root().join("fixtures/mill/survey.csv")).unwrap();
    secrets.extend(survey.lines().skip(1).filter_map(|l| l.split(',').nth(3)).map(str::to_owned));
    let site = ["--site", SITE, "--roster", ROSTER, "--table", "built-in", "--table", FOUND];
    let list = dir.join("list.csv");
    let list_arg = ["--enrolment", list.to_str().unwrap()];
    run([&["plan"][..], &site, &list_arg].concat());
    for line in fs::read_to_string(list).unwrap().lines().skip(1).filter(|l| l.starts_with("line"))
    {
        secrets.push(line.split(',').nth(2).unwrap().to_owned());
    }
    // Site codes, names and lone pairs of digits are none.
    secrets.retain(|s| s.len() > 4 || s.len() == 4 && s != "1180" && s != "kept");
    secrets.retain(|s| s.bytes().any(|b| b.is_ascii_digit()) && !s.starts_with("std"));
    secrets.retain(|s| !["site34", "found30"].contains(&s.as_str()));
    secrets.sort();
    secrets.dedup();
    secrets
}

#[test]
fn card_numbers_are_hidden_unless_asked_for() {
    let dir = tempdir().unwrap();
    let secrets = secrets(dir.path());
    assert!(secrets.len() > 60, "{}", secrets.len());
    for (verb, args) in mill(dir.path()) {
        let (hidden, _) = page(dir.path(), &args, &[]);
        let words: Vec<String> =
            text(&hidden).split(|c: char| !c.is_ascii_alphanumeric()).map(str::to_owned).collect();
        for secret in &secrets {
            assert!(!words.contains(secret), "{verb}: {secret}");
        }
        let (shown, _) = page(dir.path(), &args, &["--show-numbers"]);
        let shown = text(&shown);
        assert!(secrets.iter().any(|secret| shown.contains(secret)), "{verb}");
        assert!(shown.contains("keep this page as you would keep the cards"), "{verb}");
    }
}

#[test]
fn what_files_say_stays_text() {
    let dir = tempdir().unwrap();
    let long = "W".repeat(10_000);
    let hostile = [
        "<script>alert(1)</script>",
        "\"'><img src=x onerror=alert(1)>",
        "</title></style></svg></td><h1>x",
        "&lt;b&gt; &amp; <b>bold</b>",
        "\u{5d3}\u{5d5}\u{5d3}",
        "safe\u{202e}gnirts\u{2066}",
        &long,
    ];
    let quoted = |cell: &str| format!("\"{}\"", cell.replace('"', "\"\""));
    let mut roster = "layout,site,card,holder,printed\n".to_owned();
    let mut survey = "bits,reader,note,<i>own</i>\n".to_owned();
    for (i, text) in hostile.iter().enumerate() {
        roster += &format!("std26,65,{},{},{}\n", 4000 + i, quoted(text), quoted(text));
        let cell = quoted(text);
        survey += &format!("10100000100010000111000011,{cell},{cell},{cell}\n");
    }
    let title = "<script>alert(2)</script>\\u202Eabc";
    let table = fs::read_to_string(root().join(FOUND)).unwrap();
    let table: Vec<String> = table
        .lines()
        .map(|l| if l.starts_with("title") { format!("title = \"{title}\"") } else { l.into() })
        .collect();
    let table = file(&dir, "table.toml", table.join("\n"));
    let site = file(
        &dir,
        "site.toml",
        "[panel]\nslots = 4\n[[batch]]\nlayout = \"found30\"\nsite = 19\ncards = \"1-99\"\nstate = \"issued\"\n",
    );
    let show = |path: PathBuf| path.display().to_string();
    let plan: Vec<String> = ["plan", "--table", "built-in", "--table", &show(table), "--site"]
        .into_iter()
        .map(str::to_owned)
        .chain([show(site), "--roster".into(), show(file(&dir, "roster.csv", roster))])
        .collect();
    let read = ["read".to_owned(), show(file(&dir, "survey.csv", survey))];
    for (name, args) in [("plan", plan), ("read", read.to_vec())] {
        let (page, _) = page(dir.path(), &args, &["--show-numbers"]);
        hold(name, &page);
        assert!(!page.contains(['\u{202e}', '\u{2066}']), "{name}: overrides are spelled out");
        let words = text(&page);
        for whole in hostile.iter().filter(|text| !text.contains('\u{202e}')) {
            assert!(words.contains(whole), "{name}: {}", &whole[..20.min(whole.len())]);
        }
        assert!(words.contains("safe\\u{202e}gnirts\\u{2066}"), "{name}");
    }
}

#[test]
fn large_batches_make_small_pages() {
    let dir = tempdir().unwrap();
    let captures = run(["compose", "std26", "site=65", "card=1-65000"]).stdout
        + &run(["compose", "std26", "site=66", "card=1-35000"]).stdout;
    let captures = file(&dir, "captures.txt", captures).display().to_string();
    let (read, _) = page(dir.path(), &["read".to_owned(), captures], &[]);
    hold("read", &read);
    assert!(text(&read).contains("99,940 more captures are left out"));
    let rows = (0..100_000).map(|i| format!("std26,{},{},{i}\n", 60 + i / 50_000, i % 50_000));
    let roster = "layout,site,card,holder\n".to_owned() + &rows.collect::<String>();
    let roster = file(&dir, "roster.csv", roster).display().to_string();
    let site = file(&dir, "site.toml", "[panel]\nslots = 4\n").display().to_string();
    let args = ["plan".to_owned(), "--site".into(), site, "--roster".into(), roster];
    let (plan, _) = page(dir.path(), &args, &[]);
    hold("plan", &plan);
    assert!(text(&plan).contains("99,800 more lines are left out"));
    assert!(text(&plan).contains("--enrolment FILE writes the whole list as CSV"));
}

/// The page keys in what the plan's JSON says.
#[test]
fn the_key_in_card_is_the_plan() {
    let dir = tempdir().unwrap();
    let (_, args) = mill(dir.path()).swap_remove(3);
    let (page, _) = page(dir.path(), &args, &[]);
    let plan = fs::read_to_string(dir.path().join("plan.json")).unwrap();
    let plan: serde_json::Value = serde_json::from_str(&plan).unwrap();
    let cards: Vec<&str> = page.split("<article class=\"slot\">").skip(1).collect();
    let slots = plan["slots"].as_array().unwrap();
    assert_eq!(cards.len(), slots.len());
    for (card, slot) in cards.iter().zip(slots) {
        let card = &card[..card.find("</article>").unwrap()];
        let values: Vec<String> = card
            .split("<td class=\"value")
            .skip(1)
            .map(|cell| {
                let cell = &cell[cell.find("<bdi>").unwrap() + 5..];
                cell[..cell.find('<').unwrap()].to_owned()
            })
            .collect();
        let run = |key: &str| match &slot[key] {
            serde_json::Value::Null => "none".to_owned(),
            run => {
                let [start, length] = ["start", "length"].map(|part| run[part].as_u64().unwrap());
                let last = start + length - 1;
                format!("bits {start}-{last} counted from 1 (start {start}, {length} bits)")
            }
        };
        let head = [slot["length"].to_string(), run("card"), run("site")];
        assert_eq!(values[..3], head);
        let tail = [slot["digits"].to_string(), slot["name"].as_str().unwrap().to_owned()];
        assert_eq!(values[values.len() - 2..], tail);
        let checked = values.iter().any(|value| value.starts_with("even: bit "));
        assert_eq!(slot["parity"] == true, checked);
        assert!(card.matches("tickbox").count() >= 2 * values.len(), "two boxes a line");
        assert!(card.contains("signed"));
    }
}

#[test]
fn holders_go_by_pseudonyms_where_asked() {
    let dir = tempdir().unwrap();
    let (_, args) = mill(dir.path()).swap_remove(3);
    let (named, _) = page(dir.path(), &args, &[]);
    let (anonymous, _) = page(dir.path(), &args, &["--pseudonyms"]);
    assert!(text(&named).contains("A. Dyer"));
    assert!(!text(&anonymous).contains("Dyer") && text(&anonymous).contains("person 1"));
}

fn captures(dir: &TempDir) -> String {
    file(dir, "in.txt", "10100000100010000111000011\n").display().to_string()
}

#[test]
fn pages_appear_whole_or_not_at_all_and_replace_no_input() {
    let dir = tempdir().unwrap();
    let input = captures(&dir);
    let before = fs::read(&input).unwrap();
    let onto_input = run(["read", &input, "--html", &input]);
    assert_eq!(onto_input.code, 2);
    assert!(onto_input.stderr.contains("it is an input"), "{}", onto_input.stderr);
    assert_eq!(fs::read(&input).unwrap(), before);
    let nowhere = dir.path().join("none/page.html").display().to_string();
    let lost = run(["read", &input, "--html", &nowhere]);
    assert_eq!(lost.code, 2);
    assert!(lost.stderr.contains("not written"), "{}", lost.stderr);
    let both = dir.path().join("both").display().to_string();
    let twice = ["plan", "--site", SITE, "--html", &both, "--worksheet", &both];
    assert_eq!(run(twice).code, 2);
    assert!(!Path::new(&both).exists());
    // What holds no capture makes no page.
    let empty = file(&dir, "empty.txt", "# nothing\n").display().to_string();
    let page = dir.path().join("page.html");
    assert_eq!(run(["read", &empty, "--html", page.to_str().unwrap()]).code, 2);
    assert!(!page.exists());
}

/// `… | head` must not cost the page.
#[cfg(unix)]
#[test]
fn a_pipe_that_closes_early_leaves_the_page() {
    let dir = tempdir().unwrap();
    for (verb, args) in mill(dir.path()) {
        let path = dir.path().join(format!("{verb}.html"));
        let mut child = crate::holdover::command()
            .args(&args)
            .args(["--html".as_ref(), path.as_os_str()])
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        child.wait().unwrap();
        hold(verb, &fs::read_to_string(&path).expect(verb));
    }
}

#[cfg(unix)]
#[test]
fn a_page_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempdir().unwrap();
    let page = dir.path().join("page.html");
    run(["read", &captures(&dir), "--html", page.to_str().unwrap()]);
    assert_eq!(fs::metadata(page).unwrap().permissions().mode() & 0o777, 0o600);
}

#[test]
fn flags_that_contradict_one_another_are_refused() {
    let dir = tempdir().unwrap();
    let input = captures(&dir);
    assert_eq!(run(["read", &input, "--show-numbers"]).code, 2);
    let page = dir.path().join("p.html").display().to_string();
    assert_eq!(run(["read", &input, "--html", &page, "--show-numbers", "--mask"]).code, 2);
    assert!(!Path::new(&page).exists());
}
