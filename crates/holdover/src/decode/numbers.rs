//! The numbers of the views that fit, and no others.

use super::{Bits, Decoder, Pick};

/// A run of a capture, ready to cut out.
#[derive(Debug, Clone, Copy, Default)]
struct Cut {
    left: u8,
    right: u8,
    /// In one word: bits behind the number, and where it is once they are gone.
    behind: u8,
    mask: u64,
    /// The bits to invert.
    flip: u64,
}

impl Cut {
    fn of(pick: &Pick) -> Option<Cut> {
        let Pick::Run { flip, left, right } = pick else { return None };
        let mask = u64::MAX >> right;
        let (left, right) = (*left as u8, *right as u8);
        Some(Cut { left, right, behind: right.saturating_sub(left), mask, flip: flip & mask })
    }

    #[inline]
    fn number<B: Bits>(&self, bits: B) -> u64 {
        let number = match B::WORDS {
            1 => bits.word(0) >> (self.behind & 63) & self.mask,
            _ => bits.window(self.left.into()) >> (self.right & 63),
        };
        number ^ self.flip
    }
}

impl Decoder<'_> {
    /// The numbers of the views that fit: of the first capture's in their
    /// order, then of the next one's. `fits` is what [`Decoder::fits`] wrote;
    /// `picks` has what to read of each view, up to 64 bits each.
    ///
    /// # Panics
    /// Where `fits` has not [`Decoder::groups`] words for each capture, or
    /// `picks` not a row for each view.
    pub fn numbers<B: Bits, const N: usize>(
        &self,
        captures: &[B],
        fits: &[u64],
        picks: &[[Pick; N]],
        out: &mut Vec<[u64; N]>,
    ) {
        assert_eq!(fits.len(), captures.len() * self.groups(), "a mask of views for each capture");
        assert_eq!(picks.len(), self.views().len(), "a row of picks for each view");
        let total = fits.iter().map(|fits| fits.count_ones() as usize).sum();
        out.resize(total, [0; N]);
        // 64 rows a word of a mask, so that a bit of it always has one.
        let mut cuts = vec![[Cut::default(); N]; 64 * self.groups()];
        let runs = cuts.iter_mut().zip(picks).all(|(cuts, picks)| {
            cuts.iter_mut()
                .zip(picks)
                .all(|(cut, pick)| Cut::of(pick).map(|of| *cut = of).is_some())
        });
        let cuts = cuts.as_chunks::<64>().0;
        let mut places = out.iter_mut();
        for (capture, fits) in captures.iter().zip(fits.chunks_exact(self.groups().max(1))) {
            for (group, (mask, cuts)) in fits.iter().zip(cuts).enumerate() {
                let mut rest = *mask;
                while rest != 0 {
                    let view = rest.trailing_zeros() as usize % 64;
                    rest &= rest - 1;
                    let Some(place) = places.next() else { return };
                    *place = match runs {
                        true => cuts[view].map(|cut| cut.number(*capture)),
                        false => (picks[64 * group + view].each_ref())
                            .map(|pick| pick.number(*capture) as u64),
                    };
                }
            }
        }
    }
}
