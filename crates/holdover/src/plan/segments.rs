//! Numbers of cards and stretches of them, and the segments in which the same
//! stretches are live.

use super::affine::Affine;
use super::big::Big;

/// Whose number it is, and what else decides whether it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(crate) struct Tag {
    /// Boxed, not kept.
    pub boxed: bool,
    /// A slot that is not the card's own gives the number.
    pub foreign: bool,
    /// Two or more slots admit the card, so it is in a conflict already.
    pub doubled: bool,
    /// The card has no slot of its own, and a slot of its length admits it.
    pub stray: bool,
    /// Another slot gives the card the number it is known by: it counts for
    /// nothing, but its run value is told apart.
    pub echo: bool,
    /// Blocked: it has no number of its own, and counts where a kept card has
    /// the one it is given.
    pub blocked: bool,
}

/// One card's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Single {
    pub key: u32,
    pub number: u128,
    pub tag: Tag,
    pub owner: Owner,
    /// Tells cards without a slot of their own apart, since several slots may
    /// admit one; 0 for others.
    pub stray: u32,
    /// Shared by the forms of one card, which are no conflict with one another;
    /// 0 for others.
    pub form: u32,
}

/// Whose number: a listed card by its row, or a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Owner(u32);

impl Owner {
    const BATCH: u32 = 1 << 31;

    pub fn row(row: u32) -> Owner {
        Owner(row)
    }

    pub fn batch(index: usize) -> Owner {
        Owner(index as u32 | Self::BATCH)
    }

    /// The row, or the index of the batch.
    pub fn which(self) -> Result<u32, usize> {
        if self.0 & Self::BATCH == 0 { Ok(self.0) } else { Err((self.0 & !Self::BATCH) as usize) }
    }
}

/// A stretch of a batch's numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Span {
    pub key: u32,
    pub from: u128,
    pub to: u128,
    pub each: u128,
    pub value_less: Option<Big>,
    pub tag: Tag,
    pub owner: Owner,
}

/// Numbers of a batch that are no stretch: an affine set; or a stretch, or part
/// of one, where such sets lie.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Set {
    pub key: u32,
    pub set: Affine,
    pub each: u128,
    pub value_less: Option<Big>,
    pub tag: Tag,
    pub owner: Owner,
}

/// What is live at a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Live {
    /// Cards known by it, counted to 2 a stretch.
    pub home: u64,
    /// Other cards that open it, counted so too.
    pub foreign: u64,
    /// Kept cards known by it, counted so too.
    pub kept_home: u64,
    /// Kept cards known by it that no second slot admits, and those without a
    /// slot of their own.
    pub kept: u128,
    /// Boxed cards likewise.
    pub boxed: u128,
    /// How many of all those are further forms of a card counted already.
    pub forms: u64,
}

impl Live {
    fn change(&mut self, tag: Tag, each: u128, sign: bool) {
        if tag.echo || tag.blocked {
            return;
        }
        let many = each.min(2) as u64;
        let count = |at: &mut u64| *at = if sign { *at + many } else { *at - many };
        match tag.foreign {
            true => count(&mut self.foreign),
            false => count(&mut self.home),
        }
        if !tag.foreign && !tag.boxed {
            count(&mut self.kept_home);
        }
        // A card is counted where it is known, or where it strays to.
        if !tag.doubled && (!tag.foreign || tag.stray) {
            let at = if tag.boxed { &mut self.boxed } else { &mut self.kept };
            *at = if sign { at.wrapping_add(each) } else { at.wrapping_sub(each) };
        }
    }

    pub fn add(&mut self, tag: Tag, each: u128) {
        self.change(tag, each, true);
    }

    /// Whether a card is known by it, and another opens it.
    pub fn conflicts(&self) -> bool {
        self.home >= 1 && self.home + self.foreign >= 2 + self.forms
    }

    pub fn join(mut self, other: Live) -> Live {
        self.home += other.home;
        self.foreign += other.foreign;
        self.kept_home += other.kept_home;
        self.forms += other.forms;
        self.kept = self.kept.saturating_add(other.kept);
        self.boxed = self.boxed.saturating_add(other.boxed);
        self
    }
}

/// Numbers `from` to `to` with the same live stretches all along.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Segment {
    pub key: u32,
    pub from: u128,
    pub to: u128,
    pub live: Live,
}

impl Segment {
    pub fn width(&self) -> u128 {
        (self.to - self.from).saturating_add(1)
    }
}

/// Cuts overlapping stretches into segments, ascending by key and number.
pub(crate) fn segments(spans: &[Span]) -> Vec<Segment> {
    // The ends of stretches, an end being the number after the last.
    let mut ends: Vec<(u32, Option<u128>, usize)> = Vec::with_capacity(2 * spans.len());
    for (i, span) in spans.iter().enumerate() {
        ends.push((span.key, Some(span.from), i));
        if let Some(after) = span.to.checked_add(1) {
            ends.push((span.key, Some(after), i));
        }
    }
    ends.sort_unstable();
    let mut out = Vec::with_capacity(ends.len());
    let mut live = Live::default();
    let mut at = 0;
    while at < ends.len() {
        let (key, number, _) = ends[at];
        while let Some((_, _, i)) = ends.get(at).filter(|end| (end.0, end.1) == (key, number)) {
            let span = &spans[*i];
            live.change(span.tag, span.each, number == Some(span.from));
            at += 1;
        }
        let next = ends.get(at).filter(|end| end.0 == key).and_then(|end| end.1);
        let (Some(from), to) = (number, next.map_or(u128::MAX, |next| next - 1)) else { continue };
        if live.home > 0 || live.foreign > 0 {
            out.push(Segment { key, from, to, live });
        }
        if next.is_none() {
            // Stretches that reach the largest number end with their key.
            live = Live::default();
        }
    }
    out
}
