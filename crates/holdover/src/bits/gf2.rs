//! Linear algebra over GF(2): relations between bits, their rank, and words
//! that meet them.

use super::Wide;

/// A relation: the bits in `bits` XOR to `constant`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Relation {
    /// The bits that take part.
    pub bits: Wide,
    /// What they XOR to.
    pub constant: bool,
}

impl Relation {
    /// Whether `word` meets it.
    pub fn holds(self, word: Wide) -> bool {
        (self.bits & word).parity() == self.constant
    }
}

/// What a relation adds to a [`System`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It says something new.
    Independent,
    /// It follows from the relations before it.
    Implied,
    /// It contradicts them: no word meets all.
    Contradiction,
}

/// Relations in reduced form: each has a pivot bit that no other one holds.
#[derive(Debug, Clone, Default)]
pub struct System {
    rows: Vec<(usize, Relation)>,
}

impl System {
    /// No relation: every word meets it.
    pub fn new() -> System {
        System::default()
    }

    /// The number of independent relations.
    pub fn rank(&self) -> usize {
        self.rows.len()
    }

    /// The relations in reduced form.
    pub(crate) fn relations(&self) -> impl Iterator<Item = Relation> + '_ {
        self.rows.iter().map(|(_, relation)| *relation)
    }

    /// Adds a relation, its pivot the first of its bits.
    pub fn add(&mut self, relation: Relation) -> Added {
        self.add_preferring(relation, &[])
    }

    /// Adds a relation whose pivot is, where possible, one of the first of
    /// `preferred`, or of the second, and so on.
    pub fn add_preferring(&mut self, relation: Relation, preferred: &[Wide]) -> Added {
        let reduced = self.reduce(relation);
        let wanted = preferred.iter().find_map(|bits| (reduced.bits & *bits).first_one());
        let Some(pivot) = wanted.or_else(|| reduced.bits.first_one()) else {
            return if reduced.constant { Added::Contradiction } else { Added::Implied };
        };
        for (_, row) in &mut self.rows {
            if row.bits.bit(pivot) {
                row.bits = row.bits ^ reduced.bits;
                row.constant ^= reduced.constant;
            }
        }
        self.rows.push((pivot, reduced));
        Added::Independent
    }

    /// What is left of a relation when those of the system are used to clear
    /// their pivots from it. Nothing left: it follows, or contradicts.
    pub fn reduce(&self, mut relation: Relation) -> Relation {
        for (pivot, row) in &self.rows {
            if relation.bits.bit(*pivot) {
                relation.bits = relation.bits ^ row.bits;
                relation.constant ^= row.constant;
            }
        }
        relation
    }

    /// The word that agrees with `free` everywhere but on pivots and meets
    /// every relation.
    pub fn complete(&self, free: Wide) -> Wide {
        let mut word = free;
        for (pivot, _) in &self.rows {
            word.set(*pivot, false);
        }
        // Reduced rows hold no other pivot, so the order does not matter.
        let base = word;
        for (pivot, row) in &self.rows {
            word.set(*pivot, (row.bits & base).parity() != row.constant);
        }
        word
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn random(next: &mut u64) -> u64 {
        // xorshift64*, enough for counting ranks (Vigna, "An experimental
        // exploration of Marsaglia's xorshift generators, scrambled", ACM
        // Transactions on Mathematical Software 42(4), 2016; from memory).
        *next ^= *next >> 12;
        *next ^= *next << 25;
        *next ^= *next >> 27;
        next.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    #[test]
    fn full_rank_is_as_frequent_as_the_product_formula_says() {
        // P(n × (n+m) random matrix has full rank) = ∏ (1 − 2^-(m+i)), i = 1..n:
        // 168/512 for 3 × 3 (168: OEIS A002884) and 2520/4096 for 3 × 4, counted out.
        for (columns, full, all) in [(3u32, 168, 512), (4, 2520, 4096)] {
            let mut count = 0;
            for matrix in 0..all {
                let mut system = System::new();
                for row in 0..3 {
                    let bits = matrix >> (row * columns) & ((1 << columns) - 1);
                    let bits = Wide([(bits as u64) << (64 - columns), 0, 0, 0]);
                    system.add(Relation { bits, constant: false });
                }
                count += usize::from(system.rank() == 3);
            }
            assert_eq!(count, full);
        }
        // 32 × 32 by the formula; 4,000 draws, five standard deviations.
        let expected: f64 = (1..=32).map(|i| 1.0 - 0.5f64.powi(i)).product();
        let mut seed = 26;
        let full = (0..4000)
            .filter(|_| {
                let mut system = System::new();
                for _ in 0..32 {
                    let bits = Wide([random(&mut seed) << 32, 0, 0, 0]);
                    system.add(Relation { bits, constant: false });
                }
                system.rank() == 32
            })
            .count();
        let sd = (expected * (1.0 - expected) / 4000.0).sqrt();
        assert!((full as f64 / 4000.0 - expected).abs() < 5.0 * sd);
    }

    proptest! {
        #[test]
        fn completed_words_meet_every_relation(
            rows in proptest::collection::vec((any::<[u64; 4]>(), any::<bool>()), 0..40),
            free: [u64; 4],
        ) {
            let mut system = System::new();
            let mut kept = Vec::new();
            for (bits, constant) in rows {
                let relation = Relation { bits: Wide(bits), constant };
                if system.add(relation) != Added::Contradiction {
                    kept.push(relation);
                }
            }
            let word = system.complete(Wide(free));
            for relation in kept {
                prop_assert!(relation.holds(word));
            }
        }
    }
}
