//! The machine's own files, standard input, output and error, terminal, clock
//! and ports.

mod bar;
mod port;
mod write;

use std::collections::BTreeSet;
use std::io::{self, IsTerminal, Read, Write};
use std::path::Path;
use std::sync::{Mutex, mpsc};
use std::thread;
use std::time::Instant;

use anstream::{AutoStream, ColorChoice};

use holdover_args::Colour;
use holdover_desk::Fail;
use holdover_desk::host::{Bar, Blocks, File, Host, Lasting, Readers, Unit};
pub use write::make_directory;

/// Bytes of standard input taken at once where it comes live.
const BLOCK: usize = 1 << 16;

/// The machine.
#[derive(Default)]
pub struct Machine {
    noted: Mutex<BTreeSet<String>>,
}

/// Applies a choice of colour to everything that is printed.
pub fn set_colour(colour: Colour) {
    let choice = match colour {
        Colour::Auto => ColorChoice::Auto,
        Colour::Always => ColorChoice::AlwaysAnsi,
        Colour::Never => ColorChoice::Never,
    };
    choice.write_global();
}

/// A copy in a file without a name, which nobody else can open and which is
/// gone with the command.
fn copied(from: &mut impl Read) -> io::Result<File> {
    let mut copy = tempfile::tempfile()?;
    io::copy(from, &mut copy)?;
    Ok(File::Machine(copy))
}

impl Host for Machine {
    fn open(&self, name: &str) -> io::Result<File> {
        std::fs::File::open(name).map(File::Machine)
    }

    fn exists(&self, name: &str) -> bool {
        Path::new(name).exists()
    }

    /// Of what opens only once, as a pipe does, a private copy.
    fn lasting(&self, file: File) -> io::Result<Lasting> {
        let File::Machine(mut file) = file else { return Ok(Lasting::Itself(file)) };
        let about = file.metadata()?;
        match (about.is_dir(), about.is_file()) {
            (true, _) => Ok(Lasting::Directory),
            (false, true) => Ok(Lasting::Itself(File::Machine(file))),
            (false, false) => copied(&mut file).map(Lasting::Copy),
        }
    }

    fn stdin(&self) -> Box<dyn Read> {
        Box::new(io::stdin().lock())
    }

    fn stdin_file(&self) -> Option<File> {
        #[cfg(unix)]
        let copy = std::os::fd::AsFd::as_fd(&io::stdin()).try_clone_to_owned();
        #[cfg(windows)]
        let copy = std::os::windows::io::AsHandle::as_handle(&io::stdin()).try_clone_to_owned();
        #[cfg(not(any(unix, windows)))]
        let copy: io::Result<std::fs::File> = Err(io::ErrorKind::Unsupported.into());
        let file = File::Machine(copy.ok()?.into());
        file.is_file().then_some(file)
    }

    fn stdin_copy(&self) -> io::Result<File> {
        copied(&mut io::stdin().lock())
    }

    /// In a thread of its own.
    fn stdin_blocks(&self) -> Blocks {
        let (send, receive) = mpsc::sync_channel(16);
        thread::spawn(move || {
            let mut stdin = io::stdin().lock();
            let mut block = vec![0; BLOCK];
            loop {
                let sent = match stdin.read(&mut block) {
                    Ok(0) => return,
                    Ok(count) => send.send(Ok(block[..count].to_vec())),
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                    Err(error) => {
                        _ = send.send(Err(error));
                        return;
                    }
                };
                if sent.is_err() {
                    return;
                }
            }
        });
        receive
    }

    fn port(&self, name: &str, baud: u32) -> Result<Blocks, Fail> {
        port::blocks(name, baud)
    }

    fn keep_apart(&self, inputs: &[&Path], outputs: &[&Path]) -> Result<(), Fail> {
        write::keep_apart(inputs, outputs)
    }

    fn put(&self, files: &[(&Path, &[u8])], readers: Readers) -> Result<(), Fail> {
        write::write_all(files, readers)
    }

    fn put_new(&self, files: &[(&Path, &[u8])]) -> Result<(), Fail> {
        write::create(files)
    }

    fn out(&self) -> Box<dyn Write> {
        Box::new(io::stdout().lock())
    }

    fn styled(&self) -> Box<dyn Write> {
        Box::new(anstream::stdout().lock())
    }

    /// Where even standard error is gone there is nobody to tell.
    fn say(&self, line: &str) {
        bar::aside(|| _ = writeln!(anstream::stderr().lock(), "{line}"));
    }

    fn is_new(&self, note: &str) -> bool {
        self.noted.lock().is_ok_and(|mut noted| noted.insert(note.to_owned()))
    }

    /// The variable COLUMNS comes before what the terminal says (POSIX.1-2024,
    /// XBD 8.3).
    fn columns(&self) -> Option<usize> {
        let wanted = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
        wanted.or_else(|| terminal_size::terminal_size().map(|(width, _)| usize::from(width.0)))
    }

    fn errors_in_colour(&self) -> bool {
        AutoStream::choice(&io::stderr()) != ColorChoice::Never
    }

    fn output_is_watched(&self) -> bool {
        io::stdout().is_terminal()
    }

    fn now(&self) -> Option<Instant> {
        Some(Instant::now())
    }

    fn bar(&self, what: &str, unit: Unit, total: Option<u64>) -> Option<Box<dyn Bar>> {
        bar::new(what, unit, total)
    }
}
