//! The pocket page's engine: a [`Desk`] behind functions that a page can call.
//!
//! WebAssembly passes numbers only. So the page asks for [`room`], writes what
//! it has to say there, calls, and reads the answer where [`answer`] says it
//! lies; both stay where they are until the next call. All memory is owned and
//! measured on this side: no pointer that comes in is followed, and whatever
//! numbers come in, the worst is an answer of "no".
//!
//! A panic aborts, which ends the call in a trap; the page says so, throws the
//! instance away and makes another.
//!
//! # The page
//! `page/engine.js` holds the engine and answers messages: as a worker made from
//! its own text, or on the page where a file may have no worker. `desk.js` hands
//! it one piece of work at a time, stops it, and starts a new one after a trap;
//! `job.js` keeps the files; `show.js` takes the engine's HTML pages apart and
//! puts them in place; `steps.js` has the words of each command; `main.js` the
//! controls. The scripts are one, in this order, and the page's policy names its
//! hash.
//!
//! - The page has no answers of its own: it shows what a command printed or wrote.
//! - Every piece of work brings its files, so an engine can be thrown away at any
//!   time.
//! - The engine imports nothing that it uses. What `zip` and `rust_xlsxwriter`
//!   would ask a browser for (random bytes for encryption, the time of day for a
//!   date that is then set) is refused, or zero.
//! - No built page is committed. The build of the binary takes
//!   `made/pocket.html` in where it is.
//! - Size before speed (`profile.pocket`): with `opt-level = 2` for the library
//!   the page would answer ten megabytes in a third of the time, and weigh 0.2 MB
//!   more, which leaves nothing of the 2 MB. The engine is packed by gzip, nine
//!   bytes in eleven signs: in base 64 it would be 0.15 MB longer.

// A name given is all that is unsafe here: two functions of one name would be
// undefined. These are the page's alone, and only its build exports them.
#![cfg_attr(target_family = "wasm", allow(unsafe_code))]

use std::cell::RefCell;

use holdover_desk::Desk;

/// What the page said and is told.
#[derive(Default)]
struct Counter {
    desk: Desk,
    room: Vec<u8>,
    answer: Vec<u8>,
    said: String,
}

thread_local! {
    static COUNTER: RefCell<Counter> = RefCell::default();
}

/// Yes and no.
const YES: u32 = 1;
const NO: u32 = 0;

/// What [`run`] answers where the words cannot be read; no exit code.
const NO_WORDS: u32 = 3;

/// Does something at the counter.
fn at<T>(does: impl FnOnce(&mut Counter) -> T) -> T {
    COUNTER.with_borrow_mut(does)
}

/// The room's first bytes as a name, and the rest.
fn split(room: &[u8], name: usize) -> Option<(&str, &[u8])> {
    let (name, rest) = room.split_at_checked(name)?;
    Some((std::str::from_utf8(name).ok()?, rest))
}

/// Room for so many bytes, zeroed, to be written before the next call; null
/// where there is not as much.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn room(bytes: usize) -> *mut u8 {
    at(|counter| {
        counter.room = Vec::new();
        if counter.room.try_reserve_exact(bytes).is_err() {
            return std::ptr::null_mut();
        }
        counter.room.resize(bytes, 0);
        counter.room.as_mut_ptr()
    })
}

/// Puts a file on the desk: in the room, its name of so many bytes, then its
/// content. 1, or 0 where the name is no UTF-8 or not that long.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn put(name: usize) -> u32 {
    at(|counter| {
        let mut room = std::mem::take(&mut counter.room);
        let Some((file, _)) = split(&room, name) else { return NO };
        let file = file.to_owned();
        room.drain(..name);
        counter.desk.put(file, room);
        YES
    })
}

/// Takes a file from the desk, its name filling the room: it is the answer. 1,
/// or 0 where there is none of that name.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn take() -> u32 {
    at(|counter| {
        let room = std::mem::take(&mut counter.room);
        let taken = std::str::from_utf8(&room).ok().and_then(|name| counter.desk.take(name));
        let found = taken.is_some();
        counter.answer = taken.unwrap_or_default();
        if found { YES } else { NO }
    })
}

/// The names of the files on the desk, a JSON array, as the answer.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn names() {
    at(|counter| {
        let names: Vec<&str> = counter.desk.names().collect();
        counter.answer = serde_json::to_vec(&names).unwrap_or_default();
    });
}

/// Runs a command, its words a JSON array of strings that fills the room. Its
/// exit code, with its standard output as the answer; 3 where the words are
/// none.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn run() -> u32 {
    at(|counter| {
        let room = std::mem::take(&mut counter.room);
        let Ok(words) = serde_json::from_slice::<Vec<String>>(&room) else {
            counter.answer = Vec::new();
            counter.said = String::from("error: the words are no JSON array of strings\n");
            return NO_WORDS;
        };
        let ran = holdover_args::run(&mut counter.desk, &words);
        (counter.answer, counter.said) = (ran.output, ran.said);
        ran.code.into()
    })
}

/// What the last command said on standard error, as the answer.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn said() {
    at(|counter| counter.answer = std::mem::take(&mut counter.said).into_bytes());
}

/// The guide as HTML, an article a page, as the answer.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn guide() {
    at(|counter| counter.answer = GUIDE.into());
}

/// Made by `build.rs`.
const GUIDE: &str = include_str!(concat!(env!("OUT_DIR"), "/guide.html"));

/// Where the answer begins.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn answer() -> *const u8 {
    at(|counter| counter.answer.as_ptr())
}

/// Bytes of the answer.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn answer_len() -> usize {
    at(|counter| counter.answer.len())
}

/// Clears the desk.
#[cfg_attr(target_family = "wasm", unsafe(no_mangle))]
pub extern "C" fn clear() {
    at(|counter| *counter = Counter::default());
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the page would, but for the pointer.
    fn say(bytes: &[u8]) {
        assert!(!room(bytes.len()).is_null());
        at(|counter| counter.room.copy_from_slice(bytes));
    }

    fn told() -> Vec<u8> {
        assert_eq!(answer_len(), at(|counter| counter.answer.len()));
        at(|counter| counter.answer.clone())
    }

    #[test]
    fn a_command_runs_on_files_that_were_put() {
        say(b"a.txt10100000100010000111000011\n");
        assert_eq!(put(5), YES);
        say(br#"["read","a.txt","--format","csv","--html","a.html"]"#);
        assert_eq!(run(), 0);
        assert!(String::from_utf8(told()).unwrap().contains("identified,std26"));
        said();
        assert!(told().is_empty());
        names();
        assert_eq!(told(), br#"["a.html","a.txt"]"#);
        say(b"a.html");
        assert_eq!(take(), YES);
        assert!(told().starts_with(b"<!DOCTYPE html>"));
        clear();
        names();
        assert_eq!(told(), b"[]");
    }

    #[test]
    fn the_guide_has_every_page() {
        guide();
        let guide = String::from_utf8(told()).unwrap();
        for page in holdover_args::GUIDE_PAGES {
            assert!(guide.contains(&format!("<article id=\"guide-{page}\">")), "{page}");
        }
        assert!(!guide.contains(".md\""), "a link leads out of the page");
    }

    #[test]
    fn nonsense_is_answered_by_no() {
        assert!(room(usize::MAX).is_null());
        assert_eq!((take(), run()), (NO, NO_WORDS));
        clear();
        say(b"abc");
        assert_eq!(put(4), NO);
        say(b"\xff\xfe");
        assert_eq!(put(2), NO);
        say(b"\xff");
        assert_eq!(take(), NO);
        for words in [&b"\0\0\0"[..], b"[1]", b"{}", b"[\"read\"", &[b'['; 100_000]] {
            say(words);
            assert_eq!(run(), NO_WORDS);
            said();
            assert!(told().starts_with(b"error: "));
        }
        say(b"[]");
        assert_eq!(run(), 2);
    }
}
