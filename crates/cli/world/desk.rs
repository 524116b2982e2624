//! A desk: files by name, in memory, and what a command line at work on them
//! prints.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::io;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
#[cfg(unix)]
use std::sync::OnceLock;

use super::File;
use crate::fail::Fail;

/// Bytes a call may print. Judgement: more than a survey of millions, less
/// than an address space of 32 bits.
pub const MAX_OUTPUT: usize = if cfg!(target_pointer_width = "64") { 2 << 30 } else { 512 << 20 };

/// Files by name, in memory; "-" is standard input.
#[derive(Debug, Default, Clone)]
pub struct Desk {
    files: BTreeMap<String, Arc<Vec<u8>>>,
}

/// What a call printed, and how it ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ran {
    /// The exit code: 0 done; 1 done, and something is wrong with the cards; 2
    /// the command or a file is wrong.
    pub code: u8,
    /// Standard output.
    pub output: Vec<u8>,
    /// Standard error, without colour.
    pub said: String,
    /// Whether the command ran to its end: what is wrong, if anything, is in
    /// lines of the input that the output names.
    pub ended: bool,
}

impl Desk {
    /// Puts a file on the desk, in the place of one of that name.
    pub fn put(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        self.files.insert(name.into(), Arc::new(bytes.into()));
    }

    /// A file's bytes.
    pub fn get(&self, name: &str) -> Option<&[u8]> {
        self.files.get(name).map(|bytes| bytes.as_slice())
    }

    /// Takes a file from the desk.
    pub fn take(&mut self, name: &str) -> Option<Vec<u8>> {
        self.files.remove(name).map(Arc::unwrap_or_clone)
    }

    /// The files' names, in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }
}

/// A call at work.
struct Call {
    files: BTreeMap<String, Arc<Vec<u8>>>,
    /// How far standard input is read.
    stdin_at: Rc<Cell<usize>>,
    output: Vec<u8>,
    said: String,
    noted: BTreeSet<String>,
    in_colour: bool,
}

thread_local! {
    /// The call of this thread. What other threads help with they hand back to
    /// it: they neither read files nor print.
    static CALL: RefCell<Option<Call>> = const { RefCell::new(None) };
}

/// Whether this thread works on a desk.
pub fn by_value() -> bool {
    cfg!(target_family = "wasm") || CALL.with_borrow(Option::is_some)
}

/// Does something with the call of this thread.
fn with<T>(does: impl FnOnce(&mut Call) -> T) -> Option<T> {
    CALL.with_borrow_mut(|call| call.as_mut().map(does))
}

/// Gives the files back and the thread its world, whatever happens: a thread
/// that helps another call may have been at work on one of its own.
struct Seat<'d> {
    desk: &'d mut Desk,
    before: Option<Call>,
}

impl Seat<'_> {
    fn take(desk: &mut Desk) -> Seat<'_> {
        let call = Call {
            files: std::mem::take(&mut desk.files),
            stdin_at: Rc::default(),
            output: Vec::new(),
            said: String::new(),
            noted: BTreeSet::new(),
            in_colour: false,
        };
        Seat { desk, before: CALL.replace(Some(call)) }
    }
}

impl Drop for Seat<'_> {
    fn drop(&mut self) {
        if let Some(call) = CALL.replace(self.before.take()) {
            self.desk.files = call.files;
        }
    }
}

/// Does what a command line says, as [`crate::run`] does, on a desk: no file,
/// terminal, clock or variable of the machine is read or written.
pub fn run_on(desk: &mut Desk, words: impl IntoIterator<Item = OsString>) -> Ran {
    #[cfg(unix)]
    alone_after_fork();
    let _seat = Seat::take(desk);
    let (code, ended) = crate::end(words);
    let printed = with(|call| (std::mem::take(&mut call.output), std::mem::take(&mut call.said)));
    let (output, said) = printed.unwrap_or_default();
    Ran { code, output, said, ended }
}

/// The threads that would help are not in a forked child (fork(2)), and work
/// handed to them would never be done: its own thread does all of it there.
#[cfg(unix)]
fn alone_after_fork() {
    static BEGUN_IN: OnceLock<u32> = OnceLock::new();
    let now = std::process::id();
    if *BEGUN_IN.get_or_init(|| now) != now {
        // It fails where this thread has done so before.
        let alone = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build();
        alone.into_iter().for_each(std::mem::forget);
    }
}

/// A file of the desk; standard input goes by "-", but is none of that name.
pub fn open(name: &str) -> Option<File> {
    let open = |call: &mut Call| Some(File::Desk(call.files.get(name)?.clone(), Rc::default()));
    with(open)?.filter(|_| name != "-")
}

/// Standard input, from where its reading stands; empty where there is none.
pub fn stdin() -> File {
    let (bytes, at) =
        with(|call| (call.files.get("-").cloned().unwrap_or_default(), call.stdin_at.clone()))
            .unwrap_or_default();
    File::Desk(bytes, at)
}

/// Puts files on the desk, all or none.
pub fn put_all<B: AsRef<[u8]>>(files: &[(&Path, B)]) -> Result<(), Fail> {
    let nameless = |path: &Path| matches!(path.to_str(), None | Some("" | "-"));
    if let Some((path, _)) = files.iter().find(|(path, _)| nameless(path)) {
        let name = crate::screen::plain(&path.display().to_string());
        return Err(Fail::said(format!("{name}: not written: no name of a file: name another")));
    }
    with(|call| {
        for (path, bytes) in files {
            let name = path.display().to_string();
            call.files.insert(name, Arc::new(bytes.as_ref().to_vec()));
        }
    });
    Ok(())
}

pub fn print(bytes: &[u8]) -> io::Result<()> {
    with(|call| {
        if bytes.len() > MAX_OUTPUT - call.output.len() {
            let most = format!("a desk holds {} MiB of it", MAX_OUTPUT >> 20);
            return Err(io::Error::new(io::ErrorKind::OutOfMemory, most));
        }
        let output = &mut call.output;
        let more = bytes.len();
        if output.try_reserve(more).or_else(|_| output.try_reserve_exact(more)).is_err() {
            return Err(io::Error::new(io::ErrorKind::OutOfMemory, "no memory for more of it"));
        }
        call.output.extend_from_slice(bytes);
        Ok(())
    })
    .unwrap_or(Ok(()))
}

pub fn say(line: &str) {
    let line = anstream::adapter::strip_str(line).to_string();
    with(|call| call.said.extend([line.as_str(), "\n"]));
}

pub fn is_new(note: &str) -> bool {
    with(|call| call.noted.insert(note.to_owned())).unwrap_or(false)
}

pub fn set_colour(always: bool) {
    with(|call| call.in_colour = always);
}

pub fn in_colour() -> bool {
    with(|call| call.in_colour).unwrap_or(false)
}
