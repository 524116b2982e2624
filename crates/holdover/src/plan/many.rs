//! The search over options of many lengths: first for the cards, then, among
//! plans that are equal in those, for exposure and slots.

use std::collections::HashMap;

use super::big::Big;
use super::bounds::Class;
use super::cells::Regions;
use super::choose::{Cost, Judge, Problem};
use super::error::PlanError;
use super::exposure::{Asked, exposure, patterns};
use super::options::{AIMS, Choice, Options, PARTS, aims};
use super::search::{Best, Pace, Score};
use super::shape::Run;
use super::slots::{Catalogue, Pieces};
use super::sweep::{Enrolled, count};
use crate::site::Identity;

/// Times a first guess is shaken up. Judgement, no source: a fraction of a
/// second.
const SHAKES: usize = 400;

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
    /// Whether the cards are settled, and exposure is searched.
    tie: bool,
    by_slot: bool,
    /// Exposure of options by themselves, where slots know their own cards.
    alone: HashMap<(usize, usize), Big>,
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
    let Some(mut problem) = options.problem(catalogue) else { return Ok(Outcome::Unfit) };
    let by_slot = catalogue.job.panel.identity == Identity::SlotAndNumber;
    let alone = HashMap::new();
    let options = &options;
    let mut many = Many { catalogue, options, pace, best, fixed, tie: false, by_slot, alone };
    let mut finished = true;
    let start = problem.clone();
    for (at, idle) in options.idle.iter().enumerate() {
        let keep: Vec<bool> = idle.iter().map(|idle| !idle).collect();
        problem.keep(at, &keep);
    }
    if let Some(guess) = problem.guess(SHAKES) {
        many.weigh_all(&guess)?;
    }
    finished &= problem.prepare(&mut many);
    let bound = problem.base;
    if let Some(guess) = problem.guess(SHAKES) {
        many.weigh_all(&guess)?;
    }
    finished = finished && problem.solve(&mut many)?;
    if !finished {
        return Ok(Outcome::Stopped(many.score_of(bound)));
    }
    many.tie = true;
    let settled = many.best.as_ref().map(|(score, _)| *score);
    let mut start = start;
    if !start.prepare(&mut many) || !start.solve(&mut many)? {
        // The cards are settled; how much less exposure there may be is not.
        let score = settled.unwrap_or_default();
        return Ok(Outcome::Stopped(Score { exposure: Big::ZERO, slots: 0, ..score }));
    }
    Ok(Outcome::Proved)
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
    fn weigh_all(&mut self, chosen: &[(usize, usize)]) -> Result<(), PlanError> {
        let choices = self.chosen(chosen);
        let mut score = self.fixed;
        let mut slots = Vec::new();
        let mut all = Pieces::default();
        for choice in choices {
            let again = match self.by_slot && !choice.slots.is_empty() {
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
        Ok(())
    }

    /// What an option adds to the exposure where these numbers are enrolled.
    fn exposure(&self, choice: &Choice, enrolled: &Enrolled) -> Big {
        let asked = Asked { sites: true, checks: true };
        let share = |(at, slot)| patterns(self.catalogue, slot, at, enrolled, asked).share();
        choice.slots.iter().enumerate().map(share).fold(Big::ZERO, Big::add)
    }

    fn alone(&mut self, class: usize, option: usize) -> Result<Big, PlanError> {
        if let Some(known) = self.alone.get(&(class, option)) {
            return Ok(*known);
        }
        let choice = &self.options.classes[class][option];
        let regions = Regions::new(choice.pieces.spans.clone(), Vec::new())?;
        let share = self.exposure(choice, &Enrolled::new(&choice.pieces.singles, &regions));
        self.alone.insert((class, option), share);
        Ok(share)
    }

    /// The least exposure and the fewest slots of whatever comes of a problem.
    fn least(&mut self, problem: &Problem) -> Result<(Big, usize), PlanError> {
        let settled = problem.chosen.iter().map(|(class, option)| (*class, vec![*option]));
        let open = problem.variables.iter().map(|variable| {
            (variable.class, variable.values.iter().map(|value| value.option).collect())
        });
        let all: Vec<(usize, Vec<usize>)> = settled.chain(open).collect();
        let mut slots = 0;
        for (class, left) in &all {
            let count = left.iter().map(|option| self.options.classes[*class][*option].slots.len());
            slots += count.min().unwrap_or(0);
        }
        let mut sum = Big::ZERO;
        if self.by_slot {
            for (class, left) in &all {
                let mut least: Option<Big> = None;
                for option in left {
                    let share = self.alone(*class, *option)?;
                    least = Some(least.map_or(share, |least| least.min(share)));
                }
                sum = sum.add(least.unwrap_or_default());
            }
            return Ok((sum, slots));
        }
        let mut certain = Pieces::default();
        for (class, left) in &all {
            self.certain(*class, left, &mut certain)?;
        }
        certain.singles.sort();
        self.pace.spend(certain.singles.len() as u64);
        let regions = Regions::new(certain.spans, certain.sets)?;
        let enrolled = Enrolled::new(&certain.singles, &regions);
        for (class, left) in &all {
            let choices = left.iter().map(|option| &self.options.classes[*class][*option]);
            let least = choices.map(|choice| self.exposure(choice, &enrolled)).min();
            sum = sum.add(least.unwrap_or_default());
        }
        Ok((sum, slots))
    }

    /// Numbers that a length enrols by whichever of its options.
    fn certain(
        &mut self,
        class: usize,
        left: &[usize],
        into: &mut Pieces,
    ) -> Result<(), PlanError> {
        let options = self.options;
        let choices: Vec<&Choice> =
            left.iter().map(|option| &options.classes[class][*option]).collect();
        if let [only] = choices[..] {
            into.singles.extend_from_slice(&only.pieces.singles);
            into.spans.extend_from_slice(&only.pieces.spans);
            return Ok(());
        }
        let by_site = self.catalogue.job.panel.identity == Identity::SiteAndNumber;
        let reads = |choice: &Choice, kind: usize| -> Option<(Run, Option<Run>)> {
            let slot = choice.slots.iter().find(|slot| slot.kinds.contains(&kind))?;
            Some((slot.shape.card.run, slot.shape.site.filter(|_| by_site)))
        };
        let Some(first) = choices.first() else { return Ok(()) };
        for slot in &first.slots {
            for kind in &slot.kinds {
                let own = reads(first, *kind);
                if choices.iter().all(|choice| reads(choice, *kind) == own) {
                    let home = self.catalogue.home(*kind, &slot.shape)?;
                    into.take(&home, None);
                }
            }
        }
        Ok(())
    }
}

impl Judge for Many<'_, '_, '_, '_> {
    fn limit(&self) -> Cost {
        let Some((best, _)) = self.best.as_ref() else { return Cost::MAX / 4 };
        let mut own = aims(best);
        own[0] -= self.fixed.lost;
        own[4] -= self.fixed.boxed_lost;
        let cost = self.options.cost(&own);
        if self.tie { cost } else { cost - PARTS }
    }

    fn hopeless(&mut self, problem: &Problem) -> Result<bool, PlanError> {
        if !self.tie {
            return Ok(false);
        }
        let (exposure, slots) = self.least(problem)?;
        let better = |best: &Score| (exposure, slots) < (best.exposure, best.slots);
        Ok(self.best.as_ref().is_some_and(|(best, _)| !better(best)))
    }

    fn leaf(&mut self, chosen: &[(usize, usize)]) -> Result<(), PlanError> {
        self.weigh_all(chosen)
    }

    fn go_on(&mut self, work: u64) -> bool {
        self.pace.spend(work)
    }
}
