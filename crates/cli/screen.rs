//! The terminal: colour, width, error messages.

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use clap::ValueEnum;

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Applies the choice to everything printed through `anstream`.
pub fn set_colour(colour: Colour) {
    let choice = match colour {
        Colour::Auto => anstream::ColorChoice::Auto,
        Colour::Always => anstream::ColorChoice::AlwaysAnsi,
        Colour::Never => anstream::ColorChoice::Never,
    };
    choice.write_global();
}

/// Whether standard error shows colour.
pub fn errors_in_colour() -> bool {
    anstream::AutoStream::choice(&io::stderr()) != anstream::ColorChoice::Never
}

/// Columns of the terminal, or of a page where there is none; the variable
/// COLUMNS comes before both (POSIX.1-2024, XBD 8.3).
pub fn width() -> usize {
    let wanted = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let terminal = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    // 80 columns where nothing says otherwise (common practice, no source).
    wanted.or_else(terminal).unwrap_or(80).clamp(40, 200)
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
pub fn complain(message: &str) {
    let error = in_style(BAD, "error:");
    to_stderr(&format!("{error} {message}"));
}

/// Prints something worth knowing to standard error.
pub fn remark(message: &str) {
    let lines = wrap(message, width().saturating_sub(6)).join("\n      ");
    to_stderr(&format!("{} {lines}", in_style(STRONG, "note:")));
}

fn to_stderr(text: &str) {
    // Where even standard error is gone there is nobody to tell.
    crate::progress::aside(|| _ = writeln!(anstream::stderr().lock(), "{text}"));
}

/// Breaks a text into lines of at most `width` columns, at spaces.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is always a line");
        let long = line.chars().count() + 1 + word.chars().count() > width;
        if line.is_empty() {
            line.push_str(word);
        } else if long {
            lines.push(word.to_owned());
        } else {
            line.push(' ');
            line.push_str(word);
        }
    }
    lines
}

/// Says a text behind a faint heading, wrapped to the width and indented.
pub fn say(out: &mut impl Write, heading: &str, text: &str) -> io::Result<()> {
    let indent = heading.chars().count();
    let lines = wrap(&plain(text), width().saturating_sub(indent).max(24));
    for (i, line) in lines.iter().enumerate() {
        match i {
            0 => writeln!(out, "{}{line}", in_style(FAINT, heading))?,
            _ => writeln!(out, "{:indent$}{line}", "")?,
        }
    }
    Ok(())
}

/// A text from a file made safe to print: control characters as `\u{…}`.
pub fn plain(text: &str) -> String {
    let hidden =
        |c: char| c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars()
        .flat_map(|c| match hidden(c) {
            true => c.escape_unicode().collect::<Vec<_>>(),
            false => vec![c],
        })
        .collect()
}
