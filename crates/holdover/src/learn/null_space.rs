//! The affine relations over GF(2) that hold in every capture, kept directly:
//! all of them at first, less by one whenever a capture violates some. Needs
//! captures of one length; how many relations are left is no evidence by
//! itself, for a small sample meets many by accident.

use crate::bits::gf2::Relation;
use crate::bits::{Capture, Wide};

/// The relations that hold in all rows seen, reduced: each has a pivot, its
/// first bit, that no other one holds. They are a basis of all that hold.
///
/// # Examples
/// ```
/// use holdover::bits::Capture;
/// use holdover::learn::null_space;
/// let cards: Vec<Capture> = ["0110", "1010", "0000"].map(|t| t.parse().unwrap()).to_vec();
/// let space = null_space(&cards);
/// // Bit 4 is always 0, and the first three bits are even.
/// assert_eq!(space.relations().len(), 2);
/// assert_eq!(space.rank(), 2);
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NullSpace {
    length: usize,
    relations: Vec<Relation>,
}

impl NullSpace {
    /// Bits a row.
    pub fn length(&self) -> usize {
        self.length
    }

    /// A basis, reduced, in the order of the pivots. Empty where no row was seen.
    pub fn relations(&self) -> &[Relation] {
        &self.relations
    }

    /// The affine rank of the sample: bits less relations.
    pub fn rank(&self) -> usize {
        self.length - self.relations.len()
    }
}

/// The relations that hold in every one of `captures`, which should have one
/// length; those of another length than the first are not looked at.
pub fn null_space(captures: &[Capture]) -> NullSpace {
    let Some(first) = captures.first() else {
        return NullSpace { length: 0, relations: Vec::new() };
    };
    let length = first.len();
    if length <= 64 {
        let mut keeper = Keeper::new(first.wide().0[0], length);
        let mut block = [0; BLOCK];
        for chunk in captures.chunks(BLOCK) {
            let mut alike = true;
            for (word, capture) in block.iter_mut().zip(chunk) {
                *word = capture.wide().0[0];
                alike &= capture.len() == length;
            }
            if alike {
                keeper.add(&block[..chunk.len()]);
            } else {
                let alike = chunk.iter().filter(|capture| capture.len() == length);
                alike.for_each(|capture| keeper.add(&[capture.wide().0[0]]));
            }
            if keeper.kept.is_empty() {
                break;
            }
        }
        return keeper.finish();
    }
    let origin = first.wide();
    let mut kept: Vec<Wide> = (0..length).map(|at| Wide::ones(1).towards_end(at)).collect();
    for capture in captures.iter().filter(|capture| capture.len() == length) {
        drop_violated(&mut kept, |v| (*v & (capture.wide() ^ origin)).parity(), |a, b| *a = *a ^ b);
    }
    reduce(&mut kept, |v| v.first_one(), |v, at| v.bit(at), |a, b| *a = *a ^ b);
    let relation = |bits: Wide| Relation { bits, constant: (bits & origin).parity() };
    NullSpace { length, relations: kept.into_iter().map(relation).collect() }
}

/// Rows checked at a time: as many as a word has bits.
const BLOCK: usize = 64;

/// With more relations than this that are no single bits, tables of their
/// parities by byte are quicker than one after the other (measured).
const MANY: usize = 5;

/// The relations held so far, over rows of up to 64 bits.
struct Keeper {
    length: usize,
    origin: u64,
    kept: Vec<u64>,
    /// Single bits among them, as one mask: no row may differ there.
    still: u64,
    /// The others, and what each XORs to in all 64 rows.
    several: Vec<(u64, u64)>,
    /// With many of those: for each byte of a row their parities.
    tables: Vec<[u64; 256]>,
    /// How many rows in a row have violated nothing.
    calm: usize,
}

impl Keeper {
    fn new(origin: u64, length: usize) -> Keeper {
        let kept = (0..length).map(|at| 1 << (63 - at)).collect();
        let mut keeper = Keeper {
            length,
            origin,
            kept,
            still: 0,
            several: Vec::new(),
            tables: Vec::new(),
            calm: 0,
        };
        keeper.prepare();
        keeper
    }

    fn add(&mut self, rows: &[u64]) {
        if self.calm >= BLOCK
            && let Ok(block) = <&[u64; BLOCK]>::try_from(rows)
            && self.all_hold(block)
        {
            return;
        }
        let mut changed = false;
        for row in rows {
            let moved = row ^ self.origin;
            let violated = drop_violated(
                &mut self.kept,
                |v| (v & moved).count_ones() & 1 == 1,
                |a, b| *a ^= b,
            );
            self.calm = if violated { 0 } else { self.calm + 1 };
            changed |= violated;
        }
        if changed || self.calm < 2 * BLOCK {
            self.prepare();
        }
    }

    fn prepare(&mut self) {
        reduce(
            &mut self.kept,
            |v| (*v != 0).then(|| v.leading_zeros() as usize),
            |v, at| v >> (63 - at) & 1 == 1,
            |a, b| *a ^= b,
        );
        let (single, several): (Vec<u64>, Vec<u64>) =
            self.kept.iter().partition(|v| v.count_ones() == 1);
        self.still = single.iter().fold(0, |mask, v| mask | v);
        let constant = |v: u64| 0u64.wrapping_sub(u64::from((v & self.origin).count_ones() & 1));
        self.several = several.iter().map(|&v| (v, constant(v))).collect();
        self.tables.clear();
        if self.several.len() > MANY {
            for byte in 0..8 {
                let mut table = [0; 256];
                for (value, entry) in table.iter_mut().enumerate() {
                    let bits = (value as u64) << (8 * byte);
                    for (i, v) in several.iter().enumerate() {
                        *entry |= u64::from((v & bits).count_ones() & 1) << i;
                    }
                }
                self.tables.push(table);
            }
        }
    }

    /// Whether the rows meet every relation held.
    fn all_hold(&self, block: &[u64; BLOCK]) -> bool {
        if self.still != 0 {
            let moved = block.iter().fold(0, |any, row| any | (row ^ self.origin));
            if moved & self.still != 0 {
                return false;
            }
        }
        if let [a, b, c, d, e, f, g, h] = &self.tables[..] {
            let syndrome = |row: u64| {
                let [z, y, x, w, v, u, t, s] = (row ^ self.origin).to_be_bytes().map(usize::from);
                a[s] ^ b[t] ^ c[u] ^ d[v] ^ e[w] ^ f[x] ^ g[y] ^ h[z]
            };
            return block.iter().fold(0, |any, &row| any | syndrome(row)) == 0;
        }
        self.several.iter().all(|&(bits, all)| parities(block, bits) == all)
    }

    fn finish(mut self) -> NullSpace {
        self.prepare();
        let relation = |v: &u64| Relation {
            bits: Wide([*v, 0, 0, 0]),
            constant: (v & self.origin).count_ones() & 1 == 1,
        };
        NullSpace { length: self.length, relations: self.kept.iter().map(relation).collect() }
    }
}

/// The parities of 64 masked words, a bit each (in some order): pairs of words
/// are folded into one until one is left.
fn parities(block: &[u64; BLOCK], mask: u64) -> u64 {
    let mut words = [0u64; 32];
    for i in 0..32 {
        let (a, b) = (block[i] & mask, block[i + 32] & mask);
        words[i] = fold(a, b, 32, 0x0000_0000_FFFF_FFFF);
    }
    for i in 0..16 {
        words[i] = fold(words[i], words[i + 16], 16, 0x0000_FFFF_0000_FFFF);
    }
    for i in 0..8 {
        words[i] = fold(words[i], words[i + 8], 8, 0x00FF_00FF_00FF_00FF);
    }
    for i in 0..4 {
        words[i] = fold(words[i], words[i + 4], 4, 0x0F0F_0F0F_0F0F_0F0F);
    }
    for i in 0..2 {
        words[i] = fold(words[i], words[i + 2], 2, 0x3333_3333_3333_3333);
    }
    fold(words[0], words[1], 1, 0x5555_5555_5555_5555)
}

/// Halves of `a` XORed into the low places, halves of `b` into the high ones.
#[inline(always)]
fn fold(a: u64, b: u64, by: u32, low: u64) -> u64 {
    ((a ^ (a >> by)) & low) | ((b ^ (b << by)) & !low)
}

/// Drops one of the violated relations and adds it to the others: the sum of
/// two violated ones holds. True when any was violated.
fn drop_violated<V: Copy>(
    kept: &mut Vec<V>,
    violated: impl Fn(&V) -> bool,
    add: impl Fn(&mut V, V),
) -> bool {
    let Some(first) = kept.iter().position(&violated) else { return false };
    let dropped = kept.remove(first);
    kept[first..].iter_mut().filter(|v| violated(v)).for_each(|v| add(v, dropped));
    true
}

/// Reduced form: each has a pivot, its first bit, that no other one holds.
fn reduce<V: Copy>(
    kept: &mut Vec<V>,
    first: impl Fn(&V) -> Option<usize>,
    bit: impl Fn(&V, usize) -> bool,
    add: impl Fn(&mut V, V),
) {
    let mut done = 0;
    while done < kept.len() {
        let next = (done..kept.len()).filter_map(|i| Some((first(&kept[i])?, i))).min();
        let Some((pivot, i)) = next else { break };
        kept.swap(done, i);
        let row = kept[done];
        for (j, other) in kept.iter_mut().enumerate() {
            if j != done && bit(other, pivot) {
                add(other, row);
            }
        }
        done += 1;
    }
    kept.truncate(done);
}
