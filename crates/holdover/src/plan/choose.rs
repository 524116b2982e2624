//! Choosing one option for each of many lengths, where any two options may
//! cost something together: branch and bound on what is known to be lost.
//!
//! Costs are moved about between a pair of lengths and the lengths themselves
//! so that what every choice must pay gathers in one number, the bound (tree
//! reweighted message passing after Kolmogorov 2006, from memory, kept to whole
//! numbers that never fall below 0, so that the bound only grows).

use super::error::PlanError;

/// A cost; sums stay far below the largest.
pub(crate) type Cost = i128;

/// Sweeps that gather costs before the first choice, and after each one.
/// Judgement, no source: more gain little.
const SWEEPS_FIRST: usize = 300;
const SWEEPS_EACH: usize = 3;

/// Sweeps without gain before gathering ends. Judgement, no source.
const IDLE_MOST: usize = 12;

/// How often slots are priced anew before the first choice. Judgement, no
/// source.
const BALANCES: usize = 3;

/// Lengths shaken up at a time. Judgement, no source.
const SHAKEN: usize = 4;

/// One option of a length.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Value {
    pub option: usize,
    pub cost: Cost,
    /// Slots it takes.
    pub slots: usize,
}

/// A length still open.
#[derive(Debug, Clone)]
pub(crate) struct Variable {
    pub class: usize,
    pub values: Vec<Value>,
    /// Indices of its edges.
    edges: Vec<usize>,
}

/// What options of two lengths cost together; row by row of the first.
#[derive(Debug, Clone)]
struct Edge {
    a: usize,
    b: usize,
    table: Vec<Cost>,
}

/// What is still to be chosen.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    /// What any choice costs at least.
    pub base: Cost,
    pub variables: Vec<Variable>,
    edges: Vec<Edge>,
    /// Slots left.
    pub slots: usize,
    /// Lengths that are settled, with their options.
    pub chosen: Vec<(usize, usize)>,
}

/// Who weighs what was chosen, and knows what is good enough.
pub(crate) trait Judge {
    /// Bounds above this are of no use.
    fn limit(&self) -> Cost;
    /// Whether a problem is of no use for another reason.
    fn hopeless(&mut self, problem: &Problem) -> Result<bool, PlanError>;
    /// Everything is chosen.
    fn leaf(&mut self, chosen: &[(usize, usize)]) -> Result<(), PlanError>;
    /// Takes note of work, and says whether to go on.
    fn go_on(&mut self, work: u64) -> bool;
}

impl Problem {
    /// `options` are the values of each length, `pairs` what two lengths cost
    /// together: their indices, and a table row by row of the first.
    pub fn new(
        options: Vec<Vec<Value>>,
        pairs: impl IntoIterator<Item = ((usize, usize), Vec<Cost>)>,
        slots: usize,
    ) -> Problem {
        let variable = |(class, values)| Variable { class, values, edges: Vec::new() };
        let variables = options.into_iter().enumerate().map(variable).collect();
        let mut problem =
            Problem { base: 0, variables, edges: Vec::new(), slots, chosen: Vec::new() };
        for ((a, b), table) in pairs {
            problem.variables[a].edges.push(problem.edges.len());
            problem.variables[b].edges.push(problem.edges.len());
            problem.edges.push(Edge { a, b, table });
        }
        problem
    }

    fn work(&self) -> u64 {
        self.edges.iter().map(|edge| edge.table.len() as u64).sum::<u64>()
            + self.variables.len() as u64
    }

    /// Moves what each option of a length costs with every option of another
    /// to the length itself, and the least of it to the bound.
    fn collect(&mut self, at: usize) {
        let Problem { variables, edges, base, .. } = self;
        let variable = &mut variables[at];
        for edge in &variable.edges {
            let edge = &mut edges[*edge];
            let width = edge.table.len() / variable.values.len().max(1);
            for (i, value) in variable.values.iter_mut().enumerate() {
                let least = if edge.a == at {
                    let row = &mut edge.table[i * width..(i + 1) * width];
                    let least = row.iter().copied().min().unwrap_or(0);
                    if least > 0 {
                        row.iter_mut().for_each(|cost| *cost -= least);
                    }
                    least
                } else {
                    let columns = edge.table.len() / width.max(1);
                    let column = || (0..width).map(|j| j * columns + i);
                    let least = column().map(|j| edge.table[j]).min().unwrap_or(0);
                    if least > 0 {
                        column().for_each(|j| edge.table[j] -= least);
                    }
                    least
                };
                value.cost += least;
            }
        }
        let least = variable.values.iter().map(|value| value.cost).min().unwrap_or(0);
        variable.values.iter_mut().for_each(|value| value.cost -= least);
        *base += least;
    }

    /// Shares out what a length's options cost among its edges to later
    /// lengths, or to earlier ones.
    fn push(&mut self, at: usize, later: bool) {
        let Problem { variables, edges, .. } = self;
        let variable = &mut variables[at];
        let other = |edge: &Edge| edge.a + edge.b - at;
        let after = variable.edges.iter().filter(|edge| other(&edges[**edge]) > at).count();
        let before = variable.edges.len() - after;
        let parts = after.max(before).max(1) as Cost;
        for edge in &variable.edges {
            let edge = &mut edges[*edge];
            if (other(edge) > at) != later {
                continue;
            }
            let width = edge.table.len() / variable.values.len().max(1);
            let columns = variable.values.len();
            for (i, value) in variable.values.iter().enumerate() {
                let share = value.cost / parts;
                if share == 0 {
                    continue;
                }
                for j in 0..width {
                    let cell = if edge.a == at { i * width + j } else { j * columns + i };
                    edge.table[cell] += share;
                }
            }
        }
        let edges_there = if later { after } else { before } as Cost;
        for value in &mut variable.values {
            value.cost -= value.cost / parts * edges_there;
        }
    }

    /// Gathers what every choice must pay.
    fn gather(&mut self, sweeps: usize, judge: &mut dyn Judge) -> bool {
        let mut idle = 0;
        for sweep in 0..sweeps {
            let before = self.base;
            let count = self.variables.len();
            for at in 0..count {
                let at = if sweep % 2 == 0 { at } else { count - 1 - at };
                self.collect(at);
                self.push(at, sweep % 2 == 0);
            }
            if !judge.go_on(2 * self.work()) {
                return false;
            }
            idle = if self.base - before > before / 10_000 { 0 } else { idle + 1 };
            if self.base > judge.limit() || idle >= IDLE_MOST {
                break;
            }
        }
        (0..self.variables.len()).for_each(|at| self.collect(at));
        true
    }

    /// Takes options away: those not in `keep` of a length.
    pub fn keep(&mut self, at: usize, keep: &[bool]) {
        let Problem { variables, edges, .. } = self;
        let variable = &mut variables[at];
        let count = variable.values.len();
        for edge in &variable.edges {
            let edge = &mut edges[*edge];
            let width = edge.table.len() / count.max(1);
            let row_wise = edge.a == at;
            let own = |cell: usize| if row_wise { cell / width.max(1) } else { cell % count };
            let mut cell = 0;
            edge.table.retain(|_| {
                cell += 1;
                keep[own(cell - 1)]
            });
        }
        let mut index = 0;
        variable.values.retain(|_| {
            index += 1;
            keep[index - 1]
        });
    }

    /// Takes away what no good choice holds; false where nothing is left.
    fn prune(&mut self, limit: Cost) -> bool {
        let least_slots = |v: &Variable| v.values.iter().map(|v| v.slots).min().unwrap_or(0);
        let needed: usize = self.variables.iter().map(least_slots).sum();
        let Some(spare) = self.slots.checked_sub(needed) else { return false };
        for at in 0..self.variables.len() {
            let variable = &self.variables[at];
            let own = least_slots(variable);
            let good =
                |value: &Value| self.base + value.cost <= limit && value.slots - own <= spare;
            let keep: Vec<bool> = variable.values.iter().map(good).collect();
            if keep.iter().all(|keep| !keep) {
                return false;
            }
            if keep.contains(&false) {
                self.keep(at, &keep);
            }
        }
        true
    }

    /// The rest without lengths that have one option left, and without pairs
    /// that cost nothing; `None` where those options take more slots than there
    /// are: each had room when it was looked at, and not all of them have.
    fn settled(&self) -> Option<Problem> {
        let mut rest = Problem {
            base: self.base,
            variables: Vec::new(),
            edges: Vec::new(),
            slots: self.slots,
            chosen: self.chosen.clone(),
        };
        let mut places = vec![None; self.variables.len()];
        for (at, variable) in self.variables.iter().enumerate() {
            if let [value] = variable.values[..] {
                rest.base += value.cost;
                rest.slots = rest.slots.checked_sub(value.slots)?;
                rest.chosen.push((variable.class, value.option));
            } else {
                places[at] = Some(rest.variables.len());
                rest.variables.push(Variable { edges: Vec::new(), ..variable.clone() });
            }
        }
        for edge in &self.edges {
            match (places[edge.a], places[edge.b]) {
                (Some(a), Some(b)) => {
                    if edge.table.iter().any(|cost| *cost != 0) {
                        rest.variables[a].edges.push(rest.edges.len());
                        rest.variables[b].edges.push(rest.edges.len());
                        rest.edges.push(Edge { a, b, table: edge.table.clone() });
                    }
                }
                // One of them is settled, so the table is one row or column.
                (Some(open), None) | (None, Some(open)) => {
                    let values = &mut rest.variables[open].values;
                    values.iter_mut().zip(&edge.table).for_each(|(v, cost)| v.cost += cost);
                }
                (None, None) => rest.base += edge.table.iter().sum::<Cost>(),
            }
        }
        Some(rest)
    }

    /// The length to choose for next: whose second best option costs the most
    /// more, then the one with the most pairs.
    fn next(&self) -> usize {
        let regret = |variable: &Variable| {
            let mut costs: Vec<Cost> = variable.values.iter().map(|value| value.cost).collect();
            costs.sort_unstable();
            let weight = |edge: &usize| self.edges[*edge].table.iter().max().copied().unwrap_or(0);
            (costs[1] - costs[0], variable.edges.iter().map(weight).sum::<Cost>())
        };
        let places = 0..self.variables.len();
        places.max_by_key(|at| (regret(&self.variables[*at]), std::cmp::Reverse(*at))).unwrap_or(0)
    }

    /// Gathers costs once, before anything is chosen. False where there is no
    /// time for it.
    pub fn prepare(&mut self, judge: &mut dyn Judge) -> bool {
        for _ in 0..BALANCES {
            self.balance();
            if !self.gather(SWEEPS_FIRST, judge) {
                return false;
            }
        }
        true
    }

    /// The cheapest value of a length for each number of slots.
    fn by_slots(&self, at: usize) -> Vec<(usize, Cost)> {
        let mut least: Vec<(usize, Cost)> = Vec::new();
        for value in &self.variables[at].values {
            match least.iter_mut().find(|(slots, _)| *slots == value.slots) {
                Some((_, cost)) => *cost = value.cost.min(*cost),
                None => least.push((value.slots, value.cost)),
            }
        }
        least.sort_unstable();
        least
    }

    /// Puts a price on slots, so that lengths take no more of them than there
    /// are: each slot used costs it, and all there are give it back.
    fn balance(&mut self) {
        let tables: Vec<_> = (0..self.variables.len()).map(|at| self.by_slots(at)).collect();
        // At a price, what the lengths would cost, and the fewest slots.
        let slots_at = |price: Cost| -> usize {
            let fewest = |table: &Vec<(usize, Cost)>| {
                let cost = |(slots, cost): &&(usize, Cost)| (cost + price * *slots as Cost, *slots);
                table.iter().min_by_key(cost).map_or(0, |(slots, _)| *slots)
            };
            tables.iter().map(fewest).sum()
        };
        let mut prices: Vec<Cost> = vec![0];
        for table in &tables {
            for (i, (few, dear)) in table.iter().enumerate() {
                for (more, cheap) in &table[i + 1..] {
                    let price = (dear - cheap) / (more - few) as Cost;
                    prices.extend([price, price + 1].into_iter().filter(|price| *price > 0));
                }
            }
        }
        prices.sort_unstable();
        let enough = prices.partition_point(|price| slots_at(*price) > self.slots);
        let Some(price) = prices.get(enough).copied().filter(|price| *price > 0) else { return };
        for value in self.variables.iter_mut().flat_map(|variable| &mut variable.values) {
            value.cost += price * value.slots as Cost;
        }
        self.base -= price * self.slots as Cost;
        (0..self.variables.len()).for_each(|at| self.collect(at));
    }

    /// A choice found by bettering one length at a time, and two where slots
    /// go from one to the other, from a start shaken up so many times.
    pub fn guess(&self, shakes: usize) -> Option<Vec<(usize, usize)>> {
        let mut random = 0x2545_F491_4F6C_DD1Du64;
        let mut at = self.start()?;
        let mut cost = self.better(&mut at);
        let mut best = (cost, at.clone());
        for _ in 0..shakes {
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

    fn used(&self, at: &[usize]) -> usize {
        self.variables.iter().zip(at).map(|(variable, i)| variable.values[*i].slots).sum()
    }

    /// Each length's cheapest option, then fewer slots where they do not do.
    fn start(&self) -> Option<Vec<usize>> {
        let cheapest = |variable: &Variable| {
            let values = variable.values.iter().enumerate();
            values.min_by_key(|(_, value)| value.cost).map(|(i, _)| i)
        };
        let mut at: Vec<usize> = self.variables.iter().map(cheapest).collect::<Option<_>>()?;
        while self.used(&at) > self.slots {
            let mut least: Option<(Cost, usize, usize)> = None;
            for (which, variable) in self.variables.iter().enumerate() {
                let now = variable.values[at[which]];
                for (i, value) in variable.values.iter().enumerate() {
                    if value.slots < now.slots {
                        let more = (value.cost - now.cost) / (now.slots - value.slots) as Cost;
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
        let mut costs: Vec<Cost> = variable.values.iter().map(|value| value.cost).collect();
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
        let own = self.variables.iter().zip(at).map(|(variable, i)| variable.values[*i].cost);
        let pair =
            |edge: &Edge| edge.table[at[edge.a] * self.variables[edge.b].values.len() + at[edge.b]];
        self.base + own.sum::<Cost>() + self.edges.iter().map(pair).sum::<Cost>()
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

    /// The search; false where it was ended before its time.
    pub fn solve(mut self, judge: &mut dyn Judge) -> Result<bool, PlanError> {
        loop {
            if self.base > judge.limit() || !self.prune(judge.limit()) {
                return Ok(true);
            }
            let fixed = self.variables.iter().any(|variable| variable.values.len() == 1);
            if !fixed {
                break;
            }
            let Some(rest) = self.settled() else { return Ok(true) };
            self = rest;
            if !self.gather(SWEEPS_EACH, judge) {
                return Ok(false);
            }
        }
        if judge.hopeless(&self)? {
            return Ok(true);
        }
        if self.variables.is_empty() {
            judge.leaf(&self.chosen)?;
            return Ok(judge.go_on(1));
        }
        let at = self.next();
        let mut order: Vec<usize> = (0..self.variables[at].values.len()).collect();
        order.sort_by_key(|i| self.variables[at].values[*i].cost);
        for i in order {
            let keep: Vec<bool> =
                (0..self.variables[at].values.len()).map(|other| other == i).collect();
            let mut child = self.clone();
            child.keep(at, &keep);
            let Some(mut child) = child.settled() else { continue };
            if !child.gather(SWEEPS_EACH, judge) || !child.solve(judge)? {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    struct Slow {
        options: Vec<Vec<Value>>,
        pairs: Vec<((usize, usize), Vec<Cost>)>,
        best: Option<Cost>,
    }

    impl Slow {
        fn cost(&self, chosen: &[usize]) -> Cost {
            let own = chosen.iter().enumerate().map(|(at, i)| self.options[at][*i].cost);
            let pair = |((a, b), table): &((usize, usize), Vec<Cost>)| {
                table[chosen[*a] * self.options[*b].len() + chosen[*b]]
            };
            own.sum::<Cost>() + self.pairs.iter().map(pair).sum::<Cost>()
        }
    }

    impl Judge for Slow {
        fn limit(&self) -> Cost {
            self.best.map_or(Cost::MAX, |best| best - 1)
        }

        fn hopeless(&mut self, _: &Problem) -> Result<bool, PlanError> {
            Ok(false)
        }

        fn leaf(&mut self, chosen: &[(usize, usize)]) -> Result<(), PlanError> {
            let mut all = vec![0; self.options.len()];
            chosen.iter().for_each(|(class, option)| all[*class] = *option);
            let cost = self.cost(&all);
            self.best = Some(self.best.map_or(cost, |best| best.min(cost)));
            Ok(())
        }

        fn go_on(&mut self, _: u64) -> bool {
            true
        }
    }

    proptest! {
        #[test]
        fn the_best_choice_is_found(
            sizes in proptest::collection::vec(1usize..4, 1..6),
            costs in proptest::collection::vec(0i128..40, 200),
            slots in 0usize..6,
        ) {
            let mut costs = costs.into_iter().cycle();
            let mut next = || costs.next().unwrap_or(0);
            let options: Vec<Vec<Value>> = sizes
                .iter()
                .map(|size| {
                    let value = |option| Value { option, cost: next() * 2, slots: option };
                    (0..*size).map(value).collect()
                })
                .collect();
            let mut pairs = Vec::new();
            for a in 0..sizes.len() {
                for b in a + 1..sizes.len() {
                    let table: Vec<Cost> =
                        (0..sizes[a] * sizes[b]).map(|_| (next() - 20).max(0)).collect();
                    pairs.push(((a, b), table));
                }
            }
            let mut slow = Slow { options: options.clone(), pairs: pairs.clone(), best: None };
            let mut least: Option<Cost> = None;
            let mut chosen = vec![0; sizes.len()];
            'all: loop {
                if chosen.iter().sum::<usize>() <= slots {
                    let cost = slow.cost(&chosen);
                    least = Some(least.map_or(cost, |least| least.min(cost)));
                }
                for at in 0..=sizes.len() {
                    if at == sizes.len() {
                        break 'all;
                    }
                    chosen[at] += 1;
                    if chosen[at] < sizes[at] {
                        break;
                    }
                    chosen[at] = 0;
                }
            }
            let mut problem = Problem::new(options, pairs, slots);
            prop_assert!(problem.prepare(&mut slow));
            prop_assert!(problem.solve(&mut slow).unwrap());
            prop_assert_eq!(slow.best, least);
        }
    }
}
