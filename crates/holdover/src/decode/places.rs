//! The numbers of many views, a column for each place they stand in.

use std::collections::HashMap;

use super::{Bits, Pick};

/// A column of numbers for each place that views read: layouts of one length
/// mostly differ in their checks, so that few places serve many.
///
/// A column has a number for each capture; it means something for a view where
/// the capture fits it, which [`Decoder::fits`](super::Decoder::fits) says.
///
/// # Examples
/// ```
/// use holdover::decode::{Decoder, Places, Reading};
/// use holdover::layout::builtin;
/// let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
/// let views = decoder.views().iter();
/// let cards = views.map(|v| [v.pick(decoder.layout(v).card_span().unwrap())]);
/// let mut places = Places::new(cards);
/// places.read(&[0b1010_0000_1000_1000_0111_0000_11u64 << 38]);
/// assert_eq!(places.of(0), [&[4321]]);
/// ```
#[derive(Debug, Clone)]
pub struct Places<const N: usize> {
    picks: Vec<Pick>,
    /// For each view, which places it reads.
    views: Vec<[usize; N]>,
    /// As many numbers for each place as captures were read.
    columns: Vec<Vec<u64>>,
}

impl<const N: usize> Places<N> {
    /// What to read of each view, up to 64 bits each.
    pub fn new(views: impl IntoIterator<Item = [Pick; N]>) -> Places<N> {
        let (mut picks, mut known) = (Vec::new(), HashMap::new());
        let mut place = |pick: Pick| {
            *known.entry(pick).or_insert_with_key(|pick| {
                picks.push(pick.clone());
                picks.len() - 1
            })
        };
        let views = views.into_iter().map(|view| view.map(&mut place)).collect();
        let columns = vec![Vec::new(); picks.len()];
        Places { picks, views, columns }
    }

    /// How many different places there are: columns.
    pub fn distinct(&self) -> usize {
        self.picks.len()
    }

    /// Reads the numbers of captures; those of earlier ones are gone. A few
    /// hundred at a time stay in the processor's cache.
    pub fn read<B: Bits>(&mut self, captures: &[B]) {
        for (pick, column) in self.picks.iter().zip(&mut self.columns) {
            pick.numbers(captures, column);
        }
    }

    /// A view's columns, a number for each capture.
    ///
    /// # Panics
    /// Where there is no such view.
    pub fn of(&self, view: usize) -> [&[u64]; N] {
        self.views[view].map(|place| self.columns[place].as_slice())
    }
}
