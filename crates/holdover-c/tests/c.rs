//! The libraries as C uses them: the header is the sources' own, programs
//! built by the system's compiler give the bytes that the binary gives, and
//! valgrind finds nothing in them.
//!
//! A tool that is not installed is said and passed over; `HOLDOVER_OUTSIDE=1`
//! demands them all.

#![cfg(target_os = "linux")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use serde_json::Value;
use tempfile::{TempDir, tempdir};

/// The version the header is made by: others write it otherwise.
const CBINDGEN: &str = "cbindgen 0.29.4";

fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn root() -> PathBuf {
    here().join("../..").canonicalize().unwrap()
}

/// Whether a tool is there, or may be missing.
fn there(tool: &str, is: impl FnOnce(&Output) -> bool) -> bool {
    let there = Command::new(tool).arg("--version").output().is_ok_and(|output| is(&output));
    if !there {
        assert!(std::env::var_os("HOLDOVER_OUTSIDE").is_none(), "install {tool}");
        eprintln!("not checked: {tool} is not installed");
    }
    there
}

fn ran(command: &mut Command) -> Output {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{command:?}: {}\n{said}", output.status);
    output
}

/// How a program gets at the library.
#[derive(Clone, Copy)]
enum Linked {
    Shared,
    Static,
}

/// Builds a C program; what a careful compiler warns of is an error.
fn built(dir: &TempDir, source: &str, linked: Linked) -> PathBuf {
    // Cargo puts the libraries beside this test.
    let libraries = std::env::current_exe().unwrap().parent().unwrap().to_owned();
    let program = dir.path().join(Path::new(source).file_stem().unwrap());
    let mut cc = Command::new("cc");
    cc.args(["-std=c11", "-D_POSIX_C_SOURCE=200809L", "-Wall", "-Wextra", "-Werror", "-pedantic"]);
    cc.arg("-g").arg("-I").arg(here()).arg(here().join(source)).arg("-o").arg(&program);
    match linked {
        Linked::Shared => {
            cc.arg("-L").arg(&libraries).arg("-lholdover_c");
            cc.arg(format!("-Wl,-rpath,{}", libraries.display()));
        }
        Linked::Static => {
            cc.arg(libraries.join("libholdover_c.a")).args(["-lm", "-lpthread", "-ldl"]);
        }
    }
    ran(&mut cc);
    program
}

/// The program that makes one call, built once.
fn caller() -> &'static Path {
    static BUILT: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, program) = BUILT.get_or_init(|| {
        let dir = tempdir().unwrap();
        let program = built(&dir, "tests/call.c", Linked::Shared);
        (dir, program)
    });
    program
}

fn valgrind(program: &Path) -> Command {
    let mut valgrind = Command::new("valgrind");
    valgrind.args(["--quiet", "--error-exitcode=97", "--leak-check=full"]);
    // Hash tables point into the middle of their memory: "possibly lost" is not lost.
    valgrind.args(["--errors-for-leak-kinds=definite", "--show-leak-kinds=definite"]).arg(program);
    valgrind
}

fn cases() -> Vec<Value> {
    let text = fs::read_to_string(root().join("fixtures/cases/calls.json")).unwrap();
    let calls: Value = serde_json::from_str(&text).unwrap();
    calls["cases"].as_array().unwrap().clone()
}

/// Makes a call of `fixtures/cases/calls.json`, and holds what comes of it
/// against what the binary answered.
fn same(case: &Value, mut command: Command) {
    let name = case["name"].as_str().unwrap();
    let dir = tempdir().unwrap();
    for (name, path) in case["files"].as_object().unwrap() {
        command.arg(name).arg(root().join("fixtures").join(path.as_str().unwrap()));
    }
    let words = case["words"].as_array().unwrap().iter().map(|word| word.as_str().unwrap());
    let output = command.arg("--").args(words).current_dir(&dir).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr), case["said"].as_str().unwrap(), "{name}");
    assert_eq!(output.status.code().map(i64::from), case["code"].as_i64(), "{name}");
    let kept = root().join("fixtures/cases/calls");
    let expected = |what: &str| fs::read(kept.join(format!("{name}.{what}"))).unwrap();
    assert!(output.stdout == expected("out"), "{name}: standard output");
    let writes = case["writes"].as_array().unwrap().iter();
    let mut writes: Vec<String> =
        writes.map(|name| name.as_str().unwrap().replace('/', "-")).collect();
    writes.sort();
    let mut written: Vec<String> = fs::read_dir(&dir)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    written.sort();
    assert_eq!(written, writes, "{name}");
    for file in written {
        assert!(fs::read(dir.path().join(&file)).unwrap() == expected(&file), "{name}: {file}");
    }
}

#[test]
fn the_header_is_the_sources_own() {
    let version = |output: &Output| String::from_utf8_lossy(&output.stdout).trim() == CBINDGEN;
    if !there("cbindgen", version) {
        return;
    }
    let config = here().join("cbindgen.toml");
    let made = ran(Command::new("cbindgen").arg("--quiet").arg("--config").arg(config).arg(here()));
    let header = here().join("holdover.h");
    if std::env::var_os("HOLDOVER_BLESS").is_some() {
        fs::write(&header, &made.stdout).unwrap();
    }
    assert!(fs::read(&header).unwrap() == made.stdout, "make it anew: HOLDOVER_BLESS=1");
}

#[test]
fn the_header_is_good_c_and_good_cpp() {
    for (compiler, standard) in [("cc", "-std=c99"), ("c++", "-std=c++11")] {
        if !there(compiler, |output| output.status.success()) {
            continue;
        }
        let language = if compiler == "cc" { "c" } else { "c++" };
        let mut command = Command::new(compiler);
        command.args([standard, "-Wall", "-Wextra", "-Werror", "-pedantic", "-fsyntax-only"]);
        ran(command.arg("-x").arg(language).arg(here().join("holdover.h")));
    }
}

#[test]
fn c_answers_as_the_binary_does() {
    if there("cc", |output| output.status.success()) {
        cases().iter().for_each(|case| same(case, Command::new(caller())));
    }
}

#[test]
fn garbage_is_refused_by_both_libraries() {
    if !there("cc", |output| output.status.success()) {
        return;
    }
    for linked in [Linked::Shared, Linked::Static] {
        let dir = tempdir().unwrap();
        let output = ran(&mut Command::new(built(&dir, "tests/garbage.c", linked)));
        assert_eq!(String::from_utf8_lossy(&output.stdout), "all refused\n");
    }
}

/// Under a limit on addresses, as `ulimit -v` sets it.
#[test]
fn short_memory_is_a_code() {
    if there("cc", |output| output.status.success()) {
        let dir = tempdir().unwrap();
        let output = ran(&mut Command::new(built(&dir, "tests/memory.c", Linked::Shared)));
        assert_eq!(String::from_utf8_lossy(&output.stdout), "all refused\n");
    }
}

#[test]
fn a_forked_child_works_on() {
    if there("cc", |output| output.status.success()) {
        let dir = tempdir().unwrap();
        ran(&mut Command::new(built(&dir, "tests/fork.c", Linked::Shared)));
    }
}

#[test]
fn the_example_reads_and_plans() {
    if !there("cc", |output| output.status.success()) {
        return;
    }
    let dir = tempdir().unwrap();
    let mut example = Command::new(built(&dir, "example.c", Linked::Static));
    let mill = ["survey.csv", "mill.toml", "roster.xlsx"];
    example
        .args(mill.map(|name| Path::new("fixtures/mill").join(name)).map(|p| p.into_os_string()));
    let output = example.current_dir(root()).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(text.starts_with("line,source,verdict,"), "{text}");
    assert!(text.contains(" 1     26    10-25 "), "{text}");
    // What is wrong with its words is said.
    let lost = Command::new(dir.path().join("example")).args(["a", "b", "c"]).output().unwrap();
    assert_eq!(lost.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&lost.stderr).contains("a: "), "{lost:?}");
}

#[test]
fn valgrind_finds_nothing() {
    let good = |output: &Output| output.status.success();
    if !there("cc", good) || !there("valgrind", good) {
        return;
    }
    let some = ["read-survey-csv", "read-hostile-csv", "plan-workbook", "no-such-option"];
    for case in cases() {
        if some.contains(&case["name"].as_str().unwrap()) {
            same(&case, valgrind(caller()));
        }
    }
    let dir = tempdir().unwrap();
    let output = ran(&mut valgrind(&built(&dir, "tests/garbage.c", Linked::Shared)));
    assert_eq!(String::from_utf8_lossy(&output.stdout), "all refused\n");
}
