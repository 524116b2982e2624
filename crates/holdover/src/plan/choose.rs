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

/// How costs are gathered.
struct Care {
    /// Sweeps, at most.
    sweeps: usize,
    /// Sweeps without gain before gathering ends.
    idle: usize,
    /// No gain is less than what misses to the best plan over this.
    gain: Cost,
    /// Sweeps after which slots are priced anew.
    prices: usize,
}

/// Before the first choice, and after each one. Judgement, no source: more
/// gain little.
const CARE_FIRST: Care = Care { sweeps: 1000, idle: 24, gain: 10_000, prices: 8 };
const CARE_EACH: Care = Care { sweeps: 4, idle: 1, gain: 40, prices: 2 };

/// Rounds in which cliques are priced anew, before the first choice and each
/// time after. Judgement, no source.
const BIDS_FIRST: usize = 200;
const BIDS: usize = 4;

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
    /// The cliques that each value is in.
    pub(super) values_in: Vec<Vec<usize>>,
    /// Indices of its edges.
    pub(super) edges: Vec<usize>,
}

/// What options of two lengths cost together; row by row of the first.
#[derive(Debug, Clone)]
pub(super) struct Edge {
    pub a: usize,
    pub b: usize,
    pub table: Vec<Cost>,
}

/// What is still to be chosen.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    /// What any choice costs at least.
    pub base: Cost,
    pub variables: Vec<Variable>,
    pub(super) edges: Vec<Edge>,
    /// Slots left.
    pub slots: usize,
    /// What each slot costs beside, given back for all of them in the bound.
    pub(super) price: Cost,
    /// What the one place of each clique costs, given back in the bound.
    pub(super) cliques: Vec<Cost>,
    /// Lengths that are settled, with their options.
    pub chosen: Vec<(usize, usize)>,
}

/// Who weighs what was chosen, and knows what is good enough.
pub(crate) trait Judge {
    /// Bounds above this are of no use.
    fn limit(&self) -> Cost;
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
        let variable = |(class, values): (usize, Vec<Value>)| {
            let values_in = vec![Vec::new(); values.len()];
            Variable { class, values, values_in, edges: Vec::new() }
        };
        let variables = options.into_iter().enumerate().map(variable).collect();
        let mut problem = Problem {
            base: 0,
            variables,
            edges: Vec::new(),
            slots,
            price: 0,
            cliques: Vec::new(),
            chosen: Vec::new(),
        };
        for ((a, b), mut table) in pairs {
            // No cost is below 0.
            let least = table.iter().copied().min().unwrap_or(0).min(0);
            table.iter_mut().for_each(|cost| *cost -= least);
            problem.base += least;
            problem.variables[a].edges.push(problem.edges.len());
            problem.variables[b].edges.push(problem.edges.len());
            problem.edges.push(Edge { a, b, table });
        }
        problem
    }

    /// What two options of two lengths cost together.
    pub(super) fn pair(&self, (a, i): (usize, usize), (b, j): (usize, usize)) -> Cost {
        let of = |edge: &&usize| self.edges[**edge].b == b;
        let edge = self.variables[a].edges.iter().find(of).map(|edge| &self.edges[*edge]);
        edge.map_or(0, |edge| edge.table[i * self.variables[b].values.len() + j])
    }

    /// What options of two lengths cost together, the first before the second.
    pub(super) fn table(&self, a: usize, b: usize) -> Vec<Cost> {
        let of = |edge: &&usize| self.edges[**edge].b == b;
        let edge = self.variables[a].edges.iter().find(of).map(|edge| &self.edges[*edge]);
        let cells = self.variables[a].values.len() * self.variables[b].values.len();
        edge.map_or_else(|| vec![0; cells], |edge| edge.table.clone())
    }

    /// Options of all lengths still open.
    pub fn options_left(&self) -> usize {
        self.variables.iter().map(|variable| variable.values.len()).sum()
    }

    pub(super) fn work(&self) -> u64 {
        let cells = self.edges.iter().map(|edge| edge.table.len() as u64);
        cells.sum::<u64>() + self.variables.len() as u64
    }

    /// Moves what each option of a length costs with every option of another
    /// to the length itself, and the least of it to the bound.
    pub(super) fn collect(&mut self, at: usize) {
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

    /// Gathers what every choice must pay, and takes away what costs too much
    /// by then. False where there is no time for it.
    fn gather(&mut self, care: &Care, judge: &mut dyn Judge) -> bool {
        let mut idle = 0;
        for sweep in 0..care.sweeps {
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
            let missing = judge.limit().saturating_sub(self.base);
            if missing < 0 {
                break;
            }
            idle = if self.base - before > missing / care.gain { 0 } else { idle + 1 };
            if idle >= care.idle {
                break;
            }
            if sweep % care.prices == care.prices - 1 {
                (0..count).for_each(|at| self.collect(at));
                self.balance();
                self.bid(BIDS);
                if !self.prune(judge.limit()) {
                    // Nothing is good enough, and nothing is left to choose.
                    self.base = Cost::MAX / 2;
                    return true;
                }
            }
        }
        (0..self.variables.len()).for_each(|at| self.collect(at));
        self.balance();
        self.bid(BIDS);
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
        let mut kept = keep.iter();
        variable.values.retain(|_| kept.next() == Some(&true));
        let mut kept = keep.iter();
        variable.values_in.retain(|_| kept.next() == Some(&true));
    }

    /// The rest without lengths that have one option left, and without pairs
    /// that cost nothing; `None` where those options take more slots than there
    /// are: each had room when it was looked at, and not all of them have.
    fn settled(&mut self) -> Option<Problem> {
        self.use_cliques()?;
        let mut rest = Problem {
            base: self.base,
            variables: Vec::new(),
            edges: Vec::new(),
            slots: self.slots,
            price: self.price,
            cliques: self.cliques.clone(),
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
        self.balance();
        self.bid(BIDS_FIRST);
        if !self.gather(&CARE_FIRST, judge) {
            return false;
        }
        if self.base <= judge.limit() && !self.prune(judge.limit()) {
            // Nothing is good enough, and nothing is left to choose.
            self.base = Cost::MAX / 2;
        }
        true
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
            if !self.gather(&CARE_EACH, judge) {
                return Ok(false);
            }
        }
        if self.variables.is_empty() {
            if self.bound() > judge.limit() {
                return Ok(true);
            }
            judge.leaf(&self.chosen)?;
            return Ok(judge.go_on(1));
        }
        let at = self.next();
        let mut order: Vec<usize> = (0..self.variables[at].values.len()).collect();
        order.sort_by_key(|i| self.variables[at].values[*i].cost);
        for i in order {
            if self.base + self.variables[at].values[i].cost > judge.limit() {
                continue;
            }
            let keep: Vec<bool> =
                (0..self.variables[at].values.len()).map(|other| other == i).collect();
            let mut child = self.clone();
            child.keep(at, &keep);
            let Some(mut child) = child.settled() else { continue };
            if !child.gather(&CARE_EACH, judge) || !child.solve(judge)? {
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
            above in 1i128..12,
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
            // With a limit near the best, many pairs are never taken together.
            slow.best = least.map(|least| least + above);
            problem.take_cliques(&problem.find_cliques(slow.limit()));
            prop_assert!(problem.prepare(&mut slow));
            prop_assert!(problem.sharpen(&mut slow));
            prop_assert!(least.is_none_or(|least| problem.bound() <= least));
            prop_assert!(problem.solve(&mut slow).unwrap());
            prop_assert_eq!(slow.best, least);
        }
    }
}
