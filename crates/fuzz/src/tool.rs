//! The command line on a desk: its exit code, and what it said.

use std::cell::RefCell;

use holdover_desk::Desk;

use crate::targets::GIVEN;

/// What a run said and how it ended.
pub struct Ran {
    /// 0, 1 or 2.
    pub code: u8,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub said: String,
}

thread_local! {
    static DESK: RefCell<Desk> = RefCell::new(laid());
}

/// A desk with the files that come with every run.
fn laid() -> Desk {
    // One thread, so that the same input takes the same way through.
    _ = rayon::ThreadPoolBuilder::new().num_threads(1).build_global();
    let mut desk = Desk::new();
    GIVEN.iter().for_each(|(name, content)| desk.put(*name, *content));
    desk
}

/// Writes a file; its name.
pub fn file(name: &str, bytes: &[u8]) -> String {
    DESK.with_borrow_mut(|desk| desk.put(name, bytes));
    name.to_owned()
}

/// Reads a file, which is gone with that.
pub fn take(name: &str) -> Option<Vec<u8>> {
    DESK.with_borrow_mut(|desk| desk.take(name))
}

/// Runs the command line. Whatever the input, it ends as it says it does, and
/// says why where it refuses.
pub fn run(words: &[&str]) -> Ran {
    let ran = DESK.with_borrow_mut(|desk| holdover_args::run(desk, words));
    let out = String::from_utf8(ran.output).expect("what is said is UTF-8");
    let ran = Ran { code: ran.code, out, said: ran.said };
    assert!(ran.code <= 2, "{words:?}: exit code {}", ran.code);
    assert!(ran.code != 2 || !ran.said.is_empty(), "refused without a word: {words:?}");
    // What is for people is safe to print; what is for programs is as it came.
    let for_programs = words.contains(&"csv") || words.contains(&"json");
    for text in [&ran.out, &ran.said].into_iter().skip(usize::from(for_programs)) {
        let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        assert!(!text.contains(odd), "control characters: {words:?}: {text:?}");
    }
    ran
}
