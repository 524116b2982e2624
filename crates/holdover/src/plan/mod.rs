//! Planning the takeover: the roster and the site's ranges into the few slots
//! of the new panel, optimal in a fixed order, and what will come of it.
//!
//! # The model
//! A slot serves layouts of one length. Its card run is the card field, or the
//! least run over site code and card number, or the last bits of either. What
//! the panel knows a person by is the number the run yields, its digits cut to
//! what the panel keys, with the site code or the slot where the panel says so.
//! A number that is known and that two cards open is a conflict; so is a card
//! that two slots admit. Kept rows of one holder with one serial number are one
//! card in several forms, which are enrolled side by side: what they alone open
//! is no conflict. Of all groupings and runs the plan with the least
//! [`Objective`] is found.
//!
//! Ranges stay ranges: a batch is a handful of stretches of panel numbers, and
//! a sweep over their ends finds what they share.

mod advice;
mod affine;
mod big;
mod bounds;
mod cautions;
mod cells;
mod change;
mod entries;
mod error;
mod exposure;
mod forms;
mod job;
mod keyed;
mod linear;
mod parts;
mod pieces;
mod prints;
mod report;
mod roster;
mod search;
mod serial;
mod shape;
mod slots;
mod sweep;
mod value;
mod wire;

pub use big::Big;
pub use cautions::LIFE_SAFETY;
pub use change::{Changes, Renumbered};
pub use error::{PlanError, PlanErrorKind, PlanPlace};
pub(crate) use forms::forms;
pub use keyed::{Enrolment, Opened, PanelCheck, Parity, Reader, WorksheetBlock};
pub use prints::{PrintTrouble, print_trouble};
pub use roster::{RosterCard, RosterRow, RowState};
pub use serial::{Trouble, TroubleKind, serial_trouble};
pub use value::{
    BatchRef, CardRef, Conflict, ConflictKind, Exposure, Lost, Objective, PanelRun, Plan, PlanSlot,
    Risk,
};

use crate::layout::Table;
use crate::site::{CardBatch, Site};

/// The best plan for a roster and the batches of a site.
///
/// # Errors
/// Impossible limits, a row or a batch that contradicts its layout, issued
/// batches that overlap, or a batch that cannot be weighed as a range and is
/// too long to be listed; each names the roster line or the batch.
pub fn plan(table: &Table, site: &Site, roster: &[RosterRow]) -> Result<Plan, PlanError> {
    let job = job::Job::new(table, site, roster)?;
    let mut catalogue = slots::Catalogue::new(&job);
    let mut found = search::search(&mut catalogue)?;
    let report = report::report(&mut catalogue, &mut found)?;
    let troubles = serial_trouble(table, roster);
    let cautions = cautions::cautions(table, &job, &report, &troubles);
    Ok(Plan {
        slots: report.slots,
        panel: site.panel.clone(),
        table: table.clone(),
        kept: job.kept,
        boxed: job.boxed,
        blocked: job.blocked_cards(),
        lost: report.lost,
        conflicts: report.conflicts,
        exposure: report.exposure,
        objective: report.objective,
        cautions,
        risks: report.risks,
        gap: report.gap,
    })
}

/// The conflicts of a plan's slots with a roster and batches, worked out anew.
pub(crate) fn conflicts_of(
    plan: &Plan,
    roster: &[RosterRow],
    batches: &[CardBatch],
) -> Result<Vec<Conflict>, PlanError> {
    let site = Site { panel: plan.panel.clone(), batches: batches.to_vec(), ..Site::default() };
    let job = job::Job::new(&plan.table, &site, roster)?;
    let mut catalogue = slots::Catalogue::new(&job);
    report::conflicts_of(&mut catalogue, &plan.table, &plan.slots)
}
