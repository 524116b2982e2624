//! What the command is made of: that nothing in it opens a socket, that every crate
//! in it was reviewed, and that ours hold no `unsafe`. Licences, sources and versions
//! are cargo-deny's to check (`.ci/deny.toml`).

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use crate::holdover::root;

/// Directories of crates whose other side is another language's, and cannot do
/// without `unsafe`.
const BOUNDARY: [&str; 3] = ["crates/holdover-c", "crates/holdover-python", "crates/holdover-web"];

/// What every build of the workspace may be made of, tests included. Nothing
/// is fetched: where the crates for other systems are not there, those for this
/// one are looked at.
fn metadata() -> Value {
    let host = Command::new("rustc").arg("-vV").output().unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let host = host.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let run = |more: &[&str]| {
        Command::new(env!("CARGO"))
            .args(["metadata", "--format-version", "1", "--locked", "--offline"])
            .args(more)
            .current_dir(root())
            .output()
            .unwrap()
    };
    let whole = run(&[]);
    let output = if whole.status.success() { whole } else { run(&["--filter-platform", host]) };
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn packages(metadata: &Value) -> &Vec<Value> {
    metadata["packages"].as_array().unwrap()
}

/// No crate needs a newer compiler than the workspace says, and what the
/// workspace says is what it is built with at least.
#[test]
fn the_minimum_rust_version_covers_every_crate() {
    let metadata = metadata();
    let number = |text: &str| -> Vec<u32> {
        let mut parts: Vec<u32> = text.split('.').map(|part| part.parse().unwrap()).collect();
        parts.resize(3, 0);
        parts
    };
    let own = metadata["workspace_members"].as_array().unwrap();
    let packages = packages(&metadata);
    let stated: BTreeSet<&str> = packages
        .iter()
        .filter(|package| own.contains(&package["id"]))
        .map(|package| package["rust_version"].as_str().expect("every crate of ours states it"))
        .collect();
    assert_eq!(stated.len(), 1, "{stated:?}");
    let stated = number(stated.first().unwrap());
    for package in packages {
        let needs = package["rust_version"].as_str().map(number);
        assert!(needs.is_none_or(|needs| needs <= stated), "{}", package["name"]);
    }
}

/// Every crate of the workspace forbids `unsafe`, by the lint or at its top.
#[test]
fn no_crate_of_ours_has_unsafe() {
    let metadata = metadata();
    let own = metadata["workspace_members"].as_array().unwrap();
    let workspace = std::fs::read_to_string(root().join("Cargo.toml")).unwrap();
    assert!(workspace.contains("[workspace.lints.rust]\nunsafe_code = \"forbid\""));
    for package in packages(&metadata).iter().filter(|package| own.contains(&package["id"])) {
        let manifest = package["manifest_path"].as_str().unwrap();
        let at = Path::new(manifest).strip_prefix(root()).unwrap().to_str().unwrap();
        if BOUNDARY.iter().any(|b| at.starts_with(b)) {
            continue;
        }
        let text = std::fs::read_to_string(manifest).unwrap();
        assert!(text.contains("[lints]\nworkspace = true"), "{manifest}");
    }
    // The lint does not see what it is not given to compile.
    let mut files = Vec::new();
    for directory in ["crates", "tests", "benches"] {
        sources(&root().join(directory), &mut files);
    }
    assert!(files.len() > 100);
    for path in files {
        let name = path.strip_prefix(root()).unwrap().to_str().unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        let word = ["un", "safe "].concat();
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        let found = code.filter(|line| line.contains(&word)).count();
        assert!(found == 0 || BOUNDARY.iter().any(|b| name.starts_with(b)), "{name}");
    }
}

/// The page's engine needs the word for the names it exports, and no more: no
/// pointer of another language's is followed.
#[test]
fn the_pocket_page_only_names_its_functions() {
    let text = std::fs::read_to_string(root().join("crates/holdover-web/src/lib.rs")).unwrap();
    let word = ["un", "safe"].concat();
    let named = format!("#[cfg_attr(target_family = \"wasm\", {word}(no_mangle))]");
    let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
    for line in code.filter(|line| line.contains(&word)) {
        assert!(line == named || line.contains("allow"), "{line}");
    }
}

fn sources(directory: &Path, files: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(directory).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.ends_with("target") {
            sources(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

/// Every crate that we name is reviewed.
#[test]
fn every_direct_crate_is_reviewed() {
    let metadata = metadata();
    let own = metadata["workspace_members"].as_array().unwrap();
    let developers = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let (_, section) = developers.split_once("## Dependencies\n").unwrap();
    let reviewed: BTreeSet<&str> = section
        .split("\n## ")
        .next()
        .unwrap()
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.split('|').next())
        .flat_map(|cell| cell.split(','))
        .map(str::trim)
        .filter(|name| !["crate", "---", ""].contains(name))
        .collect();
    let ours = packages(&metadata).iter().filter(|package| own.contains(&package["id"]));
    let named: BTreeSet<&str> = ours
        .flat_map(|package| package["dependencies"].as_array().unwrap())
        .filter(|dependency| dependency["source"].is_string())
        .map(|dependency| dependency["name"].as_str().unwrap())
        .collect();
    assert_eq!(reviewed, named);
}

/// No network: the binary names no function of the system that opens a
/// connection, listens, or looks up a host (socket(2), getaddrinfo(3)).
#[cfg(target_os = "linux")]
#[test]
fn the_binary_cannot_open_a_socket() {
    let output = Command::new("nm")
        .args(["--dynamic", "--undefined-only", env!("CARGO_BIN_EXE_holdover")])
        .output()
        .expect("nm comes with the linker");
    let symbols = String::from_utf8(output.stdout).unwrap();
    let names: Vec<&str> = symbols
        .lines()
        .filter_map(|line| line.split_whitespace().last()?.split('@').next())
        .collect();
    assert!(names.contains(&"write"), "{symbols}");
    for name in ["socket", "socketpair", "connect", "bind", "listen", "sendto", "getaddrinfo"] {
        assert!(!names.contains(&name), "{name}");
    }
}
