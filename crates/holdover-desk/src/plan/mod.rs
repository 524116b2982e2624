//! `holdover plan`: what is keyed into the new panel, and what will come of it.

mod cutover;
mod difference;
pub mod enrol;
pub mod file;
pub mod page;
pub mod text;
mod to_read;
pub mod worksheet;

use std::io::Write;
use std::path::Path;
use std::time::Duration;

use holdover::layout::Table;
use holdover::plan::{
    Alternative, Changes, Effort, Enrolment, Plan, PlanOptions, PlanPlace, plan_with,
};
use holdover::site::Site;
use serde_json::Value;

use crate::fail::{Fail, Outcome};
use crate::host::{Host, Readers};
use crate::mask::Shown;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::roster::{self, Roster};
use crate::{answer, files, html, progress, terminal};

/// What a plan is made of.
struct Given<'r> {
    table: Table,
    site: Site,
    roster: Roster,
    earlier: Option<Plan>,
    page: Option<html::Target<'r>>,
}

/// A plan, and what is said of it.
struct Made {
    plan: Plan,
    changes: Option<Changes>,
    other: Option<Alternative>,
    list: Vec<Enrolment>,
}

pub fn run(host: &dyn Host, request: &request::Plan) -> Result<Outcome, Fail> {
    let done = done(host, request)?;
    let clean = done.made.plan.is_clean();
    let mut out = terminal::Page::of(host, request.format == Format::Text);
    match request.format {
        Format::Json => writeln!(out, "{}", done.json()?)?,
        Format::Csv => write!(out, "{}", enrol::csv(&done.rows)?)?,
        Format::Text => print_text(&mut out, request, &done)?,
    }
    out.flush()?;
    Ok(if clean { Outcome::Done } else { Outcome::CardsWrong })
}

/// The plan itself; files that are asked for are written all the same.
pub fn answer(host: &dyn Host, request: &request::Plan) -> Result<answer::Plan, Fail> {
    answer::of(&done(host, request)?.json()?)
}

/// A plan that is made, its files written.
struct Done<'r> {
    given: Given<'r>,
    made: Made,
    shown: Shown,
    /// The plan's file.
    json: Value,
    /// Of the enrolment list.
    rows: Vec<[String; 7]>,
    written: Vec<String>,
}

/// Plans, and writes the files asked for.
fn done<'r>(host: &dyn Host, request: &'r request::Plan) -> Result<Done<'r>, Fail> {
    let given = given(host, request)?;
    let made = made(host, request, &given)?;
    let file = file::Written::new(&made.plan, &given.roster)?;
    let shown =
        |mask| Shown { mask, mark: if mask { file.open_mark() } else { file.mark.clone() } };
    let paper = given.page.as_ref().map(|page| (page.path(), shown(page.hide)));
    let shown = shown(request.mask);
    let copy = request.mask || request.pseudonyms;
    let json = if copy { file.copy(request.mask) } else { file.json.clone() };
    let rows: Vec<_> = enrol::rows(&made.plan, &made.list, &given.roster, &shown).collect();
    // Everything is worked out before anything is written.
    let mut files = sheets(request, &given, &made, &json, &rows, &shown)?;
    files.extend(paper.map(|(path, shown)| {
        let (plan, roster, other) = (&made.plan, &given.roster, made.other.as_ref());
        (path, page::page(plan, roster, &made.list, other, &shown, request).into_bytes())
    }));
    files::put(host, &files, Readers::Owner)?;
    let written = files.iter().map(|(path, _)| plain(&path.display().to_string())).collect();
    drop(files);
    if let (true, Some(path)) = (request.format != Format::Text, &request.roster) {
        let (path, roster) = (plain(path), &given.roster);
        let notes = roster.about.iter().chain(&roster.wiring);
        notes.for_each(|note| terminal::remark(host, &format!("{path}: {note}")));
    }
    Ok(Done { given, made, shown, json, rows, written })
}

impl Done<'_> {
    /// The plan's JSON, and what is told of it beside its file.
    fn json(self) -> Result<Value, Fail> {
        let Done { given, made, shown, mut json, .. } = self;
        let to_read = to_read::answers(&given.roster, &made.list, &shown);
        if !to_read.is_empty() {
            json["to_read"] = answer::value(&to_read)?;
        }
        if let Some(other) = &made.other {
            json["alternative"] = answer::value(other)?;
        }
        if let Some(changes) = &made.changes {
            json["changes"] = difference::json(changes, &shown);
        }
        Ok(json)
    }
}

/// Reads what is named, once no output would replace any of it.
fn given<'r>(host: &dyn Host, request: &'r request::Plan) -> Result<Given<'r>, Fail> {
    let inputs = || {
        let own = [&request.roster, &request.list].map(|path| path.as_deref().map(Path::new));
        let own = own.into_iter().chain([Some(request.site.as_path())]);
        request.tables.0.iter().map(Path::new).chain(own.flatten())
    };
    let outputs = || {
        [&request.output, &request.worksheet, &request.enrolment, &request.cutover]
            .into_iter()
            .flatten()
    };
    files::keep_apart(host, inputs(), outputs())?;
    // An earlier plan may be replaced by the new plan, but by nothing else.
    let others = || outputs().filter(|path| request.output.as_ref() != Some(*path));
    files::keep_apart(host, inputs().chain(earlier_path(request)), others())?;
    let page =
        html::Target::of(host, &request.page, inputs().chain(earlier_path(request)), outputs())?;
    if request.time_limit.is_some() && host.now().is_none() {
        return Err(Fail::said("--time-limit: a desk has no clock: run the binary"));
    }
    let table = files::tables(host, &request.tables.0)?;
    let site = files::site(host, &request.site, &table)?;
    let mut roster = match &request.roster {
        Some(path) => {
            let (words, list) = roster::words_and_list(
                host,
                &request.words,
                request.list.as_deref(),
                (&site, &table),
            )?;
            let choice = request.sheet.as_deref();
            roster::read(host, path, choice, (&words, list.as_ref()), &table, &site)?
        }
        None => Roster::default(),
    };
    if request.pseudonyms {
        roster.rename_holders();
    }
    roster.check_prints(&table);
    let earlier = earlier_path(request).map(|path| whole(host, path)).transpose()?;
    Ok(Given { table, site, roster, earlier, page })
}

/// Plans, compares with the earlier plan, and looks for another way.
fn made(host: &dyn Host, request: &request::Plan, given: &Given<'_>) -> Result<Made, Fail> {
    let Given { table, site, roster, earlier, .. } = given;
    let plan = progress::during(host, "planning", || {
        let mut clock = clock(host, request.time_limit);
        let mut effort = Effort::default();
        if clock.is_some() {
            // Then the clock alone ends the search.
            (effort.work, effort.steps) = (u64::MAX, u64::MAX);
        }
        let options = PlanOptions {
            keep: earlier.as_ref().filter(|_| request.keep.is_some()),
            go_on: clock.as_mut().map(|clock| clock as &mut dyn FnMut() -> bool),
            effort,
        };
        plan_with(table, site, &roster.rows, options)
    });
    let plan = plan.map_err(|error| {
        let place = match error.place() {
            PlanPlace::Line(_) => request.roster.clone().unwrap_or_default(),
            _ => request.site.display().to_string(),
        };
        Fail::said(format!("{}: {error}", plain(&place)))
    })?;
    let changes = earlier.as_ref().map(|before| plan.changes_since(before, &roster.rows));
    let other = (roster.rows.len() <= WEIGHED_TWICE).then(|| {
        progress::during(host, "looking for another way", || plan.alternative(site, &roster.rows))
    });
    let other = other.transpose().map_err(|error| Fail::said(error.to_string()))?.flatten();
    let list = enrol::list(&plan, &roster.rows, &site.batches)?;
    Ok(Made { plan, changes, other, list })
}

/// The files asked for, with their bytes.
fn sheets<'r>(
    request: &'r request::Plan,
    given: &Given<'r>,
    made: &Made,
    json: &Value,
    rows: &[[String; 7]],
    shown: &Shown,
) -> Result<Vec<(&'r Path, Vec<u8>)>, Fail> {
    let list = match &request.enrolment {
        Some(path) if is_workbook(path) => enrol::workbook(rows)?,
        _ => enrol::csv(rows)?.into_bytes(),
    };
    let outputs = [
        (&request.output, format!("{json}\n").into_bytes()),
        (&request.worksheet, worksheet::sheet(&made.plan, &made.list, shown).into_bytes()),
        (&request.enrolment, list),
        (&request.cutover, cutover::sheet(&made.plan, &given.roster, shown).into_bytes()),
    ];
    Ok(outputs.into_iter().filter_map(|(path, bytes)| Some((path.as_deref()?, bytes))).collect())
}

fn print_text(
    out: &mut terminal::Page,
    request: &request::Plan,
    done: &Done<'_>,
) -> Result<(), Fail> {
    let Done { given, made, shown, written, .. } = done;
    text::print(out, &made.plan, &given.roster, &made.list, shown, request.quiet)?;
    if let Some(other) = &made.other {
        out.say("or        ", &text::other(other))?;
    }
    if let Some(changes) = &made.changes {
        difference::print(out, changes, shown)?;
    }
    for path in written {
        out.say("written  ", path)?;
    }
    if !request.quiet {
        text::next(out, &made.plan, &given.roster, request)?;
    }
    Ok(())
}

/// Rows of a roster that is planned for another time, for the other way out of its
/// conflicts (judgement, no source: a second or two).
const WEIGHED_TWICE: usize = 50_000;

/// The earlier plan's file, where one is named.
fn earlier_path(request: &request::Plan) -> Option<&Path> {
    request.keep.as_deref().or(request.against.as_deref())
}

/// An earlier plan as it was written.
fn whole(host: &dyn Host, path: &Path) -> Result<Plan, Fail> {
    let read = file::read(host, path)?;
    if read.edited {
        let name = plain(&path.display().to_string());
        terminal::remark(
            host,
            &format!("{name} was changed since it was written: it is taken as it stands"),
        );
    }
    Ok(read.plan)
}

/// Says when the time is up.
fn clock(host: &dyn Host, seconds: Option<u64>) -> Option<impl FnMut() -> bool> {
    let limit = Duration::from_secs(seconds?);
    let began = host.now()?;
    Some(move || began.elapsed() < limit)
}

/// A file that is to be written is told by its name: it has no content yet.
fn is_workbook(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("xlsx"))
}
