//! The README and the guide are true: their commands print what they show, and
//! their links lead somewhere.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use rayon::prelude::*;
use tempfile::tempdir;

use crate::holdover::{command, root, run};

/// A page with the output of each command of its ```console blocks set anew;
/// `$ ` begins a command, what follows is what it prints.
///
/// Commands run in a directory of their own that holds the fixtures, so that
/// what one writes the next can read.
fn rewritten(page: &str) -> (String, usize) {
    let directory = tempdir().unwrap();
    copy(&root().join("fixtures"), &directory.path().join("fixtures"));
    let (mut out, mut inside, mut shown, mut count) = (Vec::new(), false, false, 0);
    for line in page.lines() {
        match (line.strip_prefix("```"), line.strip_prefix("$ ")) {
            (Some(kind), _) => {
                (inside, shown) = (kind == "console", false);
                out.push(line.to_owned());
            }
            (None, Some(command)) if inside => {
                out.push(line.to_owned());
                if !builds(command) {
                    let printed = printed(command, directory.path());
                    out.extend(printed.trim_end().lines().map(|l| l.trim_end().to_owned()));
                    count += 1;
                }
                shown = true;
            }
            _ if inside && shown => {}
            _ => out.push(line.to_owned()),
        }
    }
    (out.join("\n") + "\n", count)
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        match entry.file_type().unwrap().is_dir() {
            true => copy(&entry.path(), &to),
            false => drop(fs::copy(entry.path(), to).unwrap()),
        }
    }
}

/// Commands that a test cannot run inside itself.
fn builds(command: &str) -> bool {
    command.starts_with("cargo ")
}

/// Runs a command as a shell would, `holdover` being the binary under test.
fn printed(command: &str, directory: &Path) -> String {
    let binary = Path::new(env!("CARGO_BIN_EXE_holdover"));
    let path = std::env::var_os("PATH").unwrap_or_default();
    let mut paths = vec![binary.parent().unwrap().to_owned()];
    paths.extend(std::env::split_paths(&path));
    let output = Command::new("sh")
        .args(["-c", command])
        .current_dir(directory)
        .env_remove("COLUMNS")
        .env("PATH", std::env::join_paths(paths).unwrap())
        .output()
        .unwrap();
    String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap()
}

/// The README and the pages of the guide.
fn pages() -> Vec<PathBuf> {
    let guide = fs::read_dir(root().join("crates/cli/guide")).unwrap();
    let files = guide.map(|page| page.unwrap().path());
    let mut pages: Vec<_> = files.filter(|path| path.extension().unwrap() == "md").collect();
    pages.push(root().join("README.md"));
    pages.sort();
    pages
}

/// `HOLDOVER_BLESS=1 cargo test readme` writes today's output into the pages.
#[test]
fn commands_print_what_is_shown() {
    let blessed = std::env::var_os("HOLDOVER_BLESS").is_some();
    let held = |path: &PathBuf| {
        let page = fs::read_to_string(path).unwrap();
        let (today, count) = rewritten(&page);
        if blessed {
            fs::write(path, today).unwrap();
        } else {
            for (line, (said, is)) in page.lines().zip(today.lines()).enumerate() {
                assert_eq!(said, is, "{}:{}", path.display(), line + 1);
            }
            assert_eq!(page, today, "{}", path.display());
        }
        count
    };
    let count: usize = pages().par_iter().map(held).sum();
    assert!(count > 40, "{count} commands");
}

/// A README is read to its end, or it is too long.
#[test]
fn the_readme_is_short() {
    let lines = fs::read_to_string(root().join("README.md")).unwrap().lines().count();
    assert!(lines <= 200, "{lines} lines");
}

/// The README's picture is the program's own: the bits of a drawer of cards.
#[test]
fn the_picture_is_that_of_the_page() {
    let dir = tempdir().unwrap();
    let page = dir.path().join("learnt.html");
    let words = ["learn", "fixtures/mill/drawer.csv", "--show-numbers", "--html"];
    run(words.into_iter().chain(page.to_str()));
    let picture = alone(&fs::read_to_string(page).unwrap());
    let path = root().join("crates/cli/guide/raster.svg");
    if std::env::var_os("HOLDOVER_BLESS").is_some() {
        fs::write(path, picture).unwrap();
    } else {
        assert_eq!(fs::read_to_string(path).unwrap(), picture);
    }
}

/// A page's raster as a file of its own, with the rules of the page's style that
/// are about pictures.
fn alone(page: &str) -> String {
    let (before, after) = page.split_once("<title>The samples, bit by bit").unwrap();
    let (_, attributes) = before.rsplit_once("<svg").unwrap();
    let (drawn, _) = after.split_once("</svg>").unwrap();
    let (_, style) = page.split_once(":root {").unwrap();
    let (colours, style) = style.split_once("\n}").unwrap();
    let is_of_pictures = |line: &&str| line.starts_with("svg .") || line.starts_with("svg text");
    let rules: Vec<&str> = style.lines().filter(is_of_pictures).collect();
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\"{attributes}<style>\n:root {{{colours}\n}}\n\
         svg {{ background: #fff; }}\n{}\n</style>\n<title>The samples, bit by bit{drawn}</svg>\n",
        rules.join("\n")
    )
}

#[test]
fn links_lead_somewhere() {
    for path in pages() {
        let page = fs::read_to_string(&path).unwrap();
        for (_, rest) in page.match_indices("](").map(|(at, _)| page.split_at(at + 2)) {
            let (to, _) = rest.split_once(')').unwrap();
            let there = path.parent().unwrap().join(to).is_file();
            assert!(there, "{}: {to}", path.display());
        }
    }
}

/// Every page is in the list of pages, and is printed as it is in a pipe; on a
/// terminal no line of it is wider than that.
#[test]
fn the_guide_prints_every_page() {
    if std::env::var_os("HOLDOVER_BLESS").is_some() {
        // The binary has the pages as they were before.
        return;
    }
    let index = run(["guide"]);
    assert_eq!(index.code, 0, "{}", index.stderr);
    for path in pages().iter().filter(|path| !path.ends_with("README.md")) {
        let name = path.file_stem().unwrap().to_str().unwrap();
        let page = run(["guide", name]);
        assert_eq!(page.code, 0, "{}", page.stderr);
        assert_eq!(page.stdout, fs::read_to_string(path).unwrap());
        let linked = index.stdout.contains(&format!("[{name}]({name}.md)"));
        assert!(linked || page.stdout == index.stdout, "{name} is not in the list");
        let narrow = command().args(["guide", name]).env("COLUMNS", "60").output().unwrap();
        for line in String::from_utf8(narrow.stdout).unwrap().lines() {
            assert!(line.chars().count() <= 60, "{name}: {line}");
            assert!(!line.contains(".md)"), "{name}: {line}");
        }
    }
    let slip = run(["guide", "takover"]);
    assert_eq!(slip.code, 2);
    assert!(slip.stderr.contains("'takeover'"), "{}", slip.stderr);
}
