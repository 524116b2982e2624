//! The declarations of a value-change dump: timescale, scopes, variables.
//!
//! IEEE 1364-2005 clause 18.2.

use std::collections::VecDeque;

use crate::error::{Fault, FaultWhat};
use crate::time::{Scale, TimeUnit};

/// The most variables remembered; beyond them only those whose name is wanted
/// (judgement, no source: a file of a hundred thousand signals comes from a
/// simulation, and there the lines are named).
pub const REMEMBERED: usize = 4096;

/// The most bytes of a name or an identifier kept (judgement, no source).
const LONGEST_NAME: usize = 1024;

/// Scopes nested deeper than this are named no further (judgement, no source).
const DEEPEST: usize = 256;

/// A variable, as declared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Variable {
    /// Scopes and name, joined by dots; a single bit's index in brackets.
    pub(crate) name: String,
    /// Its identifier in the dump.
    pub(crate) id: Vec<u8>,
    /// Bits.
    pub(crate) width: u32,
    /// Index of the leftmost and of the rightmost bit.
    pub(crate) range: (i64, i64),
}

/// What has been read of the declarations so far.
#[derive(Debug)]
pub(crate) struct Header {
    pub(crate) scale: Scale,
    pub(crate) variables: Vec<Variable>,
    /// Variables passed over because there were too many.
    pub(crate) passed_over: u64,
    scopes: VecDeque<String>,
    too_deep: u32,
    skipping: bool,
    seen_any: bool,
}

/// How far the declarations were read.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Read {
    /// This many bytes are done with; more are needed.
    Part(usize),
    /// The declarations end after this many bytes.
    Done(usize),
}

impl Header {
    pub(crate) fn new() -> Header {
        Header {
            // Where nothing is declared: common practice, no source.
            scale: Scale::new(1, TimeUnit::Nanos).unwrap_or_else(|| unreachable!()),
            variables: Vec::new(),
            passed_over: 0,
            scopes: VecDeque::new(),
            too_deep: 0,
            skipping: false,
            seen_any: false,
        }
    }

    /// Reads whole declarations from the front of `buffer`, whose last token
    /// ends in white space. `wanted` says whether a name is worth remembering
    /// when there are very many.
    pub(crate) fn read(
        &mut self,
        buffer: &[u8],
        wanted: &dyn Fn(&str) -> bool,
    ) -> Result<Read, Fault> {
        let mut tokens = Tokens { buffer, at: 0 };
        loop {
            if self.skipping {
                match tokens.next() {
                    Some((_, b"$end")) => self.skipping = false,
                    Some(_) => {}
                    None => return Ok(Read::Part(tokens.at)),
                }
                continue;
            }
            let before = tokens.at;
            let Some((at, keyword)) = tokens.next() else { return Ok(Read::Part(before)) };
            let complete = match keyword {
                b"$enddefinitions" => match tokens.next() {
                    None => false,
                    Some((_, b"$end")) => return Ok(Read::Done(tokens.at)),
                    Some((at, found)) => {
                        return Err(Fault::syntax(at, "$end after $enddefinitions", found));
                    }
                },
                b"$timescale" => self.timescale(&mut tokens)?,
                b"$scope" => self.scope(&mut tokens),
                b"$upscope" => self.upscope(&mut tokens),
                b"$var" => self.variable(&mut tokens, wanted)?,
                // Some writers leave $enddefinitions out.
                b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$dumpoff" => {
                    return Ok(Read::Done(at));
                }
                [b'#', b'0'..=b'9', ..] if self.seen_any => return Ok(Read::Done(at)),
                [b'$', b'a'..=b'z' | b'A'..=b'Z', ..] if keyword != b"$end" => {
                    self.skipping = true;
                    true
                }
                _ => {
                    return Err(Fault::syntax(
                        at,
                        "a declaration ($var, $scope, $timescale or $enddefinitions)",
                        keyword,
                    ));
                }
            };
            if !complete {
                return Ok(Read::Part(before));
            }
            self.seen_any = true;
        }
    }

    fn timescale(&mut self, tokens: &mut Tokens) -> Result<bool, Fault> {
        const EXPECTED: &str = "a timescale such as 1 us";
        let mut text = Vec::new();
        let mut start = tokens.at;
        loop {
            let Some((at, token)) = tokens.next() else { return Ok(false) };
            if token == b"$end" {
                break;
            }
            if text.is_empty() {
                start = at;
            }
            text.extend_from_slice(token);
            if text.len() > LONGEST_NAME {
                return Err(Fault::syntax(start, EXPECTED, &text));
            }
        }
        let digits = text.iter().take_while(|b| b.is_ascii_digit()).count();
        let (number, unit) = text.split_at(digits);
        let number = if number.is_empty() { b"1" } else { number };
        let parsed = std::str::from_utf8(number).ok().and_then(|n| n.parse::<u64>().ok());
        let unit = TimeUnit::named(&String::from_utf8_lossy(unit));
        let scale = parsed.zip(unit).and_then(|(number, unit)| Scale::new(number, unit));
        self.scale = scale.ok_or_else(|| Fault::syntax(start, EXPECTED, &text))?;
        Ok(true)
    }

    fn scope(&mut self, tokens: &mut Tokens) -> bool {
        let mut name = String::new();
        for place in 0.. {
            let Some((_, token)) = tokens.next() else { return false };
            if token == b"$end" {
                break;
            }
            // The first word is the kind of scope.
            if place == 1 {
                name = text(token);
            }
        }
        if self.scopes.len() < DEEPEST {
            self.scopes.push_back(name);
        } else {
            self.too_deep = self.too_deep.saturating_add(1);
        }
        true
    }

    fn upscope(&mut self, tokens: &mut Tokens) -> bool {
        loop {
            match tokens.next() {
                None => return false,
                Some((_, b"$end")) => break,
                Some(_) => {}
            }
        }
        match self.too_deep {
            0 => drop(self.scopes.pop_back()),
            deep => self.too_deep = deep - 1,
        }
        true
    }

    fn variable(
        &mut self,
        tokens: &mut Tokens,
        wanted: &dyn Fn(&str) -> bool,
    ) -> Result<bool, Fault> {
        let Some((_, kind)) = tokens.next() else { return Ok(false) };
        let Some((width_at, width)) = tokens.next() else { return Ok(false) };
        let Some((id_at, id)) = tokens.next() else { return Ok(false) };
        let mut reference = String::new();
        loop {
            let Some((_, token)) = tokens.next() else { return Ok(false) };
            if token == b"$end" {
                break;
            }
            // `bus [3:0]` and `bus[3:0]` are the same; other parts of a name
            // with spaces keep them.
            if !reference.is_empty() && token.first() != Some(&b'[') {
                reference.push(' ');
            }
            reference.push_str(&text(token));
            reference.truncate(floor(&reference, LONGEST_NAME));
        }
        let bits = std::str::from_utf8(width).ok().and_then(|w| w.parse::<u32>().ok());
        let Some(bits) = bits else {
            return Err(Fault::syntax(width_at, "a variable's width in bits", width));
        };
        if !id.iter().all(u8::is_ascii_graphic) {
            return Err(Fault::syntax(id_at, "an identifier of characters 33 to 126", id));
        }
        // Not levels: real numbers, events and strings.
        if matches!(kind, b"real" | b"realtime" | b"event" | b"string") || bits == 0 {
            return Ok(true);
        }
        let (leaf, range) = split_range(&reference, bits);
        let mut name = String::new();
        for scope in self.scopes.iter().filter(|s| !s.is_empty()) {
            name.push_str(scope);
            name.push('.');
        }
        name.push_str(leaf);
        if id.len() <= LONGEST_NAME && (self.variables.len() < REMEMBERED || wanted(&name)) {
            // Wanted names are bounded too: the lines followed are.
            if self.variables.len() < 2 * REMEMBERED {
                self.variables.push(Variable { name, id: id.to_vec(), width: bits, range });
                return Ok(true);
            }
        }
        self.passed_over += 1;
        Ok(true)
    }
}

fn text(token: &[u8]) -> String {
    String::from_utf8_lossy(&token[..token.len().min(LONGEST_NAME)]).into_owned()
}

/// The last place at or before `most` where `text` may be cut.
fn floor(text: &str, most: usize) -> usize {
    (0..=most.min(text.len())).rev().find(|&i| text.is_char_boundary(i)).unwrap_or(0)
}

/// A name and its bit range; `[7:0]` is taken off, the index of a single bit
/// stays with the name.
fn split_range(reference: &str, width: u32) -> (&str, (i64, i64)) {
    let whole = (i64::from(width) - 1, 0);
    let Some((leaf, range)) = reference.strip_suffix(']').and_then(|r| r.rsplit_once('[')) else {
        return (reference, whole);
    };
    let Some((left, right)) = range.split_once(':') else { return (reference, whole) };
    match (left.trim().parse::<i32>(), right.trim().parse::<i32>()) {
        (Ok(left), Ok(right)) => (leaf, (i64::from(left), i64::from(right))),
        _ => (reference, whole),
    }
}

/// Words of a buffer, each ended by white space inside it.
struct Tokens<'a> {
    buffer: &'a [u8],
    at: usize,
}

impl<'a> Tokens<'a> {
    fn next(&mut self) -> Option<(usize, &'a [u8])> {
        let blank = |b: &u8| b.is_ascii_whitespace();
        let start = self.at + self.buffer[self.at..].iter().position(|b| !blank(b))?;
        let len = self.buffer[start..].iter().position(blank)?;
        self.at = start + len;
        Some((start, &self.buffer[start..self.at]))
    }
}

/// The error for a file that ends among its declarations.
pub(crate) fn truncated(at: usize) -> Fault {
    Fault { at, what: FaultWhat::Truncated { expected: "$enddefinitions" } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Header {
        let mut header = Header::new();
        match header.read(text.as_bytes(), &|_| false) {
            Ok(Read::Done(n)) => assert_eq!(text[n..].trim(), ""),
            other => panic!("{other:?}"),
        }
        header
    }

    #[test]
    fn names_ids_and_ranges() {
        let header = read(
            "$date today $end $timescale\n 10\n us\n$end\n$scope module top $end\n\
             $var wire 1 # D0 $end $var reg 8 $end bus [7:0] $end\n\
             $scope module reader1 $end $var wire 1 $ D [1] $end $upscope $end\n\
             $var real 64 r level $end $var wire 2 v pair[0:1] $end\n\
             $upscope $end $var wire 1 \"! my line $end $enddefinitions $end\n",
        );
        assert_eq!(header.scale.tick_us(), 10.0);
        let all: Vec<_> = header
            .variables
            .iter()
            .map(|v| (v.name.as_str(), v.id.as_slice(), v.width, v.range))
            .collect();
        assert_eq!(
            all,
            [
                ("top.D0", &b"#"[..], 1, (0, 0)),
                ("top.bus", b"$end", 8, (7, 0)),
                ("top.reader1.D[1]", b"$", 1, (0, 0)),
                ("top.pair", b"v", 2, (0, 1)),
                ("my line", b"\"!", 1, (0, 0)),
            ]
        );
    }

    #[test]
    fn timescales_in_every_shape() {
        for (text, us) in [
            ("1us", 1.0),
            ("100 ms", 100_000.0),
            ("1\ts", 1e6),
            ("10\nns", 0.01),
            ("5 ps", 5e-6),
            ("1fs", 1e-9),
            ("us", 1.0),
        ] {
            let header = read(&format!("$timescale {text} $end $enddefinitions $end\n"));
            assert!((header.scale.tick_us() / us - 1.0).abs() < 1e-12, "{text}");
        }
        let mut header = Header::new();
        assert!(header.read(b"$timescale 1 day $end ", &|_| false).is_err());
        assert!(header.read(b"$timescale 0 s $end ", &|_| false).is_err());
    }

    #[test]
    fn a_part_waits_for_the_rest() {
        let text = "$scope module top $end $var wire 1 ! D0 $end $enddefinitions $end\n";
        for cut in 1..text.len() {
            let mut header = Header::new();
            // Only whole words are handed over.
            let whole = text[..cut].rfind(char::is_whitespace).map_or(0, |i| i + 1);
            let done = match header.read(&text.as_bytes()[..whole], &|_| false).unwrap() {
                Read::Part(n) => n,
                Read::Done(n) => panic!("done at {n} of {cut}"),
            };
            assert!(matches!(
                header.read(&text.as_bytes()[done..], &|_| false).unwrap(),
                Read::Done(_)
            ));
            assert_eq!(header.variables.len(), 1);
            assert_eq!(header.variables[0].name, "top.D0");
        }
    }
}
