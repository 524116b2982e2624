//! The search over options of many lengths: first for the cards, then, among
//! plans that are equal in those, for exposure and slots.

use std::collections::HashSet;

use super::big::Big;
use super::bounds::Class;
use super::catalogue::{Catalogue, Pieces};
use super::cells::Regions;
use super::choose::{Cost, Judge, Problem};
use super::effort::Pace;
use super::error::PlanError;
use super::exposure::exposure;
use super::options::{AIMS, Choice, Options, PARTS, aims};
use super::score::{Best, Score};
use super::sweep::{Enrolled, count};
use super::ties::{Scale, ties};
use crate::site::Identity;

/// Times a first guess is shaken up, for each length. Judgement, no source: a
/// fraction of a second.
const SHAKES: usize = 10;

/// Times that costs are gathered anew among the options left before cliques
/// are looked for. Judgement, no source: more take few away.
const ROUNDS: usize = 5;

/// Times that cliques are looked for anew, with a better bound each time.
/// Judgement, no source: more find few.
const CLIQUES: usize = 3;

/// Costs are gathered anew once so large a part of the options, 1 of these, was
/// seen to be of no use. Judgement, no source.
const FRESH_EACH: usize = 10;

/// Work for each option that is tried by itself, at first, and how many times
/// as much it is each time after. Judgement, no source: a tenth of a second.
const PROBE_FIRST: u64 = 20_000_000;
const PROBE_NEXT: u64 = 4;

/// What came of the search.
pub(crate) enum Outcome {
    /// The best plan is known.
    Proved,
    /// It was ended before its time: no plan is better than this.
    Stopped(Score),
    /// These lengths are not for it.
    Unfit,
}

struct Many<'m, 'j, 't, 'p> {
    catalogue: &'m mut Catalogue<'j, 't>,
    options: &'m Options,
    pace: &'m mut Pace<'p>,
    best: &'m mut Best,
    fixed: Score,
    /// Whether plans whose cards cost as much as the best one's are of use.
    equals: bool,
    /// How exposure is counted, once it is searched.
    scale: Option<Scale>,
    /// Options of plans whose cards cost the least.
    held: HashSet<(usize, usize)>,
    /// Whether such a plan was found, where one is enough.
    found: Option<bool>,
    /// Work left where it is looked for.
    work: u64,
}

/// Betters a plan where it can.
pub(crate) fn many<'j, 't, 'p>(
    catalogue: &mut Catalogue<'j, 't>,
    classes: &[Class],
    fixed: Score,
    pace: &mut Pace<'p>,
    best: &mut Best,
) -> Result<Outcome, PlanError> {
    let Some(mut options) = Options::new(catalogue, classes)? else { return Ok(Outcome::Unfit) };
    if options.compare(catalogue).is_none() {
        return Ok(Outcome::Unfit);
    }
    let busy = options.idle.iter().map(|idle| idle.iter().map(|idle| !idle).collect());
    let busy: Vec<Vec<bool>> = busy.collect();
    let all: Vec<Vec<bool>> = busy.iter().map(|of| vec![true; of.len()]).collect();
    let Some(mut problem) = options.problem(catalogue, &busy) else { return Ok(Outcome::Unfit) };
    let options = &options;
    let (equals, scale, held, found, work) = (false, None, HashSet::new(), None, 0);
    let mut many = Many { catalogue, options, pace, best, fixed, equals, scale, held, found, work };
    many.guess(&problem)?;
    let finished = many.prepare(&mut problem)?;
    let bound = problem.bound();
    if !finished || !problem.solve(&mut many)? {
        return Ok(Outcome::Stopped(many.score_of(bound)));
    }
    let settled = many.best.as_ref().map(|(score, _)| *score).unwrap_or_default();
    let exposure = match options.problem(many.catalogue, &all) {
        Some(all) => many.settle(all)?,
        None => Some(Big::ZERO),
    };
    Ok(match exposure {
        None => Outcome::Proved,
        // The cards are settled; how much less exposure there may be is not.
        Some(exposure) => Outcome::Stopped(Score { exposure, slots: 0, ..settled }),
    })
}

impl<'m> Many<'m, '_, '_, '_> {
    /// A bound in parts as a score.
    fn score_of(&self, bound: Cost) -> Score {
        let mut left = (bound + PARTS - 1).div_euclid(PARTS).max(0);
        let mut of = [0u128; AIMS];
        for (aim, weight) in of.iter_mut().zip(self.options.weights) {
            *aim = (left / weight) as u128;
            left %= weight;
        }
        let [lost, in_conflict, blocked_open, renumbered, boxed_lost, boxed_in_conflict] = of;
        Score {
            lost: lost.saturating_add(self.fixed.lost),
            in_conflict,
            blocked_open,
            renumbered,
            boxed_lost: boxed_lost.saturating_add(self.fixed.boxed_lost),
            boxed_in_conflict,
            ..Score::default()
        }
    }

    fn chosen(&self, chosen: &[(usize, usize)]) -> Vec<&'m Choice> {
        let options = self.options;
        let mut chosen = chosen.to_vec();
        chosen.sort_unstable();
        chosen.into_iter().map(|(class, option)| &options.classes[class][option]).collect()
    }

    /// Weighs a whole plan, and keeps it where it is better.
    fn weigh_all(&mut self, chosen: &[(usize, usize)]) -> Result<Score, PlanError> {
        let choices = self.chosen(chosen);
        let mut score = self.fixed;
        let mut slots = Vec::new();
        let mut all = Pieces::default();
        let by_slot = self.catalogue.problem.panel.identity == Identity::SlotAndNumber;
        for choice in choices {
            let again = match by_slot && !choice.slots.is_empty() {
                true => {
                    let pieces =
                        self.catalogue.pieces(&choice.slots, &choice.strays, slots.len())?;
                    Some(pieces)
                }
                false => None,
            };
            let pieces: &Pieces = again.as_ref().unwrap_or(&choice.pieces);
            slots.extend(choice.slots.iter().cloned());
            all.singles.extend_from_slice(&pieces.singles);
            all.spans.extend_from_slice(&pieces.spans);
            all.sets.extend_from_slice(&pieces.sets);
            score.lost = score.lost.saturating_add(choice.own[0]);
            score.in_conflict = score.in_conflict.saturating_add(pieces.doubled_kept);
            score.renumbered = score.renumbered.saturating_add(choice.own[3]);
            score.boxed_lost = score.boxed_lost.saturating_add(choice.own[4]);
            score.boxed_in_conflict = score.boxed_in_conflict.saturating_add(pieces.doubled_boxed);
        }
        all.singles.sort();
        let regions = Regions::new(all.spans, all.sets)?;
        let counts = count(&all.singles, &regions);
        score.in_conflict = score.in_conflict.saturating_add(counts.kept);
        score.blocked_open = counts.blocked;
        score.boxed_in_conflict = score.boxed_in_conflict.saturating_add(counts.boxed);
        let enrolled = Enrolled::new(&all.singles, &regions);
        score.exposure = exposure(self.catalogue, &slots, &enrolled);
        score.slots = slots.len();
        self.pace.spend(all.singles.len() as u64);
        if self.best.as_ref().is_none_or(|(best, _)| score < *best) {
            *self.best = Some((score, slots));
        }
        Ok(score)
    }

    fn guess(&mut self, problem: &Problem) -> Result<(), PlanError> {
        if let Some(guess) = problem.guess(SHAKES * problem.variables.len(), self) {
            self.weigh_all(&guess)?;
        }
        Ok(())
    }

    /// The problem of choosing among the options left in another. The fewer are
    /// left, the more of a card in conflict each pair is charged with.
    fn anew(&self, problem: &Problem) -> Option<Problem> {
        let mut left: Vec<Vec<bool>> =
            self.options.classes.iter().map(|of| vec![false; of.len()]).collect();
        for variable in &problem.variables {
            variable.values.iter().for_each(|value| left[variable.class][value.option] = true);
        }
        self.options.problem(self.catalogue, &left)
    }

    /// Gathers costs as long as that takes options away, then with cliques of
    /// those that are left. False where there is no time for it.
    fn prepare(&mut self, problem: &mut Problem) -> Result<bool, PlanError> {
        let (mut bound, mut cliques) = (problem.bound(), 0);
        for round in 1.. {
            let before = problem.options_left();
            if !problem.prepare(self) || cliques > 0 && !problem.sharpen(self) {
                problem.base = problem.base.max(bound);
                return Ok(false);
            }
            if problem.base <= self.limit() {
                self.guess(problem)?;
            }
            let better = problem.bound() > bound;
            if problem.base > self.limit() || cliques == CLIQUES || cliques > 0 && !better {
                break;
            }
            if cliques > 0 || round + 1 >= ROUNDS || problem.options_left() == before {
                cliques += 1;
            }
            let Some(mut next) = self.anew(problem) else { break };
            if cliques > 0 {
                next.take_cliques(&problem.find_cliques(self.limit()));
            }
            bound = problem.bound();
            *problem = next;
        }
        Ok(true)
    }

    /// Takes options away that no plan holds whose cards cost the least, what is
    /// soon seen first. False where there is no time for it.
    fn probe(&mut self, cards: &mut Problem) -> Result<bool, PlanError> {
        let mut work = PROBE_FIRST;
        while let Some(open) = self.probe_each(cards, work)? {
            if open == 0 {
                return Ok(true);
            }
            work = work.saturating_mul(PROBE_NEXT);
        }
        Ok(false)
    }

    /// The same with so much work for each option: how many are still open, or
    /// `None` where there is no time for it.
    fn probe_each(&mut self, cards: &mut Problem, work: u64) -> Result<Option<usize>, PlanError> {
        let mut all: Vec<(Cost, usize, usize)> = Vec::new();
        for (at, variable) in cards.variables.iter().enumerate() {
            all.extend(variable.values.iter().map(|value| (value.cost, at, value.option)));
        }
        // What is dear is soon seen to be of no use.
        all.sort_unstable();
        let (mut start, mut open) = (cards.options_left(), 0);
        for (_, at, option) in all.into_iter().rev() {
            let variable = &cards.variables[at];
            if !variable.values.iter().any(|value| value.option == option) {
                continue;
            }
            if self.held.contains(&(variable.class, option)) || variable.values.len() == 1 {
                continue;
            }
            let with: Vec<bool> = variable.values.iter().map(|v| v.option == option).collect();
            let without: Vec<bool> = with.iter().map(|with| !with).collect();
            let mut one = cards.clone();
            one.keep(at, &with);
            (self.found, self.work) = (Some(false), work);
            let finished = one.solve(self)?;
            match (self.found.take(), finished) {
                (Some(true), _) => {}
                (_, true) => {
                    cards.keep(at, &without);
                    // Fewer options leave other cliques, and a better bound.
                    if (start - cards.options_left()) * FRESH_EACH > start
                        && let Some(next) = self.anew(cards)
                    {
                        *cards = next;
                        if !self.prepare(cards)? {
                            return Ok(None);
                        }
                        start = cards.options_left();
                    }
                }
                (_, false) if self.pace.spend(0) => open += 1,
                (_, false) => return Ok(None),
            }
        }
        Ok(Some(open))
    }

    /// Settles exposure and slots among plans whose cards cost the least: a
    /// bound on exposure, or `None` where the best plan is known.
    fn settle(&mut self, mut cards: Problem) -> Result<Option<Big>, PlanError> {
        let unknown = Ok(Some(Big::ZERO));
        self.equals = true;
        if !self.prepare(&mut cards)? {
            return unknown;
        }
        if cards.bound() > self.limit() {
            return Ok(None);
        }
        if !self.probe(&mut cards)? {
            return unknown;
        }
        let Some(mut cards) = self.anew(&cards) else { return unknown };
        if !self.prepare(&mut cards)? {
            return unknown;
        }
        let best = self.best.as_ref().map(|(score, _)| score.exposure).unwrap_or_default();
        let limit = self.limit();
        let ties = ties(self.catalogue, self.options, &cards, limit, best, self.pace)?;
        let Some((mut problem, scale)) = ties else { return unknown };
        self.scale = Some(scale);
        self.guess(&problem)?;
        let finished = problem.prepare(self);
        let bound = problem.bound();
        if finished && bound <= self.limit() {
            self.guess(&problem)?;
        }
        let finished = finished && problem.solve(self)?;
        Ok((!finished).then(|| scale.least(bound)))
    }
}

impl Judge for Many<'_, '_, '_, '_> {
    fn limit(&self) -> Cost {
        let Some((best, _)) = self.best.as_ref() else { return Cost::MAX / 4 };
        if let Some(scale) = &self.scale {
            return scale.limit(best.exposure, best.slots);
        }
        let mut own = aims(best);
        own[0] -= self.fixed.lost;
        own[4] -= self.fixed.boxed_lost;
        let cost = self.options.cost(&own);
        if self.equals { cost } else { cost - PARTS }
    }

    fn leaf(&mut self, chosen: &[(usize, usize)]) -> Result<(), PlanError> {
        let score = self.weigh_all(chosen)?;
        let best = self.best.as_ref().map(|(best, _)| aims(best));
        if self.equals && best == Some(aims(&score)) {
            self.held.extend(chosen);
            self.found = self.found.map(|_| true);
        }
        Ok(())
    }

    fn go_on(&mut self, work: u64) -> bool {
        if self.found.is_some() {
            self.work = self.work.saturating_sub(work);
        }
        let over = self.found == Some(true) || self.found.is_some() && self.work == 0;
        self.pace.spend(work) && !over
    }
}
