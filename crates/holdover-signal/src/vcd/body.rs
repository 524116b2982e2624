//! The value changes of a dump, scanned byte by byte, block by block.
//!
//! IEEE 1364-2005 clause 18.2.1 (values, left extension) and 18.2.2 (times
//! and sections). Only what follows a declared line is looked at twice.

use std::ops::Range;

use super::ids::{Found, IdTable, WORD};
use super::text::{
    BLOCK, NEVER, Usual, blanks, digits, has_control, long_word_end, word_end, word_start,
};
use crate::change::{Changes, Level};
use crate::error::{Fault, FaultWhat};
use crate::time::{LATEST, Scale};

/// What a command's first character says.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Class {
    Scalar,
    Vector,
    /// Real or string: its value is no level. Those from here on are no values.
    Other,
    Blank,
    Time,
    Keyword,
    Wrong,
}

const CLASSES: [Class; 256] = {
    let mut classes = [Class::Wrong; 256];
    let blanks = b" \t\n\r\x0b\x0c";
    let mut i = 0;
    while i < blanks.len() {
        classes[blanks[i] as usize] = Class::Blank;
        i += 1;
    }
    // Nine-valued writers (IEEE 1164) occur in practice beside 0, 1, x and z.
    let scalars = b"01xXzZuUwWlLhH-";
    i = 0;
    while i < scalars.len() {
        classes[scalars[i] as usize] = Class::Scalar;
        i += 1;
    }
    classes[b'#' as usize] = Class::Time;
    classes[b'b' as usize] = Class::Vector;
    classes[b'B' as usize] = Class::Vector;
    classes[b'r' as usize] = Class::Other;
    classes[b'R' as usize] = Class::Other;
    classes[b's' as usize] = Class::Other;
    classes[b'S' as usize] = Class::Other;
    classes[b'$' as usize] = Class::Keyword;
    classes
};

const EXPECTED: &str = "a value change, a time (#…) or a section ($…)";

/// The present time, in ticks and in ns.
#[derive(Debug)]
struct Clock {
    scale: Scale,
    /// As [`Scale::factor`] has them.
    factor: (u64, u64),
    ticks: u64,
    now: i64,
    /// Whether `now` is `ticks` in ns.
    converted: bool,
}

impl Clock {
    /// Sets the time; a product is done at once, a quotient when it is needed.
    #[inline]
    fn set(&mut self, ticks: u64) {
        self.ticks = ticks;
        let (factor, most) = self.factor;
        self.now = ticks.wrapping_mul(factor) as i64;
        self.converted = ticks <= most;
    }

    /// The present time in ns; `at` is where the scanner stands.
    #[inline]
    fn now(&mut self, at: usize) -> Result<i64, Fault> {
        if !self.converted {
            self.now =
                self.scale.nanos(self.ticks).ok_or(Fault { at, what: FaultWhat::TimeTooLarge })?;
            self.converted = true;
        }
        Ok(self.now)
    }
}

/// Scans value changes; holds what must be known between blocks.
#[derive(Debug)]
pub(crate) struct Body {
    clock: Clock,
    usual: Usual,
    ids: IdTable,
    /// A time has been seen.
    timed: bool,
    /// Anything has been seen.
    pub(crate) any: bool,
    /// Inside a `$comment`, or a keyword this scanner passes over.
    skipping: bool,
    /// Inside `$dumpvars` or the like.
    section: bool,
}

impl Body {
    pub(crate) fn new(scale: Scale, ids: IdTable) -> Body {
        Body {
            clock: Clock { scale, factor: scale.factor(), ticks: 0, now: 0, converted: true },
            // No time has been seen, so none is usual.
            usual: Usual::of(NEVER),
            ids,
            timed: false,
            any: false,
            skipping: false,
            section: false,
        }
    }

    /// The last time seen, in ns.
    pub(crate) fn now(&self) -> i64 {
        let clock = &self.clock;
        if clock.converted { clock.now } else { clock.scale.nanos(clock.ticks).unwrap_or(LATEST) }
    }

    /// Scans whole commands from the front of `buffer`, which must end in white
    /// space; returns how many bytes are done with. What is left is the start of
    /// a command that needs more.
    pub(crate) fn scan(&mut self, buffer: &[u8], out: &mut impl Changes) -> Result<usize, Fault> {
        let mut at = 0;
        if self.skipping {
            at = self.skip(buffer, 0);
        }
        while at < buffer.len() {
            at = self.quick(buffer, at, out);
            let next = self.block(buffer, at, out)?;
            if next > at {
                at = next;
                continue;
            }
            match self.command(buffer, at, out)? {
                Some(next) => at = next,
                None => return Ok(at),
            }
        }
        Ok(at.min(buffer.len()))
    }

    /// The usual case, and nothing else: a time of the usual length, then one
    /// line of one character that goes to 0 or 1; and again.
    #[inline]
    fn quick(&mut self, buffer: &[u8], from: usize, out: &mut impl Changes) -> usize {
        let mut at = from;
        let mut usual = self.usual;
        let (factor, most) = self.clock.factor;
        let mut last = self.clock.ticks;
        while buffer.get(at) == Some(&b'#')
            && let Some((ticks, [value, id])) = usual.read_with_change(buffer, at + 1)
            && ticks >= last
            && ticks <= most
        {
            match self.ids.one(id) {
                Found::Line(line) => {
                    let level = if value == b'1' { Level::High } else { Level::Low };
                    out.change(ticks.wrapping_mul(factor) as i64, line, level);
                }
                Found::Nothing if id > b' ' => {}
                _ => break,
            }
            last = ticks;
            at += usual.step();
        }
        if at > from {
            self.usual = usual;
            self.clock.set(last);
            self.any = true;
        }
        at
    }

    /// Commands in the next 64 bytes, as far as they are whole: the blanks are
    /// found all at once, and what is not followed is passed over with hardly a
    /// branch. Stops before anything out of the ordinary.
    #[inline]
    fn block(&mut self, buffer: &[u8], at: usize, out: &mut impl Changes) -> Result<usize, Fault> {
        let Some(chunk) = buffer.get(at..).and_then(<[u8]>::first_chunk::<BLOCK>) else {
            return Ok(at);
        };
        if has_control(chunk) {
            return Ok(at);
        }
        let mut blanks = blanks(chunk);
        let mut command = 0;
        let mut start = 0;
        // The word before was a vector's value, so this is its identifier.
        let mut vector = false;
        while blanks != 0 {
            let end = blanks.trailing_zeros() as usize;
            blanks &= blanks - 1;
            let first = chunk[start % BLOCK];
            let class = CLASSES[usize::from(first)];
            if !vector && class as u8 > Class::Other as u8 || end == start {
                match class {
                    Class::Time if !vector => self.time(buffer, at + start, out)?,
                    Class::Blank if !vector => 0,
                    // A keyword, or a mistake.
                    _ => break,
                };
                start = end + 1;
                command = start;
                continue;
            }
            let value = !vector && class != Class::Scalar;
            let id = start + usize::from(!vector);
            let len = end - id;
            if len == 0 {
                break;
            }
            let may = self.ids.may_be(chunk[id % BLOCK], chunk[(end - 1) % BLOCK]);
            if may && !value {
                // Eight bytes up to the identifier's end, those before it
                // shifted out.
                let Some(eight) = buffer[..at + end].last_chunk::<WORD>() else { break };
                if len > WORD {
                    break;
                }
                match self.ids.word(u64::from_le_bytes(*eight) >> (8 * (WORD - len))) {
                    Found::Nothing => {}
                    Found::Line(line) if !vector => {
                        out.change(self.clock.now(at + start)?, line, level(first));
                    }
                    _ => break,
                }
            }
            start = end + 1;
            command = if value { command } else { start };
            vector = value;
        }
        self.any |= command > 0;
        Ok(at + command)
    }

    /// One command, of any kind; `None` where its end has not come.
    fn command(
        &mut self,
        buffer: &[u8],
        at: usize,
        out: &mut impl Changes,
    ) -> Result<Option<usize>, Fault> {
        let Some(&first) = buffer.get(at) else { return Ok(Some(at)) };
        match CLASSES[usize::from(first)] {
            Class::Blank => Ok(Some(at + 1)),
            Class::Scalar => {
                let end = word_end(buffer, at + 1);
                if end == at + 1 {
                    return Err(no_identifier(buffer, at));
                }
                self.value(buffer, at, at..at + 1, at + 1..end, out)?;
                Ok(Some(end))
            }
            Class::Time => self.time(buffer, at, out).map(Some),
            Class::Vector | Class::Other => {
                let value_end = long_word_end(buffer, at + 1);
                let Some(start) = word_start(buffer, value_end) else { return Ok(None) };
                let end = word_end(buffer, start);
                if first | 0x20 == b'b' {
                    self.value(buffer, at, at + 1..value_end, start..end, out)?;
                }
                self.any = true;
                Ok(Some(end))
            }
            Class::Keyword => self.keyword(buffer, at, out).map(Some),
            Class::Wrong => {
                let end = word_end(buffer, at);
                Err(Fault::syntax(at, EXPECTED, &buffer[at..end.max(at + 1)]))
            }
        }
    }

    /// A value for an identifier.
    fn value(
        &mut self,
        buffer: &[u8],
        at: usize,
        value: Range<usize>,
        id: Range<usize>,
        out: &mut impl Changes,
    ) -> Result<(), Fault> {
        let value = &buffer[value];
        self.any = true;
        let found = self.ids.find(&buffer[id]);
        if !matches!(found, Found::Nothing)
            && (value.is_empty() || !value.iter().all(|&b| is_value(b)))
        {
            return Err(Fault::syntax(at, "a vector of 0, 1, x and z", value));
        }
        match found {
            Found::Nothing => {}
            Found::Line(line) => out.change(self.clock.now(at)?, line, bit(value, 0)),
            Found::Group(group) => {
                let now = self.clock.now(at)?;
                for target in group.targets() {
                    out.change(now, target.line, bit(value, target.bit));
                }
            }
        }
        Ok(())
    }

    /// Whether the dump may end here; `left` are the bytes of a command begun.
    pub(crate) fn finish(&self, left: &[u8]) -> Result<(), Fault> {
        let truncated =
            |expected| Fault { at: left.len(), what: FaultWhat::Truncated { expected } };
        if left.iter().any(|b| !b.is_ascii_whitespace()) {
            return Err(truncated("the identifier of a vector's value"));
        }
        if self.skipping || self.section {
            return Err(truncated("$end"));
        }
        if !self.any {
            return Err(truncated("value changes after the declarations"));
        }
        Ok(())
    }

    fn time(&mut self, buffer: &[u8], at: usize, out: &mut impl Changes) -> Result<usize, Fault> {
        let (ticks, end) = match self.usual.read(buffer, at + 1) {
            Some(quick) => quick,
            None => {
                let (ticks, end) = digits(buffer, at + 1);
                // As everywhere here: no byte below a blank is part of a word.
                let blank = buffer.get(end).is_none_or(|b| *b <= b' ');
                if end == at + 1 || !blank {
                    let word = &buffer[at..word_end(buffer, at)];
                    return Err(Fault::syntax(at, "a time in whole ticks", word));
                }
                let too_large = Fault { at, what: FaultWhat::TimeTooLarge };
                let Some(ticks) = ticks else { return Err(too_large) };
                self.usual = Usual::of(end - at - 1);
                (ticks, end)
            }
        };
        if ticks < self.clock.ticks {
            let before = self.now();
            let found = self.clock.scale.nanos(ticks).unwrap_or(LATEST);
            return Err(Fault { at, what: FaultWhat::TimeBackwards { before, found } });
        }
        self.clock.set(ticks);
        if !self.timed {
            self.timed = true;
            self.any = true;
            out.on(self.clock.now(at)?);
        }
        Ok(end)
    }

    fn keyword(
        &mut self,
        buffer: &[u8],
        at: usize,
        out: &mut impl Changes,
    ) -> Result<usize, Fault> {
        let end = word_end(buffer, at);
        match &buffer[at..end] {
            b"$end" => self.section = false,
            b"$dumpvars" | b"$dumpall" => self.section = true,
            b"$dumpon" => {
                self.section = true;
                out.on(self.clock.now(at)?);
            }
            b"$dumpoff" => {
                self.section = true;
                out.off(self.clock.now(at)?);
            }
            [b'$', b'a'..=b'z' | b'A'..=b'Z', ..] => {
                self.skipping = true;
                return Ok(self.skip(buffer, end));
            }
            word => return Err(Fault::syntax(at, EXPECTED, word)),
        }
        self.any = true;
        Ok(end)
    }

    /// Passes over words up to `$end`; where it has not come, over all of them,
    /// and what stands behind the last.
    fn skip(&mut self, buffer: &[u8], from: usize) -> usize {
        let mut at = from;
        while let Some(start) = word_start(buffer, at) {
            at = word_end(buffer, start);
            if &buffer[start..at] == b"$end" {
                self.skipping = false;
                return at;
            }
        }
        buffer.len()
    }
}

fn no_identifier(buffer: &[u8], at: usize) -> Fault {
    // The last word of a file that was cut is not told from one with a blank in
    // the wrong place until the end: the caller knows.
    Fault::syntax(at, "an identifier right after the value", &buffer[at..=at])
}

fn is_value(b: u8) -> bool {
    CLASSES[usize::from(b)] == Class::Scalar
}

/// The level of a value's character.
#[inline]
fn level(b: u8) -> Level {
    match b {
        b'0' | b'l' | b'L' => Level::Low,
        b'1' | b'h' | b'H' => Level::High,
        b'z' | b'Z' => Level::Released,
        _ => Level::Unknown,
    }
}

/// A bit of a value, from the right; missing bits on the left are 0 after 0
/// and 1, and x after x, z after z (IEEE 1364-2005 clause 18.2.1).
#[inline]
fn bit(value: &[u8], place: u32) -> Level {
    let place = place as usize;
    match value.len().checked_sub(place + 1) {
        Some(i) => level(value[i]),
        None => match level(value[0]) {
            beyond @ (Level::Unknown | Level::Released) => beyond,
            _ => Level::Low,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::super::ids::Target;
    use super::*;
    use crate::time::TimeUnit;

    #[derive(Default)]
    struct Seen(Vec<(i64, u16, Level)>, Vec<(i64, bool)>);

    impl Changes for Seen {
        fn change(&mut self, at: i64, line: u16, level: Level) {
            self.0.push((at, line, level));
        }
        fn off(&mut self, at: i64) {
            self.1.push((at, false));
        }
        fn on(&mut self, at: i64) {
            self.1.push((at, true));
        }
    }

    fn body(follow: &[(&str, u32)]) -> Body {
        let mut ids = IdTable::new();
        for (line, (id, bit)) in follow.iter().enumerate() {
            ids.follow(id.as_bytes(), Target { line: line as u16, bit: *bit });
        }
        Body::new(Scale::new(1, TimeUnit::Micros).unwrap(), ids)
    }

    #[test]
    fn values_sections_and_times() {
        use Level::{High, Low, Released, Unknown};
        let mut body = body(&[("#", 0), ("$", 0), ("!", 2)]);
        let mut seen = Seen::default();
        let text = "#0 $dumpvars 1# x$ b0 ! $end\n#5\n0#\n$comment 1# #0 $end 1$ b1xx !\n\
                    #7 bx ! bz1 ! b10 ! r3.5 # $dumpoff x# $end #9 $dumpon 1# $end\n";
        assert_eq!(body.scan(text.as_bytes(), &mut seen).unwrap(), text.len());
        body.finish(b"").unwrap();
        assert_eq!(
            seen.0,
            [
                (0, 0, High),
                (0, 1, Unknown),
                (0, 2, Low),
                (5_000, 0, Low),
                (5_000, 1, High),
                (5_000, 2, High),
                (7_000, 2, Unknown),
                (7_000, 2, Released),
                (7_000, 2, Low),
                (7_000, 0, Unknown),
                (9_000, 0, High),
            ]
        );
        assert_eq!(seen.1, [(0, true), (7_000, false), (9_000, true)]);
    }

    #[test]
    fn mistakes_have_a_place() {
        let wrong = |text: &str| {
            let mut seen = Seen::default();
            body(&[("!", 0)]).scan(text.as_bytes(), &mut seen).unwrap_err()
        };
        assert_eq!(wrong("#0 0! #x \n").at, 6);
        assert_eq!(wrong("#0 0! 1 \n").at, 6);
        assert_eq!(wrong("#0 \0\0 \n").at, 3);
        assert!(matches!(
            wrong("#10 0! #9 \n").what,
            FaultWhat::TimeBackwards { before: 10_000, found: 9_000 }
        ));
        assert!(matches!(wrong("#99999999999999999999 \n").what, FaultWhat::TimeTooLarge));
        assert!(matches!(wrong("#9999999999999999999 0! \n").what, FaultWhat::TimeTooLarge));
    }
}
