//! Options of which a good choice holds at most one: any two of them together
//! cost too much. Pairs alone bound that badly, since half of each is as good
//! as none; so all of a clique bid for its one place.

use super::choose::{Cost, Problem};

/// Options of all lengths beyond which no cliques are looked for. Judgement, no
/// source: a second.
const OPTIONS_MOST: usize = 1500;

/// More than anything costs.
const NEVER: Cost = Cost::MAX / 8;

impl Problem {
    /// Cliques that hold every two options which no choice within the limit can
    /// have both: the length of each option, and which of its options it is.
    pub fn find_cliques(&self, limit: Cost) -> Vec<Vec<(usize, usize)>> {
        let places: Vec<(usize, usize)> = (self.variables.iter().enumerate())
            .flat_map(|(at, variable)| (0..variable.values.len()).map(move |i| (at, i)))
            .collect();
        if places.len() > OPTIONS_MOST {
            return Vec::new();
        }
        let mut cliques = Vec::new();
        let mut open = self.apart(limit);
        let mut apart = open.clone();
        for (a, of) in apart.iter_mut().enumerate() {
            let alike = |b: &usize| *b != a && places[*b].0 == places[a].0;
            (0..places.len()).filter(alike).for_each(|b| of[b] = true);
        }
        for a in 0..places.len() {
            while let Some(b) = open[a].iter().position(|open| *open) {
                let clique = grow(a, b, &apart, &open);
                for a in &clique {
                    clique.iter().for_each(|b| open[*a][*b] = false);
                }
                cliques.push(clique.into_iter().map(|a| places[a]).collect());
            }
        }
        cliques
    }

    /// Whether two options of two lengths are never taken together.
    fn apart(&self, limit: Cost) -> Vec<Vec<bool>> {
        let mut first = Vec::with_capacity(self.variables.len());
        let mut count = 0;
        for variable in &self.variables {
            first.push(count);
            count += variable.values.len();
        }
        let mut apart = vec![vec![false; count]; count];
        for edge in &self.edges {
            let (a, b) = (&self.variables[edge.a].values, &self.variables[edge.b].values);
            for (cell, cost) in edge.table.iter().enumerate() {
                let (i, j) = (cell / b.len(), cell % b.len());
                let (x, y) = (first[edge.a] + i, first[edge.b] + j);
                apart[x][y] = self.base + a[i].cost + b[j].cost + cost > limit;
                apart[y][x] = apart[x][y];
            }
        }
        apart
    }

    /// Takes over cliques of these options, of no price yet; it has none.
    pub fn take_cliques(&mut self, cliques: &[Vec<(usize, usize)>]) {
        self.cliques = vec![0; cliques.len()];
        for (clique, members) in cliques.iter().enumerate() {
            members.iter().for_each(|(at, i)| self.variables[*at].values_in[*i].push(clique));
        }
    }

    /// Takes away what is in a clique whose one place a length must have;
    /// `None` where two must.
    pub(super) fn use_cliques(&mut self) -> Option<()> {
        let mut looked_at = vec![false; self.variables.len()];
        let one = |this: &Problem, at: usize| this.variables[at].values.len() == 1;
        while let Some(at) = (0..looked_at.len()).find(|at| !looked_at[*at] && one(self, *at)) {
            looked_at[at] = true;
            for clique in std::mem::take(&mut self.variables[at].values_in[0]) {
                // What it costs stays with its taker.
                self.cliques[clique] = 0;
                for other in (0..looked_at.len()).filter(|other| *other != at) {
                    let of = &self.variables[other].values_in;
                    let keep: Vec<bool> = of.iter().map(|of| !of.contains(&clique)).collect();
                    if !keep.contains(&true) {
                        return None;
                    }
                    if keep.contains(&false) {
                        self.keep(other, &keep);
                    }
                }
            }
        }
        Some(())
    }

    /// The options of each clique, by length.
    fn members(&self) -> Vec<Vec<(usize, usize)>> {
        let mut members = vec![Vec::new(); self.cliques.len()];
        for (at, variable) in self.variables.iter().enumerate() {
            for (i, cliques) in variable.values_in.iter().enumerate() {
                cliques.iter().for_each(|clique| members[*clique].push((at, i)));
            }
        }
        members
    }

    /// Prices the one place of each clique anew, as high as its lengths bid for
    /// it: what each would pay beside for the best of its other options.
    pub(super) fn bid(&mut self, rounds: usize) {
        if self.cliques.is_empty() {
            return;
        }
        let members = self.members();
        for round in 0..rounds {
            let before = self.base;
            for at in 0..members.len() {
                let at = if round % 2 == 0 { at } else { members.len() - 1 - at };
                self.bid_for(at, &members[at]);
                if self.base >= NEVER {
                    return;
                }
            }
            if self.base == before && round > 2 {
                break;
            }
        }
    }

    fn bid_for(&mut self, clique: usize, members: &[(usize, usize)]) {
        let price = self.cliques[clique];
        let (mut most, mut second) = (0, 0);
        for own in members.chunk_by(|a, b| a.0 == b.0) {
            let variable = &self.variables[own[0].0];
            let (mut inside, mut outside) = (NEVER, NEVER);
            let mut own = own.iter().map(|(_, i)| *i).peekable();
            for (i, value) in variable.values.iter().enumerate() {
                match own.next_if_eq(&i) {
                    Some(_) => inside = inside.min(value.cost - price),
                    None => outside = outside.min(value.cost),
                }
            }
            let bid = if outside == NEVER { NEVER } else { (outside - inside).max(0) };
            if bid > most {
                (most, second) = (bid, most);
            } else {
                second = second.max(bid);
            }
        }
        if second == NEVER {
            // Two lengths have nothing else.
            self.base = NEVER;
            return;
        }
        let next = if most == NEVER { second } else { second + (most - second) / 2 };
        if next == price {
            return;
        }
        self.cliques[clique] = next;
        self.base -= next - price;
        for (at, i) in members {
            self.variables[*at].values[*i].cost += next - price;
        }
        for own in members.chunk_by(|a, b| a.0 == b.0) {
            self.level(own[0].0);
        }
    }

    /// Moves the least cost of a length to the bound.
    pub(super) fn level(&mut self, at: usize) {
        let values = &mut self.variables[at].values;
        let least = values.iter().map(|value| value.cost).min().unwrap_or(0);
        values.iter_mut().for_each(|value| value.cost -= least);
        self.base += least;
    }
}

/// The largest clique around two options that looks so at every step: the next
/// one is apart from the most of those that still fit, pairs that no clique
/// holds yet first.
fn grow(a: usize, b: usize, apart: &[Vec<bool>], open: &[Vec<bool>]) -> Vec<usize> {
    let mut clique = vec![a, b];
    let mut fit: Vec<usize> = (0..apart.len()).filter(|c| apart[a][*c] && apart[b][*c]).collect();
    let gain = |c: usize, fit: &[usize]| {
        let of = |all: &[bool]| fit.iter().filter(|d| all[**d]).count();
        (of(&open[c]), of(&apart[c]))
    };
    while let Some(next) = fit.iter().copied().max_by_key(|c| gain(*c, &fit)) {
        clique.push(next);
        fit.retain(|c| apart[next][*c]);
    }
    clique
}
