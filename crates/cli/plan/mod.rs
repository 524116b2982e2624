//! `holdover plan`: what is keyed into the new panel, and what will come of it.

mod cutover;
mod difference;
pub mod enrol;
pub mod file;
pub mod text;
pub mod worksheet;

use std::path::Path;
use std::time::{Duration, Instant};

use holdover::plan::{Effort, Plan, PlanOptions, plan_with};

use crate::args::{self, Format};
use crate::fail::{Fail, Outcome};
use crate::roster::{self, Roster};
use crate::{files, html, progress, screen, world};

/// How card numbers are shown, and what every sheet carries.
#[derive(Debug, Clone)]
pub struct Shown {
    /// Card numbers are hidden.
    pub mask: bool,
    /// What the sheets of one plan carry.
    pub mark: String,
}

impl Shown {
    /// A panel number, hidden where asked.
    pub fn number(&self, number: &str) -> String {
        if self.mask { crate::mask::tail(number) } else { number.to_owned() }
    }

    /// What to do about a conflict: it names numbers and prints.
    pub fn advice<'t>(&self, text: &'t str) -> &'t str {
        if self.mask { crate::mask::ADVICE } else { text }
    }

    /// What is printed on a card, hidden where asked.
    pub fn print<'t>(&self, printed: &'t str) -> &'t str {
        if self.mask && !printed.is_empty() { crate::mask::PRINT } else { printed }
    }
}

pub fn run(args: &args::Plan) -> Result<Outcome, Fail> {
    let inputs = || {
        let own = [Some(args.site.as_path()), args.roster.as_deref().map(Path::new)];
        args.tables.tables.iter().map(Path::new).chain(own.into_iter().flatten())
    };
    let outputs =
        || [&args.output, &args.worksheet, &args.enrolment, &args.cutover].into_iter().flatten();
    files::keep_apart(inputs(), outputs())?;
    // An earlier plan may be replaced by the new plan, but by nothing else.
    let others = || outputs().filter(|path| args.output.as_ref() != Some(*path));
    files::keep_apart(inputs().chain(earlier_path(args)), others())?;
    let page = html::Target::of(&args.page, inputs().chain(earlier_path(args)), outputs())?;
    if args.time_limit.is_some() && world::by_value() {
        return Err(Fail::said("--time-limit: a desk has no clock: run the binary"));
    }
    let table = files::tables(&args.tables.tables)?;
    let site = files::site(&args.site, &table)?;
    let mut roster = match &args.roster {
        Some(path) => roster::read(path, args.sheet.sheet.as_deref(), &table, &site)?,
        None => Roster::default(),
    };
    if args.pseudonyms {
        roster.rename_holders();
    }
    roster.check_prints(&table);
    let earlier = earlier_path(args).map(whole).transpose()?;
    let made = progress::during("planning", || {
        let mut clock = clock(args.time_limit);
        let mut effort = Effort::default();
        if clock.is_some() {
            // Then the clock alone ends the search.
            (effort.work, effort.steps) = (u64::MAX, u64::MAX);
        }
        let options = PlanOptions {
            keep: earlier.as_ref().filter(|_| args.keep.is_some()),
            go_on: clock.as_mut().map(|clock| clock as &mut dyn FnMut() -> bool),
            effort,
        };
        plan_with(&table, &site, &roster.rows, options)
    });
    let made = made.map_err(|error| {
        let place = match error.place() {
            holdover::plan::PlanPlace::Line(_) => args.roster.clone().unwrap_or_default(),
            _ => args.site.display().to_string(),
        };
        Fail::said(format!("{}: {error}", screen::plain(&place)))
    })?;
    let changes = earlier.map(|before| made.changes_since(&before, &roster.rows));
    let other = (roster.rows.len() <= WEIGHED_TWICE).then(|| {
        progress::during("looking for another way", || made.alternative(&site, &roster.rows))
    });
    let other = other.transpose().map_err(|error| Fail::said(error.to_string()))?.flatten();
    let file = file::Written::new(&made, &roster.rows)?;
    let shown =
        |mask| Shown { mask, mark: if mask { file.open_mark() } else { file.mark.clone() } };
    let of_page = page.as_ref().map(|page| shown(page.hide));
    let shown = &shown(args.mask);
    let copy = args.mask || args.pseudonyms;
    let mut json = if copy { file.copy(args.mask) } else { file.json.clone() };
    // Everything is worked out before anything is written.
    let list = enrol::list(&made, &roster.rows, &site.batches)?;
    let enrolment: Vec<_> = enrol::rows(&made, &list, &roster.misprinted(), shown).collect();
    let list_file = match &args.enrolment {
        Some(path) if is_workbook(path) => enrol::workbook(&enrolment)?,
        _ => enrol::csv(&enrolment)?.into_bytes(),
    };
    let paper = of_page.map(|shown| {
        html::plan::page(&made, &roster, &list, other.as_ref(), &shown, args).into_bytes()
    });
    let outputs = [
        (&args.output, format!("{json}\n").into_bytes()),
        (&args.worksheet, worksheet::sheet(&made, &list, shown).into_bytes()),
        (&args.enrolment, list_file),
        (&args.cutover, cutover::sheet(&made, &roster, shown).into_bytes()),
    ];
    let named = outputs.into_iter().filter_map(|(path, bytes)| Some((path.as_deref()?, bytes)));
    let paper = page.as_ref().map(|page| page.path()).zip(paper);
    let files: Vec<(&Path, Vec<u8>)> = named.chain(paper).collect();
    files::write_all(&files, files::Readers::Owner)?;
    let written = files.iter().map(|(path, _)| screen::plain(&path.display().to_string()));
    use std::io::Write;
    let mut out = screen::output(args.format == Format::Text);
    if let (true, Some(path)) = (args.format != Format::Text, &args.roster) {
        let path = screen::plain(path);
        roster.about.iter().for_each(|note| screen::remark(&format!("{path}: {note}")));
    }
    match args.format {
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
            text::print(&mut out, &made, &roster, &list, shown, args.quiet)?;
            if let Some(other) = &other {
                screen::say(&mut out, "or        ", &text::other(other))?;
            }
            if let Some(changes) = &changes {
                difference::print(&mut out, changes, shown)?;
            }
            for path in written {
                screen::say(&mut out, "written  ", &path)?;
            }
            if !args.quiet {
                text::next(&mut out, &made, args)?;
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
fn earlier_path(args: &args::Plan) -> Option<&Path> {
    args.keep.as_deref().or(args.against.as_deref())
}

/// An earlier plan as it was written.
fn whole(path: &Path) -> Result<Plan, Fail> {
    let read = file::read(path)?;
    if read.edited {
        let name = screen::plain(&path.display().to_string());
        screen::remark(&format!(
            "{name} was changed since it was written: it is taken as it stands"
        ));
    }
    Ok(read.plan)
}

/// Says when the time is up.
fn clock(seconds: Option<u64>) -> Option<impl FnMut() -> bool> {
    let limit = Duration::from_secs(seconds?);
    let began = Instant::now();
    Some(move || began.elapsed() < limit)
}

/// A file that is to be written is told by its name: it has no content yet.
fn is_workbook(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("xlsx"))
}
