//! The README is true: its commands print what it shows.

use std::fs;
use std::path::Path;
use std::process::Command;

use tempfile::tempdir;

use crate::holdover::root;

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

/// `HOLDOVER_BLESS=1 cargo test readme` writes today's output into the README.
#[test]
fn commands_print_what_it_shows() {
    let path = root().join("README.md");
    let page = fs::read_to_string(&path).unwrap();
    let (today, count) = rewritten(&page);
    assert!(count > 3, "{count} commands");
    if std::env::var_os("HOLDOVER_BLESS").is_some() {
        fs::write(path, today).unwrap();
    } else {
        for (line, (said, is)) in page.lines().zip(today.lines()).enumerate() {
            assert_eq!(said, is, "README.md:{}", line + 1);
        }
        assert_eq!(page, today);
    }
}
