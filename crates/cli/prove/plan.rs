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
use crate::{files, plan, roster};

/// Runs every kept row, and with a site file its issued batches; the plan
/// brings its own limits and layouts.
pub fn rows(path: &Path, roster: &str, site: Option<&Path>) -> Result<Proved, Fail> {
    let plan = plan::read_plan(path)?;
    let site = match site {
        Some(path) => files::site(path, plan.table())?,
        None => Site { panel: plan.panel().clone(), batches: Vec::new() },
    };
    let rows = roster::read(roster, plan.table(), &site)?.rows;
    let proofs = prove(&plan, &rows, &site.batches)
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
