//! How sure each check is: found as a designer would make it, settled only
//! where no rival of the wide class of [`settle`] fits the good rows.

use super::answer::FoundCheck;
use super::complete::Completed;
use super::kind::Study;
use super::rows::Rows;
use super::settle::{self, Claim, Known, Weighed};
use crate::bits::{Capture, Position, Span, Wide};
use crate::layout::{Check, builtin};

/// The checks found, each with whether it is settled and what is open, and how
/// many relations none of them explains; `fields` are the bits that fields could
/// have.
pub(super) fn checks(
    study: &Study<'_>,
    good: &Rows,
    completed: &mut [Completed],
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
    let claims: Vec<Claim> = completed.iter().map(parity).chain(columns).collect();
    let captures: Vec<Capture> = good.iter().map(|row| study.matrix.capture(row)).collect();
    let known = study.known(fields.iter().copied());
    let known = Known { published: published(study.matrix.length, completed), ..known };
    let Weighed { standings, unexplained } = settle::weigh(&captures, &claims, &known);
    let mut checks = Vec::new();
    for (done, standing) in completed.iter_mut().zip(&standings) {
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
        let columns = &standings[completed.len()..];
        let varied = study.matrix.columns.varying(good, 2);
        let covered = check.relations().iter().fold(Wide::ZERO, |all, r| all | r.bits);
        let undetermined = words.undetermined | covered & !varied & !words.own();
        let undetermined = Span::from_mask(undetermined);
        let settled = columns.iter().all(|standing| standing.settled) && undetermined.is_none();
        checks.push(FoundCheck { check, settled: sure && settled, undetermined });
    }
    (checks, unexplained)
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
