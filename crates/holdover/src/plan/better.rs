//! First guesses: a choice bettered from many starts.

use super::choose::{Cost, Edge, Judge, Problem, Variable};

/// Lengths shaken up at a time. Judgement, no source.
const SHAKEN: usize = 4;

impl Problem {
    /// A choice found by bettering one length at a time, and two where slots
    /// go from one to the other, from a start shaken up so many times.
    /// Where there is no time for more, the best so far.
    pub fn guess(&self, shakes: usize, judge: &mut dyn Judge) -> Option<Vec<(usize, usize)>> {
        let mut random = 0x2545_F491_4F6C_DD1Du64;
        let mut at = self.start()?;
        let mut cost = self.better(&mut at);
        let mut best = (cost, at.clone());
        for _ in 0..shakes {
            if !judge.go_on(16 * self.options_left() as u64) {
                break;
            }
            for _ in 0..SHAKEN {
                // xorshift64* (Marsaglia 2003, from memory).
                random ^= random >> 12;
                random ^= random << 25;
                random ^= random >> 27;
                let drawn = (random.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize;
                let which = drawn % at.len().max(1);
                let Some(variable) = self.variables.get(which) else { continue };
                let to = drawn / at.len().max(1) % variable.values.len();
                let before = std::mem::replace(&mut at[which], to);
                if self.used(&at) > self.slots {
                    at[which] = before;
                }
            }
            cost = self.better(&mut at);
            if cost < best.0 {
                best = (cost, at.clone());
            } else {
                at.clone_from(&best.1);
            }
        }
        let name =
            |(variable, i): (&Variable, &usize)| (variable.class, variable.values[*i].option);
        Some(
            self.chosen
                .iter()
                .copied()
                .chain(self.variables.iter().zip(&best.1).map(name))
                .collect(),
        )
    }

    /// What an option costs, the prices of its slots and cliques left out.
    fn own(&self, variable: &Variable, i: usize) -> Cost {
        let value = &variable.values[i];
        let cliques: Cost = variable.values_in[i].iter().map(|clique| self.cliques[*clique]).sum();
        value.cost - self.price * value.slots as Cost - cliques
    }

    fn used(&self, at: &[usize]) -> usize {
        self.variables.iter().zip(at).map(|(variable, i)| variable.values[*i].slots).sum()
    }

    /// Each length's cheapest option, then fewer slots where they do not do.
    fn start(&self) -> Option<Vec<usize>> {
        let cheapest = |variable: &Variable| {
            let values = variable.values.iter().enumerate();
            values.map(|(i, _)| i).min_by_key(|i| self.own(variable, *i))
        };
        let mut at: Vec<usize> = self.variables.iter().map(cheapest).collect::<Option<_>>()?;
        while self.used(&at) > self.slots {
            let mut least: Option<(Cost, usize, usize)> = None;
            for (which, variable) in self.variables.iter().enumerate() {
                let now = variable.values[at[which]];
                for (i, value) in variable.values.iter().enumerate() {
                    if value.slots < now.slots {
                        let more = (self.own(variable, i) - self.own(variable, at[which]))
                            / (now.slots - value.slots) as Cost;
                        if least.is_none_or(|(least, _, _)| more < least) {
                            least = Some((more, which, i));
                        }
                    }
                }
            }
            let (_, which, i) = least?;
            at[which] = i;
        }
        Some(at)
    }

    /// What each option of a length costs beside what is chosen for others.
    fn costs(&self, which: usize, at: &[usize]) -> Vec<Cost> {
        let variable = &self.variables[which];
        let mut costs: Vec<Cost> =
            (0..variable.values.len()).map(|i| self.own(variable, i)).collect();
        for edge in variable.edges.iter().map(|edge| &self.edges[*edge]) {
            let columns = self.variables[edge.b].values.len();
            for (i, cost) in costs.iter_mut().enumerate() {
                *cost += match edge.a == which {
                    true => edge.table[i * columns + at[edge.b]],
                    false => edge.table[at[edge.a] * columns + i],
                };
            }
        }
        costs
    }

    fn total(&self, at: &[usize]) -> Cost {
        let own = self.variables.iter().zip(at).map(|(variable, i)| self.own(variable, *i));
        let pair =
            |edge: &Edge| edge.table[at[edge.a] * self.variables[edge.b].values.len() + at[edge.b]];
        let given_back = self.price * self.slots as Cost;
        self.base + given_back + own.sum::<Cost>() + self.edges.iter().map(pair).sum::<Cost>()
    }

    /// Betters a choice as long as one length, or two that trade slots, can.
    fn better(&self, at: &mut [usize]) -> Cost {
        loop {
            let mut moved = false;
            let mut used = self.used(at);
            let mut trades: Vec<(usize, isize, Cost, usize)> = Vec::new();
            for which in 0..at.len() {
                let costs = self.costs(which, at);
                let values = &self.variables[which].values;
                let now = values[at[which]].slots;
                let fits = |i: &usize| used - now + values[*i].slots <= self.slots;
                let best = (0..costs.len()).filter(fits).min_by_key(|i| costs[*i]);
                if let Some(best) = best.filter(|best| costs[*best] < costs[at[which]]) {
                    used = used - now + values[best].slots;
                    at[which] = best;
                    moved = true;
                }
                let now = values[at[which]].slots as isize;
                let mut least: Vec<(usize, isize, Cost, usize)> = Vec::new();
                for (i, cost) in costs.iter().enumerate() {
                    let (more, cost) = (values[i].slots as isize - now, cost - costs[at[which]]);
                    match least.iter_mut().find(|trade| trade.1 == more) {
                        Some(trade) if cost < trade.2 => *trade = (which, more, cost, i),
                        Some(_) => {}
                        None => least.push((which, more, cost, i)),
                    }
                }
                trades.extend(least.into_iter().filter(|trade| trade.1 != 0));
            }
            if moved {
                continue;
            }
            let before = self.total(at);
            let mut done = false;
            for give in trades.iter().filter(|trade| trade.1 < 0) {
                for take in trades.iter().filter(|trade| trade.1 > 0 && trade.0 != give.0) {
                    let fits = used as isize + give.1 + take.1 <= self.slots as isize;
                    if done || !fits || give.2 + take.2 >= 0 {
                        continue;
                    }
                    let kept = (at[give.0], at[take.0]);
                    (at[give.0], at[take.0]) = (give.3, take.3);
                    done = self.total(at) < before;
                    if !done {
                        (at[give.0], at[take.0]) = kept;
                    }
                }
            }
            if !done {
                return before;
            }
        }
    }
}
