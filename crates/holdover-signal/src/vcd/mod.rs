//! Value-change dumps (IEEE 1364-2005 clause 18): the declarations, then the
//! changes of the lines followed, in one pass and constant memory.

mod body;
mod header;
mod ids;
mod text;

use std::io::{BufRead, ErrorKind};

use crate::change::{Change, Changes, Level};
use crate::error::{Fault, FaultWhat, SignalError, SignalErrorKind};
use crate::lines::{self, Candidate, Pick};
use crate::stream::{BLOCK, Window, to_line_end, words};
use crate::time::Scale;

pub use header::REMEMBERED;

use body::Body;
use header::{Header, Read as HeaderRead, Variable};
use ids::{IdTable, Target};

impl From<&Variable> for Candidate {
    fn from(variable: &Variable) -> Candidate {
        Candidate {
            name: variable.name.clone(),
            width: variable.width,
            range: variable.range,
            key: variable.id.clone(),
        }
    }
}

/// A dump being read: first its declarations, then its changes.
#[derive(Debug)]
pub(crate) enum Dump {
    /// Among the declarations.
    Declarations(Box<Header>),
    /// The declarations are read; lines are to be chosen.
    Declared(Box<Header>),
    /// Among the changes.
    Values(Box<Body>),
}

impl Dump {
    pub(crate) fn new() -> Dump {
        Dump::Declarations(Box::new(Header::new()))
    }

    /// Reads declarations; returns how many bytes are done with.
    pub(crate) fn declare(
        &mut self,
        buffer: &[u8],
        wanted: &dyn Fn(&str) -> bool,
    ) -> Result<usize, Fault> {
        let Dump::Declarations(header) = self else { return Ok(0) };
        match header.read(buffer, wanted)? {
            HeaderRead::Part(done) => Ok(done),
            HeaderRead::Done(done) => {
                let header = std::mem::replace(header, Box::new(Header::new()));
                *self = Dump::Declared(header);
                Ok(done)
            }
        }
    }

    /// Follows the lines picked, in that order; false where they are too many.
    pub(crate) fn follow(&mut self, picks: &[Pick]) -> bool {
        let Dump::Declared(header) = self else { return false };
        let mut table = IdTable::new();
        for (line, pick) in picks.iter().enumerate() {
            let Some(variable) = header.variables.get(pick.line) else { return false };
            let target = Target { line: line as u16, bit: pick.bit };
            if !table.follow(&variable.id, target) {
                return false;
            }
        }
        *self = Dump::Values(Box::new(Body::new(header.scale, table)));
        true
    }

    /// Reads what `buffer` holds; returns how many bytes are done with. At the
    /// `last` buffer nothing may be left.
    pub(crate) fn scan(
        &mut self,
        buffer: &[u8],
        last: bool,
        out: &mut impl Changes,
    ) -> Result<usize, Fault> {
        let Dump::Values(body) = self else { return Ok(0) };
        if !last {
            return body.scan(buffer, out);
        }
        let done = body.scan(buffer, out).map_err(|fault| {
            // A value without its identifier as the very last word was cut off.
            let cut =
                fault.at + 2 >= buffer.len() && matches!(fault.what, FaultWhat::Syntax { .. });
            if cut && body.any {
                let expected = "an identifier right after the value";
                return Fault { at: fault.at, what: FaultWhat::Truncated { expected } };
            }
            fault
        })?;
        let rest = buffer.get(done..).unwrap_or_default();
        body.finish(rest).map_err(|fault| Fault { at: fault.at + done, ..fault })?;
        Ok(buffer.len())
    }

    /// The last time seen, in ns.
    pub(crate) fn now(&self) -> i64 {
        match self {
            Dump::Values(body) => body.now(),
            _ => 0,
        }
    }

    /// The error for a file that ends here, among the declarations.
    pub(crate) fn truncated(at: usize) -> Fault {
        header::truncated(at)
    }
}

/// Lines a dump offers.
pub(crate) fn candidates(header: &Header) -> Vec<Candidate> {
    header.variables.iter().map(Candidate::from).collect()
}

pub(crate) fn scale(dump: &Dump) -> Option<Scale> {
    match dump {
        Dump::Declared(header) => Some(header.scale),
        _ => None,
    }
}

/// The declarations, once they are read.
pub(crate) fn declared(dump: &Dump) -> Option<&Header> {
    match dump {
        Dump::Declared(header) => Some(header),
        _ => None,
    }
}

/// Every change of the lines named, in order, handed to `on_change`; for
/// drawings and comparisons.
///
/// Names are whole (`top.reader1.D0`), the end of one after a dot, or one bit
/// of a vector (`top.bus[3]`). Returns the last time in the file, in ns.
///
/// # Errors
/// A damaged file, a name that is not there. What came before the damage has
/// been handed over.
///
/// # Examples
/// ```
/// use holdover_signal::{Level, vcd};
/// let dump = b"$timescale 1 us $end $var wire 1 ! D0 $end $enddefinitions $end\n\
///              #0\n1!\n#40\n0!\n";
/// let mut falls = 0;
/// let end = vcd::scan(&dump[..], &["D0"], |change| {
///     falls += usize::from(change.level == Level::Low);
/// })?;
/// assert_eq!((falls, end), (1, 40_000));
/// # Ok::<(), holdover_signal::SignalError>(())
/// ```
pub fn scan(
    mut input: impl BufRead,
    names: &[&str],
    on_change: impl FnMut(Change),
) -> Result<i64, SignalError> {
    let mut dump = Dump::new();
    let mut window = Window::new();
    let mut out = Each(on_change);
    loop {
        let bytes = match input.fill_buf() {
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            other => other.map_err(|e| SignalErrorKind::Io(e.to_string()))?,
        };
        let bytes = &bytes[..bytes.len().min(BLOCK)];
        let last = bytes.is_empty();
        let mut taken = 0;
        if let Dump::Values(_) = dump
            && window.bytes().is_empty()
        {
            let words = words(bytes);
            taken = window.count(words, dump.scan(words, false, &mut out))?;
        }
        if taken == 0 {
            taken = match dump {
                Dump::Values(_) => to_line_end(bytes),
                _ => bytes.len(),
            };
            window.push(if last { b"\n" } else { &bytes[..taken] });
            if let Dump::Declarations(_) = dump {
                declare(&mut dump, &mut window, names, last)?;
            }
            let done = dump.scan(words(window.bytes()), last, &mut out);
            window.advance(done)?;
        }
        input.consume(taken);
        if last {
            return Ok(dump.now());
        }
    }
}

/// Reads declarations and, at their end, follows the lines named.
fn declare(
    dump: &mut Dump,
    window: &mut Window,
    names: &[&str],
    last: bool,
) -> Result<(), SignalError> {
    let wanted = |name: &str| names.iter().any(|n| lines::fits(n, name));
    let done = dump.declare(words(window.bytes()), &wanted);
    window.advance(done)?;
    let Some(header) = declared(dump) else {
        let cut = Dump::truncated(window.bytes().len());
        return if last { window.advance(Err(cut)) } else { Ok(()) };
    };
    let candidates = candidates(header);
    let picks = names.iter().map(|name| lines::resolve(name, &candidates));
    let picks = picks.collect::<Result<Vec<Pick>, SignalErrorKind>>()?;
    if dump.follow(&picks) {
        return Ok(());
    }
    Err(SignalErrorKind::BadOption {
        option: "names",
        expected: format!("up to {} lines", ids::MOST),
        found: picks.len().to_string(),
    }
    .into())
}

struct Each<F>(F);

impl<F: FnMut(Change)> Changes for Each<F> {
    #[inline]
    fn change(&mut self, at: i64, line: u16, level: Level) {
        (self.0)(Change { time_ns: at, line: usize::from(line), level });
    }
    fn off(&mut self, _: i64) {}
    fn on(&mut self, _: i64) {}
}
