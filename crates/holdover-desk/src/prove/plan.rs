//! A roster through a plan's slots.

use std::collections::{BTreeSet, HashSet};
use std::path::Path;

use holdover::bits::Capture;
use holdover::plan::{CardRef, Plan};
use holdover::prove::{Outcome, prove};
use holdover::site::{CardBatch, Panel, Site};
use holdover::states::RowState;
use serde_json::Value;

use super::{Proved, Row, Side};
use crate::fail::Fail;
use crate::host::Host;
use crate::plain::plain;
use crate::plan::file;
use crate::roster::ToRead;
use crate::{files, progress, request, roster};

/// Differences of a site file told one by one; the rest is counted.
const DIFFERENCES: usize = 8;

/// Runs every kept and blocked row, and the plan's issued batches; the plan
/// brings its own limits, layouts and batches, and a site file must agree.
pub fn rows(
    host: &dyn Host,
    path: &Path,
    roster: &str,
    request: &request::Prove,
) -> Result<Proved, Fail> {
    let file::Read { plan, roster: made_for, edited } = file::read(host, path)?;
    let name = plain(&path.display().to_string());
    if edited && !request.edited {
        return Err(Fail::said(format!(
            "{name}: changed since `holdover plan` wrote it: plan again, or say --edited if the \
             change was meant"
        )));
    }
    let mut own = Site::default();
    if let Some(site_path) = &request.site {
        let site = files::site(host, site_path, plan.table())?;
        agree(&plan, &site).map_err(|why| {
            let site = plain(&site_path.display().to_string());
            Fail::said(format!("{site}: not the site file of {name}: {why}: plan again with it"))
        })?;
        own = site;
    }
    let batches = plan.batches().to_vec();
    let site = Site { panel: plan.panel().clone(), batches, ..own };
    let (words, list) = roster::words_and_list(
        host,
        &request.words,
        request.list.as_deref(),
        (&site, plan.table()),
    )?;
    let (choice, words) = (request.sheet.as_deref(), (&words, list.as_ref()));
    let read = roster::read(host, roster, choice, words, plan.table(), &site)?;
    let notes = read.about.iter().chain(&read.wiring);
    let mut notes: Vec<String> = notes.map(|note| format!("{}: {note}", plain(roster))).collect();
    if edited {
        let departures = plan.departures();
        let what = match departures.is_empty() {
            true => "they are what their layouts give".to_owned(),
            false => departures.join("; "),
        };
        notes.push(format!(
            "{name} was changed by hand: its slots, panel, table and batches are taken as they \
             stand: {what}"
        ));
    }
    let stale = made_for.is_some_and(|told| told != file::short(&file::roster(&read), 16));
    if stale && !edited {
        notes.push(format!("{} is not the roster that {name} was made for", plain(roster)));
    }
    let (sum, unread) = (read.sum(), read.unread());
    let unplanned = read.to_read.iter().filter(|card| !card.is_counted_on());
    let unplanned: Vec<Row> = unplanned.flat_map(rows_of).collect();
    let rows = read.rows;
    // A blocked card that was misread has a row: its bits are tried all the same.
    let tried: HashSet<u64> = rows.iter().map(|row| row.line as u64).collect();
    let proofs = progress::during(host, "proving", || prove(&plan, &rows))
        .map_err(|error| Fail::said(format!("{}: {error}", plain(roster))))?;
    // Lines ascend. The roster itself is not needed any more.
    let lines = rows.iter().filter_map(|row| Some((row.line, *row.card.bits()?)));
    let lines: Vec<(usize, Capture)> = lines.collect();
    drop(rows);
    let bits_of = |line: usize| {
        let at = lines.binary_search_by_key(&line, |(line, _)| *line).ok()?;
        Some(lines[at].1)
    };
    let mut rows: Vec<Row> = proofs
        .into_iter()
        .map(|proof| {
            let (name, number) = match proof.card {
                CardRef::Line(line) => ("line", line),
                CardRef::Batch(batch) => ("batch", batch.batch),
            };
            let (expected, got) = (Side::Card(proof.expected), Side::Card(proof.got));
            let bits = if name == "line" { bits_of(number) } else { None };
            let bits = bits.filter(|_| !unread.contains(&number));
            // What its print tells may be wrong in any case; not read, it is not proved.
            let unread = name == "line" && proof.holds && unread.contains(&number);
            let (holds, state) = (proof.holds && !unread, proof.state);
            Row { name, number: number as u64, state, holds, unread, expected, got, bits }
        })
        .collect();
    rows.extend(unplanned.into_iter().filter(|row| !tried.contains(&row.number)));
    rows.sort_by_key(|row| (row.name == "batch", row.number));
    Ok(Proved { rows, table: plan.table().clone(), plan: Some(plan), sum, notes, stale })
}

/// The rows of a card that was not read, and of which nothing is known.
fn rows_of(card: &ToRead) -> Vec<Row> {
    let row = |line: &usize| Row {
        name: "line",
        number: *line as u64,
        state: card.state,
        holds: false,
        unread: true,
        expected: Side::Card(Outcome::default()),
        got: Side::Card(Outcome { refused: vec!["not read".to_owned()], ..Outcome::default() }),
        bits: None,
    };
    let rows = card.lines.iter().filter(|_| card.state != RowState::Boxed);
    rows.map(row).collect()
}

/// Whether a site file is the one that a plan was made with.
///
/// # Errors
/// What differs.
fn agree(plan: &Plan, site: &Site) -> Result<(), String> {
    let fields = |panel: &Panel| match serde_json::to_value(panel) {
        Ok(Value::Object(map)) => map,
        _ => serde_json::Map::new(),
    };
    let (planned, now) = (fields(plan.panel()), fields(&site.panel));
    let absent = Value::Null;
    let keys: BTreeSet<&String> = planned.keys().chain(now.keys()).collect();
    let mut differ: Vec<String> = keys
        .into_iter()
        .map(|key| (key, planned.get(key).unwrap_or(&absent), now.get(key).unwrap_or(&absent)))
        .filter(|(_, planned, now)| planned != now)
        .map(|(key, planned, now)| format!("{key} is {now} here and {planned} in the plan"))
        .collect();
    let told = |batch: &CardBatch| {
        let site = batch.site.map_or(String::new(), |site| format!(", site {site}"));
        format!("{}{site}, cards {}-{}", batch.layout, batch.first, batch.last)
    };
    for i in 0..plan.batches().len().max(site.batches.len()) {
        let number = i + 1;
        match (plan.batches().get(i), site.batches.get(i)) {
            (Some(planned), Some(now)) if planned == now => {}
            (Some(planned), Some(now)) => differ.push(format!(
                "batch {number} is {} here and {} in the plan",
                told(now),
                told(planned)
            )),
            (Some(planned), None) => {
                differ.push(format!("batch {number} of the plan, {}, is not here", told(planned)));
            }
            (None, Some(now)) => {
                differ.push(format!("batch {number}, {}, is not in the plan", told(now)));
            }
            (None, None) => {}
        }
    }
    match differ.len() {
        0 => Ok(()),
        n if n > DIFFERENCES => {
            Err(format!("{}; and {} more", differ[..DIFFERENCES].join("; "), n - DIFFERENCES))
        }
        _ => Err(differ.join("; ")),
    }
}
