//! `holdover plan`: what is keyed into the new panel, and what will come of it.

mod cutover;
mod difference;
pub mod enrol;
pub mod file;
pub mod page;
pub mod text;
pub mod worksheet;

use std::path::Path;
use std::time::Duration;

use holdover::plan::{Effort, Plan, PlanOptions, plan_with};

use crate::fail::{Fail, Outcome};
use crate::host::{Host, Readers};
use crate::mask::Shown;
use crate::plain::plain;
use crate::request::{self, Format};
use crate::roster::{self, Roster, Words};
use crate::{files, html, progress, terminal};

pub fn run(host: &dyn Host, request: &request::Plan) -> Result<Outcome, Fail> {
    let inputs = || {
        let own = [Some(request.site.as_path()), request.roster.as_deref().map(Path::new)];
        request.tables.0.iter().map(Path::new).chain(own.into_iter().flatten())
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
            let words = Words::of(&site, &request.words, &table)?;
            roster::read(host, path, request.sheet.as_deref(), &words, &table, &site)?
        }
        None => Roster::default(),
    };
    if request.pseudonyms {
        roster.rename_holders();
    }
    roster.check_prints(&table);
    let earlier = earlier_path(request).map(|path| whole(host, path)).transpose()?;
    let made = progress::during(host, "planning", || {
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
        plan_with(&table, &site, &roster.rows, options)
    });
    let made = made.map_err(|error| {
        let place = match error.place() {
            holdover::plan::PlanPlace::Line(_) => request.roster.clone().unwrap_or_default(),
            _ => request.site.display().to_string(),
        };
        Fail::said(format!("{}: {error}", plain(&place)))
    })?;
    let changes = earlier.map(|before| made.changes_since(&before, &roster.rows));
    let other = (roster.rows.len() <= WEIGHED_TWICE).then(|| {
        progress::during(host, "looking for another way", || made.alternative(&site, &roster.rows))
    });
    let other = other.transpose().map_err(|error| Fail::said(error.to_string()))?.flatten();
    let file = file::Written::new(&made, &roster.rows)?;
    let shown =
        |mask| Shown { mask, mark: if mask { file.open_mark() } else { file.mark.clone() } };
    let of_page = page.as_ref().map(|page| shown(page.hide));
    let shown = &shown(request.mask);
    let copy = request.mask || request.pseudonyms;
    let mut json = if copy { file.copy(request.mask) } else { file.json.clone() };
    // Everything is worked out before anything is written.
    let list = enrol::list(&made, &roster.rows, &site.batches)?;
    let enrolment: Vec<_> = enrol::rows(&made, &list, &roster.misprinted(), shown).collect();
    let list_file = match &request.enrolment {
        Some(path) if is_workbook(path) => enrol::workbook(&enrolment)?,
        _ => enrol::csv(&enrolment)?.into_bytes(),
    };
    let paper = of_page.map(|shown| {
        crate::plan::page::page(&made, &roster, &list, other.as_ref(), &shown, request).into_bytes()
    });
    let outputs = [
        (&request.output, format!("{json}\n").into_bytes()),
        (&request.worksheet, worksheet::sheet(&made, &list, shown).into_bytes()),
        (&request.enrolment, list_file),
        (&request.cutover, cutover::sheet(&made, &roster, shown).into_bytes()),
    ];
    let named = outputs.into_iter().filter_map(|(path, bytes)| Some((path.as_deref()?, bytes)));
    let paper = page.as_ref().map(|page| page.path()).zip(paper);
    let files: Vec<(&Path, Vec<u8>)> = named.chain(paper).collect();
    files::put(host, &files, Readers::Owner)?;
    let written = files.iter().map(|(path, _)| plain(&path.display().to_string()));
    use std::io::Write;
    let mut out = terminal::Page::of(host, request.format == Format::Text);
    if let (true, Some(path)) = (request.format != Format::Text, &request.roster) {
        let path = plain(path);
        roster.about.iter().for_each(|note| terminal::remark(host, &format!("{path}: {note}")));
    }
    match request.format {
        Format::Json => {
            if let Some(other) = &other {
                json["alternative"] = file::value(other)?;
            }
            if let Some(changes) = &changes {
                json["changes"] = difference::json(changes, shown);
            }
            writeln!(out, "{json}")?;
        }
        Format::Csv => write!(out, "{}", enrol::csv(&enrolment)?)?,
        Format::Text => {
            text::print(&mut out, &made, &roster, &list, shown, request.quiet)?;
            if let Some(other) = &other {
                out.say("or        ", &text::other(other))?;
            }
            if let Some(changes) = &changes {
                difference::print(&mut out, changes, shown)?;
            }
            for path in written {
                out.say("written  ", &path)?;
            }
            if !request.quiet {
                text::next(&mut out, &made, request)?;
            }
        }
    }
    out.flush()?;
    Ok(if made.is_clean() { Outcome::Done } else { Outcome::CardsWrong })
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
