//! What a command line is expected to do beside its work: completions, manual
//! pages, its version, the pocket page, files to start from, slips in headings, safe CSV.

use std::path::Path;
use std::process::{Command, Stdio};

use holdover::layout::builtin;
use holdover::site::{Panel, Site};
use tempfile::tempdir;

use crate::holdover::{feed, file, root, run};

/// Whether a program of the system is here; tests of its judgement need it.
fn here(program: &str) -> bool {
    let found = Command::new(program)
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success());
    if !found {
        eprintln!("{program} is not here: not tested with it");
    }
    found
}

#[test]
fn bash_takes_the_completions() {
    let script = run(["completions", "bash"]);
    assert_eq!(script.code, 0, "{}", script.stderr);
    for shell in ["zsh", "fish", "powershell", "elvish"] {
        let other = run(["completions", shell]);
        assert!(other.code == 0 && other.stdout.contains("enrolment"), "{shell}");
    }
    if !here("bash") {
        return;
    }
    let dir = tempdir().unwrap();
    let path = file(&dir, "completions.bash", &script.stdout);
    let checked = Command::new("bash").arg("-n").arg(&path).status().unwrap();
    assert!(checked.success());
    let complete = |words: &str, last: &str, before: &str| {
        let asks = format!(
            "source {}; COMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1)); \
             _holdover holdover {last} {before}; echo \"${{COMPREPLY[@]}}\"",
            path.display()
        );
        let output = Command::new("bash").args(["--norc", "-c", &asks]).output().unwrap();
        String::from_utf8(output.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(complete("holdover sig", "sig", "holdover"), "signal");
    assert_eq!(complete("holdover plan --enr", "--enr", "plan"), "--enrolment");
    assert_eq!(complete("holdover plan --format j", "j", "--format"), "json");
}

/// The page is in the binary where it was built before it; else its lack is
/// said, with the command that builds it. Either way, whole or not at all.
#[test]
fn the_pocket_page_is_written_or_its_lack_is_said() {
    let dir = tempdir().unwrap();
    let path = dir.path().join("pocket.html");
    let ran = run([Path::new("page"), Path::new("-o"), &path]);
    let built = root().join("crates/holdover-web/made/pocket.html");
    if built.exists() {
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        let page = std::fs::read(&path).unwrap();
        assert!(page == std::fs::read(built).unwrap());
        assert!(page.starts_with(b"<!DOCTYPE html>") && page.ends_with(b"</html>\n"));
        assert!(page.len() < 2_000_000);
        let both = run([Path::new("page"), Path::new("--served"), Path::new("-o"), &path]);
        assert_eq!(both.code, 0, "{}", both.stderr);
        assert!(dir.path().join("holdover-offline.js").exists());
        let one = dir.path().join("holdover-offline.js");
        let clash = run([Path::new("page"), Path::new("--served"), Path::new("-o"), &one]);
        assert!(clash.code == 2 && clash.stderr.contains("two outputs"), "{}", clash.stderr);
    } else {
        assert_eq!(ran.code, 2);
        assert!(ran.stderr.contains("`crates/holdover-web/build`"), "{}", ran.stderr);
        assert!(!path.exists());
    }
    let nowhere = run([Path::new("page"), Path::new("-o"), &dir.path().join("no/such/place.html")]);
    assert!(nowhere.code == 2 && nowhere.stderr.starts_with("error: "), "{}", nowhere.stderr);
}

#[test]
fn manual_pages_render_without_a_warning() {
    let dir = tempdir().unwrap();
    let pages = dir.path().join("man");
    let made = run([Path::new("manual"), Path::new("--output-dir"), &pages]);
    assert_eq!(made.code, 0, "{}", made.stderr);
    let names: Vec<String> = std::fs::read_dir(&pages)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    for verb in ["", "-read", "-plan", "-table", "-table-diff", "-init"] {
        assert!(names.contains(&format!("holdover{verb}.1")), "{verb}: {names:?}");
    }
    let main = std::fs::read_to_string(pages.join("holdover.1")).unwrap();
    assert_eq!(run(["manual"]).stdout, main);
    if !here("groff") {
        return;
    }
    for name in names {
        let rendered = Command::new("groff")
            .args(["-man", "-ww", "-Tutf8"])
            .arg(pages.join(&name))
            .output()
            .unwrap();
        assert_eq!(String::from_utf8_lossy(&rendered.stderr), "", "{name}");
        assert!(rendered.stdout.len() > 400, "{name}");
    }
}

#[test]
fn the_version_names_the_commit_where_there_is_one() {
    let version = env!("CARGO_PKG_VERSION");
    assert_eq!(run(["-V"]).stdout, format!("holdover {version}\n"));
    let long = run(["--version"]).stdout;
    let rest = long.trim_end().strip_prefix(&format!("holdover {version}")).unwrap().trim();
    let Some(commit) = rest.strip_prefix('(').and_then(|rest| rest.strip_suffix(')')) else {
        return assert_eq!(rest, "");
    };
    let (hash, day) = commit.split_once(", ").unwrap();
    assert!(hash.len() >= 7 && hash.bytes().all(|b| b.is_ascii_hexdigit()), "{commit}");
    let shape: String = day.chars().map(|c| if c.is_ascii_digit() { '9' } else { c }).collect();
    assert_eq!(shape, "9999-99-99");
    let head = Command::new("git").args(["rev-parse", "HEAD"]).current_dir(root()).output();
    let head = String::from_utf8(head.unwrap().stdout).unwrap();
    assert!(head.starts_with(hash), "{commit} is not {head}");
}

#[test]
fn slips_in_verbs_and_options_are_seen() {
    for (args, meant) in [
        (["plann", "--site"], "'plan'"),
        (["plan", "--rooster"], "'--roster'"),
        (["completions", "bas"], "'bash'"),
    ] {
        let refused = run(args);
        assert_eq!(refused.code, 2);
        assert!(refused.stderr.contains(meant), "{}", refused.stderr);
    }
}

#[test]
fn init_writes_what_plan_takes() {
    let dir = tempdir().unwrap();
    let job = dir.path().join("job");
    let made = run([Path::new("init"), &job]);
    assert_eq!(made.code, 0, "{}", made.stderr);
    assert!(made.stdout.contains("holdover plan"), "{}", made.stdout);
    let (site, roster) = (job.join("site.toml"), job.join("roster.csv"));
    // Every key is there, with its default; how many slots has none.
    let empty = std::fs::read_to_string(&site).unwrap();
    assert_eq!(Site::from_toml(&empty, builtin()).unwrap(), Site::default());
    let said: toml::Table = empty.parse().unwrap();
    let panel = toml::Table::try_from(Panel::default()).unwrap();
    assert_eq!(said["panel"].as_table().unwrap(), &panel);
    let args = ["--site", site.to_str().unwrap(), "--roster", roster.to_str().unwrap()];
    let asked = run(["plan"].iter().chain(&args));
    assert_eq!(asked.code, 2, "{}", asked.stdout);
    assert!(asked.stderr.contains("slots is missing: write slots ="), "{}", asked.stderr);
    let text = empty.replace("# slots =\n", "slots = 6\n");
    assert_ne!(text, empty);
    std::fs::write(&site, &text).unwrap();
    // What it shows as a comment is right as well.
    let uncommented: String = text
        .split_once("# [[batch]]")
        .map(|(before, after)| format!("{before}[[batch]]{}", after.replace("\n# ", "\n")))
        .unwrap();
    assert_eq!(Site::from_toml(&uncommented, builtin()).unwrap().batches.len(), 1);
    let planned = run(["plan"].iter().chain(&args));
    assert_eq!(planned.code, 0, "{}", planned.stderr);
    assert!(planned.stdout.contains("fill in"), "{}", planned.stdout);
}

#[test]
fn init_replaces_nothing() {
    let dir = tempdir().unwrap();
    file(&dir, "roster.csv", "mine");
    let refused = run([Path::new("init"), dir.path()]);
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("roster.csv: there already"), "{}", refused.stderr);
    assert!(!dir.path().join("site.toml").exists());
    assert_eq!(std::fs::read_to_string(dir.path().join("roster.csv")).unwrap(), "mine");
}

#[test]
fn slips_in_headings_are_noted() {
    let captures = b"bits,fasility code,building\n10100000100010000111000011,65,dye works\n";
    let read = feed(["read", "-", "--format", "csv", "--batch"], captures);
    assert!(read.stderr.contains("\"fasility code\" is not read"), "{}", read.stderr);
    assert!(read.stderr.contains("did you mean \"facility code\"?"), "{}", read.stderr);
    assert!(!read.stderr.contains("building"), "{}", read.stderr);
    // The column is carried through all the same.
    assert!(read.stdout.lines().next().unwrap().ends_with("fasility code,building"));

    let site = "fixtures/mill/mill.toml";
    let plan = |roster: &[u8], format| {
        feed(["plan", "--site", site, "--roster", "-", "--format", format], roster)
    };
    let roster = b"layout,site,card,priinted\nstd26,65,4017,04017\n";
    let planned = plan(roster, "text");
    assert!(planned.stdout.contains("\"priinted\" is not read"), "{}", planned.stdout);
    let planned = plan(roster, "json");
    assert!(planned.stderr.contains("\"priinted\" is not read"), "{}", planned.stderr);
    let refused = plan(b"layout,site,crad\nstd26,65,4017\n", "text");
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("did you mean \"card\" by \"crad\"?"), "{}", refused.stderr);

    let cases = b"bits,verdict,layuot\n10100000100010000111000011,identified,std26\n";
    let proved = feed(["prove", "--cases", "-"], cases);
    assert!(proved.stderr.contains("did you mean \"layout\"?"), "{}", proved.stderr);
}

/// Every CSV writer, with cells of the input's own that begin like formulas.
#[test]
fn no_csv_cell_is_a_formula() {
    let dir = tempdir().unwrap();
    let table = file(
        &dir,
        "table.toml",
        "[[layout]]\nid = \"a8\"\ntitle = \"=HYPERLINK(1)\"\nlength = 8\nbasis = \"@SUM(1)\"\n\
         [[layout.field]]\nrole = \"card\"\nspan = \"1-8\"\n",
    );
    let table = table.to_str().unwrap();
    let listed = run(["table", "list", "--format", "csv", "--table", table]).stdout;
    let captures = "bits,building,=cmd|x\n10100000100010000111000011,=1+1,\"\t=2\"\n";
    let read = feed(["read", "-", "--format", "csv", "--batch"], captures.as_bytes()).stdout;
    let summary = feed(["read", "-", "--summary", "--format", "csv"], captures.as_bytes()).stdout;
    let roster = "layout,site,card,printed,holder\nstd26,65,1,+1+0,＝A1\nstd26,65,2,,\" =A2\"\n";
    let site = "fixtures/mill/mill.toml";
    let list =
        feed(["plan", "--site", site, "--roster", "-", "--format", "csv"], roster.as_bytes())
            .stdout;
    for (what, output, guarded) in
        [("list", &listed, 2), ("read", &read, 3), ("summary", &summary, 1), ("plan", &list, 3)]
    {
        let mut cells = 0;
        let mut reader = csv_reader(output);
        for record in reader.records() {
            for cell in record.unwrap().iter() {
                let begins = ['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠'];
                let first = cell.trim_start_matches(' ');
                assert!(!first.starts_with(begins) || cell == "-", "{what}: {cell:?}");
                cells += usize::from(cell.starts_with('\''));
            }
        }
        assert_eq!(cells, guarded, "{what}\n{output}");
    }
}

fn csv_reader(text: &str) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes())
}
