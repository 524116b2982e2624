//! Slots that lengths bid for: a price on each, and what no choice within the
//! slots there are can hold.

use super::choose::{Cost, Problem, Value};

/// More than anything costs.
const NEVER: Cost = Cost::MAX / 8;

impl Problem {
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

    /// Puts the price on slots under which lengths, each by itself, take no
    /// more of them than there are, and no price beyond: each slot used costs
    /// it, and all there are give it back.
    pub(super) fn balance(&mut self) {
        let tables: Vec<_> = (0..self.variables.len()).map(|at| self.by_slots(at)).collect();
        // At a change of price, the fewest slots of what is cheapest then.
        let slots_at = |price: Cost| -> usize {
            let fewest = |table: &Vec<(usize, Cost)>| {
                let cost = |(slots, cost): &&(usize, Cost)| (cost + price * *slots as Cost, *slots);
                table.iter().min_by_key(cost).map_or(0, |(slots, _)| *slots)
            };
            tables.iter().map(fewest).sum()
        };
        let mut prices: Vec<Cost> = vec![-self.price];
        for table in &tables {
            for (i, (few, dear)) in table.iter().enumerate() {
                for (more, cheap) in &table[i + 1..] {
                    let price = (dear - cheap).div_euclid((more - few) as Cost);
                    let near = [price, price + 1];
                    prices.extend(near.into_iter().filter(|price| *price > -self.price));
                }
            }
        }
        prices.sort_unstable();
        let enough = prices.partition_point(|price| slots_at(*price) > self.slots);
        let Some(price) = prices.get(enough).copied().filter(|price| *price != 0) else { return };
        for value in self.variables.iter_mut().flat_map(|variable| &mut variable.values) {
            value.cost += price * value.slots as Cost;
        }
        self.base -= price * self.slots as Cost;
        self.price += price;
        (0..self.variables.len()).for_each(|at| self.level(at));
    }

    /// For each length and number of slots what every choice costs beside the
    /// length itself, slots counted out among all lengths: pairs left out.
    fn beside(&self) -> Vec<Vec<(usize, Cost)>> {
        let tables: Vec<_> = (0..self.variables.len()).map(|at| self.by_slots(at)).collect();
        let room = self.slots + 1;
        // The least cost of the lengths so far at so many slots.
        let step = |costs: &[Cost], table: &[(usize, Cost)]| -> Vec<Cost> {
            let mut next = vec![NEVER; room];
            for (used, cost) in costs.iter().enumerate().filter(|(_, cost)| **cost < NEVER) {
                for (slots, more) in table.iter().filter(|(slots, _)| used + slots < room) {
                    next[used + slots] = next[used + slots].min(cost + more);
                }
            }
            next
        };
        let mut before = vec![vec![NEVER; room]];
        before[0][0] = 0;
        for table in &tables {
            let next = step(&before[before.len() - 1], table);
            before.push(next);
        }
        let mut all = vec![Vec::new(); tables.len()];
        // Slots not used do not cost their price.
        let mut after: Vec<Cost> = vec![NEVER; room];
        after[0] = 0;
        for (at, table) in tables.iter().enumerate().rev() {
            let mut within: Vec<Cost> = Vec::with_capacity(room);
            let mut least = NEVER;
            for cost in &after {
                least = (least + self.price).min(*cost).min(NEVER);
                within.push(least);
            }
            all[at] = table
                .iter()
                .map(|(slots, _)| {
                    let sum = |used: usize| {
                        before[at][used].saturating_add(within[room - 1 - used - slots])
                    };
                    (*slots, (0..room.saturating_sub(*slots)).map(sum).min().unwrap_or(NEVER))
                })
                .collect();
            after = step(&after, table);
        }
        all
    }

    /// The bound, slots counted out.
    pub fn bound(&self) -> Cost {
        let Some(first) = self.beside().into_iter().next() else {
            return self.base + self.price * self.slots as Cost;
        };
        let own = self.by_slots(0);
        let all = first.iter().zip(&own).map(|((_, beside), (_, own))| beside + own);
        self.base + all.min().unwrap_or(0)
    }

    /// Takes away what no good choice holds; false where nothing is left.
    pub(super) fn prune(&mut self, limit: Cost) -> bool {
        let beside = self.beside();
        for (at, beside) in beside.iter().enumerate() {
            let good = |value: &Value| {
                let beside = beside.iter().find(|(slots, _)| *slots == value.slots);
                let beside = beside.map_or(NEVER, |(_, cost)| *cost);
                beside < NEVER && self.base + beside + value.cost <= limit
            };
            let keep: Vec<bool> = self.variables[at].values.iter().map(good).collect();
            if keep.iter().all(|keep| !keep) {
                return false;
            }
            if keep.contains(&false) {
                self.keep(at, &keep);
            }
        }
        true
    }
}
