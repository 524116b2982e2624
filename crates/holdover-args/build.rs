//! Tells which commit all was built from, where there is one: a source archive
//! and an installed package have none.

use std::path::{Path, PathBuf};
use std::process::Command;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=Cargo.toml");
    let version = std::env::var("CARGO_PKG_VERSION").unwrap_or_default();
    let version = match commit() {
        Some(commit) => format!("{version} ({commit})"),
        None => version,
    };
    println!("cargo::rustc-env=HOLDOVER_VERSION={version}");
}

/// The commit checked out here and its day: `abc1234, 2026-11-25`.
fn commit() -> Option<String> {
    // Another project's repository around an unpacked archive does not count.
    let here =
        Path::new(&std::env::var_os("CARGO_MANIFEST_DIR")?).join("../..").canonicalize().ok()?;
    let top = PathBuf::from(git(&["rev-parse", "--show-toplevel"])?).canonicalize().ok()?;
    if here != top {
        return None;
    }
    // A new commit moves HEAD, or the branch that HEAD names.
    let head = PathBuf::from(git(&["rev-parse", "--git-path", "HEAD"])?);
    watch(&head);
    if let Some(branch) = git(&["symbolic-ref", "--quiet", "HEAD"]) {
        let branch = PathBuf::from(git(&["rev-parse", "--git-path", &branch])?);
        // Packed away, it comes back as a file of its own with the next commit.
        branch.ancestors().find(|path| path.exists()).into_iter().for_each(watch);
    }
    git(&["show", "--no-patch", "--format=%h, %cs", "HEAD"])
}

fn watch(path: &Path) {
    println!("cargo::rerun-if-changed={}", path.display());
}

/// What git says, if it is here and has something to say.
fn git(args: &[&str]) -> Option<String> {
    let output = Command::new("git").args(args).output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    let line = text.trim();
    (output.status.success() && !line.is_empty() && !line.contains('\n')).then(|| line.to_owned())
}
