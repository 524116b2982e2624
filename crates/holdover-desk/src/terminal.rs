//! The terminal: colour, width, error messages.

use std::borrow::Cow;
use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use textwrap::{WordSeparator, WordSplitter, WrapAlgorithm};

use crate::host::Host;
use crate::plain::plain;

/// Columns of the terminal, or of a page where there is none.
pub fn width(host: &dyn Host) -> usize {
    // 80 columns where nothing says otherwise (common practice, no source).
    host.columns().unwrap_or(80).clamp(40, 200)
}

/// Words that matter.
pub const STRONG: Style = Style::new().bold();
/// Words that explain.
pub const FAINT: Style = Style::new().dimmed();
/// Something holds.
pub const GOOD: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Green)));
/// Something is not settled.
pub const OPEN: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow)));
/// Something fails.
pub const BAD: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Red)));

/// A text in a style.
pub fn in_style(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// Prints a message to standard error.
pub fn complain(host: &dyn Host, message: &str) {
    host.say(&error(message));
}

/// What is wrong, as it is printed.
pub fn error(message: &str) -> String {
    format!("{} {message}", in_style(BAD, "error:"))
}

/// Prints something worth knowing to standard error, once: input may be gone
/// through twice.
pub fn remark(host: &dyn Host, message: &str) {
    if !host.is_new(message) {
        return;
    }
    let lines = match host.columns() {
        Some(_) => wrap(message, width(host).saturating_sub(6)).join("\n      "),
        None => message.to_owned(),
    };
    host.say(&format!("{} {lines}", in_style(STRONG, "note:")));
}

/// Columns a text takes on the screen, styles left out.
pub fn columns(text: &str) -> usize {
    textwrap::core::display_width(text)
}

/// Breaks a text into lines of at most `width` columns, at spaces; a word that
/// is longer is broken too.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    filled(&words.join(" "), width, 0)
}

/// Breaks a line that is too wide; what follows hangs deeper than its start.
pub fn flow(line: &str, width: usize) -> Vec<String> {
    let line = line.trim_end();
    let indent = line.len() - line.trim_start_matches(' ').len();
    filled(line, width, indent + 2)
}

/// Lines of at most `width` columns; those after the first are indented.
fn filled(text: &str, width: usize, hang: usize) -> Vec<String> {
    let indent = " ".repeat(hang);
    let options = textwrap::Options::new(width)
        .subsequent_indent(&indent)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit);
    textwrap::wrap(text, options).into_iter().map(Cow::into_owned).collect()
}

/// What becomes of the lines that are printed.
#[derive(Clone, Copy)]
enum Lines {
    /// Nothing: programs read them.
    AsTheyCome,
    /// No blanks at their end. In a pipe a line stays whole, so that what is
    /// sought in it is found.
    Whole,
    /// The same, and none wider than the terminal.
    Broken,
}

/// Standard output.
pub struct Page {
    out: Box<dyn Write>,
    /// Columns there are.
    pub width: usize,
    lines: Lines,
    line: Vec<u8>,
}

impl Page {
    /// A page for people.
    pub fn new(host: &dyn Host) -> Page {
        Page::of(host, true)
    }

    /// A page for people, or for programs, which get all as it comes.
    pub fn of(host: &dyn Host, for_people: bool) -> Page {
        let lines = match host.columns() {
            _ if !for_people => Lines::AsTheyCome,
            Some(_) => Lines::Broken,
            None => Lines::Whole,
        };
        Page { out: host.styled(), width: width(host), lines, line: Vec::new() }
    }

    /// Says a text behind a faint heading, wrapped to the width and indented.
    pub fn say(&mut self, heading: &str, text: &str) -> io::Result<()> {
        let indent = columns(heading);
        let lines = wrap(&plain(text), self.width.saturating_sub(indent).max(24));
        for (i, line) in lines.iter().enumerate() {
            match i {
                0 => writeln!(self, "{}{line}", in_style(FAINT, heading))?,
                _ => writeln!(self, "{:indent$}{line}", "")?,
            }
        }
        Ok(())
    }
}

impl Write for Page {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if let Lines::AsTheyCome = self.lines {
            return self.out.write(bytes);
        }
        for part in bytes.split_inclusive(|&b| b == b'\n') {
            self.line.extend_from_slice(part);
            if self.line.ends_with(b"\n") {
                let line = String::from_utf8_lossy(&self.line).into_owned();
                self.line.clear();
                match self.lines {
                    Lines::Broken => flow(&line, self.width)
                        .iter()
                        .try_for_each(|line| writeln!(self.out, "{line}"))?,
                    _ => writeln!(self.out, "{}", line.trim_end())?,
                }
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.write_all(&std::mem::take(&mut self.line))?;
        self.out.flush()
    }
}
