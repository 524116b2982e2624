//! Layouts and captures drawn in characters: fields as named brackets under
//! the bits, covers as hatching, one row a check.

use holdover::bits::{Capture, Run, Span, Wide};
use holdover::layout::{Check, Layout, Rule};

use crate::terminal::{BAD, FAINT, GOOD, STRONG, in_style};

/// Rows of parity checks drawn; a layout with more shows the failed ones.
const MOST_CHECK_ROWS: usize = 12;

/// Columns for the names of rows.
const LABEL: usize = 10;

/// Columns kept free behind the bits for "holds" and "FAILS".
const TAIL: usize = 7;

/// A bit that a check covers, one that it may cover or not, one at fault.
pub const COVERED: char = '░';
pub const OPEN: char = '?';
pub const FAULT: char = '✗';

/// What a row is about.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Bits,
    Fields,
    /// A check, and whether a word meets it; `None` without a word.
    Check {
        holds: Option<bool>,
    },
}

/// One row of a drawing, a cell a bit.
pub struct Row {
    pub label: String,
    pub cells: Vec<char>,
    pub kind: Kind,
    /// Of the row of fields, its brackets: they are drawn block by block, so
    /// that a name is not cut in two.
    brackets: Vec<Bracket>,
}

/// A run of bits and the field it belongs to.
pub struct Bracket {
    low: usize,
    len: usize,
    towards_front: bool,
    name: String,
}

impl Row {
    fn new(label: impl Into<String>, cells: Vec<char>, kind: Kind) -> Row {
        Row { label: label.into(), cells, kind, brackets: Vec::new() }
    }
}

/// Draws a layout without a capture, with a ruler in both countings.
pub fn layout(layout: &Layout, width: usize) -> Vec<String> {
    let unknown = vec!['·'; layout.length()];
    let mut rows = vec![Row::new("", unknown, Kind::Bits)];
    rows.push(fields(layout));
    rows.extend(checks(layout, None));
    render(&rows, layout.length(), width, true)
}

/// Draws a word over its layout: which bits are which field, which check
/// covers what, and what failed.
pub fn word(layout: &Layout, word: &Capture, restored: Option<usize>, width: usize) -> Vec<String> {
    let mut cells: Vec<char> = word.to_string().chars().collect();
    if let Some(lost) = restored {
        cells[lost] = '?';
    }
    let mut rows = vec![Row::new("", cells, Kind::Bits)];
    rows.push(fields(layout));
    rows.extend(checks(layout, Some(word.wide())));
    render(&rows, layout.length(), width, false)
}

/// Draws what was learnt: how much each bit varied, over the layout if there
/// is one. A full block is a bit that is 0 as often as 1, a dot one that never
/// varied.
pub fn learnt(layout: Option<&Layout>, entropy: &[f64], width: usize) -> Vec<String> {
    let blocks = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let block = |entropy: &f64| match *entropy {
        e if e <= 0.0 => '·',
        e => blocks[((e * 8.0).ceil() as usize).clamp(1, 8) - 1],
    };
    let cells = entropy.iter().map(block).collect();
    let mut rows = vec![Row::new("varied", cells, Kind::Bits)];
    if let Some(layout) = layout {
        rows.push(fields(layout));
        rows.extend(checks(layout, None));
    }
    render(&rows, entropy.len(), width, false)
}

/// Draws bits that no layout explains.
pub fn bits(capture: &Capture, width: usize) -> Vec<String> {
    let cells = capture.to_string().chars().collect();
    render(&[Row::new("", cells, Kind::Bits)], capture.len(), width, false)
}

/// The row of brackets. A field in several runs has its name under each, an
/// arrow where a run reads towards the front.
fn fields(layout: &Layout) -> Row {
    let bracket = |run: &Run, name: &str| Bracket {
        low: run.first.offset().min(run.last.offset()),
        len: run.len(),
        towards_front: run.last < run.first,
        name: name.to_owned(),
    };
    let fields = layout.fields_in_order();
    let brackets = fields
        .into_iter()
        .flat_map(|field| field.span.runs().iter().map(move |run| bracket(run, field.role.name())))
        .collect();
    let cells = vec!['─'; layout.length()];
    Row { brackets, ..Row::new("field", cells, Kind::Fields) }
}

/// The brackets of the bits from one offset to another; what goes on in the
/// next block has no corner there.
fn bracketed(brackets: &[Bracket], from: usize, to: usize) -> Vec<char> {
    let mut cells = vec![' '; to - from];
    for bracket in brackets {
        let (low, high) = (bracket.low.max(from), (bracket.low + bracket.len).min(to));
        if low >= high {
            continue;
        }
        let cells = &mut cells[low - from..high - from];
        let (opens, closes) = (low == bracket.low, high == bracket.low + bracket.len);
        if let ([cell], true, true) = (&mut *cells, opens, closes) {
            *cell = bracket.name.chars().next().unwrap_or('┴');
            continue;
        }
        cells.fill('─');
        let len = cells.len();
        if opens {
            cells[0] = '└';
        }
        if closes {
            cells[len - 1] = '┘';
        }
        let inner = len - usize::from(opens) - usize::from(closes);
        let arrow = if bracket.towards_front && inner > 1 { "←" } else { "" };
        let text: Vec<char> = arrow.chars().chain(bracket.name.chars()).take(inner).collect();
        let at = usize::from(opens) + (inner - text.len()) / 2;
        cells[at..at + text.len()].copy_from_slice(&text);
    }
    cells
}

/// One row a parity check; fixed values, longitudinal checks and digits
/// gathered in a row each.
pub fn checks(layout: &Layout, word: Option<Wide>) -> Vec<Row> {
    let length = layout.length();
    let blank = || vec![' '; length];
    let holds = |rule: &Rule| word.map(|word| rule.holds(word));
    let (mut rows, mut skipped) = (Vec::new(), 0);
    let (mut fixed, mut any_fixed, mut fixed_holds) = (blank(), false, word.map(|_| true));
    let (mut digits, mut any_digit, mut digits_hold) = (blank(), false, word.map(|_| true));
    for rule in layout.rules() {
        let rule_holds = holds(rule);
        let failed = rule_holds == Some(false);
        let check = match rule {
            Rule::Relations { check: Some(i), .. } => Some((*i, &layout.checks()[*i])),
            _ => None,
        };
        let open = check.and_then(|(i, _)| layout.unsettled_check(i)?.open.as_ref());
        let covered = |cells: &mut [char], over: &Span| {
            mark(cells, over, COVERED);
            open.into_iter().for_each(|open| mark(cells, open, OPEN));
        };
        match check.map(|(_, check)| check) {
            Some(Check::Fixed { span, .. }) => {
                any_fixed = true;
                mark(&mut fixed, span, if failed { FAULT } else { '=' });
                fixed_holds = fixed_holds.map(|all| all && !failed);
            }
            Some(Check::Parity { odd, bit, over }) => {
                if rows.len() >= MOST_CHECK_ROWS && !failed {
                    skipped += 1;
                    continue;
                }
                let mut cells = blank();
                covered(&mut cells, over);
                cells[bit.offset()] = if *odd { 'O' } else { 'E' };
                let label = format!("{} {bit}", if *odd { "odd" } else { "even" });
                rows.push(Row::new(label, cells, Kind::Check { holds: rule_holds }));
            }
            Some(Check::Lrc { over, at, .. }) => {
                let mut cells = blank();
                covered(&mut cells, over);
                mark(&mut cells, at, 'L');
                let label = "lrc".to_owned();
                rows.push(Row::new(label, cells, Kind::Check { holds: rule_holds }));
            }
            None => {
                any_digit = true;
                let cells = rule.bits().offsets();
                cells.for_each(|offset| {
                    if digits[offset] != FAULT {
                        digits[offset] = if failed { FAULT } else { COVERED };
                    }
                });
                digits_hold = digits_hold.map(|all| all && !failed);
            }
        }
    }
    if any_fixed {
        let kind = Kind::Check { holds: fixed_holds };
        rows.insert(0, Row::new("fixed", fixed, kind));
    }
    if any_digit {
        let kind = Kind::Check { holds: digits_hold };
        rows.push(Row::new("digits", digits, kind));
    }
    if skipped > 0 {
        let label = format!("+{skipped} more");
        let holds = word.map(|_| true);
        rows.push(Row::new(label, blank(), Kind::Check { holds }));
    }
    rows
}

fn mark(cells: &mut [char], span: &Span, with: char) {
    span.offsets().for_each(|offset| cells[offset] = with);
}

/// Lays the rows out in blocks that fit the width.
fn render(rows: &[Row], length: usize, width: usize, both_countings: bool) -> Vec<String> {
    let tail = match rows.iter().any(|r| matches!(r.kind, Kind::Check { holds: Some(_) })) {
        true => TAIL,
        false => 0,
    };
    // Whole tens, so that the ruler reads alike in every block.
    let most = width.saturating_sub(LABEL + tail).max(10);
    let room = most / 10 * 10;
    let mut lines = Vec::new();
    let mut from = 0;
    while from < length {
        let to = if length - from <= most { length } else { from + room };
        if from > 0 {
            lines.push(String::new());
        }
        if both_countings {
            lines.push(in_style(FAINT, &format!("{:<LABEL$}{}", "from 1", ruler(from, to, 1))));
            lines.push(in_style(FAINT, &format!("{:<LABEL$}{}", "from 0", ruler(from, to, 0))));
        } else {
            lines.push(in_style(FAINT, &format!("{:<LABEL$}{}", "bit", ruler(from, to, 1))));
        }
        for row in rows {
            let cells: String = match row.kind {
                Kind::Fields => bracketed(&row.brackets, from, to).iter().collect(),
                _ => row.cells[from..to].iter().collect(),
            };
            let blank = cells.trim().is_empty();
            let last = to == length;
            if blank && !(last && row.cells.iter().all(|c| *c == ' ')) {
                continue;
            }
            let label = format!("{:<LABEL$}", row.label);
            let line = match row.kind {
                Kind::Bits => format!("{label}{}", in_style(STRONG, &cells)),
                Kind::Fields => format!("{label}{}", cells.trim_end()),
                Kind::Check { holds: None } => format!("{label}{}", cells.trim_end()),
                Kind::Check { holds: Some(holds) } => {
                    let pad = " ".repeat(to - from - cells.trim_end().chars().count());
                    let (style, word) = if holds { (GOOD, "holds") } else { (BAD, "FAILS") };
                    format!("{label}{}{pad}  {}", cells.trim_end(), in_style(style, word))
                }
            };
            lines.push(line);
        }
        from = to;
    }
    lines
}

/// Positions at the first bit and every tenth, left-aligned over their bit.
fn ruler(from: usize, to: usize, first: usize) -> String {
    let mut line = vec![' '; to - from];
    let mut free = 0;
    for offset in from..to {
        let position = offset + first;
        if offset != from && !position.is_multiple_of(10) {
            continue;
        }
        let digits: Vec<char> = position.to_string().chars().collect();
        let at = offset - from;
        if at >= free && at + digits.len() <= line.len() {
            line[at..at + digits.len()].copy_from_slice(&digits);
            free = at + digits.len() + 1;
        }
    }
    line.into_iter().collect::<String>().trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use holdover::layout::builtin;

    fn plain(lines: Vec<String>) -> String {
        anstream::adapter::strip_str(&lines.join("\n")).to_string()
    }

    #[test]
    fn a_word_is_drawn_over_its_layout() {
        let std26 = builtin().layout("std26").unwrap();
        let capture: Capture = "10100000100010000111000010".parse().unwrap();
        assert_eq!(
            plain(word(std26, &capture, None, 80)),
            "bit       1        10        20\n\
             \u{20}         10100000100010000111000010\n\
             field      └─site─┘└─────card─────┘\n\
             even 1    E░░░░░░░░░░░░               holds\n\
             odd 26                 ░░░░░░░░░░░░O  FAILS"
        );
    }

    #[test]
    fn long_layouts_break_at_tens_and_fit() {
        for layout_ in builtin().layouts() {
            for width in [40, 60, 80, 120] {
                let drawn = plain(layout(layout_, width));
                assert!(drawn.lines().all(|l| l.chars().count() <= width), "{width}\n{drawn}");
            }
        }
    }
}
