//! Prints that are not the number of their bits, in words.

use std::collections::HashSet;

use holdover::layout::{Layout, Table};
use holdover::plan::{PrintTrouble, RosterRow};

use crate::formats::{first, listed};
use crate::mask::Shown;
use crate::plain::plain;

/// Rows told one by one; the rest is counted. Judgement, no source: more than
/// that is looked for in the file.
const TOLD: usize = 10;

/// What is to be said of prints.
pub struct Prints<'r> {
    pub table: &'r Table,
    pub rows: &'r [RosterRow],
    /// Lines that name numbers instead of bits.
    pub numbered: &'r HashSet<usize>,
    pub shown: &'r Shown,
}

impl Prints<'_> {
    pub fn said(&self, troubles: &[PrintTrouble]) -> Vec<String> {
        let mut out = Vec::new();
        let mut more: Vec<usize> = Vec::new();
        let mut told = 0;
        for trouble in troubles {
            match trouble {
                PrintTrouble::Layout { layout, differ, printed } => {
                    let id = self.table.layouts().get(*layout).map_or("", Layout::id);
                    out.push(format!(
                        "the prints of {id} are not its card numbers ({differ} of {printed} rows)"
                    ));
                }
                _ if told == TOLD => more.extend(trouble.rows().iter().map(|row| self.line(*row))),
                PrintTrouble::Differs { row, says, of } => {
                    told += 1;
                    out.push(self.differs(*row, says, *of));
                }
                PrintTrouble::Crossed { rows, says } => {
                    told += 1;
                    out.push(self.crossed(*rows, says));
                }
                PrintTrouble::Shared { rows, says, .. } => {
                    told += 1;
                    out.push(self.shared(rows, says));
                }
                _ => {}
            }
        }
        if !more.is_empty() {
            more.sort_unstable();
            more.dedup();
            out.push(format!("{}: print and bits disagree, too", first(&more)));
        }
        out
    }

    fn line(&self, row: usize) -> usize {
        self.rows.get(row).map_or(0, |row| row.line)
    }

    fn print(&self, row: usize) -> String {
        let printed = self.rows.get(row).and_then(|row| row.printed.as_deref());
        self.shown.print(&plain(printed.unwrap_or_default().trim())).to_owned()
    }

    /// Whose number it is: the bits', or the row's where it has none.
    fn whose(&self, row: usize) -> (&'static str, &'static str) {
        match self.numbered.contains(&self.line(row)) {
            true => ("the row's number is", "correct one of them"),
            false => ("the bits say", "read the card again, or correct the print"),
        }
    }

    fn differs(&self, row: usize, says: &str, of: Option<usize>) -> String {
        let (line, print, says) = (self.line(row), self.print(row), self.shown.print(says));
        let (whose, mend) = self.whose(row);
        match of {
            None => format!("line {line}: the print says {print}, {whose} {says}: {mend}"),
            Some(other) => format!(
                "line {line}: the print says {print}, {whose} {says}; {print} is line {}'s number: \
                 {mend}",
                self.line(other)
            ),
        }
    }

    fn crossed(&self, [a, b]: [usize; 2], says: &[String; 2]) -> String {
        let both = [a, b].iter().all(|row| self.numbered.contains(&self.line(*row)));
        let whose = if both { "the rows' numbers are" } else { "the bits say" };
        format!(
            "lines {} and {}: their prints are crossed: the prints say {} and {}, {whose} {} and \
             {}: read both cards again, or change the prints over",
            self.line(a),
            self.line(b),
            self.print(a),
            self.print(b),
            self.shown.print(&says[0]),
            self.shown.print(&says[1]),
        )
    }

    fn shared(&self, rows: &[usize], says: &[String]) -> String {
        let lines: Vec<usize> = rows.iter().map(|row| self.line(*row)).collect();
        let mut holders: Vec<String> = Vec::new();
        for row in rows.iter().take(TOLD).filter_map(|row| self.rows.get(*row)) {
            let holder = row.holder.as_deref().map(|holder| plain(holder.trim()).to_string());
            let new = |holder: &String| !holder.is_empty() && !holders.contains(holder);
            holders.extend(holder.filter(new));
        }
        let of = match holders.is_empty() {
            true => String::new(),
            false => format!(" ({})", holders.join(", ")),
        };
        let says: Vec<String> =
            says.iter().take(TOLD).map(|says| self.shown.print(says).to_owned()).collect();
        let print = rows.first().map_or_else(String::new, |row| self.print(*row));
        let numbered = rows.iter().all(|row| self.numbered.contains(&self.line(*row)));
        let whose = if numbered { "the rows' numbers are" } else { "the bits say" };
        format!(
            "{}: one print, {print}, on different cards{of}; {whose} {}: read these cards again, and \
             correct the prints",
            first(&lines),
            listed(&says)
        )
    }
}
