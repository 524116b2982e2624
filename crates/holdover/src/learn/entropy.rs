//! How much is told by what may be so or not.

/// The entropy in bits of what is so with probability `p`.
pub(super) fn entropy(p: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 { 0.0 } else { -p * p.log2() - (1.0 - p) * (1.0 - p).log2() }
}

/// log2 of the ways to choose `k` of `n`, at most (Cover and Thomas, Elements of
/// Information Theory, 2nd edition, example 11.1.3; from memory).
pub(super) fn choices(k: usize, n: usize) -> f64 {
    n as f64 * entropy(k as f64 / n.max(1) as f64)
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

    /// Beside the ways counted out: 10 of 2 in 5, 3,003 of 5 in 15; one way to
    /// take none or all.
    #[test]
    fn choices_bound_the_ways() {
        for (k, n, ways) in
            [(2, 5, 10.0_f64), (5, 15, 3003.0), (0, 7, 1.0), (7, 7, 1.0), (0, 0, 1.0)]
        {
            let over = choices(k, n) - ways.log2();
            assert!((0.0..=((n + 1) as f64).log2()).contains(&over), "{k} of {n}: {over}");
        }
    }
}
