//! How sure each check is: found as a designer would make it, settled only
//! where no rival of the wide class of [`settle`] fits the good rows.

use super::algebra;
use super::answer::FoundCheck;
use super::claim::{Claim, Known};
use super::complete::{Completed, complete};
use super::kind::Study;
use super::rows::Rows;
use super::settle::{self, Weighed};
use crate::bits::{Capture, Position, Span, Wide};
use crate::layout::{Check, builtin};

/// The checks of one kind, completed by what `drawn`, the bits of the fields chosen,
/// begins and ends, and each with what is open; `fields` are the bits that fields
/// could have, and `still` those that never varied.
pub(super) fn found(
    study: &Study<'_>,
    drawn: &[Wide],
    fields: &[Wide],
    sure: bool,
    still: Wide,
    notes: &mut Vec<String>,
) -> (Vec<FoundCheck>, Vec<Completed>) {
    let (matrix, good) = (&study.matrix, &study.good);
    let ground = study.sieve.ground(study.sieve.candidates, &[]);
    let chosen = study.covers.chosen.iter();
    let mut completed: Vec<Completed> = chosen
        .map(|hit| complete(&ground, &study.covers, hit, &matrix.columns, good, drawn))
        .collect();
    // A cover that all good rows fit before one that some break.
    completed.retain_mut(|done| done.agree(&matrix.columns, good));
    let usual = completed.len();
    let (mut checks, unexplained) = checks(study, good, &mut completed, fields, sure);
    for found in checks.iter().take(completed.len()).skip(usual) {
        notes.push(format!("{}: found by algebra alone, for no usual cover gives it", found.check));
    }
    let remainder = || {
        let cards: Vec<Capture> = good.iter().map(|row| matrix.capture(row)).collect();
        algebra::remainder(&cards)
    };
    match (unexplained > 0).then(remainder).flatten() {
        Some(remainder) => {
            notes.push(remainder.text(matrix.length));
            checks = remainder.explain(checks, still);
        }
        None => notes.extend(unknown(unexplained)),
    }
    (checks, completed)
}

/// What to say of relations that no check found explains.
fn unknown(relations: usize) -> Option<String> {
    let hold = match relations {
        0 => return None,
        1 => "1 relation between bits holds in all cards".to_owned(),
        n => format!("{n} relations between bits hold in all cards"),
    };
    Some(format!(
        "{hold} that no check found explains: a kind of check that is not known here is at work, or \
         one that cards of other site codes would show; nothing that touches bits of few values is \
         settled"
    ))
}

/// The checks found, each with whether it is settled and what is open, and how
/// many relations none of them explains; `fields` are the bits that fields could
/// have.
fn checks(
    study: &Study<'_>,
    good: &Rows,
    completed: &mut Vec<Completed>,
    fields: &[Wide],
    sure: bool,
) -> (Vec<FoundCheck>, usize) {
    let words = study.words.as_ref().and_then(|words| Some((words, words.check()?)));
    let columns = words.iter().flat_map(|(_, check)| check.relations());
    let columns: Vec<Claim> = columns
        .zip(0..)
        .filter_map(|(relation, nth)| {
            let bit = words.as_ref()?.0.at + nth;
            let mut cover = relation.bits;
            cover.set(bit, false);
            Some(Claim { bit, cover, violations: 0 })
        })
        .collect();
    let parity = |done: &Completed| Claim { bit: done.bit, cover: done.over, violations: 0 };
    let mut claims: Vec<Claim> = completed.iter().map(parity).chain(columns).collect();
    let captures: Vec<Capture> = good.iter().map(|row| study.matrix.capture(row)).collect();
    let known = study.known(fields.iter().copied());
    let known = Known { published: published(study.matrix.length, completed), ..known };
    let rows = 0..study.matrix.samples.len();
    let all: Vec<Capture> = rows.map(|row| study.matrix.capture(row)).collect();
    let borne_out = settle::borne_out(&captures, &all, &claims, &known);
    let captures = &borne_out.rows;
    let algebra = by_algebra(captures, &claims, &known);
    let mut all = claims.clone();
    all.splice(completed.len()..completed.len(), algebra.iter().map(parity));
    // Where more holds than these say, they might as well be said otherwise.
    if settle::say_all(captures, &all, &known) {
        claims = all;
    }
    completed.extend(algebra);
    let Weighed { standings, unexplained } = settle::weigh(&borne_out, &claims, &known);
    let mut checks = Vec::new();
    let columns_at = claims.len() - words.as_ref().map_or(0, |(_, check)| check.relations().len());
    for (nth, done) in completed.iter_mut().enumerate() {
        let standing = standings[..columns_at].get(nth).cloned().unwrap_or_default();
        done.rival(&standing.rivals);
        let (Some(over), Some(bit)) = (Span::from_mask(done.over), Position::new(done.bit + 1))
        else {
            continue;
        };
        let undetermined = Span::from_mask(done.undetermined);
        let settled = sure && standing.settled && undetermined.is_none();
        let check = Check::Parity { odd: done.odd, bit, over };
        checks.push(FoundCheck { check, settled, undetermined });
    }
    if let Some((words, check)) = words {
        let columns = &standings[columns_at..];
        let varied = study.matrix.columns.varying(good, 2);
        let covered = check.relations().iter().fold(Wide::ZERO, |all, r| all | r.bits);
        let undetermined = words.undetermined | covered & !varied & !words.own();
        let undetermined = Span::from_mask(undetermined);
        let settled = columns.iter().all(|standing| standing.settled) && undetermined.is_none();
        checks.push(FoundCheck { check, settled: sure && settled, undetermined });
    }
    (checks, unexplained)
}

/// So many relations at once are a code of a kind that is not known, not checks
/// (judgement, no source).
const ALGEBRA: usize = 3;

/// Checks found by algebra alone: relations that no usual cover explains, and that
/// are no accident. Which never-varying bits they cover cannot be known.
fn by_algebra(captures: &[Capture], claims: &[Claim], known: &Known) -> Vec<Completed> {
    let left = settle::left(captures, claims, known);
    let Some(first) = captures.first().filter(|_| left.len() <= ALGEBRA) else { return Vec::new() };
    let (length, word) = (first.len(), first.wide());
    let varied = captures.iter().fold(Wide::ZERO, |all, row| all | (row.wide() ^ word));
    let still = Wide::ones(length) & !varied;
    let mut taken =
        claims.iter().fold(known.fields, |all, claim| all | claim.bits() & !claim.cover);
    let mut completed = Vec::new();
    for bits in left {
        // The bit nearest to an end of the card is the check's.
        let own = (bits & !taken).offsets().min_by_key(|at| *at.min(&(length - 1 - at)));
        let Some(bit) = own else { continue };
        taken.set(bit, true);
        // Of covers that say the same, the one of the fewest runs.
        let told = |cover: &Wide| {
            (Span::from_mask(*cover).map_or(0, |s| s.runs().len()), cover.count_ones())
        };
        let said = claims.iter().take(ALGEBRA).fold(vec![bits], |mut all, claim| {
            all.extend(all.clone().into_iter().map(|bits| bits ^ claim.bits()));
            all
        });
        let bits = said.into_iter().filter(|bits| bits.bit(bit)).min_by_key(told).unwrap_or(bits);
        let mut over = bits;
        over.set(bit, false);
        let odd = (bits & word).parity();
        completed.push(Completed { bit, over, odd, undetermined: still, could_be: vec![over] });
    }
    completed
}

/// Whether the checks found are those of one layout of the built-in table.
fn published(length: usize, completed: &[Completed]) -> bool {
    let same = |check: &Check, done: &Completed| match check {
        Check::Parity { odd, bit, over } => {
            *odd == done.odd && bit.offset() == done.bit && over.mask() == done.over
        }
        _ => false,
    };
    let mut layouts = builtin().layouts().iter().filter(|layout| layout.length() == length);
    layouts.any(|layout| {
        let checks = layout.checks();
        let held = |done: &Completed| checks.iter().any(|check| same(check, done));
        checks.len() == completed.len() && completed.iter().all(held)
    })
}
