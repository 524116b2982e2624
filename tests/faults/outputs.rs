//! Outputs: who may read them, what is in the way, disks that are full.

use std::fs::Permissions;
use std::process::Stdio;

use tempfile::tempdir;

use super::{Job, PLAN};
use crate::holdover::{command, run};

/// Every way to write a file that cards may be in.
const WRITERS: [&[&str]; 6] = [
    &PLAN,
    &[
        "plan",
        "--site",
        "mill.toml",
        "--roster",
        "reissued.csv",
        "--table",
        "built-in",
        "--table",
        "found.toml",
        "--worksheet",
        "w.txt",
        "--enrolment",
        "e.xlsx",
        "--cutover",
        "c.txt",
    ],
    &["learn", "drawer.csv", "-o", "table.toml", "--html", "learn.html"],
    &["read", "survey.csv", "--html", "read.html"],
    &["prove", "--cases", "survey.csv", "--record", "cases.csv", "--html", "prove.html"],
    &[
        "compose",
        "std26",
        "site=1",
        "card=1-9",
        "--probe",
        "vcd",
        "--lost",
        "0.9",
        "--faults",
        "faults.jsonl",
    ],
];

#[cfg(unix)]
fn mode(path: &std::path::Path) -> u32 {
    use std::os::unix::fs::PermissionsExt;
    std::fs::metadata(path).unwrap().permissions().mode() & 0o777
}

#[cfg(unix)]
#[test]
fn files_with_cards_are_their_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let mut count = 0;
    for args in WRITERS {
        let job = Job::new();
        let output = job.command().args(args).output().unwrap();
        assert!(output.status.code() < Some(2), "{args:?}");
        let written = job.others();
        assert!(!written.is_empty(), "{args:?}");
        count += written.len();
        for path in written.keys() {
            assert_eq!(mode(path), 0o600, "{}", path.display());
        }
        // Replaced, they keep the narrower of both modes.
        for (before, after) in [(0o644, 0o600), (0o660, 0o600), (0o400, 0o400)] {
            for path in written.keys() {
                std::fs::set_permissions(path, Permissions::from_mode(before)).unwrap();
            }
            assert!(job.command().args(args).output().unwrap().status.code() < Some(2));
            for path in written.keys() {
                assert_eq!(mode(path), after, "{}", path.display());
            }
        }
    }
    assert_eq!(count, 11);
    let dir = tempdir().unwrap();
    let job = dir.path().join("job");
    assert_eq!(run(["init", job.to_str().unwrap()]).code, 0);
    assert_eq!(mode(&job.join("roster.csv")), 0o600);
    assert_eq!(mode(&job.join("site.toml")), 0o600);
}

#[cfg(unix)]
#[test]
fn manual_pages_are_everyones_as_far_as_the_user_lets_them() {
    let dir = tempdir().unwrap();
    for (mask, expected) in [("022", 0o644), ("077", 0o600)] {
        let pages = dir.path().join(mask);
        let output = std::process::Command::new("sh")
            .args(["-c", "umask $1; exec \"$2\" manual --output-dir \"$3\"", "sh", mask])
            .args([env!("CARGO_BIN_EXE_holdover").as_ref(), pages.as_os_str()])
            .output()
            .unwrap();
        assert!(output.status.success());
        assert_eq!(mode(&pages.join("holdover.1")), expected);
    }
}

#[test]
fn what_is_in_the_way_is_said_with_what_to_do() {
    let job = Job::new();
    let way = job.path("way");
    std::fs::write(&way, "mine").unwrap();
    for (args, message) in [
        (vec!["init", "way"], "a file is where a directory should be: name another"),
        (vec!["init", "way/deep"], "a file is where a directory should be: name another"),
        (vec!["manual", "--output-dir", "way"], "a file is where a directory should be"),
        (vec!["learn", "drawer.csv", "-o", "way/t.toml"], "a file is where a directory should be"),
        (vec!["learn", "drawer.csv", "-o", "none/t.toml"], "make its directory, or name another"),
        (vec!["learn", "drawer.csv", "-o", "."], "it is no file: name another"),
        (vec!["learn", "drawer.csv", "-o", "drawer.csv"], "it is an input"),
        (
            vec!["compose", "--captures", "survey.csv", "--probe", "vcd", "--faults", "survey.csv"],
            "it is an input",
        ),
    ] {
        let output = job.command().args(&args).output().unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(stderr.contains(message), "{args:?}: {stderr}");
        assert!(!stderr.contains(".holdover-"), "{args:?}: {stderr}");
    }
    assert_eq!(job.others().into_iter().collect::<Vec<_>>(), [(way, b"mine".to_vec())]);
}

/// The directory is nobody's to write in.
#[cfg(unix)]
#[test]
fn permission_denied_leaves_all_as_it_was() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let job = Job::new();
    std::fs::write(job.path("plan.json"), "the old one").unwrap();
    // Nothing is denied to the superuser: somebody else runs a copy.
    let dir = tempdir().unwrap();
    let binary = dir.path().join("holdover");
    std::fs::copy(env!("CARGO_BIN_EXE_holdover"), &binary).unwrap();
    // Inputs are everybody's to read, however they lie in this tree.
    for entry in std::fs::read_dir(job.dir.path()).unwrap() {
        let path = entry.unwrap().path();
        std::fs::set_permissions(path, Permissions::from_mode(0o644)).unwrap();
    }
    for path in [dir.path(), &binary, job.dir.path()] {
        std::fs::set_permissions(path, Permissions::from_mode(0o555)).unwrap();
    }
    let mut nobody = std::process::Command::new(&binary);
    if rustix::process::getuid().is_root() {
        nobody.uid(65534).gid(65534);
    }
    let output = nobody.args(PLAN).current_dir(job.dir.path()).output().unwrap();
    std::fs::set_permissions(job.dir.path(), Permissions::from_mode(0o755)).unwrap();
    std::fs::set_permissions(dir.path(), Permissions::from_mode(0o755)).unwrap();
    let stderr = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{stderr}");
    assert!(stderr.contains("plan.json: not written: Permission denied"), "{stderr}");
    assert!(stderr.contains("ask who may write there"), "{stderr}");
    let others: Vec<_> = job.others().into_values().collect();
    assert_eq!(others, [b"the old one".to_vec()]);
}

/// `/dev/full` refuses every byte (full(4)).
#[cfg(target_os = "linux")]
#[test]
fn standard_output_that_is_full_is_said() {
    let mill = |name: &str| format!("fixtures/mill/{name}");
    let (survey, drawer, gate) = (mill("survey.csv"), mill("drawer.csv"), mill("gate.vcd"));
    let (site, roster) = (mill("mill.toml"), mill("reissued.csv"));
    let plan = ["plan", "--site", &site, "--roster", &roster, "--table", "built-in", "--table"];
    let found = mill("found.toml");
    for args in [
        vec!["read", &survey],
        vec!["read", &survey, "--summary"],
        vec!["read", &survey, "--format", "csv"],
        vec!["read", &survey, "--format", "json"],
        vec!["signal", &gate],
        vec!["signal", &gate, "--format", "csv"],
        vec!["learn", &drawer],
        vec!["learn", &drawer, "--format", "json"],
        [&plan[..], &[&found]].concat(),
        [&plan[..], &[&found, "--format", "csv"]].concat(),
        vec!["prove", "--cases", &survey, "--record", "/dev/null/none"],
        vec!["compose", "std26", "site=1", "card=1-9"],
        vec!["compose", "std26", "site=1", "card=1-9", "--probe", "vcd"],
        vec!["table", "list"],
        vec!["table", "show", "std26"],
        vec!["table", "diff", "built-in", "built-in"],
        vec!["completions", "bash"],
        vec!["manual"],
        vec!["--help"],
        vec!["read", "--help"],
        vec!["--version"],
    ] {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let output = command().args(&args).stdout(full).output().unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {stderr}");
        assert!(!stderr.contains("panicked"), "{args:?}: {stderr}");
        let full = stderr.contains("No space left on device") && stderr.contains("check the disk");
        assert!(full || args[0] == "prove", "{args:?}: {stderr}");
    }
}

/// A limit on the size of files stops writing in the middle (setrlimit(2)).
#[cfg(target_os = "linux")]
#[test]
fn a_file_that_grows_too_large_is_not_there_by_half() {
    let job = Job::new();
    for old in [None, Some("the old one")] {
        old.iter().for_each(|old| std::fs::write(job.path("plan.json"), old).unwrap());
        // The page is larger than that, the plan is not.
        let output = std::process::Command::new("sh")
            .args(["-c", "trap '' XFSZ; ulimit -f 40; exec \"$@\"", "sh"])
            .arg(env!("CARGO_BIN_EXE_holdover"))
            .args(PLAN)
            .current_dir(job.dir.path())
            .output()
            .unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{stderr}");
        assert!(stderr.contains("plan.html: not written: File too large"), "{stderr}");
        assert!(stderr.contains("ulimit"), "{stderr}");
        // Neither of the two is written where one cannot be.
        let others: Vec<_> = job.others().into_values().collect();
        assert_eq!(others, Vec::from_iter(old.map(|old| old.as_bytes().to_vec())));
    }
}

/// Nobody reads what is printed; the files are written all the same.
#[test]
fn files_are_written_whoever_reads_the_output() {
    for args in WRITERS.iter().filter(|args| args[0] != "compose") {
        let job = Job::new();
        let mut child = job
            .command()
            .args(*args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.code() < Some(2) && !stderr.contains("error"), "{args:?}: {stderr}");
        let written = job.others();
        let after = ["-o", "--html", "--record", "--worksheet", "--enrolment", "--cutover"];
        let asked = args.iter().filter(|arg| after.contains(arg)).count();
        assert_eq!(written.len(), asked, "{args:?}");
    }
}

#[test]
fn learn_says_what_it_found_even_where_it_cannot_write() {
    let job = Job::new();
    let output = job.command().args(["learn", "drawer.csv", "-o", "none/t.toml"]).output().unwrap();
    let stdout = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(stdout.contains("found30") && !stdout.contains("is written"), "{stdout}");
}

/// No output takes the place of an input, by whatever name.
#[test]
fn inputs_are_never_replaced() {
    let job = Job::new();
    assert!(job.command().args(super::PLAN).output().unwrap().status.success());
    std::fs::write(job.path("cases.csv"), "bits\n10100000100010000111000011\n").unwrap();
    let plan = std::fs::read(job.path("plan.json")).unwrap();
    let tables = ["--table", "built-in", "--table", "found.toml"];
    let new = ["plan", "--site", "mill.toml", "--roster", "reissued.csv"];
    let old = ["--against", "plan.json"];
    #[cfg(unix)]
    std::os::unix::fs::symlink(job.path("found.toml"), job.path("link.toml")).unwrap();
    let prove = ["prove", "--cases", "cases.csv"];
    for args in [
        [&new[..], &tables, &old, &["--worksheet", "plan.json"]].concat(),
        [&new[..], &tables, &old, &["--enrolment", "./plan.json"]].concat(),
        [&new[..], &tables, &old, &["--cutover", "plan.json"]].concat(),
        [&new[..], &tables, &old, &["--html", "plan.json"]].concat(),
        [&new[..], &tables, &["--worksheet", "found.toml"]].concat(),
        [&prove[..], &tables, &["--record", "found.toml"]].concat(),
        [&prove[..], &tables, &["--record", "cases.csv"]].concat(),
        #[cfg(unix)]
        [&prove[..], &["--table", "link.toml", "--record", "found.toml"]].concat(),
    ] {
        let output = job.command().args(&args).output().unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(stderr.contains("not written: it is an input"), "{args:?}: {stderr}");
        assert_eq!(std::fs::read(job.path("plan.json")).unwrap(), plan, "{args:?}");
        job.others();
    }
    let new = [&new[..], &tables, &old, &["-o", "plan.json"]].concat();
    assert!(job.command().args(new).output().unwrap().status.success());
}

/// Standard output keeps its name, and the file behind it its content.
#[cfg(target_os = "linux")]
#[test]
fn standard_output_is_never_replaced() {
    let job = Job::new();
    for name in ["/dev/stdout", "/dev/stderr", "/proc/self/fd/1", "out.txt"] {
        let out = std::fs::File::create(job.path("out.txt")).unwrap();
        let learn = ["learn", "drawer.csv", "-o", name];
        let output = job.command().args(learn).stdout(out).output().unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{name}: {stderr}");
        assert!(stderr.contains("not written"), "{name}: {stderr}");
        assert!(std::path::Path::new("/dev/stdout").is_symlink());
    }
}
