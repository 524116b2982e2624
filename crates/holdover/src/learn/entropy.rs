//! How much is told by what may be so or not.

/// The entropy in bits of what is so with probability `p`.
pub(super) fn entropy(p: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 { 0.0 } else { -p * p.log2() - (1.0 - p) * (1.0 - p).log2() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By Shannon's formula: `2 - 3/4 log2 3` for one in four; what is certain
    /// tells nothing.
    #[test]
    fn entropy_of_one_in_so_many() {
        for (p, bits) in [(0.0, 0.0), (0.25, 2.0 - 0.75 * 3.0_f64.log2()), (0.5, 1.0), (1.0, 0.0)] {
            assert!((entropy(p) - bits).abs() < 1e-12, "{p}");
            assert!((entropy(1.0 - p) - bits).abs() < 1e-12, "{p}");
        }
    }
}
