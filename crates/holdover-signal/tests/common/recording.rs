//! Recordings as a probe gives them: what [`compose`](holdover_signal::compose)
//! plays, cut at an instant, sampled slowly, or resting at no known level.

use holdover::bits::Capture;
use holdover_signal::TimeUnit;
use holdover_signal::compose::{Compose, Form};

use super::write;

/// How a line at rest is written in a dump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rest {
    Driven,
    /// `z`
    Released,
    /// `x`
    Unknown,
}

/// Levels of D0 and D1 from a time on.
pub type State = (i64, [bool; 2]);

/// Two lines over a stretch of time, in ns.
#[derive(Debug, Clone)]
pub struct Recording {
    /// The first is when it begins.
    pub states: Vec<State>,
    pub end: i64,
}

impl Recording {
    /// What `compose` plays for one reader.
    pub fn of(compose: &Compose, captures: &[Capture]) -> Recording {
        let mut compose = compose.clone();
        compose.form = Form::CsvChanges;
        compose.time_unit = TimeUnit::Nanos;
        let (file, _) = write(&compose, captures);
        let text = String::from_utf8(file).unwrap();
        let mut states: Vec<State> = text
            .lines()
            .skip(1)
            .map(|row| {
                let cells: Vec<&str> = row.split(',').collect();
                let at = cells[0].parse::<f64>().unwrap().round() as i64;
                (at, [cells[1] == "1", cells[2] == "1"])
            })
            .collect();
        let end = states.pop().unwrap().0;
        Recording { states, end }
    }

    /// When each pulse falls; lines rest high.
    pub fn falls(&self) -> Vec<i64> {
        let fell = |w: &[State]| (0..2).any(|line| w[0].1[line] && !w[1].1[line]);
        self.states.windows(2).filter(|w| fell(w)).map(|w| w[1].0).collect()
    }

    /// The levels at a time.
    fn at(&self, time: i64) -> [bool; 2] {
        let next = self.states.partition_point(|(at, _)| *at <= time);
        self.states[next.saturating_sub(1)].1
    }

    /// What is left of it where the probe runs from one time to another.
    pub fn between(&self, from: i64, to: i64) -> Recording {
        let inside = self.states.iter().filter(|(at, _)| *at > from && *at <= to).copied();
        Recording {
            states: std::iter::once((from, self.at(from))).chain(inside).collect(),
            end: to,
        }
    }

    /// Another one, its first pulse an interval like the last after the last
    /// pulse of this one.
    pub fn then(mut self, next: &Recording) -> Recording {
        let falls = self.falls();
        let spacing = falls[falls.len() - 1] - falls[falls.len() - 2];
        let shift = falls[falls.len() - 1] + spacing - next.falls()[0];
        let later = next.states[1..].iter().map(|(at, levels)| (at + shift, *levels));
        self.states.extend(later);
        self.end = next.end + shift;
        self
    }

    /// What a probe sees that looks every `period` ns, first at `phase`.
    pub fn sampled(&self, period: i64, phase: i64) -> Recording {
        let mut states: Vec<State> = Vec::new();
        let mut next = 0;
        let mut at = self.states[0].0 + phase;
        while at <= self.end {
            while self.states.get(next + 1).is_some_and(|(time, _)| *time <= at) {
                next += 1;
            }
            let levels = self.states[next].1;
            if states.last().is_none_or(|(_, before)| *before != levels) {
                states.push((at, levels));
            }
            at += period;
        }
        Recording { states, end: at - period }
    }

    /// As a dump of 1 ns.
    pub fn dump(&self, rest: Rest) -> String {
        let mut text = String::from(
            "$timescale 1 ns $end\n$var wire 1 ! D0 $end\n$var wire 1 \" D1 $end\n\
             $enddefinitions $end\n",
        );
        let mut before = [None; 2];
        for (at, levels) in &self.states {
            text += &format!("#{at}\n");
            for (line, id) in ["!", "\""].into_iter().enumerate() {
                if before[line].replace(levels[line]) != Some(levels[line]) {
                    let level = match (levels[line], rest) {
                        (false, _) => '0',
                        (true, Rest::Driven) => '1',
                        (true, Rest::Released) => 'z',
                        (true, Rest::Unknown) => 'x',
                    };
                    text += &format!("{level}{id}\n");
                }
            }
        }
        text + &format!("#{}\n", self.end)
    }

    /// As a table with a row a change.
    pub fn table(&self) -> String {
        let row = |at: i64, levels: [bool; 2]| {
            format!("{at},{},{}\n", u8::from(levels[0]), u8::from(levels[1]))
        };
        let rows: String = self.states.iter().map(|(at, levels)| row(*at, *levels)).collect();
        let last = self.states.last().map_or([true; 2], |(_, levels)| *levels);
        format!("time_ns,D0,D1\n{rows}{}", row(self.end, last))
    }

    /// As a table with a row a sample.
    pub fn samples(&self, period: i64) -> String {
        let mut text = String::from("time_ns,D0,D1\n");
        let mut at = self.states[0].0;
        while at <= self.end {
            let [zero, one] = self.at(at).map(u8::from);
            text += &format!("{at},{zero},{one}\n");
            at += period;
        }
        text
    }
}
