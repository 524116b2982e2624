//! The list of targets is the list of files in `src/bin`: one place, for cargo
//! as for us.

use std::path::Path;
use std::{env, fs};

fn main() {
    println!("cargo::rerun-if-changed=src/bin");
    let files = fs::read_dir("src/bin").expect("src/bin is there");
    let mut names: Vec<String> = files
        .map(|file| file.expect("src/bin is readable").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "rs"))
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    names.sort();
    let rows = names.iter().map(|name| format!("    ({name:?}, targets::{name}),\n"));
    let rows: String = rows.collect();
    let text = format!("&[\n{rows}]\n");
    let to = Path::new(&env::var_os("OUT_DIR").expect("cargo sets it")).join("targets.rs");
    fs::write(to, text).expect("the list can be written");
}
