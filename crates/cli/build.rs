//! Gives the binary the pocket page to carry, where that was built before it.

use std::path::{Path, PathBuf};

/// Where `crates/holdover-web/build` leaves the page. The directory is always
/// there, so that cargo sees a page come into it.
const MADE: &str = "crates/holdover-web/made";

fn main() {
    println!("cargo::rerun-if-changed=crates/cli/build.rs");
    let page = Path::new(MADE).join("pocket.html");
    let mut carried = String::from("None");
    if Path::new(MADE).is_dir() {
        watch(Path::new(MADE));
        if let Some(page) = page.canonicalize().ok().filter(|page| page.is_file()) {
            carried = format!("Some(include_bytes!({:?}))", page.display().to_string());
        }
    }
    let to = std::env::var_os("OUT_DIR").map(|to| PathBuf::from(to).join("pocket.rs"));
    if let Some(Err(error)) = to.map(|to| std::fs::write(to, carried)) {
        println!("cargo::error=the pocket page's place cannot be written: {error}");
    }
}

fn watch(path: &Path) {
    println!("cargo::rerun-if-changed={}", path.display());
}
