#![doc = include_str!("DESIGN.md")]

mod advice;
mod affine;
mod alternative;
mod better;
mod big;
mod bounds;
mod catalogue;
mod cautions;
mod cells;
mod change;
mod choose;
mod cliques;
mod departure;
mod duals;
mod effort;
mod entries;
mod error;
mod exposure;
mod forms;
mod keep;
mod keyed;
mod linear;
mod many;
mod options;
mod parts;
mod pieces;
mod prices;
mod prints;
mod problem;
mod range;
mod report;
mod roster;
mod score;
mod search;
mod segments;
mod serial;
mod shape;
mod slots;
mod sweep;
mod ties;
mod unsettled;
mod value;
mod wire;

pub use alternative::Alternative;
pub use big::Big;
pub use cautions::LIFE_SAFETY;
pub use change::{Changes, Renumbered};
pub use effort::Effort;
pub use error::{PlanError, PlanErrorKind, PlanPlace};
pub(crate) use forms::forms;
pub use keyed::{Enrolment, Opened, PanelCheck, Parity, Reader, WorksheetBlock};
pub use prints::{PrintTrouble, number_of_print, print_trouble};
pub use roster::{RosterCard, RosterRow, RowState};
pub(crate) use serial::kept_and_blocked;
pub use serial::{Trouble, TroubleKind, serial_trouble};
pub use value::{
    BatchRef, CardRef, Conflict, ConflictKind, Exposure, Lost, NotKept, Objective, PanelRun, Plan,
    PlanSlot, Risk,
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
    plan_with(table, site, roster, PlanOptions::default())
}

/// How a plan is looked for.
#[derive(Default)]
pub struct PlanOptions<'a> {
    /// A plan that is keyed in already: its slots stay as they are but for more
    /// site codes, nothing joins them, and what is new gets slots beside. The
    /// best of such plans is found; what cannot stay is in [`Plan::not_kept`].
    pub keep: Option<&'a Plan>,
    /// How much the search may do.
    pub effort: Effort,
    /// Asked now and then; the search ends with the best plan so far when it
    /// says no. Whoever asks holds the clock: the same input gives the same
    /// plan as long as it says yes.
    pub go_on: Option<&'a mut dyn FnMut() -> bool>,
}

/// The same as [`plan`], as the options say.
///
/// # Errors
/// As [`plan`].
pub fn plan_with(
    table: &Table,
    site: &Site,
    roster: &[RosterRow],
    options: PlanOptions<'_>,
) -> Result<Plan, PlanError> {
    let problem = problem::Problem::new(table, site, roster)?;
    let mut catalogue = catalogue::Catalogue::new(&problem);
    let mut not_kept = Vec::new();
    if let Some(earlier) = options.keep {
        (catalogue.pinned, not_kept) = keep::keep(&mut catalogue, table, earlier)?;
    }
    let mut pace = effort::Pace::new(options.effort, options.go_on);
    let mut found = search::search(&mut catalogue, &mut pace)?;
    unsettled::leave_out(&mut catalogue, &mut found)?;
    let troubles = serial_trouble(table, roster);
    let in_two_forms = kept_and_blocked(&troubles, roster);
    let report = report::report(&mut catalogue, &mut found, in_two_forms)?;
    let cautions = cautions::cautions(table, &problem, &report, &troubles);
    Ok(Plan {
        slots: report.slots,
        panel: site.panel.clone(),
        table: table.clone(),
        batches: site.batches.clone(),
        kept: problem.kept,
        boxed: problem.boxed,
        blocked: problem.blocked_cards(),
        lost: report.lost,
        conflicts: report.conflicts,
        exposure: report.exposure,
        objective: report.objective,
        cautions,
        risks: report.risks,
        gap: report.gap,
        not_kept,
    })
}

/// The conflicts of a plan's slots with a roster and batches, worked out anew.
pub(crate) fn conflicts_of(
    plan: &Plan,
    roster: &[RosterRow],
    batches: &[CardBatch],
) -> Result<Vec<Conflict>, PlanError> {
    let site = Site { panel: plan.panel.clone(), batches: batches.to_vec(), ..Site::default() };
    let problem = problem::Problem::new(&plan.table, &site, roster)?;
    let mut catalogue = catalogue::Catalogue::new(&problem);
    report::conflicts_of(&mut catalogue, &plan.table, &plan.slots)
}
