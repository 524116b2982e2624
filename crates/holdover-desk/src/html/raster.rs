//! A batch as a raster: rows are cards, columns are bits, so that constants,
//! counters and parity leap to the eye.

use holdover::bits::Wide;
use maud::{Markup, html};

use super::layout::{BOTH, Bracket, CELL, Counting, Keys, LABEL};
use super::sheet::grouped;
use super::svg::{Anchor, Picture, Pieces, n, path, rect, spread, text};

/// Rows drawn of a batch; the rest is counted.
pub const ROWS: usize = 40;

/// Height of the bars that say how much each bit varied.
const BARS: f64 = 24.0;

/// Cards of one length and how their bits vary.
#[derive(Debug, Clone)]
pub struct Batch {
    length: usize,
    /// The first rows, each with its name.
    rows: Vec<(String, Wide)>,
    /// Cards with a one in each bit, among all.
    ones: Vec<u64>,
    total: u64,
}

impl Batch {
    pub fn new(length: usize) -> Batch {
        Batch { length, rows: Vec::new(), ones: vec![0; length], total: 0 }
    }

    /// Counts a card; only the first are kept to be drawn.
    pub fn add(&mut self, name: impl FnOnce() -> String, word: Wide) {
        self.total += 1;
        word.offsets().take_while(|offset| *offset < self.length).for_each(|o| self.ones[o] += 1);
        if self.rows.len() < ROWS {
            self.rows.push((name(), word));
        }
    }

    pub fn total(&self) -> u64 {
        self.total
    }

    /// How much a bit varied, from 0 for never to 1 for as often 0 as 1.
    fn entropy(&self, offset: usize) -> f64 {
        let p = self.ones[offset] as f64 / self.total.max(1) as f64;
        let part = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
        part(p) + part(1.0 - p)
    }

    fn is_constant(&self, offset: usize) -> bool {
        self.ones[offset] == 0 || self.ones[offset] == self.total
    }

    /// The raster. Where card numbers are hidden there is none: bits that never
    /// vary and how much the others do are told by the cards.
    pub fn figure(&self, title: &str, brackets: &[Bracket], countings: [Counting; 2]) -> Markup {
        let grid = Grid::of(self.length, self.rows.len());
        let mut out = Pieces::default();
        let mut y = 0.0;
        for (label, first) in countings {
            y += 13.0;
            grid.numbers(&mut out, y - 3.0, label, first);
        }
        let top = y + 1.0;
        y = self.cards(&mut out, &grid, top);
        if grid.cell > 8.0 && self.total > 1 {
            y += 13.0;
            self.constants(&mut out, &grid, y - 2.0);
        }
        if (0..self.length).any(|offset| !self.is_constant(offset)) {
            y += BARS + 4.0;
            self.variety(&mut out, &grid, y);
        }
        let mut keys = Keys::default();
        if !brackets.is_empty() {
            grid.fields(&mut out, y + 3.0, brackets, &mut keys);
            y += 25.0;
        }
        let picture = Picture {
            title: title.to_owned(),
            desc: self.desc(countings[0].1),
            // The last number stands over a column that may be narrow.
            width: grid.x(self.length) + 12.0,
            height: y + 2.0,
            body: out.markup(),
        };
        let drawn = self.rows.len() as u64;
        picture.figure(html! {
            p {
                "A row a card, a column a bit: ink is 1, paper is 0."
                @if self.total > drawn {
                    " The first " (grouped(drawn)) " of " (grouped(self.total)) " are drawn; "
                    "the bars count all."
                }
            }
            (keys.legend())
        })
    }

    /// The cards from `top` down, a row each; where they end.
    fn cards(&self, out: &mut Pieces, grid: &Grid, top: f64) -> f64 {
        let (left, right) = (grid.x(0), grid.x(self.length));
        let mut y = top;
        let mut ones = String::new();
        let mut lines = String::new();
        for (i, (name, word)) in self.rows.iter().enumerate() {
            if grid.names_all || i.is_multiple_of(5) {
                let below = if grid.names_all { grid.high - 2.5 } else { 9.0 };
                out.add(text(0.0, y + below, Anchor::Start, "s", name));
            }
            if i > 0 && i.is_multiple_of(5) {
                lines += &format!("M{} {}H{}", n(left), n(y), n(right));
            }
            let inked = |offset: &usize| word.bit(*offset);
            let mut offset = 0;
            while offset < self.length {
                let run = (offset..self.length).take_while(inked).count();
                if run > 0 {
                    let (width, high) = (n(run as f64 * grid.cell), grid.high);
                    ones += &format!("M{} {}h{width}v{high}h-{width}z", n(grid.x(offset)), n(y));
                }
                offset += run + 1;
            }
            y += grid.high;
        }
        out.add(path(&ones, "solid"));
        out.add(path(&lines, "hair"));
        // Columns are told apart by hairlines, every fifth a little darker.
        let mut columns = String::new();
        for offset in (0..=self.length).filter(|offset| grid.cell > 4.0 || offset % 8 == 0) {
            columns += &format!("M{} {}V{}", n(grid.x(offset)), n(top), n(y));
        }
        out.add(path(&columns, "faint"));
        out.add(rect(left, top, right - left, y - top, "frame"));
        y
    }

    /// What a constant column always reads.
    fn constants(&self, out: &mut Pieces, grid: &Grid, y: f64) {
        let always: Vec<usize> = (0..self.length).filter(|o| self.is_constant(*o)).collect();
        let bits: String =
            always.iter().map(|o| if self.ones[*o] > 0 { '1' } else { '0' }).collect();
        if !bits.is_empty() {
            out.add(text(0.0, y, Anchor::Start, "s", "always"));
        }
        out.add(spread(always.iter().map(|o| grid.middle(*o)), y, "s", &bits));
    }

    /// How much each column varied, bars that stand on `y`.
    fn variety(&self, out: &mut Pieces, grid: &Grid, y: f64) {
        out.add(text(0.0, y - 2.0, Anchor::Start, "s", "varied"));
        let mut bars = format!("M{} {}H{}", n(grid.x(0)), n(y), n(grid.x(self.length)));
        for offset in (0..self.length).filter(|offset| !self.is_constant(*offset)) {
            let bar = (self.entropy(offset) * BARS).max(1.5);
            let (x, width) = (grid.x(offset) + grid.cell * 0.15, grid.cell * 0.7);
            bars += &format!("M{} {}h{}v-{}h-{}z", n(x), n(y), n(width), n(bar), n(width));
        }
        out.add(path(&bars, "bar"));
    }

    fn desc(&self, first: usize) -> String {
        let mut said = format!("{} cards of {} bits.", grouped(self.total), self.length);
        let span = |(from, len): (usize, usize)| match len {
            1 => (from + first).to_string(),
            _ => format!("{}-{}", from + first, from + first + len - 1),
        };
        if self.total > 1 {
            let same: Vec<String> =
                stretches(self.length, |o| self.is_constant(o)).into_iter().map(span).collect();
            if !same.is_empty() {
                said += &format!(" The same in all: bits {}.", same.join(", "));
            }
        }
        format!("{said} Counted from {first}.")
    }
}

/// Where rows and columns stand.
struct Grid {
    length: usize,
    /// Width of a column.
    cell: f64,
    /// Height of a row.
    high: f64,
    /// Whether there is room for the name of every row.
    names_all: bool,
}

impl Grid {
    fn of(length: usize, rows: usize) -> Grid {
        let cell = match length {
            // Its columns stand under those of the layout.
            0..=44 => CELL,
            45..=64 => 9.5,
            65..=128 => 5.0,
            _ => 3.0,
        };
        let few = rows <= 14;
        let high = match cell > 9.0 {
            true if few => 13.0,
            true => 9.0,
            false => 6.0,
        };
        Grid { length, cell, high, names_all: few && high > 9.0 }
    }

    fn x(&self, offset: usize) -> f64 {
        LABEL + offset as f64 * self.cell
    }

    fn middle(&self, offset: usize) -> f64 {
        self.x(offset) + self.cell / 2.0
    }

    /// A number every so many columns that it has room.
    fn numbers(&self, out: &mut Pieces, y: f64, label: &str, first: usize) {
        let every = ((24.0 / self.cell).ceil() as usize).next_multiple_of(5);
        out.add(text(0.0, y, Anchor::Start, "s", label));
        for offset in 0..self.length {
            let number = offset + first;
            if offset == 0 || number.is_multiple_of(every) && offset * 2 >= every {
                let number = number.to_string();
                out.add(text(self.middle(offset), y, Anchor::Middle, "s", &number));
            }
        }
    }

    /// The fields, brackets under their columns.
    fn fields(&self, out: &mut Pieces, y: f64, brackets: &[Bracket], keys: &mut Keys) {
        out.add(text(0.0, y + 17.0, Anchor::Start, "s", "field"));
        for bracket in brackets {
            let low = self.x(bracket.low) + 1.0;
            let high = self.x(bracket.low + bracket.len) - 1.0;
            out.add(path(&format!("M{} {}v5H{}v-5", n(low), n(y + 1.0), n(high)), "ink"));
            let name = keys.name(&bracket.name, high - low);
            out.add(text((low + high) / 2.0, y + 17.0, Anchor::Middle, "f", &name));
        }
    }
}

/// The stretches of offsets that are so: first and length.
fn stretches(length: usize, so: impl Fn(usize) -> bool) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut offset = 0;
    while offset < length {
        let len = (offset..length).take_while(|o| so(*o)).count();
        if len > 0 {
            found.push((offset, len));
        }
        offset += len + 1;
    }
    found
}

/// A raster without brackets, counted from 1 and from 0.
pub fn plain(batch: &Batch, title: &str) -> Markup {
    batch.figure(title, &[], BOTH)
}
