//! Few layouts of up to 64 bits: syndromes of eight bits, looked up by 13 bits
//! of the capture at a time. The 26-bit card takes two look-ups.

use super::Bits;

/// Bits a look-up. Judgement: up to 64 bits, the tables stay in a processor's
/// nearest cache (8 KB each).
const STEP: usize = 13;

/// Eight bits a syndrome, whatever they stand for.
#[derive(Debug, Clone)]
pub(super) struct Few {
    tables: Vec<[u8; 1 << STEP]>,
    /// Which views fit, by syndrome.
    fits: Vec<u64>,
}

impl Few {
    /// `columns` has what each bit of a capture adds to the syndrome; `fits`
    /// says what a sum of them comes to.
    pub fn new(columns: &[u8], fits: impl Fn(u8) -> u64) -> Few {
        let table = |columns: &[u8]| {
            let mut table = [0; 1 << STEP];
            for value in 1..table.len() {
                let bit = STEP - 1 - value.trailing_zeros() as usize;
                let own = columns.get(bit).copied().unwrap_or(0);
                table[value] = table[value & (value - 1)] ^ own;
            }
            table
        };
        let tables = columns.chunks(STEP).map(table).collect();
        Few { tables, fits: (0..=u8::MAX).map(fits).collect() }
    }

    /// Which views fit, a word a capture.
    pub fn fits<B: Bits>(&self, captures: &[B], out: &mut [u64]) {
        // How many look-ups is known to the compiler.
        match self.tables.len() {
            1 => self.each::<1, B>(captures, out),
            2 => self.each::<2, B>(captures, out),
            3 => self.each::<3, B>(captures, out),
            4 => self.each::<4, B>(captures, out),
            _ => self.each::<5, B>(captures, out),
        }
    }

    fn each<const STEPS: usize, B: Bits>(&self, captures: &[B], out: &mut [u64]) {
        let (Some(tables), Some(fits)) =
            (self.tables.first_chunk::<STEPS>(), self.fits.first_chunk::<256>())
        else {
            return;
        };
        for (capture, out) in captures.iter().zip(out) {
            let word = capture.word(0);
            let mut sum = 0;
            for (i, table) in tables.iter().enumerate() {
                sum ^= table[(word << (STEP * i) >> (64 - STEP)) as usize];
            }
            *out = fits[usize::from(sum)];
        }
    }
}
