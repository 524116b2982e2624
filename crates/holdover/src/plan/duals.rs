//! Prices of slots and cliques, and what pairs cost, moved about all at once:
//! bettered one by one they end where no single step gains.

use super::choose::{Cost, Edge, Judge, Problem};

/// Steps, and after how many it is asked whether to go on. Judgement, no source:
/// half a second at a hundred layouts, and twice as many gain little.
const STEPS: usize = 500;
const STEPS_EACH: usize = 8;

/// What a step costs for each cell of a pair, in the work of a sweep.
/// Judgement, no source.
const WORK_EACH: u64 = 4;

/// The length of a step and the softness of a least cost, at first, as parts of
/// what misses; and what each is of the one before. Judgement, no source: tried
/// on sites of 100 layouts.
const LONG: f64 = 0.01;
const LONG_NEXT: f64 = 0.9908;
const SOFT: f64 = 0.003;
const SOFT_NEXT: f64 = 0.9932;

/// How much of the slope so far, and of its square, stays at each step (Kingma
/// and Ba 2014, from memory).
const STAYS: f64 = 0.9;
const SQUARE_STAYS: f64 = 0.999;

/// A problem in floating point, in parts of what misses to the best plan. What
/// moves is one list: the price of each clique, that of slots, and for each
/// edge what moves to each option of its first length and of its second.
struct Model<'a> {
    problem: &'a Problem,
    own: Vec<Vec<f64>>,
    tables: Vec<Vec<f64>>,
    /// Where in the list the moves of each edge begin, and how many there are.
    places: Vec<usize>,
    moves: usize,
}

impl Problem {
    /// Gathers more of what every choice must pay: moves are found in floating
    /// point, a gradient method on soft least costs (after Nesterov 2005, from
    /// memory), and made in whole numbers, so that the bound is exact. False
    /// where there is no time for it.
    pub fn sharpen(&mut self, judge: &mut dyn Judge) -> bool {
        let missing = judge.limit().saturating_add(1).saturating_sub(self.base);
        if missing <= 0 || self.variables.is_empty() {
            return true;
        }
        let model = Model::new(self, missing);
        let least = model.least(missing);
        let mut now = vec![0.0; model.moves];
        let (mut best, mut at_best) = (0.0, now.clone());
        let (mut slope, mut square) = (vec![0.0; now.len()], vec![0.0; now.len()]);
        let (mut long, mut soft) = (LONG, SOFT);
        let (mut rest, mut square_rest) = (1.0, 1.0);
        for step in 0..STEPS {
            let (bound, way) = model.bound(&now, soft);
            if bound > best {
                best = bound;
                at_best.clone_from(&now);
            }
            if best >= 1.0 {
                break;
            }
            rest *= STAYS;
            square_rest *= SQUARE_STAYS;
            for (i, way) in way.into_iter().enumerate() {
                slope[i] = STAYS * slope[i] + (1.0 - STAYS) * way;
                square[i] = SQUARE_STAYS * square[i] + (1.0 - SQUARE_STAYS) * way * way;
                let size = (square[i] / (1.0 - square_rest)).sqrt();
                let by = slope[i] / (1.0 - rest) / size.max(f64::MIN_POSITIVE);
                now[i] = (now[i] + long * by).max(least.get(i).copied().unwrap_or(f64::MIN));
            }
            long *= LONG_NEXT;
            soft *= SOFT_NEXT;
            let work = STEPS_EACH as u64 * WORK_EACH * self.work();
            if step % STEPS_EACH == 0 && !judge.go_on(work) {
                return false;
            }
        }
        if best > 0.0 {
            let places = model.places;
            self.make(&at_best, &places, missing);
        }
        true
    }

    /// Makes these moves, in whole numbers.
    fn make(&mut self, moves: &[f64], places: &[usize], missing: Cost) {
        let moves: Vec<Cost> = moves.iter().map(|part| (part * missing as f64) as Cost).collect();
        for (edge, place) in self.edges.iter_mut().zip(places) {
            let a = &mut self.variables[edge.a].values;
            let (to_a, rest) = moves[*place..].split_at(a.len());
            a.iter_mut().zip(to_a).for_each(|(value, more)| value.cost += more);
            let b = &mut self.variables[edge.b].values;
            let to_b = &rest[..b.len()];
            b.iter_mut().zip(to_b).for_each(|(value, more)| value.cost += more);
            for (cell, cost) in edge.table.iter_mut().enumerate() {
                *cost -= to_a[cell / to_b.len()] + to_b[cell % to_b.len()];
            }
            // No cost is below 0.
            let least = edge.table.iter().copied().min().unwrap_or(0);
            edge.table.iter_mut().for_each(|cost| *cost -= least);
            self.base += least;
        }
        let cliques = self.cliques.len();
        let slot = moves[cliques].max(-self.price);
        self.price += slot;
        self.base -= slot * self.slots as Cost;
        let mut more = moves[..cliques].to_vec();
        for (price, more) in self.cliques.iter_mut().zip(&mut more) {
            *more = (*more).max(-*price);
            *price += *more;
            self.base -= *more;
        }
        for variable in &mut self.variables {
            for (value, cliques) in variable.values.iter_mut().zip(&variable.values_in) {
                value.cost += slot * value.slots as Cost;
                value.cost += cliques.iter().map(|clique| more[*clique]).sum::<Cost>();
            }
        }
        (0..self.variables.len()).for_each(|at| self.level(at));
        (0..self.variables.len()).for_each(|at| self.collect(at));
    }
}

impl Model<'_> {
    fn new(problem: &Problem, missing: Cost) -> Model<'_> {
        // More than what misses is all the same.
        let part = |cost: Cost| cost.min(missing) as f64 / missing as f64;
        let own = problem.variables.iter();
        let own: Vec<Vec<f64>> =
            own.map(|v| v.values.iter().map(|value| part(value.cost)).collect()).collect();
        let table = |edge: &Edge| edge.table.iter().map(|cost| part(*cost)).collect();
        let tables = problem.edges.iter().map(table).collect();
        let mut moves = problem.cliques.len() + 1;
        let mut place = |edge: &Edge| {
            moves += own[edge.a].len() + own[edge.b].len();
            moves - own[edge.a].len() - own[edge.b].len()
        };
        let places = problem.edges.iter().map(&mut place).collect();
        Model { problem, own, tables, places, moves }
    }

    /// How far prices may fall: none is below 0.
    fn least(&self, missing: Cost) -> Vec<f64> {
        let prices = self.problem.cliques.iter().chain([&self.problem.price]);
        prices.map(|price| -(*price as f64) / missing as f64).collect()
    }

    /// The bound with these moves, above what it was, and the way up from there
    /// where least costs are soft.
    fn bound(&self, moves: &[f64], soft: f64) -> (f64, Vec<f64>) {
        let problem = self.problem;
        let cliques = problem.cliques.len();
        let mut way = vec![0.0; moves.len()];
        let mut costs = self.own.clone();
        for (edge, place) in problem.edges.iter().zip(&self.places) {
            let mut moves = moves[*place..].iter();
            costs[edge.a].iter_mut().zip(&mut moves).for_each(|(cost, more)| *cost += more);
            costs[edge.b].iter_mut().zip(&mut moves).for_each(|(cost, more)| *cost += more);
        }
        let slots = problem.slots as f64;
        let mut bound = -moves[..cliques].iter().sum::<f64>() - moves[cliques] * slots;
        way[..cliques].iter_mut().for_each(|way| *way = -1.0);
        way[cliques] = -slots;
        for (variable, costs) in problem.variables.iter().zip(&mut costs) {
            for ((cost, value), of) in
                costs.iter_mut().zip(&variable.values).zip(&variable.values_in)
            {
                *cost += moves[cliques] * value.slots as f64;
                *cost += of.iter().map(|clique| moves[*clique]).sum::<f64>();
            }
            bound += shares(costs, soft);
            for ((share, value), of) in costs.iter().zip(&variable.values).zip(&variable.values_in)
            {
                way[cliques] += value.slots as f64 * share;
                of.iter().for_each(|clique| way[*clique] += share);
            }
        }
        let mut cells = Vec::new();
        for ((edge, table), place) in problem.edges.iter().zip(&self.tables).zip(&self.places) {
            let (a, b) = (&costs[edge.a], &costs[edge.b]);
            let end = *place + a.len();
            cells.clear();
            for (row, to_a) in table.chunks(b.len()).zip(&moves[*place..]) {
                cells.extend(row.iter().zip(&moves[end..]).map(|(cost, to_b)| cost - to_a - to_b));
            }
            bound += shares(&mut cells, soft);
            way[*place..end].copy_from_slice(a);
            way[end..end + b.len()].copy_from_slice(b);
            for (cell, share) in cells.iter().enumerate() {
                way[*place + cell / b.len()] -= share;
                way[end + cell % b.len()] -= share;
            }
        }
        (bound, way)
    }
}

/// The least of some costs; each becomes its share in the soft least.
fn shares(costs: &mut [f64], soft: f64) -> f64 {
    let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
    let mut sum = 0.0;
    for cost in costs.iter_mut() {
        // Near exp, and the same on every machine.
        let mut share = 1.0 / (1.0 + (*cost - least) / soft / 256.0);
        (0..8).for_each(|_| share *= share);
        *cost = share;
        sum += share;
    }
    costs.iter_mut().for_each(|share| *share /= sum);
    least
}
