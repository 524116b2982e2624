//! A roster through a plan's slots.

use std::collections::HashMap;
use std::path::Path;

use holdover::bits::Capture;
use holdover::plan::{CardRef, RosterCard};
use holdover::prove::prove;
use holdover::site::Site;
use serde_json::Value;

use super::{Proved, Row};
use crate::fail::Fail;
use crate::screen::plain;
use crate::{args, files, plan, progress, roster, screen};

/// Runs every kept row, and with a site file its issued batches; the plan
/// brings its own limits and layouts.
pub fn rows(path: &Path, roster: &str, args: &args::Prove) -> Result<Proved, Fail> {
    let plan = plan::read_plan(path)?;
    let site = match &args.site {
        Some(path) => files::site(path, plan.table())?,
        None => Site { panel: plan.panel().clone(), ..Site::default() },
    };
    let read = roster::read(roster, args.sheet.sheet.as_deref(), plan.table(), &site)?;
    read.about.iter().for_each(|note| screen::remark(&format!("{}: {note}", plain(roster))));
    let rows = read.rows;
    let proofs = progress::during("proving", || prove(&plan, &rows, &site.batches))
        .map_err(|error| Fail::said(format!("{}: {error}", plain(roster))))?;
    let value = |outcome: &holdover::prove::Outcome| {
        serde_json::to_value(outcome)
            .map_err(|error| Fail::said(format!("cannot write JSON: {error}")))
    };
    let lines = rows.iter().filter_map(|row| match &row.card {
        RosterCard::Card { bits, .. } => Some((row.line, *bits)),
        RosterCard::Unfit { .. } => None,
    });
    let lines: HashMap<usize, Capture> = lines.collect();
    let rows: Result<Vec<Row>, Fail> = proofs
        .iter()
        .map(|proof| {
            let (name, number) = match proof.card {
                CardRef::Line(line) => ("line", line),
                CardRef::Batch(batch) => ("batch", batch.batch),
            };
            let (expected, got): (Value, Value) = (value(&proof.expected)?, value(&proof.got)?);
            let bits = if name == "line" { lines.get(&number).copied() } else { None };
            Ok(Row { name, number: number as u64, holds: proof.holds, expected, got, bits })
        })
        .collect();
    Ok(Proved { rows: rows?, table: plan.table().clone(), plan: Some(plan) })
}
