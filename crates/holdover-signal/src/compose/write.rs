//! The forms of a probe file, written as the edges come.

use std::io::{self, BufWriter, Write};

use super::plan::{Edge, Player};
use super::{Compose, Fault, Form, Track};
use crate::options::Idle;

pub(crate) fn write(
    compose: &Compose,
    tracks: &[Track<'_>],
    mut players: Vec<Player<'_>>,
    tick_us: f64,
    out: &mut impl Write,
) -> io::Result<Vec<Fault>> {
    let mut out = BufWriter::with_capacity(1 << 16, out);
    let lines = 2 * tracks.len();
    let idle = compose.idle == Idle::High;
    let mut form: Box<dyn Writer> = match compose.form {
        Form::ValueChanges => Box::new(Dump { last: None }),
        Form::CsvChanges => {
            Box::new(Rows { levels: vec![idle; lines], tick: None, compose, tick_us })
        }
        Form::CsvSamples => Box::new(Samples {
            levels: vec![idle; lines],
            next: 0,
            compose,
            row: Vec::new(),
            tick_us,
        }),
    };
    form.begin(compose, tracks, idle, &mut out)?;
    loop {
        // The earliest edge of all readers; ends before beginnings.
        let next = players
            .iter_mut()
            .enumerate()
            .filter_map(|(i, p)| p.peek().map(|e| (e.tick, e.active, i, e)))
            .min_by_key(|(tick, active, i, _)| (*tick, *active, *i));
        let Some((_, _, i, edge)) = next else { break };
        players[i].pop();
        let line = 2 * i + usize::from(edge.line);
        form.edge(edge, line, edge.active != idle, &mut out)?;
    }
    let end = players.iter().map(Player::end).max().unwrap_or(0);
    form.end(end, &mut out)?;
    out.flush()?;
    Ok(players.into_iter().flat_map(|p| p.faults).collect())
}

/// One form, written edge by edge.
trait Writer {
    fn begin(
        &mut self,
        compose: &Compose,
        tracks: &[Track<'_>],
        idle: bool,
        out: &mut dyn Write,
    ) -> io::Result<()>;
    /// A line goes to a level.
    fn edge(&mut self, edge: Edge, line: usize, high: bool, out: &mut dyn Write) -> io::Result<()>;
    fn end(&mut self, end: u64, out: &mut dyn Write) -> io::Result<()>;
}

struct Dump {
    last: Option<u64>,
}

/// The identifier of a line: printable characters from `!` on (IEEE 1364-2005
/// clause 18.2.1).
fn identifier(line: usize) -> String {
    let mut rest = line;
    let mut id = String::new();
    loop {
        id.push(char::from(b'!' + (rest % 94) as u8));
        rest /= 94;
        if rest == 0 {
            return id;
        }
        rest -= 1;
    }
}

/// A name as one word: blanks would end it.
fn one_word(name: &str) -> String {
    let word: String = name.chars().map(|c| if c.is_whitespace() { '_' } else { c }).collect();
    if word.is_empty() { "_".to_owned() } else { word }
}

impl Writer for Dump {
    fn begin(
        &mut self,
        compose: &Compose,
        tracks: &[Track<'_>],
        idle: bool,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let (multiple, unit) = compose.timescale;
        writeln!(out, "$timescale {multiple} {} $end", unit.name())?;
        for (i, track) in tracks.iter().enumerate() {
            if !track.reader.is_empty() {
                writeln!(out, "$scope module {} $end", one_word(&track.reader))?;
            }
            for (j, name) in [&track.d0, &track.d1].into_iter().enumerate() {
                let id = identifier(2 * i + j);
                writeln!(out, "$var wire 1 {id} {} $end", one_word(name))?;
            }
            if !track.reader.is_empty() {
                writeln!(out, "$upscope $end")?;
            }
        }
        writeln!(out, "$enddefinitions $end\n#0\n$dumpvars")?;
        for line in 0..2 * tracks.len() {
            writeln!(out, "{}{}", u8::from(idle), identifier(line))?;
        }
        writeln!(out, "$end")
    }

    fn edge(&mut self, edge: Edge, line: usize, high: bool, out: &mut dyn Write) -> io::Result<()> {
        if self.last != Some(edge.tick) {
            self.last = Some(edge.tick);
            writeln!(out, "#{}", edge.tick)?;
        }
        writeln!(out, "{}{}", u8::from(high), identifier(line))
    }

    fn end(&mut self, end: u64, out: &mut dyn Write) -> io::Result<()> {
        writeln!(out, "#{}", end.max(self.last.unwrap_or(0)))
    }
}

/// The headings of a table.
fn heading(compose: &Compose, tracks: &[Track<'_>], timed: bool) -> String {
    let mut cells = Vec::new();
    if timed {
        cells.push(format!("Time [{}]", compose.time_unit.name()));
    }
    for track in tracks {
        for name in [&track.d0, &track.d1] {
            let name = if track.reader.is_empty() {
                name.clone()
            } else {
                format!("{}.{name}", track.reader)
            };
            // A cell that holds a separator or a quote is quoted; quotes in it
            // are left out.
            let name = name.replace(['"', '\n', '\r'], "");
            cells.push(if name.contains(',') { format!("\"{name}\"") } else { name });
        }
    }
    cells.join(",")
}

fn cells(levels: &[bool]) -> String {
    levels.iter().map(|l| if *l { ",1" } else { ",0" }).collect()
}

/// A tick's time in a table's unit, to the picosecond.
fn time(compose: &Compose, tick: u64, tick_us: f64) -> String {
    let unit = compose.time_unit.exponent() + 6;
    let value = tick as f64 * tick_us * 10f64.powi(-unit);
    let decimals = (6 + unit).clamp(0, 12) as usize;
    format!("{value:.decimals$}")
}

struct Rows<'a> {
    levels: Vec<bool>,
    tick: Option<u64>,
    compose: &'a Compose,
    tick_us: f64,
}

impl Rows<'_> {
    fn row(&self, out: &mut dyn Write) -> io::Result<()> {
        let Some(tick) = self.tick else { return Ok(()) };
        writeln!(out, "{}{}", time(self.compose, tick, self.tick_us), cells(&self.levels))
    }
}

impl Writer for Rows<'_> {
    fn begin(
        &mut self,
        compose: &Compose,
        tracks: &[Track<'_>],
        _: bool,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        self.tick = Some(0);
        writeln!(out, "{}", heading(compose, tracks, true))
    }

    fn edge(&mut self, edge: Edge, line: usize, high: bool, out: &mut dyn Write) -> io::Result<()> {
        if self.tick != Some(edge.tick) {
            self.row(out)?;
            self.tick = Some(edge.tick);
        }
        self.levels[line] = high;
        Ok(())
    }

    fn end(&mut self, end: u64, out: &mut dyn Write) -> io::Result<()> {
        self.row(out)?;
        self.tick = Some(end.max(self.tick.unwrap_or(0)));
        self.row(out)
    }
}

struct Samples<'a> {
    levels: Vec<bool>,
    next: u64,
    compose: &'a Compose,
    row: Vec<u8>,
    tick_us: f64,
}

/// Rows written at a time where they are alike.
const ALIKE: usize = 1024;

impl Samples<'_> {
    fn until(&mut self, tick: u64, out: &mut dyn Write) -> io::Result<()> {
        let levels = cells(&self.levels);
        if self.compose.time_column {
            for at in self.next..tick {
                writeln!(out, "{}{levels}", time(self.compose, at, self.tick_us))?;
            }
        } else {
            let row = format!("{}\n", levels.get(1..).unwrap_or_default());
            let mut left = tick.saturating_sub(self.next) as usize;
            self.row.clear();
            self.row.extend(row.bytes().cycle().take(row.len() * left.min(ALIKE)));
            while left > 0 {
                let now = left.min(ALIKE);
                out.write_all(&self.row[..now * row.len()])?;
                left -= now;
            }
        }
        self.next = self.next.max(tick);
        Ok(())
    }
}

impl Writer for Samples<'_> {
    fn begin(
        &mut self,
        compose: &Compose,
        tracks: &[Track<'_>],
        _: bool,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        writeln!(out, "{}", heading(compose, tracks, compose.time_column))
    }

    fn edge(&mut self, edge: Edge, line: usize, high: bool, out: &mut dyn Write) -> io::Result<()> {
        self.until(edge.tick, out)?;
        self.levels[line] = high;
        Ok(())
    }

    fn end(&mut self, end: u64, out: &mut dyn Write) -> io::Result<()> {
        self.until(end.max(self.next), out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identifiers_are_distinct() {
        let all: std::collections::HashSet<String> = (0..20_000).map(identifier).collect();
        assert_eq!(all.len(), 20_000);
        assert_eq!(identifier(0), "!");
        assert_eq!(identifier(94), "!!");
    }
}
