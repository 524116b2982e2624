//! Files by name, in memory, and what a command at work on them prints.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
#[cfg(unix)]
use std::sync::OnceLock;
use std::sync::mpsc::sync_channel;
use std::time::Instant;

use anstream::{AutoStream, ColorChoice};

use super::{Bar, Blocks, File, Host, Lasting, Readers, Unit};
use crate::fail::Fail;
use crate::plain::plain;

/// Bytes a call may print. Judgement: more than a survey of millions, less
/// than an address space of 32 bits.
pub const MAX_OUTPUT: usize = if cfg!(target_pointer_width = "64") { 2 << 30 } else { 512 << 20 };

type Files = BTreeMap<String, Arc<Vec<u8>>>;

/// Files by name, in memory; `-` is standard input.
#[derive(Debug, Default, Clone)]
pub struct Desk {
    files: Files,
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
    /// An empty desk.
    pub fn new() -> Desk {
        Desk::default()
    }

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

    /// The files' names, in the order of their bytes.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// Does something on the desk, which says its exit code and whether it came
    /// to its end.
    pub fn runs(&mut self, work: impl FnOnce(&Memory) -> (u8, bool)) -> Ran {
        #[cfg(unix)]
        alone_after_fork();
        let files = RefCell::new(std::mem::take(&mut self.files));
        let seat = Seat(self, Memory { files, ..Memory::default() });
        let (code, ended) = work(&seat.1);
        Ran { code, output: seat.1.output.take(), said: seat.1.said.take(), ended }
    }
}

/// A desk at work: no file, terminal, clock or variable of the machine is read
/// or written.
#[derive(Default)]
pub struct Memory {
    files: RefCell<Files>,
    /// How far standard input is read.
    stdin_at: Rc<Cell<usize>>,
    output: Rc<RefCell<Vec<u8>>>,
    said: RefCell<String>,
    noted: RefCell<BTreeSet<String>>,
    /// Whether what is printed keeps its colours.
    pub in_colour: Cell<bool>,
}

/// Gives the files back, whatever happens.
struct Seat<'d>(&'d mut Desk, Memory);

impl Drop for Seat<'_> {
    fn drop(&mut self) {
        self.0.files = self.1.files.take();
    }
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

impl Memory {
    fn whole_stdin(&self) -> File {
        let bytes = self.files.borrow().get("-").cloned().unwrap_or_default();
        File::Desk(bytes, self.stdin_at.clone())
    }
}

impl Host for Memory {
    /// Standard input goes by "-", but is no file of that name.
    fn open(&self, name: &str) -> io::Result<File> {
        let found = self.files.borrow().get(name).cloned().filter(|_| name != "-");
        // The words of Linux, whatever the machine.
        let words = "No such file or directory (os error 2)";
        let bytes = found.ok_or_else(|| io::Error::new(ErrorKind::NotFound, words))?;
        Ok(File::Desk(bytes, Rc::default()))
    }

    fn exists(&self, name: &str) -> bool {
        name != "-" && self.files.borrow().contains_key(name)
    }

    fn lasting(&self, file: File) -> io::Result<Lasting> {
        Ok(Lasting::Itself(file))
    }

    fn stdin(&self) -> Box<dyn Read> {
        Box::new(self.whole_stdin())
    }

    fn stdin_file(&self) -> Option<File> {
        Some(self.whole_stdin())
    }

    fn stdin_copy(&self) -> io::Result<File> {
        Ok(self.whole_stdin())
    }

    fn stdin_blocks(&self) -> Blocks {
        // It is whole from the start, and never read as it comes.
        sync_channel(0).1
    }

    fn port(&self, name: &str, _: u32) -> Result<Blocks, Fail> {
        let name = plain(name);
        Err(Fail::said(format!("{name}: a desk has no serial ports: run the binary")))
    }

    /// A name is a place.
    fn keep_apart(&self, inputs: &[&Path], outputs: &[&Path]) -> Result<(), Fail> {
        super::apart(inputs.iter().map(|p| p.to_path_buf()).collect(), Vec::new(), outputs, |p| {
            Some(p.to_owned())
        })
    }

    fn put(&self, files: &[(&Path, &[u8])], _: Readers) -> Result<(), Fail> {
        let nameless = |path: &Path| matches!(path.to_str(), None | Some("" | "-"));
        if let Some((path, _)) = files.iter().find(|(path, _)| nameless(path)) {
            let name = plain(&path.display().to_string());
            return Err(Fail::said(format!(
                "{name}: not written: no name of a file: name another"
            )));
        }
        let named = files.iter().map(|(p, bytes)| (p.display().to_string(), bytes.to_vec().into()));
        self.files.borrow_mut().extend(named);
        Ok(())
    }

    fn put_new(&self, files: &[(&Path, &[u8])]) -> Result<(), Fail> {
        super::refuse_there(files, |path| self.exists(&path.display().to_string()))?;
        self.put(files, Readers::Owner)
    }

    fn out(&self) -> Box<dyn Write> {
        Box::new(Output(self.output.clone()))
    }

    fn styled(&self) -> Box<dyn Write> {
        match self.in_colour.get() {
            true => self.out(),
            false => Box::new(AutoStream::new(self.out(), ColorChoice::Never)),
        }
    }

    fn say(&self, line: &str) {
        let line = anstream::adapter::strip_str(line).to_string();
        self.said.borrow_mut().extend([line.as_str(), "\n"]);
    }

    fn is_new(&self, note: &str) -> bool {
        self.noted.borrow_mut().insert(note.to_owned())
    }

    fn columns(&self) -> Option<usize> {
        None
    }

    fn errors_in_colour(&self) -> bool {
        false
    }

    fn output_is_watched(&self) -> bool {
        false
    }

    fn now(&self) -> Option<Instant> {
        None
    }

    fn bar(&self, _: &str, _: Unit, _: Option<u64>) -> Option<Box<dyn Bar>> {
        None
    }
}

/// What a desk prints.
struct Output(Rc<RefCell<Vec<u8>>>);

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut output = self.0.borrow_mut();
        if bytes.len() > MAX_OUTPUT - output.len() {
            let most = format!("a desk holds {} MiB of it", MAX_OUTPUT >> 20);
            return Err(io::Error::new(ErrorKind::OutOfMemory, most));
        }
        let more = bytes.len();
        if output.try_reserve(more).or_else(|_| output.try_reserve_exact(more)).is_err() {
            return Err(io::Error::new(ErrorKind::OutOfMemory, "no memory for more of it"));
        }
        output.extend_from_slice(bytes);
        Ok(more)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
