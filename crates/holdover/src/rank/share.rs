//! The share of a batch that one repeating code has, integrated out.
//!
//! Of T distinct captures, each possible member o is explained by the code
//! `ratio_o × λ` times as well as by everything else. With the prior
//! Gamma(ε) on the share λ, ε small, the posterior on u = ln λ is
//! ∝ ε · exp(−T·e^u) · ∏(1 + e^u·ratio_o) du, beside the mass 1 near λ = 0
//! ("no such code"). What a member needs is the mean of λ given all the
//! *other* members: that is what the code promises it beforehand.

/// A capture that could carry the code.
#[derive(Debug, Clone, Copy)]
pub(super) struct Member {
    /// Likelihood under the code over the likelihood under all else.
    pub ratio: f64,
    /// How much of a capture it is (its wiring may be in doubt), 0 to 1.
    pub weight: f64,
    /// How many captures are alike in both.
    pub count: f64,
}

/// Step of the first grid over ln λ. Judgement: the integrand of a share with
/// few members is smooth on this scale.
const STEP: f64 = 0.35;

/// A member is whole when its wiring is as good as sure; below the other
/// bound it is none.
const WHOLE: f64 = 1.0 - 1e-9;
pub(super) const NONE: f64 = 1e-9;

/// Standard deviations of the second grid's ends, and its points.
const REACH: f64 = 4.0;
const POINTS: usize = 17;

/// The mean share promised to each member by the others, written to `out`.
///
/// `epsilon` is the prior's shape, `total` the number of distinct captures.
pub(super) fn predictive_share(members: &[Member], epsilon: f64, total: f64, out: &mut Vec<f64>) {
    out.clear();
    let t = total + 1.0;
    if let [Member { count: 1.0, .. }] = members {
        out.push(epsilon / t);
        return;
    }
    let grid = Grid::over(members, epsilon, t);
    out.extend(members.iter().map(|member| grid.mean_without(member)));
}

/// The mean share promised to one more capture by all the members.
pub(super) fn share_of_another(members: &[Member], epsilon: f64, total: f64) -> f64 {
    let none = Member { ratio: 0.0, weight: 0.0, count: 1.0 };
    Grid::over(members, epsilon, total + 1.0).mean_without(&none)
}

struct Grid {
    /// (λ, weight of the posterior there), relative to `none`.
    points: Vec<(f64, f64)>,
    /// Weight of "no such code" on the same scale.
    none: f64,
}

impl Grid {
    fn over(members: &[Member], epsilon: f64, t: f64) -> Grid {
        let log = |u: f64| {
            let share = u.exp();
            gain(members, share) - t * share
        };
        let count: f64 = members.iter().map(|m| m.weight * m.count).sum();
        // Below a hundredth of a capture the integrand falls like λ; above
        // four times the members it falls like exp(−Tλ).
        let (low, high) = ((0.01 / t).ln(), ((8.0 + 4.0 * count) / t).min(1.0).ln());
        let steps = ((high - low) / STEP).ceil().max(1.0) as usize;
        let step = (high - low) / steps as f64;
        let mut logs: Vec<(f64, f64)> =
            (0..=steps).map(|i| low + i as f64 * step).map(|u| (u, log(u))).collect();
        let mut width = step;
        let peak = logs.iter().copied().fold((low, f64::MIN), |a, b| if b.1 > a.1 { b } else { a });
        // Where the code surely exists and many members pin its share, the
        // first grid is too coarse: lay a finer one over the peak.
        if peak.1 + epsilon.ln() > 20.0
            && let Some((centre, deviation)) = summit(members, t, peak.0)
            && deviation < 1.5 * step
        {
            width = 2.0 * REACH * deviation / (POINTS - 1) as f64;
            let point = |i: usize| (centre - REACH * deviation + i as f64 * width).min(0.0);
            logs = (0..POINTS).map(point).map(|u| (u, log(u))).collect();
        }
        let top = logs.iter().map(|(_, log)| *log).fold(0.0, f64::max);
        let points = logs
            .iter()
            .map(|(u, log)| {
                let share = u.exp();
                let weight = epsilon * width * ((log - top).exp() - (-t * share - top).exp());
                (share, weight.max(0.0))
            })
            .collect();
        Grid { points, none: (-top).exp() }
    }

    /// E[λ] over the posterior with one capture like `member` taken out.
    fn mean_without(&self, member: &Member) -> f64 {
        // Whole members apart: a power takes longer than all else.
        let part: &dyn Fn(f64) -> f64 = match member.weight > WHOLE {
            true => &|alone| alone,
            false => &|alone| alone.powf(member.weight),
        };
        let (mut norm, mut mean) = (self.none, 0.0);
        for (share, weight) in &self.points {
            let weight = weight / part(1.0 + share * member.ratio);
            norm += weight;
            mean += weight * share;
        }
        mean / norm
    }
}

/// Logarithm of ∏(1 + share·ratio)^weight. Whole members are multiplied and
/// their product's logarithm taken now and then: that is most of the work.
fn gain(members: &[Member], share: f64) -> f64 {
    let (mut sum, mut product) = (0.0, 1.0);
    for member in members {
        let factor = 1.0 + share * member.ratio;
        if member.count > 1.0 {
            sum += member.count * member.weight * factor.ln();
        } else if member.weight > WHOLE {
            product *= factor;
            if product > 1e150 {
                sum += f64::ln(product);
                product = 1.0;
            }
        } else {
            sum += member.weight * factor.ln();
        }
    }
    sum + product.ln()
}

/// Newton's method for the peak of the integrand's logarithm, and the
/// standard deviation there.
fn summit(members: &[Member], t: f64, start: f64) -> Option<(f64, f64)> {
    let mut u = start;
    for _ in 0..20 {
        let share = u.exp();
        let (mut slope, mut bend) = (-t * share, -t * share);
        for m in members {
            let x = share * m.ratio;
            let weight = m.weight * m.count;
            slope += weight * x / (1.0 + x);
            bend += weight * x / ((1.0 + x) * (1.0 + x));
        }
        if bend >= 0.0 {
            return None;
        }
        let step = (slope / bend).clamp(-0.5, 0.5);
        u -= step;
        if step.abs() < 1e-3 {
            return Some((u, (-bend).sqrt().recip()));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shares(members: &[Member], epsilon: f64, total: f64) -> Vec<f64> {
        let mut out = Vec::new();
        predictive_share(members, epsilon, total, &mut out);
        out
    }

    #[test]
    fn sure_members_follow_the_predictive_rule() {
        // Members that nothing else explains: the promise to one of c is
        // (c − 1)/(T + 1), as a Dirichlet process predicts.
        for c in [2usize, 5, 40, 3000] {
            let members = vec![Member { ratio: 1e30, weight: 1.0, count: 1.0 }; c];
            let total = 4.0 * c as f64;
            let share = shares(&members, 1e-4, total)[0];
            let expected = (c as f64 - 1.0) / (total + 1.0);
            assert!((share / expected - 1.0).abs() < 0.02, "{c}: {share} {expected}");
        }
    }

    #[test]
    fn a_chance_pair_does_not_prove_itself() {
        // Two captures of 20 that share an 8-bit code, nothing else about them
        // telling: joint odds are about 2^8 × share², not its square.
        let epsilon = 0.45 / 256.0;
        let ratio = 256.0 / 0.55;
        let pair = [Member { ratio, weight: 1.0, count: 1.0 }; 2];
        let share = shares(&pair, epsilon, 20.0)[0];
        let posterior = share * ratio / (1.0 + share * ratio);
        assert!(posterior < 0.6, "{posterior}");
        // Two alike are the same as two.
        let alike = [Member { ratio, weight: 1.0, count: 2.0 }];
        assert!((shares(&alike, epsilon, 20.0)[0] / share - 1.0).abs() < 1e-9);
        // Ten of twenty do.
        let ten = [Member { ratio, weight: 1.0, count: 1.0 }; 10];
        let share = shares(&ten, epsilon, 20.0)[0];
        assert!(share * ratio > 100.0);
    }
}
