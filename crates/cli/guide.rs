//! `holdover guide`: the pages of `crates/cli/guide/`, fitted to the terminal.

use std::io::Write;

use holdover_args as args;
use holdover_desk::host::Host;
use holdover_desk::terminal::{self, STRONG, in_style, wrap};
use holdover_desk::{Fail, Grid, Outcome};

/// The text of a page, by the name that [`args::GUIDE_PAGES`] lists.
macro_rules! texts {
    ($($name:literal)*) => {
        fn text(page: &str) -> Option<&'static str> {
            Some(match page {
                $($name => include_str!(concat!("guide/", $name, ".md")),)*
                _ => return None,
            })
        }
    };
}

texts! {
    "index" "which-card" "building" "undocumented" "takeover" "no-network" "regression"
    "read" "signal" "learn" "plan" "prove" "table" "compose"
    "captures" "tables" "site-files" "rosters" "json" "exit-codes" "limits" "masks" "paper"
    "terminal" "security" "glossary"
    "bindings" "rust" "c" "python" "pocket" "databases"
}

pub fn run(host: &dyn Host, args: &args::Guide) -> Result<Outcome, Fail> {
    let page = text(&args.page)
        .ok_or_else(|| Fail::said(format!("the guide has no page {:?}", args.page)))?;
    // In a pipe it is the file as it is.
    if host.columns().is_none() {
        host.out().write_all(page.as_bytes())?;
        return Ok(Outcome::Done);
    }
    let mut out = terminal::Page::new(host);
    for line in fitted(page, out.width) {
        writeln!(out, "{line}")?;
    }
    out.flush()?;
    Ok(Outcome::Done)
}

/// Markdown for a terminal: paragraphs, lists and tables fitted anew, a link by
/// its text alone. Blocks of commands keep their lines.
fn fitted(page: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut rest = page.lines().peekable();
    while let Some(line) = rest.next() {
        if line.starts_with("```") {
            let block = rest.by_ref().take_while(|line| !line.starts_with("```"));
            lines.extend(block.map(str::to_owned));
        } else if let Some(heading) = line.strip_prefix('#') {
            lines.push(in_style(STRONG, heading.trim_start_matches('#').trim_start()));
        } else if line.starts_with('|') {
            let mut table = Grid::new(cells(line));
            // The second line parts the heading from the rows.
            while let Some(row) = rest.next_if(|line| line.starts_with('|')) {
                if !row.starts_with("| ---") {
                    table.row(cells(row));
                }
            }
            lines.extend(table.lines(width));
        } else if line.is_empty() {
            lines.push(String::new());
        } else {
            let mut text = line.to_owned();
            while let Some(line) = rest.next_if(|line| goes_on(line)) {
                text = text + " " + line.trim_start();
            }
            wrapped(&text, width, &mut lines);
        }
    }
    lines
}

/// Whether a line belongs to the paragraph or the item before it.
fn goes_on(line: &str) -> bool {
    let begins = line.starts_with(['#', '|']) || line.starts_with("```") || mark(line).is_some();
    !begins && !line.is_empty()
}

/// The length of what marks an item of a list: `- ` or `1. `.
fn mark(line: &str) -> Option<usize> {
    let (mark, _) = line.split_once(' ')?;
    let marks = mark == "-" || mark.strip_suffix('.').is_some_and(number);
    marks.then_some(mark.len() + 1)
}

/// The cells of a table's row.
fn cells(row: &str) -> impl Iterator<Item = String> {
    row.trim_matches('|').split(" | ").map(|cell| unlinked(cell.trim()))
}

fn number(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// A paragraph, or an item of a list, whose lines hang behind its mark.
fn wrapped(text: &str, width: usize, lines: &mut Vec<String>) {
    let (mark, text) = text.split_at(mark(text).unwrap_or(0));
    for (i, line) in wrap(&unlinked(text), width - mark.len()).iter().enumerate() {
        match i {
            0 => lines.push(format!("{mark}{line}")),
            _ => lines.push(format!("{:1$}{line}", "", mark.len())),
        }
    }
}

/// A line whose links, `[text](place)`, are their text.
fn unlinked(line: &str) -> String {
    let mut rest = line;
    let mut out = String::new();
    while let Some((before, after)) = rest.split_once("](") {
        let Some(((lead, text), (_, then))) = before.rsplit_once('[').zip(after.split_once(')'))
        else {
            break;
        };
        out += lead;
        out += text;
        rest = then;
    }
    out + rest
}
